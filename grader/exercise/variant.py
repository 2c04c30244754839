"""A trainee's own numbers, drawn so that anybody with the key draws the same.

A parameter is entry (word * count) >> 64 of its list, with a word of
grader.exercise.words. Order and number of other exercises never move a draw.
"""

import hashlib
from collections.abc import Sequence
from itertools import combinations
from typing import Any

from grader.errors import OutOfRange, TimingMarkError
from grader.exercise import words
from grader.exercise.model import Exercise, Module, Numbers
from grader.exercise.spread import Pick
from grader.exercise.truth import Truth
from grader.vehicle.own import OwnVehicle
from grader.vehicle.spec import vehicle

# Practice numbers need no secret: whoever has the package may draw them.
PRACTICE_KEY = hashlib.sha256(b"Timing Mark practice draws").digest()

ROUNDS = 400
ENGINE = "vehicle"  # the parameter that names an engine of datasets/engines.csv, or one of the term's own
DIGEST = "vehicle_digest"  # beside it where the vehicle is the term's own: of the figures it stands for
_FROM_RIGHT, _FROM_SLIP = 1.25, 1.0  # a slip must lie farther than this from the right answer and from other slips


class Inseparable(TimingMarkError):
    """An exercise whose right answer and slips cannot be told apart; the exercise is at fault."""


def draw(
    module: Module,
    *,
    key: bytes,
    term: str,
    trainee: str,
    attempt: int,
    own: Sequence[OwnVehicle] = (),
    before: Sequence[Numbers] = (),
) -> dict[str, dict[str, Any]]:
    """Parameters of every exercise of a module for one trainee and attempt.

    Parameters
    ----------
    module : Module
    key : bytes
        The term key, or `PRACTICE_KEY`.
    term, trainee : str
    attempt : int
    own : sequence of OwnVehicle
        Exercises that take an engine draw among these in place of the teaching
        vehicles. All figures they need are issued with them.
    before : sequence of dict of str to dict
        Exercise key to parameters of earlier attempts: whoever sits again gets none
        of these a second time, as far as an exercise has others.

    Returns
    -------
    dict of str to dict
        Exercise key to parameters; plain JSON values.

    Raises
    ------
    Inseparable
        No draw in many keeps the right answer and every slip apart.
    """
    return draw_with_truth(module, key=key, term=term, trainee=trainee, attempt=attempt, own=own, before=before)[0]


def draw_with_truth(
    module: Module,
    *,
    key: bytes,
    term: str,
    trainee: str,
    attempt: int,
    own: Sequence[OwnVehicle] = (),
    before: Sequence[Numbers] = (),
) -> tuple[dict[str, dict[str, Any]], Truth]:
    """The same with the expected answers, which a draw computes anyhow to keep slips apart.

    Returns
    -------
    (dict, Truth)
        Parameters as `draw` gives them; the truth marks them without computing it again.
    """
    numbers = {}
    truth = Truth(module, numbers)
    before_it, after_it = words.named(term, module.key), words.named(trainee, str(attempt))
    for group in module.groups():
        _draw_group(truth, numbers, group, key, (before_it, after_it), own, before)
    return {exercise.key: numbers[exercise.key] for exercise in module.exercises}, truth


def engines(exercise: Exercise, own: Sequence[OwnVehicle]) -> tuple[OwnVehicle, ...]:
    """Those of the term's own vehicles that an exercise can draw from.

    An exercise that passes over the teaching vehicles of six volts takes none of
    the term's own either.

    Returns
    -------
    tuple of OwnVehicle
        Empty for an exercise without an engine.
    """
    spread = exercise.draw.get(ENGINE)
    if spread is None:
        return ()
    volts = {vehicle(value).battery_v for value in spread.values}
    return tuple(mine for mine in own if mine.vehicle.battery_v in volts)


