"""The closed part of the cycle in one zone: burn, pressure, work, best start of burn.

One uniform gas between two bottom dead centres, heat from a Wiebe burn, heat to the
walls after Hohenberg. With the heat transfer coefficient known, the equation for
y = p V^gamma is linear and integrates as running sums over the whole cycle; the
coefficient follows from the pressure by repeated substitution. No stepping in time.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from grader.ranges import FloatOrArray, in_range, plain
from grader.reference.angles import piston_fall_fraction

GAS_CONSTANT = 287.0  # J/(kg K), of the charge; it only turns heat per mass into heat per filling
WIEBE_A = 5.0
WIEBE_M = 2.0
STEP_DEG = 0.5
SUBSTITUTIONS = 40


@dataclass(frozen=True, slots=True)
class Cylinder:
    """One cylinder and its charge: the teaching engine unless said otherwise.

    bore_mm, stroke_mm, rod_ratio [1], compression_ratio [1], charge_kpa (at bottom
    dead centre, absolute), charge_k (there), heat_kj_per_kg (of charge), ratio_of_heats
    [1], wall_factor [1] (1 Hohenberg, 0 no loss), wall_k, burn_deg (Wiebe duration).
    """

    bore_mm: float = 90.0
    stroke_mm: float = 85.0
    rod_ratio: float = 3.5
    compression_ratio: float = 8.5
    charge_kpa: float = 90.0
    charge_k: float = 340.0
    heat_kj_per_kg: float = 2400.0
    ratio_of_heats: float = 1.30
    wall_factor: float = 1.0
    wall_k: float = 450.0
    burn_deg: float = 50.0

    def __post_init__(self):
        for words, value, unit, least, most in (
            ("The bore", self.bore_mm, "mm", 20, 300),
            ("The stroke", self.stroke_mm, "mm", 20, 300),
            ("Rod length over crank radius", self.rod_ratio, "", 1.5, 10),
            ("The compression ratio", self.compression_ratio, "", 2, 25),
            ("The charge pressure", self.charge_kpa, "kPa absolute", 10, 300),
            ("The charge temperature", self.charge_k, "K", 230, 600),
            ("The heat of the charge", self.heat_kj_per_kg, "kJ/kg", 1, 4000),
            ("The ratio of heats", self.ratio_of_heats, "", 1.05, 1.67),
            ("The wall factor", self.wall_factor, "", 0, 3),
            ("The wall temperature", self.wall_k, "K", 230, 900),
            ("The burn duration", self.burn_deg, "crank degrees", 0.1, 150),
        ):
            in_range(words, value, unit, least=least, most=most)


TEACHING_CYLINDER = Cylinder()


@dataclass(frozen=True, slots=True)
class Cycle:
    """What one burn gave; angles are crank degrees after top dead centre.

    angle_deg (grid), pressure_kpa, temperature_k, burned [1] (curves, last axis the
    grid), work_j (indicated, bottom to bottom), heat_j, wall_loss_j, efficiency [1],
    peak_kpa, peak_deg, half_burned_deg.
    """

    angle_deg: np.ndarray
    pressure_kpa: np.ndarray
    temperature_k: np.ndarray
    burned: np.ndarray
    work_j: float
    heat_j: float
    wall_loss_j: float
    efficiency: float
    peak_kpa: float
    peak_deg: float
    half_burned_deg: float


def burned_share(
    angle_deg: ArrayLike, burn_start_deg: ArrayLike, burn_deg: ArrayLike, a: float = WIEBE_A, m: float = WIEBE_M
) -> FloatOrArray:
    """Share of the charge that has burned at a crank angle (Wiebe).

    Parameters
    ----------
    angle_deg : float or array [crank degree after top]
    burn_start_deg : float or array, broadcast with angle_deg [crank degree after top]
    burn_deg : float or array, broadcast with angle_deg [crank degree]
        Nominal duration; 0.67 % burns after it and is not cut off.
    a, m : float [1]
        Completeness and form of the burn.

    Returns
    -------
    float or array of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        Angles beyond two turns, duration, a, or m + 1 not above zero.

    Notes
    -----
    Source: wiebe-textbook (form and a = 5); m = 2 is from heywood.
    """
    angle = in_range("The crank angle", angle_deg, "crank degrees", least=-720, most=720)
    start = in_range("The start of burn", burn_start_deg, "crank degrees", least=-720, most=720)
    duration = in_range("The burn duration", burn_deg, "crank degrees", least=1e-3, most=720)
    a, m = _form(a, m)
    share = np.maximum(0.0, (angle - start) / duration)
    return plain(-np.expm1(-a * share ** (m + 1.0)))


def burn_angle_fraction(burned: ArrayLike, a: float = WIEBE_A, m: float = WIEBE_M) -> FloatOrArray:
    """Share of the nominal burn duration after which a share of the charge has burned.

    Parameters
    ----------
    burned : float or array [1]
    a, m : float [1]

    Returns
    -------
    float or array of the same shape [1]

    Raises
    ------
    OutOfRange
        Burned share outside 0 to below 1; a, or m + 1 not above zero.

    Notes
    -----
    Inverse of `burned_share`. Source: wiebe-textbook.
    """
    share = in_range("The burned share", burned, "", least=0, below=1, advice="The last of the charge burns for ever.")
    a, m = _form(a, m)
    return plain((-np.log1p(-share) / a) ** (1.0 / (m + 1.0)))


def solve(burn_start_deg: ArrayLike, speed_rpm: ArrayLike = 2000.0, cylinder: Cylinder = TEACHING_CYLINDER) -> Cycle:
    """Pressure and work of one cycle.

    Parameters
    ----------
    burn_start_deg : float or array [crank degree after top]
        Negative before top. The spark leads it by the development of the flame.
    speed_rpm : float or array, broadcast with burn_start_deg [crank rev/min]
        Matters through the wall loss alone.
    cylinder : Cylinder [dimensions and charge]

    Returns
    -------
    Cycle [see its own text]

    Raises
    ------
    OutOfRange
        Start outside -120 to 90 degrees, or speed outside 50 to 12000.

    Notes
    -----
    dp/dtheta = (gamma-1)/V (dQ - dQw)/dtheta - gamma p/V dV/dtheta. Work is the heat
    less the wall loss less the rise of internal energy, so the balance closes exactly
    and a sudden burn at top gives the Otto efficiency. Source: heywood (equation);
    hohenberg (wall loss); teaching-setup (cylinder).
    """
    start = in_range("The start of burn", burn_start_deg, "crank degrees", least=-120, most=90)
    speed = in_range("Engine speed", speed_rpm, "rev/min", least=50, most=12000)
    start, speed = (values[..., None] for values in np.broadcast_arrays(start, speed))
    gamma = cylinder.ratio_of_heats
    # A burn shorter than a few steps needs a finer grid: the Otto limit.
    step = min(STEP_DEG, max(cylinder.burn_deg / 4.0, 0.02))
    angle = np.linspace(-180.0, 180.0, round(360.0 / step) + 1)
    step = angle[1] - angle[0]
    volume, area = _chamber(angle, cylinder)
    pv = cylinder.charge_kpa * 1e3 * volume[0]
    kelvin_per_pv = cylinder.charge_k / pv
    heat = 1e3 * cylinder.heat_kj_per_kg * pv / (GAS_CONSTANT * cylinder.charge_k)
    burned = burned_share(angle, start, cylinder.burn_deg)
    power = volume ** (gamma - 1.0)
    first = pv * power[0]
    pressure = (first + (gamma - 1.0) * heat * _stieltjes(power, burned)) / (power * volume)
    lost = np.zeros_like(pressure)
    if cylinder.wall_factor > 0:
        # p^0.8 T^-0.4 is p^0.4 times a function of volume; scale is in J per kelvin and degree.
        mean_speed = 2e-3 * cylinder.stroke_mm * speed / 60.0
        scale = cylinder.wall_factor * 130.0 * (mean_speed + 1.4) ** 0.8 / (6.0 * speed)
        scale = scale * area * volume**-0.06 * 1e-4 * (kelvin_per_pv * volume) ** -0.4
        for _ in range(SUBSTITUTIONS):
            coefficient = scale * pressure**0.4
            fade = np.exp((gamma - 1.0) * kelvin_per_pv * _running(coefficient, step))
            source = heat * _stieltjes(power * fade, burned)
            source += cylinder.wall_k * _running(power * fade * coefficient, step)
            before, pressure = pressure, (first + (gamma - 1.0) * source) / (fade * power * volume)
            if np.max(np.abs(pressure - before)) < 1e-8 * np.max(pressure):
                break
        lost = _running(coefficient * (pressure * volume * kelvin_per_pv - cylinder.wall_k), step)
    energy_rise = (pressure[..., -1] - pressure[..., 0]) * volume[0] / (gamma - 1.0)
    given = heat * burned[..., -1]
    work = given - lost[..., -1] - energy_rise
    peak, where = _peak(angle, pressure)
    half = start[..., 0] + burn_angle_fraction(0.5) * cylinder.burn_deg
    return Cycle(
        angle,
        pressure * 1e-3,
        pressure * volume * kelvin_per_pv,
        burned,
        plain(work),
        plain(given),
        plain(lost[..., -1]),
        plain(work / heat),
        plain(peak * 1e-3),
        plain(where),
        plain(half),
    )


def best_burn_start_deg(speed_rpm: ArrayLike = 2000.0, cylinder: Cylinder = TEACHING_CYLINDER) -> FloatOrArray:
    """Start of burn that gives the most work.

    Parameters
    ----------
    speed_rpm : float or array [crank rev/min]
    cylinder : Cylinder [dimensions and charge]

    Returns
    -------
    float or array of the shape of speed_rpm [crank degree after top]

    Raises
    ------
    OutOfRange
        As `solve`.

    Notes
    -----
    Scans -75 to 5 degrees and narrows twice around the best; each step ends at the
    top of a parabola. A burn without wall loss is best with half burned at top; wall
    loss delays it. Source: beccari-2010 (losses delay the optimum).
    """
    speed = np.asarray(in_range("Engine speed", speed_rpm, "rev/min", least=50, most=12000))[..., None]
    centre, step = np.full(speed.shape, -35.0), 10.0
    for points in (9, 5, 3):
        starts = centre + step * (np.arange(points) - points // 2)
        work = np.asarray(solve(starts, speed, cylinder).work_j)
        best = np.clip(np.argmax(work, axis=-1), 1, points - 2)[..., None]
        low, mid, high = (np.take_along_axis(work, best + k, axis=-1) for k in (-1, 0, 1))
        centre = np.take_along_axis(starts, best, axis=-1) + 0.5 * step * (low - high) / (low - 2.0 * mid + high)
        step /= 4.0
    return plain(centre[..., 0])


def best_spark_deg(
    speed_rpm: ArrayLike = 2000.0, development_deg: ArrayLike = 10.0, cylinder: Cylinder = TEACHING_CYLINDER
) -> FloatOrArray:
    """Spark timing that gives the most torque.

    Parameters
    ----------
    speed_rpm : float or array [crank rev/min]
    development_deg : float or array, broadcast with speed_rpm [crank degree]
        From the spark to a burn that can be seen: 5 to 15.
    cylinder : Cylinder [dimensions and charge]

    Returns
    -------
    float or array of the broadcast shape [crank degree before top]

    Raises
    ------
    OutOfRange
        Development outside 0 to 40 degrees, or as `solve`.

    Notes
    -----
    Source: combustion-2011 (31 degrees before top on its engine).
    """
    development = in_range("The flame development", development_deg, "crank degrees", least=0, most=40)
    return development - best_burn_start_deg(speed_rpm, cylinder)


def torque_loss_percent(
    timing_error_deg: ArrayLike, speed_rpm: float = 2000.0, cylinder: Cylinder = TEACHING_CYLINDER
) -> FloatOrArray:
    """Torque lost by a spark that is not where it gives the most.

    Parameters
    ----------
    timing_error_deg : float or array [crank degree]
        Positive advanced of best, negative retarded.
    speed_rpm : float [crank rev/min]
    cylinder : Cylinder [dimensions and charge]

    Returns
    -------
    float or array of the shape of timing_error_deg [%]
        Of the indicated work at best timing.

    Raises
    ------
    OutOfRange
        Error beyond 45 degrees, or as `solve`.

    Notes
    -----
    Source: derived.
    """
    error = in_range("The timing error", timing_error_deg, "crank degrees", least=-45, most=45)
    best = best_burn_start_deg(speed_rpm, cylinder)
    most = solve(best, speed_rpm, cylinder).work_j
    work = np.asarray(solve(best - np.asarray(error), speed_rpm, cylinder).work_j)
    return plain(100.0 * (1.0 - work / most))


def _chamber(angle: np.ndarray, cylinder: Cylinder) -> tuple[np.ndarray, np.ndarray]:
    """Volume [m3] and wall area [m2] at crank angles."""
    piston = np.pi / 4.0 * (1e-3 * cylinder.bore_mm) ** 2
    swept = piston * 1e-3 * cylinder.stroke_mm
    volume = swept * (1.0 / (cylinder.compression_ratio - 1.0) + piston_fall_fraction(angle, cylinder.rod_ratio))
    # A flat chamber: head and piston are discs, and the liner is bare over volume / piston.
    return volume, 2.0 * piston + np.pi * 1e-3 * cylinder.bore_mm * volume / piston


def _stieltjes(weight, total):
    """Running integral of weight over the growth of total."""
    steps = 0.5 * (weight[..., 1:] + weight[..., :-1]) * np.diff(total, axis=-1)
    return np.concatenate([np.zeros((*steps.shape[:-1], 1)), np.cumsum(steps, axis=-1)], axis=-1)


def _running(rate, step):
    """Running integral of a rate per degree."""
    steps = 0.5 * step * (rate[..., 1:] + rate[..., :-1])
    return np.concatenate([np.zeros((*steps.shape[:-1], 1)), np.cumsum(steps, axis=-1)], axis=-1)


def _peak(angle, pressure):
    """Highest pressure and its angle, by a parabola through the three highest points."""
    best = np.clip(np.argmax(pressure, axis=-1), 1, len(angle) - 2)[..., None]
    low, mid, high = (np.take_along_axis(pressure, best + k, axis=-1)[..., 0] for k in (-1, 0, 1))
    bend = low - 2.0 * mid + high
    shift = np.where(bend < 0, 0.5 * (low - high) / np.where(bend < 0, bend, 1.0), 0.0)
    return mid - 0.25 * (low - high) * shift, angle[best[..., 0]] + (angle[1] - angle[0]) * shift


def _form(a, m):
    return (
        in_range("The Wiebe factor a", a, "", above=0, most=100),
        in_range("The Wiebe form m", m, "", above=-1, most=20),
    )
