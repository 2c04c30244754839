"""The programme report: how far the classes are, what they cannot do yet, which questions to look at."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import Connection, select

from grader import catalogue, clock, files
from grader.course.attempts import passing, standing
from grader.exercise.model import PRACTICE
from grader.pages import charts, html
from grader.records import ledger, schema, vehicles
from grader.records.term.term import Term
from grader.reports.export import package, pseudonym
from grader.reports.export.pages import programme_charts
from grader.reports.feedback import class_figures
from grader.reports.tables import item_analysis as tables
from grader.reports.tables import people, scope, statistics, variants, wording
from grader.reports.tables.columns import STATES
from grader.reports.tables.grades import changed
from grader.reports.tables.item_analysis import Pool

HARD, EASY, LOW, COMMON = 0.30, 0.95, 0.20, 0.20  # when a question is listed
WEAKEST = 3  # objectives named on the first page
_CHANGES = ("re-marked", "override", "excuse", "extension", "key-change")
_FEW = f"fewer than {pseudonym.SMALLEST_CELL}"


def write(opened: Sequence[Term], path: Path | None = None, *, centre: str = "", pseudonymous: bool = False) -> Path:
    """Write programme.html and note it in the ledger.

    Parameters
    ----------
    opened : sequence of Term
    path : path or None
    centre : str
        Name of the training centre, for the head of the page.
    pseudonymous : bool

    Returns
    -------
    Path

    Raises
    ------
    CannotWrite
        The old file stands.
    """
    path = path or package.folder_for(opened, pseudonymous=pseudonymous) / "programme.html"
    content = html.page("programme_report.html", **_data(opened, centre, pseudonymous))
    with files.replacing(path) as target:
        target.write(content)
    scope.note_export(opened, path.name, [path])
    return path


def questions(pools: Iterable[Pool]) -> list[tuple[str, str, str, str, str, str]]:
    """[(item, n, facility, discrimination, commonest slip, why)] of questions worth a look."""
    listed = []
    for row in tables.analysis(pools):
        why = []
        if row["facility"]:
            facility, separates = float(row["facility"]), row["discrimination"]
            if facility < HARD:
                why.append("very few solve it")
            if separates and float(separates) < 0:
                why.append("the stronger half does worse: look at the key")
            elif separates and float(separates) < LOW and facility < EASY:
                why.append("does not separate")
            if row["top_slip_share"] and float(row["top_slip_share"]) >= COMMON:
                why.append("one slip is common: teach it")
        if why:
            listed.append(
                (row["item"], row["n"], row["facility"], row["discrimination"], row["top_slip"], "; ".join(why))
            )
    return listed


def late_changes(opened: Iterable[Term], *, pseudonymous: bool = False) -> list[tuple]:
    """[(class, row, at, event, trainee, module, attempt, old, new, by, why)] of marks changed after the due time.

    A written answer that is read for the first time completes a mark and changes none.
    """
    changes = []
    for term, connection in scope.each(opened):
        ids, dues = scope.college_ids(connection), _Dues(connection)
        hidden = pseudonymous and pseudonym.is_small(connection)
        first, again = set(), set()  # whose written answers were read since their mark was last made
        for seq, at, entry in ledger.entries(connection, "read", *_CHANGES):
            owner = (entry["trainee"], entry["module"], entry["attempt"])
            if entry["event"] == "read":
                (first if entry["old"] is None else again).add(owner)
                continue
            due = dues.of(*owner)
            completes = entry["kind"] == ledger.WRITTEN_ANSWER and owner in first - again
            if entry["event"] == "re-marked":
                first.discard(owner)
                again.discard(owner)
            if (due and at <= due) or completes:
                continue
            who = ids.get(entry["trainee"], entry["trainee"])
            if pseudonymous:
                who = pseudonym.code(term, who) if who else ""
            changes.append(
                (
                    pseudonym.HIDDEN if hidden else term.id,
                    "" if pseudonymous else seq,
                    at[:10],
                    entry["event"],
                    who,
                    entry["module"],
                    entry["attempt"] or "",
                    _value(term, entry, "old", pseudonymous),
                    _value(term, entry, "new", pseudonymous),
                    "" if pseudonymous else entry["actor"],
                    "" if pseudonymous else entry["reason"],
                )
            )
    return changes


class _Dues:
    """Due times of those whose marks were changed, who are few."""

    def __init__(self, connection: Connection) -> None:
        self._connection, self._known = connection, {}

    def of(self, trainee: str, module: str, attempt: int | None) -> str:
        """Due time of an attempt as it was issued, or the latest of all: an excuse is of no single attempt."""
        if (trainee, module) not in self._known:
            table = schema.issue
            mine = (table.c.trainee == trainee, table.c.module == module)
            issues = self._connection.execute(select(table.c.attempt, table.c.due).where(*mine))
            self._known[trainee, module] = {row.attempt: row.due for row in issues}
        dues = self._known[trainee, module]
        return max(dues.values(), default="") if attempt is None else dues.get(attempt, "")


def unlike(pools: Iterable[Pool]) -> list[tuple[str, str, str, str, str, str]]:
    """[(item, bin, n, facility, of the rest, what stands out)] of numbers that made a question easier or harder."""
    return [
        (row["item"], row["bin"], row["n"], row["facility"], row["facility_of_rest"], row["note"])
        for row in variants.rows(pools)
        if row["difference"] and row["note"]
    ]


@dataclass(slots=True)
class _Klass:
    """One class as the report tells of it. `name` is its title with its id, or what may be said of it without names."""

    name: str
    short: str  # for a chart
    markers: str
    kept_until: str
    modules: list = field(default_factory=list)  # of _Module
    examined: Counter = field(default_factory=Counter)  # objective -> trainees
    shown: Counter = field(default_factory=Counter)
    vehicles: list = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Module:
    """One module in one class: trainees by state, how many passed, and how many lack an objective that must be met."""

    key: str
    practice: bool
    states: Counter
    passed: int
    lacking: Counter

    @property
    def marked(self) -> int:
        return self.states[standing.MARKED]

    @property
    def had(self) -> int:
        return sum(self.states.values()) - self.states[standing.NOT_ASSIGNED]


def _classes(opened, pseudonymous):
    """(the classes, the day of the last change to any of them)."""
    classes, last = [], ""
    for term, connection in scope.each(opened):
        small = pseudonymous and pseudonym.is_small(connection)
        short = pseudonym.HIDDEN if small else term.id
        markers = sorted({entry["actor"] for _, _, entry in ledger.entries(connection, "marked", "re-marked")})
        klass = _Klass(
            short if pseudonymous else f"{term.settings.title} ({term.id})",
            short,
            "" if pseudonymous else ", ".join(markers),
            scope.keep_until(term, connection).isoformat(),
        )
        for key, mode in sorted(standing.modes(connection).items()):
            states, good, failed = Counter(), 0, Counter()
            for result in scope.standings(term, connection, [key]):
                states[result.state] += 1
                good += result.state == standing.MARKED and result.passed == passing.YES
                failed.update(result.failed)
            klass.modules.append(_Module(key, mode == PRACTICE, states, good, failed))
            klass.vehicles += [(key, revision) for revision in vehicles.assigned(connection, key)]
        for row in people.objectives(term, connection):
            if row["met"] in ("yes", "no") and row["mode"] != PRACTICE:
                klass.examined[row["objective"]] += 1
                klass.shown[row["objective"]] += row["met"] == "yes"
        classes.append(klass)
        last = max(
            last,
            clock.from_text(scope.last_change(connection))
            .astimezone(clock.zone(term.settings.zone))
            .date()
            .isoformat(),
        )
    return classes, last


def _data(opened, centre, pseudonymous):
    """What the template shows."""
    classes, last = _classes(opened, pseudonymous)
    pools = tables.pools(opened, drawn=True)
    changes = late_changes(opened, pseudonymous=pseudonymous)
    return {
        "centre": "" if pseudonymous else centre,
        "day": last,
        "classes": [klass.name for klass in classes],
        **_glance(classes, len(changes), pseudonymous),
        **_trend(opened, classes, pseudonymous),
        **_completion(classes, pseudonymous),
        **_objectives(classes, pseudonymous),
        **_questions(pools),
        "own": html.table(
            "Numbers are drawn from", ("class", "module", "vehicle", "source of its figures"),
            [(klass.name, wording.module(key), f"{revision.own.vehicle.title} ({revision.line})", f"{revision.own.manual}, {revision.own.page}")
             for klass in classes for key, revision in klass.vehicles if not pseudonymous],
        ),
        "changes": html.table(
            "Changes", ("class", "ledger row", "day", "what", "trainee", "module", "attempt", "old", "new", "by", "why"),
            [(*row[:5], wording.module(row[5]), *row[6:]) for row in changes], empty="None.",
        ),
        "retention": html.table(
            "Records are kept until", ("class", "day", "state"),
            [(klass.name, klass.kept_until,
              "past: delete the class" if klass.kept_until < clock.now().date().isoformat() else "to be kept")
             for klass in classes],
        ),
    }  # fmt: skip


def _glance(classes, changes, pseudonymous):
    """The first page: how many passed, and what asks for a decision."""
    assessed = [(klass, module) for klass in classes for module in klass.modules if not module.practice]
    rows = [
        (
            klass.name,
            wording.module(module.key),
            _few(module.had, pseudonymous),
            _few(module.marked, pseudonymous),
            _few(module.passed, pseudonymous),
            _rate(module.passed, module.marked, pseudonymous),
        )
        for klass, module in assessed
    ]
    marked, good = sum(m.marked for _, m in assessed), sum(m.passed for _, m in assessed)
    states = sum((module.states for _, module in assessed), Counter())
    points = []
    for state, words in (
        (standing.NOT_HANDED_IN, "not handed in"), (standing.HANDED_IN, "handed in and not marked"),
        (standing.PARTLY_MARKED, "waiting for an instructor to read a written answer"),
    ):  # fmt: skip
        if states[state]:
            points.append(f"Sheets {words}: {_few(states[state], pseudonymous)}.")
    examined, shown = sum((k.examined for k in classes), Counter()), sum((k.shown for k in classes), Counter())
    weakest = sorted((shown[code] / n, code) for code, n in examined.items() if not _hidden(n, pseudonymous))[:WEAKEST]
    points += [
        f"{code} {catalogue.objectives()[code]['text']}: {100 * share:.0f}\u00a0% have shown it."
        for share, code in weakest
        if share < 1
    ]
    if changes:
        points.append(f"Marks changed after the due time: {_few(changes, pseudonymous)}; each with its reason below.")
    rate = _rate(good, marked, pseudonymous)
    return {
        "headline": f"{_few(good, pseudonymous)} of {_few(marked, pseudonymous)} whole marks are a pass"
        + (f" ({rate})." if rate else ".")
        if marked
        else "Nothing assessed is marked yet.",
        "glance": html.table(
            "Passed, by class and module",
            ("class", "module", "had it", "whole marks", "passed", "pass rate"),
            rows,
            empty="Nothing assessed is assigned.",
        ),
        "points": points,
    }


def _rate(good, marked, pseudonymous):
    hide = pseudonymous and (_hidden(marked, True) or 0 < good < pseudonym.SMALLEST_CELL)
    return "" if hide or not marked else f"{100 * good / marked:.0f}\u00a0%"


def _hidden(count, pseudonymous):
    return pseudonymous and count < pseudonym.SMALLEST_CELL


def _trend(opened, classes, pseudonymous):
    """How the modules went from one term to the next; nothing for a single term."""
    if len(opened) < 2:
        return {"trend": None, "trend_chart": None}
    names = {term.id: klass for term, klass in zip(opened, classes, strict=True)}
    months = [m for m in class_figures.months(opened) if not m.practice]
    rows = [
        (
            wording.module(m.module),
            names[m.term].name,
            m.assigned_at[:10],
            _few(m.marked, pseudonymous),
            _rate(m.passed, m.marked, pseudonymous),
            f"{m.mean:.0f}\u00a0%" if m.mean is not None else "fewer than ten",
        )
        for m in sorted(months, key=lambda m: (m.module, m.assigned_at, m.term))
    ]
    chart = None
    drawn = [m for m in months if m.marked >= statistics.FEW]
    order = list(dict.fromkeys(m.term for m in drawn))
    if len(order) > 1:
        lines, words = [], []
        for key in dict.fromkeys(m.module for m in drawn):
            points = [(order.index(m.term), 100 * m.passed / m.marked) for m in drawn if m.module == key]
            places, percents = zip(*points, strict=True)
            lines.append(charts.Course(wording.module(key), places, percents, [f"{value:.0f} %" for value in percents]))
            rates = ", ".join(f"{names[order[place]].short} {value:.0f} per cent" for place, value in points)
            words.append(f"{wording.module(key)}: {rates}")
        picture = charts.courses([names[term].short for term in order], lines, "passed, per cent of whole marks")
        chart = html.Picture(picture, "Pass rates from term to term", f"Pass rates. {'; '.join(words)}.")
    table = html.table(
        "Modules from term to term", ("module", "class", "assigned", "whole marks", "pass rate", "mean mark"), rows
    )
    return {"trend": table, "trend_chart": chart}


def _completion(classes, pseudonymous):
    entries = [(klass, module) for klass in classes for module in klass.modules]
    chart = None
    if entries and not pseudonymous:
        total = sum((module.states for _, module in entries), Counter())
        words = ", ".join(f"{total[state]} {state}" for state in STATES if total[state])
        bars = [
            (f"{klass.short}: {wording.module(module.key)}" + (" (practice)" if module.practice else ""), module.states)
            for klass, module in entries
        ]
        chart = html.Picture(programme_charts.completion(bars), "Trainees by state", f"Trainees by state: {words}.")
    used = [state for state in STATES if any(module.states[state] for _, module in entries)]
    rows = [
        (
            klass.short,
            wording.module(module.key) + (" (practice)" if module.practice else ""),
            *(_few(module.states[state], pseudonymous) for state in used),
            klass.markers,
        )
        for klass, module in entries
    ]
    return {
        "completion_chart": chart,
        "completion": html.table(
            "Trainees by state, class and module",
            ("class", "module", *used, "marked by"),
            rows,
            empty="Nothing is assigned.",
        ),
    }


def _objectives(classes, pseudonymous):
    examined, shown = sum((k.examined for k in classes), Counter()), sum((k.shown for k in classes), Counter())
    known, chart = catalogue.objectives(), None
    if examined and not any(_hidden(n, pseudonymous) for n in examined.values()):
        shares = [(code, shown[code] / n) for code, n in sorted(examined.items())]
        words = ", ".join(f"{code} {100 * share:.0f} %" for code, share in shares)
        says = f"Share of examined trainees who have shown each objective: {words}."
        chart = html.Picture(programme_charts.objectives(shares), "Objectives shown", says)
    below = [
        (klass.short, f"{code} {known[code]['text']}", _few(n - klass.shown[code], pseudonymous), n)
        for klass in classes
        for code, n in klass.examined.items()
        if n > klass.shown[code] and not _hidden(n, pseudonymous)
    ]
    lacking = [
        (klass.short, wording.module(module.key), f"{code} {known[code]['text']}", _few(n, pseudonymous))
        for klass in classes
        for module in klass.modules
        if not module.practice
        for code, n in sorted(module.lacking.items())
    ]
    return {
        "objectives_chart": chart,
        "below": html.table(
            "Objectives that some have not shown yet, by class", ("class", "objective", "not yet", "of"), below
        ),
        "lacking": html.table(
            "Not passed because an objective must be met and is not",
            ("class", "module", "objective", "trainees"),
            lacking,
        ),
    }


def _questions(pools):
    rows = [
        (wording.question(item), n, _two(facility), _two(apart), wording.slip(item, slip) if slip else "", why)
        for item, n, facility, apart, slip, why in questions(pools)
    ]
    differ = [
        (wording.question(item), who, n, _two(mine), _two(rest), remark)
        for item, who, n, mine, rest, remark in unlike(pools)
    ]
    trust = [
        (
            wording.module(r["module"]),
            r["n"],
            _two(r["mean"]),
            _two(r["sd"]),
            _two(r["alpha"]),
            f"{_two(r['alpha_low'])} to {_two(r['alpha_high'])}" if r["alpha"] else "",
            _two(r["sem"]),
            r["note"],
        )
        for r in tables.modules(pools)
    ]
    return {
        "questions": html.table(
            "Questions",
            ("question", "n", "facility", "discrimination", "commonest slip", "why"),
            rows,
            empty="Nothing stands out.",
        ),
        "differ": html.table(
            "Numbers that made a question easier or harder",
            ("question", "who", "n", "facility", "of all others", "what stands out"),
            differ,
            empty="None stand out, or there are too few trainees to compare.",
        ),
        "trust": html.table(
            "Reliability",
            ("module", "n", "mean mark", "spread (sd)", "alpha", "95 % interval", "standard error", "note"),
            trust,
        ),
    }


def _two(text):
    """A figure with at most two decimals; what is blank stays so."""
    return f"{float(text):.2f}" if text else ""


def _few(count, pseudonymous):
    return _FEW if pseudonymous and count and 0 < count < pseudonym.SMALLEST_CELL else count


def _value(term, entry, which, pseudonymous):
    """What stood before or after a change; of words nothing where nobody is to be known by them."""
    return "" if pseudonymous and not isinstance(entry[which], int) else changed(term, entry, which)
