"""The coil: current when the points open, energy, and the most voltage it can give.

Two knobs are the project's own, inside practical ranges: `KEPT_SHARE` of the stored
energy reaches the condensers of the circuit, and `arc_kept_share` is what an arc at
slowly opening points leaves of the voltage.
"""

import numpy as np
from numpy.typing import ArrayLike

from grader.ranges import FloatOrArray, in_range, plain

KEPT_SHARE = 0.4
ARC_LOSS = 0.55
ARC_SPEED_RPM = 400.0
CONDENSER_ARC_LOSS = 0.77
CONDENSER_ARC_UF = 0.11


def closed_time_ms(dwell_deg: ArrayLike, speed_rpm: ArrayLike) -> FloatOrArray:
    """Time the points stay closed before each spark.

    Parameters
    ----------
    dwell_deg : float or array [distributor degree]
    speed_rpm : float or array, broadcast with dwell_deg [crank rev/min]

    Returns
    -------
    float or array of the broadcast shape [ms]

    Raises
    ------
    OutOfRange
        Dwell outside 0 to 180 degrees, or speed not above zero.

    Notes
    -----
    The distributor sweeps 3 N degrees a second. Source: public-ignition-page.
    """
    dwell = in_range("The dwell", dwell_deg, "distributor degrees", least=0, most=180)
    speed = in_range("Engine speed", speed_rpm, "rev/min", above=0, advice="At rest they may stay closed.")
    return 1000.0 * dwell / (3.0 * speed)


def primary_resistance_ohm(
    coil_ohm: ArrayLike = 1.6, ballast_ohm: ArrayLike = 1.6, contact_ohm: ArrayLike = 0.0, bypassed: bool = False
) -> FloatOrArray:
    """Resistance of the whole primary circuit.

    Parameters
    ----------
    coil_ohm, ballast_ohm, contact_ohm : float or array, broadcast [ohm]
        Of the primary winding, the ballast, and the points with their joints.
    bypassed : bool [1]
        True while the starter feeds the coil past its ballast.

    Returns
    -------
    float or array of the broadcast shape [ohm]

    Raises
    ------
    OutOfRange
        Coil not above zero, or another resistance below zero.

    Notes
    -----
    Source: derived.
    """
    coil = in_range("The coil resistance", coil_ohm, "ohm", above=0, most=20)
    ballast = in_range("The ballast", ballast_ohm, "ohm", least=0, most=20)
    contact = in_range("The contact resistance", contact_ohm, "ohm", least=0)
    return coil + contact + (0.0 if bypassed else ballast)


def current_after_a(
    time_ms: ArrayLike, supply_v: ArrayLike = 13.8, resistance_ohm: ArrayLike = 3.2, inductance_mh: ArrayLike = 7.5
) -> FloatOrArray:
    """Primary current some time after the points closed.

    Parameters
    ----------
    time_ms : float or array [ms]
    supply_v : float or array, broadcast with time_ms [V]
    resistance_ohm : float or array, broadcast with time_ms [ohm]
    inductance_mh : float or array, broadcast with time_ms [mH]

    Returns
    -------
    float or array of the broadcast shape [A]

    Raises
    ------
    OutOfRange
        Time or supply below zero; resistance or inductance not above zero.

    Notes
    -----
    V/R (1 - exp(-t R/L)), from no current: the last spark has used it up.
    Source: openstax-rl.
    """
    time = in_range("The time", time_ms, "ms", least=0)
    supply = in_range("The supply", supply_v, "V", least=0, most=100)
    resistance = in_range("The primary resistance", resistance_ohm, "ohm", above=0)
    inductance = in_range("The primary inductance", inductance_mh, "mH", above=0)
    return plain(supply / resistance * -np.expm1(-time * resistance / inductance))


def current_at_opening_a(
    dwell_deg: ArrayLike,
    speed_rpm: ArrayLike,
    supply_v: ArrayLike = 13.8,
    resistance_ohm: ArrayLike = 3.2,
    inductance_mh: ArrayLike = 7.5,
) -> FloatOrArray:
    """Primary current at the moment the points open.

    Parameters
    ----------
    dwell_deg : float or array [distributor degree]
    speed_rpm : float or array, broadcast with dwell_deg [crank rev/min]
    supply_v : float or array, broadcast with dwell_deg [V]
    resistance_ohm : float or array, broadcast with dwell_deg [ohm]
    inductance_mh : float or array, broadcast with dwell_deg [mH]

    Returns
    -------
    float or array of the broadcast shape [A]

    Raises
    ------
    OutOfRange
        As `closed_time_ms` and `current_after_a`.

    Notes
    -----
    A bad contact costs most at low speed, where resistance, not time, limits the
    current. Source: shop-manual-dwell (30 degrees on a V8: 3.8 A at 2000 rev/min).
    """
    return current_after_a(closed_time_ms(dwell_deg, speed_rpm), supply_v, resistance_ohm, inductance_mh)


