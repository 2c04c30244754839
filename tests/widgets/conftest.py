import pytest
from ipywidgets import Widget

from grader import catalogue
from grader.exercise import issued, practice, variant
from grader.exercise.model import ASSESSED
from grader.exercise.truth import Truth
from grader.widgets.lesson import Lesson

KEY = b"key of a term made for a test"


@pytest.fixture
def module():
    return catalogue.module("m01_timing")


@pytest.fixture(autouse=True)
def plain_surroundings(monkeypatch):
    for name in ("NBGRADER_EXECUTION", "JPY_SESSION_NAME"):
        monkeypatch.delenv(name, raising=False)
    yield
    Widget.close_all()


@pytest.fixture
def practice_folder(tmp_path):
    folder = tmp_path / "work"
    folder.mkdir()
    practice.write(folder / practice.NAME, practice.Marker("Ana", "7" * 32))
    return folder


def issue_of(module, trainee="t07", term="spring", attempt=1, due="", mode=ASSESSED):
    numbers = variant.draw(module, key=KEY, term=term, trainee=trainee, attempt=attempt)
    return issued.make(
        module, key=KEY, term=term, trainee=trainee, attempt=attempt, mode=mode, due=due, zone="Europe/Lisbon",
        numbers=numbers,
    )  # fmt: skip


@pytest.fixture
def assessed_folder(tmp_path, module):
    folder = tmp_path / "issued"
    folder.mkdir()
    (folder / issued.NAME).write_bytes(issued.dump(issue_of(module, due="2031-03-31T16:00:00.000Z")))
    return folder


class Opened:
    """A lesson with all its forms, as a page shows it."""

    def __init__(self, folder):
        self.lesson = Lesson("m01_timing", folder)
        self.lesson.top()
        for exercise in self.lesson.module.exercises:
            self.lesson.show(exercise.key)

    @property
    def store(self):
        return self.lesson.store

    @property
    def head(self):
        return self.lesson.head

    @property
    def truth(self):
        return Truth(self.lesson.module, self.store.issue.numbers)

    def form(self, name):
        return self.lesson.forms[f"m01.{name}"]

    def part(self, path):
        exercise, _, key = path.partition(".")
        return self.form(exercise).parts[key]

    def type(self, path, text):
        """Type a text key by key, as the front end sends it."""
        field = self.part(path).field
        for end in range(1, len(text) + 1):
            field.value = text[:end]

    def check(self, path, text):
        self.part(path).field.value = text
        self.part(path).check.click()
        return self.part(path).verdict.value


@pytest.fixture
def opened():
    return Opened
