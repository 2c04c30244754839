"""The month by buttons: nothing is written before Do it, and the records are those of the commands."""

import datetime
import io
import shutil
import zipfile

import pytest
from sqlalchemy import select

from grader import catalogue, clock
from grader.course.attempts.standing import Whom
from grader.course.audit import verify
from grader.course.grading import adjust, mark_class, received, resit, written_answers
from grader.course.issue import assign
from grader.course.submissions import collect
from grader.records import database, head, ledger, schema
from grader.records.term import policy, policy_in_force, roster
from grader.records.term import term as terms
from grader.reports.feedback import return_run
from tests.conftest import CLASS
from tests.desk.driving import buttons, cells, do_it, every, field, press, saved, table, texts
from tests.work import issue_of, put_in_inbox, right_answers, sheet_of, state

MODULE = "m01_timing"
DUE = "2026-03-31 17:00"
ARRIVED = "2026-04-01 12:00"
TIMES = {
    "source",
    "at",
    "assigned_at",
    "issued_at",
    "marked_at",
    "applied_at",
    "salt",
    "digest",
    "previous",
    "hash",
    "payload",
}


def rows_of(term):
    """Every row of the records, without what says when and by which chain it was written."""
    found = {}
    with database.reading(term) as connection:
        for table_ in schema.metadata.sorted_tables:
            if table_.name in ("tm_ledger", "tm_schema"):
                continue
            rows = connection.execute(select(table_)).mappings().all()
            found[table_.name] = sorted(repr({k: v for k, v in row.items() if k not in TIMES}) for row in rows)
        found["ledger"] = [
            tuple(
                entry[name] for name in ("event", "trainee", "module", "attempt", "exercise", "old", "reason", "kind")
            )
            + (None if entry["event"] == "returned" else entry["new"],)  # the page says when work was marked
            for _, _, entry in ledger.entries(connection)
        ]
    return found


def letters(term, trainee, wrong=()):
    """A right sheet with a written answer; or one with nothing but wrong answers to some questions."""
    module, record = catalogue.module(MODULE), issue_of(term, trainee)
    answers = right_answers(module, record)
    if wrong:  # one exercise right, so that lateness costs something; the rest blank
        answers = {path: text for path, text in answers.items() if path.startswith("m01.check_order")}
    written = [path for _, part, path in module.parts() if part.by_person]
    answers |= dict.fromkeys(written, f"The vacuum line was off. {trainee}")
    answers |= dict.fromkeys(wrong, "0.001")
    return sheet_of(record, answers)


def hand_ins(term):
    """What came back from two of the three: one late, one with a wrong answer; and one file that is none."""
    paths = [
        put_in_inbox(term, letters(term, "t01")),
        put_in_inbox(term, letters(term, "t02", ["m01.mark_arc.arc"])),
    ]
    found = [(path.parent.name + ".zip", path.read_bytes()) for path in paths]
    shutil.rmtree(term.folder / "inbox")
    (term.folder / "inbox").mkdir()
    return [*found, ("photo.zip", b"PK not a zip")]


def by_functions(term, tmp_path):
    """The month as the commands do it."""
    listed = tmp_path / "list.csv"
    listed.write_text(CLASS, encoding="utf-8")
    roster.import_list(term, listed)
    assign.assign(term, MODULE, due=DUE, way="zips")
    came = tmp_path / "came"
    came.mkdir()
    for name, content in hand_ins(term):
        (came / name).write_bytes(content)
    collect.collect(term, [came], received_at=clock.parse(ARRIVED, term.settings.zone))
    mark_class.mark(term, MODULE)
    received.correct(term, MODULE, Whom(("t01",)), at="2026-03-31 16:00", reason="it lay in the office")
    received.correct(term, MODULE, Whom(("t01",)), at=ARRIVED, reason="no, the other one")
    adjust.extend(term, "t02", MODULE, until="2026-04-02 17:00", reason="ill for a day")
    adjust.withdraw_extensions(term, MODULE, Whom(("t02",)), reason="it was the other one")
    adjust.extend(term, "t02", MODULE, until="2026-04-02 17:00", reason="he was ill, too")
    for answer in written_answers.answers(term, MODULE):
        written_answers.give(term, MODULE, answer.code, [f"{most:g}" for _, most in answer.rubric], "Well said.")
    adjust.override(term, "t02", MODULE, "mark_arc", "1", reason="misprint")
    adjust.excuse(term, "t03", MODULE, reason="did it elsewhere")
    return_run.give_back(term, MODULE)
    return_run.take_back(term, MODULE, reason="too early")
    return_run.give_back(term, MODULE)
    asked = tmp_path / "asked.toml"
    asked.write_text(policy.written(policy.DEFAULT, {MODULE: "95"}, "70", ["T3"]), encoding="utf-8")
    policy_in_force.adopt([term], asked, reason="agreed for this year")
    resit.resit(term, "t02", MODULE, reason="once more")


def choose(moment, day, hour):
    moment.day_field.value = datetime.date.fromisoformat(day)
    moment.hour_field.value = datetime.time.fromisoformat(hour)


def drop_the_list(desk):
    desk.go("people")
    desk.screen.drop.take([("list.csv", CLASS.encode())])


def hand_out(desk):
    desk.go("hand_out")
    desk.screen.module.value = MODULE
    choose(desk.screen.due, *DUE.split())
    press(desk, "See what will happen …")


def take(desk, term):
    desk.go("inbox")
    choose(desk.screen.came, *ARRIVED.split())
    desk.screen.drop.take(hand_ins(term))


