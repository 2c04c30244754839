"""Module 2 keeps its promises."""

import pytest
from scipy.optimize import brentq

from grader import catalogue
from grader.exercise.truth import Truth
from grader.marking.verdict import SLIP
from grader.modules.dwell import coil as coil_exercises
from grader.reference.spark import points
from grader.vehicle.spec import vehicles
from tests.modules import proofs, workshop


@pytest.fixture(scope="module")
def m02():
    return catalogue.module("m02_dwell")


@pytest.fixture(scope="module")
def drawn(m02):
    return proofs.draws(m02, 120)


def test_everything(m02):
    found = proofs.everything(m02, 300)
    assert found.fixed_share < 0.1
    assert found.copied_sheet < 0.2 * m02.marks


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


def test_at_least_six_kinds_of_answer(m02):
    assert len({type(part) for _, part, _ in m02.parts()}) >= 6
    assert m02.marks == 30


def test_each_objective_rests_on_two_exercises(m02):
    assert workshop.resting_on_one(m02) == set()


@pytest.mark.parametrize(
    ("key", "facts"),
    [
        ("m02.find_error", lambda v: (v.wrong, getattr(v, f"says_{v.wrong}"), v.wording)),
        ("m02.feeler", lambda v: (v.case, v.title)),
        ("m02.fit_order", lambda v: v.fitting),
        ("m02.high_miss", lambda v: (v.fault, v.title)),
        ("m02.crater", lambda v: (v.earth, v.gone, v.measured, v.wording_gone)),
        ("m02.contacts", lambda v: tuple(map(tuple, v.sets))),
        ("m02.next_test", lambda v: (v.answer, v.title, v.complaint, v.idle, v.speed, v.drop)),
        ("m02.tell_owner", lambda v: (v.cause, v.title, v.side)),
        ("m02.meter", lambda v: (v.title, v.scale, v.off_deg)),
    ],
)
def test_a_judgement_is_met_in_thirty_different_cases(m02, key, facts):
    """Facts that decide, not figures that only look different."""
    assert len(workshop.cases(m02, key, facts)) >= 30


def test_a_narrow_gap_is_rough_at_idle_and_misses_at_speed(m02):
    seen = set()
    for given in workshop.issued(m02, "m02.high_miss", count=1000):
        v = given["m02.high_miss"]
        off = points.dwell_of_duty_deg(v.idle_percent, v.cylinders) - v.dwell_deg
        judged = "narrow" if off > 2.5 else "wide" if off < -2.5 else None
        if judged is None:
            falls = v.idle_percent - v.fast_percent > 3
            judged = "spring" if falls else "resistance" if v.drop_v > 0.2 else "elsewhere"
        assert judged == v.fault
        seen.add(v.fault)
        told = next(e for e in m02.exercises if e.key == "m02.high_miss").wording(v)
        assert ("idles roughly and misses at high speed" in told) == (v.fault == "narrow")
    assert len(seen) == 5


def test_whoever_forgets_the_switches_loses_two_vehicles_and_is_told(m02, drawn):
    """One looks faulty and is sound, one looks sound and is faulty."""
    part = m02.by_path["m02.round.sorted"][1]
    slip = next(slip for slip in part.slips if slip.key == "as-read")
    for numbers in drawn:
        truth = Truth(m02, numbers)
        right, as_read = truth.answer("m02.round.sorted"), truth.slip("m02.round.sorted", slip)
        flips = [pair for pair in zip(right, as_read, strict=True) if set(pair) == {"keep", "reject"}]
        assert len(flips) >= 2 and set(flips) == {("keep", "reject"), ("reject", "keep")}
        typed = part.typed(as_read, truth.given("m02.round"))
        found = {p.path: p for p in proofs.marks_of(m02, numbers, {"m02.round.sorted": typed}).parts}
        mark = found["m02.round.sorted"]
        assert (mark.verdict, mark.slip) == (SLIP, "as-read") and mark.hundredths < mark.most


def test_of_each_vehicle_of_a_round_it_is_said_why(m02, drawn):
    for numbers in drawn[:40]:
        given = Truth(m02, numbers).given("m02.round")
        why = m02.by_path["m02.round.sorted"][1].because(given)
        assert list(why) == list("ABCDEFGH") and all(text.endswith(".") for text in why.values())


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
