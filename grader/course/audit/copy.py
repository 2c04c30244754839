"""A second copy of a term in a safe place, proved as soon as it is made."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

from grader import clock
from grader.course.audit import verify
from grader.course.audit.verify import Proof
from grader.errors import CannotWrite, Refused
from grader.records import lock
from grader.records.term import term as terms
from grader.records.term.term import Term

_RECORDS = "gradebook.db"


def copy(term: Term, place: str | Path) -> tuple[Path, Proof]:
    """Copy a term folder into a new folder at some place, and check the copy as `verify` does; the term stays as it is.

    The records are copied by SQLite itself, so that the copy is whole also while somebody works.

    Parameters
    ----------
    term : Term
    place : path
        A folder that is there, such as a drive or a folder of the college, and lies outside the term.

    Returns
    -------
    (Path, Proof)
        Where the copy lies, and what was found in it.

    Raises
    ------
    Refused
        No such folder, or one inside the term; the records lie on a server.
    CannotWrite
        The place refuses or is full; what was copied of it is removed.
    """
    place = Path(place).expanduser().absolute()
    if not place.is_dir():
        raise Refused(f"{place} is no folder. Name a folder that is there, on another drive; nothing was copied.")
    if place.resolve().is_relative_to(term.folder.resolve()):
        raise Refused(f"{place} lies in the class's own folder. Name a place outside it; nothing was copied.")
    if term.settings.database:
        raise Refused(
            "The records of this class lie on a database server, which has copies of its own; a copy of the folder alone would "
            "hold no marks. Nothing was copied."
        )
    stamp = clock.now().astimezone(clock.zone(term.settings.zone)).strftime("%Y-%m-%d %H%M%S")
    target = place / f"{term.id} {stamp}"
    try:
        with lock.shared(term):
            shutil.copytree(
                term.folder, target, symlinks=True, ignore=shutil.ignore_patterns(f"{_RECORDS}*", lock.NAME)
            )
            source = sqlite3.connect(f"file:{(term.folder / _RECORDS).as_posix()}?mode=ro", uri=True)
            with closing(source), closing(sqlite3.connect(target / _RECORDS)) as copied:
                source.backup(copied)
            shutil.copymode(term.folder / _RECORDS, target / _RECORDS)
    except (OSError, sqlite3.Error) as problem:
        shutil.rmtree(target, ignore_errors=True)
        raise CannotWrite(
            f"{target} could not be written: {problem}. Nothing was copied; choose another place."
        ) from None
    return target, verify.verify(terms.open_term(target, read_only=True))
