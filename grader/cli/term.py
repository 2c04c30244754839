"""term new|show|policy|verify|copy|upgrade|delete-person|delete-class|retention and roster import|list."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from grader.cli.output import ask, confirmed, fail, findings, say

if TYPE_CHECKING:
    from grader.course.attempts.policy_change import Change
    from grader.course.audit.deletion import Doomed
    from grader.records.term.roster import Imported

Elsewhere = Annotated[
    bool, typer.Option("--elsewhere", help="Also exports that this program wrote into other folders.")
]
PASSED = {"yes": "passed", "no": "not passed", "open": "open until everything is read"}
Reason = Annotated[str, typer.Option(help="Why; kept in the ledger, so without the name.")]

app = typer.Typer(no_args_is_help=True, help="The term folder: make it, show it, prove it.")
roster_app = typer.Typer(no_args_is_help=True, help="Who is enrolled.")

TermFolder = Annotated[Path, typer.Option("--term", help="The term folder; otherwise the current folder.")]
HERE = Path(".")


@app.command("new")
def new(
    folder: Annotated[Path, typer.Argument(help="A new folder, outside the project's own.")],
    term_id: Annotated[
        str, typer.Option("--id", help="Small letters, figures, - and _; otherwise from the folder's name.")
    ] = "",
    title: Annotated[str, typer.Option(help="What people call this class.")] = "",
    zone: Annotated[str, typer.Option(help="Time zone, such as Europe/Lisbon; otherwise this machine's.")] = "",
    database: Annotated[str, typer.Option(help="An empty PostgreSQL database of its own; else a file here.")] = "",
) -> None:
    """Make a term folder with settings, key and records."""
    from grader import clock
    from grader.records.gradebook import setup
    from grader.records.term import term as terms

    term_id, zone = term_id or terms.id_for(folder), zone or clock.here()
    made = setup.new_term(folder, term_id=term_id, title=title or term_id, zone=zone, database=database)
    say(f"Term {made.id} is ready in {made.folder}. Settings: term.toml. Next: roster import.")
    say(f"Times are those of {zone}. If that is wrong, change zone in term.toml before you assign anything.")


@app.command("show")
def show(
    receipts: Annotated[
        bool, typer.Option("--receipts", help="Also the receipt of each trainee's last hand-in.")
    ] = False,
    term: TermFolder = HERE,
) -> None:
    """Show settings, how far each module has come, and who has an extension or a resit that is still open."""
    from grader.course.attempts import overview
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    more = overview.receipts(opened) if receipts else ()
    for line in (*overview.lines(opened), *more, *terms.open_to_others(opened.folder)):
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

    A policy without --reason shows what it would change, and who would pass or not; with one it is put in force.
    --reason alone notes in the ledger that term.toml was changed, and why.
    """
    from grader import files
    from grader.course.attempts import policy_change
    from grader.records.term import policy as rules
    from grader.records.term import policy_in_force
    from grader.records.term import term as terms

    if example:
        path = path or Path(rules.NAME)
        files.write_new(path, rules.EXAMPLE)
        say(f"Written: {path}. Change it as you like; then run the command without --example.")
        return
    folders = term or [HERE]
    classes = [terms.open_term(folder) for folder in folders]
    if path and not reason.strip():
        for change in policy_change.preview(classes, path):
            _say_policy(change)
        say("Nothing was changed. Add --reason to put it in force.")
        return
    if path:
        new = [term.id for term in policy_in_force.adopt(classes, path, reason=reason)]
        for opened in classes:
            if opened.id not in new:
                say(f"{opened.id}: this policy is in force already; nothing was written.")
    elif reason:
        policy_in_force.note_settings(classes, reason=reason)
    for opened in [terms.open_term(folder) for folder in folders]:
        say(f"{opened.id}:")
        for line in policy_in_force.lines(opened):
            say(f"  {line}")


