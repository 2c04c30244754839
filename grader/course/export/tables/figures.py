"""Rows of figures: item analysis and reliability, pooled over all classes of an export."""

from collections import Counter
from dataclasses import dataclass, field

import numpy as np
from sqlalchemy import select

from grader import catalogue
from grader.course import statistics
from grader.course.export import scope
from grader.course.export.tables.people import waiting
from grader.course.records import schema


@dataclass(slots=True)
class Pool:
    """First attempts of one module in one version, from all classes.

    `marks` has a row for each trainee and a column for each item, in marks;
    `left_out` counts trainees with a gap.
    """

    module: str
    key_version: str
    items: list
    most: list
    rows: list = field(default_factory=list)
    left_out: int = 0
    answers: Counter = field(default_factory=Counter)
    slips: dict = field(default_factory=dict)

    @property
    def marks(self):
        return np.array(self.rows, dtype=float).reshape(len(self.rows), len(self.items)) / 100


def pools(opened):
    """The pools of several terms, in order of module and version."""
    found = {}
    for _, connection in scope.each(opened):
        for batch in scope.batches(connection):
            wanted = [person.id for person in batch]
            marks = connection.execute(
                select(schema.mark).where(schema.mark.c.trainee.in_(wanted), schema.mark.c.attempt == 1)
            ).all()
            answers = {}
            for row in connection.execute(
                select(schema.answer).where(schema.answer.c.trainee.in_(wanted), schema.answer.c.attempt == 1)
            ):
                answers.setdefault((row.trainee, row.module), {})[row.part] = row
            for mark in sorted(marks, key=lambda row: (row.trainee, row.module)):
                _add(found, mark, answers.get((mark.trainee, mark.module), {}))
    return [found[key] for key in sorted(found)]


def analysis(pools_found):
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
                "facility": _figure(got.facility),
                "discrimination": _figure(got.discrimination),
                "basis": got.basis,
                "level": statistics.level(got.discrimination),
                "item_rest_r": _figure(got.rest_correlation),
                "top_slip": slip,
                "top_slip_share": _figure(count / pool.answers[item]) if slip else "",
                "note": got.note,
            }


def modules(pools_found):
    """Rows of modules.csv."""
    for pool in pools_found:
        got = statistics.test(pool.marks)
        yield {
            "module": pool.module,
            "key_version": pool.key_version,
            "n": str(got.n),
            "left_out": str(pool.left_out),
            "items": str(len(pool.items)),
            "mean": _figure(got.mean),
            "sd": _figure(got.sd),
            "alpha": _figure(got.alpha),
            "alpha_low": _figure(got.alpha_low),
            "alpha_high": _figure(got.alpha_high),
            "sem": _figure(got.sem),
            "note": got.note,
        }


def _add(found, mark, answers):
    key = (mark.module, mark.key_version)
    if key not in found:
        order = [path for _, _, path in catalogue.module(mark.module).parts()]
        items = sorted(answers, key=lambda part: (order.index(part) if part in order else len(order), part))
        found[key] = Pool(*key, items, [answers[item].most for item in items])
    pool = found[key]
    for part, row in answers.items():
        pool.answers[part] += 1
        if row.slip:
            pool.slips.setdefault(part, Counter())[row.slip] += 1
    if any(item not in answers or waiting(answers[item]) for item in pool.items):
        pool.left_out += 1
    else:
        pool.rows.append([answers[item].hundredths for item in pool.items])


def _figure(value):
    """At most four decimals; never minus nought."""
    if value is None:
        return ""
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
