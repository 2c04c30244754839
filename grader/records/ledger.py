"""The ledger: what was done, by whom, when and why; rows are only ever added.

Each row holds the hash of the row before it, so a row changed or taken out later
is seen. What names a person stands in the payload, of which the chain holds only
a salted digest: deleting a person drops payload and salt and leaves the chain whole.
"""

from __future__ import annotations

import getpass
import hashlib
import json
import secrets
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from sqlalchemy import Connection, func, select

from grader import clock
from grader.errors import Refused
from grader.records import schema

EVENTS = (
    "enrolled",
    "withdrawn",
    "assigned",
    "issued",
    "handed-in",
    "marked",
    "re-marked",
    "returned",
    "read",
    "override",
    "extension",
    "excuse",
    "witnessed",
    "vehicle",
    "settings",
    "key-change",
    "export",
    "delete",
)
NEED_REASON = ("override", "re-marked", "extension", "excuse")
START = "0" * 64
BATCH = 1000  # rows read at a time


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing that was done. Empty fields do not apply; marks are hundredths."""

    event: str
    actor: str = ""
    trainee: str = ""
    module: str = ""
    exercise: str = ""
    attempt: int | None = None
    old: int | str | None = None
    new: int | str | None = None
    most: int | None = None
    reason: str = ""
    engine: str = ""
    key_version: str = ""
    sha256: str = ""
    kind: str = ""  # what the event was, where a program asks: a reason is for people


# Kinds of entries.
WRITTEN_ANSWER, POLICY, DUE, WITHDRAWN, RECEIVED = "written answer", "policy", "due time", "withdrawn", "received"
SETTINGS = "settings"
TAKEN_BACK = "taken back"  # a returned page that nobody had seen
PLACE = "place"  # which of several copies of a term folder works on records that a server keeps


@lru_cache(maxsize=1)
def actor() -> str:
    """Name of the person at this machine, as the system knows it."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "unknown"


def append(connection: Connection, entries: Iterable[Entry]) -> None:
    """Add rows under the ledger's lock.

    Parameters
    ----------
    connection : Connection
        Inside a transaction; the rows stand or fall with it.
    entries : iterable of Entry

    Raises
    ------
    Refused
        An event that needs a reason came without one.
    """
    entries = list(entries)
    if not entries:
        return
    # On PostgreSQL this row is the lock; SQLite took its lock when the transaction began.
    connection.execute(select(schema.version.c.version).with_for_update()).all()
    last = connection.execute(
        select(schema.ledger.c.seq, schema.ledger.c.hash).order_by(schema.ledger.c.seq.desc()).limit(1)
    ).first()
    seq, previous = (last.seq, last.hash) if last else (0, START)
    rows, who = [], actor()
    for entry in entries:
        if entry.event not in EVENTS:
            raise ValueError(f"unknown ledger event {entry.event!r}")
        if entry.event in NEED_REASON and not entry.reason.strip():
            raise Refused(f"An event “{entry.event}” needs a reason. Say why in a few words; nothing was changed.")
        seq += 1
        at = clock.to_text(clock.now())
        body = {name: getattr(entry, name) for name in Entry.__slots__}
        body["actor"] = body["actor"] or who
        payload = json.dumps(body, ensure_ascii=False, sort_keys=True)
        salt = secrets.token_hex(16)
        digest = _digest(salt, payload)
        row_hash = _hash(seq, at, entry.event, digest, previous)
        rows.append(
            {"seq": seq, "at": at, "event": entry.event, "payload": payload, "salt": salt, "digest": digest,
             "previous": previous, "hash": row_hash}
        )  # fmt: skip
        previous = row_hash
    connection.execute(schema.ledger.insert(), rows)


def entries(connection: Connection, *events: str) -> Iterator[tuple[int, str, dict[str, Any]]]:
    """(seq, moment text, payload dictionary) of rows that still have their payload, oldest first."""
    query = select(schema.ledger).where(schema.ledger.c.payload.is_not(None)).order_by(schema.ledger.c.seq)
    if events:
        query = query.where(schema.ledger.c.event.in_(events))
    for row in connection.execute(query.execution_options(yield_per=BATCH)):  # a ledger is longer than a class
        yield row.seq, row.at, _read(json.loads(row.payload))


def _read(body: dict[str, Any]) -> dict[str, Any]:
    """An entry as it is written now. Those of records before version 5 said their kind in words, and stay as they are."""
    if "kind" not in body:
        body["kind"] = ""
        if body["event"] == "re-marked" and body["reason"] == "written answer read":
            body["kind"] = WRITTEN_ANSWER
        elif body["event"] == "settings" and str(body["new"]).startswith("policy: "):
            body["kind"] = POLICY
    return body


def count(connection: Connection) -> int:
    """Number of rows."""
    return connection.execute(select(func.count()).select_from(schema.ledger)).scalar_one()


def first_broken(connection: Connection) -> str | None:
    """The first row that does not fit, as a sentence, or None for a whole ledger."""
    previous, expected = START, 1
    query = select(schema.ledger).order_by(schema.ledger.c.seq)
    for row in connection.execute(query.execution_options(yield_per=BATCH)):
        if row.seq != expected:
            return f"Ledger row {expected} is missing; the next one is {row.seq}."
        if row.previous != previous:
            return f"Ledger row {row.seq} does not follow row {row.seq - 1}: one of them was changed or replaced."
        if row.payload is not None and _digest(row.salt or "", row.payload) != row.digest:
            return f"Ledger row {row.seq} ({row.event}, {row.at}): its content was changed after it was written."
        if _hash(row.seq, row.at, row.event, row.digest, row.previous) != row.hash:
            return f"Ledger row {row.seq} ({row.event}, {row.at}) was changed after it was written."
        previous, expected = row.hash, expected + 1
    return None


def _digest(salt, payload):
    return hashlib.sha256(f"{salt}\n{payload}".encode()).hexdigest()


def _hash(seq, at, event, digest, previous):
    return hashlib.sha256(f"{seq}\n{at}\n{event}\n{digest}\n{previous}".encode()).hexdigest()
