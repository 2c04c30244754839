"""Finding one's way in a lesson, and sorting by hand: the list beside the text, keys, the place kept, cards, fingers."""

import json
from importlib.resources import files as package_files
from pathlib import Path

import pytest

from tests.browser.conftest import READY, field, judged, part, until

ARC, ORDER, BATCH = "m01.mark_arc.arc", "m04.service", "m04.batch"
FIRST = "body[data-tm-first=yes]"
NOW = "#tm-way a[aria-current=location]"
ENTRY = "#tm-way li[data-state]"
TOP = "node => node.getBoundingClientRect().top"
FOCUS = "document.activeElement.className"
FINGERS = ((820, 1180), (390, 844))


def test_the_list_says_how_each_exercise_stands_and_where_one_reads(shown):
    """Open, answered, right or to be looked at again, in sign and word; the entry read is marked while one scrolls."""
    lesson, page = shown
    entries = page.locator(ENTRY)
    assert entries.count() == len(lesson.module.exercises)
    until(page, lambda: "Exercise 1: A mark where the scale has rusted away · open" in entries.first.inner_text())
    assert entries.first.locator(".tm-way-sign").inner_text() == "○"
    field(page, ARC).fill("1")
    until(page, lambda: "answered" in entries.first.inner_text())
    assert "1 of" in page.locator(".tm-way-count").inner_text()
    part(page, ARC).get_by_role("button", name="Check").click()
    judged(page, ARC)
    until(page, lambda: "look again" in entries.first.inner_text())
    assert entries.first.locator(".tm-way-sign").inner_text() == "↻"
    right = f"{lesson.truth().answer(ARC):.4g}"
    field(page, ARC).fill(right)
    part(page, ARC).get_by_role("button", name="Check").click()
    until(page, lambda: "· right" in entries.first.inner_text())
    for name in ("cap", "letter", "total"):
        page.locator(f".tm-ex-{name}").evaluate("node => node.scrollIntoView({block: 'start'})")
        number = [exercise.name for exercise in lesson.module.exercises].index(name) + 1
        until(page, lambda number=number: f"Exercise {number}:" in page.locator(NOW).inner_text())
        assert page.locator("#tm-way a[aria-current=true]").count() == 1, "its section is marked too"
    page.emulate_media(media="print")
    assert not page.locator("#tm-way").is_visible()


def test_keys_lead_from_exercise_to_exercise(shown):
    """Alt + Page Down and Page Up, told on the page, also out of a field; at the end the page says so."""
    lesson, page = shown
    names = [exercise.name for exercise in lesson.module.exercises]
    assert "Alt + Page Down" in page.locator("#tm-way").inner_text()
    for name in names[:3]:
        page.keyboard.press("Alt+PageDown")
        assert f"tm-ex-{name}" in page.evaluate(FOCUS)
        assert -2 <= page.locator(f".tm-ex-{name}").evaluate(TOP) < 450
    field(page, "m01.centrifugal.advance").focus()
    page.keyboard.press("Alt+PageUp")
    assert f"tm-ex-{names[1]}" in page.evaluate(FOCUS)
    page.locator("#tm-way a").last.click()
    page.locator(f".tm-ex-{names[-1]} textarea").focus()
    page.keyboard.press("Alt+PageDown")
    assert page.locator(".tm-way-told").inner_text() == "This is the last exercise."


def test_no_other_program_has_these_keys():
    """JupyterLab binds nothing to them."""
    folder = Path(str(package_files("jupyterlab"))) / "schemas"
    texts = [path.read_text(encoding="utf-8") for path in folder.rglob("*.json")]
    bound = [
        keys for text in texts for one in json.loads(text).get("jupyter.lab.shortcuts", ()) for keys in one["keys"]
    ]
    assert len(bound) > 100
    assert [keys for keys in bound if "Page" in keys and "Alt" in keys] == []


