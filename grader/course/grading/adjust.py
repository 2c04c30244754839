"""Decisions about trainees: extend, excuse, override; each with its reason in the ledger."""

from __future__ import annotations

import re
from typing import Any, NamedTuple

from sqlalchemy import Row, select

from grader import clock
from grader.course.attempts import lateness, standing
from grader.course.attempts.standing import Whom
from grader.course.grading import settle
from grader.course.grading.session import session
from grader.course.grading.several import Several, each
from grader.course.grading.work import Work
from grader.errors import Refused, Unknown
from grader.exercise.model import Exercise, Module
from grader.records import adjustments, ledger, schema
from grader.records.term import dates, roster
from grader.records.term.roster import Trainee
from grader.records.term.term import Term

COMPUTED = "computed"


class Extended(NamedTuple):
    """Whose due time, the new one as records keep it, and the mark as it stands now; None where nothing is marked.

    `before` is the extension that stood before; empty where none did.
    """

    person: Trainee
    until: str
    mark: int | None
    before: str = ""


def extend(term: Term, trainee_id: str, module_key: str, *, until: str, reason: str, earlier: bool = False) -> Extended:
    """`extend_all` for one trainee, by either of his ids."""
    return extend_all(term, module_key, Whom((trainee_id,)), until=until, reason=reason, earlier=earlier).done[0]


def extend_all(
    term: Term, module_key: str, whom: Whom, *, until: str, reason: str, earlier: bool = False, preview: bool = False
) -> Several[Extended]:
    """Give some trainees a later due time; their penalties are computed afresh at once.

    After the return this accepts what arrived since then, up to the new time.

    Parameters
    ----------
    term : Term
    module_key : str
    whom : Whom
    until : str
        ISO date or moment in the term's zone.
    reason : str
    earlier : bool
        Also where an extension that stands is later: it was a slip.
    preview : bool
        Say what would come of it; nothing is written.

    Returns
    -------
    Several of Extended

    Raises
    ------
    Unknown, Refused
        No such people or module; no numbers or no due time; not later than the due
        time, or than an extension that stands; no reason.
    """
    moment = clock.to_text(dates.parse(term, until))
    with session(term, module_key, "extending", rehearse=preview) as work:
        people = whom.people(term, work.connection, work.module.key)
        return each(work, people, lambda person: _extend(work, person, moment, reason, earlier))


def _extend(work: Work, person: Trainee, moment: str, reason: str, earlier: bool) -> Extended:
    term, connection, module = work.term, work.connection, work.module
    issue = _latest_issue(connection, person, module)
    owner = adjustments.owner(issue)
    returned, _ = lateness.closed(connection).get(owner, ("", ""))
    if not issue.due and not returned:
        raise Refused(f"{module.key} has no due time, so nothing can be late. Nothing was changed.")
    if not issue.due and moment <= returned:
        raise Refused(
            f"{term.shown(clock.from_text(moment))} is before the return, and what came before it counts anyway. "
            "Nothing was changed; name a later moment."
        )
    if moment <= issue.due:
        raise Refused(
            f"{term.shown(clock.from_text(moment))} is not after the due time {term.shown(clock.from_text(issue.due))}. "
            "Nothing was changed; name a later moment."
        )
    before = work.decisions().until.get(owner)
    if before and moment <= before and not earlier:
        raise Refused(
            f"{person.name} has an extension until {term.shown(clock.from_text(before))} already, and "
            f"{term.shown(clock.from_text(moment))} is not later. Nothing was changed; if that one was a slip, add --earlier."
        )
    key = _key(issue)
    decision = {"until": moment, "actor": ledger.actor(), "reason": reason}
    adjustments.put(connection, adjustments.extension, key, decision)
    entry = ledger.Entry("extension", **key, old=before or issue.due, new=moment, reason=reason)
    ledger.append(connection, [entry])
    lateness.settle_arrivals(connection, owner, reason)
    return Extended(person, moment, settle.settle(work, owner, f"extension: {reason}"), before or "")


