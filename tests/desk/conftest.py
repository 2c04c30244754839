from types import SimpleNamespace

import pytest
from ipywidgets import Widget

from grader import clock
from grader.course.grading import mark_class
from grader.course.submissions import collect
from grader.desk import change
from grader.desk.page import Desk
from tests.work import issue_of, put_in_inbox, right_sheet


@pytest.fixture(autouse=True)
def _no_loop_of_a_browser(monkeypatch):
    """A browser that tests opened before keeps a loop running in this thread; a desk without a page must not take it."""

    def none():
        raise RuntimeError("no running event loop")

    monkeypatch.setattr(change, "asyncio", SimpleNamespace(get_running_loop=none))


@pytest.fixture(autouse=True)
def _no_widgets_left():
    yield
    Widget.close_all()


@pytest.fixture
def desk_of(tmp_path):
    """Opens the desk of a term, as its page does."""

    def opened(folder, home="home"):
        (tmp_path / home).mkdir(exist_ok=True)
        return Desk(folder, tmp_path / home)

    return opened


@pytest.fixture
def marked(assigned_term):
    """Everything right from T01, on time; marked and not returned."""
    path = put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, "t01")))
    collect.collect(assigned_term, [path], received_at=clock.parse("2026-03-30 12:00", "Europe/Lisbon"))
    mark_class.mark(assigned_term, "m01_timing")
    return assigned_term
