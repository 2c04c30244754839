"""The vehicle file and the questions in the terminal: every fault at once, each with its line, read as answers are read."""

import pytest

from grader.course.vehicles import form, read, store, template
from grader.course.vehicles.fields import FIELDS
from grader.errors import BadFile, Refused, Unknown
from grader.vehicle.spec import vehicle, vehicles
from tests.course.vehicles import SOURCE, put, text_of


def faults(text):
    return read.read_text(text, "hall").faults


def line_of(text, start):
    return next(number for number, line in enumerate(text.splitlines(), 1) if line.strip().startswith(start))


def test_the_example_with_a_source_is_a_vehicle():
    own = read.read_text(text_of(), "hall").own
    assert (own.vehicle.key, own.manual, own.page, own.entered_by) == ("hall", "Hall engine handbook", "p. 7", "Q. Z.")
    assert own.vehicle.centrifugal == ((475, 0), (800, 3.5), (1300, 8), (2100, 11)) and own.vehicle.initial_deg == 7


def test_the_example_without_a_source_is_none():
    said = [sentence for _, sentence in faults(template.write(template.EXAMPLE))]
    assert len(said) == 3 and all("[source]" in sentence for sentence in said)


@pytest.mark.parametrize("key", vehicles())
def test_every_teaching_vehicle_can_be_written_and_read_back(key):
    """Template and reader agree: nothing is lost on the way through the file."""
    text = template.write({**template.answers_of(vehicle=vehicle(key)), **SOURCE})
    assert read.read_text(text, key).own.vehicle == vehicle(key)


def test_units_of_the_manual_are_taken_as_printed():
    text = text_of(
        gap="1/64 in", pulley="5 1/2 in", dwell="60 %", open="36 °", initial="4 ATDC", at_speed="700 rpm",
        centrifugal=[("900 engine rpm", "0 ° crank"), ("4000 engine rev/min", "20 ° crank")],
        vacuum=[("17 kPa", "0 ° dist"), ("330 mmHg", "16 ° crank")],
    )  # fmt: skip
    found = read.read_text(text, "hall")
    own = found.own.vehicle
    assert (own.gap_in, own.pulley_mm, own.dwell_deg, own.initial_deg, own.idle_rpm) == (0.016, 139.7, 54, -4, 700)
    assert own.centrifugal == ((450, 0), (2000, 10))
    assert own.vacuum == ((5.02, 0), (12.99, 8))  # 17/3.38639 and 330/25.4 inHg
    assert any("0.397 mm becomes 0.016 in" in said for _, said in found.remarks)  # 1/64 in is 15.6 thousandths


def test_a_gap_between_the_rows_of_a_cam_card_is_told():
    """0.45 mm is 17.7 thousandths; a card printed as 0.018 could not be read back otherwise."""
    found = read.read_text(text_of(gap="0.45 mm"), "hall")
    assert found.own.vehicle.gap_in == 0.018 and "0.45 mm becomes 0.018 in" in found.remarks[0][1]


