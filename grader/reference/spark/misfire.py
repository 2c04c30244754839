"""Whether a spark jumps and whether it lights the charge: shares of cycles, not yes or no.

Breakdown and burning scatter from cycle to cycle; a normal curve stands for the scatter.
All sizes are teaching values; the directions are those of the trade.
"""

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from grader.ranges import FloatOrArray, in_range, plain

DEMAND_SCATTER, OUTPUT_SCATTER, PITTED_SCATTER, LEAST_SCATTER_KV = 0.06, 0.04, 0.10, 0.35
LEAN_LIMIT, LEAN_SPREAD = 1.30, 0.035
RICH_LIMIT, RICH_SPREAD = 0.60, 0.03
LATEST_DEG, LATE_SPREAD_DEG = -24.0, 4.0
BURNING_KV, BURNING_KV_PER_KOHM, MOST_KOHM = 1.5, 0.035, 30.0
LIGHTS_FROM, LIGHTS_SPREAD, INDUCED_SPREAD_KV = 0.6, 0.08, 0.3
EDGE_FACTOR = 0.90  # edges of a plug lie below the uniform law
COLD_ELECTRODE_C, WARM_ELECTRODE_C = 10.0, 120.0  # under the starter
IDLE_ELECTRODE_C, ELECTRODE_RISE_C = 200.0, 450.0


def spark_probability(available_kv: ArrayLike, required_kv: ArrayLike, pitting: ArrayLike = 0.0) -> FloatOrArray:
    """Share of cycles in which the spark jumps.

    Parameters
    ----------
    available_kv, required_kv, pitting : float or array, broadcast together [kV, kV, 1]
        Pitting of the points: 0 smooth, 1 deep.

    Returns
    -------
    float or array of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        A voltage below zero, pitting outside 0 to 1.

    Notes
    -----
    Demand scatters by 6 %, output by 4 % and by up to 14 % with pitted points.
    Source: teaching-setup.
    """
    available = np.asarray(in_range("The available voltage", available_kv, "kV", least=0))
    required = np.asarray(in_range("The required voltage", required_kv, "kV", least=0))
    pits = np.asarray(in_range("The pitting", pitting, "", least=0, most=1))
    spread = np.hypot(DEMAND_SCATTER * required, (OUTPUT_SCATTER + PITTED_SCATTER * pits) * available)
    return plain(ndtr((available - required) / np.maximum(LEAST_SCATTER_KV, spread)))


def burning_kv(lead_kohm: ArrayLike) -> FloatOrArray:
    """Voltage of plug, gaps and lead while the spark burns.

    Parameters
    ----------
    lead_kohm : float or array [kilohm]

    Returns
    -------
    float or array of the same shape [kV]

    Raises
    ------
    OutOfRange
        Resistance below zero.

    Notes
    -----
    35 mA through the lead; a broken core burns through, so no more than 30 kilohm count.
    Source: teaching-setup.
    """
    ohms = np.minimum(in_range("The resistance", lead_kohm, "kilohm", least=0), MOST_KOHM)
    return plain(BURNING_KV + BURNING_KV_PER_KOHM * ohms)


def left_share(available_kv: ArrayLike, required_kv: ArrayLike) -> FloatOrArray:
    """Share of the coil's current left for the spark after its breakdown.

    Parameters
    ----------
    available_kv, required_kv : float or array, broadcast together [kV]

    Returns
    -------
    float or array of the broadcast shape [1]
        Its square is the share of the energy.

    Raises
    ------
    OutOfRange
        A voltage below zero.

    Notes
    -----
    Energy goes with the square of the voltage that it could raise. Source: derived.
    """
    available = np.asarray(in_range("The available voltage", available_kv, "kV", least=0))
    required = np.asarray(in_range("The required voltage", required_kv, "kV", least=0))
    asked = np.divide(
        required, available, out=np.ones(np.broadcast_shapes(available.shape, required.shape)), where=available > 0
    )
    return plain(np.sqrt(np.maximum(0.0, 1.0 - asked**2)))


def lean_limit(manifold_kpa: ArrayLike, spark_ms: ArrayLike, gap_mm: ArrayLike, leak: ArrayLike = 0.0) -> FloatOrArray:
    """Air ratio beyond which half the sparks light nothing.

    Parameters
    ----------
    manifold_kpa, spark_ms, gap_mm, leak : float or array, broadcast together [kPa absolute, ms, mm, 1]
        Leak: share of the charge lost.

    Returns
    -------
    float or array of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        Pressure or gap not above zero, time below zero, leak outside 0 to 1.

    Notes
    -----
    Thin charge, a short spark, a narrow gap and a leaking cylinder all ask for more fuel.
    Source: teaching-setup.
    """
    pressure = np.asarray(in_range("The manifold pressure", manifold_kpa, "kPa absolute", above=0))
    time = np.asarray(in_range("The spark", spark_ms, "ms", least=0))
    gap = np.asarray(in_range("The gap", gap_mm, "mm", above=0, most=20))
    lost = in_range("The leak", leak, "", least=0, most=1)
    thin = 0.15 * np.clip((50.0 - pressure) / 25.0, 0.0, 1.0)
    return plain(
        LEAN_LIMIT - thin - 0.20 * np.exp(-time / 0.35) - 0.9 * np.clip(0.6 - gap, 0.0, 1.0) - 0.45 * np.asarray(lost)
    )


