"""Routes for check rows on engine, points and coil that need more than one function.

Peers of `grader.reference` never call each other; where a printed figure needs two
of them in a row, or one number out of a curve, the row names a function of this file.
"""

import numpy as np
from scipy.integrate import solve_ivp

from grader.reference.spark import coil, points, waveform
from grader.reference.timing import advance, combustion, cycle, induction

PSIA_PER_KPA = 1.0 / 6.894757
M_PER_FT = 0.3048


def standard_pressure_psia(altitude_ft: float) -> float:
    """Standard pressure in the units of American tables."""
    return induction.standard_pressure_kpa(altitude_ft * M_PER_FT) * PSIA_PER_KPA


def standard_temperature_f(altitude_ft: float) -> float:
    """Standard temperature in the units of American tables."""
    return 1.8 * (induction.standard_temperature_k(altitude_ft * M_PER_FT) - 273.15) + 32.0


def standard_barometer_inhg(altitude_ft: float) -> float:
    """Reading of a barometer in the standard atmosphere."""
    altitude_m = altitude_ft * M_PER_FT
    return induction.standard_pressure_kpa(altitude_m) / induction.KPA_PER_INHG


def manifold_vacuum_inhg(area_mm2: float, speed_rpm: float) -> float:
    """Gauge reading on the teaching engine at sea level."""
    return induction.vacuum_inhg(induction.manifold_pressure_kpa(area_mm2, speed_rpm))


def idle_vacuum_at_inhg(vacuum_inhg: float, altitude_m: float) -> float:
    """Gauge reading of an idle at a height, known at the sea."""
    barometers = [induction.standard_pressure_kpa(height) / induction.KPA_PER_INHG for height in (0, altitude_m)]
    return advance.vacuum_at_barometer_inhg(vacuum_inhg, *barometers)


def flow_share(pressure_ratio: float) -> float:
    """Flow over choked flow."""
    return induction.flow_factor(pressure_ratio) / induction.flow_factor(0.0)


def density_ratio_at_spark(advance_deg: float) -> float:
    """Density of the gas at the gap over that of air at 20 degrees Celsius and one atmosphere."""
    return induction.density_ratio(
        combustion.pressure_at_spark_kpa(advance_deg), combustion.temperature_at_spark_k(advance_deg)
    )


def sudden_burn_efficiency(compression_ratio: float, ratio_of_heats: float) -> float:
    """Efficiency of the single zone without loss when all burns at top: the Otto limit."""
    cylinder = cycle.Cylinder(
        compression_ratio=compression_ratio, ratio_of_heats=ratio_of_heats, wall_factor=0, burn_deg=0.1
    )
    return cycle.solve(-0.05, 2000.0, cylinder).efficiency


def best_burn_start_deg(speed_rpm: float = 2000.0, **cylinder: float) -> float:
    """Start of burn for most work on a cylinder described by its fields."""
    return cycle.best_burn_start_deg(speed_rpm, cycle.Cylinder(**cylinder))


def best_peak_deg(speed_rpm: float = 2000.0, **cylinder: float) -> float:
    """Angle of the highest pressure at that start."""
    return _best(speed_rpm, cylinder).peak_deg


def best_half_burned_deg(speed_rpm: float = 2000.0, **cylinder: float) -> float:
    """Angle at which half has burned at that start."""
    return _best(speed_rpm, cylinder).half_burned_deg


def best_peak_kpa(speed_rpm: float = 2000.0, **cylinder: float) -> float:
    """Highest pressure at that start."""
    return _best(speed_rpm, cylinder).peak_kpa


def torque_loss_percent(timing_error_deg: float, speed_rpm: float = 2000.0, **cylinder: float) -> float:
    """Torque lost on a cylinder described by its fields."""
    return cycle.torque_loss_percent(timing_error_deg, speed_rpm, cycle.Cylinder(**cylinder))


def dwell_after_gap_change_deg(gap_in: float, dwell_deg: float, cylinders: int, change_in: float) -> float:
    """Dwell of a cam known by one gap and dwell, after the gap has changed."""
    return points.dwell_of_gap_deg(gap_in + change_in, points.full_lift(gap_in, dwell_deg, cylinders), cylinders)


def timing_after_gap_change_deg(gap_in: float, dwell_deg: float, cylinders: int, change_in: float) -> float:
    """Crank degrees of advance that follow a change of gap."""
    changed = dwell_after_gap_change_deg(gap_in, dwell_deg, cylinders, change_in)
    return points.timing_change_deg(changed - dwell_deg)


