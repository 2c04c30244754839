"""Numbers to a group, to single people, in one folder for all, through nbgrader's exchange; and the way back."""

import json
import logging
import os
import shutil
import zipfile

import pytest
from nbgrader.auth import Authenticator
from nbgrader.coursedir import CourseDirectory
from nbgrader.exchange.default import ExchangeFetchAssignment, ExchangeSubmit
from sqlalchemy import select

from grader import clock
from grader.course.attempts.standing import Whom
from grader.course.audit import deletion, verify
from grader.course.grading import mark_class, received
from grader.course.issue import assign
from grader.course.submissions import collect
from grader.errors import BadFile, CannotWrite, Refused, Unknown
from grader.exercise import issued
from grader.exercise import sheet as sheets
from grader.records import database, ledger, schema
from grader.records.gradebook import exchange
from grader.widgets import study
from grader.widgets.lesson import Lesson
from grader.widgets.people import ALL_NAME
from tests.work import issue_of, put_in_inbox, right_answers, right_sheet

MODULE = "m02_dwell"


@pytest.fixture(autouse=True)
def plain_surroundings(monkeypatch):
    for name in ("NBGRADER_EXECUTION", "JPY_SESSION_NAME"):
        monkeypatch.delenv(name, raising=False)


def dues(term, module=MODULE):
    with database.transaction(term) as connection:
        table = schema.issue
        return dict(connection.execute(select(table.c.trainee, table.c.due).where(table.c.module == module)).all())


def issued_events(term, module=MODULE):
    with database.transaction(term) as connection:
        found = [entry for _, _, entry in ledger.entries(connection, "issued")]
    return [(e["trainee"], e["new"], e["reason"]) for e in found if e["module"] == module]


def moment(text):
    return clock.to_text(clock.parse(text, "Europe/Lisbon"))


class TestWho:
    def test_one_group_first_and_the_other_with_a_due_time_of_its_own(self, assigned_term):
        done = assign.assign(assigned_term, MODULE, due="2026-04-30", group="a")
        assert [person.id for person in done.issued_to] == ["t01", "t02"]
        assert not (assigned_term.folder / "out" / "t03" / f"{MODULE}.zip").exists()
        done = assign.assign(assigned_term, MODULE, due="2026-05-31", group="B")
        assert [person.id for person in done.issued_to] == ["t03"] and done.due == moment("2026-05-31")
        assert dues(assigned_term) == {
            "t01": moment("2026-04-30"), "t02": moment("2026-04-30"), "t03": moment("2026-05-31"),
        }  # fmt: skip
        assert issued_events(assigned_term)[-1] == ("t03", "zips", f"due {moment('2026-05-31')}")
        with database.transaction(assigned_term) as connection:
            row = connection.execute(select(schema.assignment).where(schema.assignment.c.module == MODULE)).one()
        assert row.due == moment("2026-04-30")
        assert issue_of(assigned_term, "t03", MODULE).due == moment("2026-05-31")

    def test_single_people_by_either_id(self, assigned_term):
        done = assign.assign(assigned_term, MODULE, trainees=("T03", "t01"))
        assert [person.id for person in done.issued_to] == ["t01", "t03"]
        done = assign.assign(assigned_term, MODULE)
        assert [person.id for person in done.issued_to] == ["t02"] and done.had_them == 2

    @pytest.mark.parametrize(
        ("how", "kind", "words"),
        [
            ({"group": "C"}, Unknown, "there are A, B"),
            ({"trainees": ("T09",)}, Unknown, "'T09'"),
            ({"trainees": ("T03",), "group": "A"}, Unknown, "not enrolled in that group"),
            ({"way": "pigeon"}, Refused, "zips, folder, exchange, paper"),
            ({"way": "exchange", "exchange": "/nowhere/at/all"}, Refused, "is no exchange folder"),
        ],
    )
    def test_what_cannot_be_meant_is_refused(self, assigned_term, how, kind, words):
        with pytest.raises(kind, match=words):
            assign.assign(assigned_term, MODULE, **how)
        assert dues(assigned_term) == {} and issued_events(assigned_term) == []

    def test_the_whole_class_keeps_one_due_time(self, assigned_term):
        assign.assign(assigned_term, MODULE, due="2026-04-30", group="A")
        with pytest.raises(Refused, match="name a --group or --trainee"):
            assign.assign(assigned_term, MODULE, due="2026-05-31")
        assign.assign(assigned_term, MODULE, way="folder")
        assert dues(assigned_term)["t03"] == moment("2026-04-30")
        with pytest.raises(Refused, match="Use 'extend'"):
            assign.assign(assigned_term, MODULE, due="2026-06-30", way="folder", group="A")


