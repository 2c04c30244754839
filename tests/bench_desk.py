"""The desk with a class of 40 and every module: how long each screen takes; printed, never asserted.

Run from the root of a checkout: python -m tests.bench_desk [trainees, 40 unless named]

The same term is read by nbgrader's formgrader list, so that a slow machine shows in
both. A click on the desk fills a screen; what a browser then needs to draw is told by
`--page`: from the address to the first screen, beside a lesson on the same machine, and
from each click to the screen that stands there.
"""

import statistics
import sys
import tempfile
import time
from pathlib import Path

from tests.bench_month import prepare

ROUNDS = 7


def milliseconds(act, rounds=ROUNDS):
    """(median, 95th per cent) of some rounds, the first not counted."""
    act()
    taken = []
    for _ in range(rounds):
        begun = time.perf_counter()
        act()
        taken.append(1000 * (time.perf_counter() - begun))
    return statistics.median(taken), sorted(taken)[int(0.95 * (rounds - 1))]


def page(ready, screens=()):
    """(seconds from the address to the first screen of a browser that knows nothing yet, {screen: ms of each click on it})."""
    from playwright.sync_api import sync_playwright

    from grader.widgets.lab import server
    from tests import programs
    from tests.browser.conftest import FLAGS, READY

    address = server.choose_address(ready.root)
    warm = getattr(ready, "warm", "")
    process = server.start(ready.root, address, warm=warm)
    if warm:
        server.begin_kernel(address, ready.root, ready.notebook)
    try:
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path=programs.chromium(), args=FLAGS)
            taken, clicks = [], {}
            for number in range(3):
                shown = browser.new_context().new_page()
                begun = time.perf_counter()
                shown.goto(address.lesson_url(ready.root, ready.notebook))
                shown.wait_for_selector(READY, state="attached", timeout=120_000)
                taken.append(time.perf_counter() - begun)
                if number == 2:
                    clicks = {name: [_click(shown, name) for _ in range(ROUNDS)] for name in screens}
                shown.close()
            return taken, clicks
    finally:
        server.stop(process)
        server.clear(ready.root)


def _click(shown, name):
    """Milliseconds from a click in the browser until the screen stands there, drawn."""
    return shown.evaluate(
        """async (name) => {
            const begun = performance.now(), body = document.querySelector(".tm-screen");
            document.querySelector(`.tm-to-${name}`).click();
            while (document.querySelector(".tm-screen") === body || !document.querySelector(".tm-screen h2")) {
                await new Promise((done) => setTimeout(done, 5));
            }
            await new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)));
            return performance.now() - begun;
        }""",
        name,
    )


def main():
    """Print the table."""
    from nbgrader.apps import NbGraderAPI
    from traitlets.config import Config

    from grader import catalogue
    from grader.course.grading import mark_class
    from grader.desk import start
    from grader.desk.page import SCREENS, Desk
    from grader.records.gradebook import gradebook
    from grader.records.term import term as terms
    from grader.widgets import study

    trainees = next((int(word) for word in sys.argv[1:] if word.isdecimal()), 40)
    with tempfile.TemporaryDirectory(prefix="bench-desk-") as place:
        folder, home = Path(place) / "term", Path(place) / "home"
        prepare(folder, trainees)
        opened = terms.open_term(folder)
        modules = list(catalogue.all_modules())
        for key in modules:
            mark_class.mark(opened, key)
        home.mkdir()
        desk = Desk(folder, home)
        print(f"{trainees} trainees, {len(modules)} modules; milliseconds: median, p95 of {ROUNDS}")
        with gradebook._nbgrader():
            book = NbGraderAPI(config=gradebook.config(opened, Config()))
            beside = milliseconds(book.get_assignments)
        print(f"{'formgrader list':<18}{beside[0]:>9.0f}{beside[1]:>9.0f}")
        for name, label in SCREENS.items():
            took = milliseconds(lambda name=name: desk.go(name))
            print(f"{label:<18}{took[0]:>9.0f}{took[1]:>9.0f}{took[0] / beside[0]:>9.2f} of formgrader's list")
        if "--page" in sys.argv:
            opened_s, clicks = page(start.make_ready(folder), SCREENS)
            lesson_s, _ = page(study.make_ready(modules[0], folder=Path(place) / "lessons"))
            for what, taken in (("desk", opened_s), ("a lesson", lesson_s)):
                told = ", ".join(f"{seconds:.1f}" for seconds in taken)
                print(f"from the address to the first screen of {what}: {told} s (the first with a new kernel)")
            for name, taken in clicks.items():
                p95 = sorted(taken)[int(0.95 * (ROUNDS - 1))]
                print(
                    f"click on {SCREENS[name]:<14} in the browser: first {taken[0]:.0f}, median {statistics.median(taken):.0f}, "
                    f"p95 {p95:.0f} ms ({p95 / beside[1]:.2f} of formgrader's list)"
                )


if __name__ == "__main__":
    main()
