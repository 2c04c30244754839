"""Initial, centrifugal and vacuum advance, and what changes them.

Curves are tables of (input, advance) in distributor units, joined by straight
lines and flat outside their ends, as a distributor test sheet prints them.
"""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from grader.errors import OutOfRange
from grader.ranges import FloatOrArray, in_range, plain
from grader.reference.angles import crank_deg, distributor_speed_rpm

STANDARD_ATMOSPHERE_INHG = 29.921
CRITICAL_RATIO_AIR = (2.0 / 2.4) ** (1.4 / 0.4)


def check_curve(curve: Sequence[tuple[float, float]]) -> tuple[np.ndarray, np.ndarray]:
    """An advance curve as two float arrays, rising in its input.

    Parameters
    ----------
    curve : sequence of (float, float) [input, distributor degree]
        At least two points.

    Returns
    -------
    tuple of two arrays of shape (points,) [input, distributor degree]

    Raises
    ------
    OutOfRange
        Fewer than two points, inputs that do not rise, or advance that falls.

    Notes
    -----
    Source: derived.
    """
    try:
        return _checked(tuple(map(tuple, curve)))
    except TypeError:  # not pairs, or nothing that can be remembered: the check itself says what is wrong
        return _checked.__wrapped__(curve)


@lru_cache(maxsize=256)  # a class works with a handful of curves, each looked up thousands of times
def _checked(curve):
    table = np.asarray(curve, dtype=float)
    if table.ndim != 2 or table.shape[0] < 2 or table.shape[1] != 2 or not np.isfinite(table).all():
        raise OutOfRange("An advance curve needs two or more pairs of numbers: input, then distributor degrees.")
    points, advance = table[:, 0], table[:, 1]
    if (np.diff(points) <= 0).any() or (np.diff(advance) < 0).any() or advance[0] < 0:
        raise OutOfRange("An advance curve must rise from pair to pair; put its points in order of their input.")
    table.flags.writeable = False  # several callers share it
    return points, advance


def centrifugal_advance_deg(distributor_rpm: ArrayLike, curve: Sequence[tuple[float, float]]) -> FloatOrArray:
    """Advance that the weights add at a distributor speed.

    Parameters
    ----------
    distributor_rpm : float or array [distributor rev/min]
    curve : sequence of (float, float) [distributor rev/min, distributor degree]

    Returns
    -------
    float or array of the same shape [distributor degree]

    Raises
    ------
    OutOfRange
        Speed below zero, or a curve that is none.

    Notes
    -----
    Source: practice (bench test sheets give the curve in distributor units).
    """
    points, advance = check_curve(curve)
    speed = in_range("Distributor speed", distributor_rpm, "rev/min", least=0)
    return plain(np.interp(speed, points, advance))


def vacuum_advance_deg(vacuum_inhg: ArrayLike, curve: Sequence[tuple[float, float]]) -> FloatOrArray:
    """Advance that the diaphragm adds at the vacuum in its line.

    Parameters
    ----------
    vacuum_inhg : float or array [inHg vacuum]
    curve : sequence of (float, float) [inHg vacuum, distributor degree]

    Returns
    -------
    float or array of the same shape [distributor degree]

    Raises
    ------
    OutOfRange
        Vacuum outside 0 to 29.92 inHg, or a curve that is none.

    Notes
    -----
    Source: practice.
    """
    points, advance = check_curve(curve)
    return plain(np.interp(_vacuum(vacuum_inhg), points, advance))


def ported_vacuum_inhg(manifold_vacuum_inhg: ArrayLike, port_covered: ArrayLike) -> FloatOrArray:
    """Vacuum in a line whose tap sits just above the edge of the closed throttle plate.

    Parameters
    ----------
    manifold_vacuum_inhg : float or array [inHg vacuum]
    port_covered : bool or array, broadcast with manifold_vacuum_inhg [1]
        True while the closed plate shuts the tap off.

    Returns
    -------
    float or array of the broadcast shape [inHg vacuum]

    Raises
    ------
    OutOfRange
        Vacuum outside 0 to 29.92 inHg.

    Notes
    -----
    Source: tm-9-8000, text to figure 15-19.
    """
    return plain(np.where(port_covered, 0.0, _vacuum(manifold_vacuum_inhg)))


