"""One coherent car: figures that were reckoned before it was written, limits, identities and directions."""

from dataclasses import fields, replace
from functools import cache
from math import inf, isnan

import numpy as np
import pytest
from hypothesis import given, seed, settings
from hypothesis import strategies as st

from grader.errors import OutOfRange, Unknown
from grader.reference.spark import breakdown, cables, coil, misfire
from grader.reference.timing import advance, filling, induction
from grader.vehicle.car import (
    COLD,
    CRANK,
    FREE,
    HOT_SOAKED,
    IDLE,
    MM_PER_IN,
    ON_MANIFOLD,
    ROAD,
    Running,
    Surroundings,
    cards,
    check,
)
from grader.vehicle.model import Model
from grader.vehicle.state import State, hill_demand_kv, idle_opening_mm2, solve, sound_car
from grader.widgets.panels.heat_range import wear as m03_panel

V8, SIX = "anstow-v8", "tolmere-six"
KEYS = list(cards())
IDLING = Running(IDLE)


@cache
def state(car, running, surroundings=Surroundings()):  # noqa: B008 - frozen
    return solve(car, running, surroundings)


def hill(car):
    return Running(ROAD, rpm=0.35 * car.card.rated_rpm, load=0.97)


def speed(car):
    return Running(ROAD, rpm=0.95 * car.card.rated_rpm, load=0.92)


def cruise(car):
    return Running(ROAD, rpm=0.5 * car.card.rated_rpm, load=0.5)


def with_miles(car, thousands):
    """The car with new plugs that have run so far, wear alone."""
    n = car.cylinders
    return replace(
        car,
        plug_gap_mm=(MM_PER_IN * (car.card.plug_gap_in + 0.001 * thousands),) * n,
        rounding=(min(1.0, 0.04 * thousands),) * n,
    )


def of_one(values, number, value):
    return tuple(value if place == number - 1 else old for place, old in enumerate(values))


# Figures reckoned independently, before this code was written (teaching values).


def test_the_v8_idles_at_the_manuals_speed_with_the_vacuum_it_should_have():
    idle = state(sound_car(V8), IDLING)
    assert idle.rpm == pytest.approx(650, abs=1) and idle.vacuum_inhg == pytest.approx(20.3, abs=0.3)


def test_five_degrees_more_make_it_idle_faster():
    assert state(replace(sound_car(V8), body_deg=5.0), IDLING).rpm == pytest.approx(671, abs=4)


def test_on_a_mountain_it_idles_slower_and_the_gauge_reads_lower():
    idle = state(sound_car(V8), IDLING, Surroundings(altitude_m=1524.0))
    assert idle.rpm == pytest.approx(587, abs=6) and idle.vacuum_inhg == pytest.approx(16.2, abs=0.3)


def test_one_lead_earthed_costs_the_v8_some_fifty_revolutions():
    assert state(sound_car(V8), replace(IDLING, earthed=1)).rpm == pytest.approx(598, abs=6)


@pytest.mark.parametrize(("thousands", "asked"), [(0, 12.1), (5, 14.3), (10, 16.7), (15, 19.2), (20, 22.0)])
def test_plugs_ask_for_more_voltage_uphill_mile_by_mile(thousands, asked):
    car = with_miles(sound_car(V8), thousands)
    uphill = state(car, hill(car))
    assert uphill.required_kv == pytest.approx(asked, abs=0.1)
    # 23.9 was reckoned with a condenser arc and a plug shunt slightly stronger than the reference file's.
    assert uphill.available_kv == pytest.approx(23.9, abs=0.4)


@pytest.mark.parametrize(("share", "expected"), [(1.0, 18.3), (0.62, 2.4)])
def test_new_plugs_hold_so_many_thousand_miles_until_it_misses_uphill(share, expected):
    car = replace(sound_car(V8), coil_share=share)
    misses = [
        state(with_miles(car, thousands), hill(car)).misses.max() for thousands in (expected - 0.8, expected + 0.8)
    ]
    assert misses[0] < 0.03 < misses[1]


