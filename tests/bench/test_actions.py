"""A repair mends what it is meant to mend, and upsets what a careless hand upsets."""

from dataclasses import replace
from math import inf

import pytest

from grader.bench import actions
from grader.bench.actions import COIL_LEAD, How, do
from grader.bench.draws import Draws
from grader.bench.instruments import instruments
from grader.bench.signs import Examined
from grader.errors import Refused, Unknown
from grader.vehicle.faults import ELSEWHERE, HIGH, MID, SOUND, THIRD, applies, cylinder_at, fault, faults, plant
from grader.vehicle.state import sound_car
from tests.bench.cars import ENGINES, FOUR, MARINE, V8, complained

KEY = b"a session of the tests"


def repaired(car, key, repair):
    at = COIL_LEAD if key == "king_open" else cylinder_at(car.spec, THIRD)
    for act in repair.split():
        car = do(car, act, how=How(at=at))
    return car


@pytest.mark.campaign
@pytest.mark.parametrize("engine", ENGINES)
def test_every_repair_clears_the_complaint(engine):
    """Done as the table says, each repair, and each of two that would do, leaves an owner without complaint."""
    left = []
    for key, row in faults().items():
        if not applies(key, engine) or row.mend in (ELSEWHERE, SOUND):
            continue
        for repair in row.actions.split("|"):
            for severity in (MID, HIGH) if row.severities else (MID,):
                still = complained(repaired(plant(sound_car(engine), key, severity), key, repair))
                if still:
                    left.append(f"{key} {severity}, {repair}: {still}")
    assert left == []


def test_what_lies_elsewhere_is_not_mended_by_saying_so():
    """ "Ignition is sound" changes nothing: the car goes to another hand as it came."""
    for key, row in faults().items():
        if row.mend == ELSEWHERE:
            car = plant(sound_car(V8), key)
            assert repaired(car, key, row.actions) == car and row.actions == "sound", key


def test_a_wrong_repair_leaves_the_complaint():
    """Parts fitted on a guess mend nothing: a new coil leaves the leaking lead where it is."""
    car = plant(sound_car(V8), "lead_leaky")
    for act in ("fit_coil", "fit_condenser", "fit_points", "fit_cap", "fit_rotor", "fit_plugs"):
        assert complained(do(car, act)), act


def test_dwell_moves_timing_and_timing_moves_no_dwell():
    """Set the gap and the mark moves by as much, the other way; so timing comes after dwell."""
    car = plant(sound_car(FOUR), "gap_small")
    before = Examined(car).states["idle plugged"]
    after = Examined(do(car, "set_dwell")).states["idle plugged"]
    assert after.dwell_deg == pytest.approx(car.spec.dwell_deg, abs=0.6)
    assert after.mark_deg - before.mark_deg == pytest.approx(before.dwell_deg - after.dwell_deg, abs=0.05)
    timed = do(plant(car, "timing_late"), "set_timing")
    assert timed.gap_mm == car.gap_mm
    assert Examined(timed).states["idle plugged"].mark_deg == pytest.approx(car.spec.initial_deg, abs=0.05)


def test_timing_set_at_a_fast_idle_is_late_at_the_right_one():
    """Set above the manual idle, the mark reads right and the timing is late by what the weights add there."""
    fast = do(plant(sound_car(V8), "port_uncovered"), "set_timing")
    assert Examined(fast).word("mark") == "N"
    slowed = do(fast, "set_idle")
    assert Examined(slowed).states["idle"].rpm == pytest.approx(fast.spec.idle_rpm, abs=5)
    late = fast.spec.initial_deg - Examined(slowed).states["idle plugged"].mark_deg
    assert late == pytest.approx(-slowed.body_deg, abs=0.05) and late > 2


def test_a_slipped_ring_stays_hidden_from_who_sets_by_the_mark():
    """The mark reads right after it, and the truth is as late as before."""
    car = do(plant(sound_car(V8), "ring_slipped"), "set_timing")
    x = Examined(car)
    assert x.word("mark") == "N" and x.word("tdc") == "off" and "sluggish" in complained(car)


def test_an_action_that_cannot_be_done_says_why():
    """A distributor a tooth out cannot be turned right; a lead has to be named; what is unknown is told."""
    with pytest.raises(Refused, match="Refit the distributor first"):
        do(plant(sound_car(V8), "tooth_out"), "set_timing")
    with pytest.raises(Refused, match="cylinder from 1 to 8, or the coil lead"):
        do(sound_car(V8), "fit_lead")
    with pytest.raises(Refused, match="find what is wrong first"):
        do(plant(sound_car(V8), "condenser_shorted"), "set_idle")
    with pytest.raises(Unknown, match="No action"):
        do(sound_car(V8), "polish")


