"""Belief follows Bayes, the tables follow the cars, and the plan is the cheapest road there is."""

from functools import cache
from itertools import permutations
from random import Random

import numpy as np
import pytest

from grader.bench import likelihood, plan, session
from grader.bench.atoms import Atom
from grader.bench.cases import Case
from grader.bench.chart import chart, places, rows
from grader.bench.owner import complaint_words
from grader.vehicle.spec import vehicles
from tests.seed import draws

FOUR = "brackwater-four"
LEAD = Case(FOUR, 2, Atom(("lead_leaky",)), 2, 8.0, ("misfire_load", "sluggish"), "00112233445566aa")


@pytest.mark.parametrize("engine", vehicles())
def test_the_shipped_tables_are_those_of_the_cars(engine):
    tables = likelihood.table(engine)
    random = Random(draws.SEED)
    number, place = random.randrange(len(tables.atoms)), random.randrange(len(likelihood.PLUGS))
    atom, kmiles = tables.atoms[number], likelihood.PLUGS[place]
    kept = np.concatenate([tables.shares[kmiles, sign.name][number] for sign in likelihood.readable()])
    made = likelihood.row(engine, atom, kmiles) / likelihood.DRAWS
    assert np.abs(kept - made).max() <= 2 / likelihood.DRAWS, (atom.key, kmiles)
    assert (tables.complaints[kmiles][number] == likelihood.complaints_row(engine, atom, kmiles)).all()


def test_what_an_owner_may_say_adds_up():
    """All sets of words that he can say of a car have a chance of one together."""
    keys, true = list(complaint_words()), np.zeros((1, len(complaint_words())), dtype=bool)
    true[0, [2, 5]] = True
    random = Random(7)
    # Summed exactly: over the two true ones by hand, over each false one the chance that it is said or not.
    others = [key for n, key in enumerate(keys) if n not in (2, 5)]
    total = 0.0
    for said in ((), (keys[2],), (keys[5],), (keys[2], keys[5])):
        extra = tuple(random.sample(others, 2))
        with_two = plan.said_share(true, (*said, *extra))[0] / (0.04**2 * 0.96 ** (len(others) - 2))
        total += with_two
    assert total == pytest.approx(1.0)
    assert plan.said_share(true, ())[0] == 0  # at least one true word is said


def test_belief_is_prior_times_likelihood():
    bench = session.replay(LEAD, session.written([session.test("dark_mist")]))
    word = bench.steps[0].results["dark"]
    by_hand = plan.prior(bench) * likelihood.table(FOUR).of(8.0, "dark", word)
    assert plan.belief(bench) == pytest.approx(by_hand / by_hand.sum())


def test_a_lead_that_sparks_in_the_dark_is_believed():
    bench = session.replay(LEAD, session.written([session.test("dark_mist")] * 2))
    assert "lead" in [step.results["dark"] for step in bench.steps]
    share = plan.named_share(likelihood.table(FOUR).atoms, plan.belief(bench), {"lead"})
    assert share > 0.9


def test_the_plan_is_the_cheapest_road_by_trying_all():
    """Against plain recursion over every order of tests, without bounds or sets."""
    random = Random(draws.SEED)
    for _ in range(5):
        count = 5
        weights = [random.random() for _ in range(count)]
        weights = [weight / sum(weights) for weight in weights]
        names = [frozenset({f"g{random.randrange(4)}"}) for _ in range(count)]
        wrong = [(name, sum(1 << k for k in range(count) if names[k] == name), 130.0) for name in dict.fromkeys(names)]
        splits = []
        for test in range(5):
            codes = [random.randrange(3) for _ in range(count)]
            sets = tuple(sum(1 << k for k in range(count) if codes[k] == code) for code in sorted(set(codes)))
            splits.append((random.uniform(2, 25), f"t{test}", sets))

        @cache
        def tried(left, weights=tuple(weights), names=tuple(names), splits=tuple(splits)):
            mass = sum(weights[k] for k in left)
            stop = min(
                (mass - sum(weights[k] for k in left if names[k] == name)) * 130.0 for name in {names[k] for k in left}
            )
            roads = [stop]
            for minutes, _, sets in splits:
                parts = [tuple(k for k in left if part >> k & 1) for part in sets]
                parts = [part for part in parts if part]
                if len(parts) > 1:
                    roads.append(minutes * mass + sum(tried(part) for part in parts))
            return min(roads)

        assert plan.Search(weights, wrong, splits)._cost((1 << count) - 1) == pytest.approx(tried(tuple(range(count))))


def test_parts_that_are_only_tried_one_by_one_are_tried_by_chance_over_cost():
    """The known rule for looking in boxes one by one: the largest p/c first (arXiv 1203.3502, abstract)."""
    chances, costs = [0.4, 0.3, 0.2, 0.0999, 0.0001], [30.0, 5.0, 12.0, 4.0]
    wrong = [(frozenset({str(k)}), 1 << k, 1e6) for k in range(5)]
    splits = [(costs[k], str(k), (1 << k, 0b11111 ^ 1 << k)) for k in range(4)]
    search = plan.Search(chances, wrong, splits)
    left, order = 0b11111, []
    while left.bit_count() > 1:
        order.append(int(search.best_of(left)))
        left &= ~(1 << order[-1])
    assert order == sorted(range(4), key=lambda k: -chances[k] / costs[k])
    by_hand = min(
        sum(costs[k] * (1 - sum(chances[other] for other in turn[:place])) for place, k in enumerate(turn))
        for turn in permutations(range(4))
    )
    assert search._cost(0b11111) == pytest.approx(by_hand)


def test_a_chart_is_the_plan():
    drawn = chart(FOUR, "misfire_load")
    assert drawn.root.test and drawn.held > 0.6

    def minutes(node):
        return node.minutes + sum(branch.share * minutes(branch.then) for branch in node.branches)

    def ends(node):
        return [node] if not node.branches else [end for branch in node.branches for end in ends(branch.then)]

    assert minutes(drawn.root) <= drawn.minutes + 1e-6  # what is more is the chance to err at an end
    assert len(ends(drawn.root)) >= 8
    for node in ends(drawn.root):
        assert sum(share for _, share in node.causes) == pytest.approx(1.0)
    results = [branch.result for branch in drawn.root.branches]
    assert len(set(results)) == len(results)


@pytest.mark.parametrize("engine", vehicles())
def test_every_chart_that_is_printed_is_the_plan(engine):
    """Each line sends on to a line that is there, each line but the first is reached once, and its test is the best one there."""
    for complaint in complaint_words():
        lines = rows(chart(engine, complaint, 10))
        sent = [line for row in lines for _, line, _ in row.branches if line]
        assert sorted(sent) == list(range(2, len(lines) + 1))
        best = [place.tests[0] for place in places(engine, complaint, 10)]
        assert sorted(row.test for row in lines) == sorted(test[1] for test in best)
        for place in places(engine, complaint, 10):
            assert min(test[4] for test in place.tests) == pytest.approx(place.tests[0][4])
