"""Pages from templates: all text is escaped, nothing comes from a network and nothing runs."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_SHORT = 12  # rows of a table that is kept on one sheet of paper; a longer one begins under its heading
_NARROW = 4  # columns that fit every screen
_LONG = 60  # letters of a line that others can stand beside
_SIGNS = {"right": "✓", "partly": "◐", "wrong": "✗", "blank": "–", "waits": "…"}


@dataclass(frozen=True, slots=True)
class Table:
    """A table as a template shows it: the first cell of each row heads it; without rows a sentence stands there.

    `kind` is a class for the style sheet.
    """

    caption: str
    headings: Sequence[str]
    rows: Sequence[Sequence[Any]]
    empty: str = "None recorded."
    kind: str = ""

    @property
    def short(self) -> bool:
        return len(self.rows) <= _SHORT

    @property
    def wide(self) -> bool:
        """Whether it may be wider than a small screen, where it is moved sideways with finger or arrow keys."""
        return len(self.headings) > _NARROW


@dataclass(frozen=True, slots=True)
class Picture:
    """A figure as a data address; `says` tells in words what it shows."""

    data: str
    caption: str
    says: str


@dataclass(frozen=True, slots=True)
class Line:
    """A word and what it says of an answer; `look` is "long", "text" or "says", `typed` tells that a person wrote it."""

    word: str
    text: str
    look: str = ""
    typed: bool = False


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer as a page shows it. `state` is a key of the signs: right, partly, wrong, blank, waits; `tables` stand below."""

    prompt: str
    state: str
    verdict: str
    marks: str
    lines: Sequence[Line]
    tables: Sequence[Table] = ()


def line(word: str, text: str, look: str = "", *, typed: bool = False) -> Line:
    """A line that has a row of its own where it is long."""
    return Line(word, text, look or ("long" if len(text) > _LONG else ""), typed)


def table(
    caption: str, headings: Sequence[str], rows: Iterable[Sequence[Any]], empty: str = "None recorded.", kind: str = ""
) -> Table:
    """A table from rows that are perhaps still to be made."""
    return Table(caption, tuple(headings), [tuple(row) for row in rows], empty, kind)


def page(template: str, /, **data: Any) -> bytes:
    """A whole page.

    Parameters
    ----------
    template : str
        Name of a file in templates/ that extends screen.html or print.html.
    data
        What the template names; text is escaped there, unless it is `Markup`.

    Returns
    -------
    bytes
        UTF-8.
    """
    return _environment().get_template(template).render(**data).encode("utf-8", "replace")


def lines(text: Any) -> Markup:
    """Text of a person or a task with its own new lines."""
    return Markup("<br>").join(escape(line) for line in str(text).split("\n"))


def leaning(text: Any) -> Markup:
    """As `lines`; **bold** and *leaning* words of a lesson are shown so. What is `Markup` keeps its elements."""
    safe = str(text) if isinstance(text, Markup) else str(lines(text))
    safe = re.sub(r"\*\*([^*]+)\*\*", r"<strong>\1</strong>", safe)
    return Markup(re.sub(r"(?<![\w*])\*([^*\s][^*]*)\*(?![\w*])", r"<em>\1</em>", safe))


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("grader", "pages/templates"),
        autoescape=True,
        undefined=StrictUndefined,  # a name that the page forgot is an error, never a gap
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters |= {"lines": lines, "leaning": leaning, "css": _css, "cell": _cell}
    environment.globals["signs"] = _SIGNS
    return environment


def _css(text: Any) -> Markup:
    """Text inside a string of a style sheet, where HTML's escapes mean nothing."""
    return Markup("".join(c if re.match(r"[\w .,()/-]", c, re.ASCII) else f"\\{ord(c):06x}" for c in str(text)))


def _cell(value: Any, columns: int) -> str:
    """Class of a cell: figures stand to the right, except in a list of facts; a day is not broken."""
    text = str(value)
    if _DAY.fullmatch(text):
        return "whole"
    figure = text.rstrip(" \u00a0%").replace(".", "", 1).replace("-", "", 1).isdigit()
    return "number" if figure and columns > 2 else ""
