"""Nose temperature: limits, directions, two solvers against each other, refusals."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_bvp

from grader.errors import OutOfRange
from grader.reference.spark import plug

NOSES = st.floats(1.0, 30.0)
TRANSFERS = st.floats(50.0, 800.0)
GASES = st.floats(600.0, 1100.0)
ROOTS = st.floats(80.0, 300.0)
CORES = st.floats(0.0, 100.0)


def boundary_value_tip(nose_mm, transfer, gas, root, core, share=plug.INSULATOR_SHARE):
    """The same fin by scipy's collocation solver: unknowns T and the heat flow."""
    sleeve = np.pi / 4e6 * (plug.OUTER_MM**2 - plug.BORE_MM**2)
    filled = np.pi / 4e6 * plug.BORE_MM**2 * core
    perimeter = np.pi * plug.OUTER_MM / 1000.0

    def slope(_, y):
        return np.vstack(
            (y[1] / (plug.alumina_conductivity(y[0], share) * sleeve + filled), transfer * perimeter * (y[0] - gas))
        )

    def ends(at_root, at_tip):
        return np.array((at_root[0] - root, at_tip[1] + transfer * sleeve * (at_tip[0] - gas)))

    x = np.linspace(0.0, nose_mm / 1000.0, 101)
    start = np.vstack((np.linspace(root, (root + gas) / 2, x.size), np.zeros_like(x)))
    solved = solve_bvp(slope, ends, x, start, tol=1e-6, max_nodes=20000)
    assert solved.success, solved.message
    return solved.y[0, -1]


@pytest.mark.parametrize("core", [0.0, 60.0])
@pytest.mark.parametrize("duty", [(150, 726.85, 146.85), (250, 876.85, 166.85), (400, 976.85, 196.85)])
@pytest.mark.parametrize("nose", [6, 14, 18])
def test_two_solvers_agree(nose, duty, core):
    assert plug.nose_temperature_c(nose, *duty, core) == pytest.approx(boundary_value_tip(nose, *duty, core), abs=0.02)


@settings(max_examples=40)
@given(NOSES, TRANSFERS, GASES, ROOTS, CORES)
def test_hotter_with_length_gas_and_heat_transfer(nose, transfer, gas, root, core):
    here = plug.nose_temperature_c(nose, transfer, gas, root, core)
    assert root < here < gas
    assert plug.nose_temperature_c(1.05 * nose, transfer, gas, root, core) > here
    assert plug.nose_temperature_c(nose, 1.05 * transfer, gas, root, core) > here
    assert plug.nose_temperature_c(nose, transfer, gas + 10, root, core) > here
    assert plug.nose_temperature_c(nose, transfer, gas, root + 10, core) > here
    assert plug.nose_temperature_c(nose, transfer, gas, root, core + 5) < here


@settings(max_examples=40)
@given(NOSES, TRANSFERS, GASES, ROOTS, CORES)
def test_profile_rises_from_root_to_tip(nose, transfer, gas, root, core):
    profile = plug.nose_profile_c(nose, transfer, gas, root, core)
    assert profile.shape == (plug.CELLS + 1,)
    assert profile[0] == root
    assert (np.diff(profile) > 0).all()
    assert profile[-1] == plug.nose_temperature_c(nose, transfer, gas, root, core)


@settings(max_examples=30)
@given(NOSES, TRANSFERS, GASES, ROOTS, CORES)
def test_between_two_constant_conductivities(nose, transfer, gas, root, core):
    """Conductivity that varies gives a tip between those of its extremes."""
    shape = (plug.OUTER_MM, plug.BORE_MM, core, "convecting")
    low, high = (plug.alumina_conductivity(t) for t in (gas, root))
    hottest, coolest = (plug.fin_tip_c(nose, transfer, gas, root, k, *shape) for k in (low, high))
    assert coolest - 0.05 <= plug.nose_temperature_c(nose, transfer, gas, root, core) <= hottest + 0.05


def test_equals_the_closed_form_where_conductivity_is_flat(monkeypatch):
    """With one conductivity the solver must fall back on cosh and sinh."""
    monkeypatch.setattr(plug, "ALUMINA_W_PER_M_K", np.full(7, 10.0))
    for nose, core in ((4, 0), (10, 30), (20, 60)):
        closed = plug.fin_tip_c(nose, 250, 900, 170, 7.0, plug.OUTER_MM, plug.BORE_MM, core, "convecting")
        assert plug.nose_temperature_c(nose, 250, 900, 170, core) == pytest.approx(closed, abs=0.01)


