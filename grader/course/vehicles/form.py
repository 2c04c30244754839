"""Question by question: enters a vehicle in a terminal, or wherever `ask` and `say` lead."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from grader.course.vehicles.fields import CURVE, FIELDS, Answers, read_figure
from grader.course.vehicles.read import MOST_POINTS, known_as, read_one
from grader.errors import Unreadable
from grader.vehicle import plausible

BACK = "back"


class Stopped(Exception):  # the person stops; nothing went wrong
    """The person left before the last question; `answers` holds what was given."""

    def __init__(self, answers: dict[tuple[str, str], Any]) -> None:
        super().__init__("stopped")
        self.answers = answers


def ask_all(
    ask: Callable[[str], str], say: Callable[[str], object], before: Answers | None = None
) -> dict[tuple[str, str], Any]:
    """Ask for every field of a vehicle, and again where an answer cannot be.

    Each answer is echoed as it was read, by the reader that reads the trainees'
    answers. An empty answer keeps the one in brackets; "back" goes back one question.

    Parameters
    ----------
    ask : callable
        Takes a prompt, gives what was typed; may raise EOFError.
    say : callable
        Takes a line.
    before : dict or None
        (table, name) -> answers of an earlier time.

    Returns
    -------
    dict
        (table, name) -> what was typed; a list of pairs for a curve.

    Raises
    ------
    Stopped
        With the answers so far.
    """
    answers, known, place = dict(before or {}), {}, 0
    try:
        while place < len(FIELDS):
            asked = FIELDS[place]
            if FIELDS[place - 1].table != asked.table or not place:
                say("")
            question = _curve if asked.kind == CURVE else _one
            place += question(asked, answers, known, ask, say)
            place = max(place, 0)
    except (EOFError, KeyboardInterrupt):
        raise Stopped(answers) from None
    return answers


def _one(asked, answers, known, ask, say):
    """Ask one question until it is answered; 1 to go on, -1 to go back."""
    where = (asked.table, asked.name)
    say(f"{asked.says} ({asked.help})")
    while True:
        kept = answers.get(where) or ""
        typed = ask(f"  {asked.name}{f' [{kept}]' if kept else ''}: ").strip()
        if typed.lower() == BACK:
            return -1
        if typed == "-" and asked.optional:
            answers.pop(where, None)
            known.pop(known_as(asked), None)
            return 1
        typed = typed or kept
        if not typed and asked.optional:
            return 1
        try:
            value, echo = read_one(asked, typed, known)
        except Unreadable as problem:
            say(f"  {problem}")
            continue
        say(f"  read as {echo}")
        if _accepted(asked, value, known, say):
            answers[where] = typed
            return 1
        if typed == kept:
            answers.pop(where)  # an earlier answer that no longer fits is not offered again


def _curve(asked, answers, known, ask, say):
    where = (asked.table, asked.name)
    say(f"{asked.says} ({asked.help}). An empty line ends it.")
    while True:
        kept = answers.get(where) or []
        if kept:
            say(
                "  now: "
                + "; ".join(f"{speed} → {degrees}" for speed, degrees in kept)
                + ". An empty first line keeps it."
            )
        typed, values = [], []
        try:
            went_back = _points(asked, typed, values, ask, say)
        except (EOFError, KeyboardInterrupt):
            answers[where] = typed or kept
            raise
        if went_back:
            return -1
        if not typed and kept:
            typed = kept
            try:
                values = [
                    tuple(
                        read_figure(q, raw).value for q, raw in zip((asked.quantity, asked.second), pair, strict=True)
                    )
                    for pair in kept
                ]
            except Unreadable as problem:
                say(f"  {problem}")
                answers.pop(where)
                continue
        if _accepted(asked, tuple(values), known, say):
            answers[where] = typed
            return 1
        if typed == kept:
            answers.pop(where, None)


def _points(asked, typed, values, ask, say):
    """Fill the points of a table until an empty line; True if the person goes back."""
    while len(typed) < MOST_POINTS:
        pair = []
        for quantity in (asked.quantity, asked.second):
            raw, value = _cell(quantity, len(typed) + 1, ask, say, may_end=quantity is asked.quantity)
            if raw == BACK:
                return True
            if raw == "":
                return False
            pair.append((raw, value))
        point = tuple(value for _, value in pair)
        if values and (point[0] <= values[-1][0] or point[1] < values[-1][1]):
            say("  The table must rise from point to point. Type this point again, or 'back' for the question before.")
            continue
        typed.append(tuple(raw for raw, _ in pair))
        values.append(point)
    return False


def _cell(quantity, number, ask, say, *, may_end):
    """(as typed, value) of one figure of a table; ("", None) ends the table."""
    while True:
        typed = ask(f"  point {number}, {quantity.says.lower()}: ").strip()
        if typed.lower() == BACK:
            return BACK, None
        if not typed and may_end:
            return "", None
        try:
            reading = read_figure(quantity, typed)
        except Unreadable as problem:
            say(f"  {problem}")
            continue
        own = "" if reading.unit == quantity.asked else f" = {reading.value:.4g} {quantity.unit}"
        say(f"  read as {reading.echo}{own}")
        return typed, reading.value


def _accepted(asked, value, known, say):
    """Whether a value goes with what is known; says what does not fit."""
    name = known_as(asked)
    tried = {**known, name: value}
    judged = [remark for remark in plausible.judge(tried) if remark not in plausible.judge(known)]
    for remark in judged:
        say(f"  {'' if remark.fault else 'note: '}{remark.sentence}")
    if any(remark.fault for remark in judged):
        say("  Type it again, or 'back' to correct what was said before.")
        return False
    known[name] = value
    return True
