"""The desk in a real browser: a month by buttons, with names and answers that try to run something."""

import datetime
import io
import re
import zipfile

import pytest

from grader import catalogue, clock
from grader.course.attempts import overview
from grader.course.audit import verify
from grader.desk import start
from grader.desk.page import SCREENS
from grader.records.term import term as terms
from grader.widgets.lab import server
from tests.browser.conftest import READY, axe_source, until
from tests.work import issue_of, right_answers, sheet_of

MODULE = "m01_timing"
EVIL = "<img src=x onerror='window.harmed=1'>"
ZONE = "Europe/Lisbon"
PEOPLE = 12


class Served:
    """A desk and the server that shows it, with the kernel that the command starts before the page asks."""

    def __init__(self, folder):
        self.folder, self.ready = folder, start.make_ready(folder)
        self.address = server.choose_address(self.ready.root)
        self.process = server.start(self.ready.root, self.address, warm=self.ready.warm)
        server.begin_kernel(self.address, self.ready.root, self.ready.notebook)
        self.url = self.address.lesson_url(self.ready.root, self.ready.notebook)

    def stop(self):
        server.stop(self.process)
        server.clear(self.ready.root)


@pytest.fixture
def served(tmp_path, browser):
    opened = Served(tmp_path / "spring-a")
    yield opened
    opened.stop()


@pytest.fixture
def page(served, browser):
    context = browser.new_context(viewport={"width": 1280, "height": 900}, locale="en-GB", accept_downloads=True)
    opened = context.new_page()
    opened.set_default_timeout(30_000)
    opened.goto(served.url)
    opened.wait_for_selector(READY, state="attached", timeout=60_000)
    yield opened
    context.close()


def press(page, label):
    page.get_by_role("button", name=label, exact=True).first.click()


def go(page, screen):
    page.locator(f".tm-to-{screen}").click()
    page.locator(f".tm-to-{screen}.tm-here").wait_for()


def do_it(page, said, reason=""):
    """The last two steps of a change, and what it says then."""
    if reason:
        page.get_by_label(re.compile("it stands in the ledger")).fill(reason)
    press(page, "Do it")
    page.locator(".tm-change .tm-right", has_text=said).first.wait_for()


def class_list():
    people = [f"T{n:02d},Arundell,Bea {n},{'AB'[n % 2]}" for n in range(1, PEOPLE)]
    return "\n".join(["id,last_name,first_name,group", *people, f'T{PEOPLE:02d},"{EVIL}",Dov,A']) + "\n"


