"""A resit through the exchange: the old folder is in the way of the fetch, so the lesson itself fetches the numbers."""

import shutil
from dataclasses import replace

import pytest
from nbgrader.exchange import ExchangeError
from nbgrader.exchange.default import ExchangeFetchAssignment, ExchangeSubmit

from grader.course.attempts.standing import Whom
from grader.course.audit import verify
from grader.course.grading import due_time, mark_class
from grader.course.issue import assign
from grader.course.submissions import collect
from grader.errors import Refused
from grader.exercise import issued
from grader.records.gradebook import exchange
from grader.widgets.people import ALL_NAME
from tests.course.resits import KEY, returned, sit
from tests.course.test_assign_channels import AsTrainee, open_lesson, say_id
from tests.work import issue_of, right_answers


@pytest.fixture(autouse=True)
def plain_surroundings(monkeypatch):
    for name in ("NBGRADER_EXECUTION", "JPY_SESSION_NAME"):
        monkeypatch.delenv(name, raising=False)


@pytest.fixture
def fetched(assigned_term, m01, tmp_path, monkeypatch):
    """(term, trainee, root): the first attempt worked on in a fetched folder, a resit then released."""
    term = assigned_term
    root = tmp_path / "exchange"
    root.mkdir()
    root.chmod(0o777)
    monkeypatch.setattr("nbgrader.exchange.default.submit.get_username", lambda: "t01")
    assign.assign(term, KEY, way="exchange", exchange=root)
    trainee = AsTrainee(term, root, tmp_path / "home", "t01")
    trainee.run(ExchangeFetchAssignment)
    lesson = open_lesson(trainee.folder)
    say_id(lesson, "t01")
    lesson.answer("m01.mark_arc.arc", "12.3")
    lesson.head.hand_in.click()
    assert open_lesson(trainee.folder).head.later not in open_lesson(trainee.folder).head.buttons.children
    returned(term, m01)
    sit(term)
    assign.assign(term, KEY, way="exchange", exchange=root)
    return term, trainee, root


def test_the_page_finds_the_new_attempt_and_keeps_the_old_one(fetched, m01):
    term, trainee, root = fetched
    with pytest.raises(ExchangeError):
        trainee.run(ExchangeFetchAssignment)  # nbgrader keeps the folder that is there
    before = {path.name: path.read_bytes() for path in trainee.folder.iterdir()}
    lesson = open_lesson(trainee.folder)
    assert "a further attempt, number 2" in lesson.head.who.value and "attempt 1" in lesson.head.who.value
    assert {path.name: path.read_bytes() for path in trainee.folder.iterdir()} == before, "looking changes nothing"
    lesson.head.later.click()
    kept = trainee.folder.with_name("m01_timing-attempt-1")
    assert {path.name: path.read_bytes() for path in kept.iterdir()} | {ALL_NAME: before[ALL_NAME]} == before
    assert "further attempt" not in open_lesson(kept).head.who.value
    assert "reload this page" in lesson.head.message.value and str(kept) in lesson.head.message.value
    again = open_lesson(trainee.folder)
    assert again.store.issue.attempt == 2 and again.store.answers == {} and again.store.problem == ""
    assert again.store.issue.numbers == issue_of(term, "t01", attempt=2).numbers
    assert again.head.later not in again.head.buttons.children and "Handed in" not in again.head.who.value
    assert (
        issued.read(kept / issued.NAME).attempt == 1
        and open_lesson(kept).store.answers["m01.mark_arc.arc"].raw == "12.3"
    )
    again = open_lesson(trainee.folder)
    fresh = issued.to_answer(again.store.issue.exercises)
    for path, raw in right_answers(m01, issue_of(term, "t01", attempt=2)).items():
        if path.rpartition(".")[0] in fresh:
            again.answer(path, raw)
    trainee.run(ExchangeSubmit)
    found = collect.collect_exchange(term, root)
    assert found.taken == 1 and found.findings == []
    assert mark_class.mark(term, KEY).findings == [] and verify.verify(term).findings == []


