"""Marking a class: kept hand-ins in, records and gradebook out; no notebook is executed."""

import hashlib
import importlib
import json
from dataclasses import dataclass, field

from sqlalchemy import select

from grader import catalogue, clock, files
from grader.course import gradebook, roster, standing
from grader.course.records import adjustments, busy, database, ledger, schema
from grader.course.work import assign, collect, late, reconcile
from grader.errors import BadFile, BadSheet
from grader.exercise import sheet as sheets
from grader.marking import feedback
from grader.marking.mark import ENGINE, mark_sheet

FAULT = "a fault of Timing Mark"
TOGETHER = 25  # trainees to a transaction: a disk is waited for once, and nobody else waits long


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

    Marks are written `TOGETHER` trainees to a transaction, so that a run cut short
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
    with busy.exclusive(term, f"marking {module.key}"), database.connected(term) as connection:
        with connection.begin():
            standing.must_be_assigned(connection, module.key)
            people = {person.id: person for person in roster.everyone(connection)}
            run.findings += reconcile.reconcile(term, connection, module)
            rows = gradebook.Rows(connection, module)
            work = _work(connection, module.key)
            decided = adjustments.read(connection)
        for start in range(0, len(work), TOGETHER):
            some = work[start : start + TOGETHER]
            with connection.begin():
                marks = standing.Marks(connection, module, (issue.trainee for issue, _ in some))
                for issue, hand_ins in some:
                    person = people[issue.trainee]
                    _mark_one(term, connection, module, marks, person, issue, hand_ins, decided, reason, run, preview)
                marks.write(rows, decided)
        if not preview:
            with connection.begin():
                _papers().follow(term, connection, module)
    return run


def settle(term, connection, module, owner, reason, decided=None):
    """Compute one trainee's marks anew after a decision about him, inside the caller's transaction.

    Where nothing was marked yet nothing is written; the next marking run takes
    the decision into account.

    Parameters
    ----------
    term : Term
    connection : Connection
        In a transaction.
    module : Module
    owner : (str, str, int)
        Trainee, module key, attempt.
    reason : str
    decided : Adjustments or None

    Returns
    -------
    int or None
        The mark in hundredths as it stands now.
    """
    marked = connection.execute(select(schema.mark).where(*of(schema.mark, owner))).first()
    if marked is None:
        return None
    issue = connection.execute(select(schema.issue).where(*of(schema.issue, owner))).one()
    hand_ins = connection.execute(select(schema.hand_in).where(*of(schema.hand_in, owner))).all()
    decided = decided or adjustments.read(connection)
    hand_in = counting(term, issue, hand_ins, decided)
    found, values = evaluate(term, module, issue, hand_in, decided)
    person = roster.one(connection, issue.trainee)
    marks = standing.Marks(connection, module, [issue.trainee])
    answers = answer_rows(module, issue, found)
    _put(module, marks, person, issue, hand_in, found, values, answers, decided, reason, MarkRun())
    marks.write(gradebook.Rows(connection, module), decided)
    _papers().follow(term, connection, module)
    return values["mark"]


def counting(term, issue, hand_ins, decided=adjustments.NONE):
    """The hand-in that counts: the last usable one on time, else the first late one."""
    due = decided.due(issue)
    usable = sorted((h for h in hand_ins if h.usable), key=lambda h: (h.received_at, h.id))
    on_time = [h for h in usable if late.late_days(term.settings, due, clock.from_text(h.received_at)) == 0]
    return on_time[-1] if on_time else usable[0] if usable else None


def evaluate(term, module, issue, hand_in, decided=adjustments.NONE):
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
    exercises, by_hand = numbers(issue), decided.by_hand(issue)
    found = decided.apply(issue, mark_sheet(module, exercises, sheets.parse(content)))
    earned = raw(module, found, by_hand)
    days = late.late_days(term.settings, decided.due(issue), clock.from_text(hand_in.received_at))
    off = late.penalty(term.settings, earned, found.most, days)
    return found, {
        "state": standing.PARTLY_MARKED if waiting(found, by_hand) else standing.MARKED,
        "raw": earned,
        "penalty": off,
        "mark": earned - off,
        "most": found.most,
        "late_days": days,
        "sha256": hand_in.sha256,
        "handed_in_at": hand_in.received_at,
        "engine": ENGINE,
        "key_version": assign.key_version(module.as_issued(exercises)),
        "notes": "\n".join(found.notes),
        "pending": waiting(found, by_hand),
    }


def of(table, owner):
    """The condition that a row is of one (trainee, module, attempt)."""
    return [column == value for column, value in zip((table.c.trainee, table.c.module, table.c.attempt), owner, strict=True)]  # fmt: skip


def numbers(issue):
    """The exercises of an issue as they were drawn: key -> {"version", "parameters"}."""
    return json.loads(issue.record)["exercises"]


def by_exercise(module, found):
    """Exercise name -> computed hundredths, as both roads write them into the gradebook; what waits is left out."""
    earned = {e.name: found.exercise_hundredths(e.key) for e in module.exercises}
    return {name: hundredths for name, hundredths in earned.items() if hundredths is not None}


