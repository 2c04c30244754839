"""How hot the insulator nose of a plug runs, and how its gap grows.

The nose is a fin in hot gas, cooled through its root: a longer nose runs hotter.
Gas-side figures are teaching knobs inside published ranges; the conductivity of
alumina is a handbook table scaled to plug insulators. Heat range does not change
the heat that the engine makes.
"""

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import solve_banded

from grader.errors import OutOfRange
from grader.ranges import FloatOrArray, TextOrArray, in_range, plain

ALUMINA_K = np.array([300.0, 400.0, 600.0, 800.0, 1000.0, 1200.0, 1500.0])
ALUMINA_W_PER_M_K = np.array([36.0, 26.4, 15.8, 10.4, 7.85, 6.55, 5.66])
INSULATOR_SHARE = 0.7  # of dense alumina: plug insulators hold 90 to 95 % of it
OUTER_MM, BORE_MM, METAL_CORE = 5.0, 2.6, 60.0
GROWTH_MM_PER_1000_KM = 25.4e-3 / 1.609344  # 0.001 inch per 1000 miles
ROUNDING_PER_1000_MILES = 0.04
CLEAN_FROM_C, CLEAN_SURELY_C = 450.0, 500.0
HOT_FROM_C, PREIGNITES_C = 850.0, 950.0
STATES = ("fouls", "hardly clean", "clean", "hot", "pre-ignites")
TIPS = ("insulated", "convecting", "corrected length")
ZERO_C = 273.15
CELLS = 200
_LOADS = (0.0, 0.5, 1.0)  # light, medium, heavy duty of the handbook's table
_GAS = ((150.0, 250.0, 400.0), (1000.0, 1150.0, 1250.0), (420.0, 440.0, 470.0))


def alumina_conductivity(temperature_c: ArrayLike, share: ArrayLike = INSULATOR_SHARE) -> FloatOrArray:
    """Thermal conductivity of the insulator.

    Parameters
    ----------
    temperature_c, share : float or array, broadcast together [degree C, 1]
        Share 1: dense pure alumina; 0.6 to 0.75: plug insulators.

    Returns
    -------
    float or array of the broadcast shape [W/(m K)]

    Raises
    ------
    OutOfRange
        Temperature outside -40 to 2000 degrees C, share outside 0.2 to 1.

    Notes
    -----
    Straight lines between the points of the table, flat outside.
    Source: incropera, table A.2 (remembered).
    """
    kelvin = in_range("The temperature", temperature_c, "degrees C", least=-40, most=2000) + ZERO_C
    return plain(_share(share) * np.interp(kelvin, ALUMINA_K, ALUMINA_W_PER_M_K))


def fin_tip_c(
    length_mm: ArrayLike,
    heat_transfer: ArrayLike,
    gas_c: ArrayLike,
    base_c: ArrayLike,
    conductivity: ArrayLike,
    outer_mm: ArrayLike,
    bore_mm: ArrayLike = 0.0,
    core: ArrayLike = 0.0,
    tip: str = TIPS[0],
) -> FloatOrArray:
    """Temperature at the tip of a rod or sleeve in gas, conductivity constant.

    Parameters
    ----------
    length_mm, heat_transfer, gas_c, base_c, conductivity : float or array [mm, W/(m2 K), C, C, W/(m K)]
    outer_mm, bore_mm : float or array, broadcast with length_mm [mm]
    core : float or array, broadcast with length_mm [W/(m K)]
        Conductivity of what fills the bore.
    tip : str
        "insulated", "convecting" (over the sleeve, not the core) or "corrected length".

    Returns
    -------
    float or array of the broadcast shape [degree C]

    Raises
    ------
    OutOfRange
        A length, conductivity or heat transfer that no plug or rod has.

    Notes
    -----
    T = gas - (gas - base) / (cosh mL + b sinh mL), m = root(h P / kA), b = 0 for an
    insulated tip. Source: sukhatme.
    """
    length, perimeter, sleeve, conductance = _fin(length_mm, conductivity, outer_mm, bore_mm, core)
    transfer = in_range("The heat transfer", heat_transfer, "W/(m2 K)", above=0, most=1e5)
    m = np.sqrt(transfer * perimeter / conductance)
    if tip == TIPS[2]:
        length = length + sleeve / perimeter
    bend = transfer * sleeve / (conductance * m) if tip == TIPS[1] else 0.0
    if tip not in TIPS:
        raise OutOfRange(f"Tip {tip!r} is none; write {', '.join(TIPS)}.")
    # Beyond mL = 300 the tip has the gas temperature to the last digit; cosh would overflow.
    bow = np.minimum(m * length, 300.0)
    return plain(_gas(gas_c) - (_gas(gas_c) - _base(base_c)) / (np.cosh(bow) + bend * np.sinh(bow)))


