"""Verdicts on numbers, ranges and readings off a plot; a range is right when both its ends are."""

from math import inf
from operator import itemgetter
from typing import Any, NamedTuple

from grader import units
from grader.errors import OutOfRange, Unreadable
from grader.exercise.part import Numeric, Part
from grader.exercise.sheet import Answer
from grader.exercise.truth import Truth
from grader.marking.reader import WrongKind
from grader.marking.reading import read
from grader.marking.verdict import (
    BLANK,
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
    Earlier,
    PartMark,
    earned,
)

# Coarse only counts where the typed figure still says something: half its last place
# may be at most this share of the expected value.
_COARSEST = 0.25
_POWERS = tuple(10.0**power for power in (-3, -2, -1, 1, 2, 3))  # a misplaced point
_HALF = 0.5  # too coarse, one end of a range, and a wrong unit the first time


def mark_numbers(truth: Truth, path: str, part: Numeric, answer: Answer, earlier: Earlier) -> PartMark:
    """The verdict on one or two typed numbers, however they are written."""
    most, raw, unit = part.most, answer.raw, answer.unit or part.unit
    if not raw.strip():
        return blank(truth, path, part)
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


def blank(truth: Truth, path: str, part: Part) -> PartMark:
    """The verdict where nothing is written."""
    right, width = truth.target(path) if part.numeric else (truth.answer(path), 0.0)
    return PartMark(path, BLANK, 0, part.most, expected=right, unit=part.unit, width=width)


class _Finding(NamedTuple):
    """What is the matter with a number beside one expected answer; `error` is the (given, meant) of a wrong unit."""

    right: Any  # a float, or a pair of them for a range
    width: Any
    word: str
    share: float = 0
    slip: str = ""
    why: str = ""
    error: tuple | None = None


def _not_right(truth, path, part, answer, earlier, reading):
    """Why a number is not right, and what it earns all the same; the first reason that fits counts.

    Whoever went on from an earlier answer of his own is judged by what follows from it, in slips, rounding and
    units too: the earlier error was charged where it was made.
    """
    right, width = truth.target(path)
    nearest_slip = _nearest_slip_of_ends if type(reading.value) is tuple else _nearest_slip
    carried = carried_answer(truth, path, part, earlier)
    own, own_width = (carried[0], truth.tolerance(path, own=carried[1])) if carried is not None else (None, None)
    if carried is not None and _near(reading.value, own, own_width):
        finding = _Finding(own, own_width, carried[2], 1)
    elif (slip := nearest_slip(truth.routes(path), reading.value)) is not None:
        finding = _Finding(right, width, SLIP, slip.share, slip.key)
    elif carried is None:
        finding = _of_figures(part, reading, right, width, earlier)
    else:
        slip = nearest_slip(truth.routes_from(path, carried[1]), reading.value)
        ways = [_Finding(own, own_width, SLIP, slip.share, slip.key)] if slip is not None else []
        ways += [_of_figures(part, reading, *beside, earlier) for beside in ((right, width), (own, own_width))]
        finding = max(ways, key=_kindness)
    if finding.error is not None:
        earlier.unit_errors.add(finding.error)
    return PartMark(
        path,
        finding.word,
        earned(part.marks, finding.share),
        part.most,
        answer.raw,
        answer.unit or part.unit,
        reading.echo,
        reading.value,
        finding.right,
        finding.width,
        finding.slip,
        finding.why,
    )


def _kindness(finding):
    """What a finding earns, and that it names what happened: the first of the kindest counts."""
    return finding.share, finding.word != WRONG


def _of_figures(part, reading, right, width, earlier):
    """What the figures alone can show: rounding, unit, sign or point."""
    typed = reading.value
    if _too_coarse(typed, reading.place, right, width):
        return _Finding(right, width, COARSE, _HALF)
    error = _unit_error(part, reading, right, width)
    if error is not None:
        charged = error in earlier.unit_errors
        return _Finding(right, width, UNIT, 1 if charged else _HALF, "", _about_unit(error, charged), error)
    if type(typed) is tuple:
        return _of_ends(typed, right, width)
    if right != 0 and typed != 0:
        if -width <= typed + right <= width:
            return _Finding(right, width, SIGN)
        # Ten times more or less of what lies near the right answer cannot come near it too.
        near_it = width < 0.5 * abs(right) and 0.15 * abs(right) < abs(typed) < 5 * abs(right)
        if not near_it and _is_power(typed, right, width):
            return _Finding(right, width, POWER)
    return _Finding(right, width, WRONG)


