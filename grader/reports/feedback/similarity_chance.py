"""Which wrong answers fit whose numbers, and how likely that is: for whole blocks of trainees at once.

Every pair has to be looked at, but hardly one has to be judged. A chance is never
below `LEAST_RATE` to the power of the fits, so that a pair with few of them cannot
stay below the limit after correction; how many are too few follows from the size of
the class. Blocks keep memory from growing with the square of the class.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

LIMIT = 0.001  # of the chance after correction
LEAST_RATE = 0.02  # a class is small: that no answer fitted anybody does not make it impossible
BLOCK = 256  # trainees at a time
_PAIRS = 50_000  # pairs judged at a time
_SLACK = 1e-6  # rounding, far below what could hide a pair


@dataclass(slots=True)
class Item:
    """One part: wrong answers that were given to it, and what was right for everybody.

    `rows` are the places of those who gave one, rising; `typed` their answers and
    `right` and `width` what was right for each of the class and how far off still is,
    each in two columns (the ends of a range; twice the same for a single number).
    """

    exercise: str
    group: tuple  # keys of the exercises that are drawn together with this one
    rows: np.ndarray
    typed: np.ndarray
    right: np.ndarray
    width: np.ndarray
    gave: np.ndarray = field(init=False)  # how many others each wrong answer fits
    took: np.ndarray = field(init=False)  # how many wrong answers of others fit each one's numbers
    place: np.ndarray = field(init=False)  # of each one in `rows`, -1 where no answer was given

    def __post_init__(self):
        size = len(self.right)
        self.gave, self.took = np.zeros(size, dtype=int), np.zeros(size, dtype=int)
        self.place = np.full(size, -1)
        self.place[self.rows] = np.arange(len(self.rows))

    def between(self, first: int, last: int) -> tuple[np.ndarray, np.ndarray]:
        """(rows, whether each of their answers fits each of the class) of the trainees from first to before last."""
        start, stop = np.searchsorted(self.rows, (first, last))
        rows, fits = self.rows[start:stop], True
        for end in (0, 1):
            fits &= np.abs(self.typed[start:stop, end, None] - self.right[:, end]) <= self.width[:, end]
        fits[np.arange(len(rows)), rows] = False
        return rows, fits

    def pairs(self, one: np.ndarray, other: np.ndarray) -> np.ndarray:
        """Whether the answer of each `one` fits the numbers of the `other` at the same place."""
        place = self.place[one]
        near = np.abs(self.typed[place] - self.right[other]) <= self.width[other]
        return near.all(axis=1) & (place >= 0) & (one != other)


def judge(items: Sequence[Item], size: int) -> list[tuple[float, int, int, int, int, tuple[str, ...]]]:
    """Pairs beyond chance, least chance first.

    Parameters
    ----------
    items : list of Item
    size : int
        Trainees, at least four.

    Returns
    -------
    list of (float, int, int, int, int, tuple of str)
        Chance after correction for all pairs, places of the two, groups in which an
        answer fits, groups in which one was given, keys of the exercises that fit.
    """
    items = [item for item in items if len(item.rows)]
    groups = list(dict.fromkeys(item.group for item in items))
    everybody = size * (size - 1)
    one, other, fits = _candidates(items, groups, size, fewest(everybody))
    if 2 * len(one) > everybody:  # then too few were left out for that number to hold
        one, other, fits = _candidates(items, groups, size, 1)
    judged, most = [], LIMIT * (1 + _SLACK) / (everybody - len(one)) if len(one) < everybody else 1.0
    for start in range(0, len(one), _PAIRS):
        part = slice(start, start + _PAIRS)
        rates = _rates(items, groups, one[part], other[part], size)
        for place in np.flatnonzero(_tails(rates, fits[part]) <= most):
            given = rates[place][~np.isnan(rates[place])].tolist()
            a, b, least = int(one[start + place]), int(other[start + place]), int(fits[start + place])
            judged.append((tail(given, least), a, b, least, len(given)))
    judged.sort()
    corrected = holm([entry[0] for entry in judged], everybody)
    return [
        (chance, *entry[1:], _exercises(items, groups, entry[1], entry[2]))
        for chance, entry in zip(corrected, judged, strict=True)
        if chance < LIMIT
    ]


def tail(rates: Iterable[float], least: int) -> float:
    """Chance that at least some of several independent events happen (Poisson-binomial).

    Parameters
    ----------
    rates : sequence of float
        Chance of each.
    least : int

    Returns
    -------
    float
    """
    spread = np.ones(1)
    for rate in rates:
        spread = np.convolve(spread, (1 - rate, rate))
    return float(min(1.0, spread[least:].sum()))


def holm(chances: Sequence[float], number: int) -> list[float]:
    """Chances in rising order, corrected for a number of looks by Holm's steps.

    Parameters
    ----------
    chances : sequence of float
        The smallest ones, rising; all others count as 1.
    number : int
        How many there are in all.

    Returns
    -------
    list of float
    """
    stepped = [min(1.0, chance * (number - place)) for place, chance in enumerate(chances)]
    return np.maximum.accumulate(stepped).tolist() if stepped else []


def fewest(everybody: int) -> int:
    """Fewest fits with which a pair can be named, if no more than half of all pairs are judged.

    Whoever has one fit less has at least `LEAST_RATE` to that power as his chance. Before
    the first such pair stand at most those judged, so that Holm's step multiplies by half
    of all pairs or more; what then reaches the limit ends the list.
    """
    fewest = 1
    while LEAST_RATE**fewest * everybody / 2 >= LIMIT * (1 + _SLACK):
        fewest += 1
    return fewest


def _candidates(items, groups, size, fewest):
    """(ones, others, fits) of the pairs with so many fits; `gave` and `took` of the items are filled on the way."""
    for item in items:
        item.took[:] = 0
    blocks = []
    for first in range(0, size, BLOCK):
        last = min(first + BLOCK, size)
        counts = np.zeros((last - first, size), dtype=np.uint8)  # a module has fewer than 256 groups
        for group in groups:
            fits = np.zeros(counts.shape, dtype=bool)
            for item in items:
                if item.group == group:
                    rows, mine = item.between(first, last)
                    item.gave[rows], item.took[:] = mine.sum(axis=1), item.took + mine.sum(axis=0)
                    fits[rows - first] |= mine
            counts += fits
        ones, others = np.nonzero(counts >= fewest)
        blocks.append((ones + first, others, counts[ones, others].astype(int)))
    return tuple(np.concatenate(column) for column in zip(*blocks, strict=True))


def _rates(items, groups, one, other, size):
    """Chance that any answer of `one` in a group fits `other`: a row for each pair, a column for each group, nan where none was given."""
    missed = np.full((len(one), len(groups)), np.nan)
    for item in items:
        column = groups.index(item.group)
        given = item.place[one] >= 0
        chance = _chances(item, one, other, size)
        before = missed[:, column]
        missed[:, column] = np.where(given, np.where(np.isnan(before), 1, before) * (1 - chance), before)
    return 1 - missed


def _chances(item, one, other, size):
    """Chance of a fit for each pair, from the classmates who are not of the pair."""
    fits, back = item.pairs(one, other).astype(int), item.pairs(other, one).astype(int)
    gave, took = item.gave, item.took
    # All (wrong answer, other trainee) without those in which either of the pair takes part.
    others = gave.sum() - gave[one] - gave[other] - took[one] - took[other] + fits + back
    answers = len(item.rows) - (item.place[one] >= 0) - (item.place[other] >= 0).astype(int)
    at_all = (others + 1) / (answers * (size - 3) + 2)
    his_own = (gave[one] - fits) / (size - 2)
    return np.clip(np.maximum(at_all, his_own), LEAST_RATE, 1.0)


def _tails(rates, least):
    """`tail` of many pairs at once, to within rounding and a little below; nan in a row is no event."""
    spread = np.zeros((len(rates), rates.shape[1] + 1))
    spread[:, 0] = 1
    for column in np.nan_to_num(rates).T:
        spread[:, 1:] = spread[:, 1:] * (1 - column[:, None]) + spread[:, :-1] * column[:, None]
        spread[:, 0] *= 1 - column
    above = np.where(np.arange(spread.shape[1]) >= least[:, None], spread, 0).sum(axis=1)
    return above * (1 - _SLACK)


def _exercises(items, groups, one, other):
    """Keys of the exercises of a pair that fit, group by group."""
    pair = np.array([one]), np.array([other])
    fitting = {item.exercise for item in items if item.pairs(*pair)[0]}
    return tuple(key for group in groups for key in group if key in fitting)
