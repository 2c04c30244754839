"""The start page: every lesson, how it stands with this trainee, and one click to each."""

import os
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from html import escape
from pathlib import Path
from types import MappingProxyType
from urllib.parse import quote

from ipywidgets import HTML, Widget

from grader import clock
from grader.exercise import recall
from grader.exercise.model import PRACTICE
from grader.widgets import own_work, style
from grader.widgets.people import being_executed, lesson_folder


def show(folder: str | Path | None = None) -> HTML | None:
    """The start page as a widget.

    Parameters
    ----------
    folder : path or None
        The trainee's folder; None: where the page lies.

    Returns
    -------
    HTML or None
        None while a notebook is executed without anybody who looks.
    """
    if being_executed():
        return None
    Widget.close_all()
    return style.HTML(page(Path(folder) if folder is not None else lesson_folder())).add_class("tm-start-page")


def page(
    root: Path,
    *,
    dues: Mapping[tuple[str, int], str] = MappingProxyType({}),
    buttons: Callable[[own_work.Work], str] | None = None,
    served: bool = False,
) -> str:
    """The start page as HTML. Links lead from the folder itself to the lessons in it.

    Parameters
    ----------
    root : Path
    dues : mapping of (str, int) to str
        Due times by module and attempt, where the instructor's side knows better than the files.
    buttons : callable or None
        HTML of what can be done with issued work that was not returned, beside opening it.
    served : bool
        A class server serves it: folders mean nothing to who reads it, and sheets come back by themselves.

    Returns
    -------
    str
    """
    standings = [_with_dues(standing, dues) for standing in own_work.gather(root)]
    lessons = "".join(_lesson(root, number, one, buttons) for number, one in enumerate(standings, 1))
    where = "" if served else f"This page shows what lies on this machine, in {escape(str(root))}. "
    how = "" if served else _how_marks_come(standings)
    return f"<h1>Your lessons</h1><p>{where}Reload it to see what is new.</p>{_next(root, standings)}{lessons}{how}"


def _with_dues(standing: own_work.Standing, dues: Mapping[tuple[str, int], str]) -> own_work.Standing:
    key = standing.module.key
    works = (replace(work, due=dues.get((key, work.attempt), work.due)) for work in standing.issued)
    return replace(standing, issued=tuple(works))


def _lesson(
    root: Path, number: int, standing: own_work.Standing, buttons: Callable[[own_work.Work], str] | None
) -> str:
    title = f"<h2>{number}. {escape(standing.module.title)}</h2>"
    lines = [_issued(root, work, buttons) for work in standing.issued]
    lines += [_returned(root, returned) for returned in standing.alone]
    lines += [_practice(root, standing.practice)] if standing.practice is not None else []
    return f"<section class='tm-start-lesson'>{title}{''.join(lines) or '<p>Not on this machine yet.</p>'}</section>"


def _issued(root: Path, work: own_work.Work, buttons: Callable[[own_work.Work], str] | None) -> str:
    kind = "Practice from your instructor" if work.mode == PRACTICE else "Assessed"
    attempt = f", attempt {work.attempt}" if work.attempt > 1 else ""
    words = [f"<strong>{kind}{attempt}.</strong>"]
    if work.problem:
        words.append(f"{escape(work.problem)}")
    if work.returned is None:
        words.append(_due(work))
        words.append(f"{work.answered} of {work.asked} answered.")
    words.append(_handed_in(work))
    words.append(_marks(work.returned) if work.returned is not None else "")
    links = [_link(root, work.notebook, "Open", strong=work.returned is None)]
    links += [_page(root, work.returned)] if work.returned is not None else []
    links += [buttons(work)] if buttons is not None and work.returned is None and work.answered else []
    return _line(words, links)


def _due(work: own_work.Work) -> str:
    if not work.due:
        return "No due time."
    due = clock.from_text(work.due)
    late = " <strong>This time has passed.</strong>" if clock.now() > due and not work.handed_in else ""
    return f"Due {escape(clock.shown(due, work.zone))}.{late}"