def test_all_heat_that_enters_leaves_at_the_root():
    """Energy balance of the medium duty, independent of the solver's own equations."""
    nose, transfer, gas, root, core = 14.0, 250.0, 876.85, 166.85, 60.0
    profile = plug.nose_profile_c(nose, transfer, gas, root, core)
    x = np.linspace(0.0, nose / 1000.0, profile.size)
    sleeve = np.pi / 4e6 * (plug.OUTER_MM**2 - plug.BORE_MM**2)
    entering = np.trapezoid(transfer * np.pi * plug.OUTER_MM / 1000.0 * (gas - profile), x)
    entering += transfer * sleeve * (gas - profile[-1])
    conductance = plug.alumina_conductivity(root) * sleeve + np.pi / 4e6 * plug.BORE_MM**2 * core
    slope = (-3 * profile[0] + 4 * profile[1] - profile[2]) / (2 * x[1])
    assert entering == pytest.approx(conductance * slope, rel=1e-3)


def test_limits_of_length():
    assert plug.nose_temperature_c(0, 250, 900, 170) == 170
    assert plug.nose_temperature_c(0.01, 250, 900, 170) == pytest.approx(170, abs=0.5)
    assert plug.nose_temperature_c(400, 250, 900, 170) == pytest.approx(900, abs=0.01)
    assert plug.fin_tip_c(0, 250, 900, 170, 7, 5) == pytest.approx(170)
    assert plug.fin_tip_c(4000, 250, 900, 170, 7, 5) == pytest.approx(900)
    assert plug.nose_temperature_c(10, 250, 400, 400) == pytest.approx(400)


def test_a_cold_gas_cools_the_nose():
    """Nothing in the solver may assume that the gas is the hotter side."""
    assert 100 < plug.nose_temperature_c(10, 250, 100, 400) < 400


@given(st.floats(1, 60), st.floats(5, 500), st.floats(1, 400), st.floats(2, 10))
def test_tip_conditions_in_order(length, transfer, k, outer):
    """A convecting tip takes in heat the insulated one does not; the corrected length overdoes it a little.

    With b = m D/4, cosh a + b sinh a is exact and cosh(a + b) its stand-in, which bounds the error.
    """
    insulated, convecting, corrected = (
        plug.fin_tip_c(length, transfer, 900, 170, k, outer, tip=tip) for tip in plug.TIPS
    )
    b = np.sqrt(4000.0 * transfer / (k * outer)) * outer / 4000.0
    assert insulated - 1e-9 <= convecting <= corrected + 1e-9
    assert corrected - convecting <= 730 * (np.cosh(b) - 1 + np.sinh(b) - b) + 1e-9


@given(st.floats(1, 100), st.floats(5, 500), st.floats(1, 400), st.floats(2, 10))
def test_fin_heat_equals_what_enters_its_side(length, transfer, k, outer):
    m = np.sqrt(4000.0 * transfer / (k * outer))
    far = length / 1000.0
    side = transfer * np.pi * outer / 1000.0
    entering = quad(lambda x: side * 730 * np.cosh(m * (far - x)) / np.cosh(m * far), 0, far)[0]
    assert plug.fin_heat_w(length, transfer, 900, 170, k, outer) == pytest.approx(entering, rel=1e-6)


@given(st.floats(27, 1227), st.floats(27, 1227), st.floats(0.3, 1.0))
def test_alumina_conducts_less_when_hot(one, other, share):
    low, high = sorted((one, other))
    assert plug.alumina_conductivity(high, share) <= plug.alumina_conductivity(low, share)
    assert plug.alumina_conductivity(one, share) == pytest.approx(share * plug.alumina_conductivity(one, 1.0))


def test_alumina_stays_above_porous_brick():
    """Independent library: porous corundum brick is a lower bound for the dense ceramic."""
    from ht.insulation import refractory_VDI_k as brick

    for celsius in (400, 800, 1200):
        assert plug.alumina_conductivity(celsius, 1.0) > brick("Corundum 99%", celsius + 273.15)


