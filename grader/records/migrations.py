"""What `term upgrade` changes in tables that an earlier version made; new tables need no step.

Each step looks at what it finds, so that one cut short can be run again. What stands here
of earlier versions, words too, is theirs and is never changed.
"""

from __future__ import annotations

import json

from sqlalchemy import Connection, Row, Table, inspect, select, text

from grader import catalogue
from grader.errors import BadSheet
from grader.exercise.sheet import Answer, Sheet
from grader.marking.mark import mark_sheet
from grader.marking.verdict import UNREADABLE
from grader.records import answers, schema

# Sentences in which versions before 5 kept what became of a hand-in.
_BARRED = (
    "It arrived after the sheet with the right answers was returned. It is kept and does not count; to accept it, run "
    "'extend' with a later time and a reason."
)
_ACCEPTED = "It arrived after the return and was accepted with an extension."
_CHANNELS = ("zips", "folder", "exchange", "paper")


def run(connection: Connection) -> None:
    """Bring older tables to the shape of `schema`, inside the caller's transaction."""
    _add(connection, schema.mark, "pending", "INTEGER NOT NULL DEFAULT 0")  # versions 1 and 2 did not always have it
    new_answers = _add(connection, schema.answer, *_texts("chosen", "why", "own", "target", "width"))
    _unread(connection)
    _add(connection, schema.assignment, *_texts("withdrawn"))
    if _add(
        connection, schema.hand_in, *_texts("kind", "arrival", "saved_at"), "vouched", "BOOLEAN NOT NULL DEFAULT FALSE"
    ):
        _hand_ins(connection)
    if not inspect(connection).has_table(schema.delivery.name):
        schema.delivery.create(connection)
        _deliveries(connection)
    if new_answers:
        _explain(connection)


def _texts(*names: str) -> list[str]:
    return [word for name in names for word in (name, "TEXT NOT NULL DEFAULT ''")]


def _add(connection: Connection, table: Table, *columns: str) -> bool:
    """Add columns, each a name and its kind, that are not there yet; says whether any was missing."""
    have, missing = _columns(connection, table), list(zip(columns[::2], columns[1::2], strict=True))
    missing = [(name, kind) for name, kind in missing if name not in have]
    for name, kind in missing:
        connection.execute(text(f"ALTER TABLE {table.name} ADD COLUMN {name} {kind}"))
    return bool(missing)


def _unread(connection: Connection) -> None:
    """An answer that waits to be read has no mark; version 1 demanded one."""
    if _columns(connection, schema.answer)["hundredths"]["nullable"]:
        return
    if connection.dialect.name != "sqlite":
        connection.execute(text("ALTER TABLE tm_answer ALTER COLUMN hundredths DROP NOT NULL"))
        return
    # SQLite cannot loosen a column: the table is made anew beside the old one.
    for name in [index.name for index in schema.answer.indexes]:
        connection.execute(text(f"DROP INDEX IF EXISTS {name}"))
    connection.execute(text("ALTER TABLE tm_answer RENAME TO tm_answer_before"))
    schema.answer.create(connection)
    names = ", ".join(column.name for column in schema.answer.columns)
    connection.execute(text(f"INSERT INTO tm_answer ({names}) SELECT {names} FROM tm_answer_before"))
    connection.execute(text("DROP TABLE tm_answer_before"))


def _hand_ins(connection: Connection) -> None:
    """What became of each stood in its sentence; each came by itself, and what it says of its saving was not kept."""
    table = schema.hand_in
    for row in connection.execute(select(table)).all():
        kind, words = schema.COUNTS, row.finding
        if _BARRED in words:
            kind = schema.AFTER_RETURN
        elif not row.usable:
            kind = schema.UNREADABLE
        elif _ACCEPTED in words:
            kind = schema.ACCEPTED
        words = " ".join(words.replace(_BARRED, "").replace(_ACCEPTED, "").split())
        values = {"kind": kind, "finding": words, "arrival": row.received_at}
        connection.execute(table.update().where(table.c.id == row.id).values(**values))


def _deliveries(connection: Connection) -> None:
    """How numbers reached a trainee stood in the ledger alone."""
    query = select(schema.ledger).where(schema.ledger.c.event == "issued", schema.ledger.c.payload.is_not(None))
    rows = {}
    for row in connection.execute(query.order_by(schema.ledger.c.seq)):
        entry = json.loads(row.payload)
        channel = entry["new"] if entry["new"] in _CHANNELS else "zips"
        key = (entry["trainee"], entry["module"], entry["attempt"] or 1, channel)
        rows.setdefault(key, dict(zip(("trainee", "module", "attempt", "channel"), key, strict=True)) | {"at": row.at})
    if rows:
        connection.execute(schema.delivery.insert(), list(rows.values()))


def _explain(connection: Connection) -> None:
    """Why a verdict was given had to be found by marking the same answers again; now it is kept.

    The marks stand. An answer whose verdict does not come out again keeps no explanation.
    """
    issues, table = schema.issue, schema.answer
    for issue in connection.execute(select(issues)).all():
        mine = [table.c[name] == getattr(issue, name) for name in ("trainee", "module", "attempt")]
        rows = {row.part: row for row in connection.execute(select(table).where(*mine))}
        for part, values in _explained(issue, rows).items():
            connection.execute(table.update().where(*mine, table.c.part == part).values(**values))


def _explained(issue: Row, rows: dict[str, Row]) -> dict[str, dict]:
    exercises = json.loads(issue.record)["exercises"]
    try:
        module = catalogue.module(issue.module)
        parts = module.as_issued(exercises).by_path
        typed = {
            path: Answer(row.raw, _chosen(row, parts[path][1]), exercises[row.exercise]["version"])
            for path, row in rows.items()
        }
        again = mark_sheet(module, exercises, Sheet("", issue.module, issue.trainee, issue.attempt, typed))
    except (BadSheet, LookupError):
        return {}
    explained = {path: {"chosen": answer.unit} for path, answer in typed.items()}
    for mark in again.parts:
        if mark.path in rows and mark.verdict == rows[mark.path].verdict:
            explained[mark.path] = answers.explained(mark, typed[mark.path].unit)
    return explained


def _chosen(row: Row, part) -> str:
    """The unit that was chosen beside an answer; empty for the asked one.

    A row named the asked unit where the sheet named none. Read again with that one, "0.5 s" would contradict it, where
    milliseconds are asked; only what could not be read for such a reason goes with the unit as it stands.
    """
    return "" if row.unit == part.unit and row.verdict != UNREADABLE else row.unit


def _columns(connection: Connection, table: Table) -> dict:
    return {column["name"]: column for column in inspect(connection).get_columns(table.name)}
