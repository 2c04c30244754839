"""Tables that people send or fill in: one reader for text and for spreadsheets, whatever parts the cells.

Text may be UTF-8, UTF-16 with its mark or Windows-1252, with comma, semicolon, tab or
bar between the cells; a spreadsheet is an .xlsx workbook.
"""

from __future__ import annotations

import csv
import io
import re
import unicodedata
import warnings
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from grader import files
from grader.errors import BadFile
from grader.pages import csv_file

LARGEST_FILE = 20_000_000
LARGEST_UNPACKED = 100_000_000  # of a workbook, as its table of contents says
MOST_ROWS = 100_000
DELIMITERS = (",", ";", "\t", "|")
_EXACT = 10**15  # from here on a spreadsheet no longer keeps every figure of a number
_ZEROS = re.compile(r"0+")  # the number format of a column whose ids show their noughts


@dataclass(slots=True)
class Table:
    """A table with its header: `rows` are (line, cells) that hold anything, `line` is that of the header."""

    line: int
    header: list[str]
    rows: list[tuple[int, list[str]]]
    notes: list[str] = field(default_factory=list)


@dataclass(slots=True)
class Lines:
    """Lines of a table as dictionaries: (line, cells), what is wrong with others, and what was passed over or understood."""

    rows: list[tuple[int, dict[str, str]]]
    problems: list[tuple[int, str]]
    notes: list[str]


def read_table(path: str | Path, columns: Sequence[str], *, needed: Sequence[str], what: str) -> Lines:
    """Lines of a person's table as dictionaries of stripped text.

    Headings are compared without capitals, accents and signs.

    Raises
    ------
    BadFile
        No table, or other columns.
    """
    content = files.read_bytes(path, most=LARGEST_FILE, what=what)
    named = {plain_heading(column): column for column in columns}
    table = parse(content, named.get, what=what)
    header = [named.get(plain_heading(cell), "") for cell in table.header]
    strange = [cell.strip() for cell, name in zip(table.header, header, strict=True) if not name]
    if strange or len(set(header)) != len(header) or not set(needed) <= set(header):
        shown = ",".join(cell.strip() for cell in table.header)[:120]
        raise BadFile(
            f"{what} begins with {shown or 'nothing'}; it needs {','.join(needed)} and may have "
            f"{','.join(sorted(set(columns) - set(needed))) or 'no more'}. Mend the first line and read it again."
        )
    rows, problems = [], []
    for line, row in table.rows:
        if len(row) != len(header):
            problems.append((line, wrong_width(row, header)))
            continue
        rows.append((line, dict.fromkeys(columns, "") | {n: cell_text(c) for n, c in zip(header, row, strict=True)}))
    if not rows and not problems:
        raise BadFile(f"{what} is empty below its first line. Nothing was stored.")
    return Lines(rows, problems, table.notes)


def parse(content: bytes, known: Callable[[str], str | None], *, what: str) -> Table:
    """The table in the bytes of a file.

    Parameters
    ----------
    content : bytes
    known : callable
        The name of a column for a heading as `plain_heading` gives it, or None. Of several
        delimiters, or sheets of a workbook, the one that finds most names is the right one.
    what : str
        What the file should be; opens each message.

    Returns
    -------
    Table

    Raises
    ------
    BadFile
        Nothing in it, or no text or workbook that can be read; says where.
    """
    if content.startswith((b"PK\x03\x04", b"PK\x05\x06")):
        table = _of_workbook(content, known, what)
    elif content.startswith(b"\xd0\xcf\x11\xe0"):
        raise BadFile(
            f"{what} is a spreadsheet of an old kind, or one locked with a password. Save it as .xlsx without a password, "
            "or as “CSV UTF-8”."
        )
    else:
        notes: list[str] = []
        table = _of_text(_text(content, notes, what), known, what)
        table.notes[:0] = notes
    _without_empty_columns(table)
    headings = [plain_heading(cell) for cell in table.header]
    again = [line for line, row in table.rows if [plain_heading(cell) for cell in row] == headings]
    if again:
        table.rows = [(line, row) for line, row in table.rows if line not in again]
        table.notes.append(f"{_lines(again)} the headings again; passed over")
    return table


