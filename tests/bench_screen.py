"""How fast the lesson answers on this machine, in a real browser: prints a table and judges nothing.

    python -m tests.bench_screen [PRESSES]

The slider of the lesson's panel and a plain `ipywidgets.interact` with pyplot, which
draws the same curves at the same size, are measured in one run on one server, in turns,
and beside them the same panel with whole pictures sent as PNG;
so are the opening of the lesson, of the same lesson without its calculators, and of a
page with that one plain picture. Each ratio is taken against the plain one.
"""

import json
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from playwright.sync_api import sync_playwright
from rich.console import Console
from rich.table import Table

from grader.widgets import study
from grader.widgets.lab import server
from tests import programs
from tests.browser.conftest import FLAGS, MODULE, READY

PLAIN = """\
import ipywidgets
import matplotlib.pyplot as plt
import numpy as np

from grader.reference.timing import advance

WEIGHTS, UNIT = ((400, 0), (1000, 6), (1800, 11)), ((5, 0), (13, 8))
rpm = np.arange(0, 4501, 50)


@ipywidgets.interact(speed=(500, 4500, 50), vacuum=(0.0, 20.0, 0.5), initial=(-5, 20))
def show(speed=1500, vacuum=9.0, initial=8):
    figure, axes = plt.subplots(figsize=({width} / 100, {height} / 100), dpi=150)
    weights = 2 * advance.centrifugal_advance_deg(rpm / 2, WEIGHTS)
    unit = np.full(rpm.shape, 2 * advance.vacuum_advance_deg(vacuum, UNIT))
    axes.plot(rpm, weights, label="weights")
    axes.plot(rpm, unit, label="vacuum unit")
    axes.plot(rpm, initial + weights + unit, label="total")
    axes.axvline(speed)
    axes.set(xlim=(0, 4500), ylim=(0, 60), xlabel="rev/min", ylabel="crank degrees")
    axes.legend()
    plt.show()
"""

WHOLE = """\
import io

import numpy as np
from PIL import Image

from grader.widgets import panel
from grader.widgets.panels import m01_timing


class Whole(panel.Panel):
    "The same panel, its pictures drawn by matplotlib alone and sent whole as PNG at each move."

    def refresh(self, _=None):
        state = self.compute(**{name: control.value for name, control in self.controls.items()})
        for image, words, (picture, caption) in zip(self.images, self.captions, self.views, strict=True):
            figure = picture.figure
            if figure.dpi != 200:
                figure.set_dpi(200)
                picture.canvas.draw()
                picture.kept = picture.canvas.copy_from_bbox(figure.bbox)
            picture.canvas.restore_region(picture.kept)
            picture.update(state)
            for artist in picture.moving:
                artist.axes.draw_artist(artist)
            written = io.BytesIO()
            pixels = np.asarray(picture.canvas.buffer_rgba())[:, :, :3]
            Image.fromarray(pixels).save(written, "png", compress_level=1)
            image.value = written.getvalue()
            words.value = f"<div>{caption(state)}</div>"


m01_timing.Panel = Whole
m01_timing.total_advance().box
"""

WITHOUT = """
from ipywidgets import VBox

from grader.widgets import exercise_form as form


class Nothing:
    def __init__(self, title):
        self.box = VBox()


form.Calculator = Nothing
"""

PANEL, ROUNDS = "Total advance", 5

WATCH = """(root) => {
  window.tmTimes = [];
  let pressed = 0;
  window.addEventListener("keydown", () => { pressed = performance.now(); }, true);
  const painted = () => requestAnimationFrame(() => setTimeout(() => {
    if (pressed) { window.tmTimes.push(performance.now() - pressed); pressed = 0; }
  }));
  const seen = new WeakSet();
  const look = () => {
    for (const layer of root.querySelectorAll(".tm-moving")) {
      if (!seen.has(layer)) {
        seen.add(layer);
        new MutationObserver(() => { if (pressed) { painted(); } }).observe(layer, {childList: true, subtree: true});
      }
    }
    for (const picture of root.querySelectorAll("img")) {
      if (!seen.has(picture)) {
        seen.add(picture);
        picture.addEventListener("load", painted);
        if (picture.complete && pressed) { painted(); }
      }
    }
  };
  new MutationObserver(look).observe(root, {childList: true, subtree: true});
  look();
}"""


