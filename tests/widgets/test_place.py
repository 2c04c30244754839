"""The top of a lesson finds the place where work stopped, from the answers alone."""

import json
import re
from dataclasses import replace

import pytest

from grader import catalogue
from grader.exercise import issued
from grader.exercise import sheet as sheets
from grader.exercise.issued import KEPT
from grader.exercise.practice import NAME
from tests.widgets.conftest import issue_of

ARC, TIME, OFF, ON = "m01.mark_arc.arc", "m01.angle_time.time", "m01.total.line_off", "m01.total.line_on"
PAGE = [exercise.key for exercise in catalogue.module("m01_timing").exercises]  # as the page shows them
COUNT = len(PAGE)


def put(page, *paths):
    for path in paths:
        page.store.put(path, "1")


def words(page):
    """What the place says, without its marks of HTML, and without the list."""
    return re.sub(r"<[^>]*>", "", page.head.place.value.partition("<details>")[0])


def links(page):
    """Where its links lead, by words."""
    return {text: goal for goal, text in re.findall(r'href="#([^"]*)">([^<]*)', page.head.place.value)}


def states(page):
    return re.findall(r"</a>: ([^<]*)</li>", page.head.place.value)


def test_nothing_at_a_fresh_start_and_while_it_goes_on(practice_folder, opened):
    """The page does not move under the hands of someone who has just begun."""
    page = opened(practice_folder)
    assert page.head.place.value == ""
    put(page, ARC)
    assert page.head.place.value == ""
    assert page.store.sheet.rest.keys() == {"last", "saves"}


def test_after_a_whole_exercise_it_goes_on_with_the_next_open_one(practice_folder, opened):
    put(opened(practice_folder), TIME, ARC)
    page = opened(practice_folder)
    assert words(page) == (
        f"You stopped after exercise 1 of {COUNT}: A mark where the scale has rusted away. "
        "Go on with exercise 3: What the weights add"
    ), "the second was answered before"
    assert links(page)["Go on with exercise 3: What the weights add"] == "tm-m01-centrifugal"
    assert states(page) == ["answered"] * 2 + ["open"] * (COUNT - 2)
    assert f"2 of {COUNT} exercises answered: show all" in page.head.place.value


def test_in_the_middle_of_an_exercise_it_leads_back_into_it(practice_folder, opened):
    put(opened(practice_folder), ARC, OFF)
    page = opened(practice_folder)
    assert words(page) == f"You stopped at exercise 4 of {COUNT}: Total advance, line off and line on. Go on there"
    assert links(page)["Go on there"] == "tm-m01-total"
    assert f"1 of {COUNT} exercises answered, 1 begun" in page.head.place.value
    assert states(page)[3] == "1 of 2 answered"
    put(page, ON)
    assert "Go on with exercise 5: Set at the wrong idle speed" in words(page), "it goes along with the work"


def test_after_the_last_exercise_it_leads_to_what_was_passed_over(practice_folder, opened):
    put(opened(practice_folder), ARC, "m01.letter.text")
    page = opened(practice_folder)
    assert words(page).endswith(f"{COUNT} of {COUNT}: Why is it not the same? Go on with exercise 2: Degrees as time")


def test_all_answered(practice_folder, opened):
    first = opened(practice_folder)
    put(first, *(path for _, _, path in first.store.module.parts()))
    first.store.put(ON, "2")
    page = opened(practice_folder)
    assert words(page).startswith(f"All are answered. You stopped at exercise 4 of {COUNT}")
    assert links(page)["Look at it again"] == "tm-m01-total"


def test_an_answer_that_was_emptied_is_open_again(practice_folder, opened):
    first = opened(practice_folder)
    put(first, ARC, TIME)
    first.store.put(TIME, "")
    assert f"You stopped at exercise 2 of {COUNT}" in words(opened(practice_folder))


@pytest.mark.parametrize("said", [None, 7, "m01.mark_arc", "elsewhere.x.y", ["m01.mark_arc.arc"]])
def test_a_sheet_that_does_not_say_is_asked_for_its_newest_answer(practice_folder, opened, said):
    """Sheets of earlier versions, and sheets made by hand."""
    put(opened(practice_folder), TIME, ARC)
    path = practice_folder / sheets.NAME
    found = sheets.read(path)
    answers = {TIME: found.answers[TIME].but(at="2031-01-02T00:00:00.000Z"), ARC: found.answers[ARC]}
    rest = {} if said is None else {"last": said}
    sheets.write(path, found.but(answers=answers, rest=rest))
    assert f"You stopped after exercise 2 of {COUNT}" in words(opened(practice_folder))


def test_a_clock_that_was_set_back_does_not_move_the_place(practice_folder, opened):
    put(opened(practice_folder), ARC, TIME)
    path = practice_folder / sheets.NAME
    found = sheets.read(path)
    sheets.write(path, found.with_answer(ARC, found.answers[ARC].but(at="2099-01-01T00:00:00.000Z")))
    assert f"You stopped after exercise 2 of {COUNT}" in words(opened(practice_folder))


def test_each_person_has_a_place_of_his_own(practice_folder, opened):
    put(opened(practice_folder), ARC)
    page = opened(practice_folder)
    assert words(page)
    page.store.choose("Bo")
    assert page.head.place.value == "", "Bo has just come"
    page.store.choose("Ana")
    assert f"exercise 1 of {COUNT}" in words(page)


def test_fresh_numbers_open_their_exercises_again(practice_folder, opened):
    put(opened(practice_folder), ARC, TIME)
    page = opened(practice_folder)
    page.store.fresh("m01.angle_time")
    assert json.loads((practice_folder / NAME).read_text())["drawn"]
    assert states(page)[:3] == ["answered", "open", "open"]
    assert "Go on with exercise 2" in words(page)


def test_a_resit_counts_only_what_is_asked_again(assessed_folder, module, opened):
    record = issue_of(module, attempt=2)
    kept = {key: {**entry, KEPT: 1} for key, entry in record.exercises.items() if key != "m01.cap"}
    record = replace(record, exercises={**record.exercises, **kept})
    (assessed_folder / issued.NAME).write_bytes(issued.dump(record))
    put(opened(assessed_folder), "m01.cap.leads")
    page = opened(assessed_folder)
    assert f"exercise {PAGE.index('m01.cap') + 1} of {COUNT}: All leads off" in words(page)
    assert states(page) == ["answered"]


def test_handing_in_names_what_is_blank(assessed_folder, opened):
    page = opened(assessed_folder)
    put(page, ARC, OFF)
    page.head.hand_in.click()
    said = page.head.message.value
    asked = len(page.lesson.module.parts())
    assert f"{asked - 2} of {asked} answers are still blank, in exercise " in said
    assert re.findall(r'href="#[^"]*">(\d+)<', said) == [str(n) for n in range(2, COUNT + 1)]
