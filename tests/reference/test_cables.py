"""Leads: limits, coupling of wires over a plane, cross-fire, refusals."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.constants import epsilon_0, mu_0

from grader.errors import OutOfRange
from grader.reference.spark import cables

RADII = st.floats(0.2, 2.0)
HEIGHTS = st.floats(10.0, 200.0)
SPACINGS = st.floats(6.0, 300.0)
HALVES_BANKS = [[1, 2, 3, 4], [5, 6, 7, 8]]


@given(HEIGHTS, HEIGHTS, SPACINGS, RADII)
def test_matrices_are_inverse(high, other, spacing, radius):
    """[L][C] = mu0 eps0, rebuilt from the parts a mechanic's page shows."""
    spacing = np.hypot(spacing, high - other)  # straight from axis to axis
    shared = cables.mutual_inductance_uh_per_m(high, spacing, other)
    first, second = (cables.self_inductance_uh_per_m(h, radius) for h in (high, other))
    assert shared < min(first, second)
    between, ground = cables.capacitances_pf_per_m(high, spacing, radius, other)
    _, ground_first = cables.capacitances_pf_per_m(other, spacing, radius, high)
    inductance = np.array([[first, shared], [shared, second]]) * 1e-6
    capacitance = np.array([[ground_first + between, -between], [-between, ground + between]]) * 1e-12
    assert inductance @ capacitance == pytest.approx(mu_0 * epsilon_0 * np.eye(2), rel=1e-9, abs=1e-26)


@given(HEIGHTS, SPACINGS, RADII)
def test_apart_and_low_couples_less(height, spacing, radius):
    shared = cables.mutual_inductance_uh_per_m(height, spacing)
    assert cables.mutual_inductance_uh_per_m(height, 1.1 * spacing) < shared
    assert cables.mutual_inductance_uh_per_m(1.1 * height, spacing) > shared
    assert 0 < shared < cables.self_inductance_uh_per_m(height, radius)
    between, ground = cables.capacitances_pf_per_m(height, spacing, radius)
    assert cables.capacitances_pf_per_m(height, 1.1 * spacing, radius)[0] < between
    assert between > 0 < ground


@given(HEIGHTS, SPACINGS, RADII, st.floats(1, 4))
def test_filling_multiplies_the_capacitances(height, spacing, radius, filling):
    air = cables.capacitances_pf_per_m(height, spacing, radius)
    filled = cables.capacitances_pf_per_m(height, spacing, radius, permittivity=filling)
    assert filled == pytest.approx([filling * part for part in air])


def test_far_apart_is_one_wire_alone():
    from ht import S_isothermal_pipe_to_plane as shape

    for height, radius in ((20, 0.4064), (50, 0.6), (100, 1.0)):
        _, ground = cables.capacitances_pf_per_m(height, 1e5, radius)
        expected = epsilon_0 * 1e12 * shape(2e-3 * radius, 1e-3 * height, L=1.0)
        assert ground == pytest.approx(expected, rel=1e-4)  # thin wire: 2h for h + root(h2 - r2)


def test_two_wires_far_from_the_plane():
    """Between two wires alone the pair's capacitance is half of one's against the middle plane."""
    from ht import S_isothermal_pipe_to_isothermal_pipe as shape

    for spacing, radius in ((20, 0.4), (50, 0.6)):
        between, ground = cables.capacitances_pf_per_m(1e6, spacing, radius)
        expected = epsilon_0 * 1e12 * shape(2e-3 * radius, 2e-3 * radius, 1e-3 * spacing, L=1.0)
        assert between + ground / 2 == pytest.approx(expected, rel=2e-3)


def test_natural_logarithm():
    """Slip of the handbook: the common logarithm gives 0.070 instead of 0.161 uH/m."""
    assert cables.mutual_inductance_uh_per_m(20, 20) / np.log(10) == pytest.approx(0.070, abs=5e-4)


