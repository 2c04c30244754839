"""What a verdict says to the trainee, in one or two sentences of shop language, and what is wrong item by item."""

from types import SimpleNamespace
from typing import Any

from grader.exercise.part import Item, Part, sayings
from grader.exercise.truth import Truth
from grader.marking import verdict
from grader.marking.verdict import PartMark

_PLAIN = {
    verdict.RIGHT: "Right.",
    verdict.CARRIED: "Right, worked on from your earlier answer. Go back to that one: it is not fully right.",
    verdict.SIGN: "The size is right and the sign is not. Ask yourself: before or after top, more or less?",
    verdict.POWER: "The figures are right and the decimal point is not. Check the unit and each factor of ten.",
    verdict.BLANK: "Nothing is written yet.",
    verdict.AWAITING: "Saved. Your instructor reads this one.",
    verdict.READ: "Your instructor has read this one.",
}


def say(part: Part, mark: PartMark) -> str:
    """The sentence for a verdict; it never gives the answer away."""
    if mark.verdict == verdict.SLIP:
        return sayings(part)[mark.slip]
    if mark.verdict == verdict.COARSE:
        return f"Right, but rounded too far. Give it to {_step(part)}."
    if mark.why:  # unreadable, wrong unit, one end of a range: the sentence names what was typed
        return mark.why
    if mark.verdict == verdict.WRONG:
        if part.signs and mark.own in part.signs:
            return f"Not this one. {part.signs[mark.own]}"
        return part.says_wrong
    return part.says_partly if mark.verdict == verdict.PARTLY else _PLAIN[mark.verdict]


def wrong_items(truth: Truth, path: str, mark: PartMark) -> list[Item]:
    """What is wrong with an answer that is made of items, one after the other; empty for all else.

    Parameters
    ----------
    truth : Truth
    path : str
        "exercise.part".
    mark : PartMark
        Its verdict; where own earlier answers were carried, items are held against what follows from them.
    """
    if mark.own is None or mark.verdict not in (verdict.SLIP, verdict.PARTLY, verdict.WRONG):
        return []
    part = truth.module.by_path[path][1]
    return part.wrong_items(mark.expected, mark.own, truth.given_at(path), truth.reasons(path))


def hints(truth: Truth, path: str, mark: PartMark) -> list[str]:
    """The same in sentences while more tries are open: what would tell the answer is only counted."""
    items = wrong_items(truth, path, mark)
    return list(dict.fromkeys(item.hint or f"{item.says} {item.why}".strip() for item in items))


def shown(part: Part, value: Any, given: SimpleNamespace | None = None) -> str:
    """An expected or own answer as a person writes it, rounded as asked, with its unit; empty for None."""
    return "" if value is None else part.shown(value, given)


def expected(part: Part, mark: PartMark) -> str:
    """What was right for an answer, in the words of the records: "27.9..28.1", or the answer itself."""
    return part.recorded(mark.expected, mark.width)


def _step(part):
    return f"{part.step:g} {part.unit}".strip()
