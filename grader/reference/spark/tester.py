"""The plug tester: firing pressure, the keep rule, and what a batch of readings says.

Air pressure rises on a plug at fixed voltage until the spark fails. The gap which that
voltage breaks at density 1 (the reach) is handed in: it belongs to the breakdown law.
psig counts from the atmosphere, psia from nothing.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri, stdtrit

from grader.errors import OutOfRange
from grader.ranges import FloatOrArray, in_range, plain

ATMOSPHERE_PSIA = 14.695949
STANDARD_TEMPERATURE_C, ZERO_C = 20.0, 273.15
GAUGE_STEP_PSI = 1.0  # to which such a gauge is read (practice)
KEEP_SHARE = 0.70


@dataclass(frozen=True, slots=True)
class Verdict:
    """Used over new firing pressure, its interval, and what follows."""

    ratio: float
    standard_error: float
    freedom: float
    low: float
    high: float
    decision: str


def firing_pressure_psia(
    reach_cm: ArrayLike, gap_mm: ArrayLike, temperature_c: ArrayLike = STANDARD_TEMPERATURE_C
) -> FloatOrArray:
    """Absolute pressure at which the spark just fails.

    Parameters
    ----------
    reach_cm, gap_mm, temperature_c : float or array, broadcast together [cm, mm, degree C]
        Reach: longest uniform gap the supply breaks at 20 degrees C and one atmosphere.

    Returns
    -------
    float or array of the broadcast shape [psia]

    Raises
    ------
    OutOfRange
        Reach or gap not above zero, temperature outside -40 to 200 degrees C.

    Notes
    -----
    Gap times relative density equals the reach. Source: derived.
    """
    reach = in_range("The reach of the supply", reach_cm, "cm", above=0, most=20)
    return ATMOSPHERE_PSIA * 10.0 * reach / in_range("The gap", gap_mm, "mm", above=0, most=20) * _warmth(temperature_c)


def reach_of_pressure_cm(
    pressure_psia: ArrayLike, gap_mm: ArrayLike, temperature_c: ArrayLike = STANDARD_TEMPERATURE_C
) -> FloatOrArray:
    """Reach of the supply, from one firing pressure on a known gap.

    Parameters
    ----------
    pressure_psia, gap_mm, temperature_c : float or array, broadcast together [psia, mm, degree C]

    Returns
    -------
    float or array of the broadcast shape [cm]

    Raises
    ------
    OutOfRange
        Pressure or gap not above zero, temperature outside -40 to 200 degrees C.

    Notes
    -----
    Source: derived.
    """
    pressure = in_range("The firing pressure", pressure_psia, "psia", above=0, most=3000)
    return (
        pressure / ATMOSPHERE_PSIA / _warmth(temperature_c) * in_range("The gap", gap_mm, "mm", above=0, most=20) / 10.0
    )


def gauge_psig(pressure_psia: ArrayLike, barometer: ArrayLike = ATMOSPHERE_PSIA) -> FloatOrArray:
    """Gauge reading of an absolute pressure; the same plug reads higher on a mountain.

    Parameters
    ----------
    pressure_psia, barometer : float or array, broadcast together [psia]

    Returns
    -------
    float or array of the broadcast shape [psig]

    Raises
    ------
    OutOfRange
        Pressure below zero, barometer outside 3 to 16 psia.

    Notes
    -----
    Source: derived.
    """
    return in_range("The pressure", pressure_psia, "psia", least=0) - _barometer(barometer)


def absolute_psia(pressure_psig: ArrayLike, barometer: ArrayLike = ATMOSPHERE_PSIA) -> FloatOrArray:
    """Absolute pressure behind a gauge reading.

    Parameters
    ----------
    pressure_psig, barometer : float or array, broadcast together [psig, psia]

    Returns
    -------
    float or array of the broadcast shape [psia]

    Raises
    ------
    OutOfRange
        A reading further below zero than the barometer, barometer outside 3 to 16 psia.

    Notes
    -----
    Source: derived.
    """
    outside = _barometer(barometer)
    pressure = in_range("The gauge reading", pressure_psig, "psig", least=-16) + outside
    return in_range(
        "The absolute pressure",
        pressure,
        "psia",
        least=0,
        advice="A gauge cannot show less than the barometer below zero.",
    )


def pressure_drop(new_pressure: ArrayLike, used_pressure: ArrayLike) -> FloatOrArray:
    """Share by which a used plug fires below a new one.

    Parameters
    ----------
    new_pressure, used_pressure : float or array, broadcast together [psi]
        Both gauge for the keep rule; both absolute for the physics.

    Returns
    -------
    float or array of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        New pressure not above zero, used pressure below zero.

    Notes
    -----
    Source: derived.
    """
    new = in_range("The new plug's pressure", new_pressure, "psi", above=0)
    return 1.0 - in_range("The used plug's pressure", used_pressure, "psi", least=0) / new


def keep_verdict(
    new_psig: Sequence[float] | np.ndarray,
    used_psig: Sequence[float] | np.ndarray,
    keep_share: float = KEEP_SHARE,
    confidence: float = 0.95,
    pooled: bool = False,
) -> Verdict:
    """Keep, reject or undecided: the 30 % rule with the scatter of the readings.

    Parameters
    ----------
    new_psig, used_psig : sequence of float [psig]
        Two or more readings each, same day, tester and gap.
    keep_share, confidence : float [1]
    pooled : bool [1]
        n1 + n2 - 2 degrees of freedom instead of Welch and Satterthwaite's.

    Returns
    -------
    Verdict [1]
        "keep" if the whole interval is on or above the limit, "reject" if below it.

    Raises
    ------
    OutOfRange
        Fewer than two readings, one not above zero, or a share outside 0 to 1.

    Notes
    -----
    Relative errors of the means add in squares. Readings that are all alike scatter by
    what a gauge of `GAUGE_STEP_PSI` hides: a step wide and evenly spread, so the variance is a
    twelfth of its square. Source: tester-practice; welch-page; derived (the twelfth).
    """
    new, used = _readings("new plug", new_psig), _readings("used plug", used_psig)
    limit = in_range("The keep share", keep_share, "", above=0, below=1)
    ratio = used.mean() / new.mean()
    parts = [(group.var(ddof=1) / group.size / group.mean() ** 2, group.size - 1) for group in (new, used)]
    if not any(part for part, _ in parts):
        hidden = GAUGE_STEP_PSI**2 / 12
        parts = [(hidden / group.size / group.mean() ** 2, group.size - 1) for group in (new, used)]
    total = sum(part for part, _ in parts)
    freedom = sum(count for _, count in parts)
    if not pooled:
        freedom = total**2 / sum(part**2 / count for part, count in parts)
    error = ratio * math.sqrt(total)
    half = error * stdtrit(freedom, _quantile(confidence))
    decision = "keep" if ratio - half >= limit else "reject" if ratio + half < limit else "undecided"
    return Verdict(float(ratio), float(error), float(freedom), float(ratio - half), float(ratio + half), decision)


def mean_interval(readings: Sequence[float] | np.ndarray, confidence: float = 0.95) -> tuple[float, float]:
    """Mean of some readings and half the width of its interval.

    Parameters
    ----------
    readings : sequence of float [psi]
    confidence : float [1]

    Returns
    -------
    tuple of two floats [psi]

    Raises
    ------
    OutOfRange
        Fewer than two readings, or a confidence outside 0.5 to 0.999.

    Notes
    -----
    Student's t. Source: t-table.
    """
    values = _readings("batch", readings)
    half = student_factor(values.size, confidence) * values.std(ddof=1) / math.sqrt(values.size)
    return float(values.mean()), float(half)


def student_factor(readings: ArrayLike, confidence: ArrayLike = 0.95) -> FloatOrArray:
    """Student's t for the mean of a number of readings, both sides.

    Parameters
    ----------
    readings, confidence : float or array, broadcast together [count, 1]

    Returns
    -------
    float or array of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        Fewer than two readings, or a confidence outside 0.5 to 0.999.

    Notes
    -----
    Source: t-table.
    """
    count = in_range("The number of readings", readings, "", least=2)
    return plain(stdtrit(count - 1.0, _quantile(confidence)))


def sample_size(scatter: float, wanted: float, confidence: float = 0.95, student: bool = True) -> int:
    """Readings needed until the mean is known well enough.

    Parameters
    ----------
    scatter, wanted, confidence : float [any unit, same unit, 1]
        Standard deviation of one reading; half width wanted for the mean.
    student : bool
        Student's t, because the scatter is estimated too; else the normal curve.

    Returns
    -------
    int [count]

    Raises
    ------
    OutOfRange
        Scatter or width not above zero, or more than 100000 readings needed.

    Notes
    -----
    Smallest n with t s / root(n) not above the width. Source: sample-size-page.
    """
    spread = in_range("The scatter", scatter, "", above=0)
    share = spread / in_range("The wanted half width", wanted, "", above=0)
    normal = (ndtri(_quantile(confidence)) * share) ** 2
    if normal > 1e5:
        raise OutOfRange(f"{normal:.0f} readings would be needed; allowed are 100000. Accept a wider mean.")
    count = max(2 if student else 1, math.ceil(normal - 1e-9))
    while student and student_factor(count, confidence) * share > math.sqrt(count):
        count += 1
    return count


def outlier(readings: Sequence[float] | np.ndarray, risk: float = 0.05) -> tuple[int, float, float]:
    """Grubbs's test of the reading farthest from the mean, either side.

    Parameters
    ----------
    readings : sequence of float [psi]
    risk : float [1]
        Of calling a good reading bad.

    Returns
    -------
    tuple of int, float, float [place, standard deviations, standard deviations]
        Place of that reading, its distance from the mean, the distance allowed.

    Raises
    ------
    OutOfRange
        As `grubbs_critical`.

    Notes
    -----
    Source: grubbs-table.
    """
    values = _readings("batch", readings)
    critical, scatter = grubbs_critical(values.size, risk), values.std(ddof=1)
    distances = np.abs(values - values.mean()) / (scatter or 1.0)
    return int(distances.argmax()), float(distances.max()), critical


def grubbs_critical(readings: ArrayLike, risk: ArrayLike = 0.05) -> FloatOrArray:
    """Distance from the mean, in standard deviations, that one reading may have.

    Parameters
    ----------
    readings, risk : float or array, broadcast together [count, 1]

    Returns
    -------
    float or array of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        Fewer than three readings, or risk outside 0.0001 to 0.5.

    Notes
    -----
    Two-sided, from Student's t at risk / 2n. Source: grubbs-table.
    """
    count = in_range("The number of readings", readings, "", least=3)
    chance = in_range("The risk", risk, "", least=1e-4, most=0.5)
    t2 = stdtrit(count - 2.0, chance / (2.0 * count)) ** 2
    return plain((count - 1.0) / np.sqrt(count) * np.sqrt(t2 / (count - 2.0 + t2)))


def _readings(whose, readings):
    values = in_range(f"A reading of the {whose}", readings, "", above=0)
    if np.ndim(values) != 1 or np.size(values) < 2:
        raise OutOfRange(f"The {whose} has {np.size(values)} reading; take two or more.")
    return values


def _quantile(confidence):
    return 0.5 + in_range("The confidence", confidence, "", least=0.5, most=0.999) / 2.0


def _barometer(barometer):
    return in_range("The barometer", barometer, "psia", least=3, most=16)


def _warmth(temperature_c):
    air = in_range("The air temperature", temperature_c, "degrees C", least=-40, most=200)
    return (air + ZERO_C) / (STANDARD_TEMPERATURE_C + ZERO_C)
