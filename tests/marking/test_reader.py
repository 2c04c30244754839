"""What a trainee types and what is read; the form shows the same reading."""

import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grader.errors import Unreadable
from grader.marking.reader import WrongKind, read_number
from grader.marking.reading import read_range
from grader.units import unit


@pytest.mark.parametrize(
    ("typed", "asked", "value"),
    [
        ("34.5", "° crank", 34.5),
        ("34,5", "° crank", 34.5),
        (" 34.5 ° ", "° crank", 34.5),
        ("34.5 deg", "° crank", 34.5),
        ("−2.5", "° crank", -2.5),
        ("+2.5", "° crank", 2.5),
        ("6° BTDC", "° crank", 6),
        ("6 deg ATDC", "° crank", -6),
        ("8 dist deg", "° crank", 16),
        ("16 ° crank", "° dist", 8),
        ("1 250", "rev/min", 1250),
        ("1\u202f250 rpm", "rev/min", 1250),
        ("1'250", "rev/min", 1250),
        ("1.234,5", "rev/min", 1234.5),
        ("1,234.5", "rev/min", 1234.5),
        ("0,035 in", "mm", 0.889),
        ("1/32 in", "mm", 0.79375),
        ("1 1/32 in", "mm", 26.19375),
        ("1-1/32 in", "mm", 26.19375),
        ('0.628"', "mm", 15.9512),
        ("2.5e-3 s", "ms", 2.5),
        ("2500 µs", "ms", 2.5),
        ("5.", "ms", 5),
        (".5", "ms", 0.5),
        ("5 psi", "psi gauge", 5),
        ("5 psig", "psi gauge", 5),
        ("5 C", "°C", 5),
        ("41 F", "°C", 5),
        ("100 kPa", "inHg vac", 29.529983),
    ],
)
def test_read(typed, asked, value):
    assert read_number(typed, unit(asked), "", (-1e9, 1e9)).value == pytest.approx(value, rel=1e-7)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("", "Nothing is written"),
        ("   ", "Nothing is written"),
        ("about 5", "does not begin with a number"),
        ("nan", "not a number that can be measured"),
        ("inf", "not a number that can be measured"),
        ("1_000", "underscore"),
        ("10³", "figures 0 to 9"),
        ("５", "figures 0 to 9"),
        ("٥", "figures 0 to 9"),
        ("-6 BTDC", "twice"),
        ("28-34", "A range"),
        ("28…34", "A range"),
        ("28 to 34 °", "A range"),
        ("28° - 34°", "A range"),
        ("5 ± 0.1", "More than one number"),
        ("5 ms 6", "not a unit"),
        ("1e400", "too large"),
        ("0x10", "not a unit"),
        ("1,2,3", "can be no number"),
        ("1/0", "divides by zero"),
        ("3/2/1", "can be no number|not a unit"),
        ("9" * 200, "too many"),
    ],
)
def test_refused_with_a_reason(typed, said):
    with pytest.raises(Unreadable, match=said):
        read_number(typed, unit("ms"), "", (-1e9, 1e9))


@pytest.mark.parametrize("typed", ["5 V", "5 psia"])
def test_a_unit_of_another_kind(typed):
    with pytest.raises(WrongKind, match="psi gauge is asked"):
        read_number(typed, unit("psi gauge"))


def test_a_comma_with_two_meanings_is_settled_by_what_is_possible():
    assert read_number("1,250", unit("rev/min"), "", (100, 9000)).value == 1250
    assert read_number("1,250", unit("mm"), "", (0, 5)).value == 1.25
    with pytest.raises(Unreadable, match="1.25 or 1250"):
        read_number("1,250", unit("mm"), "", (0, 5000))


def test_a_typed_unit_must_not_contradict_the_chosen_one():
    with pytest.raises(Unreadable, match="Keep one of the two"):
        read_number("3 ms", unit("ms"), "s")
    assert read_number("3 in", unit("mm"), "in").value == pytest.approx(76.2)
    assert read_number("3", unit("mm"), "in").value == pytest.approx(76.2)


def test_the_last_place_follows_the_unit():
    assert read_number("0.63 in", unit("mm")).place == pytest.approx(0.254)
    assert read_number("34", unit("° crank")).place == 1
    assert read_number("1/32 in", unit("mm")).place == 0


@settings(max_examples=300)
@given(st.text(max_size=40))
def test_any_text_is_read_or_refused_in_a_sentence(text):
    try:
        reading = read_number(text, unit("mm"), "", (0, 1000))
    except Unreadable as refusal:
        assert str(refusal).strip().endswith((".", "?"))
    else:
        assert reading.value == reading.value and reading.echo


@settings(max_examples=300)
@given(st.decimals(min_value=-9999, max_value=9999, places=3), st.sampled_from([".", ","]))
def test_every_decimal_reads_as_itself(number, mark):
    typed = f"{number:.3f}".replace(".", mark)
    try:
        reading = read_number(typed, unit("ms"), "", (-10000, 10000))
    except Unreadable as refusal:
        assert mark == "," and "This can mean" in str(refusal)
    else:
        assert reading.value == pytest.approx(float(number)) or (
            mark == "," and reading.value == float(f"{number:.3f}".replace(".", ""))
        )


@pytest.mark.parametrize(
    ("typed", "value"), [("1.250.000", 1250000), ("1,250,000", 1250000), ("1.250.000,5", 1250000.5)]
)
def test_the_mark_that_parts_thousands_is_no_point_too(typed, value):
    """1.250.000 was read as 1250.000, and the echo under the field did not show it."""
    assert read_number(typed, unit("Ω"), "", (0, 1e9)).value == value


@pytest.mark.parametrize(
    ("typed", "ends"),
    [
        ("2 to 6 ATDC", (-6, -2)),
        ("6-2° ATDC", (-6, -2)),
        ("2° to 6° after TDC", (-6, -2)),
        ("2 ATDC to 6 ATDC", (-6, -2)),
        ("2 ATDC to 6 BTDC", (-2, 6)),
        ("6 BTDC to 2 ATDC", (-2, 6)),
        ("2 to 6 BTDC", (2, 6)),
        ("-6 - -2", (-6, -2)),
        ("−6 − −2", (-6, -2)),
        ("-2 - 6", (-2, 6)),
        ("-2-6", (-2, 6)),
        ("28\u201134", (28, 34)),
        ("\u22122 \u2010 6", (-2, 6)),
    ],
)
def test_both_ends_of_a_range_lie_where_they_were_said_to_lie(typed, ends):
    """Of "2 to 6 ATDC" the first end was read as before top; "-6 - -2" was refused as more than two numbers."""
    assert read_range(typed, unit("° crank")).value == ends


def test_a_crafted_range_is_not_read_slowly():
    """Blanks between two figures were searched again from each of them: 20,000 kept a class run waiting half a minute."""

    def seconds(blanks):
        found = []
        for _ in range(5):
            begun = time.process_time()
            with pytest.raises(Unreadable):
                read_range(f"1{' ' * blanks}2", unit("mm"))
            found.append(time.process_time() - begun)
        return min(found)

    assert seconds(8000) < 30 * seconds(1000)  # 64 times where each blank looks at all others
    with pytest.raises(Unreadable, match="too many for two numbers"):
        read_range("1 to 2 " * 2000, unit("mm"))
