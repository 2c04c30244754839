"""Practice deals what is weakest or longest ago; the coach names the cheapest telling test."""

from grader.bench import coach, session
from grader.bench.atoms import Atom
from grader.bench.cases import FAMILIES, Case
from grader.bench.habits import habits
from grader.bench.spacing import Practised, next_family

CASE = Case("brackwater-four", 1, Atom(("lead_leaky",)), 2, 8.0, ("misfire_load", "sluggish"), "00112233445566aa")


def test_every_family_comes_once_then_the_weakest_then_again_after_one_three_and_seven_days():
    assert next_family([], 0) == FAMILIES[0]
    once = [Practised(family, 0, 0.9) for family in FAMILIES]
    assert next_family(once[:3], 0, last=FAMILIES[2]) == FAMILIES[3]
    weak = [*once, Practised("points", 0, 0.2)]
    assert next_family(weak, 0) == "points" and next_family(weak, 0, last="points") != "points"
    again = [*once, Practised("plugs", 1, 0.9)]  # well a second time: not before three days have gone by
    assert next_family(again, 1.5) != "plugs"
    assert {next_family([*once, *(Practised(f, 1, 0.9) for f in FAMILIES if f != "plugs")], 2)} == {"plugs"}
    thrice = [Practised(family, day, 0.9) for day in (0, 1, 4) for family in FAMILIES]
    assert next_family([*thrice, Practised("advance", 5, 0.5)], 6) == "advance"


def test_the_coach_says_what_is_possible_and_what_to_do_next():
    bench = session.begin(CASE)
    rows = coach.shortlist(bench)
    assert len(rows) == coach.SHORTLIST + 1 and abs(sum(share for _, share in rows) - 1) < 1e-9
    first = coach.hint(bench)
    bench = session.after(bench, session.test(first.key))
    assert coach.hint(bench).minutes < first.minutes + 15 and coach.hint(bench).key != first.key


def test_the_habits_of_a_class_are_counted():
    fitted = [session.name("plugs"), session.action("fit_plugs"), session.hand_over(["plugs"])]
    asked = [session.test("compression"), session.hand_over(["lead"], at=CASE.cylinder)]
    told = habits([(CASE, session.written(fitted)), (CASE, session.written(asked))])
    assert told.sessions == 2 and told.swapped == (("Fit a set of plugs, gapped", 1),)
    assert ("Compression gauge, dry, then with oil", 1) in told.early and len(told.forgotten) >= 1
    assert dict(told.skipped)["proof"] == 2
