"""Exhaust left behind, charge drawn in, the pressure at which a manifold settles, the starter's speed."""

import numpy as np
import pytest
from hypothesis import given, seed, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from grader.errors import OutOfRange
from grader.reference.timing import filling, induction


def needed_mm2(pressure, speed, litres=5.2, ratio=8.5, barometer=101.325):
    exhaust = filling.exhaust_pressure_kpa(pressure, speed, barometer)
    share = filling.volumetric_efficiency(pressure, exhaust, ratio)
    flow = filling.engine_flow_g_per_s(pressure, speed, share, litres)
    return flow / induction.throttle_flow_g_per_s(1.0, pressure / barometer, barometer)


def test_at_one_pressure_the_clearance_takes_nothing_away():
    """Exhaust and manifold at one pressure: what is left in the clearance neither shrinks nor swells."""
    for ratio in (6.6, 8.5, 10.0):
        assert filling.volumetric_efficiency(101.325, 101.325, ratio) == pytest.approx(0.85, rel=1e-12)


def test_a_higher_compression_ratio_leaves_less_exhaust_behind():
    low, high = filling.volumetric_efficiency(35.0, 101.3, np.array([6.6, 10.0]))
    assert low < high < 0.85


def test_the_back_pressure_is_given_at_2000_and_full_charge_and_goes_with_the_square():
    assert filling.exhaust_pressure_kpa(101.325, 2000.0, back_kpa=40.0) == pytest.approx(141.325)
    assert filling.exhaust_pressure_kpa(101.325, 4000.0, back_kpa=10.0) == pytest.approx(141.325)
    assert filling.exhaust_pressure_kpa(101.325 / 2, 2000.0, back_kpa=40.0) == pytest.approx(111.325)


def test_flow_is_the_density_of_the_manifold_times_what_is_swept():
    """Against the gas law: one litre filled once a second at 310 K and 50 kPa."""
    assert filling.engine_flow_g_per_s(50.0, 120.0, 1.0, 1.0) == pytest.approx(50.0 / (0.28705 * 310.0), rel=1e-12)


@seed(11)
@settings(max_examples=40, deadline=None)
@given(opening=st.floats(8.0, 2000.0), speed=st.floats(200.0, 4000.0))
def test_the_manifold_settles_where_a_general_root_finder_finds_it(opening, speed):
    pressures = 101.325 * (1.0 - 1e-4 - 0.86 * np.linspace(1.0, 0.0, 60) ** 2)
    settled = filling.settled_pressure_kpa(opening, pressures, needed_mm2(pressures, speed))
    least, most = needed_mm2(pressures[[0, -1]], speed)
    if least < opening < most:
        exact = brentq(lambda p: needed_mm2(p, speed) - opening, pressures[0], pressures[-1])
        assert settled == pytest.approx(exact, abs=0.12)
    else:
        assert settled in (pressures[0], pressures[-1])


def test_with_one_filling_it_is_the_closed_form_of_the_induction_file():
    speeds = np.array([600.0, 1200.0, 2500.0])
    pressures = 101.325 * np.linspace(0.1, 0.9999, 2000)
    flow = filling.engine_flow_g_per_s(pressures, speeds[:, None], 0.8, 3.5)
    needed = flow / induction.throttle_flow_g_per_s(1.0, pressures / 101.325)
    settled = filling.settled_pressure_kpa(np.full(3, 60.0), pressures, needed)
    assert settled == pytest.approx(induction.manifold_pressure_kpa(60.0, speeds), rel=1e-4)


def test_a_faster_engine_pulls_more_vacuum_behind_one_opening():
    pressures = 101.325 * np.linspace(0.14, 0.999, 100)
    speeds = np.array([500.0, 700.0, 1000.0])
    settled = filling.settled_pressure_kpa(np.full(3, 30.0), pressures, needed_mm2(pressures, speeds[:, None]))
    assert np.all(np.diff(settled) < 0)


def test_the_tap_is_uncovered_once_the_idle_is_screwed_up_far_enough():
    assert filling.tap_covered(15.0, 10.0) and not filling.tap_covered(17.0, 10.0)
    assert filling.tap_covered(np.array([10.0, 20.0]), 10.0).tolist() == [True, False]


def test_a_weak_battery_turns_the_engine_slower_than_in_proportion():
    assert filling.cranking_speed_rpm(10.0, 10.0, 180.0) == pytest.approx(180.0)
    assert filling.cranking_speed_rpm(7.5, 10.0, 180.0) == pytest.approx(180.0 * 0.75**1.3)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: filling.volumetric_efficiency(0.0, 100.0), "manifold pressure"),
        (lambda: filling.exhaust_pressure_kpa(50.0, 1000.0, 30.0), "barometer"),
        (lambda: filling.engine_flow_g_per_s(50.0, 1000.0, 0.0, 1.0), "Volumetric efficiency"),
        (lambda: filling.settled_pressure_kpa(1.0, np.array([50.0, 40.0]), np.array([1.0, 2.0])), "must rise"),
        (lambda: filling.settled_pressure_kpa(0.0, np.array([40.0, 50.0]), np.array([1.0, 2.0])), "opening"),
        (lambda: filling.cranking_speed_rpm(0.0, 10.0, 180.0), "battery"),
    ],
)
def test_refuses(call, says):
    with pytest.raises(OutOfRange, match=says):
        call()
