"""What a workshop sees, held jointly over many trainees: each range stands beside the draw in the exercise too.

Ranges are common practice in the trade, those of temperature and of the standard atmosphere published.
A small share runs with the tests, 10,000 trainees in the long campaigns.
"""

from collections.abc import Callable
from types import MappingProxyType

from grader import catalogue
from grader.exercise.model import Module
from grader.modules.heat_range import nose, wear
from grader.modules.plug_testing import firing
from grader.reference.spark import breakdown, coil, plug, points, tester
from grader.reference.timing import advance
from tests.modules import workshop

LIMITS = {4: (45, 63), 6: (34, 44), 8: (26, 35)}  # distributor degrees: usual dwell, and what a closed gap makes of it


def timing(m01: Module, count: int) -> None:
    """Advance against speed, idle against the manual's, the mark against its figure."""
    keys = "m01.mark_arc", "m01.angle_time", "m01.fast_idle", "m01.letter", "m01.altitude"
    after_top = 0
    for given in workshop.issued(m01, *keys, count=count):
        arc, time, idle, letter = (given[key] for key in keys[:4])
        assert 118 <= arc.diameter_mm <= 206 and 4 <= arc.angle_deg <= 14
        assert 550 <= time.speed_rpm <= 4500
        assert time.angle_deg <= (38 if time.vacuum_inhg == 0 else 55)  # full load, and cruise with vacuum (practice)
        assert time.angle_deg >= 14 or time.speed_rpm < 2000, "no engine is so late at speed"
        assert time.angle_deg <= 16 or time.speed_rpm > 900, "no engine is so early at idle"
        for fast in (idle, letter):
            assert 1.35 <= fast.fast_rpm / fast.idle_rpm < 1.65 and 670 <= fast.fast_rpm <= 1170
        assert abs(idle.mark_deg - idle.initial_deg) <= 2
        true = advance.true_initial_deg(idle.mark_deg, idle.fast_rpm, idle.centrifugal)
        assert 1.6 <= idle.mark_deg - true <= 5.5
        after_top += true < 0
        height = given["m01.altitude"]
        coast = max(height.here_inhg, height.there_inhg)
        assert 15.5 <= coast - height.manifold_inhg <= 21
    assert after_top < count / 5
    for given in workshop.issued(m01, "m01.centrifugal", "m01.total", count=count):
        weights, total = given["m01.centrifugal"], given["m01.total"]
        added = m01.by_path["m01.centrifugal.advance"][1].answer(weights)
        assert weights.speed_rpm == total.speed_rpm and 700 <= weights.speed_rpm <= 4200
        assert 1.5 <= added <= 28 and (added < 24 or weights.speed_rpm > 1600), "all in only at speed"
        assert 6 <= total.vacuum_inhg <= 15
        line_off = total.initial_deg + added
        line_on = m01.by_path["m01.total.line_on"][1].answer(total, line_off)
        assert 4 <= line_off <= 38 and line_off < line_on <= 55, "full load, and cruise with vacuum"
    for given in workshop.issued(m01, "m01.band", count=count):
        band = given["m01.band"]
        least, most = m01.by_path["m01.band.band"][1].answer(band)
        assert 0 <= least < most <= 40 and 4 <= most - least <= 12.1
        assert 1 <= band.initial_limit <= 2 and 1 <= band.weights_limit <= 2


def dwell(m02: Module, count: int) -> None:
    """Gap against dwell and timing, current, what plugs ask for, springs, blade and meter."""
    keys = "m02.gap_dwell", "m02.wear_timing", "m02.gap_window", "m02.current", "m02.enough_voltage", "m02.spring"
    for given in workshop.issued(m02, *keys, count=count):
        gap, wear, window, current, enough, spring = (given[key] for key in keys)
        assert 0.009 <= gap.found_in <= 0.028
        dwell = points.dwell_of_gap_deg(gap.found_in, gap.lift_in, gap.cylinders)
        assert LIMITS[gap.cylinders][0] - 5 <= dwell <= LIMITS[gap.cylinders][1]
        now = wear.set_deg - (dwell - wear.dwell_deg)
        closed = wear.found_in < wear.gap_in
        assert (now < wear.set_deg) == closed and 1.5 < abs(now - wear.set_deg) < 9 and -7 <= now <= 18
        told = next(e for e in m02.exercises if e.key == "m02.wear_timing").wording(wear)
        assert ("block has worn" in told) == closed and ("by eye" in told) != closed, "a gap never widens by itself"
        assert 0.010 <= window.gap_in <= 0.030 and window.above <= 4 and window.below <= 4
        amps = coil.current_at_opening_a(
            current.dwell_deg, current.speed_rpm, current.supply_v, current.coil_ohm + current.ballast_ohm,
            current.inductance_mh,
        )  # fmt: skip
        assert 1.2 <= amps <= 5.8 and 1000 <= current.speed_rpm <= 4600
        assert 10 <= enough.plug_kv <= 16 and enough.contact_ohm <= 1
        assert 9 <= spring.old_oz < 17 <= spring.new_oz <= 23
    for given in workshop.issued(m02, "m02.feeler", "m02.meter", count=count):
        blade, meter = given["m02.feeler"], given["m02.meter"]
        assert 0.006 <= blade.hidden_thou / 1000 <= 0.009 and blade.gap_in + 0.009 <= 0.031
        assert 8 <= blade.miles <= 16 and 4 <= blade.swing <= 7
        if blade.case in ("pip", "peak"):
            assert blade.dwell_deg - 13 <= blade.seen < blade.dwell_deg - 2, "a hidden gap is wider, never narrower"
        assert 0 < blade.seen <= 90
        true = points.meter_reading_deg(meter.reading, meter.scale, meter.cylinders)
        assert abs(true - meter.dwell_deg) <= 7 and 0.4 <= true * meter.cylinders / 360 <= 0.85


