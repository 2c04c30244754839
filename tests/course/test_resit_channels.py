"""A resit in a folder for all, in the exchange, on paper: nobody reads what another answered before."""

import json
import zipfile

import pytest
from sqlalchemy import select

from grader import clock
from grader.course.audit import deletion, verify
from grader.course.grading import mark_class
from grader.course.issue import assign, channels
from grader.course.submissions import collect
from grader.exercise import issued
from grader.records import database, schema
from grader.reports.tables import draws
from grader.widgets import study
from grader.widgets.lesson import Lesson
from tests.course.resits import KEY, LETTER, WORDS, returned, sit
from tests.work import issue_of, put_in_inbox, right_answers, sheet_of


@pytest.fixture
def sat(assigned_term, m01):
    returned(assigned_term, m01)
    return assigned_term, sit(assigned_term)


def everything(folder):
    """Bytes of every file, archives unpacked."""
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        yield path, path.read_bytes()
        if zipfile.is_zipfile(path):
            with zipfile.ZipFile(path) as archive:
                yield from ((path, archive.read(name)) for name in archive.namelist())


def test_kept_answers_are_no_part_of_the_numbers(sat):
    term, done = sat
    fresh = {exercise.key for exercise in done.exercises}
    with database.transaction(term) as connection:
        records = connection.execute(
            select(schema.issue.c.record).where(schema.issue.c.trainee == "t01").order_by(schema.issue.c.attempt)
        ).scalars()
        first, second = (draws.of_issue(record, {}) for record in records)
    assert {key for key in first if first[key].variant != second[key].variant} == fresh and fresh < set(first)


@pytest.mark.parametrize("way", ["folder", "exchange"])
def test_a_place_for_all_names_what_is_kept_and_holds_no_answer(sat, tmp_path, way):
    term, done = sat
    assert any(WORDS.encode() in content for _, content in everything(term.folder / "out" / "t01")), "it can be found"
    (tmp_path / "exchange").mkdir(mode=0o777)
    place = assign.assign(term, KEY, way=way, exchange=tmp_path / "exchange").folder
    assert not [path for path, content in everything(place) if WORDS.encode() in content]
    shared = issued.read_shared(place / issued.NAME).of("T01")
    record = issue_of(term, "t01", attempt=2)
    assert shared.attempt == 2 and shared.numbers == record.numbers
    assert issued.to_answer(shared.exercises) == issued.to_answer(record.exercises)
    assert {key for key, entry in shared.exercises.items() if entry.get(issued.KEPT)} == set()
    assert len(issued.to_answer(shared.exercises)) == len(done.exercises)


def test_from_the_folder_for_all_to_the_mark(sat, m01, tmp_path, monkeypatch):
    """The resit is sat in the shared folder; marking takes what is kept from the record, and finds nothing amiss."""
    for name in ("NBGRADER_EXECUTION", "JPY_SESSION_NAME"):
        monkeypatch.delenv(name, raising=False)
    term, done = sat
    place = assign.assign(term, KEY, way="folder").folder
    work = study.make_ready(str(place), folder=tmp_path / "work").notebook.parent
    lesson = Lesson(KEY, work)
    lesson.top()
    lesson.head.name.value = "T01"
    lesson.head.start.click()
    record = lesson.store.issue
    assert record.attempt == 2 and lesson.store.answers == {}
    fresh = {exercise.key for exercise in done.exercises}
    for path, raw in right_answers(m01, record).items():
        if path.rpartition(".")[0] in fresh:
            lesson.answer(path, raw)
    lesson.head.hand_in.click()
    found = collect.collect(term, [work], received_at=clock.parse("2026-05-01", "Europe/Lisbon"))
    assert (found.taken, found.findings) == (1, [])
    assert mark_class.mark(term, KEY).findings == []
    with database.transaction(term) as connection:
        table = schema.mark
        marks = dict(connection.execute(select(table.c.attempt, table.c.mark).where(table.c.trainee == "t01")).all())
    assert marks[2] == 100 * m01.marks - 50 > marks[1], "only the letter's half mark is missing"
    assert verify.verify(term).findings == []


def test_a_changed_issue_beside_the_answers_is_still_noticed(sat, m01):
    term, _ = sat
    record = issue_of(term, "t01", attempt=2)
    path = put_in_inbox(term, sheet_of(record, {"m01.mark_arc.arc": "1"}))
    shared = channels.without_answers(record)
    for spoilt, said in (
        (shared, []),
        (record, []),
        (issued.sealed(shared, shared.exercises, b"k"), ["other numbers"]),
    ):
        with zipfile.ZipFile(path, "a") as archive:
            archive.writestr(f"{KEY}/issued.json", issued.dump(spoilt))
        found = collect.collect(term, [path.parent]).findings
        assert len(found) == len(said) and all(word in found[0] for word in said), found
        path.unlink()
        put_in_inbox(term, sheet_of(record, {"m01.mark_arc.arc": "1"}))


def test_numbers_and_answers_of_a_deleted_person_are_nowhere(sat, m01):
    """The shared file, the hand-out, the records, the papers: a search over every byte finds no kept answer."""
    term, _ = sat
    assign.assign(term, KEY, way="folder")
    record = json.loads(issued.dump(issue_of(term, "t01", attempt=2)))
    assert record["exercises"]["m01.letter"][issued.KEPT][LETTER][0] == WORDS
    done = deletion.delete_person(term, "T01", reason="asked for it")
    assert done.findings == []
    assert not [path for path, content in everything(term.folder) if WORDS.encode() in content]
