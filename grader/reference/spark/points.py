"""Point gap, dwell, and what a change of either does to timing, spark and contacts.

The cam of this project has harmonic lobes: contact lift G/2 (1 + cos n phi) about the
peak. The points open where the lift exceeds G less the gap. Real cams differ.
"""

import numpy as np
from numpy.typing import ArrayLike

from grader.errors import OutOfRange
from grader.ranges import FloatOrArray, in_range, plain
from grader.reference.angles import firing_interval_deg

RIPPLE_MM = 0.10  # rebound of the moving contact at low speed


def full_lift(gap: ArrayLike, dwell_deg: ArrayLike, cylinders: ArrayLike) -> FloatOrArray:
    """Full lift of the cam, measured at the contacts, from one known gap and dwell.

    Parameters
    ----------
    gap : float or array [any length]
    dwell_deg : float or array, broadcast with gap [distributor degree]
    cylinders : int or array, broadcast with gap [count]

    Returns
    -------
    float or array of the broadcast shape [unit of gap]

    Raises
    ------
    OutOfRange
        Gap not above zero, or dwell outside 0 to the angle between two lobes.

    Notes
    -----
    gap = G/2 (1 - cos(n open/2)). Source: derived.
    """
    opening = in_range("The point gap", gap, "", above=0, advice="Closed points have no dwell to measure.")
    return plain(2.0 * opening / (1.0 - np.cos(_open_phase(dwell_deg, cylinders))))


def dwell_of_gap_deg(gap: ArrayLike, lift: ArrayLike, cylinders: ArrayLike) -> FloatOrArray:
    """Dwell that a gap gives on our cam.

    Parameters
    ----------
    gap : float or array [any length]
        At the peak of the lobe.
    lift : float or array, broadcast with gap [same unit as gap]
        Full lift at the contacts.
    cylinders : int or array, broadcast with gap [count]

    Returns
    -------
    float or array of the broadcast shape [distributor degree]

    Raises
    ------
    OutOfRange
        Gap not above zero or not below the full lift.

    Notes
    -----
    Wider gap, less dwell: true of any cam. One army manual, TM 10-3930-647-14&P
    paragraph 5-74, prints the opposite; the geometry is against it. Source: derived.
    """
    share = _gap_share(gap, lift)
    return plain(_lobe(cylinders) * (1.0 - np.arccos(1.0 - 2.0 * share) / np.pi))


def gap_of_dwell(dwell_deg: ArrayLike, lift: ArrayLike, cylinders: ArrayLike) -> FloatOrArray:
    """Gap that goes with a dwell on our cam.

    Parameters
    ----------
    dwell_deg : float or array [distributor degree]
    lift : float or array, broadcast with dwell_deg [any length]
        Full lift at the contacts.
    cylinders : int or array, broadcast with dwell_deg [count]

    Returns
    -------
    float or array of the broadcast shape [unit of lift]

    Raises
    ------
    OutOfRange
        Dwell outside 0 to the angle between two lobes, or lift not above zero.

    Notes
    -----
    Source: derived.
    """
    full = in_range("The full lift", lift, "", above=0)
    return plain(full / 2.0 * (1.0 - np.cos(_open_phase(dwell_deg, cylinders))))


def duty_percent(dwell_deg: ArrayLike, cylinders: ArrayLike) -> FloatOrArray:
    """Share of the time that the points are closed.

    Parameters
    ----------
    dwell_deg : float or array [distributor degree]
    cylinders : int or array, broadcast with dwell_deg [count]

    Returns
    -------
    float or array of the broadcast shape [%]

    Raises
    ------
    OutOfRange
        Dwell outside 0 to the angle between two lobes.

    Notes
    -----
    Source: schliesswinkel-page (50 degrees of 90 is 56 %).
    """
    return 100.0 * _dwell(dwell_deg, cylinders) / _lobe(cylinders)


