"""Assign, collect, mark, verify, export: the road of a hand-in, and what is refused on it."""

import csv
import hashlib
import io
import json
import os
import shutil
import zipfile
from datetime import timedelta

import pytest
from sqlalchemy import select, update

from grader import clock
from grader.course.attempts import evaluation, overview, passing
from grader.course.attempts.kept import kept_path
from grader.course.audit import verify
from grader.course.formgrader import notebooks
from grader.course.grading import mark_class
from grader.course.issue import assign
from grader.course.submissions import collect
from grader.errors import Refused, Unknown
from grader.exercise import issued
from grader.exercise import sheet as sheets
from grader.records import database, head, ledger, schema
from grader.records.gradebook import gradebook
from grader.records.term import term as terms
from grader.reports.export import package
from grader.reports.tables import grades
from tests.work import NEXT, issue_of, put_in_inbox, right_answers, right_sheet, sheet_of, sure_marks

DUE = "2026-03-31 17:00"


def at(term, text):
    return clock.parse(text, term.settings.zone)


def hand_in(term, sheet, when="2026-03-30 12:00", **options):
    path = put_in_inbox(term, sheet, **options)
    return collect.collect(term, [path.parent], received_at=at(term, when))


def left(inbox):
    """Names of the files that still lie in the inbox, apart from what was taken."""
    return sorted(
        path.name for path in inbox.rglob("*") if path.is_file() and "taken" not in path.relative_to(inbox).parts
    )


def mark_of(term, trainee):
    with database.transaction(term) as connection:
        return connection.execute(select(schema.mark).where(schema.mark.c.trainee == trainee)).first()


def rows_of(term):
    return {
        row["trainee_id"]: row
        for row in csv.DictReader(io.StringIO(package.write([term], "grades").path.read_text("utf-8-sig")))
    }


class TestAssign:
    def test_everybody_has_his_own_numbers_and_a_hand_out(self, assigned_term):
        records = [issue_of(assigned_term, trainee) for trainee in ("t01", "t02", "t03")]
        assert len({json.dumps(record.numbers) for record in records}) == 3
        for record in records:
            assert record.token == issued.seal(record, assigned_term.key)
            with zipfile.ZipFile(assigned_term.folder / "out" / record.trainee / "m01_timing.zip") as packed:
                assert sorted(packed.namelist()) == ["m01_timing/issued.json", "m01_timing/m01_timing.ipynb"]
                assert issued.parse(packed.read("m01_timing/issued.json")) == record
                assert "BEGIN SOLUTION" not in packed.read("m01_timing/m01_timing.ipynb").decode()

    def test_a_second_assign_changes_nothing(self, assigned_term):
        before = issue_of(assigned_term, "t01")
        with pytest.raises(Refused, match="all 3 have their numbers"):
            assign.assign(assigned_term, "m01_timing")
        assert issue_of(assigned_term, "t01") == before

    def test_who_joined_since_gets_numbers_and_nobody_else_new_ones(self, assigned_term, tmp_path):
        from grader.records.term import roster

        before = issue_of(assigned_term, "t01")
        path = tmp_path / "more.csv"
        path.write_text("id,last_name,first_name\nT01,Arundell,Bea\nT09,Newcome,Ole\n", encoding="utf-8")
        roster.import_list(assigned_term, path, confirmed=True)
        with pytest.raises(Refused, match="leave out --due"):
            assign.assign(assigned_term, "m01_timing", due="2026-05-01")
        done = assign.assign(assigned_term, "m01_timing")
        assert [person.id for person in done.issued_to] == ["t09"] and done.due == before.due
        assert issue_of(assigned_term, "t01") == before

    def test_a_lost_hand_out_is_written_again(self, assigned_term):
        path = assigned_term.folder / "out" / "t02" / "m01_timing.zip"
        content = path.read_bytes()
        path.unlink()
        assign.assign(assigned_term, "m01_timing")
        assert path.read_bytes() == content

    def test_a_due_time_in_the_past_is_told(self, assigned_term):
        """A slip in the year would make the whole class late."""
        assert "has passed" in " ".join(assign.assign(assigned_term, "m02_dwell", due=f"{NEXT - 2}-03-31").notes)
        assert assign.assign(assigned_term, "m03_heat_range", due=f"{NEXT}-03-31").notes == ()

    def test_another_due_time_for_all_names_the_way(self, assigned_term):
        with pytest.raises(Refused, match="'extend' for one"):
            assign.assign(assigned_term, "m01_timing", due="2026-05-31")
        assign.assign(assigned_term, "m02_dwell")
        with pytest.raises(Refused, match="without a due time; --change-due gives it one"):
            assign.assign(assigned_term, "m02_dwell", due="2026-05-31")

    def test_refusals(self, empty_term):
        with pytest.raises(Unknown, match="there are m01_timing"):
            assign.assign(empty_term, "m99_nothing")
        with pytest.raises(Refused, match="roster import"):
            assign.assign(empty_term, "m01_timing")
        with pytest.raises(Refused, match="can be 4 March or 3 April"):
            assign.assign(empty_term, "m01_timing", due="04/03/2026")


