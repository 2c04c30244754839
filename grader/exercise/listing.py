"""Lists as a trainee or a form writes them: "a;c", "3>1>2", or JSON text; and lists in the text of a task."""

import json
from collections.abc import Collection, Iterable
from html import escape
from itertools import groupby

from grader.errors import Unreadable

NONE = "none"  # what stands for an empty list
ENTRY = "• "  # opens each line of a list in a task
_SHORT = 16  # letters; lists of such lines stand in columns


def check_keys(part: str, keys: Iterable[str]) -> None:
    """Refuse keys that could not be told apart in a list.

    Raises
    ------
    ValueError
        An author's mistake: blanks, separators, or "none" in a key.
    """
    for key in keys:
        if not key or key.strip() != key or key.lower() == NONE or set(key) & set(';,>="[]\n'):
            raise ValueError(f"{part}: the key {key!r} cannot stand in a list; use letters, figures, - and _")


def from_json(text: str) -> list[str | int] | None:
    """The list in a JSON text, or None for any other text."""
    if not text.startswith("["):
        return None
    try:
        listed = json.loads(text)
    except (ValueError, RecursionError):
        raise Unreadable("The list is damaged. Answer again in the form.") from None
    if not isinstance(listed, list) or not all(type(entry) in (str, int) for entry in listed):
        raise Unreadable("The list holds more than plain words. Answer again in the form.")
    return listed


def entries(raw: str) -> list[str]:
    """The entries of a list written with ; or , or as JSON."""
    listed = from_json(raw.strip())
    if listed is not None:
        return [str(entry) for entry in listed]
    return [entry for entry in raw.replace("\n", ";").replace(",", ";").split(";") if entry.strip()]


def keys(raw: str, marks: str, known: Collection[str], what: str) -> tuple[str, ...]:
    """Keys in a list text, each known and once."""
    listed = from_json(raw.strip())
    if listed is None:
        for mark in marks:
            raw = raw.replace(mark, "\0")
        listed = [key for key in (text.strip() for text in raw.split("\0")) if key]
    named = tuple(str(key) for key in listed)
    for key in named:
        if key not in known:
            raise Unreadable(f"“{key[:30]}” is none of the {what}. They are {', '.join(known)}.")
    if len(set(named)) != len(named):
        raise Unreadable("One entry is named twice. Name each once.")
    if not named:
        raise Unreadable("Nothing is written yet.")
    return named


def lines(entries: Iterable[object]) -> str:
    """A list for the text of a task, one entry a line, with a new line before and after it."""
    return "".join(f"\n{ENTRY}{entry}" for entry in entries) + "\n"


def as_html(text: str) -> str:
    """The text of a task as HTML: what is written together is a paragraph, listed lines are a list.

    Parameters
    ----------
    text : str
        New lines stay. Lines that open with `ENTRY` are entries.

    Returns
    -------
    str
        Paragraphs, and lists of the class "listed"; "listed short" where columns suit them.
    """
    blocks = []
    for listed, run in groupby(text.strip().split("\n"), key=lambda line: line.startswith(ENTRY)):
        if listed:
            entries = [escape(line.removeprefix(ENTRY)) for line in run]
            short = " short" if max(map(len, entries)) <= _SHORT else ""
            blocks.append(f'<ul class="listed{short}">{"".join(f"<li>{entry}</li>" for entry in entries)}</ul>')
        else:
            blocks.append(f"<p>{'<br>'.join(escape(line.strip()) for line in run)}</p>")
    return "".join(blocks)
