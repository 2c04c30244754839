"""The warm-up: old questions with fresh numbers, in the trainee's own folder, in nobody's marks."""

import json
import zipfile

import pytest

from grader import catalogue, files
from grader.exercise import hand_in, issued, practice
from grader.exercise.truth import Truth
from grader.widgets import own_work, study
from grader.widgets.lesson import Lesson
from grader.widgets.warm_up import home_of
from tests.widgets.conftest import issue_of

M02 = catalogue.module("m02_dwell")


@pytest.fixture
def root(tmp_path):
    return study.make_start_ready(folder=tmp_path).root


@pytest.fixture
def assessed(root):
    """Assessed work of the second lesson in the trainee's folder."""
    folder = root / M02.key
    folder.mkdir()
    (folder / issued.NAME).write_bytes(issued.dump(issue_of(M02)))
    (folder / f"{M02.key}.ipynb").write_text("{}")
    return folder


def opened(folder):
    lesson = Lesson("m02_dwell", folder)
    lesson.top()
    return lesson


def begin(lesson):
    lesson.warm_up.begin.click()
    return lesson.warm_up.forms


def check(form, *, right):
    """Answer the one part of a question and ask for the verdict."""
    (part,) = form.parts.values()
    truth = Truth(form.store.module, form.store.issue.numbers)
    wrong = {slip.key: truth.slip(part.path, slip) for slip in part.part.slips}
    answer = truth.answer(part.path) if right else next(value for value in wrong.values() if value is not None)
    unit = part.part.unit if part.part.numeric else ""
    form.store.put(part.path, f"{answer:.6g}" if part.part.numeric else str(answer), unit)
    part.check.click()
    return part


def test_the_first_lesson_has_none_and_the_others_build_it_only_when_asked(root):
    first = Lesson("m01_timing", root / "practice" / "m01_timing")
    first.top()
    assert first.warm_up is None
    lesson = opened(root / "practice" / "m02_dwell")
    assert lesson.warm_up.forms == {} and not (root / own_work.WARM_UPS).exists()
    assert len(begin(lesson)) == 3 and all(key.startswith("m01.") for key in lesson.warm_up.forms)


def test_it_says_that_nothing_counts_and_can_be_closed(root):
    lesson = opened(root / "practice" / "m02_dwell")
    words = lesson.warm_up.box.children[0].value
    assert "not marked" in words and "skip" in words and "never handed in" in words
    form = next(iter(begin(lesson).values()))
    assert "Not marked" in form.box.children[0].value and "marks)" not in form.box.children[0].value
    begin(lesson)
    assert lesson.warm_up.forms == {} and lesson.warm_up.begin.description == "Begin the warm-up"


def test_in_assessed_work_nothing_of_it_is_handed_in_or_mixed_with_the_answers(assessed, root):
    """The verdict shows at once in the warm-up, and the assessed form beside it shows none."""
    lesson = opened(assessed)
    lesson.store.put("m02.gap_dwell.dwell", "40", "° dist")
    for form in begin(lesson).values():
        part = check(form, right=True)
        assert "tm-right" in part.verdict.value
    assert lesson.store.issue.mode == "assessed" and set(lesson.store.answers) == {"m02.gap_dwell.dwell"}
    assert set(json.loads((assessed / "answers.json").read_text())["answers"]) == {"m02.gap_dwell.dwell"}
    path, _ = hand_in.write(assessed, lesson.store.issue)
    with zipfile.ZipFile(path) as packed:
        content = b"".join(packed.read(name) for name in packed.namelist())
    assert b"m01." not in content
    assert not [p for p in assessed.rglob("*") if own_work.WARM_UPS in p.name], "not even beside the answers"
    assert sorted(p.name for p in (root / own_work.WARM_UPS / "m01_timing").glob("*.json"))[-1] == practice.NAME


def test_what_went_wrong_comes_again_with_fresh_numbers_after_two_days(root, monkeypatch):
    from datetime import timedelta

    from grader import clock

    lesson = opened(root / "practice" / "m02_dwell")
    key, form = next(iter(begin(lesson).items()))
    numbers = dict(form.store.issue.numbers[key])
    check(form, right=False)
    assert [(one.exercise, one.right) for one in own_work.seen(root)] == [(key, False)]
    begin(lesson)
    assert key not in begin(lesson), "not on the same day"
    begin(lesson)
    later = clock.now() + timedelta(days=2)
    monkeypatch.setattr(clock, "now", lambda: later)
    again = begin(lesson)
    assert next(iter(again)) == key and "You had it wrong on" in again[key].box.children[0].value
    assert again[key].store.issue.numbers[key] != numbers
    check(again[key], right=True)
    assert [one.right for one in own_work.seen(root)] == [False, True]


def test_what_went_wrong_in_practice_or_on_the_returned_sheet_comes_first(assessed, root):
    """A slip in the first lesson, and an exercise that earned half of its marks, are asked before all others."""
    from grader.widgets.exercise_form import ExerciseForm

    first = Lesson("m01_timing", root / "practice" / "m01_timing")
    form = ExerciseForm(first.store, next(e for e in first.module.exercises if e.name == "altitude"))
    check(form, right=False)
    old = json.loads((first.store.path).read_text())
    old["answers"]["m01.altitude.vacuum"]["at"] = "2026-01-03T10:00:00.000Z"
    files.write_text(first.store.path, json.dumps(old))
    record = {"format": own_work.RETURNED_FORMAT, "term": "spring", "trainee": "t07", "module": "m01_timing",
              "attempt": 1, "handed_in": "2026-01-02T10:00:00.000Z", "mark": "20", "most": "30", "outcome": "passed",
              "earned": {"m01.cap": [50, 100], "m01.racing": [100, 100]}}  # fmt: skip
    (root / "returned.html").write_text(f"<article data-returned='x'></article><p data-returned=\"{_quoted(record)}\">")
    assert list(begin(opened(assessed)))[:2] == ["m01.cap", "m01.altitude"]
    other = {**record, "trainee": "t08", "earned": {"m01.angle_time": [0, 200]}}
    (root / "other.html").write_text(f'<article data-returned="{_quoted(other)}">')
    assert "m01.angle_time" not in [one.exercise for one in own_work.seen(root)], (
        "another's sheet, saved here by mistake"
    )


def _quoted(record):
    return json.dumps(record).replace('"', "&#34;")


def test_another_trainee_on_the_machine_gets_his_own(root):
    lesson = opened(root / "practice" / "m02_dwell")
    form = next(iter(begin(lesson).values()))
    lesson.store.choose("Ada", mine=True)
    assert lesson.warm_up.forms == {}, "closed when somebody else works here"
    mine = home_of(lesson.store)
    lesson.store.choose("Ben")
    assert home_of(lesson.store) != mine
    begin(lesson)
    assert next(iter(lesson.warm_up.forms.values())).store.whose != form.store.whose


def test_work_from_an_exchange_keeps_it_outside_the_folder_that_is_fetched(tmp_path, monkeypatch):
    """nbgrader hands in all that lies in the folder of the lesson."""
    monkeypatch.setattr(study, "default_folder", lambda: tmp_path / "home")
    folder = tmp_path / "fetched" / M02.key
    folder.mkdir(parents=True)
    (folder / issued.NAME).write_bytes(issued.dump(issue_of(M02)))
    lesson = opened(folder)
    for form in begin(lesson).values():
        check(form, right=True)
    assert home_of(lesson.store) == tmp_path / "home" / "spring-t07"
    assert [p.name for p in folder.iterdir()] == [issued.NAME]
