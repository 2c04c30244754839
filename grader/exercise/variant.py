"""A trainee's own numbers, drawn so that anybody with the key draws the same.

A word is 64 bits of HMAC-SHA-512 over the length-prefixed names of what is drawn;
a parameter is entry (word * count) >> 64 of its list. Only integers take part, so
every machine and language agrees. Order and number of other exercises never move
a draw.
"""

import hashlib
import struct
from functools import lru_cache
from itertools import count

from grader.errors import OutOfRange, TimingMarkError
from grader.exercise.model import Pick
from grader.exercise.sorting import KEEP, REJECT, Batch
from grader.exercise.truth import Truth
from grader.vehicle.spec import vehicle

# Practice numbers need no secret: whoever has the package may draw them.
PRACTICE_KEY = hashlib.sha256(b"Timing Mark practice draws").digest()

ROUNDS = 400
ENGINE = "vehicle"  # the parameter that names an engine of datasets/engines.csv, or one of the term's own
DIGEST = "vehicle_digest"  # beside it where the vehicle is the term's own: of the figures it stands for
_WORDS_A_BLOCK = 8
_SHA512_BLOCK = 128  # bytes
_EIGHT_WORDS = struct.Struct(">8Q")


class Inseparable(TimingMarkError):
    """An exercise whose right answer and slips cannot be told apart; the exercise is at fault."""


