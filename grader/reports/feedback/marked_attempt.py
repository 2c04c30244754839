"""What the records hold about one trainee's attempt, with the worked answers that explain it."""

from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any

from sqlalchemy import Connection, Row, select

from grader import catalogue
from grader.course.attempts import evaluation, passing, standing
from grader.errors import BadSheet, Refused
from grader.exercise import issued as issued_as
from grader.exercise.model import Exercise, Module
from grader.exercise.truth import Truth
from grader.marking.verdict import READ
from grader.records import adjustments, answers, database, schema
from grader.records.adjustments import Adjustments
from grader.records.term import roster
from grader.records.term.roster import Trainee
from grader.records.term.term import Term
from grader.reports.feedback import confidence as sure
from grader.reports.tables import people


@dataclass(frozen=True, slots=True)
class Work:
    """One marked attempt."""

    person: roster.Trainee
    module: Module  # as it was issued
    mark: Any  # row of tm_mark
    due: str  # after any extension
    extended: str
    rows: dict  # path -> row of tm_answer
    by_hand: dict  # exercise key -> hundredths
    truth: Truth
    marks: dict  # path -> PartMark, as the records keep it
    readings: dict  # path -> Reading of a written answer
    objectives: list = field(default_factory=list)  # rows as in objectives.csv
    judged: dict = field(default_factory=dict)  # code -> Judged
    sure: dict = field(default_factory=dict)  # exercise key -> Said; practice only
    mode: str = ""  # practice or assessed

    def given(self, exercise: Exercise) -> SimpleNamespace:
        """The trainee's own numbers of an exercise."""
        return SimpleNamespace(**vars(self.truth.given(exercise.key)))

    def earned(self, exercise: Exercise) -> int | None:
        """Hundredths of an exercise; None while one of its answers waits to be read."""
        if exercise.key in self.by_hand:
            return self.by_hand[exercise.key]
        mine = [self.rows[f"{exercise.key}.{part.key}"].hundredths for part in exercise.parts]
        return None if None in mine else sum(mine)

    @property
    def to_sit_again(self) -> list[str]:
        """Codes of objectives that a resit would cover."""
        return [code for code, objective in self.judged.items() if objective.lacking]


def of_trainee(term: Term, module_key: str, trainee_id: str) -> Work:
    """The work of a trainee that counts in a module; nothing is written.

    Raises
    ------
    Unknown, Refused
        No such module or trainee; nothing of him is marked there.
    BadSheet
        As `gather`.
    """
    module = catalogue.module(module_key)
    with database.reading(term) as connection:
        person = roster.one(connection, trainee_id)
        standings = standing.standings(term, connection, [module.key], people=[person])
        if not standings or standings[0].mark is None:
            raise Refused(f"Nothing of {person.name} is marked in {module.title} yet.")
        return gather(term, connection, module, person, standings[0].mark, adjustments.read(connection))


def gather(
    term: Term, connection: Connection, module: Module, person: Trainee, mark: Row, decided: Adjustments
) -> Work:
    """The work of one attempt.

    Parameters
    ----------
    term : Term
    connection : Connection
    module : Module
    person : Trainee
    mark : row of tm_mark
    decided : Adjustments

    Returns
    -------
    Work

    Raises
    ------
    BadSheet
        An exercise was issued in a version that is not kept.
    """
    owner = (person.id, module.key, mark.attempt)
    issue = connection.execute(select(schema.issue).where(*adjustments.of(schema.issue, owner))).one()
    rows = {
        row.part: row for row in connection.execute(select(schema.answer).where(*adjustments.of(schema.answer, owner)))
    }
    exercises = evaluation.numbers(issue)
    issued = module.as_issued(exercises)
    truth = Truth(issued, {key: entry["parameters"] for key, entry in exercises.items()})
    judged = passing.as_marked(list(rows.values()), decided.by_hand(issue))
    extended = decided.extension(issue)
    return Work(
        person,
        issued,
        mark,
        decided.due_text(issue),
        extended,
        rows,
        decided.by_hand(issue),
        truth,
        {path: answers.part_mark(row) for path, row in rows.items()},
        _readings(decided, rows),
        *_objectives(term, person, judged),
        _sure(term, module, issue, mark),
        issued_as.parse(issue.record.encode()).mode,
    )


def _sure(term, module, issue, mark):
    """What was said in practice; a kept hand-in that is gone is told by 'term verify', not here."""
    try:
        return sure.of_sheet(term, module, issue.record, mark)
    except BadSheet:
        return {}


def _readings(decided, rows):
    """What the instructor gave the written answers, by path."""
    readings = {path: decided.reading(row, path, row.raw) for path, row in rows.items() if row.verdict == READ}
    return {path: given for path, given in readings.items() if given is not None}


def _objectives(term, person, rows):
    """How far this attempt shows each objective that it examines: (rows as in objectives.csv, code -> Judged)."""
    known, mine = catalogue.objectives(), passing.by_objective(rows)
    return (
        [people.objective(term, person, known[code], examined) for code, examined in mine.items()],
        passing.judge_all(term.policy, rows),
    )