# The sound car.


@pytest.mark.parametrize("altitude_m", [0.0, 1500.0])
@pytest.mark.parametrize("air_c", [-5.0, 20.0, 35.0])
@pytest.mark.parametrize("key", KEYS)
def test_a_sound_car_starts_idles_pulls_and_does_not_miss_in_any_weather(key, air_c, altitude_m):
    car, around = sound_car(key), Surroundings(air_c, altitude_m)
    for engine in (COLD, HOT_SOAKED):
        assert state(car, Running(CRANK, engine=engine), around).fires.min() > 0.9
    idle = state(car, IDLING, around)
    assert idle.runs and abs(idle.rpm - car.spec.idle_rpm) < 90 and idle.misses.max() < 0.01
    assert idle.scatter_deg == pytest.approx(0.0, abs=1e-9) and idle.dwell_swing_deg == pytest.approx(0.0, abs=1e-9)
    for running in (cruise(car), hill(car), speed(car)):
        road = state(car, running, around)
        assert road.runs and road.misses.max() < 0.01 and road.nose_c.max() < 850
    assert state(car, hill(car), around).knock_margin_deg > 0


@pytest.mark.parametrize("key", KEYS)
def test_it_idles_where_the_manual_wants_it_to(key):
    car = sound_car(key)
    idle = state(car, IDLING)
    assert idle.rpm == pytest.approx(car.spec.idle_rpm, abs=1) and abs(idle.torque_nm) < 0.05
    assert idle.dwell_deg == pytest.approx(car.spec.dwell_deg, abs=1e-6)
    assert 17 < idle.vacuum_inhg < 22
    assert check(car) is car


@pytest.mark.parametrize("key", KEYS)
def test_power_and_fuel_are_of_the_size_of_a_plain_engine(key):
    """Remembered textbook ranges at full load, wide at speed: the bench compares, it does not rate an engine."""
    car = sound_car(key)
    for running, most_g_per_kwh in ((hill(car), 450), (speed(car), 560)):
        road = state(car, running)
        assert 4.0 < road.torque_nm * 4 * np.pi / (100 * car.card.displacement_l) < 10.0
        assert 250 < 3600 * road.fuel_g_s / road.power_kw < most_g_per_kwh


@pytest.mark.parametrize("key", KEYS)
def test_line_on_at_idle_moves_nothing_on_a_ported_car(key):
    car = sound_car(key)
    on, off = state(car, IDLING), state(car, replace(IDLING, line=False))
    if car.spec.port == "ported":
        assert on.mark_deg == off.mark_deg == pytest.approx(car.spec.initial_deg)
        assert on.line_vacuum_inhg == 0.0
    else:
        assert on.mark_deg > off.mark_deg == pytest.approx(car.spec.initial_deg)


# Identities.


@pytest.mark.parametrize("key", KEYS)
def test_total_advance_is_that_of_the_advance_file(key):
    car = sound_car(key)
    for running in (cruise(car), hill(car), speed(car), Running(FREE, rpm=2000.0, line=False)):
        at = state(car, running)
        total = advance.total_advance_deg(
            at.rpm, at.line_vacuum_inhg, car.spec.initial_deg, car.spec.centrifugal, car.spec.vacuum
        )
        assert at.advance_deg == pytest.approx(total, abs=1e-9) and at.mark_deg == pytest.approx(total, abs=1e-9)


def test_dwell_and_timing_change_one_for_one():
    """A wider gap takes dwell away and brings the spark as many crank degrees earlier."""
    car = sound_car(V8)
    for share in (0.6, 1.3):
        changed = state(replace(car, gap_mm=share * car.gap_mm), cruise(car))
        assert changed.dwell_deg + changed.mark_deg == pytest.approx(
            car.spec.dwell_deg + state(car, cruise(car)).mark_deg, abs=1e-9
        )


