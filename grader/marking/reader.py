"""Reading what a trainee typed: one number and its unit, or a reason why not.

The form and the marker use the same reading, so the echo "read as" under the
field is what will be marked.
"""

import math
import re
from decimal import Decimal, InvalidOperation
from typing import Any

from msgspec import Struct

from grader import units
from grader.errors import Unreadable
from grader.units import Unit


class WrongKind(Unreadable):
    """The number is clear; its unit measures something else than is asked."""


class Reading(Struct, frozen=True, gc=False):
    """A typed number, understood.

    `value` and `place` are in the asked unit: `place` is one step of the last
    typed figure (0 for a fraction, which is exact).
    """

    value: Any  # a float, a pair of them for a range, or as the part's kind gives it
    place: float | tuple
    number: Any
    unit: Unit
    text: str

    @property
    def echo(self) -> str:
        """What the form shows under the field."""
        return f"{self.text} {self.unit.text}".strip()


LONGEST = 80

_BLANKS = "\u0020\u00a0\u2009\u202f\u2007\u2002\u2003"
_MINUS = str.maketrans({"\u2212": "-", "\u2010": "-", "\u2011": "-", "\ufe63": "-", "\uff0d": "-"})
_NUMBER = r"(?:\d[\d.,'’ ]*\d|\d|[.,]\d+)(?:[.,](?!\d))?"
_HEAD = re.compile(rf"([+-]?) ?({_NUMBER})([eE][+-]?\d{{1,3}}(?![\w.]))?", re.ASCII)
_FRACTION = re.compile(r"([+-]?) ?(?:(\d{1,4})[ -])?(\d{1,4}) ?/ ?(\d{1,4})(?![\d/])", re.ASCII)
_RANGE = re.compile(rf"{_NUMBER} ?[^\d\s.,/+-]{{0,8}} ?(?:-|–|—|…|\.{{2,3}}|\bto\b|\band\b) ?{_NUMBER}", re.ASCII)
_CENTRE = re.compile(
    r"(?:°|deg\.?|degrees)? ?(before|after|b|a)\.? ?(?:t\.?d\.?c\.?|top|top dead centre|top dead center)\Z", re.I
)


def read_number(
    raw: str, asked: Unit, chosen: str = "", possible: tuple[float, float] = (-math.inf, math.inf)
) -> Reading:
    """The one number in a typed text.

    Parameters
    ----------
    raw : str
        As typed.
    asked : Unit
        Unit in which the answer is compared.
    chosen : str
        Unit picked beside the field; empty for the asked one.
    possible : (float, float)
        Physical bounds in the asked unit; they decide what "1,250" can mean.

    Returns
    -------
    Reading

    Raises
    ------
    WrongKind
        A unit that measures something else.
    Unreadable
        Nothing, two numbers, or no number; the message says how to write it.
    """
    beside = units.find(chosen) if chosen and chosen != asked.text else asked
    if beside is None:
        raise Unreadable(f"The unit “{chosen[:20]}” is not known. Choose {asked.text or 'a plain number'}.")
    text = _clean(raw)
    if not text:
        raise Unreadable("Nothing is written yet.")
    if len(text) > LONGEST:
        raise Unreadable(f"{len(text)} characters are too many for one number; write the number and its unit only.")
    _refuse_traps(text)
    number, shown, rest = _split(text)
    rest = rest.strip()
    if re.match(rf"[±]|\+/-|\+-|{_NUMBER}", rest):
        raise Unreadable("More than one number is written; one value is asked, without a tolerance.")
    centre = _CENTRE.match(rest)
    if centre:
        number, shown = _about_centre(number, shown, centre.group(1))
        rest = "° crank"
    typed = units.find(rest) if rest else beside
    if typed is None:
        raise Unreadable(f"“{rest[:30]}” is not a unit known here. Write the number, then {asked.text or 'nothing'}.")
    if rest and chosen and not _same(typed, beside):
        raise Unreadable(f"{typed.text} is typed and {beside.text} is chosen. Keep one of the two.")
    if isinstance(number, tuple):
        number, shown = _settle(number, typed, asked, possible)
    return _reading(number, shown, typed, asked)


def _clean(raw):
    for blank in _BLANKS:
        raw = raw.replace(blank, " ")
    return " ".join(raw.replace("\u200b", "").replace("\ufeff", "").translate(_MINUS).split())


def _refuse_traps(text):
    strange = next((c for c in text if (c.isdigit() or c.isnumeric()) and not ("0" <= c <= "9")), None)
    if strange:
        raise Unreadable(f"“{strange}” is not one of the figures 0 to 9. Type the number with ordinary figures.")
    if re.search(r"\d_+\d", text):
        raise Unreadable("A number holds an underscore. Write it without.")
    if re.match(r"[+-]?(nan|inf(inity)?)\b", text, re.I):
        raise Unreadable(f"“{text[:20]}” is not a number that can be measured.")
    without_power = re.sub(r"(?<=[\d.])[eE][+-]?\d+", "", text)
    if not _FRACTION.match(text) and _RANGE.search(without_power):
        raise Unreadable("A range is written; one value is asked.")


