"""The class report: one page for a module that an instructor reads before the next session."""

from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from grader import catalogue, clock, files
from grader.course.attempts import overview, passing, standing
from grader.errors import Refused
from grader.exercise.model import Module
from grader.pages import html
from grader.records.term import roster
from grader.records.term.term import Term
from grader.reports.feedback import charts, class_figures, confidence, similarity
from grader.reports.tables import item_analysis as tables
from grader.reports.tables import statistics, wording
from grader.reports.tables.columns import STATES
from grader.reports.tables.grades import hundredths
from grader.reports.tables.item_analysis import Pool

ROOM = "reports"
SLIPS = 8  # how many slips are listed
# Words for the steps of statistics.LEVELS.
_SEPARATES = tuple(
    zip(
        (least for least, _ in statistics.LEVELS),
        ("separates very well", "separates well", "separates a little", "hardly separates"),
        strict=True,
    )
)


def write(opened: Sequence[Term], module_key: str = "") -> list[Path]:
    """Write the report of a module, or of every assigned one, into the first term's folder.

    Parameters
    ----------
    opened : list of Term
        The class, and further terms for the comparison over the months.
    module_key : str

    Returns
    -------
    list of Path

    Raises
    ------
    Unknown
        No such module.
    Refused
        It, or nothing at all, was assigned.
    CannotWrite
        The old page stands.
    """
    written = []
    for key, content in pages(opened, module_key):
        path = Path(opened[0].folder / ROOM / f"{key}.html")
        with files.replacing(path) as target:
            target.write(content)
        written.append(path)
    return written


def pages(opened: Sequence, module_key: str = "") -> list[tuple[str, bytes]]:
    """The report of a module, or of every assigned one, as `write` writes it: (module key, page); nothing is written.

    Raises
    ------
    Unknown, Refused
        As `write`.
    """
    term = opened[0]
    assigned = overview.assigned(term)
    if module_key and catalogue.module(module_key).key not in assigned:
        raise Refused(f"{module_key} was not assigned in {term.id}. Run 'assign {module_key}' first.")
    if not assigned:
        raise Refused(f"Nothing was assigned in {term.id} yet, so there is nothing to report. Run 'assign' first.")
    pools, months = tables.pools([term], practice=True), class_figures.months(opened)
    return [
        (key, build(term, catalogue.module(key), [pool for pool in pools if pool.module == key], months))
        for key in ([module_key] if module_key else assigned)
    ]


def build(term: Term, module: Module, pools: Sequence[Pool], months: Sequence[class_figures.Month]) -> bytes:
    """The page.

    Parameters
    ----------
    term : Term
    module : Module
    pools : list of Pool
        Of this module alone.
    months : list of Month

    Returns
    -------
    bytes
    """
    table = class_figures.marks(term, module)
    return html.page(
        "class_report.html",
        module=module.title,
        **_standing(term, module, table),
        **_needs(term, table),
        **_slips(term, module),
        habits=[html.table(*listed, kind="long") for listed in class_figures.habits(term, module)],
        sure=_sure(term, module),
        **_marks(term, module, table),
        **_questions(pools),
        **_months(months),
        **_alike(term, module),
    )


def _standing(term, module, table):
    here = [attempt for attempt, _ in table if attempt.person.status != roster.WITHDRAWN]
    states, left = Counter(attempt.state for attempt in here), len(table) - len(here)
    done = [attempt for attempt, _ in table if attempt.mark is not None and attempt.state == standing.MARKED]
    good = sum(attempt.passed == passing.YES for attempt in done)
    limit, must = term.pass_percent(module.key), term.policy.must_pass_in(module.key)
    more = f" and {', '.join(must)} met" if must else ""
    practice = any(not attempt.counts for attempt, _ in table)
    verdict = f"{good} of {len(done)} with a whole mark have passed ({limit:g} % of {module.marks} marks{more})."
    if practice:
        verdict = "It was handed out as practice, which nobody passes or fails."
    words = ", ".join(f"{states[state]} {state}" for state in STATES if states[state]) or "nobody is left"
    if left:
        words += f"; {left} more {'has' if left == 1 else 'have'} left and {'is' if left == 1 else 'are'} in the table of marks"
    return {
        "klass": f"{term.settings.title} ({term.id})",
        "at": term.shown(clock.now()),
        "people": f"{len(here)} trainee{'' if len(here) == 1 else 's'} had this module: {words}.",
        "verdict": verdict,
        "spread": _spread([attempt.mark for attempt in done], None if practice else limit),
    }


