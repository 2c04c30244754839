"""Verdicts, in the order in which they are decided, and what each is worth."""

from random import Random
from types import MappingProxyType

import pytest

from grader import catalogue
from grader.errors import BadSheet
from grader.exercise.model import Absolute, Choice, Exercise, Module, Number, Percent, Slip
from grader.exercise.sheet import Answer, Sheet
from grader.exercise.spread import Steps
from grader.exercise.truth import Truth
from grader.marking import feedback, proof
from grader.marking.mark import Marking, mark_sheet, truth_of

# A bench of one reading (mm), its double, and a choice that follows from the double.
FIRST = Number(
    key="read", prompt="", unit="mm", marks=2, step=0.1, answer=lambda v: v.x / 7, within=Absolute(0.05, "test"),
    possible=(0.0, 50.0), objectives=(), also=("in",),
    slips=(Slip("times-ten", "You moved the point.", lambda v: v.x / 0.7),
           Slip("half", "You halved.", lambda v: v.x / 14, share=0.5)),
)  # fmt: skip
SECOND = Number(
    key="double", prompt="", unit="mm", marks=3, step=0.1, answer=lambda v, read: 2 * read,
    within=Percent(1, "test"), possible=(0.0, 100.0), objectives=(), uses=("m99.a.read",),
    slips=(Slip("not-doubled", "You forgot to double.", lambda v, read: read),),
)  # fmt: skip
THIRD = Choice(
    key="verdict", prompt="", marks=1, objectives=(), uses=("m99.a.double",),
    options=MappingProxyType({"long": "too long", "short": "too short", "other": "neither"}),
    answer=lambda v, double: "long" if double > 20 else "short",
    slips=(Slip("upside-down", "You compared the wrong way round.", lambda v, d: "short" if d > 20 else "long"),),
)  # fmt: skip
MODULE = Module(
    "m99_test", "", 1, (Exercise("m99.a", 1, 1, "", "", {"x": Steps(1, 99)}, (FIRST, SECOND, THIRD), lambda v: ()),)
)
ISSUED = {"m99.a": {"version": 1, "parameters": {"x": 39}}}  # 5.571..., 11.14..., short


def marks(version=1, **answers):
    entries = {}
    for name, typed in answers.items():
        raw, unit = typed if isinstance(typed, tuple) else (typed, "")
        entries[f"m99.a.{name}"] = Answer(raw, unit, version)
    return mark_sheet(MODULE, ISSUED, Sheet("t", "m99_test", "t01", 1, entries))


def first(typed, unit=""):
    return marks(read=(typed, unit)).parts[0]


@pytest.mark.parametrize(
    ("typed", "verdict", "hundredths", "slip"),
    [
        ("5.6", "right", 200, ""),
        ("5.57", "right", 200, ""),
        ("5.571428571", "right", 200, ""),
        ("5,6 mm", "right", 200, ""),
        ("0.2193 in", "right", 200, ""),
        ("0.22 in", "right", 200, ""),
        ("55.7", "slip", 0, "times-ten"),
        ("2.8", "slip", 100, "half"),
        ("6", "too coarse", 100, ""),
        ("-5.57", "wrong sign", 0, ""),
        ("0.557", "power of ten", 0, ""),
        ("557", "power of ten", 0, ""),
        ("5.4", "wrong", 0, ""),
        ("0", "wrong", 0, ""),
        ("10", "wrong", 0, ""),
        ("", "blank", 0, ""),
        ("  ", "blank", 0, ""),
        ("five", "unreadable", 0, ""),
        ("5.57 V", "wrong kind of unit", 0, ""),
    ],
)
def test_verdict(typed, verdict, hundredths, slip):
    mark = first(typed)
    assert (mark.verdict, mark.hundredths, mark.slip) == (verdict, hundredths, slip)


