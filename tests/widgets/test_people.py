"""Two trainees on one machine: neither sees nor overwrites the other's answers."""

import os
import time

import pytest

from grader.errors import Refused
from grader.exercise import practice
from grader.exercise import sheet as sheets
from grader.widgets.answer_store import Store

ARC = "m01.mark_arc.arc"


def choose(page, name, mine=False):
    page.head.other.click()
    page.head.name.value = name
    (page.head.mine if mine else page.head.start).click()


def leave(folder):
    """As if nobody had typed for an hour."""
    an_hour_ago = time.time() - 3600
    for path in folder.rglob("answers.json"):
        os.utime(path, (an_hour_ago, an_hour_ago))


def test_next_trainee_gets_his_own_numbers_and_an_empty_sheet(practice_folder, opened):
    page = opened(practice_folder)
    anas = page.store.issue.numbers
    page.part("mark_arc.arc").field.value = "12"
    choose(page, "Ben")
    assert "Ben" in page.head.who.value and "Ana" not in page.head.who.value
    assert page.part("mark_arc.arc").field.value == ""
    assert page.store.issue.numbers != anas
    page.part("mark_arc.arc").field.value = "99"
    choose(page, "ana")
    assert page.part("mark_arc.arc").field.value == "12" and page.store.issue.numbers == anas
    choose(page, " Ben ")
    assert page.part("mark_arc.arc").field.value == "99"
    assert sheets.read(practice_folder / "answers.json").answers[ARC].raw == "12"


def test_opened_later_it_asks_first_and_shows_nobodys_answers(practice_folder, opened):
    page = opened(practice_folder)
    page.part("mark_arc.arc").field.value = "12"
    choose(page, "Ben")
    page.part("mark_arc.arc").field.value = "99"
    leave(practice_folder)
    again = opened(practice_folder)
    assert "Who are you?" in again.head.who.value and again.head.buttons.children == ()
    assert again.form("mark_arc").parts == {}
    assert "Choose your name" in again.form("mark_arc").box.children[0].value
    again.head.name.value = "Ben"
    again.head.start.click()
    assert again.part("mark_arc.arc").field.value == "99"


def test_page_opened_again_at_once_goes_on(practice_folder, opened):
    page = opened(practice_folder)
    choose(page, "Ben")
    page.part("mark_arc.arc").field.value = "99"
    again = opened(practice_folder)
    assert again.part("mark_arc.arc").field.value == "99" and "Ben" in again.head.who.value


def test_nameless_work_can_be_named_or_left_to_its_owner(practice_folder, opened):
    practice.write(practice_folder / practice.NAME, practice.new(""))
    page = opened(practice_folder)
    page.part("mark_arc.arc").field.value = "12"
    choose(page, "Ana", mine=True)
    assert page.part("mark_arc.arc").field.value == "12" and "Practice of <strong>Ana" in page.head.who.value
    assert practice.read(practice_folder / practice.NAME).name == "Ana"


def test_assessed_numbers_stay_with_their_trainee(assessed_folder, opened):
    page = opened(assessed_folder)
    page.part("mark_arc.arc").field.value = "12"
    page.head.other.click()
    assert "issued to t07" in page.head.message.value and page.head.names.children == ()
    with pytest.raises(Refused):
        page.store.choose("t08")
    assert page.part("mark_arc.arc").field.value == "12"


@pytest.mark.parametrize("name", ["", "   ", "x" * 61])
def test_a_name_is_needed(practice_folder, opened, name):
    page = opened(practice_folder)
    choose(page, name)
    assert "A name of 1 to 60 letters" in page.head.message.value and "Ana" in page.head.who.value


@pytest.mark.parametrize("name", ["../Ana", "/etc", "..", "a/b", "Ben\\..\\Ana", "CON<>:"])
def test_a_name_cannot_leave_the_folder(practice_folder, opened, name):
    page = opened(practice_folder)
    choose(page, name)
    assert page.store.place.folder.resolve().is_relative_to(practice_folder.resolve())


def test_names_that_would_share_a_folder_are_told_apart(practice_folder, opened):
    page = opened(practice_folder)
    choose(page, "Ben B")
    page.part("mark_arc.arc").field.value = "99"
    choose(page, "Ana")
    choose(page, "Ben-B")
    assert "holds the work of Ben B" in page.head.message.value and page.part("mark_arc.arc").field.value == ""


def test_folders_made_by_study_are_found_by_study(tmp_path, module):
    """Chosen on the page, Ben's work lies where 'study --name Ben' looks for it."""
    from grader.widgets import study

    ready = study.make_ready("m01_timing", folder=tmp_path / "home", name="Ana")
    store = Store(module, ready.notebook.parent)
    store.choose("Ben")
    store.put(ARC, "99", "mm")
    later = study.make_ready("m01_timing", folder=tmp_path / "home", name="Ben")
    assert Store(module, later.notebook.parent).answers[ARC].raw == "99"