def _is_power(typed, right, width):
    """True if only the point stands wrong. Where the tolerance is wide beside the answer, the figures must agree closer."""
    width = min(width, _COARSEST * abs(right))
    return any(abs(typed * power - right) <= width for power in _POWERS)


def _of_ends(typed, right, width):
    """The same of a range: its sign, its point, or one end of it."""
    if any(right):
        if _near(_times(typed, -1.0), right, width):
            return _Finding(right, width, SIGN)
        if any(typed) and any(_near(_times(typed, power), right, width) for power in _POWERS):
            return _Finding(right, width, POWER)
    if any(map(_near, typed, right, width)):
        why = "One end of the range is right; work the other one out again."
        return _Finding(right, width, PARTLY, _HALF, why=why)
    return _Finding(right, width, WRONG)


def carried_answer(truth: Truth, path: str, part: Part, earlier: Earlier) -> tuple[Any, dict[str, Any], str] | None:
    """(expected from the trainee's own earlier answers, those answers, the verdict on what follows from them), or None.

    Answers that were right count as well: one at the edge of its tolerance may lead out of that of the next part, which
    is then simply right.
    """
    used = {name: earlier.own[name] for name in part.uses if name in earlier.own}
    if not used:
        return None
    verdict = RIGHT if all(earlier.settled[name] == RIGHT for name in used) else CARRIED
    try:
        return truth.following(path, used), used, verdict
    except OutOfRange:  # an own value that the physics refuses carries nothing
        return None


def _near(typed, expected, width):
    if type(typed) is tuple:
        return all(map(_near, typed, expected, width))
    return -width <= typed - expected <= width


def _times(ends, factor):
    return tuple(sorted(end * factor for end in ends))


def _nearest_slip(routes, typed):
    """The slip in whose tolerance a number lies, the nearest one of several; or None."""
    closest, nearest = None, inf
    for slip, led, width in routes:
        off = abs(typed - led)
        if off <= width and off < nearest:
            closest, nearest = slip, off
    return closest


def _nearest_slip_of_ends(routes, typed):
    """The same for both ends of a range."""
    ways = [(sum(map(_off, typed, led)), slip) for slip, led, width in routes if _near(typed, led, width)]
    return min(ways, key=itemgetter(0), default=(0, None))[1]


def _off(typed, there):
    return abs(typed - there)


def _too_coarse(typed, place, expected, width):
    if type(typed) is tuple:
        ends = list(zip(typed, place, expected, width, strict=True))
        return any(_too_coarse(*end) for end in ends) and all(
            _too_coarse(*end) or _near(end[0], end[2], end[3]) for end in ends
        )
    half = place / 2
    return width < half <= _COARSEST * abs(expected) and typed != 0 and abs(typed - expected) <= half * (1 + 1e-9)


def _unit_error(part, reading, right, width):
    """(given, meant) where the typed figure would be right in another unit of the part, or None.

    Only units that measure the same thing: taking distributor degrees for crank
    degrees is a mistake about the engine, and a slip.
    """
    number, asked = reading.number, part.asked
    given = units.of_kind(reading.unit, asked)
    for other in part.offered:
        if other == given or not units.same_kind(other, given):
            continue
        if isinstance(number, tuple):
            value = tuple(units.convert(end, other, asked) for end in number)
        else:
            value = units.convert(number, other, asked)
        if given is not None and _near(value, right, width):
            return given.text, other.text
    return None


def _about_unit(error, charged):
    given, meant = error
    charge = "It was charged before and costs nothing here." if charged else "It is charged once on this sheet."
    return f"The figure is right in {meant}, and you gave it in {given}. {charge}"
