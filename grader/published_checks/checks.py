"""Check rows: a reference function against a figure from somewhere else.

Each table under datasets/published/ has one row per figure. The label says what
the figure is worth:

Published   printed in a work we read, or computed by a library we did not write
Memory      remembered from a work; someone should confirm it
Derived     follows from the definitions by another route than the code
Frozen      our own earlier result: shows drift, proves nothing
"""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from importlib import import_module
from importlib.util import find_spec
from types import ModuleType
from typing import Any

from grader import sources, tables
from grader.errors import BadTable
from grader.paths import datasets

COLUMNS = ("id", "label", "function", "inputs", "expected", "unit", "allowed", "source", "note")
LABELS = ("Published", "Memory", "Derived", "Frozen")
_REFERENCE_ROOMS = ("grader.reference.timing", "grader.reference.spark")


@dataclass(frozen=True, slots=True)
class Check:
    """One row of a check table."""

    id: str
    label: str
    function: str
    inputs: Mapping[str, Any]
    expected: str
    unit: str
    allowed: str
    source: str
    note: str
    table: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a check row gave: values in the row's unit."""

    check: Check
    got: float
    low: float
    high: float

    @property
    def passed(self) -> bool:
        return self.low <= self.got <= self.high

    @property
    def error(self) -> float:
        """Distance from the printed figure or from the nearest end of a printed range."""
        if ".." in self.check.expected:
            return max(self.low - self.got, self.got - self.high, 0.0)
        return abs(self.got - float(self.check.expected))


def last_place(printed: str) -> float:
    """Half of the last printed place of a figure: 0.005 for "36.00", 0.5 for "4".

    Parameters
    ----------
    printed : str

    Returns
    -------
    float

    Raises
    ------
    BadTable
        Not a printed number.
    """
    try:
        exponent = Decimal(printed).as_tuple().exponent
    except ArithmeticError:
        raise BadTable(f"{printed!r} is not a printed number.") from None
    if not isinstance(exponent, int):  # infinite, or no number
        raise BadTable(f"{printed!r} is not a printed number.")
    return float(Decimal(1).scaleb(exponent) / 2)


def read(table: str) -> list[Check]:
    """The check rows of one table, such as "angles".

    Raises
    ------
    BadTable
        A row whose label, source, inputs or width make no sense.
    """
    check_rows = []
    for row in tables.rows(f"published/{table}.csv", COLUMNS):
        where = f"datasets/published/{table}.csv, row {row['id']}"
        if row["label"] not in LABELS:
            raise BadTable(f"{where}: label {row['label']!r} is none of {', '.join(LABELS)}.")
        if row["source"] not in sources.WORKS:
            raise BadTable(f"{where}: source {row['source']!r} is not in grader/sources.py; add it there.")
        if row["label"] == "Published" and not sources.may_be_published(row["source"]):
            raise BadTable(f"{where}: {row['source']} was not read, so the row cannot be Published.")
        try:
            inputs = json.loads(row["inputs"])
        except ValueError:
            raise BadTable(f"{where}: inputs {row['inputs']!r} are not a JSON object.") from None
        check = Check(**{**row, "inputs": inputs}, table=table)
        bounds(check)
        check_rows.append(check)
    return check_rows


def every() -> list[Check]:
    """All check rows of all tables, in order of table and row."""
    names = sorted(path.stem for path in (datasets() / "published").glob("*.csv"))
    return [check for name in names for check in read(name)]


def bounds(check: Check) -> tuple[float, float]:
    """Lowest and highest passing value of a check.

    `allowed` is "last place", an absolute width ("0.5"), a share ("7 %"), or
    "range" where `expected` is written low..high.

    Raises
    ------
    BadTable
        Another wording.
    """
    try:
        if check.allowed == "range":
            low, high = check.expected.split("..")
            return float(low), float(high)
        expected = float(check.expected)
        if check.allowed == "last place":
            width = last_place(check.expected)
        elif check.allowed.endswith("%"):
            width = abs(expected) * float(check.allowed[:-1]) / 100
        else:
            width = float(check.allowed)
    except ValueError:
        raise BadTable(
            f"datasets/published/{check.table}.csv, row {check.id}: allowed {check.allowed!r} with expected "
            f"{check.expected!r}; write 'last place', a width, a share such as '7 %', or 'range' with low..high."
        ) from None
    width += 1e-12 * abs(expected)  # the printed figure itself is not exact in binary
    return expected - width, expected + width


def run(check: Check) -> Outcome:
    """Compute one check row.

    Returns
    -------
    Outcome

    Raises
    ------
    BadTable
        The function does not exist or gives no finite number.
    """
    module, _, name = check.function.rpartition(".")
    try:
        function = getattr(_module(module), name)
    except (ImportError, AttributeError):
        raise BadTable(f"datasets/published/{check.table}.csv, row {check.id}: no function {check.function}.") from None
    got = float(function(**check.inputs))
    if not math.isfinite(got):
        raise BadTable(f"datasets/published/{check.table}.csv, row {check.id}: {check.function} gave {got}.")
    return Outcome(check, got, *bounds(check))


def _module(name: str) -> ModuleType:
    """A file of the reference rooms, or a routes file of this one, by its bare name."""
    rooms = ("grader.published_checks",) if name.startswith("routes") else ("grader.reference", *_REFERENCE_ROOMS)
    for room in rooms:
        if find_spec(f"{room}.{name}"):
            return import_module(f"{room}.{name}")
    raise ImportError(name)
