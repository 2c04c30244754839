"""Whoever works honestly with what is printed earns full marks."""

import pytest

from grader import catalogue
from tests.modules.honest import (
    m01_timing,
    m02_dwell,
    m03_heat_range,
    m04_plug_testing,
    m05_secondary,
    m06_diagnosis,
    person,
)

SOLVERS = {
    "m01_timing": m01_timing.SOLVERS,
    "m02_dwell": m02_dwell.SOLVERS,
    "m03_heat_range": m03_heat_range.SOLVERS,
    "m04_plug_testing": m04_plug_testing.SOLVERS,
    "m05_secondary": m05_secondary.SOLVERS,
    "m06_diagnosis": m06_diagnosis.SOLVERS,
}


@pytest.mark.parametrize("key", SOLVERS)
def test_each_number_range_and_reading_is_worked_by_hand(key):
    assert set(SOLVERS[key].by_path) == set(person.asked(catalogue.module(key)))


@pytest.mark.campaign
@pytest.mark.parametrize("key", SOLVERS)
def test_honest_work_earns_full_marks(key):
    """200 trainees, in either unit, with rounded figures on the way or without."""
    done, wrong = person.work(catalogue.module(key), SOLVERS[key], 200, seed=20261130)
    assert done == 200 * len(SOLVERS[key].by_path) and wrong == []


def test_people_round_a_five_upwards():
    assert [person.rounded(value, 1) for value in (0.25, 0.35, -0.25, 2.45)] == [0.3, 0.4, -0.3, 2.5]


def test_between_two_rows_is_shared_out_and_flat_beyond_them():
    rows = [(400, 0), (1000, 6)]
    assert [person.between(rows, x) for x in (300, 400, 750, 1000, 1200)] == [0, 0, 3.5, 6, 6]
