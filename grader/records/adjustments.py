"""What people decided about single trainees: later due times, excuses, marks set by hand, written answers read."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from msgspec import structs
from sqlalchemy import Column, ColumnElement, Connection, Integer, String, Table, Text, and_, select

from grader import clock
from grader.marking.mark import SheetMark
from grader.marking.verdict import AWAITING, READ
from grader.records import schema


def _person_columns():
    """Who decided it, when and why; the same in every table here."""
    return (
        Column("at", String(32), nullable=False),
        Column("actor", Text, nullable=False),
        Column("reason", Text, nullable=False),
    )


extension = Table(
    "tm_extension",
    schema.metadata,
    Column("trainee", String(63), primary_key=True),
    Column("module", String(63), primary_key=True),
    Column("attempt", Integer, primary_key=True),
    Column("until", String(32), nullable=False),
    *_person_columns(),
)

excuse = Table(
    "tm_excuse",
    schema.metadata,
    Column("trainee", String(63), primary_key=True),
    Column("module", String(63), primary_key=True),
    *_person_columns(),
)

override = Table(
    "tm_override",
    schema.metadata,
    Column("trainee", String(63), primary_key=True),
    Column("module", String(63), primary_key=True),
    Column("attempt", Integer, primary_key=True),
    Column("exercise", String(120), primary_key=True),
    Column("hundredths", Integer, nullable=False),
    *_person_columns(),
)


# The digest of the words that were read is part of the key: other words wait to be
# read again, and what was said about the earlier ones is kept.
reading = Table(
    "tm_reading",
    schema.metadata,
    Column("trainee", String(63), primary_key=True),
    Column("module", String(63), primary_key=True),
    Column("attempt", Integer, primary_key=True),
    Column("part", String(120), primary_key=True),
    Column("digest", String(64), primary_key=True),
    Column("points", Text, nullable=False),  # JSON: hundredths for each point of the rubric, in its order
    Column("hundredths", Integer, nullable=False),
    *_person_columns(),  # the reason is the comment for the trainee
)


@dataclass(frozen=True, slots=True)
class Reading:
    """What the instructor gave a written answer: hundredths by point of the rubric, and a comment."""

    points: tuple
    hundredths: int
    comment: str


@dataclass(frozen=True, slots=True)
class Adjustments:
    """All decisions of a term, read once.

    `until` and `overrides` go by (trainee, module, attempt), `excused` by
    (trainee, module), `readings` by (trainee, module, attempt) and then by
    (part, digest of what was read).
    """

    until: dict
    overrides: dict
    excused: dict
    readings: dict = field(default_factory=dict)

    def due_text(self, issue: Any) -> str:
        """Due time of an issue after any extension, as records keep it; empty without one.

        An extension never makes the time shorter, where the due time of all was moved behind it since.
        """
        return max(self.until.get(owner(issue), ""), issue.due)

    def due(self, issue: Any) -> datetime | None:
        """The same as a moment; None without one."""
        text = self.due_text(issue)
        return clock.from_text(text) if text else None

    def extension(self, issue: Any) -> str:
        """Until when an extension lets somebody hand in later than the due time says; empty where none does."""
        until = self.until.get(owner(issue), "")
        return until if until > issue.due else ""

    def by_hand(self, issue: Any) -> dict[str, int]:
        """Exercise key -> hundredths set by hand."""
        return self.overrides.get(owner(issue), {})

    def reading(self, row: Any, part: str, text: str) -> Reading | None:
        """The Reading of a written answer, or None while these words were not read."""
        return self.readings.get(owner(row), {}).get((part, digest(text)))

    def with_overrides(self, changes: Iterable[tuple]) -> Adjustments:
        """The decisions with other marks by hand: (owner, exercise key, hundredths, or None for none)."""
        if not changes:
            return self
        overrides = {owner: dict(marks) for owner, marks in self.overrides.items()}
        for owner, exercise, hundredths in changes:
            mine = overrides.setdefault(owner, {})
            mine.pop(exercise, None)
            if hundredths is not None:
                mine[exercise] = hundredths
        return replace(self, overrides=overrides)

    def apply(self, issue: Any, marked: SheetMark) -> SheetMark:
        """The verdicts on a sheet with what was read put in the place of what waits."""
        if owner(issue) not in self.readings:
            return marked
        return structs.replace(marked, parts=tuple(self._read(issue, mark) for mark in marked.parts))

    def _read(self, issue, mark):
        given = self.reading(issue, mark.path, mark.raw) if mark.verdict == AWAITING else None
        return structs.replace(mark, verdict=READ, hundredths=given.hundredths, why=given.comment) if given else mark


NONE = Adjustments({}, {}, {})


def digest(text: str) -> str:
    """Of the words of a written answer, as the records keep them; blanks around them do not count."""
    return hashlib.sha256(schema.text(text.strip()).encode()).hexdigest()


def owner(row: Any) -> tuple[str, str, int]:
    """(trainee, module, attempt) of a row of any of our tables."""
    return (row.trainee, row.module, row.attempt)


def of(table: Table, owner: tuple[str, str, int]) -> list[ColumnElement[bool]]:
    """The conditions that a row is of one (trainee, module, attempt)."""
    return [column == value for column, value in zip(_columns(table), owner, strict=True)]


def same(one: Table, other: Table) -> ColumnElement[bool]:
    """The condition that rows of two tables are of the same trainee, module and attempt."""
    return and_(*(mine == theirs for mine, theirs in zip(_columns(one), _columns(other), strict=True)))


def _columns(table):
    return (table.c.trainee, table.c.module, table.c.attempt)


def read(connection: Connection) -> Adjustments:
    """The decisions as they stand."""
    overrides = {}
    for row in connection.execute(select(override)):
        overrides.setdefault(owner(row), {})[row.exercise] = row.hundredths
    readings = {}
    for row in connection.execute(select(reading)):
        given = Reading(tuple(json.loads(row.points)), row.hundredths, row.reason)
        readings.setdefault(owner(row), {})[row.part, row.digest] = given
    return Adjustments(
        {owner(row): row.until for row in connection.execute(select(extension))},
        overrides,
        {(row.trainee, row.module): row.reason for row in connection.execute(select(excuse))},
        readings,
    )


def put(connection: Connection, table: Table, key: Mapping[str, Any], values: Mapping[str, Any]) -> None:
    """Insert or replace one decision."""
    take_back(connection, table, key)
    connection.execute(table.insert().values(**key, **values, at=clock.to_text(clock.now())))


def take_back(connection: Connection, table: Table, key: Mapping[str, Any]) -> bool:
    """Remove one decision; says whether there was one."""
    mine = [table.c[name] == value for name, value in key.items()]
    return connection.execute(table.delete().where(*mine)).rowcount > 0
