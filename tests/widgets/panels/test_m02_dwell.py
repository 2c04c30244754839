"""The panels of module 2: what their sliders say is what the reference functions say."""

import numpy as np
import pytest

from grader import catalogue
from grader.modules.dwell.coil import FASTEST_RPM, PLOT_PIXELS
from grader.reference.spark import coil as coil_reference
from grader.reference.spark import points
from grader.vehicle.spec import vehicles
from grader.widgets.panels.dwell import arm, cam, coil, meter, wave
from grader.widgets.panels.dwell.drawing import LESSON_LIFT
from grader.widgets.panels.m02_dwell import PANELS


@pytest.fixture(scope="module")
def made():
    return {name: maker() for name, maker in PANELS.items()}


def captions(panel):
    return " ".join(caption.value for caption in panel.captions)


def test_every_panel_opens_with_pictures_and_captions(made):
    assert len(made) == 5
    for panel in made.values():
        assert panel.message.value == ""
        assert all(bytes(image.value).startswith(b"\x89PNG") for image in panel.images)
        assert all(caption.value for caption in panel.captions)


@pytest.mark.parametrize("name", PANELS)
def test_every_slider_from_end_to_end_moves_the_picture_without_an_error(made, name):
    panel = made[name]
    for control in panel.controls.values():
        start, before = control.value, {layer.value for layer in panel.layers}
        ends = [control.min, control.max] if hasattr(control, "min") else [
            option[1] if isinstance(option, tuple) else option for option in control.options
        ]  # fmt: skip
        changed = False
        for end in ends:
            control.value = end
            assert panel.message.value == "", f"{control.description} at {end}: {panel.message.value}"
            changed |= {layer.value for layer in panel.layers} != before
        control.value = start
        assert changed, f"{control.description} moves nothing"


def test_a_wider_gap_lowers_dwell_and_advances_and_wear_undoes_it():
    wide = cam.compute(8, 22.5, 0.0, 0)
    # The check tables give 28.01 degrees for 0.020 in of a 0.064 in lift; this cam is larger by one eighth.
    assert wide.dwell_deg == pytest.approx(28.01, abs=0.005)
    assert wide.timing_deg - cam.SET_DEG == pytest.approx(30.0 - wide.dwell_deg)
    worn = cam.compute(8, 22.5, 4.5, 0)
    assert worn.dwell_deg == pytest.approx(30.0) and worn.timing_deg == pytest.approx(cam.SET_DEG)
    assert wide.opening == pytest.approx(22.5) and cam.compute(8, 22.5, 0.0, 50).opening == 0


def test_the_points_are_drawn_open_just_where_the_dwell_says():
    state = cam.compute(6, 20.0, 0.0, 0)
    edge = 100 * state.half_open_deg / state.lobe_deg
    assert cam.compute(6, 20.0, 0.0, edge - 0.1).opening > 0
    assert cam.compute(6, 20.0, 0.0, edge + 0.1).opening == 0


def test_the_meter_shows_double_on_the_wrong_scale(made):
    state = meter.compute(8, 4, 18.0)
    assert (state.dwell_deg, state.reading_deg) == pytest.approx((30.0, 60.0))
    assert "60.0°" in captions(made["dwell_meter"]) and "would show 30.0°" in captions(made["dwell_meter"])


def test_the_current_is_that_of_the_reference_and_falls_to_nothing_at_opening():
    state = coil.compute(8, 3000, 13.8, coil.IN, 0.0, 12.0)
    assert state.current_a == pytest.approx(3.27242, abs=1e-5)
    assert state.available_kv == pytest.approx(19.7875, abs=1e-4)
    assert np.max(state.angle_current_a) == pytest.approx(state.current_a, rel=1e-3)
    assert state.angle_current_a[350] == 0  # at 35 degrees the points stand open


def test_a_bad_contact_hurts_low_speed_most():
    def lost(speed):
        good, bad = (coil.compute(8, speed, 13.8, coil.IN, ohm, 12.0).current_a for ohm in (0.0, 0.5))
        return good - bad

    assert lost(800) > lost(2500) > lost(5000)


