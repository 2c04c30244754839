"""One sheet as a moderator reads it: each question with its own numbers, the answer, what was right, and why the marks."""

from markupsafe import Markup
from sqlalchemy import Connection, select

from grader import clock
from grader.course.attempts.standing import Standing
from grader.exercise import listing
from grader.exercise.model import Module
from grader.exercise.part import sayings
from grader.marking import feedback
from grader.pages import html
from grader.records import adjustments, ledger, schema, vehicles
from grader.records.adjustments import Adjustments
from grader.records.term.term import Term
from grader.records.vehicles import Revision
from grader.reports.feedback import marked_attempt
from grader.reports.tables import draws, people, wording
from grader.reports.tables.grades import changed, hundredths

_EVENTS = ("marked", "re-marked", "override", "extension", "excuse")


def build(
    term: Term,
    connection: Connection,
    module: Module,
    attempt: Standing,
    shown: str,
    decided: Adjustments,
    pseudonymous: bool,
) -> bytes:
    """The page of one chosen sheet.

    Parameters
    ----------
    term : Term
    connection : Connection
    module : Module
    found : Standing
        Its mark is that of the attempt shown.
    shown : str
        How the trainee is called.
    decided : Adjustments
    pseudonymous : bool

    Returns
    -------
    bytes

    Raises
    ------
    BadSheet
        An exercise was issued in a version that is not kept.
    """
    mark = attempt.mark
    assert mark is not None  # only marked sheets are chosen
    mine = marked_attempt.gather(term, connection, module, attempt.person, mark, decided)
    issue = schema.issue
    owner = (attempt.person.id, module.key, mark.attempt)
    record = connection.execute(select(issue.c.record).where(*adjustments.of(issue, owner))).scalar_one()
    numbers = draws.of_issue(record, {})
    changes = [
        (
            seq,
            at[:10] if pseudonymous else term.shown(clock.from_text(at)),
            entry["event"],
            _text(entry["attempt"]),
            "" if pseudonymous else entry["actor"],
            changed(term, entry, "old"),
            changed(term, entry, "new"),
            "" if pseudonymous else entry["reason"],
        )
        for seq, at, entry in ledger.entries(connection, *_EVENTS)
        if (entry["trainee"], entry["module"]) == (attempt.person.id, module.key)
    ]
    return html.page(
        "moderated_sheet.html",
        module=module.title,
        whose=shown,
        mark=hundredths(mark.mark),
        most=hundredths(mark.most),
        result=wording.result(term, attempt) if attempt.counts else "practice",
        facts=list(_facts(connection, attempt, {} if pseudonymous else numbers)),
        exercises=[
            _exercise(number, exercise, mine, numbers[exercise.key].kept, pseudonymous)
            for number, exercise in enumerate(mine.module.exercises, start=1)
        ],
        changes=html.table("Changes", ("ledger row", "at", "event", "attempt", "by", "old", "new", "why"), changes),
    )


def _facts(connection, attempt, numbers):
    mark = attempt.mark
    yield "Mark before penalty", hundredths(mark.raw)
    yield "Penalty", f"{hundredths(mark.penalty)}, {mark.late_days} days late"
    yield "Attempt", f"{mark.attempt} of {attempt.attempts} issued; the best counts"
    yield "Marked by", mark.engine
    yield "Key", mark.key_version
    yield "SHA-256 of the answers", mark.sha256
    digests = {given.own for given in numbers.values() if given.own}
    for revision in vehicles.revisions(connection):
        if revision.digest in digests:
            yield "Numbers drawn from", source(revision)


def source(revision: Revision) -> str:
    """An own vehicle with the source of its figures, in one line."""
    own = revision.own
    return f"{own.vehicle.title} ({revision.line}): {own.manual}, {own.page}; entered by {own.entered_by}"


def _exercise(number, exercise, mine, kept, pseudonymous):
    given, earned = mine.given(exercise), mine.earned(exercise)
    marks = "marks wait" if earned is None else f"{hundredths(earned)} of {exercise.marks}"
    if exercise.key in mine.by_hand:
        marks += ", set by hand"
    if kept:
        marks += ", kept from an earlier attempt"
    return {
        "number": number,
        "title": exercise.title,
        "marks": marks,
        "wording": Markup(listing.as_html(exercise.wording(given))),
        "parts": [_answer(exercise, part, mine, given, pseudonymous) for part in exercise.parts],
    }


def _answer(exercise, part, mine, given, pseudonymous):
    path = f"{exercise.key}.{part.key}"
    row, waits = mine.rows[path], people.waiting(mine.rows[path])
    typed = row.raw if part.numeric or part.by_person else row.read_as or row.raw
    if row.unit and row.unit not in typed:
        typed = f"{typed} ({row.unit})"
    low, high, _ = people.expected(row.expected)
    if part.by_person:
        right = "read by the points of its rubric"
    elif low:
        right = f"{low} to {high} {part.unit}".strip()
    elif part.numeric:
        right = f"{row.expected} {part.unit}".strip()
    else:
        right = feedback.shown(part, mine.truth.answer(path), given)
    shown = row.read_as if pseudonymous else typed
    blank = "(left out: free text)" if pseudonymous and row.raw.strip() else "(nothing)"
    lines = [
        html.line("Answer", shown, "text" if part.by_person and shown.strip() else "", typed=True)
        if shown.strip()
        else html.line("Answer", blank),
        html.line("Right is", right),
    ]
    if not waits:
        lines.append(html.line("Earned", people.path(row)))
    if slip := sayings(part).get(row.slip, ""):
        lines.append(html.line("Slip", slip, "long"))
    mark = mine.marks.get(path)
    if mark is not None and mark.verdict == row.verdict:
        for item in feedback.wrong_items(mine.truth, path, mark):
            lines.append(html.line("Wrong", f"{item.says} {item.why}".strip(), "long"))
    reading = mine.readings.get(path)
    if reading is not None:
        for (says, most), got in zip(part.rubric, reading.points, strict=True):
            lines.append(html.line(f"{hundredths(got)} of {most}", says, "long"))
        if reading.comment.strip() and not pseudonymous:
            lines.append(html.line("Comment", reading.comment, "text", typed=True))
    marks = "marks wait" if waits else f"{hundredths(row.hundredths)} of {hundredths(row.most)}"
    state = "waits" if waits else "right" if row.hundredths >= row.most else "partly" if row.hundredths else "wrong"
    return html.Answer(part.prompt, state, row.verdict, marks, lines)


def _text(value):
    return "" if value is None else str(value)
