"""Correcting what came in: when it came, and whether it counts; each with its reason in the ledger."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Row, select

from grader import clock
from grader.course.attempts import evaluation, kept, lateness
from grader.course.attempts.standing import Whom
from grader.course.grading import settle
from grader.course.grading.session import session
from grader.course.grading.work import Work
from grader.errors import Refused
from grader.exercise import hand_in
from grader.records import adjustments, database, ledger, schema
from grader.records.term import dates, roster
from grader.records.term.roster import Trainee
from grader.records.term.term import Term


@dataclass(frozen=True, slots=True)
class HandIn:
    """One hand-in of a trainee; `number` counts those of an attempt, `late_days` and `counts` are as they stand now.

    `receipt` is what the trainee's page showed for it; `waits` tells that somebody must decide whether it
    counts.
    """

    number: int
    attempt: int
    received_at: str
    saved_at: str
    source: str
    words: str
    late_days: int
    counts: bool
    receipt: str
    waits: bool = False


@dataclass(frozen=True, slots=True)
class Corrected:
    """Whose hand-in was corrected: when it was said to have come before, when it comes now, the mark as it stands."""

    person: Trainee
    before: str
    now: str
    mark: int | None


def listed(term: Term, trainee_id: str, module_key: str) -> tuple[Trainee, list[HandIn]]:
    """Everything that came in from one trainee in a module, in the order in which it counts; nothing is written.

    Raises
    ------
    Unknown
        No such trainee.
    """
    with database.reading(term) as connection:
        person = roster.one(connection, trainee_id)
        table, decided, hand_ins = schema.issue, adjustments.read(connection), []
        mine = (table.c.trainee == person.id, table.c.module == module_key)
        for issue in connection.execute(select(table).where(*mine).order_by(table.c.attempt)).all():
            rows = _hand_ins(connection, adjustments.owner(issue))
            counting = evaluation.counting(term, issue, rows, decided)
            due = decided.due(issue)
            for number, row in enumerate(rows, 1):
                days = lateness.late_days(term.settings, due, clock.from_text(row.received_at))
                hand_ins.append(
                    HandIn(
                        number,
                        row.attempt,
                        row.received_at,
                        row.saved_at,
                        row.source,
                        kept.sentence(row),
                        days,
                        row is counting,
                        hand_in.short(row.sha256),
                        row.kind == schema.WAITS,
                    )
                )
    return person, hand_ins


def waiting(term: Term) -> list[tuple[str, str, str, HandIn]]:
    """Hand-ins that wait for a decision: (id of the trainee, his name, module, the hand-in); nothing is written."""
    with database.reading(term) as connection:
        owners = sorted(kept.waiting(connection))
    undecided = []
    for trainee, module, attempt in owners:
        person, hand_ins = listed(term, trainee, module)
        undecided += [
            (person.id, person.name, module, work) for work in hand_ins if work.attempt == attempt and work.waits
        ]
    return undecided


def correct(term: Term, module_key: str, whom: Whom, *, at: str, reason: str, preview: bool = False) -> list[Corrected]:
    """Say when the last arrival of some people really came in; their penalties are computed afresh at once.

    Undone by correcting it again: the former time is in what is returned, and in the
    ledger.

    Parameters
    ----------
    term : Term
    module_key : str
    whom : Whom
    at : str
        ISO date or moment in the term's zone, not in the future.
    reason : str
    preview : bool
        Say whose time would change; write nothing.

    Returns
    -------
    list of Corrected

    Raises
    ------
    Unknown, Refused
        No such module or people; nothing came in from any of them; no reason; a date
        to come, or far from the term's years.
    """
    moment = clock.to_text(dates.arrival(term, at))
    if not preview and not reason.strip():
        raise Refused("A corrected time needs a reason; it stands in the ledger. Add --reason; nothing was changed.")
    with session(term, module_key, "correcting when work came in to", read_only=preview) as work:
        done = []
        for person in whom.people(term, work.connection, work.module.key):
            rows = _last_arrival(work, person)
            if rows:
                mark = None if preview else _set(work, rows, moment, reason.strip())
                done.append(Corrected(person, rows[-1].received_at, moment, mark))
        if not done:
            raise Refused(f"Nothing came in from them for {work.module.key}. Nothing was changed.")
        return done


def decide(
    term: Term, trainee_id: str, module_key: str, *, accept: bool, reason: str, number: int | None = None
) -> Corrected:
    """Let a hand-in count, or set it aside; it stays kept either way, and the other decision undoes this one.

    Parameters
    ----------
    term : Term
    trainee_id, module_key : str
    accept : bool
    reason : str
    number : int or None
        Which one of the latest attempt, as `listed` counts; None: the last that waits.

    Returns
    -------
    Corrected
        Its two times are when that hand-in came in.

    Raises
    ------
    Unknown, Refused
        No such person or hand-in; none waits; it is so already; it cannot be read; it is
        the only one that counts; no reason.
    """
    if not reason.strip():
        raise Refused("A decision needs a reason; it stands in the ledger. Add --reason; nothing was changed.")
    with session(term, module_key, "deciding about a hand-in to") as work:
        person = roster.one(work.connection, trainee_id)
        rows = _latest(work, person)
        row = _wanted(rows, number, person, work.module.key)
        if row.kind == schema.UNREADABLE:
            raise Refused(f"Hand-in {rows.index(row) + 1} cannot be read: {row.finding} Nothing was changed.")
        if accept == row.usable:
            state = "counts" if accept else "is set aside"
            raise Refused(f"Hand-in {rows.index(row) + 1} of {person.name} {state} already. Nothing was changed.")
        if not accept and not [other for other in rows if other.usable and other.id != row.id] and row.usable:
            raise Refused(
                f"It is the only hand-in of {person.name} that counts. Excuse {person.name}, or collect the right one first; "
                "nothing was changed."
            )
        owner, kind = adjustments.owner(row), schema.COUNTS if accept else schema.SET_ASIDE
        if accept and lateness.too_late(lateness.closed(work.connection), owner, row.received_at):
            raise Refused(
                "It came after the sheet with the right answers was returned. Run 'extend' with a later time and a reason; "
                "nothing was changed."
            )
        table = schema.hand_in
        values = {"kind": kind, "usable": accept}
        if accept:  # the instructor's word: it goes behind what is there
            values["arrival"] = max(other.arrival for other in rows)
            values["saved_at"] = max(other.saved_at for other in rows)
            values["vouched"] = True
        work.connection.execute(table.update().where(table.c.id == row.id).values(**values))
        _note(work, row, kind, row.received_at, f"{'accepted' if accept else 'set aside'}: {reason.strip()}")
        mark = settle.settle(work, owner, f"hand-in {'accepted' if accept else 'set aside'}: {reason.strip()}")
        return Corrected(person, row.received_at, row.received_at, mark)


def _hand_ins(connection, owner: tuple) -> list[Row]:
    table = schema.hand_in
    return sorted(connection.execute(select(table).where(*adjustments.of(table, owner))).all(), key=kept.in_order)


def _latest(work: Work, person: Trainee) -> list[Row]:
    """The hand-ins of somebody's latest attempt with any, in order."""
    table = schema.hand_in
    mine = (table.c.trainee == person.id, table.c.module == work.module.key)
    attempts = work.connection.execute(select(table.c.attempt).where(*mine).order_by(table.c.attempt)).scalars().all()
    return _hand_ins(work.connection, (person.id, work.module.key, attempts[-1])) if attempts else []