def by_buttons(desk, term):
    """The same month on the desk; before every Do it the term folder must be as it was."""
    untouched = state(term.folder)

    def done(**how):
        assert state(term.folder) == untouched, "something was written before Do it"
        change = do_it(desk, **how)
        assert change.done is not None, texts(desk)
        untouched.clear()
        untouched.update(state(term.folder))

    def taken_back(reason):
        press(desk, "Undo")
        assert state(term.folder) == untouched, "something was undone before Do it"
        desk.screen.change.done.undo.reason.value = reason
        press(desk, "Do it")
        assert desk.screen.change.done.undo.done is not None, texts(desk)
        untouched.clear()
        untouched.update(state(term.folder))

    drop_the_list(desk)
    assert len(cells(desk, "What this list changes")) == 3
    done()
    hand_out(desk)
    assert "Arundell, Bea" in texts(desk)
    done()
    with zipfile.ZipFile(io.BytesIO(saved(desk, "Save one zip"))) as packed:
        folders = [name.partition("/")[0].rpartition("_")[2] for name in packed.namelist()]
        assert folders == ["t01", "t03", "t02"], "a folder for each, by name and id"
    untouched.clear()
    untouched.update(state(term.folder))
    take(desk, term)
    untouched.clear()
    untouched.update(state(term.folder))
    assert [row[4] for row in cells(desk, "What would be taken")] == ["1 day late: 10 % of the mark earned"] * 2
    press(desk, "Do it")
    assert "Tick the sentence above" in texts(desk)
    done(agree=True)
    assert "photo.zip" in texts(desk)
    desk.go("marks", module=MODULE)
    press(desk, "Mark what came in (2) …")
    done()
    desk.go("inbox")
    desk.screen.whose.value = "t01"
    choose(desk.screen.really, "2026-03-31", "16:00")
    press(desk, "See what correcting it does …")
    assert "came in 2026-03-31 16:00, before that it said 2026-04-01 12:00" in texts(desk)
    done(reason="it lay in the office")
    taken_back("no, the other one")
    for reason in ("ill for a day", "he was ill, too"):
        desk.go("marks", module=MODULE)
        table(desk, "Marks in").ticked = ["t02"]
        press(desk, "Extend …")
        choose(desk.screen.asked, "2026-04-02", "17:00")
        press(desk, "See what will happen …")
        assert "The mark goes from" in texts(desk)
        done(reason=reason)
        if reason == "ill for a day":
            taken_back("it was the other one")
    desk.go("read", module=MODULE)
    while desk.screen.answers:
        for point, (_, most) in zip(desk.screen.points, desk.screen.answers[0].rubric, strict=True):
            point.value = most
        desk.screen.comment.value = "Well said."
        press(desk, "Keep, next")
    untouched.clear()
    untouched.update(state(term.folder))
    desk.go("marks", module=MODULE)
    table(desk, "Marks in").clicked = ["t02", "m01.mark_arc", 1]
    assert "0.001" in texts(desk)
    field(desk, "Marks by hand").value = "1"
    press(desk, "Set this mark by hand …")
    done(reason="misprint")
    table(desk, "Marks in").ticked = ["t03"]
    press(desk, "Excuse …")
    done(reason="did it elsewhere")
    desk.go("give_back", module=MODULE)
    press(desk, "See who gets a page …")
    assert [row[:2] for row in cells(desk, "Who gets a page")] == [
        ["gets a page", "Arundell, Bea (T01)"], ["gets a page", "O’Neil, Jr., Cass (T02)"], ["stays", "Null, Dov (T03)"],
    ]  # fmt: skip
    done()
    taken_back("too early")
    assert not list((term.folder / "returned").rglob("*.html"))
    press(desk, "See who gets a page …")
    done()
    desk.go("office")
    press(desk, "Change pass marks and objectives …")
    desk.screen.pass_fields[MODULE][0].value = "95"
    desk.screen.must.value = ("T3",)
    press(desk, "See who would pass or fail differently …")
    assert [row[1:] for row in cells(desk, "Who would pass")] == [
        ["Arundell, Bea", "Ignition timing", "passed", "not passed"]
    ]
    done(reason="agreed for this year")
    desk.go("marks", module=MODULE)
    table(desk, "Marks in").ticked = ["t02"]
    press(desk, "Resit …")
    press(desk, "See what will happen …")
    assert "attempt 2" in texts(desk)
    done(reason="once more")
    assert zipfile.is_zipfile(io.BytesIO(saved(desk, "Save the zip of O’Neil")))


@pytest.fixture
def two(empty_term, tmp_path):
    """Two copies of one term: for the commands and for the desk."""
    other = tmp_path / "by-buttons"
    shutil.copytree(empty_term.folder, other)
    return empty_term, terms.open_term(other)


def test_the_month_by_buttons_is_the_month_by_commands(two, desk_of, tmp_path, monkeypatch):
    """Class list, hand-out, three files that come back late, marks, a time that was wrong, an extension, reading, a mark by
    hand, an excuse, the return, another policy; three of them undone: before each Do it the folder is untouched, and in the end
    the records are those of the commands, row by row."""
    first, second = two
    monkeypatch.setenv(head.PLACE, str(tmp_path / "machine-1"))
    by_functions(first, tmp_path)
    monkeypatch.setenv(head.PLACE, str(tmp_path / "machine-2"))
    desk = desk_of(second.folder)
    by_buttons(desk, second)
    expected, got = rows_of(first), rows_of(second)
    for name, rows in expected.items():
        assert got[name] == rows, name
    assert verify.verify(second).findings == []
    assert [w for w in every(desk.box) if "fault of Timing Mark" in str(getattr(w, "value", ""))] == []
    assert not buttons(desk, "Undo")
