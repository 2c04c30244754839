"""Marking a class: kept hand-ins in, records and gradebook out; no notebook is executed."""

import hashlib
import json
from dataclasses import dataclass, field

from sqlalchemy import delete, select

from grader import catalogue, clock, files
from grader.course import gradebook, roster
from grader.course.records import database, ledger, schema
from grader.course.work import assign, collect, late
from grader.errors import BadFile, BadSheet, Refused
from grader.exercise import sheet as sheets
from grader.marking import feedback
from grader.marking.mark import ENGINE, mark_sheet


@dataclass(frozen=True, slots=True)
class Change:
    """A mark that is new or comes out differently. `parts` are (path, old, new) hundredths; None is no mark."""

    trainee: str
    attempt: int
    old: int | None
    new: int
    same_work: bool
    parts: tuple


@dataclass(slots=True)
class MarkRun:
    """What a run did. `findings` are sentences about sheets that need a person.

    A preview fills `changes` and writes nothing.
    """

    marked: int = 0
    unchanged: int = 0
    findings: list = field(default_factory=list)
    held: list = field(default_factory=list)
    changes: list = field(default_factory=list)


def mark(term, module_key, *, reason="", preview=False):
    """Mark every hand-in of a module that is new or comes out differently.

    Each trainee's marks are written in one transaction, so that a run cut short
    leaves whole marks and the next run goes on from there. A mark that would
    change although the hand-in did not is written only with a reason.

    Parameters
    ----------
    term : Term
    module_key : str
    reason : str
    preview : bool
        Only say what would be written.

    Returns
    -------
    MarkRun

    Raises
    ------
    Unknown
        No such module.
    Refused
        The module was not assigned.
    """
    module = catalogue.module(module_key)
    run = MarkRun()
    with database.connected(term) as connection:
        with connection.begin():
            if (
                connection.execute(select(schema.assignment).where(schema.assignment.c.module == module.key)).first()
                is None
            ):
                raise Refused(f"{module.key} was not assigned in this term. Run 'assign {module.key}' first.")
            people = {person.id: person for person in roster.everyone(connection)}
            rows = gradebook.Rows(connection, module)
            work = _work(connection, module.key)
        for issue, hand_ins in work:
            _mark_one(term, connection, module, rows, people[issue.trainee], issue, hand_ins, reason, run, preview)
    return run


def counting(term, issue, hand_ins):
    """The hand-in that counts: the last usable one on time, else the first late one."""
    due = clock.from_text(issue.due) if issue.due else None
    usable = sorted((h for h in hand_ins if h.usable), key=lambda h: (h.received_at, h.id))
    on_time = [h for h in usable if late.late_days(term.settings, due, clock.from_text(h.received_at)) == 0]
    return on_time[-1] if on_time else usable[0] if usable else None


def evaluate(term, module, issue, hand_in):
    """Marks of one kept hand-in, computed from scratch.

    Returns
    -------
    (SheetMark, dict)
        The verdicts, and the values of the trainee's row in tm_mark.

    Raises
    ------
    BadSheet
        The kept file is gone, changed or cannot be marked.
    """
    content = kept(term, hand_in)
    exercises = json.loads(issue.record)["exercises"]
    found = mark_sheet(module, exercises, sheets.parse(content))
    due = clock.from_text(issue.due) if issue.due else None
    days = late.late_days(term.settings, due, clock.from_text(hand_in.received_at))
    off = late.penalty(term.settings, found.hundredths, found.most, days)
    return found, {
        "state": found.state,
        "raw": found.hundredths,
        "penalty": off,
        "mark": found.hundredths - off,
        "most": found.most,
        "late_days": days,
        "sha256": hand_in.sha256,
        "handed_in_at": hand_in.received_at,
        "engine": ENGINE,
        "key_version": assign.key_version(module.as_issued(exercises)),
        "notes": "\n".join(found.notes),
        "pending": found.pending,
    }


def answer_rows(module, issue, found):
    """The rows of tm_answer for a marked sheet."""
    parts = module.as_issued(json.loads(issue.record)["exercises"]).by_path
    return [
        {
            "trainee": issue.trainee,
            "module": module.key,
            "attempt": issue.attempt,
            "part": mark.path,
            "exercise": parts[mark.path][0].key,
            "raw": mark.raw,
            "unit": mark.unit,
            "read_as": mark.read_as,
            "expected": feedback.expected(parts[mark.path][1], mark),
            "verdict": mark.verdict,
            "slip": mark.slip,
            "hundredths": mark.hundredths,
            "most": mark.most,
        }
        for mark in found.parts
    ]


