"""The class report: one page for a module that an instructor reads before the next session."""

from collections import Counter
from html import escape
from pathlib import Path

from grader import catalogue, clock, files
from grader.course.attempts import overview, passing, standing
from grader.errors import Refused
from grader.pages import html as page
from grader.reports.feedback import charts, class_figures, confidence, similarity
from grader.reports.tables import item_analysis as tables
from grader.reports.tables import statistics
from grader.reports.tables.columns import STATES
from grader.reports.tables.grades import hundredths

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
_LOOK = """
figure { margin: 1em 0 } td, th { padding: .15em .4em }
@media screen and (max-width: 40em) {
  .scroll table { display: table; width: max-content } .scroll th[scope=row] { position: sticky; left: 0; background: #fff }
  .long th, .long td { max-width: 11em } .long thead th { max-width: 6em }
  .marks th[scope=row] { max-width: 9em } .marks td { white-space: nowrap }
  .scroll img { max-width: none; width: 42em }
}
"""


def write(opened, module_key=""):
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
    term = opened[0]
    assigned = overview.assigned(term)
    if module_key and catalogue.module(module_key).key not in assigned:
        raise Refused(f"{module_key} was not assigned in {term.id}. Run 'assign {module_key}' first.")
    if not assigned:
        raise Refused(f"Nothing was assigned in {term.id} yet, so there is nothing to report. Run 'assign' first.")
    pools, months, written = tables.pools([term], practice=True), class_figures.months(opened), []
    for key in [module_key] if module_key else assigned:
        module = catalogue.module(key)
        path = Path(term.folder / ROOM / f"{key}.html")
        content = build(term, module, [pool for pool in pools if pool.module == key], months)
        with files.replacing(path) as target:
            target.write(content)
        written.append(path)
    return written


def build(term, module, pools, months):
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
    parts = [*_standing(term, module, table), *_needs(term, table), *_slips(term, module), *_sure(term, module),
             *_marks(module, table), *_questions(pools), *_months(months), *_alike(term, module)]  # fmt: skip
    return page.page(f"Class report: {module.title}", *parts, look=_LOOK)


def _standing(term, module, table):
    states = Counter(one.state for one, _ in table)
    done = [one for one, _ in table if one.mark is not None and one.state == standing.MARKED]
    whole, good = [one.mark for one in done], sum(one.passed == passing.YES for one in done)
    limit, must = term.pass_percent(module.key), term.policy.must_pass_in(module.key)
    more = f" and {', '.join(must)} met" if must else ""
    verdict = f"{good} of {len(done)} with a whole mark have passed ({limit:g} % of {module.marks} marks{more})."
    practice = not all(one.counts for one, _ in table)
    if practice:
        verdict = "It was handed out as practice, which nobody passes or fails."
    yield page.paragraph(
        f"{term.settings.title} ({term.id}), as the records stood at {term.shown(clock.now())}. {len(table)} trainees: "
        + ", ".join(f"{states[state]} {state}" for state in STATES if states[state])
        + f". {verdict}"
    )
    if whole:
        percents = [100 * mark.mark / mark.most for mark in whole]
        counts = charts.tenths(percents)
        words = ", ".join(f"{n} from {10 * i} to {10 * i + 10} per cent" for i, n in enumerate(counts) if n)
        yield _picture(
            charts.spread(percents, None if practice else limit),
            "How the marks are spread",
            f"Trainees by mark: {words}" + ("." if practice else f"; the pass mark is {limit:g} per cent."),
        )


def _needs(term, table):
    yield page.heading("Who needs you")
    yield page.table(
        "People to speak to", ("trainee", "what it is", "what to do"), class_figures.needs(term, table), empty="Nobody."
    )
    waiting = sum(one.state == standing.PARTLY_MARKED for one, _ in table)
    if waiting:
        yield page.paragraph(
            f"Written answers of {waiting} wait for you. Until they are read, theirs are marks so far."
        )


