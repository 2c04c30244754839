"""An answer that a resit keeps was given once: reports, exports and statistics count it once."""

import csv
import io
from collections import Counter

import pytest
from sqlalchemy import select

from grader import units
from grader.course.attempts import overview, standing
from grader.course.grading import resit
from grader.exercise.truth import Truth
from grader.records import adjustments, database, schema
from grader.records.term import roster
from grader.reports.export import package
from grader.reports.feedback import class_figures, marked_attempt, return_run
from grader.reports.tables import item_analysis
from tests.course.resits import KEY, WRONG, hand_in, sit
from tests.work import issue_of, right_answers, wrong_answers


def slip_answer(m01, record, exercises):
    """(path, slip key, typed text) of a number with a slip in one of some exercises."""
    truth = Truth(m01, record.numbers)
    for exercise, part, path in m01.parts():
        for slip in getattr(part, "slips", ()):
            value = truth.slip(path, slip)
            if exercise.key in exercises and isinstance(value, float) and slip.share < 1:
                return path, slip.key, part.typed(value, truth.given_at(path))
    raise AssertionError("no such slip")


@pytest.fixture
def sat(assigned_term, m01):
    """(term, kept slip, fresh slip, fresh exercises): T01 made one slip in what the resit keeps, one in the resit."""
    record, fresh = issue_of(assigned_term, "t01"), resit.to_sit(m01, ["T1"])
    path, slip, typed = slip_answer(m01, record, {e.key for e in m01.exercises} - fresh)
    hand_in(assigned_term, right_answers(m01, record) | wrong_answers(m01, record, WRONG) | {path: typed})
    return_run.give_back(assigned_term, KEY)
    done = sit(assigned_term, objectives=["T1"])
    assert {e.key for e in done.exercises} == fresh
    record = issue_of(assigned_term, "t01", attempt=2)
    again = slip_answer(m01, record, fresh)
    hand_in(assigned_term, wrong_answers(m01, record, WRONG) | {again[0]: again[2]}, 2)
    return assigned_term, (path, slip), again[:2], fresh


def test_the_class_report_counts_a_kept_slip_once(sat, m01):
    """And a question that was answered twice, with fresh numbers, was answered twice."""
    term, kept_slip, fresh_slip, fresh = sat
    found = {slip.path: (slip.count, slip.answers) for slip in class_figures.slips(term, m01)}
    assert found == {kept_slip[0]: (1, 1), fresh_slip[0]: (1, 2)}
    assert sorted(overview.slips(term, KEY)) == sorted([(*kept_slip, 1), (*fresh_slip, 1)])
    with database.transaction(term) as connection:
        kept = standing.kept_answers(connection, KEY)
        assert {key for *_, key in kept} == {e.key for e in m01.exercises} - fresh
        assert {found[:3] for found in kept} == {("t01", KEY, 2)}
        assert standing.kept_answers(connection, "m02_dwell") == set()
        assert standing.kept_answers(connection) == kept


def test_the_items_say_which_were_given_once(sat, m01):
    term, *_, fresh = sat
    rows = list(csv.DictReader(io.StringIO(package.write([term], "items").path.read_text("utf-8"))))
    second = [row for row in rows if row["attempt"] == "2"]
    assert {row["kept"] for row in rows if row["attempt"] == "1"} == {"no"}
    assert {row["item"].rpartition(".")[0] for row in second if row["kept"] == "no"} == fresh
    assert Counter(row["item"] for row in rows if row["kept"] == "no")["m01.mark_arc.arc"] == 2
    assert len([row for row in rows if row["kept"] == "no" and row["first_attempt"] == "yes"]) == len(list(m01.parts()))


def test_facility_and_objectives_rest_on_one_attempt(sat, m01):
    term, *_ = sat
    [pool] = item_analysis.pools([term])
    assert len(pool.rows) + pool.left_out == 1 and set(pool.answers.values()) == {1}
    rows = list(csv.DictReader(io.StringIO(package.write([term], "objectives").path.read_text("utf-8"))))
    parts = Counter(code for _, part, _ in m01.parts() for code in part.objectives)
    assert {row["objective"]: int(row["items"]) for row in rows} == dict(parts) and len(rows) == len(parts)


def test_a_unit_typed_where_none_was_chosen_is_kept_as_it_was_read(assigned_term, m01):
    """From paper, or a file made by hand. The resit read it beside the asked unit: a right answer contradicted it."""
    path, record = "m01.altitude.vacuum", issue_of(assigned_term, "t01")
    figure = units.convert(Truth(m01, record.numbers).answer(path), units.unit("inHg vac"), units.unit("kPa vac"))
    answers = right_answers(m01, record) | wrong_answers(m01, record, WRONG) | {path: f"{figure:.3f} kPa vac"}
    hand_in(assigned_term, answers)
    with database.transaction(assigned_term) as connection:
        mark = connection.execute(select(schema.mark)).one()
        decided = adjustments.read(connection)
        mine = marked_attempt.gather(assigned_term, connection, m01, roster.one(connection, "t01"), mark, decided)
        assert {place: part.verdict for place, part in mine.marks.items()} == {
            place: row.verdict for place, row in mine.rows.items()
        }
    assert return_run.give_back(assigned_term, KEY, trainee="t01").written == 1
    assert "m01.altitude" not in {exercise.key for exercise in sit(assigned_term, objectives=["T1"]).exercises}
    hand_in(assigned_term, right_answers(m01, issue_of(assigned_term, "t01", attempt=2)) | {path: ""}, 2)
    with database.transaction(assigned_term) as connection:
        table = schema.answer
        rows = connection.execute(select(table).where(table.c.part == path).order_by(table.c.attempt)).all()
    most = m01.by_path[path][1].most
    assert [(row.attempt, row.verdict, row.hundredths) for row in rows] == [(1, "right", most), (2, "right", most)]
