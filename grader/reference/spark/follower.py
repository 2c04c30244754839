"""The breaker arm at speed: where it leaves the cam, how it flies, when the points close again.

Harmonic lobes as in the points room: lift G/2 (1 + cos n phi) about the peak. While the
points are closed the fixed contact holds the arm. When the cam lifts the arm it follows
until the cam falls away faster than the spring can push; from there it flies on under the
spring alone until it meets the cam or the fixed contact. Rebounds on landing are left out.
"""

import numpy as np
from numpy.typing import ArrayLike

from grader.errors import OutOfRange
from grader.ranges import FloatOrArray, in_range, plain
from grader.reference.angles import firing_interval_deg

LEAN_PHASE, LEAN_FROM_RPM = 0.7, 1500.0  # of a worn shaft


def dwell_at_speed_deg(
    gap_mm: ArrayLike,
    lift_mm: ArrayLike,
    cylinders: ArrayLike,
    speed_rpm: ArrayLike,
    spring_n: float,
    moving_mass_kg: float,
) -> FloatOrArray:
    """Dwell that a meter shows at a speed, the arm leaving the cam where the spring is too weak.

    Parameters
    ----------
    gap_mm : float or array [mm]
    lift_mm : float or array, broadcast with gap_mm [mm]
        Full lift at the contacts.
    cylinders : int or array, broadcast with gap_mm [count]
    speed_rpm : float or array, broadcast with gap_mm [crank rev/min]
    spring_n : float or array, broadcast with gap_mm [N]
        At the contacts.
    moving_mass_kg : float or array, broadcast with gap_mm [kg]
        Of the arm, as felt at the contacts.

    Returns
    -------
    float or array of the broadcast shape [distributor degree]

    Raises
    ------
    OutOfRange
        Gap not between nothing and the full lift; speed below zero; force, mass or lift
        not above zero.

    Notes
    -----
    The opening is never late; the closing is, once the arm flies past the place where the
    cam would close the points. Order of magnitude only for a real arm. Source: derived.
    """
    opens, stiff, lobe = _setting(gap_mm, lift_mm, cylinders, speed_rpm, spring_n, moving_mass_kg)
    closed = 2.0 * np.pi - opens - _closing(opens, stiff)
    return plain(lobe * np.maximum(0.0, closed) / (2.0 * np.pi))


def opening_mm(
    angle_deg: ArrayLike,
    gap_mm: ArrayLike,
    lift_mm: ArrayLike,
    cylinders: ArrayLike,
    speed_rpm: ArrayLike,
    spring_n: ArrayLike,
    moving_mass_kg: ArrayLike,
) -> FloatOrArray:
    """Opening of the points at an angle from the lobe peak.

    Parameters
    ----------
    angle_deg : float or array [distributor degree]
        From the peak; within half a lobe before it to one lobe after it.
    gap_mm : float or array, broadcast with angle_deg [mm]
    lift_mm : float or array, broadcast with angle_deg [mm]
        Full lift at the contacts.
    cylinders : int or array, broadcast with angle_deg [count]
    speed_rpm : float or array, broadcast with angle_deg [crank rev/min]
    spring_n : float or array, broadcast with angle_deg [N]
    moving_mass_kg : float or array, broadcast with angle_deg [kg]

    Returns
    -------
    float or array of the broadcast shape [mm]
        Zero while the points are closed.

    Raises
    ------
    OutOfRange
        As `dwell_at_speed_deg`, or angle not within -1/2 to 1 lobe.

    Notes
    -----
    One lobe alone: the next one is not looked at. Source: derived.
    """
    opens, stiff, lobe = _setting(gap_mm, lift_mm, cylinders, speed_rpm, spring_n, moving_mass_kg)
    angle = np.asarray(in_range("The angle", angle_deg, "distributor degrees", least=-90, most=180))
    if np.any(angle < -0.5 * lobe) or np.any(angle > lobe):
        raise OutOfRange("The angle must lie between half a lobe before the peak and one lobe after it.")
    phase = 2.0 * np.pi * angle / lobe
    leaves = _leaves(opens, stiff)
    cam = np.cos(phase)
    arm = np.where(phase > leaves, np.maximum(_flight(phase, leaves, stiff), cam), cam)
    # Past the closing the contacts hold the arm; what the parabola does there means nothing.
    arm = np.where(phase >= _closing(opens, stiff), -1.0, arm)
    return plain(np.asarray(lift_mm) / 2.0 * np.maximum(0.0, arm - np.cos(opens)))