class TestCollect:
    def test_kept_by_content_and_taken_once(self, assigned_term):
        sheet = right_sheet(issue_of(assigned_term, "t01"))
        first = hand_in(assigned_term, sheet)
        second = hand_in(assigned_term, sheet, "2026-04-09 12:00")
        assert (first.taken, second.taken, second.known) == (1, 0, 1)
        sha256 = hashlib.sha256(sheets.dump(sheet)).hexdigest()
        assert kept_path(assigned_term, sha256).read_bytes() == sheets.dump(sheet)
        with database.transaction(assigned_term) as connection:
            arrivals = connection.execute(select(schema.hand_in.c.received_at)).scalars().all()
        assert arrivals == ["2026-03-30T11:00:00.000Z"]

    def test_a_bare_answers_file_and_the_time_of_arrival(self, assigned_term):
        sheet = right_sheet(issue_of(assigned_term, "t01"))
        path = assigned_term.folder / "inbox" / "answers.json"
        path.write_bytes(sheets.dump(sheet))
        os.utime(path, (0, 0))  # the trainee's clock says 1970; the file arrived now
        assert collect.collect(assigned_term).taken == 1
        with database.transaction(assigned_term) as connection:
            arrived = clock.from_text(connection.execute(select(schema.hand_in.c.received_at)).scalar_one())
        assert abs(clock.now() - arrived) < timedelta(minutes=5)

    @pytest.mark.parametrize(
        ("change", "said"),
        [
            ({"term": "autumn"}, "belongs to term 'autumn'"),
            ({"trainee": "t99"}, "an id that nobody has"),
            ({"trainee": "t02"}, "lies in the folder of t01 and says it is by t02"),
            ({"trainee": "../t01"}, "an id that nobody has"),
            ({"module": "m77_else"}, "no module 'm77_else'"),
            ({"attempt": 3}, "never issued attempt 3"),
        ],
    )
    def test_misplaced_sheets_are_named_and_not_taken(self, assigned_term, change, said):

        sheet = right_sheet(issue_of(assigned_term, "t01")).but(**change)
        path = assigned_term.folder / "inbox" / "t01" / "x.json"
        path.parent.mkdir(parents=True)
        path.write_bytes(sheets.dump(sheet))
        done = collect.collect(assigned_term)
        assert done.taken == 0 and len(done.findings) == 1 and said in done.findings[0]
        assert path.exists()

    def test_a_damaged_sheet_is_kept_and_named(self, assigned_term):
        sheet = right_sheet(issue_of(assigned_term, "t01"))
        broken = sheets.dump(sheet)[:200]
        done = hand_in(assigned_term, sheet, content=broken)
        assert done.taken == 1 and "damaged" in done.findings[0]
        assert kept_path(assigned_term, hashlib.sha256(broken).hexdigest()).read_bytes() == broken
        run = mark_class.mark(assigned_term, "m01_timing")
        assert run.marked == 0 and "t01: The answer sheet is damaged" in run.findings[0]
        assert rows_of(assigned_term)["T01"]["status"] == "handed in"
        assert rows_of(assigned_term)["T01"]["mark"] == ""

    def test_the_inbox_shows_only_what_is_still_to_be_looked_at(self, assigned_term):
        """Work that is kept goes to taken/; a file that was asked for again is not complained about once more."""
        inbox, sheet = assigned_term.folder / "inbox", right_sheet(issue_of(assigned_term, "t01"))
        put_in_inbox(assigned_term, sheet, content=sheets.dump(sheet)[:200], folder="t01/first")
        loose = inbox / "from the stick"
        loose.mkdir()
        (loose / "answers.json").write_bytes(sheets.dump(right_sheet(issue_of(assigned_term, "t02"))))
        (loose / "answers.json.bak").write_bytes(sheets.dump(sheet_of(issue_of(assigned_term, "t02"), {})))
        (loose / "receipt.json").write_text("{}")
        (loose / "photo.jpg").write_bytes(b"x")
        first = collect.collect(assigned_term)
        assert first.taken == 2 and len(first.findings) == 1 and "damaged" in first.findings[0]
        assert left(inbox) == ["m01_timing.zip", "photo.jpg"]
        taken = inbox / "taken"
        assert sorted(path.name for path in (taken / loose.name).iterdir()) == [
            "answers.json",
            "answers.json.bak",
            "receipt.json",
        ]
        assert len(collect.collect(assigned_term).findings) == 1, "nobody has done anything about it"
        put_in_inbox(assigned_term, sheet)
        again = collect.collect(assigned_term)
        assert (again.taken, again.findings, left(inbox)) == (1, [], ["photo.jpg"])
        assert (taken / "t01" / "m01_timing.zip").is_file() and (taken / "t01" / "first" / "m01_timing.zip").is_file()
        assert collect.collect(assigned_term, [taken]).taken == 0, "from there it can be collected again"

    def test_each_mishap_gets_the_advice_that_helps(self, assigned_term, tmp_path):
        """Nothing there; a lesson without its answers; a nought typed as a letter; work put right afterwards."""
        inbox = assigned_term.folder / "inbox"
        [note] = collect.collect(assigned_term).notes
        assert f"nothing lies in {inbox}" in note
        (inbox / "t03").mkdir()
        (inbox / "t03" / "m01_timing.ipynb").write_text("{}")
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w") as archive:
            archive.writestr("m01_timing/m01_timing.ipynb", "{}")
        (inbox / "lesson.zip").write_bytes(packed.getvalue())
        sheet = right_sheet(issue_of(assigned_term, "t01"))
        put_in_inbox(assigned_term, sheet.but(trainee="tO1"), folder="t01/mail")
        put_in_inbox(assigned_term, sheet.but(trainee="tO2"), folder="mail")
        put_in_inbox(assigned_term, sheet, folder="t02")
        told = collect.collect(assigned_term).findings
        assert sum("the lesson without the answers" in line for line in told) == 2
        assert any(
            "'tO1', an id that nobody has" in line and "the folder of Arundell, Bea, T01" in line for line in told
        )
        assert any("'tO2'. It looks like T02, O’Neil, Jr., Cass; ask." in line for line in told) and len(told) == 5
        put_in_inbox(assigned_term, sheet)
        again = collect.collect(assigned_term).findings
        assert len(again) == 4 and not any("it is by t01" in line for line in again), "it came the right way"

    def test_papers_that_the_program_wrote_are_not_listed(self, assigned_term):
        """`mark --papers` puts notebooks beside the answers in nbgrader's folder."""
        hand_in(assigned_term, right_sheet(issue_of(assigned_term, "t01")))
        mark_class.mark(assigned_term, "m01_timing")
        notebooks.write_class(assigned_term, "m01_timing")
        assert list((assigned_term.folder / "submitted").rglob("*.ipynb"))
        done = collect.collect(assigned_term)
        assert (done.taken, done.findings) == (0, []) and not any("ipynb" in note for note in done.notes)

    def test_archives_that_are_none(self, assigned_term):
        folder = assigned_term.folder / "inbox" / "t01"
        folder.mkdir(parents=True)
        (folder / "m01_timing.zip").write_bytes(b"PK\x03\x04 no archive")
        assert "no readable zip" in collect.collect(assigned_term).findings[0]
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w") as archive:
            archive.writestr("a/answers.json", "{}")
            archive.writestr("b/answers.json", "{}")
        (folder / "m01_timing.zip").write_bytes(packed.getvalue())
        assert any("2 answers.json" in finding for finding in collect.collect(assigned_term).findings)

    def test_an_archive_that_unpacks_without_end(self, assigned_term):
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("answers.json", b" " * 200_000_000)
        folder = assigned_term.folder / "inbox" / "t01"
        folder.mkdir(parents=True)
        (folder / "m01_timing.zip").write_bytes(packed.getvalue())
        assert "unpacks to more than" in collect.collect(assigned_term).findings[0]

    def test_a_path_that_is_not_there(self, assigned_term):
        with pytest.raises(Refused, match="does not exist"):
            collect.collect(assigned_term, [assigned_term.folder / "nowhere"])


