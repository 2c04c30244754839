"""Exports without names: keyed codes, no free text, days instead of moments, small cells hidden.

Whoever holds the term key can find the person behind a code, so the tables remain
personal data; they are fit for handing to somebody who does not hold the key.
"""

import base64
import hashlib
import hmac
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import lru_cache, partial
from itertools import groupby

from sqlalchemy import Connection, func, select

from grader import clock
from grader.records import schema
from grader.records.term.roster import Trainee
from grader.records.term.term import Term
from grader.reports.tables.columns import CODE, DAY, DROP, Shape

SMALLEST_CELL = 5
HIDDEN = "hidden"
_MARK_EVENTS = ("marked", "re-marked", "override")


def code(term: Term, trainee: str, purpose: str = "pseudonym") -> str:
    """Code of a person: the same in every export of a term, and nothing without its key.

    Parameters
    ----------
    term : Term
    trainee : str
        Either of the trainee's ids, letter case aside.
    purpose : str
        Codes of different purposes cannot be compared.
    """
    digest = hmac.new(term.key, f"{purpose}\n{term.id}\n{trainee.casefold()}".encode(), hashlib.sha256).digest()
    return base64.b32encode(digest[:10]).decode().lower()


def by_code(term: Term) -> Callable[[Trainee], str]:
    """What puts trainees into the order of their codes, because the order of a class list would give the names away."""
    return lambda person: code(term, person.college_id)


def is_small(connection: Connection) -> bool:
    """Whether a class is so small that naming it would name its people."""
    return connection.execute(select(func.count()).select_from(schema.trainee)).scalar_one() < SMALLEST_CELL


def person_rows(
    term: Term, connection: Connection, shape: Shape, rows: Iterable[Mapping[str, str]], *, in_order: bool = False
) -> Iterator[dict[str, str]]:
    """The rows of a table about people, without names.

    They are put in the order of the codes; for the same reason rows of the ledger are
    sorted inside each day and numbered anew. A class of fewer than five shows no class id.

    Parameters
    ----------
    term : Term
    connection : Connection
    shape : Shape
    rows : iterable of dict of str to str
    in_order : bool
        They come trainee by trainee `by_code`: then no more than one's own are held at a time.
    """
    small, known = is_small(connection), lru_cache(maxsize=1024)(partial(code, term))
    made = (tuple(_cell(term, column, row, known) for column in shape.columns) for row in rows)
    names = shape.names
    order = [names.index(name) for name in ("at", "event", "trainee_id", "module") if name in names]

    def place(cells):  # sorting is stable: items stay in the order of the lesson
        return [cells[place] for place in order]

    if in_order:
        whose = names.index("trainee_id")
        ordered = (cells for _, own in groupby(made, lambda cells: cells[whose]) for cells in sorted(own, key=place))
    else:
        ordered = sorted(made, key=place)
    for number, cells in enumerate(ordered, start=1):
        row = dict(zip(names, cells, strict=True))
        if "seq" in row:
            row["seq"] = str(number)
        if small:
            row["class"] = HIDDEN
        yield row


def figure_rows(shape: Shape, rows: Iterable[dict[str, str]]) -> Iterator[dict[str, str]]:
    """The rows of a table of figures; those that rest on fewer than five people are blank."""
    for row in rows:
        if int(row["n"]) < SMALLEST_CELL:
            kept = {name: row[name] for name in shape.key}
            row = (
                dict.fromkeys(shape.names, "") | kept | {"n": "0", "note": f"hidden: fewer than {SMALLEST_CELL} people"}
            )
            row |= {"items": "0", "left_out": "0"} if "left_out" in shape.names else {}
        elif row.get("top_slip_share") and float(row["top_slip_share"]) * int(row["n"]) < SMALLEST_CELL:
            row = {**row, "top_slip": "", "top_slip_share": ""}
        if row.get("left_out") and int(row["left_out"]) < SMALLEST_CELL:
            row = {**row, "left_out": "0"}
        yield row


def _cell(term, column, row, known):
    text = row[column.name]
    if column.private == DROP or not text:
        return ""
    if column.private == CODE:
        return known(text)
    if column.private == DAY:
        return f"{clock.from_text(text).astimezone(clock.zone(term.settings.zone)):%Y-%m-%d}"
    if column.private == "marks":  # old and new hold marks, but also ids, names of files and settings
        return text if row["event"] in _MARK_EVENTS else ""
    return text
