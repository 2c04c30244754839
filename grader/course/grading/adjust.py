"""Decisions about single trainees: extend, excuse, override; each with its reason in the ledger."""

import re
from contextlib import contextmanager

from sqlalchemy import select

from grader import catalogue, clock
from grader.course.attempts import lateness, standing
from grader.course.grading import reconcile, settle
from grader.errors import Refused, Unknown
from grader.records import adjustments, database, ledger, lock, schema
from grader.records.term import roster

COMPUTED = "computed"


def extend(term, trainee_id, module_key, *, until, reason):
    """Give one trainee a later due time; his penalty is computed afresh at once.

    After the return this accepts what arrived since then, up to the new time.

    Parameters
    ----------
    term : Term
    trainee_id : str
        Ours or the college's.
    module_key : str
    until : str
        ISO date or moment in the term's zone.
    reason : str

    Returns
    -------
    (Trainee, str, int or None)
        Who, the new due time as records keep it, and the mark as it stands now.

    Raises
    ------
    Unknown, Refused
        No such person or module; no numbers or no due time; not later than the
        due time; no reason.
    """
    moment = clock.to_text(clock.parse(until, term.settings.zone))
    with _at_work(term, module_key, "extending") as (connection, module):
        person = roster.one(connection, trainee_id)
        issue = _latest_issue(connection, person, module)
        returned, _ = lateness.closed(connection).get(adjustments.owner(issue), ("", ""))
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
        key = _key(issue)
        before = adjustments.read(connection).until.get(adjustments.owner(issue))
        adjustments.put(
            connection, adjustments.extension, key, {"until": moment, "actor": ledger.actor(), "reason": reason}
        )
        ledger.append(
            connection, [ledger.Entry("extension", **key, old=before or issue.due, new=moment, reason=reason)]
        )
        lateness.settle_arrivals(connection, adjustments.owner(issue), reason)
        mark = settle.settle(term, connection, module, adjustments.owner(issue), f"extension: {reason}")
        return person, moment, mark


def excuse(term, trainee_id, module_key, *, reason, withdraw=False):
    """Excuse one trainee from a module, or withdraw that. His work and marks are kept and do not count.

    Raises
    ------
    Unknown, Refused
        No such person or module; already so; no reason.
    """
    with _at_work(term, module_key, "excusing from") as (connection, module):
        person = roster.one(connection, trainee_id)
        key = {"trainee": person.id, "module": module.key}
        excused = (person.id, module.key) in adjustments.read(connection).excused
        if excused != withdraw:
            state = "already" if excused else "not"
            raise Refused(f"{person.name} is {state} excused from {module.key}. Nothing was changed.")
        if withdraw:
            adjustments.take_back(connection, adjustments.excuse, key)
        else:
            adjustments.put(connection, adjustments.excuse, key, {"actor": ledger.actor(), "reason": reason})
        new, old = ("", "excused") if withdraw else ("excused", "")
        ledger.append(connection, [ledger.Entry("excuse", **key, old=old, new=new, reason=reason)])
        return person


def override(term, trainee_id, module_key, exercise, mark, *, reason):
    """Set the mark of one exercise by hand, or go back to the computed one.

    Parameters
    ----------
    term : Term
    trainee_id, module_key : str
    exercise : str
        Its name, with or without the module before it.
    mark : str
        Marks with at most two decimals, or "computed".
    reason : str

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
    with _at_work(term, module_key, "overriding a mark in") as (connection, module):
        person = roster.one(connection, trainee_id)
        wanted = next((e for e in module.exercises if exercise in (e.key, e.name)), None)
        if wanted is None:
            names = ", ".join(e.name for e in module.exercises)
            raise Unknown(f"{module.key} has no exercise {exercise[:60]!r}; it has {names}.")
        new = None if mark.strip().lower() == COMPUTED else _hundredths(mark, wanted)
        issue = _counting_issue(term, connection, person, module)
        key = _key(issue) | {"exercise": wanted.key}
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
        return person, settle.settle(term, connection, module, adjustments.owner(issue), f"override: {reason}")


@contextmanager
def _at_work(term, module_key, doing):
    """The term held, a transaction open, the gradebook reconciled."""
    module = catalogue.module(module_key)
    with lock.exclusive(term, f"{doing} {module.key}"), database.transaction(term) as connection:
        reconcile.reconcile(term, connection, module)
        yield connection, module


def _latest_issue(connection, person, module):
    """The latest attempt of somebody."""
    found = connection.execute(_issues(person, module)).first()
    if found is None:
        raise Refused(
            f"{person.name} has no numbers for {module.key}. Run 'assign {module.key}' first; nothing was changed."
        )
    return found


def _counting_issue(term, connection, person, module):
    """The marked attempt of somebody that counts; of whoever is excused the one with the best mark."""
    found = standing.standings(term, connection, [module.key], people=[person])
    attempt = found[0].attempt if found and found[0].mark else standing.best_attempt(connection, person.id, module.key)
    if attempt is None:
        raise Refused(
            f"{person.name} has no marks in {module.key}. Run 'mark {module.key}' first; nothing was changed."
        )
    return connection.execute(_issues(person, module).where(schema.issue.c.attempt == attempt)).one()


def _issues(person, module):
    table = schema.issue
    mine = (table.c.trainee == person.id) & (table.c.module == module.key)
    return select(table).where(mine).order_by(table.c.attempt.desc())


def _key(issue):
    return {"trainee": issue.trainee, "module": issue.module, "attempt": issue.attempt}


def _hundredths(text, exercise):
    """Marks as a person writes them, in hundredths."""
    plain = text.strip().replace(",", ".")
    if not re.fullmatch(r"[0-9]{1,4}(\.[0-9]{1,2})?", plain):
        raise Refused(
            f"“{text[:40]}” is no mark. Write a number with at most two decimals, such as 1.5, or {COMPUTED!r}."
        )
    whole, _, part = plain.partition(".")
    found = int(whole) * 100 + int(part.ljust(2, "0") or 0)
    if found > exercise.marks * 100:
        raise Refused(f"{exercise.name} has {exercise.marks} marks; {text.strip()} is more. Nothing was changed.")
    return found
