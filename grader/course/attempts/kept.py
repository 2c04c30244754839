"""Hand-ins as they are kept: where they lie, what becomes of each, and in which order they were made."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, Row, select

from grader.records import ledger, schema
from grader.records.schema import ACCEPTED, AFTER_RETURN, COUNTS, SET_ASIDE, UNREADABLE, WAITS
from grader.records.term.term import Term

LARGEST_KEPT = 50_000_000
RETURNED = "returned"  # the folder of the pages given back

# What a person is told of a hand-in of each kind.
SENTENCES = {
    COUNTS: "",
    UNREADABLE: "",  # its finding says why
    AFTER_RETURN: (
        "It arrived after the sheet with the right answers was returned. It is kept and does not count; to accept it, run "
        "'extend' with a later time and a reason."
    ),
    ACCEPTED: "It arrived after the return and was accepted with an extension.",
    WAITS: "It is kept and does not count until you decide: run 'received' with --accept or --set-aside and a reason.",
    SET_ASIDE: "It was set aside and does not count.",
}


@dataclass(frozen=True, slots=True)
class Arrival:
    """A hand-in about to be put into the records.

    `owner` is (trainee, module, attempt). `arrival` is when it came together with
    others, as a moment of the records: within one arrival the one that says it was
    saved last is the last. `vouched` where the numbers as we issued them lay beside it, or
    where the exchange or an instructor brought it. `reason` is for the ledger.
    """

    owner: tuple[str, str, int]
    sha256: str
    source: str
    received_at: str
    arrival: str
    saved_at: str = ""
    vouched: bool = False
    kind: str = COUNTS
    finding: str = ""
    reason: str = ""

    @property
    def usable(self) -> bool:
        return self.kind in schema.USABLE


def returned_path(term: Term, trainee_id: str, module_key: str, attempt: int) -> Path:
    """Where the page that gives an attempt back lies."""
    name = module_key if attempt == 1 else f"{module_key}-attempt-{attempt}"
    return term.folder / RETURNED / trainee_id / f"{name}.html"


def store(connection: Connection, new: Arrival) -> None:
    """Put a hand-in into records and ledger, inside the caller's transaction."""
    trainee, module, attempt = new.owner
    connection.execute(
        schema.hand_in.insert().values(
            trainee=trainee,
            module=module,
            attempt=attempt,
            received_at=new.received_at,
            arrival=new.arrival,
            saved_at=schema.text(new.saved_at)[:40],
            vouched=new.vouched,
            source=new.source,
            sha256=new.sha256,
            usable=new.usable,
            kind=new.kind,
            finding=schema.text(new.finding),
        )
    )
    entry = ledger.Entry(
        "handed-in",
        trainee=trainee,
        module=module,
        attempt=attempt,
        sha256=new.sha256,
        new=new.received_at,
        reason=new.reason,
        kind=new.kind,
    )
    ledger.append(connection, [entry])


def sentence(row: Row | Arrival) -> str:
    """What there is to say of a hand-in: what became of it, and what was found when it came."""
    return f"{SENTENCES[row.kind]} {row.finding}".strip()


def in_order(row: Row | Arrival) -> tuple[str, str, str, int]:
    """The order of hand-ins of one attempt: by arrival, within one by what each says of its saving."""
    return row.arrival, row.saved_at, row.received_at, getattr(row, "id", 0)


def waiting(connection: Connection) -> set[tuple[str, str, int]]:
    """Attempts with a hand-in that waits for a person's decision: (trainee, module, attempt)."""
    table = schema.hand_in
    rows = connection.execute(select(table).where(table.c.kind == WAITS))
    return {(row.trainee, row.module, row.attempt) for row in rows}


def kept_path(term: Term, sha256: str) -> Path:
    """Where a hand-in of this content is kept."""
    return term.folder / "handed_in" / sha256[:2] / f"{sha256}.json"
