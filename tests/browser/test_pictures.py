"""What the page shows of a picture is what matplotlib draws: still PNG with moving SVG above, dot for dot.

An edge is smoothed otherwise by a browser than by matplotlib, and letters sit a fraction of a
dot elsewhere. Allowed are, of all dots, `MANY` that differ by more than a quarter of the
range, and a mean difference of `MEAN` levels of 255.
"""

import base64
import io
import random
from pathlib import Path

import numpy as np
import pytest
from matplotlib import font_manager
from PIL import Image

from grader import paths
from grader.widgets import style
from grader.widgets.panels import m01_timing, m02_dwell, m03_heat_range, m04_plug_testing, m05_secondary
from tests.widgets.drawn import drawn

MANY, MEAN = 0.01, 2.0
STATES = 3  # each setting of the sliders by lot; `python -m tests.long` asks 20
PANELS = [
    pytest.param(make, id=f"{module.__name__.rpartition('.')[2]}-{name}")
    for module in (m01_timing, m02_dwell, m03_heat_range, m04_plug_testing, m05_secondary)
    for name, make in module.PANELS.items()
]


def settings(panel, count, seed):
    """That many settings of a panel's controls."""
    chance = random.Random(seed)
    for _ in range(count):
        yield {name: setting(control, chance) for name, control in panel.controls.items()}


def setting(control, chance):
    if hasattr(control, "options"):
        values = [value for _, value in control._options_full]
        return chance.choice(values)
    steps = int((control.max - control.min) / control.step)
    return control.min + control.step * chance.randint(0, steps)


@pytest.fixture(scope="module")
def paper(browser):
    """A page with the lesson's own rules for pictures, and matplotlib's own letters."""
    page = browser.new_page(viewport={"width": 900, "height": 700}, device_scale_factor=style.SHARPNESS)
    font = base64.b64encode(Path(font_manager.findfont("DejaVu Sans")).read_bytes()).decode()
    bold = base64.b64encode(Path(font_manager.findfont("DejaVu Sans:bold")).read_bytes()).decode()
    place = paths.checkout() / "grader" / "widgets" / "lab" / "labextensions" / "timing-mark" / "static" / "forms.css"
    page.set_content(
        f'<style>@font-face{{font-family:"DejaVu Sans";src:url(data:font/ttf;base64,{font})}}'
        f'@font-face{{font-family:"DejaVu Sans";font-weight:700;src:url(data:font/ttf;base64,{bold})}}'
        f"body{{margin:0;background:white}}{place.read_text()}.tm-stack{{margin:0!important}}</style>"
        '<body class="tm-lesson"><div id="here"></div>'
    )
    yield page
    page.close()


def shown(paper, picture, state):
    """The picture as the page shows it, as an array like that of `drawn`."""
    still = base64.b64encode(picture.still()).decode()  # before: it must hold nothing of an earlier state
    layer, hatches = picture.layer(state)
    paper.evaluate(
        """async ([html]) => {
            document.getElementById("here").innerHTML = html;
            await document.getElementById("here").querySelector("img").decode();
            await document.fonts.ready;
        }""",
        [
            f'<div class="tm-stack" style="width:{picture.width}px;height:{picture.height}px">'
            f'<img class="tm-picture" style="width:100%;height:100%" src="data:image/png;base64,{still}">'
            f'<div class="tm-hatches">{hatches}</div><div class="tm-moving">{layer}</div></div>'
        ],
    )
    png = paper.locator(".tm-stack").screenshot()
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB"))


def difference(paper, picture, state):
    """(share of dots that differ plainly, mean difference), after both were smoothed over four dots of the screen."""
    ours, theirs = shown(paper, picture, state), drawn(picture, state, style.SHARPNESS)
    rows, columns = (min(a, b) // 4 * 4 for a, b in zip(ours.shape[:2], theirs.shape[:2], strict=True))
    assert abs(ours.shape[0] - theirs.shape[0]) <= 1 and abs(ours.shape[1] - theirs.shape[1]) <= 1

    def smooth(pixels):
        blocks = pixels[:rows, :columns].astype(float).reshape(rows // 4, 4, columns // 4, 4, 3)
        return blocks.mean(axis=(1, 3))

    apart = np.abs(smooth(ours) - smooth(theirs)).max(axis=2)
    return float((apart > 64).mean()), float(apart.mean())


@pytest.mark.parametrize("make", PANELS)
def test_the_page_shows_what_matplotlib_draws(paper, make, request):
    panel = make()
    for place, values in enumerate(settings(panel, STATES, request.node.name)):
        state = panel.compute(**values)
        for picture, _ in panel.views:
            many, mean = difference(paper, picture, state)
            told = f"{type(picture).__name__}, setting {place}: {values}"
            assert many <= MANY and mean <= MEAN, f"{told}: {many:.4f} of the dots, {mean:.2f} on average"


def test_a_wrong_place_is_seen(paper):
    """The comparison can fail: a needle a little off, a figure that is another."""
    curves = m01_timing.total_advance().views[0][0]
    state = m01_timing.compute(1500, 9, 8, m01_timing.ON)
    layer = curves.layer(state)
    wrong = m01_timing.compute(1700, 9, 10, m01_timing.ON)
    many, mean = difference(paper, curves, wrong)
    assert many <= MANY and mean <= MEAN
    curves.layer = lambda _: layer
    many, mean = difference(paper, curves, wrong)
    assert many > MANY or mean > MEAN