class TestWays:
    def test_numbers_handed_out_in_one_more_way_stay_the_same(self, assigned_term):
        before = issue_of(assigned_term, "t01")
        done = assign.assign(assigned_term, "m01_timing", way="folder", group="A")
        assert (done.issued_to, done.had_them) == ((), 2) and issue_of(assigned_term, "t01") == before
        said = issued_events(assigned_term, "m01_timing")
        assert [(who, way) for who, way, _ in said[3:]] == [("t01", "folder"), ("t02", "folder")]
        assign.assign(assigned_term, "m01_timing", way="folder", group="A")
        assert issued_events(assigned_term, "m01_timing") == said  # nothing new to say
        assert verify.verify(assigned_term).findings == []

    def test_no_zips_where_nobody_asked_for_them(self, assigned_term):
        assign.assign(assigned_term, MODULE, way="folder")
        assert not list(assigned_term.folder.glob(f"out/t0*/{MODULE}.zip"))
        with pytest.raises(Refused, match="all 3 have their numbers"):
            assign.assign(assigned_term, MODULE)
        assign.assign(assigned_term, MODULE, way="zips", trainees=("T02",))
        assert [path.parent.name for path in assigned_term.folder.glob(f"out/*/{MODULE}.zip")] == ["t02"]


@pytest.fixture
def class_folder(assigned_term):
    return assign.assign(assigned_term, "m01_timing", way="folder").folder


def open_lesson(folder):
    lesson = Lesson("m01_timing", folder)
    lesson.top()
    lesson.show("m01.mark_arc")
    return lesson


def say_id(lesson, text):
    lesson.head.name.value = text
    lesson.head.start.click()


