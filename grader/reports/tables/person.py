"""All that the records hold about one person, for whoever talks with him."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import select

from grader.course.attempts import standing
from grader.course.attempts.standing import Standing
from grader.records import database, schema, witnessed
from grader.records.term import roster
from grader.records.term.roster import Trainee
from grader.records.term.term import Term
from grader.reports.tables import people, wording


@dataclass(frozen=True, slots=True)
class About:
    """One person: where he stands in each module, his slips, what was witnessed, and his rows of changes.csv.

    `slips` are (module, exercise and part, what the slip is) of the attempt that counts.
    """

    person: Trainee
    standings: list[Standing]
    slips: list[tuple[str, str, str]]
    witnessed: list[witnessed.Task]
    changes: list[dict[str, str]]


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
        mine = [row for row in people.changes(term, connection) if row["trainee_id"] == person.college_id]
    return About(person, standings, slips, tasks, mine)
