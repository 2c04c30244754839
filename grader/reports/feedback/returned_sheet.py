"""The returned sheet as a page: the mark, what was asked, typed and read, what was right, and how to get there."""

import json
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from markupsafe import Markup

from grader import catalogue, clock
from grader.course.attempts import passing
from grader.course.grading import resit
from grader.errors import Unknown
from grader.exercise import hand_in, listing
from grader.exercise.model import PRACTICE
from grader.marking import confidence, feedback, verdict
from grader.pages import html
from grader.records import answers
from grader.records.term.term import Term
from grader.reports.feedback import verdict_words
from grader.reports.feedback.marked_attempt import Work
from grader.reports.tables.grades import hundredths, percent

_SAID = {
    passing.YES: "met",
    passing.NO: "not yet",
    passing.WAITS: "waits for your instructor",
    passing.TOO_FEW: "not examined often enough to say",
}
_WORDS = {"right": "right", "partly": "partly", "wrong": "wrong", "blank": "blank", "waits": "waits"}


def build(term: Term, work: Work, sections: Mapping[str, str]) -> bytes:
    """The page of one attempt.

    Parameters
    ----------
    term : Term
    work : Work
    sections : dict of str to str
        Section of the lesson by exercise name.

    Returns
    -------
    bytes
    """
    sheet = data(term, work, sections)
    return page([sheet], f"{sheet['module']}: returned sheet of {sheet['name']}")


def page(sheets: list[dict[str, Any]], title: str) -> bytes:
    """A page of one sheet, or of several to print, each beginning on paper of its own."""
    return html.page("returned_sheet.html", sheets=sheets, title=title)


def data(term: Term, work: Work, sections: Mapping[str, str], *, anchor: str = "exercise-") -> dict[str, Any]:
    """What the template shows of one attempt, as plain text and figures.

    Parameters
    ----------
    term, work, sections
        As `build` takes them.
    anchor : str
        How the addresses of exercises begin; its own for each sheet on a page.

    Returns
    -------
    dict
    """
    mark, person = work.mark, work.person
    state, outcome = _outcome(term, work)
    return {
        "anchor": anchor,
        "key": work.module.key,
        "module": work.module.title,
        "name": person.name,
        "mark": hundredths(mark.mark),
        "most": hundredths(mark.most),
        "outcome_state": state,
        "outcome": outcome,
        "facts": list(_facts(term, work)),
        "exercises": [_exercise(number, exercise, work) for number, exercise in enumerate(work.module.exercises, 1)],
        "objectives": _objectives(work),
        "practise": _practise(work, sections),
        "resit": _resit(work),
        "record": _record(term, work, outcome),
    }


def _record(term, work, outcome) -> str:
    """What a trainee's own start page and warm-ups read of the page; `own_work.read_returned` is the reader."""
    mark = work.mark
    earned = {exercise.key: (work.earned(exercise), exercise.marks * 100) for exercise in work.module.exercises}
    record = {
        "format": "timing-mark returned",
        "term": term.settings.id,
        "trainee": work.person.id,
        "module": work.module.key,
        "attempt": mark.attempt,
        "handed_in": mark.handed_in_at,
        "mark": hundredths(mark.mark),
        "most": hundredths(mark.most),
        "outcome": outcome,
        "earned": {key: pair for key, pair in earned.items() if pair[0] is not None},
    }
    return json.dumps(record, ensure_ascii=False, separators=(",", ":"))


def _outcome(term, work):
    """(look, words) of what the mark comes to."""
    mark, limit = work.mark, term.pass_percent(work.module.key)
    if work.mode == PRACTICE:
        return "yes", "practice: nobody passes or fails it"
    if mark.pending:
        return "waits", f"so far; answers worth {hundredths(mark.pending)} marks are still to be read"
    lacking = [
        code for code in term.policy.must_pass_in(work.module.key) if code in work.judged and work.judged[code].lacking
    ]
    share = f"{percent(mark.mark, mark.most, limit)}\u00a0%"
    if lacking:
        return "no", f"{share}: not passed, {', '.join(lacking)} must be met"
    return (
        ("yes", f"{share}: passed")
        if passing.reached(term, mark.module, mark.mark, mark.most)
        else ("no", f"{share}: not passed yet")
    )