class TestOneFolderForAll:
    def test_no_id_and_no_name_stands_in_it(self, assigned_term, class_folder):
        text = (class_folder / issued.NAME).read_text("utf-8")
        for word in ("t01", "T01", "Arundell", "Null"):
            assert word not in text
        assert len(json.loads(text)["entries"]) == 3
        again = assign.assign(assigned_term, "m01_timing", way="folder").folder
        assert (again / issued.NAME).read_text("utf-8") == text

    def test_each_finds_his_own_numbers_by_his_id(self, assigned_term, class_folder):
        shared = issued.read_shared(class_folder / issued.NAME)
        for typed, trainee in (("T01", "t01"), (" t02 ", "t02"), ("T03", "t03")):
            assert shared.of(typed) == issue_of(assigned_term, trainee)
        with pytest.raises(Refused, match="no numbers here for the id 'T04'"):
            shared.of("T04")

    def test_from_study_to_the_mark(self, assigned_term, class_folder, tmp_path):
        ready = study.make_ready(str(class_folder), folder=tmp_path / "work")
        assert (ready.module, ready.mode) == ("m01_timing", "assessed")
        work = ready.notebook.parent
        for trainee in ("T01", "t02"):
            lesson = open_lesson(work)
            lesson.head.other.click()
            say_id(lesson, trainee)
            assert f"<strong>{trainee.lower()}</strong>" in lesson.head.who.value
            record = lesson.store.issue
            assert record == issue_of(assigned_term, trainee.lower())
            for path, raw in right_answers(lesson.module, record).items():
                lesson.answer(path, raw)
            if trainee == "T01":
                lesson.head.hand_in.click()
                assert "Handed in: receipt" in lesson.head.message.value
        found = collect.collect(assigned_term, [work], received_at=clock.parse("2026-03-30", "Europe/Lisbon"))
        assert (found.taken, found.known, found.findings) == (2, 1, [])
        run = mark_class.mark(assigned_term, "m01_timing")
        assert (run.marked, run.findings) == (2, [])
        assert verify.verify(assigned_term).findings == []
        with database.transaction(assigned_term) as connection:
            marks = connection.execute(select(schema.mark.c.trainee, schema.mark.c.mark)).all()
        assert [who for who, _ in marks] == ["t01", "t02"] and len({mark for _, mark in marks}) == 1

    def test_nobody_sees_anothers_answers(self, class_folder, tmp_path):
        work = study.make_ready(str(class_folder), folder=tmp_path / "work").notebook.parent
        lesson = open_lesson(work)
        assert "Who are you?" in lesson.head.who.value and lesson.head.buttons.children == ()
        assert "Type your id at the top first." in lesson.forms["m01.mark_arc"].box.children[0].value
        say_id(lesson, "T09")
        assert "no numbers here for the id" in lesson.head.message.value and lesson.store.people.waiting
        say_id(lesson, "T01")
        lesson.answer("m01.mark_arc.arc", "12.3", "mm")
        lesson.head.other.click()
        say_id(lesson, "T03")
        assert lesson.store.answers == {} and lesson.store.issue.trainee == "t03"
        lesson.answer("m01.mark_arc.arc", "45.6", "mm")
        assert sheets.read(work / "own" / "t01" / "answers.json").answers["m01.mark_arc.arc"].raw == "12.3"
        assert sheets.read(work / "own" / "t03" / "answers.json").answers["m01.mark_arc.arc"].raw == "45.6"

    def test_opened_again_it_asks_however_soon(self, class_folder, tmp_path):
        """Whoever sits down next must not find, and write over, the assessed answers of the one before."""
        work = study.make_ready(str(class_folder), folder=tmp_path / "work").notebook.parent
        lesson = open_lesson(work)
        say_id(lesson, "T01")
        lesson.answer("m01.mark_arc.arc", "12.3", "mm")
        again = open_lesson(work)
        assert again.store.people.waiting and again.store.answers == {} and not again.store.place.may_save
        assert "12.3" not in again.head.who.value
        say_id(again, "T03")
        assert again.store.answers == {}
        say_id(again, "T01")
        assert again.store.answers["m01.mark_arc.arc"].raw == "12.3"

    def test_who_joins_later_is_in_the_newer_folder(self, assigned_term, tmp_path):
        folder = assign.assign(assigned_term, MODULE, way="folder", group="A").folder
        study.make_ready(str(folder), folder=tmp_path)
        assign.assign(assigned_term, MODULE, way="folder")
        work = study.make_ready(str(folder), folder=tmp_path).notebook.parent
        assert issued.read_shared(work / issued.NAME).of("T03") == issue_of(assigned_term, "t03", MODULE)

    def test_a_damaged_file_is_said_in_one_sentence(self, class_folder, tmp_path):
        path = class_folder / issued.NAME
        found = json.loads(path.read_text("utf-8"))
        for spoil in ({"salt": 3}, {"schema": 9}, {"entries": {"x": {"trainee": "zz"}}}, {"entries": {"x": []}}):
            path.write_text(json.dumps(found | spoil), encoding="utf-8")
            with pytest.raises(BadFile, match="Ask the instructor"):
                issued.read_shared(path)
        (tmp_path / "single").mkdir()
        with zipfile.ZipFile(class_folder.parents[2] / "t01" / "m01_timing.zip") as packed:
            (tmp_path / "single" / issued.NAME).write_bytes(packed.read("m01_timing/issued.json"))
        with pytest.raises(BadFile, match="numbers of one trainee"):
            study.make_ready(str(tmp_path / "single"), folder=tmp_path / "work")

    def test_a_forged_id_leads_nowhere_else(self, class_folder, tmp_path):
        """A file made by hand whose id is a path must not make a folder outside the lesson's."""
        real = issued.read_shared(class_folder / issued.NAME).of("T01")
        forged = issued.Issued(
            **{name: getattr(real, name) for name in issued.Issued.__slots__} | {"trainee": "../../x"}
        )
        shared = issued.share([("T01", forged)], key=b"k", term="spring-a", module="m01_timing", own_copy=False)
        (class_folder / issued.NAME).write_bytes(issued.dump_shared(shared))
        work = study.make_ready(str(class_folder), folder=tmp_path / "deep" / "work").notebook.parent
        say_id(open_lesson(work), "T01")
        assert all(work in path.parents for path in tmp_path.rglob("issued.json") if path.parents[0] != class_folder
                   and "deep" in path.parts)  # fmt: skip
        assert not list(tmp_path.glob("x")) and not list((tmp_path / "deep").glob("x"))

    def test_a_deleted_person_is_no_longer_in_it(self, assigned_term, class_folder):
        done = deletion.delete_person(assigned_term, "T01", reason="asked for it")
        shared = issued.read_shared(class_folder / issued.NAME)
        assert len(shared.entries) == 2 and shared.of("T02").trainee == "t02" and done.findings == []
        with pytest.raises(Refused):
            shared.of("T01")


@pytest.fixture
def root(tmp_path):
    (tmp_path / "exchange").mkdir(mode=0o777)
    (tmp_path / "exchange").chmod(0o777)
    return tmp_path / "exchange"


