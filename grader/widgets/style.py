"""The look of pictures and forms: colours, dashes, sizes. How a page looks belongs to its style sheet."""

from html import escape

from ipywidgets import Layout

# Okabe and Ito's colours, told apart with any kind of colour vision; dashes say the same.
INK, GREY, PAPER = "#1a1a1a", "#767676", "#ffffff"
BLUE, RED, GREEN, SKY = "#0072b2", "#d55e00", "#009e73", "#56b4e9"
SOLID, DASHED, DOTTED, DASH_DOT = "-", (0, (6, 3)), (0, (1.5, 2)), (0, (7, 2.5, 1.5, 2.5))

FONT = {"family": "DejaVu Sans", "size": 13.0}  # comes with matplotlib: the same on every machine
LINE = 2.2
DOTS_PER_INCH = 100
SHARPNESS = 1.5  # picture dots for one dot of the page: sharp enough, and a third cheaper than 2


def sentence(text, kind=""):
    """A sentence for an HTML widget; kind is "right", "wrong" or empty."""
    return f'<div class="tm-say{f" tm-{kind}" if kind else ""}">{escape(text)}</div>'


def anchor(exercise):
    """The name by which a link on the page finds an exercise."""
    return f"tm-{exercise.key.replace('.', '-')}"


def row():
    """Side by side, and below one another where the page is narrow."""
    return Layout(flex_flow="row wrap", align_items="center")


def column():
    return Layout(width="100%")


def wide():
    return Layout(width="100%", height="auto")


def field():
    return Layout(width="11rem")


def unit():
    return Layout(width="9rem")
