"""Stop in the middle and come back: the lesson says where, and leads there by mouse and by keyboard."""

import pytest

from grader import catalogue
from tests.browser.conftest import field, part, until

ARC, TIME, WEIGHTS = "m01.mark_arc.arc", "m01.angle_time.time", "m01.centrifugal.advance"
IN_VIEW = """(selector) => {
  const box = document.querySelector(selector).getBoundingClientRect();
  return box.top >= 0 && box.top < window.innerHeight / 2;
}"""
ACTIVE = "document.activeElement.className"
MOST_TABS = 3


def answer_two(lesson, page):
    """Type two answers, each until it is saved."""
    for path, typed in ((ARC, "15,7"), (TIME, "1.25")):
        field(page, path).fill(typed)
        until(page, lambda path=path, typed=typed: lesson.answers.get(path) == typed)


@pytest.fixture
def back(lesson, browser):
    """(lesson, page): two exercises answered in one browser, which was closed; the lesson opened in another."""
    for last in (False, True):
        context = browser.new_context(viewport={"width": 1280, "height": 900}, locale="en-GB")
        page = lesson.show(context.new_page())
        if last:
            yield lesson, page
        else:
            answer_two(lesson, page)
        context.close()
        assert lesson.answers == {ARC: "15,7", TIME: "1.25"}, "found as it was left"


def stands_at_third(page):
    """The third exercise is in the upper half of the window and has the focus; Tab leads to its first field."""
    until(page, lambda: page.evaluate(IN_VIEW, ".tm-ex-centrifugal"))
    until(page, lambda: "tm-ex-centrifugal" in page.evaluate(ACTIVE))
    page.wait_for_timeout(400)  # nothing takes it away again
    assert page.evaluate(IN_VIEW, ".tm-ex-centrifugal")
    assert "tm-ex-centrifugal" in page.evaluate(ACTIVE)
    for _ in range(4):  # past how sure he is, which he may leave out, to the first field
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.closest('.tm-ex-centrifugal') !== null")
        if field(page, WEIGHTS).evaluate("node => node === document.activeElement"):
            break
    assert field(page, WEIGHTS).evaluate("node => node === document.activeElement")
    assert field(page, WEIGHTS).is_visible()


def test_a_fresh_lesson_says_nothing_of_a_place(shown):
    _, page = shown
    assert page.locator(".tm-place a").count() == 0
    assert "stopped" not in page.locator(".tm-top").inner_text()


def test_the_link_leads_to_the_next_exercise(back):
    """Click, and the third exercise is in view and focused; the two answers stand."""
    lesson, page = back
    place = page.locator(".tm-place")
    most = len(lesson.module.exercises)
    assert f"You stopped after exercise 2 of {most}: Degrees as time." in place.inner_text()
    assert f"2 of {most} exercises answered" in place.inner_text()
    address = page.url
    page.get_by_role("link", name="Go on with exercise 3: What the weights add", exact=True).click()
    stands_at_third(page)
    assert page.url == address, "no step that the browser's Back would undo"
    assert field(page, ARC).input_value() == "15,7"
    assert field(page, TIME).input_value() == "1.25"
    assert "Saved" in part(page, TIME).locator(".tm-echo").inner_text()


def test_the_keyboard_alone_leads_there(back):
    """A few Tabs from the top of the page, Enter, and one may type; the list opens and leads anywhere."""
    lesson, page = back
    for _ in range(MOST_TABS):
        page.keyboard.press("Tab")
        if "tm-go" in page.evaluate(ACTIVE):
            break
    assert "tm-go" in page.evaluate(ACTIVE), f"not within {MOST_TABS} Tabs: {page.evaluate(ACTIVE)!r}"
    page.keyboard.press("Enter")
    stands_at_third(page)
    summary = page.locator(".tm-place summary")
    summary.focus()
    page.keyboard.press("Enter")
    entries = page.locator(".tm-place li")
    until(page, lambda: entries.first.is_visible())
    words = entries.all_inner_texts()
    assert [text.rpartition(": ")[2] for text in words] == ["answered"] * 2 + ["open"] * (
        len(lesson.module.exercises) - 2
    )
    entries.last.get_by_role("link").focus()
    page.keyboard.press("Enter")
    until(page, lambda: "tm-ex-letter" in page.evaluate(ACTIVE) and page.evaluate(IN_VIEW, ".tm-ex-letter"))


@pytest.mark.parametrize("key", sorted(set(catalogue.all_modules()) - {"m01_timing"}))
def test_every_module_finds_the_place(key, house, page):
    """The last but one exercise was worked on: the place is the last one, with the number the page gives it."""
    lesson = house.practice(key)
    module = lesson.module
    *_, before, last = module.exercises
    for one in before.parts:
        lesson.store.put(f"{before.key}.{one.key}", "1")
    lesson.show(page)
    link = page.get_by_role("link", name=f"Go on with exercise {len(module.exercises)}: {last.title}", exact=True)
    link.click()
    until(page, lambda: f"tm-ex-{last.name}" in page.evaluate(ACTIVE))
    assert page.evaluate(IN_VIEW, f".tm-ex-{last.name}")
    headings = page.locator(".tm-exercise h3").all_inner_texts()
    assert [text.split(":")[0] for text in headings] == [f"Exercise {n + 1}" for n in range(len(headings))]
    assert headings[-1].startswith(f"Exercise {len(module.exercises)}: {last.title}")
