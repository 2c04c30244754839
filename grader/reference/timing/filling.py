"""How full an engine gets: exhaust left behind, charge drawn in, where the manifold settles, the starter.

Flow through an opening belongs to the induction file and is handed in. No tuning of pipes,
no valve overlap: the sizes are teaching values, the forms are those of the textbook.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from grader.errors import OutOfRange
from grader.ranges import FloatOrArray, in_range, plain

CHARGE_K = 310.0  # in the manifold
GAS_CONSTANT = 0.28705  # kJ/(kg K), air
FULL_SHARE = 0.85  # of the displacement, filled when exhaust and manifold stand at one pressure
RATIO_OF_HEATS = 1.4
BACK_SPEED_RPM = 2000.0
TAP_OPENS_AT = 1.6  # times the idle opening
CRANK_EXPONENT = 1.3
CRANK_SHARES = {"choked": 0.74, "open": 0.80}  # manifold over barometer under the starter
CRANK_KEPT = 0.85  # of the pressure: blow-by and slow valves
CRANK_POLYTROPE = 1.22


def exhaust_pressure_kpa(
    manifold_kpa: ArrayLike, speed_rpm: ArrayLike, barometer_kpa: ArrayLike = 101.325, back_kpa: ArrayLike = 3.0
) -> FloatOrArray:
    """Pressure that the exhaust pipe leaves in the cylinder.

    Parameters
    ----------
    manifold_kpa, speed_rpm, barometer_kpa : float or array [kPa absolute, crank rev/min, kPa absolute]
        Broadcast together.
    back_kpa : float or array, broadcast with manifold_kpa [kPa]
        Over the barometer at 2000 rev/min and full charge.

    Returns
    -------
    float or array of the broadcast shape [kPa absolute]

    Raises
    ------
    OutOfRange
        A pressure or speed that no engine has.

    Notes
    -----
    A pipe's drop goes with the square of the flow, hence of speed and of charge. Source: teaching-setup.
    """
    barometer = in_range("The barometer", barometer_kpa, "kPa", least=40, most=110)
    flow = _manifold(manifold_kpa) / barometer * _speed(speed_rpm) / BACK_SPEED_RPM
    return barometer + in_range("The back pressure", back_kpa, "kPa", least=0, most=200) * flow**2


def volumetric_efficiency(
    manifold_kpa: ArrayLike, exhaust_kpa: ArrayLike, compression_ratio: ArrayLike = 8.5
) -> FloatOrArray:
    """Charge drawn in over the displacement filled at manifold state.

    Parameters
    ----------
    manifold_kpa, exhaust_kpa, compression_ratio : float or array, broadcast [kPa absolute, kPa absolute, 1]

    Returns
    -------
    float or array of the broadcast shape [1]
        Not below 0.05.

    Raises
    ------
    OutOfRange
        A pressure not above zero, compression ratio outside 2 to 25.

    Notes
    -----
    What stays in the clearance at exhaust pressure expands to manifold pressure before
    anything is drawn in: (r - (pe/pm)^(1/gamma)) / (r - 1), times 0.85 for heat and throttling
    at the valve. Source: heywood (form); teaching-setup (0.85).
    """
    ratio = in_range("The compression ratio", compression_ratio, "", least=2, most=25)
    left = (in_range("The exhaust pressure", exhaust_kpa, "kPa absolute", above=0) / _manifold(manifold_kpa)) ** (
        1.0 / RATIO_OF_HEATS
    )
    return plain(np.maximum(0.05, FULL_SHARE * (ratio - left) / (ratio - 1.0)))


def engine_flow_g_per_s(
    manifold_kpa: ArrayLike,
    speed_rpm: ArrayLike,
    filling: ArrayLike,
    displacement_l: ArrayLike,
    charge_k: ArrayLike = CHARGE_K,
) -> FloatOrArray:
    """Charge that an engine draws.

    Parameters
    ----------
    manifold_kpa, speed_rpm, filling, displacement_l : float or array, broadcast [kPa absolute, crank rev/min, 1, litre]
        Filling: volumetric efficiency.
    charge_k : float or array, broadcast with manifold_kpa [K]

    Returns
    -------
    float or array of the broadcast shape [g/s]

    Raises
    ------
    OutOfRange
        A quantity not above zero, or speed below zero.

    Notes
    -----
    One filling of the displacement in two turns. Source: heywood (chapter 7).
    """
    share = in_range("Volumetric efficiency", filling, "", above=0, most=1.2)
    litres = in_range("The displacement", displacement_l, "litres", above=0, most=30)
    kelvin = in_range("The charge temperature", charge_k, "K", least=220, most=450)
    # kPa x litre is J; over kJ/kg gives g.
    return share * _manifold(manifold_kpa) * litres / (GAS_CONSTANT * kelvin) * _speed(speed_rpm) / 120.0


def settled_pressure_kpa(opening_mm2: ArrayLike, pressure_kpa: ArrayLike, needed_mm2: ArrayLike) -> FloatOrArray:
    """Manifold pressure at which an opening passes just what the engine draws.

    Parameters
    ----------
    opening_mm2 : float or array of shape (speeds,) [mm2]
    pressure_kpa : array of shape (pressures,) [kPa absolute]
        Rising.
    needed_mm2 : array of shape (speeds, pressures) or (pressures,) [mm2]
        Opening that passes the engine's flow at each speed and pressure.

    Returns
    -------
    float or array of shape (speeds,) [kPa absolute]
        Between two pressures by a straight line in both logarithms; the last pressure
        where the opening is larger than any needed, the first where it is smaller.

    Raises
    ------
    OutOfRange
        An opening not above zero, pressures that do not rise, or openings not above zero.

    Notes
    -----
    The opening needed rises with the pressure: less flow comes through a square millimetre
    and more is drawn. There is one crossing, found without a search. Source: derived.
    """
    opening = np.atleast_1d(in_range("The opening", opening_mm2, "mm2", above=0))
    pressures = in_range("The pressure", pressure_kpa, "kPa absolute", above=0)
    needed = np.atleast_2d(in_range("The opening needed", needed_mm2, "mm2", above=0))
    if np.ndim(pressures) != 1 or np.size(pressures) < 2 or np.any(np.diff(pressures) <= 0):
        raise OutOfRange("The pressures must rise, and there must be two or more.")
    above = np.clip(np.sum(needed < opening[:, None], axis=-1), 1, len(pressures) - 1)
    rows = np.arange(len(needed)) if len(needed) > 1 else np.zeros(len(opening), dtype=int)
    low, high = np.log(needed[rows, above - 1]), np.log(needed[rows, above])
    share = np.clip((np.log(opening) - low) / (high - low), 0.0, 1.0)
    settled = pressures[above - 1] * (pressures[above] / pressures[above - 1]) ** share
    return float(settled[0]) if np.ndim(opening_mm2) == 0 and len(settled) == 1 else settled


def tap_covered(opening_mm2: ArrayLike, idle_opening_mm2: ArrayLike) -> bool | NDArray[np.bool_]:
    """Whether the plate still covers a ported tap.

    Parameters
    ----------
    opening_mm2, idle_opening_mm2 : float or array, broadcast together [mm2]
        Past the plate now, and at the idle as the manual wants it.

    Returns
    -------
    bool or array of bool of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        An opening below zero.

    Notes
    -----
    The edge passes the tap at 1.6 times the idle opening. Source: teaching-setup.
    """
    opening = in_range("The opening", opening_mm2, "mm2", least=0)
    covered = opening <= TAP_OPENS_AT * np.asarray(in_range("The idle opening", idle_opening_mm2, "mm2", above=0))
    return bool(covered) if np.ndim(covered) == 0 else covered


def cranking_speed_rpm(battery_v: ArrayLike, usual_v: ArrayLike, usual_rpm: ArrayLike) -> FloatOrArray:
    """Speed under the starter at a battery's voltage.

    Parameters
    ----------
    battery_v, usual_v, usual_rpm : float or array, broadcast together [V, V, crank rev/min]
        At the posts while it cranks; the same with a sound battery, and the speed then.

    Returns
    -------
    float or array of the broadcast shape [crank rev/min]

    Raises
    ------
    OutOfRange
        A quantity not above zero.

    Notes
    -----
    Power 1.3 of the voltage: less voltage, less current too. Source: teaching-setup.
    """
    volts = in_range("The battery", battery_v, "V", above=0, most=30)
    usual = in_range("The usual voltage", usual_v, "V", above=0, most=30)
    speed = in_range("The usual speed", usual_rpm, "rev/min", above=0, most=1000)
    return plain(speed * (volts / np.asarray(usual)) ** CRANK_EXPONENT)


def _manifold(manifold_kpa):
    return np.asarray(in_range("The manifold pressure", manifold_kpa, "kPa absolute", above=0, most=150))


def _speed(speed_rpm):
    return np.asarray(in_range("Engine speed", speed_rpm, "rev/min", least=0, most=12000))