def test_the_bound_itself_is_right():
    """Half the reading step plus nothing else: 5.5714 ± 0.05, written in decimals."""
    assert first("5.5214285715").verdict == "right"
    assert first("5.521").verdict != "right"


def test_a_wrong_answer_used_rightly_is_carried():
    """Follow-on credit: AQA A-level physics scheme 3.4 and SQA National 5 2019 (d) give the later part in full."""
    found = marks(read="12.0", double="24.0", verdict="long").parts
    assert [part.verdict for part in found] == ["wrong", "carried", "carried"]
    assert [part.hundredths for part in found] == [0, 300, 100]


def test_carried_comes_before_slip():
    """What is both a slip from the right value and an honest following of his own is taken kindly."""
    found = marks(read="2.8", double="5.6").parts  # 5.6 is also the right value left undoubled
    assert found[1].verdict == "carried"


def test_an_impossible_answer_is_not_carried():
    assert marks(read="55.7", double="111.4").parts[1].verdict != "carried"


def test_a_right_answer_carries_nothing_but_itself():
    assert marks(read="5.6", double="11.2").parts[1].verdict == "right"


def test_rounding_of_a_carried_answer_widens_the_tolerance():
    """11.143 from the unrounded 5.571; from 5.6 it is 11.2, from 5.5 (half a step off) it would be 11.0."""
    truth = Truth(MODULE, {"m99.a": {"x": 39}})
    assert truth.tolerance("m99.a.double") == pytest.approx(0.05 + 0.1, rel=1e-6)


def test_choice():
    assert marks(read="5.6", double="11.1", verdict="short").parts[2].verdict == "right"
    upside = marks(read="5.6", double="11.1", verdict="long").parts[2]
    assert (upside.verdict, upside.slip) == ("slip", "upside-down")
    assert marks(verdict="other").parts[2].verdict == "wrong"
    assert marks(verdict="sideways").parts[2].verdict == "unreadable"


def test_what_is_passed_over_is_said():
    found = mark_sheet(
        MODULE, ISSUED, Sheet("t", "m99_test", "t01", 1, {"m99.b.c": Answer("5"), "m99.a.read": Answer("5.6", "", 3)})
    )
    assert len(found.notes) == 2 and "m99.b.c" in found.notes[1] and "version 3" in found.notes[0]
    assert found.hundredths == 0


def test_a_sheet_for_another_module_or_version_is_refused():
    with pytest.raises(BadSheet, match="for m01_timing, not for m99_test"):
        mark_sheet(MODULE, ISSUED, Sheet("t", "m01_timing", "t01", 1))
    with pytest.raises(BadSheet, match="version 2"):
        mark_sheet(MODULE, {"m99.a": {"version": 2, "parameters": {"x": 39}}}, Sheet("t", "m99_test", "t01", 1))
    with pytest.raises(BadSheet, match="No numbers were issued"):
        mark_sheet(MODULE, {}, Sheet("t", "m99_test", "t01", 1))


def test_feedback_names_the_slip_and_never_the_answer():
    for typed in ("5.6", "55.7", "2.8", "6", "-5.57", "0.557", "5.4", "", "five", "5 V"):
        said = feedback.say(FIRST, first(typed))
        assert said and "5.57" not in said and "5.6" not in said
    assert feedback.say(FIRST, first("55.7")) == "You moved the point."
    assert "0.1 mm" in feedback.say(FIRST, first("6"))


def test_shown_is_rounded_as_asked():
    assert feedback.shown(FIRST, 5.5714) == "5.6 mm"
    assert feedback.shown(THIRD, "long") == "too long"
    assert feedback.shown(FIRST, None) == ""


