"""Making a term ready for use: folder, nbgrader's tables, our tables."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

from grader.errors import CannotWrite
from grader.records import database as records
from grader.records import ledger
from grader.records.gradebook import gradebook
from grader.records.term import policy_in_force, term
from grader.records.term.term import Term


def new_term(folder: str | Path, *, term_id: str, title: str, zone: str, database: str = "") -> Term:
    """A term folder with its database: the whole of it, or nothing.

    It is made beside its place under a name that begins with a point, and moved there when it
    is complete; what a run that was killed left there is removed by the next one.

    Parameters
    ----------
    folder : path
        New or empty.
    term_id, title, zone : str
    database : str
        Address of an empty PostgreSQL database for this term alone; otherwise the
        records lie in a file in the folder.

    Raises
    ------
    Refused, CannotWrite
        As `term.create`; or the database cannot be made, reached, or is in use. Then no
        folder is made, and the database is as empty as before.
    """
    folder = term.check_new(folder, term_id=term_id, zone=zone)
    if database:
        records.check_free(database)
    half = folder.with_name(f".{folder.name}.making")
    parents = [parent for parent in folder.parents if not parent.exists()]
    shutil.rmtree(half, ignore_errors=True)
    try:
        made = term.create(half, term_id=term_id, title=title, zone=zone, database=database)
        try:
            _fill(made)
            _move(half, folder)
        except BaseException:
            if database:
                records.empty(made)
            raise
    except BaseException as problem:
        shutil.rmtree(half, ignore_errors=True)
        for parent in parents:
            _remove_empty(parent)
        if isinstance(problem, OSError | subprocess.SubprocessError):
            words = getattr(problem, "strerror", None) or problem
            raise CannotWrite(
                f"{folder} could not be made: {getattr(problem, 'filename', None) or 'the database'}: {words}. Nothing was made; "
                "mend that and try again."
            ) from None
        raise
    return term.open_term(folder)


def _fill(made: Term) -> None:
    gradebook.create(made)
    records.create(made)
    with records.transaction(made) as connection:
        ledger.append(connection, [policy_in_force.settings_entry(made, "term made")])


def _move(half: Path, folder: Path) -> None:
    """Put a complete folder into its place; an empty one that is there makes room."""
    if folder.exists():
        folder.rmdir()
    half.rename(folder)


def _remove_empty(folder: Path) -> None:
    try:
        folder.rmdir()
    except OSError:  # somebody put something there meanwhile, or it was never made
        pass
