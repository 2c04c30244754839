"""programme.xlsx: the tables as sheets of one workbook; text stays text, two runs give the same bytes."""

import contextlib
import io
import re
import tempfile
from collections import Counter
from collections.abc import Collection, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import xlsxwriter
from xlsxwriter.exceptions import FileCreateError

from grader import clock, files
from grader.course.attempts import standing
from grader.errors import Refused
from grader.pages.csv_file import INTEGER, NUMBER
from grader.records.term.term import Term
from grader.reports.export import layout as layouts
from grader.reports.export import package, pseudonym
from grader.reports.export.layout import Layout
from grader.reports.tables import scope
from grader.reports.tables.columns import MOMENT, SHAPES

CREATED = datetime(2026, 1, 1)  # noqa: DTZ001  a workbook knows no zone; fixed, so that the same records give the same file
MOST_ROWS = 1_048_575
LONGEST_CELL = 32_767
_OPTIONS = {
    "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False, "constant_memory": True,
}  # fmt: skip
# What XML 1.0 cannot carry; tab and line ends stay.
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff\ud800-\udfff]")
_SHEETS = ("grades", "objectives", "witnessed", "items", "analysis", "variants", "modules", "changes")


def write(
    opened: Sequence[Term], path: Path | None = None, *, layout: Layout | None = None, pseudonymous: bool = False
) -> Path:
    """Write the workbook and note it in the ledger.

    Parameters
    ----------
    opened : sequence of Term
    path : path or None
    layout : Layout or None
        A saved layout becomes the first sheet.
    pseudonymous : bool

    Returns
    -------
    Path

    Raises
    ------
    Refused
        A layout without names, or more rows than a sheet holds.
    CannotWrite
        The old file stands.
    """
    if layout and pseudonymous:
        raise Refused("A saved layout shows names. Leave out --layout or --pseudonymous; nothing was written.")
    path = path or package.folder_for(opened, pseudonymous=pseudonymous) / "programme.xlsx"
    # The rows of a sheet stand in a file of their own until the end; people are named in it, so none may stay behind.
    with files.replacing(path) as target, tempfile.TemporaryDirectory() as place:
        sink: Any = _Sink(target)
        book = xlsxwriter.Workbook(sink, {**_OPTIONS, "tmpdir": place})
        try:
            _fill(book, opened, layout, pseudonymous)
            book.close()
        except FileCreateError as problem:  # the library's name for what the disk said
            raise problem.args[0] from None
        finally:
            if not book.fileclosed:  # given up: what the library still holds open is closed as it does itself
                sink.stream = io.BytesIO()
                for sheet in book.worksheets():
                    with contextlib.suppress(OSError):
                        sheet._opt_close()
    scope.note_export(opened, path.name, [path])
    return path


class _Sink:
    """Passes on to a stream. An archive that was given up still writes its end when it is thrown away: to nowhere."""

    def __init__(self, stream: Any) -> None:
        self.stream = stream

    def __getattr__(self, name):
        return getattr(self.stream, name)


def _fill(book, opened, layout, pseudonymous):
    book.set_properties({"title": "Programme", "created": CREATED})
    book.set_size(2400, 1400)
    head = book.add_format({"bold": True, "bottom": 1})
    if layout:
        shape = layout.shape
        _sheet(book, "Layout", _headings(shape, None), layouts.rows(opened, layout), shape, head, None)
    _table(book, "Summary", ("class", "module", "state", "trainees"), _summary(opened, pseudonymous), head)
    zones = {term.settings.zone for term in opened}
    zone = zones.pop() if len(zones) == 1 and not pseudonymous else None
    for name in _SHEETS:
        shape = SHAPES[name]
        table_rows = package.rows(opened, name, pseudonymous=pseudonymous)
        _sheet(book, name.capitalize(), _headings(shape, zone), table_rows, shape, head, zone)
    _table(book, "Policy", ("setting", "value"), _flat(package.policy(opened, pseudonymous=pseudonymous)), head)


def clean(text: str) -> str:
    """Text as a cell can hold it: no control characters, not longer than a cell."""
    text = _CONTROL.sub("�", text)
    return text if len(text) <= LONGEST_CELL else text[: LONGEST_CELL - 1] + "…"


def sheet_name(title: str, taken: Collection[str] = ()) -> str:
    """A title as a sheet may be called: at most 31 characters, without []:*?/\\, not taken yet."""
    name = re.sub(r"[\[\]:*?/\\]", " ", clean(title)).strip().strip("'")[:31].strip() or "Sheet"
    number, made = 1, name
    while made.casefold() in {other.casefold() for other in taken}:
        number += 1
        made = f"{name[: 28 - len(str(number))]} ({number})"
    return made


def _headings(shape, zone):
    """Names of the columns; a moment in UTC is followed by the same in the term's zone."""
    for column in shape.columns:
        yield column.name
        if zone and column.kind == MOMENT:
            yield f"{column.name} {zone}"


def _sheet(book, title, headings, rows, shape, head, zone):
    sheet = _begin(book, title, list(headings), head)
    for number, row in enumerate(rows, start=1):
        if number > MOST_ROWS:
            raise Refused(f"{title} has more than {MOST_ROWS:,} rows. Export fewer terms, or use 'export tables'.")
        place = 0
        for column in shape.columns:
            _cell(sheet, number, place, column.kind, row[column.name])
            place += 1
            if zone and column.kind == MOMENT:
                _cell(sheet, number, place, column.kind, _local(row[column.name], zone))
                place += 1


def _table(book, title, headings, rows, head):
    sheet = _begin(book, title, headings, head)
    for number, row in enumerate(rows, start=1):
        for place, value in enumerate(row):
            if isinstance(value, bool) or not isinstance(value, int | float):
                sheet.write_string(number, place, clean(str(value)))
            else:
                sheet.write_number(number, place, value)


def _begin(book, title, headings, head):
    sheet = book.add_worksheet(sheet_name(title, [other.get_name() for other in book.worksheets()]))
    sheet.freeze_panes(1, 0)
    sheet.set_column(0, max(0, len(headings) - 1), 16)
    for place, heading in enumerate(headings):
        sheet.write_string(0, place, clean(heading), head)
    return sheet


def _cell(sheet, row, place, kind, text):
    if not text:
        return
    if kind in (NUMBER, INTEGER):
        sheet.write_number(row, place, float(text))
    else:
        sheet.write_string(row, place, clean(text))


def _local(text, zone):
    """A moment on the clock of the zone, without its offset, as spreadsheets understand it."""
    return f"{clock.from_text(text).astimezone(clock.zone(zone)):%Y-%m-%d %H:%M:%S}" if text else ""


def _summary(opened, pseudonymous):
    for term, connection in scope.each(opened):
        for module in standing.assigned_modules(connection):
            states = Counter(result.state for result in scope.standings(term, connection, [module]))
            for state in sorted(states):
                few = pseudonymous and states[state] < pseudonym.SMALLEST_CELL
                yield (
                    "hidden" if pseudonymous and sum(states.values()) < pseudonym.SMALLEST_CELL else term.id,
                    module,
                    state,
                    f"fewer than {pseudonym.SMALLEST_CELL}" if few else states[state],
                )


def _flat(value, name=""):
    """An object as rows of (dotted name, value)."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _flat(inner, f"{name}.{key}" if name else key)
    elif isinstance(value, list):
        for number, inner in enumerate(value, start=1):
            yield from _flat(inner, f"{name}.{number}")
    else:
        yield name, "" if value is None else value