def total_advance_deg(
    speed_rpm: ArrayLike,
    line_vacuum_inhg: ArrayLike,
    initial_deg: ArrayLike,
    centrifugal_curve: Sequence[tuple[float, float]],
    vacuum_curve: Sequence[tuple[float, float]],
) -> FloatOrArray:
    """Advance at the crankshaft: initial, centrifugal and vacuum together.

    Parameters
    ----------
    speed_rpm : float or array [crank rev/min]
    line_vacuum_inhg : float or array, broadcast with speed_rpm [inHg vacuum]
        In the line to the diaphragm: zero with the line off and plugged, and zero
        while a ported tap is covered.
    initial_deg : float or array, broadcast with speed_rpm [crank degree]
        Before top dead centre.
    centrifugal_curve : sequence of (float, float) [distributor rev/min, distributor degree]
    vacuum_curve : sequence of (float, float) [inHg vacuum, distributor degree]

    Returns
    -------
    float or array of the broadcast shape [crank degree]
        Before top dead centre.

    Raises
    ------
    OutOfRange
        Speed below zero, vacuum outside 0 to 29.92 inHg, initial timing outside
        -30 to 40 degrees, or a curve that is none.

    Notes
    -----
    Source: tm-9-8000, chapter 15 (centrifugal answers speed, vacuum answers load);
    the sum itself is derived.
    """
    initial = _initial(initial_deg)
    weights = centrifugal_advance_deg(distributor_speed_rpm(speed_rpm), centrifugal_curve)
    diaphragm = vacuum_advance_deg(line_vacuum_inhg, vacuum_curve)
    return initial + crank_deg(weights) + crank_deg(diaphragm)


def true_initial_deg(
    mark_deg: ArrayLike, speed_rpm: ArrayLike, centrifugal_curve: Sequence[tuple[float, float]]
) -> FloatOrArray:
    """Initial timing left after the mark was set with the engine idling too fast.

    Parameters
    ----------
    mark_deg : float or array [crank degree]
        Where the timing light showed the mark, vacuum line off.
    speed_rpm : float or array, broadcast with mark_deg [crank rev/min]
        Speed at which it was set.
    centrifugal_curve : sequence of (float, float) [distributor rev/min, distributor degree]

    Returns
    -------
    float or array of the broadcast shape [crank degree]

    Raises
    ------
    OutOfRange
        As `total_advance_deg`.

    Notes
    -----
    The weights already gave a part of what the mark showed, so the whole curve is
    late by that part. Source: derived.
    """
    weights = centrifugal_advance_deg(distributor_speed_rpm(speed_rpm), centrifugal_curve)
    return _initial(mark_deg) - crank_deg(weights)


def vacuum_at_barometer_inhg(
    vacuum_inhg: ArrayLike, barometer_inhg: ArrayLike, other_barometer_inhg: ArrayLike
) -> FloatOrArray:
    """Gauge reading of the same absolute manifold pressure under another barometer.

    Parameters
    ----------
    vacuum_inhg : float or array [inHg vacuum]
        Read where the barometer stands at `barometer_inhg`.
    barometer_inhg : float or array, broadcast with vacuum_inhg [inHg absolute]
    other_barometer_inhg : float or array, broadcast with vacuum_inhg [inHg absolute]

    Returns
    -------
    float or array of the broadcast shape [inHg vacuum]
        Below zero where the manifold pressure exceeds the other barometer.

    Raises
    ------
    OutOfRange
        A barometer outside 15 to 32 inHg, or a vacuum deeper than its barometer.

    Notes
    -----
    Source: derived. Idle needs about the same absolute pressure at any height.
    """
    here = in_range("The barometer", barometer_inhg, "inHg", least=15, most=32)
    there = in_range("The other barometer", other_barometer_inhg, "inHg", least=15, most=32)
    vacuum = in_range("The vacuum", vacuum_inhg, "inHg", least=0)
    if np.any(np.asarray(vacuum) > here):
        raise OutOfRange(
            f"A vacuum of {np.max(vacuum):g} inHg is deeper than the barometer allows; read the gauge again."
        )
    return there - (here - vacuum)


