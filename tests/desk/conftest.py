import pytest
from ipywidgets import Widget

from grader.desk.page import Desk


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
