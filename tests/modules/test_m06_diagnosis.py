"""Module 6 keeps its promises."""

import re
from itertools import combinations
from types import SimpleNamespace

import pytest

from grader import catalogue
from grader.bench import actions, cases
from grader.bench.chart import chart
from grader.bench.checks import expected
from grader.bench.instruments import instruments, unsafe_acts
from grader.bench.signs import Examined, signs
from grader.exercise.sorting import Order
from grader.exercise.truth import Truth
from grader.modules.diagnosis import cars, proof, reading, repair, roads, shortlist
from grader.modules.diagnosis.table import LETTERS, measured, sound_word, word
from grader.vehicle.faults import fault, plant
from grader.vehicle.state import sound_car
from tests.modules import proofs, workshop

ENGINE = "brackwater-four"


@pytest.fixture(scope="module")
def m06():
    return catalogue.module("m06_diagnosis")


@pytest.fixture(scope="module")
def drawn(m06):
    return proofs.draws(m06, 120)


def own(numbers, exercise):
    return SimpleNamespace(**numbers[exercise.key])


def test_every_exercise_proves_itself_and_every_slip_is_met(m06):
    """A slip that no trainee's numbers can show would be an idle threat."""
    found = proofs.everything(m06, 240)
    assert found.copied_sheet < 0.25 * m06.marks
    for _, part, path in m06.parts():
        assert set(found.parts[path].slips) == {slip.key for slip in part.slips}, path


def test_numbers_and_answers_are_as_recorded(m06):
    proofs.numbers_and_answers_are_as_recorded(m06)


def test_honest_readings_are_right(m06):
    proofs.honest_readings_are_right(m06, readings=400)


def test_size_and_objectives(m06):
    parts = [part for _, part, _ in m06.parts()]
    mine = {code for code, row in catalogue.objectives().items() if row["module"] == m06.key}
    assert mine == {f"G{n}" for n in range(1, 11)} == {code for part in parts for code in part.objectives}
    assert workshop.resting_on_one(m06) == set()


@pytest.mark.parametrize(
    ("key", "facts"),
    [
        ("m06.unsafe", lambda v: tuple(map(tuple, v.acts))),
        ("m06.words", lambda v: (v.which, v.opinion)),
        ("m06.cards", lambda v: tuple(v.cards)),
        ("m06.limit", lambda v: (v.what, v.case, v.engine, v.read)),
        ("m06.false_one", lambda v: (tuple(v.kinds), v.false, v.faulty)),
        ("m06.next_test", lambda v: (tuple(map(tuple, v.readings)), tuple(test[0] for test in v.tests))),
        ("m06.chart", lambda v: (v.engine, v.complaint, v.next, tuple(v.road))),
        ("m06.void", lambda v: (v.act, tuple(v.taken))),
        ("m06.excluded", lambda v: (v.sign, v.reading, tuple(v.faults))),
        ("m06.prove_wrong", lambda v: (v.fault, v.sign)),
        ("m06.proof", lambda v: (v.fault, tuple(v.acts))),
        ("m06.sound", lambda v: (v.fault, tuple(map(tuple, v.readings)))),
        ("m06.pair", lambda v: tuple(v.pair)),
        ("m06.order", lambda v: (v.list, v.words)),
        ("m06.disturbed", lambda v: (v.case, v.repair, v.after)),
        ("m06.first", lambda v: (v.engine, cases.from_plain(v).atom)),
        ("m06.second", lambda v: (v.engine, cases.from_plain(v).atom)),
        ("m06.third", lambda v: (v.engine, cases.from_plain(v).atom)),
        ("m06.fourth", lambda v: (v.engine, cases.from_plain(v).atom)),
        ("m06.comeback", lambda v: (v.case, v.telling, v.some, v.many, v.few)),
    ],
)
def test_thirty_materially_different_cases(m06, key, facts):
    assert len(workshop.cases(m06, key, facts, count=300)) >= 30


def test_the_wording_holds_the_numbers(m06, drawn):
    for numbers in drawn[:40]:
        truth = Truth(m06, numbers)
        for exercise in m06.exercises:
            said = exercise.wording(truth.given(exercise.key))
            assert "{" not in said and "None" not in said and "[" not in said
            assert all(line and "{" not in line for line in exercise.route(truth.given(exercise.key)))


