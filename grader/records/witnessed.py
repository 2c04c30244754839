"""Practical work on real vehicles that somebody saw, apart from everything a computer marked."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import Column, Connection, Integer, String, Table, Text, select

from grader.records import schema

SATISFACTORY, NOT_YET = "satisfactory", "not yet"
RESULTS = (SATISFACTORY, NOT_YET)

table = Table(
    "tm_witnessed",
    schema.metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("trainee", String(63), nullable=False),
    Column("objective", String(16), nullable=False),
    Column("vehicle", Text, nullable=False),
    Column("day", String(10), nullable=False),  # 2026-03-12
    Column("seen_by", Text, nullable=False),
    Column("result", String(16), nullable=False),
    Column("note", Text, nullable=False),
    Column("at", String(32), nullable=False),
    Column("actor", Text, nullable=False),
    Column("withdrawn", Text, nullable=False, default=""),  # why; empty while the task stands
)


@dataclass(frozen=True, slots=True)
class Task:
    """One piece of work that was seen, as the records hold it."""

    id: int
    trainee: str
    objective: str
    vehicle: str
    day: str
    seen_by: str
    result: str
    note: str
    at: str
    actor: str
    withdrawn: str

    @property
    def digest(self) -> str:
        """SHA-256 of everything said about the work; withdrawing it later changes nothing here."""
        values = [getattr(self, name) for name in self.__slots__ if name != "withdrawn"]
        return hashlib.sha256(json.dumps(values, ensure_ascii=False).encode()).hexdigest()

    @property
    def line(self) -> str:
        """What the ledger says of it while it stands."""
        return f"task {self.id}: {self.result} on {self.day}; {self.vehicle}; seen by {self.seen_by}"

    @property
    def gone_line(self) -> str:
        """What the ledger says once it is withdrawn."""
        return f"task {self.id}: withdrawn"


def tasks(connection: Connection, trainee: str = "", *, withdrawn: bool = False) -> list[Task]:
    """Tasks in order of trainee, objective and day.

    Parameters
    ----------
    connection : Connection
    trainee : str
        Our id; empty for everybody.
    withdrawn : bool
        Those that were withdrawn, too.

    Returns
    -------
    list of Task
    """
    query = select(table)
    if trainee:
        query = query.where(table.c.trainee == trainee)
    if not withdrawn:
        query = query.where(table.c.withdrawn == "")
    order = (table.c.trainee, table.c.objective, table.c.day, table.c.id)
    return [Task(**row._mapping) for row in connection.execute(query.order_by(*order))]


def latest(tasks: Iterable[Task]) -> dict[tuple[str, str], Task]:
    """(trainee, objective) -> the task of the latest day, the one recorded last where a day has two."""
    return {(task.trainee, task.objective): task for task in sorted(tasks, key=lambda task: (task.day, task.id))}
