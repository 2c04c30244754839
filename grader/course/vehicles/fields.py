"""What is asked about a vehicle, in the order of a manual: one list for the file, the check and the questions."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias

from grader import units
from grader.errors import Unreadable
from grader.marking.reader import Reading, read_number
from grader.reference.angles import LAYOUTS
from grader.vehicle.own import LINES
from grader.vehicle.plausible import CYLINDERS

# (table, name) of a field -> what a person types there; of a curve a list of pairs.
Answers: TypeAlias = Mapping[tuple[str, str], Any]
TEXT, ONE_OF, COUNT, ORDER, FIGURE, CURVE = "text", "one of", "count", "order", "figure", "curve"
_PLAIN = re.compile(r"[^<>{}\[\]&$`\\|*_~#]+\Z")


@dataclass(frozen=True, slots=True)
class Quantity:
    """A figure with its unit: the range in that unit, and whether a bare "°" or "rev/min" is clear enough."""

    says: str
    unit: str
    least: float
    most: float
    also: str
    bare: bool = True

    @property
    def asked(self) -> units.Unit:
        return units.unit(self.unit)


@dataclass(frozen=True, slots=True)
class Field:
    """One line of a vehicle file. `help` stands beside it in the file and before the question."""

    table: str
    name: str
    kind: str
    says: str
    help: str
    options: tuple[str | int, ...] = ()
    longest: int = 200
    quantity: Quantity | None = None
    second: Quantity | None = None  # of a curve: the advance
    optional: bool = False

    @property
    def where(self) -> str:
        return f"[{self.table}] {self.name}" if self.table else self.name


_ADVANCE = Quantity("Advance", "° dist", 0.0, 30.0, "° crank, if the manual prints crank degrees", bare=False)

FIELDS = (
    Field("", "title", TEXT, "Name of the vehicle", "as trainees shall read it", longest=60),
    Field("", "use", TEXT, "What it is used for", "car, van, boat, tractor, ...", longest=40),
    Field("source", "manual", TEXT, "Title of the manual", "title and edition of the service manual"),
    Field("source", "page", TEXT, "Page", "page or section where the figures stand", longest=80),
    Field("source", "entered_by", TEXT, "Entered by", "who typed this in and answers for it", longest=80),
    Field("engine", "cylinders", COUNT, "Number of cylinders", "4, 6 or 8, without quotes", options=CYLINDERS),
    Field("engine", "layout", ONE_OF, "How cylinders are numbered",
          "inline (one row), odd-even (1-3-5-7 on one bank) or halves (1-2-3-4 on one bank)", options=tuple(LAYOUTS)),
    Field("engine", "firing_order", ORDER, "Firing order", "every cylinder once, from number 1"),
    Field("engine", "rotor", ONE_OF, "Rotor turns", "seen from above the cap: clockwise or anticlockwise",
          options=("clockwise", "anticlockwise")),
    Field("engine", "battery", FIGURE, "Battery", "6 V or 12 V", quantity=Quantity("Battery", "V", 6, 12, "")),
    Field("engine", "earth", ONE_OF, "Pole at earth", "negative or positive", options=("negative", "positive")),
    Field("engine", "pulley", FIGURE, "Pulley diameter at the timing mark", "mm or in",
          quantity=Quantity("Pulley diameter", "mm", 60, 500, "in")),
    Field("points", "gap", FIGURE, "Point gap", "widest opening, mm or in; of a range take the middle",
          quantity=Quantity("Point gap", "mm", 0.25, 0.65, "in")),
    Field("points", "dwell", FIGURE, "Dwell", "distributor degrees; of a range take the middle",
          quantity=Quantity("Dwell", "° dist", 15, 75, "")),
    Field("points", "open", FIGURE, "Open angle", "if the manual prints it, else leave the line out",
          quantity=Quantity("Open angle", "° dist", 5, 60, ""), optional=True),
    Field("timing", "initial", FIGURE, "Initial timing",
          "crank degrees before top dead centre, such as 8 BTDC; after it 4 ATDC",
          quantity=Quantity("Initial timing", "° crank", -10, 25, "BTDC or ATDC")),
    Field("timing", "at_speed", FIGURE, "Timing is set at, or below", "engine speed at which the weights still rest",
          quantity=Quantity("The speed for timing", "engine rev/min", 250, 1500, "")),
    Field("timing", "vacuum_line", ONE_OF, "Vacuum line while timing", "off and plugged, or connected", options=LINES),
    Field("advance", "port", ONE_OF, "Where the vacuum line is tapped",
          "ported (above the closed throttle plate) or manifold", options=("ported", "manifold")),
    Field("advance", "centrifugal", CURVE, "Centrifugal advance",
          "speed, then advance, from the last point without advance to the end; dist or engine, as printed",
          quantity=Quantity("Speed", "dist rev/min", 100, 6000, "engine rev/min, if the manual prints engine speed", bare=False),
          second=_ADVANCE),
    Field("advance", "vacuum", CURVE, "Vacuum advance",
          "vacuum, then advance, from the last point without advance to the end",
          quantity=Quantity("Vacuum", "inHg vac", 0, 29.9, "kPa vac or mmHg"), second=_ADVANCE),
)  # fmt: skip
BY_WHERE = {(field.table, field.name): field for field in FIELDS}


def read_figure(quantity: Quantity, raw: Any) -> Reading:
    """One figure with its unit, by the reader that reads the trainees' answers.

    Parameters
    ----------
    quantity : Quantity
    raw : str

    Returns
    -------
    Reading
        Its value is in the quantity's unit.

    Raises
    ------
    Unreadable
        No unit, another kind of unit, no number, or a number outside the range.
    """
    wants = f"{quantity.unit}{' or ' + quantity.also if quantity.also else ''}"
    if not isinstance(raw, str):
        raise Unreadable(f"{raw} has no unit. Write it in quotes with its unit: {wants}.")
    bounds = (quantity.least, quantity.most)
    reading = read_number(raw, quantity.asked, possible=bounds)
    if re.search(r"[\d.,]\s*\Z", raw):
        raise Unreadable(f"“{raw.strip()}” has no unit. Write the unit behind it: {wants}.")
    if not quantity.bare and reading.unit.kind in ("angle", "speed"):
        raise Unreadable(
            f"“{raw.strip()}” does not say whether it is counted at the distributor or at the crankshaft. Write {wants}."
        )
    slack = 1e-9 * max(abs(end) for end in bounds)
    if not quantity.least - slack <= reading.value <= quantity.most + slack:
        own = "" if reading.unit == quantity.asked else f" ({reading.value:.3g} {quantity.unit})"
        raise Unreadable(
            f"{quantity.says} is {reading.echo}{own}; allowed is {quantity.least:g} to {quantity.most:g} {quantity.unit}. "
            "Look at figure and unit again."
        )
    return reading


def read_word(field: Field, raw: Any) -> str | int | tuple[int, ...]:
    """Text, one of several words, a count or a firing order, checked by itself.

    Returns
    -------
    str, int or tuple of int

    Raises
    ------
    Unreadable
        With the sentence to show.
    """
    if field.kind == COUNT:
        if isinstance(raw, bool) or str(raw).strip() not in {str(option) for option in field.options}:
            raise Unreadable(f"{field.says} is {raw!r}; allowed is {_or(field.options)}.")
        return int(raw)
    if not isinstance(raw, str):
        raise Unreadable(f"{field.says} is {raw!r}, and text in quotes is needed.")
    text = " ".join(raw.split())
    if field.kind == ORDER:
        numbers = re.findall(r"[^\s,–-]+", text)
        if not numbers or not all(re.fullmatch(r"\d{1,2}", number, re.A) for number in numbers):
            raise Unreadable(f"Firing order “{text[:40]}” cannot be read. Write the cylinders with dashes: 1-3-4-2.")
        return tuple(map(int, numbers))
    if field.kind == ONE_OF:
        if text.lower() not in field.options:
            raise Unreadable(f"{field.says}: “{text[:40]}”; allowed is {_or(field.options)}.")
        return text.lower()
    if not text:
        raise Unreadable(f"{field.says} is empty. {field.help[0].upper()}{field.help[1:]}.")
    if len(text) > field.longest:
        raise Unreadable(f"{field.says} has {len(text)} letters; {field.longest} are allowed.")
    if not text.isprintable() or not _PLAIN.match(text):
        raise Unreadable(
            f"{field.says} holds a sign that no page can show safely. Use letters, figures and . , ; : ' ( ) / -."
        )
    return text


def _or(options):
    *first, last = map(str, options)
    return f"{', '.join(first)} or {last}"
