from types import SimpleNamespace

import pytest
from ipywidgets import Widget

from grader.desk import change
from grader.desk.page import Desk


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
