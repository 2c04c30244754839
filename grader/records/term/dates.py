"""Dates that a person wrote for a term: one far from its years is a slip of the pen, and is refused before it is kept."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import func, select

from grader import clock
from grader.errors import Refused
from grader.records import database, schema
from grader.records.term.term import Term

AROUND = 2  # years before the term was made, and after this one


def parse(term: Term, text: str) -> datetime:
    """`clock.parse` in the term's zone.

    Raises
    ------
    Refused
        As `clock.parse`; a year more than `AROUND` away from the term's.
    """
    moment = clock.parse(text, term.settings.zone)
    _check(term, moment, text)
    return moment


def arrival(term: Term, text: str) -> datetime:
    """`clock.arrival` in the term's zone.

    Raises
    ------
    Refused
        As `clock.arrival`; a year more than `AROUND` away from the term's.
    """
    moment = clock.arrival(text, term.settings.zone)
    _check(term, moment, text)
    return moment


def _check(term: Term, moment: datetime, text: str) -> None:
    with database.reading(term) as connection:
        made = connection.execute(select(func.min(schema.ledger.c.at))).scalar()
    this = clock.now().year
    first, last = min(clock.from_text(made).year if made else this, this) - AROUND, this + AROUND
    if not first <= moment.year <= last:
        raise Refused(
            f"“{text.strip()}” lies far from this term; years from {first} to {last} are taken. Look at the year and write "
            "it again; nothing was changed."
        )
