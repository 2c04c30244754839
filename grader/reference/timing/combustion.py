"""Compression up to the spark, the ideal limit of the cycle, and quick rules of the burn.

Closed forms only; the cycle itself stands in `cycle`.
"""

import numpy as np
from numpy.typing import ArrayLike

from grader.ranges import FloatOrArray, in_range, plain
from grader.reference.angles import piston_fall_fraction

LOSS_PERCENT_PER_DEG2 = 0.026
BURN_SPEED_EXPONENT = np.log(1.6) / np.log(4.0)


def otto_efficiency(compression_ratio: ArrayLike, ratio_of_heats: ArrayLike = 1.4) -> FloatOrArray:
    """Share of the heat that an ideal engine with a sudden burn turns into work.

    Parameters
    ----------
    compression_ratio : float or array [1]
    ratio_of_heats : float or array, broadcast with compression_ratio [1]

    Returns
    -------
    float or array of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        Compression ratio below 1, or ratio of heats outside 1.05 to 1.67.

    Notes
    -----
    1 - r^(1 - gamma). Source: derived.
    """
    ratio = in_range("The compression ratio", compression_ratio, "", least=1, most=30)
    return plain(1.0 - np.asarray(ratio) ** (1.0 - _gamma(ratio_of_heats)))


def compression_volume_ratio(
    advance_deg: ArrayLike,
    compression_ratio: ArrayLike = 8.5,
    closing_deg: ArrayLike = 120.0,
    rod_ratio: ArrayLike = 3.5,
) -> FloatOrArray:
    """Volume when the inlet valve closes over the volume when the spark is due.

    Parameters
    ----------
    advance_deg : float or array [crank degree before top]
        Negative after top.
    compression_ratio : float or array, broadcast with advance_deg [1]
    closing_deg : float or array, broadcast with advance_deg [crank degree before top]
        Effective start of compression.
    rod_ratio : float or array, broadcast with advance_deg [1]
        Length of the connecting rod over the crank radius.

    Returns
    -------
    float or array of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        Spark more than 40 degrees after top or before the valve closes; closing outside
        90 to 180 degrees; compression ratio outside 2 to 25; rod ratio not above 1.

    Notes
    -----
    Source: derived.
    """
    closing = in_range("The closing of the inlet valve", closing_deg, "crank degrees before top", least=90, most=180)
    advance = in_range(
        "The spark",
        advance_deg,
        "crank degrees before top",
        least=-40,
        most=float(np.min(closing)),
        advice="The valve must have closed.",
    )
    ratio = in_range("The compression ratio", compression_ratio, "", least=2, most=25)
    clearance = 1.0 / (np.asarray(ratio) - 1.0)
    shut = clearance + piston_fall_fraction(closing, rod_ratio)
    return plain(shut / (clearance + piston_fall_fraction(advance, rod_ratio)))


def pressure_at_spark_kpa(
    advance_deg: ArrayLike,
    closing_kpa: ArrayLike = 95.0,
    compression_ratio: ArrayLike = 8.5,
    exponent: ArrayLike = 1.30,
    closing_deg: ArrayLike = 120.0,
    rod_ratio: ArrayLike = 3.5,
) -> FloatOrArray:
    """Gas pressure in the cylinder when the spark is due.

    Parameters
    ----------
    advance_deg : float or array [crank degree before top]
    closing_kpa : float or array, broadcast with advance_deg [kPa absolute]
        When the inlet valve closes.
    compression_ratio, exponent : float or array, broadcast with advance_deg [1]
    closing_deg : float or array, broadcast with advance_deg [crank degree before top]
    rod_ratio : float or array, broadcast with advance_deg [1]

    Returns
    -------
    float or array of the broadcast shape [kPa absolute]

    Raises
    ------
    OutOfRange
        Pressure not above zero or above 300 kPa, exponent outside 1 to 1.45, or as
        `compression_volume_ratio`.

    Notes
    -----
    Polytropic: p V^n is constant; n is about 1.30, give or take 0.05. Source: heywood.
    """
    pressure = in_range("The pressure at closing", closing_kpa, "kPa absolute", above=0, most=300)
    ratio = compression_volume_ratio(advance_deg, compression_ratio, closing_deg, rod_ratio)
    return plain(pressure * np.asarray(ratio) ** _exponent(exponent))


