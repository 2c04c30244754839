"""What stands at a record store: of each attempt, which statements were sent and which of them were voided.

A statement that was sent cannot be changed, so its id and moment are remembered; nothing
of what it said is kept, only a digest. Deleting a person deletes this with all the rest.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from sqlalchemy import Column, Connection, Integer, String, Table, Text, delete, select

from grader.records import schema

table = Table(
    "tm_sent",
    schema.metadata,
    Column("store", String(64), primary_key=True),  # digest of what the ledger calls the export
    Column("trainee", String(63), primary_key=True),
    Column("module", String(63), primary_key=True),
    Column("attempt", Integer, primary_key=True),
    Column("standing", Text, nullable=False),  # JSON: thing -> [digest, moment]
    Column("voided", Text, nullable=False),  # JSON: [thing, id, moment of its end]
)


@dataclass(slots=True)
class Sent:
    """Of one attempt: `standing` by thing [digest, moment], `voided` in order (thing, id, moment)."""

    standing: dict = field(default_factory=dict)
    voided: list = field(default_factory=list)


def store(sent_as: str) -> str:
    """How the records name a store, from what the ledger calls its exports."""
    return hashlib.sha256(sent_as.encode()).hexdigest()


def read(connection: Connection, sent_as: str, trainees: Sequence[str]) -> dict[tuple[str, str, int], Sent]:
    """What was sent about some trainees, by (trainee, module, attempt)."""
    query = select(table).where(table.c.store == store(sent_as), table.c.trainee.in_(trainees))
    return {
        (row.trainee, row.module, row.attempt): Sent(json.loads(row.standing), json.loads(row.voided))
        for row in connection.execute(query)
    }


def write(connection: Connection, sent_as: str, by_owner: Mapping[tuple[str, str, int], Sent]) -> None:
    """Put the state of some attempts in the place of what was remembered.

    Parameters
    ----------
    connection : Connection
    sent_as : str
    found : dict of (str, str, int) to Sent
    """
    key = store(sent_as)
    rows = []
    for (trainee, module, attempt), sent in by_owner.items():
        mine = {"store": key, "trainee": trainee, "module": module, "attempt": attempt}
        connection.execute(delete(table).where(*(table.c[name] == value for name, value in mine.items())))
        body = {"standing": sent.standing, "voided": sent.voided}
        rows.append(mine | {name: json.dumps(value, separators=(",", ":")) for name, value in body.items()})
    if rows:
        connection.execute(table.insert(), rows)


def people(connection: Connection) -> set[str]:
    """Ids of everybody about whom anything was sent."""
    return set(connection.execute(select(table.c.trainee).distinct()).scalars())
