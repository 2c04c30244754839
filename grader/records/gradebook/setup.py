"""Making a term ready for use: folder, nbgrader's tables, our tables."""

from __future__ import annotations

from pathlib import Path

from grader.records import database as records
from grader.records import ledger
from grader.records.gradebook import gradebook
from grader.records.term import policy_in_force, term
from grader.records.term.term import Term


def new_term(folder: str | Path, *, term_id: str, title: str, zone: str, database: str = "") -> Term:
    """A term folder with its database.

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
        As `term.create`; or the database cannot be reached or is in use. Then no
        folder is made.
    """
    if database:
        records.check_free(database)
    made = term.create(folder, term_id=term_id, title=title, zone=zone, database=database)
    gradebook.create(made)
    records.create(made)
    with records.transaction(made) as connection:
        ledger.append(connection, [policy_in_force.settings_entry(made, "term made")])
    return made
