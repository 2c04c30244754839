"""The returned sheet as a page: what was asked, typed and read, what was right, and how to get there."""

from decimal import Decimal
from html import escape

from grader import catalogue, clock
from grader.course.attempts import passing
from grader.course.grading import resit
from grader.exercise import listing
from grader.exercise.kinds import Choices, Written
from grader.exercise.model import Choice
from grader.exercise.sorting import Batch, Order
from grader.marking import confidence, feedback, verdict
from grader.pages import html
from grader.reports.feedback import verdict_words
from grader.reports.tables.grades import hundredths, percent

_PICKED = (Choice, Choices, Order, Batch)
_SAID = {
    passing.YES: "met",
    passing.NO: "not yet",
    passing.WAITS: "waits for your instructor",
    passing.TOO_FEW: "too few questions to say",
}
_LOOK = """
section { border-top: 2px solid #111; margin-top: 1.6em }
h2 { margin: .5em 0 .3em } h3 { font-size: 1em; margin: .2em 0 }
.part { border: 1px solid #767676; border-left-width: .4em; padding: .3em .8em; margin: .6em 0 }
.part.full { border-left-color: #2c6ca8 } .part.some { border-left-style: double } .part.waits { border-left-style: dashed }
dl { display: grid; grid-template-columns: 9em 1fr; margin: .3em 0 } dt { color: #444 } dd { margin: 0; overflow-wrap: anywhere }
dd.text { white-space: pre-wrap; border: 1px solid #bbb; padding: .3em .5em }
ul.listed { list-style: none; padding-left: 1em } ul.listed.short { columns: 9em; max-width: 40em }
.verdict { font-weight: bold } ol.route { margin: .2em 0 } .route li { overflow-wrap: anywhere }
@media (max-width: 480px) { dl { grid-template-columns: 1fr } dt { margin-top: .3em } }
@media print { .part { break-inside: avoid } h2, h3 { break-after: avoid } }
"""


def build(term, work, sections):
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
    parts = [_facts(term, work), _overview(work)]
    parts += [_exercise(number, exercise, work) for number, exercise in enumerate(work.module.exercises, 1)]
    parts += [_objectives(work), _practise(work, sections), _resit(work)]
    return html.page(f"{work.module.title}: returned sheet of {work.person.name}", *parts, look=_LOOK)


def _facts(term, work):
    mark = work.mark
    zone = term.settings.zone
    late = f"{mark.late_days} day{'s' if mark.late_days != 1 else ''} late" if mark.late_days else "on time"
    rows = [
        ("Name", work.person.name),
        ("Id", work.person.college_id),
        ("Class", term.settings.title),
        ("Module", work.module.title),
        ("Attempt", f"number {mark.attempt}"),
        ("Due", clock.shown(clock.from_text(work.due), zone) if work.due else "no due time"),
        (
            "Handed in",
            f"{clock.shown(clock.from_text(mark.handed_in_at), zone)}, {late if work.due else 'no due time'}",
        ),
    ]
    if mark.penalty:
        rows.append(("Taken off for being late", f"{hundredths(mark.penalty)} of {hundredths(mark.raw)} marks earned"))
    so_far = " so far" if mark.pending else ""
    limit = term.pass_percent(work.module.key)
    share = "" if mark.pending else f" ({percent(mark.mark, mark.most, limit)} %)"
    rows.append(("Mark", f"{hundredths(mark.mark)} of {hundredths(mark.most)}{share}{so_far}"))
    if mark.pending:
        rows.append(("Still to be read", f"answers worth {hundredths(mark.pending)} marks"))
    rows.append(("Pass mark", f"{limit:g} %: {_pass(term, mark)}"))
    must = {row["objective"]: row for row in work.objectives if row["must_pass"] == "yes"}
    for code, row in must.items():
        said = {passing.YES: "met", passing.WAITS: _SAID[passing.WAITS]}.get(row["met"], "reached in its only question")
        said = "not met yet" if work.judged[code].lacking else said
        rows.append(("Needed for a pass", f"{code} from {Decimal(row['threshold']) * 100:.0f} %: {said}"))
    return html.table("Whose sheet this is", ("what", "value"), rows)