def test_duty_moves_the_nose_the_right_way():
    """Load, over-advance, leaner than best power and a loose seat heat; rich and retard cool."""

    def tip(*args, **more):
        return plug.nose_temperature_c(14, *plug.gas_side(*args, **more))

    base = tip(0.5)
    assert base == pytest.approx(533, abs=1)
    assert tip(0.2) < base < tip(0.8)
    assert tip(0.5, over_advance_deg=10) > base > tip(0.5, over_advance_deg=-10)
    assert tip(0.5, loose_seat=1) > base
    assert tip(0.5, air_ratio=0.8) < tip(0.5, air_ratio=0.9) < tip(0.5, air_ratio=1.02)
    assert [plug.gas_side(load)[0] for load in (0, 0.5, 1)] == [150, 250, 400]


def test_state_changes_at_the_limits():
    assert list(plug.nose_state([449.9, 450, 500, 849.9, 850, 950])) == [
        "fouls", "hardly clean", "clean", "clean", "hot", "pre-ignites",
    ]  # fmt: skip
    assert plug.nose_state(533) == "clean"


@given(st.floats(0.4, 1.5), st.floats(0, 50000), st.floats(0, 50000))
def test_gap_growth_adds_up(gap, first, second):
    step = plug.worn_gap_mm(plug.worn_gap_mm(gap, first), second)
    assert step == pytest.approx(plug.worn_gap_mm(gap, first + second))
    assert plug.worn_gap_mm(gap, 0) == gap


def test_scalar_equals_array():
    noses, transfers = np.array([6.0, 10.0, 14.0]), np.array([[150.0], [400.0]])
    tips = plug.nose_temperature_c(noses, transfers, 900, 170)
    assert tips.shape == (2, 3)
    for row, transfer in zip(tips, (150.0, 400.0), strict=True):
        alone = [plug.nose_temperature_c(float(nose), transfer, 900, 170) for nose in noses]
        assert row == pytest.approx(alone, rel=1e-14)
        assert all(type(value) is float for value in alone)
    assert plug.fin_tip_c(noses, 250, 900, 170, 7, 5) == pytest.approx(
        [plug.fin_tip_c(float(nose), 250, 900, 170, 7, 5) for nose in noses], rel=1e-14
    )
    assert type(plug.fin_heat_w(10, 250, 900, 170, 7, 5)) is float
    assert all(type(value) is float for value in plug.gas_side(0.3))
    assert [value.shape for value in plug.gas_side(np.array([0.1, 0.6]))] == [(2,)] * 3


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: plug.nose_temperature_c(-1, 250, 900, 170), "The length is -1 mm; allowed is 0 to 5000 mm"),
        (lambda: plug.nose_temperature_c(14, 0, 900, 170), "The heat transfer is 0"),
        (lambda: plug.nose_temperature_c(14, 250, 9000, 170), "The gas temperature is 9000 degrees C"),
        (lambda: plug.nose_temperature_c(14, 250, 900, 1700), "The root temperature is 1700"),
        (lambda: plug.nose_temperature_c(14, 250, 900, 170, -1), "The conductivity of the core is -1"),
        (lambda: plug.nose_temperature_c(14, 250, 900, 170, 60, 5, 5), "The bore is 5 mm; allowed is less"),
        (lambda: plug.nose_temperature_c(14, 250, 900, 170, share=2), "The share of dense alumina is 2"),
        (lambda: plug.nose_temperature_c([14, np.nan], 250, 900, 170), "The length is nan"),
        (lambda: plug.fin_tip_c(14, 250, 900, 170, 7, 5, tip="open"), "Tip 'open' is none; write insulated"),
        (lambda: plug.fin_tip_c(14, 250, 900, 170, 0, 5), "The conductivity is 0"),
        (lambda: plug.alumina_conductivity(5000), "The temperature is 5000 degrees C"),
        (lambda: plug.gas_side(1.2), "The load is 1.2; allowed is 0 to 1"),
        (lambda: plug.nose_state(np.inf), "The nose temperature is inf"),
        (lambda: plug.worn_gap_mm(0.9, -5), "The distance is -5 km; allowed is 0 or more"),
    ],
)
def test_refusals_say_what_is_allowed(call, message):
    with pytest.raises(OutOfRange, match=message):
        call()


def test_edges_round_by_four_hundredths_in_a_thousand_miles_and_no_further_than_round():
    assert plug.rounding_after(0.0, 5000.0) == pytest.approx(0.2)
    assert plug.rounding_after(np.array([0.2, 0.9]), 10000.0) == pytest.approx([0.6, 1.0])
    with pytest.raises(OutOfRange, match="distance"):
        plug.rounding_after(0.0, -1.0)