def _draw_group(truth, numbers, group, key, names, own, before=()):
    mine = {chosen.vehicle.key: chosen for exercise in group for chosen in engines(exercise, own)} if own else {}
    for attempt_number in range(ROUNDS):
        number = words.named(str(attempt_number))
        for exercise in group:
            drawn = words.stream(key, names[0] + exercise.named + names[1] + number)
            parameters = _draw_one(exercise, drawn, own)
            if exercise.linked:
                parameters = numbers[exercise.linked] | parameters
            try:
                if exercise.fill or mine:
                    parameters = _filled(exercise, parameters, mine.get(parameters.get(ENGINE, "")))
                numbers[exercise.key] = parameters
            except OutOfRange:
                if not mine:
                    raise
                break  # a figure of the own vehicle that this exercise cannot use with what was drawn
        else:
            if _is_separate_group(truth, group) and not _had(numbers, group, before):
                return
        for exercise in group:
            truth.forget(exercise)
    if before:  # an exercise with so few cases that all others are inseparable, or with one alone
        return _draw_group(truth, numbers, group, key, names, own)
    raise Inseparable(
        f"{group[0].key}: in {ROUNDS} draws no numbers keep the right answer and every slip apart. "
        "Widen what is drawn, or narrow the tolerance."
    )


def _had(numbers, group, before):
    """Whether an exercise that can vary came out as in an earlier attempt."""
    return any(
        numbers[exercise.key] == numbers_then.get(exercise.key)
        for exercise in group
        if exercise.draw or exercise.linked
        for numbers_then in before
    )


def _filled(exercise, parameters, chosen):
    """The parameters with what is derived from them; an own vehicle is derived from itself and named by its digest."""
    if exercise.fill:
        parameters |= exercise.fill({**parameters, ENGINE: chosen.vehicle} if chosen else parameters)
    return parameters | {ENGINE: chosen.vehicle.key, DIGEST: chosen.digest} if chosen else parameters


def _draw_one(exercise, drawn, own):
    spreads = exercise.draw
    if own and (mine := engines(exercise, own)):
        spreads = {**spreads, ENGINE: Pick(tuple(chosen.vehicle.key for chosen in mine))}
    parameters = {}
    for name, spread in spreads.items():
        values = spread.values
        parameters[name] = values[(next(drawn) * len(values)) >> 64]
    for part in exercise.shuffled:
        order = list(part.shuffled)
        for last in range(len(order) - 1, 0, -1):  # Fisher and Yates, from the end
            other = (next(drawn) * (last + 1)) >> 64
            order[last], order[other] = order[other], order[last]
        parameters[part.order_name] = order
    return parameters


def separate(module: Module, group: Sequence[Exercise], numbers: Numbers) -> bool:
    """True if no slip of the group can be taken for the right answer, nor for another slip.

    The right answer and a slip must lie apart by 1.25 times the sum of their
    tolerances, two slips by the sum. A batch must hold something to keep and
    something to reject, and steps must not be shown in a right order. Numbers for
    which the reference itself refuses are not separate either.
    """
    return _is_separate_group(Truth(module, numbers), group)


def _is_separate_group(truth, group):
    try:
        for exercise in group:
            for part, path in exercise.paths:
                if part.numeric:
                    if not _numbers_are_separate(truth, path, part):
                        return False
                elif not part.is_fit(truth.answer(path), truth.given(exercise.key)):
                    return False
    except OutOfRange:
        return False
    return True


def nearest(truth: Truth, path: str) -> float:
    """Least distance between the right answer and a slip, in sums of their tolerances.

    Returns
    -------
    float
        Infinite where no slip exists; a draw keeps it above 1.25.
    """
    right, width = truth.target(path)
    return min((_apart(led, right, led_width, width) for _, led, led_width in truth.routes(path)), default=float("inf"))


def _numbers_are_separate(truth, path, part):
    right, width, routes = truth.survey(path)
    least, most = part.possible
    if type(right) is tuple:
        return all(least <= end <= most for end in right) and _ranges_are_separate(right, width, routes)
    if not least <= right <= most:
        return False
    others = []
    for _, led, led_width in routes:  # `_apart`, written out for the common case
        if abs(led - right) / (led_width + width) <= _FROM_RIGHT:
            return False
        for other, other_width in others:
            if abs(led - other) / (led_width + other_width) <= _FROM_SLIP:
                return False
        others.append((led, led_width))
    return True


def _ranges_are_separate(right, width, routes):
    ways = [(led, led_width) for _, led, led_width in routes]
    return all(_apart(led, right, led_width, width) > _FROM_RIGHT for led, led_width in ways) and all(
        _apart(led, other, led_width, other_width) > _FROM_SLIP
        for (led, led_width), (other, other_width) in combinations(ways, 2)
    )


def _apart(one, other, one_width, other_width):
    """Distance in sums of tolerances; for two ranges that of the ends which lie farther apart."""
    if type(one) is tuple:
        return max(map(_apart, one, other, one_width, other_width))
    return abs(one - other) / (one_width + other_width)