def test_a_slipped_ring_moves_the_mark_and_not_the_spark():
    car = sound_car(V8)
    slipped = state(replace(car, ring_slip_deg=9.0), cruise(car))
    assert slipped.mark_deg == pytest.approx(slipped.mean_advance_deg + 9.0)
    assert slipped.advance_deg == pytest.approx(state(car, cruise(car)).advance_deg)


def test_half_a_turn_out_shows_the_same_mark_and_fires_nothing():
    """The lead of number one sparks at the other top: a timing light cannot tell."""
    car = sound_car(SIX)
    wrong = state(replace(car, shift_deg=360.0), Running(CRANK))
    assert wrong.mark_deg == pytest.approx(state(car, Running(CRANK)).mark_deg)
    assert wrong.fires.max() < 1e-6 and not state(replace(car, shift_deg=360.0), IDLING).runs


def test_the_spark_never_holds_more_than_the_coil_stored():
    for key in KEYS:
        car = sound_car(key)
        for running in (IDLING, hill(car), speed(car), Running(CRANK)):
            at = state(car, running)
            assert np.all(at.energy_mj > 0.0)
            assert np.all(at.energy_mj <= coil.stored_energy_mj(at.current_a, car.coil_mh))


def test_torque_without_spark_or_without_fuel_is_what_friction_and_pumping_take():
    car = sound_car(V8)
    dead = state(replace(car, feed_open=True), hill(car))
    starved = state(replace(car, starved=0.9), speed(car))
    assert dead.torque_nm < 0 and starved.torque_nm < 0 and not dead.runs and not starved.runs
    assert dead.imep_bar == pytest.approx(0.0) and starved.imep_bar == pytest.approx(0.0, abs=1e-6)
    assert not state(replace(car, feed_open=True), IDLING).runs


def test_what_the_engine_draws_passes_its_opening():
    """The manifold settles where throttle and engine agree."""
    for key in KEYS:
        car = sound_car(key)
        idle = state(car, IDLING)
        passed = induction.throttle_flow_g_per_s(car.idle_area_mm2, idle.manifold_kpa / idle.barometer_kpa)
        share = filling.volumetric_efficiency(idle.manifold_kpa, idle.exhaust_kpa, car.card.compression_ratio)
        drawn = filling.engine_flow_g_per_s(idle.manifold_kpa, idle.rpm, share, car.card.displacement_l)
        assert passed == pytest.approx(drawn, rel=0.01)


@pytest.mark.parametrize("rpm", [1400.0, 2600.0, 3800.0])
def test_the_reserve_of_lesson_three_is_that_of_the_car(rpm):
    """The panel's V8 and this one, put under the same conditions: the same coil, the same plug, the same reserve."""
    km = 16000.0
    lesson = m03_panel.compute(0.889, km, m03_panel.FULL, m03_panel.SOUND)
    load = 95.0 / (0.97 * 101.325)
    n = 8
    car = replace(
        sound_car(V8), contact_ohm=0.0, body_deg=2.0, plug_gap_mm=(lesson.gap_mm,) * n, rounding=(lesson.rounding,) * n
    )
    at = state(car, Running(ROAD, rpm=rpm, load=load, line=False))
    place = int(np.argmin(np.abs(m03_panel._SPEEDS - rpm)))
    assert m03_panel._SPEEDS[place] == rpm
    assert at.coil_kv == pytest.approx(lesson.available[place], rel=1e-6)
    conditions = misfire.EDGE_FACTOR * breakdown.demand_factor(
        air_ratio=at.air_ratio, electrode_c=misfire.electrode_c(load, rpm / car.card.rated_rpm)
    )
    assert at.plug_demand_kv == pytest.approx(conditions * lesson.required[place], rel=1e-9)
    reserve = breakdown.reserve_kv(at.coil_kv, at.plug_demand_kv, cables.rotor_gap_kv(car.rotor_gap_mm))
    assert at.coil_kv - at.required_kv == pytest.approx(reserve)


