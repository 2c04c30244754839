"""assign, collect and mark."""

from pathlib import Path
from typing import Annotated

import typer

from grader.cli.output import findings, say
from grader.cli.term import HERE, TermFolder


def assign_module(
    module: Annotated[str, typer.Argument(help="Such as m01_timing.")],
    due: Annotated[str, typer.Option(help="2026-03-31 or 2026-03-31 17:00, in the term's zone.")] = "",
    practice: Annotated[bool, typer.Option("--practice", help="Practice instead of assessed work.")] = False,
    term: TermFolder = HERE,
):
    """Release a module and issue every trainee's own numbers."""
    from grader import clock
    from grader.course import term as terms
    from grader.course.work import assign
    from grader.exercise.model import ASSESSED, PRACTICE

    opened = terms.open_term(term)
    done = assign.assign(opened, module, due=due, mode=PRACTICE if practice else ASSESSED)
    until = opened.shown(clock.from_text(done.due)) if done.due else "no due time"
    say(f"{done.module} ({done.mode}, {until}): numbers issued to {len(done.issued_to)}, {done.had_them} had theirs.")
    say(f"Hand-outs: {done.folder}/<trainee>/{done.module}.zip")


def collect_hand_ins(
    paths: Annotated[list[Path] | None, typer.Argument(help="Files or folders; otherwise the term's inbox.")] = None,
    received_at: Annotated[str, typer.Option(help="When they arrived, if the files cannot tell.")] = "",
    term: TermFolder = HERE,
):
    """Take hand-ins; each is kept as it came."""
    from grader import clock
    from grader.course import term as terms
    from grader.course.work import collect

    opened = terms.open_term(term)
    moment = clock.parse(received_at, opened.settings.zone) if received_at else None
    done = collect.collect(opened, paths or (), received_at=moment)
    say(f"{done.taken} taken, {done.known} known before, {len(done.findings)} to look at.")
    findings(done.findings)


def mark_module(
    module: Annotated[str, typer.Argument(help="Such as m01_timing; otherwise every assigned module.")] = "",
    reason: Annotated[str, typer.Option(help="Why marks of unchanged work may change.")] = "",
    term: TermFolder = HERE,
):
    """Mark the class: new hand-ins, and old ones that come out differently."""
    from grader.course import overview
    from grader.course import term as terms
    from grader.course.work import marking_run

    opened = terms.open_term(term)
    problems = []
    for key in [module] if module else overview.assigned(opened):
        run = marking_run.mark(opened, key, reason=reason)
        say(f"{key}: {run.marked} marked, {run.unchanged} unchanged, {len(run.held)} held back.")
        problems += run.findings + run.held
    findings(problems)
