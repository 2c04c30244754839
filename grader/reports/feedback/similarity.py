"""Pairs whose wrong answers fit the other's numbers: a reason to talk with both, never a finding about anyone.

Everybody has numbers of his own, so a figure taken from a neighbour is usually wrong
here and right there. One such answer can be chance; the screen asks how much chance
can explain.

1. Wrong numeric answers of A (neither right nor carried) are compared with what would
   be right with the numbers of B, within the tolerance of B's answer.
2. The chance of that is taken from the classmates other than A and B: how often this
   answer of A fits theirs, and how often wrong answers to this part fit the numbers of
   others at all; the greater counts, and never less than `fits.LEAST_RATE`.
3. Exercises drawn together hang together: of each such group one fit counts, however
   many of its answers fit, with the chance that any of them does.
4. The tail of the Poisson-binomial distribution gives each ordered pair its chance;
   Holm's steps correct for looking at every pair. Only pairs below `fits.LIMIT` are named.

Nothing is written to the records.
"""

from dataclasses import dataclass

import numpy as np
from sqlalchemy import select

from grader import catalogue
from grader.course.attempts import standing
from grader.errors import Unreadable
from grader.exercise import issued
from grader.marking import mark as marking
from grader.marking.reading import read
from grader.marking.verdict import CARRIED, RIGHT
from grader.records import database, schema
from grader.records.term import roster
from grader.records.term.term import Term
from grader.reports.feedback import similarity_chance as fits
from grader.reports.tables import wording

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
    names: tuple[str, str]  # of both; same names in the class are told apart
    fits: int
    tried: int
    chance: float
    exercises: tuple[str, ...]


def pairs(term: Term, module_key: str) -> list[Pair]:
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
        standing.must_be_assigned(connection, module.key)
        people = {person.id: person for person in roster.everyone(connection)}
        table = schema.issue
        # First attempts: everybody has one, and a resit is sat when the answers are known.
        mine = (table.c.module == module.key, table.c.attempt == 1)
        rows_of_issue = connection.execute(select(table.c.trainee, table.c.record).where(*mine))
        records = {row.trainee: row.record for row in rows_of_issue if row.trainee in people}
        answers = schema.answer
        rows = connection.execute(
            select(answers.c.trainee, answers.c.part, answers.c.raw, answers.c.unit).where(
                answers.c.module == module.key, answers.c.attempt == 1, answers.c.verdict.not_in((RIGHT, CARRIED))
            )
        ).all()
    order = [trainee for trainee in people if trainee in records]
    if len(order) < FEWEST:
        return []
    rows_of_issue = fits.judge(_items(module, order, records, rows), len(order))
    names = wording.names(people.values())
    titles = {exercise.key: exercise.title for exercise in (*module.old, *module.exercises)}
    return [
        Pair(
            people[order[one]],
            people[order[other]],
            (names[order[one]], names[order[other]]),
            hits,
            tried,
            chance,
            tuple(titles[key] for key in keys),
        )
        for chance, one, other, hits, tried, keys in rows_of_issue
    ]


def little(term: Term, module_key: str) -> str:
    """How little the comparison finds, in words: how many places have to fit in a class of this size before a pair is named."""
    with database.transaction(term) as connection:
        table = schema.issue
        mine = (table.c.module == module_key, table.c.attempt == 1)
        size = len(connection.execute(select(table.c.trainee).where(*mine)).all())
    if size < FEWEST:
        return f"With fewer than {FEWEST} trainees nobody is left to compare with, so nothing is ever named."
    return (
        f"This finds little. In a class of {size} a pair is named only if at least {fits.fewest(size * (size - 1))} wrong "
        "answers, in exercises whose numbers are drawn apart, are right for the other's numbers. Whoever copied in fewer "
        "places, or worked it out anew with his own numbers, does not show. That nobody is named says nothing about anybody."
    )


def sentence(pair: Pair) -> str:
    """A pair in words, with the direction and the exercises."""
    return (
        f"{pair.names[0]}'s wrong answers fit the numbers of {pair.names[1]} in {pair.fits} of {pair.tried} places: "
        f"{'; '.join(pair.exercises)} (chance {_odds(pair.chance)})."
    )


def _items(module, order, records, rows):
    """What was typed wrongly, and what would have been right for whom, part by part.

    Trainee by trainee, so that of each one only numbers are kept.
    """
    groups = {e.key: tuple(x.key for x in group) for group in module.groups() for e in group}
    by_trainee, rights, typed = {}, {}, {}
    for row in rows:
        if row.part.rpartition(".")[0] in groups:
            by_trainee.setdefault(row.trainee, []).append(row)
            rights.setdefault(row.part, np.full((2, len(order), 2), np.nan))
    for place, trainee in enumerate(order):
        exercises = issued.parse(records[trainee].encode()).exercises
        truth = marking.truth_of(module, exercises)
        parts = {path: part for _, part, path in truth.module.parts() if path in rights and part.numeric}
        for path in parts:
            right, width = rights[path]
            right[place], width[place] = truth.target(path)
        for path, ends in _typed(parts, by_trainee.get(trainee, ())):
            typed.setdefault(path, {})[place] = ends
    items = []
    for path in sorted(typed):
        key = path.rpartition(".")[0]
        places, ends = list(typed[path]), list(typed[path].values())
        items.append(fits.Item(key, groups[key], np.array(places), np.array(ends), *rights[path]))
    return items


def _typed(parts, rows):
    """(path, both ends of what was typed) of each wrong answer to one of some parts with numbers."""
    for row in rows:
        if row.part in parts:
            try:
                typed = read(parts[row.part], row.raw, row.unit).value
            except Unreadable:
                continue
            yield row.part, tuple(np.broadcast_to(np.asarray(typed, dtype=float), 2))


def _odds(chance):
    return f"1 in {1 / chance:,.0f}" if chance > 1e-6 else "less than 1 in a million"
