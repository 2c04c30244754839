"""Evidence by published unit standard: what a trainee showed, when, by which exercise and at what level.

Calculated, simulated and witnessed evidence are kept apart. The first two support
a unit standard; where one asks for work on a vehicle only witnessed work can meet
it, and the assessor decides that, not this page.
"""

import csv
import io
from functools import cache

from sqlalchemy import select

from grader import catalogue, files, tables
from grader.course.attempts import passing, standing
from grader.errors import BadFile
from grader.exercise.model import PRACTICE
from grader.marking.verdict import CARRIED
from grader.pages import html
from grader.records import adjustments, schema, vehicles, witnessed
from grader.records.term import roster
from grader.reports.export import package
from grader.reports.export.pages import moderated
from grader.reports.tables import draws, people, scope

SIMULATED_MODULES = ("m06_diagnosis",)  # worked on the simulated vehicle
MAP_COLUMNS = ["code", "unit_standards"]
CAUTION = (
    "Calculated and simulated work supports a unit standard and never meets one. Where a unit standard asks for work on a "
    "vehicle, only work that an assessor has witnessed can meet it; he decides by the published text of the standard."
)
_OF_OURS = "teaching vehicles of Timing Mark, invented"
_SEEN = ("objective", "what it is", "result", "day", "vehicle", "seen by", "note")
_HEADINGS = ("objective", "what it is", "result", "marks", "share", "exercises", "attempt", "handed in")


def write(term, folder=None, *, trainee="", own_map=None):
    """Write a page for each trainee, or for one.

    Parameters
    ----------
    term : Term
    folder : path or None
    trainee : str
        Either of the trainee's ids; empty: everybody with a mark or a witnessed task.
    own_map : path or None
        CSV code,unit_standards in place of the map in datasets/objectives.csv.

    Returns
    -------
    list of Path

    Raises
    ------
    Unknown
        Nobody of that id.
    BadFile
        The map cannot be used.
    """
    folder = folder or package.folder_for([term]) / "evidence"
    standards = read_map(own_map) if own_map else default_map()
    written = []
    for _, connection in scope.each([term]):
        chosen = roster.one(connection, trainee) if trainee else None
        frame, tasks = _Frame(term, connection, standards), {}
        for task in witnessed.tasks(connection):
            tasks.setdefault(task.trainee, []).append(task)
        batches = [[chosen]] if chosen else scope.batches(connection)
        for person, judged in people.objectives_of_each(term, connection, batches):
            rows = [row for row in judged if row["mode"] != PRACTICE]  # practice shows its answers at once
            if rows or person.id in tasks or chosen:
                content = _page(frame, person, rows, tasks.get(person.id, []))
                path = folder / f"{person.id}.html"
                files.write_bytes(path, content)
                written.append(path)
    scope.note_export([term], "evidence")
    return written


def default_map():
    """Codes of objectives by unit standard, from datasets/objectives.csv."""
    return _by_standard((code, row["unit_standards"]) for code, row in catalogue.objectives().items())


def read_map(path):
    """Codes of objectives by unit standard, from a coordinator's own file.

    Raises
    ------
    BadFile
        Other columns, or an objective that is not there.
    """
    content = files.read_bytes(path, most=1_000_000, what="The map")
    try:
        rows = list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline=""), strict=True))
    except (UnicodeDecodeError, csv.Error) as problem:
        raise BadFile(f"The map is no CSV table in UTF-8: {problem}. Save it again as CSV.") from None
    if not rows or rows[0] != MAP_COLUMNS:
        raise BadFile(
            f"The map must begin with {','.join(MAP_COLUMNS)}; several standards are separated by semicolons."
        )
    known = catalogue.objectives()
    for line, row in enumerate(rows[1:], start=2):
        if len(row) != 2 or row[0] not in known:
            raise BadFile(f"The map, line {line}: {row[:1]} is no objective; there are {', '.join(known)}.")
    return _by_standard(rows[1:])


@cache
def _notes():
    """What has to be said of a standard, by its code."""
    return {row["standard"]: row["note"] for row in tables.rows("unit_standards.csv", ("standard", "note", "source"))}


def _by_standard(pairs):
    found = {}
    for code, listed in pairs:
        for standard in filter(None, (text.strip() for text in listed.split(";"))):
            found.setdefault(standard, []).append(code)
    return dict(sorted(found.items()))


class _Frame:
    """What is the same on every page of a term."""

    def __init__(self, term, connection, standards):
        self.term, self.connection, self.standards = term, connection, standards
        self.until, self.decided = scope.keep_until(term, connection), adjustments.read(connection)
        self.own = {found.digest: found for found in vehicles.revisions(connection)}
        self.modules, self.modes = standing.listed_modules(connection), standing.modes(connection)

    def rows(self, table, person):
        """The rows of a table that are the trainee's."""
        found = self.connection.execute(select(table).where(table.c.trainee == person.id))
        return sorted(found, key=lambda row: (row.module, row.attempt))


