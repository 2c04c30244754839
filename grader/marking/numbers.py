"""Verdicts on numbers, ranges and readings off a plot; a range is right when both its ends are."""

from grader import units
from grader.errors import OutOfRange, Unreadable
from grader.marking.reader import WrongKind
from grader.marking.reading import read
from grader.marking.verdict import (
    CARRIED,
    COARSE,
    KIND,
    PARTLY,
    POWER,
    RIGHT,
    SIGN,
    SLIP,
    UNIT,
    UNREADABLE,
    WRONG,
    PartMark,
    earned,
)

# Coarse only counts where the typed figure still says something: half its last place
# may be at most this share of the expected value.
_COARSEST = 0.25
_POWERS = tuple(10.0**power for power in (-3, -2, -1, 1, 2, 3))  # a misplaced point
_HALF = 0.5  # too coarse, one end of a range, and a wrong unit the first time


def mark_numbers(truth, path, part, answer, earlier):
    """The verdict on one or two typed numbers."""
    most, raw, unit = part.marks * 100, answer.raw, answer.unit or part.unit
    right, width = truth.target(path)
    try:
        reading = read(part, raw, answer.unit)
    except Unreadable as problem:  # what was right is told, although nothing could be compared with it
        word = KIND if isinstance(problem, WrongKind) else UNREADABLE
        return PartMark(path, word, 0, most, raw, unit, expected=right, width=width, why=str(problem))
    typed = reading.value
    if _near(typed, right, width):
        return PartMark(path, RIGHT, most, most, raw, unit, reading.echo, typed, right, width)
    return _not_right(truth, path, part, answer, earlier, reading)


def _not_right(truth, path, part, answer, earlier, reading):
    """Why a number is not right, and what it earns all the same; the first reason that fits counts."""
    most, typed, (right, width) = part.marks * 100, reading.value, truth.target(path)
    word, share, slip, why = WRONG, 0, "", ""
    carried = carried_answer(truth, path, part, earlier)
    carried_width = truth.tolerance(path, own=carried[1]) if carried is not None else None
    if carried is not None and _near(typed, carried[0], carried_width):
        word, share, right, width = CARRIED, 1, carried[0], carried_width
    elif (found := _nearest_slip(truth, path, part, typed)) is not None:
        word, share, slip = SLIP, found.share, found.key
    elif _too_coarse(typed, reading.place, right, width):
        word, share = COARSE, _HALF
    elif carried is not None and _too_coarse(typed, reading.place, carried[0], width):
        word, share, right = COARSE, _HALF, carried[0]
    elif (meant := _unit_meant(part, reading, right, width)) is not None:
        error = (reading.unit.text, meant.text)
        charged = error in earlier.unit_errors
        earlier.unit_errors.add(error)
        word, share, why = UNIT, 1 if charged else _HALF, _about_unit(error, charged)
    elif _any(right) and _near(_times(typed, -1.0), right, width):
        word = SIGN
    elif _any(right) and _any(typed) and _point_misplaced(typed, right, width):
        word = POWER
    elif isinstance(typed, tuple) and any(map(_near, typed, right, width)):
        word, share, why = PARTLY, _HALF, "One end of the range is right; work the other one out again."
    return PartMark(
        path, word, earned(part.marks, share), most, answer.raw, answer.unit or part.unit, reading.echo, typed,
        right, width, slip, why,
    )  # fmt: skip


def carried_answer(truth, path, part, earlier):
    """(expected from the trainee's own earlier answers, those answers), or None."""
    if not part.uses:
        return None
    used = {name: earlier.own[name] for name in part.uses if name in earlier.own and earlier.settled[name] != RIGHT}
    if not used:
        return None
    try:
        return truth.following(path, used), used
    except OutOfRange:  # an own value that the physics refuses carries nothing
        return None


def _near(typed, expected, width):
    if isinstance(typed, tuple):
        return all(map(_near, typed, expected, width))
    return abs(typed - expected) <= width


def _distance(typed, value):
    if isinstance(typed, tuple):
        return sum(map(_distance, typed, value))
    return abs(typed - value)


def _times(value, factor):
    return tuple(sorted(end * factor for end in value)) if isinstance(value, tuple) else value * factor


def _any(value):
    return any(value) if isinstance(value, tuple) else value != 0


def _nearest_slip(truth, path, part, typed):
    if not part.slips:
        return None
    near = [(slip, value) for slip, value, width in truth.routes(path) if _near(typed, value, width)]
    return min(near, key=lambda led: _distance(typed, led[1]))[0] if near else None


def _point_misplaced(typed, right, width):
    if isinstance(typed, tuple):
        return any(_near(_times(typed, power), right, width) for power in _POWERS)
    for power in _POWERS:
        if abs(typed * power - right) <= width:
            return True
    return False


def _too_coarse(typed, place, expected, width):
    if isinstance(typed, tuple):
        ends = list(zip(typed, place, expected, width, strict=True))
        return any(_too_coarse(*end) for end in ends) and all(
            _too_coarse(*end) or _near(end[0], end[2], end[3]) for end in ends
        )
    half = place / 2
    return typed != 0 and width < half <= _COARSEST * abs(expected) and abs(typed - expected) <= half * (1 + 1e-9)


def _unit_meant(part, reading, right, width):
    """The unit in which the typed figure would be right, among those of the part, or None.

    Only units that measure the same thing: taking distributor degrees for crank
    degrees is a mistake about the engine, and a slip.
    """
    for other in part.offered:
        if other == reading.unit or other.kind not in (reading.unit.kind, units.FAMILY.get(reading.unit.kind)):
            continue
        number = reading.number
        ends = number if isinstance(number, tuple) else (number,)
        values = tuple(units.convert(end, other, part.asked) for end in ends)
        if _near(values if isinstance(number, tuple) else values[0], right, width):
            return other
    return None


def _about_unit(error, charged):
    given, meant = error
    charge = "It was charged before and costs nothing here." if charged else "It is charged once on this sheet."
    return f"The figure is right in {meant}, and you gave it in {given}. {charge}"
