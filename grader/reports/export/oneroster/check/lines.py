"""Reading one file of a package row by row, strictly after RFC 4180; never the whole of it at once."""

import csv
import io
import re
from collections.abc import Iterator
from zipfile import ZipFile

from grader.errors import BadFile

LONGEST_ROW = 4_000_000  # characters; a quote that is never closed must not fill the memory
# A quote stands at both ends of a field or, doubled, inside such a one: after RFC 4180 nowhere else.
_QUOTED = re.compile(r'(?<![^,\r\n])"(?:[^"]|"")*"(?![^,\r\n])')
# One that is open at the end of a line, after what stands in both of its quotes was taken out.
_OPEN = re.compile(r'(?:[^"]*[,\r\n])?"(?:[^"]|"")*')
_STRAY = "a quote stands inside a field that is not quoted"


def rows(archive: ZipFile, name: str) -> Iterator[list[str]]:
    """The rows of a file, the heading among them.

    Parameters
    ----------
    archive : zipfile.ZipFile
    name : str

    Yields
    ------
    list of str

    Raises
    ------
    BadFile
        Not UTF-8, or no CSV table.
    """
    try:
        with archive.open(name) as raw:
            # A receiver has to put up with a byte order mark.
            text = io.TextIOWrapper(raw, encoding="utf-8-sig", newline="")
            yield from csv.reader(_whole_rows(text, name), strict=True)
    except UnicodeDecodeError:
        raise BadFile(f"{name} is not UTF-8 (byte {_first_bad_byte(archive, name)}).") from None
    except csv.Error as problem:
        raise _no_table(name, problem) from None


def _whole_rows(text, name):
    """The text of each row, with line ends that stand in quotes; quotes and line ends are as they have to be."""
    for line in text:
        quotes = line.count('"')
        if quotes:
            line = _quoted_row(line, quotes, text, name)
        elif not line.endswith("\r\n") and line.endswith(("\r", "\n")):
            raise _no_table(name, "a line does not end with CR LF")
        yield line


def _quoted_row(line, quotes, text, name):
    """A row that begins with this line; where a quote is open at its end, further lines belong to it."""
    pieces, length = [line], len(line)
    if quotes % 2:
        if not _OPEN.fullmatch(_QUOTED.sub("", line)):  # it must not swallow the rest of the file
            raise _no_table(name, _STRAY)
        for more in text:
            pieces.append(more)
            quotes, length = quotes + more.count('"'), length + len(more)
            if length > LONGEST_ROW:
                raise _no_table(name, f"a row has more than {LONGEST_ROW:,} characters")
            if quotes % 2 == 0:
                break
    row = "".join(pieces)
    plain = _QUOTED.sub("", row)
    if '"' in plain:
        raise _no_table(name, _STRAY)
    if "\r" in plain.replace("\r\n", "") or "\n" in plain.replace("\r\n", ""):
        raise _no_table(name, "a line does not end with CR LF")
    return row


def _no_table(name, why):
    return BadFile(f"{name} is no CSV table after RFC 4180: {why}.")


def _first_bad_byte(archive, name):
    """Where a file stops being UTF-8; no letter reaches over the end of a line."""
    with archive.open(name) as raw:
        place = 0
        for line in raw:
            try:
                line.decode()
            except UnicodeDecodeError as problem:
                return place + problem.start
            place += len(line)
    return place
