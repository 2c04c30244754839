"""The panel shows what the reference functions say."""

import gc

import numpy as np
import pytest
from matplotlib.backends.backend_agg import RendererAgg

from grader.errors import OutOfRange
from grader.reference import angles
from grader.reference.timing import advance
from grader.widgets.panels import m01_timing as m01


@pytest.mark.parametrize("speed", [0, 650, 800, 1500, 2200, 3600, 4500])
@pytest.mark.parametrize("vacuum", [0, 5, 9, 13, 22])
@pytest.mark.parametrize("line", [m01.OFF, m01.ON])
def test_values_are_those_of_the_reference(speed, vacuum, line):
    state = m01.compute(speed, vacuum, 8, line)
    at_unit = vacuum if line == m01.ON else 0
    assert state.total_deg == advance.total_advance_deg(speed, at_unit, 8, m01.CENTRIFUGAL, m01.VACUUM)
    assert state.total_deg == pytest.approx(8 + state.centrifugal_deg + state.vacuum_deg, abs=1e-12)
    place = np.interp(speed, state.speeds, np.arange(state.speeds.size))
    if place == int(place):
        assert state.total_curve[int(place)] == pytest.approx(state.total_deg, abs=1e-12)
    weights = 2 * advance.centrifugal_advance_deg(angles.distributor_speed_rpm(state.speeds), m01.CENTRIFUGAL)
    assert np.allclose(state.centrifugal_curve, weights, rtol=0, atol=1e-12)


def test_worked_example_of_the_lesson():
    """Derived in the lesson's text: 1500 rev/min, 8°, 9 inHg give 15.0° and 23.0°."""
    assert m01.compute(1500, 9, 8, m01.OFF).total_deg == pytest.approx(15.0)
    assert m01.compute(1500, 9, 8, m01.ON).total_deg == pytest.approx(23.0)


def test_line_off_the_vacuum_slider_moves_nothing():
    shown = m01.total_advance()
    before = [layer.value for layer in shown.layers]
    shown.controls["vacuum_inhg"].value = 14
    assert [layer.value for layer in shown.layers] == before
    shown.controls["line"].value = m01.ON
    assert all(new.value != old for new, old in zip(shown.layers, before, strict=True))


def test_pictures_depend_on_the_setting_alone():
    """Kept backgrounds leave no trace of where the artists were before."""
    shown = m01.total_advance()
    before = [layer.value for layer in shown.layers]
    for speed in (0, 4500, 3000):
        shown.controls["speed_rpm"].value = speed
        assert [layer.value for layer in shown.layers] != before
    shown.controls["speed_rpm"].value = 1500
    assert [layer.value for layer in shown.layers] == before


def test_a_panel_that_stands_on_the_page_keeps_no_bare_pixels():
    """A small machine has 4 MB for each picture to lose: what was drawn sharp is kept as PNG alone."""
    before = {renderer for renderer in gc.get_objects() if isinstance(renderer, RendererAgg)}
    shown = [make() for make in m01.PANELS.values()]
    gc.collect()
    held = [each for each in gc.get_objects() if isinstance(each, RendererAgg) and each not in before]
    assert [each for each in held if each.dpi > 72] == []
    assert all(image.value for panel in shown for image in panel.images)


def test_captions_carry_the_present_values():
    shown = m01.total_advance()
    shown.controls["speed_rpm"].value = 2200
    shown.controls["line"].value = m01.ON
    state = m01.compute(2200, 9, 8, m01.ON)
    words = shown.captions[0].value
    for piece in (
        "2200 rev/min",
        "9.0 inHg (30 kPa)",
        f"{state.centrifugal_deg:.1f}°",
        f"total {state.total_deg:.1f}°",
    ):
        assert piece in words
    assert f"{state.total_deg:.1f}° before top dead centre" in shown.captions[1].value
    shown.controls["line"].value = m01.OFF
    assert "off and plugged" in shown.captions[0].value


def test_every_setting_stays_inside_the_picture():
    shown = m01.total_advance()
    most = m01.compute(m01.MOST_RPM, shown.controls["vacuum_inhg"].max, shown.controls["initial_deg"].max, m01.ON)
    assert max(most.total_curve.max(), most.total_deg) <= m01.MOST_DEG
    picture = shown.views[0][0]
    picture.update(most)
    box = picture._labels["total"].get_window_extent(picture.canvas.get_renderer())
    assert 0 <= box.x0 and box.x1 <= picture.figure.bbox.x1 and box.y1 <= picture.figure.bbox.y1


def test_notch_stands_at_the_total():
    picture = m01.Pulley(300, 300)
    picture.update(m01.compute(1500, 9, 8, m01.ON))
    (x, y), *_ = picture._notch.get_xy()
    assert np.degrees(np.arctan2(-x, y)) == pytest.approx(23.0), "to the left of the upright: still to come"
    assert picture._reading.get_text() == "23.0°"


def test_labels_keep_apart():
    places = m01._apart({"a": 8.0, "b": 8.0, "c": 9.0, "d": 30.0}, 3.4)
    found = sorted(places.values())
    assert min(np.diff(found)) >= 3.4 - 1e-9 and places["d"] == 30.0


def test_error_of_the_computation_appears_in_the_panel():
    def refuse(**_):
        raise OutOfRange("Engine speed is -1 rev/min; allowed is 0 or more rev/min.")

    assert "allowed is 0 or more" in m01.total_advance(refuse).message.value
    assert "KeyError" in m01.total_advance(lambda **_: {}["x"]).message.value


def test_first_cell_leaves_heavy_libraries_out():
    """Opening a lesson must not wait for what it does not need yet."""
    import subprocess
    import sys

    script = (
        "import sys, tempfile; from grader.widgets.lesson import Lesson; "
        "lesson = Lesson('m01_timing', tempfile.mkdtemp()); lesson.top(); lesson.show('m01.total'); "
        "print(sorted({'matplotlib', 'pandas', 'scipy', 'pint', 'nbgrader', 'sqlalchemy'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert (done.stdout.strip(), done.stderr) == ("[]", "")
