"""One sheet as a moderator reads it: each question with its own numbers, the answer, what was right, and why the marks."""

from html import escape

from sqlalchemy import select

from grader.exercise.kinds import Written
from grader.exercise.model import sayings
from grader.marking import feedback
from grader.pages import html
from grader.records import adjustments, ledger, schema, vehicles
from grader.reports.feedback import marked_attempt
from grader.reports.tables import draws, people
from grader.reports.tables.grades import changed, hundredths

_EVENTS = ("marked", "re-marked", "override", "extension", "excuse")
_HEADINGS = ("asked for", "answer", "right is", "verdict", "why", "mark", "of", "how earned")
LOOK = """
body { max-width: 78em }
h2 { margin: 1.4em 0 .3em; font-size: 1.15em; break-after: avoid } .task { max-width: 52em; break-after: avoid }
table.wide th[scope=row] { width: 11em } table.wide td { overflow-wrap: anywhere }
table.wide td:last-child { overflow-wrap: normal }
@media (max-width: 480px) { table.wide td { overflow-wrap: normal; min-width: 4em } }
@media print { @page { size: landscape } }
"""


def build(term, connection, module, found, shown, decided, pseudonymous):
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
    mine = marked_attempt.gather(term, connection, module, found.person, found.mark, decided)
    issue = schema.issue
    owner = (found.person.id, module.key, found.mark.attempt)
    record = connection.execute(select(issue.c.record).where(*adjustments.of(issue, owner))).scalar_one()
    numbers = draws.of_issue(record, {})
    parts = [_facts(connection, found, {} if pseudonymous else numbers)]
    for number, exercise in enumerate(mine.module.exercises, start=1):
        parts += _exercise(number, exercise, mine, numbers[exercise.key].kept, pseudonymous)
    changes = [
        (seq, at[:10] if pseudonymous else at, entry["event"], _text(entry["attempt"]),
         "" if pseudonymous else entry["actor"], changed(term, entry, "old"), changed(term, entry, "new"),
         "" if pseudonymous else entry["reason"])
        for seq, at, entry in ledger.entries(connection, *_EVENTS)
        if (entry["trainee"], entry["module"]) == (found.person.id, module.key)
    ]  # fmt: skip
    parts += [
        html.heading("What was changed, by whom and why"),
        html.table("Changes", ("ledger row", "at", "event", "attempt", "by", "old", "new", "why"), changes),
    ]
    return html.page(f"{module.title}: {shown}", *parts, look=LOOK)


def _facts(connection, found, numbers):
    mark = found.mark
    rows = [
        ("Mark before penalty", hundredths(mark.raw)), ("Penalty", hundredths(mark.penalty)), ("Days late", mark.late_days),
        ("Mark that counts", f"{hundredths(mark.mark)} of {hundredths(mark.most)}"),
        ("Attempt", f"{mark.attempt} of {found.attempts} issued; the best counts"),
        ("Marked by", mark.engine), ("Key", mark.key_version), ("SHA-256 of the answers", mark.sha256),
    ]  # fmt: skip
    digests = {given.own for given in numbers.values() if given.own}
    for one in vehicles.revisions(connection):
        if one.digest in digests:
            rows.append(("Numbers drawn from", source(one)))
    return html.table("The mark", ("what", "value"), rows)


def source(revision):
    """An own vehicle with the source of its figures, in one line."""
    own = revision.own
    return f"{own.vehicle.title} ({revision.line}): {own.manual}, {own.page}; entered by {own.entered_by}"


def _exercise(number, exercise, mine, kept, pseudonymous):
    given, earned = mine.given(exercise), mine.earned(exercise)
    marks = "marks wait" if earned is None else f"{hundredths(earned)} of {exercise.marks} marks"
    if exercise.key in mine.by_hand:
        marks += ", set by hand"
    if kept:
        marks += ", kept from an earlier attempt"
    yield html.heading(f"{number}. {exercise.title} ({marks})")
    yield f'<p class="task">{escape(exercise.wording(given)).replace(chr(10), "<br>")}</p>'
    rows = [_answer(exercise, part, mine, given, pseudonymous) for part in exercise.parts]
    yield html.table(f"Answers to {exercise.key}", _HEADINGS, rows, kind="wide")


def _answer(exercise, part, mine, given, pseudonymous):
    path = f"{exercise.key}.{part.key}"
    row, waits = mine.rows[path], people.waiting(mine.rows[path])
    typed = row.raw if hasattr(part, "half_step") or isinstance(part, Written) else row.read_as or row.raw
    if row.unit and row.unit not in typed:
        typed = f"{typed} ({row.unit})"
    low, high, _ = people.expected(row.expected)
    if isinstance(part, Written):
        right = "read by the points of its rubric"
    elif low:
        right = f"{low} to {high} {part.unit}".strip()
    elif hasattr(part, "half_step"):
        right = f"{row.expected} {part.unit}".strip()
    else:
        right = feedback.shown(part, mine.truth.answer(path), given)
    why, reading = sayings(part).get(row.slip, ""), mine.readings.get(path)
    if reading is not None:
        points = zip(part.rubric, reading.points, strict=True)
        why = "; ".join(f"{says}: {hundredths(got)} of {most}" for (says, most), got in points)
        why += f". Comment: {reading.comment}" if reading.comment.strip() and not pseudonymous else ""
    return (
        f"{part.prompt} ({part.key})", row.read_as if pseudonymous else typed, right, row.verdict, why,
        "" if waits else hundredths(row.hundredths), hundredths(row.most), "" if waits else people.path(row),
    )  # fmt: skip


def _text(value):
    return "" if value is None else str(value)
