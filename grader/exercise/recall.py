"""Which questions of earlier lessons come again, and when: a fixed rule, without chance.

A question that went wrong comes again after about 2 days, then 7, then 21, counted from the
last time; each right answer leads to the next gap, a wrong one back to the first. Three right
answers in a row, each after its gap, and it is over. Where fewer are due than are asked for,
questions that never went wrong fill up, the one longest not seen first.

That retrieval spread over days keeps more than the same at one sitting: Latimier, Peyre and
Ramus, Educational Psychology Review 33 (2021) 959, abstract read (g = 0.74; growing gaps no
better than even ones, so the three lengths are a choice of ours).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from grader.exercise.kinds import PlotReading
from grader.exercise.model import Choice, Exercise, Module, Number
from grader.exercise.sorting import FiringOrder

GAPS = (timedelta(days=2), timedelta(days=7), timedelta(days=21))
EARLY = timedelta(hours=12)  # "after 2 days" is any time of that day
_NEVER = datetime.min.replace(tzinfo=UTC)
_SHORT = (Number, Choice, FiringOrder)
_MOST_MARKS = 2  # an exercise that is worth more takes more than a few minutes


@dataclass(frozen=True, slots=True)
class Seen:
    """One time that a trainee answered an exercise: when, and whether his first answer was right."""

    exercise: str
    at: datetime
    right: bool


@dataclass(frozen=True, slots=True)
class Standing:
    """How an exercise stands with one trainee.

    `wrong_at` is the last time that it went wrong, None where it never did or where that is over;
    `due` when it should come again, only where `wrong_at` is given.
    """

    last: datetime
    wrong_at: datetime | None = None
    due: datetime | None = None


def standings(seen: Iterable[Seen]) -> dict[str, Standing]:
    """How every exercise that was ever answered stands, by key.

    Parameters
    ----------
    seen : iterable of Seen
        In any order.

    Returns
    -------
    dict of str to Standing
    """
    stands: dict[str, Standing] = {}
    steps: dict[str, int] = {}
    for answer in sorted(seen, key=lambda s: (s.at, s.exercise, s.right)):
        before = stands.get(answer.exercise, Standing(answer.at))
        if not answer.right:
            steps[answer.exercise] = 0
            stands[answer.exercise] = Standing(answer.at, answer.at, answer.at + GAPS[0])
        elif before.due is None or before.wrong_at is None:
            stands[answer.exercise] = Standing(answer.at)
        elif answer.at < before.due - EARLY:  # right a few minutes later proves nothing yet
            stands[answer.exercise] = Standing(answer.at, before.wrong_at, before.due)
        else:
            steps[answer.exercise] += 1
            over = steps[answer.exercise] == len(GAPS)
            due = None if over else answer.at + GAPS[steps[answer.exercise]]
            stands[answer.exercise] = Standing(answer.at, None if over else before.wrong_at, due)
    return stands


def is_short(module: Module, exercise: Exercise) -> bool:
    """Whether an exercise can be asked alone, in a few minutes: one number, one choice or one firing order."""
    alone = next(len(group) == 1 for group in module.groups() if exercise in group)
    part = exercise.parts[0]
    return (
        alone
        and len(exercise.parts) == 1
        and isinstance(part, _SHORT)
        and not isinstance(part, PlotReading)
        and exercise.marks <= _MOST_MARKS
        and not part.uses
    )


def choose(modules: Sequence[Module], seen: Iterable[Seen], now: datetime, count: int = 3) -> list[str]:
    """Keys of the short exercises to ask now.

    Parameters
    ----------
    modules : sequence of Module
        The earlier ones, in the order of the course.
    seen : iterable of Seen
        All that is known of this trainee. What went wrong in a long exercise is asked by a
        short one of the same module and objective, where there is one.
    now : datetime
    count : int

    Returns
    -------
    list of str
        First what went wrong and is due, the longest overdue first; then what never went wrong, in turn from each
        module, the longest not seen first; last what went wrong and is not due yet.
    """
    order = [exercise.key for module in modules for exercise in module.exercises if is_short(module, exercise)]
    home = {exercise.key: module.key for module in modules for exercise in module.exercises}
    stands = standings(_as_short(modules, seen))
    wrong = sorted(
        ((stand.due, order.index(key), key) for key, stand in stands.items() if stand.due and key in order),
    )
    chosen = [key for due, _, key in wrong if due - EARLY <= now][:count]
    resting = [key for due, _, key in wrong if due - EARLY > now]
    others = [key for key in order if key not in chosen and key not in resting]
    turns = dict.fromkeys(home.values(), 0)
    for key in chosen:
        turns[home[key]] += 1
    while others and len(chosen) < count:
        key = min(others, key=lambda k: (turns[home[k]], _last(stands, k), order.index(k)))
        others.remove(key)
        chosen.append(key)
        turns[home[key]] += 1
    return (chosen + resting)[:count]


def to_practise(seen: Iterable[Seen], count: int = 5) -> list[tuple[str, datetime]]:
    """(key, when it went wrong) of the exercises that went wrong and are not over, the latest first."""
    wrong = [(key, stand.wrong_at) for key, stand in standings(seen).items() if stand.wrong_at is not None]
    return sorted(wrong, key=lambda pair: (pair[1], pair[0]), reverse=True)[:count]


def _as_short(modules: Sequence[Module], seen: Iterable[Seen]) -> list[Seen]:
    stand_in: dict[str, str] = {}
    for module in modules:
        short = [exercise for exercise in module.exercises if is_short(module, exercise)]
        for exercise in module.exercises:
            if exercise not in short:
                wanted = _objectives(exercise)
                fits = [other.key for other in short if _objectives(other) & wanted]
                if fits:
                    stand_in[exercise.key] = fits[0]
    counted = []
    for answer in seen:
        if answer.exercise not in stand_in:
            counted.append(answer)
        elif not answer.right:
            counted.append(Seen(stand_in[answer.exercise], answer.at, False))
    return counted


def _objectives(exercise: Exercise) -> set[str]:
    return {code for part in exercise.parts for code in part.objectives}


def _last(stands: Mapping[str, Standing], key: str) -> datetime:
    return stands[key].last if key in stands else _NEVER
