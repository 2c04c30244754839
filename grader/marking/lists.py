"""Verdicts on options, orders, batches and written answers."""

from grader.errors import Unreadable
from grader.marking.numbers import blank, carried_answer
from grader.marking.reading import read
from grader.marking.verdict import AWAITING, PARTLY, RIGHT, SLIP, UNREADABLE, WRONG, PartMark, earned


def mark_list(truth, path, part, answer, earlier):
    """The verdict on anything whose kind tells the share that an own value earns."""
    if not answer.raw.strip():
        return blank(truth, path, part)
    most, right = part.marks * 100, truth.answer(path)
    given = truth.given_at(path)
    try:
        reading = read(part, answer.raw, answer.unit, given)
    except Unreadable as problem:
        return PartMark(path, UNREADABLE, 0, most, raw=answer.raw, expected=right, why=str(problem))
    own = reading.value

    def verdict(word, share, *, expected=right, slip=""):
        return PartMark(
            path, word, earned(part.marks, share), most, raw=answer.raw, read_as=reading.echo, own=own,
            expected=expected, slip=slip,
        )  # fmt: skip

    share = part.share(right, own)
    if share == 1:
        return verdict(RIGHT, 1)
    carried = carried_answer(truth, path, part, earlier)
    carried_share = part.share(carried[0], own) if carried is not None else 0.0
    if carried_share == 1:
        return verdict(carried[2], 1, expected=carried[0])
    broken = part.violated(right, own) if hasattr(part, "violated") else None
    if broken is not None:
        return verdict(SLIP, 0, slip=broken.key)
    for slip in part.slips:
        led = truth.slip(path, slip)
        if led is not None and part.share(led, own) == 1:
            return verdict(SLIP, max(slip.share, share), slip=slip.key)
    share = max(share, carried_share)
    if carried is not None:  # a slip on the way from an earlier answer of his own is named like any other
        for slip, led in truth.slips_from(path, carried[1]):
            if part.share(led, own) == 1:
                return verdict(SLIP, max(slip.share, share), expected=carried[0], slip=slip.key)
    return verdict(PARTLY, share) if share > 0 else verdict(WRONG, 0)


def mark_written(truth, path, part, answer, earlier):
    """A written answer waits for the instructor; it is never worth 0 by itself."""
    if not answer.raw.strip():
        return blank(truth, path, part)
    return PartMark(
        path, AWAITING, None, part.marks * 100, raw=answer.raw, read_as=read(part, answer.raw).echo,
        own=answer.raw.strip(), expected=truth.answer(path),
    )  # fmt: skip
