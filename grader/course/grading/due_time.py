"""Correcting an assignment: another due time for all, a group or some; a module taken back."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Row, select

from grader import clock
from grader.course.attempts import lateness
from grader.course.attempts.standing import Whom
from grader.course.grading import settle
from grader.course.grading.session import session
from grader.course.grading.work import Work
from grader.course.issue import assign, channels
from grader.errors import CannotWrite, Refused
from grader.exercise import issued
from grader.records import adjustments, ledger, schema
from grader.records.gradebook.exchange import exchange_config
from grader.records.term import dates
from grader.records.term.roster import Trainee
from grader.records.term.term import Term


@dataclass(frozen=True, slots=True)
class Moved:
    """A due time that was moved, or would be: whose, from when, to when, how many of them had handed in."""

    module: str
    people: tuple[Trainee, ...]
    before: tuple[str, ...]
    due: str
    handed_in: int
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Withdrawn:
    """A module that was taken back, or would be: how many had their numbers, how many had handed in."""

    module: str
    issued: int
    handed_in: int
    notes: tuple[str, ...] = ()


def change_due(term: Term, module_key: str, due: str, whom: Whom, *, reason: str = "", preview: bool = False) -> Moved:
    """Move the due time of a module; penalties, hand-outs and what late joiners get follow.

    For everybody it is the due time of the module; the numbers of a resit keep their
    own. For a group or for some it is that of their latest numbers. Undone by moving it
    back.

    Parameters
    ----------
    term : Term
    module_key : str
    due : str
        ISO date or moment in the term's zone.
    whom : Whom
    reason : str
        Needed once one of them has handed in.
    preview : bool
        Say whom it concerns; write nothing.

    Returns
    -------
    Moved

    Raises
    ------
    Unknown, Refused
        No such module or people; nothing would change; handed in and no reason; a date
        far from the term's years.
    """
    moment = clock.to_text(dates.parse(term, due))
    with session(term, module_key, "moving the due time of", read_only=preview) as work:
        assignment = _assignment(work)
        people = whom.people(term, work.connection, work.module.key)
        rows = [row for row in _issues(work, people, first=whom.everybody) if row.due != moment]
        if not rows and not (whom.everybody and assignment.due != moment):
            raise Refused(
                f"{work.module.key} is due at {term.shown(clock.from_text(moment))} already. Nothing was changed."
            )
        handed_in = _handed_in(work, rows)
        mine = {row.trainee for row in rows}
        moved = Moved(
            work.module.key,
            tuple(person for person in people if person.id in mine),
            tuple(sorted({row.due for row in rows})),
            moment,
            len(handed_in),
        )
        if preview:
            return moved
        if handed_in and not reason.strip():
            raise Refused(
                f"{len(handed_in)} of them have handed in, and their marks may change. Say why with --reason; nothing was "
                "changed."
            )
        if whom.everybody:
            table = schema.assignment
            work.connection.execute(table.update().where(table.c.module == work.module.key).values(due=moment))
            entry = ledger.Entry(
                "assigned", module=work.module.key, old=assignment.due, new=moment, reason=reason, kind=ledger.DUE
            )
            ledger.append(work.connection, [entry])
        _move(work, rows, moment, reason)
        work.keep()
        notes = _hand_out_again(work, rows)
        if clock.from_text(moment) < clock.now():
            notes.append("that due time has passed already: all that comes in will be late")
    return Moved(moved.module, moved.people, moved.before, moved.due, moved.handed_in, tuple(notes))


def withdraw(term: Term, module_key: str, *, reason: str = "", preview: bool = False) -> Withdrawn:
    """Take a module back: it counts nowhere and nothing is collected for it. Nothing is lost; assigning it again undoes it.

    Parameters
    ----------
    term : Term
    module_key : str
    reason : str
        Needed once somebody has handed in.
    preview : bool
        Say whom it concerns; write nothing.

    Returns
    -------
    Withdrawn

    Raises
    ------
    Unknown, Refused
        No such module; not assigned, or withdrawn already; handed in and no reason.
    """
    with session(term, module_key, "withdrawing", read_only=preview) as work:
        key, connection = work.module.key, work.connection
        _assignment(work)
        rows = connection.execute(select(schema.issue).where(schema.issue.c.module == key)).all()
        handed_in = _handed_in(work, rows)
        done = Withdrawn(key, len({row.trainee for row in rows}), len(handed_in))
        if preview:
            return done
        if handed_in and not reason.strip():
            raise Refused(
                f"{len(handed_in)} have handed in {key}, and it will count nowhere. Say why with --reason; nothing was changed."
            )
        why = reason.strip() or "nobody had handed in"
        table = schema.assignment
        connection.execute(table.update().where(table.c.module == key).values(withdrawn=why))
        ledger.append(
            connection, [ledger.Entry("assigned", module=key, new="withdrawn", reason=why, kind=ledger.WITHDRAWN)]
        )
        used = {way for ways in channels.known(connection, key).values() for way in ways}
        work.keep()
        for row in rows:
            for ending in ("zip", "html"):
                (term.folder / "out" / row.trainee / f"{key}.{ending}").unlink(missing_ok=True)
        shutil.rmtree(term.folder / "out" / channels.FOR_ALL / channels.FOLDER / key, ignore_errors=True)
    notes = (
        [f"ask the class to leave it, and take back what was handed out as {', '.join(sorted(used))}"] if used else []
    )
    return Withdrawn(done.module, done.issued, done.handed_in, tuple(notes))


def _assignment(work: Work) -> Row:
    table = schema.assignment
    assignment = work.connection.execute(select(table).where(table.c.module == work.module.key)).first()
    if assignment is None:
        raise Refused(f"{work.module.key} was not assigned in this term; nothing was changed.")
    if assignment.withdrawn:
        raise Refused(f"{work.module.key} was withdrawn already ({assignment.withdrawn}); nothing was changed.")
    return assignment


def _issues(work: Work, people: Sequence[Trainee], *, first: bool) -> list[Row]:
    """The first numbers of some people, or their latest."""
    table = schema.issue
    rows = work.connection.execute(
        select(table).where(table.c.module == work.module.key).order_by(table.c.trainee, table.c.attempt)
    )
    wanted, latest = {person.id for person in people}, {}
    for row in rows:
        if row.trainee in wanted and (row.attempt == 1 or not first):
            latest[row.trainee] = row
    return list(latest.values())


def _handed_in(work: Work, rows: Sequence[Row]) -> set[str]:
    table = schema.hand_in
    there = {
        adjustments.owner(row)
        for row in work.connection.execute(select(table).where(table.c.module == work.module.key))
    }
    return {row.trainee for row in rows if adjustments.owner(row) in there}


def _move(work: Work, rows: Sequence[Row], moment: str, reason: str) -> None:
    """Another due time in issues, records and ledger; then marks and what may count follow."""
    connection, table = work.connection, schema.issue
    entries = []
    for row in rows:
        record = issued.with_due(issued.parse(row.record.encode()), moment, work.term.key)
        values = {"due": moment, "record": issued.dump(record).decode()}
        connection.execute(table.update().where(*adjustments.of(table, adjustments.owner(row))).values(**values))
        entries.append(
            ledger.Entry(
                "assigned",
                trainee=row.trainee,
                module=row.module,
                attempt=row.attempt,
                old=row.due,
                new=moment,
                reason=reason,
                kind=ledger.DUE,
            )
        )
    ledger.append(connection, entries)
    decided = work.decisions()
    for row in rows:
        lateness.settle_arrivals(connection, adjustments.owner(row), reason)
        settle.settle(work, adjustments.owner(row), f"due time moved: {reason}".rstrip(": "), decided, kind=ledger.DUE)


def _hand_out_again(work: Work, rows: Sequence[Row]) -> list[str]:
    """Write what had been handed out once more, with the new due time; sentences about what could not be."""
    term, key, notes = work.term, work.module.key, []
    ways = channels.known(work.connection, key)
    records = channels.latest_records(work.connection, key)
    work.keep()
    for trainee in (row.trainee for row in rows):
        if channels.ZIPS in ways.get(trainee, ()):
            assign.write_handout(term, key, trainee, records[trainee][1].encode())
    paper = [row.trainee for row in rows if channels.PAPER in ways.get(row.trainee, ())]
    if paper:
        channels.hand_out(term, key, channels.PAPER, trainees=paper)
    used = {way for mine in ways.values() for way in mine}
    if channels.FOLDER in used:
        channels.hand_out(term, key, channels.FOLDER)
    if channels.EXCHANGE in used:
        try:
            channels.hand_out(term, key, channels.EXCHANGE, config=exchange_config(term))
        except (Refused, CannotWrite) as problem:
            notes.append(f"the exchange still shows the old due time ({problem}); run 'assign {key} --as exchange'")
    return notes
