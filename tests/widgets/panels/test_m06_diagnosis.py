"""The worked diagnosis uncovers what the bench reads, after it was predicted, and ends with the car mended."""

from grader.bench import session
from grader.widgets.panels.diagnosis import worked
from grader.widgets.panels.m06_diagnosis import PANELS


def test_nothing_is_uncovered_before_it_was_predicted():
    panel = PANELS["worked"]()
    panel._button.click()
    assert "Predict first" in panel.message.value and panel._told.value == ""
    panel._options.index = 0
    panel._button.click()
    assert "Misfires uphill" in panel._told.value and "You said: Fit a set of plugs" in panel._told.value
    assert "Coil output" not in panel._told.value.partition("You said")[0]


def test_the_road_ends_with_the_lead_proved_mended_and_handed_over():
    bench = session.replay(worked.CAR, session.written([act for one in worked.questions() for act in one.acts]))
    assert bench.closed and bench.came_back == 0 and bench.named == ("lead",) and bench.cylinder == worked.CAR.cylinder
    assert [step.outcome for step in bench.steps if step.outcome in (session.REFUSED, session.STOPPED)] == []
    ends = [step.results for step in bench.steps if step.instrument == "lead_gap"]
    assert [end["lead_kv"] for end in ends] == ["one↓", "N"]
    told = worked.bill()
    assert str(round(bench.minutes)) in told


def test_whoever_predicts_all_rightly_reads_no_correction():
    panel = PANELS["worked"]()
    for question in worked.questions():
        panel._options.index = question.right
        panel._button.click()
    assert "You said" not in panel._told.value and "parts-swapper" in panel._told.value
    assert len(panel.box.children) == 2
