"""The pump panel of module 1: what gauge and plate show is what the reference functions say."""

import pytest

from grader.reference.timing import advance
from grader.widgets.panels.timing import pump


@pytest.fixture
def panel():
    return pump.pump_test()


def test_it_opens_with_pictures_and_captions(panel):
    assert panel.message.value == "" and all(caption.value for caption in panel.captions)
    assert all(bytes(image.value).startswith(b"\x89PNG") for image in panel.images)


@pytest.mark.parametrize("name", ["unit", "start_inhg", "fall_inhg_per_s", "time_s"])
def test_every_control_moves_a_picture_without_an_error(panel, name):
    panel.controls["unit"].value = pump.PUNCTURED
    control, before = panel.controls[name], {image.value for image in panel.images}
    changed = False
    for end in [control.min, control.max] if hasattr(control, "min") else control.options:
        control.value = end
        assert panel.message.value == ""
        changed |= {image.value for image in panel.images} != before
    assert changed


def test_a_leak_falls_straight_and_then_ever_more_slowly():
    fall = [pump.compute(pump.PUNCTURED, 20.0, 0.5, t).left_inhg for t in (0, 5, 10, 25, 30, 35)]
    assert fall[0] - fall[1] == pytest.approx(2.5) and fall[1] - fall[2] == pytest.approx(2.5)
    assert fall[2] > advance.choked_vacuum_inhg() > fall[3]
    assert fall[3] - fall[4] > fall[4] - fall[5] > 0


def test_holding_alone_does_not_tell_a_sound_unit_from_a_seized_one():
    sound, seized = (pump.compute(unit, 18.0, 0.5, 60) for unit in (pump.GOOD, pump.SEIZED))
    assert sound.left_inhg == seized.left_inhg == 18.0
    assert (sound.stroke_mm, seized.stroke_mm) == (pump.STROKE_MM, 0.0)
    assert pump.compute(pump.GOOD, 9.0, 0.5, 60).stroke_mm == pytest.approx(pump.STROKE_MM / 2)


def test_the_caption_says_what_it_means(panel):
    said = []
    for unit in pump.UNITS:
        panel.controls["unit"].value = unit
        said.append(" ".join(caption.value for caption in panel.captions))
    assert "has moved" in said[0] and "It falls" in said[1] and "seized" in said[2]
    assert "18.0 inHg (61 kPa)" in said[0]
    panel.controls["unit"].value, panel.controls["start_inhg"].value = pump.GOOD, 4.0
    assert "Pump further" in panel.captions[1].value
