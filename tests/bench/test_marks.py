"""What a session earns: the best road nearly all, wrong ways what they are worth, luck nothing."""

import json
from dataclasses import replace
from pathlib import Path
from random import Random
from types import SimpleNamespace
from typing import Any

import pytest

from grader.bench import cases, debrief, marks, proofs, session, trainees
from grader.bench import instruments as reading
from grader.bench import plan as planning
from grader.bench.atoms import Atom
from grader.bench.cases import Case
from grader.bench.part import Bench
from grader.errors import Unreadable
from tests.seed import draws

FOUR = "brackwater-four"
LEAD = Case(FOUR, 2, Atom(("lead_leaky",)), 2, 8.0, ("misfire_load", "sluggish"), "00112233445566aa")
GOLDEN = Path(__file__).parent / "golden"
ANY_TRUTH: Any = None  # what this kind never asks
PART = Bench(key="car", prompt="Find it", marks=100, objectives=("G1",))


def mark(case, *acts):
    return marks.mark(case, session.written(acts))


def lead_road(**changes):
    """A road by hand to the leaky lead, as a list of acts by name."""
    acts = {
        "dark": session.test("dark_mist"),
        "stop": session.run("off"),
        "ends": session.test("lead_gap"),
        "name": session.name("lead", at=LEAD.cylinder),
        "fit": session.action("fit_lead", at=LEAD.cylinder, marked=True),
        "again": session.test("lead_gap"),
        "road": session.test("road"),
        "over": session.hand_over(
            ["lead"], at=LEAD.cylinder, proved=["lead_gap"], compared="lead_gap", left="Plug gaps, to be looked at."
        ),
    } | changes
    return [act for act in acts.values() if act]


def test_a_careful_road_earns_nearly_all():
    earned = mark(LEAD, *lead_road())
    assert earned.total > 90 and earned.proof == 10 and earned.verified == 6 and earned.handed_over == 4
    assert not earned.missing and earned.named_share > 0.9


def test_each_thing_left_out_costs_what_it_is_worth():
    full = mark(LEAD, *lead_road())
    unproved = mark(LEAD, *lead_road(dark=None, ends=None))
    assert unproved.proof == 0 and unproved.swapped == 1 and unproved.named < 15
    assert mark(LEAD, *lead_road(road=None)).verified == 4
    assert mark(LEAD, *lead_road(over=None)).handed_over == 0
    assert mark(LEAD, *lead_road(over=session.hand_over(["lead"], at=LEAD.cylinder))).handed_over == 1
    wrong_place = LEAD.cylinder % 4 + 1
    other = mark(LEAD, *lead_road(over=session.hand_over(["lead"], at=wrong_place)))
    assert other.named < full.named / 2  # the right part of the wrong cylinder is half right, and a guess earns nothing


def test_unsafe_acts_cost_ten_each_and_the_third_ends_the_case():
    unsafe = [session.unsafe("lead_by_hand")]
    assert mark(LEAD, *unsafe, *lead_road()).total == pytest.approx(mark(LEAD, *lead_road()).total - 10)
    ended = session.replay(LEAD, session.written([*unsafe * 3, *lead_road()]))
    assert ended.closed and ended.steps[-1].outcome == "refused"
    assert mark(LEAD, *unsafe * 3, *lead_road()).total == 0


def test_who_does_nothing_or_guesses_earns_nothing():
    assert marks.mark(LEAD, session.EMPTY).total == 0
    assert mark(LEAD, session.hand_over(["points"])).total < 5


def test_a_comeback_leaves_the_repair_without_marks_until_it_is_mended():
    plugs = [session.name("plugs"), session.action("fit_plugs", marked=True), session.hand_over(["plugs"])]
    back = mark(LEAD, *plugs)
    assert back.verified == back.handed_over == back.proof == 0 and back.swapped == 1
    mended = mark(LEAD, *plugs, *lead_road())
    assert (
        mended.verified == 4 and mended.handed_over == 4
    )  # whether a lead was left off the new plugs was not looked at
    assert mended.missing.count("then") == 1 and mended.total < 60


def test_a_second_reading_near_a_limit_is_free_once():
    x = session.examined(LEAD.car)
    [step] = session.replay(LEAD, session.written([session.test("coil_gap")])).steps
    assert not marks.near_limit("coil_kv", step, x)
    limit = 0.85 * x.card["crank"].coil_kv.mean()
    near = replace(step, figures=(reading.Figure("coil_kv", "", limit + 0.5, "kV"),))
    assert marks.near_limit("coil_kv", near, x)


def test_a_road_copied_from_another_car_earns_little():
    other = Case(FOUR, 2, Atom(("points_burnt",)), 2, 8.0, ("misfire_load",), "00112233445566dd")
    assert marks.mark(LEAD, trainees.best_road(other)).total <= 15
    for group in ("sound", "plugs", "points"):
        assert mark(LEAD, *proofs.constant(group)).total <= 10


@pytest.mark.parametrize("engine", ["anstow-v8", "varde-van-four"])
def test_the_best_road_ends_in_proof_and_without_a_comeback(engine):
    random = Random(draws.SEED)
    atoms = random.sample(proofs.wanted(engine, ("mid",)), 4)
    solved = [row for atom in atoms if (row := proofs.solved(engine, atom)) is not None]
    assert sum(one.marks.total for one in solved) / len(solved) > 85
    assert not any(one.came_back for one in solved)


