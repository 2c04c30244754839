"""Where each engine wants its spark, and what missing it costs: tables over the cycle, made once per engine."""

from functools import cache

import numpy as np

from grader.reference.timing import combustion, cycle, output
from grader.vehicle.spec import Vehicle

SPEEDS_RPM = (300.0, 600.0, 1100.0, 2000.0, 3400.0, 6000.0)
PRESSURES_KPA = (22.0, 38.0, 62.0, 100.0)
FULL_LOAD_KPA = 95.0
SHORT_OF_BEST_DEG = 2.0  # at full load, end of the centrifugal table: the usual margin against knock
LONGEST_BURN_DEG = 150.0
_ERRORS_DEG = np.linspace(-45.0, 45.0, 31)


@cache
def _losses():
    """Share of the work lost at each of `_ERRORS_DEG`, on the teaching cylinder."""
    return np.maximum(0.0, cycle.torque_loss_percent(_ERRORS_DEG)) / 100.0


@cache
def _best_of_ratio(compression_ratio):
    """Best spark, shape (speeds, pressures), before it is shifted to an engine."""
    return np.array(
        [[_cycle_best_deg(speed, pressure, compression_ratio) for pressure in PRESSURES_KPA] for speed in SPEEDS_RPM]
    )


def _cycle_best_deg(speed, pressure, compression_ratio):
    burn = min(LONGEST_BURN_DEG, combustion.burn_duration_deg(speed, output.burn_at_load_deg(pressure)))
    cylinder = cycle.Cylinder(compression_ratio=compression_ratio, charge_kpa=pressure, burn_deg=burn)
    return cycle.best_spark_deg(speed, output.development_deg(burn), cylinder)


@cache
def _shift_deg(spec, compression_ratio):
    """What brings an engine's full load, at the end of its table, to just short of its best timing."""
    speed = 2.0 * spec.centrifugal[-1][0]
    wanted = spec.initial_deg + 2.0 * spec.centrifugal[-1][1] + SHORT_OF_BEST_DEG
    return wanted - float(_between(_best_of_ratio(compression_ratio), speed, FULL_LOAD_KPA))


def best_deg(spec: Vehicle, compression_ratio: float, speed_rpm: np.ndarray, manifold_kpa: np.ndarray) -> np.ndarray:
    """Timing that gives the most torque.

    Parameters
    ----------
    spec : Vehicle
    compression_ratio : float [1]
    speed_rpm, manifold_kpa : float or array, broadcast together [crank rev/min, kPa absolute]

    Returns
    -------
    float or array of the broadcast shape [crank degree before top]
    """
    table = _best_of_ratio(compression_ratio)
    return _between(table, speed_rpm, manifold_kpa) + _shift_deg(spec, compression_ratio)


def loss(error_deg: np.ndarray) -> np.ndarray:
    """Share of the work lost by a timing error, advanced positive; flat beyond 45 degrees."""
    return np.interp(error_deg, _ERRORS_DEG, _losses())


def _between(table, speed_rpm, manifold_kpa):
    """Straight in the logarithms of speed and pressure, flat outside the table."""
    row, along = _place(SPEEDS_RPM, speed_rpm)
    column, across = _place(PRESSURES_KPA, manifold_kpa)
    low = table[row, column] * (1.0 - across) + table[row, column + 1] * across
    high = table[row + 1, column] * (1.0 - across) + table[row + 1, column + 1] * across
    return low * (1.0 - along) + high * along


def _place(points, value):
    points = np.log(points)
    where = np.interp(np.log(value), points, np.arange(len(points)))
    low = np.minimum(where.astype(int), len(points) - 2)
    return low, where - low
