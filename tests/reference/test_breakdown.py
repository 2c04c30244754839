"""Breakdown voltage: laws, inverse, factors, refusals."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.errors import OutOfRange
from grader.reference.spark import breakdown

GAPS = st.floats(0.2, 2.5)
DENSITIES = st.floats(0.8, 8.0)
VOLTAGES = st.floats(0.9, 400.0)
BARS = st.floats(2.0, 30.0)
KELVINS = st.floats(250.0, 900.0)


@given(VOLTAGES)
def test_the_inverse_is_exact(voltage):
    reach = breakdown.reach_cm(voltage)
    assert breakdown.uniform_voltage_kv(10.0 * reach) == pytest.approx(voltage, rel=1e-12)


@given(GAPS, DENSITIES)
def test_only_gap_times_density_counts(gap, density):
    assert breakdown.uniform_voltage_kv(gap, density) == pytest.approx(breakdown.uniform_voltage_kv(gap * density))


@given(GAPS, BARS, KELVINS)
def test_wider_denser_and_colder_need_more(gap, bar, kelvin):
    for law in (breakdown.required_voltage_kv, breakdown.engine_voltage_kv, breakdown.second_set_voltage_kv):
        here = law(gap, bar, kelvin)
        assert law(1.1 * gap, bar, kelvin) > here
        assert law(gap, 1.1 * bar, kelvin) > here
        assert law(gap, bar, 1.1 * kelvin) < here


@given(GAPS, BARS, KELVINS, st.floats(0.7, 2.0))
def test_the_factor_multiplies(gap, bar, kelvin, factor):
    plain = breakdown.required_voltage_kv(gap, bar, kelvin)
    assert breakdown.required_voltage_kv(gap, bar, kelvin, factor) == pytest.approx(factor * plain)


@given(GAPS, DENSITIES)
def test_field_falls_with_the_gap(gap, density):
    """A wider gap needs more voltage and less voltage for each millimetre."""
    narrow, wide = (breakdown.uniform_voltage_kv(size, density) / size for size in (gap, 1.2 * gap))
    assert wide < narrow
    assert wide > 0.1 * breakdown.LINEAR * density


def test_density_belongs_inside_the_law():
    """The shortcut V = density x V(1) is fine for weather and wrong in an engine."""
    for density, share in ((0.95, 0.02), (5.0, 0.15)):
        short = density * breakdown.uniform_voltage_kv(0.9)
        exact = breakdown.uniform_voltage_kv(0.9, density)
        assert (short > exact) == (density > 1)
        assert (abs(short / exact - 1) < share) == (density < 1)


@pytest.mark.parametrize(
    ("bar", "kelvin"), [(1.01325, 293.15), (1.0, 253.15), (8.6, 566.0), (12.0, 610.0), (0.4, 330.0)]
)
def test_density_against_a_property_library(bar, kelvin):
    from CoolProp.CoolProp import PropsSI as density

    standard = density("D", "T", 293.15, "P", 101325.0, "Air")
    expected = density("D", "T", kelvin, "P", bar * 1e5, "Air") / standard
    assert breakdown.relative_density(bar, kelvin) == pytest.approx(expected, rel=6e-3)  # real gas at 12 bar


def test_constants_agree_with_unit_library():
    import pint

    unit = pint.UnitRegistry()
    assert unit.Quantity(1, "atm").to("bar").magnitude == pytest.approx(breakdown.STANDARD_PRESSURE_BAR)
    assert unit.Quantity(20, "degC").to("K").magnitude == pytest.approx(breakdown.STANDARD_TEMPERATURE_K)


def test_townsend_minimum_is_a_minimum():
    reach, least = breakdown.townsend_minimum()
    assert breakdown.townsend_voltage_v(reach) == pytest.approx(least)
    around = breakdown.townsend_voltage_v(reach * np.linspace(0.6, 3.0, 201))
    assert (around >= least - 1e-9).all()
    assert breakdown.townsend_voltage_v(reach * 0.4) > breakdown.townsend_voltage_v(reach * 0.6)


@given(st.floats(5.0, 20.0), st.floats(100.0, 500.0), st.floats(0.001, 0.5))
def test_townsend_minimum_for_any_gas(a, b, gamma):
    reach, least = breakdown.townsend_minimum(a, b, gamma)
    assert breakdown.townsend_voltage_v(1.01 * reach, a, b, gamma) > least
    assert breakdown.townsend_voltage_v(0.99 * reach, a, b, gamma) > least


def test_the_two_laws_differ_most_at_wide_gaps():
    """Handbook: 25 to 60 % between uniform law and engine correlation, full load, wide gaps."""
    gaps = np.array([0.9, 1.2, 1.5])
    ratio = breakdown.required_voltage_kv(gaps, 8.62, 566.0) / breakdown.engine_voltage_kv(gaps, 8.62, 566.0)
    assert (np.diff(ratio) > 0).all()
    assert 1.2 < ratio[0] < 1.3
    assert 1.45 < ratio[-1] < 1.6


@given(st.floats(0, 1), st.floats(0.8, 1.2), st.floats(20, 800))
def test_factors_go_the_right_way(rounding, air, hot):
    base = breakdown.demand_factor(False, rounding, air, hot)
    assert breakdown.demand_factor(True, rounding, air, hot) == pytest.approx(1.225 * base)
    assert breakdown.demand_factor(False, min(1.0, rounding + 0.1), air, hot) >= base
    assert breakdown.demand_factor(False, rounding, min(1.2, air + 0.05), hot) >= base
    assert breakdown.demand_factor(False, rounding, air, min(800.0, hot + 50)) <= base
    assert 0.9 * 0.7 - 1e-12 <= base <= 1.4 * 1.2 + 1e-12


def test_factors_stay_inside_the_trade_ranges():
    assert 1.15 <= breakdown.demand_factor(True) <= 1.30
    assert [breakdown.demand_factor(rounding=r) for r in (0.5, 1.0)] == pytest.approx([1.2, 1.4])
    assert breakdown.demand_factor(air_ratio=1.1) == pytest.approx(1.1)
    assert breakdown.demand_factor(air_ratio=0.9) == pytest.approx(0.95)
    assert breakdown.demand_factor(electrode_c=540) == pytest.approx(0.8)


@given(st.floats(0.05, 3.0), st.floats(0.3, 2.0))
def test_sharper_tips_concentrate_the_field(radius, gap):
    assert breakdown.field_factor(radius, gap) >= breakdown.field_factor(1.1 * radius, gap) >= 1.0


@given(st.floats(0, 40), st.floats(0, 40))
def test_reserve_adds_up(available, required):
    spare = breakdown.reserve_kv(available, required, 1.5)
    assert spare + required + 1.5 == pytest.approx(available, abs=1e-9)


def test_scalar_equals_array():
    gaps, bars, kelvins = np.array([0.5, 0.9, 1.5]), np.array([1.0, 8.0, 12.0]), np.array([293.0, 560.0, 610.0])
    for law in (breakdown.required_voltage_kv, breakdown.engine_voltage_kv, breakdown.second_set_voltage_kv):
        together = law(gaps, bars, kelvins)
        alone = [law(*case) for case in zip(gaps.tolist(), bars.tolist(), kelvins.tolist(), strict=True)]
        assert together == pytest.approx(alone, rel=1e-14)
        assert all(type(value) is float for value in alone)
    grid = breakdown.uniform_voltage_kv(gaps[:, None], bars)
    assert grid.shape == (3, 3)
    assert type(breakdown.reach_cm(12)) is float
    assert type(breakdown.demand_factor()) is float
    assert breakdown.reach_cm(np.array([5.0, 12.0])) == pytest.approx([breakdown.reach_cm(5), breakdown.reach_cm(12)])


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: breakdown.required_voltage_kv(0.9, -1, 300), "The pressure is -1 bar absolute; allowed is above 0"),
        (lambda: breakdown.required_voltage_kv(0.9, 8, 20), "The temperature is 20 K; .* Add 273.15"),
        (lambda: breakdown.required_voltage_kv(0, 8, 500), "The gap is 0 mm; allowed is above 0"),
        (lambda: breakdown.required_voltage_kv(0.9, 8, 500, 10), "The factor K is 10; allowed is 0.3 to 4"),
        (lambda: breakdown.uniform_voltage_kv(0.05), "Gap times relative density is 0.05 mm; allowed is 0.1 to 200"),
        (lambda: breakdown.uniform_voltage_kv([0.9, np.nan]), "The gap is nan mm"),
        (lambda: breakdown.uniform_voltage_kv("wide"), "The gap is 'wide' mm"),
        (lambda: breakdown.reach_cm(0.3), "The voltage is 0.3 kV; allowed is 0.86 to 500 kV"),
        (lambda: breakdown.engine_voltage_kv(35, 8, 500), "The gap is 35 mm"),
        (lambda: breakdown.townsend_voltage_v(0.1), "Pressure times gap is 0.1 torr cm; .*any voltage"),
        (lambda: breakdown.townsend_minimum(gamma=0), "Gamma is 0; allowed is 1e-12 to 1e"),
        (lambda: breakdown.demand_factor(rounding=2), "The rounding is 2; allowed is 0 to 1"),
        (lambda: breakdown.demand_factor(air_ratio=14.7), "The air ratio is 14.7"),
        (lambda: breakdown.field_factor(0, 1), "The radius of the tip is 0 mm"),
        (lambda: breakdown.reserve_kv(20, -1), "The required voltage is -1 kV; allowed is 0 or more"),
    ],
)
def test_refusals_say_what_is_allowed(call, message):
    with pytest.raises(OutOfRange, match=message):
        call()
