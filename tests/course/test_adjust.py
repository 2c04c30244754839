"""Extensions, excuses and marks by hand: reasons kept, penalties afresh, formgrader's changes taken over."""

import csv
import io
import sqlite3
import subprocess
import sys
import threading
import time
from contextlib import closing
from dataclasses import replace
from typing import Any

import pytest
from sqlalchemy import delete, func, inspect, select, text, update
from sqlalchemy.schema import CreateTable

from grader import clock
from grader.course.attempts import kept, standing
from grader.course.attempts.standing import Whom
from grader.course.audit import verify
from grader.course.grading import adjust, mark_class
from grader.course.submissions import collect
from grader.errors import Refused, Unknown
from grader.records import adjustments, database, ledger, lock, schema
from grader.records.gradebook import gradebook
from grader.reports.tables import scope
from tests.work import NEXT, export_grades, issue_of, put_in_inbox, right_sheet

MODULE = "m01_timing"


def hand_in(term, trainee="t01", when="2026-03-30 12:00"):
    path = put_in_inbox(term, right_sheet(issue_of(term, trainee)))
    collect.collect(term, [path.parent], received_at=clock.parse(when, term.settings.zone))
    mark_class.mark(term, MODULE)


def mark_of(term, trainee="t01") -> Any:
    with database.transaction(term) as connection:
        return connection.execute(select(schema.mark).where(schema.mark.c.trainee == trainee)).first()


def row_of(term, college_id="T01"):
    rows = csv.DictReader(io.StringIO(export_grades(term).read_text("utf-8")))
    return next(row for row in rows if row["trainee_id"] == college_id)


def events(term, *names):
    with database.transaction(term) as connection:
        return [entry for _, _, entry in ledger.entries(connection, *names)]


def book(term, change):
    """Change something in nbgrader's gradebook with nbgrader's own API, as formgrader does."""
    with gradebook._nbgrader() as api, api.Gradebook(term.database_url) as opened:
        change(opened.find_grade("mark_arc", MODULE, MODULE, "t01"))
        opened.db.commit()


@pytest.fixture
def marked(assigned_term):
    hand_in(assigned_term)
    return assigned_term


