"""Reading a vehicle file: every fault at once, each with its line."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from grader import files
from grader.course.vehicles.fields import BY_WHERE, CURVE, FIELDS, FIGURE, Field, read_figure, read_word
from grader.errors import BadFile, Unreadable
from grader.reference.spark.points import dwell_of_duty_deg
from grader.units import MM_PER_IN
from grader.vehicle import plausible
from grader.vehicle.own import OwnVehicle
from grader.vehicle.spec import Vehicle

FORMAT, SCHEMA = "timing-mark vehicle", 1
LARGEST_FILE = 100_000
MOST_POINTS = 30
_BROKEN_LINES = 40
_HEAD = re.compile(r"\s*\[\s*([\w-]+)\s*\]\s*(?:#.*)?\Z")
_NAME = re.compile(r"\s*([\w-]+)\s*=")
_TOML_LINE = re.compile(r"\(at line (\d+), column \d+\)")
# Names of figures as the rules of plausible.py know them.
_KNOWN_AS = {"gap": "gap_mm", "dwell": "dwell_deg", "open": "open_deg", "initial": "initial_deg", "at_speed": "idle_rpm",
             "vacuum_line": "line", "battery": "battery_v", "pulley": "pulley_mm"}  # fmt: skip


@dataclass(slots=True)
class Found:
    """What a file says: the vehicle, or (line, sentence) of everything that keeps it out; `remarks` ask for a second look."""

    own: OwnVehicle | None = None
    faults: list[tuple[int, str]] = field(default_factory=list)
    remarks: list[tuple[int, str]] = field(default_factory=list)

    @property
    def sentences(self) -> list[str]:
        return [f"line {line}: {sentence}" for line, sentence in self.faults]


def read_file(path: str | Path, key: str) -> tuple[Found, str]:
    """What a vehicle file says, and its text.

    Parameters
    ----------
    path : path
    key : str
        Under which the vehicle is known in the term.

    Returns
    -------
    (Found, str)

    Raises
    ------
    BadFile
        No file, too large, or not text.
    """
    content = files.read_bytes(path, most=LARGEST_FILE, what="The vehicle file")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        raise BadFile(
            f"The vehicle file is not UTF-8 text (byte {problem.start}). Save it as plain text again."
        ) from None
    return read_text(text, key), text


def read_text(text: str, key: str) -> Found:
    """What the text of a vehicle file says.

    Returns
    -------
    Found
    """
    text = text.replace("\r\n", "\n")
    reading = Found()
    settings, broken = _parse(text, reading.faults)
    if settings is None:
        return reading
    lines = _Lines(text)
    if settings.get("format") != FORMAT or settings.get("schema") != SCHEMA:
        reading.faults.append(
            (
                lines.of("", "format"),
                f"The file must say format = \"{FORMAT}\" and schema = {SCHEMA}. Begin with 'vehicle new'.",
            )
        )
    _strange(settings, lines, reading.faults)
    values = {}
    for asked in FIELDS:
        place = (asked.table, asked.name)
        table = settings.get(asked.table, {}) if asked.table else settings
        if asked.name in broken or not isinstance(table, dict):
            continue
        if asked.name not in table:
            if not asked.optional:
                reading.faults.append(
                    (lines.of(*place), f"{asked.where} is missing: {asked.says.lower()}, {asked.help}.")
                )
            continue
        value = _value(asked, table[asked.name], values, lines, reading)
        if value is not None:
            values[known_as(asked)] = value
    for judged in plausible.judge(values):
        place = next(place for place in BY_WHERE if place[1] == judged.name)
        (reading.faults if judged.fault else reading.remarks).append((lines.of(*place), judged.sentence))
    reading.faults.sort()
    gap = values.get("gap_mm")
    if gap is not None and abs(_thousandths(gap) * MM_PER_IN - gap) > 0.004:
        sentence = (
            f"The exercises count the gap in thousandths of an inch: {gap:.3g} mm becomes {_thousandths(gap):.3f} in."
        )
        reading.remarks.append((lines.of("points", "gap"), sentence))
    if not reading.faults:
        reading.own = _own(key, values)
    return reading


def read_one(asked: Field, raw: Any, known: Mapping[str, Any]) -> tuple[Any, str]:
    """(value, as it was read) of one field that is no table; the questions in the terminal come through here, too.

    Parameters
    ----------
    asked : Field
    raw : str or int
        As it stands in the file or was typed; any other value of a file is refused.
    known : dict
        What is known of the vehicle so far; a dwell in per cent needs the cylinders.

    Raises
    ------
    Unreadable
        With the sentence to show.
    """
    if asked.kind != FIGURE:
        value = read_word(asked, raw)
        return value, "-".join(map(str, value)) if isinstance(value, tuple) else str(value)
    if asked.name == "dwell" and isinstance(raw, str) and raw.strip().endswith("%"):
        value = _dwell_of_share(raw, known)
        return value, f"{raw.strip()} = {value:.1f} ° dist"
    quantity = asked.quantity
    assert quantity is not None  # every figure has one
    reading = read_figure(quantity, raw)
    value = round(reading.value, 9)
    if asked.name == "battery" and value not in (6, 12):
        raise Unreadable(f"Battery is {value:g} V; allowed is 6 V or 12 V.")
    return (
        value,
        reading.echo if reading.unit.text == quantity.unit else f"{reading.echo} = {value:.4g} {quantity.unit}",
    )


def known_as(asked: Field) -> str:
    """Under which name the rules of plausible.py know a field."""
    return _KNOWN_AS.get(asked.name, asked.name)


def _value(asked, raw, values, lines, reading):
    """The value of one field, or None with its fault noted."""
    line = lines.of(asked.table, asked.name)
    try:
        if asked.kind == CURVE:
            return _curve(asked, raw, lines, reading)
        return read_one(asked, raw, values)[0]
    except Unreadable as problem:
        reading.faults.append((line, f"{asked.where}: {problem}"))
        return None


def _dwell_of_share(raw, values):
    """A dwell printed in per cent, in degrees of this engine."""
    share = re.fullmatch(r"\s*(\d{1,2}(?:[.,]\d+)?)\s*%\s*", raw)
    if not share:
        raise Unreadable(f"“{raw.strip()[:30]}” cannot be read. Write 55 % or 50 ° dist.")
    if "cylinders" not in values:
        raise Unreadable("A dwell in per cent needs the number of cylinders. Mend that line first.")
    return round(float(dwell_of_duty_deg(float(share[1].replace(",", ".")), values["cylinders"])), 6)


def _curve(asked, raw, lines, told):
    start = lines.of(asked.table, asked.name)
    if not isinstance(raw, list) or not all(isinstance(point, list) and len(point) == 2 for point in raw):
        pair = '["450 dist rev/min", "0 ° dist"]'
        raise Unreadable(f"every point is a pair of figures with units, such as {pair}.")
    if not 2 <= len(raw) <= MOST_POINTS:
        raise Unreadable(f"{len(raw)} points; 2 to {MOST_POINTS} are needed.")
    points, good, units = [], True, {}
    for number, point in enumerate(raw):
        pair = []
        for quantity, cell in zip((asked.quantity, asked.second), point, strict=True):
            try:
                reading = read_figure(quantity, cell)
                first = units.setdefault(quantity.says, reading.unit) if reading.value else reading.unit
                if doubt := _other_unit(first, reading):
                    told.remarks.append((lines.point(start, number), f"{asked.where}, point {number + 1}: {doubt}"))
                pair.append(round(reading.value, 2))
            except Unreadable as problem:
                good = False
                told.faults.append((lines.point(start, number), f"{asked.where}, point {number + 1}: {problem}"))
        points.append(tuple(pair))
    return tuple(points) if good else None


def _other_unit(first, reading):
    """What is worth a second look in a column: a manual prints it in one unit, so another one may be mistyped."""
    if reading.value == 0 or reading.unit.text.removesuffix(" vac") == first.text.removesuffix(" vac"):
        return ""
    return (
        f"“{reading.text}” stands in {reading.unit.text}, the points before it in {first.text}. Is that how it is printed? "
        "Look again."
    )


def _thousandths(gap_mm):
    """A gap as cam cards print it; a card in finer steps than it shows could not be read back."""
    return round(gap_mm / MM_PER_IN, 3)


def _own(key, values):
    vehicle = Vehicle(
        key=key,
        title=values["title"],
        use=values["use"],
        cylinders=values["cylinders"],
        layout=values["layout"],
        firing_order=values["firing_order"],
        rotor=values["rotor"],
        battery_v=values["battery_v"],
        earth=values["earth"],
        initial_deg=round(values["initial_deg"], 2),
        idle_rpm=round(values["idle_rpm"]),
        centrifugal=values["centrifugal"],
        vacuum=values["vacuum"],
        port=values["port"],
        gap_in=_thousandths(values["gap_mm"]),
        dwell_deg=values["dwell_deg"],
        pulley_mm=values["pulley_mm"],
    )
    return OwnVehicle(vehicle.check(), values["line"], values["manual"], values["page"], values["entered_by"])


def _parse(text, faults):
    """(tables, names in lines that could not be read). A broken line is taken out, so that the others are read, too."""
    rows, broken = text.split("\n"), set()
    for _ in range(_BROKEN_LINES):
        try:
            return tomllib.loads("\n".join(rows)), broken
        except (tomllib.TOMLDecodeError, RecursionError) as problem:
            place = _TOML_LINE.search(str(problem))
            number = int(place[1]) if place else len(rows)
            row = rows[number - 1]
            faults.append(
                (number, f"“{row.strip()[:60]}” cannot be read. Put text, and figures with their units, in quotes.")
            )
            name = _NAME.match(row)
            if not name or "[" in row:
                break
            broken.add(name[1])
            rows[number - 1] = ""
    return None, broken


def _strange(settings, lines, faults):
    """Names that a vehicle file does not have, and tables that are none."""
    tables = {asked.table for asked in FIELDS if asked.table}
    for name, value in settings.items():
        if name in tables and not isinstance(value, dict):
            faults.append((lines.of("", name), f"{name} must be a table that begins with a line [{name}]."))
        elif name in tables:
            for inner in value:
                if (name, inner) not in BY_WHERE:
                    faults.append((lines.of(name, inner), f"[{name}] {inner} is not known here.{_meant(inner)}"))
        elif name not in ("format", "schema") and ("", name) not in BY_WHERE:
            faults.append((lines.of("", name), f"{name} is not known here.{_meant(name, tables)}"))


def _meant(name, tables=()):
    near = difflib.get_close_matches(name, [*(asked.name for asked in FIELDS), *tables], 1)
    return f" Did you mean {near[0]}?" if near else " Leave the line out."


class _Lines:
    """Where names stand in the text, so that a sentence can say its line."""

    def __init__(self, text: str) -> None:
        self._rows = text.split("\n")
        self._found, table = {}, ""
        for number, row in enumerate(self._rows, 1):
            if head := _HEAD.match(row):
                table = head[1]
                self._found.setdefault((table, ""), number)
            elif name := _NAME.match(row):
                self._found.setdefault((table, name[1]), number)

    def of(self, table: str, name: str) -> int:
        """Line of a name; of its table, or the first line, where it is missing."""
        return self._found.get((table, name)) or self._found.get((table, "")) or self._found.get((name, "")) or 1

    def point(self, start: int, number: int) -> int:
        """Line of a point of a curve that begins at a line."""
        opened = 0
        for line in range(start, len(self._rows) + 1):
            row = self._rows[line - 1].partition("#")[0]
            row = row.partition("=")[2].replace("[", "", 1) if line == start else row
            opened += row.count("[")
            if opened > number:
                return line
        return start
