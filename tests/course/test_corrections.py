"""What an instructor corrects afterwards: when work came in, whether it counts, when it is due, whether it stands at all."""

import io
import os
import zipfile

import pytest
from sqlalchemy import func, select

from grader import clock
from grader.course.attempts import kept, overview, standing
from grader.course.attempts.standing import Whom
from grader.course.audit import verify
from grader.course.grading import adjust, due_time, mark_class, received, resit
from grader.course.issue import assign
from grader.course.submissions import collect
from grader.errors import Refused
from grader.exercise import issued
from grader.exercise import sheet as sheets
from grader.records import database, first_seen, ledger, schema
from grader.records.term import roster
from grader.records.term import term as terms
from grader.reports.feedback import return_run
from tests.course import resits
from tests.work import NEXT, export_grades, exported, issue_of, put_in_inbox, right_sheet, sheet_of, state

MODULE = "m01_timing"
ON_TIME, LATE = "2026-03-30 12:00", "2026-04-02 09:00"  # due on 31 March at 17:00
ALL = Whom(everybody=True)


def at(text):
    return clock.parse(text, "Europe/Lisbon")


def hand_in(term, sheet, when=ON_TIME, **how):
    path = put_in_inbox(term, sheet)
    return collect.collect(term, [path.parent], received_at=at(when), **how)


def packed(sheet, *beside):
    """A hand-in as a lesson packs it, with what lies beside the answers."""
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as archive:
        for name, body in (("answers.json", sheets.dump(sheet)), *beside):
            archive.writestr(f"{sheet.module}/{name}", body)
    return content.getvalue()


def put(term, name, content):
    path = term.folder / "inbox" / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    return path


def marks(term):
    with database.reading(term) as connection:
        return dict(connection.execute(select(schema.mark.c.trainee, schema.mark.c.mark)).all())


def entries(term, event):
    with database.reading(term) as connection:
        return [entry for _, _, entry in ledger.entries(connection, event)]


@pytest.fixture
def three_late(assigned_term):
    """Three who handed in everything right, taken two days late because the files came late."""
    for trainee in ("t01", "t02", "t03"):
        hand_in(assigned_term, right_sheet(issue_of(assigned_term, trainee)), LATE)
    mark_class.mark(assigned_term, MODULE)
    assert marks(assigned_term) == {"t01": 2240, "t02": 2240, "t03": 2240}
    return assigned_term


class TestLatenessIsSaid:
    def test_collect_says_who_is_late_by_how_much_and_what_it_costs(self, assigned_term):
        on_time = hand_in(assigned_term, right_sheet(issue_of(assigned_term, "t01")))
        assert on_time.sentence() == "1 taken, all on time. Time of arrival: by your word."
        late = hand_in(assigned_term, right_sheet(issue_of(assigned_term, "t02")), LATE)
        assert late.sentence() == (
            "1 taken: 0 on time, 1 late (O’Neil, Jr., Cass 2 days, 20 % of the mark earned). Time of arrival: by your word."
        )

    def test_half_a_class_late_by_one_arrival_is_asked_about_first(self, assigned_term):
        for trainee in ("t01", "t02"):
            put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, trainee)))
        asked = []
        with pytest.raises(Refused, match="nothing was taken"):
            collect.collect(assigned_term, received_at=at(LATE), confirm=lambda many: asked.append(str(many)))
        assert asked[0].startswith("2 of 3 would be late in m01_timing") and "--received-at" in asked[0]
        with database.reading(assigned_term) as connection:
            assert connection.execute(select(func.count()).select_from(schema.hand_in)).scalar_one() == 0
        assert not list((assigned_term.folder / "handed_in").rglob("*.json")), "not even a file was kept"
        done = collect.collect(assigned_term, received_at=at(LATE), confirm=lambda many: True)
        assert done.taken == len(done.late) == 2

    def test_one_late_sheet_asks_nobody(self, assigned_term):
        def confirm(many):
            raise AssertionError(many)

        assert hand_in(assigned_term, right_sheet(issue_of(assigned_term, "t01")), LATE, confirm=confirm).taken == 1

    def test_return_says_which_sheets_carry_a_penalty(self, three_late):
        done = return_run.give_back(three_late, MODULE)
        assert done.penalties[0] == "Arundell, Bea (T01): 2 days late, 5.6 taken off"
        assert len(done.penalties) == done.written == 3