class TestExtend:
    def test_the_penalty_goes_at_once(self, assigned_term):
        """jupyter/nbgrader 723, 1932: late, extend -> penalty 0, in records, gradebook and export alike."""
        hand_in(assigned_term, when="2026-04-01 18:00")
        assert (mark_of(assigned_term).penalty, mark_of(assigned_term).late_days) == (560, 2)
        _, until, mark, _ = adjust.extend(assigned_term, "T01", MODULE, until="2026-04-02", reason="was ill")
        assert (until, mark) == ("2026-04-02T22:59:59.000Z", 2800)
        row = row_of(assigned_term)
        assert (row["penalty"], row["mark"], row["late_days"], row["extension_until"]) == ("0", "28", "0", until)
        said = events(assigned_term, "extension", "re-marked")
        assert [(e["event"], e["old"], e["new"]) for e in said] == [
            ("extension", "2026-03-31T16:00:00.000Z", until), ("re-marked", 2240, 2800),
        ]  # fmt: skip
        assert said[0]["reason"] == "was ill" and "was ill" in said[1]["reason"]
        with gradebook._nbgrader() as api, api.Gradebook(assigned_term.database_url) as opened:
            assert opened.find_submission_notebook(MODULE, MODULE, "t01").late_submission_penalty == 0
        assert mark_class.mark(assigned_term, MODULE).unchanged == 1
        assert verify.verify(assigned_term).findings == []

    def test_an_extension_that_is_taken_back_costs_what_it_cost_before(self, assigned_term):
        """Extended, then taken back with a reason: the penalty of the first due time holds; a second time there is none."""
        hand_in(assigned_term, when="2026-04-01 18:00")
        adjust.extend(assigned_term, "T01", MODULE, until="2026-04-02", reason="was ill")
        several = adjust.withdraw_extensions(assigned_term, MODULE, Whom(("t01", "t02")), reason="it was the other one")
        assert [(one.until, one.mark) for one in several.done] == [("2026-03-31T16:00:00.000Z", 2240)]
        assert [words.partition(":")[0] for words in several.left_out] == ["O’Neil, Jr., Cass"]
        assert (row_of(assigned_term)["penalty"], row_of(assigned_term)["extension_until"]) == ("5.6", "")
        assert [(e["new"], e["reason"]) for e in events(assigned_term, "extension")][-1] == ("", "it was the other one")
        assert verify.verify(assigned_term).findings == []
        with pytest.raises(Refused, match="has no extension"):
            adjust.withdraw_extensions(assigned_term, MODULE, Whom(("t01",)), reason="once more")

    def test_still_late_after_an_extension(self, assigned_term):
        """An extension moves the due time, not the penalty: it is counted from the new one."""
        hand_in(assigned_term, when="2026-04-03 18:00")
        adjust.extend(assigned_term, "t01", MODULE, until="2026-04-02 17:00", reason="x")
        row = mark_of(assigned_term)
        assert (row.late_days, row.penalty, row.mark) == (2, 560, 2240)

    def test_by_the_maximum(self, assigned_term):
        term = replace(
            assigned_term, settings=replace(assigned_term.settings, late_basis="maximum", late_percent_per_day=5)
        )
        hand_in(term, when="2026-04-01 12:00")
        assert mark_of(term).penalty == 150
        adjust.extend(term, "t01", MODULE, until="2026-04-01 12:00", reason="x")
        assert mark_of(term).penalty == 0

    def test_before_anything_came(self, assigned_term):
        assert adjust.extend(assigned_term, "t02", MODULE, until="2026-05-01", reason="joined late")[2] is None
        hand_in(assigned_term, "t02", "2026-04-30 12:00")
        assert mark_of(assigned_term, "t02").late_days == 0

    def test_missing_work_counts_zero_only_after_the_extension(self, assigned_term):
        adjust.extend(assigned_term, "t01", MODULE, until=f"{NEXT}-01-01", reason="x")
        with database.transaction(assigned_term) as connection:
            found = {s.person.id: s for s in standing.standings(assigned_term, connection, [MODULE])}
        assert not standing.missing_is_zero(assigned_term, found["t01"])
        assert standing.missing_is_zero(assigned_term, found["t02"])

    @pytest.mark.parametrize(
        ("changes", "error", "said"),
        [
            ({"until": "01/03/2026"}, Refused, "orders mean different days"),
            ({"until": "2026-03-31 17:00"}, Refused, "not after the due time"),
            ({"until": "2026-03-29 01:30"}, Refused, "goes forward"),
            ({"reason": " "}, Refused, "needs a reason"),
            ({"trainee_id": "T99"}, Unknown, "roster list"),
            ({"module_key": "m99"}, Unknown, "no module"),
        ],
    )
    def test_refusals_change_nothing(self, marked, changes, error, said):
        wanted = {"trainee_id": "t01", "module_key": MODULE, "until": "2026-05-01", "reason": "x"} | changes
        trainee, module = wanted.pop("trainee_id"), wanted.pop("module_key")
        with pytest.raises(error, match=said):
            adjust.extend(marked, trainee, module, **wanted)
        assert events(marked, "extension") == [] and row_of(marked)["extension_until"] == ""

    def test_no_due_time(self, assigned_term):
        with database.transaction(assigned_term) as connection:
            connection.execute(update(schema.issue).values(due=""))
        with pytest.raises(Refused, match="no due time"):
            adjust.extend(assigned_term, "t01", MODULE, until="2026-05-01", reason="x")


class TestExcuse:
    def test_no_mark_and_back(self, marked):
        adjust.excuse(marked, "t01", MODULE, reason="in hospital")
        row = row_of(marked)
        assert (row["status"], row["mark"], row["percent"], row["passed"]) == ("excused", "", "", "")
        assert mark_class.mark(marked, MODULE).unchanged == 1
        with pytest.raises(Refused, match="already excused"):
            adjust.excuse(marked, "t01", MODULE, reason="again")
        adjust.excuse(marked, "t01", MODULE, reason="back", withdraw=True)
        assert row_of(marked)["mark"] == "28"
        with pytest.raises(Refused, match="not excused"):
            adjust.excuse(marked, "t01", MODULE, reason="again", withdraw=True)
        assert [(e["new"], e["reason"]) for e in events(marked, "excuse")] == [("excused", "in hospital"), ("", "back")]
        assert verify.verify(marked).findings == []

    def test_a_reason_is_needed(self, marked):
        with pytest.raises(Refused, match="needs a reason"):
            adjust.excuse(marked, "t01", MODULE, reason="")
        assert row_of(marked)["status"] == "marked"