def draw(module, *, key, term, trainee, attempt, own=()):
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

    Returns
    -------
    dict of str to dict
        Exercise key to parameters; plain JSON values.

    Raises
    ------
    Inseparable
        No draw in many keeps the right answer and every slip apart.
    """
    return draw_with_truth(module, key=key, term=term, trainee=trainee, attempt=attempt, own=own)[0]


def draw_with_truth(module, *, key, term, trainee, attempt, own=()):
    """The same with the expected answers, which a draw computes anyhow to keep slips apart.

    Returns
    -------
    (dict, Truth)
        Parameters as `draw` gives them; the truth marks them without computing it again.
    """
    numbers = {}
    truth = Truth(module, numbers)
    before, after = _named(term, module.key), _named(trainee, str(attempt))
    keyed = _keyed(key)
    for group in module.groups():
        _draw_group(truth, numbers, group, keyed, before, after, own)
    return {exercise.key: numbers[exercise.key] for exercise in module.exercises}, truth


def word(key, names, index):
    """The 64-bit word number `index` under the names of what is drawn.

    Parameters
    ----------
    key : bytes
    names : sequence of str
    index : int

    Returns
    -------
    int
        From 0 to 2**64 - 1.
    """
    return _words(_keyed(key), _named(*names), index // _WORDS_A_BLOCK)[index % _WORDS_A_BLOCK]


def _words(keyed, named, block):
    inside, outside = keyed[0].copy(), keyed[1].copy()
    inside.update(named + _prefixed(str(block)))
    outside.update(inside.digest())
    return _EIGHT_WORDS.unpack(outside.digest())


def _stream(keyed, named):
    """All words under the names, one after the other."""
    for block in count():
        yield from _words(keyed, named, block)


@lru_cache(maxsize=8)
def _keyed(key):
    """The two halves of HMAC (RFC 2104) with the key taken in: a third of the time where one key draws thousands."""
    key = (hashlib.sha512(key).digest() if len(key) > _SHA512_BLOCK else key).ljust(_SHA512_BLOCK, b"\0")
    return tuple(hashlib.sha512(bytes(byte ^ pad for byte in key)) for pad in (0x36, 0x5C))


def _named(*names):
    return b"".join(map(_prefixed, names))


@lru_cache(maxsize=4096)  # the names of terms and exercises come again for every trainee
def _prefixed(name):
    text = name.encode()
    return len(text).to_bytes(4, "big") + text


@lru_cache(maxsize=1024)
def _exercise_named(key, version):
    return _named(key, str(version))


def engines(exercise, own):
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
    volts = {vehicle(option).battery_v for option in spread.options}
    return tuple(mine for mine in own if mine.vehicle.battery_v in volts)


def _draw_group(truth, numbers, group, keyed, before, after, own):
    mine = {found.vehicle.key: found for exercise in group for found in engines(exercise, own)} if own else {}
    for attempt_number in range(ROUNDS):
        end = after + _prefixed(str(attempt_number))
        for exercise in group:
            named = before + _exercise_named(exercise.key, exercise.version) + end
            parameters = _draw_one(exercise, keyed, named, own)
            if exercise.linked:
                parameters = numbers[exercise.linked] | parameters
            try:
                if exercise.fill or mine:
                    parameters = _filled(exercise, parameters, mine.get(parameters.get(ENGINE)))
                numbers[exercise.key] = parameters
            except OutOfRange:
                if not mine:
                    raise
                break  # a figure of the own vehicle that this exercise cannot use with what was drawn
        else:
            if _is_separate_group(truth, group):
                return
        for exercise in group:
            truth.forget(exercise)
    raise Inseparable(
        f"{group[0].key}: in {ROUNDS} draws no numbers keep the right answer and every slip apart. "
        "Widen what is drawn, or narrow the tolerance."
    )


def _filled(exercise, parameters, chosen):
    """The parameters with what is derived from them; an own vehicle is derived from itself and named by its digest."""
    if exercise.fill:
        parameters |= exercise.fill({**parameters, ENGINE: chosen.vehicle} if chosen else parameters)
    return parameters | {ENGINE: chosen.vehicle.key, DIGEST: chosen.digest} if chosen else parameters


def _draw_one(exercise, keyed, named, own):
    words = _stream(keyed, named)
    spreads = exercise.draw
    if own and (mine := engines(exercise, own)):
        spreads = {**spreads, ENGINE: Pick(tuple(found.vehicle.key for found in mine))}
    parameters = {name: spread.drawn(next(words)) for name, spread in spreads.items()}
    for part in exercise.parts:
        if not part.shuffled:
            continue
        order = list(part.shuffled)
        for last in range(len(order) - 1, 0, -1):  # Fisher and Yates, from the end
            other = (next(words) * (last + 1)) >> 64
            order[last], order[other] = order[other], order[last]
        parameters[order_name(part)] = order
    return parameters


def order_name(part):
    """Name of the parameter that holds the order in which a part shows its options or steps."""
    return f"order_{part.key}"


def in_shown_order(part, given):
    """(key, wording) of a part's options or steps, in the order in which this trainee sees them.

    Parameters
    ----------
    part : Choice, Choices or Order
    given : namespace
        The trainee's parameters.
    """
    words = part.items if hasattr(part, "items") else part.options
    return tuple((key, words[key]) for key in getattr(given, order_name(part), tuple(words)))


def separate(module, group, numbers):
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
            for part in exercise.parts:
                if not _is_separate(truth, exercise, part):
                    return False
    except OutOfRange:
        return False
    return True


def nearest(truth, path):
    """Least distance between the right answer and a slip, in sums of their tolerances.

    Returns
    -------
    float
        Infinite where no slip exists; a draw keeps it above 1.25.
    """
    right, width = truth.target(path)
    return min((_apart(led, right, led_width, width) for _, led, led_width in truth.routes(path)), default=float("inf"))


def _is_separate(truth, exercise, part):
    path = f"{exercise.key}.{part.key}"
    if hasattr(part, "possible"):
        return _numbers_are_separate(truth, path, part)
    right = truth.answer(path)
    if isinstance(part, Batch):
        return KEEP in right and REJECT in right
    if part.shuffled and not hasattr(part, "options"):
        return part.share(right, getattr(truth.given(exercise.key), order_name(part))) < 1
    return True


def _numbers_are_separate(truth, path, part):
    right, width = truth.target(path)
    least, most = part.possible
    for end in right if type(right) is tuple else (right,):
        if not least <= end <= most:
            return False
    routes = truth.routes(path)
    others = []
    for _, led, led_width in routes:
        if _apart(led, right, led_width, width) <= 1.25:
            return False
        for other, other_width in others:
            if _apart(led, other, led_width, other_width) <= 1:
                return False
        others.append((led, led_width))
    return True


def _apart(one, other, one_width, other_width):
    """Distance in sums of tolerances; for two ranges that of the ends which lie farther apart."""
    if type(one) is tuple:
        return max(map(_apart, one, other, one_width, other_width))
    return abs(one - other) / (one_width + other_width)