def _split(text):
    """(number, as shown, what follows); the number is a pair where a comma leaves two readings."""
    fraction = _FRACTION.match(text)
    if fraction:
        sign, whole, over, under = fraction.groups()
        if int(under) == 0:
            raise Unreadable("The fraction divides by zero. Write it again.")
        if whole and int(over) >= int(under):
            raise Unreadable(f"“{fraction.group()}” is no mixed fraction; write it as one decimal number.")
        value = Decimal(int(whole or 0)) + Decimal(int(over)) / Decimal(int(under))
        return (
            (-value if sign == "-" else value),
            fraction.group().replace("/ ", "/").replace(" /", "/"),
            text[fraction.end() :],
        )
    head = _HEAD.match(text)
    if not head:
        raise Unreadable(f"“{text[:30]}” does not begin with a number. Write the number, then its unit.")
    sign, figures, power = head.groups()
    figures = figures.rstrip(" ")
    rest = text[head.end() :]
    options = [_decimal(option, sign, power) for option in _readings(figures)]
    if not options:
        raise Unreadable(f"“{figures}” can be no number: check its commas, points and blanks.")
    return (options[0] if len(options) == 1 else tuple(options)), head.group().strip().rstrip(".,"), rest


def _readings(figures):
    """The ways to read commas, points, apostrophes and blanks in a run of figures."""
    figures = figures.replace("’", "'").rstrip(".,") if figures[-1] in ".," else figures.replace("’", "'")
    marks = [c for c in figures if not c.isdigit()]
    if not marks:
        return [figures]
    last = marks[-1]
    head, _, tail = figures.rpartition(last)
    readings = []
    if last in ".," and last not in head and _grouped(head):
        readings.append("".join(c for c in head if c.isdigit()) + "." + tail)
    if (
        (last != "." or last in head) and len(set(marks)) == 1 and _grouped(figures)
    ):  # 1.250 is 1.25, 1.250.000 is no decimal
        readings.append("".join(c for c in figures if c.isdigit()))
    return readings


def _grouped(figures):
    """True for plain figures, or groups of three parted by one kind of mark."""
    return bool(re.fullmatch(r"\d*|[1-9]\d{0,2}(?P<mark>[ ,.'])\d{3}(?:(?P=mark)\d{3})*", figures))


def _decimal(figures, sign, power):
    try:
        return Decimal(f"{sign}{figures}{power or ''}")
    except InvalidOperation:
        raise Unreadable(f"“{figures[:30]}” can be no number: check its commas and points.") from None


def _about_centre(number, shown, side):
    if isinstance(number, tuple):
        number = number[0]
    if number < 0:
        raise Unreadable("A minus and “before” or “after” say the same thing twice. Write 6 BTDC, 6 ATDC, or -6.")
    return (-number, f"-{shown}") if side.lower().startswith("a") else (number, shown)


def is_after_top(text: str) -> bool:
    """True if an angle ends in words such as "ATDC"."""
    centre = _CENTRE.search(_clean(text))
    return centre is not None and centre.group(1).lower().startswith("a")


def _settle(options, typed, asked, possible):
    """The one reading of an ambiguous comma that is physically possible."""
    fitting = []
    for option in options:
        value = _to_asked(float(option), typed, asked)
        if possible[0] <= value <= possible[1]:
            fitting.append(option)
    if len(fitting) == 1:
        return fitting[0], f"{fitting[0]:f}"
    low, high = (f"{option.normalize():f}" for option in options)
    raise Unreadable(f"This can mean {low} or {high}. Write {low} with a point, or {high} without a comma.")


def _same(typed, beside):
    return typed == beside or typed.kind == units.FAMILY.get(beside.kind) and typed.factor == beside.factor


def _to_asked(number, typed, asked):
    try:
        return units.convert(number, typed, asked)
    except Unreadable as problem:
        raise WrongKind(str(problem)) from None


def _reading(number, shown, typed, asked):
    value = float(number)
    if not math.isfinite(value):
        raise Unreadable("The number is too large to be measured. Check it.")
    if units.FAMILY.get(asked.kind) == typed.kind:  # a bare "°" takes the asked kind
        bare = Unit(typed.text, asked.kind, typed.factor, typed.offset)
    else:
        bare = typed
    exponent = number.as_tuple().exponent
    place = 0.0 if "/" in shown else 10.0**exponent
    converted = _to_asked(value, bare, asked)
    return Reading(converted, abs(place * units.scale(bare, asked)), value, typed, shown)
