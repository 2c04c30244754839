"""The page of a lesson: plain, running by itself, safe from stray keys and second tabs."""

import json

from grader import catalogue
from tests.browser.conftest import MODULE, READY, field, part, until

ARC = "m01.mark_arc.arc"


def test_opens_as_a_plain_page_that_ran(shown):
    """The lesson runs by itself and shows prose, panel and forms, and nothing of the workbench."""
    lesson, page = shown
    assert page.locator(".tm-top").is_visible()
    assert page.locator(".tm-panel").count() >= 1
    assert page.locator(".tm-exercise").count() == len(catalogue.module(MODULE).exercises)
    for hidden in (
        "#jp-top-panel",
        "#jp-menu-panel",
        ".jp-NotebookPanel-toolbar",
        ".jp-InputPrompt",
        "#jp-bottom-panel",
    ):
        assert not any(node.is_visible() for node in page.locator(hidden).all()), hidden
    assert not any(node.is_visible() for node in page.locator(".cm-editor").all())
    assert page.locator(".jp-Dialog").count() == 0
    assert page.locator("#tm-bar").inner_text() == ""
    assert not (lesson.folder / "answers.json").exists(), "saved on display alone"


def test_opening_does_not_write_the_notebook(shown):
    """Running is no work of the trainee: the file stays as it was."""
    lesson, page = shown
    before = lesson.notebook.read_bytes()
    page.keyboard.press("Control+s")
    page.wait_for_timeout(1500)
    assert lesson.notebook.read_bytes() == before
    assert page.locator(".jp-Dialog").count() == 0


def test_slider_by_keyboard_changes_picture_and_caption(shown):
    """Arrow keys on a slider change the drawing, its sentence, and what a screen reader says of it."""
    _, page = shown
    panel = page.locator(".tm-panel").first
    picture, caption = panel.locator("img.tm-picture, .tm-picture img").first, panel.locator(".tm-caption").first
    handle = panel.get_by_role("slider").first
    assert handle.get_attribute("aria-label")
    moving = panel.locator(".tm-moving").first
    before, words = moving.inner_html(), caption.inner_text()
    value = handle.get_attribute("aria-valuenow")
    handle.focus()
    for _ in range(4):
        page.keyboard.press("ArrowRight")
    until(page, lambda: moving.inner_html() != before and caption.inner_text() != words)
    assert handle.get_attribute("aria-valuenow") != value
    until(page, lambda: picture.get_attribute("alt") == " ".join(caption.inner_text().split()))
    assert len(caption.inner_text()) > 20
    assert caption.evaluate("node => node.closest('[aria-live=polite]') !== null")


def test_letters_outside_a_field_never_edit_the_notebook(shown):
    """Keys that a notebook takes for commands do nothing from a button, a list, or the bare page."""
    lesson, page = shown
    cells = page.locator(".jp-Cell").count()
    forms = page.locator(".tm-exercise").count()
    kinds = page.locator(".jp-MarkdownCell").count()
    check = part(page, ARC).locator("button.tm-check, .tm-check button").first
    unit = part(page, ARC).locator(".tm-unit select")
    for place in (
        check.focus,
        unit.focus,
        lambda: page.locator("h1").first.click(),
        lambda: page.keyboard.press("Escape"),
    ):
        place()
        for key in ("b", "a", "m", "y", "x", "d", "d", "z", "Shift+m", "0", "0"):
            page.keyboard.press(key)
    page.wait_for_timeout(300)
    assert page.locator(".jp-Cell").count() == cells
    assert page.locator(".jp-MarkdownCell").count() == kinds
    assert page.locator(".tm-exercise").count() == forms
    assert page.locator(".jp-Dialog").count() == 0
    page.locator("h1").first.dblclick()
    assert not any(node.is_visible() for node in page.locator(".cm-editor").all()), "prose opened for editing"
    field(page, ARC).fill("12.5")
    until(page, lambda: lesson.answers.get(ARC) == "12.5")


def test_working_cell_opens_runs_and_is_kept(shown):
    """Those who like to compute open a cell, run it, and find it again."""
    lesson, page = shown
    button = page.get_by_role("button", name="Open a working cell").first
    assert button.get_attribute("aria-expanded") == "false"
    button.click()
    editor = page.locator(".tm-working.tm-open .cm-content").first
    editor.click()
    page.keyboard.press("Control+End")
    page.keyboard.type("\nprint(6 * 7)")
    page.keyboard.press("Shift+Enter")
    page.locator(".tm-working .jp-OutputArea-output", has_text="42").wait_for()
    until(page, lambda: "print(6 * 7)" in lesson.notebook.read_text())
    kept = json.loads(lesson.notebook.read_text())
    assert all(not cell["outputs"] for cell in kept["cells"] if cell["cell_type"] == "code")
    page.reload()
    page.wait_for_selector(READY, state="attached", timeout=60_000)
    assert page.locator(".tm-working .jp-OutputArea-output").count() == 0, "a working cell ran by itself"


def test_second_tab_is_refused_and_can_take_over(shown, context):
    """One tab holds the lesson; the other says so, and may take it with the answers as they stand."""
    lesson, page = shown
    field(page, ARC).fill("17,2")
    until(page, lambda: lesson.answers.get(ARC) == "17,2")
    second = context.new_page()
    second.goto(lesson.url)
    cover = second.get_by_role("alertdialog")
    cover.wait_for(timeout=60_000)
    assert "another tab" in cover.inner_text()
    assert second.locator(".tm-exercise").count() == 0
    cover.get_by_role("button", name="Go on here").click()
    second.wait_for_selector(READY, state="attached", timeout=60_000)
    assert field(second, ARC).input_value() == "17,2"
    page.get_by_role("alertdialog").wait_for()
    assert page.locator(".tm-exercise").count() == 0
    field(second, ARC).fill("17,25")
    until(second, lambda: lesson.answers.get(ARC) == "17,25")
    assert second.locator(".jp-Dialog").count() == 0
