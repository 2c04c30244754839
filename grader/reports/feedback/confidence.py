"""Where a class was sure and wrong, or right by a guess, in practice that was handed in.

Read afresh from the kept hand-ins, so that nothing of it can disagree with them and it
goes when they go. Assessed sheets are never looked at for it: no mark knows of it.
"""

from collections import Counter
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import select

from grader.course.attempts import evaluation
from grader.errors import BadSheet
from grader.exercise import issued
from grader.exercise import sheet as sheets
from grader.exercise.model import PRACTICE, Module
from grader.exercise.part import sayings
from grader.marking import confidence
from grader.marking.confidence import Said
from grader.records import adjustments, database, schema
from grader.records.term.term import Term

SEVERAL = 2  # so many say something about the exercise, one alone about himself


@dataclass(slots=True)
class Count:
    """One exercise: how many said something, were sure and wrong, were right by a guess; slips of the sure ones."""

    said: int = 0
    sure_and_wrong: int = 0
    right_by_guess: int = 0
    slips: Counter = field(default_factory=Counter)


@dataclass(frozen=True, slots=True)
class Row:
    """One exercise as the report tells it. `slip` says how to put right what `made` of the sure ones did, if they share one."""

    title: str
    said: int
    sure_and_wrong: int
    right_by_guess: int
    slip: str
    made: int


@dataclass(frozen=True, slots=True)
class Sureness:
    """A module's practice: sheets handed in, how many said anything, the exercises that are worth a word."""

    sheets: int
    said: int
    rows: tuple
    unread: int  # kept hand-ins that could not be read again


def of_class(term: Term, module: Module) -> Sureness | None:
    """What the practice sheets of a module say; None where it was not handed out as practice.

    Parameters
    ----------
    term : Term
    module : Module

    Returns
    -------
    Sureness or None
    """
    with database.transaction(term) as connection:
        mode = connection.execute(select(schema.assignment.c.mode).where(schema.assignment.c.module == module.key))
        if mode.scalar() != PRACTICE:
            return None
        mark, issue = schema.mark, schema.issue
        query = (
            select(issue.c.record, mark.c.sha256)
            .join(issue, adjustments.same(mark, issue))
            .where(mark.c.module == module.key)
        )
        work = connection.execute(query.order_by(mark.c.trainee, mark.c.attempt)).all()
    counts, speaking, unread = {}, 0, 0
    for row in work:
        try:
            words = of_sheet(term, module, row.record, row)
        except BadSheet:
            unread += 1
            continue
        speaking += bool(words)
        for key, answer in words.items():
            _count(counts.setdefault(key, Count()), answer)
    return Sureness(len(work), speaking, tuple(_rows(module, counts)), unread)


def of_sheet(term: Term, module: Module, record: str, marked: Any) -> dict[str, Said]:
    """What one trainee said, by exercise; nothing for assessed work, whatever its sheet holds.

    Parameters
    ----------
    term : Term
    module : Module
    record : str
        The issue as the records hold it.
    marked : row with `sha256` of the hand-in that was marked

    Returns
    -------
    dict of str to Said

    Raises
    ------
    BadSheet
        The kept hand-in is gone, changed, or cannot be marked any more.
    """
    issue = issued.parse(record.encode())
    if issue.mode != PRACTICE:
        return {}
    words = confidence.judge(module, issue.exercises, sheets.parse(evaluation.kept(term, marked)))
    sat = issued.to_answer(issue.exercises)
    return {key: answer for key, answer in words.items() if key in sat}


def _count(count, answer):
    count.said += 1
    if answer.word == confidence.KNOW and answer.right is False:
        count.sure_and_wrong += 1
        count.slips.update(answer.slips)
    elif answer.word == confidence.GUESS and answer.right:
        count.right_by_guess += 1


def _rows(module, counts):
    """Exercises in which several were sure and wrong, or right by a guess; most of the first kind first."""
    known = {e.key: e for e in (*module.old, *module.exercises)}
    order = [key for key in known if key in counts]
    for key in sorted(order, key=lambda key: (-counts[key].sure_and_wrong, -counts[key].right_by_guess)):
        count = counts[key]
        if max(count.sure_and_wrong, count.right_by_guess) < SEVERAL:
            continue
        says, made = _commonest(module, count)
        yield Row(known[key].title, count.said, count.sure_and_wrong, count.right_by_guess, says, made)


def _commonest(module, count):
    """(what to say, how many made it) of the slip that several of the sure ones made."""
    if count.sure_and_wrong < SEVERAL:
        return "", 0
    (path, slip), made = count.slips.most_common(1)[0] if count.slips else (("", ""), 0)
    if made < SEVERAL:
        return "", 0
    parts = {f"{e.key}.{p.key}": p for e in (*module.old, *module.exercises) for p in e.parts}
    return sayings(parts[path]).get(slip, ""), made
