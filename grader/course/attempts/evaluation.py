"""What one kept hand-in is worth: read from its file and marked from scratch; nothing is written."""

import hashlib
import json

from grader import clock, files
from grader.course.attempts import lateness, standing
from grader.course.attempts.kept import LARGEST_KEPT, kept_path
from grader.errors import BadFile, BadSheet
from grader.exercise import model
from grader.exercise import sheet as sheets
from grader.marking import feedback
from grader.marking.mark import ENGINE, mark_sheet
from grader.records import adjustments, schema


def counting(term, issue, hand_ins, decided=adjustments.NONE):
    """The hand-in that counts: the last usable one on time, else the first late one."""
    due = decided.due(issue)
    usable = sorted((h for h in hand_ins if h.usable), key=lambda h: (h.received_at, h.id))
    on_time = [h for h in usable if lateness.late_days(term.settings, due, clock.from_text(h.received_at)) == 0]
    return on_time[-1] if on_time else usable[0] if usable else None


def evaluate(term, module, issue, hand_in, decided=adjustments.NONE):
    """Marks of one kept hand-in, computed from scratch.

    Returns
    -------
    (SheetMark, dict)
        The verdicts, and the values of the trainee's row in tm_mark.

    Raises
    ------
    BadSheet
        The kept file is gone, changed or cannot be marked.
    """
    content = kept(term, hand_in)
    exercises, by_hand = numbers(issue), decided.by_hand(issue)
    found = decided.apply(issue, mark_sheet(module, exercises, sheets.parse(content)))
    earned = raw(module, found, by_hand)
    days = lateness.late_days(term.settings, decided.due(issue), clock.from_text(hand_in.received_at))
    off = lateness.penalty(term.settings, earned, found.most, days)
    return found, {
        "state": standing.PARTLY_MARKED if waiting(found, by_hand) else standing.MARKED,
        "raw": earned,
        "penalty": off,
        "mark": earned - off,
        "most": found.most,
        "late_days": days,
        "sha256": hand_in.sha256,
        "handed_in_at": hand_in.received_at,
        "engine": ENGINE,
        "key_version": model.key_version(module.as_issued(exercises)),
        "notes": schema.text("\n".join(found.notes)),
        "pending": waiting(found, by_hand),
    }


def numbers(issue):
    """The exercises of an issue as they were drawn: key -> {"version", "parameters"}."""
    return json.loads(issue.record)["exercises"]


def by_exercise(module, found):
    """Exercise name -> computed hundredths, as both roads write them into the gradebook; what waits is left out."""
    earned = {e.name: found.exercise_hundredths(e.key) for e in module.exercises}
    return {name: hundredths for name, hundredths in earned.items() if hundredths is not None}


def raw(module, found, by_hand):
    """Hundredths of a sheet so far, with marks set by hand in the place of computed ones."""
    so_far = dict.fromkeys((e.key for e in module.exercises), 0)
    for part in found.parts:
        so_far[part.path.rpartition(".")[0]] += part.hundredths or 0
    return sum(by_hand.get(key, hundredths) for key, hundredths in so_far.items())


def waiting(found, by_hand):
    """Hundredths still to be read, in exercises that nobody marked by hand yet."""
    return sum(p.most for p in found.parts if p.hundredths is None and p.path.rpartition(".")[0] not in by_hand)


def answer_rows(module, issue, found):
    """The rows of tm_answer for a marked sheet."""
    parts = module.as_issued(numbers(issue)).by_path
    return [
        {
            "trainee": issue.trainee,
            "module": module.key,
            "attempt": issue.attempt,
            "part": mark.path,
            "exercise": parts[mark.path][0].key,
            "raw": schema.text(mark.raw),
            "unit": schema.text(mark.unit),
            "read_as": mark.read_as,
            "expected": feedback.expected(parts[mark.path][1], mark),
            "verdict": mark.verdict,
            "slip": mark.slip,
            "hundredths": mark.hundredths,
            "most": mark.most,
        }
        for mark in found.parts
    ]


def kept(term, hand_in):
    """Content of a kept hand-in, checked against its digest."""
    path = kept_path(term, hand_in.sha256)
    try:
        content = files.read_bytes(path, most=LARGEST_KEPT, what="The kept hand-in")
    except BadFile as problem:
        raise BadSheet(f"{problem} Put it back from your copy, or collect it again.") from None
    if hashlib.sha256(content).hexdigest() != hand_in.sha256:
        raise BadSheet(f"The kept hand-in {path.name} was changed. Put it back from your copy, or collect it again.")
    return content
