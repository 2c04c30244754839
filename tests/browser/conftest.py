"""A real JupyterLab and a real Chromium for the browser tests."""

import itertools
import json
import time
from pathlib import Path

import psutil
import pytest
from playwright.sync_api import sync_playwright

from grader import catalogue
from grader.exercise.truth import Truth
from grader.widgets import study
from grader.widgets.answer_store import Store
from grader.widgets.lab import server
from tests import programs

MODULE = "m01_timing"
FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)  # fmt: skip
READY = "body[data-tm-ready=yes]"
_number = itertools.count(1)


def pytest_collection_modifyitems(items):
    """Whatever stands in this folder drives a browser on pages of a server."""
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.browser)
            item.add_marker(pytest.mark.server)


def axe_source():
    """The text of axe-core as npm put it into .ci/."""
    return programs.node_package("axe-core", "axe.min.js").read_text()


@pytest.fixture(scope="session")
def browser():
    path = programs.chromium()
    with sync_playwright() as play:
        opened = play.chromium.launch(executable_path=path, args=FLAGS)
        yield opened
        opened.close()


class House:
    """A server of ours over a folder of work folders, each lesson in one of its own."""

    def __init__(self, home):
        self.home = Path(home)
        (self.home / server.PRIVATE).mkdir(parents=True)
        self.address = server.choose_address(self.home)
        self.process = server.start(self.home, self.address)

    def stop(self):
        server.stop(self.process)
        server.clear(self.home)

    def start_again(self):
        self.address = server.choose_address(self.home)
        self.process = server.start(self.home, self.address)

    def practice(self, module=MODULE):
        """A fresh practice copy of a lesson."""
        return Lesson(self, study.make_ready(module, folder=self.home, name=f"Test {next(_number)}"))

    def handout(self, path):
        """The lesson of a hand-out."""
        return Lesson(self, study.make_ready(str(path), folder=self.home, name=f"Test {next(_number)}"))

    def kernels(self):
        """Processes of the kernels that this server runs."""
        return [
            child for child in psutil.Process(self.process.pid).children() if "ipykernel" in " ".join(child.cmdline())
        ]


class Lesson:
    """One lesson in its work folder, and the pages that show it."""

    def __init__(self, house, ready):
        self.house, self.folder, self.notebook = house, ready.notebook.parent, ready.notebook
        self.module = catalogue.module(ready.module)
        self.url = house.address.lesson_url(house.home, ready.notebook)

    @property
    def answers(self):
        """What lies on disk: path -> raw text."""
        path = self.folder / "answers.json"
        return {k: a["raw"] for k, a in json.loads(path.read_text())["answers"].items()} if path.exists() else {}

    @property
    def store(self):
        return Store(self.module, self.folder)

    def truth(self):
        """Right answers and slips for the numbers that lie in the folder."""
        return Truth(self.module, self.store.issue.numbers)

    def slip(self, path, key):
        """(the value a slip gives, the sentence that names it)."""
        part = next(part for _, part, found in self.module.parts() if found == path)
        slip = next(slip for slip in part.slips if slip.key == key)
        return self.truth().slip(path, slip), slip.says

    def show(self, page):
        """Open the lesson and wait until all of it stands on the page."""
        page.goto(self.url)
        page.wait_for_selector(READY, state="attached", timeout=60_000)
        return page


def part(page, path):
    """The form of a part, such as m01.mark_arc.arc."""
    _, exercise, key = path.split(".")
    return page.locator(f".tm-ex-{exercise} .tm-part-{key}")


def field(page, path):
    return part(page, path).locator(".tm-field input")


def until(page, condition, seconds=15):
    """Wait for something outside the page, and let the page live meanwhile."""
    end = time.monotonic() + seconds
    while not condition():
        if time.monotonic() > end:
            pytest.fail(f"did not happen within {seconds} s; the page says: {page.locator('#tm-bar').inner_text()!r}")
        page.wait_for_timeout(50)


def verdict(page, path):
    return part(page, path).locator(".tm-verdict").first.inner_text().strip()


def judged(page, path, seconds=30):
    """The words of the verdict, once it stands there for good; a check may be asked again, which takes its time."""
    until(page, lambda: verdict(page, path) != "", seconds)
    page.wait_for_timeout(700)  # what is still under way would take it back
    assert verdict(page, path) != "", "the verdict came and went"
    return verdict(page, path)


def call(house, page, verb, path):
    """One request to the server's own interface."""
    return getattr(page.request, verb)(house.address.url(path))


@pytest.fixture(scope="session")
def house(tmp_path_factory, browser):
    opened = House(tmp_path_factory.mktemp("house") / "work")
    yield opened
    opened.stop()


@pytest.fixture(scope="session")
def context(browser):
    """One for all tests: JupyterLab's own scripts are then read from the browser's cache."""
    opened = browser.new_context(viewport={"width": 1280, "height": 900}, locale="en-GB")
    yield opened
    opened.close()


@pytest.fixture
def page(house, context):
    opened = context.new_page()
    opened.on("dialog", lambda dialog: dialog.accept())
    yield opened
    for session in call(house, opened, "get", "/api/sessions").json():
        call(house, opened, "delete", f"/api/sessions/{session['id']}")
    for left in context.pages:
        left.close()


@pytest.fixture
def lesson(house):
    return house.practice()


@pytest.fixture
def shown(lesson, page):
    """(lesson, page) with the lesson ready."""
    return lesson, lesson.show(page)
