"""A second error after one of his own: it is named and charged for itself, and the first is not charged again."""

import random

import pytest

from grader import catalogue, units
from grader.errors import OutOfRange
from grader.exercise.sheet import Answer
from grader.exercise.truth import Truth
from grader.marking import proof
from grader.marking.compare import mark_part
from grader.marking.verdict import CARRIED, COARSE, RIGHT, SLIP, UNIT, WRONG, Earlier
from tests.seed.draws import SEED

MODULES = sorted(catalogue.all_modules())


def after_own_errors(key, trainees):
    """(truth, path, part, own wrong earlier answers) of each number that is built on others."""
    module, seeded = catalogue.module(key), random.Random(SEED)
    for numbers in proof.draws(module, trainees):
        truth = Truth(module, numbers)
        for _, part, path in module.parts():
            if not part.uses or not hasattr(part, "half_step"):
                continue
            own = {}
            for used in part.uses:
                least, most = module.by_path[used][1].possible
                own[used] = min(most, max(least, truth.answer(used) * seeded.choice((0.8, 1.25))))
            yield truth, path, part, own


def marked(truth, path, part, own, raw, unit=""):
    return mark_part(truth, path, part, Answer(raw, unit), Earlier(dict(own), dict.fromkeys(own, WRONG)))


@pytest.mark.parametrize("key", MODULES)
def test_a_slip_on_the_way_from_an_own_answer_is_named_and_earns_its_share(key):
    """It was plainly wrong before, and a slip worth half earned nothing: the first error was charged once more."""
    named = 0
    for truth, path, part, own in after_own_errors(key, 40):
        for slip in part.slips:
            try:
                led = slip.value(truth.given_at(path), *(own[used] for used in part.uses))
            except OutOfRange:
                continue
            if led is None:
                continue
            mark = marked(truth, path, part, own, f"{led:.9f}")
            assert mark.verdict in (SLIP, CARRIED, RIGHT, COARSE, UNIT), f"seed {SEED}: {path} {slip.key} {mark}"
            named += mark.slip == slip.key
            if mark.slip == slip.key:
                assert mark.hundredths == 100 * part.marks * slip.share
    assert named > 50


@pytest.mark.parametrize("key", MODULES)
def test_a_wrong_unit_on_the_way_from_an_own_answer_costs_half(key):
    """As after a right one; it earned nothing before."""
    for truth, path, part, own in after_own_errors(key, 40):
        for other in part.offered[1:]:
            figure = units.convert(truth.following(path, own), part.asked, other)
            mark = marked(truth, path, part, own, f"{figure:.9f}", part.unit)
            assert mark.verdict in (UNIT, SLIP), f"seed {SEED}: {path} {mark}"
            assert mark.verdict == SLIP or 2 * mark.hundredths == mark.most


def test_the_sheet_that_goes_back_tells_what_was_to_be_found_from_there():
    seen = 0
    for truth, path, part, own in after_own_errors("m01_timing", 40):
        if path != "m01.total.line_on":
            continue
        slip = next(slip for slip in part.slips if slip.key == "not-doubled")
        mark = marked(truth, path, part, own, f"{slip.value(truth.given_at(path), *own.values()):.9f}")
        if (mark.verdict, mark.slip) == (SLIP, "not-doubled"):
            assert (mark.expected, mark.width) == (truth.following(path, own), truth.tolerance(path, own=own))
            assert mark.hundredths == 150
            seen += 1
    assert seen > 20


@pytest.mark.parametrize("typed", ["{} psi", "{} psi gauge", "{} psig"])
def test_a_bare_unit_is_the_asked_one_in_a_mix_up_too(typed):
    """The figure in kPa with psi behind it: half the marks, however psi is written; a bare psi earned nothing."""
    module = catalogue.module("m04_plug_testing")
    path = "m04.regap.pressure"
    for numbers in proof.draws(module, 20):
        truth = Truth(module, numbers)
        part = module.by_path[path][1]
        figure = units.convert(truth.answer(path), part.asked, units.unit("kPa gauge"))
        earlier = Earlier()
        mark = mark_part(truth, path, part, Answer(typed.format(f"{figure:.4f}")), earlier)
        assert (mark.verdict, 2 * mark.hundredths) == (UNIT, mark.most)
        assert earlier.unit_errors == {("psi gauge", "kPa gauge")}  # however it is written: charged once
