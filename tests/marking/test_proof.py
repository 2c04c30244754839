"""The proof of an exercise finds what it is there to find: each fault is planted once."""

from dataclasses import replace

import pytest
from typer.testing import CliRunner

from grader.cli.main import app
from grader.exercise.model import Absolute, Choice, Exercise, Module, Number, Slip
from grader.exercise.sorting import Order
from grader.exercise.spread import Pick, Steps
from grader.marking import proof


def number(**more):
    fields = {
        "key": "n", "prompt": "", "unit": "mm", "marks": 3, "step": 1, "answer": lambda v: float(v.x),
        "within": Absolute(1, "test"), "possible": (0, 1000), "objectives": (),
        "slips": (Slip("double", "Halve it.", lambda v: 2.0 * v.x + 20),), **more,
    }  # fmt: skip
    return Number(**fields)


def module(*parts, **draw):
    draw = draw or {"x": Steps(1, 99)}
    return Module("m96_test", "", 1, (Exercise("m96.e", 1, 1, "", "", draw, parts, lambda v: ()),))


def test_a_sound_exercise_has_no_fault():
    found = proof.prove(module(number()), 300)
    assert found.faults == []
    mine = found.parts["m96.e.n"]
    assert mine.slips["double"] == 300 and mine.nearest > proof.APART
    assert mine.copied < 0.1 and mine.constant < 0.1 and mine.tolerance[0] == pytest.approx(1, rel=1e-6)


def test_numbers_that_hardly_differ_are_found():
    found = proof.prove(module(number(), x=Steps(1, 8)), 300)
    assert any("one constant answer" in fault for fault in found.faults)
    assert any("classmate" in fault for fault in found.faults)


def test_a_choice_whose_answer_hardly_changes_is_found():
    part = Choice("c", "", 1, {"a": "", "b": "", "c": "", "d": ""}, lambda v: v.case, ())
    assert proof.prove(module(part, case=Pick(tuple("abcd"))), 400).faults == []
    found = proof.prove(module(part, case=Pick(tuple("aab"))), 400)
    assert any("30.0% is the limit" in fault for fault in found.faults)


def test_an_order_that_is_always_the_same_may_not_carry_much():
    part = Order("o", "", 1, dict.fromkeys("abcde", ""), lambda v: tuple("abcde"), ())
    light = proof.prove(module(part, number()), 60)
    assert light.fixed == ("m96.e.o",) and light.faults == [] and light.fixed_share == 0.25
    heavy = proof.prove(module(replace(part, marks=2), number()), 60)
    assert any("40% of the marks" in fault for fault in heavy.faults)


def test_a_slip_that_is_taken_for_something_else_is_found():
    """Two slips that lead to one option: the second can never be named."""
    options = {"a": "", "b": ""}
    part = Choice("c", "", 1, options, lambda v: v.case, (), slips=(
        Slip("first", "One.", lambda v: "b" if v.case == "a" else "a"),
        Slip("second", "Two.", lambda v: "b" if v.case == "a" else "a"),
    ))  # fmt: skip
    found = proof.prove(module(part, case=Pick(("a", "b"))), 60)
    assert any("the slip second" in fault for fault in found.faults)


def test_a_right_answer_that_is_marked_wrong_is_found():
    """An option whose key does not survive being read."""
    part = Choice("c", "", 1, {"a ": "", "b": ""}, lambda v: "a ", ())
    assert any("is marked unreadable" in fault for fault in proof.prove(module(part), 30).faults)


def test_honest_readings_that_would_fail_are_found():
    """A bend in the curve: the mean of both sides is less than the steeper side, so some readings fall outside."""
    bent = number(answer=lambda v: 10.0 * max(v.x, 50), within=Absolute(0, "none"), slips=(), possible=(0, 5000),
                  reads={"x": 0.5})  # fmt: skip
    done, wrong = proof.honest_readings(module(bent, x=Steps(50, 51)), 400, 1, trainees=20)
    assert done >= 400 and wrong and "is marked" in wrong[0]
    straight = replace(bent, answer=lambda v: 10.0 * v.x)
    assert proof.honest_readings(module(straight, x=Steps(50, 51)), 400, 1, trainees=20)[1] == []


def test_the_command_prints_every_part_and_its_limits():
    done = CliRunner().invoke(app, ["check", "--exercises", "m01_timing", "--trainees", "60"])
    assert done.exit_code == 0, done.output
    for said in ("m01_timing: 60 trainees", "nearest", "copied", "constant", "0 faults", "whole sheet earns"):
        assert said in done.output


def test_the_command_wants_to_know_what():
    assert CliRunner().invoke(app, ["check"]).exit_code == 2
