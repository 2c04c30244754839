"""The two-loop waveform against stepwise integration, closed forms and energy."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from grader.errors import OutOfRange
from grader.reference.spark import coil, waveform

SEEDED = settings(max_examples=30)
TEACHING = waveform.TEACHING_CIRCUIT
LOSSLESS = replace(TEACHING, supply_v=0, primary_ohm=0, coupling=0.99999, secondary_kohm=1e-6, shunt_mohm=1e9)


def rates(circuit, held=None):
    """Both loops as the textbook writes them; `held` is the plug's burning voltage."""
    first = 1e-3 * circuit.inductance_mh
    second = circuit.turns_ratio**2 * first
    mutual = circuit.coupling * np.sqrt(first * second)

    def slope(t, state):
        i1, v1, i2, v2 = state
        plug = v2 if held is None else held
        left = np.array([[first, mutual], [mutual, second]])
        right = [circuit.supply_v - circuit.primary_ohm * i1 - v1, -1e3 * circuit.secondary_kohm * i2 - plug]
        di1, di2 = np.linalg.solve(left, right)
        dv2 = (i2 - v2 / (1e6 * circuit.shunt_mohm)) / (1e-12 * circuit.load_pf) if held is None else 0.0
        return [di1, i1 / (1e-6 * circuit.condenser_uf), di2, dv2]

    return slope


@pytest.mark.parametrize("circuit", [TEACHING, replace(TEACHING, shunt_mohm=0.5), replace(TEACHING, coupling=0.9)])
def test_a_dark_plug_agrees_with_stepping(circuit):
    found = waveform.solve(4.0, 1.0, circuit=circuit)
    solved = solve_ivp(
        rates(circuit), (0, 1e-3), [4.0 * np.sqrt(0.4), 0, 0, 0], method="LSODA", rtol=1e-9, atol=1e-9,
        t_eval=1e-3 * found.time_ms,
    )  # fmt: skip
    for curve, expected in zip((found.primary_a, found.points_v, found.secondary_ma / 1e3, found.plug_kv * 1e3),
                               solved.y, strict=True):  # fmt: skip
        assert curve == pytest.approx(expected, abs=1e-5 * np.abs(expected).max())


def test_a_firing_plug_agrees_with_stepping():
    """Rise, spark and fading, each stage stepped on from the last."""
    found = waveform.solve(4.0, 3.0, breakdown_kv=12.0)

    def jumps(t, state):
        return state[3] - 12e3

    jumps.terminal = True
    rise = solve_ivp(
        rates(TEACHING), (0, 1e-3), [4.0 * np.sqrt(0.4), 0, 0, 0], "LSODA", events=jumps, rtol=1e-10, atol=1e-10
    )
    assert found.breakdown_ms == pytest.approx(1e3 * rise.t[-1], rel=1e-5)
    start = [*rise.y[:3, -1], 1.5e3]
    span = 1e-3 * found.spark_ms
    burn = solve_ivp(rates(TEACHING, 1.5e3), (0, span), start, "LSODA", rtol=1e-10, atol=1e-10, dense_output=True)
    during = (found.time_ms > found.breakdown_ms) & (found.time_ms < found.breakdown_ms + found.spark_ms)
    since = 1e-3 * (found.time_ms[during] - found.breakdown_ms)
    assert found.secondary_ma[during] == pytest.approx(1e3 * burn.sol(since)[2], abs=0.01)
    after = found.time_ms > found.breakdown_ms + found.spark_ms
    fading = solve_ivp(
        rates(TEACHING), (0, 3e-3), burn.y[:, -1], "LSODA", rtol=1e-10, atol=1e-10, dense_output=True
    )  # fmt: skip
    since = 1e-3 * (found.time_ms[after] - found.breakdown_ms) - span
    assert found.plug_kv[after] == pytest.approx(1e-3 * fading.sol(since)[3], abs=0.01)


@SEEDED
@given(st.floats(0.5, 6))
def test_without_losses_the_peak_is_the_energy_balance(current):
    peak = waveform.solve(current, 0.3, circuit=LOSSLESS).peak_kv
    assert peak == pytest.approx(coil.available_voltage_kv(current, 1e6), rel=3e-3)


