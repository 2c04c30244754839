"""witness: practical work that somebody saw on a real vehicle."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.output import say
from grader.cli.term import HERE, TermFolder
from grader.errors import Refused


def witness(
    trainee: Annotated[str, typer.Argument(help="The trainee's id.")] = "",
    objective: Annotated[str, typer.Argument(help="Its short code, such as T3.")] = "",
    result: Annotated[str, typer.Option(help="satisfactory or not-yet.")] = "",
    vehicle: Annotated[str, typer.Option(help="On which vehicle, in a few words.")] = "",
    on: Annotated[str, typer.Option(help="The day, such as 2026-03-12.")] = "",
    seen_by: Annotated[str, typer.Option(help="Who saw it.")] = "",
    note: Annotated[str, typer.Option(help="Anything to remember.")] = "",
    from_file: Annotated[
        Path | None,
        typer.Option("--from", help="A table: trainee,objective,result,vehicle,on,seen_by and, if you like, note."),
    ] = None,
    show: Annotated[bool, typer.Option("--list", help="List what is recorded, of all or of one trainee.")] = False,
    withdraw: Annotated[int | None, typer.Option(help="Number of a task that was recorded by mistake.")] = None,
    reason: Annotated[str, typer.Option(help="Why it is withdrawn; it stands in the ledger.")] = "",
    term: TermFolder = HERE,
) -> None:
    """Record a task seen on a real vehicle; list them; withdraw one."""
    from grader.course.grading import observations as witnessing
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    wanted = [show, withdraw is not None, from_file is not None, bool(objective)]
    if sum(wanted) != 1:
        raise Refused(
            "Say one thing: a trainee and an objective with --result, --vehicle, --on and --seen-by; or --from, --list "
            "or --withdraw. Nothing was changed."
        )
    if show:
        listed = witnessing.listed(opened, trainee)
        for person, task in listed:
            say(f"{task.id:>4}  {person.college_id:<12} {person.name:<28} {_shown(task)}")
        say(f"{len(listed)} witnessed tasks." if len(listed) != 1 else "1 witnessed task.")
    elif withdraw is not None:
        person, task = witnessing.withdraw(opened, withdraw, reason=reason)
        say(f"Task {task.id} of {person.name} ({task.objective}, {task.day}) no longer counts.")
    elif from_file is not None:
        recorded, notes = witnessing.record_table(opened, from_file)
        say(f"{len(recorded)} witnessed tasks recorded.")
        for note in notes:
            say(f"  note: {note}")
    else:
        seen = witnessing.Seen(trainee, objective, result, vehicle, on, seen_by, note)
        person, task = witnessing.record(opened, seen)
        say(f"Task {task.id}: {person.name}, {_shown(task)}")


def _shown(task) -> str:
    note = f" ({task.note})" if task.note else ""
    gone = f" WITHDRAWN: {task.withdrawn}" if task.withdrawn else ""
    return f"{task.objective} {task.result}, {task.day}, {task.vehicle}, seen by {task.seen_by}{note}{gone}"
