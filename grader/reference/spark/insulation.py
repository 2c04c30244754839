"""Gaps that should not be there, and places where the voltage gets out before the plug.

What the gap of a rotor in order takes belongs to the cables file; this one goes on where that ends.
"""

from math import inf

import numpy as np
from numpy.typing import ArrayLike

from grader.errors import Unknown
from grader.ranges import FloatOrArray, in_range, plain

SERIES_SHARE = 0.69  # of the uniform law: sharp and ionised; meets the sound rotor's 3 kV at 1 mm
LEAST_LAW_MM = 0.1
WET_SHARES = {"cap": 0.55, "lead": 0.55, "tower": 0.7, "rotor": 0.85, "plug": 1.0}


def series_gap_kv(uniform_kv: ArrayLike, gap_mm: ArrayLike) -> FloatOrArray:
    """Voltage that a gap in the secondary circuit takes beside the plug's.

    Parameters
    ----------
    uniform_kv : float or array [kV]
        Of the uniform-field law at density 1, for the gap or for 0.1 mm if that is wider.
    gap_mm : float or array, broadcast with uniform_kv [mm]
        Rotor tip burnt, cap terminal burnt, brush gone, core broken; 0 for none.

    Returns
    -------
    float or array of the broadcast shape [kV]

    Raises
    ------
    OutOfRange
        Gap outside 0 to 30 mm, voltage below zero.

    Notes
    -----
    0.69 of the law, and in proportion below 0.1 mm. Source: teaching-setup (share);
    practice (a rotor gap of 1 mm takes 3 kV).
    """
    gap = np.asarray(in_range("The series gap", gap_mm, "mm", least=0, most=30))
    uniform = in_range("The uniform voltage", uniform_kv, "kV", least=0, most=200)
    return plain(SERIES_SHARE * uniform * np.minimum(1.0, gap / LEAST_LAW_MM))


def flash_kv(dry_kv: ArrayLike, place: str, wet: bool = False, damp_kv: ArrayLike = inf) -> FloatOrArray:
    """Voltage at which an insulation flashes over.

    Parameters
    ----------
    dry_kv : float or array [kV]
        Infinite where it holds whatever the coil gives.
    place : str
        "cap", "lead", "tower", "rotor" or "plug".
    wet : bool [1]
    damp_kv : float or array, broadcast with dry_kv [kV]
        At which wet dirt on any of it flashes over.

    Returns
    -------
    float or array of the broadcast shape [kV]

    Raises
    ------
    OutOfRange
        A voltage not above zero.
    Unknown
        No such place.

    Notes
    -----
    Water takes 45 % from cap and leads, less from what lies covered. Source: teaching-setup
    (sizes); practice (a track shows when it is damp).
    """
    if place not in WET_SHARES:
        raise Unknown(f"No insulation {place!r}; there are {', '.join(WET_SHARES)}.")
    holds, dirt = (
        np.where(np.asarray(value, dtype=float) == inf, inf, in_range(words, np.minimum(value, 1e6), "kV", above=0))
        for words, value in (("The flash-over voltage", dry_kv), ("The voltage of wet dirt", damp_kv))
    )
    if wet and place != "plug":
        holds = np.minimum(holds * WET_SHARES[place], dirt)
    return plain(holds)


def shunt_after_mohm(shunt_mohm: ArrayLike, distance_miles: ArrayLike) -> FloatOrArray:
    """Insulation of a nose on which soot settles.

    Parameters
    ----------
    shunt_mohm, distance_miles : float or array, broadcast together [Mohm, mile]
        At the start; driven while the nose stays too cool to burn itself clean, or misfires.

    Returns
    -------
    float or array of the broadcast shape [Mohm]
        Not below 0.05.

    Raises
    ------
    OutOfRange
        Insulation not above zero, distance below zero.

    Notes
    -----
    A tenth is left after each 4000 miles. Source: teaching-setup (size); practice (direction).
    """
    shunt = in_range("The insulation of the nose", shunt_mohm, "megohm", above=0)
    miles = np.asarray(in_range("The distance", distance_miles, "miles", least=0))
    return plain(np.minimum(shunt, np.maximum(0.05, shunt * 10.0 ** (-miles / 4000.0))))
