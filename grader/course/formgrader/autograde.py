"""What replaces execution when nbgrader autogrades: answers read as data, marks written, no kernel started."""

from __future__ import annotations

import hashlib
import os
import stat
import sysconfig
from pathlib import Path
from typing import Any

import nbformat
from nbconvert.exporters import NotebookExporter
from nbgrader.api import Gradebook
from nbgrader.preprocessors import NbGraderPreprocessor, SaveAutoGrades
from sqlalchemy import select

from grader import catalogue, clock, files
from grader.course.attempts import evaluation, lateness, standing
from grader.course.formgrader import notebooks as papers
from grader.course.submissions.archives import SET_ASIDE
from grader.errors import BadFile, BadSheet, TimingMarkError
from grader.exercise import issued
from grader.exercise import sheet as sheets
from grader.exercise.model import Module
from grader.exercise.sheet import Sheet
from grader.marking.mark import SheetMark, mark_sheet
from grader.records import adjustments, database, schema
from grader.records.gradebook import exchange, gradebook
from grader.records.term import term as terms
from grader.records.term.term import Term

STEPS = "grader.course.formgrader.autograde"

OURS = "timing_mark"


class ReleasedNotebook(NotebookExporter):
    """Reads the released notebook in the place of whatever was handed in.

    A notebook with cells doubled, deleted, renamed or edited, one that is no
    JSON, one that asks for a kernel nobody has: none of them is opened.
    """

    def from_filename(self, filename: str, resources: Any = None, **options: Any) -> Any:
        names = resources["nbgrader"]
        root = Path(self.parent.coursedir.root)  # pyright: ignore[reportOptionalMemberAccess] (nbgrader always names one)
        if any(
            not _ordinary(path) for path in _everything(root / "submitted" / names["student"] / names["assignment"])
        ):
            # nbgrader passes over a hook that failed; links must not reach the feedback even then.
            raise BadFile(
                f"The submission of {names['student']} holds links or pipes. Take them out and autograde again."
            )
        lesson = root / "release" / names["assignment"] / f"{names['notebook']}.ipynb"
        resources[OURS] = {"root": root, "folder": root / "autograded" / names["student"] / names["assignment"]}
        return super().from_filename(str(lesson), resources=resources, **options)


class MarkAnswers(NbGraderPreprocessor):
    """Marks answers.json beside the notebook and puts what was typed into the cells."""

    def preprocess(self, nb: Any, resources: Any) -> tuple[Any, Any]:
        names, ours = resources["nbgrader"], resources[OURS]
        term, module = terms.open_term(ours["root"]), catalogue.module(names["assignment"])
        ours |= {"hundredths": {}, "penalty": 0}
        sheet = marked = None
        try:
            content = files.read_bytes(ours["folder"] / sheets.NAME, most=sheets.LARGEST_FILE, what="The answer sheet")
            sheet, marked, penalty = judge(term, module, names["student"], content)
            lying = sheets.parse(content).attempt
            if lying != sheet.attempt:
                self.log.warning(
                    "%s, %s: attempt %s lies in submitted/ and attempt %s counts, so that one stays. If the other is not marked "
                    "yet, run 'collect' and 'mark'.",
                    names["student"],
                    module.key,
                    lying,
                    sheet.attempt,
                )
            ours |= {"hundredths": evaluation.by_exercise(marked), "penalty": penalty}
        except BadFile as problem:
            # No score is written, so that it waits for a person: an unreadable sheet is not a zero.
            self.log.warning("%s, %s: %s", names["student"], module.key, problem)
        return nbformat.from_dict(papers.rebuild(nb, module, sheet, marked)), resources


class SaveMarks(SaveAutoGrades):
    """Writes the marks into nbgrader's rows; marks by hand stay."""

    def preprocess(self, nb: Any, resources: Any) -> tuple[Any, Any]:
        nb, resources = super().preprocess(nb, resources)
        names = resources["nbgrader"]
        with Gradebook(names["db_url"]) as book:
            work = book.find_submission_notebook(names["notebook"], names["assignment"], names["student"])
            work.late_submission_penalty = resources[OURS]["penalty"] / 100
            book.db.commit()
        return nb, resources

    def _add_score(self, cell, resources):
        name = cell.metadata["nbgrader"]["grade_id"]
        grade: Any = self.gradebook.find_grade(name, self.notebook_id, self.assignment_id, self.student_id)
        hundredths = resources[OURS]["hundredths"].get(name)
        before, grade.auto_score = grade.auto_score, None if hundredths is None else hundredths / 100
        by_hand = grade.manual_score is not None
        grade.needs_manual_grade = before != grade.auto_score if by_hand else grade.auto_score is None
        self.gradebook.db.commit()


