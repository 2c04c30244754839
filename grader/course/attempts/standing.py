"""Where each trainee stands in a module: one state word, and the mark that counts."""

from __future__ import annotations

import json
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import Connection, Row, select

from grader import catalogue, clock
from grader.course.attempts import passing
from grader.errors import Refused
from grader.exercise.issued import KEPT
from grader.exercise.model import PRACTICE
from grader.records import adjustments, schema
from grader.records.adjustments import Adjustments
from grader.records.term import roster
from grader.records.term.term import Term

NOT_ASSIGNED, NOT_HANDED_IN, HANDED_IN = "not assigned", "not handed in", "handed in"
NOT_PASSED = "not passed"
PARTLY_MARKED, MARKED, EXCUSED = "partly marked", "marked", "excused"


@dataclass(frozen=True, slots=True)
class Standing:
    """One trainee in one module. Marks are hundredths; None where there is none.

    `passed` is "yes", "no" or blank, and always blank in practice, which nobody passes or
    fails; `failed` are the objectives that must be met and are not.
    """

    person: roster.Trainee
    module: str
    attempt: int | None
    state: str
    due: str
    handed_in_at: str
    mark: Row | None  # of tm_mark
    extension_until: str = ""
    attempts: int = 0  # how many were issued
    mode: str = ""  # assessed or practice; blank where nothing is assigned
    passed: str = ""
    failed: tuple = ()

    @property
    def counts(self) -> bool:
        """Whether it is work of which there are grades and totals: practice is not."""
        return self.mode != PRACTICE


def assigned_modules(connection: Connection) -> list[str]:
    """Keys of the modules that are assigned in this term, in order; one that was withdrawn is not."""
    return sorted(modes(connection))


def modes(connection: Connection) -> dict[str, str]:
    """Module -> assessed or practice, of the modules that are assigned in this term."""
    table = schema.assignment
    query = select(table.c.module, table.c.mode).where(table.c.withdrawn == "")
    return {row.module: row.mode for row in connection.execute(query)}


def withdrawn_modules(connection: Connection) -> set[str]:
    """Keys of the modules that were taken back: what was handed in for them is kept, and counts and stands nowhere."""
    table = schema.assignment
    return set(connection.execute(select(table.c.module).where(table.c.withdrawn != "")).scalars())


def must_be_assigned(connection: Connection, module_key: str) -> None:
    """Refuse a module that was never assigned in this term, or was withdrawn."""
    table = schema.assignment
    assignment = connection.execute(select(table).where(table.c.module == module_key)).first()
    if assignment is None:
        raise Refused(f"{module_key} was not assigned in this term. Run 'assign {module_key}' first.")
    if assignment.withdrawn:
        raise Refused(
            f"{module_key} was withdrawn ({assignment.withdrawn}). Run 'assign {module_key}' to take that back."
        )


def listed_modules(connection: Connection) -> list[str]:
    """Keys of the modules that a table of the term lists: those assigned, or all before the first is."""
    return assigned_modules(connection) or list(catalogue.all_modules())


def kept_answers(connection: Connection, module_key: str | None = None) -> set[tuple[str, str, int, str]]:
    """Exercises whose answers a resit keeps: their rows are in the records once more, and were answered once.

    Parameters
    ----------
    connection : Connection
    module_key : str or None
        None for all modules.

    Returns
    -------
    set of (str, str, int, str)
        Trainee, module, attempt of the resit, exercise key.
    """
    table = schema.issue
    mine = (table.c.attempt > 1, *([table.c.module == module_key] if module_key else ()))
    return {
        (row.trainee, row.module, row.attempt, key)
        for row in connection.execute(select(table).where(*mine))
        for key, entry in json.loads(row.record)["exercises"].items()
        if KEPT in entry
    }


def is_kept(row: Row, kept: Collection[tuple]) -> bool:
    """Whether a row of tm_answer is one that `kept_answers` names."""
    return (row.trainee, row.module, row.attempt, row.exercise) in kept


def best_attempts(connection: Connection, *conditions: Any) -> dict[tuple[str, str], int]:
    """(trainee, module) -> the marked attempt with the best mark, of equal ones the later: the one in nbgrader's book.

    Where an objective must be met another attempt may count, see `standings`; then a
    change of the policy must not change the book.

    Parameters
    ----------
    connection : Connection
    conditions : SQL conditions on tm_mark
        None of them: of all trainees and modules.
    """
    table = schema.mark
    wanted = select(table.c.trainee, table.c.module, table.c.attempt).where(*conditions)
    rows = connection.execute(wanted.order_by(table.c.mark, table.c.attempt))  # the last of each stays
    return {(row.trainee, row.module): row.attempt for row in rows}


def best_attempt(connection: Connection, trainee: str, module_key: str) -> int | None:
    """As `best_attempts` for one trainee and module; None where nothing is marked."""
    mine = (schema.mark.c.trainee == trainee, schema.mark.c.module == module_key)
    return best_attempts(connection, *mine).get((trainee, module_key))


