"""Plug leads: resistance, what a lead costs, and how one lead fires another.

Two parallel wires over a metal plane in air. The victim of cross-fire is the later
cylinder of a pair: it is compressing when the earlier one is fired. The voltage
that makes it spark belongs to the breakdown law and is handed in.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy.constants import epsilon_0, mu_0

from grader.errors import OutOfRange
from grader.ranges import FloatOrArray, TextOrArray, in_range, plain
from grader.reference.angles import cross_fire_pairs, firing_interval_deg, piston_fall_fraction

LENGTHS_MM = (381.0, 635.0, 889.0)  # 15, 25 and 35 inches
LEAST_KOHM, MOST_KOHM = (3.0, 4.0, 6.0, 6.0), (10.0, 15.0, 20.0, 25.0)
RENEW_KOHM, RENEW_KOHM_PER_FOOT = 30.0, 12.0
FOOT_MM = 304.8
LEAD_STATES = ("low", "good", "high", "renew")
PLUG_PF, CABLE_PF = 25.0, 30.0
SPARK_CURRENT_A, SPARK_MHZ = 65.0, 8.0  # metal core, middle of the printed ranges
CLOSING_DEG, CLOSING_DENSITY = 120.0, 0.95 / 1.01325 * 293.15 / 340.0
ROTOR_POINTS = ((0.5, 1.0), (1.0, 3.0))  # gaps in mm, voltages in kV


def lead_limits_kohm(
    length_mm: ArrayLike, per_foot_kohm: ArrayLike = RENEW_KOHM_PER_FOOT
) -> tuple[FloatOrArray, FloatOrArray, FloatOrArray]:
    """Least and most resistance of a sound suppression lead, and where it is renewed in any case.

    Parameters
    ----------
    length_mm, per_foot_kohm : float or array, broadcast together [mm, kilohm/ft]

    Returns
    -------
    tuple of three floats or arrays of the broadcast shape [kilohm]

    Raises
    ------
    OutOfRange
        Length outside 50 to 2000 mm, limit outside 1 to 30 kilohm a foot.

    Notes
    -----
    Classes up to 15, 25 and 35 inches, and longer (no least printed: as the class before).
    Renewed above 30 kilohm or the limit per foot, but never below the most of its class: the
    limit per foot of a short lead would renew what the class calls sound. Pages print 7, 10 and 12 a foot: the
    vehicle's manual decides.
    Source: workshop-lead-page; workshop-foot-pages.
    """
    length = in_range("The length", length_mm, "mm", least=50, most=2000)
    limit = in_range("The limit", per_foot_kohm, "kilohm a foot", least=1, most=30)
    place = np.searchsorted(LENGTHS_MM, length, side="left")
    least, most = np.asarray(LEAST_KOHM)[place], np.asarray(MOST_KOHM)[place]
    return plain(least), plain(most), plain(np.maximum(most, per_foot_limit_kohm(length, limit)))


def per_foot_limit_kohm(length_mm: ArrayLike, per_foot_kohm: ArrayLike = RENEW_KOHM_PER_FOOT) -> FloatOrArray:
    """The limit that workshop pages print per foot of lead, and their 30 kilohm for any.

    Parameters
    ----------
    length_mm, per_foot_kohm : float or array, broadcast together [mm, kilohm/ft]

    Returns
    -------
    float or array of the broadcast shape [kilohm]

    Raises
    ------
    OutOfRange
        Length outside 50 to 2000 mm, limit outside 1 to 30 kilohm a foot.

    Notes
    -----
    Source: workshop-foot-pages.
    """
    length = in_range("The length", length_mm, "mm", least=50, most=2000)
    limit = in_range("The limit", per_foot_kohm, "kilohm a foot", least=1, most=30)
    return plain(np.minimum(RENEW_KOHM, limit * length / FOOT_MM))


def lead_state(resistance_kohm: ArrayLike, length_mm: ArrayLike) -> TextOrArray:
    """What an ohmmeter reading says about a suppression lead.

    Parameters
    ----------
    resistance_kohm, length_mm : float or array, broadcast together [kilohm, mm]

    Returns
    -------
    str or array of str
        "low", "good", "high" (inside the renewal limit) or "renew".

    Raises
    ------
    OutOfRange
        Resistance below zero, length outside 50 to 2000 mm.

    Notes
    -----
    Flex the lead while measuring: a break can read good. Source: workshop-lead-page.
    """
    ohms = np.asarray(in_range("The resistance", resistance_kohm, "kilohm", least=0))
    least, most, renew = lead_limits_kohm(length_mm)
    place = np.where(ohms > renew, 3, np.where(ohms > most, 2, np.where(ohms >= least, 1, 0)))
    return LEAD_STATES[int(place)] if place.ndim == 0 else np.asarray(LEAD_STATES)[place]


def self_inductance_uh_per_m(height_mm: ArrayLike, radius_mm: ArrayLike) -> FloatOrArray:
    """Inductance of one wire over a metal plane.

    Parameters
    ----------
    height_mm, radius_mm : float or array, broadcast together [mm]
        Height of the wire's axis over the plane; radius of the conductor.

    Returns
    -------
    float or array of the broadcast shape [uH/m]

    Raises
    ------
    OutOfRange
        Radius not above zero, or height less than two radii.

    Notes
    -----
    (mu0 / 2 pi) ln(2h/r); the natural logarithm. Source: paul.
    """
    height, radius = _wire(height_mm, radius_mm)
    return plain(_per_m(np.log(2.0 * height / radius)))


def mutual_inductance_uh_per_m(
    height_mm: ArrayLike, spacing_mm: ArrayLike, other_height_mm: ArrayLike | None = None
) -> FloatOrArray:
    """Inductance that two parallel wires over a plane share.

    Parameters
    ----------
    height_mm, spacing_mm, other_height_mm : float or array, broadcast together [mm]
        Spacing straight from axis to axis; the other wire is as high if not said.

    Returns
    -------
    float or array of the broadcast shape [uH/m]

    Raises
    ------
    OutOfRange
        A height or spacing not above zero, or less spacing than the heights differ by.

    Notes
    -----
    (mu0 / 4 pi) ln(1 + 4 h1 h2 / s2), from the images in the plane. Source: paul.
    """
    heights = _heights(height_mm, other_height_mm)
    spacing = in_range("The spacing", spacing_mm, "mm", above=0, most=1e5)
    if np.any(np.asarray(spacing) < np.abs(heights[0] - heights[1])):
        raise OutOfRange(f"The spacing is {np.min(spacing):g} mm; allowed is no less than the heights differ by.")
    return plain(_per_m(0.5 * np.log1p(4.0 * heights[0] * heights[1] / np.square(spacing))))


def capacitances_pf_per_m(
    height_mm: ArrayLike,
    spacing_mm: ArrayLike,
    radius_mm: ArrayLike,
    other_height_mm: ArrayLike | None = None,
    permittivity: ArrayLike = 1.0,
) -> tuple[FloatOrArray, FloatOrArray]:
    """Capacitance between two parallel wires, and of the second wire to the plane.

    Parameters
    ----------
    height_mm, spacing_mm, radius_mm, other_height_mm, permittivity : float or array [mm, mm, mm, mm, 1]
        Arrays broadcast together. Permittivity of what surrounds the wires: 1 air; lead insulation fills only a part.

    Returns
    -------
    tuple of two floats or arrays of the broadcast shape [pF/m]
        Between the wires; from the second (the victim) to the plane.

    Raises
    ------
    OutOfRange
        As the inductances; wires closer than two radii; permittivity outside 1 to 10.

    Notes
    -----
    The capacitance matrix is mu0 eps0 over the inductance matrix. Source: paul.
    """
    high, other = _heights(height_mm, other_height_mm)
    if np.any(np.asarray(spacing_mm) <= 2.0 * np.asarray(radius_mm)):
        raise OutOfRange(f"The spacing is {np.min(spacing_mm):g} mm; allowed is more than twice the radius.")
    filling = in_range("The permittivity", permittivity, "", least=1, most=10)
    first, second = self_inductance_uh_per_m(high, radius_mm), self_inductance_uh_per_m(other, radius_mm)
    shared = mutual_inductance_uh_per_m(high, spacing_mm, other)
    scale = mu_0 * epsilon_0 * filling * 1e18 / (first * second - np.square(shared))
    return plain(scale * shared), plain(scale * (first - shared))


def induced_capacitive_kv(
    firing_kv: ArrayLike,
    length_mm: ArrayLike,
    between_pf_per_m: ArrayLike,
    ground_pf_per_m: ArrayLike,
    plug_pf: ArrayLike = PLUG_PF,
) -> FloatOrArray:
    """Voltage on a neighbouring lead while the first lead's voltage rises.

    Parameters
    ----------
    firing_kv, length_mm, between_pf_per_m, ground_pf_per_m, plug_pf : float or array [kV, mm, pF/m, pF/m, pF]
        Arrays broadcast together. Length along which the leads run side by side.

    Returns
    -------
    float or array of the broadcast shape [kV]

    Raises
    ------
    OutOfRange
        A voltage, length or capacitance below zero.

    Notes
    -----
    A divider of capacitances; resistance in the lead does not change it. Source: derived.
    """
    voltage = in_range("The firing voltage", firing_kv, "kV", least=0, most=100)
    metres = in_range("The length", length_mm, "mm", least=0, most=5000) / 1000.0
    between = in_range("The capacitance between the leads", between_pf_per_m, "pF/m", least=0)
    ground = in_range("The capacitance to the plane", ground_pf_per_m, "pF/m", above=0)
    plug = in_range("The capacitance of the plug", plug_pf, "pF", above=0)
    return plain(voltage * between * metres / ((between + ground) * metres + plug))


def induced_inductive_kv(
    length_mm: ArrayLike,
    mutual_uh_per_m: ArrayLike,
    current_a: ArrayLike = SPARK_CURRENT_A,
    frequency_mhz: ArrayLike = SPARK_MHZ,
) -> FloatOrArray:
    """Voltage on a neighbouring lead at the moment the first plug breaks down.

    Parameters
    ----------
    length_mm, mutual_uh_per_m, current_a, frequency_mhz : float or array [mm, uH/m, A, MHz]
        Arrays broadcast together. 65 A for a metal core; about 2 A with 10 kilohm in the lead.

    Returns
    -------
    float or array of the broadcast shape [kV]

    Raises
    ------
    OutOfRange
        A quantity below zero.

    Notes
    -----
    l_m times 2 pi f I. Source: nbs-spark.
    """
    metres = in_range("The length", length_mm, "mm", least=0, most=5000) / 1000.0
    shared = in_range("The mutual inductance", mutual_uh_per_m, "uH/m", least=0)
    crest = in_range("The current", current_a, "A", least=0)
    rate = 2.0 * np.pi * in_range("The frequency", frequency_mhz, "MHz", least=0)
    return plain(shared * metres * rate * crest / 1000.0)


def victim_density(
    cylinders: ArrayLike,
    advance_deg: ArrayLike,
    compression_ratio: ArrayLike,
    rod_ratio: ArrayLike = 3.5,
    closing_density: ArrayLike = CLOSING_DENSITY,
) -> FloatOrArray:
    """Relative density in the later cylinder of a pair when the earlier one is fired.

    Parameters
    ----------
    cylinders : int or array [count]
    advance_deg : float or array, broadcast with cylinders [crank degree]
    compression_ratio, rod_ratio : float or array, broadcast with cylinders [1]
    closing_density : float or array, broadcast with cylinders [1]
        When the inlet closes.

    Returns
    -------
    float or array of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        Advance outside -30 to 60 degrees, compression ratio outside 3 to 20.

    Notes
    -----
    The victim stands 720/n degrees before its own spark. Inlet closed from 120
    degrees before top: a teaching value. Source: teaching-setup.
    """
    advance = in_range("The advance", advance_deg, "crank degrees", least=-30, most=60)
    ratio = in_range("The compression ratio", compression_ratio, "", least=3, most=20)
    closing = in_range("The density at closing", closing_density, "", above=0, most=10)
    angle = np.minimum(CLOSING_DEG, advance + firing_interval_deg(cylinders))
    shut, now = (1.0 / (ratio - 1.0) + piston_fall_fraction(at, rod_ratio) for at in (CLOSING_DEG, angle))
    return plain(closing * shut / now)


def cross_fire_risk(
    order: Sequence[int], banks: Sequence[Sequence[int]], induced_kv: float, victim_kv: float
) -> tuple[tuple[int, int, float], ...]:
    """Which pairs of leads cross-fire if they run side by side.

    Parameters
    ----------
    order : sequence of int [cylinder number]
    banks : sequence of sequences of int [cylinder number]
        As `cross_fire_pairs`.
    induced_kv : float [kV]
        On the victim's lead.
    victim_kv : float [kV]
        What the victim's plug needs at `victim_density`.

    Returns
    -------
    tuple of tuples (int, int, float) [cylinder number, cylinder number, 1]
        Fires first, suffers, share of the voltage needed: from 1 on it sparks.

    Raises
    ------
    OutOfRange
        Order or banks that are none, voltage below zero, victim's not above zero.

    Notes
    -----
    Source: tm-5-4210-230 (the rule in words).
    """
    induced = in_range("The induced voltage", induced_kv, "kV", least=0)
    needed = in_range("The victim's voltage", victim_kv, "kV", above=0)
    return tuple((first, second, induced / needed) for first, second in cross_fire_pairs(order, banks))


def rotor_gap_kv(gap_mm: ArrayLike) -> FloatOrArray:
    """Voltage that the gap between rotor and cap takes.

    Parameters
    ----------
    gap_mm : float or array [mm]

    Returns
    -------
    float or array of the same shape [kV]

    Raises
    ------
    OutOfRange
        Gap outside 0.5 to 1.0 mm.

    Notes
    -----
    Sharp and ionised, less than a cold uniform gap. Source: practice.
    """
    gap = in_range("The rotor gap", gap_mm, "mm", least=0.5, most=1.0)
    return plain(np.interp(gap, *ROTOR_POINTS))


def lead_cost_v(
    resistance_kohm: ArrayLike,
    firing_kv: ArrayLike = 20.0,
    rise_us: ArrayLike = 60.0,
    cable_pf: ArrayLike = CABLE_PF,
    spark_ma: ArrayLike = 35.0,
) -> tuple[FloatOrArray, FloatOrArray]:
    """Voltage that the resistance of a lead takes before the spark and during it.

    Parameters
    ----------
    resistance_kohm, firing_kv, rise_us, cable_pf, spark_ma : float or array [kilohm, kV, us, pF, mA]

    Returns
    -------
    tuple of two floats or arrays of the broadcast shape [V]

    Raises
    ------
    OutOfRange
        A quantity below zero, rise time not above zero, spark current above 200 mA.

    Notes
    -----
    Before: R C dV/dt, next to nothing. During: R I of some 1500 V. Source: derived.
    """
    ohms = in_range("The resistance", resistance_kohm, "kilohm", least=0)
    slope = in_range("The firing voltage", firing_kv, "kV", least=0, most=100)
    slope = slope / in_range("The rise time", rise_us, "us", above=0)
    during = in_range("The current", spark_ma, "mA", least=0, most=200, advice="Take the secondary's.")
    return plain(ohms * in_range("The capacitance", cable_pf, "pF", least=0) * slope), plain(ohms * during)


def _per_m(logarithm):
    return mu_0 * 1e6 / (2.0 * np.pi) * logarithm


def _wire(height_mm, radius_mm):
    radius = in_range("The radius of the conductor", radius_mm, "mm", above=0, most=50)
    height = in_range("The height over the plane", height_mm, "mm", above=0, most=1e7)
    if np.any(np.asarray(height) < 2.0 * np.asarray(radius)):
        raise OutOfRange(f"The height is {np.min(height):g} mm; allowed is two radii or more, measured to the axis.")
    return height, radius


def _heights(height_mm, other_height_mm):
    high = in_range("The height over the plane", height_mm, "mm", above=0, most=1e7)
    if other_height_mm is None:
        return high, high
    return high, in_range("The other height over the plane", other_height_mm, "mm", above=0, most=1e7)
