"""All that the records hold about one person, for whoever talks with him."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select

from grader import clock
from grader.course.attempts import standing
from grader.course.attempts.standing import Standing
from grader.records import database, ledger, schema, witnessed
from grader.records.term import roster
from grader.records.term.roster import Trainee
from grader.records.term.term import Term
from grader.reports.tables import grades, wording

_SAID = (ledger.TAKEN_BACK, ledger.DUE, ledger.RECEIVED)  # kinds that say more than the event does


@dataclass(frozen=True, slots=True)
class Changed:
    """A row of the ledger for a person: values as marks, moments on the term's clock, or words."""

    seq: int
    at: str
    event: str
    module: str
    old: str
    new: str
    reason: str


@dataclass(frozen=True, slots=True)
class About:
    """One person: where he stands in each module, his slips, what was witnessed, and what the ledger says of him.

    `slips` are (module, exercise and part, what the slip is) of the attempt that counts; `changes` are in
    order, without the pages that were returned and the numbers that were issued as to all.
    """

    person: Trainee
    standings: list[Standing]
    slips: list[tuple[str, str, str]]
    witnessed: list[witnessed.Task]
    changes: list[Changed]


def about(term: Term, trainee_id: str) -> About:
    """Everything about one person; nothing is written.

    Parameters
    ----------
    term : Term
    trainee_id : str
        Either of his ids.

    Raises
    ------
    Unknown
        Nobody of that id.
    """
    with database.reading(term) as connection:
        person = roster.one(connection, trainee_id)
        modules = standing.assigned_modules(connection)
        standings = standing.standings(term, connection, modules, people=[person])
        table, counting = schema.answer, {(result.module, result.attempt) for result in standings}
        rows = connection.execute(
            select(table).where(table.c.trainee == person.id, table.c.slip != "").order_by(table.c.module, table.c.part)
        )
        slips = [
            (row.module, wording.question(row.part), wording.slip(row.part, row.slip))
            for row in rows
            if (row.module, row.attempt) in counting
        ]
        tasks = [task for task in witnessed.tasks(connection) if task.trainee == person.id]
        mine = [
            Changed(
                seq,
                term.shown(clock.from_text(at)),
                entry["kind"] if entry["kind"] in _SAID else entry["event"],
                entry["module"],
                _value(term, entry, "old"),
                _value(term, entry, "new"),
                entry["reason"],
            )
            for seq, at, entry in ledger.entries(connection)
            if entry["trainee"] == person.id and not _plain(entry)
        ]
    return About(person, standings, slips, tasks, mine)


def _plain(entry: Mapping[str, Any]) -> bool:
    """Whether a row of the ledger tells nothing that the standings do not: what went out as to all, and pages."""
    if entry["event"] == "returned":
        return entry["kind"] != ledger.TAKEN_BACK
    return entry["event"] == "issued" and not entry["reason"]


def _value(term: Term, entry: Mapping[str, Any], which: str) -> str:
    """Of a page the digests say nothing to a person."""
    return "" if entry["event"] == "returned" else grades.changed(term, entry, which)
