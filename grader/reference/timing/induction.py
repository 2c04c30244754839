"""Where manifold vacuum comes from: atmosphere, throttle plate and engine pumping.

The manifold settles where throttle flow and engine flow agree. Air is a perfect gas.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from grader.errors import OutOfRange
from grader.ranges import FloatOrArray, in_range, plain

AIR_GAS_CONSTANT = 287.05  # J/(kg K)
AIR_RATIO_OF_HEATS = 1.4
KPA_PER_INHG = 3.38639
ROOM_TEMPERATURE_K = 293.15
ONE_ATMOSPHERE_KPA = 101.325
EARTH_RADIUS_M = 6356766.0  # of the 1976 atmosphere, for geopotential height


def standard_temperature_k(altitude_m: ArrayLike) -> FloatOrArray:
    """Air temperature of the standard atmosphere at a height above the sea.

    Parameters
    ----------
    altitude_m : float or array [m]

    Returns
    -------
    float or array of the same shape [K]

    Raises
    ------
    OutOfRange
        Height outside -500 to 11000 m.

    Notes
    -----
    15 degrees Celsius at the sea, 6.5 K less for each kilometre. Source: ambiance.
    """
    return 288.15 - 0.0065 * _geopotential(altitude_m)


def standard_pressure_kpa(altitude_m: ArrayLike) -> FloatOrArray:
    """Air pressure of the standard atmosphere at a height above the sea.

    Parameters
    ----------
    altitude_m : float or array [m]

    Returns
    -------
    float or array of the same shape [kPa absolute]

    Raises
    ------
    OutOfRange
        Height outside -500 to 11000 m.

    Notes
    -----
    Hydrostatic balance with the straight temperature line of 1976. Source: fluids.
    """
    return ONE_ATMOSPHERE_KPA * (standard_temperature_k(altitude_m) / 288.15) ** 5.2558797


def density_ratio(pressure_kpa: ArrayLike, temperature_k: ArrayLike) -> FloatOrArray:
    """Density of air over that at 20 degrees Celsius and one atmosphere.

    Parameters
    ----------
    pressure_kpa : float or array [kPa absolute]
    temperature_k : float or array, broadcast with pressure_kpa [K]

    Returns
    -------
    float or array of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        Pressure or temperature not above zero.

    Notes
    -----
    Source: derived.
    """
    pressure = in_range("The pressure", pressure_kpa, "kPa", above=0, advice="Use absolute pressure, not gauge.")
    temperature = in_range("The temperature", temperature_k, "K", above=0, advice="Add 273.15 to degrees Celsius.")
    return pressure / ONE_ATMOSPHERE_KPA * (ROOM_TEMPERATURE_K / temperature)


def throttle_area_mm2(plate_deg: ArrayLike, bore_mm: ArrayLike, closed_deg: ArrayLike = 10.0) -> FloatOrArray:
    """Opening left around a throttle plate.

    Parameters
    ----------
    plate_deg : float or array [degree]
        Tilt of the plate from square across the bore.
    bore_mm : float or array, broadcast with plate_deg [mm]
    closed_deg : float or array, broadcast with plate_deg [degree]
        Tilt at which the plate touches the wall.

    Returns
    -------
    float or array of the broadcast shape [mm2]

    Raises
    ------
    OutOfRange
        Plate not between closed and 90 degrees, or bore not above zero.

    Notes
    -----
    Bore less the shadow of the plate; thin shaft. Source: heywood.
    """
    plate, closed = _plate(plate_deg, closed_deg)
    bore = in_range("The throttle bore", bore_mm, "mm", above=0)
    return plain(np.pi / 4.0 * bore**2 * (1.0 - np.cos(plate) / np.cos(closed)))


def port_covered(
    plate_deg: ArrayLike, tap_height_mm: ArrayLike, bore_mm: ArrayLike, closed_deg: ArrayLike = 10.0
) -> bool | NDArray[np.bool_]:
    """Whether the plate still keeps manifold vacuum from a ported tap.

    Parameters
    ----------
    plate_deg : float or array [degree]
        Tilt of the plate from square across the bore.
    tap_height_mm : float or array, broadcast with plate_deg [mm]
        Of the middle of the tap above the edge of the closed plate.
    bore_mm, closed_deg : float or array, broadcast with plate_deg [mm], [degree]

    Returns
    -------
    bool or array of bool of the broadcast shape [1]

    Raises
    ------
    OutOfRange
        As `throttle_area_mm2`, or a tap not above the closed plate.

    Notes
    -----
    The plate is an ellipse that fits the bore at the closed tilt: its edge stands
    D/2 tan(closed) above the shaft when closed and D/2 sin(plate)/cos(closed) when
    open. Source: tm-9-8000, text to figure 15-19 (tap just above the closed edge).
    """
    height = in_range(
        "The height of the tap", tap_height_mm, "mm", above=0, advice="A tap below the plate is a manifold tap."
    )
    plate, closed = _plate(plate_deg, closed_deg)
    bore = in_range("The throttle bore", bore_mm, "mm", above=0)
    covered = bore / 2.0 * (np.sin(plate) - np.sin(closed)) / np.cos(closed) < height
    return bool(covered) if np.ndim(covered) == 0 else covered


def critical_ratio(ratio_of_heats: ArrayLike = AIR_RATIO_OF_HEATS) -> FloatOrArray:
    """Downstream over upstream pressure below which the flow no longer grows.

    Parameters
    ----------
    ratio_of_heats : float or array [1]

    Returns
    -------
    float or array of the same shape [1]

    Raises
    ------
    OutOfRange
        Ratio of heats outside 1.05 to 1.67.

    Notes
    -----
    Source: fluids.
    """
    gamma = in_range("The ratio of heats", ratio_of_heats, "", least=1.05, most=1.67)
    return plain((2.0 / (gamma + 1.0)) ** (gamma / (gamma - 1.0)))


def flow_factor(pressure_ratio: ArrayLike) -> FloatOrArray:
    """Flow through an opening, over area, upstream pressure and 1/sqrt(R T).

    Parameters
    ----------
    pressure_ratio : float or array [1]
        Downstream over upstream, both absolute.

    Returns
    -------
    float or array of the same shape [1]
        Constant while choked, zero at equal pressures.

    Raises
    ------
    OutOfRange
        Pressure ratio outside 0 to 1.

    Notes
    -----
    Perfect gas, flow without loss to the throat. Source: heywood.
    """
    gamma = AIR_RATIO_OF_HEATS
    ratio = in_range("Downstream over upstream pressure", pressure_ratio, "", least=0, most=1)
    ratio = np.maximum(ratio, critical_ratio())
    factor = 2.0 * gamma / (gamma - 1.0) * (ratio ** (2.0 / gamma) - ratio ** ((gamma + 1.0) / gamma))
    return plain(np.sqrt(np.maximum(factor, 0.0)))


def throttle_flow_g_per_s(
    area_mm2: ArrayLike,
    pressure_ratio: ArrayLike,
    barometer_kpa: ArrayLike = ONE_ATMOSPHERE_KPA,
    air_temperature_k: ArrayLike = ROOM_TEMPERATURE_K,
) -> FloatOrArray:
    """Air that passes an opening.

    Parameters
    ----------
    area_mm2 : float or array [mm2]
        Effective: measured area times discharge coefficient.
    pressure_ratio : float or array, broadcast with area_mm2 [manifold over barometer]
    barometer_kpa : float or array, broadcast with area_mm2 [kPa absolute]
    air_temperature_k : float or array, broadcast with area_mm2 [K]

    Returns
    -------
    float or array of the broadcast shape [g/s]

    Raises
    ------
    OutOfRange
        Ratio outside 0 to 1, area below zero, barometer or air temperature impossible.

    Notes
    -----
    Source: heywood.
    """
    area = in_range("The throttle opening", area_mm2, "mm2", least=0)
    pressure, temperature = _outside(barometer_kpa, air_temperature_k)
    # mm2 x kPa = mN; over sqrt(J/kg) gives g/s without a further factor.
    return plain(area * pressure / np.sqrt(AIR_GAS_CONSTANT * temperature) * flow_factor(pressure_ratio))


def manifold_pressure_kpa(
    area_mm2: ArrayLike,
    speed_rpm: ArrayLike,
    displacement_l: ArrayLike = 3.5,
    volumetric_efficiency: ArrayLike = 0.8,
    barometer_kpa: ArrayLike = ONE_ATMOSPHERE_KPA,
    air_temperature_k: ArrayLike = ROOM_TEMPERATURE_K,
    charge_temperature_k: ArrayLike = 310.0,
) -> FloatOrArray:
    """Absolute pressure at which the manifold settles.

    Parameters
    ----------
    area_mm2 : float or array [mm2]
        Effective throttle opening: measured area times discharge coefficient.
    speed_rpm : float or array, broadcast with area_mm2 [crank rev/min]
    displacement_l : float or array, broadcast with area_mm2 [litre]
    volumetric_efficiency : float or array, broadcast with area_mm2 [1]
        Charge drawn in over displacement filled at manifold state.
    barometer_kpa : float or array, broadcast with area_mm2 [kPa absolute]
    air_temperature_k, charge_temperature_k : float or array, broadcast with area_mm2 [K]
        Before the throttle, and in the manifold.

    Returns
    -------
    float or array of the broadcast shape [kPa absolute]

    Raises
    ------
    OutOfRange
        Area not above zero, speed below zero, or another quantity no engine has.

    Notes
    -----
    Throttle flow falls and engine flow rises with manifold pressure, so there is one
    solution. Choked, pressure times speed is constant. Else, with r the pressure ratio
    and u = sqrt(1 - r^(2/7)), throttle flow is K r^(5/7) u and engine flow C r, hence
    C u^2 + K u - C = 0: exact without a search. Below some 15 kPa no engine runs (practice);
    the law still says where the flows would meet. Source: derived (flow law of heywood).
    """
    area = in_range(
        "The throttle opening", area_mm2, "mm2", above=0, advice="Even a closed plate lets some idle air past."
    )
    speed = in_range("Engine speed", speed_rpm, "rev/min", least=0, most=12000)
    displacement = in_range("The displacement", displacement_l, "litres", above=0, most=30)
    filling = in_range("Volumetric efficiency", volumetric_efficiency, "", above=0, most=1.2)
    pressure, temperature = _outside(barometer_kpa, air_temperature_k)
    charge = in_range("The charge temperature", charge_temperature_k, "K", least=220, most=450)
    gamma = AIR_RATIO_OF_HEATS
    throttle = area * pressure / np.sqrt(AIR_GAS_CONSTANT * temperature)  # g/s per unit of flow factor
    # Litre x kPa is J; over J/kg gives kg, hence 1000; one filling in two turns.
    engine = 1000.0 * filling * pressure * displacement * speed / (120.0 * AIR_GAS_CONSTANT * charge)
    slope = throttle * np.sqrt(2.0 * gamma / (gamma - 1.0))
    u = 2.0 * engine / (slope + np.sqrt(slope**2 + 4.0 * engine**2))
    open_ratio = (1.0 - u**2) ** (gamma / (gamma - 1.0))
    choked_ratio = throttle * flow_factor(0.0) / np.maximum(engine, 1e-300)
    ratio = np.where(open_ratio < critical_ratio(), choked_ratio, open_ratio)
    return plain(pressure * ratio)


def vacuum_inhg(manifold_kpa: ArrayLike, barometer_kpa: ArrayLike = ONE_ATMOSPHERE_KPA) -> FloatOrArray:
    """Reading of a vacuum gauge on the manifold.

    Parameters
    ----------
    manifold_kpa : float or array [kPa absolute]
    barometer_kpa : float or array, broadcast with manifold_kpa [kPa absolute]

    Returns
    -------
    float or array of the broadcast shape [inHg vacuum]

    Raises
    ------
    OutOfRange
        Pressure below zero or above the barometer; barometer outside 40 to 110 kPa.

    Notes
    -----
    A gauge reads the local barometer less the manifold pressure. Source: derived.
    """
    barometer = _barometer(barometer_kpa)
    manifold = in_range("The manifold pressure", manifold_kpa, "kPa absolute", least=0, most=float(np.max(barometer)))
    if np.any(np.asarray(manifold) > barometer):
        raise OutOfRange(f"The manifold pressure reaches {np.max(manifold):g} kPa; the barometer is lower. Read again.")
    return (barometer - manifold) / KPA_PER_INHG


def _geopotential(altitude_m):
    height = in_range("The altitude", altitude_m, "m", least=-500, most=11000, advice="Convert feet: 1 ft = 0.3048 m.")
    return EARTH_RADIUS_M * height / (EARTH_RADIUS_M + height)


def _outside(barometer_kpa, air_temperature_k):
    return (
        _barometer(barometer_kpa),
        in_range("The air temperature", air_temperature_k, "K", least=220, most=400),
    )


def _barometer(barometer_kpa):
    return in_range("The barometer", barometer_kpa, "kPa", least=40, most=110, advice="1 inHg is 3.386 kPa.")


def _plate(plate_deg, closed_deg):
    closed = in_range("The closed plate", closed_deg, "degrees", least=0, below=45)
    plate = in_range("The throttle plate", plate_deg, "degrees", least=0, most=90)
    if np.any(np.asarray(plate) < np.asarray(closed)):
        raise OutOfRange(
            f"The throttle plate is at {np.min(plate):g} degrees; it rests at {np.max(closed):g} degrees. Open it more."
        )
    return np.radians(plate), np.radians(closed)
