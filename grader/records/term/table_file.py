"""Tables that people fill in: read whole, with their header and line numbers."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path

from grader import files
from grader.errors import BadFile
from grader.pages import csv_file

LARGEST_FILE = 2_000_000


def read_table(
    path: str | Path, columns: Sequence[str], *, needed: Sequence[str], what: str
) -> tuple[list[tuple[int, dict[str, str]]], list[tuple[int, str]]]:
    """Lines of a person's CSV table as dictionaries of stripped text.

    Returns
    -------
    (list of (int, dict), list of (int, str))
        Line number and cells of each good line; line number and fault of the others.

    Raises
    ------
    BadFile
        No CSV in UTF-8, or other columns.
    """
    content = files.read_bytes(path, most=LARGEST_FILE, what=what)
    try:
        reader = csv.reader(io.StringIO(content.decode("utf-8-sig"), newline=""), strict=True)
        lines = [(reader.line_num, row) for row in reader]
    except (UnicodeDecodeError, csv.Error) as problem:
        raise BadFile(f"{what} is no CSV table in UTF-8: {problem}. Save it again as CSV.") from None
    header = [cell.strip().lower() for cell in lines[0][1]] if lines else []
    strange = sorted(set(header) - set(columns))
    if strange or len(set(header)) != len(header) or not set(needed) <= set(header):
        raise BadFile(
            f"{what} begins with {','.join(header)[:120] or 'nothing'}; it needs {','.join(needed)} and may have "
            f"{','.join(sorted(set(columns) - set(needed))) or 'no more'}. Mend the first line and read it again."
        )
    rows, problems = [], []
    for line, row in lines[1:]:
        if not any(cell.strip() for cell in row):
            continue
        if len(row) != len(header):
            problems.append((line, f"{len(row)} cells under {len(header)} headings; put text with a comma in quotes"))
            continue
        cells = dict.fromkeys(columns, "") | {n: csv_file.plain(c.strip()) for n, c in zip(header, row, strict=True)}
        rows.append((line, cells))
    if not rows and not problems:
        raise BadFile(f"{what} is empty below its first line. Nothing was stored.")
    return rows, problems
