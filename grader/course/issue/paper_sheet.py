"""The exercise sheet on paper: a trainee's own questions, room for answers, nothing that gives one away."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING

from markupsafe import Markup

from grader import catalogue, clock, files
from grader.course.issue import plots
from grader.errors import BadFile
from grader.exercise import issued, listing
from grader.pages import html
from grader.records.term.term import Term

if TYPE_CHECKING:
    from grader.records.term.roster import Trainee


def write(term: Term, person: Trainee, record: str) -> Path:
    """Write out/<trainee>/<module>.html and return where it lies.

    Parameters
    ----------
    term : Term
    person : Trainee
    record : str
        The issue as the term keeps it.

    Raises
    ------
    BadFile
        The issue cannot be read.
    CannotWrite
        A former sheet stands.
    """
    path = term.folder / "out" / person.id / f"{issued.parse(record.encode()).module}.html"
    files.write_bytes(path, build(term, [(person, record)]))
    return path


def write_all(term: Term, module_key: str, work: Sequence[tuple[Trainee, str]]) -> Path:
    """Write the sheets of several trainees as one file to print, and return where it lies.

    Parameters
    ----------
    term : Term
    module_key : str
    work : list of (Trainee, str)
        As `build` takes it.

    Returns
    -------
    Path
        In reports/, which goes with every person who is deleted.
    """
    path = term.folder / "reports" / f"{module_key}-sheets-to-print.html"
    files.write_bytes(path, build(term, work))
    return path


def build(term: Term, work: Sequence[tuple[Trainee, str]]) -> bytes:
    """The sheets of some trainees, each beginning on paper of its own.

    Parameters
    ----------
    term : Term
    work : list of (Trainee, str)
        Each with the issue as the term keeps it; all of one module.

    Returns
    -------
    bytes
    """
    sheets = [_sheet(term, person, issued.parse(record.encode())) for person, record in work]
    whose = sheets[0]["name"] if len(sheets) == 1 else f"{len(sheets)} sheets"
    return html.page("paper_sheet.html", title=f"{sheets[0]['module']}, {whose}", sheets=sheets)


def _sheet(term, person, issue):
    module = catalogue.module(issue.module).as_issued(issue.exercises)
    asked = set(issued.to_answer(issue.exercises))
    due = term.shown(clock.from_text(issue.due)) if issue.due else "no due time"
    return {
        "module": module.title,
        "name": person.name,
        "foot": f"{issue.module}, {issue.trainee}, {issue.term}",
        "facts": [("Trainee", person.name), ("Id", person.college_id), ("Class", f"{term.settings.title} ({issue.term})"),
                  ("Work", f"{issue.mode}, attempt {issue.attempt}, {module.marks} marks"), ("Hand in by", due)],
        "exercises": [
            _exercise(number, exercise, issue.numbers[exercise.key])
            for number, exercise in enumerate(module.exercises, start=1) if exercise.key in asked
        ],
        "card": _card(term, module),
    }  # fmt: skip


def _exercise(number, exercise, parameters):
    given = SimpleNamespace(**parameters)
    return {
        "number": number,
        "title": exercise.title,
        "marks": "1 mark" if exercise.marks == 1 else f"{exercise.marks} marks",
        "plot": plots.plot(exercise, given),
        "wording": Markup(listing.as_html(exercise.wording(given))),
        "parts": [_part(part, given) for part in exercise.parts],
    }


def _part(part, given):
    """What is asked and which room the answer needs: the name of a macro of the template, and what stands in it."""
    return {"prompt": part.prompt, **part.room(given)._asdict()}


def _card(term, module):
    """The summary card of the lesson, where it is a plain table or list of lines: (rows, lines)."""
    path = term.folder / "release" / module.key / f"{module.key}.ipynb"
    try:
        cells = json.loads(files.read_bytes(path, most=20_000_000, what="The released lesson"))["cells"]
    except (BadFile, ValueError, KeyError):
        return (), ()  # the sheet is whole without it
    text = next(("".join(cell["source"]) for cell in cells if cell.get("id") == "card"), "")
    card = text.partition("\n## ")[0]  # what follows under another heading is no formula
    rows, lines = [], []
    for line in card.splitlines()[1:]:
        cells = [cell.strip() for cell in line.strip("| ").split("|")]
        if line.startswith("|") and len(cells) == 2 and any(cell.strip("-: ") for cell in cells):
            rows.append(cells)
        elif line.startswith(">"):
            lines.append(line.strip("> "))
    return rows, () if rows else lines
