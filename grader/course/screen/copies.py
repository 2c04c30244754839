"""Pairs whose wrong answers fit the other's numbers: a reason to talk with both, never a finding about anyone.

Everybody has numbers of his own, so a figure taken from a neighbour is usually wrong
here and right there. One such answer can be chance; the screen asks how much chance
can explain.

1. Wrong numeric answers of A (neither right nor carried) are compared with what would
   be right with the numbers of B, within the tolerance of B's answer.
2. The chance of that is taken from the classmates other than A and B: how often this
   answer of A fits theirs, and how often wrong answers to this part fit the numbers of
   others at all; the greater counts, and never less than `LEAST_RATE`.
3. Exercises drawn together hang together: of each such group one fit counts, however
   many of its answers fit, with the chance that any of them does.
4. The tail of the Poisson-binomial distribution gives each ordered pair its chance;
   Holm's steps correct for looking at every pair. Only pairs below `LIMIT` are named.

Nothing is written to the records.
"""

from dataclasses import dataclass

import numpy as np
from sqlalchemy import select

from grader import catalogue
from grader.course import roster
from grader.course.records import database, schema
from grader.errors import Refused, Unreadable
from grader.exercise import issued
from grader.marking import mark as marking
from grader.marking.reading import read
from grader.marking.verdict import CARRIED, RIGHT

LIMIT = 0.001  # of the chance after correction
LEAST_RATE = 0.02  # a class is small: that no answer fitted anybody does not make it impossible
FEWEST = 4  # trainees: with fewer nobody is left to take the chance from
ADVICE = (
    "A line is a reason to talk with both, never a finding about anyone: they may have worked together, mixed up their "
    "files or sat at one screen. It changes no mark, and nothing of it is kept."
)


@dataclass(frozen=True, slots=True)
class Pair:
    """Wrong answers of `one` fit the numbers of `other` in `fits` of `tried` groups of exercises.

    `chance` is after correction for all pairs; `exercises` are the titles of those that fit.
    """

    one: roster.Trainee
    other: roster.Trainee
    fits: int
    tried: int
    chance: float
    exercises: tuple[str, ...]


def pairs(term, module_key):
    """Pairs of a class beyond chance, least chance first.

    Parameters
    ----------
    term : Term
    module_key : str

    Returns
    -------
    list of Pair

    Raises
    ------
    Unknown
        No such module.
    Refused
        It was not assigned.
    """
    module = catalogue.module(module_key)
    with database.transaction(term) as connection:
        assigned = select(schema.assignment.c.module).where(schema.assignment.c.module == module.key)
        if connection.execute(assigned).first() is None:
            raise Refused(f"{module.key} was not assigned in this term. Run 'assign {module.key}' first.")
        people = {person.id: person for person in roster.everyone(connection)}
        table = schema.issue
        # First attempts: everybody has one, and a resit is sat when the answers are known.
        mine = (table.c.module == module.key, table.c.attempt == 1)
        records = {
            row.trainee: issued.parse(row.record.encode())
            for row in connection.execute(select(table.c.trainee, table.c.record).where(*mine))
            if row.trainee in people
        }
        answers = schema.answer
        rows = connection.execute(
            select(answers).where(
                answers.c.module == module.key, answers.c.attempt == 1, answers.c.verdict.not_in((RIGHT, CARRIED))
            )
        ).all()
    order = [trainee for trainee in people if trainee in records]
    if len(order) < FEWEST:
        return []
    fits, chances = _compare(module, order, records, rows)
    found = _beyond_chance(fits, chances, len(order))
    titles = {exercise.key: exercise.title for exercise in (*module.old, *module.exercises)}
    return [
        Pair(
            people[order[one]], people[order[other]], hits, tried, chance,
            tuple(titles[key] for group in fits for key in group if fits[group].get((one, other, key))),
        )
        for chance, one, other, hits, tried in found
    ]  # fmt: skip


def sentence(pair):
    """A pair in words, with the direction and the exercises."""
    return (
        f"{pair.one.name}'s wrong answers fit the numbers of {pair.other.name} in {pair.fits} of {pair.tried} places: "
        f"{'; '.join(pair.exercises)} (chance {_odds(pair.chance)})."
    )


