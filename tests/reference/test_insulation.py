"""Gaps in the way of the spark, and places where it gets out."""

from math import inf

import numpy as np
import pytest

from grader.errors import OutOfRange, Unknown
from grader.reference.spark import breakdown, cables, insulation


def series(gap_mm):
    gap = np.asarray(gap_mm, dtype=float)
    return insulation.series_gap_kv(breakdown.uniform_voltage_kv(np.maximum(gap, insulation.LEAST_LAW_MM)), gap)


def test_a_burnt_rotor_goes_on_where_the_sound_one_ends():
    """At 1 mm the two laws meet."""
    assert series(1.0) == pytest.approx(cables.rotor_gap_kv(1.0), rel=0.01)


def test_no_gap_takes_nothing_and_a_wider_one_never_takes_less():
    taken = series(np.linspace(0.0, 8.0, 200))
    assert taken[0] == 0.0 and np.all(np.diff(taken) > 0)


def test_water_opens_ways_out_and_a_plug_inside_does_not_mind():
    for place in ("cap", "lead", "tower", "rotor"):
        assert insulation.flash_kv(20.0, place, wet=True) < insulation.flash_kv(20.0, place) == 20.0
        assert insulation.flash_kv(inf, place) == inf
        assert insulation.flash_kv(inf, place, wet=True, damp_kv=12.0) == 12.0
    assert insulation.flash_kv(20.0, "plug", wet=True, damp_kv=12.0) == 20.0
    assert insulation.flash_kv(np.array([inf, 10.0]), "cap", wet=True, damp_kv=26.0) == pytest.approx([26.0, 5.5])


def test_soot_takes_nine_tenths_of_the_insulation_in_4000_miles_and_never_gives_any_back():
    assert insulation.shunt_after_mohm(100.0, 4000.0) == pytest.approx(10.0)
    assert insulation.shunt_after_mohm(100.0, 0.0) == 100.0
    assert insulation.shunt_after_mohm(0.5, 1e5) == 0.05
    assert insulation.shunt_after_mohm(0.03, 1e5) == 0.03


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: insulation.series_gap_kv(1.0, -1.0), "series gap"),
        (lambda: insulation.flash_kv(0.0, "cap"), "flash-over"),
        (lambda: insulation.flash_kv(10.0, "cap", True, -1.0), "wet dirt"),
        (lambda: insulation.shunt_after_mohm(0.0, 1.0), "insulation"),
    ],
)
def test_refuses(call, says):
    with pytest.raises(OutOfRange, match=says):
        call()


def test_refuses_an_unknown_place():
    with pytest.raises(Unknown, match="No insulation 'coil'"):
        insulation.flash_kv(20.0, "coil")