def dwell_of_duty_deg(duty_percent: ArrayLike, cylinders: ArrayLike) -> FloatOrArray:
    """Dwell in degrees from a dwell in per cent.

    Parameters
    ----------
    duty_percent : float or array [%]
    cylinders : int or array, broadcast with duty_percent [count]

    Returns
    -------
    float or array of the broadcast shape [distributor degree]

    Raises
    ------
    OutOfRange
        Outside 0 to 100 %.

    Notes
    -----
    Source: derived.
    """
    duty = in_range("The dwell", duty_percent, "%", least=0, most=100)
    return duty / 100.0 * _lobe(cylinders)


def meter_reading_deg(dwell_deg: ArrayLike, cylinders: ArrayLike, scale_cylinders: ArrayLike) -> FloatOrArray:
    """What a dwell meter shows when its switch stands on a number of cylinders.

    Parameters
    ----------
    dwell_deg : float or array [distributor degree]
        True dwell.
    cylinders, scale_cylinders : int or array, broadcast with dwell_deg [count]
        Of the engine, and of the scale read.

    Returns
    -------
    float or array of the broadcast shape [distributor degree]

    Raises
    ------
    OutOfRange
        Dwell outside 0 to the angle between two lobes.

    Notes
    -----
    The meter knows only the share of closed time. To undo a wrong scale, give the
    reading with the two numbers of cylinders exchanged. Source: derived.
    """
    return _dwell(dwell_deg, cylinders) / _lobe(cylinders) * _lobe(scale_cylinders)


def timing_change_deg(dwell_change_deg: ArrayLike, opening_share: ArrayLike = 0.5) -> FloatOrArray:
    """Change of timing that follows a change of dwell, distributor left alone.

    Parameters
    ----------
    dwell_change_deg : float or array [distributor degree]
        Positive when dwell grows, as it does when the rubbing block wears.
    opening_share : float or array, broadcast with dwell_change_deg [1]
        Part of the change that falls on the opening flank: half on a symmetric cam.

    Returns
    -------
    float or array of the broadcast shape [crank degree advanced]

    Raises
    ------
    OutOfRange
        Change beyond 90 degrees, or share outside 0 to 1.

    Notes
    -----
    More dwell opens the points later. On any symmetric cam, for any number of
    cylinders, one degree of dwell is one crank degree of retard: half a distributor
    degree on each flank, doubled at the crank. Source: derived.
    """
    change = in_range("The change of dwell", dwell_change_deg, "distributor degrees", least=-90, most=90)
    share = in_range("The share of the opening flank", opening_share, "", least=0, most=1)
    return -2.0 * share * change


def gap_after_wear(gap: ArrayLike, block_wear: ArrayLike, lever_ratio: ArrayLike = 1.0) -> FloatOrArray:
    """Gap left after the rubbing block has worn.

    Parameters
    ----------
    gap : float or array [any length]
    block_wear : float or array, broadcast with gap [same unit as gap]
        Height lost by the block.
    lever_ratio : float or array, broadcast with gap [1]
        Distance of the contacts over distance of the block, both from the pivot.

    Returns
    -------
    float or array of the broadcast shape [unit of gap]
        Zero when the points no longer open.

    Raises
    ------
    OutOfRange
        Gap or wear below zero, or lever ratio not above zero.

    Notes
    -----
    Source: derived.
    """
    gap = in_range("The point gap", gap, "", least=0)
    wear = in_range("The wear of the block", block_wear, "", least=0)
    lever = in_range("The lever ratio", lever_ratio, "", above=0)
    return plain(np.maximum(0.0, np.asarray(gap) - wear * lever))


