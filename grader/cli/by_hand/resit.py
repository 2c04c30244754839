"""resit: one further attempt for one trainee."""

from typing import Annotated

import typer

from grader.cli.output import say
from grader.cli.term import HERE, TermFolder

WORDS = {"no": "not met"}


def resit(
    trainee: Annotated[str, typer.Argument(help="The trainee's id.")],
    module: Annotated[str, typer.Argument(help="Such as m01_timing.")],
    reason: Annotated[str, typer.Option(help="Why; it stands in the ledger.")],
    objective: Annotated[
        list[str] | None, typer.Option(help="Only this objective; say it again for another. Otherwise all not shown.")
    ] = None,
    due: Annotated[str, typer.Option(help="2026-03-31 or 2026-03-31 17:00, in the term's zone.")] = "",
    term: TermFolder = HERE,
):
    """Issue fresh numbers for the objectives that were not shown; the best attempt counts."""
    from grader import clock
    from grader.course.grading import resit as resits
    from grader.records.term import term as terms

    opened = terms.open_term(term)
    done = resits.resit(opened, trainee, module, due=due, reason=reason, objectives=tuple(objective or ()))
    until = f"due {opened.shown(clock.from_text(done.due))}" if done.due else "no due time"
    say(f"{done.person.name}: attempt {done.attempt} of {module}, {until}.")
    shown = [f"{code} ({WORDS.get(met, met)})" for code, met in done.objectives.items()]
    say(f"Objectives: {', '.join(shown)}.")
    say(f"Fresh numbers: {'; '.join(exercise.title for exercise in done.exercises)}. All other answers stay.")
    say(f"Hand-out: {opened.folder}/out/{done.person.id}/{module}.zip")
    say(
        f"For the exchange run 'assign {module} --as exchange' now. Who fetched before need not fetch again: when the lesson "
        "is opened, its top offers the new attempt and keeps the old one in a folder beside it."
    )
