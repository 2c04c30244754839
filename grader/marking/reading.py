"""Reading the answer to a part of any kind; the form and the marker both come through here."""

import re
from types import SimpleNamespace

from grader import units
from grader.errors import Unreadable
from grader.exercise.part import Numeric, Part
from grader.marking.reader import LONGEST, Reading, is_after_top, read_number
from grader.units import Unit

_PLAIN_UNIT = units.unit("")

# Words and dots part a range for certain; a dash only after a figure, since it may be a minus.
_BETWEEN = (
    re.compile(r"(?<=[\d.,°\w\"”″ ])\s*(?:…|\.{2,3}|\bto\b|\band\b)\s*", re.I),
    re.compile(r"\s*[–—]\s*"),
    re.compile(r"(?<=[\d.,°\w\"”″'])(?<![eE])\s*[-−]\s*(?=[\d.,+−-])"),
)
_HYPHENS = str.maketrans(dict.fromkeys("\u2010\u2011\u2012\ufe63\uff0d", "-"))  # as they come with text that is pasted
_NO_UNIT = re.compile(r"\d[.,]?\s*\Z")
_NO_SIDE = re.compile(r"\d[.,]?\s*(?:°|deg\.?|degrees)?\s*\Z", re.I)


def read(part: Part, raw: str, unit: str = "", given: SimpleNamespace | None = None) -> Reading:
    """What was typed or chosen for a part.

    Parameters
    ----------
    part : Number, Range, Choice, ... of any kind
    raw : str
        As it stands in answers.json.
    unit : str
        Chosen beside the field; empty for the asked one, and for kinds without.
    given : namespace or None
        The trainee's parameters; needed for a batch.

    Returns
    -------
    Reading
        Its `value` is what the part's kind compares, its `echo` what the form shows.

    Raises
    ------
    Unreadable, WrongKind
        With the sentence to show.
    """
    if isinstance(part, Numeric):
        return (read_range if part.ends == 2 else read_number)(raw, part.asked, unit, part.possible)
    value = part.read(raw, given)
    return Reading(value, 0.0, value, _PLAIN_UNIT, part.echo(value, given))


def read_range(
    raw: str, asked: Unit, chosen: str = "", possible: tuple[float, float] = (float("-inf"), float("inf"))
) -> Reading:
    """Two numbers, the smaller first: "28…34", "28 to 34 °", "1/32 in to 1/16 in".

    Parameters and refusals are those of `read_number`; a unit written once counts
    for both ends, and so does "after top".

    Returns
    -------
    Reading
        `value`, `place` and `number` are pairs.
    """
    first, last = _ends(raw)
    high = read_number(last, asked, chosen, possible)
    if is_after_top(last) and _NO_SIDE.search(first):
        first = f"{first} ATDC"
    elif _NO_UNIT.search(first):
        first = f"{first} {high.unit.text}"
    low = read_number(first, asked, chosen, possible)
    if low.value > high.value:
        low, high = high, low
    text = f"{low.text} to {high.text}" if low.unit == high.unit else f"{low.echo} to {high.text}"
    return Reading((low.value, high.value), (low.place, high.place), (low.number, high.number), high.unit, text)


def _ends(raw):
    text = " ".join(raw.translate(_HYPHENS).split())
    if not text:
        raise Unreadable("Nothing is written yet.")
    if len(text) > 2 * LONGEST:
        raise Unreadable(f"{len(text)} characters are too many for two numbers; write the numbers and their unit only.")
    for between in _BETWEEN:
        ends = between.split(text, maxsplit=2)
        if len(ends) == 2 and all(re.search(r"\d", end) for end in ends):
            return ends
        if len(ends) > 2:
            raise Unreadable("More than two numbers are written. Write the smallest, then “to”, then the largest.")
    raise Unreadable("Two numbers are asked. Write the smallest, then “to”, then the largest: 28 to 34.")
