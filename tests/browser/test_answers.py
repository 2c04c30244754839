"""Typing answers: read at once, saved at once, judged on request in practice."""

from tests.browser.conftest import READY, field, judged, part, until, verdict

ARC, TIME, LINE = "m01.mark_arc.arc", "m01.angle_time.time", "m01.line_test.finding"


def check(page, path):
    """Ask for the verdict on a part and return its words."""
    part(page, path).get_by_role("button", name="Check").click()
    return judged(page, path)


def test_decimal_comma_slip_and_unreadable_answer(shown):
    """A comma is read, a known slip gets its own hint, words get a question back, and nothing is a crash."""
    lesson, page = shown
    truth = lesson.truth()
    typed = f"{truth.answer(ARC):.1f}".replace(".", ",")
    field(page, ARC).fill(typed)
    echo = part(page, ARC).locator(".tm-echo")
    until(page, lambda: f"{float(typed.replace(',', '.')):g} mm" in echo.inner_text())
    until(page, lambda: "Saved" in echo.inner_text())  # "Saving …" stands there until the disk has it
    right = check(page, ARC)
    assert "Not yet" not in right

    value, says = lesson.slip(ARC, "radius")
    field(page, ARC).fill(f"{value:.1f}")
    until(page, lambda: verdict(page, ARC) == "")
    assert says in check(page, ARC)

    field(page, TIME).fill("about a moment")
    until(page, lambda: lesson.answers.get(TIME) == "about a moment")
    words = check(page, TIME)
    assert words.strip() and words != right
    assert lesson.store.answers[TIME].tries == 0, "an unreadable answer is no try"
    assert lesson.store.answers[ARC].tries == 2


def test_choice_is_saved_and_judged(shown):
    """A finding is chosen with the mouse and stands after a reload."""
    lesson, page = shown
    key = lesson.truth().answer(LINE)
    options = dict(part_of(LINE).options.items())
    part(page, LINE).get_by_label(options[key], exact=True).check()
    until(page, lambda: lesson.answers.get(LINE) == key)
    assert "Not yet" not in check(page, LINE)
    page.reload()
    page.wait_for_selector(READY, state="attached", timeout=60_000)
    assert part(page, LINE).get_by_label(options[key], exact=True).is_checked()


def part_of(path):
    from grader import catalogue

    return next(part for _, part, found in catalogue.module("m01_timing").parts() if found == path)


def test_every_keystroke_is_saved_and_a_reload_restores(shown):
    """What is on the page is on disk; a reload shows it again, with its unit."""
    lesson, page = shown
    field(page, ARC).click()
    for typed in ("1", "15", "15,", "15,7"):
        page.keyboard.type(typed[-1])
        until(page, lambda typed=typed: lesson.answers.get(ARC) == typed)
    part(page, ARC).locator(".tm-unit select").select_option("in")
    until(page, lambda: lesson.store.answers[ARC].unit == "in")
    page.reload()
    page.wait_for_selector(READY, state="attached", timeout=60_000)
    assert field(page, ARC).input_value() == "15,7"
    assert part(page, ARC).locator(".tm-unit select").input_value() == "in"
    assert (lesson.folder / "answers.json.bak").is_file()


def test_browser_closed_in_mid_word_loses_nothing(shown, context):
    """The last keystroke before the window closes is on disk."""
    lesson, page = shown
    other = context.new_page()  # keeps the test's own page alive for tidying up
    lesson_page = page
    field(lesson_page, TIME).click()
    lesson_page.keyboard.type("3.14")
    lesson_page.wait_for_timeout(150)
    lesson_page.goto("about:blank")
    until(other, lambda: lesson.answers.get(TIME) == "3.14")