def heat_range(m03: Module, count: int) -> None:
    """Gaps, reserve, lots from the tester; tips and loads; few plugs misfire."""
    keys = "m03.gap_growth", "m03.reserve", "m03.sort_lot"
    short = 0
    for given in workshop.issued(m03, *keys, count=count):
        growth, coil, lot = (given[key] for key in keys)
        gap = plug.worn_gap_mm(growth.new_mm, growth.distance_km)
        assert 0.55 <= growth.new_mm <= 0.80 and gap <= 1.2 and growth.distance_km <= 25_000
        asked = coil.k * breakdown.uniform_voltage_kv(gap, coil.density)
        left = breakdown.reserve_kv(coil.available_kv, asked)
        assert 14 <= coil.available_kv <= 26 and -3.1 <= left <= 10.1 and 2.6 <= coil.density <= 4.4
        short += left < 0
        assert all(lot.new_mm <= width <= lot.new_mm + 0.46 and 40 <= psi <= 120 for _, _, width, psi in lot.plugs)
    assert short < 0.4 * count
    keys = "m03.tip_state", "m03.two_duties", "m03.interval"
    for given in workshop.issued(m03, *keys, count=count):
        state, duties, interval = (given[key] for key in keys)
        assert 330 <= nose.celsius(state.tip_f) <= 1070
        assert 0 < duties.light <= duties.heavy <= 1 and 0.05 <= duties.read_load <= 1
        assert 270 <= nose.nose_tip_c(duties.name, round(duties.read_load, 4)) <= 900
        low, high = wear._ends_mm(interval)
        assert 0.60 <= interval.new_mm < low < high <= 1.26 and 5000 <= interval.distance_km / 1.609344 + 100 <= 12100
        assert interval.slow < 1 < interval.quick, "the rule lies between"
        assert interval.new_mm + 0.14 <= interval.limit_mm <= 1.2
        assert 6000 <= wear._interval_km(interval, interval.quick) <= 24_000


def plug_testing(m04: Module, count: int) -> None:
    """A tester of 15 to 25 kV shows 30 to 135 psi, and the gap was worn before it was set."""
    for given in workshop.issued(m04, "m04.regap", "m04.harsher", count=count):
        v = given["m04.regap"]
        assert 33 <= v.psig <= 92 and 55 <= firing._regapped(v) <= 137
        assert 0.025 <= v.set_in <= 0.032 < v.gap_in <= 0.048
    keys = "m04.chart", "m04.absolute", "m04.drop", "m04.repeat", "m04.gauge_zero"
    for given in workshop.issued(m04, *keys, count=count):
        chart, absolute, drop, repeat, zero = (given[key] for key in keys)
        assert 15 <= chart.kv <= 25 and 1.1 <= chart.factor <= 1.3
        assert 30 <= tester.gauge_psig(firing._chart_psia(chart.kv / chart.factor, chart.gap_in)) <= 137
        assert 66 <= absolute.barometer_kpa <= 90 and 50 <= absolute.psig <= 115
        assert 80 <= drop.new_psig <= 130 and 35 <= drop.used_psig < drop.new_psig
        for readings in (repeat.new, repeat.used):
            assert max(readings) - min(readings) <= 12 and 45 <= min(readings) and max(readings) <= 120
        true_new, true_used = zero.new_psig - zero.zero_psi, zero.used_psig - zero.zero_psi
        assert 75 <= true_new <= 120 and 0.55 <= true_used / true_new <= 0.86


JOINTLY: MappingProxyType[str, Callable[[Module, int], None]] = MappingProxyType(
    {"m01_timing": timing, "m02_dwell": dwell, "m03_heat_range": heat_range, "m04_plug_testing": plug_testing}
)


def outside(key: str, count: int) -> list[str]:
    """Sentences about the first draw of a module that no workshop sees."""
    try:
        JOINTLY[key](catalogue.module(key), count)
    except AssertionError as problem:
        return [f"{key}: {problem}"]
    return []
