"""One trainee's marks computed and put down, in a class run or after a decision about him."""

from dataclasses import dataclass, field

from sqlalchemy import select

from grader import clock
from grader.course.attempts import evaluation
from grader.course.formgrader import notebooks
from grader.course.grading.marks import Marks
from grader.marking.mark import ENGINE
from grader.records import adjustments, ledger, schema
from grader.records.gradebook import gradebook
from grader.records.term import roster


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
    marked = connection.execute(select(schema.mark).where(*adjustments.of(schema.mark, owner))).first()
    if marked is None:
        return None
    issue = connection.execute(select(schema.issue).where(*adjustments.of(schema.issue, owner))).one()
    hand_ins = connection.execute(select(schema.hand_in).where(*adjustments.of(schema.hand_in, owner))).all()
    decided = decided or adjustments.read(connection)
    hand_in = evaluation.counting(term, issue, hand_ins, decided)
    found, values = evaluation.evaluate(term, module, issue, hand_in, decided)
    person = roster.one(connection, issue.trainee)
    marks = Marks(connection, module, [issue.trainee])
    answers = evaluation.answer_rows(module, issue, found)
    put(module, marks, person, issue, hand_in, found, values, answers, decided, reason, MarkRun())
    marks.write(gradebook.Rows(connection, module), decided)
    notebooks.follow(term, connection, module)
    return values["mark"]


def put(module, marks, person, issue, hand_in, found, values, answers, decided, reason, run):
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
    work = gradebook.Work(person, received, evaluation.by_exercise(module, found), values["penalty"], by_hand)
    entry = ledger.Entry(
        "re-marked" if same_work else "marked", trainee=issue.trainee, module=issue.module, attempt=issue.attempt,
        old=before.mark if before else None, new=values["mark"], most=values["most"], engine=ENGINE,
        key_version=values["key_version"], sha256=hand_in.sha256,
        reason=(reason or "same mark; settings or engine changed") if same_work else reason,
    )  # fmt: skip
    marks.put(issue, values, answers, work, entry)
    run.marked += 1


def _marks(hundredths):
    return f"{hundredths / 100:g}"