@given(st.floats(1, 30), st.floats(10, 2000), st.floats(0.5, 20), st.floats(2, 40), st.floats(5, 50))
def test_induced_before_the_spark_stays_below_the_divider(firing, length, between, ground, plug_pf):
    induced = cables.induced_capacitive_kv(firing, length, between, ground, plug_pf)
    assert 0 < induced < firing * between / (between + ground)
    assert cables.induced_capacitive_kv(firing, 1.2 * length, between, ground, plug_pf) > induced
    assert cables.induced_capacitive_kv(firing, length, between, ground, 1.2 * plug_pf) < induced
    assert cables.induced_capacitive_kv(2 * firing, length, between, ground, plug_pf) == pytest.approx(2 * induced)


def test_induced_limits():
    assert cables.induced_capacitive_kv(20, 0, 4, 8) == 0
    assert cables.induced_capacitive_kv(20, 500, 0, 8) == 0
    assert cables.induced_inductive_kv(300, 0.15, 2) == pytest.approx(
        cables.induced_inductive_kv(300, 0.15, 65) * 2 / 65
    )
    # A sine of crest I and frequency f has the slope 2 pi f I: 0.15 uH/m x 0.3 m x 3267 A/us.
    assert cables.induced_inductive_kv(300, 0.15) == pytest.approx(0.045e-6 * 3267.26e6 / 1000, rel=1e-5)


@given(st.sampled_from([2, 4, 6, 8]), st.floats(0, 40), st.floats(7, 11))
def test_victim_is_denser_in_engines_of_more_cylinders(cylinders, advance, ratio):
    density = cables.victim_density(cylinders, advance, ratio)
    assert cables.CLOSING_DENSITY - 1e-12 <= density <= 4
    assert cables.victim_density(12, advance, ratio) > density
    assert cables.victim_density(cylinders, advance + 5, ratio) <= density


def test_victim_of_a_four_has_its_inlet_still_open():
    assert cables.victim_density(4, 10, 8.5) == pytest.approx(cables.CLOSING_DENSITY)
    assert cables.victim_density(8, 0, 8.5) > cables.CLOSING_DENSITY


@pytest.mark.parametrize(
    ("order", "banks", "pairs"),
    [
        ([1, 3, 4, 2], [[1, 2, 3, 4]], [(3, 4), (2, 1)]),
        ([1, 5, 3, 6, 2, 4], [[1, 2, 3, 4, 5, 6]], []),
        ([1, 5, 4, 2, 6, 3, 7, 8], HALVES_BANKS, [(7, 8)]),
    ],
)
def test_risk_names_the_later_cylinder(order, banks, pairs):
    found = cables.cross_fire_risk(order, banks, 2.2, 4.0)
    assert [pair[:2] for pair in found] == pairs
    assert all(pair[2] == pytest.approx(0.55) for pair in found)


@given(st.floats(50, 2000), st.floats(50, 2000), st.floats(0, 60))
def test_longer_leads_may_have_more(one, other, ohms):
    short, long = sorted((one, other))
    for less, more in zip(cables.lead_limits_kohm(short), cables.lead_limits_kohm(long), strict=True):
        assert less <= more
    order = [cables.LEAD_STATES.index(cables.lead_state(ohms, length)) for length in (short, long)]
    assert order[1] <= order[0]
    assert cables.LEAD_STATES.index(cables.lead_state(ohms + 5, short)) >= order[0]


def test_classes_end_with_their_length():
    assert cables.lead_limits_kohm(381)[:2] == (3, 10)
    assert cables.lead_limits_kohm(382)[:2] == (4, 15)
    assert cables.lead_limits_kohm(150) == (3, 10, 10), "no lead is sound and to be renewed at once"
    assert (cables.lead_state(9, 150), cables.lead_state(10.5, 150)) == ("good", "renew")
    assert [cables.lead_state(ohms, 500) for ohms in (1, 10, 18, 25)] == ["low", "good", "high", "renew"]