def test_what_follows_from_a_right_answer_is_right():
    """At the edge of a tolerance of half a division an answer is right, and may lead out of that of the next part."""
    wide = Number(
        key="off", prompt="", unit="mm", marks=1, step=0.1, answer=lambda v: v.x / 7, within=Absolute(0.5, "test"),
        possible=(0.0, 50.0), objectives=(),
    )  # fmt: skip
    on = Number(
        key="on", prompt="", unit="mm", marks=1, step=0.1, answer=lambda v, off: off + 4, within=Absolute(0.5, "test"),
        possible=(0.0, 50.0), objectives=(), uses=("m99.b.off",),
    )  # fmt: skip
    pick = Choice(
        key="pick", prompt="", marks=1, objectives=(), uses=("m99.b.on",), options=MappingProxyType({"over": "", "under": ""}),
        answer=lambda v, on: "over" if on > 10 else "under",
    )  # fmt: skip
    module = Module(
        "m99_test", "", 1, (Exercise("m99.b", 1, 1, "", "", {"x": Steps(1, 99)}, (wide, on, pick), lambda v: ()),)
    )

    def verdicts(**typed):
        answers = {f"m99.b.{name}": Answer(raw) for name, raw in typed.items()}
        issued = {"m99.b": {"version": 1, "parameters": {"x": 39}}}  # 5.571..., 9.571..., under
        found = mark_sheet(module, issued, Sheet("t", "m99_test", "t01", 1, answers)).parts
        return [part.verdict for part in found]

    assert verdicts(off="6.05", on="10.1", pick="over") == ["right"] * 3
    assert verdicts(on="10.1", pick="over") == ["blank", "wrong", "carried"]
    assert verdicts(off="6.3", on="10.3", pick="over") == ["wrong", "carried", "carried"]


@pytest.mark.parametrize(
    ("typed", "verdict"), [("23.9", "wrong"), ("3.3", "power of ten"), ("33", "power of ten"), ("2.0", "wrong")]
)
def test_a_misplaced_point_has_the_figures_of_the_answer(typed, verdict):
    """Beside a third of a degree half a degree is wide: 23.9 was told that its figures are right."""
    part = Number(
        key="near", prompt="", unit="° crank", marks=1, step=0.1, answer=lambda v: v.x / 3, within=Absolute(0.5, "test"),
        possible=(-40.0, 40.0), objectives=(),
    )  # fmt: skip
    module = Module("m99_test", "", 1, (Exercise("m99.a", 1, 1, "", "", {"x": Steps(1, 9)}, (part,), lambda v: ()),))
    issued = {"m99.a": {"version": 1, "parameters": {"x": 1}}}
    found = mark_sheet(module, issued, Sheet("t", "m99_test", "t01", 1, {"m99.a.near": Answer(typed)}))
    assert found.parts[0].verdict == verdict


@pytest.mark.campaign
@pytest.mark.parametrize("key", sorted(catalogue.all_modules()))
def test_one_exercise_by_itself_gets_the_verdicts_of_the_whole_sheet(key):
    """While somebody works only what changed is marked; what is carried and charged before it counts all the same."""
    module, chance, verdicts = catalogue.module(key), Random(20260301), set()
    for numbers in proof.draws(module, 4):
        exercises = proof.as_issued(module, numbers)
        marking, truth = Marking(module, exercises), truth_of(module, exercises)
        answers = {}
        for _ in range(60):
            exercise, part, path = chance.choice(module.parts())
            led = [truth.slip(path, slip) for slip in part.slips]
            value = chance.choice([truth.answer(path), *(value for value in led if value is not None)])
            value = part.disturbed(chance, value) if chance.random() < 0.3 and not part.by_person else value
            answers[path] = Answer(
                part.typed(value, truth.given_at(path)), chance.choice(part.units or ("",)), exercise.version
            )
            sheet = Sheet("t", module.key, "t01", 1, dict(answers))
            whole = {mark.path: mark for mark in mark_sheet(module, exercises, sheet).parts}
            asked = chance.choice(module.exercises)
            assert marking.exercise(sheet, asked.key) == tuple(whole[path] for _, path in asked.paths)
            verdicts |= {mark.verdict for mark in whole.values()}
    assert {"right", "slip", "wrong unit"} <= verdicts
