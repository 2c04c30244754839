"""Saved layouts: the coordinator's own choice of columns, names, order and grade words, kept in a file."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

from grader import catalogue, files
from grader.course.attempts import passing, standing
from grader.errors import BadFile
from grader.pages import csv_file
from grader.pages.csv_file import INTEGER, NUMBER, Manner, Written
from grader.records.term.policy import POINTS
from grader.records.term.term import Term
from grader.reports.tables import scope
from grader.reports.tables.columns import GRADES, TEXT, Column, Shape
from grader.reports.tables.grades import hundredths, percent, table

FORMAT, LARGEST_FILE = "timing-mark layout", 100_000
PER_MODULE, PER_TRAINEE = "module", "trainee"
PERSON = ("class", "trainee_id", "last_name", "first_name", "group")
TOTALS = ("total", "total_max", "total_percent", "word", "modules_marked", "modules_passed")
OF_MODULE = (
    "mode",
    "status",
    "raw",
    "penalty",
    "mark",
    "max",
    "percent",
    "passed",
    "failed_objectives",
    "word",
    "late_days",
    "attempt",
    "attempts",
)
_COUNTED = ("modules_marked", "modules_passed", "late_days", "attempt", "attempts")
_WORDS = (
    "class",
    "trainee_id",
    "last_name",
    "first_name",
    "group",
    "word",
    "module",
    "mode",
    "status",
    "passed",
    "failed_objectives",
    "extension_until",
    "handed_in_at",
    "marked_at",
    "engine",
    "key_version",
)

EXAMPLE = """\
# A saved layout. Text after # is explanation.
format = "timing-mark layout"
rows = "trainee"            # one row for each "trainee", or for each trainee and "module"
order = ["class", "last_name", "first_name"]

# Columns from left to right: take is ours, name is the heading you want.
# One row per module: any column of grades.csv, and group, word.
# One row per trainee: class, trainee_id, last_name, first_name, group, total, total_max,
# total_percent, word, modules_marked, modules_passed, and of a module such as
# "m01_timing.mark": mode, status, raw, penalty, mark, max, percent, passed,
# failed_objectives, word, late_days, attempt, attempts. Practice counts in no total.
columns = [
    {take = "trainee_id", name = "Student number"},
    {take = "last_name", name = "Family name"},
    {take = "first_name", name = "Given name"},
    {take = "m01_timing.mark", name = "Timing"},
    {take = "total_percent", name = "Per cent"},
    {take = "word", name = "Result"},
]

# Grade words from a per cent on, decided on the unrounded mark. Where an objective must be
# met and is not, no word counts that begins at the pass mark or above.
[[words]]
from = 80
word = "Distinction"

[[words]]
from = 60
word = "Pass"