def withdraw_extensions(
    term: Term, module_key: str, whom: Whom, *, reason: str, preview: bool = False
) -> Several[Extended]:
    """Take back the later due time of some trainees; their penalties are computed afresh at once.

    Parameters
    ----------
    term : Term
    module_key : str
    whom : Whom
    reason : str
    preview : bool
        Say what would come of it; nothing is written.

    Returns
    -------
    Several of Extended
        Each with the due time that holds then; empty where there is none.

    Raises
    ------
    Unknown, Refused
        No such people or module; no extension stands; no reason.
    """
    with session(term, module_key, "taking back extensions of", rehearse=preview) as work:
        people = whom.people(term, work.connection, work.module.key)
        return each(work, people, lambda person: _withdraw_extension(work, person, reason))


def _withdraw_extension(work: Work, person: Trainee, reason: str) -> Extended:
    connection = work.connection
    issue = _latest_issue(connection, person, work.module)
    owner, key = adjustments.owner(issue), _key(issue)
    before = work.decisions().until.get(owner)
    if not before:
        raise Refused(f"{person.name} has no extension in {work.module.key}. Nothing was changed.")
    adjustments.take_back(connection, adjustments.extension, key)
    ledger.append(connection, [ledger.Entry("extension", **key, old=before, new="", reason=reason)])
    lateness.settle_arrivals(connection, owner, reason)
    return Extended(person, issue.due, settle.settle(work, owner, f"extension taken back: {reason}"), before)


def excuse(term: Term, trainee_id: str, module_key: str, *, reason: str, withdraw: bool = False) -> Trainee:
    """`excuse_all` for one trainee, by either of his ids."""
    return excuse_all(term, module_key, Whom((trainee_id,)), reason=reason, withdraw=withdraw).done[0]


def excuse_all(
    term: Term, module_key: str, whom: Whom, *, reason: str, withdraw: bool = False, preview: bool = False
) -> Several[Trainee]:
    """Excuse some trainees from a module, or withdraw that. Their work and marks are kept and do not count.

    With `preview` it says whom it would concern, and nothing is written.

    Raises
    ------
    Unknown, Refused
        No such people or module; already so; no reason.
    """
    with session(term, module_key, "excusing from", rehearse=preview) as work:
        people = whom.people(term, work.connection, work.module.key)
        return each(work, people, lambda person: _excuse(work, person, reason, withdraw))


def _excuse(work: Work, person: Trainee, reason: str, withdraw: bool) -> Trainee:
    connection = work.connection
    key: dict[str, Any] = {"trainee": person.id, "module": work.module.key}
    excused = (person.id, work.module.key) in work.decisions().excused
    if excused != withdraw:
        state = "already" if excused else "not"
        raise Refused(f"{person.name} is {state} excused from {work.module.key}. Nothing was changed.")
    if withdraw:
        adjustments.take_back(connection, adjustments.excuse, key)
    else:
        adjustments.put(connection, adjustments.excuse, key, {"actor": ledger.actor(), "reason": reason})
    new, old = ("", "excused") if withdraw else ("excused", "")
    ledger.append(connection, [ledger.Entry("excuse", **key, old=old, new=new, reason=reason)])
    return person


