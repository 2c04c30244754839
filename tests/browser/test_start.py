"""The way through: start page, a lesson, its warm-up, back again."""

import json

from grader.widgets import study
from tests.browser.conftest import READY, until


def test_from_the_start_page_into_a_lesson_through_its_warm_up_and_back(house, page):
    ready = study.make_start_ready(folder=house.home, name="Walks Through")
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(house.address.lesson_url(house.home, ready.notebook))
    page.wait_for_selector(READY, state="attached", timeout=60_000)
    assert page.locator(".tm-start-lesson").count() >= 4
    assert page.evaluate("document.querySelector('.tm-start-page').scrollWidth <= window.innerWidth"), "fits a phone"
    page.locator(".tm-start-lesson", has_text="Points and dwell").get_by_role("link", name="Practise").click()
    page.wait_for_url("**/m02_dwell.ipynb*")
    page.wait_for_selector(READY, state="attached", timeout=60_000)
    assert page.locator(".tm-warm-up .tm-exercise").count() == 0
    page.get_by_role("button", name="Begin the warm-up").click()
    page.wait_for_selector(".tm-warm-up .tm-exercise >> nth=2")
    field = page.locator(".tm-warm-up .tm-field input").first
    field.fill("1")
    page.locator(".tm-warm-up .tm-check").first.click()
    page.wait_for_selector(".tm-warm-up .tm-part .tm-say")
    answers = ready.root / "warm-up" / "m01_timing" / "answers.json"
    until(page, lambda: answers.exists() and '"tries": 1' in json.dumps(json.loads(answers.read_text())))
    field.fill("2")
    page.get_by_role("button", name="Close the warm-up").click()
    page.wait_for_selector(".tm-warm-up .tm-exercise", state="detached")
    page.wait_for_timeout(4000)  # longer than the guard waits for an answer that is on its way
    assert page.locator("#tm-bar").inner_text() == "", "a closed warm-up leaves nothing unsaved behind"
    page.get_by_role("link", name="All your lessons").click()
    page.wait_for_selector(".tm-start-lesson", timeout=60_000)
