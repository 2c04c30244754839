"""Writing tables row by row: CSV after RFC 4180, whole or not at all, and flat in memory."""

from __future__ import annotations

import csv
import hashlib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from grader.errors import Refused
from grader.files import replacing

if TYPE_CHECKING:
    from grader.reports.tables.columns import Column, Shape

TEXT, INTEGER, NUMBER, MOMENT, DATE = "string", "integer", "number", "datetime", "date"

SEPARATORS = {",": ",", ";": ";", "tab": "\t"}
# Text that a spreadsheet takes for a number or a day when it opens a table: noughts in front, powers of ten, more figures
# than it keeps, days.
_CHANGED = re.compile(
    r"[-+]?(0\d[\d.,]*|\d+([.,]\d+)?[eE][-+]?\d+|\d{16,}|\d{1,4}[-/]\d{1,2}([-/]\d{1,4})?|\d{1,2}\.\d{1,2}\.\d{0,4})\s*"
)
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\x00", "＝", "＋", "－", "＠")


@dataclass(frozen=True, slots=True)
class Manner:
    """How a table is written.

    For a spreadsheet a file begins with a byte order mark, text that would act as a
    formula or lose its noughts is defused, and with the separator ; decimals have a comma.
    """

    spreadsheet: bool = False
    separator: str = ","

    @property
    def encoding(self) -> str:
        return "utf-8-sig" if self.spreadsheet else "utf-8"

    @property
    def decimal(self) -> str:
        return "," if self.separator == ";" else "."

    def cell(self, column: Column, text: str) -> str:
        """One cell as it is written."""
        if column.kind in (NUMBER, INTEGER):
            return text.replace(".", self.decimal)
        return defused(text) if self.spreadsheet and column.kind == TEXT else text


@dataclass(frozen=True, slots=True)
class Written:
    """What was written: a file, its rows, its bytes and their digest."""

    path: Path
    rows: int
    size: int
    sha256: str


def manner(*, spreadsheet: bool = False, separator: str = ",") -> Manner:
    """The manner for some options of a command.

    Raises
    ------
    Refused
        Another separator, or one that only spreadsheets understand in a file for machines.
    """
    if separator not in SEPARATORS:
        raise Refused(f"The separator {separator!r} is not known. Choose one of: , ; tab")
    if separator != "," and not spreadsheet:
        raise Refused("Another separator is for spreadsheets. Add --spreadsheet, or leave --separator out.")
    return Manner(spreadsheet, SEPARATORS[separator])


def defused(text: str) -> str:
    """Text that no spreadsheet takes for a formula, a number or a day: 0042 stays 0042, with an apostrophe before it."""
    return f"'{text}" if text.startswith(_FORMULA) or _CHANGED.fullmatch(text) else text


def plain(text: str) -> str:
    """The text of a cell that `defused` wrote, as a person's spreadsheet saves it."""
    return text[1:] if text.startswith("'") and defused(text[1:]) == text else text


def write_table(path: Path | str, shape: Shape, rows: Iterable[Mapping[str, str]], how: Manner) -> Written:
    """Write one table.

    Parameters
    ----------
    path : path
    shape : Shape
    rows : iterable of dict of str to str
    how : Manner

    Returns
    -------
    Written
    """
    with replacing(path) as stream:
        sink = Sink(stream, how.encoding)
        writer = csv.writer(sink, delimiter=how.separator, lineterminator="\r\n")
        writer.writerow(shape.names)
        count = 0
        for row in rows:
            writer.writerow([how.cell(column, row[column.name]) for column in shape.columns])
            count += 1
    return Written(Path(path), count, sink.size, sink.digest.hexdigest())


class Sink:
    """Takes text; knows size and digest of what it passed on."""

    def __init__(self, stream: BinaryIO, encoding: str = "utf-8") -> None:
        self._stream, self.size, self.digest = stream, 0, hashlib.sha256()
        if encoding == "utf-8-sig":
            self._put(b"\xef\xbb\xbf")

    def write(self, text: str) -> None:
        self._put(text.encode("utf-8"))

    def _put(self, content):
        self._stream.write(content)
        self.digest.update(content)
        self.size += len(content)