def _pass(term, mark):
    if passing.reached(term, mark.module, mark.mark, mark.most):
        return "reached"
    return "open until everything is read" if mark.pending else "not reached yet"


def _overview(work):
    rows = []
    for number, exercise in enumerate(work.module.exercises, 1):
        earned, most = work.earned(exercise), exercise.marks * 100
        said = "waits for your instructor" if earned is None else hundredths(earned)
        rows.append((f"{number}. {exercise.title}", said, hundredths(most), _how(earned, most)))
    return html.table("Your marks by exercise", ("exercise", "marks", "of", "in words"), rows)


def _how(earned, most):
    if earned is None:
        return "not read yet"
    return "all of it" if earned >= most else "part of it" if earned else "none yet"


def _exercise(number, exercise, work):
    given, earned = work.given(exercise), work.earned(exercise)
    marks = "marks wait" if earned is None else f"{hundredths(earned)} of {exercise.marks} marks"
    by_hand = ""
    if exercise.key in work.by_hand:
        by_hand = html.paragraph(
            f"Your instructor set the marks of this exercise to {hundredths(earned)}. Ask why, if you do not know.",
            "note",
        )
    said = work.sure.get(exercise.key)
    if said is not None and said.word == confidence.KNOW and said.right is False:
        by_hand += html.paragraph(verdict_words.SURE_AND_WRONG, "note")
    parts = "".join(_part(exercise, part, work, given) for part in exercise.parts)
    only_written = all(isinstance(part, Written) for part in exercise.parts)
    head = "How it is read" if only_written else "Worked with your numbers"
    steps = "".join(f"<li>{_lines(line)}</li>" for line in exercise.route(given))
    return (
        f"<section><h2>{number}. {escape(exercise.title)} <small>({escape(marks)})</small></h2>\n"
        f"{listing.as_html(exercise.wording(given))}\n{by_hand}{parts}"
        f'<div class="keep"><h3>{head}</h3><ol class="route">{steps}</ol></div></section>'
    )


def _part(exercise, part, work, given):
    path = f"{exercise.key}.{part.key}"
    row, mark = work.rows[path], work.marks.get(path)
    if isinstance(part, Written):
        lines, kind = _letter(part, row, work.readings.get(path))
    else:
        lines, kind = _calculated(part, path, row, mark, work, given)
    body = "".join(f'<dt>{escape(word)}</dt><dd class="{look}">{text}</dd>' for word, text, look in lines)
    return f'<div class="part {kind}"><h3>{escape(part.prompt)}</h3><dl>{body}</dl></div>'


def _calculated(part, path, row, mark, work, given):
    typed = f"{row.raw} {row.unit}" if row.unit and row.unit not in row.raw else row.raw
    picked = isinstance(part, _PICKED) and row.verdict not in (verdict.UNREADABLE, verdict.KIND, verdict.BLANK)
    lines = []
    if picked:
        own = feedback.shown(part, mark.own, given) if mark is not None and mark.own is not None else row.read_as
        lines.append(("You chose", _typed(own or typed), ""))
    else:
        lines.append(("You typed", _typed(typed) if row.raw.strip() else "(nothing)", ""))
        if row.read_as:
            lines.append(("Read as", _typed(row.read_as + _in_asked_unit(part, row, mark)), ""))
    lines.append(("Verdict", escape(verdict_words.WORD[row.verdict]), "verdict"))
    said = verdict_words.sentence(part, row, mark)
    if said:
        lines.append(("", escape(said), ""))
    if not (picked and row.verdict == verdict.RIGHT):  # it would say the same again
        lines += [(word, escape(text), "") for word, text in _right(part, path, row, mark, work, given)]
    lines.append(("Marks", f"{hundredths(row.hundredths or 0)} of {hundredths(row.most)}", ""))
    return lines, _kind(row.hundredths, row.most)