def test_without_losses_energy_stays():
    circuit = replace(LOSSLESS, coupling=0.97)
    found = waveform.solve(4.0, 2.0, circuit=circuit)
    first, second = 7.5e-3, 75.0
    mutual = 0.97 * np.sqrt(first * second)
    i1, i2 = found.primary_a, found.secondary_ma / 1e3
    energy = 0.5 * (first * i1**2 + second * i2**2) + mutual * i1 * i2
    energy += 0.5 * (0.22e-6 * found.points_v**2 + 60e-12 * (1e3 * found.plug_kv) ** 2)
    assert energy == pytest.approx(0.5 * first * 4.0**2 * 0.4, rel=1e-4)


def test_modes_are_the_eigenvalues_of_the_open_circuit():
    matrix, _ = waveform._rates(replace(LOSSLESS, coupling=0.97))
    rings = np.unique(np.abs(np.linalg.eigvals(matrix).imag).round(3)) / (2 * np.pi)
    assert waveform.slow_mode_hz(coupling=0.97) == pytest.approx(rings[0], rel=1e-5)
    assert waveform.fast_mode_hz(coupling=0.97) == pytest.approx(rings[-1], rel=1e-5)


def test_loose_coils_ring_each_for_itself():
    alone = 1 / (2 * np.pi * np.sqrt(7.5e-3 * 0.22e-6)), 1 / (2 * np.pi * np.sqrt(75.0 * 60e-12))
    assert waveform.slow_mode_hz(coupling=0.0) == pytest.approx(min(alone))
    assert waveform.fast_mode_hz(coupling=0.0) == pytest.approx(max(alone))


@SEEDED
@given(st.floats(5, 20), st.floats(3, 5))
def test_a_plug_that_asks_more_burns_shorter(breakdown, current):
    easy = waveform.solve(current, 5.0, breakdown_kv=breakdown)
    hard = waveform.solve(current + 0.5, 5.0, breakdown_kv=breakdown)
    if easy.breakdown_ms is None:
        assert easy.peak_kv < breakdown
        return
    assert easy.peak_kv == pytest.approx(breakdown)
    assert hard.spark_ms > easy.spark_ms
    higher_gas = waveform.solve(current, 5.0, breakdown_kv=breakdown, burning_kv=2.5)
    assert higher_gas.spark_ms < easy.spark_ms


def test_a_plug_that_asks_too_much_stays_dark():
    found = waveform.solve(2.0, 3.0, breakdown_kv=30.0)
    assert found.breakdown_ms is None
    assert found.spark_ms is None
    assert found.plug_kv == pytest.approx(waveform.solve(2.0, 3.0).plug_kv)


def test_a_spark_cut_off_by_the_picture_ends_with_it():
    found = waveform.solve(5.0, 0.4, breakdown_kv=8.0)
    assert found.breakdown_ms + found.spark_ms == pytest.approx(0.4)


def test_spark_time_is_near_the_straight_line():
    found = waveform.solve(4.25, 5.0, breakdown_kv=8.0)
    straight = coil.spark_duration_ms(1e3 * 4.25 * np.sqrt(0.4) / 100, 1.5)
    assert found.spark_ms == pytest.approx(straight, rel=0.25)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: waveform.solve(-1), "primary current is -1 A"),
        (lambda: waveform.solve(4, 100), "length of the picture is 100 ms"),
        (lambda: waveform.solve(4, breakdown_kv=1.0), "must be above the burning voltage of 1.5 kV"),
        (lambda: waveform.solve(4, breakdown_kv=np.nan), "breakdown voltage is nan"),
        (lambda: waveform.Circuit(coupling=1.0), "coupling is 1; allowed is 0 to 0.99999"),
        (lambda: waveform.Circuit(condenser_uf=0), "condenser is 0 uF"),
        (lambda: waveform.fast_mode_hz(coupling=1.0), "coupling is 1"),
        (lambda: waveform.slow_mode_hz(load_pf=0), "secondary load is 0 pF"),
        (lambda: waveform.breakdown_energy_mj(-1), "breakdown voltage is -1 kV"),
    ],
)
def test_refusals_say_what_is_allowed(call, words):
    with pytest.raises(OutOfRange, match=words):
        call()


def test_scalars_are_floats():
    assert type(waveform.slow_mode_hz()) is float
    assert type(waveform.fast_mode_hz()) is float
    assert type(waveform.breakdown_energy_mj(15)) is float
    found = waveform.solve(4.0, breakdown_kv=12.0)
    assert {type(found.peak_kv), type(found.breakdown_ms), type(found.spark_ms)} == {float}
