"""Worked examples from standards and marking schemes, with what we know them from."""

import itertools
from types import SimpleNamespace

import pytest
from scipy.stats import kendalltau

from grader.exercise.model import Absolute, Exercise, Module, Number
from grader.exercise.sheet import Answer, Sheet
from grader.exercise.sorting import Order
from grader.exercise.truth import Truth
from grader.marking import feedback
from grader.marking.mark import mark_sheet
from grader.marking.reader import read_number
from grader.units import unit


def _part(key, unit_text, step, answer, **more):
    fields = {"within": Absolute(0.0, "test"), "possible": (0.0, 1000.0), "objectives": (), "marks": 1, **more}
    return Number(key=key, prompt="", unit=unit_text, step=step, answer=answer, **fields)


def _marks(parts, given, typed):
    module = Module("m97_test", "", 1, (Exercise("m97.e", 1, 1, "", "", {}, tuple(parts), lambda v: ()),))
    entries = {f"m97.e.{key}": Answer(raw) for key, raw in typed.items()}
    issued = {"m97.e": {"version": 1, "parameters": given}}
    return module, mark_sheet(module, issued, Sheet("t", module.key, "t", 1, entries)).parts


def test_feet_to_metres():
    """NIST SP 811, B.7.2: 36 ft is rounded to 11.0 m (memory). Both the exact and the rounded length are right."""
    assert read_number("36 ft", unit("m")).value == pytest.approx(10.9728)
    part = _part("length", "m", 0.1, lambda v: v.feet * 0.3048)
    for typed in ("11.0", "10.97", "10.9728", "36 ft"):
        assert _marks([part], {"feet": 36}, {"length": typed})[1][0].verdict == "right", typed
    assert feedback.shown(part, 36 * 0.3048) == "11.0 m"


def test_half_a_step_covers_the_step_of_an_instrument():
    """GUM, F.2.2.1: a step of 1 alone gives a standard uncertainty of 0.29 of it (memory); half a step is 1.7 of those.

    Half the width of a rectangle is its standard deviation times the root of three, so the plain half step
    is the worst case and not a share of it.
    """
    reading = _part("r", "mm", 0.5, lambda v: v.x)
    standard = 0.29 * reading.step
    assert reading.half_step == pytest.approx(3**0.5 * standard, rel=0.01)


def test_rounding_to_agree_with_the_uncertainty():
    """GUM, 7.2.6 (read as quoted in a calibration note): 10.057 62 ohm with 27 milliohm is given as 10.058 ohm."""
    part = _part("resistance", "Ω", 0.001, lambda v: v.ohm, within=Absolute(0.027, "the uncertainty"))
    assert part.typed(10.05762) == "10.058"
    found = _marks([part], {"ohm": 10.05762}, {"resistance": "10.058"})[1][0]
    assert found.verdict == "right" and found.width == pytest.approx(0.027, rel=1e-6)
    assert _marks([part], {"ohm": 10.05762}, {"resistance": "10.09"})[1][0].verdict == "wrong"


@pytest.mark.parametrize("count", [3, 4, 5, 6])
def test_the_share_of_an_order_is_kendalls_tau(count):
    """scipy.stats.kendalltau is 1 - 2 bad/pairs for ranks without ties; below 0 an order earns nothing."""
    right = tuple("abcdef"[:count])
    part = Order("o", "", 1, dict.fromkeys(right, ""), lambda v: right, ())
    for guess in itertools.permutations(right):
        tau = kendalltau(range(count), [guess.index(key) for key in right]).statistic
        assert part.share(right, guess) == pytest.approx(max(0.0, tau), abs=1e-12)


def test_follow_through_over_three_linked_answers():
    """SQA National 5 physics 2019, note (d), and AQA A-level physics, 3.4 (both from memory): follow-on credit.

    An arithmetic error costs the step in which it is made; what follows rightly from it earns in full.
    """
    speed = _part("speed", "", 0.1, lambda v: v.way / v.time)
    energy = _part("energy", "J", 1, lambda v, s: v.mass * s**2 / 2, uses=("m97.e.speed",), possible=(0, 1e6))
    power = _part("power", "", 1, lambda v, e: e / v.time, uses=("m97.e.energy",), possible=(0, 1e6))
    given = {"way": 60.0, "time": 8.0, "mass": 12.0}  # 7.5, 337.5, 42.2
    _, found = _marks([speed, energy, power], given, {"speed": "6.5", "energy": "254", "power": "32"})
    assert [part.verdict for part in found] == ["wrong", "carried", "carried"]
    assert [part.hundredths for part in found] == [0, 100, 100]
    _, fresh = _marks([speed, energy, power], given, {"speed": "6.5", "energy": "254", "power": "90"})
    assert [part.verdict for part in fresh] == ["wrong", "carried", "wrong"]


def test_a_carried_answer_may_be_rounded_on_the_way():
    speed = _part("speed", "", 0.1, lambda v: v.x / 7)
    double = _part("double", "", 0.1, lambda v, s: 10 * s, uses=("m97.e.speed",))
    module = Module("m97_test", "", 1, (Exercise("m97.e", 1, 1, "", "", {}, (speed, double), lambda v: ()),))
    truth = Truth(module, {"m97.e": {"x": 39}})
    assert truth.given("m97.e") == SimpleNamespace(x=39)
    assert truth.tolerance("m97.e.double") == pytest.approx(0.05 + 0.5)  # ten times half a step of the first


def test_follow_through_over_three_linked_exercises():
    """The same across exercises that are drawn together: each hands its answer to the next."""
    first = _part("speed", "", 0.1, lambda v: v.way / v.time)
    second = _part("energy", "J", 1, lambda v, s: v.mass * s**2 / 2, uses=("m97.a.speed",), possible=(0, 1e6))
    third = _part("power", "", 1, lambda v, e: e / v.time, uses=("m97.b.energy",), possible=(0, 1e6))
    linked = [
        Exercise(f"m97.{name}", 1, 1, "", "", {}, (part,), lambda v: (), linked=None if name == "a" else "m97.a")
        for name, part in zip("abc", (first, second, third), strict=True)
    ]
    module = Module("m97_test", "", 1, tuple(linked))
    assert len(module.groups()) == 1
    given = {"way": 60.0, "time": 8.0, "mass": 12.0}
    issued = {exercise.key: {"version": 1, "parameters": given} for exercise in linked}
    for typed, verdicts in (
        (("7.5", "338", "42"), ["right", "right", "right"]),
        (("6.5", "254", "32"), ["wrong", "carried", "carried"]),
        (("6.5", "300", "38"), ["wrong", "wrong", "carried"]),  # a second error costs its own step only
        (("2000", "338", "42"), ["wrong", "right", "right"]),  # an impossible answer carries nothing
    ):
        paths = ("m97.a.speed", "m97.b.energy", "m97.c.power")
        entries = {path: Answer(raw) for path, raw in zip(paths, typed, strict=True)}
        found = mark_sheet(module, issued, Sheet("t", module.key, "t", 1, entries)).parts
        assert [part.verdict for part in found] == verdicts, typed
