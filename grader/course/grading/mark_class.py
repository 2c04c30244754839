"""Marking a class: kept hand-ins in, records and gradebook out; no notebook is executed."""

from dataclasses import dataclass

from sqlalchemy import select

from grader import catalogue
from grader.course.attempts import evaluation, kept, standing
from grader.course.formgrader import notebooks
from grader.course.grading import reconcile
from grader.course.grading.marks import Marks
from grader.course.grading.settle import MarkRun, put
from grader.errors import BadSheet
from grader.records import adjustments, database, lock, schema
from grader.records.gradebook import gradebook
from grader.records.term import roster

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
        Only say what would be written, with what formgrader changed; nothing is.

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
    with lock.exclusive(term, f"marking {module.key}"), database.connected(term) as connection:
        with connection.begin():
            standing.must_be_assigned(connection, module.key)
            people = {person.id: person for person in roster.everyone(connection)}
            if preview:
                changes, findings = reconcile.differences(connection, module)
                decided = reconcile.foreseen(adjustments.read(connection), changes)
            else:
                findings = reconcile.reconcile(term, connection, module)
                decided = adjustments.read(connection)
            run.findings += findings
            rows = gradebook.Rows(connection, module)
            work = _work(connection, module.key)
        for start in range(0, len(work), TOGETHER):
            some = work[start : start + TOGETHER]
            with connection.begin():
                marks = Marks(connection, module, (issue.trainee for issue, _ in some))
                for issue, hand_ins in some:
                    person = people[issue.trainee]
                    _mark_one(term, connection, module, marks, person, issue, hand_ins, decided, reason, run, preview)
                if not preview:
                    marks.write(rows, decided)
        if not preview:
            with connection.begin():
                notebooks.follow(term, connection, module)
    return run


def _mark_one(term, connection, module, marks, person, issue, hand_ins, decided, reason, run, preview):
    hand_in = evaluation.counting(term, issue, hand_ins, decided)
    if hand_in is None:
        run.findings += [f"{person.id}: {h.finding}" for h in hand_ins[-1:]]
        return
    try:
        found, values = evaluation.evaluate(term, module, issue, hand_in, decided)
        answers = evaluation.answer_rows(module, issue, found)
    except BadSheet as problem:
        run.findings.append(f"{person.id}: {problem}")
        return
    except Exception as fault:  # a fault of ours on one sheet must not keep the class waiting
        said = " ".join(str(fault).split())[:200]
        run.findings.append(
            f"{person.id}: {FAULT} ({type(fault).__name__}: {said}) on this sheet; nothing was written. Report it with the "
            f"file {kept.kept_path(term, hand_in.sha256).name}."
        )
        return
    run.findings += [f"{person.id}: {_one_line(note)}" for note in found.notes]
    if preview:
        _preview(connection, marks.before(issue), issue, found, values, run)
    else:
        put(module, marks, person, issue, hand_in, found, values, answers, decided, reason, run)


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
            for row in connection.execute(select(schema.answer).where(*adjustments.of(schema.answer, owner)))
        }
    parts = tuple((m.path, had.get(m.path), m.hundredths) for m in found.parts if had.get(m.path) != m.hundredths)
    same_work = before is not None and before.sha256 == values["sha256"]
    run.changes.append(
        Change(issue.trainee, issue.attempt, before.mark if before else None, values["mark"], same_work, parts)
    )


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


def _one_line(text):
    """A note that quotes a sheet, fit for one line: names in a sheet can hold anything."""
    return "".join(c if c.isprintable() else "?" for c in text)