class TestFirstSight:
    """Sorting the inbox makes nothing late: what was in a file when it was first seen is known by its content."""

    def seen_on_time(self, term, monkeypatch, trainee="t01"):
        """A hand-in that lay in the inbox on the day before it was due, when somebody looked at the term."""
        path = put_in_inbox(term, right_sheet(issue_of(term, trainee)))
        with monkeypatch.context() as that_day:
            that_day.setattr(clock, "now", lambda: at("2026-03-30 12:00"))
            before = state(term.folder)
            terms.open_term(term.folder)
            assert state(term.folder) == before, "it is noted outside the term"
        return path

    def test_a_file_that_was_renamed_and_moved_since_is_on_time(self, assigned_term, monkeypatch):
        path = self.seen_on_time(assigned_term, monkeypatch)
        sorted_in = assigned_term.folder / "inbox" / "A" / "Arundell" / "work.zip"
        sorted_in.parent.mkdir(parents=True)
        path.rename(sorted_in)
        done = collect.collect(assigned_term)
        assert done.sentence() == "1 taken, all on time. Time of arrival: by the first sight in the inbox."
        assert done.sheets[0].received_at == "2026-03-30T11:00:00.000Z"

    def test_other_content_under_the_same_name_was_not_seen(self, assigned_term, monkeypatch):
        """A trainee who changes his file in the open inbox has handed in when the new one came."""
        path = self.seen_on_time(assigned_term, monkeypatch)
        record = issue_of(assigned_term, "t01")
        put_in_inbox(assigned_term, right_sheet(record).but(saved="2026-03-30T10:00:00+00:00"))
        done = collect.collect(assigned_term)
        assert path.exists() is False and len(done.late) == 1 and done.sheets[0].by == collect.FILE

    def test_a_date_that_the_file_claims_never_counts_and_is_told(self, assigned_term):
        path = put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, "t01")))
        os.utime(path, (at("2026-03-30 12:00").timestamp(),) * 2)
        done = collect.collect(assigned_term)
        (note,) = [note for note in done.notes if "which anybody can set" in note]
        assert len(done.late) == 1 and "Arundell, Bea" in note and "received T01 m01_timing --at" in note

    def test_a_memory_cut_off_or_spoilt_costs_only_its_own_lines(self, assigned_term, monkeypatch):
        self.seen_on_time(assigned_term, monkeypatch)
        kept = first_seen.path_of(assigned_term.id, assigned_term.key)
        assert kept.stat().st_mode & 0o077 == 0
        content = kept.read_bytes()
        for spoilt in (
            b"\x00\xff nonsense\n",
            b"f" * 64 + b" 2026-03-30\n",
            b"f" * 64 + b" 2026-13-45T99:00:00Z",
            content[:70],
        ):
            kept.write_bytes(spoilt + content)
            assert len(first_seen.times(kept)) == 1
        kept.unlink()
        kept.mkdir()  # nothing can be noted there
        assert terms.open_term(assigned_term.folder).id == "spring-a"
        assert len(collect.collect(assigned_term).late) == 1


