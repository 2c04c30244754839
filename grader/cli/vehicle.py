"""vehicle new|form|check|add|list|show|chart: the term's own vehicles, from their manuals."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.output import findings, say
from grader.cli.term import HERE, TermFolder

app = typer.Typer(no_args_is_help=True, help="The term's own vehicles: enter one from its manual, check it, store it.")

Key = Annotated[str, typer.Argument(help="Small letters, figures, - and _: hall-engine.")]
Named = Annotated[str, typer.Argument(help="Its key, for vehicles/KEY.toml; or another file.")]


@app.command("new")
def new(
    key: Key,
    like: Annotated[str, typer.Option(help="A teaching vehicle or one of yours, whose figures are put in.")] = "",
    term: TermFolder = HERE,
) -> None:
    """Write vehicles/KEY.toml, to be filled in with any editor."""
    from grader.course.vehicles import store, template
    from grader.records.term import term as terms

    path = store.new(terms.open_term(term), key, like=like)
    say(f"{path} is ready. Its figures are examples: put in those of the manual, then run 'vehicle check {key}'.")
    say(template.SAFETY)


@app.command("form")
def form(key: Key, term: TermFolder = HERE) -> None:
    """Ask question by question and write vehicles/KEY.toml; stop at any time, nothing typed is lost."""
    from grader.course.vehicles import form as questions
    from grader.course.vehicles import store, template
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    path, before = store.begun(opened, key)
    say(template.SAFETY)
    say("Enter keeps what stands in brackets; 'back' goes back one question; Ctrl-D stops and keeps what you typed.")
    try:
        answers = questions.ask_all(input, say, before)
    except questions.Stopped as stopped:
        store.keep(path, stopped.answers)
        say("")
        say(f"Stopped; what you typed stands in {path}. Run 'vehicle form {key}' to go on.")
        return
    store.keep(path, answers)
    say(f"{path} is written. Next: 'vehicle check {key}', then 'vehicle add {key}'.")


@app.command("check")
def check(named: Named, term: TermFolder = HERE) -> None:
    """Name everything that is wrong in a vehicle file, each with its line; store nothing."""
    from grader.course.vehicles import store
    from grader.records.term import term as terms

    key, reading = store.check(terms.open_term(term), named)
    _remarks(reading)
    if not reading.faults:
        say(f"{key}: every figure can be. Compare it with the manual once more, then run 'vehicle add {key}'.")
    findings(reading.sentences)


@app.command("add")
def add(named: Named, term: TermFolder = HERE) -> None:
    """Store a vehicle with its source; later changes become new revisions, the old ones are kept."""
    from grader.course.issue import vehicle_choice
    from grader.course.vehicles import store, template
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    stored, reading = store.add(opened, named)
    _remarks(reading)
    say(f"{stored.own.vehicle.title} is stored: {stored.line}. Use it with 'assign MODULE --vehicle {stored.key}'.")
    for revision, modules in vehicle_choice.modules_of(opened, stored.key).items():
        say(
            f"  note: {', '.join(modules)} went out with revision {revision} and keeps it, also for whoever joins later."
        )
    say(template.SAFETY)


@app.command("list")
def list_all(term: TermFolder = HERE) -> None:
    """List the term's own vehicles."""
    from grader.course.vehicles import store
    from grader.records.term import term as terms

    vehicles = store.listed(terms.open_term(term))
    for stored in vehicles:
        own = stored.own
        say(f"{stored.key:<20} {own.vehicle.title:<32} revision {stored.revision}  {own.manual}, {own.page}")
    say(f"{len(vehicles)} vehicles." if len(vehicles) != 1 else "1 vehicle.")


@app.command("show")
def show(
    key: Key,
    page: Annotated[bool, typer.Option("--page", help="Also write a page to print, into reports/.")] = False,
    term: TermFolder = HERE,
) -> None:
    """Show a vehicle with the advance computed at some speeds, and dwell in degrees and per cent."""
    from grader.course.vehicles import store
    from grader.records.term import term as terms
    from grader.reports.export.pages import vehicle_sheet as pages

    opened = terms.open_term(term)
    revisions = store.one(opened, key)
    for line in pages.lines(opened, revisions[-1]):
        say(line)
    if page:
        say(f"Page: {pages.write(opened, revisions)}")


@app.command("chart")
def chart(
    key: Annotated[str, typer.Argument(help="A teaching vehicle, such as anstow-v8.")],
    complaint: Annotated[
        list[str] | None, typer.Option(help="Only this complaint, such as misfire_load; say it again for another.")
    ] = None,
    to: Annotated[Path, typer.Option(help="The folder to write into.")] = Path(),
) -> None:
    """Write the troubleshooting charts of a vehicle, one sheet to print for each complaint."""
    from grader.reports.export.pages import troubleshooting

    say(f"Charts: {troubleshooting.write(to, key, tuple(complaint or ()))}. Print them from the browser.")


def _remarks(reading) -> None:
    for line, remark in reading.remarks:
        say(f"  note: line {line}: {remark}")
