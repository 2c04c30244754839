"""Rows of figures: item analysis and reliability, pooled over all classes of an export."""

import json
import sys
from array import array
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np
from sqlalchemy import select

from grader import catalogue
from grader.course.attempts import standing
from grader.exercise.model import PRACTICE
from grader.exercise.truth import Truth
from grader.marking.verdict import CARRIED
from grader.records import schema
from grader.records.term.term import Term
from grader.reports.tables import draws as origin
from grader.reports.tables import scope, statistics
from grader.reports.tables.people import expected, waiting


@dataclass(slots=True)
class Pool:
    """First attempts of one module in one version, from all classes.

    `marks` has a row for each trainee and a column for each item, in marks;
    `left_out` counts trainees with a gap. Where it is asked for, `right` holds in the
    same rows and columns what was right, as a number or in words, and `engines` in
    the same rows the engine drawn, by exercise.
    """

    module: str
    key_version: str
    items: list
    most: list
    rows: list = field(default_factory=list)
    left_out: int = 0
    answers: Counter = field(default_factory=Counter)
    slips: dict = field(default_factory=dict)
    right: list = field(default_factory=list)
    engines: list = field(default_factory=list)

    @property
    def marks(self) -> np.ndarray:
        return np.array(self.rows, dtype=float).reshape(len(self.rows), len(self.items)) / 100


def pools(opened: Iterable[Term], *, drawn: bool = False, practice: bool = False) -> list[Pool]:
    """The pools of several terms, in order of module and version.

    Parameters
    ----------
    opened : sequence of Term
    drawn : bool
        Also what was right and which engines were drawn; that takes longer.
    practice : bool
        Also of modules that were handed out as practice. There answers are mended after
        each verdict, so that they tell little about a question.

    Returns
    -------
    list of Pool
    """
    by_version = {}
    for term, connection in scope.each(opened):
        lines = {digest: f"{term.id}: {line}" for digest, line in origin.lines(connection).items()} if drawn else {}
        modes = standing.modes(connection)
        left_out = list(standing.withdrawn_modules(connection))
        left_out += [] if practice else [module for module, mode in modes.items() if mode == PRACTICE]
        for batch in scope.batches(connection):
            wanted = [person.id for person in batch]
            records = _records(connection, wanted) if drawn else {}
            marks = connection.execute(
                select(schema.mark).where(
                    schema.mark.c.trainee.in_(wanted), schema.mark.c.attempt == 1, schema.mark.c.module.not_in(left_out)
                )
            ).all()
            answers = {}
            for row in connection.execute(
                select(schema.answer).where(schema.answer.c.trainee.in_(wanted), schema.answer.c.attempt == 1)
            ):
                answers.setdefault((row.trainee, row.module), {})[row.part] = row
            for mark in sorted(marks, key=lambda row: (row.trainee, row.module)):
                owner = (mark.trainee, mark.module)
                pool, rows = _pool(by_version, mark, answers.get(owner, {})), answers.get(owner, {})
                if _add(pool, rows) and drawn:
                    _add_drawn(pool, rows, records[owner], lines)
    return [by_version[key] for key in sorted(by_version)]


def analysis(pools_found: Iterable[Pool]) -> Iterator[dict[str, str]]:
    """Rows of analysis.csv."""
    for pool in pools_found:
        table = pool.marks
        for column, (item, most) in enumerate(zip(pool.items, pool.most, strict=True)):
            got = statistics.item(table, column, most / 100)
            slip, count = pool.slips[item].most_common(1)[0] if pool.slips.get(item) else ("", 0)
            yield {
                "module": pool.module,
                "key_version": pool.key_version,
                "item": item,
                "n": str(got.n),
                "full_marks": str(got.full),
                "facility": figure(got.facility),
                "discrimination": figure(got.discrimination),
                "basis": got.basis,
                "level": statistics.level(got.discrimination),
                "item_rest_r": figure(got.rest_correlation),
                "top_slip": slip,
                "top_slip_share": figure(count / pool.answers[item]) if slip else "",
                "note": got.note,
            }


def modules(pools_found: Iterable[Pool]) -> Iterator[dict[str, str]]:
    """Rows of modules.csv."""
    for pool in pools_found:
        got = statistics.test(pool.marks)
        yield {
            "module": pool.module,
            "key_version": pool.key_version,
            "n": str(got.n),
            "left_out": str(pool.left_out),
            "items": str(len(pool.items)),
            "mean": figure(got.mean),
            "sd": figure(got.sd),
            "alpha": figure(got.alpha),
            "alpha_low": figure(got.alpha_low),
            "alpha_high": figure(got.alpha_high),
            "sem": figure(got.sem),
            "note": got.note,
        }


def _records(connection, trainees):
    """The issue of each first attempt, by (trainee, module)."""
    table = schema.issue
    query = select(table.c.trainee, table.c.module, table.c.record).where(
        table.c.trainee.in_(trainees), table.c.attempt == 1
    )
    return {(row.trainee, row.module): row.record for row in connection.execute(query)}


def _pool(by_version, mark, answers):
    key = (mark.module, mark.key_version)
    if key not in by_version:
        order = [path for _, _, path in catalogue.module(mark.module).parts()]
        items = sorted(answers, key=lambda part: (order.index(part) if part in order else len(order), part))
        by_version[key] = Pool(*key, items, [answers[item].most for item in items])
    return by_version[key]


def _add(pool, answers):
    """Put an attempt into its pool; False where an item has no mark yet."""
    for part, row in answers.items():
        pool.answers[part] += 1
        if row.slip:
            pool.slips.setdefault(part, Counter())[row.slip] += 1
    if any(item not in answers or waiting(answers[item]) for item in pool.items):
        pool.left_out += 1
        return False
    pool.rows.append(array("i", [answers[item].hundredths for item in pool.items]))
    return True


def _add_drawn(pool, answers, record, lines):
    """Put beside it what was drawn and what was right.

    An answer carried from an earlier one was compared with what follows from that; here
    it goes by what its numbers make right from the start, as everybody else's does.
    """
    drawn = origin.of_issue(record, lines)
    pool.engines.append({key: sys.intern(one_drawn.vehicle) for key, one_drawn in drawn.items() if one_drawn.vehicle})
    right = [_right(answers[item].expected) for item in pool.items]
    carried = [place for place, item in enumerate(pool.items) if answers[item].verdict == CARRIED]
    if carried:
        exercises = json.loads(record)["exercises"]
        issued = catalogue.module(pool.module).as_issued(exercises)
        truth = Truth(issued, {key: entry["parameters"] for key, entry in exercises.items()})
        for place in carried:
            right_answer = truth.answer(pool.items[place])
            right[place] = float(right_answer) if isinstance(right[place], float) else right[place]
    pool.right.append(right)


def _right(text):
    """What was right: the middle of a span of numbers, else the words."""
    low, high, other = expected(text)
    return sys.intern(other) if other or not low else (float(low) + float(high)) / 2


def figure(value: float | None) -> str:
    """At most four decimals; never minus nought."""
    if value is None:
        return ""
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