def fin_heat_w(
    length_mm: ArrayLike,
    heat_transfer: ArrayLike,
    gas_c: ArrayLike,
    base_c: ArrayLike,
    conductivity: ArrayLike,
    outer_mm: ArrayLike,
) -> FloatOrArray:
    """Heat that enters a solid rod through its surface and leaves at its root, tip insulated.

    Parameters
    ----------
    length_mm, heat_transfer, gas_c, base_c, conductivity : float or array [mm, W/(m2 K), C, C, W/(m K)]
    outer_mm : float or array, broadcast with length_mm [mm]

    Returns
    -------
    float or array of the broadcast shape [W]
        Below zero where the root is hotter than the gas.

    Raises
    ------
    OutOfRange
        As `fin_tip_c`.

    Notes
    -----
    root(h P k A) (gas - base) tanh mL. Source: sukhatme (the fin equation).
    """
    length, perimeter, _, conductance = _fin(length_mm, conductivity, outer_mm, 0.0, 0.0)
    transfer = in_range("The heat transfer", heat_transfer, "W/(m2 K)", above=0, most=1e5)
    m = np.sqrt(transfer * perimeter / conductance)
    return plain(conductance * m * (_gas(gas_c) - _base(base_c)) * np.tanh(m * length))


def nose_profile_c(nose_mm: float, heat_transfer: float, gas_c: float, base_c: float, core: float=METAL_CORE, outer_mm: float=OUTER_MM, bore_mm: float=BORE_MM,
                   share: float=INSULATOR_SHARE) -> np.ndarray:  # fmt: skip
    """Temperatures along the nose, conductivity falling as it heats.

    Parameters
    ----------
    nose_mm, heat_transfer, gas_c, base_c : float [mm, W/(m2 K), degree C, degree C]
    core : float [W/(m K)]
        Conductivity of the centre electrode in the bore; 0 for none.
    outer_mm, bore_mm, share : float [mm, mm, 1]
        Of the insulator; share as `alumina_conductivity`.

    Returns
    -------
    array of shape (201,) [degree C]
        From the root to the tip, at equal distances.

    Raises
    ------
    OutOfRange
        As `fin_tip_c`.

    Notes
    -----
    d/dx(kA dT/dx) = h P (T - gas); finite volumes, Newton's method. The flux between
    two points is exact for the table: the integral of k (Kirchhoff) is tabulated, so
    no mean conductivity is guessed. The tip convects over the alumina, the core's end
    is insulated. Source: incropera (conductivity); the method is derived.
    """
    length, perimeter, sleeve, _ = _fin(nose_mm, 1.0, outer_mm, bore_mm, core)
    transfer = in_range("The heat transfer", heat_transfer, "W/(m2 K)", above=0, most=1e5)
    gas, root, filled = _gas(gas_c), _base(base_c), np.pi / 4e6 * bore_mm**2 * core
    if length == 0:
        return np.full(CELLS + 1, root)
    knots = ALUMINA_K - ZERO_C
    conducting = _share(share) * ALUMINA_W_PER_M_K * sleeve + filled  # W m/K at the knots
    steps = np.diff(knots) * (conducting[1:] + conducting[:-1]) / 2.0
    potential_at = np.concatenate(([0.0], np.cumsum(steps)))
    step = length / CELLS
    gain = transfer * perimeter * step * np.ones(CELLS)
    gain[-1] = gain[-1] / 2.0 + transfer * sleeve
    mean = np.interp((gas + root) / 2.0, knots, conducting)
    # Start from the closed form with one conductivity: Newton then needs four or five steps.
    bow = min(np.sqrt(transfer * perimeter / mean) * length, 300.0)
    t = gas - (gas - root) * np.cosh(bow * np.linspace(1.0, 0.0, CELLS + 1)) / np.cosh(bow)
    t[0] = root
    bands = np.zeros((3, CELLS))
    for _ in range(30):
        local, potential = _potential(t, knots, conducting, potential_at)
        flux = np.diff(potential) / step
        residual = flux + gain * (t[1:] - gas)
        residual[:-1] -= flux[1:]
        bands[1] = local[1:] / step + gain
        bands[1, :-1] += local[1:-1] / step
        bands[0, 1:] = -local[2:] / step
        bands[2, :-1] = -local[1:-1] / step
        change = solve_banded((1, 1), bands, residual, check_finite=False)
        t[1:] -= change
        if np.abs(change).max() < 1e-9 * max(1.0, abs(gas - root)):
            return t
    raise OutOfRange(f"No steady temperature found for a nose of {nose_mm:g} mm; check heat transfer and gas.")