class TestReceived:
    def test_the_files_came_late_and_the_work_did_not(self, three_late):
        """All at once, with a reason; penalties go, ledger and proof agree, and correcting it again undoes it."""
        with pytest.raises(Refused, match="needs a reason"):
            received.correct(three_late, MODULE, ALL, at=ON_TIME, reason=" ")
        seen = received.correct(three_late, MODULE, ALL, at=ON_TIME, reason="", preview=True)
        assert len(seen) == 3 and marks(three_late)["t01"] == 2240
        done = received.correct(three_late, MODULE, ALL, at=ON_TIME, reason="the memory stick lay in my drawer")
        assert [one.mark for one in done] == [2800] * 3 and set(marks(three_late).values()) == {2800}
        entry = entries(three_late, "handed-in")[-1]
        assert (entry["kind"], entry["reason"]) == (ledger.RECEIVED, "the memory stick lay in my drawer")
        assert verify.verify(three_late).findings == []
        received.correct(three_late, MODULE, Whom(("T01",)), at=LATE, reason="no, that one was late")
        assert marks(three_late) == {"t01": 2240, "t02": 2800, "t03": 2800}

    def test_for_one_for_some_and_for_a_group(self, three_late):
        received.correct(three_late, MODULE, Whom(("T01", "T02")), at="2026-04-01 09:00", reason="by post")
        assert marks(three_late) == {"t01": 2520, "t02": 2520, "t03": 2240}
        received.correct(three_late, MODULE, Whom(group="B"), at=ON_TIME, reason="by post")
        assert marks(three_late)["t03"] == 2800

    def test_a_time_to_come_or_far_away_is_refused(self, three_late):
        for text in (f"{NEXT}-06-01", "0226-03-30", "9999-12-31", "2001-03-30"):
            with pytest.raises(Refused):
                received.correct(three_late, MODULE, ALL, at=text, reason="x")
        assert marks(three_late)["t01"] == 2240 and exported(three_late, "items") and exported(three_late, "objectives")

    def test_nothing_came_in(self, assigned_term):
        with pytest.raises(Refused, match="Nothing came in"):
            received.correct(assigned_term, MODULE, ALL, at=ON_TIME, reason="x")

    def test_a_list_of_what_came_in(self, three_late):
        person, found = received.listed(three_late, "T01", MODULE)
        assert (person.id, len(found), found[0].late_days, found[0].counts) == ("t01", 1, 2, True)


class TestWhichOfTwoCounts:
    def test_a_copy_downloaded_again_is_the_newer_one(self, assigned_term):
        """`x-1 (1).zip` sorts before `x-1.zip`; what the sheets say of their saving decides, and one line names it."""
        record = issue_of(assigned_term, "t01")
        older = sheet_of(record, {}).but(saved="2026-03-20T10:00:00.000Z")
        newer = right_sheet(record).but(saved="2026-03-21T10:00:00.000Z")
        put(assigned_term, "x-1.zip", packed(older))
        put(assigned_term, "x-1 (1).zip", packed(newer))
        done = collect.collect(assigned_term, received_at=at(ON_TIME))
        mark_class.mark(assigned_term, MODULE)
        assert done.taken == 2 and marks(assigned_term) == {"t01": 2800}
        (line,) = [note for note in done.notes if "came together" in note]
        assert "x-1 (1).zip, saved 2026-03-21T10:00:00, goes before" in line and "x-1.zip, saved 2026-03-20" in line

    def test_of_two_late_ones_that_came_together_too(self, assigned_term):
        record = issue_of(assigned_term, "t01")
        put(assigned_term, "b.zip", packed(sheet_of(record, {}).but(saved="2026-04-01T10:00:00.000Z")))
        put(assigned_term, "a.zip", packed(right_sheet(record).but(saved="2026-04-01T11:00:00.000Z")))
        collect.collect(assigned_term, received_at=at(LATE))
        mark_class.mark(assigned_term, MODULE)
        assert marks(assigned_term) == {"t01": 2240}

    def test_older_work_that_comes_later_waits(self, assigned_term):
        record = issue_of(assigned_term, "t01")
        hand_in(assigned_term, right_sheet(record).but(saved="2026-03-21T10:00:00.000Z"), "2026-03-29 12:00")
        again = right_sheet(record).but(saved="2026-03-20T10:00:00.000Z")
        done = hand_in(assigned_term, again)
        assert "saved before the one that counts" in done.findings[0]


