"""term delete-person, delete-class and retention."""

from typing import Annotated

import typer

from grader.cli.output import findings, say
from grader.cli.term import HERE, TermFolder

Reason = Annotated[str, typer.Option(help="Why; kept in the ledger, so without the name.")]


def add_to(app):
    """Put the commands under `term`."""
    app.command("delete-person")(delete_person)
    app.command("delete-class")(delete_class)
    app.command("retention")(retention)


def delete_person(
    trainee: Annotated[str, typer.Argument(help="The trainee's id.")],
    reason: Reason,
    term: TermFolder = HERE,
):
    """Delete one trainee for good: records, hand-ins, returned sheets, and every export of the class."""
    from grader.course.audit import deletion
    from grader.records.term import term as terms

    _say(deletion.delete_person(terms.open_term(term), trainee, reason=reason))


def delete_class(
    reason: Reason,
    everybody: Annotated[bool, typer.Option("--everybody", help="Say that this is meant.")] = False,
    term: TermFolder = HERE,
):
    """Delete everybody in the term for good; settings and the ledger's chain stay."""
    from grader.course.audit import deletion
    from grader.errors import Refused
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    if not everybody:
        raise Refused(
            f"This deletes everybody in {opened.id} for good. Add --everybody if it is meant; nothing was changed."
        )
    _say(deletion.delete_class(opened, reason=reason))


def retention(term: TermFolder = HERE):
    """Show until when records are kept, and whether that day has passed."""
    from grader import clock
    from grader.records import database
    from grader.records.term import term as terms
    from grader.reports.tables import scope

    opened = terms.open_term(term)
    with database.transaction(opened) as connection:
        until = scope.keep_until(opened, connection)
    today = clock.now().astimezone(clock.zone(opened.settings.zone)).date()
    say(f"{opened.id}: records are kept until {until} ({opened.settings.retention_years} years after the term).")
    findings([] if today <= until else ["That day has passed. Delete the class with 'term delete-class'."])


def _say(done):
    say(f"{done.people} deleted: {done.files} files removed or rewritten, {done.ledger_rows} ledger rows emptied.")
    say("Exports and reports of the class are gone too; make them again. Copies elsewhere are yours to delete.")
    findings(done.findings)