def override(
    term: Term, trainee_id: str, module_key: str, exercise: str, mark: str, *, reason: str, preview: bool = False
) -> tuple[Trainee, int | None]:
    """Set the mark of one exercise by hand, or go back to the computed one.

    Parameters
    ----------
    term : Term
    trainee_id, module_key : str
    exercise : str
        Its number in the module, its title, or its name, with or without the module before it.
    mark : str
        Marks with at most two decimals, or "computed".
    reason : str
    preview : bool
        Say what the module's mark would be; nothing is written.

    Returns
    -------
    (Trainee, int or None)
        Who, and the module's mark in hundredths as it stands now.

    Raises
    ------
    Unknown, Refused
        No such person, module or exercise; nothing marked yet; a mark outside
        0 to the exercise's marks; no reason.
    """
    with session(term, module_key, "overriding a mark in", rehearse=preview) as work:
        connection, module = work.connection, work.module
        person = roster.one(connection, trainee_id)
        wanted = exercise_named(module, exercise)
        new = None if mark.strip().lower() == COMPUTED else _hundredths(mark, wanted)
        issue = _counting_issue(term, connection, person, module)
        key: dict[str, Any] = {**_key(issue), "exercise": wanted.key}
        old = adjustments.read(connection).by_hand(issue).get(wanted.key)
        if new is None and old is None:
            raise Refused(f"{wanted.name} of {person.name} has no mark by hand. Nothing was changed.")
        if new is None:
            adjustments.take_back(connection, adjustments.override, key)
        else:
            decision = {"hundredths": new, "actor": ledger.actor(), "reason": reason}
            adjustments.put(connection, adjustments.override, key, decision)
        entry = ledger.Entry("override", **key, old=old, new=new, most=wanted.marks * 100, reason=reason)
        ledger.append(connection, [entry])
        return person, settle.settle(work, adjustments.owner(issue), f"override: {reason}")


def exercise_named(module: Module, text: str) -> Exercise:
    """An exercise by its number in the module, its title or its name, in capitals or not.

    Raises
    ------
    Unknown
        There is none; names those that there are.
    """
    wanted = " ".join(text.split()).casefold()
    for number, exercise in enumerate(module.exercises, 1):
        if wanted in (str(number), exercise.key.casefold(), exercise.name.casefold(), exercise.title.casefold()):
            return exercise
    listed = "; ".join(f"{number} {e.name} ({e.title})" for number, e in enumerate(module.exercises, 1))
    raise Unknown(f"{module.key} has no exercise {text.strip()[:60]!r}; it has {listed}.")


def _latest_issue(connection, person, module):
    """The latest attempt of somebody."""
    latest = connection.execute(_issues(person, module)).first()
    if latest is None:
        raise Refused(
            f"{person.name} has no numbers for {module.key}. Run 'assign {module.key}' first; nothing was changed."
        )
    return latest


def _counting_issue(term, connection, person, module):
    """The marked attempt of somebody that counts; of whoever is excused the one with the best mark."""
    standings = standing.standings(term, connection, [module.key], people=[person])
    attempt = (
        standings[0].attempt
        if standings and standings[0].mark
        else standing.best_attempt(connection, person.id, module.key)
    )
    if attempt is None:
        raise Refused(
            f"{person.name} has no marks in {module.key}. Run 'mark {module.key}' first; nothing was changed."
        )
    return connection.execute(_issues(person, module).where(schema.issue.c.attempt == attempt)).one()


def _issues(person, module):
    table = schema.issue
    mine = (table.c.trainee == person.id) & (table.c.module == module.key)
    return select(table).where(mine).order_by(table.c.attempt.desc())


def _key(issue: Row) -> dict[str, Any]:
    return {"trainee": issue.trainee, "module": issue.module, "attempt": issue.attempt}


def _hundredths(text, exercise):
    """Marks as a person writes them, in hundredths."""
    plain = text.strip().replace(",", ".")
    if not re.fullmatch(r"[0-9]{1,4}(\.[0-9]{1,2})?", plain):
        raise Refused(
            f"“{text[:40]}” is no mark. Write a number with at most two decimals, such as 1.5, or {COMPUTED!r}."
        )
    whole, _, part = plain.partition(".")
    hundredths = int(whole) * 100 + int(part.ljust(2, "0") or 0)
    if hundredths > exercise.marks * 100:
        raise Refused(f"{exercise.name} has {exercise.marks} marks; {text.strip()} is more. Nothing was changed.")
    return hundredths