def standings(
    term: Term,
    connection: Connection,
    module_keys: Sequence[str],
    *,
    people: Sequence[roster.Trainee] | None = None,
    decided: Adjustments | None = None,
) -> list[Standing]:
    """Standings of everybody enrolled, or withdrawn with a mark, in order of name.

    `people` are a part of them in that order, and `decided` the decisions, where the
    caller goes through a large class part by part.

    The attempt shown is the marked one with the best mark, else the latest; where an
    objective must be met, one that passes goes before one that does not. Whoever is
    excused has no mark, whatever he handed in. `due` is after any extension.
    """
    issues, hand_ins, marks, answers = {}, {}, {}, {}
    table = schema.issue
    wanted = (table.c.trainee, table.c.module, table.c.attempt, table.c.due)  # the records of the numbers are long
    names = None if people is None else [person.id for person in people]

    def rows(query, column):
        return connection.execute(query if names is None else query.where(column.in_(names)))

    for row in rows(select(*wanted).where(table.c.module.in_(module_keys)), table.c.trainee):
        issues.setdefault((row.trainee, row.module), []).append(row)
    for row in rows(select(schema.hand_in).order_by(schema.hand_in.c.id), schema.hand_in.c.trainee):
        hand_ins[row.trainee, row.module, row.attempt] = row
    for row in rows(select(schema.mark), schema.mark.c.trainee):
        marks[row.trainee, row.module, row.attempt] = row
    must = [module for module in module_keys if term.policy.must_pass_in(module)]
    for row in (
        rows(select(schema.answer).where(schema.answer.c.module.in_(must)), schema.answer.c.trainee) if must else ()
    ):
        answers.setdefault(adjustments.owner(row), []).append(row)
    decided, mode = decided or adjustments.read(connection), modes(connection)
    all_standings = []
    for person in roster.everyone(connection) if people is None else people:
        for module in module_keys:
            mine = sorted(issues.get((person.id, module), ()), key=lambda issue: issue.attempt)
            marked = [marks[person.id, module, i.attempt] for i in mine if (person.id, module, i.attempt) in marks]
            if person.status == roster.WITHDRAWN and not marked:
                continue
            judged = []
            for row in marked:
                given = passing.as_marked(answers.get(adjustments.owner(row), ()), decided.by_hand(row))
                judged.append((row, passing.outcome(term, row, given)))
            standing = _standing(term, person, module, mine, judged, hand_ins, decided)
            standing = replace(standing, attempts=len(mine), mode=mode.get(module, ""))
            all_standings.append(standing if standing.counts else replace(standing, passed="", failed=()))
    return all_standings


def missing_is_zero(term: Term, standing: Standing) -> bool:
    """True if absent work counts nothing in totals: by the setting, only after the due time, and never in practice."""
    past = bool(standing.due) and clock.now() > clock.from_text(standing.due)
    return term.settings.missing_counts_zero and standing.counts and standing.state == NOT_HANDED_IN and past


def _standing(term, person, module, issues, judged, hand_ins, decided):
    if (person.id, module) in decided.excused:
        return Standing(person, module, None, EXCUSED, "", "", None)
    if not issues:
        return Standing(person, module, None, NOT_ASSIGNED, "", "", None)
    best, outcome = max(judged, key=lambda pair: passing.rank(term, *pair)) if judged else (None, passing.Outcome(""))
    issue = next(issue for issue in issues if issue.attempt == best.attempt) if best else issues[-1]
    extension, due = decided.extension(issue), decided.due_text(issue)
    if best:
        return Standing(
            person,
            module,
            best.attempt,
            best.state,
            due,
            best.handed_in_at,
            best,
            extension,
            passed=outcome.passed,
            failed=outcome.failed,
        )
    hand_in = hand_ins.get(adjustments.owner(issue))
    state, arrived = (HANDED_IN, hand_in.received_at) if hand_in else (NOT_HANDED_IN, "")
    return Standing(person, module, issue.attempt, state, due, arrived, None, extension)


@dataclass(frozen=True, slots=True)
class Whom:
    """Of whom a decision is: some trainees by either of their ids, a group, or all who lack something.

    `lacking` is `NOT_HANDED_IN` or `NOT_PASSED`; alone it goes through everybody enrolled.
    """

    trainees: Sequence[str] = ()
    group: str = ""
    lacking: str = ""
    everybody: bool = False

    def people(self, term: Term, connection: Connection, module_key: str) -> list[roster.Trainee]:
        """Those people, in order of name.

        Raises
        ------
        Unknown
            No such trainee or group.
        Refused
            Nobody is named, or nobody lacks it.
        """
        if self.trainees and not self.group and not self.lacking:  # who has left can still be decided about
            return [roster.one(connection, trainee) for trainee in dict.fromkeys(self.trainees)]
        if not (self.trainees or self.group or self.lacking or self.everybody):
            raise Refused("Nobody is named. Name trainees, a group, or who lacks what; nothing was changed.")
        people = roster.chosen(connection, self.group, self.trainees)
        if self.lacking:
            theirs = standings(term, connection, [module_key], people=people)
            people = [standing.person for standing in theirs if _lacks(standing, self.lacking)]
            if not people:
                raise Refused(f"Nobody there is {self.lacking} in {module_key}. Nothing was changed.")
        return people


def _lacks(standing: Standing, lacking: str) -> bool:
    return standing.state == NOT_HANDED_IN if lacking == NOT_HANDED_IN else standing.passed == passing.NO
