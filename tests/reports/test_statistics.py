"""Item statistics against published worked examples, and against libraries that are not ours.

Each example in statistics_examples.json names its source.
"""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from girth.utilities import classical_test_statistics
from scipy.stats import pointbiserialr

from grader.reports.tables import statistics

EXAMPLES = json.loads((Path(__file__).parent / "statistics_examples.json").read_text(encoding="utf-8"))


def data(name):
    return np.array(EXAMPLES[name]["data"], dtype=float)


def test_kr20_of_ten_students():
    """K. Wuensch, KR20.txt: the printed p, sum of pq and population variance, and what follows from them."""
    table, said = data("kr20_wuensch"), EXAMPLES["kr20_wuensch"]
    p = [statistics.facility(column, 1) for column in table.T]
    assert p == pytest.approx(said["p"])
    assert sum(x * (1 - x) for x in p) == pytest.approx(said["sum_pq"])
    assert table.sum(axis=1).var() == pytest.approx(said["total_variance_population"])
    assert statistics.alpha(table) == pytest.approx(said["kr20"], abs=5e-10)
    assert abs(statistics.alpha(table) - said["wrong_if_n_minus_1_is_mixed_in"]) > 0.04


def test_the_worksheets_facility_and_discrimination():
    """Item Analysis Worksheet: upper five against lower five, as printed."""
    table, said = data("item_analysis_worksheet"), EXAMPLES["item_analysis_worksheet"]
    found = [statistics.item(table, column, 1) for column in range(10)]
    assert [item.facility for item in found] == pytest.approx(said["p"])
    assert [item.discrimination for item in found] == pytest.approx(said["D"])
    assert {item.basis for item in found} == {"halves"} and {item.n for item in found} == {10}


def test_item_rest_correlations_agree_with_scipy_and_girth():
    table, said = data("item_analysis_worksheet"), EXAMPLES["item_analysis_worksheet"]["corrected_item_rest_r"]
    differ = [column for column in range(10) if np.ptp(table[:, column])]
    for column in range(10):
        found = statistics.rest_correlation(table, column)
        if column not in differ:
            assert found is None and said[column] is None
            continue
        rest = table.sum(axis=1) - table[:, column]
        assert found == pytest.approx(said[column], abs=1e-6)
        assert found == pytest.approx(pointbiserialr(table[:, column], rest).statistic, abs=1e-12)
    # girth cannot take an item that everybody solved; such an item changes no rest correlation.
    theirs = classical_test_statistics(table[:, differ].T.astype(int), start_value=0, stop_value=1)
    ours = [statistics.rest_correlation(table, column) for column in differ]
    assert ours == pytest.approx(list(theirs["Item-Score Correlation"]), abs=1e-9)


@pytest.mark.parametrize("name", ["alpha_real_statistics_likert", "alpha_real_statistics_binary"])
def test_alpha_as_printed(name):
    """Real Statistics (C. Zaiontz): 15 people by 10 questions, and 12 by 11."""
    printed = EXAMPLES[name]["alpha"]
    places = len(str(printed).split(".")[1])
    assert statistics.alpha(data(name)) == pytest.approx(printed, abs=0.5 * 10**-places)


def test_feldts_interval():
    """A package for R and Python statistics prints [0.195, 0.84] for the likert example."""
    low, high = statistics.feldt_interval(statistics.alpha(data("alpha_real_statistics_likert")), 15, 10)
    assert (round(low, 3), round(high, 2)) == (0.195, 0.84)


def test_alpha_of_items_marked_nought_or_one_is_kr20():
    table, said = data("livingston"), EXAMPLES["livingston"]
    assert table.sum() == said["sum"] and (table.sum(axis=1) ** 2).sum() == said["sum_sq"]
    assert statistics.alpha(table) == pytest.approx(said["kr20_population"], abs=5e-11)


