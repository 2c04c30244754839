"""Throttle, manifold and atmosphere: limits, identities and libraries as oracles."""

import ambiance
import CoolProp.CoolProp as coolprop
import fluids
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from grader.errors import OutOfRange
from grader.reference.timing import induction

areas = st.floats(1.0, 1500.0)
speeds = st.floats(1.0, 8000.0)
SEEDED = settings(max_examples=60)


@SEEDED
@given(st.floats(-500, 11000))
def test_the_atmosphere_is_that_of_two_libraries(altitude):
    library = fluids.ATMOSPHERE_1976(altitude)
    assert induction.standard_pressure_kpa(altitude) == pytest.approx(library.P / 1e3, rel=2e-6)
    assert induction.standard_temperature_k(altitude) == pytest.approx(library.T, abs=1e-3)
    other = ambiance.Atmosphere(altitude)
    assert induction.standard_pressure_kpa(altitude) == pytest.approx(other.pressure[0] / 1e3, rel=2e-6)


@SEEDED
@given(areas, speeds, st.floats(45, 105), st.floats(0.4, 1.1))
def test_the_manifold_settles_where_both_flows_agree(area, speed, barometer, filling):
    """The closed form against a bracketed search on the two flow laws."""
    closed = induction.manifold_pressure_kpa(area, speed, 3.5, filling, barometer)

    def surplus(ratio):
        engine = filling * ratio * barometer / (287.05 * 310.0) * 3.5 * speed / 120.0 * 1e3
        return induction.throttle_flow_g_per_s(area, ratio, barometer) - engine

    assert closed == pytest.approx(barometer * brentq(surplus, 1e-9, 1.0, xtol=1e-14), rel=1e-7)


@SEEDED
@given(areas, speeds)
def test_faster_or_more_closed_pulls_more_vacuum(area, speed):
    here = induction.manifold_pressure_kpa(area, speed)
    assert 0 < here <= 101.325
    assert induction.manifold_pressure_kpa(area, 1.1 * speed) < here
    assert induction.manifold_pressure_kpa(1.1 * area, speed) > here


def test_a_choked_plate_fixes_pressure_times_speed():
    speed = np.array([800.0, 1200.0, 2400.0, 4800.0])
    pressure = induction.manifold_pressure_kpa(40.0, speed)
    assert (pressure / 101.325 < induction.critical_ratio()).all()
    assert pressure * speed == pytest.approx(pressure[0] * speed[0])


def test_a_standing_engine_has_no_vacuum():
    assert induction.vacuum_inhg(induction.manifold_pressure_kpa(40.0, 0.0)) == pytest.approx(0.0, abs=1e-12)


def test_the_two_branches_of_flow_meet():
    critical = induction.critical_ratio()
    assert critical == pytest.approx(fluids.P_critical_flow(1.0, 1.4), rel=1e-12)
    assert induction.flow_factor(critical) == pytest.approx(induction.flow_factor(0.0))
    assert induction.flow_factor(critical + 1e-6) == pytest.approx(induction.flow_factor(0.0), rel=1e-9)
    assert induction.flow_factor(1.0) == pytest.approx(0.0, abs=1e-7)


@SEEDED
@given(st.floats(0.55, 0.999))
def test_flow_below_choking_is_that_of_real_air(ratio):
    p0, t0 = 101325.0, 293.15
    h0, s0 = (coolprop.PropsSI(what, "P", p0, "T", t0, "Air") for what in "HS")
    density, enthalpy = (coolprop.PropsSI(what, "P", ratio * p0, "S", s0, "Air") for what in "DH")
    flux = 1e-3 * density * np.sqrt(2.0 * (h0 - enthalpy))
    assert induction.throttle_flow_g_per_s(1.0, ratio) == pytest.approx(flux, rel=2e-3)


@SEEDED
@given(st.floats(10, 90), st.floats(20, 60))
def test_the_plate_opens_from_nothing_to_the_whole_bore(plate, bore):
    area = induction.throttle_area_mm2(plate, bore)
    assert induction.throttle_area_mm2(10.0, bore) == pytest.approx(0.0, abs=1e-9)
    assert 0 <= area + 1e-12 <= np.pi / 4 * bore**2 * (1 + 1e-12)
    assert induction.throttle_area_mm2(90.0, bore) == pytest.approx(np.pi / 4 * bore**2)


def test_a_ported_tap_is_covered_at_idle_and_open_at_cruise():
    assert induction.port_covered(11.0, 0.6, 40.0) is True
    assert induction.port_covered(20.0, 0.6, 40.0) is False
    assert induction.port_covered(np.array([10.0, 11.0, 14.0]), 0.6, 40.0).tolist() == [True, True, False]


def test_scalars_are_floats_and_arrays_broadcast():
    assert type(induction.manifold_pressure_kpa(40, 600)) is float
    assert type(induction.vacuum_inhg(60)) is float
    assert type(induction.standard_pressure_kpa(1000)) is float
    assert type(induction.throttle_area_mm2(20, 40)) is float
    assert type(induction.throttle_flow_g_per_s(10, 0.6)) is float
    table = induction.manifold_pressure_kpa(np.array([[20.0], [40.0]]), np.array([600.0, 900.0, 4000.0]))
    assert table.shape == (2, 3)
    assert table[1, 2] == induction.manifold_pressure_kpa(40.0, 4000.0)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: induction.standard_pressure_kpa(20000), "altitude is 20000 m; allowed is -500 to 11000"),
        (lambda: induction.manifold_pressure_kpa(0, 600), "Even a closed plate lets some idle air past"),
        (lambda: induction.manifold_pressure_kpa(40, np.nan), "Engine speed is nan"),
        (lambda: induction.manifold_pressure_kpa(40, 600, barometer_kpa=29.92), "1 inHg is 3.386 kPa"),
        (lambda: induction.vacuum_inhg(105.0), "manifold pressure is 105 kPa"),
        (lambda: induction.vacuum_inhg(np.array([99.0, 60.0]), np.array([90.0, 101.0])), "barometer is lower"),
        (lambda: induction.flow_factor(1.2), "Downstream over upstream pressure is 1.2; allowed is 0 to 1"),
        (lambda: induction.throttle_area_mm2(8, 40), "it rests at 10 degrees. Open it more"),
        (lambda: induction.port_covered(20, -1, 40), "A tap below the plate is a manifold tap"),
        (lambda: induction.density_ratio(0, 293), "Use absolute pressure, not gauge"),
    ],
)
def test_refusals_say_what_to_do(call, words):
    with pytest.raises(OutOfRange, match=words.replace("(", r"\(")):
        call()
