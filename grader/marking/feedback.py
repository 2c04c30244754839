"""What a verdict says to the trainee, in one or two sentences of shop language."""

from grader.exercise.model import Number
from grader.marking import compare


def say(part, mark):
    """The sentence for a verdict; it never gives the answer away.

    Parameters
    ----------
    part : Number or Choice
    mark : PartMark

    Returns
    -------
    str
    """
    if mark.verdict == compare.RIGHT:
        return "Right."
    if mark.verdict == compare.CARRIED:
        return "Right, worked on from your earlier answer. Go back to that one."
    if mark.verdict == compare.SLIP:
        return next(slip.says for slip in part.slips if slip.key == mark.slip)
    if mark.verdict == compare.COARSE:
        return f"Right, but rounded too far. Give it to {_step(part)}."
    if mark.verdict == compare.SIGN:
        return "The size is right and the sign is not. Ask yourself: before or after top, more or less?"
    if mark.verdict == compare.POWER:
        return "The figures are right and the decimal point is not. Check the unit and each factor of ten."
    if mark.verdict == compare.BLANK:
        return "Nothing is written yet."
    if mark.verdict in (compare.UNREADABLE, compare.KIND):
        return mark.why
    return "Not right. Write your steps down one by one and check each against the text above."


def shown(part, value):
    """An expected or own answer as a person writes it: rounded as asked, with its unit.

    Parameters
    ----------
    part : Number or Choice
    value : float, str or None

    Returns
    -------
    str
    """
    if value is None:
        return ""
    if not isinstance(part, Number):
        return part.options.get(value, str(value))
    places = max(0, len(f"{part.step:.10f}".rstrip("0").partition(".")[2]))
    return f"{value:.{places}f} {part.unit}".strip()


def _step(part):
    return f"{part.step:g} {part.unit}".strip()
