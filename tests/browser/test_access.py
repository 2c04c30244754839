"""For everybody: keyboard alone, screen reader, dark, narrow, enlarged."""

import json

import pytest

from tests.browser.conftest import axe_source, field, judged, part, until, verdict

ARC = "m01.mark_arc.arc"
BAD = ("serious", "critical")

# What reaches out of the window to the side.
CUT = """() => [...document.querySelectorAll(
             ".jp-Notebook :is(p, li, h1, h2, h3, h4, label, img, input, select, button)," +
             ".tm-top, .tm-panel, .tm-exercise, .noUi-target")]
           .filter(node => node.checkVisibility())
           .filter(node => { const box = node.getBoundingClientRect();
                             return box.width > 0 && (box.left < -1 || box.right > innerWidth + 1); })
           .map(node => node.outerHTML.slice(0, 120))"""

# What is larger than the box that shows it.
CLIPPED = """() => [...document.querySelectorAll(".tm-exercise :is(p, label, button), .tm-top, .tm-panel .tm-caption")]
           .filter(node => node.checkVisibility())
           .filter(node => getComputedStyle(node).overflow !== "visible"
                           && (node.scrollHeight > node.clientHeight + 2 || node.scrollWidth > node.clientWidth + 2))
           .map(node => node.outerHTML.slice(0, 120))"""


def test_axe_finds_nothing_serious(shown):
    """axe-core over the whole page, with a verdict shown and a working cell open, in both themes."""
    source = axe_source()
    _, page = shown
    field(page, ARC).fill("1")
    part(page, ARC).get_by_role("button", name="Check").click()
    judged(page, ARC)
    page.get_by_role("button", name="Open a working cell").first.click()
    page.evaluate(source)
    for scheme, light in (("light", "true"), ("dark", "false")):
        page.emulate_media(color_scheme=scheme)
        page.wait_for_selector(f"body[data-jp-theme-light={light}]", state="attached")
        page.wait_for_timeout(500)  # the theme's own colours come in a file of their own
        found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
        assert len(found["passes"]) > 10, "axe looked at next to nothing"
        worst = [
            {"rule": v["id"], "impact": v["impact"], "nodes": [n["html"][:160] for n in v["nodes"][:4]]}
            for v in found["violations"]
            if v["impact"] in BAD
        ]
        assert not worst, f"{scheme}: {json.dumps(worst, indent=1)}"


def test_every_control_has_a_name(shown):
    """Each field, list, slider, button and picture tells what it is."""
    _, page = shown
    nameless = page.evaluate(
        """() => [...document.querySelectorAll(
             ".jp-Notebook :is(input, select, textarea, button, [role=slider], img)")]
           .filter(node => node.checkVisibility())
           .filter(node => !(node.getAttribute("aria-label") || node.getAttribute("alt") || node.textContent.trim()
                             || [...(node.labels || [])].some(label => label.textContent.trim())))
           .map(node => node.outerHTML.slice(0, 160))"""
    )
    assert nameless == []
    assert part(page, ARC).locator(".tm-verdict").get_attribute("aria-live") == "polite"
    label = part(page, ARC).locator(".tm-label").inner_text()
    assert field(page, ARC).get_attribute("aria-label") == label
    assert page.locator("html").get_attribute("lang")


def test_keyboard_alone(shown):
    """From the top with the tab key to slider, field, unit, verdict and choice; the focus is always to be seen."""
    lesson, page = shown
    page.locator("h1").first.click()
    wanted = {"slider", "field", "unit", "check", "radio", "working"}
    met, unseen = set(), []
    for _ in range(90):
        page.keyboard.press("Tab")
        kind, visible, inside = page.evaluate(
            """() => {
                 const at = document.activeElement;
                 const kind = at.getAttribute("role") === "slider" ? "slider"
                   : at.matches(".tm-field input") ? "field" : at.matches(".tm-unit select") ? "unit"
                   : at.matches(".tm-check, .tm-check *") ? "check" : at.matches(".tm-part [type=radio]") ? "radio"
                   : at.matches(".tm-open-working") ? "working" : at.tagName;
                 const style = getComputedStyle(at);
                 const box = at.getBoundingClientRect();
                 return [kind, style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2,
                         box.top >= -1 && box.bottom <= innerHeight + 1];
               }"""
        )
        met.add(kind)
        if kind in wanted and not (visible and inside):
            unseen.append(kind)
        if kind == "field" and lesson.answers.get(ARC) is None:
            page.keyboard.type("15.7")
            until(page, lambda: lesson.answers.get(ARC) == "15.7")
        if kind == "check" and not verdict(page, ARC):
            page.keyboard.press("Enter")
            judged(page, ARC)
            assert page.evaluate("document.activeElement.matches('.tm-check, .tm-check *')"), "the focus was lost"
        if kind == "radio":
            before = set(lesson.answers)
            page.keyboard.press("ArrowDown")
            until(page, lambda before=before: set(lesson.answers) - before)
            break
    assert wanted <= met
    assert unseen == []


def test_narrow_and_enlarged(shown):
    """On a phone and at twice the size nothing is cut off, and all can be reached by scrolling down alone."""
    lesson, page = shown
    for width, height in ((390, 844), (640, 450)):  # 640 px wide: 1280 px at 200 %
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(400)
        assert page.evaluate(CUT) == [], f"cut off at {width} px"
        assert page.evaluate(CLIPPED) == [], f"clipped at {width} px"
        typed = f"{width / 10}"
        field(page, ARC).fill(typed)
        until(page, lambda typed=typed: lesson.answers.get(ARC) == typed)


@pytest.mark.parametrize("module", ["m03_heat_range", "m04_plug_testing"])
def test_a_narrow_page_shows_lines_to_tick_whole(house, page, module):
    """Half a line to tick says nothing; a picture wider than the page scrolls in its frame, and the frame says so."""
    page.set_viewport_size({"width": 390, "height": 900})
    house.practice(module).show(page)
    assert page.locator(".tm-exercise .widget-checkbox").count() > 5
    assert page.evaluate(CLIPPED) == []
    cut = [found for found in page.evaluate(CUT) if "tm-picture" not in found]
    assert cut == []
    wide = page.locator(".tm-panel .tm-wide")
    hints = wide.evaluate_all("boxes => boxes.map(box => getComputedStyle(box, '::before').content)")
    assert hints and all("sideways" in hint for hint in hints)
    assert all(wide.evaluate_all("boxes => boxes.map(box => box.scrollWidth > box.clientWidth)"))


def test_a_slider_of_thousands_has_name_and_spaced_figure(house, page):
    """It prints 9000 and 10 000 as the lesson does, and its handle says the same to a screen reader."""
    house.practice("m03_heat_range").show(page)
    handle = page.get_by_role("slider", name="Distance (km)")
    handle.focus()
    for _ in range(12):
        page.keyboard.press("ArrowRight")
    readout = page.locator(".tm-steps .widget-readout")
    until(page, lambda: readout.inner_text() == "12\u202f000")
    until(page, lambda: handle.get_attribute("aria-valuetext") == "12 000")
    caption = page.locator(".tm-panel .tm-caption", has_text="New gap")
    until(page, lambda: "After 12\u202f000 km (7500 miles)" in caption.inner_text())