class TestMark:
    def test_right_answers_earn_everything(self, assigned_term, m01):
        hand_in(assigned_term, right_sheet(issue_of(assigned_term, "t01")))
        run = mark_class.mark(assigned_term, "m01_timing")
        assert (run.marked, run.findings) == (1, [])
        row = mark_of(assigned_term, "t01")
        wanted = {e.name: 100 * sure_marks(e) for e in m01.exercises}
        assert (row.raw, row.penalty, row.mark, row.most) == (2800, 0, 2800, 3000)
        with database.transaction(assigned_term) as connection:
            assert gradebook.Rows(connection, m01).scores()["t01"] == wanted and sum(wanted.values()) == 2800

    def test_nbgraders_own_api_reads_the_marks(self, assigned_term, m01):
        """Whatever else reads the gradebook finds the term as if nbgrader had marked it."""
        hand_in(assigned_term, right_sheet(issue_of(assigned_term, "t02")))
        mark_class.mark(assigned_term, "m01_timing")
        with gradebook._nbgrader() as api, api.Gradebook(assigned_term.database_url) as book:
            submission = book.find_submission("m01_timing", "t02")
            assert submission.score == sum(map(sure_marks, m01.exercises)) == 28 and not submission.needs_manual_grade
            assert submission.student.last_name == "O’Neil, Jr."
            assert len(submission.notebooks[0].grades) == len(m01.exercises)

    def test_a_second_run_changes_nothing(self, assigned_term):
        hand_in(assigned_term, right_sheet(issue_of(assigned_term, "t01")))
        mark_class.mark(assigned_term, "m01_timing")
        with database.transaction(assigned_term) as connection:
            before = ledger.count(connection)
        assert mark_class.mark(assigned_term, "m01_timing").unchanged == 1
        with database.transaction(assigned_term) as connection:
            assert ledger.count(connection) == before

    def test_the_last_hand_in_on_time_counts(self, assigned_term):
        """jupyter/nbgrader thread 1171: a late resubmission by accident must not replace what was on time."""
        record = issue_of(assigned_term, "t01")
        answers = right_answers_of(record)
        hand_in(assigned_term, sheet_of(record, {}), "2026-03-28 12:00")
        hand_in(assigned_term, sheet_of(record, answers), "2026-03-30 12:00")
        hand_in(assigned_term, sheet_of(record, {"m01.mark_arc.arc": "1"}), "2026-04-02 12:00")
        mark_class.mark(assigned_term, "m01_timing")
        row = mark_of(assigned_term, "t01")
        assert row.mark == 2800 and row.late_days == 0

    def test_late_work_loses_its_share_and_the_penalty_is_computed_afresh(self, assigned_term):
        """jupyter/nbgrader thread 723: a penalty must not stick after the due time moves."""
        hand_in(assigned_term, right_sheet(issue_of(assigned_term, "t01")), "2026-04-01 18:00")
        mark_class.mark(assigned_term, "m01_timing")
        row = mark_of(assigned_term, "t01")
        assert (row.late_days, row.penalty, row.mark) == (2, 560, 2240)
        with database.transaction(assigned_term) as connection:
            connection.execute(update(schema.issue).values(due="2026-04-30T16:00:00.000Z"))
        blank = mark_class.mark(assigned_term, "m01_timing", reason="  ")
        held = mark_class.mark(assigned_term, "m01_timing")
        assert blank.held == held.held, "blanks are no reason"
        assert "22.4 would become 28" in held.held[0] and mark_of(assigned_term, "t01").mark == 2240
        mark_class.mark(assigned_term, "m01_timing", reason="due time moved for all")
        assert mark_of(assigned_term, "t01").mark == 2800
        with database.transaction(assigned_term) as connection:
            last = list(ledger.entries(connection, "re-marked"))[-1][2]
        assert (last["old"], last["new"], last["reason"]) == (2240, 2800, "due time moved for all")

    def test_a_preview_names_every_change_and_writes_nothing(self, assigned_term):
        record = issue_of(assigned_term, "t01")
        hand_in(assigned_term, right_sheet(record), "2026-04-01 18:00")
        fresh = mark_class.mark(assigned_term, "m01_timing", preview=True)
        assert [(c.trainee, c.old, c.new) for c in fresh.changes] == [("t01", None, 2240)] and fresh.marked == 0
        assert mark_of(assigned_term, "t01") is None
        mark_class.mark(assigned_term, "m01_timing")
        assert mark_class.mark(assigned_term, "m01_timing", preview=True).changes == []
        with database.transaction(assigned_term) as connection:  # as if a later version had marked one part otherwise
            table = schema.answer
            connection.execute(update(table).where(table.c.part == "m01.mark_arc.arc").values(hundredths=0))
            connection.execute(update(schema.mark).values(raw=2600, penalty=520, mark=2080))
            rows = ledger.count(connection)
        seen = mark_class.mark(assigned_term, "m01_timing", preview=True).changes
        assert [(c.old, c.new, c.same_work, c.parts) for c in seen] == [
            (2080, 2240, True, (("m01.mark_arc.arc", 0, 200),))
        ]
        assert list(overview.changes(seen)) == ["t01: 20.8 → 22.4 (same hand-in): m01.mark_arc.arc 0 → 2"]
        with database.transaction(assigned_term) as connection:
            assert ledger.count(connection) == rows
        assert mark_of(assigned_term, "t01").mark == 2080

    def test_a_fault_of_ours_on_one_sheet_does_not_keep_the_class_waiting(self, assigned_term, monkeypatch):
        for trainee in ("t01", "t02"):
            hand_in(assigned_term, right_sheet(issue_of(assigned_term, trainee)))
        rows = evaluation.answer_rows

        def stumbles(module, issue, typed, found):
            if issue.trainee == "t01":
                raise TypeError("a slip of ours")
            return rows(module, issue, typed, found)

        monkeypatch.setattr(evaluation, "answer_rows", stumbles)
        run = mark_class.mark(assigned_term, "m01_timing")
        assert (
            run.marked == 1
            and len(run.findings) == 1
            and "t01" in run.findings[0]
            and "a slip of ours" in run.findings[0]
        )
        assert mark_of(assigned_term, "t01") is None and mark_of(assigned_term, "t02") is not None

    def test_how_many_share_a_transaction_changes_nothing_that_is_written(
        self, assigned_term, m01, tmp_path, monkeypatch
    ):
        first = {who: right_sheet(issue_of(assigned_term, who)) for who in ("t01", "t02", "t03")}
        whole, found = first["t02"], []
        first["t02"] = whole.but(answers=dict(list(whole.answers.items())[1:]))
        for together in (1, 2, 25):
            monkeypatch.setattr(mark_class, "TOGETHER", together)
            folder = shutil.copytree(assigned_term.folder, tmp_path / f"by{together}")
            head.path_of(assigned_term).unlink(
                missing_ok=True
            )  # each copy goes its own way, as on a machine of its own
            term = terms.open_term(folder)
            for sheet in first.values():
                hand_in(term, sheet)
            assert mark_class.mark(term, "m01_timing").marked == 3
            hand_in(term, whole, "2026-03-30 13:00")
            again = mark_class.mark(term, "m01_timing")
            assert (again.marked, again.unchanged) == (1, 2)
            with database.transaction(term) as connection:
                marks = connection.execute(select(schema.mark).order_by("trainee")).mappings().all()
                done = [entry for _, _, entry in ledger.entries(connection, "marked", "re-marked")]
                kept = connection.execute(select(schema.answer).order_by("trainee", "part")).all()
                assert ledger.first_broken(connection) is None
                marks = [{**mark, "marked_at": ""} for mark in marks]
                found.append((marks, done, kept, gradebook.Rows(connection, m01).book()))
            assert verify.verify(term).findings == []
        assert found[0] == found[1] == found[2] and len(found[0][1]) == 4

    def test_a_module_that_was_not_assigned(self, empty_term):
        with pytest.raises(Refused, match="was not assigned"):
            mark_class.mark(empty_term, "m01_timing")

    def test_a_manual_score_in_the_gradebook_is_kept(self, assigned_term, m01):
        record = issue_of(assigned_term, "t01")
        hand_in(assigned_term, sheet_of(record, {}), "2026-03-28 12:00")
        mark_class.mark(assigned_term, "m01_timing")
        with gradebook._nbgrader() as api, api.Gradebook(assigned_term.database_url) as book:
            book.find_grade("mark_arc", "m01_timing", "m01_timing", "t01").manual_score = 1.5
            book.db.commit()
        hand_in(assigned_term, right_sheet(record), "2026-03-30 12:00")
        mark_class.mark(assigned_term, "m01_timing")
        with gradebook._nbgrader() as api, api.Gradebook(assigned_term.database_url) as book:
            grade = book.find_grade("mark_arc", "m01_timing", "m01_timing", "t01")
            assert (grade.auto_score, grade.manual_score) == (2.0, 1.5)


