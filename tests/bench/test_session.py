"""A session replays to the same readings, refuses what cannot be done, stops what hurts, and knows who comes back."""

import json

import pytest

from grader.bench import cases, session
from grader.bench.atoms import Atom
from grader.bench.cases import Case
from grader.errors import Unreadable

LEAD = Case("brackwater-four", 2, Atom(("lead_leaky",)), 2, 8.0, ("misfire_load",), "00112233445566aa")
DEAD = Case("brackwater-four", 2, Atom(("feed_dead",)), 0, 5.0, ("no_start",), "00112233445566bb")
OFF = session.run("off")


def log_of(*acts):
    return session.written(acts)


def told(case, *acts):
    return [(step.outcome, *step.sentences) for step in session.replay(case, log_of(*acts)).steps]


def test_the_same_log_gives_the_same_readings_however_it_is_replayed():
    acts = [session.test("coil_gap"), session.test("coil_gap"), session.test("lead_gap"), session.test("dark_mist")]
    at_once = session.replay(LEAD, log_of(*acts))
    bench = session.begin(LEAD)
    for act in acts:
        bench = session.after(bench, act)
    assert bench.steps == at_once.steps
    first, again = at_once.steps[:2]
    assert first.minutes == 5 and again.minutes == 3 and again.again  # still connected
    assert first.figures != again.figures  # each reading has its own scatter
    assert at_once.steps[2].results["lead_kv"] == "one↓"


def test_a_case_is_plain_json_that_does_not_show_its_fault_at_a_glance():
    case = cases.drawn("anstow-v8", 3, 5)
    text = json.dumps(case.plain)
    assert cases.from_plain(json.loads(text)) == case == cases.drawn("anstow-v8", 3, 5)
    assert not any(fault in text for fault in case.atom.faults)


@pytest.mark.parametrize("family", cases.FAMILIES)
def test_every_family_can_be_asked_for(family):
    case = cases.drawn("brackwater-four", 2, 3, (family,))
    assert case.family == family and case.words


def test_what_cannot_be_done_is_refused_in_a_sentence_and_costs_no_minutes():
    assert told(LEAD, session.test("vacuum"), session.test("lead_ohms"), OFF, session.test("lead_ohms"))[1] == (
        "refused",
        "Ohms of each lead, flexed: the engine turns; stop it first.",
    )
    [idle, rise] = session.replay(DEAD, log_of(session.run("idle"), session.test("timing_rise"))).steps
    assert idle.outcome == rise.outcome == "refused" and not idle.minutes + rise.minutes
    assert "does not" in rise.sentences[0]
    ways = session.possible(session.replay(DEAD, session.EMPTY))
    assert {way.title: way.refused for way in ways}["Vacuum gauge"]


def test_an_unsafe_act_is_stopped_with_its_reason():
    [step] = session.replay(LEAD, log_of(session.unsafe("lead_by_hand"))).steps
    assert step.outcome == "stopped" and "tens of kilovolts" in step.sentences[0] and step.minutes == 0


def test_the_owner_comes_back_until_the_fault_is_mended():
    plugs = [session.action("fit_plugs", marked=True), session.hand_over(["plugs"])]
    bench = session.replay(LEAD, log_of(*plugs))
    assert bench.came_back == 1 and not bench.closed
    lead = [session.action("fit_lead", at=LEAD.cylinder), session.hand_over(["lead"], at=LEAD.cylinder)]
    bench = session.replay(LEAD, log_of(*plugs, *lead, session.test("bonnet")))
    assert bench.closed and bench.steps[-1].outcome == "refused"
    assert bench.minutes == 16 + 1 + 6 and bench.parts == 12 + 8


def test_a_sound_ignition_is_handed_over_without_a_repair():
    valve = Case("brackwater-four", 4, Atom(("valve_low",)), 1, 5.0, ("rough_idle",), "00112233445566cc")
    assert session.replay(valve, log_of(session.hand_over(["sound"]))).closed
    assert session.replay(LEAD, log_of(session.hand_over(["sound"]))).came_back


@pytest.mark.parametrize(
    ("log", "problem"),
    [
        ("", "no log"),
        ('{"acts":[{"do":"fly"}]}', "Act 1 of the log is of no kind"),
        ('{"acts":[{"do":"test","with":"crystal"}]}', "“crystal”"),
        ('{"acts":[{"do":"run","to":"idle","now":1}]}', "says now"),
        ('{"acts":[{"do":"name","groups":["carburettor"]}]}', "“groups”"),
        ('{"acts":[{"do":"action","what":"fit_lead","at":[1]}]}', "“at”"),
    ],
)
def test_a_damaged_log_is_refused_in_a_sentence(log, problem):
    with pytest.raises(Unreadable, match=problem):
        session.replay(LEAD, log)