def stored_energy_mj(current_a: ArrayLike, inductance_mh: ArrayLike = 7.5) -> FloatOrArray:
    """Energy in the magnetic field of the coil.

    Parameters
    ----------
    current_a : float or array [A]
    inductance_mh : float or array, broadcast with current_a [mH]

    Returns
    -------
    float or array of the broadcast shape [mJ]

    Raises
    ------
    OutOfRange
        Current below zero, or inductance not above zero.

    Notes
    -----
    Source: sadiku-7-16.
    """
    return 0.5 * in_range("The primary inductance", inductance_mh, "mH", above=0) * _current(current_a) ** 2


def break_voltage_v(current_a: ArrayLike, inductance_mh: ArrayLike, break_time_us: ArrayLike) -> FloatOrArray:
    """Voltage of a coil whose current is stopped evenly within a time.

    Parameters
    ----------
    current_a : float or array [A]
    inductance_mh : float or array, broadcast with current_a [mH]
    break_time_us : float or array, broadcast with current_a [us]

    Returns
    -------
    float or array of the broadcast shape [V]

    Raises
    ------
    OutOfRange
        Current below zero; inductance or time not above zero.

    Notes
    -----
    L di/dt; a textbook picture without a condenser. Source: sadiku-7-16.
    """
    inductance = in_range("The primary inductance", inductance_mh, "mH", above=0)
    return 1e3 * inductance * _current(current_a) / in_range("The time of the break", break_time_us, "us", above=0)


def arc_kept_share(speed_rpm: ArrayLike, opening_ratio: ArrayLike = 1.0) -> FloatOrArray:
    """Share of the voltage that an arc at the opening points leaves.

    Parameters
    ----------
    speed_rpm : float or array [crank rev/min]
    opening_ratio : float or array, broadcast with speed_rpm [1]
        How fast the points part, over the nominal gap at the same speed.

    Returns
    -------
    float or array of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        Speed or ratio below zero.

    Notes
    -----
    1 - 0.55 exp(-N/400): slow points arc. Source: teaching-setup.
    """
    speed = in_range("Engine speed", speed_rpm, "rev/min", least=0)
    ratio = in_range("The opening speed ratio", opening_ratio, "", least=0)
    return plain(1.0 - ARC_LOSS * np.exp(-speed * ratio / ARC_SPEED_RPM))


def condenser_kept_share(condenser_uf: ArrayLike) -> FloatOrArray:
    """Share of the voltage left by the arc that a small condenser cannot put out.

    Parameters
    ----------
    condenser_uf : float or array [uF]

    Returns
    -------
    float or array of the same shape [1]

    Raises
    ------
    OutOfRange
        Capacity outside 0 to 5 uF.

    Notes
    -----
    The energy balance alone calls a smaller condenser better, down to none. Bench
    tests without one saw 7 kV at most. This factor is 1 from 0.2 uF up and leaves
    about 7 kV at nothing. Source: teaching-setup.
    """
    return plain(1.0 - CONDENSER_ARC_LOSS * np.exp(-((np.asarray(_condenser(condenser_uf)) / CONDENSER_ARC_UF) ** 4)))