def _slips(term, module):
    found = class_figures.slips(term, module)
    yield page.heading("Commonest slips, and what to say next session")
    rows = [(slip.title, f"{slip.count} of {slip.answers}", slip.says) for slip in found[:SLIPS]]
    yield page.table(
        "Slips by number of answers", ("question", "made in", "what to say"), rows, empty="No slip was named."
    )
    if len(found) > SLIPS:
        yield page.paragraph(f"{len(found) - SLIPS} further slips were rarer than these.")
    chosen = class_figures.chosen(term, module)
    if chosen:
        yield page.table(
            "Wrong answers chosen to which no slip leads",
            ("question", "what was chosen", "by", "what speaks against it"),
            [(one.title, one.option, f"{one.count} of {one.answers}", one.says) for one in chosen[:SLIPS]],
        )
    if len(chosen) > SLIPS:
        yield page.paragraph(f"{len(chosen) - SLIPS} further answers were rarer than these.")


def _sure(term, module):
    """Only practice says how sure its trainees were."""
    found = confidence.of_class(term, module)
    if found is None or not found.sheets:
        return
    yield page.heading("Sure and wrong")
    if found.unread:
        yield page.paragraph(f"{found.unread} kept hand-ins could not be read again; 'term verify' says which.")
    if not found.said:
        yield page.paragraph("Nobody said how sure he was. It stands above the answers of each exercise in practice.")
        return
    yield page.paragraph(
        f"{found.said} of {found.sheets} said in practice how sure they were, before they saw a verdict. Counted is the "
        "answer as it was first checked. It touches no mark, and only what several share is listed."
    )
    rows = [(r.title, r.said, r.sure_and_wrong, r.right_by_guess, r.slip + (f" ({r.made} of them)" if r.made else ""))
            for r in found.rows]  # fmt: skip
    yield page.table(
        "Begin with the first: whoever is sure does not ask",
        ("exercise", "said how sure", "sure and wrong", "right by a guess", "what to say"), rows,
        empty="In no exercise were several sure and wrong, or right by a guess.",
    )  # fmt: skip
    if any(r.sure_and_wrong >= confidence.SEVERAL and not r.slip for r in found.rows):
        yield page.paragraph(
            "Where no sentence stands the sure ones share no slip: have it worked on the board and look where the steps part."
        )


def _marks(module, table):
    yield page.heading("Marks by trainee and exercise")
    counted = class_figures.by_exercise(module, table)
    if any(sum(row[1:]) for row in counted):
        rows = [(f"{n}. {e.title}", *counts) for n, (e, *counts) in enumerate(counted, 1)]
        words = "; ".join(f"{label}: {full} all, {some} some, {none} none" + (f", {waits} wait" if waits else "")
                          for label, full, some, none, waits in rows)  # fmt: skip
        yield _picture(
            charts.exercises(rows),
            "How many earned all, some or none of an exercise's marks",
            f"By exercise: {words}.",
        )
    numbers = range(1, len(module.exercises) + 1)
    headings = (
        "trainee",
        *(f"{n} (of {e.marks})" for n, e in zip(numbers, module.exercises, strict=True)),
        "mark",
        "state",
    )
    rows = [(one.person.name, *(_cell(marks, e.key) for e in module.exercises), *_total(one)) for one, marks in table]
    listed = page.table(f"Marks; exercises by their number, in all {module.marks} marks", headings, rows)
    yield _sideways(listed, "Marks by trainee and exercise", "marks")
    yield page.paragraph("; ".join(f"{n}: {e.title}" for n, e in zip(numbers, module.exercises, strict=True)) + ".")


def _picture(data, caption, says):
    """A figure that keeps its size on a narrow screen, where its words would become too small to read."""
    return _sideways(page.picture(data, caption, says), caption)