def test_many_speeds_at_once_are_each_speed_alone():
    car = sound_car(V8)
    model = Model(replace(car, play_mm=0.1), Running(ROAD, 1000.0, 0.5), Surroundings(), car.idle_area_mm2)
    speeds, pressures = np.array([700.0, 1500.0, 3800.0]), np.array([35.0, 60.0, 98.0])
    together = model.at(speeds, pressures)
    for place in range(3):
        alone = model.at(speeds[place : place + 1], pressures[place : place + 1])
        for name, array in vars(together).items():
            if isinstance(array, np.ndarray) and array.shape[-1] == 3:
                assert array[..., place] == pytest.approx(getattr(alone, name)[..., 0], rel=1e-12), name


def test_the_hill_is_what_severities_are_shares_of():
    car = sound_car(V8)
    assert hill_demand_kv(V8) == pytest.approx(state(car, hill(car)).required_kv.max())


def test_volts_with_the_key_on_share_themselves_among_the_resistances():
    car = sound_car(V8)
    at = state(car, IDLING)
    assert at.feed_v == pytest.approx(0.91 * 13.8 * 1.62 / 3.22) and at.drop_v == pytest.approx(
        0.91 * 13.8 * 0.02 / 3.22
    )
    assert at.feed_crank_v == car.crank_v and at.open_v == pytest.approx(0.91 * 13.8)
    through = state(replace(car, bypass_ok=False), IDLING)
    assert through.feed_crank_v == pytest.approx(car.crank_v * 1.62 / 3.22)
    film = state(replace(car, film=True), IDLING)
    assert film.drop_v == film.feed_v == pytest.approx(0.91 * 13.8) and film.open_v == film.feed_v
    for never_broken in ({"lt_short": True}, {"condenser_short": True}):
        dead = state(replace(car, **never_broken), Running(CRANK))
        assert dead.open_v == 0.0 and dead.dwell_deg == 45.0 and dead.coil_kv.max() == 0.0
    assert state(replace(car, film=True), Running(CRANK)).dwell_deg == 0.0
    assert isnan(state(replace(car, feed_open=True), Running(CRANK)).dwell_deg)
    assert state(replace(car, feed_open=True), IDLING).feed_v == 0.0


def test_a_car_that_stops_has_no_readings_of_a_turning_engine():
    stopped = state(replace(sound_car(V8), lt_short=True), IDLING)
    assert not stopped.runs and stopped.rpm == 0.0 and stopped.vacuum_inhg == 0.0
    assert isnan(stopped.mark_deg) and np.isnan(stopped.required_kv).all() and not stopped.fires.any()
    assert stopped.feed_v > 0 and stopped.compression_psig == pytest.approx(150.0)


# Directions.


def rises(values):
    return bool(np.all(np.diff(values) > 0))


def test_a_wider_plug_gap_never_asks_for_less():
    car = sound_car(V8)
    gaps = np.linspace(0.4, 2.5, 22)
    for running in (IDLING, hill(car), speed(car), Running(CRANK, engine=COLD)):
        asked = [state(replace(car, plug_gap_mm=(gap,) * 8), running).plug_demand_kv[0] for gap in gaps]
        if running is IDLING:  # narrow gaps light badly there: speed and charge shift a little
            asked = asked[6:]
        assert rises(asked)


def test_more_load_asks_for_more_and_more_advance_for_less():
    car = sound_car(V8)
    assert rises([state(car, Running(ROAD, 1400.0, load)).plug_demand_kv[0] for load in (0.4, 0.6, 0.8, 0.97)])
    assert rises([state(replace(car, body_deg=-early), hill(car)).plug_demand_kv[0] for early in (-8.0, 0.0, 8.0)])


def test_vacuum_falls_with_the_barometer():
    car = sound_car(V8)
    heights = (0.0, 500.0, 1000.0, 1500.0, 2000.0)
    assert rises([-state(car, IDLING, Surroundings(altitude_m=height)).vacuum_inhg for height in heights])


