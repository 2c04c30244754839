"""Routes for check rows of breakdown, plug, tester and cables that need more than one number.

A check row compares one number. Where a published figure needs two peers in a row,
or one member of a function's answer, the row names a function of this file.
"""

from collections.abc import Sequence

from grader.reference.spark import breakdown, cables, insulation, plug, tester

MM_PER_INCH = 25.4
MMHG_PER_ATMOSPHERE = 760.0
KPA_PER_PSI = 6.894757


def firing_psig(
    supply_kv: float,
    gap_in: float,
    temperature_c: float = 20.0,
    factor: float = 1.0,
    barometer: float = tester.ATMOSPHERE_PSIA,
) -> float:
    """Gauge pressure at which a plug fails on a tester of fixed voltage."""
    reach = breakdown.reach_cm(supply_kv / factor)
    absolute = tester.firing_pressure_psia(reach, gap_in * MM_PER_INCH, temperature_c)
    return tester.gauge_psig(absolute, barometer)


def same_density_psia(pressure_psia: float, temperature_k: float, other_temperature_k: float) -> float:
    """Pressure at another temperature with the same breakdown voltage."""
    reach = tester.reach_of_pressure_cm(pressure_psia, 1.0, temperature_k - tester.ZERO_C)
    # The tester's own range ends at 200 degrees C, so the engine side goes through breakdown.
    return tester.ATMOSPHERE_PSIA * 10.0 * reach / breakdown.relative_density(1.01325, other_temperature_k)


def uniform_at_kv(gap_mm: float, temperature_c: float, pressure_mmhg: float = MMHG_PER_ATMOSPHERE) -> float:
    """Uniform-field voltage at a barometer in mmHg and a temperature in degrees C."""
    return breakdown.uniform_voltage_kv(gap_mm, _density(temperature_c, pressure_mmhg))


def weather_factor(temperature_c: float, pressure_mmhg: float, reference_c: float = 25.0) -> float:
    """Relative density against one atmosphere at another reference temperature."""
    return _density(temperature_c, pressure_mmhg) / _density(reference_c, MMHG_PER_ATMOSPHERE)


def uniform_field_kv_per_cm(gap_mm: float) -> float:
    """Breakdown voltage over gap at density 1."""
    return breakdown.uniform_voltage_kv(gap_mm) * 10.0 / gap_mm


def rule_of_thumb_share(gap_mm: float, voltage_kv: float) -> float:
    """Uniform voltage over a printed one: shows by how much a published law differs."""
    return breakdown.uniform_voltage_kv(gap_mm) / voltage_kv


def paschen_minimum_kv() -> float:
    """Least breakdown voltage of air by the Townsend form."""
    return breakdown.townsend_minimum()[1] / 1000.0


def paschen_minimum_torr_cm() -> float:
    """Pressure times gap at that minimum."""
    return breakdown.townsend_minimum()[0]


def kv_per_thousandth(
    gap_in: float, other_gap_in: float, pressure_bar: float, temperature_k: float, engine: bool = False
) -> float:
    """Mean rise of the required voltage for 0.001 inch of gap."""
    law = breakdown.engine_voltage_kv if engine else breakdown.required_voltage_kv
    low, high = (law(gap * MM_PER_INCH, pressure_bar, temperature_k) for gap in (gap_in, other_gap_in))
    return (high - low) / (other_gap_in - gap_in) / 1000.0


def series_gap_kv(gap_mm: float) -> float:
    """A gap in the secondary circuit beside the plug's."""
    return insulation.series_gap_kv(breakdown.uniform_voltage_kv(gap_mm), gap_mm)


def rotor_gap_cold_kv(gap_mm: float) -> float:
    """A cold, blunt rotor gap by the uniform law: the upper end of what it can take."""
    return breakdown.uniform_voltage_kv(gap_mm)


def clean_from_c() -> float:
    """Nose temperature below which soot stays."""
    return plug.CLEAN_FROM_C


def hot_from_c() -> float:
    """Nose temperature from which trouble begins."""
    return plug.HOT_FROM_C


def preignites_c() -> float:
    """Nose temperature at which the charge may light on it."""
    return plug.PREIGNITES_C


def growth_thousandths_per_1000_miles() -> float:
    """Gap growth in the trade's own unit."""
    return plug.worn_gap_mm(1.0, 1609.344) / MM_PER_INCH * 1000.0 - 1000.0 / MM_PER_INCH


def keep_ratio(new_psig: Sequence[float], used_psig: Sequence[float]) -> float:
    """Used over new firing pressure."""
    return tester.keep_verdict(new_psig, used_psig).ratio


def keep_error(new_psig: Sequence[float], used_psig: Sequence[float]) -> float:
    """Standard error of that ratio."""
    return tester.keep_verdict(new_psig, used_psig).standard_error


