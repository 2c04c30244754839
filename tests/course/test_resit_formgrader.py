"""Two attempts of one trainee on nbgrader's road: its one row and paper hold the attempt that counts, never parts of both."""

import json

import pytest
from sqlalchemy import select

from grader.course.audit import verify
from grader.course.formgrader import autograde, notebooks
from grader.course.grading import adjust, mark_class
from grader.course.submissions import collect
from grader.exercise import sheet as sheets
from grader.records import adjustments, database, schema
from grader.records.gradebook import gradebook
from tests.course.resits import KEY, LETTER, WORDS, hand_in, returned, sit
from tests.course.test_formgrader import nbgrader
from tests.work import issue_of, right_answers, sheet_of

FRESH = "mark_arc"


def type_in(term, name, mark=None, comment=None):
    """What an instructor types in formgrader for T01: a mark by hand, a comment."""
    with gradebook._nbgrader() as api, api.Gradebook(term.database_url) as book:
        if comment:
            book.find_submission(KEY, "t01").notebooks[0].comments[0].manual_comment = comment
        else:
            book.find_grade(name, KEY, KEY, "t01").manual_score = mark
        book.db.commit()


def in_book(term):
    """{exercise name: (automatic, by hand)} of T01 and the comments, as nbgrader has them."""
    with gradebook._nbgrader() as api, api.Gradebook(term.database_url) as book:
        work = book.find_submission(KEY, "t01").notebooks[0]
        scores = {grade.name: (grade.auto_score, grade.manual_score) for grade in work.grades}
        return scores, [c.manual_comment for c in work.comments if c.manual_comment]


def overrides(term):
    with database.transaction(term) as connection:
        rows = connection.execute(select(adjustments.override)).all()
    return {(row.attempt, row.exercise): row.hundredths for row in rows}


def paper(term, room="autograded"):
    path = term.folder / room / "t01" / KEY
    return json.loads((path / f"{KEY}.ipynb").read_text("utf-8")), (path / "timestamp.txt").read_text()


@pytest.fixture
def sat(assigned_term, m01):
    """Attempt 1 with papers, a mark by hand in an exercise that the resit asks anew, and a comment; attempt 2 issued."""
    returned(assigned_term, m01)
    assert notebooks.write_class(assigned_term, KEY) == (1, [])
    type_in(assigned_term, FRESH, mark=0.5)
    type_in(assigned_term, "", comment="Measure along the rim.")
    done = sit(assigned_term)
    assert f"m01.{FRESH}" in {e.key for e in done.exercises}
    return assigned_term, {e.key for e in done.exercises}


def second(term, m01, fresh, *, right=True):
    """The sheet of attempt 2."""
    record = issue_of(term, "t01", attempt=2)
    answers = right_answers(m01, record) if right else {"m01.mark_arc.arc": "0.001"}
    return sheet_of(record, {path: raw for path, raw in answers.items() if path.rpartition(".")[0] in fresh})


def test_a_mark_by_hand_of_the_first_attempt_stays_with_it(sat, m01):
    term, fresh = sat
    assert overrides(term) == {(1, f"m01.{FRESH}"): 50}
    hand_in(term, {p: a.raw for p, a in second(term, m01, fresh).answers.items()}, 2)
    scores, comments = in_book(term)
    assert scores[FRESH] == (2.0, None), "the better attempt's own marks, and none by hand of the first"
    assert comments == ["Attempt 1: Measure along the rim."]
    assert overrides(term) == {(1, f"m01.{FRESH}"): 50}
    shown, stamp = paper(term)
    assert shown["metadata"]["timing_mark"] == {"attempt": 2} and notebooks.shown(term, "t01", m01) == 2
    assert sheets.read(term.folder / "submitted" / "t01" / KEY / "answers.json").attempt == 2
    assert "right, 2 of 2" in json.dumps(shown) and stamp.endswith("UTC\n")
    assert WORDS in json.dumps(shown) and ": blank" not in json.dumps(shown), "what is kept stands in the second paper"
    assert verify.verify(term).findings == []


