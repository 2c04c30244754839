"""Widgets that look alike share one layout: a lesson opens with half the messages, and opens again with live ones."""

from ipywidgets import Layout, Widget
from ipywidgets.widgets import widget as registry

from grader.widgets import style


def alive():
    return [one for one in registry._instances.values() if one.comm is not None]


def test_a_lesson_is_made_of_few_widgets(practice_folder, opened):
    opened(practice_folder)
    assert len(alive()) < 400, "each is a message to the page"
    assert sum(isinstance(one, Layout) for one in alive()) < 40


def test_opened_again_everything_has_a_live_layout(practice_folder, opened):
    """Opening again closes all widgets; a closed layout that is used again would leave an empty page."""
    for _ in range(2):
        opened(practice_folder)
        shown = [one for one in alive() if hasattr(one, "layout")]
        assert len(shown) > 100
        assert all(one.layout.comm is not None for one in shown)
        assert all(one.style.comm is not None for one in shown if hasattr(one, "style"))


def test_what_is_named_is_kept():
    own = Layout(width="3rem")
    assert style.HTML("x", layout=own).layout is own
    assert style.HTML("x").layout is style.HTML("y").layout and style.HTML("x").style is style.HTML("y").style
    assert style.row() is style.row() and style.row() is not style.column()
    assert style.Button().style is not style.HTML().style
    Widget.close_all()
