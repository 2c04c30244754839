"""What people decided about single trainees: later due times, excuses, marks set by hand."""

from dataclasses import dataclass

from sqlalchemy import Column, Integer, String, Table, Text, select

from grader import clock
from grader.course.records import schema


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


@dataclass(frozen=True, slots=True)
class Adjustments:
    """All decisions of a term, read once.

    `until` and `overrides` go by (trainee, module, attempt), `excused` by
    (trainee, module).
    """

    until: dict
    overrides: dict
    excused: dict

    def due(self, issue):
        """Due time of an issue after any extension, as a moment; None without one."""
        text = self.until.get(owner(issue), issue.due)
        return clock.from_text(text) if text else None

    def by_hand(self, issue):
        """Exercise key -> hundredths set by hand."""
        return self.overrides.get(owner(issue), {})


NONE = Adjustments({}, {}, {})


def owner(row):
    """(trainee, module, attempt) of a row of any of our tables."""
    return (row.trainee, row.module, row.attempt)


def read(connection):
    """The decisions as they stand."""
    overrides = {}
    for row in connection.execute(select(override)):
        overrides.setdefault(owner(row), {})[row.exercise] = row.hundredths
    return Adjustments(
        {owner(row): row.until for row in connection.execute(select(extension))},
        overrides,
        {(row.trainee, row.module): row.reason for row in connection.execute(select(excuse))},
    )


def put(connection, table, key, values):
    """Insert or replace one decision."""
    take_back(connection, table, key)
    connection.execute(table.insert().values(**key, **values, at=clock.to_text(clock.now())))


def take_back(connection, table, key):
    """Remove one decision; says whether there was one."""
    mine = [table.c[name] == value for name, value in key.items()]
    return connection.execute(table.delete().where(*mine)).rowcount > 0