def came_back(term, folder):
    """Twelve files: ten right sheets, one of nothing but a blank, one that was cut off; the last two letters are hostile."""
    module, paths = catalogue.module(MODULE), []
    letter = next(path for _, part, path in module.parts() if part.by_person)
    folder.mkdir()
    for number in range(1, PEOPLE + 1):
        record = issue_of(term, f"t{number:02d}")
        answers = {} if number == 11 else right_answers(module, record)
        if number in (10, 12):
            answers[letter] = f"{EVIL} The line was off. <script>window.harmed=1</script>"
        from grader.exercise import sheet as sheets

        content = sheets.dump(sheet_of(record, answers))
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w") as archive:
            archive.writestr(f"{MODULE}/answers.json", content[: len(content) // 2] if number == 9 else content)
        path = folder / f"work of {number}.zip"
        path.write_bytes(packed.getvalue())
        paths.append(path)
    return paths


def test_a_month_by_buttons(served, page, tmp_path):
    """New class, list, hand-out, twelve hand-ins with troubles, marks, reading, return, resit, grades: no terminal, and no
    name or answer runs anything. The kernel dies once, and the desk stands where it stood."""
    yesterday = datetime.datetime.now(clock.zone(ZONE)).date() - datetime.timedelta(days=1)
    page.get_by_label("What people call this class").fill("Spring, class A")
    page.get_by_label("Time zone of your clock").fill(ZONE)
    page.get_by_label("Time zone of your clock").press("Tab")
    press(page, "Make the class …")
    do_it(page, "is ready")
    press(page, "Go on: the class list")
    listed = tmp_path / "list.csv"
    listed.write_text(class_list(), encoding="utf-8")
    page.get_by_label(re.compile("A new class list")).set_input_files(listed)
    page.get_by_role("region", name="What this list changes").wait_for()
    do_it(page, "12 new")
    in_change = "document.activeElement.closest('.tm-change') !== null"
    until(
        page, lambda: page.evaluate(in_change), 5
    )  # the button that had the keyboard is gone: it stays where the result is
    press(page, "Hand out a module")
    page.get_by_label("Module", exact=True).select_option(label="Ignition timing")
    page.get_by_label(f"Due, by the clock of {ZONE}: day").fill(yesterday.isoformat())
    press(page, "See what will happen …")
    do_it(page, "12 have numbers of their own")
    with page.expect_download() as download:
        press(page, "Save one zip with a folder for each person")
    with zipfile.ZipFile(download.value.path()) as packed:
        assert len(packed.namelist()) == PEOPLE
    term = terms.open_term(served.folder)
    go(page, "inbox")
    page.get_by_label(re.compile(r"They came in.*: day")).fill(yesterday.isoformat())
    page.get_by_label(re.compile(r"They came in.*: hour")).fill("12:00")
    page.get_by_label(re.compile("Drop what came back")).set_input_files(came_back(term, tmp_path / "came"))
    page.get_by_role("region", name="What would be taken").wait_for()
    assert not list((served.folder / "inbox").iterdir()) and not list((served.folder / "handed_in").rglob("*.json"))
    do_it(page, "taken")
    press(page, "Mark Ignition timing")
    press(page, "Mark what came in (12) …")
    do_it(page, "11 marked")
    go(page, "read")
    for number in (1, 2):
        page.get_by_role("heading", name=re.compile("^1 of")).wait_for()
        for group in page.get_by_role("radiogroup").all():
            group.get_by_role("radio").first.check()
        press(page, "Keep, next")
        page.locator(
            ".tm-right", has_text="is kept" if number == 1 else "Every written answer is read"
        ).first.wait_for()
    stop_the_kernel(served, page)
    page.locator(".tm-to-read.tm-here").wait_for(timeout=60_000)
    page.locator(".tm-right", has_text="Every written answer is read").first.wait_for(timeout=60_000)
    press(page, "Give the work back")
    press(page, "See who gets a page …")
    do_it(page, "11 pages are written")
    with page.expect_download():
        press(page, "Save one zip with a folder for each person")
    go(page, "marks")
    page.get_by_role("checkbox", name="Choose Arundell, Bea 11").check()
    press(page, "Resit …")
    press(page, "See what will happen …")
    do_it(page, "attempt 2 is issued", reason="timing steps again")
    go(page, "next_lesson")
    page.frame_locator("iframe.tm-leaf").get_by_role("heading", name="Who needs you").wait_for()
    go(page, "office")
    press(page, "Grades …")
    do_it(page, "Written")
    go(page, "today")
    page.locator(".tm-card", has_text="11 of 11 returned").wait_for()
    assert verify.verify(term).findings == []
    standings = [found for found, _ in overview.marks_table(term, catalogue.module(MODULE))]
    assert sorted(found.mark.mark for found in standings if found.mark) == [0] + [2800] * 8 + [3000] * 2
    go(page, "people")
    page.get_by_role("button", name="All about <img").click()
    page.get_by_role("region", name="What was done and decided").wait_for()
    go(page, "workshop")
    page.get_by_role("button", name="<img src=x onerror='window.harmed=1'>, Dov, T3: nothing recorded").click()
    page.get_by_role("button", name="Record 1 tick …").wait_for()
    looks(page)
    assert page.evaluate("window.harmed") is None


def stop_the_kernel(served, page):
    """End the kernel as a fault would; JupyterLab starts another one. There is one only: the page took the one that ran."""
    import psutil

    (kernel,) = [c for c in psutil.Process(served.process.pid).children() if "ipykernel" in " ".join(c.cmdline())]
    kernel.kill()
    until(page, lambda: page.locator("#tm-bar:visible").count() == 1, 30)
    page.wait_for_selector(READY, state="attached", timeout=60_000)


def looks(page):
    """Nothing that axe knows is amiss, on every screen in light and on three in dark; nothing stands beside a narrow screen, nor
    beside one whose letters are twice as large."""
    page.add_script_tag(content=axe_source())
    for scheme, screens in (("light", list(SCREENS)), ("dark", ["today", "marks", "workshop"])):
        page.emulate_media(color_scheme=scheme)
        for screen in screens:
            go(page, screen)
            page.wait_for_timeout(300)
            found = page.evaluate("axe.run(document.querySelector('.tm-desk'), {resultTypes: ['violations']})")
            assert [(v["id"], v["nodes"][0]["html"][:200]) for v in found["violations"]] == [], (scheme, screen)
    for width, screen in [(w, s) for w in (640, 390) for s in ("today", "marks", "workshop")]:
        page.set_viewport_size({"width": width, "height": 800})  # 640: a screen of 1280 at 200 per cent
        go(page, screen)
        page.wait_for_timeout(300)
        wide = page.evaluate(
            "[...document.querySelectorAll('.tm-desk button, .tm-desk input, .tm-desk select, .tm-desk p')]"
            ".filter(n => !n.closest('.tm-scroll') && n.getBoundingClientRect().right > innerWidth + 1).map(n => n.outerHTML.slice(0, 120))"
        )
        assert wide == [], screen
