"""Plug tester: pressures there and back, the keep rule, statistics of readings."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from grader.errors import OutOfRange
from grader.reference.spark import tester

NEW, USED = [102, 98, 100, 101, 99], [71, 75, 69, 73, 72]
READINGS = st.lists(st.floats(20.0, 200.0), min_size=3, max_size=12).filter(lambda values: np.ptp(values) > 0.5)


@given(st.floats(0.05, 2.0), st.floats(0.3, 2.0), st.floats(-20, 60))
def test_pressure_there_and_back(reach, gap, celsius):
    pressure = tester.firing_pressure_psia(reach, gap, celsius)
    assert tester.reach_of_pressure_cm(pressure, gap, celsius) == pytest.approx(reach, rel=1e-12)
    assert tester.absolute_psia(tester.gauge_psig(pressure)) == pytest.approx(pressure)


@given(st.floats(0.05, 2.0), st.floats(0.3, 2.0), st.floats(-20, 60))
def test_exactly_inverse_in_gap(reach, gap, celsius):
    product = tester.firing_pressure_psia(reach, gap, celsius) * gap
    assert tester.firing_pressure_psia(reach, 1.7 * gap, celsius) * 1.7 * gap == pytest.approx(product)
    assert tester.firing_pressure_psia(reach, gap, celsius + 5) * gap > product
    assert tester.firing_pressure_psia(1.1 * reach, gap, celsius) * gap > product


@given(st.floats(15, 200), st.floats(8, 15.9))
def test_a_mountain_raises_the_gauge(pressure, barometer):
    """The plug fires at one absolute pressure; the gauge counts from a lower barometer."""
    gain = tester.gauge_psig(pressure, barometer) - tester.gauge_psig(pressure)
    assert gain == pytest.approx(tester.ATMOSPHERE_PSIA - barometer)


def test_atmosphere_agrees_with_unit_library():
    import pint

    assert pint.UnitRegistry().Quantity(1, "atm").to("psi").magnitude == pytest.approx(tester.ATMOSPHERE_PSIA, rel=1e-7)


def test_drop_is_counted_from_the_new_plug():
    assert tester.pressure_drop(100, 72) == pytest.approx(0.28)
    assert tester.pressure_drop(100, 100) == 0
    assert tester.pressure_drop(100, 110) < 0
    # Slip of the handbook: counted from the used plug the same readings give 38.9 %.
    assert (100 - 72) / 72 == pytest.approx(0.389, abs=5e-4)


def test_worked_case_is_undecided():
    verdict = tester.keep_verdict(NEW, USED)
    assert verdict.decision == "undecided"
    assert verdict.low < 0.70 <= verdict.high
    assert tester.keep_verdict(NEW, USED, pooled=True).freedom == 8
    assert tester.keep_verdict(NEW, USED, pooled=True).high < verdict.high


@pytest.mark.parametrize(
    ("used", "decision"),
    [([85, 86, 84], "keep"), ([50, 51, 49], "reject"), ([70, 71, 69], "undecided"), ([66, 72, 70], "undecided")],
)
def test_clear_cases(used, decision):
    assert tester.keep_verdict([100, 101, 99], used).decision == decision


@given(READINGS, READINGS, st.floats(1.1, 3.0))
def test_verdict_does_not_know_the_unit_of_the_gauge(new, used, scale):
    """Bar or psi: ratio, interval and decision stay."""
    one = tester.keep_verdict(new, used)
    other = tester.keep_verdict([scale * value for value in new], [scale * value for value in used])
    for name in ("ratio", "standard_error", "freedom", "low", "high"):
        assert getattr(one, name) == pytest.approx(getattr(other, name), rel=1e-9)
    assert min(len(new), len(used)) - 1 - 1e-9 <= one.freedom <= len(new) + len(used) - 2 + 1e-9


@given(READINGS, READINGS)
def test_freedom_against_a_statistics_library(new, used):
    new, used = np.array(new), np.array(used)
    expected = stats.ttest_ind(new / new.mean(), used / used.mean(), equal_var=False).df
    assert tester.keep_verdict(new, used).freedom == pytest.approx(expected)


def test_more_confidence_never_decides_sooner():
    for used in ([85, 86, 84], [72, 74, 76], [50, 51, 49]):
        decided = [
            tester.keep_verdict(NEW, used, confidence=level).decision != "undecided"
            for level in (0.5, 0.9, 0.95, 0.999)
        ]
        assert decided == sorted(decided, reverse=True)


def test_interval_covers_as_often_as_it_says():
    """1000 pairs of batches, true ratio 0.75: about 95 % of the intervals hold it."""
    draw = np.random.default_rng(7)
    held = 0
    for _ in range(1000):
        verdict = tester.keep_verdict(draw.normal(100, 5, 6), draw.normal(75, 4, 6))
        held += verdict.low <= 0.75 <= verdict.high
    assert 925 <= held <= 972


@given(READINGS)
def test_mean_interval_against_a_statistics_library(values):
    mean, half = tester.mean_interval(values)
    low, high = stats.t.interval(0.95, len(values) - 1, loc=np.mean(values), scale=stats.sem(values))
    assert (mean - half, mean + half) == pytest.approx((low, high))


@given(st.floats(0.5, 20.0), st.floats(1.0, 10.0))
def test_sample_size_is_the_smallest_that_does(scatter, wanted):
    count = tester.sample_size(scatter, wanted)

    def half(n):
        return tester.student_factor(n) * scatter / math.sqrt(n)

    assert half(count) <= wanted * (1 + 1e-12)
    assert count == 2 or half(count - 1) > wanted
    assert count >= tester.sample_size(scatter, wanted, student=False)


@given(st.integers(3, 60), st.floats(0.001, 0.3))
def test_grubbs_grows_with_count_and_caution(count, risk):
    critical = tester.grubbs_critical(count, risk)
    assert critical < (count - 1) / math.sqrt(count)  # the farthest any reading can be
    assert tester.grubbs_critical(count, risk / 2) > critical
    assert tester.grubbs_critical(count + 1, risk) > critical


def test_grubbs_calls_good_batches_bad_as_rarely_as_promised():
    draw = np.random.default_rng(11)
    called = sum(
        distance > allowed for _, distance, allowed in (tester.outlier(draw.normal(100, 5, 6)) for _ in range(2000))
    )
    assert 70 <= called <= 130  # 5 % of 2000, four standard deviations either way


def test_grubbs_finds_the_bad_reading():
    place, distance, allowed = tester.outlier([100, 101, 99, 100, 60, 102])
    assert place == 4
    assert distance > allowed
    assert tester.outlier([100, 100, 100, 100])[1] == 0


def test_scalar_equals_array():
    gaps = np.array([0.6, 0.9, 1.2])
    together = tester.firing_pressure_psia(0.45, gaps)
    alone = [tester.firing_pressure_psia(0.45, gap) for gap in gaps.tolist()]
    assert together == pytest.approx(alone, rel=1e-15)
    assert all(type(value) is float for value in alone)
    assert tester.student_factor(np.array([3, 5])) == pytest.approx(
        [tester.student_factor(3), tester.student_factor(5)]
    )
    assert type(tester.student_factor(3)) is float
    assert type(tester.grubbs_critical(6)) is float
    assert type(tester.sample_size(5, 5)) is int
    assert tester.grubbs_critical(np.array([6, 10])).shape == (2,)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: tester.firing_pressure_psia(0.45, 0), "The gap is 0 mm; allowed is above 0 and 20 or less"),
        (lambda: tester.firing_pressure_psia(-1, 0.9), "The reach of the supply is -1 cm"),
        (lambda: tester.firing_pressure_psia(0.45, 0.9, 500), "The air temperature is 500 degrees C"),
        (lambda: tester.reach_of_pressure_cm(0, 0.9), "The firing pressure is 0 psia"),
        (lambda: tester.gauge_psig(100, 29.92), "The barometer is 29.92 psia; allowed is 3 to 16 psia"),
        (lambda: tester.absolute_psia(-20), "The gauge reading is -20 psig"),
        (lambda: tester.pressure_drop(0, 72), "The new plug's pressure is 0 psi; allowed is above 0"),
        (lambda: tester.keep_verdict([100], USED), "The new plug has 1 reading; take two or more"),
        (lambda: tester.keep_verdict(NEW, [70, -1]), "A reading of the used plug is -1"),
        (lambda: tester.absolute_psia(-14.7, 10), "The absolute pressure is -4.7 psia; allowed is 0 or more"),
        (lambda: tester.keep_verdict(NEW, USED, keep_share=1.5), "The keep share is 1.5"),
        (lambda: tester.keep_verdict(NEW, USED, confidence=95), "The confidence is 95; allowed is 0.5 to 0.999"),
        (lambda: tester.sample_size(5, 0), "The wanted half width is 0; allowed is above 0"),
        (lambda: tester.sample_size(1000, 0.1), "readings would be needed; allowed are 100000"),
        (lambda: tester.grubbs_critical(2), "The number of readings is 2; allowed is 3 or more"),
        (lambda: tester.student_factor(1), "The number of readings is 1; allowed is 2 or more"),
        (lambda: tester.outlier([100, np.nan, 99]), "A reading of the batch is nan"),
    ],
)
def test_refusals_say_what_is_allowed(call, message):
    with pytest.raises(OutOfRange, match=message):
        call()


def test_a_gauge_that_always_shows_the_same_still_decides():
    """Five times 100 and five times 72 on a gauge read to the psi: kept, since 72 is clear of 70 by more than it hides."""
    found = tester.keep_verdict([100] * 5, [72] * 5)
    assert found.decision == "keep" and 0.70 < found.low < 0.72 < found.high < 0.74
    # Derived: half a step evenly spread on both, five readings each.
    error = 0.72 * np.sqrt((1 / 12 / 5) * (1 / 100**2 + 1 / 72**2))
    assert found.standard_error == pytest.approx(error)
    assert tester.keep_verdict([100] * 2, [70] * 2).decision == "undecided"
