"""Where an engine wants its spark."""

import numpy as np
import pytest

from grader.reference.timing import combustion, cycle, output
from grader.vehicle import timing_map
from grader.vehicle.car import cards
from grader.vehicle.spec import vehicle


@pytest.mark.parametrize("key", cards())
def test_full_load_at_the_end_of_the_table_is_two_degrees_short_of_best(key):
    spec, ratio = vehicle(key), cards()[key].compression_ratio
    points, advance = spec.centrifugal[-1]
    best = timing_map.best_deg(spec, ratio, 2.0 * points, 95.0)
    assert best == pytest.approx(spec.initial_deg + 2.0 * advance + 2.0)


def test_a_thin_charge_and_a_fast_engine_want_more_advance():
    spec = vehicle("anstow-v8")
    assert np.all(np.diff(timing_map.best_deg(spec, 8.5, 1500.0, np.array([30.0, 50.0, 70.0, 95.0]))) < 0)
    assert np.all(np.diff(timing_map.best_deg(spec, 8.5, np.array([500.0, 1000.0, 2000.0, 4000.0]), 60.0)) > 0)


@pytest.mark.parametrize(("speed", "pressure"), [(800.0, 30.0), (1500.0, 50.0), (2700.0, 80.0)])
def test_between_the_points_of_the_table_it_stays_near_the_cycle_itself(speed, pressure):
    spec = vehicle("anstow-v8")
    burn = combustion.burn_duration_deg(speed, output.burn_at_load_deg(pressure))
    exact = cycle.best_spark_deg(
        speed, output.development_deg(burn), cycle.Cylinder(charge_kpa=pressure, burn_deg=burn)
    )
    end = timing_map.best_deg(spec, 8.5, 3800.0, 95.0)
    burn_end = combustion.burn_duration_deg(3800.0, 50.0)
    exact_end = cycle.best_spark_deg(
        3800.0, output.development_deg(burn_end), cycle.Cylinder(charge_kpa=95.0, burn_deg=burn_end)
    )
    assert timing_map.best_deg(spec, 8.5, speed, pressure) - end == pytest.approx(exact - exact_end, abs=3.0)


def test_loss_is_none_at_best_and_grows_either_way():
    losses = timing_map.loss(np.array([-60.0, -30.0, -10.0, 0.0, 10.0, 30.0, 60.0]))
    assert losses[3] < 0.002 and np.all(np.diff(losses[1:4]) < 0) and np.all(np.diff(losses[3:6]) > 0)
    assert losses[2] * 100 == pytest.approx(2.6, rel=0.2), "0.026 % for each degree squared"
    assert np.all((losses >= 0) & (losses < 0.6))