def mishaps(act, changed, how=How(), times=400):  # noqa: B008 - frozen
    """How often an action on the sound V8 leaves something upset."""
    sound = sound_car(V8)
    return sum(changed(do(sound, act, Draws(KEY, act, count), how)) for count in range(times)) / times


def test_mishaps_come_as_often_as_said_and_not_to_who_marks_first():
    """Leads get mixed once in twenty-five, coil wires once in twenty; marked ones never."""
    sound = sound_car(V8)
    for act, share, changed in (
        ("fit_cap", 0.04, lambda car: car.lead_swap != ()),
        ("fit_leads", 0.04, lambda car: car.lead_swap != ()),
        ("fit_coil", 0.05, lambda car: car.reversed),
    ):
        width = 4 * (share / 400) ** 0.5  # four standard deviations of a count
        assert mishaps(act, changed) == pytest.approx(share, abs=width), act
        assert mishaps(act, changed, How(marked=True)) == 0, act
    lead_off = mishaps("clean_plugs", lambda car: max(car.lead_break_mm) > 0)
    assert 0 < lead_off < 0.06
    assert mishaps("fit_vacuum", lambda car: car.vacuum_shift_inhg > 0) == pytest.approx(0.05, abs=0.045)
    assert mishaps("fit_lead", lambda car: car.lead_spacing_mm < 60, How(at=3)) == pytest.approx(0.05, abs=0.045)
    films = mishaps("fit_points", lambda car: car.film)
    assert films == pytest.approx(0.10, abs=0.07)
    gaps = [do(sound, "fit_plugs", Draws(KEY, "box", count), How(gapped=False)).plug_gap_mm for count in range(40)]
    new = 25.4 * sound.card.plug_gap_in
    assert all(0.89 * new < gap < 1.16 * new for set_of in gaps for gap in set_of) and len(set(gaps)) == 40
    assert set(do(sound, "fit_plugs", Draws(KEY, "gapped")).plug_gap_mm) == {new}


def test_settings_fall_about_the_figure():
    """Dwell comes within half a degree or so and timing within one: no hand sets to the hair."""
    sound = sound_car(FOUR)
    marks = [
        Examined(do(sound, "set_timing", Draws(KEY, "timing", count))).states["idle plugged"].mark_deg
        for count in range(30)
    ]
    off = [mark - sound.spec.initial_deg for mark in marks]
    assert 0.5 < (sum(error**2 for error in off) / 30) ** 0.5 < 1.6 and max(map(abs, off)) < 4


def test_a_lead_that_was_left_off_is_found_and_pushed_home():
    """A lead off its plug kills the cylinder, is seen under the bonnet and goes home with the order."""
    car = replace(sound_car(V8), lead_break_mm=(0, 0, 15.0, 0, 0, 0, 0, 0))
    assert Examined(car).word("under_bonnet") == "leads" and "rough_idle" in complained(car)
    assert complained(do(car, "lay_order")) == ()


def test_burnt_points_that_are_dressed_burn_again():
    """Dressing halves the burn and no more; film goes for good."""
    burnt = do(plant(sound_car(V8), "points_burnt", HIGH), "clean_points")
    assert burnt.pitting == pytest.approx(0.5) and Examined(burnt).word("drop") == "H"
    assert not do(plant(sound_car(V8), "points_film"), "clean_points").film


def test_new_plugs_are_not_new_cylinders():
    """Oil past the rings wets the new plug too; a cracked one is gone with the old set."""
    oily = do(plant(sound_car(V8), "plug_oil"), "fit_plugs")
    assert any(oily.oil) and max(oily.leak) > 0
    assert do(plant(sound_car(V8), "plug_cracked"), "fit_plugs").plug_flash_kv == (inf,) * 8


def test_minutes_parts_and_what_must_follow():
    """Work on more cylinders takes longer; what follows is something that can be done or read."""
    plugs = actions.action("fit_plugs")
    assert plugs.minutes_on(sound_car(V8)) == 24 and plugs.minutes_on(sound_car(FOUR)) == 16
    assert (
        plugs.parts_on(sound_car(V8)) == 24 and actions.action("fit_cap").minutes_on(sound_car(V8), marked=True) == 16
    )
    for row in actions.actions().values():
        assert set(row.then) <= set(actions.actions()) | set(instruments()), row.key
    for key in ("gap_small", "points_burnt", "plate_seized"):
        assert fault(key).actions.endswith("set_dwell set_timing"), key


def test_a_manifold_hose_that_is_put_back_leaks_no_more():
    """The open tap let air in; the hose on it shuts it."""
    car = plant(sound_car(MARINE), "hose_off")
    assert car.leak_area_mm2 > 0 and do(car, "hose") == sound_car(MARINE)