def _last_arrival(work: Work, person: Trainee) -> list[Row]:
    rows = _latest(work, person)
    return [row for row in rows if row.arrival == rows[-1].arrival]


def _wanted(rows: Sequence[Row], number: int | None, person: Trainee, module_key: str) -> Row:
    if number is None:
        waiting = [row for row in rows if row.kind == schema.WAITS]
        if not waiting:
            raise Refused(
                f"No hand-in of {person.name} waits for a decision. Name one with --hand-in; 'received' lists them; nothing "
                "was changed."
            )
        return waiting[-1]
    if not 1 <= number <= len(rows):
        raise Refused(
            f"{person.name} has {len(rows)} hand-ins in {module_key}, and no number {number}. 'received' lists them; nothing "
            "was changed."
        )
    return rows[number - 1]


def _set(work: Work, rows: Sequence[Row], moment: str, reason: str) -> int | None:
    """Another time of arrival for what came together; the mark as it stands then."""
    table = schema.hand_in
    for row in rows:
        values = {"received_at": moment, "arrival": moment}
        work.connection.execute(table.update().where(table.c.id == row.id).values(**values))
        _note(work, row, ledger.RECEIVED, moment, reason)
    owner = adjustments.owner(rows[-1])
    lateness.settle_arrivals(work.connection, owner, reason)
    return settle.settle(work, owner, f"received time corrected: {reason}", kind=ledger.RECEIVED)


def _note(work: Work, row: Row, kind: str, moment: str, reason: str) -> None:
    entry = ledger.Entry(
        "handed-in",
        trainee=row.trainee,
        module=row.module,
        attempt=row.attempt,
        sha256=row.sha256,
        old=row.received_at,
        new=moment,
        reason=reason,
        kind=kind,
    )
    ledger.append(work.connection, [entry])
