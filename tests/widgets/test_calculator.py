"""The calculator beside an exercise: right sums, plain sentences for everything else, and nothing saved."""

import math
import re
from random import Random

import pytest

from grader.errors import Unreadable
from grader.widgets.fields.calculator import _FUNCTIONS, HELP, Calculator, work_out


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1.5*pi*20/360", 1.5 * math.pi * 20 / 360), ("1,5 × π × 20 ÷ 360", 1.5 * math.pi * 20 / 360), ("sqrt(2)", 2**0.5),
        ("sin(30 deg)", 0.5), ("sin(30°)", 0.5), ("asin(0,5)", 30), ("34,5*2", 69), ("2^3^2", 512), ("-3^2", -9), ("-(2+3)", -5),
        ("1e3/4", 250), ("log(1000)", 3), ("ln(exp(2))", 2), ("abs(-4)", 4), ("6²", 36),
        ("10 : 4", 2.5), ("60 000 ÷ 3000", 20), ("19 200/3", 6400), ("1 000 000", 1e6), ("2*19\u00a0200", 38400), ("19\u202f200", 19200), ("(1 500+500)*2", 4000), ("1 000.5", 1000.5), ("PI", math.pi), ("Sqrt(9)", 3), ("- 5 + 2", -3), ("0,1+0,2", 0.3), ("4**0.5", 2),
    ],
)  # fmt: skip
def test_sums(text, value):
    assert work_out(text) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "Nothing"), ("2+", "no whole sum"), ("((1)", "no whole sum"), ("9^9^9", "too large"), ("1e308*10", "too large"),
        ("1/0", "divides by zero"), ("1,000*2", "can mean two things"), ("1e999-1e999", "too large"), ("sqrt(-1)", "no value there"), ("(-8)^0.5", "no value there"), ("2pi", r"Write \*"),
        ("3(4)", r"Write \*"), ("(1)(2)", r"Write \*"), ("rpm*2", "is no number"), ("foo(2)", "not on this calculator"),
        ("__import__('os').system('true')", "sums only"), ("[1]*9", "sums only"), ("1 if 2 else 3", "sums only|Write"),
        ("'a'*99", "sums only"), ("lambda: 1", "sums only|no whole|is no number"), ("True", "sums only"), ("1j*1j", r"Write \*"),
        ("sin(1,2,3)", "no whole sum|sums only|not|Write"), ("1<2", "sums only"), ("1" * 200, "too many"), ("(" * 110, "no whole sum"),
        ("3 4", "Put a sign"), ("1,5 200", "no space inside"), ("12 1/2", "Put a sign"),
        ("1234 567", "Put a sign"), ("19 2000", "Put a sign"), ("12 345 67", "Put a sign"), ("0 500", "Put a sign"), ("3.5 200", "Put a sign"), ("0.5 2", "no space inside"), ("2 3 " * 20, "Put a sign"), ("5 e", r"Write \*"),
        ("log(0)", "no value there"), ("max(1, 2)", "sums only"), ("5 % 2", "sums only"), ("x := 2", "no whole|is no number"),
    ],
)  # fmt: skip
def test_everything_else_gets_a_sentence(text, said):
    with pytest.raises(Unreadable, match=said):
        work_out(text)


def test_the_help_names_all_it_can_do():
    """Signs, functions and pi: whoever reads it knows the whole calculator."""
    assert set(re.findall(r"[a-z]{2,}", HELP.partition("( ),")[2].partition(".")[0])) == {*_FUNCTIONS, "pi"}
    with pytest.raises(Unreadable, match="exp"):
        work_out("cosh(1)")


def test_no_text_does_harm():
    seed = 5
    random = Random(seed)
    scraps = [
        "1",
        "2,5",
        "+",
        "-",
        "*",
        "/",
        "^",
        "(",
        ")",
        "pi",
        "sin(",
        "deg",
        "e",
        "__",
        ".",
        "'",
        "[",
        "é",
        "9" * 20,
        " ",
        ":",
        "\n",
    ]
    values = 0
    for _ in range(3000):
        text = "".join(random.choices(scraps, k=random.randint(1, 8)))
        try:
            assert math.isfinite(work_out(text))
            values += 1
        except Unreadable as problem:
            assert str(problem).endswith((".", ")")), (seed, text)
    assert values > 100


def test_it_unfolds_answers_while_typing_and_folds():
    calculator = Calculator("The mark")
    assert len(calculator.box.children) == 1
    button = calculator.box.children[0]
    button.click()
    assert "degrees" in calculator.echo.value
    calculator.text.value = "34,5*2"
    assert "= 69<" in calculator.echo.value
    calculator.text.value = "60 000/3000"
    assert "= 20 (60 000 read as one number)<" in calculator.echo.value
    calculator.text.value = "34,5*"
    assert "no whole sum" in calculator.echo.value
    calculator.text.value = "<b>*2"
    assert "<b>" not in calculator.echo.value
    button.click()
    assert len(calculator.box.children) == 1
    button.click()
    assert calculator.text.value == "<b>*2", "folding loses nothing"


def test_it_stands_at_exercises_that_are_reckoned_and_saves_nothing(practice_folder, opened):
    page = opened(practice_folder)
    form = page.form("mark_arc")
    assert page.form("letter").calculator is None and page.form("check_order").calculator is None
    assert form.calculator.box in form.box.children
    form.calculator.box.children[0].click()
    form.calculator.text.value = "1+1"
    assert "= 2<" in form.calculator.echo.value
    assert not (practice_folder / "answers.json").exists()