def available_voltage_kv(
    current_a: ArrayLike,
    speed_rpm: ArrayLike,
    inductance_mh: ArrayLike = 7.5,
    condenser_uf: ArrayLike = 0.22,
    load_pf: ArrayLike = 60.0,
    turns_ratio: ArrayLike = 100.0,
    opening_ratio: ArrayLike = 1.0,
) -> FloatOrArray:
    """The most voltage that the coil can give at the plug.

    Parameters
    ----------
    current_a : float or array [A]
        When the points open.
    speed_rpm : float or array, broadcast with current_a [crank rev/min]
    inductance_mh : float or array, broadcast with current_a [mH]
    condenser_uf : float or array, broadcast with current_a [uF]
    load_pf : float or array, broadcast with current_a [pF]
        Of winding, leads and plug, on the secondary side.
    turns_ratio, opening_ratio : float or array, broadcast with current_a [1]
        Secondary over primary turns; see `arc_kept_share`.

    Returns
    -------
    float or array of the broadcast shape [kV]

    Raises
    ------
    OutOfRange
        Current, speed or condenser below zero; inductance, load or ratio not above zero.

    Notes
    -----
    The kept share of the energy fills condenser and load together, arcs take their
    part. Source: teaching-setup (shares); the balance is derived.
    """
    inductance = in_range("The primary inductance", inductance_mh, "mH", above=0)
    total_pf = _secondary_pf(condenser_uf, load_pf, turns_ratio)
    lossless = _current(current_a) * np.sqrt(KEPT_SHARE * inductance * 1e-3 / (total_pf * 1e-12)) * 1e-3
    return plain(lossless * arc_kept_share(speed_rpm, opening_ratio) * condenser_kept_share(condenser_uf))


def shunt_factor(
    shunt_mohm: ArrayLike,
    inductance_mh: ArrayLike = 7.5,
    condenser_uf: ArrayLike = 0.22,
    load_pf: ArrayLike = 60.0,
    turns_ratio: ArrayLike = 100.0,
) -> FloatOrArray:
    """Share of the voltage left when soot or moisture shunts the plug.

    Parameters
    ----------
    shunt_mohm : float or array [Mohm]
    inductance_mh : float or array, broadcast with shunt_mohm [mH]
    condenser_uf : float or array, broadcast with shunt_mohm [uF]
    load_pf : float or array, broadcast with shunt_mohm [pF]
    turns_ratio : float or array, broadcast with shunt_mohm [1]

    Returns
    -------
    float or array of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        Shunt outside 0.0001 to 1e9 Mohm, or as `available_voltage_kv`.

    Notes
    -----
    First peak of a parallel circuit, energy at first in the coil, over that without
    shunt; zeta = Z/2R. Source: derived.
    """
    shunt = in_range(
        "The shunt", shunt_mohm, "megohm", least=1e-4, most=1e9, advice="A dead short gives no voltage at all."
    )
    inductance = in_range("The primary inductance", inductance_mh, "mH", above=0)
    total_pf = _secondary_pf(condenser_uf, load_pf, turns_ratio)
    zeta = np.asarray(np.asarray(turns_ratio) * np.sqrt(inductance * 1e-3 / (total_pf * 1e-12)) / (2e6 * shunt))
    # Both forms tend to exp(-1) at zeta = 1; keep off the point itself.
    under, over = np.minimum(zeta, 1.0 - 1e-9), np.maximum(zeta, 1.0 + 1e-9)
    below = np.exp(-under / np.sqrt(1.0 - under**2) * np.arccos(under))
    above = np.exp(-over / np.sqrt(over**2 - 1.0) * np.arccosh(over))
    return plain(np.where(zeta < 1.0, below, above))


def spark_duration_ms(
    current_ma: ArrayLike, burning_kv: ArrayLike = 1.5, secondary_h: ArrayLike = 75.0
) -> FloatOrArray:
    """Time that a spark burns on the energy left in the coil.

    Parameters
    ----------
    current_ma : float or array [mA]
        Secondary current when the spark begins.
    burning_kv : float or array, broadcast with current_ma [kV]
        Plug, rotor gap and leads together.
    secondary_h : float or array, broadcast with current_ma [H]

    Returns
    -------
    float or array of the broadcast shape [ms]

    Raises
    ------
    OutOfRange
        Current below zero; voltage or inductance not above zero.

    Notes
    -----
    Current falls in a straight line, L i / V; the energy is half V i t. Source: derived.
    """
    current = in_range("The secondary current", current_ma, "mA", least=0)
    burning = in_range("The burning voltage", burning_kv, "kV", above=0)
    return in_range("The secondary inductance", secondary_h, "H", above=0) * current / (1e3 * burning)


def _current(current_a):
    return in_range("The primary current", current_a, "A", least=0, most=100)


def _condenser(condenser_uf):
    return in_range("The condenser", condenser_uf, "uF", least=0, most=5, advice="0.18 to 0.25 uF is usual.")


def _secondary_pf(condenser_uf, load_pf, turns_ratio):
    ratio = in_range("The turns ratio", turns_ratio, "", above=0)
    load = in_range("The secondary load", load_pf, "pF", above=0)
    return load + 1e6 * _condenser(condenser_uf) / np.asarray(ratio) ** 2
