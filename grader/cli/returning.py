"""return and report: what goes back to trainees, and what the instructor takes into the next session."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.output import findings, say
from grader.cli.term import HERE, TermFolder


def return_module(
    module: Annotated[str, typer.Argument(help="Such as m01_timing.")],
    trainee: Annotated[str, typer.Option(help="One trainee's id; otherwise everybody.")] = "",
    partly: Annotated[bool, typer.Option("--partly", help="Also work whose written answers still wait.")] = False,
    term: TermFolder = HERE,
):
    """Write each trainee's returned sheet: answers, verdicts, worked steps, what to practise."""
    from grader.records.term import term as terms
    from grader.reports.feedback import return_run

    done = return_run.give_back(terms.open_term(term), module, trainee=trainee, partly=partly)
    replaced = f" ({done.replaced} in place of an older page)" if done.replaced else ""
    say(
        f"{module}: {done.written} sheets written{replaced}, {done.unchanged} unchanged, {len(done.left_out)} left out."
    )
    say(f"Sheets: {done.folder}/<trainee>/{module}.html")
    for line in done.left_out:
        say(f"  left out: {line}")
    findings(done.findings)


def report(
    module: Annotated[str, typer.Argument(help="Such as m01_timing; otherwise every assigned module.")] = "",
    term: Annotated[
        list[Path] | None, typer.Option("--term", help="The class; further ones are compared over the months.")
    ] = None,
):
    """Write the class report: who needs you, commonest slips, marks, how the questions worked."""
    from grader.reports.feedback import class_report
    from grader.reports.tables import scope

    for path in class_report.write(scope.open_all(term or [HERE]), module):
        say(f"Class report: {path}")