def test_a_due_time_that_was_moved_reaches_a_lesson_that_was_fetched_before(assigned_term, tmp_path, monkeypatch):
    """The page, the start page and what is handed in say the new one; marking has it from the records anyway."""
    root = tmp_path / "exchange"
    root.mkdir()
    root.chmod(0o777)
    monkeypatch.setattr("nbgrader.exchange.default.submit.get_username", lambda: "t01")
    monkeypatch.setattr(due_time, "exchange_config", lambda term: exchange.exchange_config(term, root))
    assign.assign(assigned_term, KEY, way="exchange", exchange=root)
    trainee = AsTrainee(assigned_term, root, tmp_path / "home", "t01")
    trainee.run(ExchangeFetchAssignment)
    lesson = open_lesson(trainee.folder)
    say_id(lesson, "t01")
    lesson.answer("m01.mark_arc.arc", "12.3")
    assert due_time.change_due(assigned_term, KEY, "2026-04-02 17:00", Whom(everybody=True)).notes[1:] == ()
    again = open_lesson(trainee.folder)
    assert "Due 2026-04-02 17:00" in again.head.who.value and "it was 2026-03-31 17:00" in again.head.who.value
    assert again.store.answers["m01.mark_arc.arc"].raw == "12.3" and again.store.problem == ""
    assert issued.read(trainee.folder / issued.NAME) == issue_of(assigned_term, "t01")
    later = open_lesson(trainee.folder)
    assert "Due 2026-04-02 17:00" in later.head.who.value and "Your instructor moved" not in later.head.who.value
    trainee.run(ExchangeSubmit)
    found = collect.collect_exchange(assigned_term, root)
    assert (found.taken, found.findings) == (1, [])


def test_something_in_the_way_is_said_and_nothing_is_changed(fetched):
    _, trainee, root = fetched
    lesson = open_lesson(trainee.folder)
    trainee.folder.with_name("m01_timing-attempt-1").mkdir()
    before = {path.name: path.read_bytes() for path in trainee.folder.iterdir()}
    lesson.head.later.click()
    assert "is there already" in lesson.head.message.value
    assert {path.name: path.read_bytes() for path in trainee.folder.iterdir()} == before


@pytest.mark.parametrize("spoilt", ["gone", "nothing", "words", "link"])
def test_without_an_exchange_in_reach_the_work_goes_on(fetched, spoilt):
    _, trainee, root = fetched
    place = root / "spring-a" / "outbound" / KEY
    if spoilt == "gone":
        shutil.rmtree(root)
    else:
        (place / issued.NAME).chmod(0o644)
        (place / issued.NAME).write_text({"nothing": "", "words": "no numbers", "link": "[]"}[spoilt])
    lesson = open_lesson(trainee.folder)
    assert "further attempt" not in lesson.head.who.value
    lesson.answer("m01.mark_arc.arc", "13")
    assert lesson.store.answers["m01.mark_arc.arc"].raw == "13" and not lesson.store.unsaved
    with pytest.raises(Refused, match="no further attempt"):
        lesson.store.people.begin_later()


def test_another_trainees_resit_is_none_of_his(fetched, tmp_path, monkeypatch):
    term, _, root = fetched
    other = AsTrainee(term, root, tmp_path / "home-2", "t02")
    other.run(ExchangeFetchAssignment)
    lesson = open_lesson(other.folder)
    say_id(lesson, "t02")
    assert lesson.store.issue.attempt == 1
    assert "further attempt" not in open_lesson(other.folder).head.who.value
    assert issued.read_shared(other.folder / ALL_NAME).taken != ""


def test_a_folder_fetched_by_an_earlier_version_is_left_alone(fetched):
    """It does not know where it came from."""
    _, trainee, _ = fetched
    shared = issued.read_shared(trainee.folder / ALL_NAME)
    (trainee.folder / ALL_NAME).write_bytes(issued.dump_shared(replace(shared, source="", taken="")))
    assert "further attempt" not in open_lesson(trainee.folder).head.who.value
