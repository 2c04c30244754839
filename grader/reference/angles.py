"""Degrees, milliseconds, inches of arc, sparks and firing orders.

Everything here is geometry of a four-stroke engine: the distributor turns once
for two turns of the crankshaft.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from grader.errors import OutOfRange
from grader.ranges import FloatOrArray, in_range, plain

CYLINDERS = (1, 2, 3, 4, 5, 6, 8, 10, 12)

# How cylinders are numbered: number of cylinders -> banks, each from front to back.
LAYOUTS = {
    "inline": lambda n: (tuple(range(1, n + 1)),),
    "odd-even": lambda n: (tuple(range(1, n + 1, 2)), tuple(range(2, n + 1, 2))),
    "halves": lambda n: (tuple(range(1, n // 2 + 1)), tuple(range(n // 2 + 1, n + 1))),
}


def crank_deg(distributor_deg: ArrayLike) -> FloatOrArray:
    """Crank degrees that pass while the distributor turns by an angle.

    Parameters
    ----------
    distributor_deg : float or array [distributor degree]

    Returns
    -------
    float or array of the same shape [crank degree]

    Raises
    ------
    OutOfRange
        Not a finite number.

    Notes
    -----
    Source: derived. The distributor is driven at half crank speed.
    """
    return 2.0 * in_range("The distributor angle", distributor_deg, "distributor degrees")


def distributor_deg(crank_deg: ArrayLike) -> FloatOrArray:
    """Distributor degrees that pass while the crankshaft turns by an angle.

    Parameters
    ----------
    crank_deg : float or array [crank degree]

    Returns
    -------
    float or array of the same shape [distributor degree]

    Raises
    ------
    OutOfRange
        Not a finite number.

    Notes
    -----
    Source: derived.
    """
    return in_range("The crank angle", crank_deg, "crank degrees") / 2.0


def distributor_speed_rpm(speed_rpm: ArrayLike) -> FloatOrArray:
    """Speed of the distributor shaft.

    Parameters
    ----------
    speed_rpm : float or array [crank rev/min]

    Returns
    -------
    float or array of the same shape [distributor rev/min]

    Raises
    ------
    OutOfRange
        Speed below zero.

    Notes
    -----
    Source: derived.
    """
    return in_range("Engine speed", speed_rpm, "rev/min", least=0) / 2.0


def firing_interval_deg(cylinders: ArrayLike) -> FloatOrArray:
    """Crank degrees from one spark to the next in an even-firing engine.

    Parameters
    ----------
    cylinders : int or array [count]

    Returns
    -------
    float or array of the same shape [crank degree]

    Raises
    ------
    OutOfRange
        No engine of that number of cylinders is even-firing.

    Notes
    -----
    All cylinders fire once in two turns, so 720 degrees are shared out. Halve it
    for distributor degrees. Source: derived.
    """
    return 720.0 / _cylinders(cylinders)


def spark_rate_per_s(speed_rpm: ArrayLike, cylinders: ArrayLike) -> FloatOrArray:
    """Sparks the coil has to give each second.

    Parameters
    ----------
    speed_rpm : float or array [crank rev/min]
    cylinders : int or array, broadcast with speed_rpm [count]

    Returns
    -------
    float or array of the broadcast shape [1/s]

    Raises
    ------
    OutOfRange
        Speed below zero, or no such number of cylinders.

    Notes
    -----
    Source: public-ignition-page (25 a second and cylinder at 3000 rev/min).
    """
    return in_range("Engine speed", speed_rpm, "rev/min", least=0) * _cylinders(cylinders) / 120.0


def time_of_angle_ms(angle_deg: ArrayLike, speed_rpm: ArrayLike) -> FloatOrArray:
    """Time the crankshaft takes to turn by an angle.

    Parameters
    ----------
    angle_deg : float or array [crank degree]
    speed_rpm : float or array, broadcast with angle_deg [crank rev/min]

    Returns
    -------
    float or array of the broadcast shape [ms]

    Raises
    ------
    OutOfRange
        Angle below zero, or speed not above zero.

    Notes
    -----
    At N rev/min the crank sweeps 6 N degrees a second. Source: derived.
    """
    angle = in_range("The angle", angle_deg, "crank degrees", least=0)
    speed = in_range("Engine speed", speed_rpm, "rev/min", above=0, advice="A standing engine takes for ever.")
    return 1000.0 * angle / (6.0 * speed)


def angle_of_time_deg(time_ms: ArrayLike, speed_rpm: ArrayLike) -> FloatOrArray:
    """Crank angle swept in a time.

    Parameters
    ----------
    time_ms : float or array [ms]
    speed_rpm : float or array, broadcast with time_ms [crank rev/min]

    Returns
    -------
    float or array of the broadcast shape [crank degree]

    Raises
    ------
    OutOfRange
        Time or speed below zero.

    Notes
    -----
    Source: derived.
    """
    time = in_range("The time", time_ms, "ms", least=0)
    return 6.0 * in_range("Engine speed", speed_rpm, "rev/min", least=0) * time / 1000.0


def pulley_arc(angle_deg: ArrayLike, diameter: ArrayLike) -> FloatOrArray:
    """Length along the rim of a pulley between two timing marks.

    Parameters
    ----------
    angle_deg : float or array [crank degree]
    diameter : float or array, broadcast with angle_deg [any length]
        At the radius where the marks are.

    Returns
    -------
    float or array of the broadcast shape [unit of diameter]

    Raises
    ------
    OutOfRange
        Angle outside 0 to 360 degrees, or diameter not above zero.

    Notes
    -----
    Source: derived.
    """
    angle, across = _mark(angle_deg, diameter)
    return np.pi * across * angle / 360.0


def pulley_chord(angle_deg: ArrayLike, diameter: ArrayLike) -> FloatOrArray:
    """Straight distance between two timing marks, as dividers or a rule measure it.

    Parameters
    ----------
    angle_deg : float or array [crank degree]
    diameter : float or array, broadcast with angle_deg [any length]

    Returns
    -------
    float or array of the broadcast shape [unit of diameter]

    Raises
    ------
    OutOfRange
        Angle outside 0 to 360 degrees, or diameter not above zero.

    Notes
    -----
    Source: derived.
    """
    angle, across = _mark(angle_deg, diameter)
    return plain(across * np.sin(np.radians(angle) / 2.0))


def piston_fall_fraction(angle_deg: ArrayLike, rod_ratio: ArrayLike) -> FloatOrArray:
    """Distance of the piston below top dead centre, as a share of the stroke.

    Parameters
    ----------
    angle_deg : float or array [crank degree]
        From top dead centre, either way.
    rod_ratio : float or array, broadcast with angle_deg [1]
        Length of the connecting rod over the crank radius.

    Returns
    -------
    float or array of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        Rod ratio not above 1: such a crank could not turn.

    Notes
    -----
    Slider and crank without offset. Source: derived.
    """
    theta = np.radians(in_range("The crank angle", angle_deg, "crank degrees"))
    ratio = in_range("Rod length over crank radius", rod_ratio, "", above=1, advice="Usual engines have 3 to 4.5.")
    return plain(0.5 * (ratio + 1.0 - np.cos(theta) - np.sqrt(ratio**2 - np.sin(theta) ** 2)))


def check_firing_order(order: Sequence[int]) -> tuple[int, ...]:
    """The firing order as a tuple, each cylinder once.

    Parameters
    ----------
    order : sequence of int [cylinder number]

    Returns
    -------
    tuple of int [cylinder number]

    Raises
    ------
    OutOfRange
        A cylinder missing, repeated or of no such number.

    Notes
    -----
    Source: derived.
    """
    cylinders = tuple(int(number) if number == int(number) else number for number in order)
    if len(cylinders) < 2 or sorted(cylinders) != list(range(1, len(cylinders) + 1)):
        shown = "-".join(map(str, cylinders)) or "empty"
        raise OutOfRange(
            f"Firing order {shown} is not an order: name each cylinder from 1 to {max(2, len(cylinders))} once."
        )
    return cylinders


def cross_fire_pairs(order: Sequence[int], banks: Sequence[Sequence[int]]) -> tuple[tuple[int, int], ...]:
    """Pairs of cylinders whose leads must not run side by side.

    Parameters
    ----------
    order : sequence of int [cylinder number]
        Firing order.
    banks : sequence of sequences of int [cylinder number]
        Each bank from front to back.

    Returns
    -------
    tuple of (int, int) [cylinder number]
        (fires first, suffers): the second is compressing when the first is fired.

    Raises
    ------
    OutOfRange
        The order names a cylinder twice or the banks do not hold the same cylinders.

    Notes
    -----
    A pair is consecutive in the firing order and neighbouring on one bank.
    Source: tm-5-4210-230 (the rule in words).
    """
    order = check_firing_order(order)
    place = {number: (bank, row) for bank, numbers in enumerate(banks) for row, number in enumerate(numbers)}
    if sorted(place) != sorted(order) or sum(map(len, banks)) != len(order):
        raise OutOfRange(f"The banks hold cylinders {sorted(place)}; the firing order names {sorted(order)}.")
    following = order[1:] + order[:1]
    return tuple(
        (first, second)
        for first, second in zip(order, following, strict=True)
        if place[first][0] == place[second][0] and abs(place[first][1] - place[second][1]) == 1
    )


def _cylinders(cylinders):
    count = in_range("The number of cylinders", cylinders, "")
    if not (count in CYLINDERS if isinstance(count, float) else np.isin(count, CYLINDERS).all()):
        raise OutOfRange(f"{cylinders} cylinders; allowed are {', '.join(map(str, CYLINDERS))}.")
    return count


def _mark(angle_deg, diameter):
    return (
        in_range("The angle", angle_deg, "crank degrees", least=0, most=360),
        in_range("The pulley diameter", diameter, "", above=0),
    )