def _facts(term, work):
    mark, zone = work.mark, term.settings.zone
    late = f"{mark.late_days} day{'s' if mark.late_days != 1 else ''} late" if mark.late_days else "on time"
    yield "Id", work.person.college_id
    yield "Class", term.settings.title
    yield "Attempt", f"number {mark.attempt}"
    yield "Due", clock.shown(clock.from_text(work.due), zone) if work.due else "no due time"
    arrived = clock.shown(clock.from_text(mark.handed_in_at), zone)
    yield "Handed in", f"{arrived}, {late}" if work.due else arrived
    yield "Receipt, as your lesson showed it", hand_in.short(mark.sha256)
    if mark.penalty:
        yield "Taken off for being late", f"{hundredths(mark.penalty)} of {hundredths(mark.raw)} marks earned"
    if work.mode != PRACTICE:
        limit = term.pass_percent(work.module.key)
        yield "Pass mark", f"{limit:g}\u00a0%: {_pass(term, mark)}"
    for row in work.objectives:
        if row["must_pass"] != "yes":
            continue
        words = {passing.YES: "met", passing.WAITS: _SAID[passing.WAITS]}.get(
            row["met"], "reached in its only question"
        )
        words = "not met yet" if work.judged[row["objective"]].lacking else words
        yield "Needed for a pass", f"{row['objective']} from {Decimal(row['threshold']) * 100:.0f}\u00a0%: {words}"


def _pass(term, mark):
    if passing.reached(term, mark.module, mark.mark, mark.most):
        return "reached"
    return "open until everything is read" if mark.pending else "not reached yet"


def exercise(work: Work, exercise_key: str) -> str:
    """One exercise of an attempt as a piece of a page: question, answers as typed, what was right, the worked steps.

    Raises
    ------
    Unknown
        The attempt has no such exercise.
    """
    for number, one in enumerate(work.module.exercises, 1):
        if one.key == exercise_key:
            return html.page("marked_exercise.html", exercise=_exercise(number, one, work)).decode()
    raise Unknown(f"{work.module.key} has no exercise {exercise_key[:60]!r} in this attempt.")


def _exercise(number, exercise, work):
    given, earned = work.given(exercise), work.earned(exercise)
    notes = []
    if exercise.key in work.by_hand:
        notes.append(
            f"Your instructor set the marks of this exercise to {hundredths(earned)}. Ask why, if you do not know."
        )
    sureness = work.sure.get(exercise.key)
    if sureness is not None and sureness.word == confidence.KNOW and sureness.right is False:
        notes.append(verdict_words.SURE_AND_WRONG)
    parts = [_part(exercise, part, work, given) for part in exercise.parts]
    blank = all(part.state == "blank" for part in parts)
    state = "blank" if blank and not earned else _state(earned, exercise.marks * 100)
    only_written = all(part.by_person for part in exercise.parts)
    return {
        "number": number,
        "title": exercise.title,
        "state": state,
        "word": _WORDS[state],
        "marks": "marks wait" if earned is None else f"{hundredths(earned)} of {exercise.marks}",
        "wording": Markup(listing.as_html(exercise.wording(given))),
        "notes": notes,
        "parts": parts,
        "route_heading": "How it is read" if only_written else "Worked with your numbers",
        "route": list(exercise.route(given)),
    }


def _state(earned, most):
    return "waits" if earned is None else "right" if earned >= most else "partly" if earned else "wrong"


def _part(exercise, part, work, given):
    path = f"{exercise.key}.{part.key}"
    row, mark = work.rows[path], work.marks.get(path)
    if part.by_person:
        lines = _letter(part, row, work.readings.get(path))
    else:
        lines = _calculated(part, path, row, mark, work, given)
    state = "blank" if row.verdict == verdict.BLANK else _state(row.hundredths, row.most)
    marks = "marks wait" if row.hundredths is None else f"{hundredths(row.hundredths)} of {hundredths(row.most)}"
    tables = [html.table(*listed, kind="long") for listed in _listed(part, path, mark, work)]
    return html.Answer(part.prompt, state, verdict_words.WORD[row.verdict], marks, list(lines), tables)


def _listed(part, path, mark, work):
    """Tables of an answer that is a road of many steps."""
    return part.tables(work.truth.answer(path), mark.own) if mark is not None and mark.own is not None else []


