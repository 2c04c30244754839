"""How modules add up: the worked figures, what is taken out, and that nobody gets nought out of nought."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grader import catalogue, clock
from grader.course.attempts import passing
from grader.course.grading import adjust, mark_class
from grader.course.issue import assign
from grader.course.submissions import collect
from grader.exercise.model import PRACTICE
from grader.records.term import policy
from grader.records.term import term as terms
from grader.reports.export import layout
from grader.reports.tables.grades import percent
from tests.work import issue_of, put_in_inbox, right_answers, right_sheet, sheet_of

ONE, TWO = "m01_timing", "m02_dwell"
PER_TRAINEE = layout.Layout(
    "trainee", tuple((take, take) for take in ("trainee_id", "total", "total_max", "total_percent", "word")), (), ((60, "Pass"), (0, "Refer")),
)  # fmt: skip


@pytest.mark.parametrize(
    ("rules", "shown"),
    [
        (policy.Policy(), "39.77"),  # 17.5 of 44 points
        (policy.Policy(totals="equal"), "43.75"),  # the mean of 87.5 and 0
        (policy.Policy(totals="given", weights={ONE: 50, TWO: 50}), "43.75"),
        (policy.Policy(totals="given", weights={ONE: 80, TWO: 20}), "70"),
        (policy.Policy(totals="given", weights={ONE: 100}), "87.5"),
    ],
)
def test_the_worked_figures(rules, shown):
    """17.5 of 20 and 0 of 24: 39.77 by points, 43.75 if modules count alike."""
    found = passing.total(rules, [(ONE, 1750, 2000), (TWO, 0, 2400)])
    assert percent(found.got, found.most, 60) == shown


@pytest.mark.parametrize("kind", ["points", "equal", "given"])
def test_nothing_that_counts_is_no_total(kind):
    rules = policy.Policy(totals=kind, weights={TWO: 100})
    assert passing.total(rules, []) is None
    if kind == "given":
        assert passing.total(rules, [(ONE, 1750, 2000)]) is None  # it has no weight


@settings(max_examples=200)
@given(
    marks=st.lists(st.tuples(st.integers(0, 3000), st.sampled_from([2000, 2400, 3000])), min_size=1, max_size=4),
    weights=st.lists(st.integers(1, 100), min_size=4, max_size=4),
    kind=st.sampled_from(["points", "equal", "given"]),
    out=st.sets(st.integers(0, 3)),
)
def test_what_is_taken_out_leaves_the_rest_rescaled(marks, weights, kind, out):
    keys = list(catalogue.all_modules())[:4]
    rules = policy.Policy(totals=kind, weights=dict(zip(keys, weights, strict=True)))
    kept = [(keys[n], min(mark, most), most) for n, (mark, most) in enumerate(marks) if n not in out]
    found = passing.total(rules, kept)
    if not kept:
        assert found is None
        return
    share = found.got / found.most
    shares = [Fraction(mark, most) for _, mark, most in kept]
    assert min(shares) <= share <= max(shares)  # a mean of what is left, whatever was taken out
    if len(kept) == 1:
        assert share == shares[0]
    weighing = {"points": [most for *_, most in kept], "equal": [1] * len(kept), "given": [rules.weights[k] for k, *_ in kept]}[kind]  # fmt: skip
    assert share == sum(w * s for w, s in zip(weighing, shares, strict=True)) / sum(weighing)


def shown(term, text=""):
    if text:
        (term.folder / policy.NAME).write_text('format = "timing-mark policy"\nschema = 1\n' + text)
    opened = terms.open_term(term.folder)
    return {row["trainee_id"]: row for row in layout.rows([opened], PER_TRAINEE)}


def in_time(term, sheet, module):
    path = put_in_inbox(term, sheet)
    collect.collect(term, [path.parent], received_at=clock.parse("2026-03-30 12:00", term.settings.zone))
    mark_class.mark(term, module)


@pytest.fixture
def two(assigned_term):
    """T01 has all of the first module and nothing of the second, which is due; T02 is excused from both."""
    in_time(assigned_term, right_sheet(issue_of(assigned_term, "t01")), ONE)
    assign.assign(assigned_term, TWO, due="2026-03-31 17:00")
    for module in (ONE, TWO):
        adjust.excuse(assigned_term, "t02", module, reason="did it elsewhere")
    return assigned_term


def test_of_a_class(two):
    by_points = shown(two)
    assert (by_points["T01"]["total"], by_points["T01"]["total_max"], by_points["T01"]["total_percent"]) == (
        "28", "60", "46.67",
    )  # fmt: skip
    # All excused: no mark, no word. Nothing handed in after the due time: nought of all.
    assert set(by_points["T02"].values()) == {"T02", ""}
    assert (by_points["T03"]["total"], by_points["T03"]["total_percent"], by_points["T03"]["word"]) == (
        "0",
        "0",
        "Refer",
    )
    alike = shown(two, '[totals]\nweights = "equal"\n')
    assert (alike["T01"]["total"], alike["T01"]["total_max"], alike["T01"]["total_percent"]) == (
        "46.67",
        "100",
        "46.67",
    )
    weighed = shown(two, f'[totals]\nweights = "given"\n[modules.{ONE}]\nweight = 75\n[modules.{TWO}]\nweight = 25\n')
    assert (weighed["T01"]["total_percent"], weighed["T01"]["word"]) == ("70", "Pass")
    adjust.excuse(two, "t01", TWO, reason="did it elsewhere")
    assert shown(two)["T01"]["total_percent"] == "93.33"  # the rest fills its place


def test_practice_counts_in_no_total(assigned_term):
    in_time(assigned_term, right_sheet(issue_of(assigned_term, "t01")), ONE)
    before = shown(assigned_term)["T01"]
    assign.assign(assigned_term, TWO, mode=PRACTICE, due="2026-03-31 17:00")
    assert shown(assigned_term)["T01"] == before  # not handed in, and still no nought
    module = catalogue.module(TWO)
    record = issue_of(assigned_term, "t01", TWO)
    in_time(assigned_term, sheet_of(record, right_answers(module, record)), TWO)
    assert shown(assigned_term)["T01"] == before
