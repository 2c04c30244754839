"""Tolerances at the end of what can be."""

import pytest

from grader import catalogue
from grader.exercise.sheet import Answer, Sheet
from grader.exercise.truth import Truth
from grader.marking.mark import mark_sheet
from tests.modules import proofs


def test_an_own_answer_at_the_end_of_its_range_still_has_a_tolerance():
    """A dwell of 100 % can only be read too high: 0.05 % below it is 0.03° of the 60° that six cylinders share."""
    module = catalogue.module("m02_dwell")
    numbers = proofs.draws(module, 1)[0]
    numbers = {**numbers, "m02.meter": {**numbers["m02.meter"], "cylinders": 6}}
    part = module.by_path["m02.meter.dwell"][1]
    width = Truth(module, numbers).tolerance("m02.meter.dwell", own={"m02.meter.duty": 100.0})
    assert width == pytest.approx(part.within.around(part.half_step + 0.05 / 100 * 60, 60.0), rel=1e-6)


def test_a_slip_that_ends_at_the_range_leaves_the_sheet_markable():
    """Duty answered as 100 %: the sheet is marked, and what follows from the 100 % is carried."""
    module, tried = catalogue.module("m02_dwell"), 0
    for numbers in proofs.draws(module, 5):
        cylinders = numbers["m02.meter"]["cylinders"]
        typed = {"m02.meter.duty": "100 %", "m02.meter.dwell": f"{360 / cylinders:.1f}"}
        answers = {path: Answer(raw, "", module.by_path[path][0].version) for path, raw in typed.items()}
        exercises = {e.key: {"version": e.version, "parameters": numbers[e.key]} for e in module.exercises}
        found = {m.path: m for m in mark_sheet(module, exercises, Sheet("t", module.key, "t1", 1, answers)).parts}
        assert found["m02.meter.duty"].hundredths == 0
        if 360 / cylinders <= module.by_path["m02.meter.dwell"][1].possible[1]:
            assert found["m02.meter.dwell"].verdict in ("carried", "slip", "right")
            tried += 1
    assert tried
