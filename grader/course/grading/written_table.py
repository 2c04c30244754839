"""Written answers as a table for a spreadsheet, and the table back with what the instructor filled in."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path

from grader import files
from grader.course.grading import written_answers
from grader.course.grading.session import session
from grader.errors import BadFile, Refused
from grader.pages import csv_file
from grader.pages.csv_file import Manner
from grader.records.term import table_file
from grader.records.term.term import Term

LARGEST_TABLE = table_file.LARGEST_FILE
FOR_A_SPREADSHEET = Manner(spreadsheet=True)
_WHAT = "The table of answers"


def write(
    term: Term,
    module_key: str,
    path: Path,
    *,
    waiting_only: bool = True,
    names: bool = False,
    how: Manner = FOR_A_SPREADSHEET,
) -> None:
    """Write the table into a new file of its owner's alone.

    Raises
    ------
    Refused
        The file is there, and may hold what somebody filled in.
    CannotWrite
        The disk refuses.
    """
    if path.exists():
        raise Refused(
            f"{path} exists, and may hold what you filled in. Name another file, or take that one back with --from."
        )
    content = to_table(term, module_key, waiting_only=waiting_only, names=names, how=how)
    files.write_bytes(path, content, mode=files.PRIVATE)


def to_table(
    term: Term, module_key: str, *, waiting_only: bool = True, names: bool = False, how: Manner = FOR_A_SPREADSHEET
) -> bytes:
    """The answers as a table for a spreadsheet: one row each, a column for each point of the rubric.

    Returns
    -------
    bytes
        CSV, UTF-8 with a mark, in which no cell can act as a formula.
    """
    listed = written_answers.answers(term, module_key, waiting_only=waiting_only)
    width = max((len(answer.rubric) for answer in listed), default=1)
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=how.separator, lineterminator="\r\n")
    people = ["trainee"] if names else []
    columns = [f"{what} {n}" for n in range(1, width + 1) for what in ("looked for", "at most", "points")]
    writer.writerow(["code", *people, "exercise", "question", "answer", *columns, "comment"])
    for answer in listed:
        cells = [
            answer.code,
            *([answer.person.name] if names else []),
            answer.path,
            "\n".join(answer.question),
            answer.text,
        ]
        points = answer.given.points if answer.given else [None] * len(answer.rubric)
        for (looked_for, most), mark in zip(answer.rubric, points, strict=True):
            cells += [looked_for, str(most), "" if mark is None else f"{mark / 100:g}".replace(".", how.decimal)]
        cells += [""] * (3 * (width - len(answer.rubric)))
        writer.writerow([csv_file.defused(cell) for cell in [*cells, answer.given.comment if answer.given else ""]])
    return text.getvalue().encode("utf-8-sig")


def from_table(term: Term, module_key: str, path: str | Path) -> tuple[list[written_answers.Given], list[str]]:
    """Take a filled-in table back. Rows without any points, and rows of another module, are passed over.

    Returns
    -------
    (list of Given, list of str)
        What was given, and notes on what was passed over or understood.

    Raises
    ------
    BadFile
        Not such a table; every row that cannot be taken is named, and nothing was written.
    """
    rows, notes = _table(files.read_bytes(path, most=LARGEST_TABLE, what=_WHAT))
    with session(term, module_key, written_answers.DOING) as work:
        known, wrong, taken = written_answers.by_code(work), [], {}
        elsewhere = written_answers.codes_elsewhere(work)
        foreign = [number for number, code, _, _ in rows if code in elsewhere]
        rows = [row for row in rows if row[0] not in foreign]
        for number, code, points, comment in rows:
            try:
                answer = known.get(code)
                if answer is None:
                    raise Refused(f"no written answer has the code {code[:40]!r}")
                most = len(answer.rubric)
                points = points[:most] + [point for point in points[most:] if point]
                reading = written_answers.reading_of(answer, points, comment)
                if code in taken:
                    raise Refused(f"the code {code} stands twice")
                taken[code] = (answer, reading)
            except Refused as problem:
                wrong.append(f"row {number}: {problem}")
        if wrong:
            raise BadFile("Nothing was written. " + " ".join(_sentence(line) for line in wrong))
        if not rows:
            raise BadFile(f"{_WHAT} is of another module than {module_key}. Name that module; nothing was changed.")
        notes = table_file.once(notes, {"an answer of another module; passed over": foreign})
        return written_answers.write(work, list(taken.values())), notes


def _table(content):
    """([(row as a spreadsheet counts, code, points, comment)] of a filled-in table with any points, notes)."""
    table = table_file.parse(content, _known, what=_WHAT)
    header = [_known(table_file.plain_heading(cell)) or "" for cell in table.header]
    if not {"code", "points_1", "comment"} <= set(header):
        raise BadFile(
            f"{_WHAT} needs the columns code, points 1 and comment. Use the file that 'read --to' wrote; nothing was changed."
        )
    places = [header.index(f"points_{n}") for n in range(1, len(header)) if f"points_{n}" in header]
    rows, blank = [], []
    for number, row in table.rows:
        if len(row) != len(header):
            raise BadFile(f"Row {number}: {table_file.wrong_width(row, header)}. Nothing was changed.")
        points = [row[place].strip() for place in places]
        if any(points):
            code, comment = row[header.index("code")].strip(), row[header.index("comment")]
            rows.append((number, code, points, comment))
        else:
            blank.append(number)
    if not rows:
        raise BadFile(f"{_WHAT} holds no points. Fill the columns “points”; nothing was changed.")
    return rows, table_file.once(table.notes, {"no points; passed over": blank})


def _known(heading):
    return heading if heading in ("code", "comment") or re.fullmatch(r"points_\d+", heading) else None


def _sentence(line):
    return line[0].upper() + line[1:].rstrip(".") + "."
