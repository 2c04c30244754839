"""The copy screen beside a plain one that takes pair by pair: the same pairs, chances and exercises, to the last bit."""

import math
import random

import numpy as np
import pytest

from grader.reports.feedback import similarity_chance
from tests.seed.draws import SEED


def plain(items, size):
    """As fits.judge, by the definition: every pair, every answer, one after the other."""
    groups = list(dict.fromkeys(item.group for item in items))
    matrices = [_matrix(item, size) for item in items]
    judged = []
    for one in range(size):
        for other in range(size):
            hits = [item for item, matrix in zip(items, matrices, strict=True) if matrix[one][other]]
            if not hits:
                continue
            rates = []
            for group in groups:
                missed = None
                for item, matrix in zip(items, matrices, strict=True):
                    if item.group == group and one in item.rows:
                        missed = (1 if missed is None else missed) * (1 - _chance(item, matrix, one, other, size))
                rates += [] if missed is None else [1 - missed]
            hit = {item.group for item in hits}
            keys = {item.exercise for item in hits}
            told = tuple(key for group in groups for key in group if key in keys)
            judged.append((similarity_chance.tail(rates, len(hit)), one, other, len(hit), len(rates), told))
    judged.sort()
    corrected = similarity_chance.holm([entry[0] for entry in judged], size * (size - 1))
    return [
        (chance, *entry[1:]) for chance, entry in zip(corrected, judged, strict=True) if chance < similarity_chance.LIMIT
    ]  # fmt: skip


def _matrix(item, size):
    matrix = [[False] * size for _ in range(size)]
    for one, typed in zip(item.rows.tolist(), item.typed.tolist(), strict=True):
        for other in range(size):
            near = [abs(typed[end] - item.right[other, end]) <= item.width[other, end] for end in (0, 1)]
            matrix[one][other] = one != other and all(near)
    return matrix


def _chance(item, matrix, one, other, size):
    third = [n for n in range(size) if n not in (one, other)]
    wrong = [n for n in item.rows.tolist() if n in third]
    fitted = sum(matrix[a][b] for a in wrong for b in third)
    his_own = sum(matrix[one][b] for b in third) / (size - 2)
    at_all = (fitted + 1) / (len(wrong) * (size - 3) + 2)
    return min(1.0, max(at_all, his_own, similarity_chance.LEAST_RATE))


def random_class(chance):
    """(items, size): numbers from a few to many values, gaps, ranges, linked exercises, and some copying."""
    size = chance.choice([4, 5, 8, 14, 23, 31])
    copying = {one: chance.randrange(size) for one in range(size) if chance.random() < 0.15}
    items, exercises = [], 0
    for _ in range(chance.randint(1, 11)):  # groups
        group = tuple(f"m.x{exercises + n}" for n in range(chance.randint(1, 2)))
        exercises += len(group)
        for key in group:
            for _ in range(chance.randint(1, 2)):
                items += _item(key, group, size, copying, chance)
    return items, size


def _item(key, group, size, copying, chance):
    values, span = chance.choice([3, 40, 1000]), chance.random() < 0.2
    right = np.array([[chance.randrange(values)] * 2 for _ in range(size)], dtype=float)
    right[:, 1] += chance.choice([1, 2]) if span else 0
    width = np.array([[chance.choice([0.0, 0.5, 1.0])] * 2 for _ in range(size)])
    right[[chance.random() < 0.1 for _ in range(size)]] = math.nan  # had another version
    typed, skill = {}, chance.random()
    for one in range(size):
        source = copying.get(one)
        if source is not None and source != one and not np.isnan(right[source]).any() and chance.random() < 0.9:
            typed[one] = tuple(right[source])
        elif chance.random() > skill:
            typed[one] = (float(chance.randrange(values)),) * 2
    if not typed:
        return []
    return [
        similarity_chance.Item(
            key, group, np.array(list(typed)), np.array(list(typed.values()), dtype=float), right, width
        )
    ]


@pytest.mark.parametrize("block", [3, similarity_chance.BLOCK])
@pytest.mark.campaign
def test_the_screen_finds_what_a_plain_one_finds(block, monkeypatch):
    monkeypatch.setattr(similarity_chance, "BLOCK", block)
    monkeypatch.setattr(similarity_chance, "_PAIRS", 7 * block)
    named = cautious = 0
    for number in range(60):
        seed = SEED + number
        print(f"seed {seed}")
        items, size = random_class(random.Random(seed))
        found = similarity_chance.judge(items, size)
        assert found == plain(items, size)
        named += bool(found)
        cautious += not found
    assert named >= 5 and cautious >= 5  # the classes put both sides to the test


def test_rising_thresholds_leave_out_nobody():
    """With one fit less than the fewest a pair's chance, times half of all pairs, is at the limit."""
    for size in (4, 10, 30, 100, 1000, 30_000):
        fewest, everybody = similarity_chance.fewest(size * (size - 1)), size * (size - 1)
        assert similarity_chance.LEAST_RATE ** (fewest - 1) * everybody / 2 >= similarity_chance.LIMIT
        assert similarity_chance.LEAST_RATE**fewest * everybody / 2 < similarity_chance.LIMIT * 1.01


def test_tails_of_many_pairs_lie_just_below_those_of_one():
    chance = np.random.default_rng(SEED)
    rates = chance.uniform(0.02, 0.9, (50, 9))
    rates[chance.random((50, 9)) < 0.2] = np.nan
    least = chance.integers(0, 9, 50)
    together = similarity_chance._tails(rates, least)
    for row, fewest, found in zip(rates, least, together, strict=True):
        one = similarity_chance.tail(row[~np.isnan(row)], fewest)
        assert one * (1 - 1e-5) <= found <= one