def _say_policy(change: "Change") -> None:
    say(f"{change.term.id}:")
    if change.same:
        say("  This policy is in force already.")
    for line in change.now:
        say(f"  now:  {line}")
    for line in change.then:
        say(f"  then: {line}")
    for moved in change.moved:
        was, would = (PASSED.get(word, word or "not decided") for word in (moved.before, moved.after))
        say(f"  {moved.person.college_id} {moved.person.name}, {moved.module}: {was} -> {would}")
    if not change.same and not change.moved:
        say("  Nobody would pass or fail otherwise than now.")


@app.command("verify")
def verify(term: TermFolder = HERE) -> None:
    """Check the ledger and mark everything again from the kept hand-ins."""
    from grader.course.audit import verify as proof
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    proved = proof.verify(opened)
    say(proved.summary)
    findings([*proved.findings, *terms.open_to_others(opened.folder)])


@app.command("copy")
def copy(
    place: Annotated[Path, typer.Argument(help="A folder on another drive; the copy gets a new folder in it.")],
    term: TermFolder = HERE,
) -> None:
    """Copy the whole term folder to a second safe place, and check the copy."""
    from grader.course.audit import copy as copies
    from grader.records.term import term as terms

    target, proved = copies.copy(terms.open_term(term), place)
    say(f"Copied: {target}")
    say(proved.summary)
    findings(proved.findings)


@app.command("share")
def share(
    group: Annotated[str, typer.Argument(help="A group of this machine with both accounts in it.")] = "",
    stop: Annotated[bool, typer.Option("--stop", help="Close it to all but its owner again.")] = False,
    term: TermFolder = HERE,
) -> None:
    """Let a second instructor's account on this machine work in the term folder: everybody in one group, nobody else."""
    from grader.records.term import share as sharing
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    if stop:
        terms.close(opened.folder)
        say(f"{opened.folder} is for its owner alone now.")
        return
    if not group:
        shared_by = sharing.group_of(opened.folder)
        say(f"{opened.folder} is shared by the group {shared_by}." if shared_by else f"{opened.folder} is not shared.")
        return
    hindrances = sharing.share(opened, group)
    say(f"{opened.folder} is shared by the group {group}, and closed to everybody else.")
    findings(hindrances)


@app.command("upgrade")
def upgrade(
    here: Annotated[
        bool, typer.Option("--here", help="With PostgreSQL: the folder was moved, and is the only copy now.")
    ] = False,
    term: TermFolder = HERE,
) -> None:
    """Bring a term made by an earlier version up to this one, after a copy, and close its folder to others."""
    from grader.records import database, schema, session
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    if terms.open_to_others(opened.folder) and terms.close(opened.folder):
        say(f"{opened.folder} is closed to other people on this machine now.")
    version, copy = database.upgrade(opened)
    if here:
        session.work_from_here(opened)
        say(f"The records on the server are worked on from {opened.folder} now.")
    if version == schema.VERSION:
        say(f"The records are of version {version}; nothing was to be done.")
    else:
        say(
            f"The records went from version {version} to {schema.VERSION}." + (f" The old ones: {copy}" if copy else "")
        )


@roster_app.command("import")
def import_list(
    path: Annotated[Path, typer.Argument(help="A class list, CSV or .xlsx: id, last name, first name, perhaps group.")],
    preview: Annotated[bool, typer.Option("--preview", help="Say what would change; store nothing.")] = False,
    yes: Annotated[
        bool, typer.Option("--yes", help="Store it although it would withdraw many, or ids look odd.")
    ] = False,
    term: TermFolder = HERE,
) -> None:
    """Store a class list. Whoever is no longer on it becomes withdrawn; nobody is deleted."""
    from grader.records.term import roster
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    outcome = roster.import_list(opened, path, preview=preview, confirmed=yes)
    _say_imported(outcome)
    if outcome.stored:
        return
    for doubt in outcome.doubts:
        say(f"  ! {doubt}")
    if preview:
        say("Nothing was stored. Run it again without --preview to store it.")
    elif sys.stdin.isatty() and confirmed("Store this list all the same?"):
        roster.import_list(opened, path, confirmed=True)
        say("Stored.")
    else:
        fail("Nothing was stored. If the list is right as it is, run it again with --yes.")


