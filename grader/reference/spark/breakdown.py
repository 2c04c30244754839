"""What voltage the plug gap asks for before it sparks.

The reference law of the exercises is the uniform-field law times a factor K
(`required_voltage_kv`). It is chosen because it rests on printed worked examples,
follows sphere-gap tables within their own scatter, has the density inside and has
an exact inverse, which the plug tester needs. The engine correlation, the second
constant set and the Townsend form stand beside it for comparison: at wide gaps and
high pressure the engine correlation gives 25 to 60 % less, so an answer must always
say which law it follows. All voltages are peak values.
"""

import numpy as np
from numpy.typing import ArrayLike

from grader.ranges import FloatOrArray, in_range, plain

STANDARD_PRESSURE_BAR = 1.01325
STANDARD_TEMPERATURE_K = 293.15
LINEAR, ROOT = 24.22, 6.08  # kV per cm and kV per root cm at density 1
SECOND_LINEAR, SECOND_ROOT = 24.36, 6.72  # the same per bar cm, at 20 degrees C
TOWNSEND_A, TOWNSEND_B, TOWNSEND_GAMMA = 15.0, 365.0, 0.01  # air; 1 and V per torr cm
ROTOR_GAP_KV = 2.0
REVERSED = 1.225
MIXTURE_POINTS = ((0.8, 1.0, 1.2), (0.90, 1.0, 1.20))
HEAT_POINTS = ((20.0, 540.0, 800.0), (1.0, 0.80, 0.70))  # 540 C: about 1000 F, the usual average


def relative_density(pressure_bar: ArrayLike, temperature_k: ArrayLike) -> FloatOrArray:
    """Density of the gas in the gap against air at 20 degrees C and one atmosphere.

    Parameters
    ----------
    pressure_bar, temperature_k : float or array, broadcast together [bar absolute, K]

    Returns
    -------
    float or array of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        Pressure not above 0 or beyond 200 bar, temperature outside 200 to 3000 K.

    Notes
    -----
    Perfect gas; breakdown follows the number of molecules in the way, not the
    pressure. Source: uniform-law-page (the correction by 293 p over 760 T).
    """
    pressure, temperature = _state(pressure_bar, temperature_k)
    return pressure / STANDARD_PRESSURE_BAR * STANDARD_TEMPERATURE_K / temperature


def uniform_voltage_kv(gap_mm: ArrayLike, density: ArrayLike = 1.0) -> FloatOrArray:
    """Breakdown voltage of air between flat, parallel electrodes.

    Parameters
    ----------
    gap_mm, density : float or array, broadcast together [mm, 1]

    Returns
    -------
    float or array of the broadcast shape [kV]

    Raises
    ------
    OutOfRange
        Gap or density not above zero, or gap times density outside 0.1 to 200 mm.

    Notes
    -----
    24.22 x + 6.08 root(x), x = gap in cm times relative density.
    Source: uniform-law-page; worked figures in uniform-law-companion.
    """
    reach = _reach_mm(gap_mm, density) / 10.0
    return plain(LINEAR * reach + ROOT * np.sqrt(reach))


def reach_cm(voltage_kv: ArrayLike) -> FloatOrArray:
    """Longest uniform gap that a voltage breaks at density 1: the law turned round.

    Parameters
    ----------
    voltage_kv : float or array [kV]

    Returns
    -------
    float or array of the same shape [cm]
        Divide by the density for the gap, or by the gap in cm for the density.

    Raises
    ------
    OutOfRange
        Voltage outside 0.86 to 500 kV, where the law was not measured.

    Notes
    -----
    Quadratic in the root of x, so the inverse is exact. Source: derived.
    """
    voltage = in_range("The voltage", voltage_kv, "kV", least=0.86, most=500)
    root = (np.sqrt(ROOT**2 + 4.0 * LINEAR * voltage) - ROOT) / (2.0 * LINEAR)
    return plain(root**2)


