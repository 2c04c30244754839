"""Lists as a trainee or a form writes them: "a;c", "3>1>2", or JSON text; and lists in the text of a task."""

import json
from html import escape
from itertools import groupby

from grader.errors import Unreadable

NONE = "none"  # what stands for an empty list
ENTRY = "• "  # opens each line of a list in a task
_SHORT = 16  # letters; lists of such lines stand in columns


def check_keys(part, keys):
    """Refuse keys that could not be told apart in a list.

    Raises
    ------
    ValueError
        An author's mistake: blanks, separators, or "none" in a key.
    """
    for key in keys:
        if not key or key.strip() != key or key.lower() == NONE or set(key) & set(';,>="[]\n'):
            raise ValueError(f"{part}: the key {key!r} cannot stand in a list; use letters, figures, - and _")


def from_json(text):
    """The list in a JSON text, or None for any other text."""
    if not text.startswith("["):
        return None
    try:
        found = json.loads(text)
    except (ValueError, RecursionError):
        raise Unreadable("The list is damaged. Answer again in the form.") from None
    if not isinstance(found, list) or not all(type(entry) in (str, int) for entry in found):
        raise Unreadable("The list holds more than plain words. Answer again in the form.")
    return found


def entries(raw):
    """The entries of a list written with ; or , or as JSON."""
    found = from_json(raw.strip())
    if found is not None:
        return [str(entry) for entry in found]
    return [entry for entry in raw.replace("\n", ";").replace(",", ";").split(";") if entry.strip()]


def keys(raw, marks, known, what):
    """Keys in a list text, each known and once."""
    found = from_json(raw.strip())
    if found is None:
        for mark in marks:
            raw = raw.replace(mark, "\0")
        found = [key for key in (text.strip() for text in raw.split("\0")) if key]
    found = tuple(str(key) for key in found)
    for key in found:
        if key not in known:
            raise Unreadable(f"“{key[:30]}” is none of the {what}. They are {', '.join(known)}.")
    if len(set(found)) != len(found):
        raise Unreadable("One entry is named twice. Name each once.")
    if not found:
        raise Unreadable("Nothing is written yet.")
    return found


def lines(entries):
    """A list for the text of a task, one entry a line, with a new line before and after it."""
    return "".join(f"\n{ENTRY}{entry}" for entry in entries) + "\n"


def as_html(text):
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
    found = []
    for listed, run in groupby(text.strip().split("\n"), key=lambda line: line.startswith(ENTRY)):
        if listed:
            entries = [escape(line.removeprefix(ENTRY)) for line in run]
            short = " short" if max(map(len, entries)) <= _SHORT else ""
            found.append(f'<ul class="listed{short}">{"".join(f"<li>{entry}</li>" for entry in entries)}</ul>')
        else:
            found.append(f"<p>{'<br>'.join(escape(line.strip()) for line in run)}</p>")
    return "".join(found)