def test_no_honest_careful_road_is_thrown_down_by_chance():
    """A look that missed, a reading beside the truth, two faults that look alike: whoever goes on with care keeps his marks."""
    random, earned = Random(20260301), []  # always these cars: rare bad luck is the campaign's to count
    for number in range(9):
        engine = random.choice(("anstow-v8", FOUR, "tolmere-six", "varde-van-four"))
        case = cases.drawn(engine, 2 + number % 3, random.randrange(10**6))
        earned.append((marks.mark(case, trainees.best_road(case)).total, case))
    assert all(total >= 60 for total, _ in earned), min(earned, key=lambda row: row[0])
    assert sum(total >= proofs.CAREFUL_LEAST for total, _ in earned) >= len(earned) - 1


def test_a_name_that_nothing_bears_out_is_a_guess_however_often_it_is_right():
    """Who says of every car that its ignition is sound earns next to nothing, also where half of them are."""
    random = Random(20260301)  # always these cars: of twelve, chance can make half of them sound
    earned = []
    for number in range(12):
        case = cases.drawn(FOUR if number % 2 else "anstow-v8", 2 + 2 * (number % 4 < 2), random.randrange(10**6))
        earned.append(mark(case, *proofs.constant("sound")).total)
    assert sum(earned) / len(earned) <= 2 * proofs.CONSTANT_LIMIT  # few cars; the campaign holds the limit itself


def test_an_owner_who_comes_back_is_evidence_and_the_road_goes_on():
    """Handed over with the ignition called sound, brought back: now it is believed to be something that was in the car."""
    handed = [session.test("bonnet"), session.hand_over(["sound"])]
    before, after = session.replay(LEAD, session.written(handed[:1])), session.replay(LEAD, session.written(handed))
    assert after.came_back == 1 and not after.closed
    atoms = planning.table(FOUR).atoms
    share = [planning.named_share(atoms, planning.belief(bench), {"sound"}) for bench in (before, after)]
    assert share[1] < 0.3 * share[0]
    again = mark(LEAD, *handed, *lead_road())
    assert again.handed_over == 4 and again.proof == 10 and again.total >= 50  # the road is lost, the rest is not


def test_the_debrief_says_of_each_step_what_it_was_worth_then():
    log = session.written([session.test("compression"), *lead_road()])
    told = debrief.debrief(LEAD, log)
    first = told.steps[0]
    assert first.regret > 10 and "whole road" in first.says and first.best != "compression"
    assert any(step.proved for step in told.steps) and told.truth == ("One plug lead leaks",)
    assert told.best_minutes < told.minutes
    assert any("Step 1" in says for says, _ in debrief.losses(LEAD, log))
    assert "road" in debrief.summary(LEAD, log)


def test_the_log_is_an_answer_like_any_other():
    given = SimpleNamespace(**LEAD.plain)
    right, log = PART.answer(given), session.written(lead_road())
    assert right == LEAD and PART.read(log) == log
    assert PART.echo(log) == f"8 steps; handed over: lead of number {LEAD.cylinder}"
    assert PART.judge(ANY_TRUTH, "m.car", right, log).share == pytest.approx(
        mark(LEAD, *lead_road()).total / 95, abs=0.06
    )
    assert PART.judge(ANY_TRUTH, "m.car", right, PART.typed(right)).share > 0.85
    assert PART.judge(ANY_TRUTH, "m.car", right, PART.disturbed(Random(1), right)).share < 0.95
    with pytest.raises(Unreadable):
        PART.read("[]")


@pytest.mark.parametrize("path", sorted(GOLDEN.glob("*.json")), ids=lambda path: path.stem)
def test_a_session_of_earlier_replays_to_the_same_readings_and_marks(path):
    kept = json.loads(path.read_text("utf-8"))
    case = cases.from_plain(kept["case"])
    assert [list(step.sentences) for step in session.replay(case, kept["log"]).steps] == kept["readings"]
    assert marks.mark(case, kept["log"]).total == pytest.approx(kept["marks"], abs=0.01)


def frozen(case, log):
    """What stands in a golden file: write it with the session that it is to keep."""
    readings = [list(step.sentences) for step in session.replay(case, log).steps]
    return {"case": case.plain, "log": log, "readings": readings, "marks": round(marks.mark(case, log).total, 4)}


if __name__ == "__main__":  # python -m tests.bench.test_marks writes the golden sessions anew
    GOLDEN.mkdir(exist_ok=True)
    for engine, level, way in (
        ("anstow-v8", 2, "best"),
        ("brackwater-four", 3, "best"),
        ("tolmere-six", 4, "best"),
        ("quillby-tractor-four", 2, "listed"),
        ("varde-van-four", 2, "parts"),
        ("sarnhollow-v8", 4, "random"),
    ):
        drawn = cases.drawn(engine, level, 77)
        kept = frozen(drawn, trainees.STRATEGIES[way].road(drawn, Random(5)))
        text = json.dumps(kept, ensure_ascii=False, indent=1) + "\n"
        (GOLDEN / f"{engine}-{way}.json").write_text(text, encoding="utf-8")