class TestOverride:
    def test_an_exercise_is_named_as_it_stands_on_the_sheet(self, marked, m01):
        """By its number, its title or its short name."""
        for number, exercise in enumerate(m01.exercises, 1):
            for typed in (str(number), exercise.title.upper(), f" {exercise.name} ", exercise.key):
                assert adjust.exercise_named(m01, typed) is exercise
        with pytest.raises(Unknown, match=r"no exercise '99'; it has 1 mark_arc \("):
            adjust.override(marked, "t01", MODULE, "99", "1", reason="x")

    def test_set_and_taken_back(self, marked):
        _, mark = adjust.override(marked, "t01", MODULE, "mark_arc", "0,5", reason="working missing")
        assert mark == 2650 and row_of(marked)["mark"] == "26.5"
        with gradebook._nbgrader() as api, api.Gradebook(marked.database_url) as opened:
            grade = opened.find_grade("mark_arc", MODULE, MODULE, "t01")
            assert (grade.auto_score, grade.manual_score, grade.score) == (2, 0.5, 0.5)
        said = events(marked, "override", "re-marked")
        assert [(e["exercise"], e["old"], e["new"], e["most"]) for e in said] == [
            ("m01.mark_arc", None, 50, 200), ("", 2800, 2650, 3000),
        ]  # fmt: skip
        assert verify.verify(marked).findings == [] and mark_class.mark(marked, MODULE).unchanged == 1
        assert adjust.override(marked, "t01", MODULE, "m01.mark_arc", "computed", reason="found it")[1] == 2800
        assert verify.verify(marked).findings == []
        with pytest.raises(Refused, match="no mark by hand"):
            adjust.override(marked, "t01", MODULE, "mark_arc", "computed", reason="x")

    def test_it_outlives_a_later_hand_in(self, marked):
        adjust.override(marked, "t01", MODULE, "mark_arc", "1", reason="x")
        record = issue_of(marked, "t01")
        path = put_in_inbox(marked, right_sheet(record).but(saved="later"))
        collect.collect(marked, [path.parent], received_at=clock.parse("2026-03-31 12:00", "UTC"))
        mark_class.mark(marked, MODULE)
        assert mark_of(marked).raw == 2700 and verify.verify(marked).findings == []

    def test_the_penalty_follows(self, assigned_term):
        hand_in(assigned_term, when="2026-04-01 18:00")
        adjust.override(assigned_term, "t01", MODULE, "mark_arc", "0", reason="x")
        assert (mark_of(assigned_term).raw, mark_of(assigned_term).penalty) == (2600, 520)

    @pytest.mark.parametrize("mark", ["-1", "2.5", "1.555", "two", "nan", "", "1e0", "٢"])
    def test_marks_that_are_none(self, marked, mark):
        with pytest.raises(Refused, match="is no mark|is more"):
            adjust.override(marked, "t01", MODULE, "mark_arc", mark, reason="x")
        assert mark_of(marked).mark == 2800

    @pytest.mark.parametrize(("mark", "module"), [("0", 2600), ("2", 2800), ("2.00", 2800)])
    def test_none_and_all_of_the_marks_of_an_exercise_are_marks(self, marked, mark, module):
        assert adjust.override(marked, "t01", MODULE, "mark_arc", mark, reason="x")[1] == module
        assert events(marked, "override")[-1]["new"] == (0 if mark == "0" else 200)

    def test_refusals(self, marked):
        with pytest.raises(Unknown, match="it has 1 mark_arc"):
            adjust.override(marked, "t01", MODULE, "m01.other", "1", reason="x")
        with pytest.raises(Refused, match="no marks in"):
            adjust.override(marked, "t02", MODULE, "mark_arc", "1", reason="x")
        with pytest.raises(Refused, match="needs a reason"):
            adjust.override(marked, "t01", MODULE, "mark_arc", "1", reason="")
        assert mark_of(marked).mark == 2800

    @pytest.mark.parametrize(
        "table", [adjustments.override, adjustments.extension, adjustments.excuse], ids=lambda t: t.name
    )
    def test_verify_sees_a_decision_taken_out_behind_the_ledger(self, marked, table):
        adjust.override(marked, "t01", MODULE, "mark_arc", "1", reason="x")
        adjust.extend(marked, "t01", MODULE, until="2026-05-01", reason="x")
        adjust.excuse(marked, "t01", MODULE, reason="x")
        assert verify.verify(marked).findings == []
        with database.transaction(marked) as connection:
            connection.execute(delete(table))
        found = verify.verify(marked).findings
        assert sum("the ledger says" in finding for finding in found) == 1
        if table is adjustments.override:  # the gradebook still has it, and the mark was reckoned with it
            assert any("formgrader has 1 and the records have no mark by hand" in finding for finding in found)
            assert any("marking again gives 28, the records say 27" in finding for finding in found)
        assert len(found) == (3 if table is adjustments.override else 1)


