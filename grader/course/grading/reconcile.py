"""What was changed in nbgrader's gradebook past our ledger: taken over where a person may, named where not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, select

from grader.course.attempts import standing
from grader.course.grading import settle
from grader.course.grading.work import Work
from grader.errors import BadFile, Refused
from grader.exercise.model import Exercise, Module
from grader.records import adjustments, finding, ledger, schema
from grader.records.finding import Finding
from grader.records.gradebook import gradebook

ACTOR = "formgrader"
REASON = "changed in formgrader"


@dataclass(frozen=True, slots=True)
class Change:
    """One mark by hand that formgrader and our records do not agree on; None: no mark by hand."""

    owner: tuple
    exercise: Exercise
    ours: int | None
    theirs: int | None


def reconcile(work: Work) -> list[Finding]:
    """Take marks by hand over from the gradebook, inside the caller's transaction.

    A session that only reads assumes them, and writes nothing.

    Parameters
    ----------
    work : Work

    Returns
    -------
    list of Finding
        What was changed in the gradebook and cannot be taken over.
    """
    connection = work.connection
    changes, findings = differences(connection, work.module)
    if work.read_only:
        work.session.assumed += [(change.owner, change.exercise.key, change.theirs) for change in changes]
        return findings
    for change in changes:
        trainee, module, attempt = change.owner
        key: dict[str, Any] = {
            "trainee": trainee,
            "module": module,
            "attempt": attempt,
            "exercise": change.exercise.key,
        }
        if change.theirs is None:
            adjustments.take_back(connection, adjustments.override, key)
        else:
            decision = {"hundredths": change.theirs, "actor": ACTOR, "reason": REASON}
            adjustments.put(connection, adjustments.override, key, decision)
        entry = ledger.Entry(
            "override",
            actor=ACTOR,
            **key,
            old=change.ours,
            new=change.theirs,
            most=change.exercise.marks * 100,
            reason=REASON,
        )
        ledger.append(connection, [entry])
    for owner in dict.fromkeys(change.owner for change in changes):
        try:
            settle.settle(work, owner, REASON)
        except BadFile as problem:  # a kept hand-in is gone: the decision stands, the mark follows once it is back
            findings.append(Finding(finding.CANNOT_MARK, owner[0], str(problem)))
    return findings


def differences(connection: Connection, module: Module) -> tuple[list[Change], list[Finding]]:
    """(changes that `reconcile` would take over, sentences about what cannot be taken over); writes nothing."""
    try:
        rows = gradebook.Rows(connection, module)
    except Refused:  # never released here: nothing to compare
        return [], []
    return _compare(connection, module, rows)


def sentence(change: Change) -> Finding:
    """A change that is not taken over yet, for whoever only reads the term."""
    theirs, ours = ("no mark by hand" if mark is None else f"{mark / 100:g}" for mark in (change.theirs, change.ours))
    trainee, module, _ = change.owner
    words = f"formgrader has {theirs} and the records have {ours}. Run 'mark {module}' to take it over."
    return Finding(finding.NOT_TAKEN_OVER, f"{trainee}, {change.exercise.name}", words)


def _compare(connection, module, rows):
    answers, computed = schema.answer, {}
    best = standing.best_attempts(connection, schema.mark.c.module == module.key)
    counting = {trainee: (trainee, key, attempt) for (trainee, key), attempt in best.items()}
    for row in connection.execute(select(answers).where(answers.c.module == module.key)):
        mine = computed.setdefault((adjustments.owner(row), row.exercise), [])
        mine.append(row.hundredths)
    overrides = adjustments.read(connection).overrides
    changes, findings = [], []
    for trainee, scores in rows.book().items():
        owner = counting.get(trainee)
        for exercise in module.exercises:
            score = scores.get(exercise.name)
            if score is None:
                continue
            who = f"{trainee}, {exercise.name}"
            if score.extra:
                words = f"formgrader gives {score.extra / 100:g} extra credit, which counts nowhere here."
                findings.append(Finding(finding.EXTRA_CREDIT, who, words))
            if owner is None:
                if score.manual is not None:
                    words = "formgrader has a mark, and nothing of this trainee was marked here. Collect and mark."
                    findings.append(Finding(finding.NOTHING_MARKED, who, words))
                continue
            ours = overrides.get(owner, {}).get(exercise.key)
            if score.manual is not None and not 0 <= score.manual <= exercise.marks * 100:
                words = (
                    f"formgrader gives {score.manual / 100:g} of {exercise.marks}; not taken over. Correct it there."
                )
                findings.append(Finding(finding.OUT_OF_RANGE, who, words))
            elif score.manual != ours:
                changes.append(Change(owner, exercise, ours, score.manual))
            marked = computed.get((owner, exercise.key), [0])
            expected = None if None in marked else sum(marked)  # a written answer has no automatic mark
            if score.auto is not None and score.auto != expected:
                shown = "none" if expected is None else f"{expected / 100:g}"
                words = (
                    f"the automatic mark in the gradebook is {score.auto / 100:g} where marking gave {shown}. Somebody "
                    "changed it, or autograded another hand-in; the records here count."
                )
                findings.append(Finding(finding.AUTOMATIC_MARK, who, words))
    return changes, findings
