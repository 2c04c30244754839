"""Evidence by published unit standard: what a trainee showed, when, by which exercise and at what level.

Calculated, simulated and witnessed evidence are kept apart. The first two support
a unit standard; where one asks for work on a vehicle only witnessed work can meet
it, and the assessor decides that, not this page.
"""

import csv
import io
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path

from sqlalchemy import Connection, Row, Table, select

from grader import catalogue, files, tables
from grader.course.attempts import passing, standing
from grader.errors import BadFile, Unknown
from grader.exercise.model import PRACTICE
from grader.marking.verdict import CARRIED
from grader.pages import html
from grader.records import adjustments, schema, vehicles, witnessed
from grader.records.term import roster
from grader.records.term.roster import Trainee
from grader.records.term.term import Term
from grader.reports.export import package
from grader.reports.export.pages import moderated
from grader.reports.tables import draws, people, scope, wording

SIMULATED_MODULES = ("m06_diagnosis",)  # worked on the simulated vehicle
MAP_COLUMNS = ["code", "unit_standards"]
CAUTION = (
    "Calculated and simulated work supports a unit standard and never meets one. Where a unit standard asks for work on a "
    "vehicle, only work that an assessor has witnessed can meet it; he decides by the published text of the standard."
)
_OF_OURS = "teaching vehicles of Timing Mark, invented"


def write(
    opened: Sequence[Term], folder: Path | None = None, *, trainee: str = "", own_map: Path | None = None
) -> list[Path]:
    """Write a page for each trainee of some classes, or for one trainee.

    Parameters
    ----------
    opened : sequence of Term
        The pages of each class lie in its own folder.
    folder : path or None
        One place for all; of several classes each has a folder of its own in it.
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
        Nobody of that id, in none of the classes.
    BadFile
        The map cannot be used.
    """
    standards = read_map(own_map) if own_map else default_map()
    written, unknown = [], []
    for term in opened:
        place = package.folder_for([term]) / "evidence" if folder is None else folder
        place = place / term.id if folder is not None and len(opened) > 1 else place
        try:
            written += _write(term, place, trainee, standards)
        except Unknown as problem:
            unknown.append(problem)
    if len(unknown) == len(opened):
        raise unknown[0]
    return written


def _write(term, folder, trainee, standards):
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
                files.write_bytes(path, content, mode=files.PRIVATE)
                written.append(path)
    scope.note_export([term], "evidence", written)
    return written


def default_map() -> dict[str, list[str]]:
    """Codes of objectives by unit standard, from datasets/objectives.csv."""
    return _by_standard((code, row["unit_standards"]) for code, row in catalogue.objectives().items())


def read_map(path: Path) -> dict[str, list[str]]:
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
    by_standard = {}
    for code, listed in pairs:
        for standard in filter(None, (text.strip() for text in listed.split(";"))):
            by_standard.setdefault(standard, []).append(code)
    return dict(sorted(by_standard.items()))


class _Frame:
    """What is the same on every page of a term."""

    def __init__(self, term: Term, connection: Connection, standards: Mapping[str, Sequence[str]]) -> None:
        self.term, self.connection, self.standards = term, connection, standards
        self.until, self.decided = scope.keep_until(term, connection), adjustments.read(connection)
        self.own = {revision.digest: revision for revision in vehicles.revisions(connection)}
        self.modules, self.modes = standing.listed_modules(connection), standing.modes(connection)
        self.gone = standing.withdrawn_modules(connection)

    def rows(self, table: Table, person: Trainee) -> list[Row]:
        """The rows of a table that are the trainee's, without modules that were withdrawn."""
        theirs = self.connection.execute(
            select(table).where(table.c.trainee == person.id, table.c.module.not_in(self.gone))
        )
        return sorted(theirs, key=lambda row: (row.module, row.attempt))


