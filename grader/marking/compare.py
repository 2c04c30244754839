"""One answer against the expected one: which kind is marked by what."""

from grader.exercise.kinds import Choices, PlotReading, Range, Written
from grader.exercise.model import Choice, Number
from grader.exercise.sorting import Batch, BatchByCost, FiringOrder, Order
from grader.marking.lists import mark_list, mark_written
from grader.marking.numbers import blank, mark_number, mark_numbers

_MARKERS = {
    Number: mark_number,
    PlotReading: mark_number,
    Range: mark_numbers,
    Choice: mark_list,
    Choices: mark_list,
    Order: mark_list,
    FiringOrder: mark_list,
    Batch: mark_list,
    BatchByCost: mark_list,
    Written: mark_written,
}
KINDS = tuple(_MARKERS)


def mark_part(truth, path, part, answer, earlier):
    """The verdict on one part.

    Parameters
    ----------
    truth : Truth
    path : str
        "exercise.part".
    part : of any kind
    answer : Answer or None
    earlier : Earlier
        What the parts before have shown; a unit error charged here is noted in it.

    Returns
    -------
    PartMark
    """
    return blank(truth, path, part) if answer is None else marker_of(part)(truth, path, part, answer, earlier)


def marker_of(part):
    """The function that marks a part of this kind: as `mark_part`, where something is answered."""
    return _MARKERS[type(part)]


def possible(part, own):
    """True if an own value can be carried forward: the physics allows it."""
    if not hasattr(part, "possible"):
        return True
    least, most = part.possible
    return all(least <= end <= most for end in own) if isinstance(own, tuple) else least <= own <= most