def nose_temperature_c(nose_mm: ArrayLike, heat_transfer: ArrayLike, gas_c: ArrayLike, base_c: ArrayLike, core: ArrayLike=METAL_CORE, outer_mm: ArrayLike=OUTER_MM, bore_mm: ArrayLike=BORE_MM,
                       share: ArrayLike=INSULATOR_SHARE) -> FloatOrArray:  # fmt: skip
    """Temperature at the tip of the nose, conductivity falling as it heats.

    Parameters
    ----------
    nose_mm, heat_transfer, gas_c, base_c : float or array, broadcast together [mm, W/(m2 K), degree C, degree C]
    core, outer_mm, bore_mm, share : float or array, broadcast with nose_mm [W/(m K), mm, mm, 1]
        As `nose_profile_c`.

    Returns
    -------
    float or array of the broadcast shape [degree C]

    Raises
    ------
    OutOfRange
        As `fin_tip_c`.

    Notes
    -----
    Source: incropera (conductivity of alumina); fin equation derived.
    """
    values = np.broadcast_arrays(nose_mm, heat_transfer, gas_c, base_c, core, outer_mm, bore_mm, share)
    tips = [nose_profile_c(*map(float, case))[-1] for case in zip(*(value.flat for value in values), strict=True)]
    return plain(np.reshape(tips, values[0].shape))


def gas_side(
    load: ArrayLike, over_advance_deg: ArrayLike = 0.0, air_ratio: ArrayLike = 1.0, loose_seat: ArrayLike = 0.0
) -> tuple[FloatOrArray, FloatOrArray, FloatOrArray]:
    """What the nose meets: heat transfer, gas and root temperature.

    Parameters
    ----------
    load, over_advance_deg, air_ratio, loose_seat : float or array, broadcast together [1, crank degree, 1, 1]
        Load: 0 light, 0.5 medium, 1 heavy. Over-advance: beyond the specified timing,
        6 degrees of gas temperature each. Air ratio: hottest at 1.05, cooler on both
        sides. Seat: 0 tight, 1 loose, root 80 degrees hotter.

    Returns
    -------
    tuple of three floats or arrays [W/(m2 K), degree C, degree C]

    Raises
    ------
    OutOfRange
        Load or seat outside 0 to 1, over-advance outside -30 to 30 degrees, air
        ratio outside 0.6 to 1.6.

    Notes
    -----
    The directions are practice, the sizes are knobs. Heat-weighted gas temperature,
    not the peak of the flame. Source: teaching-setup.
    """
    share = in_range("The load", load, "", least=0, most=1)
    over = in_range("Over-advance", over_advance_deg, "crank degrees", least=-30, most=30)
    ratio = in_range("The air ratio", air_ratio, "", least=0.6, most=1.6)
    loose = in_range("Looseness of the seat", loose_seat, "", least=0, most=1)
    transfer, gas, root = (np.interp(share, _LOADS, row) for row in _GAS)
    gas = gas - ZERO_C + 6.0 * over - 1500.0 * ((ratio - 1.05) ** 2 - 0.05**2)
    return plain(transfer + 0.0 * gas), plain(gas), plain(root - ZERO_C + 80.0 * loose)


