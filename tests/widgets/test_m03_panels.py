"""The panels of module 3 show what the reference functions say, in picture and in words."""

import numpy as np
import pytest

from grader.modules.heat_range import nose
from grader.reference.spark import breakdown, plug
from grader.widgets.panels import m03_heat_range as m03
from grader.widgets.panels.heat_range import chart, face, section, wear
from tests.widgets.drawn import drawn


@pytest.mark.parametrize("name", m03.PANELS)
def test_each_panel_draws_itself_and_follows_every_control(name):
    """Each slider, moved alone, changes the picture or the words, and nothing stumbles."""
    shown = m03.PANELS[name]()
    assert shown.message.value == "" and all(bytes(image.value).startswith(b"\x89PNG") for image in shown.images)
    for control in shown.controls.values():
        before = [layer.value for layer in shown.layers], [words.value for words in shown.captions]
        first = control.value
        if hasattr(control, "options"):
            control.index = len(control.options) - 1
        else:
            control.value = control.max
        assert shown.message.value == ""
        assert ([layer.value for layer in shown.layers], [words.value for words in shown.captions]) != before
        control.value = first
    assert [layer.value for layer in shown.layers] == before[0], "the same setting gives the same picture"


@pytest.mark.parametrize("nose_mm", [6, 14, 24])
@pytest.mark.parametrize("load", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("seat", [section.TIGHT, section.LOOSE])
def test_the_section_shows_the_tip_of_the_reference(nose_mm, load, seat):
    state = section.compute(nose_mm, load, 5, 0.95, seat)
    side = plug.gas_side(load, 5, 0.95, 1.0 if seat == section.LOOSE else 0.0)
    assert state.tip_c == pytest.approx(plug.nose_temperature_c(nose_mm, *side), abs=1e-9)
    assert state.profile[0] == pytest.approx(side[2])
    assert f"{state.tip_c:.0f} °C" in section.section_caption(state)
    assert section.scales.STATE_WORDS[plug.nose_state(state.tip_c)] in section.profile_caption(state)


def test_directions_of_the_section():
    """Longer, more load, too early, loose: hotter. Rich and late: cooler."""
    plain = section.compute(14, 0.5, 0, 1.0, section.TIGHT).tip_c
    for hotter in ((18, 0.5, 0, 1.0, section.TIGHT), (14, 0.8, 0, 1.0, section.TIGHT), (14, 0.5, 8, 1.0, section.TIGHT),
                   (14, 0.5, 0, 1.05, section.TIGHT), (14, 0.5, 0, 1.0, section.LOOSE)):  # fmt: skip
        assert section.compute(*hotter).tip_c > plain
    for cooler in (
        (10, 0.5, 0, 1.0, section.TIGHT),
        (14, 0.5, -8, 1.0, section.TIGHT),
        (14, 0.5, 0, 0.85, section.TIGHT),
    ):
        assert section.compute(*cooler).tip_c < plain


def test_the_chart_can_be_read_as_closely_as_the_exercise_allows():
    """Between its points the drawn line strays from the reference by less than a degree."""
    state = chart.compute(0, 1.0, chart.TIGHT)
    for name in nose.NOSES_MM:
        for load in (0.06, 0.33, 0.52, 0.77, 0.98):
            drawn = np.interp(load, chart._LOADS, state.tips[name])
            assert drawn == pytest.approx(nose.nose_tip_c(name, load), abs=1.0)


def test_the_chart_does_not_tell_what_is_to_be_read():
    """The words give both ends of each line, and no load between."""
    words = chart.chart_caption(chart.compute(0, 1.0, chart.TIGHT))
    for name in nose.NOSES_MM:
        assert f"{nose.nose_tip_c(name, 0.0):.0f} to {nose.nose_tip_c(name, 1.0):.0f} °C" in words
        assert f"{nose.nose_tip_c(name, 0.5):.0f}" not in words


def test_wear_and_reserve_are_those_of_the_reference():
    state = wear.compute(0.8, 24140.16, wear.FULL, wear.SOUND)
    assert state.gap_mm == pytest.approx(0.8 + 15 * 0.0254)
    assert state.rounding == pytest.approx(24140.16 / wear.ROUND_AFTER_KM)
    assert np.allclose(state.reserve, state.available - state.required - breakdown.ROTOR_GAP_KV)
    assert np.all(state.required > wear.compute(0.8, 0, wear.FULL, wear.SOUND).required)


def test_new_plugs_hide_a_tired_system_and_only_load_tells():
    """The trap of the lesson: tired and worn misfires at full load; new plugs, or light work, hide it."""
    worn = wear.compute(0.8, 30000, wear.FULL, wear.TIRED)
    assert worn.least[0] < 0 and "misfires" in wear.voltages_caption(worn)
    assert wear.compute(0.8, 0, wear.FULL, wear.TIRED).least[0] > 0
    light = wear.compute(0.8, 30000, wear.CRUISE, wear.TIRED)
    assert light.least[0] > 0 and "never misfires" in wear.voltages_caption(light)


def test_required_at_full_load_agrees_with_the_table_computed_apart():
    """Derived, another script: 0.035 inch, sharp edges, 12.7 kV at 2000 and 10.0 kV at 4000 rev/min."""
    state = wear.compute(0.889, 0, wear.FULL, wear.SOUND)
    assert np.interp([2000, 4000], wear._SPEEDS, state.required) == pytest.approx([12.7, 10.0], abs=0.1)
    assert np.interp([2000, 4000], wear._SPEEDS, state.available) == pytest.approx([22.9, 17.1], abs=0.05)


@pytest.mark.parametrize(
    ("setting", "said"),
    [
        ((0, 0, 0, 0, 0, face.WHOLE), "Right plug, right mixture"),
        ((4, 0, 0, 0, 0, face.WHOLE), "a weak spark or a plug too cold"),
        ((0, 3, 0, 0, 0, face.WHOLE), "No heat range cures that"),
        ((0, 0, 3, 0, 0, face.WHOLE), "no spark at that plug, or flooded"),
        ((0, 0, 0, 4, 0, face.WHOLE), "Overheated"),
        ((0, 0, 0, 0, 4, face.WHOLE), "a long distance"),
        ((0, 0, 0, 0, 0, face.CRACKED), "detonation"),
        ((1, 0, 0, 0, 0, face.BRIDGED), "broken loose"),
    ],
)
def test_a_face_is_told_in_words(setting, said):
    words = face.face_caption(face.compute(*setting))
    assert said in words
    assert words.startswith("The spark end from the side.")


def test_soot_is_dark_and_heat_is_pale_in_the_picture():
    picture = face.PlugFace(300, 230)
    grey = [drawn(picture, face.compute(*s)).mean() for s in ((4, 0, 0, 0, 0, face.WHOLE), (0, 0, 0, 0, 0, face.WHOLE))]
    assert grey[0] < grey[1] - 10