class TestAStrangersSheet:
    @pytest.fixture
    def good(self, assigned_term):
        """T01's work is in, with the numbers that were issued beside it, and earned everything."""
        record = issue_of(assigned_term, "t01")
        put(assigned_term, "t01.zip", packed(right_sheet(record), ("issued.json", issued.dump(record))))
        collect.collect(assigned_term, received_at=at("2026-03-28 12:00"))
        mark_class.mark(assigned_term, MODULE)
        assert marks(assigned_term) == {"t01": 2800}
        return assigned_term

    def test_a_zip_that_only_names_another_id_changes_no_mark(self, good):
        """It took 28 to 0 without a word; now it is kept, waits, and is told, here and in the class report."""
        done = hand_in(good, sheet_of(issue_of(good, "t01"), {}))
        assert done.taken == 1 and "came without the numbers that were issued" in done.findings[0]
        assert "received" in done.findings[0] and done.findings[0].kind == schema.WAITS
        assert mark_class.mark(good, MODULE).unchanged == 1 and marks(good) == {"t01": 2800}
        with database.reading(good) as connection:
            assert kept.waiting(connection) == {("t01", MODULE, 1)}
        assert verify.verify(good).findings == []

    def test_a_sheet_that_lowers_what_is_in_waits_even_with_its_numbers(self, good):
        record = issue_of(good, "t01")
        put(good, "again.zip", packed(sheet_of(record, {}), ("issued.json", issued.dump(record))))
        done = collect.collect(good, received_at=at(ON_TIME))
        assert "can earn 0 marks at most, and the one that counts has 28" in done.findings[0]
        assert marks(good) == {"t01": 2800}

    def test_the_instructor_decides_and_may_change_his_mind(self, good):
        hand_in(good, sheet_of(issue_of(good, "t01"), {}))
        done = received.decide(good, "T01", MODULE, accept=True, reason="he says so himself")
        assert done.mark == 0 and marks(good) == {"t01": 0}
        done = received.decide(good, "T01", MODULE, accept=False, reason="it was not his", number=2)
        assert done.mark == 2800 and marks(good) == {"t01": 2800}
        assert verify.verify(good).findings == []
        assert [entry["kind"] for entry in entries(good, "handed-in")][-2:] == [schema.COUNTS, schema.SET_ASIDE]

    def test_the_only_one_cannot_be_set_aside(self, good):
        with pytest.raises(Refused, match="only hand-in"):
            received.decide(good, "T01", MODULE, accept=False, reason="x", number=1)
        with pytest.raises(Refused, match="waits for a decision"):
            received.decide(good, "T01", MODULE, accept=True, reason="x")

    def test_a_better_one_of_his_own_counts_at_once(self, assigned_term):
        record = issue_of(assigned_term, "t01")
        put(assigned_term, "one.zip", packed(sheet_of(record, {}), ("issued.json", issued.dump(record))))
        collect.collect(assigned_term, received_at=at("2026-03-28 12:00"))
        put(assigned_term, "two.zip", packed(right_sheet(record), ("issued.json", issued.dump(record))))
        assert collect.collect(assigned_term, received_at=at(ON_TIME)).findings == []
        mark_class.mark(assigned_term, MODULE)
        assert marks(assigned_term) == {"t01": 2800}


