"""Recording practical work that somebody saw on a real vehicle, one by one or from a table."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
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
_RECORDING = "recording witnessed tasks"  # what keeps others waiting meanwhile


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


def record(term: Term, seen: Seen, *, preview: bool = False) -> tuple[Trainee, witnessed.Task]:
    """Record one witnessed task.

    Parameters
    ----------
    term : Term
    seen : Seen
    preview : bool
        Only say whether it can be recorded; nothing is written.

    Returns
    -------
    (Trainee, Task)

    Raises
    ------
    Unknown, Refused
        No such person or objective; another result; no day; a day to come; no
        vehicle; nobody who saw it; the same task is recorded already.
    """
    with session.begin(term, _RECORDING, rehearse=preview) as held:
        tasks, problems = _checked(term, held.connection, [seen])
        if problems:
            raise problems[0][1]
        return _stored(held.connection, tasks)[0]


def record_all(term: Term, all_seen: Sequence[Seen], *, preview: bool = False) -> list[tuple[Trainee, witnessed.Task]]:
    """Record several witnessed tasks, or none of them.

    Parameters
    ----------
    term : Term
    all_seen : sequence of Seen
    preview : bool
        Only say whether they can be recorded; nothing is written.

    Returns
    -------
    list of (Trainee, Task)

    Raises
    ------
    Unknown, Refused
        As `record`, for the first that cannot be recorded; says of whom.
    """
    with session.begin(term, _RECORDING, rehearse=preview) as held:
        tasks, problems = _checked(term, held.connection, all_seen)
        if problems:
            place, problem = problems[0]
            raise type(problem)(f"{all_seen[place].trainee}, {all_seen[place].objective}: {problem}")
        return _stored(held.connection, tasks)


def record_table(term: Term, path: str | Path) -> tuple[list[tuple[Trainee, witnessed.Task]], list[str]]:
    """Record every line of a table, or none.

    Parameters
    ----------
    term : Term
    path : path
        Columns trainee, objective, result, vehicle, on, seen_by and, if wanted, note.

    Returns
    -------
    (list of (Trainee, Task), list of str)
        What was recorded, and notes on what was passed over or understood.

    Raises
    ------
    BadFile
        Names every line that cannot be stored; nothing was.
    """
    table = read_table(path, COLUMNS, needed=COLUMNS[:-1], what="The table of witnessed tasks")
    rows, unread = table.rows, table.problems
    with session.begin(term, _RECORDING) as held:
        tasks, problems = _checked(term, held.connection, [Seen(**cells) for _, cells in rows])
        faults = [*unread, *((rows[place][0], str(problem)) for place, problem in problems)]
        if faults:
            lines = "\n".join(f"line {line}: {sentence}" for line, sentence in sorted(faults))
            raise BadFile(f"No task was stored:\n{lines}\nMend these lines and read the table again.")
        return _stored(held.connection, tasks), table.notes


def listed(term: Term, trainee_id: str = "", *, withdrawn: bool = True) -> list[tuple[Trainee, witnessed.Task]]:
    """(Trainee, Task) of one trainee or of everybody, in order of name, objective and day.

    Raises
    ------
    Unknown
        Nobody of that id.
    """
    with database.reading(term) as connection:
        people = [roster.one(connection, trainee_id)] if trainee_id else roster.everyone(connection)
        by_trainee: dict[str, list[witnessed.Task]] = {}
        for task in witnessed.tasks(connection, withdrawn=withdrawn):
            by_trainee.setdefault(task.trainee, []).append(task)
        return [(person, task) for person in people for task in by_trainee.get(person.id, ())]


def withdraw(term: Term, task_id: int, *, reason: str) -> tuple[Trainee, witnessed.Task]:
    """`withdraw_all` for one task."""
    return withdraw_all(term, [task_id], reason=reason)[0]


def withdraw_all(term: Term, task_ids: Sequence[int], *, reason: str) -> list[tuple[Trainee, witnessed.Task]]:
    """Withdraw tasks that were recorded by mistake. Their rows stay, and count nowhere.

    Returns
    -------
    list of (Trainee, Task)
        As they stood before.

    Raises
    ------
    Unknown, Refused
        No such task; withdrawn already; no reason.
    """
    if not reason.strip():
        raise Refused("Withdrawing a task needs a reason. Say why in a few words; nothing was changed.")
    with session.begin(term, "withdrawing a witnessed task") as held:
        return [_withdrawn(held.connection, task_id, reason) for task_id in task_ids]


def _withdrawn(connection: Connection, task_id: int, reason: str) -> tuple[Trainee, witnessed.Task]:
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
    in_ledger, digests = {}, {}
    for _, _, entry in ledger.entries(connection, "witnessed"):
        number = _TASK.match(str(entry["new"]))
        key = (entry["trainee"], int(number[1]) if number else 0)
        in_ledger[key], digests[key] = entry["new"], entry["sha256"]
    held = {(task.trainee, task.id): task for task in witnessed.tasks(connection, withdrawn=True)}
    findings = []
    for key in sorted(set(in_ledger) | set(held)):
        task = held.get(key)
        ours = None if task is None else task.gone_line if task.withdrawn else task.line
        who = f"{key[0]}, witnessed task {key[1]}"
        if ours != in_ledger.get(key):
            findings.append(
                f"{who}: the records hold “{ours or 'none'}”, the ledger says “{in_ledger.get(key, 'none')}”."
            )
        elif task is not None and task.digest != digests[key]:
            findings.append(f"{who}: its note, its time or who entered it was changed after it was recorded.")
    return findings


def _checked(
    term: Term, connection: Connection, all_seen: Sequence[Seen]
) -> tuple[list[tuple[Trainee, dict[str, Any]]], list[tuple[int, Unknown | Refused]]]:
    """([(trainee, the row of his task)], [(place, what is wrong)]) of what was seen, without writing anything."""
    people = {name: p for p in roster.everyone(connection) for name in (p.id, p.college_id.casefold())}
    today = clock.now().astimezone(clock.zone(term.settings.zone)).date()
    known = {_same(task) for task in witnessed.tasks(connection)}
    at, actor = clock.to_text(clock.now()), ledger.actor()
    tasks, problems = [], []
    for place, seen in enumerate(all_seen):
        try:
            person, values = _read(seen, people, today)
            row = values | {"at": at, "actor": actor, "withdrawn": ""}
            same = _same(witnessed.Task(id=0, **row))
            if same in known:
                raise Refused("This task is recorded already, with the same vehicle, day, result and witness.")
        except (Unknown, Refused) as problem:
            problems.append((place, problem))
            continue
        known.add(same)
        tasks.append((person, row))
    return tasks, problems


def _stored(
    connection: Connection, tasks: Iterable[tuple[Trainee, dict[str, Any]]]
) -> list[tuple[Trainee, witnessed.Task]]:
    """The tasks, now that they are in the records and in the ledger."""
    stored = []
    for person, row in tasks:
        made: Any = connection.execute(witnessed.table.insert().values(**row))
        stored.append((person, witnessed.Task(id=made.inserted_primary_key[0], **row)))
    ledger.append(connection, [_entry(task, new=task.line, reason=task.note) for _, task in stored])
    return stored


def _read(seen: Seen, people: Mapping[str, Trainee], today: date) -> tuple[Trainee, dict[str, Any]]:
    """(trainee, the values of his task) as the records keep them."""
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
            length = f"has {len(texts[name]):,} letters" if texts[name] else "is empty"
            raise Refused(f"{what} {length}; {least} to {most} are allowed. Write it in a few words.")
    return person, {"trainee": person.id, "objective": code, "day": _day(seen.on, today), "result": result, **texts}


def _day(text: str, today: date) -> str:
    try:
        day = date.fromisoformat(clock.as_iso(text)[:10])
    except ValueError:
        raise Refused(f"{text.strip()[:30]!r} is no day. Write it as 2026-03-12.") from None
    if day > today:
        raise Refused(f"{day} is still to come; today is {today}. Record the task once it was seen.")
    return day.isoformat()


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
