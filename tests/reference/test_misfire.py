"""Sparks that fail and sparks that light nothing."""

import numpy as np
import pytest
from hypothesis import given, seed, settings
from hypothesis import strategies as st
from scipy.stats import norm

from grader.errors import OutOfRange
from grader.reference.spark import coil, misfire


def test_half_the_sparks_fail_where_demand_meets_output():
    assert misfire.spark_probability(15.0, 15.0) == pytest.approx(0.5)
    assert misfire.spark_probability(0.0, 10.0) == pytest.approx(0.0, abs=1e-9)


@seed(3)
@settings(max_examples=50, deadline=None)
@given(available=st.floats(3.0, 30.0), required=st.floats(3.0, 30.0), pitting=st.floats(0.0, 1.0))
def test_it_is_the_chance_that_a_scattered_demand_stays_below_a_scattered_output(available, required, pitting):
    """Two independent normal scatters, drawn and counted."""
    spread = max(0.35, np.hypot(0.06 * required, (0.04 + 0.1 * pitting) * available))
    assert misfire.spark_probability(available, required, pitting) == pytest.approx(
        norm.cdf(available, required, spread), abs=1e-9
    )


def test_deep_pits_make_a_sound_reserve_unsure_but_do_not_help_a_weak_one_much():
    smooth, pitted = misfire.spark_probability(20.0, 16.0, np.array([0.0, 1.0]))
    assert pitted < smooth


def test_a_spark_that_takes_all_the_voltage_leaves_nothing_for_the_burn():
    assert misfire.left_share(20.0, 20.0) == 0.0 == misfire.left_share(0.0, 5.0) == misfire.left_share(10.0, 15.0)
    assert misfire.left_share(20.0, 12.0) == pytest.approx(0.8)


def test_the_spark_ends_sooner_through_a_lead_of_high_resistance_up_to_a_broken_core():
    kilovolts = misfire.burning_kv(np.array([0.0, 10.0, 30.0, 1e4]))
    assert kilovolts == pytest.approx([1.5, 1.85, 2.55, 2.55])
    times = coil.spark_duration_ms(40.0, kilovolts)
    assert np.all(np.diff(times[:3]) < 0) and times[2] == times[3]


def test_what_asks_for_a_richer_charge():
    """Thin charge, short spark, narrow gap and a leaking valve each lower the lean limit."""
    usual = misfire.lean_limit(95.0, 1.7, 0.9)
    assert 1.2 < usual < 1.3
    for worse in (
        misfire.lean_limit(30.0, 1.7, 0.9),
        misfire.lean_limit(95.0, 0.2, 0.9),
        misfire.lean_limit(95.0, 1.7, 0.4),
        misfire.lean_limit(95.0, 1.7, 0.9, leak=0.4),
    ):
        assert worse < usual - 0.05


def test_burns_between_rich_and_lean_and_not_long_after_top():
    ratios = np.array([0.4, 0.6, 0.9, 1.2, 1.4])
    burns = misfire.burn_probability(ratios, 1.2, 10.0)
    assert burns == pytest.approx([0.0, 0.5, 1.0, 0.5, 0.0], abs=1e-6)
    assert misfire.burn_probability(0.9, 1.2, -24.0) == pytest.approx(0.5)
    assert misfire.burn_probability(0.9, 1.2, -49.0) < 1e-6


def test_a_starter_kicks_back_when_the_spark_is_far_too_early():
    assert misfire.kick_share(10.0) == pytest.approx(1.0) and misfire.kick_share(55.0) == pytest.approx(0.0)
    assert misfire.kick_share(32.0) == 0.5


def test_the_thin_charge_of_idle_does_not_light_early():
    idle, full = misfire.lit_share(np.array([0.3, 0.85]))
    assert idle < 1e-3 and full > 0.99
    assert misfire.cross_fire_probability(5.0, 3.0, 0.3) < 1e-3 < 0.99 < misfire.cross_fire_probability(5.0, 3.0, 0.85)
    assert misfire.cross_fire_probability(1.0, 3.0, 0.85) < 1e-9


def test_the_electrode_is_hottest_at_speed_under_load():
    idle, cruise, speed = misfire.electrode_c(np.array([0.3, 0.5, 0.97]), np.array([0.16, 0.5, 1.0]))
    assert 200 < idle < cruise < speed < 650


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: misfire.spark_probability(-1.0, 5.0), "available"),
        (lambda: misfire.spark_probability(5.0, 5.0, 2.0), "pitting"),
        (lambda: misfire.burning_kv(-1.0), "resistance"),
        (lambda: misfire.left_share(5.0, -1.0), "required"),
        (lambda: misfire.lean_limit(50.0, -1.0, 1.0), "spark"),
        (lambda: misfire.burn_probability(5.0, 1.0, 0.0), "air ratio"),
        (lambda: misfire.kick_share(1000.0), "advance"),
        (lambda: misfire.lit_share(-0.1), "density"),
        (lambda: misfire.cross_fire_probability(-1.0, 1.0, 1.0), "induced"),
        (lambda: misfire.electrode_c(2.0, 1.0), "load"),
    ],
)
def test_refuses(call, says):
    with pytest.raises(OutOfRange, match=says):
        call()