def second_set_voltage_kv(
    gap_mm: ArrayLike,
    pressure_bar: ArrayLike = STANDARD_PRESSURE_BAR,
    temperature_k: ArrayLike = STANDARD_TEMPERATURE_K,
) -> FloatOrArray:
    """Uniform-field voltage by the second constant set, for comparison.

    Parameters
    ----------
    gap_mm, pressure_bar, temperature_k : float or array, broadcast together [mm, bar absolute, K]

    Returns
    -------
    float or array of the broadcast shape [kV]

    Raises
    ------
    OutOfRange
        As `relative_density` and `uniform_voltage_kv`.

    Notes
    -----
    Nearer to sphere-gap tables below 3 mm. Source: kuffel (remembered constants).
    """
    # The set is written in bar cm at 20 degrees C, so the density is counted from 1 bar.
    from_one_bar = relative_density(pressure_bar, temperature_k) * STANDARD_PRESSURE_BAR
    reach = _reach_mm(gap_mm, from_one_bar) / 10.0
    return plain(SECOND_LINEAR * reach + SECOND_ROOT * np.sqrt(reach))


def engine_voltage_kv(gap_mm: ArrayLike, pressure_bar: ArrayLike, temperature_k: ArrayLike) -> FloatOrArray:
    """Breakdown voltage of a plug by a correlation measured in engines, for comparison.

    Parameters
    ----------
    gap_mm, pressure_bar, temperature_k : float or array, broadcast together [mm, bar absolute, K]

    Returns
    -------
    float or array of the broadcast shape [kV]

    Raises
    ------
    OutOfRange
        Gap not above 0 or beyond 20 mm; as `relative_density`.

    Notes
    -----
    4.3 + 136 p/T + 324 p d/T. The constant 4.3 kV makes it read high where pressure
    times gap is small. Source: engine-correlation-files.
    """
    gap = in_range("The gap", gap_mm, "mm", above=0, most=20)
    pressure, temperature = _state(pressure_bar, temperature_k)
    return 4.3 + (136.0 + 324.0 * gap) * pressure / temperature


def townsend_voltage_v(
    reach_torr_cm: ArrayLike, a: float = TOWNSEND_A, b: float = TOWNSEND_B, gamma: float = TOWNSEND_GAMMA
) -> FloatOrArray:
    """Breakdown voltage of a very small uniform gap, Townsend's form of Paschen's law.

    Parameters
    ----------
    reach_torr_cm : float or array [torr cm]
        Pressure times gap.
    a, b, gamma : float [1/(torr cm), V/(torr cm), 1]
        Gamma: electrons freed at the cathode for each ion.

    Returns
    -------
    float or array of the shape of reach_torr_cm [V]

    Raises
    ------
    OutOfRange
        Pressure times gap so small that no voltage breaks the gap, or a constant
        outside 1e-12 to 1e12.

    Notes
    -----
    Source: uniform-law-page (form and the constants of air).
    """
    needed = _avalanche(a, b, gamma)
    reach = in_range(
        "Pressure times gap",
        reach_torr_cm,
        "torr cm",
        above=needed / a,
        most=1000,
        advice="Smaller ones hold any voltage in this model.",
    )
    return plain(b * reach / np.log(a * reach / needed))


def townsend_minimum(
    a: float = TOWNSEND_A, b: float = TOWNSEND_B, gamma: float = TOWNSEND_GAMMA
) -> tuple[float, float]:
    """Least voltage that can make a spark at all, and where.

    Parameters
    ----------
    a, b, gamma : float [as `townsend_voltage_v`]

    Returns
    -------
    tuple of two floats [torr cm, V]

    Raises
    ------
    OutOfRange
        A constant outside 1e-12 to 1e12.

    Notes
    -----
    Zero of the derivative. Air: 305 V at 0.84 torr cm, where 327 V at 0.57 is
    printed as measured; an order of magnitude, no specification. Source: derived.
    """
    reach = np.e * _avalanche(a, b, gamma) / a
    return reach, b * reach


def demand_factor(
    reversed_polarity: ArrayLike = False,
    rounding: ArrayLike = 0.0,
    air_ratio: ArrayLike = 1.0,
    electrode_c: ArrayLike = 20.0,
) -> FloatOrArray:
    """K: what polarity, worn edges, mixture and heat do to the voltage asked for.

    Parameters
    ----------
    reversed_polarity : bool or array [1]
        True if the cooler side electrode is negative: 15 to 30 % more, 22.5 taken.
    rounding : float or array, broadcast with reversed_polarity [1]
        Of the edges: 0 sharp and new, 0.5 worn (20 % more), 1 quite round (40 % more).
    air_ratio : float or array, broadcast with reversed_polarity [1]
        Air over the correct amount. Rich 0.8: 10 % less; lean 1.2: 20 % more.
    electrode_c : float or array, broadcast with reversed_polarity [degree C]
        Centre electrode: 20 % less at 540, 30 % less from 800 on than cold.

    Returns
    -------
    float or array of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        Rounding outside 0 to 1, air ratio outside 0.6 to 1.6, electrode outside -40
        to 1200 degrees C.

    Notes
    -----
    Straight lines inside the ranges that the trade quotes. Source: practice.
    """
    edges = 1.0 + 0.4 * in_range("The rounding", rounding, "", least=0, most=1)
    mixture = np.interp(in_range("The air ratio", air_ratio, "", least=0.6, most=1.6), *MIXTURE_POINTS)
    hot = in_range("The electrode temperature", electrode_c, "degrees C", least=-40, most=1200)
    heat = np.interp(hot, *HEAT_POINTS)
    return plain(np.where(reversed_polarity, REVERSED, 1.0) * edges * mixture * heat)


