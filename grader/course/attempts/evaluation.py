"""What one kept hand-in is worth: read from its file and marked from scratch; nothing is written."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from sqlalchemy import Row

from grader import clock, files
from grader.course.attempts import lateness, standing
from grader.course.attempts.kept import LARGEST_KEPT, Arrival, in_order, kept_path
from grader.errors import BadFile, BadSheet
from grader.exercise import model
from grader.exercise import sheet as sheets
from grader.exercise.model import Module
from grader.exercise.sheet import Sheet
from grader.marking.mark import ENGINE, SheetMark, mark_sheet, with_kept
from grader.records import adjustments, schema
from grader.records import answers as answers_table
from grader.records.adjustments import Adjustments
from grader.records.term.term import Term


@dataclass(frozen=True)
class Evaluation:
    """What a hand-in is worth: its verdicts, and the values of the trainee's row in tm_mark."""

    module: Module
    issue: Row
    hand_in: Row | Arrival
    typed: Sheet
    sheet: SheetMark
    values: dict[str, Any]

    @cached_property
    def answers(self) -> list[dict[str, Any]]:
        """The rows of tm_answer."""
        return answer_rows(self.module, self.issue, self.typed, self.sheet)


def counting(
    term: Term, issue: Row, hand_ins: Iterable[Row | Arrival], decided: Adjustments = adjustments.NONE
) -> Row | Arrival | None:
    """The hand-in that counts: the last usable one on time, else of the first late arrival the last; None where none is usable."""
    due = decided.due(issue)
    usable = sorted((h for h in hand_ins if h.usable), key=in_order)
    on_time = [h for h in usable if lateness.late_days(term.settings, due, clock.from_text(h.received_at)) == 0]
    if on_time or not usable:
        return on_time[-1] if on_time else None
    return [h for h in usable if h.arrival == usable[0].arrival][-1]


def evaluate(
    term: Term, module: Module, issue: Row, hand_in: Row | Arrival, decided: Adjustments = adjustments.NONE
) -> Evaluation:
    """Marks of one kept hand-in, computed from scratch.

    Returns
    -------
    Evaluation

    Raises
    ------
    BadSheet
        The kept file is gone, changed or cannot be marked.
    """
    typed = kept_sheet(term, hand_in)
    exercises, by_hand = numbers(issue), decided.by_hand(issue)
    marked = decided.apply(issue, mark_sheet(module, exercises, typed))
    earned = raw(marked, by_hand)
    days = lateness.late_days(term.settings, decided.due(issue), clock.from_text(hand_in.received_at))
    off = lateness.penalty(term.settings, earned, marked.most, days)
    values = {
        "state": standing.PARTLY_MARKED if waiting(marked, by_hand) else standing.MARKED,
        "raw": earned,
        "penalty": off,
        "mark": earned - off,
        "most": marked.most,
        "late_days": days,
        "sha256": hand_in.sha256,
        "handed_in_at": hand_in.received_at,
        "engine": ENGINE,
        "key_version": model.key_version(module.as_issued(exercises)),
        "notes": schema.text("\n".join(marked.notes)),
        "pending": waiting(marked, by_hand),
    }
    return Evaluation(module, issue, hand_in, typed, marked, values)


def numbers(issue: Row) -> dict[str, dict[str, Any]]:
    """The exercises of an issue as they were drawn: key -> {"version", "parameters"}."""
    return json.loads(issue.record)["exercises"]


def by_exercise(marked: SheetMark) -> dict[str, int]:
    """Exercise name -> computed hundredths, as they are written into the gradebook; what waits, or was not issued, is left out."""
    issued = dict.fromkeys(part.path.rpartition(".")[0] for part in marked.parts)
    earned = {key.rpartition(".")[2]: marked.exercise_hundredths(key) for key in issued}
    return {name: hundredths for name, hundredths in earned.items() if hundredths is not None}


def raw(marked: SheetMark, by_hand: Mapping[str, int]) -> int:
    """Hundredths of a sheet so far, with marks set by hand in the place of computed ones."""
    so_far: Counter[str] = Counter()
    for part in marked.parts:
        so_far[part.path.rpartition(".")[0]] += part.hundredths or 0
    return sum(by_hand.get(key, hundredths) for key, hundredths in so_far.items())


def waiting(marked: SheetMark, by_hand: Mapping[str, int]) -> int:
    """Hundredths still to be read, in exercises that nobody marked by hand yet."""
    return sum(p.most for p in marked.parts if p.hundredths is None and p.path.rpartition(".")[0] not in by_hand)


def answer_rows(module: Module, issue: Row, typed: Sheet, marked: SheetMark) -> list[dict[str, Any]]:
    """The rows of tm_answer for a marked sheet."""
    exercises = numbers(issue)
    parts, answers = module.as_issued(exercises).by_path, with_kept(exercises, typed.answers)
    owner = {"trainee": issue.trainee, "module": module.key, "attempt": issue.attempt}
    rows = []
    for mark in marked.parts:
        exercise, part = parts[mark.path]
        answer = answers.get(mark.path)
        chosen = answer.unit if answer is not None and mark.raw else ""
        rows.append(owner | {"exercise": exercise.key} | answers_table.values(part, mark, chosen))
    return rows


def kept_sheet(term: Term, hand_in: Row | Arrival) -> Sheet:
    """The sheet of a kept hand-in.

    Raises
    ------
    BadSheet
        The file is gone, changed or cannot be read.
    """
    return sheets.parse(kept(term, hand_in))


def kept(term: Term, hand_in: Row | Arrival) -> bytes:
    """Content of a kept hand-in, checked against its digest."""
    path = kept_path(term, hand_in.sha256)
    try:
        content = files.read_bytes(path, most=LARGEST_KEPT, what="The kept hand-in")
    except BadFile as problem:
        raise BadSheet(f"{problem} Put it back from your copy, or collect it again.") from None
    if hashlib.sha256(content).hexdigest() != hand_in.sha256:
        raise BadSheet(f"The kept hand-in {path.name} was changed. Put it back from your copy, or collect it again.")
    return content
