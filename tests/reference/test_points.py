"""Gap, dwell, timing and contacts, in a mechanic's rules."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grader.errors import OutOfRange
from grader.reference.spark import points

SEEDED = settings(max_examples=80)
counts = st.sampled_from([4, 6, 8])
shares = st.floats(0.02, 0.95)


@SEEDED
@given(shares, counts)
def test_gap_and_dwell_are_inverse(share, cylinders):
    dwell = points.dwell_of_gap_deg(share, 1.0, cylinders)
    assert points.gap_of_dwell(dwell, 1.0, cylinders) == pytest.approx(share)
    assert points.full_lift(share, dwell, cylinders) == pytest.approx(1.0)


@SEEDED
@given(shares, counts)
def test_a_wider_gap_gives_less_dwell_and_advances(share, cylinders):
    before = points.dwell_of_gap_deg(share, 1.0, cylinders)
    after = points.dwell_of_gap_deg(share + 0.01, 1.0, cylinders)
    assert after < before
    assert points.timing_change_deg(after - before) > 0


@SEEDED
@given(shares, counts)
def test_the_points_are_open_where_the_lobe_lifts_them(share, cylinders):
    """Open angle counted along a turned cam."""
    lobe = 360.0 / cylinders
    angle = np.linspace(-lobe / 2, lobe / 2, 200001)
    lift = 0.5 * (1 + np.cos(np.radians(cylinders * angle)))
    closed = np.mean(lift <= 1.0 - share) * lobe
    assert points.dwell_of_gap_deg(share, 1.0, cylinders) == pytest.approx(closed, abs=1e-3)


def test_a_quarter_of_the_lift_keeps_an_eight_at_two_thirds():
    assert points.dwell_of_gap_deg(0.25, 1.0, 8) == pytest.approx(30.0)
    assert points.duty_percent(30.0, 8) == pytest.approx(200 / 3)


def test_the_ends_of_the_gap():
    assert points.dwell_of_gap_deg(1e-9, 1.0, 4) == pytest.approx(90.0, abs=0.01)
    assert points.dwell_of_gap_deg(1 - 1e-12, 1.0, 4) == pytest.approx(0.0, abs=0.01)


@SEEDED
@given(st.floats(0, 100), counts)
def test_degrees_and_per_cent_are_inverse(duty, cylinders):
    assert points.duty_percent(points.dwell_of_duty_deg(duty, cylinders), cylinders) == pytest.approx(duty)


@SEEDED
@given(st.floats(0, 45), counts)
def test_a_wrong_scale_is_undone_by_exchanging_the_numbers(dwell, scale):
    wrong = points.meter_reading_deg(dwell, 8, scale)
    assert points.meter_reading_deg(wrong, scale, 8) == pytest.approx(dwell)
    assert points.meter_reading_deg(dwell, 8, 8) == pytest.approx(dwell)


@SEEDED
@given(st.floats(-20, 20), st.floats(0, 1))
def test_one_degree_of_dwell_is_one_crank_degree_on_a_symmetric_cam(change, share):
    assert points.timing_change_deg(change) == pytest.approx(-change)
    both = points.timing_change_deg(change, share) + points.timing_change_deg(change, 1 - share)
    assert both == pytest.approx(-2 * change)


@SEEDED
@given(st.floats(0, 1), st.floats(0, 1))
def test_a_worn_block_narrows_the_gap_and_retards(gap, wear):
    left = points.gap_after_wear(gap, wear)
    assert 0 <= left <= gap
    if 0.02 < left < gap - 1e-6 and gap < 0.95:
        grown = points.dwell_of_gap_deg(left, 1.0, 8) - points.dwell_of_gap_deg(gap, 1.0, 8)
        assert grown > 0 > points.timing_change_deg(grown)


def test_a_block_worn_away_never_opens_the_points():
    assert points.gap_after_wear(0.016, 0.02) == 0.0


@SEEDED
@given(st.floats(1, 10), st.floats(0.0005, 0.01), st.floats(0.5, 3), counts)
def test_float_speed_goes_with_the_root_of_the_spring(force, mass, lift, cylinders):
    speed = points.float_speed_rpm(force, mass, lift, cylinders)
    assert points.float_speed_rpm(force / 2, mass, lift, cylinders) == pytest.approx(speed * 0.5**0.5)
    assert points.float_speed_rpm(force, 2 * mass, lift, cylinders) == pytest.approx(speed * 0.5**0.5)


def test_at_float_speed_the_cam_outruns_the_spring():
    """Acceleration of the lobe by differences, at the speed that the function gives."""
    speed = points.float_speed_rpm(5.0, 0.002, 1.6256, 8)
    omega = speed / 2 * np.pi / 30
    time = np.linspace(-1e-5, 1e-5, 3)
    lift = 1.6256e-3 / 2 * (1 + np.cos(8 * omega * time))
    acceleration = abs(np.diff(lift, 2)[0]) / 1e-10
    assert 0.002 * acceleration == pytest.approx(5.0, rel=1e-3)


@SEEDED
@given(st.floats(0.05, 0.45))
def test_a_narrow_gap_opens_slowly(share):
    assert points.opening_speed_ratio(share, 0.25, 1.0) == pytest.approx(
        np.sin(np.arccos(1 - 2 * share)) / np.sin(np.pi / 3)
    )
    assert points.opening_speed_ratio(share + 0.01, share, 1.0) > 1.0


@SEEDED
@given(st.floats(0.05, 0.5), st.floats(300, 6000))
def test_bounce_takes_from_narrow_gaps_at_speed(gap, speed):
    kept = points.bounce_kept_share(gap, speed)
    assert 0 <= kept <= 1
    assert points.bounce_kept_share(gap + 0.02, speed) >= kept >= points.bounce_kept_share(gap, speed + 200)


def test_a_normal_gap_does_not_bounce_and_a_third_of_it_does():
    assert points.bounce_kept_share(0.4, 5000) > 0.99
    assert points.bounce_kept_share(0.15, 600) > 0.98
    assert points.bounce_kept_share(0.15, 5000) < 0.2


def test_scalars_are_floats_and_arrays_broadcast():
    assert type(points.dwell_of_gap_deg(0.016, 0.064, 8)) is float
    assert type(points.gap_of_dwell(30, 0.064, 8)) is float
    assert type(points.full_lift(0.016, 30, 8)) is float
    assert type(points.float_speed_rpm(5, 0.002, 1.6, 8)) is float
    assert type(points.bounce_kept_share(0.4, 5000)) is float
    assert type(points.opening_speed_ratio(0.3, 0.4, 1.6)) is float
    table = points.dwell_of_gap_deg(np.array([[0.014], [0.016]]), 0.064, np.array([4, 6, 8]))
    assert table.shape == (2, 3)
    assert table[1, 2] == points.dwell_of_gap_deg(0.016, 0.064, 8)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: points.dwell_of_gap_deg(0, 0.064, 8), "At no gap the points never open"),
        (lambda: points.dwell_of_gap_deg(0.07, 0.064, 8), "it must stay below the full lift of 0.064"),
        (lambda: points.duty_percent(50, 8), "the lobes stand 45 degrees apart. Check the scale of the meter"),
        (lambda: points.full_lift(0.016, 45, 8), "never open at that dwell"),
        (lambda: points.full_lift(0, 30, 8), "Closed points have no dwell"),
        (lambda: points.dwell_of_duty_deg(120, 8), "dwell is 120 %; allowed is 0 to 100"),
        (lambda: points.timing_change_deg(1, 1.5), "share of the opening flank is 1.5"),
        (lambda: points.gap_after_wear(-1, 0), "point gap is -1"),
        (lambda: points.float_speed_rpm(0, 0.002, 1.6, 8), "spring force is 0 N"),
        (lambda: points.bounce_kept_share(np.nan, 600), "point gap is nan mm"),
        (lambda: points.duty_percent(30, 7), "7 cylinders; allowed are 1, 2, 3"),
    ],
)
def test_refusals_say_what_to_do(call, words):
    with pytest.raises(OutOfRange, match=words):
        call()
