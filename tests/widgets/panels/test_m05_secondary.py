"""The panels of cap, rotor and leads show what the reference functions say."""

import numpy as np
import pytest

from grader.modules.secondary import cross_fire, voltage
from grader.reference.spark import cables, insulation
from grader.vehicle.spec import vehicles
from grader.widgets.panels import m05_secondary as m05
from grader.widgets.panels.secondary import cap, curves, lead, plan, polarity

USUAL = {
    "gap": 35,
    "load": 1.0,
    "late": 0,
    "shunt": 100.0,
    "coil": 100,
    "break_mm": 0.0,
    "rotor_mm": 0.75,
    "speed": 1500,
}


@pytest.fixture(scope="module")
def shown():
    return {name: make() for name, make in m05.PANELS.items()}


def ends(control):
    if hasattr(control, "options"):
        return tuple(value for _, value in control._options_full)
    return control.min, control.max


@pytest.mark.parametrize("name", list(m05.PANELS))
def test_every_end_of_every_control_draws_without_trouble_and_changes_the_picture(shown, name):
    panel = shown[name]
    usual = {key: control.value for key, control in panel.controls.items()}
    before = [layer.value for layer in panel.layers]
    for key, control in panel.controls.items():
        pictures = set()
        for end in ends(control):
            control.value = end
            assert panel.message.value == ""
            assert all("nan" not in caption.value for caption in panel.captions)
            pictures.add(tuple(layer.value for layer in panel.layers))
        assert len(pictures) > 1, key
        control.value = usual[key]
        if key == "engine":  # another engine begins with its leads in one holder
            panel.controls["laid"].value = usual["laid"]
    assert [layer.value for layer in panel.layers] == before, "a picture depends on the setting alone"


def test_the_zone_ends_where_nothing_is_left():
    """The ruler on the edge of the hatching shows as much required as available."""
    state = curves.compute(**{**USUAL, "gap": 50, "coil": 70})
    assert (
        len(state.zones) == 2 and state.zones[0][0] == voltage.SLOWEST_RPM and state.zones[1][1] == voltage.FASTEST_RPM
    )
    for edge in (state.zones[0][1], state.zones[1][0]):
        at = curves.compute(**{**USUAL, "gap": 50, "coil": 70, "speed": edge})
        assert abs(at.left_kv) < 0.02
    assert "zones in which it fails" in curves.caption(state)


@pytest.mark.parametrize(
    ("changed", "less"),
    [({"gap": 50}, True), ({"load": 0.5}, False), ({"late": 10}, True), ({"shunt": 0.5}, True), ({"coil": 70}, True),
     ({"break_mm": 2.0}, True), ({"rotor_mm": 3.0}, True)],
)  # fmt: skip
def test_each_slider_moves_the_reserve_as_the_trade_knows(changed, less):
    """Practice: wide gap, late spark, leakage, weak coil, a break and a burnt rotor take from it; a light load gives."""
    change = curves.compute(**{**USUAL, **changed}).left_kv - curves.compute(**USUAL).left_kv
    assert (change < -0.3) if less else (change > 3)


def test_a_lead_costs_little_before_the_spark_and_a_break_much():
    """Handbook: 10 kilohm take 100 V of 20 kV before the spark and 350 V during it; a break of 2 mm takes about 5 kV."""
    assert lead.compute(10, 0.0, 20.0).before_v == pytest.approx(100) and lead.compute(
        10, 0.0, 20.0
    ).during_v == pytest.approx(350)
    assert lead.compute(10, 2.0, 12.0).break_kv == pytest.approx(5.2, abs=0.1)
    assert (
        lead.compute(20, 0.0, 12.0).spark_ms < lead.compute(5, 0.0, 12.0).spark_ms < lead.compute(5, 0.0, 12.0).usual_ms
    )


def test_a_crack_holds_until_it_is_wet_and_a_line_does_not():
    usual = {"rotor_mm": 0.75, "brush_mm": 0.0, "coil_kv": 25.0, "asked_kv": 12.0}
    assert cap.compute(cap.DRY, cap.CRACK, **usual).goes == "plug"
    assert cap.compute(cap.DAMP, cap.CRACK, **usual).goes == "wrong"
    assert cap.compute(cap.DRY, cap.TRACK, **{**usual, "asked_kv": 15.0}).goes == "wrong"
    assert cap.compute(cap.DAMP, cap.SOUND, **usual).goes == "plug"
    assert cap.compute(cap.DRY, cap.SOUND, **{**usual, "coil_kv": 13.0}).goes == "none"
    assert cap.compute(cap.DAMP, cap.CRACK, **usual).flash_kv == 24.0 * insulation.WET_SHARES["cap"]


def test_wrong_polarity_asks_for_what_practice_says():
    state = polarity.compute(polarity.WRONG, 12.0, 540, 18.0)
    assert state.right_kv == pytest.approx(12.0) and 1.15 <= state.now_kv / state.right_kv <= 1.30
    assert polarity.compute(polarity.RIGHT, 12.0, 100, 18.0).now_kv > 12.0, "a cold electrode asks for more"


@pytest.mark.parametrize("engine", list(vehicles()))
def test_the_plan_marks_the_pairs_of_the_trade_and_parting_them_cures(engine):
    spec = vehicles()[engine]
    known = {order: cross_fire.risky(key) for key, (_, order) in cross_fire.ORDERS.items()}[spec.firing_order]
    bundled = plan.compute(engine, (*plan.BUNDLED, 1))
    assert {(one.first, one.second) for one in bundled.at_risk} == set(known)
    later = {second for _, second in known}
    parted = plan.compute(engine, (*(2 if number in later else 0 for number in range(1, 9)), 1))
    assert parted.at_risk == () and len(parted.crossings) == len(bundled.crossings)
    if known:
        assert all(f"{first} fires, then {second}" in plan.caption(bundled) for first, second in known)
        assert "No pair is at risk." in plan.caption(parted)
    else:
        assert "however its leads lie" in plan.caption(bundled)


def test_the_plan_lifts_a_lead_by_the_law_of_two_wires():
    between, ground = cables.capacitances_pf_per_m(50, 8, 0.6, permittivity=3.0)
    assert plan.lifted_kv(300, 0) == pytest.approx(cables.induced_capacitive_kv(14, 300, between, ground))
    apart = [plan.lifted_kv(300, holders) for holders in range(4)]
    assert (np.diff(apart) < 0).all() and apart[0] == pytest.approx(2.36, abs=0.01)


def test_a_lead_is_picked_at_its_plug_and_laid_at_a_holder(shown):
    """On the plan as with the buttons; both show the same."""
    panel = shown["plan"]
    laid, pegs = panel.controls["laid"], panel.stacks[0].children[-1]
    by_name = {button.tooltip: button for button in pegs.children}
    by_name["Pick the lead of cylinder 4"].click()
    by_name["Lay the picked lead into holder c"].click()
    assert laid.value[3] == 2 and laid.value[-1] == 4
    assert [row.value for row in laid.children] == [4, 2]
    assert "lead of cylinder 4 lies in holder c" in panel.captions[0].value
    laid.children[0].value, laid.children[1].value = 2, 1
    assert laid.value[:4] == (0, 1, 0, 2) and laid.value[-1] == 2
    panel.controls["engine"].value = "sarnhollow-v8"
    assert len(pegs.children) == 2 * 4 + 2 * 4 and laid.value == (*plan.BUNDLED, 1)
    panel.controls["engine"].value = "brackwater-four"