def test_late_timing_costs_pull_and_economy():
    for key in KEYS:
        car = sound_car(key)
        late = replace(car, body_deg=-10.0)
        for running in (cruise(car), hill(car)):
            assert state(late, running).torque_nm < state(car, running).torque_nm
        assert state(late, IDLING).rpm < state(car, IDLING).rpm


def test_a_weak_coil_gives_less_everywhere_and_a_hot_one_only_once_soaked():
    car = sound_car(V8)
    assert state(replace(car, coil_share=0.5), IDLING).coil_kv == pytest.approx(
        0.5 * state(car, IDLING).coil_kv, rel=0.01
    )
    soaked = replace(car, coil_hot_share=0.4)
    assert state(soaked, hill(car)).coil_kv == pytest.approx(state(car, hill(car)).coil_kv)
    assert state(soaked, Running(CRANK, engine=HOT_SOAKED)).coil_kv == pytest.approx(
        0.4 * state(car, Running(CRANK, engine=HOT_SOAKED)).coil_kv
    )


def test_a_cold_morning_asks_for_more_from_a_cold_engine():
    car = sound_car(SIX)
    asked = [
        state(car, Running(CRANK, engine=COLD), Surroundings(air_c=air_c)).required_kv.max()
        for air_c in (35, 20, 5, -10)
    ]
    assert rises(asked)


def test_water_finds_a_weak_lead_and_leaves_a_sound_one_alone():
    car = sound_car(V8)
    weak = replace(car, lead_flash_kv=of_one(car.lead_flash_kv, 3, 15.0))
    wet = replace(hill(car), wet=True)
    assert state(car, wet).misses.max() < 0.01 and state(weak, hill(car)).misses[2] < 0.5 < state(weak, wet).misses[2]
    assert np.delete(state(weak, wet).misses, 2).max() < 0.01


def test_a_broken_core_costs_voltage_at_its_own_lead_only():
    car = sound_car(V8)
    broken = replace(car, lead_break_mm=of_one(car.lead_break_mm, 5, 4.0), lead_kohm=of_one(car.lead_kohm, 5, 1e4))
    at, whole = state(broken, hill(car)), state(car, hill(car))
    assert at.at_lead_kv[4] < whole.at_lead_kv[4] - 8
    assert np.delete(at.at_lead_kv, 4) == pytest.approx(np.delete(whole.at_lead_kv, 4))


def test_leads_changed_over_spark_two_cylinders_at_the_wrong_time():
    car = sound_car(V8)  # 1-5-4-2-6-3-7-8
    swapped = state(replace(car, lead_swap=(5, 4)), hill(car))
    usual = state(car, hill(car)).mean_advance_deg
    assert swapped.advance_deg[[3, 4]] == pytest.approx([usual + 90.0, usual - 90.0])
    assert swapped.misses[[3, 4]] == pytest.approx(1.0) and np.delete(swapped.misses, [3, 4]).max() < 0.01
    assert swapped.cross[3] > 0.9 and swapped.cross[4] == 0.0
    assert state(replace(car, lead_swap=(5, 4)), IDLING).cross.max() < 0.05, (
        "the thin charge of idle does not light early"
    )


def test_bundled_leads_fire_the_next_cylinder_of_the_same_bank_uphill_and_not_at_idle():
    car = replace(sound_car(V8), lead_spacing_mm=7.0, lead_permittivity=3.4)
    uphill = state(car, hill(car))
    assert uphill.cross[7] > 0.1 and uphill.misses[7] > 0.1 and np.delete(uphill.cross, 7).max() == 0.0
    assert state(car, IDLING).cross.max() < 0.01
    assert state(sound_car(V8), hill(car)).cross.max() < 1e-6
    six = sound_car(SIX)
    assert state(replace(six, lead_spacing_mm=7.0, lead_permittivity=3.4), hill(six)).cross.max() == 0.0


