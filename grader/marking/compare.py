"""One typed answer against the expected one: the verdict and what it is worth."""

from dataclasses import dataclass

from grader.errors import OutOfRange, Unreadable
from grader.exercise.model import Number
from grader.marking.reader import WrongKind, read_number

RIGHT, CARRIED, SLIP, COARSE = "right", "carried", "slip", "too coarse"
SIGN, POWER, WRONG = "wrong sign", "power of ten", "wrong"
BLANK, UNREADABLE, KIND = "blank", "unreadable", "wrong kind of unit"

VERDICTS = (RIGHT, CARRIED, SLIP, COARSE, SIGN, POWER, WRONG, BLANK, UNREADABLE, KIND)

# Coarse only counts where the typed figure still says something: half its last place
# may be at most this share of the expected value.
_COARSEST = 0.25


@dataclass(frozen=True, slots=True)
class PartMark:
    """Verdict on one part. `hundredths` of `most` hundredths of a mark were earned.

    `own` is what was read, in the part's unit (or the option's key); `expected`
    and `width` describe what was right for this answer, carried values included.
    """

    path: str
    verdict: str
    hundredths: int
    most: int
    raw: str = ""
    unit: str = ""
    read_as: str = ""
    own: float | str | None = None
    expected: float | str | None = None
    width: float = 0.0
    slip: str = ""
    why: str = ""


def earned(marks, share):
    """Hundredths of a mark for a share of a part's marks, half rounded up."""
    return int(marks * 100 * share + 0.5)


def mark_part(truth, path, part, answer, own, settled):
    """The verdict on one part.

    Parameters
    ----------
    truth : Truth
    path : str
        "exercise.part".
    part : Number or Choice
    answer : Answer or None
    own : dict
        Earlier answers of this trainee that are physically possible.
    settled : dict
        Verdicts of earlier parts, by path.

    Returns
    -------
    PartMark
    """
    most = part.marks * 100
    if answer is None or not answer.raw.strip():
        return PartMark(path, BLANK, 0, most, expected=truth.answer(path), unit=getattr(part, "unit", ""))
    if isinstance(part, Number):
        return _mark_number(truth, path, part, answer, own, settled)
    return _mark_choice(truth, path, part, answer, own, settled)


def _mark_number(truth, path, part, answer, own, settled):
    most = part.marks * 100
    shown = {"raw": answer.raw, "unit": answer.unit or part.unit}
    try:
        reading = read_number(answer.raw, part.asked, answer.unit, part.possible)
    except WrongKind as problem:
        return PartMark(path, KIND, 0, most, **shown, expected=truth.answer(path), why=str(problem))
    except Unreadable as problem:
        return PartMark(path, UNREADABLE, 0, most, **shown, expected=truth.answer(path), why=str(problem))
    typed, right, width = reading.value, truth.answer(path), truth.tolerance(path)

    def verdict(word, share, *, expected=right, width=width, slip=""):
        return PartMark(
            path, word, earned(part.marks, share), most, **shown, read_as=reading.echo, own=typed,
            expected=expected, width=width, slip=slip,
        )  # fmt: skip

    if abs(typed - right) <= width:
        return verdict(RIGHT, 1)
    carried = _carried(truth, path, part, own, settled)
    if carried is not None:
        carried_width = truth.tolerance(path, own=carried[1])
        if abs(typed - carried[0]) <= carried_width:
            return verdict(CARRIED, 1, expected=carried[0], width=carried_width)
    slip = _nearest_slip(truth, path, part, typed)
    if slip is not None:
        return verdict(SLIP, slip.share, slip=slip.key)
    for expected in (right, carried[0]) if carried is not None else (right,):
        half = reading.place / 2
        if typed != 0 and width < half <= _COARSEST * abs(expected) and abs(typed - expected) <= half * (1 + 1e-9):
            return verdict(COARSE, 0.5, expected=expected)
    if right != 0 and abs(typed + right) <= width:
        return verdict(SIGN, 0)
    for power in (-3, -2, -1, 1, 2, 3):
        if right != 0 and abs(typed * 10.0**power - right) <= width and typed != 0:
            return verdict(POWER, 0)
    return verdict(WRONG, 0)


def _mark_choice(truth, path, part, answer, own, settled):
    most = part.marks * 100
    right, typed = truth.answer(path), answer.raw.strip()
    if typed not in part.options:
        why = f"“{typed[:30]}” is none of the answers offered. Choose one of them."
        return PartMark(path, UNREADABLE, 0, most, raw=answer.raw, expected=right, why=why)

    def verdict(word, share, *, expected=right, slip=""):
        return PartMark(
            path, word, earned(part.marks, share), most, raw=answer.raw, read_as=part.options[typed], own=typed,
            expected=expected, slip=slip,
        )  # fmt: skip

    if typed == right:
        return verdict(RIGHT, 1)
    carried = _carried(truth, path, part, own, settled)
    if carried is not None and typed == carried[0]:
        return verdict(CARRIED, 1, expected=carried[0])
    for slip in part.slips:
        if truth.slip(path, slip) == typed:
            return verdict(SLIP, slip.share, slip=slip.key)
    return verdict(WRONG, 0)


def _carried(truth, path, part, own, settled):
    """(expected from the trainee's own earlier answers, those answers), or None."""
    used = {name: own[name] for name in part.uses if name in own and settled.get(name) != RIGHT}
    if not used:
        return None
    try:
        return truth.following(path, used), used
    except OutOfRange:  # an own value that the physics refuses carries nothing
        return None


def _nearest_slip(truth, path, part, typed):
    best, least = None, None
    for slip in part.slips:
        value = truth.slip(path, slip)
        if value is None:
            continue
        distance = abs(typed - value)
        if distance <= truth.tolerance(path, slip.value) and (least is None or distance < least):
            best, least = slip, distance
    return best
