"""Every panel writes thousands as the lessons do: in its sliders and in the words under its pictures."""

import re
from importlib import import_module

import pytest
from ipywidgets import FloatSlider, IntSlider, RadioButtons, SelectionSlider

from grader import catalogue
from grader.units import GROUPED_FROM, grouped
from grader.widgets.panels.heat_range import wear

LONG = re.compile(r"(?<![\d.,])\d{5,}")
NARROW = "\u202f"
PANELS = [
    (module, name)
    for module in catalogue.all_modules()
    for name in import_module(f"grader.widgets.panels.{module}").PANELS
]


@pytest.fixture(params=PANELS, ids=[name for _, name in PANELS])
def shown(request):
    module, name = request.param
    return import_module(f"grader.widgets.panels.{module}").PANELS[name]()


def push(control, to_the_end):
    """Move a control to its first or its last value."""
    if hasattr(control, "options"):
        control.index = len(control.options) - 1 if to_the_end else 0
    else:
        control.value = control.max if to_the_end else control.min


@pytest.mark.campaign
def test_no_slider_and_no_caption_runs_thousands_together(shown):
    for control in shown.controls.values():
        if isinstance(control, IntSlider | FloatSlider):
            assert control.max < GROUPED_FROM, "its read-out cannot set thousands apart"
    for to_the_end in (False, True):
        for control in shown.controls.values():
            push(control, to_the_end)
        assert [found.value for found in shown.captions if LONG.search(found.value)] == []
        assert shown.message.value == ""


def test_a_slider_of_thousands_keeps_its_values_and_its_looks():
    panel = wear.gap_wear()
    distance = panel.controls["distance_km"]
    assert isinstance(distance, SelectionSlider) and distance in panel.box.children
    assert [value for _, value in distance.options] == list(range(0, wear.LONGEST_KM + 1, 1000))
    assert dict(distance.options)[f"24{NARROW}000"] == 24_000 and dict(distance.options)["9000"] == 9000
    others = [control for control in panel.controls.values() if not isinstance(control, RadioButtons)]
    assert len({control.style.description_width for control in others}) == 1
    distance.value = 24_000
    words = panel.captions[0].value
    assert f"After {grouped(24_000)} km (14{NARROW}900 miles)" in words
    assert f"40{NARROW}000 km" in words and "1.18 mm" in words, "0.80 + 24 × 0.0158"
