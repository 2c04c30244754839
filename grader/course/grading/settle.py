"""One trainee's marks computed and put down, in a class run or after a decision about him."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from sqlalchemy import select

from grader import clock
from grader.course.attempts import evaluation
from grader.course.attempts.evaluation import Evaluation
from grader.course.formgrader import notebooks
from grader.course.grading.marks import Marks
from grader.course.grading.work import Work
from grader.errors import Refused
from grader.marking.mark import ENGINE
from grader.records import adjustments, finding, ledger, schema
from grader.records.adjustments import Adjustments
from grader.records.finding import Finding
from grader.records.gradebook import gradebook
from grader.records.term import roster
from grader.records.term.roster import Trainee


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


class Marker:
    """Puts marks of some trainees down: into records, gradebook and ledger together.

    Parameters
    ----------
    work : Work
    reason : str
        Why marks of unchanged work may change; without one they are held back.
    decided : Adjustments or None
        The decisions as they stand, where the caller has read them.
    kind : str
        Of the entry in the ledger.
    """

    def __init__(self, work: Work, reason: str, decided: Adjustments | None = None, kind: str = "") -> None:
        self.work, self.reason, self.kind, self.run = work, reason, kind, MarkRun()
        self.decided = decided or work.decisions()
        self._marks: Marks | None = None

    def begin(self, trainees: Iterable[str]) -> Marks:
        """The marks of some trainees as they stand; new ones are gathered beside them until `write`."""
        self._marks = Marks(self.work.connection, self.work.module, trainees)
        return self._marks

    def put(self, person: Trainee, evaluated: Evaluation) -> None:
        """Gather one trainee's marks, unless they are as before or would change without a reason."""
        assert self._marks is not None, "begin first"
        issue, values, before = evaluated.issue, evaluated.values, self._marks.before(evaluated.issue)
        same_work = before is not None and before.sha256 == evaluated.hand_in.sha256
        if before is not None:
            same = all(getattr(before, name) == value for name, value in values.items())
            if same and self._marks.same_answers(issue, evaluated.answers):
                self.run.unchanged += 1
                return
            if same_work and before.mark != values["mark"] and not self.reason.strip():
                words = (
                    f"{_marks(before.mark)} would become {_marks(values['mark'])} for the same hand-in. "
                    "Run 'mark' again with --reason to write it."
                )
                self.run.held.append(Finding(finding.HELD, person.id, words))
                return
        by_hand = {key.rpartition(".")[2]: mark for key, mark in self.decided.by_hand(issue).items()}
        received = clock.from_text(evaluated.hand_in.received_at)
        earned = evaluation.by_exercise(evaluated.sheet)
        entry = ledger.Entry(
            "re-marked" if same_work else "marked",
            trainee=issue.trainee,
            module=issue.module,
            attempt=issue.attempt,
            old=before.mark if before else None,
            new=values["mark"],
            most=values["most"],
            engine=ENGINE,
            key_version=values["key_version"],
            sha256=evaluated.hand_in.sha256,
            reason=(self.reason or "same mark; settings or engine changed") if same_work else self.reason,
            kind=self.kind,
        )
        self._marks.put(
            issue,
            values | {"marked_at": clock.to_text(clock.now())},
            evaluated.answers,
            gradebook.Work(person, received, earned, values["penalty"], by_hand),
            entry,
        )
        self.run.marked += 1

    def write(self, rows: gradebook.Rows) -> None:
        """Write what was gathered since `begin`."""
        assert self._marks is not None, "begin first"
        self._marks.write(rows, self.decided)


def settle(
    work: Work, owner: tuple[str, str, int], reason: str, decided: Adjustments | None = None, *, kind: str = ""
) -> int | None:
    """Compute one trainee's marks anew after a decision about him, inside the caller's transaction.

    Where nothing was marked yet nothing is written; the next marking run takes
    the decision into account.

    Parameters
    ----------
    work : Work
    owner : (str, str, int)
        Trainee, module key, attempt.
    reason : str
    decided : Adjustments or None
        As they stand now, where the caller has read them.
    kind : str
        Of the entry in the ledger.

    Returns
    -------
    int or None
        The mark in hundredths as it stands now.
    """
    connection, module = work.connection, work.module
    if connection.execute(select(schema.mark).where(*adjustments.of(schema.mark, owner))).first() is None:
        return None
    issue = connection.execute(select(schema.issue).where(*adjustments.of(schema.issue, owner))).one()
    hand_ins = connection.execute(select(schema.hand_in).where(*adjustments.of(schema.hand_in, owner))).all()
    marker = Marker(work, reason, decided, kind)
    hand_in = evaluation.counting(work.term, issue, hand_ins, marker.decided)
    if hand_in is None:
        raise Refused(f"Nothing of {issue.trainee} in {module.key} would count any more. Nothing was changed.")
    evaluated = evaluation.evaluate(work.term, module, issue, hand_in, marker.decided)
    marker.begin([issue.trainee])
    marker.put(roster.one(connection, issue.trainee), evaluated)
    marker.write(gradebook.Rows(connection, module))
    if not work.session.rehearsed:
        notebooks.follow(work.term, connection, module)
    return evaluated.values["mark"]


def _marks(hundredths: int) -> str:
    return f"{hundredths / 100:g}"