def test_an_air_leak_makes_its_cylinder_lean_and_fades_as_the_throttle_opens():
    car = sound_car(V8)
    leaky = replace(car, leak_area_mm2=0.2 * car.idle_area_mm2, leak_near=2)
    idle, road = state(leaky, IDLING), state(leaky, cruise(car))
    assert idle.air_ratio.argmax() == 1 and idle.air_ratio[1] > 1.2
    assert np.ptp(road.air_ratio) < 0.5 * np.ptp(idle.air_ratio)


def test_a_hose_on_the_manifold_brings_advance_and_speed_at_idle():
    car = sound_car(V8)
    wrong = state(replace(car, hose=ON_MANIFOLD), IDLING)
    assert wrong.line_vacuum_inhg == pytest.approx(wrong.vacuum_inhg) and wrong.rpm > car.spec.idle_rpm + 30


def test_a_punctured_diaphragm_and_a_seized_plate_both_give_no_vacuum_advance():
    car = sound_car(V8)
    whole = state(car, cruise(car)).mark_deg
    assert state(replace(car, leak_inhg_s=4.0), cruise(car)).mark_deg < whole - 10
    assert state(replace(car, plate_stuck=True), cruise(car)).mark_deg < whole - 10


def test_a_weak_spring_floats_at_speed_alone():
    car = replace(sound_car(V8), spring_n=2.0)
    assert state(car, Running(FREE, 1000.0, line=False)).dwell_deg == pytest.approx(car.spec.dwell_deg)
    assert state(car, speed(car)).dwell_deg < car.spec.dwell_deg - 2
    assert state(car, speed(car)).coil_kv.max() < state(sound_car(V8), speed(car)).coil_kv.max()


def test_a_pigtail_breaks_where_the_plate_has_travelled_far_enough():
    car = replace(sound_car(V8), pigtail_deg=3.0)
    assert state(car, IDLING).misses.max() < 0.01 and state(car, hill(car)).misses.max() < 0.01
    assert state(car, cruise(car)).misses.min() > 0.99
    marine = replace(sound_car("pennock-marine-six"), pigtail_deg=3.0)
    hunting = state(marine, IDLING)
    assert 0.2 < hunting.misses.max() < 0.9 and hunting.rpm < 500, (
        "it hunts about the place where the plate breaks the wire"
    )


def test_a_colder_plug_runs_cooler_and_a_flat_out_run_heats_them_all():
    car = sound_car(V8)
    noses = [state(replace(car, nose_mm=(nose,) * 8), speed(car)).nose_c[0] for nose in (9.0, 14.0, 20.0)]
    assert rises(noses)
    assert rises([state(car, running).nose_c[0] for running in (IDLING, cruise(car), speed(car))])


def test_setting_the_idle_finds_the_speed_that_is_asked_for():
    car = sound_car(V8)
    for rpm in (550.0, 700.0, 900.0):
        opened = replace(car, idle_area_mm2=idle_opening_mm2(car, rpm))
        assert state(opened, IDLING).rpm == pytest.approx(rpm, abs=2)
    assert isnan(idle_opening_mm2(replace(car, feed_open=True)))


def test_a_bridged_plug_and_an_earthed_lead_are_alike_to_the_engine():
    car = sound_car(V8)
    bridged = state(replace(car, bridged=of_one(car.bridged, 4, True)), IDLING)
    assert bridged.rpm == pytest.approx(state(car, replace(IDLING, earthed=4)).rpm, abs=0.01)
    assert bridged.misses[3] == 1.0 and bridged.at_lead_kv[3] == pytest.approx(bridged.at_lead_kv[0])