class TestDueTime:
    def test_the_class_has_two_days_more(self, three_late):
        """Penalties go, hand-outs and records name the new time, a late joiner gets it, `term show` prints it."""
        with pytest.raises(Refused, match="3 of them have handed in"):
            due_time.change_due(three_late, MODULE, "2026-04-02 17:00", ALL)
        assert due_time.change_due(three_late, MODULE, "2026-04-02 17:00", ALL, preview=True).handed_in == 3
        assert marks(three_late)["t01"] == 2240 and exported(three_late, "items") and exported(three_late, "objectives")
        done = due_time.change_due(three_late, MODULE, "2026-04-02 17:00", ALL, reason="the shop was shut")
        assert len(done.people) == 3 and set(marks(three_late).values()) == {2800}
        with zipfile.ZipFile(three_late.folder / "out" / "t01" / f"{MODULE}.zip") as archive:
            record = issued.parse(archive.read(f"{MODULE}/issued.json"))
        assert record.due == clock.to_text(at("2026-04-02 17:00"))
        assert issued.seal(record, three_late.key) == record.token
        assert any("due 2026-04-02 17:00" in line for line in overview.lines(three_late))
        listed = three_late.folder / "rosters" / "more.csv"
        listed.write_text("id,last_name,first_name,group\nT01,Arundell,Bea,A\nT02,Castellan,Rufus,A\nT03,Null,Dov,B\nT04,Marr,Ivo,B\n")  # fmt: skip
        roster.import_list(three_late, listed)
        assign.assign(three_late, MODULE)
        assert issue_of(three_late, "t04").due == record.due
        assert verify.verify(three_late).findings == []
        due_time.change_due(three_late, MODULE, "2026-03-31 17:00", ALL, reason="back again")
        assert marks(three_late)["t01"] == 2240 and exported(three_late, "items") and exported(three_late, "objectives")

    def test_for_a_group_or_one(self, three_late):
        due_time.change_due(three_late, MODULE, "2026-04-02 17:00", Whom(group="B"), reason="B met later")
        assert marks(three_late) == {"t01": 2240, "t02": 2240, "t03": 2800}
        assert any("another for 1" in line for line in overview.lines(three_late))

    def test_what_was_packed_before_counts_as_ours(self, assigned_term):
        """A lesson fetched before the due time moved packs the older numbers' file; nothing is said against it."""
        record = issue_of(assigned_term, "t01")
        due_time.change_due(assigned_term, MODULE, "2026-04-02 17:00", ALL)
        put(assigned_term, "t01.zip", packed(right_sheet(record), ("issued.json", issued.dump(record))))
        assert collect.collect(assigned_term, received_at=at(LATE)).findings == []

    def test_an_extension_is_never_shorter_than_the_due_time_of_all(self, three_late):
        adjust.extend(three_late, "T01", MODULE, until="2026-04-01 17:00", reason="ill")
        assert marks(three_late)["t01"] == 2520
        due_time.change_due(three_late, MODULE, "2026-04-03 17:00", ALL, reason="the shop was shut")
        assert marks(three_late)["t01"] == 2800

    def test_nothing_to_change_and_dates_that_cannot_be(self, assigned_term):
        with pytest.raises(Refused, match="already"):
            due_time.change_due(assigned_term, MODULE, "2026-03-31 17:00", ALL)
        for text in ("9999-12-31", "0226-03-31", "2002-03-31"):
            with pytest.raises(Refused, match="Look at the year"):
                due_time.change_due(assigned_term, MODULE, text, ALL)
            with pytest.raises(Refused, match="Look at the year"):
                assign.assign(assigned_term, "m02_dwell", due=text)


class TestWithdraw:
    def test_a_module_handed_out_by_mistake(self, assigned_term):
        done = due_time.withdraw(assigned_term, MODULE)
        assert (done.issued, done.handed_in) == (3, 0)
        assert not (assigned_term.folder / "out" / "t01" / f"{MODULE}.zip").exists()
        assert any("withdrawn: nobody had handed in" in line for line in overview.lines(assigned_term))
        late = hand_in(assigned_term, right_sheet(issue_of(assigned_term, "t01")))
        assert late.taken == 0 and "was withdrawn" in late.findings[0]
        with pytest.raises(Refused, match="was withdrawn"):
            mark_class.mark(assigned_term, MODULE)
        assign.assign(assigned_term, MODULE)
        assert (assigned_term.folder / "out" / "t01" / f"{MODULE}.zip").exists()
        assert collect.collect(assigned_term, received_at=at(ON_TIME)).taken == 1

    def test_one_that_somebody_has_handed_in_needs_a_reason_and_counts_nowhere(self, three_late):
        with pytest.raises(Refused, match="3 have handed in"):
            due_time.withdraw(three_late, MODULE)
        due_time.withdraw(three_late, MODULE, reason="the plates were wrong")
        assert "2240" not in export_grades(three_late).read_text("utf-8")
        for table in ("items", "objectives", "analysis", "modules"):
            assert exported(three_late, table) == [], f"{table}: what was taken back stands in no table"
        assert verify.verify(three_late).findings == [], "nothing is lost"
        assign.assign(three_late, MODULE)
        with database.reading(three_late) as connection:
            assert standing.assigned_modules(connection) == [MODULE]
        assert marks(three_late)["t01"] == 2240 and exported(three_late, "items") and exported(three_late, "objectives")