class TestVerify:
    @pytest.fixture
    def marked(self, assigned_term):
        hand_in(assigned_term, right_sheet(issue_of(assigned_term, "t01")))
        mark_class.mark(assigned_term, "m01_timing")
        assert verify.verify(assigned_term).findings == []
        return assigned_term

    def test_a_mark_changed_behind_the_ledger(self, marked):
        with database.transaction(marked) as connection:
            connection.execute(update(schema.mark).values(mark=2800, raw=100))
        assert any("marking again gives 28" in finding for finding in verify.verify(marked).findings)

    def test_a_hand_in_changed_after_it_was_taken(self, marked):
        path = next((marked.folder / "handed_in").rglob("*.json"))
        path.write_bytes(path.read_bytes().replace(b"m01.mark_arc", b"m01.mark_ark"))
        assert any("was changed" in finding for finding in verify.verify(marked).findings)
        path.unlink()
        assert any("missing" in finding for finding in verify.verify(marked).findings)

    def test_a_score_changed_in_the_gradebook(self, marked):
        with gradebook._nbgrader() as api, api.Gradebook(marked.database_url) as book:
            book.find_grade("mark_arc", "m01_timing", "m01_timing", "t01").auto_score = 0.5
            book.db.commit()
        assert any("mark_arc is 2 here and 0.5" in finding for finding in verify.verify(marked).findings)

    def test_a_mark_taken_out(self, marked):
        with database.transaction(marked) as connection:
            connection.execute(schema.mark.delete())
        assert any("the records have none" in finding for finding in verify.verify(marked).findings)