def test_excluded_is_what_the_car_itself_would_read_otherwise(drawn):
    """The fault planted in the car of the model: by a measurement that is excluded it reads other than what was read."""
    tried = 0
    for numbers in drawn[:25]:
        v = own(numbers, shortlist.EXCLUDED)
        if v.kind == "look":
            assert shortlist._excluded(v) == (), "a look that shows nothing excludes nothing"
            continue
        for at, key in enumerate(v.faults[:4]):
            shown = Examined(plant(sound_car(ENGINE), key)).word(v.sign)
            assert (shown != v.reading) == (LETTERS[at] in shortlist._excluded(v)), (key, v.sign, shown)
            tried += 1
    assert tried > 60


def test_what_proves_wrong_is_what_the_fault_forbids(drawn):
    for numbers in drawn:
        v = own(numbers, proof.PROVE_WRONG)
        assert word(v.fault, v.sign) != sound_word(v.sign) and v.sign in measured()
        assert len(set(v.lines)) == 4


def test_the_proof_of_a_fault_is_that_of_its_table(drawn):
    """Practice: fresh plugs and hearsay prove nothing; what is ticked stands in the fault's own line."""
    for numbers in drawn:
        v = own(numbers, proof.PROOF)
        ticked = {v.acts[LETTERS.index(letter)] for letter in proof._proves(v)}
        assert ticked and ticked <= set(re.split("[&|]", fault(v.fault).proof_by))
        assert not ticked & {proof._TRAP, proof._HEARSAY} and {proof._TRAP, proof._HEARSAY} <= set(v.acts)
        assert len(set(v.acts)) == 6


def test_two_faults_explain_what_no_other_one_or_two_of_the_list_do(drawn):
    for numbers in drawn:
        v = own(numbers, proof.PAIR)
        assert len(v.faults) == 6
        fit = [set(two) for size in (1, 2) for two in combinations(v.faults, size) if proof._explained(two, v.readings)]
        assert fit == [set(v.pair)]


@pytest.mark.parametrize("act", [key for key in reading._ACTS if key not in ("battery", "fit_cap")])
def test_what_an_act_makes_void_is_what_the_model_moves(act):
    """The act is done to a worn car of the model: what the exercise keeps reads as before, figure by figure."""
    names = {"dwell": "dwell", "mark": "mark", "feed": "feed", "drop": "drop", "condenser": "condenser", "coil": "coil_kv",
             "ends": "lead_crank", "ohms": "lead_ohm", "cap": "cap_look", "order": "under_bonnet", "tester": "tester",
             "press": "compression", "cranking": "crank_v"}  # fmt: skip
    car = sound_car("anstow-v8")
    for key in ("gap_small", "timing_late", "coil_weak", "plugs_worn", "port_uncovered"):
        car = plant(car, key, "low")
    if act in ("fit_condenser", "fit_leads", "fit_points"):
        car = plant(
            car,
            {"fit_condenser": "condenser_large", "fit_leads": "lead_open", "fit_points": "points_burnt"}[act],
            "low",
        )
    before, after = Examined(car), Examined(actions.do(car, act))
    _, void, kept = reading._ACTS[act]

    def figures(x, name):
        return [round(float(value), 6) for value in signs()[names[name]].figures(x)]

    for name in kept:
        if name in names and not signs()[names[name]].is_look:
            assert figures(after, name) == pytest.approx(figures(before, name), abs=0.1), name
    moved = [name for name in void if name in names and not signs()[names[name]].is_look]
    if moved and act != "set_idle":
        assert any(figures(after, name) != figures(before, name) for name in moved), moved


def test_a_sound_ignition_is_said_only_where_every_reading_of_it_is_in_limits(drawn):
    ignition = set(proof._QUIET) | {"dark"}
    for numbers in drawn:
        v = own(numbers, proof.SOUND)
        out = {sign for sign, shown in v.readings if shown != sound_word(sign)}
        assert bool(out & ignition) == (v.case == "ignition"), (v.fault, out)
        assert bool(out) == (v.case != "nothing")


