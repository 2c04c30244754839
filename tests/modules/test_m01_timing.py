"""Module 1 keeps its promises."""

import pytest

from grader import catalogue
from grader.vehicle.spec import vehicles
from tests.modules import proofs


@pytest.fixture(scope="module")
def drawn(m01):
    return proofs.draws(m01, 300)


def test_every_exercise_proves_itself(m01):
    found = proofs.everything(m01)
    for exercise, part, path in m01.parts():
        assert {slip.key for slip in part.slips} == set(found.parts[path].slips), f"{path}: a slip was never met"
    assert found.fixed_share < 0.11 and found.copied_sheet < 0.12 * m01.marks


def test_honest_readings_are_right(m01):
    proofs.honest_readings_are_right(m01)


def test_numbers_and_answers_are_as_recorded(m01):
    proofs.numbers_and_answers_are_as_recorded(m01)


def test_every_teaching_vehicle_is_met(m01, drawn):
    assert {numbers["m01.centrifugal"]["vehicle"] for numbers in drawn} == set(vehicles())


def test_every_objective_is_in_the_list(m01):
    codes = {code for _, part, _ in m01.parts() for code in part.objectives}
    assert codes <= set(catalogue.objectives())
    assert len({row["uuid"] for row in catalogue.objectives().values()}) == len(catalogue.objectives())


def test_the_wording_holds_the_numbers_and_both_systems(m01, drawn):
    from grader.exercise.truth import Truth

    truth = Truth(m01, drawn[0])
    said = {e.key: e.wording(truth.given(e.key)) for e in m01.exercises}
    assert "{" not in "".join(said.values())
    assert " in)" in said["m01.mark_arc"] and "kPa" in said["m01.total"]
    assert all(e.route(truth.given(e.key)) for e in m01.exercises)