PLAIN_PAGE, BARE, LESSON = "page with one plain picture", "the lesson without calculators", "the lesson"
SLIDER, INTERACT = "slider to changed picture", "the same with plain interact"
PNG = "the same with whole pictures as PNG"
BASE = {LESSON: PLAIN_PAGE, BARE: PLAIN_PAGE, SLIDER: INTERACT, PNG: INTERACT}


def main(presses=40):
    with tempfile.TemporaryDirectory(prefix="bench-") as home, sync_playwright() as play:
        ready = study.make_ready(MODULE, folder=home, name="bench")
        address = server.choose_address(ready.root)
        began = time.perf_counter()
        process = server.start(ready.root, address)
        rows = [("server to its first answer", [1000 * (time.perf_counter() - began)])]
        browser = play.chromium.launch(executable_path=programs.chromium(), args=FLAGS)
        try:
            rows += _pages(browser, address, ready, presses)
        finally:
            browser.close()
            server.stop(process)
    rows += _imports()
    table = Table("milliseconds", "median", "95 %", "n", "ratio", box=None, pad_edge=False)
    medians = {name: statistics.median(values) for name, values in rows}
    for name, values in rows:
        ordered = sorted(values)
        high = ordered[min(len(ordered) - 1, round(0.95 * (len(ordered) - 1)))]
        table.add_row(
            name,
            f"{medians[name]:.0f}",
            f"{high:.0f}" if len(values) > 4 else "",
            str(len(values)),
            f"{medians[name] / medians[BASE[name]]:.2f}" if name in BASE else "",
        )
    Console().print(table)