def keep_low(new_psig: Sequence[float], used_psig: Sequence[float]) -> float:
    """Lower end of its 95 % interval, 8 degrees of freedom in the worked case."""
    return tester.keep_verdict(new_psig, used_psig, pooled=True).low


def keep_high(new_psig: Sequence[float], used_psig: Sequence[float]) -> float:
    """Upper end of its 95 % interval."""
    return tester.keep_verdict(new_psig, used_psig, pooled=True).high


def keep_freedom(new_psig: Sequence[float], used_psig: Sequence[float]) -> float:
    """Degrees of freedom after Welch and Satterthwaite."""
    return tester.keep_verdict(new_psig, used_psig).freedom


def outlier_distance(readings: Sequence[float]) -> float:
    """Distance of the farthest reading from the mean, in standard deviations."""
    return tester.outlier(readings)[1]


def drop_absolute(new_psig: float, used_psig: float) -> float:
    """Drop of the firing pressure counted on absolute pressure."""
    return tester.pressure_drop(tester.absolute_psia(new_psig), tester.absolute_psia(used_psig))


def gauge_gain_psi(barometer_kpa: float) -> float:
    """How much higher the same plug reads under a lower barometer."""
    return tester.gauge_psig(50.0, barometer_kpa / KPA_PER_PSI) - tester.gauge_psig(50.0)


def lead_least_kohm(length_in: float) -> float:
    """Least resistance of a sound lead of a length in inches."""
    return cables.lead_limits_kohm(length_in * MM_PER_INCH)[0]


def lead_most_kohm(length_in: float) -> float:
    """Most resistance of a sound lead."""
    return cables.lead_limits_kohm(length_in * MM_PER_INCH)[1]


def lead_renew_kohm(length_in: float, per_foot_kohm: float = cables.RENEW_KOHM_PER_FOOT) -> float:
    """The limit of a lead by its length alone."""
    return cables.per_foot_limit_kohm(length_in * MM_PER_INCH, per_foot_kohm)


def between_pf_per_m(height_mm: float, spacing_mm: float, radius_mm: float) -> float:
    """Capacitance between two equal wires over a plane."""
    return cables.capacitances_pf_per_m(height_mm, spacing_mm, radius_mm)[0]


def ground_pf_per_m(height_mm: float, spacing_mm: float, radius_mm: float) -> float:
    """Capacitance of each of them to the plane."""
    return cables.capacitances_pf_per_m(height_mm, spacing_mm, radius_mm)[1]


def single_wire_pf_per_m(height_mm: float, radius_mm: float) -> float:
    """One wire over a plane: the other so far away that it does not matter."""
    return ground_pf_per_m(height_mm, 1e5, radius_mm)


def line_uf(height_mm: float, spacing_mm: float, radius_mm: float, length_km: float) -> float:
    """Capacitance of a two-wire line fed from wire to wire."""
    between, ground = cables.capacitances_pf_per_m(height_mm, spacing_mm, radius_mm)
    return (between + ground / 2.0) * length_km * 1e-3


def loop_uh_per_m(height_mm: float, spacing_mm: float, radius_mm: float) -> float:
    """Inductance of a two-wire loop at low frequency: the field inside the wires added."""
    inside = 2.0 * 0.05
    own = cables.self_inductance_uh_per_m(height_mm, radius_mm)
    return 2.0 * (own - cables.mutual_inductance_uh_per_m(height_mm, spacing_mm)) + inside


def induced_kv(
    spacing_mm: float, length_mm: float, height_mm: float = 50.0, radius_mm: float = 0.6, firing_kv: float = 20.0
) -> float:
    """Voltage on the neighbour before the first plug breaks down."""
    between, ground = cables.capacitances_pf_per_m(height_mm, spacing_mm, radius_mm)
    return cables.induced_capacitive_kv(firing_kv, length_mm, between, ground)


def induced_after_kv(
    spacing_mm: float, length_mm: float, current_a: float = cables.SPARK_CURRENT_A, height_mm: float = 50.0
) -> float:
    """Voltage on the neighbour when it breaks down."""
    shared = cables.mutual_inductance_uh_per_m(height_mm, spacing_mm)
    return cables.induced_inductive_kv(length_mm, shared, current_a)


def lead_before_v(resistance_kohm: float) -> float:
    """Voltage a lead costs before the spark."""
    return cables.lead_cost_v(resistance_kohm)[0]


def lead_during_v(resistance_kohm: float) -> float:
    """Voltage a lead costs during the spark."""
    return cables.lead_cost_v(resistance_kohm)[1]


def victim_kv(cylinders: int, advance_deg: float, compression_ratio: float, gap_mm: float) -> float:
    """What the victim's plug needs when its neighbour is fired."""
    return breakdown.uniform_voltage_kv(gap_mm, cables.victim_density(cylinders, advance_deg, compression_ratio))


def _density(temperature_c, pressure_mmhg):
    return breakdown.relative_density(pressure_mmhg / MMHG_PER_ATMOSPHERE * 1.01325, temperature_c + 273.15)
