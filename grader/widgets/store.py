"""Where a lesson keeps its answers, and whose they are."""

import os
from dataclasses import dataclass, replace
from pathlib import Path

from grader import clock, paths
from grader.errors import TimingMarkError
from grader.exercise import issued, variant
from grader.exercise import sheet as sheets
from grader.exercise.model import PRACTICE

MADE_WITH = "timing-mark 0.1"
PRACTICE_MARKER = "practice.json"
PRACTICE_TRAINEE = "practice"


@dataclass(frozen=True, slots=True)
class Place:
    """The folder of a lesson, and whether answers may be saved there."""

    folder: Path
    may_save: bool
    why_not: str = ""


def lesson_folder():
    """The folder of the open notebook, else the current one."""
    session = os.environ.get("JPY_SESSION_NAME", "")
    parent = Path(session).parent if session else None
    return parent if parent is not None and parent.is_absolute() and parent.is_dir() else Path.cwd()


def being_graded():
    """True while nbgrader executes the notebook to mark it."""
    return os.environ.get("NBGRADER_EXECUTION") == "autograde"


def place(folder=None):
    """Where the lesson lies; answers are saved only beside numbers that were issued or a practice marker."""
    folder = Path(folder) if folder is not None else lesson_folder()
    if os.environ.get("NBGRADER_EXECUTION"):
        return Place(folder, False, "The lesson is being marked.")
    for home in (paths.solutions(), paths.lessons()):
        if folder.resolve().is_relative_to(home):
            return Place(
                folder, False, "This is the project's own copy. Open the lesson with 'python -m grader study'."
            )
    if not (folder / issued.NAME).is_file() and not (folder / PRACTICE_MARKER).is_file():
        return Place(
            folder, False, "No numbers were issued into this folder. Open the lesson with 'python -m grader study'."
        )
    return Place(folder, True)


class Store:
    """The answers of one lesson in one folder.

    `issue` holds the numbers. `problem` is a sentence when the saved sheet could
    not be read; the damaged file is then left alone and set aside on the next save.
    """

    def __init__(self, module, folder=None):
        self.module = module
        self.place = place(folder)
        self.issue = self._read_issue()
        self.problem = ""
        self.sheet = self._read_sheet()

    @property
    def path(self):
        return self.place.folder / sheets.NAME

    def put(self, path, raw, unit="", read_as=""):
        """Note one answer and save the sheet where that is allowed.

        Raises
        ------
        CannotWrite
            The answer is noted here and not saved.
        """
        version = self.issue.exercises[path.rpartition(".")[0]]["version"]
        before = self.sheet.answers.get(path)
        answer = sheets.Answer(raw, unit, version, read_as, clock.to_text(clock.now()), before.tries if before else 0,
                               before.rest if before else {})  # fmt: skip
        self.sheet = replace(self.sheet.with_answer(path, answer), saved=answer.at)
        if self.place.may_save:
            self.save()

    def save(self):
        """Write the sheet.

        Raises
        ------
        CannotWrite
            The file on disk stands as it was.
        """
        if self.problem and self.path.exists():
            os.replace(self.path, self.path.with_name(f"{sheets.NAME}.damaged"))
            self.problem = ""
        sheets.write(self.path, self.sheet)

    def _read_issue(self):
        path = self.place.folder / issued.NAME
        if path.is_file():
            return issued.read(path)
        numbers = variant.draw(
            self.module, key=variant.PRACTICE_KEY, term=PRACTICE, trainee=PRACTICE_TRAINEE, attempt=1
        )
        return issued.make(
            self.module, key=variant.PRACTICE_KEY, term=PRACTICE, trainee=PRACTICE_TRAINEE, attempt=1, mode=PRACTICE,
            due="", zone="UTC", numbers=numbers,
        )  # fmt: skip

    def _read_sheet(self):
        fresh = sheets.Sheet(
            self.issue.term, self.issue.module, self.issue.trainee, self.issue.attempt, made_with=MADE_WITH
        )
        if not self.path.exists():
            return fresh
        try:
            return sheets.read(self.path)
        except TimingMarkError as problem:
            self.problem = str(problem)
            return fresh
