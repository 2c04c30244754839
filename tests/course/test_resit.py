"""Resits: fresh numbers for what was not met, what was met stays, the best attempt counts everywhere."""

import json
import zipfile

import pytest
from sqlalchemy import select
from typer.testing import CliRunner

from grader import clock
from grader.cli.main import app
from grader.course.attempts import standing
from grader.course.audit import verify
from grader.course.grading import adjust, mark_class, resit
from grader.course.submissions import collect
from grader.errors import Refused
from grader.exercise import issued
from grader.records import database, ledger, schema
from grader.records.gradebook import gradebook
from grader.reports.feedback import return_run
from grader.reports.tables import people
from grader.widgets import print_sheet
from grader.widgets.lesson import Lesson
from tests.work import NEXT, issue_of, put_in_inbox, right_answers, sheet_of

KEY = "m01_timing"
LATER = f"{NEXT}-03-31 17:00"


def _hand_in(term, answers, attempt=1, when="2026-03-30 12:00"):
    path = put_in_inbox(term, sheet_of(issue_of(term, "t01", attempt=attempt), answers))
    collect.collect(term, [path.parent], received_at=clock.parse(when, term.settings.zone))
    assert mark_class.mark(term, KEY).findings == []


def _marks(term):
    with database.transaction(term) as connection:
        return {r.attempt: r for r in connection.execute(select(schema.mark).where(schema.mark.c.trainee == "t01"))}


def _counts(term, m01):
    """(attempt that counts, its mark); the gradebook must hold the same, and the term must verify."""
    assert verify.verify(term).findings == []
    with database.transaction(term) as connection:
        found = next(s for s in standing.standings(term, connection, [KEY]) if s.person.id == "t01")
        book = gradebook.Rows(connection, m01).book()["t01"]
    held = sum((score.auto if score.manual is None else score.manual) or 0 for score in book.values())
    assert held == found.mark.raw
    return found.attempt, found.mark.mark


@pytest.fixture
def returned(assigned_term, m01):
    """T01 has the first exercise of each of some objectives wrong, and got the sheet back."""
    answers = right_answers(m01, issue_of(assigned_term, "t01"))
    for path in ("m01.mark_arc.arc", "m01.angle_time.time"):
        answers[path] = "0.001"
    _hand_in(assigned_term, answers)
    assert return_run.give_back(assigned_term, KEY).written == 1
    return assigned_term


@pytest.fixture
def sat(returned):
    return returned, resit.resit(returned, "T01", KEY, due=LATER, reason="T1 again")


def test_only_what_was_not_met_is_fresh(sat, m01):
    term, done = sat
    with database.transaction(term) as connection:
        rows = [r for r in people.objectives(term, connection) if r["trainee_id"] == "T01" and r["met"] == "no"]
    assert set(done.objectives) == {row["objective"] for row in rows} and done.attempt == 2
    first, second = issue_of(term, "t01").exercises, issue_of(term, "t01", attempt=2).exercises
    fresh = {exercise.key for exercise in done.exercises}
    assert {"m01.mark_arc", "m01.angle_time"} & fresh and fresh < set(first)
    assert set(issued.to_answer(second)) == fresh and set(second) == set(first)
    for key in first:
        assert (second[key]["parameters"] != first[key]["parameters"]) == (key in fresh), key
    with zipfile.ZipFile(term.folder / "out" / "t01" / f"{KEY}.zip") as packed:
        assert json.loads(packed.read(f"{KEY}/issued.json"))["attempt"] == 2
    with database.transaction(term) as connection:
        last = [e for _, _, e in ledger.entries(connection, "issued")][-1]
    assert (last["trainee"], last["attempt"], last["reason"]) == ("t01", 2, "resit: T1 again")


def test_linked_exercises_come_together(m01):
    for group in m01.groups():
        keys = {exercise.key for exercise in group}
        for exercise in group:
            chosen = resit.to_sit(m01, exercise.parts[0].objectives)
            assert keys <= chosen


def test_a_better_resit_counts_and_kept_answers_cannot_be_changed(sat, m01):
    term, done = sat
    before = _counts(term, m01)
    assert before[0] == 1
    right = right_answers(m01, issue_of(term, "t01", attempt=2))
    fresh = {exercise.key for exercise in done.exercises}
    _hand_in(term, {p: a if p.rpartition(".")[0] in fresh else "1" for p, a in right.items() if "letter" not in p}, 2)
    attempt, mark = _counts(term, m01)
    assert attempt == 2 and mark > before[1]
    assert _marks(term)[2].most == m01.marks * 100
    assert _marks(term)[1].mark == before[1], "the first attempt is kept"


