"""Compression up to the spark and the ideal limit."""

import fluids
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grader.errors import OutOfRange
from grader.reference.timing import combustion

SEEDED = settings(max_examples=60)
advances = st.floats(-10, 80)
ratios = st.floats(6, 12)


@SEEDED
@given(advances, ratios, st.floats(1.0, 1.4))
def test_the_gas_law_holds_through_compression(advance, ratio, exponent):
    pressure = combustion.pressure_at_spark_kpa(advance, 95.0, ratio, exponent)
    temperature = combustion.temperature_at_spark_k(advance, 340.0, ratio, exponent)
    volume = combustion.compression_volume_ratio(advance, ratio)
    assert pressure / 95.0 == pytest.approx(volume * temperature / 340.0)


@SEEDED
@given(st.floats(0.5, 80), ratios)
def test_an_earlier_spark_meets_less_pressure(advance, ratio):
    assert combustion.pressure_at_spark_kpa(advance, compression_ratio=ratio) < combustion.pressure_at_spark_kpa(
        advance - 0.5, compression_ratio=ratio
    )


@SEEDED
@given(ratios)
def test_from_bottom_to_top_the_volume_ratio_is_the_compression_ratio(ratio):
    assert combustion.compression_volume_ratio(0.0, ratio, closing_deg=180.0) == pytest.approx(ratio)


def test_before_and_after_top_are_alike():
    assert combustion.pressure_at_spark_kpa(-20.0) == pytest.approx(combustion.pressure_at_spark_kpa(20.0))


def test_nothing_is_compressed_when_the_valve_has_just_closed():
    assert combustion.pressure_at_spark_kpa(120.0) == pytest.approx(95.0)
    assert combustion.temperature_at_spark_k(120.0) == pytest.approx(340.0)


@SEEDED
@given(advances, st.floats(1.05, 1.4))
def test_temperature_is_the_library_s_for_the_same_pressures(advance, exponent):
    pressure = combustion.pressure_at_spark_kpa(advance, exponent=exponent)
    library = fluids.isentropic_T_rise_compression(340.0, 95e3, 1e3 * pressure, exponent)
    assert combustion.temperature_at_spark_k(advance, exponent=exponent) == pytest.approx(library)


def test_an_isothermal_charge_stays_cool():
    assert combustion.temperature_at_spark_k(0.0, exponent=1.0) == pytest.approx(340.0)


@SEEDED
@given(ratios)
def test_more_compression_is_more_efficient(ratio):
    assert 0 < combustion.otto_efficiency(ratio) < combustion.otto_efficiency(ratio + 0.1) < 1


def test_no_compression_gives_no_work():
    assert combustion.otto_efficiency(1.0) == 0.0


def test_the_loss_rule_is_even_and_quadratic():
    error = np.array([-10.0, -5.0, 0.0, 5.0, 10.0])
    assert combustion.torque_loss_rule_percent(error) == pytest.approx([2.6, 0.65, 0.0, 0.65, 2.6])


def test_degrees_of_burn_grow_slower_than_speed():
    speed = np.array([500.0, 2000.0, 8000.0])
    assert combustion.burn_duration_deg(speed) == pytest.approx([50 / 1.6, 50.0, 80.0])


def test_scalars_are_floats_and_arrays_broadcast():
    assert type(combustion.pressure_at_spark_kpa(20)) is float
    assert type(combustion.temperature_at_spark_k(20)) is float
    assert type(combustion.otto_efficiency(8)) is float
    assert type(combustion.torque_loss_rule_percent(5)) is float
    assert type(combustion.burn_duration_deg(1000)) is float
    table = combustion.pressure_at_spark_kpa(np.array([[0.0], [30.0]]), np.array([50.0, 70.0, 95.0]))
    assert table.shape == (2, 3)
    assert table[1, 2] == pytest.approx(combustion.pressure_at_spark_kpa(30.0))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: combustion.pressure_at_spark_kpa(130), "The spark is 130 crank degrees before top"),
        (lambda: combustion.pressure_at_spark_kpa(20, closing_kpa=0), "pressure at closing is 0 kPa"),
        (lambda: combustion.pressure_at_spark_kpa(20, exponent=1.6), "1.30 is usual"),
        (lambda: combustion.temperature_at_spark_k(20, closing_k=20), "temperature at closing is 20 K"),
        (lambda: combustion.otto_efficiency(0.5), "compression ratio is 0.5; allowed is 1 to 30"),
        (lambda: combustion.torque_loss_rule_percent(20), "Compute the cycle instead"),
        (lambda: combustion.burn_duration_deg(0), "Engine speed is 0 rev/min"),
    ],
)
def test_refusals_say_what_to_do(call, words):
    with pytest.raises(OutOfRange, match=words):
        call()
