"""Opening the database of a term: one connection, one transaction at a time."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, Engine, MetaData, create_engine, event, inspect, select
from sqlalchemy.exc import ArgumentError, DBAPIError, OperationalError, SQLAlchemyError
from sqlalchemy.pool import NullPool

from grader import clock
from grader.errors import BadFile, CannotWrite, Refused, TimingMarkError
from grader.records import adjustments, config_file, migrations, schema, sent, vehicles, witnessed  # noqa: F401  they add their tables to schema.metadata

if TYPE_CHECKING:
    from grader.records.term.term import Term

BUSY_SECONDS = 30
# What the driver for PostgreSQL puts before the server's or the system's own reason.
_DRIVERS_WORDS = re.compile(r"^((connection (failed|is bad)|consuming input failed|sending \w+( \w+)? failed): )+")


def engine(term: Term) -> Engine:
    """An SQLAlchemy engine on the term's database.

    On SQLite every transaction that may write takes the write lock at once, so that
    two instructors at work wait for each other instead of failing half-way.
    """
    return _engine(term.database_url, in_words=True)


def check_free(url: str) -> None:
    """Refuse an address that does not lead to an empty PostgreSQL database.

    Raises
    ------
    Refused
        Another kind of database, no driver, or something is in it.
    CannotWrite
        The server does not answer.
    """
    if not url.startswith(("postgresql://", "postgresql+")):
        raise Refused(
            "The address of the database must begin with postgresql://. Leave it out to keep the records in a file in "
            "the term folder; nothing was made."
        )
    made = _engine(url)
    try:
        with made.connect() as connection:
            tables = inspect(connection).get_table_names()
    except DBAPIError as problem:
        raise CannotWrite(f"The database does not answer: {_reason(problem)}. Nothing was made.") from None
    finally:
        made.dispose()
    if tables:
        raise Refused(
            f"The database {made.url.database} already holds {len(tables)} tables. A term needs a database of its own; "
            "make an empty one and name that. Nothing was changed."
        )


@lru_cache(maxsize=16)  # it keeps no connection open, and knows the statements that it met before
def _engine(url, *, in_words=False):
    sqlite = url.startswith("sqlite")
    try:
        made = create_engine(url, poolclass=NullPool, connect_args={"timeout": BUSY_SECONDS} if sqlite else {})
    except ModuleNotFoundError as problem:
        raise Refused(
            f"The database needs the package {problem.name}, which is not installed. Run: python -m pip install "
            "'psycopg[binary]'; then try again."
        ) from None
    except ArgumentError:
        raise Refused(
            "The address of the database cannot be read. It looks like postgresql://name@server/database; mend it in term.toml."
        ) from None
    if sqlite:
        event.listen(made, "connect", _plain_transactions)
        event.listen(made, "begin", _begin)
    if in_words:
        event.listen(made, "handle_error", _say)
    return made


@contextmanager
def transaction(term: Term) -> Iterator[Connection]:
    """A connection whose changes are all kept or none.

    Raises
    ------
    CannotWrite
        Full or read-only disk, or a database that stays locked.
    BadFile
        The file is no database.
    Refused
        The records were made by a later version.
    """
    with connected(term) as connection, connection.begin():
        yield connection


@contextmanager
def reading(term: Term) -> Iterator[Connection]:
    """A connection that looks and cannot write, for a moment: whoever wants to write meanwhile waits for it.

    Raises
    ------
    CannotWrite, BadFile, Refused
        As `transaction`.
    """
    with connected(term, read_only=True) as connection, connection.begin():
        yield connection


@contextmanager
def connected(term: Term, *, read_only: bool = False) -> Iterator[Connection]:
    """A connection for several transactions in a row, each begun with `connection.begin()`.

    Parameters
    ----------
    term : Term
    read_only : bool
        The database itself refuses to write.

    Raises
    ------
    CannotWrite, BadFile, Refused
        As `transaction`.
    """
    made = engine(term)
    try:
        with made.connect() as connection:
            if read_only or term.read_only:
                connection.execution_options(read_only=True, postgresql_readonly=True)
            with connection.begin():
                _check_version(term, connection)
            yield connection
    finally:
        made.dispose()


def create(term: Term) -> None:
    """Make our tables in a new database.

    Raises
    ------
    CannotWrite
        The disk refuses.
    """
    made = engine(term)
    try:
        with made.begin() as connection:
            schema.metadata.create_all(connection)
            if connection.execute(select(schema.version.c.version)).first() is None:
                connection.execute(
                    schema.version.insert().values(version=schema.VERSION, applied_at=clock.to_text(clock.now()))
                )
    finally:
        made.dispose()


def empty(term: Term) -> None:
    """Remove every table of a term that could not be made; its database was empty before."""
    made = engine(term)
    try:
        with made.begin() as connection:
            there = MetaData()
            there.reflect(connection)
            there.drop_all(connection)
    except (SQLAlchemyError, TimingMarkError):  # it does not answer: that is told already
        pass
    finally:
        made.dispose()


def current(term: Term) -> bool:
    """Whether the records are not of an earlier version than this one; nothing is written.

    Raises
    ------
    CannotWrite, BadFile
        As `transaction`.
    """
    made = engine(term)
    try:
        with made.connect() as connection:
            connection.execution_options(read_only=True, postgresql_readonly=True)
            with connection.begin():
                return _found_version(term, connection) >= schema.VERSION
    finally:
        made.dispose()


def upgrade(term: Term) -> tuple[int, Path | None]:
    """Bring the records of an earlier version up to this one, after a copy of the database; nbgrader's settings follow.

    Returns
    -------
    (int, Path or None)
        The version found, and where the copy lies; None where nothing was to
        be done or the database is not a file of ours.

    Raises
    ------
    CannotWrite, BadFile, Refused
        As `transaction`.
    """
    made = engine(term)
    try:
        with made.connect() as connection:
            with connection.begin():
                version = _found_version(term, connection)
            if version > schema.VERSION:
                raise Refused(_later(term, version))
            config_file.write(term.folder)  # terms made before version 5 name a module that has moved
            if version == schema.VERSION:
                return version, None
            copy = None if term.settings.database else _copy(term, version)
            with connection.begin():
                migrations.run(connection)
                schema.metadata.create_all(connection)
                connection.execute(
                    schema.version.insert().values(version=schema.VERSION, applied_at=clock.to_text(clock.now()))
                )
            return version, copy
    finally:
        made.dispose()


def _copy(term, version):
    """A copy of the database file, made by SQLite itself so that it is whole."""
    source = Path(term.folder) / "gradebook.db"
    target = source.with_name(f"gradebook.before-version-{version + 1}.db")
    with closing(sqlite3.connect(source)) as old, closing(sqlite3.connect(target)) as new:
        old.backup(new)
    return target


def _found_version(term, connection):
    if not inspect(connection).has_table("tm_schema"):
        raise BadFile(f"{_place(term)} holds no records of a term. Put the database back from your copy.")
    return (
        connection.execute(select(schema.version.c.version).order_by(schema.version.c.version.desc())).scalars().first()
        or 0
    )


def _check_version(term, connection):
    version = _found_version(term, connection)
    if version < schema.VERSION:
        raise Refused(
            f"The records in {_place(term)} are of version {version}; this version of Timing Mark works with "
            f"{schema.VERSION}. Run 'term upgrade', which keeps a copy; nothing was changed."
        )
    if version > schema.VERSION:
        raise Refused(_later(term, version))


def _later(term, version):
    return (
        f"The records in {_place(term)} are of version {version}; this version of Timing Mark works with "
        f"{schema.VERSION}. Update Timing Mark."
    )


def _plain_transactions(connection, _record):
    connection.isolation_level = None  # we say BEGIN ourselves
    connection.execute("PRAGMA foreign_keys = OFF")  # nbgrader's rows are checked by nbgrader


def _begin(connection):
    """Take the write lock at once, or none at all."""
    if connection.get_execution_options().get("read_only"):
        connection.exec_driver_sql("PRAGMA query_only = ON")
        connection.exec_driver_sql("BEGIN")
    else:
        connection.exec_driver_sql("BEGIN IMMEDIATE")


def _place(term):
    return _place_at(engine(term).url)


def _place_at(url):
    return str(Path(url.database)) if url.get_backend_name() == "sqlite" else "the term's database"


def _say(context):
    """Raise a sentence of ours in place of what a driver says, wherever in a transaction that happens."""
    problem = context.sqlalchemy_exception
    if isinstance(problem, DBAPIError):
        translated = _translated(context.engine.url, problem)
        if translated is not problem:
            raise translated


def _translated(url, problem):
    reason, place = _reason(problem), _place_at(url)
    if any(sign in reason for sign in ("not a database", "malformed", "no such table")):
        return BadFile(f"{place} is damaged: {reason}. Put it back from your copy.")
    if isinstance(problem, OperationalError):
        if "readonly" in reason:
            return Refused(f"{place} is opened to be looked at only. Nothing was changed.")
        if "locked" in reason:
            return CannotWrite(
                f"Someone else is writing to {place} for {BUSY_SECONDS} s. Nothing was changed; try again."
            )
        if url.get_backend_name() != "sqlite":
            return CannotWrite(f"The term's database does not answer: {reason}. Nothing was changed; try again later.")
        return CannotWrite(
            f"{place} could not be written: {reason}. Free the disk or allow writing; nothing was changed."
        )
    return problem


def _reason(problem):
    """The first line of what a database said, without its driver's own words; the rest can be long, and name people."""
    first = (str(problem.orig).strip().splitlines() or ["no reason given"])[0].rstrip(".")
    return _DRIVERS_WORDS.sub("", first)