def _spread(marks, limit):
    if not marks:
        return None
    percents = [100 * mark.mark / mark.most for mark in marks]
    counts = charts.tenths(percents)
    words = ", ".join(f"{n} from {10 * i} to {10 * i + 10} per cent" for i, n in enumerate(counts) if n)
    end = "." if limit is None else f"; the pass mark is {limit:g} per cent."
    return html.Picture(charts.spread(percents, limit), "How the marks are spread", f"Trainees by mark: {words}{end}")


def _needs(term, table):
    names = wording.names(attempt.person for attempt, _ in table)
    rows = [(names[person.id], what, do) for person, what, do in class_figures.needs(term, table)]
    return {
        "needs": html.table("People to speak to", ("trainee", "what it is", "what to do"), rows, empty="Nobody."),
        "waiting": sum(attempt.state == standing.PARTLY_MARKED for attempt, _ in table),
    }


def _slips(term, module):
    slips, chosen = class_figures.slips(term, module), class_figures.chosen(term, module)
    return {
        "slips": html.table(
            "Slips by number of answers",
            ("question", "made in", "what to say"),
            [(slip.title, f"{slip.count} of {slip.answers}", slip.says) for slip in slips[:SLIPS]],
            empty="No slip was named.",
        ),
        "rarer_slips": max(0, len(slips) - SLIPS),
        "chosen": html.table(
            "Wrong answers chosen to which no slip leads",
            ("question", "what was chosen", "by", "what speaks against it"),
            [
                (frequent.title, frequent.option, f"{frequent.count} of {frequent.answers}", frequent.says)
                for frequent in chosen[:SLIPS]
            ],
        ),
        "rarer_chosen": max(0, len(chosen) - SLIPS),
    }


def _sure(term, module):
    """Only practice says how sure its trainees were; None where nothing is to be said of it."""
    sureness = confidence.of_class(term, module)
    if sureness is None or not sureness.sheets:
        return None
    rows = [
        (r.title, r.said, r.sure_and_wrong, r.right_by_guess, r.slip + (f" ({r.made} of them)" if r.made else ""))
        for r in sureness.rows
    ]
    return {
        "sheets": sureness.sheets,
        "said": sureness.said,
        "unread": sureness.unread,
        "table": html.table(
            "Begin with the first: whoever is sure does not ask",
            ("exercise", "said how sure", "sure and wrong", "right by a guess", "what to say"),
            rows,
            empty="In no exercise were several sure and wrong, or right by a guess.",
        ),
        "no_shared_slip": any(r.sure_and_wrong >= confidence.SEVERAL and not r.slip for r in sureness.rows),
    }


def _marks(term, module, table):
    counted = class_figures.by_exercise(module, table)
    rows = [
        (f"{n}. {exercise.title}", full, some, none, waits)
        for n, (exercise, full, some, none, waits) in enumerate(counted, 1)
    ]
    earned = None
    if any(sum(row[1:]) for row in rows):
        words = "; ".join(
            f"{label}: {full} all, {some} some, {none} none" + (f", {waits} wait" if waits else "")
            for label, full, some, none, waits in rows
        )
        caption = "How many earned all, some or none of an exercise's marks"
        earned = html.Picture(charts.exercises(rows), caption, f"By exercise: {words}.")
    numbers = range(1, len(module.exercises) + 1)
    heads = [f"{n} of {e.marks}" for n, e in zip(numbers, module.exercises, strict=True)]
    names = wording.names(attempt.person for attempt, _ in table)
    people = [
        (names[attempt.person.id], *(_cell(marks, e.key) for e in module.exercises), *_total(term, attempt))
        for attempt, marks in table
    ]
    return {
        "earned": earned,
        "marks": html.table(
            f"Marks; exercises by their number, in all {module.marks} marks",
            ("trainee", *heads, "mark", "result"),
            people,
            kind="marks",
        ),
        "exercises": "; ".join(f"{n}: {e.title}" for n, e in zip(numbers, module.exercises, strict=True)) + ".",
    }


