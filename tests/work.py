"""Making trainees' work for tests: right answers, hand-ins, the issue of a trainee."""

import contextlib
import csv
import hashlib
import io
import os
import zipfile
from pathlib import Path

from sqlalchemy import select

from grader import catalogue, clock
from grader.exercise import issued
from grader.exercise import sheet as sheets
from grader.exercise.kinds import Written
from grader.exercise.truth import Truth
from grader.marking.mark import mark_sheet
from grader.marking.verdict import UNREADABLE, WRONG
from grader.pages import csv_file
from grader.records import database, schema
from grader.reports.export import package
from grader.reports.tables import scope

NEXT = clock.now().year + 1  # for times to come: a date far from a term's years is refused


def issue_of(term, trainee, module="m01_timing", attempt=1):
    """The Issued record of a trainee as the term keeps it."""
    table = schema.issue
    with database.transaction(term) as connection:
        text = connection.execute(
            select(table.c.record).where(
                (table.c.trainee == trainee) & (table.c.module == module) & (table.c.attempt == attempt)
            )
        ).scalar_one()
    return issued.parse(text.encode())


def right_answers(module, record):
    """Typed text of the right answer to each part, by "exercise.part", rounded as asked.

    Written parts stay blank, so that nothing waits for an instructor.
    """
    truth = Truth(module, record.numbers)
    found = {}
    for _, part, path in module.parts():
        if isinstance(part, Written):
            continue
        found[path] = part.typed(truth.answer(path), truth.given_at(path))
    return found


def wrong_answers(module, record, paths, candidates=("0.001", "0.003", "0.017", "31.7", "8311")):
    """A typed text for each path that is nothing but wrong or no answer: no slip, no other unit, no power of ten.

    Of numbers drawn by lot the thousandth part can be a slip, such as seconds in the place of milliseconds.
    """
    found = {}
    for path in paths:
        for text in candidates:
            marks = mark_sheet(module, record.exercises, sheet_of(record, {path: text})).parts
            if next(mark for mark in marks if mark.path == path).verdict in (WRONG, UNREADABLE):
                found[path] = text
                break
    assert found.keys() == set(paths), f"no text is nothing but wrong for {set(paths) - found.keys()}"
    return found


def sheet_of(record, answers, **units):
    """A sheet holding typed answers."""
    entries = {
        path: sheets.Answer(raw, units.get(path, ""), record.exercises[path.rpartition(".")[0]]["version"])
        for path, raw in answers.items()
    }
    return sheets.Sheet(record.term, record.module, record.trainee, record.attempt, entries)


def sure_marks(exercise):
    """What a right answer earns before an instructor has read the written ones."""
    return sum(part.marks for part in exercise.parts if not isinstance(part, Written))


def right_sheet(record):
    """A sheet that earns everything but the written answers."""
    return sheet_of(record, right_answers(catalogue.module(record.module), record))


def put_in_inbox(term, sheet, *, content=None, folder=None):
    """Write a hand-in zip as a trainee's lesson does; returns its path."""
    path = term.folder / "inbox" / (folder or sheet.trainee) / f"{sheet.module}.zip"
    path.parent.mkdir(parents=True, exist_ok=True)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr(f"{sheet.module}/answers.json", content if content is not None else sheets.dump(sheet))
    path.write_bytes(packed.getvalue())
    return path


def export_grades(term, path=None, *, spreadsheet=False):
    """Write grades.csv as the command does; returns its path."""
    how = csv_file.manner(spreadsheet=spreadsheet, separator=",")
    return package.write(scope.open_all([term.folder]), "grades", path, how=how).path


def exported(term, name):
    """The rows of a table as the coordinator gets it."""
    text = package.write([term], name).path.read_text("utf-8")
    return list(csv.DictReader(io.StringIO(text, newline="")))


def state(folder):
    """Digest of every file of a term, to see that nothing was touched."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(Path(folder).rglob("*"))
        if path.is_file() and not path.name.endswith(("-journal", "-wal", "-shm", ".busy"))  # the lock says who waits
    }


@contextlib.contextmanager
def an_ordinary_user():
    """The superuser may write anywhere; for a moment this process is nobody."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)
