"""The control "how sure are you": practice only, before the first check, one for an exercise."""

import json

import pytest

from grader.errors import CannotWrite
from grader.exercise import issued
from grader.exercise.kinds import Written
from grader.exercise.model import PRACTICE
from grader.marking import confidence
from tests.widgets.conftest import issue_of

ARC = "m01.mark_arc.arc"


def saved(folder):
    return json.loads((folder / "answers.json").read_text(encoding="utf-8"))["answers"]


def test_it_stands_once_above_each_answer_with_nothing_picked(practice_folder, opened):
    page = opened(practice_folder)
    shown = {key: form.sure for key, form in page.lesson.forms.items()}
    for exercise in page.lesson.module.exercises:
        field = shown[exercise.key]
        if all(isinstance(part, Written) for part in exercise.parts):
            assert field is None, "a letter is read by a person; nothing is checked at once"
            continue
        assert field.radio.value is None and field.radio.options == ("guess", "think so", "know")
        box = page.form(exercise.name).box.children
        assert box[1] is field.box and sum(child is field.box for child in box) == 1
        label = field.box.children[0]
        assert "tm-label" in label._dom_classes and "How sure are you?" in label.value, "names the group for a reader"
    assert sum(field is None for field in shown.values()) == 1
    assert not (practice_folder / "answers.json").exists(), "nothing is written on display alone"


def test_not_in_assessed_work(assessed_folder, opened):
    assert {form.sure for form in opened(assessed_folder).lesson.forms.values()} == {None}


def test_in_practice_that_an_instructor_issued(tmp_path, module, opened):
    (tmp_path / issued.NAME).write_bytes(issued.dump(issue_of(module, mode=PRACTICE)))
    page = opened(tmp_path)
    page.form("mark_arc").sure.radio.value = "guess"
    assert saved(tmp_path)[ARC]["sure"] == "guess" and "draw" not in saved(tmp_path)[ARC]


def test_it_is_kept_with_the_first_part_and_outlives_typing_and_a_new_window(practice_folder, opened):
    page = opened(practice_folder)
    page.form("total").sure.radio.value = "know"
    first = page.form("total").exercise.parts[0].key
    assert saved(practice_folder)[f"m01.total.{first}"]["raw"] == ""
    page.part(f"total.{first}").field.value = "12"
    page.form("total").sure.radio.value = "think so"
    entry = saved(practice_folder)[f"m01.total.{first}"]
    assert (entry["raw"], entry["sure"]) == ("12", "think so")
    assert opened(practice_folder).form("total").sure.radio.value == "think so"


def test_after_the_first_check_it_stands_fast_and_the_first_answer_is_kept(practice_folder, opened):
    page = opened(practice_folder)
    field = page.form("mark_arc").sure
    field.radio.value = "know"
    page.check("mark_arc.arc", "1")
    assert field.radio.disabled and "You were sure here, and it was not right" in field.note.value
    page.check("mark_arc.arc", f"{page.truth.answer(ARC):.1f}")
    entry = saved(practice_folder)[ARC]
    assert entry["first"] == ["1", "mm"] and entry["tries"] == 2
    assert "You were sure here" in field.note.value, "it was said of the first answer"
    found = confidence.judge(page.store.module, page.store.issue.exercises, page.store.sheet)
    assert found["m01.mark_arc"].right is False


def test_right_by_a_guess(practice_folder, opened):
    page = opened(practice_folder)
    field = page.form("mark_arc").sure
    field.radio.value = "guess"
    page.check("mark_arc.arc", f"{page.truth.answer(ARC):.1f}")
    assert "you called it a guess" in field.note.value


@pytest.mark.parametrize("word", ["think so", None])
def test_nothing_is_said_of_the_rest(practice_folder, opened, word):
    page = opened(practice_folder)
    page.form("mark_arc").sure.radio.value = word
    page.check("mark_arc.arc", "1")
    assert page.form("mark_arc").sure.note.value == "" and page.form("mark_arc").sure.radio.disabled


def test_one_part_of_two_checked_right_by_a_guess_is_not_yet_all(practice_folder, opened):
    page = opened(practice_folder)
    exercise = page.form("total").exercise
    first, second = (part.key for part in exercise.parts[:2])
    page.form("total").sure.radio.value = "guess"
    page.check(f"total.{first}", f"{page.truth.answer(f'm01.total.{first}'):.1f}")
    assert page.form("total").sure.note.value == ""
    page.check(f"total.{second}", f"{page.truth.answer(f'm01.total.{second}'):.1f}")
    assert "you called it a guess" in page.form("total").sure.note.value


def test_fresh_numbers_ask_again(practice_folder, opened):
    page = opened(practice_folder)
    page.form("mark_arc").sure.radio.value = "know"
    page.check("mark_arc.arc", f"{page.truth.answer(ARC):.1f}")
    page.form("mark_arc").fresh.click()
    field = page.form("mark_arc").sure
    assert field.radio.value is None and not field.radio.disabled and field.note.value == ""
    assert ARC not in saved(practice_folder)


def test_a_disk_that_refuses_is_told(practice_folder, opened, monkeypatch):
    page = opened(practice_folder)

    def refuse(*_):
        raise CannotWrite("The disk is full.")

    monkeypatch.setattr("grader.widgets.answer_store.sheets.write", refuse)
    page.form("mark_arc").sure.radio.value = "know"
    assert "The disk is full." in page.form("mark_arc").message.value
    assert page.form("mark_arc").sure.radio.value == "know" and ARC in page.store.unsaved


def test_it_is_no_answer(practice_folder, opened):
    page = opened(practice_folder)
    page.form("mark_arc").sure.radio.value = "know"
    assert page.head.progress[0] == 0, "nothing is done by it"
