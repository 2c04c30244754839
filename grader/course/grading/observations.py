"""Recording practical work that somebody saw on a real vehicle, one by one or from a table."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from sqlalchemy import Connection

from grader import catalogue, clock
from grader.errors import BadFile, Refused, Unknown
from grader.records import database, ledger, session, witnessed
from grader.records.term import roster
from grader.records.term.roster import Trainee
from grader.records.term.table_file import read_table
from grader.records.term.term import Term

COLUMNS = ("trainee", "objective", "result", "vehicle", "on", "seen_by", "note")
LONGEST_TEXT, LONGEST_NOTE = 200, 2000
_TASK = re.compile(r"task (\d+): ")


@dataclass(frozen=True, slots=True)
class Seen:
    """What somebody says he saw, as typed. `result` is satisfactory or not-yet, `on` a day."""

    trainee: str
    objective: str
    result: str
    vehicle: str
    on: str
    seen_by: str
    note: str = ""


def record(term: Term, seen: Seen) -> tuple[Trainee, witnessed.Task]:
    """Record one witnessed task.

    Parameters
    ----------
    term : Term
    seen : Seen

    Returns
    -------
    (Trainee, Task)

    Raises
    ------
    Unknown, Refused
        No such person or objective; another result; no day; a day to come; no
        vehicle; nobody who saw it; the same task is recorded already.
    """
    return _store(term, [seen], lambda number, problem: problem)[0]


def record_table(term: Term, path: str | Path) -> list[tuple[Trainee, witnessed.Task]]:
    """Record every line of a CSV table, or none.

    Parameters
    ----------
    term : Term
    path : path
        Columns trainee, objective, result, vehicle, on, seen_by and, if wanted, note.

    Returns
    -------
    list of (Trainee, Task)

    Raises
    ------
    BadFile
        Names every line that cannot be stored; nothing was.
    """
    rows, problems = read_table(path, COLUMNS, needed=COLUMNS[:-1], what="The table of witnessed tasks")
    collected = list(problems)

    def keep(number, problem):
        collected.append((rows[number][0], str(problem)))

    try:
        return _store(term, [Seen(**cells) for _, cells in rows], keep, stop=lambda: bool(collected))
    except Refused:
        if not collected:
            raise
    lines = "\n".join(f"line {line}: {said}" for line, said in sorted(collected))
    raise BadFile(f"No task was stored:\n{lines}\nMend these lines and read the table again.")


def listed(term: Term, trainee_id: str = "", *, withdrawn: bool = True) -> list[tuple[Trainee, witnessed.Task]]:
    """(Trainee, Task) of one trainee or of everybody, in order of name, objective and day.

    Raises
    ------
    Unknown
        Nobody of that id.
    """
    with database.reading(term) as connection:
        people = [roster.one(connection, trainee_id)] if trainee_id else roster.everyone(connection)
        found = {}
        for task in witnessed.tasks(connection, withdrawn=withdrawn):
            found.setdefault(task.trainee, []).append(task)
        return [(person, task) for person in people for task in found.get(person.id, ())]


def withdraw(term: Term, task_id: int, *, reason: str) -> tuple[Trainee, witnessed.Task]:
    """Withdraw a task that was recorded by mistake. Its row stays, and counts nowhere.

    Returns
    -------
    (Trainee, Task)
        As they stood before.

    Raises
    ------
    Unknown, Refused
        No such task; withdrawn already; no reason.
    """
    if not reason.strip():
        raise Refused("Withdrawing a task needs a reason. Say why in a few words; nothing was changed.")
    with session.begin(term, "withdrawing a witnessed task") as held:
        connection = held.connection
        task = next((t for t in witnessed.tasks(connection, withdrawn=True) if t.id == task_id), None)
        if task is None:
            raise Unknown(f"There is no witnessed task {task_id}. 'witness --list' shows them with their numbers.")
        if task.withdrawn:
            raise Refused(f"Task {task_id} was withdrawn already: {task.withdrawn}. Nothing was changed.")
        person = roster.one(connection, task.trainee)
        table = witnessed.table
        connection.execute(table.update().where(table.c.id == task_id).values(withdrawn=reason.strip()))
        ledger.append(connection, [_entry(task, old=task.line, new=task.gone_line, reason=reason)])
        return person, task


def compare(connection: Connection) -> list[str]:
    """Sentences about tasks that records and ledger do not tell alike.

    Returns
    -------
    list of str
    """
    said, digests = {}, {}
    for _, _, entry in ledger.entries(connection, "witnessed"):
        number = _TASK.match(str(entry["new"]))
        key = (entry["trainee"], int(number[1]) if number else 0)
        said[key], digests[key] = entry["new"], entry["sha256"]
    held = {(task.trainee, task.id): task for task in witnessed.tasks(connection, withdrawn=True)}
    findings = []
    for key in sorted(set(said) | set(held)):
        task = held.get(key)
        ours = None if task is None else task.gone_line if task.withdrawn else task.line
        who = f"{key[0]}, witnessed task {key[1]}"
        if ours != said.get(key):
            findings.append(f"{who}: the records hold “{ours or 'none'}”, the ledger says “{said.get(key, 'none')}”.")
        elif task is not None and task.digest != digests[key]:
            findings.append(f"{who}: its note, its time or who entered it was changed after it was recorded.")
    return findings


def _store(term, all_seen, fault, stop: Callable[[], bool] = lambda: False):
    """Check everything, then write everything. `fault` takes (place, problem); one it returns is raised."""
    with session.begin(term, "recording witnessed tasks") as held:
        connection = held.connection
        people = {name: p for p in roster.everyone(connection) for name in (p.id, p.college_id.casefold())}
        today = clock.now().astimezone(clock.zone(term.settings.zone)).date()
        known = {_same(task) for task in witnessed.tasks(connection)}
        at, actor, checked = clock.to_text(clock.now()), ledger.actor(), []
        for number, seen in enumerate(all_seen):
            try:
                person, values = _checked(seen, people, today)
                row = values | {"at": at, "actor": actor, "withdrawn": ""}
                if _same(witnessed.Task(id=0, **row)) in known:
                    raise Refused("This task is recorded already, with the same vehicle, day, result and witness.")
                known.add(_same(witnessed.Task(id=0, **row)))
                checked.append((person, row))
            except (Unknown, Refused) as problem:
                raised = fault(number, problem)
                if raised is not None:
                    raise raised from None
        if stop():
            raise Refused("Nothing was stored.")
        done = []
        for person, row in checked:
            made: Any = connection.execute(witnessed.table.insert().values(**row))
            done.append((person, witnessed.Task(id=made.inserted_primary_key[0], **row)))
        ledger.append(connection, [_entry(task, new=task.line, reason=task.note) for _, task in done])
        return done


def _checked(seen, people, today):
    person = people.get(seen.trainee.strip().casefold())
    if person is None:
        raise Unknown(f"Nobody on the roster has the id {seen.trainee[:60]!r}. 'roster list' shows who is enrolled.")
    known = {code.casefold(): code for code in catalogue.objectives()}
    code = known.get(seen.objective.strip().casefold())
    if code is None:
        raise Unknown(f"There is no objective {seen.objective[:30]!r}; there are {', '.join(known.values())}.")
    result = " ".join(seen.result.replace("-", " ").replace("_", " ").lower().split())
    if result not in witnessed.RESULTS:
        raise Refused(f"The result {seen.result[:30]!r} is none of satisfactory and not-yet. Say one of these.")
    texts = {}
    for name, what, least, most in (
        ("vehicle", "The vehicle", 1, LONGEST_TEXT), ("seen_by", "Who saw it", 1, LONGEST_TEXT),
        ("note", "The note", 0, LONGEST_NOTE),
    ):  # fmt: skip
        texts[name] = _plain(getattr(seen, name))
        if not least <= len(texts[name]) <= most:
            found = f"has {len(texts[name]):,} letters" if texts[name] else "is empty"
            raise Refused(f"{what} {found}; {least} to {most} are allowed. Write it in a few words.")
    return person, {"trainee": person.id, "objective": code, "day": _day(seen.on, today), "result": result, **texts}


def _day(text, today):
    try:
        found = date.fromisoformat(text.strip()) if re.fullmatch(r"\d{4}-\d{2}-\d{2}", text.strip()) else None
    except ValueError:
        found = None
    if found is None:
        raise Refused(f"{text[:30]!r} is no day. Write it as 2026-03-12.")
    if found > today:
        raise Refused(f"{found} is still to come; today is {today}. Record the task once it was seen.")
    return found.isoformat()


def _plain(text):
    """One line: what cannot be printed goes, so that a table or a terminal shows nothing else."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _same(task):
    return (task.trainee, task.objective, task.vehicle.casefold(), task.day, task.seen_by.casefold(), task.result)


def _entry(task, *, new, reason, old=None):
    module = catalogue.objectives()[task.objective]["module"]
    return ledger.Entry(
        "witnessed",
        trainee=task.trainee,
        module=module,
        exercise=task.objective,
        old=old,
        new=new,
        reason=reason,
        sha256=task.digest,
    )