def _pages(browser, address, ready, presses):
    lesson_url = address.lesson_url(ready.root, ready.notebook)
    opened = []
    for _ in range(3):
        context = browser.new_context(viewport={"width": 1280, "height": 900}, device_scale_factor=2)
        page, _ = context.new_page(), opened.append(_open(context.pages[0], lesson_url))
        if len(opened) < 3:
            context.close()
    panel, plain, whole = [], [], []
    sizes = page.evaluate(
        "(panel) => { const all = [...panel.querySelectorAll('img')];"
        " return [all.reduce((sum, one) => sum + one.width, 0), Math.max(...all.map(one => one.height))]; }",
        _panel(page).element_handle(),
    )
    notebook = _plain_notebook(ready, *sizes)
    page.evaluate(WATCH, _panel(page).element_handle())
    other = context.new_page()
    _open(other, address.lesson_url(ready.root, notebook))
    other.locator(".jp-OutputArea img").first.wait_for()
    other.evaluate(WATCH, other.locator(".jp-Notebook").element_handle())
    third = context.new_page()
    _open(third, address.lesson_url(ready.root, _notebook(ready, "whole", WHOLE)))
    third.locator(".tm-panel img").first.wait_for()
    third.evaluate(WATCH, third.locator(".jp-Notebook").element_handle())
    turns = (
        (page, _panel(page), panel), (other, other.locator(".jp-Notebook"), plain),
        (third, third.locator(".jp-Notebook"), whole),
    )  # fmt: skip
    for _ in range(2):  # in turns, so that a busy moment of the machine hits all
        for tab, place, times in turns:
            tab.bring_to_front()
            times += _press(tab, place, presses // 2)
    other.close()
    third.close()
    opens = {PLAIN_PAGE: notebook, BARE: _without_calculators(ready), LESSON: ready.notebook}
    times = {name: [] for name in opens}
    for _ in range(ROUNDS):
        for name, path in opens.items():
            times[name].append(_open(page, address.lesson_url(ready.root, path)))
    unfolded = _unfold(page)
    context.close()
    bytes_sent = " and ".join(f"{len(layer)}" for layer in _layers())
    print(f"A move sends {bytes_sent} bytes for the two pictures; whole pictures as PNG are {_whole()} bytes.")
    print(f"The picture is {sizes[0]} × {sizes[1]} on a 2× display; {len(unfolded)} exercises have a calculator.")
    return [
        ("page to usable lesson, first time in a browser", opened),
        *times.items(),
        ("a calculator unfolds", unfolded),
        (SLIDER, panel),
        (PNG, whole),
        (INTERACT, plain),
    ]


def _layers():
    from grader.widgets.panels import m01_timing

    return [layer.value for layer in m01_timing.total_advance().layers]


def _whole():
    """Bytes of the same two pictures as PNG, two dots for one of the page."""
    import io

    from PIL import Image

    from grader.widgets.panels import m01_timing
    from tests.widgets.drawn import drawn

    state, total = m01_timing.compute(1500, 9, 8, m01_timing.ON), 0
    for picture, _ in m01_timing.total_advance().views:
        written = io.BytesIO()
        Image.fromarray(drawn(picture, state, 2)).save(written, "png")
        total += len(written.getvalue())
    return total


def _unfold(page):
    """Times from a click on each calculator's button to its line."""
    times = []
    for button in page.get_by_role("button", name="Calculator", exact=True).all():
        lines = page.get_by_text("nothing here is saved or marked")
        count = lines.count()
        began = time.perf_counter()
        button.click()
        lines.nth(count).wait_for()
        times.append(1000 * (time.perf_counter() - began))
    return times


def _without_calculators(ready):
    """The same lesson, with nothing where the calculators stand."""
    notebook = json.loads(ready.notebook.read_text())
    first = next(cell for cell in notebook["cells"] if cell["cell_type"] == "code")
    first["source"] = [WITHOUT, *first["source"]]
    path = ready.notebook.with_name("without.ipynb")
    path.write_text(json.dumps(notebook))
    return path


def _open(page, url):
    began = time.perf_counter()
    page.goto(url)
    page.wait_for_selector(READY, state="attached", timeout=60_000)
    return 1000 * (time.perf_counter() - began)


def _panel(page):
    """The panel whose curves the plain picture draws, too."""
    return page.locator(".tm-panel", has_text=PANEL)


def _press(page, place, presses):
    """Times from a key on the first slider of a place to the changed picture on the screen."""
    handle = place.get_by_role("slider").first
    handle.focus()
    page.evaluate("window.tmTimes = []")
    for number in range(presses):
        page.keyboard.press("ArrowRight" if number < presses // 2 else "ArrowLeft")
        page.wait_for_function("count => window.tmTimes.length > count", arg=number, timeout=20_000)
        page.wait_for_timeout(120)
    return page.evaluate("window.tmTimes")


def _plain_notebook(ready, width, height):
    return _notebook(ready, "plain", PLAIN.format(width=width, height=height))


def _notebook(ready, name, source):
    """A notebook of one cell beside the lesson."""
    cell = {
        "cell_type": "code",
        "id": name,
        "metadata": {},
        "source": source,
        "outputs": [],
        "execution_count": None,
    }
    notebook = {
        "cells": [cell],
        "metadata": {
            "kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"},
            "timing_mark": {"lesson": MODULE, "run_on_open": True},
        },
        "nbformat": 4,
        "nbformat_minor": 5,
    }
    path = ready.notebook.with_name(f"{name}.ipynb")
    path.write_text(json.dumps(notebook))
    return path


def _imports():
    """Time that the first cell spends on imports, each in a fresh interpreter."""
    code = "import time; t = time.perf_counter(); import {}; print(1000 * (time.perf_counter() - t))"
    rows = []
    for what in ("grader.widgets.lesson", f"grader.widgets.lesson, grader.widgets.panels.{MODULE}"):
        runs = [
            float(subprocess.run([sys.executable, "-c", code.format(what)], capture_output=True, check=True, text=True,
                                 cwd=Path(__file__).resolve().parent.parent).stdout)
            for _ in range(5)
        ]  # fmt: skip
        rows.append((f"import {what}", runs))
    return rows


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:2]))