class TestFormgrader:
    def test_a_mark_by_hand_becomes_an_override(self, marked):
        book(marked, lambda grade: setattr(grade, "manual_score", 1.25))
        assert row_of(marked)["mark"] == "27.25"
        entry = events(marked, "override")[-1]
        assert (entry["actor"], entry["new"], entry["exercise"], bool(entry["reason"])) == ("formgrader", 125, "m01.mark_arc", True)  # fmt: skip
        assert verify.verify(marked).findings == []
        book(marked, lambda grade: setattr(grade, "manual_score", None))
        run = mark_class.mark(marked, MODULE)
        assert (run.findings, run.held, mark_of(marked).mark) == ([], [], 2800)
        assert events(marked, "override")[-1]["new"] is None and verify.verify(marked).findings == []

    @pytest.mark.parametrize(("theirs", "module"), [(0, 2600), (2, 2800)])
    def test_none_and_all_of_the_marks_are_taken_over(self, marked, theirs, module):
        """A nought that somebody typed in formgrader is a mark like any other."""
        book(marked, lambda grade: setattr(grade, "manual_score", theirs))
        assert mark_class.mark(marked, MODULE).findings == [] and mark_of(marked).mark == module
        assert events(marked, "override")[-1]["new"] == 100 * theirs

    def test_a_changed_automatic_score_is_a_finding(self, marked):
        book(marked, lambda grade: setattr(grade, "auto_score", 0.5))
        assert (
            "automatic mark in the gradebook is 0.5 where marking gave 2" in mark_class.mark(marked, MODULE).findings[0]
        )
        assert mark_of(marked).mark == 2800
        assert any("mark_arc is 2 here and 0.5" in finding for finding in verify.verify(marked).findings)

    @pytest.mark.parametrize(("field", "value", "said"), [("manual_score", 9, "gives 9 of 2; not taken over"), ("manual_score", -1, "gives -1 of 2"), ("extra_credit", 1, "1 extra credit")])  # fmt: skip
    def test_what_cannot_be_taken_over(self, marked, field, value, said):
        book(marked, lambda grade: setattr(grade, field, value))
        assert any(said in finding for finding in mark_class.mark(marked, MODULE).findings)
        assert mark_of(marked).mark == 2800

    def test_a_lost_hand_in_does_not_keep_the_class_waiting(self, marked):
        hand_in(marked, "t02")
        book(marked, lambda grade: setattr(grade, "manual_score", 1))
        sha256 = mark_of(marked).sha256
        content = kept.kept_path(marked, sha256).read_bytes()
        kept.kept_path(marked, sha256).unlink()
        run = mark_class.mark(marked, MODULE)
        assert run.unchanged == 1 and all("t01: The kept hand-in is missing" in finding for finding in run.findings)
        kept.kept_path(marked, sha256).write_bytes(content)
        assert mark_class.mark(marked, MODULE, reason="the file is back").marked == 1
        assert mark_of(marked).mark == 2700 and verify.verify(marked).findings == []


