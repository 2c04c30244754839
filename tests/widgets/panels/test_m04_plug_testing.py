"""The panels of plug testing show what the reference functions say."""

import numpy as np
import pytest

from grader.reference.spark import breakdown, tester
from grader.reference.timing import combustion
from grader.widgets.panels import m04_plug_testing as m04
from grader.widgets.panels.plug_testing import engine, gauge, repeat
from grader.widgets.panels.plug_testing import tester as bench


@pytest.fixture(scope="module")
def shown():
    return {name: make() for name, make in m04.PANELS.items()}


@pytest.mark.parametrize("name", list(m04.PANELS))
def test_every_end_of_every_slider_draws_without_a_word_of_trouble(shown, name):
    panel = shown[name]
    usual = {key: control.value for key, control in panel.controls.items()}
    before = [layer.value for layer in panel.layers]
    for key, control in panel.controls.items():
        ends = control.options if hasattr(control, "options") else (control.min, control.max)
        for end in ends:
            control.value = end
            assert panel.message.value == ""
            assert all("nan" not in caption.value for caption in panel.captions)
        control.value = usual[key]
    assert [layer.value for layer in panel.layers] == before, "a picture depends on the setting alone"


@pytest.mark.parametrize("name", list(m04.PANELS))
def test_every_control_changes_some_picture(shown, name):
    panel = shown[name]
    for key, control in panel.controls.items():
        usual, before = control.value, [layer.value for layer in panel.layers]
        other = control.options[-1] if hasattr(control, "options") else control.min
        control.value = other if other != usual else control.max
        assert [layer.value for layer in panel.layers] != before, key
        control.value = usual


def test_spark_fails_just_above_the_firing_pressure():
    """Derived in the handbook's table: 18 kV and 0.035 in fire up to 77.2 psi on the gauge."""
    state = bench.compute(18, 35, "sharp", "none", 76)
    assert state.firing_psig == pytest.approx(77.2163, rel=1e-4)
    assert state.sparks and not bench.compute(18, 35, "sharp", "none", 78).sparks


def test_three_causes_lower_the_firing_pressure():
    """Practice: wide gap, round edges and leakage each do it alone; 1 MΩ leaves 0.558 of the voltage."""
    usual = bench.compute(18, 35, "sharp", "none", 0)
    others = [(18, 45, "sharp", "none"), (18, 35, "worn", "none"), (18, 35, "sharp", "2 MΩ"), (15, 35, "sharp", "none")]
    assert all(bench.compute(*other, 0).firing_psig < usual.firing_psig for other in others)
    assert bench.compute(18, 35, "sharp", "1 MΩ", 0).left_kv == pytest.approx(18 * 0.557785, rel=1e-5)
    assert bench.compute(18, 35, "worn", "none", 0).sharp_kv == pytest.approx(15.0)


def test_words_and_spark_agree():
    picture = bench.Chamber(400, 420)
    for psig, words in ((20, "sparks steadily"), (120, "spark fails")):
        state = bench.compute(18, 35, "sharp", "none", psig)
        picture.update(state)
        assert picture._words.get_text() == words and picture._spark.get_visible() == state.sparks
        assert f"{psig} psi" in bench.chamber_caption(state)


def test_chart_curves_are_the_law():
    """Where the full line meets a curve, the tester fails that gap."""
    axes = bench.Chart(640, 480).figure.axes[0]
    curves = {f"{gap:.3f}": gap for gap in bench.firing.CHART_GAPS_IN}
    lines = [line for line in axes.lines if len(line.get_xdata()) > 20]
    assert len(lines) == len(curves)
    for line, gap_in in zip(lines, curves.values(), strict=True):
        psia, kv = line.get_data()
        again = tester.firing_pressure_psia(breakdown.reach_cm(kv), gap_in * 25.4)
        assert np.allclose(again, psia, rtol=1e-6)


def test_gauge_gains_in_the_hills_and_the_shares_shift():
    """Derived in the handbook: at 5000 ft the same plug reads 2.47 psi more on the gauge."""
    state = gauge.compute(1524, 100, 72)
    assert state.gauge(state.new_psia) - 100 == pytest.approx(2.47, abs=0.01)
    assert state.sea_share == pytest.approx(72.0) and state.share > 72.5
    assert state.absolute_share == pytest.approx(100 * (1 - 0.244124), abs=0.001)
    assert "102 psi" in gauge.caption(state)


def test_engine_asks_less_than_its_pressure_says():
    """Equal density and equal voltage: the reading that the panel gives breaks the gap at the engine's voltage."""
    bar = combustion.pressure_at_spark_kpa(20.0) / 100
    kelvin = combustion.temperature_at_spark_k(20.0)
    state = engine.compute(20, 95, 8.5, 540, 70)
    cold_bar = tester.absolute_psia(state.cold_psig) * 0.0689475729
    assert breakdown.required_voltage_kv(0.889, cold_bar, 293.15) == pytest.approx(
        breakdown.required_voltage_kv(0.889, bar, kelvin), rel=1e-6
    )
    hot_bar = tester.absolute_psia(state.hot_psig) * 0.0689475729
    assert breakdown.required_voltage_kv(0.889, hot_bar, 293.15) == pytest.approx(
        0.8 * breakdown.required_voltage_kv(0.889, bar, kelvin), rel=1e-6
    )
    assert state.hot_psig < state.cold_psig < state.top_psig, "the spark does not wait for the peak"
    assert state.cold_psig < bar * 14.5 - 14.7, "hot gas is thin"


def test_retard_and_load_raise_the_demand():
    usual = engine.compute(20, 95, 8.5, 540, 70).hot_psig
    assert engine.compute(5, 95, 8.5, 540, 70).hot_psig > usual > engine.compute(20, 45, 8.5, 540, 70).hot_psig


def test_more_readings_decide_more_often():
    few, many = repeat.compute(76, 5, 3, 1), repeat.compute(76, 5, 12, 1)
    assert many.count("undecided") < few.count("undecided")
    assert sum(many.count(decision) for decision in ("keep", "reject", "undecided")) == repeat.SETS


def test_sets_are_the_same_for_the_same_number():
    assert repeat.compute(74, 5, 5, 7).verdicts == repeat.compute(74, 5, 5, 7).verdicts
    assert repeat.compute(74, 5, 5, 7).verdicts[1:] == repeat.compute(74, 5, 5, 8).verdicts[:-1]


def test_worked_example_of_the_engine_text():
    """Practice and handbook: at full load, 20 degrees, the gas alone asks what about 50 psi asks on the tester."""
    assert engine.compute(20, 95, 8.5, 20, 70).hot_psig == pytest.approx(4.41 * 14.696 - 14.696, abs=0.3)


def test_the_gauge_caption_compares_with_sea_level_only_higher_up():
    level = gauge.caption(gauge.compute(0, 100, 72))
    assert "not 14.7" not in level and level.count("72.0 %") == 1 and level.count("100 psi") == 1
    assert "12.3 psi (85 kPa), not 14.7" in gauge.caption(gauge.compute(1500, 100, 72))


def test_a_chart_to_be_read_keeps_its_width_and_scrolls(shown):
    """On a telephone one square of the chart must still be told from the next."""
    panel = shown["tester"]
    chamber, chart = panel.stacks
    assert chart.layout.min_width == "600px" and not chamber.layout.min_width
    frames = [box for box in boxes(panel.box) if chart in box.children]
    assert [frame.layout.overflow for frame in frames] == ["auto hidden"]


def boxes(widget):
    """A box and every box in it."""
    if hasattr(widget, "children"):
        yield widget
        for child in widget.children:
            yield from boxes(child)
