"""Module 2 keeps its promises."""

import pytest
from scipy.optimize import brentq

from grader import catalogue
from grader.exercise.truth import Truth
from grader.modules.dwell import coil as coil_exercises
from grader.vehicle.spec import vehicles
from tests.modules import proofs


@pytest.fixture(scope="module")
def m02():
    return catalogue.module("m02_dwell")


@pytest.fixture(scope="module")
def drawn(m02):
    return proofs.draws(m02, 120)


def test_everything(m02):
    found = proofs.everything(m02, 300)
    assert found.fixed_share < 0.1
    assert found.copied_sheet < 0.22 * m02.marks, "four choices and one order give a copied sheet this much"


def test_honest_readings_are_right(m02):
    proofs.honest_readings_are_right(m02, readings=1000)


def test_numbers_and_answers_are_as_recorded(m02):
    proofs.numbers_and_answers_are_as_recorded(m02)


def test_every_teaching_vehicle_is_met(drawn):
    assert {numbers["m02.gap_dwell"]["vehicle"] for numbers in drawn} == set(vehicles())


def test_every_objective_is_in_the_list_and_asked(m02):
    asked = {code for _, part, _ in m02.parts() for code in part.objectives}
    assert asked == {code for code, row in catalogue.objectives().items() if row["module"] == "m02_dwell"}


def test_the_wording_holds_the_numbers_and_both_systems(m02, drawn):
    for numbers in drawn[:20]:
        truth = Truth(m02, numbers)
        said = {e.key: e.wording(truth.given(e.key)) for e in m02.exercises}
        assert not any(mark in text for text in said.values() for mark in "{}")
        assert " mm)" in said["m02.gap_dwell"] and " N)" in said["m02.spring"]
        assert all(e.route(truth.given(e.key)) for e in m02.exercises)


def test_at_least_six_kinds_of_answer_and_all_cases_come_up(m02, drawn):
    assert len({type(part) for _, part, _ in m02.parts()}) >= 6
    for key, name, count in (
        ("m02.feeler", "case", 5), ("m02.next_test", "case", 5), ("m02.find_error", "wrong", 5), ("m02.crater", "case", 8),
    ):  # fmt: skip
        assert len({numbers[key][name] for numbers in drawn}) == count


def test_a_morning_round_holds_something_to_keep_and_to_reject(m02, drawn):
    for numbers in drawn:
        sorted_cars = Truth(m02, numbers).answer("m02.round.sorted")
        assert len(sorted_cars) == 8 and {"keep", "reject"} <= set(sorted_cars)


def test_where_the_voltage_runs_out_is_where_the_curve_is_crossed(m02, drawn):
    """The read-off speed put back into the coil gives what plug and rotor gap need."""
    for numbers in drawn[:40]:
        speed = Truth(m02, numbers).answer("m02.enough_voltage.speed")
        given = numbers["m02.enough_voltage"]
        available = coil_exercises.available_kv(speed, given["cylinders"], contact_ohm=given["contact_ohm"])
        assert available == pytest.approx(given["plug_kv"] + 2, abs=1e-6)
        assert 2300 < speed < coil_exercises.FASTEST_RPM


def test_a_wear_reading_worked_on_from_an_own_dwell_counts(m02, drawn):
    """A wrong dwell is charged once; the timing worked out from it is right."""
    numbers = drawn[0]
    truth = Truth(m02, numbers)
    given = numbers["m02.wear_timing"]
    own = truth.answer("m02.gap_dwell.dwell") + 3.0
    answers = {
        "m02.gap_dwell.dwell": f"{own:.1f}",
        "m02.wear_timing.timing": f"{given['set_deg'] - (own - given['dwell_deg']):.1f}",
    }
    found = {part.path: part for part in proofs.marks_of(m02, numbers, answers).parts}
    assert found["m02.gap_dwell.dwell"].verdict == "wrong"
    assert found["m02.wear_timing.timing"].verdict == "carried" and found["m02.wear_timing.timing"].hundredths == 200


def test_the_crossing_is_the_one_that_a_library_finds():
    tried = 0
    for cylinders in coil_exercises.LESSON_DWELL:
        for required in (12.0, 15.0, 18.0, 21.0, 24.0):
            high = coil_exercises.available_kv(coil_exercises._FALLS_FROM_RPM, cylinders)
            if required < high and required > coil_exercises.available_kv(coil_exercises._FALLS_TO_RPM, cylinders):
                found = coil_exercises._runs_out_rpm(required, cylinders)
                known = brentq(lambda s, c=cylinders, r=required: coil_exercises.available_kv(s, c) - r, 1500, 15000)
                assert abs(found - known) < 1e-9
                tried += 1
    assert tried > 6
