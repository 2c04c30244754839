"""term new|show|policy|verify|upgrade|delete-person|delete-class|retention and roster import|list."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.output import findings, say

Reason = Annotated[str, typer.Option(help="Why; kept in the ledger, so without the name.")]

app = typer.Typer(no_args_is_help=True, help="The term folder: make it, show it, prove it.")
roster_app = typer.Typer(no_args_is_help=True, help="Who is enrolled.")

TermFolder = Annotated[Path, typer.Option("--term", help="The term folder; otherwise the current folder.")]
HERE = Path(".")


@app.command("new")
def new(
    folder: Annotated[Path, typer.Argument(help="A new folder, outside the project's own.")],
    term_id: Annotated[str, typer.Option("--id", help="Small letters, figures, - and _.")],
    title: Annotated[str, typer.Option(help="What people call this class.")] = "",
    zone: Annotated[str, typer.Option(help="Time zone, such as Europe/Lisbon.")] = "UTC",
    database: Annotated[str, typer.Option(help="An empty PostgreSQL database of its own; else a file here.")] = "",
) -> None:
    """Make a term folder with settings, key and records."""
    from grader.records.gradebook import setup

    made = setup.new_term(folder, term_id=term_id, title=title or term_id, zone=zone, database=database)
    say(f"Term {made.id} is ready in {made.folder}. Settings: term.toml. Next: roster import.")


@app.command("show")
def show(term: TermFolder = HERE) -> None:
    """Show settings and how far each module has come."""
    from grader.course.attempts import overview
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    for line in (*overview.lines(opened), *terms.open_to_others(opened.folder)):
        say(line)


@app.command("policy")
def policy(
    path: Annotated[Path | None, typer.Argument(help="A policy to put in force; otherwise say what is.")] = None,
    example: Annotated[bool, typer.Option("--example", help="Write an explained policy to begin with.")] = False,
    reason: Annotated[str, typer.Option(help="Why; it stands in the ledger.")] = "",
    term: Annotated[
        list[Path] | None, typer.Option("--term", help="A term folder; may be given several times.")
    ] = None,
) -> None:
    """Pass marks of modules, thresholds of objectives, what must be met, and how modules add up.

    With --reason alone it notes in the ledger that term.toml was changed, and why.
    """
    from grader import files
    from grader.records.term import policy as rules
    from grader.records.term import policy_in_force
    from grader.records.term import term as terms

    if example:
        path = path or Path(rules.NAME)
        files.write_new(path, rules.EXAMPLE)
        say(f"Written: {path}. Change it as you like; then run the command without --example.")
        return
    folders = term or [HERE]
    if path:
        policy_in_force.adopt([terms.open_term(folder) for folder in folders], path, reason=reason)
    elif reason:
        policy_in_force.note_settings([terms.open_term(folder) for folder in folders], reason=reason)
    for opened in [terms.open_term(folder) for folder in folders]:
        say(f"{opened.id}:")
        for line in policy_in_force.lines(opened):
            say(f"  {line}")


@app.command("verify")
def verify(term: TermFolder = HERE) -> None:
    """Check the ledger and mark everything again from the kept hand-ins."""
    from grader.course.audit import verify as proof
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    proved = proof.verify(opened)
    say(proved.summary)
    findings([*proved.findings, *terms.open_to_others(opened.folder)])


@app.command("upgrade")
def upgrade(term: TermFolder = HERE) -> None:
    """Bring a term made by an earlier version up to this one, after a copy, and close its folder to others."""
    from grader.records import database, schema
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    if terms.close(opened.folder):
        say(f"{opened.folder} is closed to other people on this machine now.")
    version, copy = database.upgrade(opened)
    if version == schema.VERSION:
        say(f"The records are of version {version}; nothing was to be done.")
    else:
        say(
            f"The records went from version {version} to {schema.VERSION}." + (f" The old ones: {copy}" if copy else "")
        )


@roster_app.command("import")
def import_list(
    path: Annotated[Path, typer.Argument(help="A class list as text: id, last name, first name, perhaps group.")],
    preview: Annotated[bool, typer.Option("--preview", help="Say what would change; store nothing.")] = False,
    term: TermFolder = HERE,
) -> None:
    """Store a class list. Whoever is no longer on it becomes withdrawn; nobody is deleted."""
    from grader.records.term import roster
    from grader.records.term import term as terms

    outcome = roster.import_list(terms.open_term(term), path, preview=preview)
    notes = outcome.pop("notes")
    say(", ".join(f"{len(people)} {what}" for what, people in outcome.items()) + ".")
    for what in ("added", "changed", "withdrawn") if preview else ("changed", "withdrawn"):
        for person in outcome[what]:
            say(f"  {what}: {person.college_id} {person.name}")
    for note in notes:
        say(f"  note: {note}")
    if preview:
        say("Nothing was stored. Run it again without --preview to store it.")


@roster_app.command("list")
def list_people(term: TermFolder = HERE) -> None:
    """List everybody with id, name, group and status."""
    from grader.records import database
    from grader.records.term import roster
    from grader.records.term import term as terms

    with database.transaction(terms.open_term(term)) as connection:
        for person in roster.everyone(connection):
            say(f"{person.college_id:<14} {person.name:<32} {person.group:<8} {person.status}")


@app.command("delete-person")
def delete_person(
    trainee: Annotated[str, typer.Argument(help="The trainee's id.")],
    reason: Reason,
    term: TermFolder = HERE,
) -> None:
    """Delete one trainee for good: records, hand-ins, returned sheets, and every export of the class."""
    from grader.course.audit import deletion
    from grader.records.term import term as terms

    _say_deleted(deletion.delete_person(terms.open_term(term), trainee, reason=reason))


@app.command("delete-class")
def delete_class(
    reason: Reason,
    everybody: Annotated[bool, typer.Option("--everybody", help="Say that this is meant.")] = False,
    term: TermFolder = HERE,
) -> None:
    """Delete everybody in the term for good; settings and the ledger's chain stay."""
    from grader.course.audit import deletion
    from grader.errors import Refused
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    if not everybody:
        raise Refused(
            f"This deletes everybody in {opened.id} for good. Add --everybody if it is meant; nothing was changed."
        )
    _say_deleted(deletion.delete_class(opened, reason=reason))


@app.command("retention")
def retention(term: TermFolder = HERE) -> None:
    """Show until when records are kept, and whether that day has passed."""
    from grader.records.term import term as terms
    from grader.reports.tables import scope

    opened = terms.open_term(term)
    until, passed = scope.retention(opened)
    say(f"{opened.id}: records are kept until {until} ({opened.settings.retention_years} years after the term).")
    findings(["That day has passed. Delete the class with 'term delete-class'."] if passed else [])


def _say_deleted(done) -> None:
    say(f"{done.people} deleted: {done.files} files removed or rewritten, {done.ledger_rows} ledger rows emptied.")
    say("Exports and reports of the class are gone too; make them again. Copies elsewhere are yours to delete.")
    findings(done.findings)