def _page(frame, person, rows, tasks):
    term, connection = frame.term, frame.connection
    answers, marks = frame.rows(schema.answer, person), frame.rows(schema.mark, person)
    shown = {row["objective"]: _evidence(answers, marks, row) for row in rows}
    seen = {}
    for task in tasks:
        seen.setdefault(task.objective, []).append(task)
    used = dict.fromkeys(code for codes in frame.standards.values() for code in codes)
    known, notes = catalogue.objectives(), _notes()
    mine = standing.standings(term, connection, frame.modules, people=[person], decided=frame.decided)
    return html.page(
        "evidence.html",
        name=person.name,
        caution=CAUTION,
        facts=[("Id", person.college_id), ("Class", f"{term.settings.title} ({term.id})"),
               *_pass_marks(term, frame.modes), ("Kept until", frame.until.isoformat())],
        standards=[
            {"code": standard, "note": notes.get(standard, ""), "objectives": _counted(codes, shown, seen)}
            for standard, codes in frame.standards.items()
        ],
        objectives=[
            {"code": code, "text": known[code]["text"], "module": wording.module(known[code]["module"]),
             "standards": ", ".join(standard for standard, codes in frame.standards.items() if code in codes),
             "evidence": shown.get(code), "tasks": [_task(task) for task in seen.get(code, [])]}
            for code in known if code in used and (code in shown or code in seen)
        ],
        without=[(code, known[code]["text"]) for code in known if code in used and code not in shown and code not in seen],
        vehicles=_drawn_from(frame, person),
        modules=html.table(
            "How far each module has come", ("module", "result", "attempt", "handed in"),
            [(wording.module(f.module), "practice" if f.mark is not None and not f.counts else wording.result(term, f),
              f.attempt or "", f.handed_in_at[:10]) for f in mine],
        ),
    )  # fmt: skip


def _counted(codes, shown, seen):
    """(words, codes) of the objectives of a standard: what a reader wants to know of it at once."""
    listed = {
        "shown in calculated work": [
            c for c in codes if c in shown and shown[c]["shown"] and shown[c]["kind"] == "Calculated"
        ],
        "shown in simulated work": [
            c for c in codes if c in shown and shown[c]["shown"] and shown[c]["kind"] == "Simulated"
        ],
        "witnessed": [c for c in codes if c in seen],
        "not yet shown, or not examined often enough": [c for c in codes if c in shown and not shown[c]["shown"]],
        "no evidence yet": [c for c in codes if c not in shown and c not in seen],
    }
    return [(words, ", ".join(listed_items) or "none") for words, listed_items in listed.items()]


def _pass_marks(term, modes):
    """Lines of what it takes to pass each assessed module."""
    for module in sorted(module for module, mode in modes.items() if mode != PRACTICE):
        must = term.policy.must_pass_in(module)
        more = "".join(f", and {code} from {term.policy.threshold_of(code)} %" for code in must)
        yield f"Pass mark of {catalogue.module(module).title}", f"{term.pass_percent(module):g} %{more}"


def _drawn_from(frame, person):
    """Which vehicles his numbers came from: those of the term's own with the source of their figures."""
    own, rows = frame.own, {}
    for issue in frame.rows(schema.issue, person):
        for drawn in draws.of_issue(issue.record, {}).values():
            if drawn.vehicle:
                source = _OF_OURS if not drawn.own else "" if drawn.own not in own else moderated.source(own[drawn.own])
                rows[catalogue.module(issue.module).title, issue.attempt, source] = None
    return html.table("What the numbers were drawn from", ("module", "attempt", "vehicle and source"), rows)


def _task(task):
    """What was seen on a vehicle, in one line, and the note beside it."""
    note = f" Note: {task.note}" if task.note.strip() else ""
    return f"{task.result} on {task.day}, {task.vehicle}, seen by {task.seen_by}.{note}"


def _evidence(answers, marks, row):
    """What the calculated or simulated work shows of one objective, from a trainee's rows of tm_answer and tm_mark."""
    objective = catalogue.objectives()[row["objective"]]
    module = catalogue.module(objective["module"])
    parts = [(exercise, path) for exercise, part, path in module.parts() if row["objective"] in part.objectives]
    attempt, examined = int(row["attempt"]), {path for _, path in parts}
    carried = sorted({a.part for a in answers if a.attempt == attempt and a.part in examined and a.verdict == CARRIED})
    days = {mark.handed_in_at[:10] for mark in marks if (mark.module, mark.attempt) == (module.key, attempt)}
    met = wording.MET[row["met"]]
    if row["must_pass"] == "yes":
        met += "; must be met for a pass"
    share = f", {float(row['share']) * 100:.4g}\u00a0%" if row["share"] else ""
    marks_said = f"{row['marks']} of {row['max']}{share}" if row["marks"] else f"of {row['max']}, not decided yet"
    return {
        "kind": "Simulated" if module.key in SIMULATED_MODULES else "Calculated",
        "shown": row["met"] == passing.YES,
        "result": met,
        "marks": marks_said,
        "exercises": list(dict.fromkeys(exercise.title for exercise, _ in parts)),
        "carried": [wording.question(path) for path in carried],
        "attempt": row["attempt"],
        "days": ", ".join(sorted(days)),
    }