class AsTrainee:
    """A trainee's own side of nbgrader: fetch and submit with nbgrader's API, in a folder of his own."""

    def __init__(self, term, root, home, name):
        self.config = exchange.exchange_config(term, root)
        self.config.CourseDirectory.root = str(home)
        self.config.CourseDirectory.assignment_id = "m01_timing"
        self.config.Exchange.assignment_dir = str(home)
        self.config.Exchange.cache = str(home / "cache")
        home.mkdir()
        self.name, self.folder = name, home / "m01_timing"

    def run(self, kind):
        made = kind(coursedir=CourseDirectory(config=self.config), authenticator=Authenticator(), config=self.config)
        made.log = logging.getLogger("quiet")
        made.log.setLevel(logging.CRITICAL + 1)
        made.start()
        return made


class TestExchange:
    def test_fetched_worked_on_submitted_collected_and_marked(self, assigned_term, root, tmp_path, monkeypatch):
        done = assign.assign(assigned_term, "m01_timing", way="exchange", exchange=root)
        assert done.folder == root / "spring-a" / "outbound" / "m01_timing"
        assert oct((root / "spring-a" / "inbound").stat().st_mode)[-3:] == "733"
        for name in ("t01", "t02"):
            monkeypatch.setattr("nbgrader.exchange.default.submit.get_username", lambda name=name: name)
            trainee = AsTrainee(assigned_term, root, tmp_path / f"home-{name}", name)
            trainee.run(ExchangeFetchAssignment)
            lesson = open_lesson(trainee.folder)
            say_id(lesson, name)
            assert (trainee.folder / ALL_NAME).is_file() and lesson.store.issue == issue_of(assigned_term, name)
            for path, raw in right_answers(lesson.module, lesson.store.issue).items():
                lesson.answer(path, raw)
            assert not open_lesson(trainee.folder).store.people.waiting  # asked once, never again
            assert trainee.run(ExchangeSubmit).assignment_filename.startswith(f"{name}+m01_timing+")
        found = collect.collect_exchange(assigned_term, root)
        assert (found.taken, found.findings) == (2, [])
        assert collect.collect_exchange(assigned_term, root).known == 2
        assert mark_class.mark(assigned_term, "m01_timing").marked == 2
        assert verify.verify(assigned_term).findings == []

    def test_every_submission_is_taken_with_the_exchanges_time(self, assigned_term, root, monkeypatch):
        monkeypatch.setattr(exchange, "made_at", lambda folder: exchange.read_stamp(folder.name.split("+")[2]))
        assign.assign(assigned_term, "m01_timing", way="exchange", exchange=root)
        inbound = root / "spring-a" / "inbound"
        for stamp, content in (("2026-03-30 10:00:00 UTC", "1"), ("2026-04-02 10:00:00 UTC", "2")):
            folder = inbound / f"t01+m01_timing+{stamp}+secret{content}"
            folder.mkdir()
            record = issue_of(assigned_term, "t01")
            sheet = sheets.Sheet(record.term, record.module, "t01", 1, {"m01.mark_arc.arc": sheets.Answer(content)})
            (folder / "answers.json").write_bytes(sheets.dump(sheet))
            (folder / "timestamp.txt").write_text(stamp)
            (folder / "m01_timing.ipynb").write_text("{}")
        (inbound / "stray").mkdir()
        found = collect.collect_exchange(assigned_term, root)
        assert found.taken == 2 and found.findings == [] and any("stray" in note for note in found.notes)
        with database.transaction(assigned_term) as connection:
            rows = connection.execute(select(schema.hand_in).order_by(schema.hand_in.c.id)).all()
        assert [row.received_at for row in rows] == ["2026-03-30T10:00:00.000Z", "2026-04-02T10:00:00.000Z"]
        assert rows[0].source.endswith("submitted/t01/m01_timing/answers.json")
        mark_class.mark(assigned_term, "m01_timing")
        with database.transaction(assigned_term) as connection:
            assert connection.execute(select(schema.mark.c.late_days)).scalar() == 0  # the one on time counts

    def test_a_hand_in_of_another_account_waits_for_a_decision(self, assigned_term, root, monkeypatch):
        assign.assign(assigned_term, "m01_timing", way="exchange", exchange=root)
        folder = root / "spring-a" / "inbound" / "t01+m01_timing+2026-03-30 10:00:00 UTC"
        folder.mkdir()
        (folder / "answers.json").write_bytes(sheets.dump(right_sheet(issue_of(assigned_term, "t01"))))
        monkeypatch.setattr(exchange, "_owner", lambda folder: "t02")
        monkeypatch.setattr(exchange, "made_at", lambda folder: exchange.read_stamp(folder.name.split("+")[2]))
        found = collect.collect_exchange(assigned_term, root)
        (line,) = found.findings
        assert found.taken == 1 and "the account t02 made it; ask both" in line and "--accept" in line
        assert mark_class.mark(assigned_term, "m01_timing").marked == 0, "nothing counts before somebody decides"

    def test_a_stamp_set_back_waits_and_the_folders_own_time_counts(self, assigned_term, root):
        """Folder and timestamp.txt say that it came before the due time; the system says that it was made now."""
        assign.assign(assigned_term, "m01_timing", way="exchange", exchange=root)
        folder = root / "spring-a" / "inbound" / "t01+m01_timing+2026-03-30 10:00:00 UTC"
        folder.mkdir()
        (folder / "answers.json").write_bytes(sheets.dump(right_sheet(issue_of(assigned_term, "t01"))))
        (folder / "timestamp.txt").write_text("2026-03-30 10:00:00 UTC")
        for path in (folder / "timestamp.txt", folder / "answers.json", folder):
            os.utime(path, (1774864800, 1774864800))
        found = collect.collect_exchange(assigned_term, root)
        (line,) = found.findings
        assert "somebody set the stamp back, or the exchange was moved" in line and "with --at" in line
        (_, _, _, waits) = received.waiting(assigned_term)[0]
        assert waits.late_days > 0 and not waits.counts
        received.decide(assigned_term, "t01", "m01_timing", accept=True, reason="the exchange was moved")
        received.correct(assigned_term, "m01_timing", Whom(("T01",)), at="2026-03-30 10:00", reason="as the stamp says")
        (one,) = received.listed(assigned_term, "t01", "m01_timing")[1]
        assert one.counts and one.late_days == 0
        assert verify.verify(assigned_term).findings == []

    def test_a_hand_in_made_of_links_is_told_and_not_taken(self, assigned_term, root, tmp_path):
        """Neither a folder that is a link nor files that are: another's sheet would come under this name."""
        assign.assign(assigned_term, "m01_timing", way="exchange", exchange=root)
        inbound = root / "spring-a" / "inbound"
        (tmp_path / "answers.json").write_bytes(sheets.dump(right_sheet(issue_of(assigned_term, "t01"))))
        folder = inbound / "t01+m01_timing+2026-03-30 10:00:00 UTC"
        folder.mkdir()
        (folder / "answers.json").symlink_to(tmp_path / "answers.json")
        (inbound / "t02+m01_timing+2026-03-30 10:00:00 UTC").symlink_to(tmp_path)
        found = collect.collect_exchange(assigned_term, root)
        told = [line for line in map(str, found.findings) if "link" in line]
        assert found.taken == 0 and len(told) == 2 and "answers.json" in told[0] and "t02+" in told[1]

    def test_no_exchange_no_harm(self, assigned_term, root, tmp_path):
        with pytest.raises(Refused, match="nothing of this term was handed out there"):
            collect.collect_exchange(assigned_term, root)
        with pytest.raises(Refused, match="is no exchange folder"):
            collect.collect_exchange(assigned_term, tmp_path / "other")
        (root / "spring-a").write_text("a file in the way")
        with pytest.raises(CannotWrite, match="The numbers are issued"):
            assign.assign(assigned_term, MODULE, way="exchange", exchange=root)
        (root / "spring-a").unlink()
        assert assign.assign(assigned_term, MODULE, way="exchange", exchange=root).had_them == 3

    def test_deleting_a_person_names_what_the_exchange_still_holds(self, assigned_term, root):
        assign.assign(assigned_term, "m01_timing", way="exchange", exchange=root)
        done = deletion.delete_person(assigned_term, "T01", reason="asked for it")
        assert len(done.findings) == 1 and "exchange still offers the numbers of m01_timing" in done.findings[0]
        assign.assign(assigned_term, "m01_timing", way="exchange", exchange=root)
        shared = issued.read_shared(root / "spring-a" / "outbound" / "m01_timing" / issued.NAME)
        assert len(shared.entries) == 2 and shared.own_copy


def test_zips_go_on_as_before(assigned_term):
    """The old way is still the one without a word: a lost zip is made again, byte for byte."""
    path = assigned_term.folder / "out" / "t01" / "m01_timing.zip"
    content = path.read_bytes()
    shutil.rmtree(path.parent)
    assign.assign(assigned_term, "m01_timing")
    assert path.read_bytes() == content
    put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, "t01")))
    assert collect.collect(assigned_term).taken == 1