def _cell(marks, key):
    if key not in marks:
        return ""
    return "waits" if marks[key] is None else hundredths(marks[key])


def _total(term, attempt):
    left = ", has left" if attempt.person.status == roster.WITHDRAWN else ""
    if attempt.mark is None:
        return "", attempt.state + left
    late = f", late: -{hundredths(attempt.mark.penalty)}" if attempt.mark.penalty else ""
    return hundredths(attempt.mark.mark), wording.result(term, attempt) + late + left


def _questions(pools):
    listed = []
    for pool in pools:
        rows = [
            (
                wording.question(row["item"]),
                row["n"],
                row["full_marks"],
                _percent(row["facility"]),
                _two(row["discrimination"]),
                _judged(row),
            )
            for row in tables.analysis([pool])
        ]
        left = f" {pool.left_out} with an answer that waits are left out; read those first." if pool.left_out else ""
        headings = ("question", "n", "all marks", "earned on average", "separates strong from weak", "in words")
        listed.append(html.table(f"Questions, from whole first attempts.{left}", headings, rows, kind="long"))
    return {"questions": listed}


def _percent(share):
    return f"{100 * float(share):.0f} %" if share else ""


def _two(figure):
    """Two decimals, never minus nought."""
    return f"{round(float(figure), 2) + 0.0:.2f}" if figure else ""


def _judged(row):
    if not row["discrimination"]:
        return row["note"]
    value = float(row["discrimination"])
    words = [
        next((word for least, word in _SEPARATES if value >= least), "the stronger half does worse: look at the key")
    ]
    if row["facility"] and float(row["facility"]) < 0.3:
        words.append("very few solve it")
    return "; ".join(words)


def _months(months):
    drawn = [m for m in months if m.mean is not None]
    picture = None
    if len(drawn) > 1:
        words = "; ".join(f"{m.term}, {wording.module(m.module)}: {m.mean:.0f} per cent, n {m.marked}" for m in drawn)
        rows = [(m.term, f"{wording.module(m.module)}\n{m.assigned_at[:7]}", m.mean, m.marked) for m in drawn]
        picture = html.Picture(
            charts.months(rows), "Mean mark of each module, in order of time", f"Mean mark: {words}."
        )
    rows = [
        (
            wording.module(m.module),
            m.term,
            m.assigned_at[:10],
            m.people,
            m.missing,
            m.marked,
            "practice" if m.practice else m.passed,
            f"{m.mean:.0f} %" if m.mean is not None else "fewer than ten",
        )
        for m in months
    ]
    return {
        "course": picture,
        "first_month": len(months) == 1,
        "months": html.table(
            "Modules in the order in which they were assigned",
            ("module", "class", "assigned", "had it", "not handed in", "whole marks", "passed", "mean mark"),
            rows,
            kind="long",
        ),
    }


def _alike(term, module):
    """Last and plain; names nobody in a class in which chance explains everything."""
    pairs = similarity.pairs(term, module.key)
    rows = [(*p.names, f"{p.fits} of {p.tried}", "; ".join(p.exercises)) for p in pairs]
    return {
        "alike": html.table(
            "Wrong answers that fit another's numbers beyond chance",
            ("wrong answers of", "fit the numbers of", "places", "exercises"),
            rows,
        ),
        "advice": similarity.ADVICE,
        "little": similarity.little(term, module.key),
    }
