"""nbgrader's side of a term: its database, its release, its rows. Its words stop in this file.

Marks are written as rows, so that no notebook is executed; formgrader and
nbgrader's own commands then find the term as if nbgrader had marked it.
"""

import os
import re
import sysconfig
import uuid
import warnings
from contextlib import contextmanager
from datetime import UTC
from typing import NamedTuple

from sqlalchemy import select
from sqlalchemy.exc import SAWarning

from grader.errors import Refused


@contextmanager
def _nbgrader():
    """nbgrader's API, with what it needs around it."""
    scripts = sysconfig.get_path("scripts")
    before = os.environ.get("PATH", "")
    if scripts not in before.split(os.pathsep):
        # A new gradebook calls the program "alembic" by name.
        os.environ["PATH"] = scripts + os.pathsep + before
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", SAWarning)
            warnings.simplefilter("ignore", DeprecationWarning)
            from nbgrader import api

            yield api
    finally:
        os.environ["PATH"] = before


def create(term):
    """Make nbgrader's tables in a new database."""
    with _nbgrader() as api, api.Gradebook(term.database_url, course_id=term.id):
        pass


def generate(term, module):
    """Generate the release version of a module in the term folder, with its rows.

    Raises
    ------
    Refused
        nbgrader could not; its last words are given.
    """
    from traitlets.config import Config

    with _nbgrader():
        from nbgrader.apps import NbGraderAPI

        outcome = NbGraderAPI(config=config(term, Config())).generate_assignment(module, force=True, create=True)
    if not outcome["success"]:
        raise Refused(f"The lesson {module} could not be released: {_last_line(outcome)}")


def config(term, made):
    """nbgrader settings of a term."""
    from grader.course.term import CODE_STUB

    made.CourseDirectory.root = str(term.folder)
    made.CourseDirectory.course_id = term.id
    made.CourseDirectory.db_url = term.database_url
    made.ClearSolutions.code_stub = CODE_STUB
    made.Application.log_level = "WARNING"
    return made


def _last_line(outcome):
    lines = [
        line for line in (outcome.get("error") or outcome.get("log") or "no reason given").splitlines() if line.strip()
    ]
    return lines[-1][:300] if lines else "no reason given"


def name_comments(connection, module, trainee, attempt):
    """Put "Attempt 1: " and the like before every comment on a trainee's work that says no attempt yet."""
    from nbgrader import api

    t = api.Base.metadata.tables
    comment, book, submitted, assignment = (
        t[one] for one in ("comment", "submitted_notebook", "submitted_assignment", "assignment")
    )
    wanted = (
        select(comment.c.id, comment.c.manual_comment)
        .join(book, comment.c.notebook_id == book.c.id)
        .join(submitted, book.c.assignment_id == submitted.c.id)
        .join(assignment, submitted.c.assignment_id == assignment.c.id)
        .where(assignment.c.name == module, submitted.c.student_id == trainee)
    )
    for row in connection.execute(wanted).all():
        text = row.manual_comment or ""
        if text.strip() and not re.match(r"Attempt \d+: ", text):
            named = comment.update().where(comment.c.id == row.id)
            connection.execute(named.values(manual_comment=f"Attempt {attempt}: {text}"))


class Score(NamedTuple):
    """One grade cell in hundredths; None where nbgrader has nothing."""

    auto: int | None
    manual: int | None
    extra: int | None