def nose_state(temperature_c: ArrayLike) -> TextOrArray:
    """What a nose temperature means for the plug.

    Parameters
    ----------
    temperature_c : float or array [degree C]

    Returns
    -------
    str or array of str
        "fouls", "hardly clean", "clean", "hot" or "pre-ignites".

    Raises
    ------
    OutOfRange
        Temperature outside -40 to 2000 degrees C.

    Notes
    -----
    Limits 450, 500, 850 and 950 degrees C. Source: plug-range-pages.
    """
    hot = in_range("The nose temperature", temperature_c, "degrees C", least=-40, most=2000)
    place = np.searchsorted((CLEAN_FROM_C, CLEAN_SURELY_C, HOT_FROM_C, PREIGNITES_C), hot, side="right")
    return STATES[place] if np.ndim(place) == 0 else np.asarray(STATES)[place]


def worn_gap_mm(
    new_gap_mm: ArrayLike, distance_km: ArrayLike, growth_mm_per_1000_km: ArrayLike = GROWTH_MM_PER_1000_KM
) -> FloatOrArray:
    """Plug gap after a distance driven.

    Parameters
    ----------
    new_gap_mm, distance_km, growth_mm_per_1000_km : float or array, broadcast together [mm, km, mm/(1000 km)]

    Returns
    -------
    float or array of the broadcast shape [mm]

    Raises
    ------
    OutOfRange
        Gap not above 0, distance or growth below 0.

    Notes
    -----
    Source: practice (0.001 inch in 1000 miles; no primary source found).
    """
    gap = in_range("The new gap", new_gap_mm, "mm", above=0, most=20)
    distance = in_range("The distance", distance_km, "km", least=0)
    return gap + in_range("The growth", growth_mm_per_1000_km, "mm in 1000 km", least=0) * distance / 1000.0


def rounding_after(rounding: ArrayLike, distance_miles: ArrayLike) -> FloatOrArray:
    """Rounding of the edges after a distance driven.

    Parameters
    ----------
    rounding, distance_miles : float or array, broadcast together [1, mile]
        0 sharp and new, 1 quite round.

    Returns
    -------
    float or array of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        Rounding outside 0 to 1, distance below zero.

    Notes
    -----
    0.04 for each 1000 miles, up to 1. Source: teaching-setup.
    """
    edges = in_range("The rounding", rounding, "", least=0, most=1)
    miles = np.asarray(in_range("The distance", distance_miles, "miles", least=0))
    return plain(np.minimum(1.0, edges + ROUNDING_PER_1000_MILES * miles / 1000.0))


def _potential(t, knots, conducting, potential_at):
    """Conductance at each temperature and its integral from the first knot, exact for straight lines."""
    local = np.interp(t, knots, conducting)
    place = np.clip(np.searchsorted(knots, t, side="right") - 1, 0, len(knots) - 1)
    low = np.where(t < knots[0], conducting[0], conducting[place])
    return local, potential_at[place] + (t - knots[place]) * (low + local) / 2.0


def _fin(length_mm, conductivity, outer_mm, bore_mm, core):
    length = in_range("The length", length_mm, "mm", least=0, most=5000) / 1000.0
    outer = in_range("The outer diameter", outer_mm, "mm", above=0, most=100)
    bore = in_range("The bore", bore_mm, "mm", least=0, most=100)
    if np.any(np.asarray(bore) >= outer):
        raise OutOfRange(f"The bore is {np.max(bore):g} mm; allowed is less than the outer diameter of the insulator.")
    wall = in_range("The conductivity", conductivity, "W/(m K)", above=0, most=5000)
    filled = np.pi / 4e6 * bore**2 * in_range("The conductivity of the core", core, "W/(m K)", least=0, most=500)
    sleeve = np.pi / 4e6 * (outer**2 - bore**2)
    return length, np.pi * outer / 1000.0, sleeve, wall * sleeve + filled


def _gas(gas_c):
    return in_range("The gas temperature", gas_c, "degrees C", least=-40, most=2500)


def _base(base_c):
    return in_range("The root temperature", base_c, "degrees C", least=-40, most=1000)


def _share(share):
    return in_range("The share of dense alumina", share, "", least=0.2, most=1)
