"""A written answer waits for the instructor in every place where marks are shown, and never counts as nothing."""

import csv
import io
from dataclasses import replace

import pytest
from sqlalchemy import select

from grader import catalogue, clock
from grader.course.attempts import overview
from grader.course.audit import verify
from grader.course.grading import mark_class
from grader.course.submissions import collect
from grader.exercise.kinds import Written
from grader.records import database, schema
from grader.records.gradebook import gradebook
from tests.work import export_grades, issue_of, put_in_inbox, right_answers, sheet_of

PATH = "m01.fast_idle.initial"


@pytest.fixture
def written(m01, monkeypatch):
    """Module 1 with its last calculation asked in sentences instead."""
    part = Written(
        key="initial", prompt="", marks=3, rubric=(("the weights", 2), ("the idle speed", 1)),
        answer=lambda v: "The weights helped the mark to its place.", objectives=("T5",),
    )  # fmt: skip
    exercises = tuple(replace(e, parts=(part,)) if e.key == "m01.fast_idle" else e for e in m01.exercises)
    module = replace(m01, exercises=exercises)
    monkeypatch.setattr(catalogue, "module", lambda key: module)
    return module


@pytest.fixture
def marked(assigned_term, written):
    record = issue_of(assigned_term, "t01")
    answers = {**right_answers(written, record), PATH: "The weights were out already at that speed."}
    path = put_in_inbox(assigned_term, sheet_of(record, answers))
    arrived = clock.parse("2026-03-30 12:00", assigned_term.settings.zone)
    collect.collect(assigned_term, [path.parent], received_at=arrived)
    assert mark_class.mark(assigned_term, "m01_timing").marked == 1
    return assigned_term


def test_the_records_say_that_it_waits(marked):
    with database.transaction(marked) as connection:
        mark = connection.execute(select(schema.mark)).one()
        answer = connection.execute(select(schema.answer).where(schema.answer.c.part == PATH)).one()
    assert (mark.state, mark.pending, mark.mark, mark.most) == ("partly marked", 300, 2500, 3000)
    assert (answer.verdict, answer.hundredths, answer.most) == ("awaiting", None, 300)


def test_nbgrader_is_told_to_have_it_read(marked):
    with gradebook._nbgrader() as api, api.Gradebook(marked.database_url) as book:
        grade = book.find_grade("fast_idle", "m01_timing", "m01_timing", "t01")
        assert grade.auto_score is None and grade.needs_manual_grade
        assert not book.find_grade("mark_arc", "m01_timing", "m01_timing", "t01").needs_manual_grade


def test_the_export_shows_it(marked):
    rows = csv.DictReader(io.StringIO(export_grades(marked).read_text("utf-8")))
    row = next(row for row in rows if row["trainee_id"] == "T01")
    assert (row["status"], row["mark"], row["awaiting"], row["max"]) == ("partly marked", "25", "3", "30")
    assert (row["percent"], row["passed"]) == ("", "yes"), "a pass that is reached stands; the per cent waits"


def test_the_table_of_marks_leaves_it_blank(marked, written):
    marks = next(marks for found, marks in overview.marks_table(marked, written) if found.person.id == "t01")
    assert marks["m01.fast_idle"] is None and marks["m01.mark_arc"] == 200


def test_the_term_still_proves(marked):
    assert verify.verify(marked).findings == []
