"""The panels of module 1: what gauge and plate show is what the reference functions say."""

import pytest

from grader.reference.timing import advance, combustion, cycle
from grader.widgets.panels import m01_timing
from grader.widgets.panels.timing import idle, pressure, pump


@pytest.fixture
def panel():
    return pump.pump_test()


def test_it_opens_with_pictures_and_captions(panel):
    assert panel.message.value == "" and all(caption.value for caption in panel.captions)
    assert all(bytes(image.value).startswith(b"\x89PNG") for image in panel.images)


@pytest.mark.parametrize("name", ["unit", "start_inhg", "fall_inhg_per_s", "time_s"])
def test_every_control_moves_a_picture_without_an_error(panel, name):
    panel.controls["unit"].value = pump.PUNCTURED
    control, before = panel.controls[name], {layer.value for layer in panel.layers}
    changed = False
    for end in [control.min, control.max] if hasattr(control, "min") else control.options:
        control.value = end
        assert panel.message.value == ""
        changed |= {layer.value for layer in panel.layers} != before
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


@pytest.mark.parametrize("name", list(m01_timing.PANELS))
def test_each_panel_opens_and_every_end_of_its_sliders_is_drawn(name):
    panel = m01_timing.PANELS[name]()
    for control in panel.controls.values():
        for end in [control.min, control.max] if hasattr(control, "min") else control.options:
            control.value = end
            assert panel.message.value == "" and all(len(caption.value) > 60 for caption in panel.captions)


def test_the_spark_that_is_best_peaks_a_little_after_top_and_moves_with_speed_and_load():
    best = {at: pressure.compute(30, *at).best_deg for at in ((1200, 90), (2000, 90), (4000, 90), (2000, 45))}
    assert best[1200, 90] < best[2000, 90] < best[4000, 90] and best[2000, 45] > best[2000, 90] + 5
    found = pressure.compute(round(best[2000, 90]), 2000, 90)
    assert 10 < found.peak_deg < 20 and found.torque_percent == pytest.approx(100, abs=0.1)
    burn = combustion.burn_duration_deg(2000, pressure.cylinder(2000, 90).burn_deg)
    own = cycle.solve(pressure.DEVELOPMENT_DEG - 45, 2000, cycle.Cylinder(charge_kpa=90, burn_deg=burn))
    early = pressure.compute(45, 2000, 90)
    assert early.peak_kpa == pytest.approx(own.peak_kpa) and early.torque_percent < 98
    assert "too early" in pressure.torque_caption(early) and "too late" in pressure.torque_caption(
        pressure.compute(5, 2000, 90)
    )
    assert "before top." in pressure.pressure_caption(pressure.compute(60, 800, 100))


def test_a_fast_idle_adds_advance_twice_and_the_plug_takes_one_away():
    slow, fast = idle.compute(700, 2.2, idle.PORTED), idle.compute(1200, 2.2, idle.PORTED)
    assert slow.covered and (slow.line_inhg, slow.centrifugal_deg, slow.vacuum_deg) == (0, 0, 0)
    assert not fast.covered and fast.centrifugal_deg > 0 and fast.vacuum_deg == 16
    assert "just what was set" in idle.marks_caption(
        slow
    ) and "weights and 16.0° from the vacuum unit" in idle.marks_caption(fast)
    low = idle.compute(700, 2.2, idle.MANIFOLD)
    assert low.line_inhg == pytest.approx(slow.manifold_inhg) and low.vacuum_deg == 16
    assert fast.manifold_inhg == pytest.approx(slow.manifold_inhg, abs=0.01), "the engine idles at the same pressure"
