"""Opening the project's own CSV tables, with their columns checked."""

import csv
from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import TypeVar

from grader import paths
from grader.errors import BadTable

_Thing = TypeVar("_Thing")


def rows(name: str, columns: Sequence[str]) -> list[dict[str, str]]:
    """The rows of a table under datasets/ as dictionaries of text.

    Parameters
    ----------
    name : str
        Path below datasets/, such as "published/angles.csv".
    columns : sequence of str
        The header that the table must have, in order.

    Raises
    ------
    BadTable
        File missing, not UTF-8, other header, or a row of another width.
    """
    path = paths.datasets() / name
    try:
        with path.open(encoding="utf-8", newline="") as stream:
            table = list(csv.reader(stream, strict=True))
    except FileNotFoundError:
        raise BadTable(f"datasets/{name} is missing. Restore it from the project.") from None
    except (UnicodeDecodeError, csv.Error) as problem:
        raise BadTable(f"datasets/{name} is not a UTF-8 table: {problem}. Restore it from the project.") from None
    if not table or table[0] != list(columns):
        heading = ", ".join(table[0]) if table else "nothing"
        raise BadTable(f"datasets/{name} begins with {heading}; it must begin with {', '.join(columns)}.")
    for line, row in enumerate(table[1:], start=2):
        if len(row) != len(columns):
            raise BadTable(f"datasets/{name} line {line} has {len(row)} cells; {len(columns)} are needed.")
    return [dict(zip(columns, row, strict=True)) for row in table[1:]]


def by_key(name: str, columns: Sequence[str], make: Callable[[dict[str, str]], _Thing]) -> Mapping[str, _Thing]:
    """What is made of each row of such a table, by the row's `key`, in the order of the table.

    Raises
    ------
    BadTable
        As `rows`; a row of which nothing can be made, with the reason.
    """
    made = {}
    for row in rows(name, columns):
        try:
            made[row["key"]] = make(row)
        except ValueError as problem:
            raise BadTable(f"datasets/{name}, {row['key']}: {problem}") from None
    return MappingProxyType(made)
