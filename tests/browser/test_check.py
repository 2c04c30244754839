"""A click on Check is never lost: the verdict comes, on the answer that stood in the field when it was clicked."""

import pytest

from tests.browser.conftest import READY, call, field, judged, part, until

ARC, LINE, ORDER = "m01.mark_arc.arc", "m01.line_test.finding", "m01.check_order.steps"


def button(page, path):
    return part(page, path).get_by_role("button", name="Check")


@pytest.fixture
def right(shown):
    lesson, _ = shown
    return f"{lesson.truth().answer(ARC):.1f}"


@pytest.mark.parametrize("pause_s", [1, 5])
def test_clicked_before_the_kernel_has_the_text(shown, house, right, pause_s):
    """The kernel is held up while a trainee types and checks: for a moment, and for longer than the guard waits."""
    lesson, page = shown
    (kernel,) = house.kernels()
    kernel.suspend()
    try:
        field(page, ARC).click()
        page.keyboard.type(right, delay=30)
        button(page, ARC).click()
        page.wait_for_timeout(pause_s * 1000)
    finally:
        kernel.resume()
    assert judged(page, ARC) == "Right."
    assert field(page, ARC).input_value() == right
    assert lesson.store.answers[ARC].tries == 1, "half a number was judged"


def test_picked_twice_and_checked_before_the_kernel_has_it(shown, house):
    lesson, page = shown
    key = lesson.truth().answer(LINE)
    words = next(p for _, p, path in lesson.module.parts() if path == LINE).options
    other = next(one for one in words if one != key)
    (kernel,) = house.kernels()
    kernel.suspend()
    try:
        part(page, LINE).get_by_label(words[other], exact=True).check()
        part(page, LINE).get_by_label(words[key], exact=True).check()
        button(page, LINE).click()
        page.wait_for_timeout(1000)
    finally:
        kernel.resume()
    assert judged(page, LINE).startswith("Right")
    assert lesson.store.answers[LINE].tries == 1


def test_places_given_and_checked_at_once(shown, house):
    """Steps in order: a place that is given twice moves on, and the page agrees with the kernel about it."""
    lesson, page = shown
    lists = part(page, ORDER).locator(".tm-pick select")
    (kernel,) = house.kernels()
    kernel.suspend()
    try:
        for at, place in ((0, "1"), (1, "1"), (2, "2")):
            lists.nth(at).select_option(place)
        button(page, ORDER).click()
        page.wait_for_timeout(1000)
    finally:
        kernel.resume()
    assert "Not yet" in judged(page, ORDER) or "Most steps" in judged(page, ORDER) or "order" in judged(page, ORDER)
    assert [lists.nth(at).input_value() for at in range(3)] == ["no place", "1", "2"]
    assert lesson.store.answers[ORDER].tries == 1


def test_kernel_killed_under_the_click(shown, house, right):
    """The kernel ends with the click: the page runs the lesson again and asks again."""
    lesson, page = shown
    field(page, ARC).fill(right)
    until(page, lambda: lesson.answers.get(ARC) == right)
    page.wait_for_timeout(600)
    (kernel,) = house.kernels()
    kernel.suspend()
    button(page, ARC).click()
    page.wait_for_timeout(200)
    kernel.kill()
    assert judged(page, ARC, 40) == "Right."
    assert lesson.store.answers[ARC].tries == 1


@pytest.mark.parametrize("pause_ms", [0, 60])
def test_kernel_restarted_under_the_click(shown, house, right, pause_ms):
    """Jupyter interrupts a kernel before it ends it, in the middle of judging or saving."""
    lesson, page = shown
    field(page, ARC).click()
    page.keyboard.type(right, delay=10)
    (kernel,) = call(house, page, "get", "/api/kernels").json()
    button(page, ARC).click()
    page.wait_for_timeout(pause_ms)
    assert call(house, page, "post", f"/api/kernels/{kernel['id']}/restart").ok
    assert judged(page, ARC, 40) == "Right."
    assert lesson.store.answers[ARC].tries == 1


def test_clicked_while_the_lesson_still_runs(lesson, page, right_of):
    """The first exercise stands on the page before the last cell ran."""
    right = right_of(lesson)
    page.goto(lesson.url)
    field(page, ARC).wait_for(timeout=60_000)
    assert page.locator(READY).count() == 0
    field(page, ARC).fill(right)
    button(page, ARC).click()
    assert judged(page, ARC, 60) == "Right."
    assert lesson.store.answers[ARC].tries == 1


@pytest.fixture
def right_of():
    return lambda lesson: f"{lesson.truth().answer(ARC):.1f}"


def test_many_clicks_are_one_try(shown, right):
    lesson, page = shown
    field(page, ARC).click()
    page.keyboard.type(right, delay=5)
    for _ in range(6):
        button(page, ARC).click(no_wait_after=True)
    assert judged(page, ARC) == "Right."
    assert lesson.store.answers[ARC].tries == 1


def test_server_gone_is_said(tmp_path, browser):
    """With no program to judge it, the page says that the check waits; when it is back the verdict comes."""
    from tests.browser.conftest import House

    house = House(tmp_path / "work")
    context = browser.new_context()
    try:
        lesson, page = house.practice(), context.new_page()
        lesson.show(page)
        right = f"{lesson.truth().answer(ARC):.1f}"
        field(page, ARC).fill(right)
        until(page, lambda: lesson.answers.get(ARC) == right)
        page.wait_for_timeout(600)
        house.stop()
        button(page, ARC).click()
        until(page, lambda: "check" in page.locator("#tm-bar").inner_text().lower(), 15)
        house.start_again()
        context.new_page().goto(house.address.lesson_url(house.home, lesson.notebook))  # signs the browser in
        assert judged(page, ARC, 60) == "Right."
    finally:
        context.close()
        house.stop()
