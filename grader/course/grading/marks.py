"""The rows of one marking, gathered and written together."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from sqlalchemy import Connection, Row, bindparam, delete, select

from grader import clock
from grader.exercise.model import Module
from grader.records import adjustments, ledger, schema
from grader.records import answers as answers_table
from grader.records.adjustments import Adjustments
from grader.records.gradebook import gradebook

_OWNER, _MINE = ("trainee", "module", "attempt"), ("my_trainee", "my_module", "my_attempt")


class Marks:
    """The marks of some trainees in a module as they stand, and new ones gathered for them.

    Nothing is written before `write`, so that few statements serve all of them; they
    run in the caller's transaction.

    Parameters
    ----------
    connection : Connection
        In a transaction.
    module : Module
    trainees : iterable of str
    """

    def __init__(self, connection: Connection, module: Module, trainees: Iterable[str]) -> None:
        self._c, table, people = connection, schema.mark, set(trainees)
        mine = table.c.module == module.key, table.c.trainee.in_(people)
        self._before = {adjustments.owner(row): row for row in connection.execute(select(table).where(*mine))}
        self._new = {}
        self._module, self._trainees, self._kept = module.key, people, None

    def before(self, issue: Row) -> Row | None:
        """The mark of an issue as it stood, a row of tm_mark; None where nothing was marked."""
        return self._before.get(adjustments.owner(issue))

    def same_answers(self, issue: Row, rows: list[dict[str, Any]]) -> bool:
        """Whether the answers of an issue stand in the records as marking gives them now."""
        if self._kept is None:
            table = schema.answer
            mine = (table.c.module == self._module, table.c.trainee.in_(self._trainees))
            self._kept = {}
            columns = (table.c[name] for name in (*_OWNER, *answers_table.DECIDING))
            for row in self._c.execute(select(*columns).where(*mine)):
                self._kept.setdefault(adjustments.owner(row), set()).add(answers_table.deciding(row))
        return self._kept.get(adjustments.owner(issue), set()) == set(map(answers_table.deciding, rows))

    def put(
        self,
        issue: Row,
        values: dict[str, Any],
        answers: list[dict[str, Any]],
        work: gradebook.Work,
        entry: ledger.Entry,
    ) -> None:
        """Gather the mark of an issue.

        Parameters
        ----------
        issue : row of tm_issue
        values : dict
            Columns of tm_mark.
        answers : list of dict
            Rows of tm_answer.
        work : gradebook.Work
            The same for nbgrader.
        entry : ledger.Entry
        """
        self._new[adjustments.owner(issue)] = (values, answers, work, entry)

    def write(self, rows: gradebook.Rows, decided: Adjustments) -> None:
        """Put what was gathered into records, gradebook and ledger.

        Parameters
        ----------
        rows : gradebook.Rows
        decided : Adjustments
        """
        old = [dict(zip(_MINE, owner, strict=True)) for owner in self._new if owner in self._before]
        for table in (schema.mark, schema.answer):
            if old:
                same = (table.c[name] == bindparam(mine) for name, mine in zip(_OWNER, _MINE, strict=True))
                self._c.execute(delete(table).where(*same), old)
        marks = [dict(zip(_OWNER, owner, strict=True)) | new[0] for owner, new in self._new.items()]
        answers = [row for new in self._new.values() for row in new[1]]
        for table, new_rows in ((schema.mark, marks), (schema.answer, answers)):
            if new_rows:
                self._c.execute(table.insert(), new_rows)
        rows.write(self._counting(decided))
        ledger.append(self._c, [new[3] for new in self._new.values()])

    def _counting(self, decided):
        """Each trainee's work that counts: nbgrader has one row for all attempts."""
        marks = {owner: row.mark for owner, row in self._before.items()}
        marks |= {owner: new[0]["mark"] for owner, new in self._new.items()}
        best = {}
        for owner in sorted(marks, key=lambda owner: (marks[owner], owner[2])):  # the best, of equal ones the later
            best[owner[0]] = owner
        people = {owner[0]: new[2].person for owner, new in self._new.items()}
        return [
            self._new[best[who]][2] if best[who] in self._new else _earlier(self._c, person, best[who], decided)
            for who, person in people.items()
        ]


def _earlier(connection, person, owner, decided):
    """The work of an attempt that was marked before, from the records."""
    marks, answers = schema.mark, schema.answer
    mark = connection.execute(select(marks).where(*adjustments.of(marks, owner))).one()
    earned = {}
    for row in connection.execute(select(answers).where(*adjustments.of(answers, owner))):
        earned.setdefault(row.exercise.partition(".")[2], []).append(row.hundredths)
    computed = {name: sum(parts) for name, parts in earned.items() if None not in parts}
    by_hand = {key.partition(".")[2]: mark for key, mark in decided.overrides.get(owner, {}).items()}
    return gradebook.Work(person, clock.from_text(mark.handed_in_at), computed, mark.penalty, by_hand)
