"""The programme report: how far the classes are, what they cannot do yet, which questions to look at."""

from collections import Counter

from sqlalchemy import select

from grader import catalogue, clock, files
from grader.course.attempts import passing, standing
from grader.course.grading import written_answers
from grader.exercise.model import PRACTICE
from grader.pages import html
from grader.records import ledger, schema, vehicles
from grader.reports.export import package, pseudonym
from grader.reports.export.pages import programme_charts
from grader.reports.tables import item_analysis as tables
from grader.reports.tables import people, scope, variants
from grader.reports.tables.columns import STATES
from grader.reports.tables.grades import changed

HARD, EASY, LOW, COMMON = 0.30, 0.95, 0.20, 0.20  # when a question is listed
_CHANGES = ("re-marked", "override", "excuse", "extension", "key-change")
_READING = (
    "Facility is the share of its marks that a question gave out: 1 if everybody solved it. Discrimination is how much "
    "better the stronger half did in it: near 0 it tells nothing about who can do the work, below 0 the key may be wrong. "
    "Where everybody should master the work, a question that all solve is no fault."
)
_TRUST = (
    "Alpha says how well the questions of a module agree on who is strong: 1 would be perfect. The standard error says in "
    "marks how far chance alone moves a mark. Near the pass mark look at the work itself before you decide."
)
_DRAWN = (
    "Everybody has numbers of his own. Facility is compared between those with one engine, or with right answers of about "
    "one size, and all others; a group is named if it differs by more than chance would give."
)
_FEW = f"fewer than {pseudonym.SMALLEST_CELL}"


def write(opened, path=None, *, pseudonymous=False):
    """Write programme.html and note it in the ledger.

    Returns
    -------
    Path

    Raises
    ------
    CannotWrite
        The old file stands.
    """
    path = path or package.folder_for(opened, pseudonymous=pseudonymous) / "programme.html"
    content = html.page("Programme report", *_parts(opened, pseudonymous))
    with files.replacing(path) as target:
        target.write(content)
    scope.note_export(opened, path.name)
    return path


def questions(pools):
    """[(item, n, facility, discrimination, commonest slip, why)] of questions worth a look."""
    found = []
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
            found.append(
                (row["item"], row["n"], row["facility"], row["discrimination"], row["top_slip"], "; ".join(why))
            )
    return found


def late_changes(opened, *, pseudonymous=False):
    """[(class, row, at, event, trainee, module, attempt, old, new, by, why)] of marks changed after the due time.

    A written answer that is read for the first time completes a mark and changes none.
    """
    found = []
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
            completes = (entry["event"], entry["reason"]) == (
                "re-marked",
                written_answers.REASON,
            ) and owner in first - again
            if entry["event"] == "re-marked":
                first.discard(owner)
                again.discard(owner)
            if (due and at <= due) or completes:
                continue
            who = ids.get(entry["trainee"], entry["trainee"])
            if pseudonymous:
                who = pseudonym.code(term, who) if who else ""
            found.append((
                pseudonym.HIDDEN if hidden else term.id, "" if pseudonymous else seq, at[:10], entry["event"], who,
                entry["module"], entry["attempt"] or "", _value(term, entry, "old", pseudonymous),
                _value(term, entry, "new", pseudonymous), "" if pseudonymous else entry["actor"],
                "" if pseudonymous else entry["reason"],
            ))  # fmt: skip
    return found


class _Dues:
    """Due times of those whose marks were changed, who are few."""

    def __init__(self, connection):
        self._connection, self._known = connection, {}

    def of(self, trainee, module, attempt):
        """Due time of an attempt as it was issued, or the latest of all: an excuse is of no single attempt."""
        if (trainee, module) not in self._known:
            table = schema.issue
            mine = (table.c.trainee == trainee, table.c.module == module)
            found = self._connection.execute(select(table.c.attempt, table.c.due).where(*mine))
            self._known[trainee, module] = {row.attempt: row.due for row in found}
        dues = self._known[trainee, module]
        return max(dues.values(), default="") if attempt is None else dues.get(attempt, "")


def unlike(pools):
    """[(item, bin, n, facility, of the rest, what stands out)] of numbers that made a question easier or harder."""
    return [
        (row["item"], row["bin"], row["n"], row["facility"], row["facility_of_rest"], row["note"])
        for row in variants.rows(pools)
        if row["difference"] and row["note"]
    ]


