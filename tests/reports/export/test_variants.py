"""Numbers drawn that make a question easier or harder show; fair ones hardly ever do."""

import csv
import io

import numpy as np
import pytest
from scipy.stats import ttest_ind

from grader.reports.export import package
from grader.reports.export.pages import programme_report
from grader.reports.tables import item_analysis, statistics, variants
from tests.seed.draws import SEED

ITEM = "m01.total.line_off"


def pool(marks, right, engines):
    """A pool of one item of five marks."""
    rows = [[int(mark)] for mark in marks]
    drawn = [{"m01.total": engine} for engine in engines]
    return item_analysis.Pool(
        "m01_timing", "v", [ITEM], [500], rows=rows, right=[[one] for one in right], engines=drawn
    )


def by_label(found):
    return {row["bin"]: row for row in variants.rows([found])}


def test_an_unfair_engine_is_named():
    """Forty trainees; whoever drew the six solves it in one case of ten, all others in nine."""
    engines = ["six", "four", "eight", "four"] * 10
    # One six in ten solves it, and one of the others in ten does not; the exceptions lie over the whole span of answers.
    turns = [engines[:place].count("six") if engine == "six" else place for place, engine in enumerate(engines)]
    marks = [500 * ((turn % 10 == 5) == (engine == "six")) for engine, turn in zip(engines, turns, strict=True)]
    found = by_label(pool(marks, np.linspace(10.0, 30.0, 40), engines))
    assert found["six"]["note"] == "harder with these numbers" and found["six"]["n"] == "10"
    assert float(found["six"]["facility"]) < 0.3 < 0.7 < float(found["six"]["facility_of_rest"])
    assert [row["note"] for label, row in found.items() if "third" in label] == ["", "", ""]
    said = programme_report.unlike([pool(marks, np.linspace(10.0, 30.0, 40), engines)])
    assert ("six", "harder with these numbers") in {(line[1], line[5]) for line in said}


def test_large_answers_that_are_hard_are_named():
    right = np.linspace(10.0, 30.0, 45)
    marks = np.where(right > 23.5, 0, 500)
    found = by_label(pool(marks, right, ["four"] * 45))
    assert [row["note"] for row in found.values()] == ["easier with these numbers"] * 2 + ["harder with these numbers"]
    assert list(found) == [
        "lowest third: 10 to 16.36 ° crank", "middle third: 16.82 to 23.18 ° crank", "highest third: 23.64 to 30 ° crank",
    ]  # fmt: skip
    assert {row["by"] for row in found.values()} == {"right answer"}, "one engine alone is no bin"


def test_fair_numbers_are_hardly_ever_named():
    """1,000 fair classes of 40 with 5 bins each: one named bin in 200 at most."""
    print(f"seed {SEED}")
    chance, named, bins = np.random.default_rng(SEED), 0, 0
    for _ in range(1000):
        engines = chance.permutation(["six", "four", "eight", "four"] * 10)
        marks = 100 * chance.binomial(5, chance.uniform(0.2, 0.9), 40)
        found = by_label(pool(marks, chance.uniform(5, 40, 40), list(engines)))
        bins += len(found)
        named += sum(bool(row["note"]) for row in found.values())
    print(f"{named} of {bins} bins named")
    assert bins > 4000 and named / bins < 1 / 200


@pytest.mark.parametrize(("n", "parts"), [(9, 0), (19, 0), (20, 2), (29, 2), (30, 3), (200, 3)])
def test_bins_hold_ten_or_more_and_everybody_once(n, parts):
    right = np.arange(n, dtype=float)
    found = list(variants.bins(pool([500] * n, right, ["four"] * n), 0))
    assert len(found) == parts
    if parts:
        masks = np.array([mine for _, _, mine in found])
        assert masks.sum(axis=1).min() >= 10 and (masks.sum(axis=0) == 1).all()


def test_equal_right_answers_are_never_parted():
    right = [10.0] * 24 + [20.0] * 3 + [30.0] * 12
    found = list(variants.bins(pool([500] * 39, right, ["four"] * 39), 0))
    for _, _, mine in found:
        assert all(
            (value in np.array(right)[mine]) != (value in np.array(right)[~mine]) for value in (10.0, 20.0, 30.0)
        )
        assert mine.sum() >= 10


def test_answers_in_words_go_by_what_was_right():
    right = ["seized"] * 12 + ["good"] * 12 + ["punctured"] * 4
    found = by_label(pool([500] * 28, right, [""] * 28))
    assert {label: row["n"] for label, row in found.items()} == {"seized": "12", "good": "12"}


def test_the_standard_error_is_welchs():
    """difference / standard error is the statistic of scipy's t test with unequal variances."""
    chance = np.random.default_rng(SEED)
    mine, others = chance.integers(0, 6, 14), chance.integers(0, 6, 31)
    found = statistics.against_rest(mine, others, 5)
    assert found.difference / found.error == pytest.approx(ttest_ind(mine, others, equal_var=False).statistic)
    assert "fewer than 10" in statistics.against_rest(mine, others[:9], 5).note


def test_the_demos_bins_agree_with_its_analysis(demo_term):
    """Facility of an item is the mean of its bins, weighted; a carried answer goes by what its numbers make right."""

    def read(name):
        return list(csv.DictReader(io.StringIO(package.write([demo_term], name).path.read_text("utf-8"), newline="")))

    overall = {row["item"]: row for row in read("analysis")}
    by = {}
    for row in read("variants"):
        by.setdefault((row["item"], row["by"]), []).append(row)
    whole = {key: found for key, found in by.items() if sum(int(row["n"]) for row in found) == 22}
    assert len(whole) > 5
    for (item, _), found in whole.items():
        mean = sum(int(row["n"]) * float(row["facility"]) for row in found) / 22
        assert mean == pytest.approx(float(overall[item]["facility"]), abs=2e-4)
    from grader import catalogue
    from grader.exercise.truth import Truth
    from tests.work import issue_of

    [found] = item_analysis.pools([demo_term], drawn=True)
    right = sorted(row[found.items.index("m01.total.line_on")] for row in found.right)
    module, told = catalogue.module("m01_timing"), []
    for row in csv.DictReader(io.StringIO(package.write([demo_term], "grades").path.read_text("utf-8"), newline="")):
        if row["mark"]:
            truth = Truth(module, issue_of(demo_term, row["trainee_id"].lower()).numbers)
            told.append(truth.answer("m01.total.line_on"))
    assert right == pytest.approx(sorted(told), abs=0.01)
