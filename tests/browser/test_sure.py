"""How sure a trainee is, in a real browser: named for a screen reader, picked with the keyboard, fast after the check."""

import json

from tests.browser.conftest import field, part, until

ARC = "m01.mark_arc.arc"


def test_named_picked_by_keyboard_and_fast_after_the_first_check(shown):
    lesson, page = shown
    box = page.locator(".tm-ex-mark_arc")
    group = box.locator("[role=radiogroup]").first
    until(page, lambda: (group.get_attribute("aria-label") or "").startswith("How sure are you?"))
    radios = box.locator(".tm-sure input")
    assert [radio.is_checked() for radio in radios.all()] == [False, False, False]
    radios.first.focus()
    page.keyboard.press("ArrowRight")
    until(page, lambda: _said(lesson) == "think so")
    assert page.evaluate("document.activeElement.matches('.tm-sure input')"), "the focus was lost"
    page.keyboard.press("ArrowRight")
    until(page, lambda: _said(lesson) == "know")
    field(page, ARC).fill("1")
    until(page, lambda: lesson.answers.get(ARC) == "1")
    part(page, ARC).get_by_role("button", name="Check").click()
    until(page, lambda: "You were sure here" in box.inner_text())
    assert [radio.is_disabled() for radio in radios.all()] == [True, True, True]
    assert radios.last.is_checked() and _said(lesson) == "know"


def _said(lesson):
    path = lesson.folder / "answers.json"
    return json.loads(path.read_text())["answers"].get(ARC, {}).get("sure") if path.exists() else None
