"""Marking a class: kept hand-ins in, records and gradebook out; no notebook is executed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, Row, select

from grader.course.attempts import evaluation, kept, standing
from grader.course.attempts.evaluation import Evaluation
from grader.course.formgrader import notebooks
from grader.course.grading.session import session
from grader.course.grading.settle import Marker, MarkRun
from grader.errors import BadSheet
from grader.records import adjustments, finding, schema
from grader.records.finding import Finding
from grader.records.gradebook import gradebook
from grader.records.term import roster
from grader.records.term.term import Term

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


def mark(
    term: Term,
    module_key: str,
    *,
    reason: str = "",
    preview: bool = False,
    progress: Callable[[int, int], object] | None = None,
) -> MarkRun:
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
    progress : callable or None
        Told before each part of the class how many hand-ins are done, of how many; what it raises ends the run
        there, with whole marks.

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
    with session(term, module_key, "marking", read_only=preview) as work:
        connection, module = work.connection, work.module
        standing.must_be_assigned(connection, module.key)
        people = {person.id: person for person in roster.everyone(connection)}
        rows = gradebook.Rows(connection, module)
        to_mark = _to_mark(connection, module.key)
        marker = Marker(work, reason)
        marker.run.findings += work.findings
        work.keep()
        for start in range(0, len(to_mark), TOGETHER):
            if progress is not None:
                progress(start, len(to_mark))
            some = to_mark[start : start + TOGETHER]
            marks = marker.begin(issue.trainee for issue, _ in some)
            for issue, hand_ins in some:
                evaluated = _evaluated(marker, issue, hand_ins)
                if evaluated is None:
                    continue
                if preview:
                    _preview(connection, marks.before(issue), evaluated, marker.run)
                else:
                    marker.put(people[issue.trainee], evaluated)
            if not preview:
                marker.write(rows)
            work.keep()
        if not preview:
            notebooks.follow(term, connection, module)
    return marker.run


def _evaluated(marker: Marker, issue: Row, hand_ins: Sequence[Row]) -> Evaluation | None:
    """What the hand-in that counts is worth; None where a person has to look first, which the run's findings say."""
    work, findings, who = marker.work, marker.run.findings, issue.trainee
    hand_in = evaluation.counting(work.term, issue, hand_ins, marker.decided)
    if hand_in is None:
        findings += [Finding(last.kind, who, kept.sentence(last)) for last in hand_ins[-1:]]
        return None
    try:
        evaluated = evaluation.evaluate(work.term, work.module, issue, hand_in, marker.decided)
        evaluated.answers  # noqa: B018  computed here, where a fault on one sheet is caught
    except BadSheet as problem:
        findings.append(Finding(finding.CANNOT_MARK, who, str(problem)))
        return None
    except Exception as fault:  # a fault of ours on one sheet must not keep the class waiting
        words = " ".join(str(fault).split())[:200]
        words = (
            f"{FAULT} ({type(fault).__name__}: {words}) on this sheet; nothing was written. Report it with the file "
            f"{kept.kept_path(work.term, hand_in.sha256).name}."
        )
        findings.append(Finding(finding.FAULT, who, words))
        return None
    findings += [Finding(finding.NOTE, who, _one_line(note)) for note in evaluated.sheet.notes]
    return evaluated


def _preview(connection: Connection, before: Row | None, evaluated: Evaluation, run: MarkRun) -> None:
    """Note what marking would change for one trainee, part by part; write nothing."""
    issue, values = evaluated.issue, evaluated.values
    if before is not None and all(getattr(before, name) == value for name, value in values.items()):
        run.unchanged += 1
        return
    had = {}
    if before is not None:
        mine = adjustments.of(schema.answer, adjustments.owner(issue))
        had = {row.part: row.hundredths for row in connection.execute(select(schema.answer).where(*mine))}
    parts = tuple(
        (mark.path, had.get(mark.path), mark.hundredths)
        for mark in evaluated.sheet.parts
        if had.get(mark.path) != mark.hundredths
    )
    same_work = before is not None and before.sha256 == values["sha256"]
    run.changes.append(
        Change(issue.trainee, issue.attempt, before.mark if before else None, values["mark"], same_work, parts)
    )


def _to_mark(connection: Connection, module_key: str) -> list[tuple[Row, list[Row]]]:
    """[(issue row, its hand-in rows)] of everybody who handed something in."""
    by_owner: dict[tuple, list[Row]] = {}
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


def _one_line(text: str) -> str:
    """A note that quotes a sheet, fit for one line: names in a sheet can hold anything."""
    return "".join(c if c.isprintable() else "?" for c in text)
