"""Making a term ready for use: folder, nbgrader's tables, our tables."""

from grader.course import gradebook, term
from grader.course.records import database, ledger


def new_term(folder, *, term_id, title, zone):
    """A term folder with its database.

    Raises
    ------
    Refused, CannotWrite
        As `term.create`.
    """
    made = term.create(folder, term_id=term_id, title=title, zone=zone)
    gradebook.create(made)
    database.create(made)
    with database.transaction(made) as connection:
        ledger.append(connection, [ledger.Entry("settings", new=made.id, reason="term made")])
    return made
