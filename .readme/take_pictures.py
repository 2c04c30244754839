"""Take the pictures of README.md from the real pages, in a browser that nobody sees.

    python .readme/take_pictures.py [FOLDER]

Needs playwright and Chromium, as the browser tests do. FOLDER: otherwise .readme.
"""

import datetime
import os
import re
import shutil
import sys
import tempfile
from contextlib import contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from playwright.sync_api import sync_playwright

from grader import catalogue
from grader.demo import build, scenario
from grader.desk import start
from grader.exercise.truth import Truth
from grader.reports.export.pages import programme_report as reports
from grader.widgets import study
from grader.widgets.answer_store import Store
from grader.widgets.lab import server

MODULE = "m01_timing"
PANEL = ".tm-panel:has-text('Total advance'):has-text('Vacuum line')"  # the one above the exercise
INSTRUCTOR = "R. Quillfeather"  # invented; the records name who marked
FLAGS = ("--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-sync")
SIZES = {
    "lesson": (1060, 1580),
    "returned": (900, 1000),
    "report": (900, 1120),
    "programme": (960, 1240),
    "desk": (1280, 900),
    "desk-today": (1280, 560),
    "desk-hand-out": (1280, 400),
    "desk-workshop": (1280, 640),
}


@contextmanager
def lesson(home):
    """A practice lesson on a server of its own: (its address, its folder)."""
    ready = study.make_ready(MODULE, folder=home, name="Ada Moor")
    address = server.choose_address(ready.root)
    process = server.start(ready.root, address)
    try:
        yield address.lesson_url(ready.root, ready.notebook), ready.notebook.parent
    finally:
        server.stop(process)


def work(page, folder):
    """Do what a trainee does: move a slider, answer with a slip, then see the picture and the verdict together."""
    module = catalogue.module(MODULE)
    truth = Truth(module, Store(module, folder).issue.numbers)
    total, panel = page.locator(".tm-ex-total"), page.locator(PANEL)
    part = next(part for _, part, path in module.parts() if path == "m01.total.line_on")
    slip = next(slip for slip in part.slips if slip.key == "vacuum-left-out")
    for key, value in (
        ("line_off", truth.answer("m01.total.line_off")),
        ("line_on", truth.slip("m01.total.line_on", slip)),
    ):
        form = total.locator(f".tm-part-{key}")
        form.locator(".tm-field input").fill(f"{value:.1f}")
        page.wait_for_timeout(400)
        form.get_by_role("button", name="Check").click()
        form.locator(".tm-verdict .tm-say").wait_for()
    panel.get_by_label("on", exact=True).check()
    handle = panel.get_by_role("slider").first
    handle.focus()
    for _ in range(8):
        page.keyboard.press("ArrowRight")
    page.wait_for_timeout(800)
    page.evaluate("document.activeElement.blur()")


def papers(browser, home, folder):
    """The demo's own pages: a returned sheet where a slip was made, and class and programme report from their top."""
    built = build.build(home / "term")
    programme = reports.write([built.term])
    sheet = built.returned.folder / scenario.LATE[0] / f"{scenario.MODULE}.html"
    for name, path in (("returned", sheet), ("report", built.report), ("programme", programme)):
        width, height = SIZES[name]
        page = browser.new_context(viewport={"width": width, "height": height}, color_scheme="light").new_page()
        page.goto(path.as_uri())
        if name == "returned":
            slip = page.locator("section").filter(has_text="A slip").first
            slip.evaluate("node => node.scrollIntoView({block: 'start'})")
        page.wait_for_timeout(300)
        page.screenshot(path=folder / f"{name}.png")
    return built.term.folder


def desk(browser, term, folder):
    """The instructor's desk of the demo's class: today, the marks, a hand-out foreseen, ticks in the workshop."""
    today = datetime.datetime.now(datetime.UTC).date() - datetime.timedelta(1)  # past in every zone
    ready = start.make_ready(term)
    address = server.choose_address(ready.root)
    process = server.start(ready.root, address)
    try:
        width, height = SIZES["desk"]
        page = browser.new_context(viewport={"width": width, "height": height}, color_scheme="light").new_page()
        page.goto(address.lesson_url(ready.root, ready.notebook))
        page.wait_for_selector("body[data-tm-ready=yes]", state="attached", timeout=60_000)

        def go(screen):
            page.locator(f".tm-to-{screen}").click()
            page.locator(f".tm-to-{screen}.tm-here").wait_for()
            page.wait_for_timeout(1500)

        def take(name, top=".tm-desk"):
            width, height = SIZES[name]
            page.set_viewport_size({"width": width, "height": height})
            page.evaluate("document.activeElement.blur()")
            page.wait_for_timeout(500)
            page.locator(top).first.evaluate("node => node.scrollIntoView({block: 'start'})")
            page.wait_for_timeout(500)
            page.screenshot(path=folder / f"{name}.png")

        take("desk-today")
        go("marks")
        take("desk")
        go("hand_out")
        page.get_by_label(re.compile("^Due.*: day")).fill((today + datetime.timedelta(14)).isoformat())
        page.get_by_role("button", name="See what will happen …").click()
        page.get_by_role("button", name="Do it").wait_for()
        take("desk-hand-out", ".tm-change")
        page.get_by_role("button", name="Leave it").click()
        go("workshop")
        for label, text in (("On which vehicle", "blue van"), ("Who saw it", INSTRUCTOR)):
            page.get_by_label(re.compile(label)).fill(text)
        page.get_by_label("Seen on: day").fill(today.isoformat())
        for name, taps in (
            ("Abreu, Nélia, T3", 1),
            ("Bassey, Idara, T3", 2),
            ("Castellan, Rufus, T3", 1),
            ("Abreu, Nélia, T5", 1),
        ):
            for _ in range(taps):
                page.get_by_role("button", name=re.compile(f"^{name}:")).click()
                page.wait_for_timeout(500)
        take("desk-workshop", ".tm-scroll")
    finally:
        server.stop(process)
        server.clear(ready.root)


def main(folder):
    folder.mkdir(parents=True, exist_ok=True)
    os.environ["LOGNAME"] = INSTRUCTOR
    chromium = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
    with (
        tempfile.TemporaryDirectory(prefix="pictures-") as home,
        lesson(Path(home)) as (url, place),
        sync_playwright() as play,
    ):
        browser = play.chromium.launch(executable_path=chromium, args=FLAGS)
        width, height = SIZES["lesson"]
        page = browser.new_context(viewport={"width": width, "height": height}, color_scheme="light").new_page()
        page.goto(url)
        page.wait_for_selector("body[data-tm-ready=yes]", state="attached", timeout=60_000)
        work(page, place)
        page.locator(PANEL).evaluate("node => node.scrollIntoView({block: 'start'})")
        page.wait_for_timeout(500)
        page.screenshot(path=folder / "lesson.png")
        os.environ[start.DATA] = str(Path(home) / "own")
        desk(browser, papers(browser, Path(home), folder), folder)
        browser.close()
    print("Written: " + ", ".join(str(folder / f"{name}.png") for name in SIZES))


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent)