def test_the_place_is_kept_and_comes_first(shown):
    """A lesson reloaded in its seventh section shows that section first, then the rest, and stays there."""
    _, page = shown
    page.locator(".tm-ex-cap").evaluate("node => node.scrollIntoView({block: 'start'})")
    until(page, lambda: page.evaluate("Object.keys(sessionStorage).some(key => key.startsWith('timing-mark place'))"))
    page.wait_for_timeout(500)
    page.reload()
    page.wait_for_selector(FIRST, state="attached", timeout=60_000)
    assert page.locator(".tm-ex-cap").count() == 1
    until(page, lambda: page.locator(".tm-ex-cap").evaluate(TOP) < 450)
    page.wait_for_selector(READY, state="attached", timeout=60_000)
    assert -20 < page.locator(".tm-ex-cap").evaluate(TOP) < 450
    headings = page.locator(".tm-exercise h3").all_inner_texts()
    assert [text.split(":")[0] for text in headings] == [f"Exercise {n + 1}" for n in range(len(headings))]


def cards(page, exercise):
    """Words of the cards in each zone of an exercise."""
    zones = page.locator(f".tm-ex-{exercise.partition('.')[2]} .tm-zone")
    return [zone.locator(".tm-card span:last-child").all_inner_texts() for zone in zones.all()]


def path_of(lesson, key):
    exercise = next(one for one in lesson.module.exercises if one.key == key)
    return next(f"{key}.{one.key}" for one in exercise.parts if type(one).__name__ in ("Order", "Batch"))


def test_cards_by_keyboard_and_mouse_give_the_answer_of_the_lists(house, page):
    """Placed, moved, taken back and sorted: the drop-downs follow, and what is saved is what they alone would save."""
    lesson = house.practice("m04_plug_testing")
    lesson.show(page)
    path = path_of(lesson, ORDER)
    until(page, lambda: len(cards(page, ORDER)[0]) > 2)
    first, second = page.locator(".tm-ex-service .tm-zone").first.locator(".tm-card").all()[:2]
    words = cards(page, ORDER)[0][:2]
    two = [first.element_handle(), second.element_handle()]
    two[0].press("ArrowRight")
    two[1].press("ArrowRight")
    until(page, lambda: cards(page, ORDER)[1] == words and len(lesson.answers.get(path, "").split(">")) == 2)
    keys = lesson.answers[path].split(">")
    two[1].press("ArrowUp")
    until(page, lambda: lesson.answers.get(path) == ">".join(reversed(keys)))
    places = page.locator(".tm-ex-service .tm-pick select")
    assert sorted(places.evaluate_all("all => all.map(one => one.value)"))[:2] == ["1", "2"]
    first_word = words[0]
    page.locator('.tm-ex-service .tm-pick select[title*="Place of"]').nth(0).wait_for(state="attached")
    page.locator(f'.tm-ex-service .tm-pick select[title="Place of: {first_word}"]').select_option(label="no place")
    until(page, lambda: len(cards(page, ORDER)[1]) == 1)
    batch = path_of(lesson, BATCH)
    item = page.locator(".tm-ex-batch .tm-card").first
    label = item.locator("span").last.inner_text()
    item.scroll_into_view_if_needed()
    grip, keep = item.bounding_box(), page.locator(".tm-ex-batch .tm-zone").nth(1).bounding_box()
    page.mouse.move(grip["x"] + 60, grip["y"] + 15)
    page.mouse.down()
    page.mouse.move(keep["x"] + 40, keep["y"] + 50, steps=8)
    page.mouse.up()
    until(page, lambda: lesson.answers.get(batch, "").endswith("=keep"))
    assert cards(page, BATCH)[1] == [label]
    page.reload()
    page.wait_for_selector(READY, state="attached", timeout=60_000)
    until(page, lambda: cards(page, BATCH)[1] == [label] and len(cards(page, ORDER)[1]) == 1)