def tail(rates, least):
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


def holm(chances, number):
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


def _compare(module, order, records, rows):
    """What fits, and the chances of it.

    Returns
    -------
    (dict, dict)
        Group of exercise keys -> {(one, other, exercise key): True}; and group ->
        matrix of the chance that any answer of `one` fits `other`, nan where none was given.
    """
    place, size = {trainee: n for n, trainee in enumerate(order)}, len(order)
    truths = {trainee: marking.truth_of(module, records[trainee].exercises) for trainee in order}
    groups = {e.key: tuple(x.key for x in group) for group in module.groups() for e in group}
    by_path = {}
    for row in rows:
        if row.trainee in place and row.exercise in groups:
            by_path.setdefault(row.part, []).append(row)
    fits, misses = {}, {}
    for path, mine in sorted(by_path.items()):
        key = path.rpartition(".")[0]
        matrix, given = _matrix(module, path, mine, place, records, truths)
        if matrix is None:
            continue
        group = groups[key]
        chance = _chances(matrix, given)
        before = misses.setdefault(group, np.full((size, size), np.nan))
        misses[group] = np.where(given[:, None], np.where(np.isnan(before), 1, before) * (1 - chance), before)
        found = fits.setdefault(group, {})
        found.update({(int(a), int(b), key): True for a, b in np.argwhere(matrix)})
    return fits, {group: 1 - missed for group, missed in misses.items()}


def _matrix(module, path, rows, place, records, truths):
    """Whether the wrong answer of each (row) fits the numbers of each other (column), and who gave one."""
    size = len(place)
    matrix, given = np.zeros((size, size), dtype=bool), np.zeros(size, dtype=bool)
    right = np.full((size, 2), np.nan)
    width = np.full((size, 2), np.nan)
    for trainee, n in place.items():
        if path in truths[trainee].paths and hasattr(_part(module, records[trainee], path), "half_step"):
            right[n], width[n] = truths[trainee].answer(path), truths[trainee].tolerance(path)
    for row in rows:
        try:
            part = _part(module, records[row.trainee], path)
            if not hasattr(part, "half_step"):  # not a number
                continue
            typed = read(part, row.raw, row.unit).value
        except Unreadable:
            continue
        n = place[row.trainee]
        given[n] = True
        matrix[n] = (np.abs(np.asarray(typed) - right) <= width).all(axis=1)
    np.fill_diagonal(matrix, False)
    return (matrix, given) if given.any() else (None, None)


def _part(module, record, path):
    return module.as_issued(record.exercises).by_path[path][1]


def _chances(matrix, given):
    """Chance of a fit for each ordered pair, from the classmates who are not of the pair."""
    size = len(matrix)
    fits = matrix.astype(int)
    gave, took = fits.sum(axis=1), fits.sum(axis=0)
    # All (wrong answer, other trainee) without those in which either of the pair takes part.
    others = fits.sum() - gave[:, None] - gave[None, :] - took[:, None] - took[None, :] + fits + fits.T
    answers = given.sum() - given[:, None].astype(int) - given[None, :].astype(int)
    at_all = (others + 1) / (answers * (size - 3) + 2)
    his_own = (gave[:, None] - fits) / (size - 2)
    return np.clip(np.maximum(at_all, his_own), LEAST_RATE, 1.0)


def _beyond_chance(fits, chances, size):
    """[(chance after correction, one, other, fits, tried)] below the limit."""
    hits = {}
    for group, found in fits.items():
        for one, other, _ in found:
            hits.setdefault((one, other), set()).add(group)
    judged = []
    for (one, other), groups in hits.items():
        rates = [float(matrix[one, other]) for matrix in chances.values() if not np.isnan(matrix[one, other])]
        judged.append((tail(rates, len(groups)), one, other, len(groups), len(rates)))
    judged.sort()
    corrected = holm([entry[0] for entry in judged], size * (size - 1))
    return [(chance, *entry[1:]) for chance, entry in zip(corrected, judged, strict=True) if chance < LIMIT]


def _odds(chance):
    return f"1 in {1 / chance:,.0f}" if chance > 1e-6 else "less than 1 in a million"
