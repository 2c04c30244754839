"""How far this user's machine has seen a term's ledger, kept outside the term folder.

A ledger that was cut short or written anew from its first row is whole in itself.
Only somebody who remembers its last row can tell, so each command that changed a
term leaves number and hash of that row in a file of the user's own.
"""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, select

from grader import files, paths
from grader.errors import BadFile, CannotWrite
from grader.records import schema

if TYPE_CHECKING:
    from grader.records.term.term import Term

PLACE = paths.DATA
_LARGEST = 1_000


def path_of(term: Term) -> Path:
    """Where it is kept: by id and a fingerprint of the key, so that two classes of one name stay apart."""
    fingerprint = hashlib.sha256(b"timing-mark ledger\n" + term.key).hexdigest()[:16]
    return paths.user_data() / "ledgers" / f"{term.id}-{fingerprint}.json"


def remember(term: Term, connection: Connection) -> None:
    """Keep the ledger's last row, unless the ledger is not the one that was seen before.

    Where the file cannot be written the work stands: it is a second pair of eyes, not part of the records.
    """
    table = schema.ledger
    last = connection.execute(select(table.c.seq, table.c.hash).order_by(table.c.seq.desc()).limit(1)).first()
    seen = _seen(term)
    if last is None or seen == (last.seq, last.hash) or compare(term, connection):
        return
    try:
        path = path_of(term)
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        files.write_text(path, files.to_json({"row": last.seq, "hash": last.hash}), mode=0o600)
    except (OSError, CannotWrite):
        pass


def compare(term: Term, connection: Connection) -> list[str]:
    """What the ledger lacks of what this machine has seen, as sentences; writes nothing."""
    seen = _seen(term)
    if seen is None:
        return []
    row, seen_hash = seen
    table = schema.ledger
    there = connection.execute(select(table.c.hash).where(table.c.seq == row)).scalar()
    if there == seen_hash:
        return []
    wrong = "this ledger ends before it" if there is None else "this ledger has another one in its place"
    return [
        f"This machine has seen ledger row {row} ({seen_hash[:12]}), and {wrong}: rows were cut off or written anew, or an "
        f"older copy was put back. If you put it back yourself, remove {path_of(term)}; otherwise compare with your copies."
    ]


def _seen(term):
    """(row, hash), or None where nothing was seen."""
    try:
        heads = files.from_json(
            files.read_bytes(path_of(term), most=_LARGEST, what="What was seen of the ledger"), what="What was seen"
        )
        row, seen_hash = heads["row"], heads["hash"]
    except (BadFile, KeyError):
        return None
    return (row, seen_hash) if type(row) is int and isinstance(seen_hash, str) else None
