"""The look of pictures and forms: colours, dashes, sizes. How a page looks belongs to its style sheet.

A form's widgets are made here. Each would bring a layout and a style of its own, and every one
of these is a message to the page when a lesson opens: here all that look alike share one.
"""

from collections.abc import Iterable
from html import escape
from typing import Any

import ipywidgets
from ipywidgets import Layout

from grader.exercise.model import Exercise

# Okabe and Ito's colours, told apart with any kind of colour vision; dashes say the same.
INK, GREY, PAPER = "#1a1a1a", "#767676", "#ffffff"
BLUE, RED, GREEN, SKY = "#0072b2", "#d55e00", "#009e73", "#56b4e9"
SOLID, DASHED, DOTTED, DASH_DOT = "-", (0, (6, 3)), (0, (1.5, 2)), (0, (7, 2.5, 1.5, 2.5))

FONT = {"family": "DejaVu Sans", "size": 13.0}  # comes with matplotlib: the same on every machine
LINE = 2.2
DOTS_PER_INCH = 100
SHARPNESS = 2.5  # picture dots for one dot of the page: what stands still is sent once, and may be printed


def points(pixels: float) -> float:
    """Size of type in points, as a picture wants it, for a size in pixels of the page."""
    return pixels * 72 / DOTS_PER_INCH


def words(pixels: float = 13, **more: Any) -> dict[str, Any]:
    """Type of the words in a picture, for a size in pixels of the page; `more` are further properties of the text."""
    return {"family": FONT["family"], "size": points(pixels), **more}


def sentence(text: str, kind: str = "", items: Iterable[str] = ()) -> str:
    """A sentence for an HTML widget, and items listed under it; kind is "right", "wrong" or empty."""
    listed = "".join(f"<li>{escape(item)}</li>" for item in items)
    return f'<div class="tm-say{f" tm-{kind}" if kind else ""}">{escape(text)}{listed and f"<ul>{listed}</ul>"}</div>'


def clicks(button: str, count: int) -> str:
    """HTML for a beacon: how many clicks of a button were answered; the page asks again for the others."""
    return f'<span data-button="{button}" data-clicks="{count}"></span>'


def anchor(exercise: Exercise) -> str:
    """The name by which a link on the page finds an exercise."""
    return f"tm-{exercise.key.replace('.', '-')}"


def row() -> Layout:
    """Side by side, and below one another where the page is narrow."""
    return layout(flex_flow="row wrap", align_items="center")


def column() -> Layout:
    return layout(width="100%")


def wide() -> Layout:
    return layout(width="100%", height="auto")


def field() -> Layout:
    return layout(width="11rem")


def unit() -> Layout:
    return layout(width="9rem")


_made = {}


def layout(**values: Any) -> Layout:
    """The layout of those values; whoever gets it must not change it, since others have it too."""
    return _shared(Layout, values)


def _shared(kind, values):
    key = (kind, *sorted(values.items()))
    shared = _made.get(key)
    if shared is None or shared.comm is None:  # closed, when the lesson ran again
        shared = _made[key] = kind(**values)
    return shared


def _light(kind):
    """A kind of widget that shares layout and style with its like where none is named."""

    class Light(kind):
        def __init__(self, *arguments, **named):
            named.setdefault("layout", layout())
            if hasattr(kind, "style"):
                named.setdefault("style", _shared(kind.style.klass, {}))
            super().__init__(*arguments, **named)

    Light.__name__ = Light.__qualname__ = kind.__name__
    return Light


HTML, VBox, HBox = map(_light, (ipywidgets.HTML, ipywidgets.VBox, ipywidgets.HBox))
Button, Checkbox, RadioButtons = map(_light, (ipywidgets.Button, ipywidgets.Checkbox, ipywidgets.RadioButtons))
Dropdown, Text, Textarea = map(_light, (ipywidgets.Dropdown, ipywidgets.Text, ipywidgets.Textarea))