def judge(term: Term, module: Module, trainee: str, content: bytes) -> tuple[Sheet, SheetMark, int]:
    """(sheet, verdicts, penalty in hundredths) of one submission by the rules of the first road.

    Where the records hold marks of several attempts, or of another than this one, the
    attempt that counts by them is given instead: marks by hand belong to it. The sheet
    holds what a resit keeps.

    Raises
    ------
    BadSheet
        It cannot be marked, or is somebody else's.
    """
    sheet = sheets.parse(content)
    if (sheet.term, sheet.trainee, sheet.module) != (term.id, trainee, module.key):
        raise BadSheet(
            f"The answer sheet is by {sheet.trainee[:60]} for {sheet.module[:60]} in {sheet.term[:60]}, not by {trainee} "
            f"for {module.key} in {term.id}. Ask for the right file."
        )
    owner = (sheet.trainee, sheet.module, sheet.attempt)
    with database.reading(term) as connection:
        decided = adjustments.read(connection)
        issue = connection.execute(select(schema.issue).where(*adjustments.of(schema.issue, owner))).first()
        if issue is None:
            raise BadSheet(
                f"{trainee} was never issued attempt {str(sheet.attempt)[:20]} of {module.key}. Ask for the right file."
            )
        best = standing.best_attempt(connection, trainee, module.key)
        if best not in (None, sheet.attempt):
            [(issue, hand_in)] = papers.counting(connection, module, [trainee])
            marked = evaluation.evaluate(term, module, issue, hand_in, decided)
            sheet = papers.whole(issue, sheets.parse(evaluation.kept(term, hand_in)))
            return sheet, marked.sheet, marked.values["penalty"]
        arrived = _arrived(term, connection, owner, content)
    marked = decided.apply(issue, mark_sheet(module, evaluation.numbers(issue), sheet))
    sheet = papers.whole(issue, sheet)
    if arrived is None:
        return sheet, marked, 0
    raw = evaluation.raw(marked, decided.by_hand(issue))
    days = lateness.late_days(term.settings, decided.due(issue), arrived)
    return sheet, marked, lateness.penalty(term.settings, raw, marked.most, days)


def make_safe(assignment: str, student: str, notebooks: list[str]) -> None:
    """Before nbgrader copies a submission: set links and unreadable stamps aside, and name the released notebook.

    nbgrader follows links and would hand the instructor's own files back with the
    feedback; a stamp that it cannot read ends its whole run.

    Parameters
    ----------
    assignment, student : str
        Patterns of the run; not used.
    notebooks : list of str
        The notebooks found; afterwards the one that nbgrader knows.
    """
    folder = Path(notebooks[0]).parent
    for path in list(_everything(folder)):
        if not _ordinary(path) or _bad_stamp(path, folder):
            path.rename(path.with_name(path.name + SET_ASIDE))
    own = folder / f"{folder.name}.ipynb"
    if not own.is_file():
        term = terms.open_term(folder.parent.parent.parent)
        files.write_bytes(own, papers.released(term, catalogue.module(folder.name))[0])
    notebooks[:] = [str(own)]


def _everything(folder):
    """All files and folders below a folder that were not set aside; links are not followed."""
    for inside, folders, names in os.walk(folder):
        yield from (Path(inside) / name for name in (*folders, *names) if not name.endswith(SET_ASIDE))


def _ordinary(path):
    kind = path.lstat().st_mode
    return stat.S_ISREG(kind) or stat.S_ISDIR(kind)


def _bad_stamp(path, folder):
    if path != folder / "timestamp.txt" or path.is_dir():
        return False
    try:
        exchange.read_stamp(files.read_bytes(path, most=1000, what="The time stamp").decode("utf-8-sig").strip())
    except (TimingMarkError, UnicodeDecodeError):
        return True
    return False


def _arrived(term, connection, owner, content):
    """When this content came, by our records, else by the exchange's stamp."""
    table, sha256 = schema.hand_in, hashlib.sha256(content).hexdigest()
    known = connection.execute(
        select(table.c.received_at).where(*adjustments.of(table, owner), table.c.sha256 == sha256)
    ).scalar()
    if known:
        return clock.from_text(known)
    stamp = term.folder / "submitted" / owner[0] / owner[1] / "timestamp.txt"
    try:
        return exchange.read_stamp(
            files.read_bytes(stamp, most=1000, what="The time stamp").decode("utf-8-sig").strip()
        )
    except (TimingMarkError, UnicodeDecodeError):
        return None


def configure(c: Any, folder: str | Path) -> None:
    """Fill nbgrader's configuration for a term folder; called by its nbgrader_config.py.

    Parameters
    ----------
    c : traitlets Config
    folder : str
    """
    term = terms.open_term(folder)
    scripts = sysconfig.get_path("scripts")
    if scripts not in os.environ.get("PATH", "").split(os.pathsep):
        os.environ["PATH"] = scripts + os.pathsep + os.environ.get("PATH", "")  # nbgrader calls alembic by name
    c.CourseDirectory.root = str(term.folder)
    c.CourseDirectory.course_id = term.id
    patience = "?timeout=30" if term.database_url.startswith("sqlite") else ""
    c.CourseDirectory.db_url = term.database_url + patience
    c.CourseDirectory.ignore = [".ipynb_checkpoints", "*.pyc", "__pycache__", "feedback", f"*{SET_ASIDE}"]
    c.ClearSolutions.code_stub = gradebook.CODE_STUB
    # A trainee's notebook is never read: the released one stands in its place, and marks come from the answers.
    c.Autograde.exporter_class = f"{STEPS}.ReleasedNotebook"
    c.Autograde.pre_convert_hook = f"{STEPS}.make_safe"
    c.Autograde.sanitize_preprocessors = []
    c.Autograde.autograde_preprocessors = [f"{STEPS}.MarkAnswers", f"{STEPS}.SaveMarks"]
    kept = [sheets.NAME, issued.NAME]
    c.Autograde.exclude_overwriting = dict.fromkeys(catalogue.all_modules(), kept)
    c.OverwriteCells.add_missing_cells = True
    c.FormgradeExtension.debug = False  # else its page shows the database's address with the password
