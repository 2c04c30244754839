"""Coil current, energy, voltage and what takes from it."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from grader.errors import OutOfRange
from grader.reference.spark import coil

SEEDED = settings(max_examples=60)
speeds = st.floats(100, 7000)


@SEEDED
@given(st.floats(0.05, 40), st.floats(4, 16), st.floats(0.5, 8), st.floats(1, 20))
def test_current_is_that_of_the_differential_equation(time, supply, resistance, inductance):
    solved = solve_ivp(
        lambda t, i: (supply - resistance * i) / (inductance * 1e-3), (0, time * 1e-3), [0.0], rtol=1e-9, atol=1e-12
    )
    assert coil.current_after_a(time, supply, resistance, inductance) == pytest.approx(solved.y[0, -1], rel=1e-6)


@SEEDED
@given(speeds, st.floats(10, 55))
def test_current_falls_with_speed_and_rises_with_dwell(speed, dwell):
    here = coil.current_at_opening_a(dwell, speed)
    assert 0 < here <= 13.8 / 3.2
    assert coil.current_at_opening_a(dwell, speed + 50) <= here <= coil.current_at_opening_a(dwell + 1, speed)


def test_the_ends_of_the_current():
    assert coil.current_after_a(0.0) == 0.0
    assert coil.current_after_a(1e3) == pytest.approx(13.8 / 3.2)
    early = coil.current_after_a(1e-3)
    assert early == pytest.approx(13.8 / 7.5 * 1e-3, rel=1e-3), "at first V t / L"


def test_a_bad_contact_hurts_low_speed_most():
    loss = [
        1 - coil.current_at_opening_a(30, n, resistance_ohm=3.7) / coil.current_at_opening_a(30, n) for n in (600, 4000)
    ]
    assert loss[0] > 1.5 * loss[1]


def test_ballast_bypassed_while_cranking_doubles_the_current():
    dwell, speed, battery = 30, 150, 9.5
    left_in = coil.current_at_opening_a(dwell, speed, battery, coil.primary_resistance_ohm())
    bypassed = coil.current_at_opening_a(dwell, speed, battery, coil.primary_resistance_ohm(bypassed=True))
    assert bypassed / left_in == pytest.approx(2.0, rel=1e-3)


@SEEDED
@given(st.floats(0.5, 6), st.floats(30, 200), st.floats(0.2, 1.0), st.floats(50, 150))
def test_voltage_balances_the_kept_energy(current, load, condenser, turns):
    """At high speed and with a sound condenser no arc takes part."""
    volts = 1e3 * coil.available_voltage_kv(current, 1e5, 7.5, condenser, load, turns)
    held = 0.5 * (load * 1e-12 * volts**2 + condenser * 1e-6 * (volts / turns) ** 2)
    assert held == pytest.approx(coil.KEPT_SHARE * 1e-3 * coil.stored_energy_mj(current), rel=1e-4)


def test_output_sags_at_cranking_peaks_and_falls():
    speed = np.arange(100.0, 6001.0, 50.0)
    output = coil.available_voltage_kv(coil.current_at_opening_a(30, speed), speed)
    assert 800 <= speed[np.argmax(output)] <= 1500
    assert output[0] < 0.7 * output.max()
    assert output[-1] < 0.6 * output.max()


def test_the_best_condenser_is_the_usual_one():
    size = np.linspace(0.0, 1.0, 201)
    output = coil.available_voltage_kv(4.25, 1000.0, condenser_uf=size)
    assert 0.13 < size[np.argmax(output)] < 0.25
    assert output[0] < 7.0
    assert output[-1] < output.max()
    assert (np.diff(output[size <= 0.14])[6:] > 0).all()


@SEEDED
@given(st.floats(0.02, 100))
def test_a_shunt_takes_more_the_lower_it_is(shunt):
    here = coil.shunt_factor(shunt)
    assert 0 < here < 1
    assert coil.shunt_factor(1.05 * shunt) > here


@pytest.mark.parametrize("shunt", [5.0, 1.0, 0.4782, 0.2, 0.05])
def test_shunt_factor_is_the_first_peak_of_the_parallel_circuit(shunt):
    """The differential equation, on both sides of critical damping and near it."""
    inductance, capacity, resistance = 75.0, 82e-12, 1e6 * shunt

    def rates(t, state):
        current, volts = state
        return [-volts / inductance, (current - volts / resistance) / capacity]

    peaks = []
    for last in (resistance, 1e15):
        resistance = last
        solved = solve_ivp(rates, (0, 4e-4), [0.04, 0.0], rtol=1e-9, atol=1e-9, max_step=2e-7)
        peaks.append(solved.y[1].max())
    assert coil.shunt_factor(shunt) == pytest.approx(peaks[0] / peaks[1], rel=1e-4)


def test_critical_damping_gives_one_over_e():
    impedance = 100 * np.sqrt(7.5e-3 / 82e-12)
    assert coil.shunt_factor(impedance / 2e6) == pytest.approx(np.exp(-1), rel=1e-6)


@SEEDED
@given(speeds, st.floats(0, 2))
def test_arcs_take_most_from_slow_points(speed, ratio):
    kept = coil.arc_kept_share(speed, ratio)
    assert 1 - coil.ARC_LOSS <= kept <= 1
    assert coil.arc_kept_share(speed + 10, ratio) >= kept
    assert coil.arc_kept_share(speed, ratio + 0.1) >= kept


def test_energy_of_a_spark_leaves_the_coil():
    time = coil.spark_duration_ms(35.0, 1.5, 75.0)
    assert 0.5 * 35.0 * 1.5 * time == pytest.approx(1e3 * 0.5 * 75.0 * 0.035**2)


def test_scalars_are_floats_and_arrays_broadcast():
    assert type(coil.current_at_opening_a(30, 1000)) is float
    assert type(coil.available_voltage_kv(4, 1000)) is float
    assert type(coil.shunt_factor(1)) is float
    assert type(coil.arc_kept_share(1000)) is float
    assert type(coil.condenser_kept_share(0.22)) is float
    assert type(coil.primary_resistance_ohm()) is float
    table = coil.current_at_opening_a(np.array([[30.0], [50.0]]), np.array([500.0, 1000.0, 4000.0]))
    assert table.shape == (2, 3)
    assert table[0, 1] == coil.current_at_opening_a(30.0, 1000.0)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: coil.closed_time_ms(30, 0), "At rest they may stay closed"),
        (lambda: coil.closed_time_ms(-1, 1000), "dwell is -1 distributor degrees"),
        (lambda: coil.current_after_a(5, resistance_ohm=0), "primary resistance is 0 ohm"),
        (lambda: coil.current_after_a(5, supply_v=-12), "supply is -12 V"),
        (lambda: coil.stored_energy_mj(np.inf), "primary current is inf A"),
        (lambda: coil.break_voltage_v(3, 6, 0), "time of the break is 0 us"),
        (lambda: coil.available_voltage_kv(4, 1000, condenser_uf=220), "0.18 to 0.25 uF is usual"),
        (lambda: coil.shunt_factor(0), "A dead short gives no voltage at all"),
        (lambda: coil.primary_resistance_ohm(contact_ohm=-0.1), "contact resistance is -0.1 ohm"),
        (lambda: coil.spark_duration_ms(35, 0), "burning voltage is 0 kV"),
    ],
)
def test_refusals_say_what_to_do(call, words):
    with pytest.raises(OutOfRange, match=words):
        call()