def plain_heading(heading: str) -> str:
    """A heading without capitals, accents and signs: "Prénom " -> prenom."""
    bare = "".join(c for c in unicodedata.normalize("NFKD", heading.casefold()) if not unicodedata.combining(c))
    return re.sub(r"[^a-z0-9]+", "_", bare.replace("ß", "ss")).strip("_")


def cell_text(cell: str) -> str:
    """A cell without blanks around it, and without the apostrophe that keeps 0042 text in a table we wrote."""
    return csv_file.plain(cell.strip())


def wrong_width(row: Sequence[str], header: Sequence[str]) -> str:
    """What to say of a line with more or fewer cells than there are headings."""
    if any("\n" in cell for cell in row):
        return "a quotation mark is opened here and closed on a later line; close it where the cell ends"
    return f"{len(row)} cells under {len(header)} headings; put text with a comma in quotes"


def once(notes: Sequence[str], kinds: dict[str, list[int]]) -> list[str]:
    """Notes, and for each kind of line that was passed over one sentence with the numbers of the first."""
    return [*notes, *(f"{_lines(lines)} {words}" for words, lines in kinds.items() if lines)]


def _lines(lines):
    shown = ", ".join(map(str, lines[:5]))
    if len(lines) == 1:
        return f"line {shown} holds"
    return f"{len(lines)} lines ({shown}{' and others' if len(lines) > 5 else ''}) hold"


def _text(content, notes, what):
    try:
        if content.startswith((b"\xff\xfe\x00\x00", b"\x00\x00\xfe\xff")):
            return content.decode("utf-32")
        if content.startswith((b"\xff\xfe", b"\xfe\xff")):
            return content.decode("utf-16")
        if b"\0" in content:
            raise BadFile(f"{what} holds zero bytes; it is no plain text. Save it as “CSV UTF-8” or .xlsx.")
        try:
            return content.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = content.decode("cp1252")
    except UnicodeDecodeError as problem:
        raise BadFile(
            f"{what} is no text that can be read (byte {problem.start}). Save it as “CSV UTF-8” or .xlsx."
        ) from None
    notes.append("read as Windows-1252, because it is not UTF-8; check the letters with accents")
    return text


def _of_text(text, known, what):
    """The table under the delimiter that fits best."""
    named = re.match(r'"?sep=(.)"?\r?\n', text, re.I)
    delimiters, body, offset = ((named.group(1),), text[named.end() :], 1) if named else (DELIMITERS, text, 0)
    best: tuple[Any, list, int] | None = None
    for delimiter in delimiters:
        rows, broken = _rows(body, delimiter, offset)
        header = rows[0][1] if rows else []
        equal = len({len(row) for _, row in rows}) == 1
        # A delimiter that finds more of our columns is the right one, even if a line is spoilt.
        score = (_score(header, known), not broken, equal and len(header) > 1, len(header))
        if best is None or score > best[0]:
            best = (score, rows, broken)
    assert best is not None
    _, rows, broken = best
    if broken:
        raise BadFile(
            f"{what} is no CSV table: from line {broken} on, a quotation mark is opened and not closed where its cell ends. "
            "Mend that line, or save the table again as CSV."
        )
    if not rows:
        raise BadFile(f"{what} is empty. It needs a first line with headings, and lines below it.")
    return Table(rows[0][0], rows[0][1], rows[1:])


def _rows(body, delimiter, offset):
    """(rows that hold anything, each with the line on which it begins; the line from which on it is no table, or 0)."""
    reader = csv.reader(io.StringIO(body, newline=""), delimiter=delimiter, strict=True, skipinitialspace=True)
    rows, begins = [], 1
    try:
        for row in reader:
            if any(cell.strip() for cell in row):
                rows.append((begins + offset, row))
            begins = reader.line_num + 1
    except csv.Error:
        return rows, begins + offset
    return rows, 0