class Finger:
    """Touch events of one finger on a page."""

    def __init__(self, page):
        self.page, self.link = page, page.context.new_cdp_session(page)

    def send(self, kind, *places):
        points = [{"x": x, "y": y} for x, y in places]
        self.link.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    def drag(self, start, end, steps=6):
        self.send("touchStart", start)
        for step in range(1, steps + 1):
            self.send("touchMove", tuple(a + (b - a) * step / steps for a, b in zip(start, end, strict=True)))
        self.send("touchEnd")

    def rest(self):
        """The first tap after a drag that was sent gives no click, on anybody's slider too: one beside everything takes it."""
        self.page.wait_for_timeout(500)
        self.page.touchscreen.tap(3, 300)


def tap(page, node, condition):
    """Tap until it has worked: a finger too comes twice where the page was still busy."""
    for _ in range(4):
        page.touchscreen.tap(*middle(node))
        for _ in range(100):
            if condition():
                return
            page.wait_for_timeout(50)
    pytest.fail(f"four taps on {node} did nothing")


def middle(node):
    node.evaluate("node => node.scrollIntoView({block: 'center'})")
    box = node.bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


@pytest.mark.parametrize("size", FINGERS, ids=lambda size: f"{size[0]}x{size[1]}")
def test_a_finger_reaches_everything(house, browser, size):
    """Sliders, fields, lists, ticks, cards and the list of sections, by touch on a tablet and a phone."""
    lesson = house.practice("m04_plug_testing")
    context = browser.new_context(viewport={"width": size[0], "height": size[1]}, has_touch=True, locale="en-GB")
    page = lesson.show(context.new_page())
    finger = Finger(page)
    for slider in page.locator(".tm-panel .noUi-handle").all():
        before, at = slider.get_attribute("aria-valuenow"), middle(slider)
        room = slider.evaluate("node => node.closest('.noUi-target').getBoundingClientRect().right")
        aside = 60 if at[0] + 70 < room else -60
        finger.drag(at, (at[0] + aside, at[1]))
        until(page, lambda slider=slider, before=before: slider.get_attribute("aria-valuenow") != before)
    finger.rest()
    for kind in (".tm-field input", ".tm-field textarea", ".tm-unit select", ".tm-pick select"):
        for one in page.locator(f".tm-exercise {kind}").all():
            tap(page, one, lambda one=one: one.evaluate("node => node === document.activeElement"))
            if "select" in kind:
                page.keyboard.press("Escape")
                one.evaluate("node => node.blur()")  # a list that opens late would take the next tap
    for one in page.locator(".tm-exercise .tm-choice").all():
        radio = one.locator("input").first
        tap(page, radio, radio.is_checked)
    for exercise in (ORDER, BATCH):
        card = page.locator(f".tm-ex-{exercise.partition('.')[2]} .tm-zone").first.locator(".tm-card").last
        words = card.locator("span").last.inner_text()
        start = middle(card.locator(".tm-grip"))
        zone = page.locator(f".tm-ex-{exercise.partition('.')[2]} .tm-zone").nth(1).bounding_box()
        beside = min(max(start[1], zone["y"] + 30), zone["y"] + zone["height"] - 20)  # or below it, on a phone
        finger.drag(start, (zone["x"] + zone["width"] / 2, beside))
        until(page, lambda exercise=exercise, words=words: cards(page, exercise)[1] == [words])
        until(page, lambda exercise=exercise: lesson.answers.get(path_of(lesson, exercise), "") != "")
    finger.rest()
    here = page.locator(".tm-way-here")
    tap(page, here, page.locator(".tm-way-list").is_visible)
    page.locator("#tm-way a", has_text="Exercise 2:").tap()
    until(page, lambda: f"tm-ex-{lesson.module.exercises[1].name}" in page.evaluate(FOCUS))
    assert not page.locator(".tm-way-list").is_visible()
    context.close()