def float_speed_rpm(
    spring_n: ArrayLike, moving_mass_kg: ArrayLike, lift_mm: ArrayLike, cylinders: ArrayLike
) -> FloatOrArray:
    """Engine speed above which the rubbing block leaves the cam.

    Parameters
    ----------
    spring_n : float or array [N]
        At the contacts.
    moving_mass_kg : float or array, broadcast with spring_n [kg]
        Of the arm, as felt at the contacts.
    lift_mm : float or array, broadcast with spring_n [mm]
        Full lift at the contacts.
    cylinders : int or array, broadcast with spring_n [count]

    Returns
    -------
    float or array of the broadcast shape [crank rev/min]

    Raises
    ------
    OutOfRange
        Force, mass or lift not above zero.

    Notes
    -----
    The arm must fall as fast as G/2 n^2 w^2. Order of magnitude only for a real cam;
    that speed goes with the root of the spring force holds for any. Source: derived.
    """
    force = in_range("The spring force", spring_n, "N", above=0)
    mass = in_range("The moving mass", moving_mass_kg, "kg", above=0)
    lift = in_range("The full lift", lift_mm, "mm", above=0)
    lobes = 360.0 / np.asarray(_lobe(cylinders))
    return plain(2.0 * np.sqrt(force / (mass * lift / 2e3)) / lobes * 30.0 / np.pi)


def opening_speed_ratio(gap: ArrayLike, nominal_gap: ArrayLike, lift: ArrayLike) -> FloatOrArray:
    """How fast the points part at a gap, over how fast they part at the nominal gap.

    Parameters
    ----------
    gap, nominal_gap, lift : float or array, broadcast [any one length]

    Returns
    -------
    float or array of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        A gap not above zero or not below the full lift.

    Notes
    -----
    Slope of the lobe where the points open: a narrow gap opens near the round top,
    slowly, and the points arc. Same shaft speed for both. Source: derived.
    """
    share, nominal = np.asarray(_gap_share(gap, lift)), np.asarray(_gap_share(nominal_gap, lift))
    return plain(np.sqrt(share * (1.0 - share) / (nominal * (1.0 - nominal))))


def bounce_kept_share(gap_mm: ArrayLike, speed_rpm: ArrayLike) -> FloatOrArray:
    """Share of the coil's voltage left when the contacts rebound across a narrow gap.

    Parameters
    ----------
    gap_mm : float or array [mm]
    speed_rpm : float or array, broadcast with gap_mm [crank rev/min]

    Returns
    -------
    float or array of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        Gap outside 0 to 10 mm, or speed below zero.

    Notes
    -----
    The arm rings by 0.10 mm and more with the square of speed; when the ring nears the
    gap the points touch again and cut the spark short. Only the direction is practice:
    narrow gap, misfire at high speed. Source: teaching-setup.
    """
    gap = np.asarray(in_range("The point gap", gap_mm, "mm", least=0, most=10))
    speed = np.asarray(in_range("Engine speed", speed_rpm, "rev/min", least=0))
    return plain(-np.expm1(-((gap / (RIPPLE_MM * (1.0 + (speed / 4000.0) ** 2))) ** 4)))


def _lobe(cylinders):
    return firing_interval_deg(cylinders) / 2.0


def _dwell(dwell_deg, cylinders):
    dwell = in_range("The dwell", dwell_deg, "distributor degrees", least=0)
    lobe = np.asarray(_lobe(cylinders))
    if np.any(np.asarray(dwell) > lobe):
        raise OutOfRange(
            f"The dwell is {np.max(dwell):g} distributor degrees; the lobes stand {np.min(lobe):g} degrees apart. "
            "Check the scale of the meter and the number of cylinders."
        )
    return dwell


def _open_phase(dwell_deg, cylinders):
    """Half the open angle, times the number of lobes, in radians; refuses closed points."""
    dwell, lobe = _dwell(dwell_deg, cylinders), _lobe(cylinders)
    if np.any(np.asarray(dwell) >= lobe):
        raise OutOfRange("The points never open at that dwell; set a gap first.")
    return np.pi * (lobe - dwell) / lobe


def _gap_share(gap, lift):
    gap = in_range("The point gap", gap, "", above=0, advice="At no gap the points never open.")
    lift = in_range("The full lift", lift, "", above=0)
    if np.any(np.asarray(gap) >= lift):
        raise OutOfRange(f"The point gap is {np.max(gap):g}; it must stay below the full lift of {np.min(lift):g}.")
    return gap / lift