class TestTwoAtOnce:
    def test_the_second_waits_and_says_for_whom(self, marked):
        said, order = [], []

        def second():
            with lock.exclusive(marked, "marking too", tell=said.append):
                order.append("second")

        with lock.exclusive(marked, "marking m01_timing"):
            other = threading.Thread(target=second)
            other.start()
            while other.is_alive() and not said:  # until it waits
                time.sleep(0.01)
            order.append("first")
        other.join(20)
        assert order == ["first", "second"]
        assert len(said) == 1 and f"Waiting for {ledger.actor()}, who has been marking m01_timing since" in said[0]

    def test_not_for_ever(self, marked):
        with lock.exclusive(marked, "marking"):
            with pytest.raises(Refused, match="Still waiting"):
                with lock.exclusive(marked, "marking", tell=lambda _: None, wait_seconds=0.1):
                    raise AssertionError("both in")

    def test_an_export_says_so_to_whoever_comes_meanwhile(self, marked):
        said = []
        for _, _ in scope.each([marked]):
            with pytest.raises(Refused, match="Still waiting"):
                with lock.exclusive(marked, "marking", tell=said.append, wait_seconds=0.1):
                    raise AssertionError("both in")
        assert "who has been exporting since" in said[0]
        assert mark_class.mark(marked, MODULE).unchanged == 1

    def test_a_killed_run_leaves_nothing_shut(self, marked):
        code = (
            "import sys, time; from grader.records.term import term; from grader.records import lock\n"
            "with lock.exclusive(term.open_term(sys.argv[1]), 'dying'):\n    print('in', flush=True); time.sleep(60)"
        )
        child = subprocess.Popen([sys.executable, "-c", code, str(marked.folder)], stdout=subprocess.PIPE, text=True)
        assert child.stdout is not None and child.stdout.readline() == "in\n"
        child.kill()
        child.wait()
        child.stdout.close()
        with lock.exclusive(marked, "marking", wait_seconds=5):
            pass

    @pytest.mark.campaign
    def test_two_processes_mark_one_class(self, assigned_term):
        for trainee in ("t01", "t02", "t03"):
            path = put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, trainee)))
        collect.collect(assigned_term, [path.parent.parent], received_at=clock.parse("2026-03-30", "UTC"))
        command = [sys.executable, "-m", "grader", "mark", MODULE, "--term", str(assigned_term.folder)]
        both = [subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) for _ in range(2)]
        outputs = sorted(process.communicate(timeout=120)[0] for process in both)
        assert [process.returncode for process in both] == [0, 0]
        assert "0 marked, 3 unchanged" in outputs[0] and "3 marked, 0 unchanged" in outputs[1]
        assert len(events(assigned_term, "marked")) == 3 and verify.verify(assigned_term).findings == []


class TestUpgrade:
    def test_a_term_of_the_first_version(self, marked):
        with database.transaction(marked) as connection:
            old = {
                "tm_schema",
                "tm_trainee",
                "tm_assignment",
                "tm_issue",
                "tm_hand_in",
                "tm_mark",
                "tm_answer",
                "tm_ledger",
            }
            for table in schema.metadata.sorted_tables:
                if table.name not in old:
                    table.drop(connection)
            # The first version had no marks that wait.
            connection.execute(text("ALTER TABLE tm_mark DROP COLUMN pending"))
            connection.execute(text("DROP INDEX tm_answer_by_exercise"))
            connection.execute(text("ALTER TABLE tm_answer RENAME TO was"))
            loose = CreateTable(schema.answer).compile(connection)
            connection.execute(text(str(loose).replace("hundredths INTEGER", "hundredths INTEGER NOT NULL")))
            connection.execute(text("INSERT INTO tm_answer SELECT * FROM was"))
            connection.execute(text("DROP TABLE was"))
            connection.execute(schema.version.delete())
            connection.execute(schema.version.insert().values(version=1, applied_at="x"))
        with pytest.raises(Refused, match="term upgrade"):
            mark_class.mark(marked, MODULE)
        found, copy = database.upgrade(marked)
        assert found == 1 and copy is not None and copy.is_file() and database.upgrade(marked) == (schema.VERSION, None)
        with closing(sqlite3.connect(copy)) as old:
            assert old.execute("select mark from tm_mark").fetchall() == [(2800,)]
        assert verify.verify(marked).findings == [] and mark_of(marked).mark == 2800
        with database.transaction(marked) as connection:
            found = inspect(connection)
            assert set(schema.metadata.tables) <= set(found.get_table_names())
            assert found.get_columns("tm_mark")[-1]["name"] == "pending" and found.get_indexes("tm_answer")
            assert {c["name"]: c["nullable"] for c in found.get_columns("tm_answer")}["hundredths"]
            assert connection.execute(select(func.count()).select_from(schema.answer)).scalar_one() > 10

    def test_a_term_of_a_later_version(self, marked):
        with database.transaction(marked) as connection:
            connection.execute(schema.version.insert().values(version=99, applied_at="x"))
        for work in (lambda: mark_class.mark(marked, MODULE), lambda: database.upgrade(marked)):
            with pytest.raises(Refused, match="Update Timing Mark"):
                work()
