"""grades.csv: one row per trainee and module; what is absent is blank."""

import csv
import io

from grader import catalogue, files
from grader.course import standing
from grader.course.records import busy, database, ledger
from grader.course.work import reconcile

COLUMNS = (
    "class", "trainee_id", "last_name", "first_name", "module", "attempt", "status", "raw", "penalty", "mark", "awaiting", "max",
    "percent", "passed", "late_days", "extension_until", "handed_in_at", "marked_at", "engine", "key_version",
)  # fmt: skip


def export(term, path=None, *, spreadsheet=False):
    """Write the grades of a term.

    Parameters
    ----------
    term : Term
    path : path or None
        None: exports/grades.csv in the term folder.
    spreadsheet : bool
        Begin with a byte order mark and defuse text that a spreadsheet would
        take for a formula.

    Returns
    -------
    Path

    Raises
    ------
    CannotWrite
        The old file stands.
    """
    path = path or term.folder / "exports" / "grades.csv"
    with busy.exclusive(term, "exporting grades"), database.transaction(term) as connection:
        for module in catalogue.all_modules().values():
            reconcile.reconcile(term, connection, module)  # what it cannot take over is shown by mark and verify
        rows = list(table(term, connection))
        content = to_csv(rows, spreadsheet=spreadsheet)
        files.write_bytes(path, content)
        ledger.append(connection, [ledger.Entry("export", new=path.name)])
    return path


def table(term, connection):
    """The rows as dictionaries of text, in the order of `COLUMNS`."""
    for found in standing.standings(term, connection, catalogue.all_modules()):
        row = dict.fromkeys(COLUMNS, "")
        row |= {
            "class": term.id,
            "trainee_id": found.person.college_id,
            "last_name": found.person.last_name,
            "first_name": found.person.first_name,
            "module": found.module,
            "attempt": "" if found.attempt is None else str(found.attempt),
            "status": found.state,
            "handed_in_at": found.handed_in_at,
            "extension_until": found.extension_until,
        }
        if found.mark is not None:
            row |= _figures(term, found.mark)
        yield row


def to_csv(rows, *, spreadsheet=False):
    """RFC 4180 bytes: CRLF, quotes where needed, UTF-8."""
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({name: _defused(cell) for name, cell in row.items()} if spreadsheet else row)
    return text.getvalue().encode("utf-8-sig" if spreadsheet else "utf-8")


def hundredths(value):
    """A mark as text: 17, 17.5 or 17.25."""
    return f"{value // 100}.{value % 100:02d}".rstrip("0").rstrip(".")


def passed(term, mark, most):
    """Decided on the unrounded mark."""
    return mark * 100 >= term.settings.pass_percent * most


def percent(term, mark, most):
    """Two decimals, half rounded up, but cut off where rounding would reach a pass mark that was missed."""
    shown = (mark * 100000 // most + 5) // 10
    if not passed(term, mark, most) and shown >= term.settings.pass_percent * 100:
        shown = mark * 10000 // most
    return hundredths(shown)


def _figures(term, row):
    return {
        "raw": hundredths(row.raw),
        "penalty": hundredths(row.penalty),
        "mark": hundredths(row.mark),
        "awaiting": hundredths(row.pending) if row.pending else "",
        "max": hundredths(row.most),
        # While an answer waits to be read the mark is one so far; only a pass that is reached already stands.
        "percent": "" if row.pending else percent(term, row.mark, row.most),
        "passed": "yes" if passed(term, row.mark, row.most) else "" if row.pending else "no",
        "late_days": str(row.late_days),
        "marked_at": row.marked_at,
        "engine": row.engine,
        "key_version": row.key_version,
    }


def _defused(cell):
    return f"'{cell}" if cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")) else cell
