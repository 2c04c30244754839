"""The flying arm against the peers that know the slow limit, and against a general solver."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from grader.errors import OutOfRange
from grader.reference.spark import follower, points

V8 = {"gap_mm": 0.4064, "lift_mm": 1.6256, "cylinders": 8}
ARM = {"spring_n": 5.0, "moving_mass_kg": 0.002}


def test_slow_enough_the_arm_follows_and_the_dwell_is_that_of_the_gap():
    speeds = np.array([0.0, 500.0, 2000.0, 4000.0])
    assert follower.dwell_at_speed_deg(**V8, speed_rpm=speeds, **ARM) == pytest.approx(30.0, abs=1e-9)


def test_dwell_falls_just_above_the_speed_at_which_the_block_leaves_the_cam():
    floats = points.float_speed_rpm(5.0, 0.002, 1.6256, 8)
    below, above, far = follower.dwell_at_speed_deg(**V8, speed_rpm=floats * np.array([0.999, 1.1, 1.3]), **ARM)
    assert below == pytest.approx(30.0, abs=1e-9)
    assert far < above < below - 0.5


@settings(max_examples=40)
@given(
    gap=st.floats(0.25, 0.6), n=st.sampled_from([4, 6, 8]), over=st.floats(1.05, 1.8), force=st.floats(2.0, 7.0),
)  # fmt: skip
def test_the_flight_is_that_of_a_general_solver(gap, n, over, force):
    """The same arm, stepped by an ODE solver from the moment it leaves the cam to the fixed contact."""
    lift, mass = 1.6, 0.002
    speed = over * points.float_speed_rpm(force, mass, lift, n)
    rate = n * speed / 2 * np.pi / 30

    def cam(time):
        return lift / 2e3 * (1 + np.cos(rate * time))

    opens = np.arccos(1 - 2 * gap / lift) / rate
    leaves = max(-np.arccos(1 / over**2) / rate, -opens)
    rest = (lift - gap) / 1e3

    def down(time, state):
        return state[0] - rest

    down.terminal, down.direction = True, -1
    start = [cam(leaves) + 1e-12, -lift / 2e3 * rate * np.sin(rate * leaves)]
    flown = solve_ivp(
        lambda time, state: [state[1], -force / mass], (leaves, leaves + 1.0), start, events=down, rtol=1e-10, atol=1e-13,
        dense_output=True,
    )  # fmt: skip
    lands = flown.t_events[0][0]
    meets_cam_first = flown.sol(opens)[0] <= cam(opens)
    closes = opens if meets_cam_first else lands
    expected = max(0.0, 360 / n * (1 - (closes + opens) * rate / (2 * np.pi)))
    found = follower.dwell_at_speed_deg(gap, lift, n, speed, force, mass)
    assert found == pytest.approx(expected, abs=1e-4)


def test_half_the_spring_does_the_same_at_0_7071_of_the_speed():
    whole = follower.dwell_at_speed_deg(**V8, speed_rpm=5000, spring_n=5.0, moving_mass_kg=0.002)
    half = follower.dwell_at_speed_deg(**V8, speed_rpm=5000 / np.sqrt(2), spring_n=2.5, moving_mass_kg=0.002)
    assert half == pytest.approx(whole, rel=1e-12) and whole < 29


def test_the_opening_is_the_gap_at_the_peak_and_more_when_the_arm_flies():
    slow, fast = follower.opening_mm(0.0, **V8, speed_rpm=np.array([1000.0, 6000.0]), **ARM)
    assert slow == pytest.approx(0.4064, rel=1e-12)
    assert fast > slow
    angles = np.linspace(-22.5, 45, 400)
    path = follower.opening_mm(angles, **V8, speed_rpm=6000.0, **ARM)
    shut = 45 - follower.dwell_at_speed_deg(**V8, speed_rpm=6000.0, **ARM)
    assert np.mean(path > 0) * 67.5 == pytest.approx(shut, abs=0.3)


@pytest.mark.parametrize(
    ("change", "says"), [({"gap_mm": 2.0}, "below the full lift"), ({"spring_n": 0.0}, "spring force")]
)
def test_refuses(change, says):
    with pytest.raises(OutOfRange, match=says):
        follower.dwell_at_speed_deg(**{**V8, "speed_rpm": 1000.0, **ARM, **change})
    with pytest.raises(OutOfRange, match="lobe"):
        follower.opening_mm(50.0, **V8, speed_rpm=1000.0, **ARM)


@pytest.mark.parametrize("cylinders", [4, 6, 8])
def test_a_sound_shaft_gives_every_lobe_the_gap_that_was_set(cylinders):
    gaps = follower.lobe_gaps_mm(0.4, 0.0, cylinders, np.array([0.0, 3000.0]))
    assert gaps.shape == (cylinders, 2) and np.all(gaps == 0.4)


def test_a_worn_shaft_spreads_the_gaps_and_opens_them_as_it_speeds_up():
    slow, fast = follower.lobe_gaps_mm(0.4, 0.2, 8, np.array([0.0, 4000.0])).T
    assert np.ptp(slow) > 0.15 and slow.mean() == pytest.approx(0.4)
    assert fast == pytest.approx(slow + 0.1)
    assert np.all(follower.lobe_gaps_mm(0.0, 0.3, 8, 0.0) >= 0.0)


def test_a_worn_shaft_refuses_what_cannot_be():
    with pytest.raises(OutOfRange, match="play"):
        follower.lobe_gaps_mm(0.4, -0.1, 8, 1000.0)
