"""nbgrader's side of a term: its database, its release, its rows. Its words stop in this file.

Marks are written as rows, so that no notebook is executed; formgrader and
nbgrader's own commands then find the term as if nbgrader had marked it.
"""

from __future__ import annotations

import importlib.util
import os
import re
import sys
import sysconfig
import uuid
import warnings
from collections.abc import Iterable, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from types import ModuleType
from typing import Any, NamedTuple

from sqlalchemy import Connection, bindparam, delete, inspect, select
from sqlalchemy.exc import SAWarning

from grader.errors import Refused
from grader.exercise.model import Module
from grader.records.term.term import Term

_GRAMMARS = "rfc3987_syntax"

CODE_STUB = {"python": "# Room for your own working. Nothing here is marked."}


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
            yield nbgrader_api()
    finally:
        os.environ["PATH"] = before


def create(term: Term) -> None:
    """Make nbgrader's tables in a new database."""
    with _nbgrader() as api, api.Gradebook(term.database_url, course_id=term.id):
        pass


def generate(term: Term, module: str) -> None:
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


def config(term: Term, made: Any) -> Any:
    """nbgrader settings of a term."""

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


def name_comments(connection: Connection, module: str, trainee: str, attempt: int) -> None:
    """Put "Attempt 1: " and the like before every comment on a trainee's work that says no attempt yet."""
    t = nbgrader_api().Base.metadata.tables
    comment, book, submitted, assignment = (
        t[name] for name in ("comment", "submitted_notebook", "submitted_assignment", "assignment")
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


class Work(NamedTuple):
    """What one trainee's work is worth, as it goes into nbgrader's rows.

    `received` is when it arrived, `hundredths` and `by_hand` lead from an exercise's
    name to the hundredths computed and to those that a person set, `penalty` are the
    hundredths taken off for being late.
    """

    person: Any
    received: datetime
    hundredths: dict
    penalty: int
    by_hand: dict

    @property
    def stamp(self) -> datetime:
        """The arrival as nbgrader keeps it: UTC without saying so, whole seconds."""
        return self.received.astimezone(UTC).replace(tzinfo=None, microsecond=0)


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

    def __init__(self, connection: Connection, module: Module) -> None:
        self._c = connection
        self._t = nbgrader_api().Base.metadata.tables
        assignment, notebook, base = self._t["assignment"], self._t["notebook"], self._t["base_cell"]
        ids = connection.execute(
            select(assignment.c.id, notebook.c.id)
            .join(notebook, notebook.c.assignment_id == assignment.c.id)
            .where(assignment.c.name == module.key)
        ).first()
        if ids is None:
            raise Refused(f"{module.key} was not released in this term. Run 'assign {module.key}' first.")
        self._assignment, self._notebook = ids
        cells = connection.execute(
            select(base.c.id, base.c.name, base.c.type).where(base.c.notebook_id == self._notebook)
        ).all()
        self._graded = {cell.name: cell.id for cell in cells if cell.type in ("GradeCell", "TaskCell")}
        self._commented = [cell.id for cell in cells if cell.type in ("SolutionCell", "TaskCell")]
        self._module_key = module.key

    def write(self, works: Sequence[Work]) -> None:
        """Put the marks of any number of trainees in, automatic scores and those set by hand.

        Parameters
        ----------
        works : sequence of Work
            Each trainee once. Few statements serve all of them together.
        """
        if not works:
            return
        # Of an exercise that came into the module later nobody was issued numbers, and nothing is to be written.
        missing = sorted({name for work in works for name in (*work.hundredths, *work.by_hand)} - set(self._graded))
        if missing:
            raise Refused(
                f"The released {self._module_key} has no marking cell for {', '.join(missing)}. Release and assign it anew."
            )
        self._write_names([work.person for work in works])
        submitted, book = self._t["submitted_assignment"], self._t["submitted_notebook"]
        known = {
            row.student_id: row
            for row in self._c.execute(
                select(submitted.c.student_id, submitted.c.id, book.c.id.label("book"))
                .join(book, book.c.assignment_id == submitted.c.id)
                .where(submitted.c.assignment_id == self._assignment)
                .where(submitted.c.student_id.in_([work.person.id for work in works]))
            )
        }
        self._add([work for work in works if work.person.id not in known])
        self._replace([(work, known[work.person.id]) for work in works if work.person.id in known])

    def _write_names(self, people):
        student = self._t["student"]
        wanted = [student.c.id, student.c.first_name, student.c.last_name]
        known = self._c.execute(select(*wanted).where(student.c.id.in_([person.id for person in people])))
        before = {row.id: (row.first_name, row.last_name) for row in known}
        names = [{"id": p.id, "first_name": p.first_name, "last_name": p.last_name} for p in people]
        self._many(student.insert(), [row for row in names if row["id"] not in before])
        changed = [r for r in names if before.get(r["id"], ("", "")) != (r["first_name"], r["last_name"])]
        self._many(
            student.update().where(student.c.id == bindparam("who")),
            [{"who": r["id"], **r} for r in changed if r["id"] in before],
        )

    def _add(self, works):
        """Rows of trainees whom nbgrader has no work of yet."""
        submissions, books, grades, comments = [], [], [], []
        for work in works:
            submission, book = uuid.uuid4().hex, uuid.uuid4().hex
            submissions.append(
                {"id": submission, "assignment_id": self._assignment, "student_id": work.person.id, "timestamp": work.stamp}
            )  # fmt: skip
            books.append(
                {"id": book, "assignment_id": submission, "notebook_id": self._notebook, "flagged": False,
                 "late_submission_penalty": work.penalty / 100}
            )  # fmt: skip
            for name, cell in self._graded.items():
                grades.append({"id": uuid.uuid4().hex, "cell_id": cell, "notebook_id": book, **_scores(work, name)})
            comments += ({"id": uuid.uuid4().hex, "cell_id": cell, "notebook_id": book} for cell in self._commented)
        for table, rows in (
            ("submitted_assignment", submissions), ("submitted_notebook", books), ("grade", grades), ("comment", comments),
        ):  # fmt: skip
            self._many(self._t[table].insert(), rows)

    def _replace(self, works):
        """New scores in the rows of trainees whose work stands in the gradebook."""
        submitted, book, grade = self._t["submitted_assignment"], self._t["submitted_notebook"], self._t["grade"]
        stamps = [{"mine": known.id, "timestamp": work.stamp} for work, known in works]
        self._many(submitted.update().where(submitted.c.id == bindparam("mine")), stamps)
        penalties = [{"mine": known.book, "late_submission_penalty": work.penalty / 100} for work, known in works]
        self._many(book.update().where(book.c.id == bindparam("mine")), penalties)
        before = {}
        if works:
            wanted = [grade.c.notebook_id, grade.c.cell_id, grade.c.auto_score]
            books = [known.book for _, known in works]
            for row in self._c.execute(select(*wanted).where(grade.c.notebook_id.in_(books))):
                before[row.notebook_id, row.cell_id] = row.auto_score
        rows = []
        for work, known in works:
            for name, cell in self._graded.items():
                values = _scores(work, name)
                # A mark by hand on work that changed since must be looked at again.
                changed = before.get((known.book, cell)) != values["auto_score"]
                values["needs_manual_grade"] |= name in work.by_hand and changed
                rows.append({"mine": known.book, "cell": cell, **values})
        mine = (grade.c.notebook_id == bindparam("mine")) & (grade.c.cell_id == bindparam("cell"))
        self._many(grade.update().where(mine), rows)

    def _many(self, statement, rows):
        if rows:
            self._c.execute(statement, rows)

    def scores(self) -> dict[str, dict[str, int | None]]:
        """Automatic scores as hundredths: {trainee id: {exercise name: hundredths or None}}."""
        return {who: {name: score.auto for name, score in by_name.items()} for who, by_name in self.book().items()}

    def book(self) -> dict[str, dict[str, Score]]:
        """All scores as they stand: {trainee id: {exercise name: Score}}."""
        submitted, book, grade = self._t["submitted_assignment"], self._t["submitted_notebook"], self._t["grade"]
        names = {cell: name for name, cell in self._graded.items()}
        scores = {}
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
            scores.setdefault(row.student_id, {})[names[row.cell_id]] = score
        return scores


def _scores(work, name):
    auto = work.hundredths[name] / 100 if name in work.hundredths else None
    manual = work.by_hand[name] / 100 if name in work.by_hand else None
    return {"auto_score": auto, "manual_score": manual, "needs_manual_grade": auto is None and manual is None}


def nbgrader_api() -> ModuleType:
    """The module nbgrader.api."""
    if "nbgrader" not in sys.modules:
        _import_jsonschema()
    return importlib.import_module("nbgrader.api")


def _import_jsonschema():
    """With a stand-in for the grammars, which is gone afterwards: whoever else imports them gets the real ones.

    nbgrader imports jsonschema, which builds a grammar for internationalised web
    addresses when it is imported. Nothing here ever checks one, and the building
    takes more than half of the time: nbgrader is imported in 1.3 s with the stand-in and
    in 2.9 s without (processor time, median of 7). Each `assign`, `collect` and `mark`
    would wait that much longer; `term show` and other reading commands import neither.
    """
    if "jsonschema" in sys.modules or _GRAMMARS in sys.modules or importlib.util.find_spec(_GRAMMARS) is None:
        return
    stand_in = ModuleType(_GRAMMARS)
    vars(stand_in)["is_valid_syntax"] = lambda *args: importlib.import_module(_GRAMMARS).is_valid_syntax(*args)
    sys.modules[_GRAMMARS] = stand_in
    try:
        importlib.import_module("jsonschema")
    finally:
        del sys.modules[_GRAMMARS]


def delete_gradebook_rows(connection: Connection, everybody: Iterable[str]) -> None:
    """Rows of nbgrader's tables about some trainees, by their own ids."""
    from nbgrader import api

    tables = api.Base.metadata.tables
    if not inspect(connection).has_table("student"):
        return
    student, submitted, book = tables["student"], tables["submitted_assignment"], tables["submitted_notebook"]
    for who in everybody:
        work = select(book.c.id).where(
            book.c.assignment_id.in_(select(submitted.c.id).where(submitted.c.student_id == who))
        )
        for name in ("grade", "comment"):
            connection.execute(delete(tables[name]).where(tables[name].c.notebook_id.in_(work)))
        connection.execute(delete(book).where(book.c.id.in_(work)))
        connection.execute(delete(submitted).where(submitted.c.student_id == who))
        connection.execute(delete(student).where(student.c.id == who))
