"""A sheet to print: a trainee's own questions and answers as one plain page, without scripts."""

from __future__ import annotations

from html import escape
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING

from grader import clock, files
from grader.errors import Unreadable
from grader.exercise import listing
from grader.exercise.issued import Issued, to_answer
from grader.exercise.model import Module
from grader.exercise.sheet import Sheet
from grader.marking import reading

if TYPE_CHECKING:
    from grader.widgets.answer_store import Store

_LOOK = """
body { font: 11pt/1.45 "DejaVu Sans", Verdana, sans-serif; max-width: 46rem; margin: 2rem auto; padding: 0 1rem;
       color: #000; background: #fff; }
h1 { font-size: 1.5em; margin: 0 0 .3em; }
h2 { font-size: 1.1em; margin: 1.6em 0 .3em; border-top: 1px solid #000; padding-top: .6em; }
table { border-collapse: collapse; width: 100%; margin: .5em 0; }
caption { text-align: left; font-style: italic; padding-bottom: .2em; }
thead th { background: #eee; }
section td:nth-child(2) { width: 14em; }
section td:nth-child(3) { width: 7em; }
section td:last-child { width: 3.5em; }
th, td { border: 1px solid #555; padding: .3em .5em; text-align: left; vertical-align: top; overflow-wrap: anywhere; }
ul.listed { list-style: none; padding-left: 1em; }
ul.listed.short { columns: 9em; max-width: 40em; }
section { break-inside: avoid; }
h2 { break-after: avoid; }
@page { margin: 18mm; }
@media print { body { margin: 0; padding: 0; max-width: none; } }
"""


def name(store: Store) -> str:
    """Name of the sheet's file."""
    return f"{store.module.key}-sheet.html"


def write(store: Store) -> Path:
    """Make the sheet beside the answers and return where it lies.

    Raises
    ------
    CannotWrite
        A former sheet stands.
    """
    path = store.place.folder / name(store)
    files.write_text(path, build(store.module, store.issue, store.sheet, store.marker.name if store.marker else None))
    return path


def build(module: Module, issue: Issued, sheet: Sheet, person: str | None = None) -> str:
    """The page as text.

    Parameters
    ----------
    module : Module
    issue : Issued
    sheet : Sheet
    person : str or None
        Name on a sheet of own practice; None for issued numbers, which carry an id.

    Returns
    -------
    str
    """
    who = issue.trainee if person is None else person
    facts = [("Trainee", who or "not named")]
    if person is None:
        facts += [("Work", f"{issue.mode}, attempt {issue.attempt}"), ("Term", issue.term),
                  ("Due", _when(issue.due, issue.zone) or "no due time")]  # fmt: skip
    else:
        facts.append(("Work", "own practice; counts for no mark"))
    facts.append(("Last saved", _when(sheet.saved, issue.zone) or "nothing saved yet"))
    head = "".join(f'<tr><th scope="row">{escape(word)}</th><td>{escape(value)}</td></tr>' for word, value in facts)
    asked = set(to_answer(issue.exercises))
    body = "".join(_exercise(exercise, issue, sheet) for exercise in module.exercises if exercise.key in asked)
    title = f"{module.title}: questions and answers" + (f" of {who}" if who else "")
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{_LOOK}</style>\n</head>\n<body>\n<main>\n"
        f"<h1>{escape(module.title)}</h1>\n<table><caption>Whose sheet this is</caption>{head}</table>\n"
        f"{body}</main>\n</body>\n</html>\n"
    )


def _exercise(exercise, issue, sheet):
    given = issue.numbers[exercise.key]
    rows = []
    for part in exercise.parts:
        answer = sheet.answers.get(f"{exercise.key}.{part.key}")
        raw = answer.raw if answer else ""
        if part.picked:
            shown, read_as = _picked(part, raw, SimpleNamespace(**given)), ""
        else:
            shown = f"{raw} {answer.unit}".strip() if raw.strip() else ""
            read_as = answer.read_as if answer else ""
        cells = (shown or "(blank)", read_as or "")
        rows.append(
            f'<tr><th scope="row">{escape(part.prompt)}</th>'
            + "".join(f"<td>{escape(cell)}</td>" for cell in cells)
            + f"<td>{part.marks}</td></tr>"
        )
    options = "".join(_options(part, given) for part in exercise.parts if part.wording)
    return (
        f"<section><h2>{escape(exercise.title)}</h2>\n{listing.as_html(exercise.wording(SimpleNamespace(**given)))}\n{options}"
        f'<table><caption>Your answers</caption><thead><tr><th scope="col">Asked</th><th scope="col">Your answer</th>'
        f'<th scope="col">Read as</th><th scope="col">Marks</th></tr></thead><tbody>{"".join(rows)}</tbody></table>'
        "</section>\n"
    )


def _options(part, given):
    shown = part.in_shown_order(SimpleNamespace(**given))
    return "<ul>" + "".join(f"<li>{escape(words)}</li>" for _, words in shown) + "</ul>\n"


def _picked(part, raw, given):
    """What was ticked, ordered or sorted, in words; what cannot be read stays as it is."""
    try:
        return reading.read(part, raw, "", given).echo if raw.strip() else ""
    except Unreadable:
        return raw


def _when(text, zone):
    """A moment for a person; what the file says where it is no moment."""
    try:
        return clock.shown(clock.from_text(text), zone) if text else ""
    except ValueError:
        return text
