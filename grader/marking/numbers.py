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
_HALF = 0.5  # too coarse, one end of a range, and a wrong unit the first time


def mark_numbers(truth, path, part, answer, earlier):
    """The verdict on one or two typed numbers."""
    most = part.marks * 100
    shown = {"raw": answer.raw, "unit": answer.unit or part.unit}
    try:
        reading = read(part, answer.raw, answer.unit)
    except WrongKind as problem:
        return _unread(truth, path, KIND, most, shown, problem)
    except Unreadable as problem:
        return _unread(truth, path, UNREADABLE, most, shown, problem)
    typed, right, width = reading.value, truth.answer(path), truth.tolerance(path)

    def verdict(word, share, *, expected=right, width=width, slip="", why=""):
        return PartMark(
            path, word, earned(part.marks, share), most, **shown, read_as=reading.echo, own=typed,
            expected=expected, width=width, slip=slip, why=why,
        )  # fmt: skip

    if _near(typed, right, width):
        return verdict(RIGHT, 1)
    carried = carried_answer(truth, path, part, earlier)
    if carried is not None:
        carried_width = truth.tolerance(path, own=carried[1])
        if _near(typed, carried[0], carried_width):
            return verdict(CARRIED, 1, expected=carried[0], width=carried_width)
    slip = _nearest_slip(truth, path, part, typed)
    if slip is not None:
        return verdict(SLIP, slip.share, slip=slip.key)
    for expected in (right, carried[0]) if carried is not None else (right,):
        if _too_coarse(typed, reading.place, expected, width):
            return verdict(COARSE, _HALF, expected=expected)
    meant = _unit_meant(part, reading, right, width)
    if meant is not None:
        error = (reading.unit.text, meant.text)
        charged = error in earlier.unit_errors
        earlier.unit_errors.add(error)
        return verdict(UNIT, 1 if charged else _HALF, why=_about_unit(error, charged))
    if _any(right) and _near(_times(typed, -1.0), right, width):
        return verdict(SIGN, 0)
    if _any(right) and _any(typed):
        for power in (-3, -2, -1, 1, 2, 3):
            if _near(_times(typed, 10.0**power), right, width):
                return verdict(POWER, 0)
    if isinstance(typed, tuple) and any(map(_near, typed, right, width)):
        return verdict(PARTLY, _HALF, why="One end of the range is right; work the other one out again.")
    return verdict(WRONG, 0)


def _unread(truth, path, verdict, most, shown, problem):
    """What was right is told with its tolerance, although nothing could be compared with it."""
    return PartMark(
        path, verdict, 0, most, **shown, expected=truth.answer(path), width=truth.tolerance(path), why=str(problem)
    )


def carried_answer(truth, path, part, earlier):
    """(expected from the trainee's own earlier answers, those answers), or None."""
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
    best, least = None, None
    for slip in part.slips:
        value = truth.slip(path, slip)
        if value is None or not _near(typed, value, truth.tolerance(path, slip)):
            continue
        distance = _distance(typed, value)
        if least is None or distance < least:
            best, least = slip, distance
    return best


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
    for text in part.units:
        other = units.unit(text)
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
