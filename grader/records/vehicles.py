"""The term's own vehicles in all their revisions, and from which of them a module's numbers are drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Column, Connection, Integer, String, Table, Text, func, select

from grader import clock
from grader.exercise.model import AsIssued
from grader.exercise.variant import DIGEST
from grader.records import ledger, schema
from grader.vehicle.own import OwnVehicle, from_content

# A correction is a new revision; rows are only ever added, since numbers were drawn from the old ones.
table = Table(
    "tm_vehicle",
    schema.metadata,
    Column("key", String(63), primary_key=True),
    Column("revision", Integer, primary_key=True),
    Column("digest", String(64), nullable=False),
    Column("content", Text, nullable=False),  # canonical JSON: figures, conditions, source, who entered it
    Column("text", Text, nullable=False),  # the file as it was typed
    Column("at", String(32), nullable=False),
    Column("actor", Text, nullable=False),
)

drawn_from = Table(
    "tm_assigned_vehicle",
    schema.metadata,
    Column("module", String(63), primary_key=True),
    Column("place", Integer, primary_key=True),  # the order decides which vehicle a draw falls on
    Column("key", String(63), nullable=False),
    Column("revision", Integer, nullable=False),
)


@dataclass(frozen=True, slots=True)
class Revision:
    """One revision of a vehicle, as the records hold it."""

    key: str
    revision: int
    digest: str
    content: str
    text: str
    at: str
    actor: str

    @property
    def own(self) -> OwnVehicle:
        """The vehicle itself."""
        return from_content(self.content)

    @property
    def line(self) -> str:
        """What the ledger says of it. No words of people: those stand in the record and go by the digest."""
        return f"{self.key}, revision {self.revision}"


def revisions(connection: Connection, key: str = "") -> list[Revision]:
    """Every revision in order of key and number.

    Parameters
    ----------
    connection : Connection
    key : str
        Of one vehicle; empty for all.

    Returns
    -------
    list of Revision
    """
    query = select(table).order_by(table.c.key, table.c.revision)
    if key:
        query = query.where(table.c.key == key)
    return [Revision(**row._mapping) for row in connection.execute(query)]


def latest(connection: Connection) -> dict[str, Revision]:
    """Key -> its last revision."""
    return {revision.key: revision for revision in revisions(connection)}


def add(connection: Connection, own: OwnVehicle, text: str) -> Revision:
    """Store a revision with its event in the ledger, inside the caller's transaction.

    Returns
    -------
    Revision
    """
    key = own.vehicle.key
    last = connection.execute(select(func.max(table.c.revision)).where(table.c.key == key)).scalar() or 0
    revision = Revision(key, last + 1, own.digest, own.content, text, clock.to_text(clock.now()), ledger.actor())
    connection.execute(table.insert().values({name: getattr(revision, name) for name in Revision.__slots__}))
    ledger.append(connection, [ledger.Entry("vehicle", new=revision.line, sha256=revision.digest)])
    return revision


def assigned(connection: Connection, module_key: str) -> tuple[Revision, ...]:
    """The revisions from which a module's numbers are drawn; none where the teaching vehicles are.

    Whoever draws for this module again, for somebody who joined or for another
    attempt, draws from these.

    Returns
    -------
    tuple of Revision
    """
    query = (
        select(table)
        .join(drawn_from, (table.c.key == drawn_from.c.key) & (table.c.revision == drawn_from.c.revision))
        .where(drawn_from.c.module == module_key)
        .order_by(drawn_from.c.place)
    )
    return tuple(Revision(**row._mapping) for row in connection.execute(query))


def note(connection: Connection, module_key: str, revisions: Sequence[Revision]) -> None:
    """Note from which revisions a module's numbers are drawn, in records and ledger."""
    for place, revision in enumerate(revisions):
        values = {"module": module_key, "place": place, "key": revision.key, "revision": revision.revision}
        connection.execute(drawn_from.insert().values(**values))
    entries = [
        ledger.Entry("vehicle", module=module_key, new=revision.line, sha256=revision.digest) for revision in revisions
    ]
    ledger.append(connection, entries)


def had(connection: Connection, module_key: str, exercises: AsIssued) -> tuple[Revision, ...]:
    """The revisions from which to draw again for somebody, by what was issued to him before.

    Those of the whole module, unless he was given others.

    Parameters
    ----------
    connection : Connection
    module_key : str
    exercises : dict
        Of his earlier issue: exercise key to {"version", "parameters"}.

    Returns
    -------
    tuple of Revision
        Empty where his numbers came from the teaching vehicles.
    """
    digests = {entry["parameters"][DIGEST] for entry in exercises.values() if DIGEST in entry["parameters"]}
    for_all = assigned(connection, module_key)
    if not digests or digests <= {revision.digest for revision in for_all}:
        return for_all if digests else ()
    return tuple(revision for revision in revisions(connection) if revision.digest in digests)