def test_rotor_gap_stays_in_practice():
    assert [cables.rotor_gap_kv(gap) for gap in (0.5, 1.0)] == [1.0, 3.0]


@given(st.floats(0, 50))
def test_resistance_costs_little_before_and_more_during_the_spark(ohms):
    before, during = cables.lead_cost_v(ohms)
    assert before <= during
    assert before == pytest.approx(10 * ohms)
    assert before < 0.05 * 20000


def test_scalar_equals_array():
    spacings = np.array([8.0, 20.0, 50.0])
    together = cables.capacitances_pf_per_m(50, spacings, 0.6)
    alone = [cables.capacitances_pf_per_m(50, spacing, 0.6) for spacing in spacings.tolist()]
    assert np.transpose(together) == pytest.approx(np.array(alone), rel=1e-14)
    assert all(type(part) is float for pair in alone for part in pair)
    lengths = np.array([300.0, 700.0, 1000.0])
    assert np.transpose(cables.lead_limits_kohm(lengths)) == pytest.approx(
        np.array([cables.lead_limits_kohm(length) for length in lengths.tolist()])
    )
    assert list(cables.lead_state([5, 40, 2], lengths)) == [
        cables.lead_state(ohms, length) for ohms, length in zip([5, 40, 2], lengths.tolist(), strict=True)
    ]
    assert cables.victim_density(np.array([4, 8]), 10, 8.5).shape == (2,)
    assert type(cables.victim_density(8, 10, 8.5)) is float
    assert type(cables.induced_inductive_kv(300, 0.15)) is float
    assert type(cables.lead_limits_kohm(500)[2]) is float


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: cables.lead_limits_kohm(10), "The length is 10 mm; allowed is 50 to 2000 mm"),
        (lambda: cables.lead_state(-1, 500), "The resistance is -1 kilohm; allowed is 0 or more"),
        (lambda: cables.self_inductance_uh_per_m(0.5, 0.4), "The height is 0.5 mm; allowed is two radii or more"),
        (lambda: cables.mutual_inductance_uh_per_m(20, 0), "The spacing is 0 mm"),
        (
            lambda: cables.mutual_inductance_uh_per_m(20, 20, 90),
            "The spacing is 20 mm; allowed is no less than the heights",
        ),
        (lambda: cables.mutual_inductance_uh_per_m(20, 20, -5), "The other height over the plane is -5 mm"),
        (
            lambda: cables.capacitances_pf_per_m(20, 1, 0.6),
            "The spacing is 1 mm; allowed is more than twice the radius",
        ),
        (lambda: cables.capacitances_pf_per_m(20, 20, 0.6, permittivity=0), "The permittivity is 0"),
        (lambda: cables.induced_capacitive_kv(-20, 300, 4, 8), "The firing voltage is -20 kV"),
        (lambda: cables.induced_capacitive_kv(20, 300, 4, 8, 0), "The capacitance of the plug is 0 pF"),
        (lambda: cables.induced_inductive_kv(300, np.nan), "The mutual inductance is nan"),
        (lambda: cables.victim_density(7, 10, 8.5), "7 cylinders; allowed are"),
        (lambda: cables.victim_density(8, 90, 8.5), "The advance is 90 crank degrees"),
        (lambda: cables.cross_fire_risk([1, 2, 2], [[1, 2, 3]], 1, 4), "Firing order 1-2-2 is not an order"),
        (lambda: cables.cross_fire_risk([1, 3, 4, 2], [[1, 2, 3, 4]], 1, 0), "The victim's voltage is 0 kV"),
        (lambda: cables.rotor_gap_kv(3), "The rotor gap is 3 mm; allowed is 0.5 to 1 mm"),
        (lambda: cables.lead_cost_v(10, spark_ma=4000), "The current is 4000 mA; .*Take the secondary's"),
        (lambda: cables.lead_cost_v(10, rise_us=0), "The rise time is 0 us"),
    ],
)
def test_refusals_say_what_is_allowed(call, message):
    with pytest.raises(OutOfRange, match=message):
        call()
