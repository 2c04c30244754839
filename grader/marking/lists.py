"""Verdicts on options, orders, batches and all else that a kind judges by itself; and on written answers."""

from grader.errors import Unreadable
from grader.exercise.part import Part
from grader.exercise.sheet import Answer
from grader.exercise.truth import Truth
from grader.marking.numbers import blank, carried_answer
from grader.marking.reading import read
from grader.marking.verdict import AWAITING, PARTLY, RIGHT, SLIP, UNREADABLE, WRONG, Earlier, PartMark, earned


def mark_judged(truth: Truth, path: str, part: Part, answer: Answer, earlier: Earlier) -> PartMark:
    """The verdict on anything whose kind judges an own value beside an expected one."""
    if not answer.raw.strip():
        return blank(truth, path, part)
    right = truth.answer(path)
    try:
        reading = read(part, answer.raw, answer.unit, truth.given_at(path))
    except Unreadable as problem:
        return PartMark(path, UNREADABLE, 0, part.most, raw=answer.raw, expected=right, why=str(problem))
    own = reading.value

    def verdict(word, share, *, expected=right, slip="", why=""):
        return PartMark(
            path,
            word,
            earned(part.marks, share),
            part.most,
            raw=answer.raw,
            read_as=reading.echo,
            own=own,
            expected=expected,
            slip=slip,
            why=why,
        )

    judged = part.judge(truth, path, right, own)
    if judged.share == 1:
        return verdict(RIGHT, 1, why=judged.why)
    carried = carried_answer(truth, path, part, earlier)
    from_own = part.judge(truth, path, carried[0], own) if carried is not None else None
    if carried is not None and from_own is not None and from_own.share == 1:
        return verdict(carried[2], 1, expected=carried[0], why=from_own.why)
    if judged.slip:
        return verdict(SLIP, judged.share, slip=judged.slip)
    for slip in part.slips:
        led = truth.slip(path, slip)
        if led is not None and part.judge(truth, path, led, own).share == 1:
            return verdict(SLIP, max(slip.share, judged.share), slip=slip.key)
    share = max(judged.share, from_own.share) if from_own is not None else judged.share
    if carried is not None:  # a slip on the way from an earlier answer of his own is named like any other
        for slip, led in truth.slips_from(path, carried[1]):
            if part.judge(truth, path, led, own).share == 1:
                return verdict(SLIP, max(slip.share, share), expected=carried[0], slip=slip.key)
    return verdict(PARTLY, share, why=judged.why) if share > 0 else verdict(WRONG, 0, why=judged.why)


def mark_written(truth: Truth, path: str, part: Part, answer: Answer, earlier: Earlier) -> PartMark:
    """A written answer waits for the instructor; it is never worth 0 by itself."""
    if not answer.raw.strip():
        return blank(truth, path, part)
    return PartMark(
        path,
        AWAITING,
        None,
        part.most,
        raw=answer.raw,
        read_as=read(part, answer.raw).echo,
        own=answer.raw.strip(),
        expected=truth.answer(path),
    )
