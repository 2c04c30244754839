"""One answer against the expected one: which kind is marked by what."""

from collections.abc import Callable

from grader.exercise.part import Part
from grader.exercise.sheet import Answer
from grader.exercise.truth import Truth
from grader.marking.lists import mark_judged, mark_written
from grader.marking.numbers import blank, mark_numbers
from grader.marking.verdict import Earlier, PartMark


def mark_part(truth: Truth, path: str, part: Part, answer: Answer | None, earlier: Earlier) -> PartMark:
    """The verdict on one part.

    Parameters
    ----------
    truth : Truth
    path : str
        "exercise.part".
    part : Part
    answer : Answer or None
    earlier : Earlier
        What the parts before have shown; a unit error charged here is noted in it.

    Returns
    -------
    PartMark
    """
    return blank(truth, path, part) if answer is None else marker_of(part)(truth, path, part, answer, earlier)


def marker_of(part: Part) -> Callable[..., PartMark]:
    """The function that marks a part of this kind: as `mark_part`, where something is answered."""
    return mark_numbers if part.numeric else mark_written if part.by_person else mark_judged