def kept_across_gap_share(
    gap_mm: float, speed_rpm: float, ring_mm: float = 0.10, doubled_at_rpm: float = 4000.0
) -> float:
    """Voltage kept across a narrow gap, summed up from a closed gap outwards, without the function itself.

    The teaching law in small steps: each further step of the gap, counted in rings of
    the arm, wins back four times the cube of the gap of what is still lost. The ring
    grows with the square of speed and has doubled at a known one.
    """
    rings = gap_mm / (ring_mm * (1.0 + (speed_rpm / doubled_at_rpm) ** 2))
    summed = solve_ivp(lambda gap, kept: 4.0 * gap**3 * (1.0 - kept), (0.0, rings), [0.0], rtol=1e-9, atol=1e-12)
    return float(summed.y[0, -1])


def charge_percent(time_ms: float, ninety_percent_ms: float) -> float:
    """Share of the full current after a time, for a coil that needs a known time for 90 %."""
    return coil.current_after_a(time_ms, 100.0, 1.0, ninety_percent_ms / np.log(10.0))


def available_kv(
    dwell_deg: float,
    speed_rpm: float,
    shunt_mohm: float | None = None,
    contact_ohm: float = 0.0,
    supply_v: float = 13.8,
    bypassed: bool = False,
) -> float:
    """Available voltage of the teaching coil, from dwell and speed."""
    resistance = coil.primary_resistance_ohm(contact_ohm=contact_ohm, bypassed=bypassed)
    current = coil.current_at_opening_a(dwell_deg, speed_rpm, supply_v, resistance)
    fouled = 1.0 if shunt_mohm is None else coil.shunt_factor(shunt_mohm)
    return coil.available_voltage_kv(current, speed_rpm) * fouled


def current_with_contact_a(dwell_deg: float, speed_rpm: float, contact_ohm: float) -> float:
    """Current at opening of the teaching coil with bad points."""
    return coil.current_at_opening_a(dwell_deg, speed_rpm, 13.8, coil.primary_resistance_ohm(contact_ohm=contact_ohm))


def available_without_condenser_kv(dwell_deg: float, speed_rpm: float) -> float:
    """Available voltage of the teaching coil with the condenser off."""
    return coil.available_voltage_kv(coil.current_at_opening_a(dwell_deg, speed_rpm), speed_rpm, condenser_uf=0.0)


def spark_energy_mj(current_ma: float, burning_kv: float) -> float:
    """Energy of a spark whose current falls in a straight line."""
    return 0.5 * current_ma * burning_kv * coil.spark_duration_ms(current_ma, burning_kv)


def waveform_shunt_factor(shunt_mohm: float) -> float:
    """Peak of the two-loop waveform with a shunt over that without, losses off."""
    peaks = [
        waveform.solve(4.0, 0.3, circuit=waveform.Circuit(0, 0, coupling=0.99999, secondary_kohm=1e-6, shunt_mohm=r))
        for r in (shunt_mohm, 1e9)
    ]
    return peaks[0].peak_kv / peaks[1].peak_kv


def primary_ring_rad_per_s(inductance_mh: float, condenser_uf: float) -> float:
    """Ring frequency of a primary without a secondary."""
    return 2.0 * np.pi * waveform.slow_mode_hz(inductance_mh, condenser_uf, load_pf=1.0, turns_ratio=1.0, coupling=0.0)


def inductor_extreme_v(
    current_a: float, resistance_ohm: float, inductance_mh: float, condenser_uf: float, supply_v: float
) -> float:
    """Most negative voltage of a coil without a secondary after its switch has opened."""
    circuit = waveform.Circuit(
        supply_v, resistance_ohm, inductance_mh, coupling=0.0, condenser_uf=condenser_uf, kept_share=1.0
    )
    shape = waveform.solve(current_a, 0.5, circuit=circuit)
    return float(np.min(supply_v - resistance_ohm * shape.primary_a - shape.points_v))


def inductor_amplitude_v(
    current_a: float, resistance_ohm: float, inductance_mh: float, condenser_uf: float, supply_v: float
) -> float:
    """Amplitude of that voltage, its decay taken out: extreme over the decay up to its time."""
    circuit = waveform.Circuit(
        supply_v, resistance_ohm, inductance_mh, coupling=0.0, condenser_uf=condenser_uf, kept_share=1.0
    )
    shape = waveform.solve(current_a, 0.5, circuit=circuit)
    voltage = supply_v - resistance_ohm * shape.primary_a - shape.points_v
    undamped = voltage * np.exp(0.5e-3 * shape.time_ms * resistance_ohm / (1e-3 * inductance_mh))
    return float(np.max(-undamped))


def _best(speed_rpm, fields):
    cylinder = cycle.Cylinder(**fields)
    return cycle.solve(cycle.best_burn_start_deg(speed_rpm, cylinder), speed_rpm, cylinder)
