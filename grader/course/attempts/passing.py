"""When an objective is met and when a module is passed: decided here for every sheet, report and export."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cache
from types import SimpleNamespace
from typing import Any

from sqlalchemy import Row

from grader import catalogue
from grader.marking.verdict import AWAITING, READ
from grader.records.term.policy import GIVEN, POINTS, Policy
from grader.records.term.term import Term

FEWEST_ITEMS = 2
YES, NO, TOO_FEW, WAITS = "yes", "no", "too few items", "waits"
OPEN = ""  # not decided before everything is read


@dataclass(frozen=True, slots=True)
class Judged:
    """An objective in the answers of one attempt. `marks` are hundredths, None while an answer waits to be read."""

    marks: int | None
    most: int
    threshold: int
    items: int
    met: str

    @property
    def lacking(self) -> bool:
        """Whether it is to be sat again: not met, or too few items to say so and as much lost in them."""
        few = self.met == TOO_FEW and self.marks is not None and self.marks * 100 < self.threshold * self.most
        return self.met == NO or few


@dataclass(frozen=True, slots=True)
class Outcome:
    """Whether a module is passed (yes, no, or `OPEN`), and the objectives that must be met and are not."""

    passed: str
    failed: tuple = ()

    def said(self) -> str:
        """In words: what is left of it to do stands there too."""
        if self.passed == NO and self.failed:
            return f"not passed: {', '.join(self.failed)} must be met"
        return {YES: "passed", NO: "not passed", OPEN: "open until everything is read"}[self.passed]


def judge(policy: Policy, code: str, rows: Sequence[Row]) -> Judged:
    """One objective by the answers that examine it.

    Parameters
    ----------
    policy : Policy
    code : str
    rows : sequence of rows of tm_answer
        Of one attempt.

    Returns
    -------
    Judged
    """
    limit, most = policy.threshold_of(code), sum(row.most for row in rows)
    if any(waiting(row) for row in rows):
        return Judged(None, most, limit, len(rows), WAITS)
    marks = sum(row.hundredths for row in rows)
    if len(rows) < FEWEST_ITEMS:
        return Judged(marks, most, limit, len(rows), TOO_FEW)
    return Judged(marks, most, limit, len(rows), YES if marks * 100 >= limit * most else NO)


def judge_all(policy: Policy, rows: Sequence[Row]) -> dict[str, Judged]:
    """Objective -> Judged for each that some rows of tm_answer examine, in the order of the objectives."""
    return {code: judge(policy, code, mine) for code, mine in by_objective(rows).items()}


def reached(term: Term, module_key: str, mark: int, most: int) -> bool:
    """Whether a mark reaches the pass mark of its module; decided on the unrounded mark."""
    return mark * 100 >= as_written(term.pass_percent(module_key)) * most


def as_written(limit: float | Decimal) -> Decimal:
    """A limit in per cent just as the file says it: in binary 64.4 per cent of 3000 is a little more than 1932."""
    return Decimal(str(limit))


def outcome(term: Term, mark: Row, rows: Iterable[Any]) -> Outcome:
    """Whether one attempt at a module passes: the pass mark, and every objective that must be met.

    An objective with a single item must reach its threshold in that item. One that the
    attempt did not examine, as older exercises may not, is not asked for.

    Parameters
    ----------
    term : Term
    mark : row of tm_mark
    rows : iterable of rows of tm_answer
        Of that attempt; looked at only where an objective must be met.

    Returns
    -------
    Outcome
    """
    needed = term.policy.must_pass_in(mark.module)
    by_code = by_objective(rows) if needed else {}
    judged = {code: judge(term.policy, code, by_code[code]) for code in needed if code in by_code}
    failed = tuple(code for code, objective in judged.items() if objective.lacking)
    if failed:
        return Outcome(NO, failed)
    if not reached(term, mark.module, mark.mark, mark.most):
        return Outcome(OPEN if mark.pending else NO)  # while an answer waits the mark is one so far
    return Outcome(OPEN if any(objective.met == WAITS for objective in judged.values()) else YES)


def rank(term: Term, mark: Row, outcome: Outcome) -> tuple[bool, int, int]:
    """Which of several attempts counts: the best mark, of equal ones the later; one that passes first where more is asked."""
    more = bool(term.policy.must_pass_in(mark.module))
    return more and outcome.passed == YES, mark.mark, mark.attempt


def by_objective(rows: Iterable[Any]) -> dict[str, list[Any]]:
    """Objective -> the rows of tm_answer that examine it, in the order of the objectives."""
    by_code, tags = {}, examined()
    for row in rows:
        for code in tags.get(row.part, ()):
            by_code.setdefault(code, []).append(row)
    return {code: by_code[code] for code in catalogue.objectives() if code in by_code}


@cache
def examined() -> dict[str, tuple[str, ...]]:
    """Codes of objectives by path of a part; earlier work has parts that later versions lack."""
    return {
        f"{exercise.key}.{part.key}": part.objectives
        for module in catalogue.all_modules().values()
        for exercise in (*module.old, *module.exercises)
        for part in exercise.parts
    }


def as_marked(rows: Sequence[Any], by_hand: Mapping[str, int]) -> Sequence[Any]:
    """The answers of an attempt as they are to be judged: one that waits has the mark by hand of its exercise.

    Nobody reads it any more. A mark by hand for several parts together is none of one of them; those stay as they are.

    Parameters
    ----------
    rows : sequence of rows of tm_answer
    by_hand : dict
        Exercise key -> hundredths set by hand in that attempt.
    """
    if not by_hand:
        return rows
    return [
        SimpleNamespace(**row._asdict() | {"hundredths": by_hand[row.exercise], "verdict": READ})
        if waiting(row) and row.exercise in by_hand and row.part in _alone()
        else row
        for row in rows
    ]


@cache
def _alone():
    """Paths of the parts that are all of their exercise."""
    modules = catalogue.all_modules().values()
    exercises = [exercise for module in modules for exercise in (*module.old, *module.exercises)]
    return {path for exercise in exercises if len(exercise.parts) == 1 for _, path in exercise.paths}


def waiting(row: Any) -> bool:
    """Whether an instructor has still to read this answer."""
    return row.verdict == AWAITING or row.hundredths is None


@dataclass(frozen=True, slots=True)
class Total:
    """`got` of `most` hundredths; where modules do not count by points, hundredths of a hundred, `got` a fraction."""

    got: Fraction
    most: int


def total(policy: Policy, counted: Sequence[tuple[str, int, int]]) -> Total | None:
    """The total of what counts; what is excused, not due or not marked is not in it, and the rest fills its place.

    Parameters
    ----------
    policy : Policy
    counted : sequence of (str, int, int)
        Module, mark and most, in hundredths; work that counts nothing has a mark of 0.

    Returns
    -------
    Total or None
        None where nothing counts: nobody gets nought out of nought.
    """
    if policy.totals == POINTS:
        most = sum(most for _, _, most in counted)
        return Total(Fraction(sum(mark for _, mark, _ in counted)), most) if most else None
    given = policy.totals == GIVEN
    weights = [Fraction(policy.weights.get(module, 0) if given else 1) for module, _, _ in counted]
    whole = sum(weights, Fraction())
    if not whole:
        return None
    shares = (weight * Fraction(mark, most) for weight, (_, mark, most) in zip(weights, counted, strict=True))
    return Total(sum(shares, Fraction()) / whole * 10000, 10000)