def _handed_in(work: own_work.Work) -> str:
    if not work.handed_in:
        return "" if work.returned is not None else "Not handed in yet."
    at = escape(clock.shown(clock.from_text(work.handed_in), work.zone))
    changed = " <strong>You changed answers since: hand in again.</strong>" if work.changed else ""
    waits = "" if work.returned is not None or changed else " Not returned yet."
    return f"Handed in {at}.{changed}{waits}"


def _marks(returned: own_work.Returned) -> str:
    return (
        f"Returned: <strong>{escape(returned.mark)} of {escape(returned.most)} marks</strong>, "
        f"{escape(returned.outcome)}."
    )


def _returned(root: Path, returned: own_work.Returned) -> str:
    attempt = f", attempt {returned.attempt}" if returned.attempt > 1 else ""
    return _line([f"<strong>Assessed{attempt}.</strong>", _marks(returned)], [_page(root, returned)])


def _practice(root: Path, work: own_work.Work) -> str:
    if work.problem:
        return _line(["<strong>Practice.</strong>", escape(work.problem)], [])
    begun = f"{work.answered} of {work.asked} answered." if work.answered else "Not begun."
    return _line(["<strong>Practice.</strong>", begun], [_link(root, work.notebook, "Practise")])


def _next(root: Path, standings: list[own_work.Standing]) -> str:
    """HTML: what to do next, by a fixed rule: hand in what is due, then what went wrong, then the next lesson."""
    waiting = [
        (work, standing)
        for standing in standings
        for work in standing.issued[:1]
        if work.returned is None and (not work.handed_in or work.changed) and work.mode != PRACTICE
    ]
    waiting.sort(key=lambda pair: (not pair[0].due, pair[0].due))
    items = [
        f"Hand in “{escape(standing.module.title)}”. {_due(work)} {_link(root, work.notebook, 'Open')}"
        for work, standing in waiting
    ]
    exercises = {e.key: (e, standing) for standing in standings for e in standing.module.exercises}
    for key, wrong_at in recall.to_practise(own_work.seen(root)):
        if key in exercises:
            exercise, standing = exercises[key]
            items.append(
                f"Practise “{escape(exercise.title)}” of “{escape(standing.module.title)}”: it went wrong on "
                f"{_day(wrong_at)}. {_to_practice(root, standing)}"
            )
    begun = [s for s in standings if s.issued or s.alone or (s.practice is not None and s.practice.answered)]
    fresh = next((s for s in standings if s not in begun and s.practice is not None), None)
    if fresh is not None:
        items.append(f"Begin “{escape(fresh.module.title)}”. {_to_practice(root, fresh)}")
    if not items:
        return "<p>Nothing waits for you. Each lesson but the first opens with a warm-up from the lessons before.</p>"
    return f"<h2>What to do next</h2><ul class='tm-next'>{''.join(f'<li>{item}</li>' for item in items)}</ul>"


def _how_marks_come(standings: list[own_work.Standing]) -> str:
    if not any(standing.issued for standing in standings):
        return ""
    return (
        "<p>Marks show here when you have your returned sheet: save the page in this folder, or open it with "
        "<code>timing-mark study</code> and its name.</p>"
    )


def _to_practice(root: Path, standing: own_work.Standing) -> str:
    return _link(root, standing.practice.notebook, "Practise") if standing.practice is not None else ""


def _line(words: list[str], links: list[str]) -> str:
    return f"<p>{' '.join(word for word in words if word)}</p><p>{' '.join(links)}</p>"


def _link(root: Path, target: Path, words: str, *, strong: bool = False) -> str:
    address = quote(Path(os.path.relpath(target, root)).as_posix())
    return f'<a class="tm-open{" tm-strong" if strong else ""}" href="{address}">{words}</a>'


def _page(root: Path, returned: own_work.Returned) -> str:
    """A link to a returned sheet, which the server gives as a plain file."""
    address = quote(Path(os.path.relpath(returned.page, root)).as_posix())
    return f'<a class="tm-open" href="../../files/{address}">Look at your returned sheet</a>'


def _day(moment: datetime) -> str:
    return f"{moment.day} {moment:%B %Y}"