def burn_probability(air_ratio: ArrayLike, lean_limit: ArrayLike, advance_deg: ArrayLike) -> FloatOrArray:
    """Share of sparks that light the charge in time.

    Parameters
    ----------
    air_ratio, lean_limit, advance_deg : float or array, broadcast together [1, 1, crank degree before top]

    Returns
    -------
    float or array of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        Air ratio outside 0.2 to 4, an advance beyond two turns.

    Notes
    -----
    Between the lean limit, 0.60 on the rich side and 24 degrees after top. Source: teaching-setup.
    """
    ratio = np.asarray(in_range("The air ratio", air_ratio, "", least=0.2, most=4))
    lean = np.asarray(in_range("The lean limit", lean_limit, "", least=-2, most=2))
    advance = np.asarray(in_range("The advance", advance_deg, "crank degrees", least=-720, most=720))
    return plain(
        ndtr((lean - ratio) / LEAN_SPREAD)
        * ndtr((ratio - RICH_LIMIT) / RICH_SPREAD)
        * ndtr((advance - LATEST_DEG) / LATE_SPREAD_DEG)
    )


def kick_share(advance_deg: ArrayLike, limit_deg: ArrayLike = 32.0, spread_deg: ArrayLike = 3.0) -> FloatOrArray:
    """Share of firings under the starter that do not kick the engine back.

    Parameters
    ----------
    advance_deg, limit_deg, spread_deg : float or array, broadcast together [crank degree before top]

    Returns
    -------
    float or array of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        An advance beyond two turns, spread not above zero.

    Notes
    -----
    At the starter's speed a spark more than 32 degrees early burns before top. Source: teaching-setup.
    """
    advance = in_range("The advance", advance_deg, "crank degrees", least=-720, most=720)
    spread = in_range("The spread", spread_deg, "crank degrees", above=0)
    return plain(ndtr((limit_deg - np.asarray(advance)) / spread))


def lit_share(density: ArrayLike) -> FloatOrArray:
    """Share of sparks that light a charge early in its compression.

    Parameters
    ----------
    density : float or array [1]
        Of the charge, relative to air at 20 degrees C and one atmosphere.

    Returns
    -------
    float or array of the same shape [1]

    Raises
    ------
    OutOfRange
        Density below zero.

    Notes
    -----
    The thin charge of idle does not light, that of full load does. Source: teaching-setup.
    """
    return plain(ndtr((np.asarray(in_range("The density", density, "", least=0)) - LIGHTS_FROM) / LIGHTS_SPREAD))


def cross_fire_probability(induced_kv: ArrayLike, needed_kv: ArrayLike, density: ArrayLike) -> FloatOrArray:
    """Share of cycles in which a neighbour's lead lights a cylinder early.

    Parameters
    ----------
    induced_kv, needed_kv, density : float or array, broadcast together [kV, kV, 1]
        On the victim's lead; what its plug needs at that density; relative density there.

    Returns
    -------
    float or array of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        A voltage or density below zero.

    Notes
    -----
    It must jump and it must light. Source: teaching-setup.
    """
    induced = np.asarray(in_range("The induced voltage", induced_kv, "kV", least=0))
    needed = in_range("The needed voltage", needed_kv, "kV", least=0)
    return plain(ndtr((induced - needed) / INDUCED_SPREAD_KV) * np.asarray(lit_share(density)))


def electrode_c(load: ArrayLike, speed_share: ArrayLike) -> FloatOrArray:
    """Temperature of the centre electrode of a running engine.

    Parameters
    ----------
    load, speed_share : float or array, broadcast together [1]
        Manifold pressure over barometer; speed over the rated one.

    Returns
    -------
    float or array of the broadcast shape [degree C]

    Raises
    ------
    OutOfRange
        Load outside 0 to 1.05, speed share outside 0 to 3.

    Notes
    -----
    200 plus up to 450 degrees. Source: teaching-setup.
    """
    pull = in_range("The load", load, "", least=0, most=1.05)
    fast = np.asarray(in_range("The speed share", speed_share, "", least=0, most=3))
    return plain(IDLE_ELECTRODE_C + ELECTRODE_RISE_C * pull * np.sqrt(fast))