def lobe_gaps_mm(gap_mm: float, play_mm: float, cylinders: int, speed_rpm: ArrayLike) -> np.ndarray:
    """Gap of each lobe on a worn shaft.

    Parameters
    ----------
    gap_mm, play_mm : float [mm]
        As set standing; play of the shaft at the contacts.
    cylinders : int [count]
    speed_rpm : float or array of shape (speeds,) [crank rev/min]

    Returns
    -------
    array of shape (cylinders,) or (cylinders, speeds) [mm]
        In firing order; not below zero: such a lobe never opens the points.

    Raises
    ------
    OutOfRange
        Gap, play or speed below zero, or no such number of cylinders.

    Notes
    -----
    The shaft leans as it turns: half the play as a wave over one turn, and half pushed away
    from the block as the speed grows to 1500 rev/min. Source: teaching-setup.
    """
    gap = in_range("The point gap", gap_mm, "mm", least=0, most=10)
    play = in_range("The play", play_mm, "mm", least=0, most=5)
    speed = np.asarray(in_range("Engine speed", speed_rpm, "rev/min", least=0, most=20000))
    count = int(round(720.0 / firing_interval_deg(cylinders)))
    wave = np.sin(2.0 * np.pi * np.arange(count) / count + LEAN_PHASE)
    wave = wave.reshape(-1, *[1] * speed.ndim)
    return np.maximum(0.0, gap + 0.5 * play * (wave + np.minimum(1.0, speed / LEAN_FROM_RPM)))


def _setting(gap_mm, lift_mm, cylinders, speed_rpm, spring_n, moving_mass_kg):
    """Phase of opening, stiffness of the spring over what the cam asks for, degrees of a lobe."""
    gap = np.asarray(in_range("The point gap", gap_mm, "mm", above=0))
    lift = np.asarray(in_range("The full lift", lift_mm, "mm", above=0))
    if np.any(gap >= lift):
        raise OutOfRange(
            f"The point gap is {np.max(gap):g} mm; it must stay below the full lift of {np.min(lift):g} mm."
        )
    speed = np.asarray(in_range("Engine speed", speed_rpm, "rev/min", least=0, most=20000))
    force = np.asarray(in_range("The spring force", spring_n, "N", above=0))
    mass = np.asarray(in_range("The moving mass", moving_mass_kg, "kg", above=0))
    lobe = np.asarray(firing_interval_deg(cylinders)) / 2.0
    turns = 360.0 / lobe * speed / 2.0 * np.pi / 30.0  # phase in radians a second
    asked = mass * lift / 2e3 * turns**2
    with np.errstate(divide="ignore"):
        return np.arccos(1.0 - 2.0 * gap / lift), force / asked, lobe


def _leaves(opens, stiff):
    """Phase at which the arm leaves the cam: where the cam falls away faster than the spring pushes."""
    return np.maximum(-np.arccos(np.minimum(stiff, 1.0)), -opens)


def _flight(phase, leaves, stiff):
    """Height of the flying arm on the scale on which the cam is the cosine of its phase."""
    run = phase - leaves
    return np.cos(leaves) - np.sin(leaves) * run - 0.5 * np.minimum(stiff, 1.0) * run**2


def _closing(opens, stiff):
    """Phase after the peak at which the points close."""
    leaves, pull = _leaves(opens, stiff), np.minimum(stiff, 1.0)
    rise = -np.sin(leaves)
    with np.errstate(divide="ignore", invalid="ignore"):
        lands = leaves + (rise + np.sqrt(rise**2 + 2.0 * pull * (np.cos(leaves) - np.cos(opens)))) / pull
    flying = (stiff < 1.0) & (_flight(opens, leaves, stiff) > np.cos(opens))
    return np.where(flying, lands, opens)
