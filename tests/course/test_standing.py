"""Which of a trainee's attempts stands in nbgrader's book, and who counts in a class."""

from types import SimpleNamespace

import pytest

from grader.course.attempts import standing
from grader.course.grading.marks import Marks
from grader.records import adjustments, database, ledger, schema
from grader.records.term import roster

MODULE = "m01_timing"
VALUES = {"state": "marked", "raw": 0, "penalty": 0, "most": 3000, "late_days": 0, "sha256": "0" * 64,
          "handed_in_at": "2026-03-10T12:00:00.000Z", "marked_at": "2026-03-10T13:00:00.000Z", "engine": "x",
          "key_version": "x", "notes": "", "pending": 0}  # fmt: skip

# Marks of the attempts, first to last, and the attempt that counts.
ATTEMPTS = [((2000,), 1), ((2000, 2500), 2), ((2500, 2000), 1), ((2000, 2000), 2), ((2500, 2000, 2500), 3)]


def put_marks(connection, marks):
    rows = [
        {"trainee": "t01", "module": MODULE, "attempt": n, **VALUES, "mark": mark} for n, mark in enumerate(marks, 1)
    ]
    connection.execute(schema.mark.insert(), rows)


@pytest.mark.parametrize(("marks", "counts"), ATTEMPTS)
def test_the_best_attempt_counts_and_of_equal_ones_the_later(empty_term, marks, counts):
    with database.transaction(empty_term) as connection:
        put_marks(connection, marks)
        assert standing.best_attempts(connection) == {("t01", MODULE): counts}
        assert standing.best_attempt(connection, "t01", MODULE) == counts
        assert standing.best_attempt(connection, "t01", "m02_dwell") is None


@pytest.mark.parametrize(("marks", "counts"), ATTEMPTS)
def test_nbgraders_book_gets_the_attempt_that_counts(empty_term, m01, marks, counts):
    """It has one row for all attempts of a trainee; all are marked in one run here."""
    book = SimpleNamespace(write=lambda works: book.works.extend(works), works=[])
    with database.transaction(empty_term) as connection:
        gathered = Marks(connection, m01, ["t01"])
        for number, mark in enumerate(marks, 1):
            issue = SimpleNamespace(trainee="t01", module=MODULE, attempt=number)
            work = SimpleNamespace(person="t01", number=number)
            gathered.put(issue, VALUES | {"mark": mark}, [], work, ledger.Entry("marked", trainee="t01", new=mark))
        gathered.write(book, adjustments.NONE)
        assert [work.number for work in book.works] == [counts]
        assert standing.best_attempts(connection) == {("t01", MODULE): counts}


def test_who_left_stays_with_his_mark_and_not_without(assigned_term):
    """T01 and T03 are on the class list no more; T01 had a mark, which the grades still show."""
    listed = assigned_term.folder / "rosters" / "fewer.csv"
    listed.write_text("id,last_name,first_name\nT02,Castellan,Rufus\n", encoding="utf-8")
    with database.transaction(assigned_term) as connection:
        put_marks(connection, [2000])
    roster.import_list(assigned_term, listed, confirmed=True)
    with database.transaction(assigned_term) as connection:
        found = standing.standings(assigned_term, connection, [MODULE])
    assert {one.person.id: (one.state, one.mark and one.mark.mark) for one in found} == {
        "t01": ("marked", 2000),
        "t02": ("not handed in", None),
    }
