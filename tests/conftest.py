"""One seed for a run; terms made once and copied for each test: real folders, real databases."""

import fcntl
import os
import pickle
import shutil
import sqlite3
import tempfile
from collections import Counter

import hypothesis
import pytest
import sqlalchemy

from grader import catalogue
from grader.course.issue import assign
from grader.demo import build
from grader.records import head
from grader.records.gradebook import setup
from grader.records.term import dates, roster
from grader.records.term import term as terms
from tests.seed import draws, years


@sqlalchemy.event.listens_for(sqlalchemy.Engine, "connect")
def _leave_the_disk_its_time(connection, _record):
    """A database of a test need not outlive a power cut; processes that are killed lose nothing by it."""
    if isinstance(connection, sqlite3.Connection):
        connection.execute("PRAGMA synchronous = OFF")


os.fsync = lambda _: None  # likewise of a file

hypothesis.settings.register_profile("suite", derandomize=True, deadline=None, database=None)
hypothesis.settings.register_profile("long", derandomize=False, deadline=None, database=None)

CLASS = """id,last_name,first_name,group
T01,Arundell,Bea,A
T02,"O’Neil, Jr.",Cass,A
T03,Null,Dov,B
"""


def pytest_addoption(parser):
    parser.addoption(
        "--seed", type=int, help=f"of all keys, ids and draws of the tests; otherwise {draws.NAME} or {draws.SEED}"
    )


def pytest_configure(config):
    if config.getoption("--seed") is not None:
        draws.SEED = config.getoption("--seed")
    os.environ[draws.NAME] = str(draws.SEED)
    os.environ.setdefault("PYTHONHASHSEED", str(draws.SEED % 2**32))  # of the children and of the workers of -n
    if not config.getoption("--hypothesis-profile"):
        hypothesis.settings.load_profile("suite")
    draws.take_over()
    dates.AROUND = years.around(dates.AROUND)
    os.environ.setdefault(head.PLACE, tempfile.mkdtemp(prefix="seen-"))  # of terms that several tests share


def pytest_sessionstart(session):
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if reporter and not hasattr(session.config, "workerinput"):
        reporter.write_line(f"seed {draws.SEED} (another one: --seed N or {draws.NAME}=N)")


def pytest_terminal_summary(terminalreporter):
    """A skip is a check that was not made: by name, with how many tests it took along."""
    reasons = Counter(report.longrepr[2].removeprefix("Skipped: ") for report in terminalreporter.getreports("skipped"))
    for reason, count in reasons.items():
        terminalreporter.write_line(f"{count} skipped, {reason}")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item):
    with draws.at(item.nodeid):
        try:
            return (yield)
        finally:
            draws.forget(item.nodeid)


@pytest.hookimpl(wrapper=True)
def pytest_fixture_setup(fixturedef, request):
    """What several tests share is drawn for itself, whichever of them comes first."""
    if fixturedef.scope == "function":
        return (yield)
    shared = (fixturedef.scope, request.node.nodeid, fixturedef.argname, str(getattr(request, "param_index", 0)))
    with draws.at(" ".join(shared)):
        return (yield)


@pytest.fixture(autouse=True)
def _seen_ledgers(tmp_path_factory, monkeypatch):
    """Each test is a machine of its own: what another one saw of a copy of the same term is not known to it."""
    monkeypatch.setenv(head.PLACE, str(tmp_path_factory.mktemp("seen")))


@pytest.fixture(scope="session")
def m01():
    return catalogue.module("m01_timing")


@pytest.fixture(scope="session")
def made_once(tmp_path_factory):
    """Makes a folder once for all workers of a run; gives what its making gave. Tests copy it, or only read it.

    Whoever comes second waits until it is made.
    """
    top = tmp_path_factory.getbasetemp()
    shared = (top.parent if "PYTEST_XDIST_WORKER" in os.environ else top) / "shared"
    shared.mkdir(exist_ok=True)

    def made(name, make):
        told = shared / f"{name}.made"
        with open(shared / f"{name}.lock", "w") as waiting:
            fcntl.flock(waiting, fcntl.LOCK_EX)
            if not told.exists():
                shutil.rmtree(shared / name, ignore_errors=True)  # somebody began, and failed
                with draws.at(f"made once {name}"):
                    told.write_bytes(pickle.dumps(make(shared / name)))
            return pickle.loads(told.read_bytes())

    return made


@pytest.fixture(scope="session")
def _empty_term(made_once):
    def make(folder):
        return setup.new_term(folder, term_id="spring-a", title="Spring, class A", zone="Europe/Lisbon").folder

    return made_once("empty", make)


@pytest.fixture(scope="session")
def _assigned_term(_empty_term, made_once):
    def make(folder):
        shutil.copytree(_empty_term, folder)
        opened = terms.open_term(folder)
        listed = folder / "rosters" / "list.csv"
        listed.write_text(CLASS, encoding="utf-8")
        roster.import_list(opened, listed)
        assign.assign(opened, "m01_timing", due="2026-03-31 17:00")
        return folder

    return made_once("assigned", make)


def _copy(folder, tmp_path):
    shutil.copytree(folder, tmp_path / "term")
    return terms.open_term(tmp_path / "term")


@pytest.fixture
def empty_term(_empty_term, tmp_path):
    """A term with nobody in it."""
    return _copy(_empty_term, tmp_path)


@pytest.fixture
def assigned_term(_assigned_term, tmp_path):
    """A term with three trainees, T01 to T03, and m01_timing assigned, due 2026-03-31 17:00 Lisbon."""
    return _copy(_assigned_term, tmp_path)


@pytest.fixture(scope="session")
def demo(made_once):
    """The demo, built once; tests only read it."""
    return made_once("demo", build.build)


@pytest.fixture
def demo_term(demo, tmp_path):
    """The demo's term of 24, to write into."""
    shutil.copytree(demo.term.folder, tmp_path / "demo")
    return terms.open_term(tmp_path / "demo")