def _in_asked_unit(part, row, mark):
    """An answer given in another unit, also in the one that was asked."""
    if mark is None or mark.own is None or not hasattr(part, "half_step") or part.unit in row.read_as:
        return ""
    return f" = {feedback.shown(part, mark.own)}"


def _right(part, path, row, mark, work, given):
    """What was right, with its tolerance; where own earlier answers were carried also what it is from the start."""
    truth, followed = work.truth, row.verdict in (verdict.CARRIED, verdict.RIGHT)
    if followed and mark is not None and mark.verdict == row.verdict and mark.expected != truth.answer(path):
        yield "Right from yours", _span(part, mark.expected, mark.width, given)
        yield "From the start", _span(part, truth.answer(path), _width(truth, part, path), given)
    else:
        yield "Right is", _span(part, truth.answer(path), _width(truth, part, path), given)


def _width(truth, part, path):
    return truth.tolerance(path) if hasattr(part, "half_step") else 0.0


def _span(part, middle, width, given):
    shown = feedback.shown(part, middle, given)
    if not hasattr(part, "half_step"):
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
    lines = [("You wrote", _typed(row.raw) if row.raw.strip() else "(nothing)", "text")]
    if reading is None or row.hundredths is None:
        lines.append(("Verdict", escape(verdict_words.WORD[row.verdict]), "verdict"))
        if row.hundredths is None:
            lines.append(("", escape(verdict_words.sentence(part, row, None)), ""))
            looked = "; ".join(f"{says} ({points})" for says, points in part.rubric)
            lines.append(("It is read for", escape(looked), ""))
            return lines, "waits"
    else:
        lines.append(("Verdict", escape(verdict_words.WORD[row.verdict]), "verdict"))
        for (says, most), got in zip(part.rubric, reading.points, strict=True):
            lines.append((f"{hundredths(got)} of {most}", escape(says), ""))
        if reading.comment.strip():
            lines.append(("Comment", _typed(reading.comment), "text"))
    lines.append(("Marks", f"{hundredths(row.hundredths or 0)} of {hundredths(row.most)}", ""))
    return lines, _kind(row.hundredths, row.most)


def _kind(earned, most):
    return "waits" if earned is None else "full" if earned >= most else "some" if earned else "none"


def _objectives(work):
    known = catalogue.objectives()
    rows = [
        (row["objective"], known[row["objective"]]["text"], _SAID[row["met"]],
         f"{row['marks']} of {row['max']}" if row["marks"] else "")
        for row in work.objectives
    ]  # fmt: skip
    return html.heading("What you have shown") + html.table(
        "Learning objectives in this sheet", ("code", "you can", "result", "marks"), rows
    )


def _practise(work, sections):
    lines = []
    for exercise in work.module.exercises:
        earned = work.earned(exercise)
        if earned is None or earned * 2 > exercise.marks * 100:
            continue
        where = sections.get(exercise.name, "")
        lines.append(f"“{exercise.title}”" + (f" in the section “{where}” of the lesson" if where else ""))
    head = html.heading("What to practise next")
    if not lines:
        return head + html.paragraph(
            "In no exercise did you lose more than half of the marks. Keep it fresh before the workshop."
        )
    items = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return (
        f"{head}<p>Go through these again, with fresh numbers: <code>timing-mark study {escape(work.module.key)}</code>. "
        f"In practice each check names your slip at once.</p><ul>{items}</ul>"
    )


def _resit(work):
    codes = work.to_sit_again
    head = html.heading("If you sit it again")
    if not codes:
        return head + html.paragraph("No objective of this sheet is open, so there is nothing to sit again.")
    fresh = resit.to_sit(work.module, codes)
    titles = [exercise.title for exercise in work.module.exercises if exercise.key in fresh]
    return head + html.paragraph(
        f"A resit would cover the objectives not met yet ({', '.join(codes)}) with fresh numbers: {'; '.join(titles)}. "
        "Your instructor decides whether and when."
    )


def _typed(text):
    """Text of a person, shown as it is and kept to its own line of writing."""
    return f"<bdi>{_lines(str(text))}</bdi>"


def _lines(text):
    return escape(text).replace("\n", "<br>")