class Rows:
    """Writes one module's marks into nbgrader's tables, through a connection of ours.

    Parameters
    ----------
    connection : Connection
    module : Module

    Raises
    ------
    Refused
        The module was not released into this database.
    """

    def __init__(self, connection, module):
        from nbgrader import api

        self._c = connection
        self._t = api.Base.metadata.tables
        assignment, notebook, base = self._t["assignment"], self._t["notebook"], self._t["base_cell"]
        found = connection.execute(
            select(assignment.c.id, notebook.c.id)
            .join(notebook, notebook.c.assignment_id == assignment.c.id)
            .where(assignment.c.name == module.key)
        ).first()
        if found is None:
            raise Refused(f"{module.key} was not released in this term. Run 'assign {module.key}' first.")
        self._assignment, self._notebook = found
        cells = connection.execute(
            select(base.c.id, base.c.name, base.c.type).where(base.c.notebook_id == self._notebook)
        ).all()
        self._graded = {cell.name: cell.id for cell in cells if cell.type in ("GradeCell", "TaskCell")}
        self._commented = [cell.id for cell in cells if cell.type in ("SolutionCell", "TaskCell")]
        missing = [exercise.name for exercise in module.exercises if exercise.name not in self._graded]
        if missing:
            raise Refused(
                f"The released {module.key} has no marking cell for {', '.join(missing)}. Release and assign it anew."
            )

    def write(self, person, received, hundredths, penalty, by_hand):
        """Put one trainee's marks in, automatic scores and those set by hand.

        Parameters
        ----------
        person : Trainee
        received : datetime
            When the work arrived.
        hundredths : dict of str to int
            Exercise name to hundredths of a mark.
        penalty : int
            Hundredths taken off for being late.
        by_hand : dict of str to int
            Exercise name to hundredths that a person set.
        """
        c, t = self._c, self._t
        student, submitted, book = t["student"], t["submitted_assignment"], t["submitted_notebook"]
        grade, comment = t["grade"], t["comment"]
        names = {"first_name": person.first_name, "last_name": person.last_name}
        if c.execute(select(student.c.id).where(student.c.id == person.id)).first() is None:
            c.execute(student.insert().values(id=person.id, **names))
        else:
            c.execute(student.update().where(student.c.id == person.id).values(**names))
        stamp = received.astimezone(UTC).replace(tzinfo=None, microsecond=0)
        mine = (submitted.c.assignment_id == self._assignment) & (submitted.c.student_id == person.id)
        submission = c.execute(select(submitted.c.id).where(mine)).scalar()
        if submission is None:
            submission, work = uuid.uuid4().hex, uuid.uuid4().hex
            c.execute(
                submitted.insert().values(
                    id=submission, assignment_id=self._assignment, student_id=person.id, timestamp=stamp
                )
            )
            c.execute(
                book.insert().values(
                    id=work,
                    assignment_id=submission,
                    notebook_id=self._notebook,
                    flagged=False,
                    late_submission_penalty=penalty / 100,
                )
            )
            c.execute(
                grade.insert(),
                [
                    {
                        "id": uuid.uuid4().hex,
                        "cell_id": cell,
                        "notebook_id": work,
                        **self._scores(name, hundredths, by_hand),
                    }
                    for name, cell in self._graded.items()
                ],
            )
            if self._commented:
                c.execute(
                    comment.insert(),
                    [{"id": uuid.uuid4().hex, "cell_id": cell, "notebook_id": work} for cell in self._commented],
                )
            return
        c.execute(submitted.update().where(submitted.c.id == submission).values(timestamp=stamp))
        work = c.execute(select(book.c.id).where(book.c.assignment_id == submission)).scalar()
        c.execute(book.update().where(book.c.id == work).values(late_submission_penalty=penalty / 100))
        before = dict(c.execute(select(grade.c.cell_id, grade.c.auto_score).where(grade.c.notebook_id == work)).all())
        for name, cell in self._graded.items():
            values = self._scores(name, hundredths, by_hand)
            # A mark by hand on work that changed since must be looked at again.
            values["needs_manual_grade"] |= name in by_hand and before.get(cell) != values["auto_score"]
            c.execute(grade.update().where((grade.c.notebook_id == work) & (grade.c.cell_id == cell)).values(**values))

    @staticmethod
    def _scores(name, hundredths, by_hand):
        auto = hundredths[name] / 100 if name in hundredths else None
        manual = by_hand[name] / 100 if name in by_hand else None
        return {"auto_score": auto, "manual_score": manual, "needs_manual_grade": auto is None and manual is None}

    def scores(self):
        """Automatic scores as hundredths: {trainee id: {exercise name: hundredths or None}}."""
        return {who: {name: score.auto for name, score in found.items()} for who, found in self.book().items()}

    def book(self):
        """All scores as they stand: {trainee id: {exercise name: Score}}."""
        submitted, book, grade = self._t["submitted_assignment"], self._t["submitted_notebook"], self._t["grade"]
        names = {cell: name for name, cell in self._graded.items()}
        found = {}
        for row in self._c.execute(
            select(
                submitted.c.student_id, grade.c.cell_id, grade.c.auto_score, grade.c.manual_score, grade.c.extra_credit
            )
            .join(book, book.c.assignment_id == submitted.c.id)
            .join(grade, grade.c.notebook_id == book.c.id)
            .where((submitted.c.assignment_id == self._assignment) & grade.c.cell_id.in_(names))
        ):
            score = Score(
                *(None if x is None else round(100 * x) for x in (row.auto_score, row.manual_score, row.extra_credit))
            )
            found.setdefault(row.student_id, {})[names[row.cell_id]] = score
        return found