@seed(20)
@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    key=st.sampled_from(KEYS),
    load=st.floats(0.25, 1.0),
    share=st.floats(0.2, 1.0),
    body=st.floats(-15, 15),
    gap=st.floats(0.0, 1.7),
    coil_share=st.floats(0.2, 1.0),
    miles=st.floats(0.0, 30.0),
    play=st.floats(0.0, 0.3),
    leak=st.floats(0.0, 1.0),
    choke=st.floats(0.0, 1.0),
    shunt=st.floats(0.05, 100.0),
    air_c=st.floats(-10, 40),
    altitude_m=st.floats(0, 3000),
    wet=st.booleans(),
)
def test_any_car_gives_a_state_that_can_be(
    key, load, share, body, gap, coil_share, miles, play, leak, choke, shunt, air_c, altitude_m, wet
):
    """Probabilities are shares, nothing comes from nothing, and no reading is missing while it runs."""
    sound = with_miles(sound_car(key), miles)
    car = replace(
        sound, body_deg=body, gap_mm=gap * sound.gap_mm, coil_share=coil_share, play_mm=play,
        leak=of_one(sound.leak, 1, leak), choke=choke, shunt_mohm=(shunt,) * sound.cylinders,
    )  # fmt: skip
    around = Surroundings(air_c, altitude_m)
    road = Running(ROAD, rpm=max(400.0, share * car.card.rated_rpm), load=load, wet=wet)
    for running in (IDLING, road, Running(CRANK, engine=COLD, wet=wet)):
        at = solve(check(car), running, around)
        for chance in (at.spark, at.burn, at.fires, at.cross, at.misses):
            assert np.all((chance >= 0.0) & (chance <= 1.0))
        if running.mode == IDLE and not at.runs:
            continue
        assert np.all(at.fires <= np.minimum(at.spark, at.burn) + 1e-12)
        assert np.all(at.available_kv <= at.coil_kv + 1e-9) and np.all(at.required_kv > at.plug_demand_kv)
        assert np.all(at.energy_mj >= 0) and 0 < at.manifold_kpa <= at.barometer_kpa
        assert at.fuel_g_s > 0 and np.all(at.compression_psig >= 0)
        if running.mode == IDLE:
            # a boundary of the idle (plate, tap) may fall between two speeds: then the engine hunts about it
            assert 220 <= at.rpm <= 3200 and abs(at.torque_nm) < 0.02 * 100 * car.card.displacement_l


# Refusals.


def test_refuses_what_is_no_car_or_no_condition():
    with pytest.raises(Unknown, match="Cylinder 9 cannot be earthed"):
        solve(sound_car(V8), replace(IDLING, earthed=9))
    with pytest.raises(Unknown, match="mode"):
        Running("fly")
    with pytest.raises(Unknown, match="engine"):
        Running(IDLE, engine="lukewarm")
    with pytest.raises(OutOfRange, match="Manifold pressure"):
        Running(ROAD, rpm=2000.0, load=1.2)
    with pytest.raises(OutOfRange, match="speed"):
        Running(FREE, rpm=0.0)
    with pytest.raises(OutOfRange, match="altitude"):
        Surroundings(altitude_m=4000.0)
    with pytest.raises(OutOfRange, match="air temperature"):
        Surroundings(air_c=60.0)
    with pytest.raises(Unknown, match="No vehicle 'cart'"):
        sound_car("cart")


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("contact_ohm", -1.0, "contact_ohm"),
        ("rounding", (2.0,) * 8, "rounding"),
        ("leak", (0.1,) * 4, "holds 4 figures"),
        ("hose", "round the corner", "hose"),
        ("lead_swap", (1, 1), "cannot be changed over"),
        ("leak_near", 9, "near cylinder 9"),
        ("coil_flash_kv", inf, None),
    ],
)
def test_a_car_outside_its_ranges_is_refused(field, value, says):
    car = replace(sound_car(V8), **{field: value})
    if says is None:
        assert check(car) is car
        return
    with pytest.raises(OutOfRange, match=says):
        check(car)


def test_every_field_of_a_state_is_told_in_its_text():
    told = State.__doc__
    assert [field.name for field in fields(State) if field.name not in told] == []