def raw(module, found, by_hand):
    """Hundredths of a sheet so far, with marks set by hand in the place of computed ones."""
    so_far = dict.fromkeys((e.key for e in module.exercises), 0)
    for part in found.parts:
        so_far[part.path.rpartition(".")[0]] += part.hundredths or 0
    return sum(by_hand.get(key, hundredths) for key, hundredths in so_far.items())


def waiting(found, by_hand):
    """Hundredths still to be read, in exercises that nobody marked by hand yet."""
    return sum(p.most for p in found.parts if p.hundredths is None and p.path.rpartition(".")[0] not in by_hand)


def answer_rows(module, issue, found):
    """The rows of tm_answer for a marked sheet."""
    parts = module.as_issued(numbers(issue)).by_path
    return [
        {
            "trainee": issue.trainee,
            "module": module.key,
            "attempt": issue.attempt,
            "part": mark.path,
            "exercise": parts[mark.path][0].key,
            "raw": mark.raw.replace("\0", "\ufffd"),  # PostgreSQL cannot hold the zero character
            "unit": mark.unit.replace("\0", "\ufffd"),
            "read_as": mark.read_as,
            "expected": feedback.expected(parts[mark.path][1], mark),
            "verdict": mark.verdict,
            "slip": mark.slip,
            "hundredths": mark.hundredths,
            "most": mark.most,
        }
        for mark in found.parts
    ]


def _mark_one(term, connection, module, marks, person, issue, hand_ins, decided, reason, run, preview):
    hand_in = counting(term, issue, hand_ins, decided)
    if hand_in is None:
        run.findings += [f"{person.id}: {h.finding}" for h in hand_ins[-1:]]
        return
    try:
        found, values = evaluate(term, module, issue, hand_in, decided)
        answers = answer_rows(module, issue, found)
    except BadSheet as problem:
        run.findings.append(f"{person.id}: {problem}")
        return
    except Exception as fault:  # a fault of ours on one sheet must not keep the class waiting
        said = " ".join(str(fault).split())[:200]
        run.findings.append(
            f"{person.id}: {FAULT} ({type(fault).__name__}: {said}) on this sheet; nothing was written. Report it with the "
            f"file {collect.kept_path(term, hand_in.sha256).name}."
        )
        return
    run.findings += [f"{person.id}: {_one_line(note)}" for note in found.notes]
    if preview:
        _preview(connection, marks.before(issue), issue, found, values, run)
    else:
        _put(module, marks, person, issue, hand_in, found, values, answers, decided, reason, run)


def _preview(connection, before, issue, found, values, run):
    """Note what marking would change for one trainee, part by part; write nothing."""
    owner = adjustments.owner(issue)
    if before is not None and all(getattr(before, name) == value for name, value in values.items()):
        run.unchanged += 1
        return
    had = {}
    if before is not None:
        had = {
            row.part: row.hundredths
            for row in connection.execute(select(schema.answer).where(*of(schema.answer, owner)))
        }
    parts = tuple((m.path, had.get(m.path), m.hundredths) for m in found.parts if had.get(m.path) != m.hundredths)
    same_work = before is not None and before.sha256 == values["sha256"]
    run.changes.append(
        Change(issue.trainee, issue.attempt, before.mark if before else None, values["mark"], same_work, parts)
    )


def _put(module, marks, person, issue, hand_in, found, values, answers, decided, reason, run):
    """Gather one trainee's marks for records, gradebook and ledger."""
    before = marks.before(issue)
    same_work = before is not None and before.sha256 == hand_in.sha256
    if before is not None:
        if all(getattr(before, name) == value for name, value in values.items()):
            run.unchanged += 1
            return
        if same_work and before.mark != values["mark"] and not reason.strip():
            run.held.append(
                f"{person.id}: {_marks(before.mark)} would become {_marks(values['mark'])} for the same hand-in. "
                "Run 'mark' again with --reason to write it."
            )
            return
    values["marked_at"] = clock.to_text(clock.now())
    by_hand = {key.rpartition(".")[2]: hundredths for key, hundredths in decided.by_hand(issue).items()}
    received = clock.from_text(hand_in.received_at)
    work = gradebook.Work(person, received, by_exercise(module, found), values["penalty"], by_hand)
    entry = ledger.Entry(
        "re-marked" if same_work else "marked", trainee=issue.trainee, module=issue.module, attempt=issue.attempt,
        old=before.mark if before else None, new=values["mark"], most=values["most"], engine=ENGINE,
        key_version=values["key_version"], sha256=hand_in.sha256,
        reason=(reason or "same mark; settings or engine changed") if same_work else reason,
    )  # fmt: skip
    marks.put(issue, values, answers, work, entry)
    run.marked += 1


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
        content = files.read_bytes(path, most=collect.LARGEST_KEPT, what="The kept hand-in")
    except BadFile as problem:
        raise BadSheet(f"{problem} Put it back from your copy, or collect it again.") from None
    if hashlib.sha256(content).hexdigest() != hand_in.sha256:
        raise BadSheet(f"The kept hand-in {path.name} was changed. Put it back from your copy, or collect it again.")
    return content


def _one_line(text):
    """A note that quotes a sheet, fit for one line: names in a sheet can hold anything."""
    return "".join(c if c.isprintable() else "?" for c in text)


def _papers():
    return importlib.import_module("grader.course.second_road.papers")  # which calls this file at its beginning


def _marks(hundredths):
    return f"{hundredths / 100:g}"