class TestExport:
    def test_absent_is_blank_and_states_do_not_blur(self, assigned_term):
        hand_in(assigned_term, sheet_of(issue_of(assigned_term, "t01"), {}))
        mark_class.mark(assigned_term, "m01_timing")
        hand_in(assigned_term, right_sheet(issue_of(assigned_term, "t02")))
        rows = rows_of(assigned_term)
        assert [(rows[i]["status"], rows[i]["mark"]) for i in ("T01", "T02", "T03")] == [
            ("marked", "0"), ("handed in", ""), ("not handed in", ""),
        ]  # fmt: skip
        assert rows["T01"]["passed"] == "no" and rows["T02"]["passed"] == ""
        assert rows["T02"]["last_name"] == "O’Neil, Jr." and rows["T03"]["last_name"] == "Null"

    def test_columns_and_line_ends(self, assigned_term):
        content = package.write([assigned_term], "grades").path.read_bytes()
        assert content.startswith(",".join(grades.COLUMNS).encode() + b"\r\n") and content.count(b"\r\n") == 4

    @pytest.mark.parametrize(("mark", "most", "shown", "passes"), [(1700, 1700, "100", True), (1020, 1700, "60", True), (5999, 10000, "59.99", False), (59999, 100000, "59.99", False), (500, 1700, "29.41", False), (1, 800, "0.13", False), (7, 800, "0.88", False)])  # fmt: skip
    def test_a_missed_pass_is_never_rounded_up_to_one(self, empty_term, mark, most, shown, passes):
        assert grades.percent(mark, most, empty_term.pass_percent("m01_timing")) == shown
        assert passing.reached(empty_term, "m01_timing", mark, most) is passes

    def test_hundredths(self):
        assert [grades.hundredths(value) for value in (0, 5, 50, 1755, 2000)] == ["0", "0.05", "0.5", "17.55", "20"]


def right_answers_of(record):
    from grader import catalogue

    return right_answers(catalogue.module(record.module), record)
