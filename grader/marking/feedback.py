"""What a verdict says to the trainee, in one or two sentences of shop language."""

from grader.exercise.kinds import Choices, PlotReading, Range
from grader.exercise.model import Choice, sayings
from grader.exercise.sorting import Batch, FiringOrder, Order
from grader.marking import verdict

_PLAIN = {
    verdict.RIGHT: "Right.",
    verdict.CARRIED: "Right, worked on from your earlier answer. Go back to that one: it is not fully right.",
    verdict.SIGN: "The size is right and the sign is not. Ask yourself: before or after top, more or less?",
    verdict.POWER: "The figures are right and the decimal point is not. Check the unit and each factor of ten.",
    verdict.BLANK: "Nothing is written yet.",
    verdict.AWAITING: "Saved. Your instructor reads this one.",
    verdict.READ: "Your instructor has read this one.",
    verdict.WRONG: "Not right. Write your steps down one by one and check each against the text above.",
}

# What a person would say depends on what he was asked to do.
_BY_KIND = {
    (Choice, verdict.WRONG): "Not this one. Take the answers one by one and check each against every fact in the task.",
    (Range, verdict.WRONG): (
        "Neither end is right. Work out the least by itself, then the most, and ask which figures make each."
    ),
    (
        PlotReading,
        verdict.WRONG,
    ): "Not what the picture shows. Check which curve you follow, and what one division of each scale stands for.",
    (Choices, verdict.PARTLY): "Some of it is right. Something is ticked that does not apply, or one is missing.",
    (Choices, verdict.WRONG): "Not right. Ask of each line by itself: does it fit what the task says?",
    (
        Order,
        verdict.PARTLY,
    ): "Most of it works, not all. Ask of each step what must be done before it, and whether it belongs here.",
    (Order, verdict.WRONG): "This order does not work. Find the step that everything else depends on and begin there.",
    (
        FiringOrder,
        verdict.PARTLY,
    ): "Part of the round is right. Follow the rotor once round the cap and note each lead.",
    (FiringOrder, verdict.WRONG): "This is not the order. Follow the rotor once round the cap and note each lead.",
    (Batch, verdict.PARTLY): (
        "Some are sorted wrongly or not at all. A bad one kept costs more than a good one rejected; where the instrument "
        "cannot tell, leave it undecided."
    ),
    (Batch, verdict.WRONG): (
        "So many are sorted wrongly that no marks are left. Take one after the other and compare it with each limit."
    ),
}


def say(part, mark):
    """The sentence for a verdict; it never gives the answer away.

    Parameters
    ----------
    part : of any kind
    mark : PartMark

    Returns
    -------
    str
    """
    if mark.verdict == verdict.SLIP:
        return sayings(part)[mark.slip]
    if mark.verdict == verdict.COARSE:
        return f"Right, but rounded too far. Give it to {_step(part)}."
    if mark.why:  # unreadable, wrong unit, one end of a range: the sentence names what was typed
        return mark.why
    if mark.verdict == verdict.WRONG and mark.own in getattr(part, "signs", ()):
        return f"Not this one. {part.signs[mark.own]}"
    said = (_BY_KIND.get((kind, mark.verdict)) for kind in type(part).__mro__)
    return next(filter(None, said), None) or _PLAIN[mark.verdict]


def shown(part, value, given=None):
    """An expected or own answer as a person writes it: rounded as asked, with its unit.

    Parameters
    ----------
    part : of any kind
    value : as the kind gives it, or None
    given : namespace or None
        The trainee's parameters; needed for a batch.

    Returns
    -------
    str
    """
    if value is None:
        return ""
    if hasattr(part, "half_step"):
        return f"{part.typed(value)} {part.unit}".strip()
    if isinstance(part, Batch):
        labels = part.items(given)
        return ", ".join(f"{label}: {decision}" for label, decision in zip(labels, value, strict=True) if decision)
    return str(value) if isinstance(value, str) and value not in getattr(part, "options", ()) else part.echo(value)


def expected(part, mark):
    """What was right for an answer, in the words of the records: "27.9..28.1", or the answer itself."""
    if not hasattr(part, "half_step"):
        return part.typed(mark.expected) if not isinstance(part, Batch) else ";".join(mark.expected)
    if isinstance(mark.expected, tuple):
        return " to ".join(map(_span, mark.expected, mark.width))
    return _span(mark.expected, mark.width)


def _span(middle, width):
    return f"{middle - width:.6g}..{middle + width:.6g}"


def _step(part):
    return f"{part.step:g} {part.unit}".strip()