def test_a_worse_resit_changes_nothing_that_counts(sat, m01):
    term, _ = sat
    before = _counts(term, m01)
    _hand_in(term, {"m01.mark_arc.arc": "0.001"}, 2)
    assert _marks(term)[2].mark < before[1]
    assert _counts(term, m01) == before


def test_not_handed_in_and_an_extension_of_the_resit_alone(sat, m01):
    term, _ = sat
    before = _counts(term, m01)
    adjust.extend(term, "T01", KEY, until=f"{NEXT}-05-01", reason="ill")
    with database.transaction(term) as connection:
        entry = [e for _, _, e in ledger.entries(connection, "extension")][-1]
    assert entry["attempt"] == 2
    assert _counts(term, m01) == before and set(_marks(term)) == {1}


def test_a_mark_by_hand_goes_to_the_attempt_that_counts(sat, m01):
    term, _ = sat
    _hand_in(term, {"m01.mark_arc.arc": "0.001"}, 2)
    adjust.override(term, "T01", KEY, "mark_arc", "0.5", reason="read again")
    with database.transaction(term) as connection:
        entry = [e for _, _, e in ledger.entries(connection, "override")][-1]
    assert entry["attempt"] == 1
    assert _counts(term, m01)[0] == 1


def test_a_mark_by_hand_in_a_kept_exercise_is_kept(returned, m01):
    kept = next(e for e in m01.exercises if e.name == "round")
    adjust.override(returned, "T01", KEY, kept.name, "0.5", reason="guessed")
    done = resit.resit(returned, "T01", KEY, due=LATER, reason="again")
    assert _counts(returned, m01)[0] == 1
    right = right_answers(m01, issue_of(returned, "t01", attempt=2))
    _hand_in(returned, right, 2)
    assert _counts(returned, m01)[0] == 2
    with database.transaction(returned) as connection:
        copied = [e for _, _, e in ledger.entries(connection, "override") if e["attempt"] == 2]
    assert bool(copied) == (kept.key not in {e.key for e in done.exercises})


def test_what_is_refused(assigned_term, m01):
    with pytest.raises(Refused, match="needs a reason"):
        resit.resit(assigned_term, "T01", KEY, reason=" ")
    with pytest.raises(Refused, match="not returned yet"):
        resit.resit(assigned_term, "T01", KEY, reason="x")
    answers = right_answers(m01, issue_of(assigned_term, "t01"))
    _hand_in(assigned_term, answers)
    return_run.give_back(assigned_term, KEY)
    with pytest.raises(Refused, match="has shown every objective"):
        resit.resit(assigned_term, "T01", KEY, reason="x")


def test_the_lesson_asks_only_for_what_is_fresh(sat, m01, tmp_path):
    term, done = sat
    fresh = {exercise.key for exercise in done.exercises}
    folder = tmp_path / "lesson"
    folder.mkdir()
    (folder / issued.NAME).write_bytes(issued.dump(issue_of(term, "t01", attempt=2)))
    lesson = Lesson(KEY, folder)
    lesson.top()
    assert lesson.head.progress == (0, sum(len(exercise.parts) for exercise in done.exercises))
    for exercise in m01.exercises:
        shown = lesson.show(exercise.key)
        assert (exercise.key in lesson.forms) == (exercise.key in fresh)
        assert ("Not part of this resit." in getattr(shown, "value", "")) == (exercise.key not in fresh)
    page = print_sheet.build(lesson.module, lesson.store.issue, lesson.store.sheet)
    for exercise in m01.exercises:
        assert (f"{exercise.title}" in page) == (exercise.key in fresh), exercise.key


def test_no_more_attempts_than_the_term_allows(sat):
    term, _ = sat
    with pytest.raises(Refused, match="not returned yet"):
        resit.resit(term, "T01", KEY, reason="x")
    _hand_in(term, {"m01.mark_arc.arc": "0.001"}, 2)
    with database.transaction(term) as connection:
        ledger.append(connection, [ledger.Entry("returned", trainee="t01", module=KEY, attempt=2)])
    with pytest.raises(Refused, match="term.toml allows 2"):
        resit.resit(term, "T01", KEY, reason="x")


def test_the_command_says_what_is_fresh(returned):
    said = CliRunner().invoke(
        app, ["resit", "T01", KEY, "--reason", "again", "--due", LATER, "--term", str(returned.folder)]
    )
    assert said.exit_code == 0, said.output
    assert "attempt 2" in said.stdout and "Objectives: T1 (not met)" in said.stdout