def test_all_faults_at_once_each_with_its_line():
    text = (
        text_of(gap="0.45 in", initial="77 BTDC", firing_order="1-3-2-4", dwell="50", page="")
        .replace('rotor = "anticlockwise"', "rotor = left")
        .replace('earth = "negative"', 'earth = "up"')
        .replace("pulley =", "puley =")
        .replace('["800 dist rev/min", "3.5 ° dist"]', '["800 rev/min", "3.5"]')
    )
    found = faults(text)
    assert [line for line, _ in found] == sorted(line for line, _ in found)
    for start, words in (
        ("page", "Page is empty"), ("firing_order", "pistons 1 and 4 rise together"), ("rotor", "cannot be read"),
        ("earth", "allowed is negative or positive"), ("puley", "Did you mean pulley?"), ("gap", "11.4 mm"),
        ("dwell", "no unit"), ("initial", "allowed is -10 to 25"), ('["800', "distributor or at the crankshaft"),
        ('["800', "“3.5” has no unit"), ("[engine]", "pulley is missing"),
    ):  # fmt: skip
        assert any(line == line_of(text, start) and words in said for line, said in found), (start, words, found)
    assert len(found) == 11


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("timing-mark vehicle", "other", "must say format"),
        ("schema = 1", "schema = 2", "must say format"),
        ("cylinders = 4", "cylinders = true", "allowed is 4, 6 or 8"),
        ("cylinders = 4", "cylinders = 5", "allowed is 4, 6 or 8"),
        ('"12 V"', '"9 V"', "6 V or 12 V"),
        ('"12 V"', '"12 mm"', "measures length"),
        ('"0.45 mm"', "0.45", "0.45 has no unit"),
        ('"52 ° dist"', '"52 to 54 ° dist"', "A range is written"),
        ('"38 ° dist"', '"30 ° dist"', "must make 90 distributor degrees"),
        ('"800 rev/min"', '"1400 rev/min"', "the weights already add"),
        ('"off and plugged"', '"open"', "off and plugged or connected"),
        ('"Example 1.8 four"', '"<b>four</b>"', "no page can show safely"),
        ('"Example 1.8 four"', '"{__class__}"', "no page can show safely"),
        ('"Example 1.8 four"', '"[link](x)"', "no page can show safely"),
        ('"Example 1.8 four"', '"a\\u0007b"', "no page can show safely"),
        ('"Example 1.8 four"', f'"{"x" * 61}"', "61 letters"),
        ("[source]", "[sauce]", "sauce is not known"),
        ("centrifugal = [", "centrifugal = 3\nother = [", "every point is a pair"),
        ('["475 dist rev/min", "0 ° dist"]', '["475 dist rev/min"]', "every point is a pair"),
        ("[advance]", "[advance", "cannot be read"),
    ],
)
def test_what_a_file_may_not_say(old, new, words):
    text = text_of().replace(old, new, 1)
    assert text != text_of()
    found = read.read_text(text, "hall")
    assert found.own is None and any(words in said for _, said in found.faults), found.faults


def test_files_that_are_none(empty_term, tmp_path):
    put(empty_term, "hall").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(BadFile, match="not UTF-8"):
        store.check(empty_term, "hall")
    put(empty_term, "hall").write_bytes(b"#" * 200_000)
    with pytest.raises(BadFile, match="200,000 bytes"):
        store.check(empty_term, "hall")
    with pytest.raises(Unknown, match="'vehicle new' makes one"):
        store.check(empty_term, "missing")
    with pytest.raises(Refused, match="cannot name a folder"):
        store.new(empty_term, "../out")
    with pytest.raises(Refused, match="teaching vehicle"):
        store.new(empty_term, "anstow-v8")


def test_new_makes_a_file_once_and_like_another(empty_term):
    path = store.new(empty_term, "hall")
    assert path == empty_term.folder / "vehicles" / "hall.toml"
    with pytest.raises(Refused, match="there already"):
        store.new(empty_term, "hall")
    six = store.new(empty_term, "six", like="tolmere-six").read_text("utf-8")
    assert '"1-5-3-6-2-4"' in six and 'manual = ""' in six and "service manual decides" in six
    with pytest.raises(Unknown, match="to be like; there are anstow-v8"):
        store.new(empty_term, "seven", like="nothing")


def test_untouched_figures_of_the_example_are_remarked(empty_term):
    put(empty_term, "hall")
    assert any("still that of the example" in said for _, said in store.check(empty_term, "hall")[1].remarks)
    put(empty_term, "hall", initial="8 BTDC")
    assert not any("still that of the example" in said for _, said in store.check(empty_term, "hall")[1].remarks)


class Terminal:
    """Somebody who types given lines, and what he was shown."""

    def __init__(self, *typed):
        self.typed, self.shown = list(typed), []

    def ask(self, prompt):
        self.shown.append(prompt)
        if not self.typed:
            raise EOFError
        return self.typed.pop(0)

    def ask_all(self, before=None):
        return form.ask_all(self.ask, self.shown.append, before)

    @property
    def text(self):
        return "\n".join(self.shown)


