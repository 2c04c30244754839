"""grades.csv: one row per trainee and module; what is absent is blank."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from grader import clock
from grader.course.attempts import passing, standing
from grader.records.term.roster import Trainee
from grader.records.term.term import Term
from grader.reports.tables import scope
from grader.reports.tables.columns import GRADES

if TYPE_CHECKING:
    from sqlalchemy import Connection

COLUMNS = GRADES.names
_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT[\d:.]+Z\Z")  # as `clock.to_text` writes it


def table(term: Term, connection: Connection, by: Callable[[Trainee], Any] | None = None) -> Iterator[dict[str, str]]:
    """The rows as dictionaries of text, in the order of `COLUMNS`; of trainees in order of name, or `by` something else."""
    for result in scope.standings(term, connection, standing.listed_modules(connection), by):
        row = dict.fromkeys(COLUMNS, "")
        row |= {
            "class": term.id,
            "trainee_id": result.person.college_id,
            "last_name": result.person.last_name,
            "first_name": result.person.first_name,
            "module": result.module,
            "mode": result.mode,
            "attempt": "" if result.attempt is None else str(result.attempt),
            "attempts": str(result.attempts),
            "status": result.state,
            "handed_in_at": result.handed_in_at,
            "extension_until": result.extension_until,
        }
        if result.mark is not None:
            row |= _figures(term, result)
        yield row


def hundredths(value: int) -> str:
    """A mark as text: 17, 17.5 or 17.25."""
    return f"{value // 100}.{value % 100:02d}".rstrip("0").rstrip(".")


def changed(term: Term, entry: Mapping[str, Any], which: str) -> str:
    """What stood before ("old") or after ("new") a change of the ledger: marks, a moment on the term's clock, or a word."""
    value = entry[which]
    if isinstance(value, int):
        return hundredths(value)
    if value and _MOMENT.match(value):
        return term.shown(clock.from_text(value))
    return "" if value is None else str(value)


def percent(mark: int | Fraction, most: int, limit: float | Decimal) -> str:
    """Two decimals, half rounded up, but cut off where rounding would reach a limit (per cent) that was missed."""
    bound, shown = passing.as_written(limit), int((mark * 100000 // most + 5) // 10)
    if mark * 100 < bound * most and shown >= bound * 100:
        shown = int(mark * 10000 // most)
    return hundredths(shown)


def _figures(term, attempt):
    row = attempt.mark
    return {
        "raw": hundredths(row.raw),
        "penalty": hundredths(row.penalty),
        "mark": hundredths(row.mark),
        "awaiting": hundredths(row.pending) if row.pending else "",
        "max": hundredths(row.most),
        # While an answer waits to be read the mark is one so far; only a pass that is reached already stands.
        "percent": "" if row.pending else percent(row.mark, row.most, term.pass_percent(row.module)),
        "passed": attempt.passed,
        "failed_objectives": ";".join(attempt.failed),
        "late_days": str(row.late_days),
        "marked_at": row.marked_at,
        "engine": row.engine,
        "key_version": row.key_version,
    }
