"""How a verdict is told on a returned sheet: after the marking nothing need be hidden any more."""

from __future__ import annotations

from typing import TYPE_CHECKING

from grader.exercise.part import Part, sayings
from grader.marking import feedback, verdict
from grader.marking.verdict import PartMark

if TYPE_CHECKING:
    from sqlalchemy import Row

WORD = {
    verdict.RIGHT: "Right",
    verdict.CARRIED: "Right from your earlier answer",
    verdict.SLIP: "A slip",
    verdict.COARSE: "Right, but rounded too far",
    verdict.UNIT: "Wrong unit",
    verdict.SIGN: "Wrong sign",
    verdict.POWER: "Decimal point in the wrong place",
    verdict.PARTLY: "Partly right",
    verdict.WRONG: "Not right",
    verdict.BLANK: "Left blank",
    verdict.UNREADABLE: "Could not be read",
    verdict.KIND: "Wrong kind of unit",
    verdict.AWAITING: "Waits for your instructor",
    verdict.READ: "Read by your instructor",
}

# Said of the answer as it was first checked in practice; it may have been mended since.
SURE_AND_WRONG = "You were sure here, and your first answer was not right: worth another look."

_AFTERWARDS = {
    verdict.RIGHT: "",
    verdict.CARRIED: "You worked on rightly from your own earlier answer, so this one has its full marks.",
    verdict.WRONG: "This is none of the usual slips. Lay your steps beside the worked steps below and find where they part.",
    verdict.BLANK: "",
    verdict.AWAITING: "Your instructor has still to read this one; its marks come later.",
    verdict.UNREADABLE: "What was typed could not be read as an answer.",
    verdict.KIND: "The unit measures something else than was asked.",
    verdict.UNIT: "The number is right in another unit than the one given.",
}


def sentence(part: Part, row: Row, mark: PartMark | None) -> str:
    """How to put an answer right, in one or two sentences; empty where nothing is to be said.

    Parameters
    ----------
    part : of any kind
    row : row of tm_answer
        Its verdict and slip stand, whatever `mark` says.
    mark : PartMark or None
        The same answer read once more; its own words are used if it agrees.

    Returns
    -------
    str
    """
    if row.verdict == verdict.SLIP:
        return sayings(part).get(row.slip, "")
    if mark is not None and mark.verdict == row.verdict and mark.why:
        return mark.why
    if row.verdict in _AFTERWARDS:
        words = _AFTERWARDS[row.verdict]
        if row.verdict == verdict.WRONG and not part.numeric and mark is not None:
            return feedback.say(part, mark) if mark.verdict == row.verdict else words
        return words
    return feedback.say(part, mark) if mark is not None and mark.verdict == row.verdict else ""
