"""What was changed in nbgrader's gradebook past our ledger: taken over where a person may, named where not."""

from dataclasses import dataclass, replace

from sqlalchemy import select

from grader.course.attempts import standing
from grader.course.grading import settle
from grader.errors import BadFile, Refused
from grader.records import adjustments, ledger, schema
from grader.records.gradebook import gradebook

ACTOR = "formgrader"
REASON = "changed in formgrader"


@dataclass(frozen=True, slots=True)
class Change:
    """One mark by hand that formgrader and our records do not agree on; None: no mark by hand."""

    owner: tuple
    exercise: object
    ours: int | None
    theirs: int | None


def reconcile(term, connection, module):
    """Take marks by hand over from the gradebook, inside the caller's transaction.

    Parameters
    ----------
    term : Term
    connection : Connection
        In a transaction.
    module : Module

    Returns
    -------
    list of str
        What was changed in the gradebook and cannot be taken over.
    """
    changes, findings = differences(connection, module)
    for change in changes:
        key = dict(zip(("trainee", "module", "attempt"), change.owner, strict=True)) | {"exercise": change.exercise.key}
        if change.theirs is None:
            adjustments.take_back(connection, adjustments.override, key)
        else:
            decision = {"hundredths": change.theirs, "actor": ACTOR, "reason": REASON}
            adjustments.put(connection, adjustments.override, key, decision)
        entry = ledger.Entry("override", actor=ACTOR, **key, old=change.ours, new=change.theirs,
                             most=change.exercise.marks * 100, reason=REASON)  # fmt: skip
        ledger.append(connection, [entry])
    for owner in dict.fromkeys(change.owner for change in changes):
        try:
            settle.settle(term, connection, module, owner, REASON)
        except BadFile as problem:  # a kept hand-in is gone: the decision stands, the mark follows once it is back
            findings.append(f"{owner[0]}: {problem}")
    return findings


def differences(connection, module):
    """(changes that `reconcile` would take over, sentences about what cannot be taken over); writes nothing."""
    try:
        rows = gradebook.Rows(connection, module)
    except Refused:  # never released here: nothing to compare
        return [], []
    return _compare(connection, module, rows)


def foreseen(decided, changes):
    """The decisions as they will stand once some changes are taken over; `decided` stays as it is.

    Parameters
    ----------
    decided : Adjustments
    changes : list of Change

    Returns
    -------
    Adjustments
    """
    overrides = {owner: dict(marks) for owner, marks in decided.overrides.items()}
    for change in changes:
        mine = overrides.setdefault(change.owner, {})
        if change.theirs is None:
            mine.pop(change.exercise.key, None)
        else:
            mine[change.exercise.key] = change.theirs
    return replace(decided, overrides=overrides)


def sentence(change):
    """A change that is not taken over yet, for whoever only reads the term."""
    theirs, ours = ("no mark by hand" if mark is None else f"{mark / 100:g}" for mark in (change.theirs, change.ours))
    trainee, module, _ = change.owner
    return (
        f"{trainee}, {change.exercise.name}: formgrader has {theirs} and the records have {ours}. "
        f"Run 'mark {module}' to take it over."
    )


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
            found = scores.get(exercise.name)
            if found is None:
                continue
            who = f"{trainee}, {exercise.name}"
            if found.extra:
                findings.append(
                    f"{who}: formgrader gives {found.extra / 100:g} extra credit, which counts nowhere here."
                )
            if owner is None:
                if found.manual is not None:
                    findings.append(
                        f"{who}: formgrader has a mark, and nothing of this trainee was marked here. Collect and mark."
                    )
                continue
            ours = overrides.get(owner, {}).get(exercise.key)
            if found.manual is not None and not 0 <= found.manual <= exercise.marks * 100:
                findings.append(
                    f"{who}: formgrader gives {found.manual / 100:g} of {exercise.marks}; not taken over. Correct it there."
                )
            elif found.manual != ours:
                changes.append(Change(owner, exercise, ours, found.manual))
            marked = computed.get((owner, exercise.key), [0])
            expected = None if None in marked else sum(marked)  # a written answer has no automatic mark
            if found.auto is not None and found.auto != expected:
                shown = "none" if expected is None else f"{expected / 100:g}"
                findings.append(
                    f"{who}: the automatic mark in the gradebook is {found.auto / 100:g} where marking gave {shown}. "
                    "Somebody changed it, or autograded another hand-in; the records here count."
                )
    return changes, findings