def test_the_standard_error_follows_from_alpha():
    table = data("kr20_wuensch")
    spread = math.sqrt(5.84 * 10 / 9)
    assert statistics.standard_error(table) == pytest.approx(spread * math.sqrt(1 - 0.696347032), rel=1e-8)


def test_upper_and_lower_27_per_cent_from_thirty_on():
    """30 people, totals 0 to 29: eight above, eight below; by hand the groups differ by one whole mark."""
    first = np.r_[np.zeros(15), np.ones(15)]
    table = np.column_stack([first, np.arange(30) - first])
    assert statistics.discrimination(table, 0, 1) == (1.0, "27 %")
    assert statistics.discrimination(table[:29], 0, 1)[1] == "halves"


class TestWhereItMeansNothing:
    def test_few_people_are_counted_only(self):
        found = statistics.item(data("item_analysis_worksheet")[:9], 1, 1)
        assert (found.n, found.full, found.facility, found.discrimination) == (9, 9, None, None)
        assert "below 10" in found.note
        assert "below 10" in statistics.test(data("item_analysis_worksheet")[:9]).note

    def test_nobody_at_all(self):
        assert statistics.test(np.empty((0, 4))).n == 0 and statistics.item(np.empty((0, 4)), 0, 1).full == 0

    def test_an_item_everybody_solved(self):
        found = statistics.item(data("item_analysis_worksheet"), 1, 1)
        assert found.facility == 1 and found.discrimination == 0 and found.rest_correlation is None
        assert "same mark" in found.note

    def test_everybody_has_the_same_total(self):
        table = np.tile([1.0, 0.0, 1.0], (12, 1))
        assert statistics.test(table).alpha is None and "nobody differs" in statistics.test(table).note
        assert statistics.item(table, 0, 1).discrimination is None

    def test_two_items(self):
        assert "fewer than three" in statistics.test(data("kr20_wuensch")[:, :2]).note

    def test_a_negative_alpha_is_shown(self):
        """Two items that mirror each other and a third: by hand var 1/4 each but the total hardly moves."""
        a = np.array([0, 1] * 6, dtype=float)
        b = np.array([0, 0, 0, 1, 1, 1] * 2, dtype=float)
        found = statistics.test(np.column_stack([a, 1 - a, b]))
        assert found.alpha == pytest.approx(3 / 2 * (1 - 3 * 0.25 / 0.25)) and found.sem is None
        assert "negative" in found.note


def test_numbers_are_compared_from_ten_on_each_side():
    """By hand: nine say nothing; ten of each do."""
    few, ten = statistics.against_rest([1] * 9, [0] * 10, 1), statistics.against_rest([1] * 10, [0] * 10, 1)
    assert few.difference is None and "fewer than 10" in few.note
    assert (ten.difference, ten.error, ten.note) == (1, 0, "easier with these numbers")
    assert statistics.against_rest([0] * 10, [1] * 10, 1).note == "harder with these numbers"


def test_a_difference_is_named_from_the_least_that_counts_on():
    """The spread is nought here, so that only the size decides."""
    least = statistics.UNLIKE
    assert statistics.against_rest([least] * 16, [0.0] * 16, 1).note == "easier with these numbers"
    assert statistics.against_rest([0.125] * 16, [0.0] * 16, 1).note == ""


def test_a_difference_must_stand_out_of_its_error():
    """Ten with half of them right against ten with none: a difference of a half, and three standard errors."""
    found = statistics.against_rest([0, 1] * 5, [0] * 10, 1)
    assert found.difference == 0.5 and found.error == pytest.approx(math.sqrt((5 / 18) / 10))
    assert found.difference / found.error < statistics.ERRORS and found.note == ""


def test_words_for_discrimination():
    assert [statistics.level(x) for x in (0.4, 0.35, 0.2, 0.0, -0.1, None)] == [
        "very good", "good", "marginal", "poor", "negative: suspect the key", "",
    ]  # fmt: skip
