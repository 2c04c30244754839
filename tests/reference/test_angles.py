"""Angles of the crankshaft and the distributor: geometry, and what cannot be an engine."""

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.errors import OutOfRange
from grader.reference import angles

ANGLES = st.floats(0, 360)
SPEEDS = st.floats(1, 12_000)
UNITS = pint.UnitRegistry()


def test_the_distributor_turns_once_for_two_turns_of_the_crank():
    assert angles.distributor_deg(720) == 360 and angles.crank_deg(360) == 720
    assert angles.distributor_speed_rpm(3000) == 1500
    assert angles.distributor_deg(-10) == -5, "after top dead centre counts, too"


@pytest.mark.parametrize(
    ("cylinders", "interval"), [(2, 360), (3, 240), (4, 180), (5, 144), (6, 120), (8, 90), (12, 60)]
)
def test_all_cylinders_fire_once_in_two_turns(cylinders, interval):
    assert angles.firing_interval_deg(cylinders) == interval
    # One spark to each interval: that many go by in a second.
    assert angles.spark_rate_per_s(3000, cylinders) == 3000 / 60 * 360 / interval


@pytest.mark.parametrize("cylinders", [0, 7, 9, 11, 14, 4.5, -4])
def test_no_even_firing_engine_has_so_many(cylinders):
    with pytest.raises(OutOfRange, match="allowed are 1, 2, 3, 4"):
        angles.firing_interval_deg(cylinders)


def test_a_single_cylinder_sparks_once_in_two_turns():
    assert angles.firing_interval_deg(1) == 720


def test_no_cylinder_has_half_a_number():
    """1.9-2.2-3-4 is no order: it was taken for 1-2-3-4."""
    with pytest.raises(OutOfRange, match="1.9-2.2-3-4 is not an order"):
        angles.check_firing_order((1.9, 2.2, 3, 4))
    assert angles.check_firing_order((1.0, 2, 4, 3)) == (1, 2, 4, 3)


@given(ANGLES, SPEEDS)
def test_time_of_an_angle_agrees_with_a_unit_library(angle, rpm):
    """Pint knows what a revolution per minute is; it does not know our six degrees a second."""
    seconds = UNITS.Quantity(angle, "degree") / UNITS.Quantity(rpm, "revolution / minute")
    assert angles.time_of_angle_ms(angle, rpm) == pytest.approx(
        seconds.to("millisecond").magnitude, rel=1e-12, abs=1e-15
    )
    assert angles.angle_of_time_deg(angles.time_of_angle_ms(angle, rpm), rpm) == pytest.approx(angle, abs=1e-9)


def test_a_standing_engine_takes_for_ever_and_sweeps_nothing():
    with pytest.raises(OutOfRange, match="for ever"):
        angles.time_of_angle_ms(10, 0)
    assert angles.angle_of_time_deg(5, 0) == 0
    for refused in (lambda: angles.time_of_angle_ms(-1, 900), lambda: angles.angle_of_time_deg(-1, 900)):
        with pytest.raises(OutOfRange):
            refused()


@given(ANGLES, st.floats(1, 1000))
def test_along_the_rim_is_never_shorter_than_straight_across(angle, diameter):
    arc, chord = angles.pulley_arc(angle, diameter), angles.pulley_chord(angle, diameter)
    assert chord <= arc * (1 + 1e-12) and chord <= diameter * (1 + 1e-12)


def test_marks_on_a_pulley():
    """Half a turn is half the rim, and straight across it is the diameter; 60 degrees make the side of a hexagon."""
    assert angles.pulley_arc(360, 150) == pytest.approx(np.pi * 150)
    assert angles.pulley_chord(180, 150) == pytest.approx(150) and angles.pulley_arc(180, 150) == pytest.approx(
        np.pi * 75
    )
    assert angles.pulley_chord(60, 150) == pytest.approx(75)
    assert angles.pulley_chord(360, 150) == pytest.approx(0, abs=1e-9)
    for angle, diameter in ((-1, 150), (361, 150), (10, 0), (10, -150), (float("nan"), 150)):
        with pytest.raises(OutOfRange):
            angles.pulley_arc(angle, diameter)


@given(st.floats(-360, 360), st.floats(1.5, 10))
def test_the_piston_lies_where_crank_and_rod_put_it(angle, ratio):
    """Law of cosines in the triangle of crank, rod and centre line, in cranks of one: independent of the closed form."""
    theta = np.radians(angle)
    fall = 2 * angles.piston_fall_fraction(angle, ratio)
    pin = ratio + 1 - fall
    assert 1 + pin**2 - 2 * pin * np.cos(theta) == pytest.approx(ratio**2, rel=1e-9)
    assert -1e-12 <= fall <= 2 + 1e-12


def test_the_ends_of_the_stroke():
    assert angles.piston_fall_fraction(0, 3.5) == 0 and angles.piston_fall_fraction(180, 3.5) == pytest.approx(1)
    assert angles.piston_fall_fraction(90, 3.5) > 0.5, "the rod leans: a quarter of a turn is more than half the way"
    assert angles.piston_fall_fraction(30, 3.5) == angles.piston_fall_fraction(-30, 3.5)
    with pytest.raises(OutOfRange, match="Usual engines"):
        angles.piston_fall_fraction(10, 1)


@pytest.mark.parametrize("order", [(), (1,), (1, 1), (1, 3), (0, 1), (1, 2, 2, 4), (2, 3, 4, 5)])
def test_what_is_no_firing_order(order):
    with pytest.raises(OutOfRange, match="name each cylinder"):
        angles.check_firing_order(order)


def test_leads_that_must_not_run_side_by_side():
    """One after the other in the order and neighbours on one bank; the last is followed by the first."""
    inline = angles.LAYOUTS["inline"](4)
    assert angles.cross_fire_pairs((1, 3, 4, 2), inline) == ((3, 4), (2, 1))
    assert angles.cross_fire_pairs((1, 2, 4, 3), inline) == ((1, 2), (4, 3))
    # Eight in two banks with odd numbers on one: of this order 5 and 7 fire one after the other and are neighbours.
    assert angles.cross_fire_pairs((1, 8, 4, 3, 6, 5, 7, 2), angles.LAYOUTS["odd-even"](8)) == ((5, 7),)
    assert angles.cross_fire_pairs((1, 5, 3, 6, 2, 4), angles.LAYOUTS["inline"](6)) == ()
    with pytest.raises(OutOfRange, match="banks hold"):
        angles.cross_fire_pairs((1, 3, 4, 2), ((1, 2), (3,)))
    with pytest.raises(OutOfRange, match="banks hold"):
        angles.cross_fire_pairs((1, 3, 4, 2), ((1, 2, 2), (3, 4)))


def test_many_at_once_are_as_one_at_a_time():
    speeds, cylinders = np.array([600.0, 3000.0]), np.array([4, 8])
    assert angles.spark_rate_per_s(speeds, cylinders).tolist() == [20, 200]
    assert angles.firing_interval_deg(cylinders).tolist() == [180, 90]
    with pytest.raises(OutOfRange):
        angles.firing_interval_deg(np.array([4, 7]))