class TestSeveralAtOnce:
    def test_extend_all_who_have_not_handed_in(self, assigned_term):
        hand_in(assigned_term, right_sheet(issue_of(assigned_term, "t01")))
        lacking = Whom(lacking=standing.NOT_HANDED_IN)
        done = adjust.extend_all(assigned_term, MODULE, lacking, until="2026-04-10", reason="snow")
        assert [one.person.id for one in done.done] == ["t03", "t02"] and done.left_out == []  # in order of name

    def test_an_earlier_date_is_refused_with_a_sentence(self, assigned_term):
        adjust.extend(assigned_term, "T01", MODULE, until="2026-04-10", reason="snow")
        with pytest.raises(Refused, match="has an extension until 2026-04-10 .* is not later"):
            adjust.extend(assigned_term, "T01", MODULE, until="2026-04-05", reason="snow")
        with pytest.raises(Refused, match="is not after the due time"):
            adjust.extend(assigned_term, "T02", MODULE, until="2026-03-01", reason="snow")
        several = adjust.extend_all(assigned_term, MODULE, Whom(group="A"), until="2026-04-05", reason="snow")
        assert [one.person.id for one in several.done] == ["t02"] and "Arundell, Bea: " in several.left_out[0]

    def test_excuse_a_group_and_take_it_back(self, assigned_term):
        adjust.excuse_all(assigned_term, MODULE, Whom(group="A"), reason="course abroad")
        done = adjust.excuse_all(assigned_term, MODULE, Whom(("T01", "T02")), reason="came back", withdraw=True)
        assert len(done.done) == 2

    def test_resit_for_all_who_have_not_passed(self, assigned_term):
        for trainee, answers in (("t01", {}), ("t02", {}), ("t03", None)):
            record = issue_of(assigned_term, trainee)
            hand_in(assigned_term, right_sheet(record) if answers is None else sheet_of(record, answers))
        mark_class.mark(assigned_term, MODULE)
        return_run.give_back(assigned_term, MODULE)
        again = resit.resit_all(assigned_term, MODULE, Whom(lacking=standing.NOT_PASSED), reason="once more")
        assert sorted(one.person.id for one in again.done) == ["t01", "t02"]
        assert (assigned_term.folder / "out" / "t02" / f"{MODULE}.zip").is_file()
        assert issue_of(assigned_term, "t02", attempt=2).attempt == 2

    def test_nobody_named_and_nobody_lacking(self, assigned_term):
        with pytest.raises(Refused, match="Nobody is named"):
            adjust.extend_all(assigned_term, MODULE, Whom(), until="2026-04-10", reason="x")
        with pytest.raises(Refused, match="Nobody there is not passed"):
            adjust.excuse_all(assigned_term, MODULE, Whom(lacking=standing.NOT_PASSED), reason="x")


class TestWhatIsOpen:
    def test_the_term_says_who_has_more_time_who_sits_again_and_every_receipt(self, assigned_term, m01):
        """T01 sits again; T04 joined and is ill until next year; the receipts are those that the trainees wrote down."""
        resits.sit(resits.returned(assigned_term, m01))
        listed = assigned_term.folder / "rosters" / "more.csv"
        listed.write_text("id,last_name,first_name\nT01,Arundell,Bea\nT02,O’Neil,Cass\nT03,Null,Dov\nT04,Marr,Ivo\n")
        roster.import_list(assigned_term, listed)
        assign.assign(assigned_term, MODULE)
        adjust.extend(assigned_term, "T04", MODULE, until=f"{NEXT}-04-30 17:00", reason="ill")
        said = list(overview.lines(assigned_term))
        assert f"  extended until: Marr, Ivo {NEXT}-04-30 17:00 Europe/Lisbon" in said
        assert f"  resits not handed in: Arundell, Bea, attempt 2, due {NEXT}-03-31 17:00 Europe/Lisbon" in said
        _, [handed] = received.listed(assigned_term, "T01", MODULE)
        assert [line for line in overview.receipts(assigned_term) if handed.receipt in line and "T01" in line]
        with database.reading(assigned_term) as connection:
            digest = connection.execute(select(schema.hand_in.c.sha256)).scalar_one()
        assert handed.receipt == f"{digest[:4]} {digest[4:8]} {digest[8:12]}"
