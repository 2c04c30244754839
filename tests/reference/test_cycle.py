"""The single-zone cycle: exact limits, an independent integration, best timing."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import minimize_scalar

from grader.errors import OutOfRange
from grader.reference.angles import piston_fall_fraction
from grader.reference.timing import cycle

SEEDED = settings(max_examples=40)
NO_LOSS = cycle.Cylinder(wall_factor=0)


def stepwise(start, speed, cylinder):
    """Pressure [Pa] and work [J] by stepping dp/dtheta, written from the textbook equation."""
    piston = np.pi / 4 * (cylinder.bore_mm / 1e3) ** 2
    swept = piston * cylinder.stroke_mm / 1e3
    gamma, p1 = cylinder.ratio_of_heats, cylinder.charge_kpa * 1e3

    def volume(angle):
        return swept * (1 / (cylinder.compression_ratio - 1) + piston_fall_fraction(angle, cylinder.rod_ratio))

    v1 = volume(180.0)
    mass = p1 * v1 / (287.0 * cylinder.charge_k)
    heat = 1e3 * cylinder.heat_kj_per_kg * mass
    piston_speed = 2 * cylinder.stroke_mm / 1e3 * speed / 60

    def rates(angle, state):
        pressure, here = state[0], volume(angle)
        slope = (volume(angle + 1e-3) - volume(angle - 1e-3)) / 2e-3
        share = max(0.0, (angle - start) / cylinder.burn_deg)
        burn = heat * 15 * share**2 / cylinder.burn_deg * np.exp(-5 * share**3)
        temperature = pressure * here / (mass * 287.0)
        coefficient = 130 * here**-0.06 * (pressure / 1e5) ** 0.8 * temperature**-0.4 * (piston_speed + 1.4) ** 0.8
        area = 2 * piston + np.pi * cylinder.bore_mm / 1e3 * here / piston
        wall = cylinder.wall_factor * coefficient * area * (temperature - cylinder.wall_k) / (6 * speed)
        return [(gamma - 1) / here * (burn - wall) - gamma * pressure / here * slope, pressure * slope]

    solved = solve_ivp(rates, (-180, 180), [p1, 0.0], rtol=1e-8, atol=1e-4, max_step=2.0, dense_output=True)
    return solved.sol, solved.y[1, -1]


@pytest.mark.parametrize(
    ("start", "speed", "fields"),
    [
        (-20.0, 2000.0, {}),
        (-35.0, 800.0, {"charge_kpa": 45.0, "burn_deg": 60.0}),
        (5.0, 4000.0, {"wall_factor": 1.5, "compression_ratio": 10.0}),
        (-26.0, 2000.0, {"wall_factor": 0}),
    ],
)
def test_running_sums_agree_with_stepping(start, speed, fields):
    cylinder = cycle.Cylinder(**fields)
    found = cycle.solve(start, speed, cylinder)
    curve, work = stepwise(start, speed, cylinder)
    grid = found.angle_deg[::40]
    assert found.pressure_kpa[::40] * 1e3 == pytest.approx(curve(grid)[0], rel=5e-4)
    assert found.work_j == pytest.approx(work, rel=3e-4)


@SEEDED
@given(st.floats(4, 14), st.floats(1.2, 1.5))
def test_a_sudden_burn_at_top_reaches_the_otto_limit(ratio, gamma):
    cylinder = cycle.Cylinder(compression_ratio=ratio, ratio_of_heats=gamma, wall_factor=0, burn_deg=0.1)
    assert cycle.solve(-0.05, 2000.0, cylinder).efficiency == pytest.approx(1 - ratio ** (1 - gamma), abs=1e-6)


@SEEDED
@given(st.floats(-60, 20), st.floats(400, 5000))
def test_no_burn_beats_the_otto_limit_and_the_balance_closes(start, speed):
    found = cycle.solve(start, speed)
    assert found.efficiency < 1 - 8.5**-0.3
    stroke_work = np.trapezoid(found.pressure_kpa, volume_litres(found.angle_deg))
    assert found.work_j == pytest.approx(stroke_work, rel=1e-3, abs=0.1)
    assert (found.pressure_kpa > 0).all()


def volume_litres(angle):
    swept = np.pi / 4 * 0.9**2 * 0.85
    return swept * (1 / 7.5 + piston_fall_fraction(angle, 3.5))


@SEEDED
@given(st.floats(0.0, 0.999))
def test_burn_and_its_inverse(burned):
    fraction = cycle.burn_angle_fraction(burned)
    assert cycle.burned_share(fraction * 50 - 20, -20.0, 50.0) == pytest.approx(burned, abs=1e-12)


def test_the_burn_only_grows_and_ends_at_one():
    share = cycle.burned_share(np.linspace(-180, 180, 721), -20.0, 50.0)
    assert (np.diff(share) >= 0).all()
    assert share[0] == 0.0
    assert share[-1] == pytest.approx(1.0, abs=1e-12)


def test_most_rapid_burning_is_at_0_511_of_the_duration():
    rate = np.gradient(cycle.burned_share(np.linspace(0, 1, 100001), 0.0, 1.0))
    assert np.argmax(rate) / 1e5 == pytest.approx(0.5109, abs=1e-4)


@pytest.mark.parametrize("cylinder", [cycle.Cylinder(), NO_LOSS, cycle.Cylinder(burn_deg=70, charge_kpa=40)])
def test_best_start_is_a_true_maximum(cylinder):
    searched = minimize_scalar(
        lambda start: -cycle.solve(start, 2000.0, cylinder).work_j, bounds=(-80, 20), method="bounded",
        options={"xatol": 1e-4},
    )  # fmt: skip
    assert cycle.best_burn_start_deg(2000.0, cylinder) == pytest.approx(searched.x, abs=0.05)


def test_wall_loss_delays_the_best_burn():
    half = [
        cycle.solve(cycle.best_burn_start_deg(2000.0, c), 2000.0, c).half_burned_deg
        for c in (NO_LOSS, cycle.Cylinder(), cycle.Cylinder(wall_factor=1.5))
    ]
    assert half[0] == pytest.approx(0.0, abs=0.5)
    assert half[0] < half[1] < half[2]


def test_a_longer_burn_must_start_earlier():
    starts = [cycle.best_burn_start_deg(2000.0, cycle.Cylinder(burn_deg=d)) for d in (40, 50, 60, 70)]
    assert (np.diff(starts) < 0).all()


def test_best_spark_lies_where_engines_have_it():
    timing = cycle.best_spark_deg(2000.0, np.array([5.0, 10.0, 15.0]))
    assert 25 < timing[0] < timing[1] < timing[2] < 36


def test_torque_falls_as_the_square_of_the_error_both_ways():
    loss = cycle.torque_loss_percent(np.array([-10.0, -5.0, 0.0, 5.0, 10.0]))
    assert loss[2] == pytest.approx(0.0, abs=1e-3)
    assert loss[[0, 1, 3, 4]] == pytest.approx([2.6, 0.65, 0.65, 2.6], rel=0.2)
    assert cycle.torque_loss_percent(-20.0) > cycle.torque_loss_percent(-15.0) > loss[0]


@SEEDED
@given(st.floats(-60, 10), st.floats(300, 6000), st.floats(0, 3))
def test_earlier_burns_peak_higher(start, speed, wall):
    cylinder = cycle.Cylinder(wall_factor=wall)
    assert cycle.solve(start - 1.0, speed, cylinder).peak_kpa > cycle.solve(start, speed, cylinder).peak_kpa - 1e-6


def test_scalars_are_floats_and_arrays_equal_them():
    one = cycle.solve(-20.0, 1500.0)
    assert all(type(getattr(one, name)) is float for name in ("work_j", "peak_kpa", "peak_deg", "efficiency"))
    assert type(cycle.best_burn_start_deg()) is float
    many = cycle.solve(np.array([[-20.0], [-10.0]]), np.array([1000.0, 1500.0, 3000.0]))
    assert many.pressure_kpa.shape == (2, 3, many.angle_deg.size)
    assert many.work_j[0, 1] == pytest.approx(one.work_j, rel=1e-7)
    speeds = np.array([1000.0, 2000.0])
    assert cycle.best_burn_start_deg(speeds) == pytest.approx([cycle.best_burn_start_deg(n) for n in speeds], abs=1e-3)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: cycle.solve(-150), "start of burn is -150 crank degrees; allowed is -120 to 90"),
        (lambda: cycle.solve(-20, 0), "Engine speed is 0 rev/min"),
        (lambda: cycle.solve(np.nan), "start of burn is nan"),
        (lambda: cycle.Cylinder(compression_ratio=1), "compression ratio is 1; allowed is 2 to 25"),
        (lambda: cycle.Cylinder(charge_kpa=0.9), "charge pressure is 0.9 kPa absolute"),
        (lambda: cycle.burn_angle_fraction(1.0), "burns for ever"),
        (lambda: cycle.burned_share(0, 0, 0), "burn duration is 0"),
        (lambda: cycle.best_spark_deg(2000, 60), "flame development is 60"),
        (lambda: cycle.torque_loss_percent(60), "timing error is 60"),
    ],
)
def test_refusals_say_what_is_allowed(call, words):
    with pytest.raises(OutOfRange, match=words):
        call()