def _score(header, known):
    return len({known(plain_heading(cell)) for cell in header} - {None})


def _of_workbook(content, known, what):
    """The sheet that fits best."""
    import openpyxl  # takes a while to load, and most tables are text

    _check_workbook(content, what)
    best: tuple[int, str, list] | None = None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about colours and the like, which nobody here needs
            book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
            for sheet in book.worksheets:
                rows = _sheet_rows(sheet, what)
                score = _score(rows[0][1], known) if rows else -1
                if best is None or score > best[0]:
                    best = (score, sheet.title, rows)
            count = len(book.worksheets)
            book.close()
    except BadFile:
        raise
    except Exception as problem:  # a damaged workbook makes the library fail in many ways
        raise BadFile(
            f"{what} is a spreadsheet that cannot be opened ({type(problem).__name__}). Open it, save it again as .xlsx or as "
            "“CSV UTF-8”, and try again."
        ) from None
    if best is None or not best[2]:
        raise BadFile(f"{what} is empty. It needs a first line with headings, and lines below it.")
    _, title, rows = best
    width = max(len(row) for _, row in rows)
    rows = [(line, row + [""] * (width - len(row))) for line, row in rows]
    notes = [f"read from the sheet “{title}”, one of {count}"] if count > 1 else []
    return Table(rows[0][0], rows[0][1], rows[1:], notes)


def _check_workbook(content, what):
    """No more than a table needs is unpacked."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            members = packed.infolist()
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError):
        raise BadFile(f"{what} is a spreadsheet that cannot be opened: it is damaged. Save it again and try.") from None
    if "xl/workbook.xml" not in {member.filename for member in members}:
        raise BadFile(f"{what} is packed, and no .xlsx spreadsheet. Save it as .xlsx or as “CSV UTF-8”.")
    plain = all(member.compress_type in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED) for member in members)
    if not plain or sum(member.file_size for member in members) > LARGEST_UNPACKED:
        raise BadFile(
            f"{what} unpacks to more than {LARGEST_UNPACKED:,} bytes, or in a way that no spreadsheet uses. Save the one "
            "sheet that is needed as “CSV UTF-8”."
        )


def _sheet_rows(sheet, what):
    sheet.reset_dimensions()  # what a file claims of its size is not believed
    rows = []
    for line, cells in enumerate(sheet.iter_rows(), 1):
        if line > MOST_ROWS:
            raise BadFile(f"{what} has more than {MOST_ROWS:,} lines; no real one does. Leave out what is not needed.")
        texts = [_cell(cell, what, line) for cell in cells]
        if any(text.strip() for text in texts):
            rows.append((line, texts))
    return rows


def _cell(cell, what, line) -> str:
    """The text of a spreadsheet's cell as a person reads it there."""
    value = cell.value
    if value is None:
        return ""
    if cell.data_type == "e":
        raise BadFile(
            f"{what}, line {line}: a cell holds {value}, a spreadsheet's own error. Mend it there and save it."
        )
    if isinstance(value, datetime):
        whole_day = value.time() == time(0)
        return value.date().isoformat() if whole_day else value.isoformat(" ", "minutes")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)
    if abs(value) >= _EXACT:
        return f"{value:.5E}"  # its last figures are gone already
    if value != int(value):
        return f"{value:.15g}"
    text = str(int(value))
    return text.zfill(len(cell.number_format)) if _ZEROS.fullmatch(cell.number_format or "") else text


def _without_empty_columns(table):
    """A spreadsheet may leave empty columns at the right end."""
    width = full = len(table.header)
    while (
        width
        and not table.header[width - 1].strip()
        and all(len(row) <= width - 1 or not row[width - 1].strip() for _, row in table.rows)
    ):
        width -= 1
    table.rows = [(line, row[:width] if len(row) == full else row) for line, row in table.rows]
    table.header = table.header[:width]
