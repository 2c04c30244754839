"""How rich the charge is, and what that does to the work: teaching values of a plain carburettor."""

import numpy as np
from numpy.typing import ArrayLike

from grader.ranges import FloatOrArray, in_range, plain

IDLE_RATIO, FREE_RATIO = 0.95, 0.97
CRANK_COLD_RATIO, CRANK_RATIO = 0.80, 0.92
ROAD_POINTS = ((0.3, 0.6, 0.8, 0.95), (1.00, 1.03, 0.98, 0.88))
CHOKE_SHARE = 0.35
WORK_POINTS = ((0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.3), (0.78, 0.92, 0.985, 1.0, 0.97, 0.90, 0.81, 0.70))
CORRECT_AIR = 14.7  # mass of air for one of fuel


def road_air_ratio(load: ArrayLike) -> FloatOrArray:
    """Air over the correct amount that a carburettor gives on the road.

    Parameters
    ----------
    load : float or array [1]
        Manifold pressure over barometer.

    Returns
    -------
    float or array of the same shape [1]

    Raises
    ------
    OutOfRange
        Load outside 0 to 1.05.

    Notes
    -----
    A little lean at cruise, rich at full load where the power jet opens. Source: teaching-setup.
    """
    return plain(np.interp(in_range("The load", load, "", least=0, most=1.05), *ROAD_POINTS))


def disturbed_air_ratio(
    air_ratio: ArrayLike,
    choke: ArrayLike = 0.0,
    starved: ArrayLike = 0.0,
    load: ArrayLike = 0.0,
    speed_share: ArrayLike = 0.0,
    leak_share: ArrayLike = 0.0,
) -> FloatOrArray:
    """Air ratio after a stuck choke, a lack of fuel and an air leak.

    Parameters
    ----------
    air_ratio : float or array [1]
    choke, starved, load, speed_share : float or array, broadcast with air_ratio [1]
        Choke: 1 shut. Starved: share of the fuel missing at full load and 0.6 of the rated
        speed. Speed share: of the rated speed.
    leak_share : float or array, broadcast with air_ratio [1]
        Air by the leak over air by the throttle, of this cylinder.

    Returns
    -------
    float or array of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        A share below zero, choke above 1 or starved above 0.9.

    Notes
    -----
    Source: teaching-setup.
    """
    ratio = in_range("The air ratio", air_ratio, "", least=0.4, most=2)
    shut = in_range("The choke", choke, "", least=0, most=1)
    short = in_range("The lack of fuel", starved, "", least=0, most=0.9)
    pull = np.clip((np.asarray(in_range("The load", load, "", least=0, most=1.05)) - 0.35) / 0.5, 0.0, 1.0)
    fast = np.clip(np.asarray(in_range("The speed share", speed_share, "", least=0)) / 0.6, 0.0, 1.0)
    leak = np.asarray(in_range("The air by the leak", leak_share, "", least=0))
    return plain(ratio * (1.0 - CHOKE_SHARE * shut) / (1.0 - short * pull * fast) * (1.0 + leak))


def leak_shares(cylinders: int, near: int) -> np.ndarray:
    """How an air leak shares itself among the cylinders, over an even share.

    Parameters
    ----------
    cylinders : int [count]
    near : int [cylinder number]
        Next to the leak; 0 for none.

    Returns
    -------
    array of shape (cylinders,) [1]
        2 for the near one and (n - 2) / (n - 1) for each other, or 1 for all.

    Raises
    ------
    OutOfRange
        No such number.

    Notes
    -----
    The mean is 1 in any case. Source: teaching-setup.
    """
    count = int(in_range("The number of cylinders", cylinders, "", least=2, most=12))
    place = int(in_range("The cylinder near the leak", near, "", least=0, most=count))
    shares = np.full(count, (count - 2.0) / (count - 1.0) if place else 1.0)
    if place:
        shares[place - 1] = 2.0
    return shares


def mixture_work_share(air_ratio: ArrayLike) -> FloatOrArray:
    """Work of a charge over that of the best mixture.

    Parameters
    ----------
    air_ratio : float or array [1]

    Returns
    -------
    float or array of the same shape [1]

    Raises
    ------
    OutOfRange
        Air ratio outside 0.3 to 3.

    Notes
    -----
    Most at 10 % rich, as the textbook curves. Flat outside 0.6 to 1.3, where the charge
    hardly burns at all: that is the misfire's business. Source: heywood (remembered shape).
    """
    return plain(np.interp(in_range("The air ratio", air_ratio, "", least=0.3, most=3), *WORK_POINTS))


def fuel_g_per_s(air_g_per_s: ArrayLike, air_ratio: ArrayLike) -> FloatOrArray:
    """Fuel that goes with an air flow.

    Parameters
    ----------
    air_g_per_s, air_ratio : float or array, broadcast together [g/s, 1]

    Returns
    -------
    float or array of the broadcast shape [g/s]

    Raises
    ------
    OutOfRange
        Flow below zero, air ratio outside 0.3 to 3.

    Notes
    -----
    14.7 of air for one of petrol. Source: heywood.
    """
    air = in_range("The air flow", air_g_per_s, "g/s", least=0)
    return plain(air / (CORRECT_AIR * np.asarray(in_range("The air ratio", air_ratio, "", least=0.3, most=3))))