def test_the_crossing_is_never_told_in_words(made):
    """Reading it off is the exercise."""
    panel = made["coil_current"]
    panel.controls["required_kv"].value = 17.1
    told = captions(panel)
    panel.controls["required_kv"].value = 12.0
    assert "4000" not in told


def test_the_plot_to_be_read_is_as_wide_as_the_exercise_believes(made):
    picture = made["coil_current"].views[1][0]
    box = picture.figure.axes[0].get_position()
    assert box.width * picture.width == pytest.approx(PLOT_PIXELS)
    assert picture.figure.axes[0].get_xlim() == (0, FASTEST_RPM)
    part = next(p for _, p, path in catalogue.module("m02_dwell").parts() if path == "m02.enough_voltage.speed")
    fine = np.diff(picture.figure.axes[0].get_xticks(minor=True))
    assert set(fine) <= {part.minor, 2 * part.minor}, "matplotlib leaves out fine lines that lie on main ones"


def test_a_weak_spring_drops_the_dwell_from_its_own_speed_on():
    sound, weak = arm.compute(20.0, 18.0, 3600), arm.compute(10.0, 18.0, 3600)
    assert sound.dwell_deg == pytest.approx(sound.still_deg)
    assert weak.dwell_deg < weak.still_deg - 2
    assert weak.floats_rpm / sound.floats_rpm == pytest.approx(np.sqrt(0.5))


def test_a_narrow_gap_bounces_at_speed_and_a_sound_one_does_not():
    assert arm.compute(20.0, 7.0, 5000).kept_percent < 40 < 95 < arm.compute(20.0, 16.0, 5000).kept_percent


def test_voltage_after_opening_by_condenser_soot_and_demand():
    fired = wave.compute(3.5, 0.22, wave.CLEAN_MOHM, wave.FIRES, 12.0)
    assert fired.wave.spark_ms > 0.3 and fired.wave.peak_kv == pytest.approx(12.0, rel=0.01)
    fouled = wave.compute(3.5, 0.22, 0.5, wave.FIRES, 20.0)
    assert fouled.wave.spark_ms is None and "no spark" in wave.plug_caption(fouled)
    open_lead = wave.compute(3.5, 0.22, wave.CLEAN_MOHM, wave.OPEN, 12.0)
    small = wave.compute(3.5, 0.04, wave.CLEAN_MOHM, wave.OPEN, 12.0)
    large = wave.compute(3.5, 1.0, wave.CLEAN_MOHM, wave.OPEN, 12.0)
    assert open_lead.wave.peak_kv > small.wave.peak_kv and open_lead.wave.peak_kv > large.wave.peak_kv


def test_the_open_lead_gives_about_what_the_energy_balance_allows():
    """Two routes to one figure: the two-loop ringing and the energy balance, lossless arc apart."""
    for current in (2.0, 3.5, 5.0):
        rings = wave.compute(current, 0.22, wave.CLEAN_MOHM, wave.OPEN, 12.0).wave.peak_kv
        assert rings == pytest.approx(coil_reference.available_voltage_kv(current, 20000.0), rel=0.08)


def test_no_panel_cam_gives_the_dwell_that_an_exercise_asks_for():
    """Gap set on the slider, dwell read off: it must miss the trainee's own cam by more than the tolerance."""
    for spec in vehicles().values():
        own = points.full_lift(spec.gap_in, spec.dwell_deg, spec.cylinders)
        for off in (-8.0, -4.0, 0.0, 4.0, 8.0):
            gap = 1000 * spec.gap_in + off
            asked = points.dwell_of_gap_deg(gap / 1000, own, spec.cylinders)
            shown = points.dwell_of_gap_deg(gap, LESSON_LIFT[spec.cylinders], spec.cylinders)
            assert abs(asked - shown) > 0.5, (spec.key, gap)