def centrifugal_start_rpm(preload_n: ArrayLike, mass_kg: ArrayLike, radius_m: ArrayLike) -> FloatOrArray:
    """Distributor speed at which a weight leaves its stop.

    Parameters
    ----------
    preload_n : float or array [N]
        Pull of the spring, taken at the weight's centre of mass.
    mass_kg : float or array, broadcast with preload_n [kg]
    radius_m : float or array, broadcast with preload_n [m]
        Of the centre of mass, weight at rest.

    Returns
    -------
    float or array of the broadcast shape [distributor rev/min]

    Raises
    ------
    OutOfRange
        Preload below zero; mass or radius not above zero.

    Notes
    -----
    The weight leaves when m r w^2 exceeds the preload. Source: derived.
    """
    force = in_range("Spring preload", preload_n, "N", least=0)
    mass = in_range("The mass of a weight", mass_kg, "kg", above=0)
    radius = in_range("The radius of a weight", radius_m, "m", above=0)
    return plain(np.sqrt(force / (mass * radius)) * 30.0 / np.pi)


def choked_vacuum_inhg(barometer_inhg: ArrayLike = STANDARD_ATMOSPHERE_INHG) -> FloatOrArray:
    """Vacuum above which air enters a leak at the speed of sound.

    Parameters
    ----------
    barometer_inhg : float or array [inHg absolute]

    Returns
    -------
    float or array of the same shape [inHg vacuum]

    Raises
    ------
    OutOfRange
        Barometer outside 15 to 32 inHg.

    Notes
    -----
    A pumped-up diaphragm with a hole loses vacuum in a straight line down to this
    reading, then ever more slowly. Source: fluids (critical pressure ratio).
    """
    return in_range("The barometer", barometer_inhg, "inHg", least=15, most=32) * (1.0 - CRITICAL_RATIO_AIR)


def leaking_vacuum_inhg(
    time_s: ArrayLike,
    start_inhg: ArrayLike,
    fall_inhg_per_s: ArrayLike,
    barometer_inhg: ArrayLike = STANDARD_ATMOSPHERE_INHG,
) -> FloatOrArray:
    """Reading of a hand pump on a punctured diaphragm, against time.

    Parameters
    ----------
    time_s : float or array [s]
        Since the pump was left alone.
    start_inhg : float [inHg vacuum]
    fall_inhg_per_s : float [inHg/s]
        Rate of fall while the leak is choked; set by the size of the hole.
    barometer_inhg : float [inHg absolute]

    Returns
    -------
    float or array of the shape of time_s [inHg vacuum]

    Raises
    ------
    OutOfRange
        Time or rate below zero, or a start outside 0 to the barometer.

    Notes
    -----
    Isothermal chamber of fixed volume filled through a nozzle of air with ratio of
    heats 1.4. Choked: a straight line. Below, with r the ratio of inside to outside
    pressure and s = 2/7, the flow is proportional to r^(5/7) sqrt(1 - r^s); putting
    u = sqrt(1 - r^s) makes du/dt constant, which closes the form: u falls in a straight
    line to zero. Source: derived.
    """
    time = in_range("The time", time_s, "s", least=0)
    barometer = in_range("The barometer", barometer_inhg, "inHg", least=15, most=32)
    start = in_range("The vacuum at the start", start_inhg, "inHg", least=0, most=barometer)
    rate = in_range("The rate of fall", fall_inhg_per_s, "inHg/s", least=0)
    limit = choked_vacuum_inhg(barometer)
    straight = start - rate * time
    if rate == 0:
        return plain(np.full(np.shape(time), start))
    entry = min(start, limit)
    since = time - (start - entry) / rate
    # Subsonic: dr/dt = k r^(5/7) u with u = sqrt(1 - r^(2/7)), hence du/dt = -k/7. At the
    # critical ratio the two laws meet, which fixes k.
    critical_u = np.sqrt(1.0 - CRITICAL_RATIO_AIR ** (2 / 7))
    k = rate / barometer / (CRITICAL_RATIO_AIR ** (5 / 7) * critical_u)
    entry_u = np.sqrt(1.0 - (1.0 - entry / barometer) ** (2 / 7))
    u = np.maximum(0.0, entry_u - k / 7.0 * np.maximum(0.0, since))
    return plain(np.where(straight > limit, straight, barometer * (1.0 - (1.0 - u**2) ** 3.5)))


def _vacuum(vacuum_inhg):
    return in_range(
        "The vacuum",
        vacuum_inhg,
        "inHg",
        least=0,
        most=29.93,
        advice="No vacuum is deeper than the atmosphere; a gauge in kPa reads 3.386 times as much.",
    )


def _initial(initial_deg):
    return in_range(
        "The timing mark",
        initial_deg,
        "crank degrees",
        least=-30,
        most=40,
        advice="Count degrees before top as positive.",
    )