def _mark_one(term, connection, module, rows, person, issue, hand_ins, reason, run, preview):
    hand_in = counting(term, issue, hand_ins)
    if hand_in is None:
        run.findings += [f"{person.id}: {h.finding}" for h in hand_ins[-1:]]
        return
    try:
        found, values = evaluate(term, module, issue, hand_in)
    except BadSheet as problem:
        run.findings.append(f"{person.id}: {problem}")
        return
    run.findings += [f"{person.id}: {note}" for note in found.notes]
    table, key = schema.mark, {"trainee": issue.trainee, "module": module.key, "attempt": issue.attempt}
    with connection.begin():
        mine = (table.c.trainee == issue.trainee) & (table.c.module == module.key) & (table.c.attempt == issue.attempt)
        before = connection.execute(select(table).where(mine)).first()
        if before is not None:
            if all(getattr(before, name) == value for name, value in values.items()):
                run.unchanged += 1
                return
        if preview:
            run.changes.append(_change(connection, key, before, values, found))
            return
        if before is not None:
            if before.sha256 == hand_in.sha256 and before.mark != values["mark"] and not reason.strip():
                run.held.append(
                    f"{person.id}: {_marks(before.mark)} would become {_marks(values['mark'])} for the same hand-in. "
                    "Run 'mark' again with --reason to write it."
                )
                return
            connection.execute(delete(table).where(mine))
            answers = schema.answer
            connection.execute(
                delete(answers).where(
                    (answers.c.trainee == issue.trainee)
                    & (answers.c.module == module.key)
                    & (answers.c.attempt == issue.attempt)
                )
            )
        values["marked_at"] = clock.to_text(clock.now())
        connection.execute(table.insert().values(**key, **values))
        connection.execute(schema.answer.insert(), answer_rows(module, issue, found))
        earned = {e.name: found.exercise_hundredths(e.key) for e in module.exercises}
        by_exercise = {name: marks for name, marks in earned.items() if marks is not None}  # the others wait
        rows.write(person, clock.from_text(hand_in.received_at), by_exercise, values["penalty"])
        same_work = before is not None and before.sha256 == hand_in.sha256
        entry = ledger.Entry(
            "re-marked" if same_work else "marked", **key, old=before.mark if before else None, new=values["mark"],
            most=values["most"], engine=ENGINE, key_version=values["key_version"], sha256=hand_in.sha256,
            reason=(reason or "same mark; settings or engine changed") if same_work else reason,
        )  # fmt: skip
        ledger.append(connection, [entry])
    run.marked += 1


def _change(connection, key, before, values, found):
    """What marking would change for one trainee, part by part."""
    answers = schema.answer
    mine = [answers.c[name] == value for name, value in key.items()]
    had = {}
    if before is not None:
        rows = connection.execute(select(answers.c.part, answers.c.hundredths).where(*mine))
        had = {row.part: row.hundredths for row in rows}
    parts = tuple((m.path, had.get(m.path), m.hundredths) for m in found.parts if had.get(m.path) != m.hundredths)
    return Change(
        key["trainee"], key["attempt"], before.mark if before else None, values["mark"],
        before is not None and before.sha256 == values["sha256"], parts,
    )  # fmt: skip


def _work(connection, module_key):
    """[(issue row, its hand-in rows)] of everybody who handed something in."""
    by_owner = {}
    for row in connection.execute(
        select(schema.hand_in).where(schema.hand_in.c.module == module_key).order_by(schema.hand_in.c.id)
    ):
        by_owner.setdefault((row.trainee, row.attempt), []).append(row)
    issues = connection.execute(
        select(schema.issue)
        .where(schema.issue.c.module == module_key)
        .order_by(schema.issue.c.trainee, schema.issue.c.attempt)
    )
    return [
        (issue, by_owner[issue.trainee, issue.attempt])
        for issue in issues
        if (issue.trainee, issue.attempt) in by_owner
    ]


def kept(term, hand_in):
    """Content of a kept hand-in, checked against its digest."""
    path = collect.kept_path(term, hand_in.sha256)
    try:
        content = files.read_bytes(path, most=sheets.LARGEST_FILE, what="The kept hand-in")
    except BadFile as problem:
        raise BadSheet(f"{problem} Put it back from your copy, or collect it again.") from None
    if hashlib.sha256(content).hexdigest() != hand_in.sha256:
        raise BadSheet(f"The kept hand-in {path.name} was changed. Put it back from your copy, or collect it again.")
    return content


def _marks(hundredths):
    return f"{hundredths / 100:g}"