def test_safe_and_unsafe_are_told_of_every_act(drawn):
    for act in unsafe_acts().values():
        assert act["safely"] and act["safely"] != act["title"] and act["reason"]
    seen = {key for numbers in drawn for key, _ in own(numbers, repair.UNSAFE).acts}
    assert seen == set(unsafe_acts())


def test_a_hidden_weakness_comes_back_within_the_miles_that_are_told(m06):
    """Model: at middle severity new plugs hide what was weak for some hundred to some thousand miles."""
    hold = [miles for row in expected().values() for miles in row.new_plugs_hold_miles if miles and row.key != "none"]
    for given in workshop.issued(m06, "m06.comeback", count=300):
        v = given["m06.comeback"]
        assert 1200 <= 100 * v.some <= 5800 and 12_000 <= 500 * v.many
    assert sum(1000 <= miles <= 6500 for miles in hold) >= 8


def test_every_look_that_is_reckoned_with_can_miss():
    assert all(instruments()[tool].hit < 1 for tool, _, _ in shortlist._LOOKS)
    assert all(instruments()[signs()[sign].instrument].hit < 1 for sign in shortlist.looks())


def test_compression_with_a_live_ignition_earns_nothing():
    order = repair.ORDER.parts[0]
    assert isinstance(order, Order)
    v = SimpleNamespace(list=2)
    right = repair._job(v)
    spoilt = tuple(step for step in right if step != "disable")
    critical = order.violated(right, spoilt)
    assert order.share(right, right) == 1 and critical is not None and critical.key == "live-compression"
    assert order.share(right, spoilt) == 0


def test_cars_grow_harder_and_no_family_comes_twice_in_a_row(drawn):
    four = (cars.FIRST, cars.SECOND, cars.THIRD, cars.FOURTH)
    for numbers in drawn:
        mine = [cases.from_plain(own(numbers, exercise)) for exercise in four]
        assert [case.level for case in mine] == [1, 2, 3, 4]
        assert all(before.family != after.family for before, after in zip(mine, mine[1:], strict=False))
        assert len(mine[3].atom.faults) == 2 or mine[3].family == cases.NOT_IGNITION


def test_forty_trainees_get_thirty_different_cars(drawn):
    for exercise in (cars.FIRST, cars.SECOND, cars.THIRD, cars.FOURTH):
        facts = {(v.engine, cases.from_plain(v).atom.key, v.seed) for v in (own(n, exercise) for n in drawn[:40])}
        assert len(facts) >= 30


def test_what_a_car_comes_to_is_told_with_proof_and_repair(drawn):
    for numbers in drawn[:40]:
        given = own(numbers, cars.FOURTH)
        told = " ".join(cars.FOURTH.route(given))
        assert all(fault(key).title in told for key in cases.from_plain(given).atom.faults)
        assert "proved by “" in told and "mended by" in told


def test_the_next_test_is_that_of_the_best_road_and_a_quick_one_that_tells_nothing_is_none(drawn):
    """It parts what is left, and no other one offered leads to the end in so few minutes."""
    for numbers in drawn:
        v = own(numbers, roads.NEXT_TEST)
        right = v.tests[LETTERS.index(roads._least(v))]
        assert right[2] > 1
        assert all(other[3] >= right[3] + roads.CLEARLY - 1 for other in v.tests if other is not right)
        assert abs(sum(share for _, share in v.causes) - 100) <= 25


def test_the_chart_of_the_exercise_is_walked_as_the_plan_walks_it(drawn):
    """Whoever follows the results on paper takes the tests that the plan takes, and the same minutes."""
    for numbers in drawn[:40]:
        v = own(numbers, roads.CHART)
        node, minutes = chart(v.engine, v.complaint, roads.COVERED).root, 0
        for at, after in zip(v.road, [*v.road[1:], None], strict=True):
            minutes += round(node.minutes)
            results = [
                result for result, then in v.rows[at][2] if then == (v.cause if after is None else str(after + 1))
            ]
            node = next(branch.then for branch in node.branches if branch.result == results[0])
        assert node.causes[0][0] == v.cause
        way = roads._results_to(v)
        assert roads._minutes(v) == v.cars * minutes + sum(v.rows[n][1] for n in roads._way(v)) and len(way) >= 1
