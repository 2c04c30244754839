"""Working on a term: held against others, inside a transaction, or only read.

Every change of a term's records goes through `begin`, and so does whatever looks at
them as if it would change them: a session that only reads writes nothing at all.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from sqlalchemy import Connection

from grader.records import adjustments, database, head, lock
from grader.records.adjustments import Adjustments

if TYPE_CHECKING:
    from grader.records.term.term import Term


class Session:
    """One piece of work on a term.

    `connection` begins a transaction by itself. Whatever was done since the last
    `keep` is kept or lost as a whole. `assumed` are marks by hand that formgrader shows
    and that a session which only reads cannot take over: (owner, exercise key, hundredths
    or None).
    """

    def __init__(self, term: Term, connection: Connection, *, read_only: bool) -> None:
        self.term, self.connection, self.read_only = term, connection, read_only
        self.assumed: list[tuple] = []

    def decisions(self) -> Adjustments:
        """What people decided about single trainees, as it stands now."""
        return adjustments.read(self.connection).with_overrides(self.assumed)

    def keep(self) -> None:
        """Let what was done so far stand, whatever comes afterwards; a long run can be cut short and goes on from there.

        Until the next look at the database nobody else has to wait for it.
        """
        self.connection.commit()


@contextmanager
def begin(term: Term, doing: str, *, read_only: bool = False) -> Iterator[Session]:
    """Work on a term while a block runs; what the block did is kept, or nothing of it if it fails.

    Parameters
    ----------
    term : Term
    doing : str
        For whoever has to wait: "storing a vehicle".
    read_only : bool
        Look only: the database refuses to write, and no file of the term is touched.

    Raises
    ------
    Refused
        Somebody else holds the term for very long, or its records are of another version.
    CannotWrite, BadFile
        As `database.connected`.
    """
    if read_only:
        with lock.shared(term), database.connected(term, read_only=True) as connection:
            yield from _block(Session(term, connection, read_only=True))
    else:
        with lock.exclusive(term, doing), database.connected(term) as connection:
            yield from _block(Session(term, connection, read_only=False))


def _block(work: Session) -> Iterator[Session]:
    try:
        yield work
    except BaseException:
        work.connection.rollback()
        raise
    work.connection.commit()
    if not work.read_only:
        with work.connection.begin():
            head.remember(work.term, work.connection)