LINES = (
    "Bench four", "bench", "Hall handbook", "p. 7", "Q. Z.", "4", "inline", "1-3-4-2", "clockwise", "12 V", "negative",
    "140 mm", "0.5 mm", "50 °", "40 °", "8 BTDC", "750 rpm", "off and plugged", "ported",
    "900 engine rpm", "0 ° crank", "3600 engine rpm", "20 ° crank", "",
    "5 inHg", "0 ° dist", "13 inHg", "8 ° dist", "",
)  # fmt: skip


def test_questions_lead_to_the_same_vehicle_as_the_file():
    at = Terminal(*LINES)
    text = template.write(at.ask_all())
    own = read.read_text(text, "bench").own
    assert own.vehicle.centrifugal == ((450, 0), (1800, 10)) and own.vehicle.gap_in == 0.020
    assert "read as 900 engine rpm" not in at.text and "read as 900 engine rev/min = 450 dist rev/min" in at.text


def test_a_bad_answer_is_asked_again_and_back_goes_back():
    spoilt = [*LINES]
    spoilt[5:5] = ["5"]
    spoilt[spoilt.index("1-3-4-2") : spoilt.index("1-3-4-2")] = ["1-3-2-4"]
    spoilt[spoilt.index("0.5 mm") : spoilt.index("0.5 mm")] = ["0.5", "back", "141 mm"]
    spoilt[spoilt.index("3600 engine rpm") : spoilt.index("3600 engine rpm")] = ["800 engine rpm", "20 ° crank"]
    at = Terminal(*spoilt)
    answers = at.ask_all()
    assert at.typed == [] and answers["engine", "pulley"] == "141 mm"
    for words in ("allowed is 4, 6 or 8", "rise together", "“0.5” has no unit", "must rise from point to point"):
        assert words in at.text


def test_another_unit_within_a_column_is_worth_a_second_look():
    """A unit mistyped in the midst of a column can give a figure that can be, and is wrong."""
    for one, other, words in (
        ('"800 dist rev/min"', '"1600 engine rev/min"', "in engine rev/min, the points before it in dist rev/min"),
        ('"8 ° dist"', '"16 ° crank"', "in ° crank, the points before it in ° dist"),
        ('"5 inHg vac"', '"5 mmHg"', "in inHg vac, the points before it in mmHg"),
    ):
        assert one in text_of()
        found = read.read_text(text_of().replace(one, other), "hall")
        assert found.faults == [] and any(words in said for _, said in found.remarks), found
    for one, other in (('"5 inHg vac"', '"5 inHg"'), ('"0 ° dist"', '"0 ° crank"')):
        found = read.read_text(text_of().replace(one, other), "hall")
        assert not any("points before it" in said for _, said in found.remarks)


def test_whoever_stops_goes_on_where_he_was(empty_term):
    """Everything typed is kept, points of a table too; Enter keeps what stands there."""
    path, before = store.begun(empty_term, "bench")
    assert before == {}
    with pytest.raises(form.Stopped) as stopped:
        Terminal(*LINES[:23]).ask_all()
    store.keep(path, stopped.value.answers)
    path, before = store.begun(empty_term, "bench")
    assert before["advance", "centrifugal"] == [("900 engine rpm", "0 ° crank"), ("3600 engine rpm", "20 ° crank")]
    again = Terminal(*[""] * 20, *LINES[24:])
    answers = again.ask_all(before)
    store.keep(path, answers)
    assert (
        read.read_file(path, "bench")[0].own == read.read_text(template.write(Terminal(*LINES).ask_all()), "bench").own
    )


def test_a_damaged_file_is_not_written_over(empty_term):
    path = put(empty_term, "hall", text_of().replace('"12 V"', "12 V"))
    with pytest.raises(BadFile, match="'vehicle check' names every such line"):
        store.begun(empty_term, "hall")
    assert "12 V" in path.read_text("utf-8")


def test_every_field_is_asked_in_file_and_form():
    at = Terminal(*LINES)
    at.ask_all()
    text = text_of()
    for asked in FIELDS:
        assert asked.says in at.text and f"\n{asked.name} = " in text