def temperature_at_spark_k(
    advance_deg: ArrayLike,
    closing_k: ArrayLike = 340.0,
    compression_ratio: ArrayLike = 8.5,
    exponent: ArrayLike = 1.30,
    closing_deg: ArrayLike = 120.0,
    rod_ratio: ArrayLike = 3.5,
) -> FloatOrArray:
    """Gas temperature in the cylinder when the spark is due.

    Parameters
    ----------
    advance_deg : float or array [crank degree before top]
    closing_k : float or array, broadcast with advance_deg [K]
        When the inlet valve closes.
    compression_ratio, exponent : float or array, broadcast with advance_deg [1]
    closing_deg : float or array, broadcast with advance_deg [crank degree before top]
    rod_ratio : float or array, broadcast with advance_deg [1]

    Returns
    -------
    float or array of the broadcast shape [K]

    Raises
    ------
    OutOfRange
        Temperature outside 230 to 600 K, exponent outside 1 to 1.45, or as
        `compression_volume_ratio`.

    Notes
    -----
    T V^(n-1) is constant, since p V / T is. Source: heywood.
    """
    temperature = in_range("The temperature at closing", closing_k, "K", least=230, most=600)
    ratio = compression_volume_ratio(advance_deg, compression_ratio, closing_deg, rod_ratio)
    return plain(temperature * np.asarray(ratio) ** (_exponent(exponent) - 1.0))


def torque_loss_rule_percent(timing_error_deg: ArrayLike) -> FloatOrArray:
    """Torque lost by a timing error, by the rule of the square.

    Parameters
    ----------
    timing_error_deg : float or array [crank degree]
        From the timing that gives the most torque, either way.

    Returns
    -------
    float or array of the same shape [%]

    Raises
    ------
    OutOfRange
        Error beyond 15 degrees: the rule fails there.

    Notes
    -----
    0.026 % for each degree squared, fitted to the single-zone cycle and within a fifth
    of it up to 10 degrees. Use the cycle for larger errors. Source: teaching-setup.
    """
    error = in_range(
        "The timing error", timing_error_deg, "crank degrees", least=-15, most=15, advice="Compute the cycle instead."
    )
    return plain(LOSS_PERCENT_PER_DEG2 * np.asarray(error) ** 2)


def burn_duration_deg(speed_rpm: ArrayLike, at_2000_deg: ArrayLike = 50.0) -> FloatOrArray:
    """Crank degrees that the burn lasts, against speed.

    Parameters
    ----------
    speed_rpm : float or array [crank rev/min]
    at_2000_deg : float or array, broadcast with speed_rpm [crank degree]
        At 2000 rev/min; longer at light load.

    Returns
    -------
    float or array of the broadcast shape [crank degree]

    Raises
    ------
    OutOfRange
        Speed outside 50 to 12000 rev/min, or duration outside 20 to 120 degrees.

    Notes
    -----
    Turbulence grows with speed, so four times the speed takes about 1.6 times the
    degrees, not four. Source: heywood.
    """
    speed = in_range("Engine speed", speed_rpm, "rev/min", least=50, most=12000)
    duration = in_range("The burn at 2000 rev/min", at_2000_deg, "crank degrees", least=20, most=120)
    return plain(duration * (np.asarray(speed) / 2000.0) ** BURN_SPEED_EXPONENT)


def _gamma(ratio_of_heats):
    return in_range("The ratio of heats", ratio_of_heats, "", least=1.05, most=1.67)


def _exponent(exponent):
    return in_range("The exponent of compression", exponent, "", least=1, most=1.45, advice="1.30 is usual.")