def _say_imported(outcome: "Imported") -> None:
    from grader.records.term import roster

    say(
        f"{len(outcome.added)} added, {len(outcome.changed)} changed, {len(outcome.withdrawn)} withdrawn, "
        f"{len(outcome.unchanged)} unchanged."
    )
    for person in outcome.added if not outcome.stored else ():
        say(f"  added: {person.college_id} {person.name}")
    for before, after in outcome.changed:
        say(f"  changed: {after.college_id} {roster.difference(before, after)}")
    for person in outcome.withdrawn:
        say(f"  withdrawn: {person.college_id} {person.name}")
    for note in outcome.notes:
        say(f"  note: {note}")


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
    yes_id: Annotated[str, typer.Option(help="The id again, for a script; otherwise it is asked for.")] = "",
    elsewhere: Elsewhere = False,
    term: TermFolder = HERE,
) -> None:
    """Delete one trainee for good: records, hand-ins, returned sheets, and every export of the class."""
    from grader.course.audit import deletion
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    doomed = deletion.preview(opened, trainee)
    deletion.check_reason(doomed.people, reason)
    [person] = doomed.people
    say(f"{person.college_id}  {person.name}" + (f"  ({person.group})" if person.group else ""))
    _say_doomed(doomed, elsewhere)
    again = yes_id or ask("This cannot be undone. Type the id again to delete", default="", show_default=False)
    if again.strip().casefold() not in (person.college_id.casefold(), person.id):
        fail(f"{again.strip()[:60]!r} is not the id of {person.name}, {person.college_id}. Nothing was deleted.")
    _say_deleted(deletion.delete_person(opened, trainee, reason=reason, elsewhere=elsewhere))


@app.command("delete-class")
def delete_class(
    reason: Reason,
    everybody: Annotated[bool, typer.Option("--everybody", help="Say that this is meant.")] = False,
    elsewhere: Elsewhere = False,
    term: TermFolder = HERE,
) -> None:
    """Delete everybody in the term for good; settings and the ledger's chain stay."""
    from grader.course.audit import deletion
    from grader.errors import Refused
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    doomed = deletion.preview(opened)
    if not everybody:
        raise Refused(
            f"This deletes everybody in {opened.id} for good: {len(doomed.people)} people, {doomed.hand_ins} hand-ins, "
            f"{doomed.files} files. Add --everybody if it is meant; nothing was changed."
        )
    _say_doomed(doomed, elsewhere)
    _say_deleted(deletion.delete_class(opened, reason=reason, elsewhere=elsewhere))


@app.command("retention")
def retention(term: TermFolder = HERE) -> None:
    """Show until when records are kept, and whether that day has passed."""
    from grader.records.term import term as terms
    from grader.reports.tables import scope

    opened = terms.open_term(term)
    until, passed = scope.retention(opened)
    say(f"{opened.id}: records are kept until {until} ({opened.settings.retention_years} years after the term).")
    findings(["That day has passed. Delete the class with 'term delete-class'."] if passed else [])


def _say_doomed(doomed: "Doomed", elsewhere: bool) -> None:
    hand_ins = f"{doomed.hand_ins} hand-in{'' if doomed.hand_ins == 1 else 's'}"
    say(f"{hand_ins} and {doomed.files} files, every export and report of the class among them.")
    for path in doomed.elsewhere:
        say(f"  exported to another place: {path}" + ("" if elsewhere else " (add --elsewhere to delete it too)"))


def _say_deleted(done) -> None:
    say(f"{done.people} deleted: {done.files} files removed or rewritten, {done.ledger_rows} ledger rows emptied.")
    say("Exports and reports of the class are gone too; make them again. Copies elsewhere are yours to delete.")
    findings(done.findings)
