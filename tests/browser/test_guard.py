"""Nothing typed is lost when kernel, server or disk fail; and what is not saved is said to be so."""

import ctypes
import os
import sys

import pytest

from grader.widgets import study
from grader.widgets.lab import server
from tests.browser.conftest import MODULE, READY, House, Lesson, call, field, part, until

ARC, LINE = "m01.mark_arc.arc", "m01.line_test.finding"


def type_on(page, text):
    """Add to what stands in the field, as somebody does who has noticed nothing."""
    field(page, ARC).click()
    page.keyboard.press("End")
    page.keyboard.type(text)


def quiet(page):
    """The lesson runs again, without a bar and without a dialog."""
    page.wait_for_selector(READY, state="attached", timeout=30_000)
    until(page, lambda: page.locator("#tm-bar").inner_text() == "")
    assert page.locator(".jp-Dialog").count() == 0


@pytest.fixture
def begun(shown):
    lesson, page = shown
    type_on(page, "15")
    until(page, lambda: lesson.answers.get(ARC) == "15")
    return lesson, page


def test_kernel_restarted(begun, house):
    """After a restart the widgets are dead; the lesson runs again and takes over what was typed."""
    lesson, page = begun
    (kernel,) = call(house, page, "get", "/api/kernels").json()
    assert call(house, page, "post", f"/api/kernels/{kernel['id']}/restart").ok
    type_on(page, ".7")
    until(page, lambda: lesson.answers.get(ARC) == "15.7", 25)
    quiet(page)
    assert field(page, ARC).input_value() == "15.7"
    type_on(page, "5")
    until(page, lambda: lesson.answers.get(ARC) == "15.75")


def test_kernel_killed(begun, house):
    """kill -9 while typing and choosing."""
    lesson, page = begun
    for process in house.kernels():
        process.kill()
    type_on(page, ".7")
    choice = part(page, LINE).get_by_role("radio").nth(2)
    choice.check()
    until(page, lambda: lesson.answers.get(ARC) == "15.7", 25)
    order = lesson.store.issue.numbers["m01.line_test"]["order_finding"]
    until(page, lambda: lesson.answers.get(LINE) == order[2], 25)
    quiet(page)
    assert field(page, ARC).input_value() == "15.7"
    assert choice.is_checked()


def test_kernel_shut_down(begun, house):
    """The kernel is shut down for good: the page starts another."""
    lesson, page = begun
    (kernel,) = call(house, page, "get", "/api/kernels").json()
    assert call(house, page, "delete", f"/api/kernels/{kernel['id']}").ok
    type_on(page, ".7")
    until(page, lambda: lesson.answers.get(ARC) == "15.7", 25)
    quiet(page)


def test_server_stopped_and_back(tmp_path, browser):
    """While the server is away the page says that nothing is saved.

    When the lesson is opened again, the new page signs the browser in, and the page left
    open saves by itself: its own token opens nothing any more.
    """
    house = House(tmp_path / "work")
    context = browser.new_context()
    try:
        lesson, page = house.practice(), context.new_page()
        lesson.show(page)
        type_on(page, "15")
        until(page, lambda: lesson.answers.get(ARC) == "15")
        house.stop()
        type_on(page, ".7")
        until(page, lambda: "ot saved" in page.locator("#tm-bar").inner_text(), 10)
        assert field(page, ARC).input_value() == "15.7"
        assert lesson.answers[ARC] == "15"
        assert not part(page, ARC).locator(".tm-echo").is_visible(), "the form still calls the old answer saved"
        house.start_again()
        page.wait_for_timeout(2000)
        assert lesson.answers[ARC] == "15", "a token of the server before was taken"
        context.new_page().goto(house.address.lesson_url(house.home, lesson.notebook))
        until(page, lambda: lesson.answers.get(ARC) == "15.7", 60)
        quiet(page)
        assert part(page, ARC).locator(".tm-echo").is_visible()
    finally:
        context.close()
        house.stop()


def test_folder_renamed_while_open(begun):
    """The answers go where the lesson now lies; no second folder comes into being."""
    lesson, page = begun
    moved = lesson.folder.with_name("moved")
    lesson.folder.rename(moved)
    old, lesson.folder = lesson.folder, moved
    type_on(page, ".7")
    until(page, lambda: lesson.answers.get(ARC) == "15.7")
    assert not old.exists()


def test_read_only_folder_says_not_saved(tmp_path, browser):
    """A folder that cannot be written to: the form and the bar say so, and save when it can be again."""
    house, user = ordinary_user(tmp_path)
    context = browser.new_context()
    try:
        lesson, page = Lesson(house, user), context.new_page()
        lesson.show(page)
        type_on(page, "15")
        until(page, lambda: lesson.answers.get(ARC) == "15")
        os.chmod(lesson.folder, 0o555)
        type_on(page, ".7")
        until(page, lambda: "Not saved" in part(page, ARC).locator(".tm-echo").inner_text())
        until(page, lambda: "not saved" in page.locator("#tm-bar").inner_text())
        assert lesson.answers[ARC] == "15"
        assert page.locator(".jp-Dialog").count() == 0
        os.chmod(lesson.folder, 0o755)
        until(page, lambda: lesson.answers.get(ARC) == "15.7", 10)
        until(page, lambda: page.locator("#tm-bar").inner_text() == "")
        assert "Not saved" not in part(page, ARC).locator(".tm-echo").inner_text()
    finally:
        os.chmod(user.notebook.parent, 0o755)
        context.close()
        house.stop()


def ordinary_user(tmp_path):
    """(a server that obeys the permissions of folders, a lesson on it), even where root runs the tests."""
    home = tmp_path / "work"
    (home / server.PRIVATE).mkdir(parents=True)
    ready = study.make_ready(MODULE, folder=home, name="Read only")
    house = House.__new__(House)
    house.home, house.address = home, server.choose_address(home)
    is_root = sys.platform == "linux" and os.geteuid() == 0
    house.process = server.start(home, house.address, **({"preexec_fn": _without_override} if is_root else {}))
    return house, ready


def _without_override():
    """Take from root, for the program about to start, the right to write where permissions forbid it."""
    drop_from_bounding_set, dac_override = 24, 1  # from linux/prctl.h and linux/capability.h
    if ctypes.CDLL(None).prctl(drop_from_bounding_set, dac_override, 0, 0, 0) != 0:
        raise OSError("the right could not be dropped")
