"""Miles on the plugs."""

from dataclasses import replace

import pytest

from grader.errors import OutOfRange
from grader.vehicle.car import MM_PER_IN
from grader.vehicle.state import sound_car
from grader.vehicle.wear import driven


def test_gaps_grow_edges_round_and_clean_noses_stay_clean():
    car = sound_car("anstow-v8")
    later = driven(car, 3000.0)
    assert later.plug_gap_mm == pytest.approx([gap + 0.003 * MM_PER_IN for gap in car.plug_gap_mm])
    assert later.rounding == pytest.approx([0.32] * 8) and later.shunt_mohm == car.shunt_mohm and later.kmiles == 8.0
    assert replace(later, plug_gap_mm=car.plug_gap_mm, rounding=car.rounding, kmiles=5.0) == car


def test_plugs_too_cold_for_the_work_soot_up():
    car = replace(sound_car("anstow-v8"), nose_mm=(9.0,) * 8)
    assert driven(car, 4000.0).shunt_mohm == pytest.approx([10.0] * 8)


def test_only_the_cylinder_that_misses_soots_up():
    car = sound_car("anstow-v8")
    weak = replace(car, lead_flash_kv=(10.0, *car.lead_flash_kv[1:]))
    later = driven(weak, 2000.0)
    assert later.shunt_mohm[0] == pytest.approx(100.0 / 10**0.5) and later.shunt_mohm[1:] == car.shunt_mohm[1:]


def test_the_way_does_not_matter_only_the_miles():
    car = sound_car("tolmere-six")
    once, twice = driven(car, 4000.0), driven(driven(car, 1000.0), 3000.0)
    assert once.plug_gap_mm == pytest.approx(twice.plug_gap_mm) and once.shunt_mohm == pytest.approx(twice.shunt_mohm)
    assert driven(car, 0.0) == car


def test_refuses_a_way_back():
    with pytest.raises(OutOfRange, match="distance"):
        driven(sound_car("anstow-v8"), -1.0)
