"""What pushes the piston and what holds it back: mean pressures and torque."""

import numpy as np
from numpy.typing import ArrayLike

from grader.ranges import FloatOrArray, in_range, plain

INDICATED_SHARE = 0.29  # of the heat, at best timing and mixture
HEAT_MJ_PER_KG = 3.01  # of charge
LEAK_COST = 1.2  # work lost over charge lost: it leaks most when the pressure is high
EARLY_LIGHT_BAR = 1.0  # a charge lit early in compression works against the piston
FRICTION = (1.12, 0.10, 0.05)  # bar, bar and bar for each power of 1000 rev/min
COLD_FRICTION = 1.4
LIGHT_LOAD_EXPONENT, BURN_AT_KPA, BURN_DEG, LONGEST_BURN_DEG = 0.6, 95.0, 50.0, 120.0
DEVELOPMENT_SHARE, LONGEST_DEVELOPMENT_DEG = 0.2, 20.0


def friction_bar(speed_rpm: ArrayLike, cold: bool = False) -> FloatOrArray:
    """Mean pressure that rubbing and auxiliaries cost.

    Parameters
    ----------
    speed_rpm : float or array [crank rev/min]
    cold : bool [1]
        Thick oil: 1.4 times as much.

    Returns
    -------
    float or array of the same shape [bar]

    Raises
    ------
    OutOfRange
        Speed outside 0 to 12000 rev/min.

    Notes
    -----
    Constant, linear and square in speed. Source: heywood (chapter 13, remembered shape);
    teaching-setup (cold).
    """
    thousands = np.asarray(in_range("Engine speed", speed_rpm, "rev/min", least=0, most=12000)) / 1000.0
    still, rubbing, fluid = FRICTION
    return plain((COLD_FRICTION if cold else 1.0) * (still + rubbing * thousands + fluid * thousands**2))


def indicated_bar(
    charge_kg_per_m3: ArrayLike,
    mixture_share: ArrayLike = 1.0,
    timing_loss: ArrayLike = 0.0,
    fires: ArrayLike = 1.0,
    leak: ArrayLike = 0.0,
    early: ArrayLike = 0.0,
) -> FloatOrArray:
    """Indicated mean pressure of one cylinder, the closed part of its cycle.

    Parameters
    ----------
    charge_kg_per_m3 : float or array [kg/m3]
        Charge over displacement: volumetric efficiency times manifold density.
    mixture_share, timing_loss, fires, leak, early : float or array, broadcast with charge_kg_per_m3 [1]
        Work share of the mixture; work lost by the timing; share of cycles that fire; share of
        the charge lost past valve or ring; share of cycles lit early in compression.

    Returns
    -------
    float or array of the broadcast shape [bar]

    Raises
    ------
    OutOfRange
        Charge below zero or above 5 kg/m3, a share outside 0 to 1.

    Notes
    -----
    0.29 of the heat of 3.01 MJ for each kg. An early light leaves nothing for the proper
    spark and costs 1 bar, about what the cycle gives for a burn that starts 115 degrees before top.
    Source: teaching-setup.
    """
    charge = in_range("The charge", charge_kg_per_m3, "kg/m3", least=0, most=5)
    mixture, lost, firing, leaking, lit = (
        np.asarray(in_range(words, value, "", least=0, most=1))
        for words, value in (
            ("The work share of the mixture", mixture_share), ("The loss by the timing", timing_loss),
            ("The share that fires", fires), ("The leak", leak), ("The share lit early", early),
        )
    )  # fmt: skip
    sealed = np.maximum(0.0, 1.0 - LEAK_COST * leaking)
    full = 10.0 * INDICATED_SHARE * HEAT_MJ_PER_KG * charge * mixture * (1.0 - lost) * firing * sealed
    return plain(full * (1.0 - lit) - EARLY_LIGHT_BAR * lit)


def brake_bar(
    indicated_bar: ArrayLike, friction_bar: ArrayLike, exhaust_kpa: ArrayLike, manifold_kpa: ArrayLike
) -> FloatOrArray:
    """Mean pressure left at the flywheel.

    Parameters
    ----------
    indicated_bar, friction_bar, exhaust_kpa, manifold_kpa : float or array, broadcast [bar, bar, kPa absolute, kPa absolute]
        Indicated: mean over the cylinders.

    Returns
    -------
    float or array of the broadcast shape [bar]

    Raises
    ------
    OutOfRange
        Friction below zero, a pressure not above zero.

    Notes
    -----
    Pumping takes exhaust less manifold pressure. Source: heywood.
    """
    given = in_range("The indicated pressure", indicated_bar, "bar")
    rubbing = in_range("The friction", friction_bar, "bar", least=0)
    out = in_range("The exhaust pressure", exhaust_kpa, "kPa absolute", above=0)
    drawn = in_range("The manifold pressure", manifold_kpa, "kPa absolute", above=0)
    return given - rubbing - (out - drawn) / 100.0


def torque_nm(brake_bar: ArrayLike, displacement_l: ArrayLike) -> FloatOrArray:
    """Torque at the flywheel.

    Parameters
    ----------
    brake_bar, displacement_l : float or array, broadcast together [bar, litre]

    Returns
    -------
    float or array of the broadcast shape [N m]

    Raises
    ------
    OutOfRange
        Displacement not above zero.

    Notes
    -----
    Mean pressure times displacement is the work of two turns. Source: derived.
    """
    litres = in_range("The displacement", displacement_l, "litres", above=0, most=30)
    return 100.0 * in_range("The brake pressure", brake_bar, "bar") * litres / (4.0 * np.pi)


def burn_at_load_deg(manifold_kpa: ArrayLike) -> FloatOrArray:
    """Burn duration at 2000 rev/min, against the manifold pressure.

    Parameters
    ----------
    manifold_kpa : float or array [kPa absolute]

    Returns
    -------
    float or array of the same shape [crank degree]

    Raises
    ------
    OutOfRange
        Pressure not above zero.

    Notes
    -----
    50 degrees at 95 kPa, longer in thin charge with more exhaust in it; no longer than 120.
    Source: teaching-setup.
    """
    pressure = np.asarray(in_range("The manifold pressure", manifold_kpa, "kPa absolute", above=0, most=150))
    return plain(np.minimum(LONGEST_BURN_DEG, BURN_DEG * (BURN_AT_KPA / pressure) ** LIGHT_LOAD_EXPONENT))


def development_deg(burn_deg: ArrayLike) -> FloatOrArray:
    """Crank degrees from the spark to a burn that can be seen.

    Parameters
    ----------
    burn_deg : float or array [crank degree]

    Returns
    -------
    float or array of the same shape [crank degree]

    Raises
    ------
    OutOfRange
        Burn not above zero.

    Notes
    -----
    A fifth of the burn, 20 degrees at most. Source: teaching-setup.
    """
    burn = np.asarray(in_range("The burn duration", burn_deg, "crank degrees", above=0))
    return plain(np.minimum(LONGEST_DEVELOPMENT_DEG, DEVELOPMENT_SHARE * burn))
