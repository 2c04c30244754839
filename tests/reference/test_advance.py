"""Initial, centrifugal and vacuum advance: curves as a test sheet prints them, and what changes them."""

import numpy as np
import pytest
from fluids import P_critical_flow
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from grader.errors import OutOfRange
from grader.reference.timing import advance

WEIGHTS = ((400, 0), (800, 5), (1600, 11))  # distributor rev/min, distributor degrees
DIAPHRAGM = ((6, 0), (14, 8))  # inHg, distributor degrees


@pytest.mark.parametrize(
    ("distributor_rpm", "degrees"), [(0, 0), (400, 0), (600, 2.5), (800, 5), (1000, 6.5), (1600, 11), (3000, 11)]
)
def test_the_weights_follow_the_test_sheet(distributor_rpm, degrees):
    """Straight between the printed points, flat outside them: the weights rest on their stops."""
    assert advance.centrifugal_advance_deg(distributor_rpm, WEIGHTS) == pytest.approx(degrees)


@pytest.mark.parametrize(("vacuum", "degrees"), [(0, 0), (6, 0), (10, 4), (14, 8), (20, 8), (29.92, 8)])
def test_the_diaphragm_follows_the_test_sheet(vacuum, degrees):
    assert advance.vacuum_advance_deg(vacuum, DIAPHRAGM) == pytest.approx(degrees)


def test_advance_at_the_crankshaft_is_twice_that_of_the_distributor():
    """2000 at the crank is 1000 at the distributor: 6.5 there, 13 here; the diaphragm's 4 make 8; 10 initial."""
    assert advance.total_advance_deg(2000, 10, 10, WEIGHTS, DIAPHRAGM) == pytest.approx(10 + 13 + 8)
    assert advance.total_advance_deg(2000, 0, 10, WEIGHTS, DIAPHRAGM) == pytest.approx(23), "line off and plugged"
    assert advance.total_advance_deg(800, 0, -4, WEIGHTS, DIAPHRAGM) == -4, "late initial timing stays late"


@given(st.floats(0, 6000), st.floats(-20, 20))
def test_a_mark_set_at_a_fast_idle_is_late_by_what_the_weights_gave(rpm, mark):
    """Set right at that speed, the whole of it shows the mark again with the line off."""
    initial = advance.true_initial_deg(mark, rpm, WEIGHTS)
    assert initial <= mark
    if initial >= -30:
        assert advance.total_advance_deg(rpm, 0, initial, WEIGHTS, DIAPHRAGM) == pytest.approx(mark, abs=1e-9)


@pytest.mark.parametrize(
    "curve",
    [(), ((400, 0),), ((400, 0), (400, 5)), ((800, 5), (400, 0)), ((400, 5), (800, 4)), ((400, -1), (800, 4)),
     ((400, 0, 1), (800, 5, 1)), ((400, 0), (800, float("nan"))), 5],
)  # fmt: skip
def test_what_is_no_advance_curve(curve):
    with pytest.raises(OutOfRange, match="advance curve"):
        advance.centrifugal_advance_deg(900, curve)


def test_a_ported_line_has_no_vacuum_while_the_plate_covers_the_tap():
    assert advance.ported_vacuum_inhg(18, True) == 0 and advance.ported_vacuum_inhg(18, False) == 18
    assert advance.ported_vacuum_inhg(np.array([18.0, 12.0]), np.array([True, False])).tolist() == [0, 12]


@pytest.mark.parametrize("vacuum", [-0.1, 30, 60])
def test_no_vacuum_is_deeper_than_the_atmosphere(vacuum):
    """Who types kPa is told so."""
    with pytest.raises(OutOfRange, match="a gauge in kPa reads 3.386 times as much"):
        advance.vacuum_advance_deg(vacuum, DIAPHRAGM)


@given(st.floats(0, 20), st.floats(20, 31), st.floats(20, 31))
def test_another_barometer_moves_the_gauge_and_not_the_manifold(vacuum, here, there):
    shown = advance.vacuum_at_barometer_inhg(vacuum, here, there)
    assert there - shown == pytest.approx(here - vacuum)
    assert advance.vacuum_at_barometer_inhg(vacuum, here, here) == pytest.approx(vacuum)


def test_a_gauge_cannot_read_deeper_than_its_barometer():
    assert advance.vacuum_at_barometer_inhg(25, 25, 30) == 30, "all of the air is out: just possible"
    with pytest.raises(OutOfRange, match="deeper than the barometer"):
        advance.vacuum_at_barometer_inhg(25.1, 25, 30)


def test_a_weight_leaves_its_stop_where_its_pull_meets_the_spring():
    """m r w^2 worked backwards: 0.05 kg at 25 mm and 600 rev/min pull with 4.93 N."""
    pull = 0.05 * 0.025 * (600 * 2 * np.pi / 60) ** 2
    assert advance.centrifugal_start_rpm(pull, 0.05, 0.025) == pytest.approx(600)
    assert advance.centrifugal_start_rpm(4 * pull, 0.05, 0.025) == pytest.approx(1200), (
        "twice the speed, four times the pull"
    )
    assert advance.centrifugal_start_rpm(0, 0.05, 0.025) == 0


@pytest.mark.parametrize("barometer", [25.0, 29.921, 31.0])
def test_air_enters_at_the_speed_of_sound_above_the_critical_ratio(barometer):
    """The critical pressure of air by an independent library (fluids)."""
    assert advance.choked_vacuum_inhg(barometer) == pytest.approx(barometer - P_critical_flow(barometer, 1.4))


@pytest.mark.parametrize(("start", "rate"), [(20.0, 0.5), (12.0, 0.1), (8.0, 1.0)])
def test_a_leaking_diaphragm_against_the_flow_law_solved_in_steps(start, rate):
    """The law of the nozzle, solved numerically, against the closed form; choked it falls in a straight line."""
    barometer = advance.STANDARD_ATMOSPHERE_INHG
    limit = advance.choked_vacuum_inhg(barometer)

    def flow(ratio):
        return ratio ** (5 / 7) * np.sqrt(max(0.0, 1 - ratio ** (2 / 7)))

    def fall(_, vacuum):
        ratio = max(1 - vacuum[0] / barometer, advance.CRITICAL_RATIO_AIR)  # below it no more air goes in
        return [-rate * flow(ratio) / flow(advance.CRITICAL_RATIO_AIR)]

    times = np.linspace(0, 0.9 * start / rate, 25)
    solved = solve_ivp(fall, (0, times[-1]), [start], t_eval=times, rtol=1e-9, atol=1e-9, max_step=times[1])
    found = advance.leaking_vacuum_inhg(times, start, rate)
    assert found == pytest.approx(solved.y[0], abs=2e-5)
    choked = start - rate * times > limit
    assert found[choked] == pytest.approx(start - rate * times[choked])
    assert (np.diff(found) < 0).all() and advance.leaking_vacuum_inhg(1e6, start, rate) == pytest.approx(0, abs=1e-9)


def test_a_diaphragm_that_holds_keeps_its_vacuum():
    assert advance.leaking_vacuum_inhg(60, 15, 0) == 15
    assert advance.leaking_vacuum_inhg(np.array([0.0, 60.0]), 15, 0).tolist() == [15, 15]
    with pytest.raises(OutOfRange):
        advance.leaking_vacuum_inhg(1, 31, 0.1)
