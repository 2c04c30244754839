"""Every figure that the project did not make itself, against the reference functions."""

import pytest

from grader.errors import BadTable
from grader.published_checks import checks


@pytest.mark.parametrize("check", checks.every(), ids=lambda check: f"{check.table}-{check.id}-{check.label}")
def test_check_row(check):
    outcome = checks.run(check)
    assert outcome.passed, (
        f"{check.function} gave {outcome.got:g} {check.unit}; {check.source} has {check.expected} ({check.allowed})"
    )


def test_ids_are_unique():
    ids = [check.id for check in checks.every()]
    assert len(ids) == len(set(ids))


def test_no_function_rests_on_frozen_rows_alone():
    by_function = {}
    for check in checks.every():
        by_function.setdefault(check.function, set()).add(check.label)
    assert [name for name, labels in by_function.items() if labels == {"Frozen"}] == []


def test_a_wrong_figure_fails():
    """The runner must be able to fail: one last place off is too much."""
    good = checks.Check("x", "Derived", "angles.firing_interval_deg", {"cylinders": 4}, "180", "deg", "last place",
                        "derived", "", "angles")  # fmt: skip
    assert checks.run(good).passed
    for expected, allowed in (("181", "last place"), ("180.6", "0.5"), ("200", "7 %"), ("181..190", "range")):
        spoiled = checks.Check(
            "x", "Derived", good.function, good.inputs, expected, "deg", allowed, "derived", "", "angles"
        )
        assert not checks.run(spoiled).passed, (expected, allowed)


@pytest.mark.parametrize("allowed", ["", "half", "7%%", "range"])
def test_a_bad_width_is_refused(allowed):
    with pytest.raises(BadTable, match="write 'last place'"):
        checks.bounds(checks.Check("x", "Derived", "f", {}, "3", "", allowed, "derived", "", "angles"))


@pytest.mark.parametrize(("printed", "half"), [("36.00", 0.005), ("4", 0.5), ("1.5e3", 50.0), ("0.0131", 0.00005)])
def test_last_place(printed, half):
    assert checks.last_place(printed) == pytest.approx(half)
