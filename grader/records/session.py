"""Working on a term: held against others, inside a transaction, or only read.

Every change of a term's records goes through `begin`, and so does whatever looks at
them as if it would change them: a session that only reads writes nothing at all.
"""

from __future__ import annotations

import hashlib
import platform
import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from sqlalchemy import Connection

from grader.errors import CannotWrite, Refused
from grader.records import adjustments, database, head, ledger, lock
from grader.records.adjustments import Adjustments

if TYPE_CHECKING:
    from grader.records.term.term import Term


class Session:
    """One piece of work on a term.

    `connection` begins a transaction by itself. Whatever was done since the last
    `keep` is kept or lost as a whole. `assumed` are marks by hand that formgrader shows
    and that a session which only reads cannot take over: (owner, exercise key, hundredths
    or None). What is `rehearsed` is done and then taken back: it shows what would come of it.
    """

    def __init__(self, term: Term, connection: Connection, *, read_only: bool, rehearsed: bool = False) -> None:
        self.term, self.connection, self.read_only, self.rehearsed = term, connection, read_only, rehearsed
        self.assumed: list[tuple] = []
        self.kept = False  # whether something was committed that stands whatever comes

    def decisions(self) -> Adjustments:
        """What people decided about single trainees, as it stands now."""
        return adjustments.read(self.connection).with_overrides(self.assumed)

    def keep(self) -> None:
        """Let what was done so far stand, whatever comes afterwards; a long run can be cut short and goes on from there.

        Until the next look at the database nobody else has to wait for it. Of what is rehearsed nothing stands.
        """
        if not self.rehearsed:
            self.connection.commit()
            self.kept = True


@contextmanager
def begin(term: Term, doing: str, *, read_only: bool = False, rehearse: bool = False) -> Iterator[Session]:
    """Work on a term while a block runs; what the block did is kept, or nothing of it if it fails.

    Parameters
    ----------
    term : Term
    doing : str
        For whoever has to wait: "storing a vehicle".
    read_only : bool
        Look only: the database refuses to write, and no file of the term is touched. Of a term that was
        opened to be read only this is always so.
    rehearse : bool
        Take back in the end whatever the block did in the records. Files are not taken back: the block
        must write none.

    Raises
    ------
    Refused
        Somebody else holds the term for very long, or its records are of another version; a rehearsal in a
        term that is opened to be read only.
    CannotWrite, BadFile
        As `database.connected`.
    """
    if term.read_only and rehearse:
        raise Refused(f"{term.settings.title} is opened to be looked at only. Nothing was changed.")
    if read_only or term.read_only:
        with lock.shared(term), database.connected(term, read_only=True) as connection:
            yield from _block(Session(term, connection, read_only=True))
    else:
        with lock.exclusive(term, doing), database.connected(term) as connection:
            if term.settings.database and not rehearse:
                _only_from_here(term, connection)
            yield from _block(Session(term, connection, read_only=False, rehearsed=rehearse))


def work_from_here(term: Term) -> None:
    """Let this copy of a term folder be the one that works on the records on a server from now on.

    Raises
    ------
    Refused
        The records lie in the folder itself, which each copy has for itself.
    """
    if not term.settings.database:
        raise Refused("The records of this term lie in its folder, so every copy has its own. Nothing was changed.")
    with lock.exclusive(term, "moving a term"), database.connected(term) as connection, connection.begin():
        ledger.append(connection, [_place(term)])


def _only_from_here(term: Term, connection: Connection) -> None:
    """Hand-ins lie in the folder: two copies of it on one server would each keep a part, and lock only themselves."""
    here = _place(term)
    with connection.begin():
        noted = [e["new"] for _, _, e in ledger.entries(connection, here.event) if e["kind"] == ledger.PLACE]
        if not noted:
            ledger.append(connection, [here])
    if noted and noted[-1] != here.new:
        raise Refused(
            f"The records of {term.id} on the server are worked on from another copy of this folder, or from where this one lay "
            "before. Two copies would each keep a part of the hand-ins. Work in the other one; if this is the only one now, run "
            "'term upgrade --here'. Nothing was changed."
        )


def _place(term: Term) -> ledger.Entry:
    where = f"{platform.node()}\n{term.folder.resolve()}"
    mark = hashlib.sha256(where.encode()).hexdigest()[:16]
    return ledger.Entry("settings", new=f"folder {mark}", reason="worked on from here", kind=ledger.PLACE)


def _block(work: Session) -> Iterator[Session]:
    try:
        yield work
    except CannotWrite as problem:
        work.connection.rollback()
        words = str(problem)
        if work.kept and "othing was changed" in words:  # the sentence knows only of its own transaction
            sentence = re.sub(r"[;.] [Nn]othing was changed", "; what was kept before it stands", words)
            raise CannotWrite(sentence) from None
        raise
    except BaseException:
        work.connection.rollback()
        raise
    if work.rehearsed:
        work.connection.rollback()
        return
    work.connection.commit()
    if not work.read_only:
        with work.connection.begin():
            head.remember(work.term, work.connection)