def test_a_mark_by_hand_on_the_second_paper_goes_to_the_second(sat, m01):
    term, fresh = sat
    hand_in(term, {p: a.raw for p, a in second(term, m01, fresh).answers.items()}, 2)
    type_in(term, FRESH, mark=1.5)
    mark_class.mark(term, KEY)
    assert overrides(term) == {(1, f"m01.{FRESH}"): 50, (2, f"m01.{FRESH}"): 150}
    assert in_book(term)[0][FRESH] == (2.0, 1.5)
    # Marks by hand so low that the first attempt counts again: row, paper and marks by hand go back together.
    for name in ("total", FRESH, "angle_time"):
        if notebooks.shown(term, "t01", m01) == 2:
            adjust.override(term, "T01", KEY, name, "0", reason="not his own work")
    assert in_book(term)[0][FRESH][1] == 0.5 and notebooks.shown(term, "t01", m01) == 1
    assert in_book(term)[1] == ["Attempt 1: Measure along the rim."]
    assert verify.verify(term).findings == []


def test_a_worse_second_attempt_changes_neither_row_nor_paper(sat, m01):
    term, fresh = sat
    before = in_book(term)[0], paper(term)
    hand_in(term, {"m01.mark_arc.arc": "0.001"}, 2)
    assert (in_book(term)[0], paper(term)) == before
    assert notebooks.write_class(term, KEY) == (1, []) and paper(term) == before[1]


@pytest.mark.campaign
class TestAutograde:
    """nbgrader's own command, while attempt 2 lies in submitted/ and the records know attempt 1 alone."""

    @pytest.fixture
    def uncollected(self, sat, m01):
        term, fresh = sat
        mark_class.mark(term, KEY)  # takes over what was typed
        folder = term.folder / "submitted" / "t01" / KEY
        sheet = second(term, m01, fresh)
        (folder / "answers.json").write_bytes(sheets.dump(sheet))
        (folder / "timestamp.txt").write_text("2026-05-01 10:00:00 UTC")
        return term, sheet

    def test_what_counts_stays_until_the_other_is_marked(self, uncollected, m01):
        term, sheet = uncollected
        before = in_book(term)[0]
        run = nbgrader(term, "autograde", KEY, "--force")
        assert run.returncode == 0, run.stderr[-3000:]
        assert "attempt 2 lies in submitted/ and attempt 1 counts" in run.stderr
        assert {name: score[:2] for name, score in in_book(term)[0].items()} == before
        assert paper(term)[0]["metadata"]["timing_mark"] == {"attempt": 1}
        assert verify.verify(term).findings == []
        type_in(term, FRESH, mark=0.75)  # about the paper that is shown: attempt 1
        assert collect.collect(term).taken == 1
        assert mark_class.mark(term, KEY).findings == []
        assert overrides(term) == {(1, f"m01.{FRESH}"): 75}
        assert in_book(term)[0][FRESH] == (2.0, None) and notebooks.shown(term, "t01", m01) == 2
        run = nbgrader(term, "autograde", KEY, "--force")
        assert run.returncode == 0 and "lies in submitted" not in run.stderr
        assert in_book(term)[0][FRESH] == (2.0, None) and notebooks.shown(term, "t01", m01) == 2
        assert WORDS in json.dumps(paper(term)[0]) and ": blank" not in json.dumps(paper(term)[0])
        assert verify.verify(term).findings == []

    @pytest.mark.filterwarnings("ignore")
    def test_judged_is_what_counts(self, uncollected, m01):
        term, sheet = uncollected
        given, found, penalty = autograde.judge(term, m01, "t01", sheets.dump(sheet))
        assert (given.attempt, penalty) == (1, 0) and given.answers[LETTER].raw == WORDS
        with database.transaction(term) as connection:
            mark = connection.execute(select(schema.mark)).one()
        assert found.hundredths == mark.raw - 50