[[words]]
from = 0
word = "Refer"
"""


@dataclass(frozen=True, slots=True)
class Layout:
    """One saved layout; `columns` are (take, heading), `words` (per cent, word) from the top."""

    rows: str
    columns: tuple
    order: tuple
    words: tuple

    @property
    def shape(self) -> Shape:
        made = tuple(Column(heading, _kind(take), heading) for take, heading in self.columns)
        return Shape("layout", "A saved layout", made, ())


def read(path: Path | str) -> Layout:
    """A layout from its file.

    Raises
    ------
    BadFile
        Says what is wrong, what is allowed and where.
    """
    content = files.read_bytes(Path(path).expanduser(), most=LARGEST_FILE, what="The layout")
    name = Path(path).name
    settings = files.from_toml(content, what=f"The layout {name}")
    if settings.get("format") != FORMAT:
        raise BadFile(
            f'The layout {name} must say format = "{FORMAT}". "export layout --example" writes one to begin with.'
        )
    kind = settings.get("rows")
    if kind not in (PER_MODULE, PER_TRAINEE):
        raise BadFile(f'The layout {name}: rows is {kind!r}; it must be "trainee" or "module".')
    columns = settings.get("columns")
    if not isinstance(columns, list) or not columns:
        raise BadFile(f'The layout {name} names no columns. Give at least one, such as {{take = "trainee_id"}}.')
    allowed = takes(kind)
    chosen = []
    for entry in columns:
        take = entry.get("take") if isinstance(entry, dict) else None
        heading = entry.get("name", take) if isinstance(entry, dict) else None
        if take not in allowed or not isinstance(heading, str) or not heading.strip():
            raise BadFile(f"The layout {name} takes {take!r}, which is no column here; there are {', '.join(allowed)}.")
        chosen.append((take, heading))
    headings = [heading for _, heading in chosen]
    twice = [heading for heading in headings if headings.count(heading) > 1]
    if twice:
        raise BadFile(f"The layout {name} has the heading {twice[0]!r} twice. Give each column its own name.")
    order = settings.get("order", [])
    if not isinstance(order, list) or any(take not in allowed for take in order):
        raise BadFile(f"The layout {name}: order must list columns out of {', '.join(allowed)}.")
    return Layout(kind, tuple(chosen), tuple(order), _words(settings.get("words", []), name))


def takes(kind: str) -> tuple[str, ...]:
    """What a layout of this kind may take."""
    if kind == PER_MODULE:
        return (*GRADES.names, "group", "word")
    return (*PERSON, *TOTALS, *(f"{module}.{what}" for module in catalogue.all_modules() for what in OF_MODULE))


def rows(opened: Iterable[Term], layout: Layout) -> list[dict[str, str]]:
    """The rows of a layout over several terms, as dictionaries by heading, in its order."""
    all_rows = []
    for term, connection in scope.each(opened):
        groups = {person.college_id: person.group for person in scope.people(connection)}
        mine = _with_words(term, connection, layout)
        full = _per_trainee(term, mine, layout) if layout.rows == PER_TRAINEE else mine
        all_rows += [row | {"group": groups.get(row["trainee_id"], "")} for row in full]
    all_rows.sort(key=lambda row: [_sortable(take, row.get(take, "")) for take in layout.order])
    return [{heading: row.get(take, "") for take, heading in layout.columns} for row in all_rows]


def write(opened: Sequence[Term], layout: Layout, path: Path | str, how: Manner) -> Written:
    """Write a layout as CSV and note it in the ledger.

    Returns
    -------
    stream.Written
    """
    written = csv_file.write_table(path, layout.shape, rows(opened, layout), how)
    scope.note_export(opened, Path(path).name, [path])
    return written


def word(layout: Layout, mark: int | Fraction, most: int, *, below: float | Decimal | None = None) -> str:
    """The grade word for a mark, decided unrounded; with `below` one that begins under that per cent; else blank."""
    if not most:
        return ""
    words = [(passing.as_written(least), grade) for least, grade in layout.words]
    allowed = [pair for pair in words if below is None or pair[0] < passing.as_written(below)]
    return next((grade for least, grade in allowed if mark * 100 >= least * most), "")


def _with_words(term, connection, layout):
    """Rows of grades with a word, and what they count in a total: (mark, most), or None."""
    kept = scope.standings(term, connection, standing.listed_modules(connection))
    for cells, attempt in zip(table(term, connection), kept, strict=True):
        row: dict[str, Any] = dict(cells)
        if attempt.mark is not None and attempt.state == standing.MARKED and attempt.counts:
            counts = (attempt.mark.mark, attempt.mark.most)
        else:
            counts = None
        below = term.pass_percent(attempt.module) if attempt.failed else None
        yield row | {
            "word": word(layout, *counts, below=below) if counts else "",
            "_counts": counts,
            "_failed": bool(attempt.failed),
            "_zero": standing.missing_is_zero(term, attempt),
        }


def _per_trainee(term, mine, layout):
    by_person = {}
    for row in mine:
        by_person.setdefault(row["trainee_id"], []).append(row)
    for theirs in by_person.values():
        row = {name: theirs[0].get(name, "") for name in PERSON}
        counted = []
        for unit in theirs:
            if unit["_counts"]:
                counted.append((unit["module"], *unit["_counts"]))
            elif unit["_zero"]:
                counted.append((unit["module"], 0, catalogue.module(unit["module"]).marks * 100))
            row |= {f"{unit['module']}.{what}": unit[what] for what in OF_MODULE}
        row["modules_marked"] = str(sum(unit["_counts"] is not None for unit in theirs))
        row["modules_passed"] = str(sum(unit["passed"] == "yes" for unit in theirs))
        below = term.settings.pass_percent if any(unit["_failed"] for unit in theirs) else None
        total = passing.total(term.policy, counted)
        if total:
            share = percent(total.got, total.most, term.settings.pass_percent)
            row |= {
                "total": hundredths(int(total.got)) if term.policy.totals == POINTS else share,
                "total_max": hundredths(total.most),
                "total_percent": share,
                "word": word(layout, total.got, total.most, below=below),
            }
        yield row


def _words(entries, name):
    if not isinstance(entries, list):
        raise BadFile(f"The layout {name}: words must be a list of [[words]] with from and word.")
    words = []
    for entry in entries:
        least, grade = (entry.get("from"), entry.get("word")) if isinstance(entry, dict) else (None, None)
        if (
            isinstance(least, bool)
            or not isinstance(least, int | float)
            or not 0 <= least <= 100
            or not isinstance(grade, str)
        ):
            raise BadFile(f"The layout {name}: a grade word needs from = 0 to 100 and word = text; found {entry!r}.")
        words.append((least, grade))
    return tuple(sorted(words, key=lambda pair: -pair[0]))


def _kind(take):
    last = take.rpartition(".")[2]
    if last in _COUNTED:
        return INTEGER
    return TEXT if last in _WORDS else NUMBER


def _sortable(take, text):
    """Numbers in order of size with blanks last, text in order of letters."""
    if _kind(take) == TEXT:
        return (0, 0.0, text.casefold())
    return (0, float(text), "") if text else (1, 0.0, "")