def _page(frame, person, rows, tasks):
    term, connection, standards, until = frame.term, frame.connection, frame.standards, frame.until
    answers, marks = frame.rows(schema.answer, person), frame.rows(schema.mark, person)
    shown = {row["objective"]: _evidence(answers, marks, row) for row in rows}
    parts = [
        html.paragraph(CAUTION, "note"),
        html.table(
            "Whose record this is", ("what", "value"),
            [("Name", person.name), ("Id", person.college_id), ("Class", f"{term.settings.title} ({term.id})"),
             *_pass_marks(term, frame.modes), ("Kept until", until)],
        ),
    ]  # fmt: skip
    notes = _notes()
    for standard, codes in standards.items():
        parts.append(html.heading(standard))
        if standard in notes:
            parts.append(html.paragraph(notes[standard]))
        for kind, word in (("calculated", "Calculated"), ("simulated", "Simulated")):
            lines = [shown[code][1] for code in codes if code in shown and shown[code][0] == kind]
            parts.append(html.table(f"{standard}: {word}", _HEADINGS, lines))
        parts.append(html.table(f"{standard}: Witnessed", _SEEN, [_task(t) for t in tasks if t.objective in codes]))
        missing = [code for code in codes if code not in shown and code not in {t.objective for t in tasks}]
        if missing:
            parts.append(html.paragraph(f"No evidence yet for {', '.join(missing)}."))
    parts += _drawn_from(frame, person)
    mine = standing.standings(term, connection, frame.modules, people=[person], decided=frame.decided)
    parts.append(html.heading("Modules"))
    parts.append(
        html.table("How far each module has come", ("module", "state", "result", "attempt", "handed in"),
                   [(catalogue.module(f.module).title, f.state, _result(f), f.attempt or "", f.handed_in_at[:10]) for f in mine])
    )  # fmt: skip
    return html.page(f"Evidence of learning: {person.name}", *parts)


def _pass_marks(term, modes):
    """Lines of what it takes to pass each assessed module."""
    for module in sorted(module for module, mode in modes.items() if mode != PRACTICE):
        must = term.policy.must_pass_in(module)
        more = "".join(f", and {code} from {term.policy.threshold_of(code)} %" for code in must)
        yield f"Pass mark of {catalogue.module(module).title}", f"{term.pass_percent(module):g} %{more}"


def _result(found):
    """Whether a module is passed; practice is none that could be."""
    if not found.counts:
        return "practice"
    return passing.Outcome(found.passed, found.failed).said() if found.mark is not None else ""


def _drawn_from(frame, person):
    """Which vehicles his numbers came from: those of the term's own with the source of their figures."""
    own, rows = frame.own, {}
    for issue in frame.rows(schema.issue, person):
        for found in draws.of_issue(issue.record, {}).values():
            if found.vehicle:
                said = _OF_OURS if not found.own else "" if found.own not in own else moderated.source(own[found.own])
                rows[catalogue.module(issue.module).title, issue.attempt, said] = None
    yield html.heading("Vehicles")
    yield html.table("What the numbers were drawn from", ("module", "attempt", "vehicle and source"), rows)


def _task(task):
    """Line of the table of what was seen."""
    what = catalogue.objectives()[task.objective]["text"]
    return (task.objective, what, task.result, task.day, task.vehicle, task.seen_by, task.note)


def _evidence(answers, marks, row):
    """(kind of evidence, line of the table), from a trainee's rows of tm_answer and tm_mark."""
    objective = catalogue.objectives()[row["objective"]]
    module = catalogue.module(objective["module"])
    parts = [(exercise, path) for exercise, part, path in module.parts() if row["objective"] in part.objectives]
    titles = list(dict.fromkeys(f"{exercise.title} ({path})" for exercise, path in parts))
    attempt, examined = int(row["attempt"]), {path for _, path in parts}
    carried = sorted({a.part for a in answers if a.attempt == attempt and a.part in examined and a.verdict == CARRIED})
    dates = [mark.handed_in_at for mark in marks if (mark.module, mark.attempt) == (module.key, attempt)]
    said = {"yes": "shown", "no": "not yet shown", "waits": "an answer waits to be read"}.get(row["met"], row["met"])
    if row["must_pass"] == "yes":
        said += "; must be met for a pass"
    if carried:
        said += f"; consequential in {', '.join(carried)}"
    share = f"{float(row['share']) * 100:.4g}\u00a0%" if row["share"] else ""
    kind = "simulated" if module.key in SIMULATED_MODULES else "calculated"
    line = (row["objective"], objective["text"], said, f"{row['marks']} of {row['max']}", share, "; ".join(titles),
            row["attempt"], ", ".join(sorted({at[:10] for at in dates})))  # fmt: skip
    return kind, line
