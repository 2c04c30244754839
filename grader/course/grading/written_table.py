"""Written answers as a table for a spreadsheet, and the table back with what the instructor filled in."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from grader import files
from grader.course.grading import written_answers
from grader.course.grading.session import session
from grader.errors import BadFile, Refused
from grader.pages import csv_file
from grader.records.term.term import Term

LARGEST_TABLE = 20_000_000


def write(term: Term, module_key: str, path: Path, *, waiting_only: bool = True, names: bool = False) -> None:
    """Write the table into a new file.

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
    files.write_bytes(path, to_table(term, module_key, waiting_only=waiting_only, names=names))


def to_table(term: Term, module_key: str, *, waiting_only: bool = True, names: bool = False) -> bytes:
    """The answers as a table for a spreadsheet: one row each, a column for each point of the rubric.

    Returns
    -------
    bytes
        CSV, UTF-8 with a mark, in which no cell can act as a formula.
    """
    listed = written_answers.answers(term, module_key, waiting_only=waiting_only)
    width = max((len(answer.rubric) for answer in listed), default=1)
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
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
            cells += [looked_for, str(most), "" if mark is None else f"{mark / 100:g}"]
        cells += [""] * (3 * (width - len(answer.rubric)))
        writer.writerow([csv_file.defused(cell) for cell in [*cells, answer.given.comment if answer.given else ""]])
    return text.getvalue().encode("utf-8-sig")


def from_table(term: Term, module_key: str, path: str | Path) -> list[written_answers.Given]:
    """Take a filled-in table back. Rows without any points are passed over.

    Returns
    -------
    list of written.Given

    Raises
    ------
    BadFile
        Not such a table; every row that cannot be taken is named, and nothing was written.
    """
    rows = _table(files.read_bytes(path, most=LARGEST_TABLE, what="The table of answers"))
    with session(term, module_key, written_answers.DOING) as work:
        known, wrong, taken = written_answers.by_code(work), [], {}
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
        return written_answers.write(work, list(taken.values()))


def _table(content):
    """[(row as a spreadsheet counts, code, points, comment)] of a filled-in table, those with points alone."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadFile("The table of answers is not saved as UTF-8. Save it as CSV UTF-8 and try again.") from None
    first = text.partition("\n")[0]
    reader = csv.DictReader(
        io.StringIO(text, newline=""), delimiter=";" if first.count(";") > first.count(",") else ","
    )
    columns = reader.fieldnames or ()
    if not {"code", "points 1", "comment"} <= set(columns):
        raise BadFile(
            "The table of answers needs the columns code, points 1 and comment. Use the file that 'read --to' wrote; "
            "nothing was changed."
        )
    rows = []
    for number, row in enumerate(reader, 2):  # cells may hold lines of their own
        points = [(row.get(f"points {n}") or "").strip() for n in range(1, len(columns))]
        if any(points):
            rows.append((number, (row["code"] or "").strip(), points, row["comment"] or ""))
    if not rows:
        raise BadFile("The table of answers holds no points. Fill the columns “points”; nothing was changed.")
    return rows


def _sentence(line):
    return line[0].upper() + line[1:].rstrip(".") + "."
