"""Module 1 keeps its promises."""

import pytest

from grader import catalogue
from grader.exercise.truth import Truth
from grader.marking.verdict import SLIP
from grader.modules.timing import limits
from grader.reference.timing import advance, induction
from grader.vehicle.spec import vehicles
from tests.modules import proofs, workshop


@pytest.fixture(scope="module")
def drawn(m01):
    return proofs.draws(m01, 300)


def test_every_exercise_proves_itself(m01):
    found = proofs.everything(m01)
    for _, part, path in m01.parts():
        assert {slip.key for slip in part.slips} == set(found.parts[path].slips), f"{path}: a slip was never met"
    assert found.fixed_share < 0.11 and found.copied_sheet < 0.12 * m01.marks


def test_honest_readings_are_right(m01):
    proofs.honest_readings_are_right(m01)


def test_numbers_and_answers_are_as_recorded(m01):
    proofs.numbers_and_answers_are_as_recorded(m01)


def test_every_teaching_vehicle_is_met(m01, drawn):
    assert {numbers["m01.centrifugal"]["vehicle"] for numbers in drawn} == set(vehicles())


def test_every_objective_is_in_the_list_and_asked(m01):
    codes = {code for _, part, _ in m01.parts() for code in part.objectives}
    assert codes == {code for code, row in catalogue.objectives().items() if row["module"] == "m01_timing"}
    assert len({row["uuid"] for row in catalogue.objectives().values()}) == len(catalogue.objectives())


def test_the_wording_holds_the_numbers_and_both_systems(m01, drawn):
    truth = Truth(m01, drawn[0])
    said = {e.key: e.wording(truth.given(e.key)) for e in m01.exercises}
    assert "{" not in "".join(said.values())
    assert " kPa)" in said["m01.altitude"] and " ft)" in said["m01.altitude"] and " kPa)" in said["m01.round"]
    assert " in)" in said["m01.mark_arc"] and "kPa" in said["m01.total"]
    assert all(e.route(truth.given(e.key)) for e in m01.exercises)


def test_seven_kinds_of_answer(m01):
    assert len({type(part) for _, part, _ in m01.parts()}) == 7
    assert m01.marks == 30


def test_each_objective_rests_on_two_exercises(m01):
    assert workshop.resting_on_one(m01) == set()


@pytest.mark.parametrize(
    ("key", "facts"),
    [
        ("m01.check_order", lambda v: v.check),
        ("m01.racing", lambda v: (v.cause, v.engine, v.settles_rpm)),
        ("m01.line_test", lambda v: (v.fault, v.title, v.on_deg == v.off_deg, v.begins_inhg)),
        ("m01.leads_found", lambda v: (v.order, v.rotor, v.found)),
        ("m01.cap", lambda v: (v.order, v.rotor, v.start % len(v.order.split("-")))),
        ("m01.find_error", lambda v: (v.wrong, getattr(v, f"says_{v.wrong}"), v.wording)),
        ("m01.next_step", lambda v: (v.answer, v.dwell, v.line, v.idle, v.mark, v.pulley)),
    ],
)
def test_a_judgement_is_met_in_thirty_different_cases(m01, key, facts):
    """Facts that decide, not figures that only look different."""
    assert len(workshop.cases(m01, key, facts)) >= 30


def test_a_fast_idle_never_makes_the_mark_late(m01):
    for given in workshop.issued(m01, "m01.next_step", "m01.racing", count=1000):
        note, racing = given["m01.next_step"], given["m01.racing"]
        assert note.idle == "right" or note.mark != "late"
        assert min(racing.on_deg, racing.off_deg) >= racing.initial_deg


def test_whoever_skips_a_link_is_told_so(m01, drawn):
    """The dwell is wrong and the idle, too: whoever begins with the idle is told that something comes before it."""
    told = set()
    for numbers in drawn:
        for option in ("dwell", "line", "idle", "top", "set", "barometer"):
            found = {p.path: p for p in proofs.marks_of(m01, numbers, {"m01.next_step.step": option}).parts}
            mark = found["m01.next_step.step"]
            told |= {mark.slip} if mark.verdict == SLIP else set()
    assert told == {"acts-at-once", "wrong-reading", "later-link"}


def test_leads_clockwise_fire_in_order_when_the_rotor_turns(m01, drawn):
    """Walking the answer the way the rotor turns gives the firing order back."""
    for numbers in drawn[:60]:
        given = numbers["m01.cap"]
        leads = Truth(m01, numbers).answer("m01.cap.leads")
        step = 1 if given["rotor"] == "clockwise" else -1
        met = [leads[step * turn % len(leads)] for turn in range(len(leads))]
        assert "-".join(map(str, met)) == given["order"]


def test_eight_vehicles_are_sorted_by_each_of_three_readings(m01, drawn):
    kinds = ("good", "base", "weights", "both", "unit", "edge")
    wanted = dict.fromkeys(kinds, "reject") | {"good": "keep", "edge": "either"}
    met = set()
    for numbers in drawn[:100]:
        given = numbers["m01.round"]
        found = dict(zip("ABCDEFGH", Truth(m01, numbers).answer("m01.round.sorted"), strict=True))
        forced = {given["seat"], (given["seat"] + 3) % 8}
        for place, label in enumerate("ABCDEFGH"):
            if place not in forced:
                met.add(given[f"sort_{label}"])
                assert found[label] == wanted[given[f"sort_{label}"]]
        assert {"keep", "reject"} <= set(found.values())
    assert met == set(kinds)


def test_the_worked_height_of_the_lesson_and_the_way_back():
    """18.0 inHg at the sea is 13.0 at 5000 ft; the trade's inch for each thousand feet says the same."""
    at_sea, high = 29.921, induction.standard_pressure_kpa(1524) / limits.KPA_PER_INHG
    there = advance.vacuum_at_barometer_inhg(18.0, at_sea, high)
    assert there == pytest.approx(12.98, abs=0.01) and there == pytest.approx(18.0 - 5, abs=0.5)
    assert advance.vacuum_at_barometer_inhg(there, high, at_sea) == pytest.approx(18.0)


def test_a_gauge_high_up_reads_less(m01, drawn):
    for numbers in drawn[:100]:
        given = numbers["m01.altitude"]
        there = Truth(m01, numbers).answer("m01.altitude.vacuum")
        assert (there < given["vacuum_inhg"]) == (given["way"] == "up") and 5 < there < 22


def test_the_letters_old_setting_was_late(m01, drawn):
    """At the speed told the weights of every teaching vehicle are out, so that there is something to explain."""
    for numbers in drawn:
        given = numbers["m01.letter"]
        true = advance.true_initial_deg(given["initial_deg"], given["fast_rpm"], given["centrifugal"])
        assert given["initial_deg"] - true >= 1.0
        letter = Truth(m01, numbers).answer("m01.letter.text")
        assert f"{given['initial_deg'] - true:.1f}° late" in letter and "fuel" not in letter


def test_points_last_or_a_line_not_plugged_earns_nothing(m01, drawn):
    usual = [n for n in drawn if {"gap", "plug", "light"} <= set(Truth(m01, n).answer("m01.check_order.steps"))]
    assert usual
    for numbers in usual[:10]:
        right = Truth(m01, numbers).answer("m01.check_order.steps")
        points_last = [*(key for key in right if key != "gap"), "gap"]
        for steps in (points_last, [key for key in right if key != "plug"]):
            found = {p.path: p for p in proofs.marks_of(m01, numbers, {"m01.check_order.steps": ">".join(steps)}).parts}
            assert found["m01.check_order.steps"].hundredths == 0