def _parts(opened, pseudonymous):
    counts, below, lacking, own, retention, examined, shown = [], [], [], [], [], Counter(), Counter()
    for term, connection in scope.each(opened):
        name = pseudonym.HIDDEN if pseudonymous and pseudonym.is_small(connection) else term.id
        markers = sorted({entry["actor"] for _, _, entry in ledger.entries(connection, "marked", "re-marked")})
        by = "" if pseudonymous else ", ".join(markers)
        modes = standing.modes(connection)
        assigned = sorted(modes)
        for module in assigned:
            states, good, failed = Counter(), 0, Counter()
            for one in scope.standings(term, connection, [module]):
                states[one.state] += 1
                good += one.state == standing.MARKED and one.passed == passing.YES
                failed.update(one.failed)
            lacking += [(name, module, code, catalogue.objectives()[code]["text"], _few(n, pseudonymous))
                        for code, n in sorted(failed.items())]  # fmt: skip
            practice = modes[module] == PRACTICE
            label = f"{name}, {module}" + (" (practice)" if practice else "")
            counts.append((label, states, "" if practice else good, states[standing.MARKED], by))
        mine, met = Counter(), Counter()
        for row in people.objectives(term, connection):
            if row["met"] in ("yes", "no") and row["mode"] != PRACTICE:
                mine[row["objective"]] += 1
                met[row["objective"]] += row["met"] == "yes"
        examined, shown = examined + mine, shown + met
        for code in mine:
            weak = mine[code] - met[code]
            if weak and not (pseudonymous and mine[code] < pseudonym.SMALLEST_CELL):
                below.append(
                    (name, code, catalogue.objectives()[code]["text"], _few(weak, pseudonymous), mine[code], by)
                )
        if not pseudonymous:
            own += [(name, key, f"{one.own.vehicle.title} ({one.line})", f"{one.own.manual}, {one.own.page}")
                    for key in assigned for one in vehicles.assigned(connection, key)]  # fmt: skip
        retention.append((name, scope.keep_until(term, connection).isoformat()))
    pools = tables.pools(opened, drawn=True)
    today = clock.now().date().isoformat()
    yield from _completion(counts, pseudonymous)
    yield html.heading("Objectives below standard")
    if examined and not (pseudonymous and min(examined.values()) < pseudonym.SMALLEST_CELL):
        shares = [(code, shown[code] / n) for code, n in sorted(examined.items())]
        words = ", ".join(f"{code} {100 * share:.0f} %" for code, share in shares)
        yield html.picture(
            programme_charts.objectives(shares),
            "Objectives shown",
            f"Share of examined trainees who have shown each objective: {words}.",
        )
    yield html.table(
        "Objectives that some have not shown yet, by class",
        ("class", "objective", "what it is", "not yet", "of", "marked by"),
        below,
    )
    if lacking:
        yield html.table(
            "Not passed because an objective must be met and is not",
            ("class", "module", "objective", "what it is", "trainees"), lacking,
        )  # fmt: skip
    yield html.heading("Questions to look at")
    yield html.paragraph(_READING)
    yield html.table(
        "Questions",
        ("item", "n", "facility", "discrimination", "commonest slip", "why"),
        [(item, n, _two(hard), _two(apart), slip, why) for item, n, hard, apart, slip, why in questions(pools)],
        empty="Nothing stands out.",
    )
    yield html.paragraph(_DRAWN)
    yield html.table(
        "Numbers that made a question easier or harder",
        ("item", "who", "n", "facility", "of all others", "what stands out"),
        [(item, who, n, _two(mine), _two(rest), said) for item, who, n, mine, rest, said in unlike(pools)],
        empty="None stand out, or there are too few trainees to compare.",
    )
    yield html.heading("How far marks can be trusted")
    yield html.paragraph(_TRUST)
    trust = [
        (r["module"], r["n"], _two(r["mean"]), _two(r["sd"]), _two(r["alpha"]),
         f"{_two(r['alpha_low'])} to {_two(r['alpha_high'])}" if r["alpha"] else "", _two(r["sem"]), r["note"])
        for r in tables.modules(pools)
    ]  # fmt: skip
    yield html.table(
        "Reliability",
        ("module", "n", "mean mark", "spread (sd)", "alpha", "95 % interval", "standard error", "note"),
        trust,
    )
    if own:
        yield html.heading("Own vehicles")
        yield html.table("Numbers are drawn from", ("class", "module", "vehicle", "source of its figures"), own)
    yield html.heading("Changes after the due time")
    yield html.table("Changes", ("class", "ledger row", "day", "event", "trainee", "module", "attempt", "old", "new", "by", "why"),
                     late_changes(opened, pseudonymous=pseudonymous), empty="None.")  # fmt: skip
    yield html.heading("Retention")
    yield html.table("Records are kept until", ("class", "day", "state"),
                     [(name, day, "past: delete the class" if day < today else "to be kept") for name, day in retention])  # fmt: skip


def _completion(counts, pseudonymous):
    yield html.heading("Completion")
    if counts and not pseudonymous:
        total = sum((states for _, states, _, _, _ in counts), Counter())
        words = ", ".join(f"{total[state]} {state}" for state in STATES if total[state])
        yield html.picture(
            programme_charts.completion([(label, states) for label, states, _, _, _ in counts]),
            "Trainees by state",
            f"Trainees by state: {words}.",
        )
    rows = [
        (label, *(_few(states.get(state, 0), pseudonymous) for state in STATES), _few(good, pseudonymous), n, by)
        for label, states, good, n, by in counts
    ]
    yield html.table(
        "Completion by class and module",
        ("class, module", *STATES, "passed", "of marked", "marked by"),
        rows,
        empty="Nothing is assigned.",
    )


def _two(text):
    """A figure with at most two decimals; what is blank stays so."""
    return f"{float(text):.2f}" if text else ""


def _few(count, pseudonymous):
    return _FEW if pseudonymous and count and 0 < count < pseudonym.SMALLEST_CELL else count


def _value(term, entry, which, pseudonymous):
    """What stood before or after a change; of words nothing where nobody is to be known by them."""
    return "" if pseudonymous and not isinstance(entry[which], int) else changed(term, entry, which)
