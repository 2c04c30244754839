"""What `term upgrade` changes in tables that an earlier version made; new tables need no step.

A table that came after the first terms of a version is made when such a term is opened.
"""

from sqlalchemy import inspect, select, text

from grader.records import schema, sent

# Only what can be empty without a loss: any other table that is gone is damage, and is to be seen.
LATE = (sent.table,)


def run(connection):
    """Bring older tables to the shape of `schema`, inside the caller's transaction.

    Each step looks at what it finds, so that one cut short can be run again.
    """
    _pending(connection)
    _unread(connection)


def add_late(connection):
    """Make the tables of `LATE` that a term of this version was made without, inside the caller's transaction."""
    missing = [table for table in LATE if not inspect(connection).has_table(table.name)]
    if missing:
        connection.execute(select(schema.version.c.version).with_for_update()).all()  # one at a time makes them
        schema.metadata.create_all(connection, tables=missing)


def _pending(connection):
    """Versions 1 and 2 did not always keep the marks that wait for the instructor."""
    if "pending" not in _columns(connection, schema.mark):
        connection.execute(text("ALTER TABLE tm_mark ADD COLUMN pending INTEGER NOT NULL DEFAULT 0"))


def _unread(connection):
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


def _columns(connection, table):
    return {column["name"]: column for column in inspect(connection).get_columns(table.name)}