def field_factor(tip_radius_mm: ArrayLike, gap_mm: ArrayLike) -> FloatOrArray:
    """Strongest field at a rounded tip over the mean field in the gap.

    Parameters
    ----------
    tip_radius_mm, gap_mm : float or array, broadcast together [mm]

    Returns
    -------
    float or array of the broadcast shape [1]
        Not below 1.

    Raises
    ------
    OutOfRange
        Radius not above 0, or gap outside 0 to 20 mm.

    Notes
    -----
    0.9 (1 + d/2r), a remembered rule for small spheres; explains why sharp edges
    spark early. Source: kuffel.
    """
    radius = in_range("The radius of the tip", tip_radius_mm, "mm", above=0)
    gap = in_range("The gap", gap_mm, "mm", above=0, most=20)
    return plain(np.maximum(1.0, 0.9 * (1.0 + gap / (2.0 * radius))))


def required_voltage_kv(
    gap_mm: ArrayLike, pressure_bar: ArrayLike, temperature_k: ArrayLike, factor: ArrayLike = 1.0
) -> FloatOrArray:
    """Voltage a plug asks for: the reference law of the exercises.

    Parameters
    ----------
    gap_mm, pressure_bar, temperature_k : float or array, broadcast together [mm, bar absolute, K]
        Of the gap and of its gas at the moment of the spark.
    factor : float or array, broadcast with gap_mm [1]
        K: the product of the factors of this file that apply.

    Returns
    -------
    float or array of the broadcast shape [kV]

    Raises
    ------
    OutOfRange
        Factor outside 0.3 to 4; as `uniform_voltage_kv` and `relative_density`.

    Notes
    -----
    The density stands inside the law. Multiplying a voltage at density 1 by the
    density is a shortcut for small changes of weather only. Source: uniform-law-page.
    """
    k = in_range("The factor K", factor, "", least=0.3, most=4)
    return k * uniform_voltage_kv(gap_mm, relative_density(pressure_bar, temperature_k))


def reserve_kv(available_kv: ArrayLike, required_kv: ArrayLike, rotor_gap_kv: ArrayLike = ROTOR_GAP_KV) -> FloatOrArray:
    """Voltage in hand; below zero the cylinder misfires.

    Parameters
    ----------
    available_kv, required_kv, rotor_gap_kv : float or array, broadcast together [kV]

    Returns
    -------
    float or array of the broadcast shape [kV]

    Raises
    ------
    OutOfRange
        A voltage below zero.

    Notes
    -----
    Source: derived; 2 kV for the rotor gap is practice.
    """
    available = in_range("The available voltage", available_kv, "kV", least=0)
    required = in_range("The required voltage", required_kv, "kV", least=0)
    return available - required - in_range("The voltage of the rotor gap", rotor_gap_kv, "kV", least=0)


def _state(pressure_bar, temperature_k):
    return (
        in_range("The pressure", pressure_bar, "bar absolute", above=0, most=200),
        in_range("The temperature", temperature_k, "K", least=200, most=3000, advice="Add 273.15 to degrees C."),
    )


def _reach_mm(gap_mm, density):
    gap = in_range("The gap", gap_mm, "mm", above=0)
    return in_range(
        "Gap times relative density",
        gap * in_range("The relative density", density, "", above=0),
        "mm",
        least=0.1,
        most=200,
        advice="The uniform-field law was not measured outside.",
    )


def _avalanche(a, b, gamma):
    """Ionisations each electron must cause before the discharge keeps itself alive."""
    for name, value in (("Constant A", a), ("Constant B", b), ("Gamma", gamma)):
        in_range(name, value, "", least=1e-12, most=1e12)
    return float(np.log1p(1.0 / gamma))
