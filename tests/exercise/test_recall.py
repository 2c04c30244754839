"""Which old questions come again: wrong ones after 2, 7 and 21 days, by a rule that anybody can follow."""

from datetime import UTC, datetime, timedelta

from grader import catalogue
from grader.exercise import recall
from grader.exercise.recall import Seen

NOW = datetime(2026, 5, 20, 9, tzinfo=UTC)
MODULES = [catalogue.module("m01_timing"), catalogue.module("m02_dwell")]


def ago(days, right, key="m01.racing"):
    return Seen(key, NOW - timedelta(days=days), right)


def due_in(*seen):
    """Days from now until it should come again, or None."""
    due = recall.standings(seen)["m01.racing"].due
    return None if due is None else round((due - NOW) / timedelta(days=1), 2)


def test_the_gaps_are_2_7_and_21_days_and_a_wrong_answer_begins_anew():
    assert due_in(ago(1, False)) == 1
    assert due_in(ago(10, False), ago(8, True)) == -1
    assert due_in(ago(20, False), ago(18, True), ago(11, True)) == 10
    assert due_in(ago(40, False), ago(38, True), ago(31, True), ago(10, True)) is None, "over"
    assert due_in(ago(20, False), ago(18, True), ago(11, False)) == -9
    assert due_in(ago(3, True)) is None


def test_right_a_few_minutes_after_wrong_proves_nothing():
    assert due_in(ago(1, False), ago(0.99, True)) == 1
    assert due_in(ago(2, False), ago(0.4, True)) == 6.6, "the day on which it is due counts, to the hour or not"


def test_what_went_wrong_and_is_due_comes_first_the_longest_overdue_before_the_others():
    seen = [ago(5, False, "m02.crater"), ago(9, False, "m01.cap"), ago(1, False, "m01.altitude")]
    chosen = recall.choose(MODULES, seen, NOW)
    assert chosen[:2] == ["m01.cap", "m02.crater"]
    assert chosen[2] not in ("m01.altitude", "m01.cap", "m02.crater"), "that of yesterday rests until tomorrow"


def test_without_anything_wrong_the_modules_take_turns_and_the_longest_unseen_comes_first():
    first = recall.choose(MODULES, [], NOW)
    assert len(set(first)) == 3 and {key.split(".")[0] for key in first} == {"m01", "m02"}
    then = recall.choose(MODULES, [ago(0.01, True, key) for key in first], NOW)
    assert not set(first) & set(then)
    assert recall.choose(MODULES, [], NOW) == first, "no chance in it"


def test_a_long_exercise_that_went_wrong_is_asked_by_a_short_one_of_its_objective():
    """Eight vehicles to sort take ten minutes: one question on the same thing stands in for them."""
    chosen = recall.choose(MODULES, [ago(3, False, "m01.check_order")], NOW)[0]
    objectives = {e.key: {c for p in e.parts for c in p.objectives} for m in MODULES for e in m.exercises}
    assert objectives[chosen] & objectives["m01.check_order"]


def test_every_module_has_enough_short_questions_and_they_stand_alone():
    for module in catalogue.all_modules().values():
        short = [exercise for exercise in module.exercises if recall.is_short(module, exercise)]
        assert len(short) >= 2, module.key
        assert all(len(exercise.parts) == 1 and not exercise.parts[0].by_person for exercise in short)
    assert len(recall.choose(MODULES[:1], [], NOW)) == 3


def test_what_to_practise_names_the_latest_first_and_leaves_out_what_is_over():
    seen = [ago(9, False, "m01.cap"), ago(1, False, "m01.altitude"), ago(3, True, "m01.racing")]
    assert [key for key, _ in recall.to_practise(seen)] == ["m01.altitude", "m01.cap"]
