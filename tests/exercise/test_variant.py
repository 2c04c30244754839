"""Own numbers: the same for the same names everywhere, different for everybody else."""

import hashlib
import hmac
import json
import random

import pytest

from grader import catalogue
from grader.exercise import variant, words
from grader.exercise.model import Absolute, Exercise, Module, Number, Slip
from grader.exercise.spread import Pick, Steps
from grader.exercise.truth import Truth

KEY = bytes(range(32))


def draw(module, trainee="t01", **changes):
    return variant.draw(module, **{"key": KEY, "term": "spring", "trainee": trainee, "attempt": 1, **changes})


def test_the_word_is_hmac_of_length_prefixed_names():
    """Computed a second way, by the standard library's plain HMAC, so that another language can redo it."""
    names = ("spring", "m01_timing", "m01.mark_arc", "1", "t01", "1", "0")
    message = b""
    for name in (*names, "0"):
        message += len(name).to_bytes(4, "big") + name.encode()
    digest = hmac.new(KEY, message, hashlib.sha512).digest()
    for index in range(8):
        assert words.word(KEY, names, index) == int.from_bytes(digest[8 * index : 8 * index + 8], "big")
    assert words.word(KEY, names, 8) != words.word(KEY, names, 0)


@pytest.mark.parametrize("length", [1, 32, 127, 128, 129, 500])
def test_keys_of_any_length(length):
    """A key longer than a block of SHA-512 is hashed first, as RFC 2104 has it."""
    key = random.Random(length).randbytes(length)
    digest = hmac.new(key, b"\0\0\0\1t\0\0\0\0010", hashlib.sha512).digest()
    assert words.word(key, ("t",), 0) == int.from_bytes(digest[:8], "big")


def test_steps_hold_every_value_from_the_least_to_the_most():
    seeded = random.Random(20260601)
    for _ in range(500):
        low, step, scale = seeded.randint(-50, 50), seeded.randint(1, 9), seeded.choice((1, 10, 100))
        high = low + seeded.randint(0, 400)
        found = Steps(low, high, step, scale).values
        assert found[0] == low / scale and high - step < found[-1] * scale * (1 + 1e-12) + 1e-9, (
            low,
            high,
            step,
            scale,
        )
        assert found == tuple((low + index * step) / scale for index in range(len(found))), (low, high, step, scale)


def test_the_first_word_draws_the_first_parameter():
    """Entry (word * count) >> 64 of the list, with the word that anybody computes from the names."""
    spread = Steps(0, 999)
    exercise = Exercise("m90.only", 1, 1, "", "", {"first": spread, "second": Pick(tuple("abcdefg"))}, (), lambda v: ())
    module = Module("m90", "", 1, (exercise,))
    for trainee in ("t1", "t2", "t3"):
        found = draw(module, trainee)["m90.only"]
        drawn = [words.word(KEY, ("spring", "m90", "m90.only", "1", trainee, "1", "0"), index) for index in (0, 1)]
        assert found == {"first": (drawn[0] * 1000) >> 64, "second": "abcdefg"[(drawn[1] * 7) >> 64]}


@pytest.mark.parametrize("key", sorted(catalogue.all_modules()))
def test_the_truth_of_a_draw_is_the_truth_of_its_numbers(key):
    """Numbers thrown away on the way to a draw leave nothing behind in the expected answers."""
    module = catalogue.module(key)
    for n in range(25):
        names = {"key": KEY, "term": "spring", "trainee": f"t{n}", "attempt": 1}
        numbers, kept = variant.draw_with_truth(module, **names)
        assert numbers == variant.draw(module, **names)
        fresh = Truth(module, numbers)
        for _, part, path in module.parts():
            assert kept.answer(path) == fresh.answer(path), path
            assert vars(kept.given_at(path)) == vars(fresh.given_at(path)), path
            if hasattr(part, "half_step"):
                assert kept.target(path) == fresh.target(path) and kept.routes(path) == fresh.routes(path), path


def test_names_cannot_run_together():
    """Trainee "t1" in attempt 11 must not share numbers with "t11" in attempt 1 of whatever spelling."""
    assert words.word(KEY, ("t1", "11"), 0) != words.word(KEY, ("t11", "1"), 0)


def test_same_names_same_numbers_and_other_names_others(m01):
    mine = draw(m01)
    assert draw(m01) == mine
    for change in ({"trainee": "t02"}, {"attempt": 2}, {"term": "autumn"}, {"key": bytes(32)}):
        assert draw(m01, **change) != mine


def test_other_exercises_never_move_a_draw(m01):
    mine = draw(m01)
    turned = Module(m01.key, m01.title, m01.minutes, tuple(reversed(m01.exercises)))
    alone = Module(m01.key, m01.title, m01.minutes, m01.exercises[:1])
    first = m01.exercises[0].key
    assert draw(alone)[first] == mine[first]
    assert turned.groups() and draw(alone) != {}
    kept = [e for e in turned.exercises if not e.linked and e.key != "m01.centrifugal"]
    some = Module(m01.key, m01.title, m01.minutes, tuple(kept))
    assert all(draw(some)[e.key] == mine[e.key] for e in kept)


def test_linked_exercises_share_their_numbers(m01):
    for trainee in ("t01", "t02", "t03"):
        numbers = draw(m01, trainee)
        weights, total = numbers["m01.centrifugal"], numbers["m01.total"]
        assert {name: total[name] for name in weights} == weights
        assert "vacuum_inhg" in total and "vacuum_inhg" not in weights


def test_draws_reach_both_ends_of_a_spread():
    spread = Steps(5, 8)
    found = {spread.values[(words.word(KEY, (str(i),), 0) * len(spread.values)) >> 64] for i in range(200)}
    assert found == {5, 6, 7, 8}
    assert Steps(65, 150, 5, scale=10).values[0] == 6.5 and Steps(65, 150, 5, scale=10).values[17] == 15.0


def test_numbers_that_cannot_be_told_apart_are_refused():
    number = Number(
        key="n", prompt="", unit="mm", marks=1, step=1, answer=lambda v: float(v.x), within=Absolute(1, "test"),
        possible=(0, 100), objectives=(), slips=(Slip("same", "", lambda v: v.x + 1.0),),
    )  # fmt: skip
    module = Module("m99_test", "", 1, (Exercise("m99.e", 1, 1, "", "", {"x": Steps(1, 9)}, (number,), lambda v: ()),))
    with pytest.raises(variant.Inseparable, match="m99.e"):
        draw(module)


def test_whoever_sits_again_gets_other_numbers(m01):
    """A further attempt never asks what an earlier one asked, also where a draw has few cases."""
    same = {"key": b"k" * 32, "term": "spring-a", "trainee": "t01", "attempt": 1}
    first = variant.draw(m01, **same)
    second = variant.draw(m01, **same, before=[first])
    third = variant.draw(m01, **same, before=[first, second])
    assert first == variant.draw(m01, **same)
    for exercise in m01.exercises:
        drawn = [json.dumps(numbers[exercise.key], sort_keys=True) for numbers in (first, second, third)]
        assert len(set(drawn)) == (3 if exercise.draw or exercise.linked else 1), exercise.key