def _sideways(html, name, kind=""):
    """What may be wider than the screen: moved sideways with the finger or the arrow keys."""
    kind = f"scroll {kind}".strip()
    return f'<div class="{kind}" role="region" tabindex="0" aria-label="{escape(name)}">{html}</div>'


def _cell(marks, key):
    if key not in marks:
        return ""
    return "waits" if marks[key] is None else hundredths(marks[key])


def _total(one):
    if one.mark is None:
        return "", one.state
    late = f", late: -{hundredths(one.mark.penalty)}" if one.mark.penalty else ""
    return hundredths(one.mark.mark), one.state + late


def _questions(pools):
    yield page.heading("How the questions worked")
    for pool in pools:
        rows = [(_name(row["item"]), row["n"], row["full_marks"], _percent(row["facility"]), _two(row["discrimination"]),
                 _judged(row)) for row in tables.analysis([pool])]  # fmt: skip
        left = f" {pool.left_out} with an answer that waits are left out; read those first." if pool.left_out else ""
        yield _sideways(page.table(
            f"Questions, from whole first attempts.{left}",
            ("question", "n", "all marks", "earned on average", "separates strong from weak", "in words"), rows,
        ), "How the questions worked", "long")  # fmt: skip
    if not pools:
        yield page.paragraph("Nothing is marked yet.")
    yield page.paragraph(
        "Earned on average: the share of a question's marks that the class earned. Separates: how much better the stronger "
        "part of the class did in it than the weaker part, from -1 to 1; a figure below 0 says: look at the key. With fewer "
        "than ten trainees such figures mean nothing, and only the counts are given."
    )


def _name(path):
    for known in catalogue.all_modules().values():
        if path in known.by_path:
            exercise, part = known.by_path[path]
            return f"{exercise.title}: {part.prompt}"
    return path


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
        next((said for least, said in _SEPARATES if value >= least), "the stronger half does worse: look at the key")
    ]
    if row["facility"] and float(row["facility"]) < 0.3:
        words.append("very few solve it")
    return "; ".join(words)


def _months(months):
    yield page.heading("Over the months")
    shown = [(m.term, class_figures.title(m.module), m.mean, m.marked) for m in months if m.mean is not None]
    if len(shown) > 1:
        words = "; ".join(f"{term}, {name}: {mean:.0f} per cent, n {n}" for term, name, mean, n in shown)
        rows = [(term, f"{name}\n{m.assigned_at[:7]}", mean, n)
                for (term, name, mean, n), m in zip(shown, (m for m in months if m.mean is not None), strict=True)]  # fmt: skip
        yield _picture(charts.months(rows), "Mean mark of each module, in order of time", f"Mean mark: {words}.")
    elif len(months) == 1:
        yield page.paragraph(
            "This is the first module of the term; from the second on a figure shows how the class moves."
        )
    rows = [
        (class_figures.title(m.module), m.term, m.assigned_at[:10], m.people, m.missing, m.marked, m.passed,
         f"{m.mean:.0f} %" if m.mean is not None else "fewer than ten")
        for m in months
    ]  # fmt: skip
    yield _sideways(page.table(
        "Modules in the order in which they were assigned",
        ("module", "class", "assigned", "trainees", "not handed in", "whole marks", "passed", "mean mark"), rows,
    ), "Over the months", "long")  # fmt: skip


def _alike(term, module):
    """Last and plain; names nobody in a class in which chance explains everything."""
    found = similarity.pairs(term, module.key)
    yield page.heading("Answers alike")
    if not found:
        yield page.paragraph("No pair's wrong answers fit the other's numbers beyond chance.")
        return
    rows = [(p.one.name, p.other.name, f"{p.fits} of {p.tried}", "; ".join(p.exercises)) for p in found]
    yield page.table(
        "Wrong answers that fit another's numbers beyond chance",
        ("wrong answers of", "fit the numbers of", "places", "exercises"), rows,
    )  # fmt: skip
    yield page.paragraph(similarity.ADVICE)
