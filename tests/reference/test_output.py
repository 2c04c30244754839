"""Mean pressures and torque: nothing from nothing, and what holds the engine back."""

import numpy as np
import pytest

from grader.errors import OutOfRange
from grader.reference.timing import cycle, output


def test_without_fire_or_charge_nothing_pushes():
    assert output.indicated_bar(1.0, fires=0.0) == 0.0
    assert output.indicated_bar(0.0) == 0.0


def test_each_loss_takes_its_share():
    whole = output.indicated_bar(1.0)
    assert whole == pytest.approx(10 * 0.29 * 3.01)
    assert output.indicated_bar(1.0, mixture_share=0.9, timing_loss=0.1, fires=0.5) == pytest.approx(
        whole * 0.9 * 0.9 * 0.5
    )
    assert output.indicated_bar(1.0, leak=0.5) == pytest.approx(whole * 0.4)
    assert output.indicated_bar(1.0, leak=1.0) == 0.0


def test_a_charge_lit_early_works_against_the_piston_about_as_the_cycle_says():
    """Full charge lit 115 degrees before top: the single-zone cycle gives about nothing or less."""
    early = output.indicated_bar(0.9, early=1.0)
    at_best = cycle.solve(cycle.best_burn_start_deg()).work_j
    share = cycle.solve(np.array([-120.0, -110.0])).work_j / at_best
    assert early == -1.0
    assert share[0] < early / output.indicated_bar(0.9) + 0.05 and share[0] < share[1] < 0.1


def test_cold_oil_rubs_more_and_speed_costs_more_the_faster():
    slow, middle, fast = output.friction_bar(np.array([0.0, 2000.0, 4000.0]))
    assert slow == 1.12 and fast - middle > middle - slow
    assert output.friction_bar(1000.0, cold=True) == pytest.approx(1.4 * output.friction_bar(1000.0))


def test_power_is_the_work_of_each_turn():
    """Torque times angle of two turns is mean pressure times displacement, in joules."""
    torque = output.torque_nm(8.0, 2.0)
    assert torque * 4 * np.pi == pytest.approx(8e5 * 2e-3)
    assert output.brake_bar(8.0, 1.5, 101.3, 51.3) == pytest.approx(6.0)


def test_thin_charge_burns_long_and_the_flame_takes_time_to_show():
    full, light, lightest = output.burn_at_load_deg(np.array([95.0, 40.0, 15.0]))
    assert full == 50.0 < light < lightest == 120.0
    assert output.development_deg(50.0) == 10.0 and output.development_deg(120.0) == 20.0


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: output.indicated_bar(-1.0), "charge"),
        (lambda: output.indicated_bar(1.0, fires=1.2), "fires"),
        (lambda: output.friction_bar(-1.0), "speed"),
        (lambda: output.brake_bar(1.0, 1.0, 0.0, 50.0), "exhaust"),
        (lambda: output.torque_nm(1.0, 0.0), "displacement"),
        (lambda: output.burn_at_load_deg(0.0), "manifold"),
        (lambda: output.development_deg(0.0), "burn"),
    ],
)
def test_refuses(call, says):
    with pytest.raises(OutOfRange, match=says):
        call()