def _calculated(part, path, row, mark, work, given):
    typed = f"{row.raw} {row.unit}" if row.unit and row.unit not in row.raw else row.raw
    picked = part.picked and row.verdict not in (verdict.UNREADABLE, verdict.KIND, verdict.BLANK)
    if picked:
        own = feedback.shown(part, mark.own, given) if mark is not None and mark.own is not None else row.read_as
        yield html.line("You chose", own or typed, typed=True)
    else:
        yield html.line("You typed", typed, typed=True) if row.raw.strip() else html.line("You typed", "(nothing)")
        read_as = row.read_as + _in_asked_unit(part, row, mark)
        if read_as and read_as != typed.strip():  # otherwise it would say the same again
            yield html.line("Read as", read_as, typed=True)
    if not (picked and row.verdict == verdict.RIGHT):
        yield from (html.line(word, text) for word, text in _right(part, path, row, mark, work, given))
    sentence = verdict_words.sentence(part, row, mark)
    if sentence:
        yield html.line("", sentence, "says")
    if mark is not None and mark.verdict == row.verdict and not part.keeps_a_log:  # a log's steps stand in its tables
        for item in feedback.wrong_items(work.truth, path, mark):
            yield html.line("", f"{item.says} {item.why}".strip(), "says")


def _in_asked_unit(part, row, mark):
    """An answer given in another unit, also in the one that was asked."""
    if mark is None or mark.own is None or not part.numeric or part.unit in row.read_as:
        return ""
    return f" = {feedback.shown(part, mark.own)}"


def _right(part, path, row, mark, work, given):
    """What was right, with its tolerance; where own earlier answers were carried also what it is from the start."""
    truth, followed = work.truth, row.verdict in (verdict.CARRIED, verdict.RIGHT)
    if followed and mark is not None and mark.expected not in (None, answers.plain(truth.answer(path))):
        yield "Right from yours", _span(part, mark.expected, mark.width, given)
        yield "From the start", _span(part, truth.answer(path), _width(truth, part, path), given)
    else:
        yield "Right is", _span(part, truth.answer(path), _width(truth, part, path), given)


def _width(truth, part, path):
    return truth.tolerance(path) if part.numeric else 0.0


def _span(part, middle, width, given):
    shown = feedback.shown(part, middle, given)
    if not part.numeric:
        return shown
    pairs = zip(middle, width, strict=True) if isinstance(middle, tuple) else ((middle, width),)
    places = max(0, len(f"{part.step:.10f}".rstrip("0").partition(".")[2])) + 1
    spans = " and ".join(f"{_figure(m - w, places)} to {_figure(m + w, places)}" for m, w in pairs)
    return f"{shown} (counts as right: {spans} {part.unit})".replace(" )", ")")


def _figure(value, places):
    """A bound with one figure more than was asked for."""
    text = f"{value:.{places}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _letter(part, row, reading):
    """A written answer: the text, and what each point of the rubric earned, or what it is read for."""
    yield (
        html.line("You wrote", row.raw, "text", typed=True) if row.raw.strip() else html.line("You wrote", "(nothing)")
    )
    if row.hundredths is None:
        yield html.line("", verdict_words.sentence(part, row, None), "says")
        yield html.line("It is read for", "; ".join(f"{says} ({points})" for says, points in part.rubric), "long")
    elif reading is not None:
        for (says, most), got in zip(part.rubric, reading.points, strict=True):
            yield html.line(f"{hundredths(got)} of {most}", says, "long")
        if reading.comment.strip():
            yield html.line("Comment", reading.comment, "text", typed=True)


def _objectives(work):
    known = catalogue.objectives()
    rows = [
        (
            row["objective"],
            known[row["objective"]]["text"],
            _SAID[row["met"]],
            f"{row['marks']} of {row['max']}" if row["marks"] else "",
        )
        for row in work.objectives
    ]
    return html.table("Learning objectives in this sheet", ("code", "you can", "result", "marks"), rows)


def _practise(work, sections):
    """Exercises in which half of the marks or more were lost, with their section of the lesson."""
    lines = []
    for exercise in work.module.exercises:
        earned = work.earned(exercise)
        if earned is None or earned * 2 > exercise.marks * 100:
            continue
        where = sections.get(exercise.name, "")
        lines.append(f"“{exercise.title}”" + (f" in the section “{where}” of the lesson" if where else ""))
    return lines


def _resit(work):
    codes = work.to_sit_again
    if not codes:
        return "No objective of this sheet is open, so there is nothing to sit again."
    fresh = resit.to_sit(work.module, codes)
    titles = [exercise.title for exercise in work.module.exercises if exercise.key in fresh]
    return (
        f"A resit would cover the objectives not met yet ({', '.join(codes)}) with fresh numbers: {'; '.join(titles)}. "
        "Your instructor decides whether and when."
    )
