"""demo, check and release: for those who look at the project or work on it."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from grader.cli.output import console, program, say


def release(module: Annotated[str, typer.Argument(help="Otherwise every module.")] = "") -> None:
    """Make lessons/ anew from solutions/, and the table of modules in lessons/README.md."""
    from grader import catalogue
    from grader.records.gradebook import release as releasing

    for key in [module] if module else catalogue.all_modules():
        say(f"{releasing.release(key)} is made anew.")
    releasing.write_readme()


def check(
    module: Annotated[
        str, typer.Argument(help="With --exercises: one module; with --vehicle: one vehicle; otherwise the usual ones.")
    ] = "",
    science: Annotated[bool, typer.Option("--science", help="Reference functions against published values.")] = False,
    write: Annotated[
        bool, typer.Option("--write", help="With --science: also the table in datasets/README.md.")
    ] = False,
    exercises: Annotated[bool, typer.Option("--exercises", help="Own numbers, slips, copied answers.")] = False,
    vehicle: Annotated[
        bool, typer.Option("--vehicle", help="Signs of every fault of the bench, expected and found.")
    ] = False,
    trainees: Annotated[int, typer.Option(min=20, help="With --exercises: for how many trainees.")] = 10_000,
) -> None:
    """Check the project itself."""
    if not science and not exercises and not vehicle:
        say("Say what to check: --science, --exercises or --vehicle.")
        sys.exit(2)
    sound = True
    if science:
        sound &= _check_science(write)
    if exercises:
        sound &= _check_exercises(module, trainees)
    if vehicle:
        sound &= _check_vehicle(module)
    if not sound:
        sys.exit(1)


def _check_science(write: bool) -> bool:
    from grader.published_checks import checks, summary

    outcomes = [checks.run(row) for row in checks.every()]
    for line in summary.lines(outcomes):
        say(line)
    if write:
        summary.write_readme(outcomes)
    return all(outcome.passed for outcome in outcomes)


def _check_vehicle(engine: str) -> bool:
    from rich.progress import Progress

    from grader.bench import checks
    from grader.vehicle.faults import faults
    from grader.vehicle.spec import vehicles

    engines = [engine] if engine else list(vehicles())
    outcomes, absent = [], []
    with Progress(console=console, transient=True) as bar:
        task = bar.add_task("faults", total=len(engines) * len(faults()))
        for row in checks.table(engines, step=lambda: bar.advance(task)):
            (outcomes if isinstance(row, checks.Outcome) else absent).append(row)
    for line in checks.lines(outcomes, absent):
        say(line)
    return not any(outcome.disagreeing for outcome in outcomes)


def _check_exercises(module: str, trainees: int) -> bool:
    from rich.progress import Progress

    from grader import catalogue
    from grader.demo import quality
    from grader.marking import proof

    faults = []
    for key in [catalogue.module(module).key] if module else catalogue.all_modules():
        unit = catalogue.module(key)
        with Progress(console=console, transient=True) as bar:
            task = bar.add_task(key, total=trainees)
            proved = proof.prove(unit, trainees, step=lambda bar=bar, task=task: bar.advance(task))
        for line in (*proof.lines(unit, proved), *quality.difficulty_lines(unit, min(trainees, 200))):
            say(line)
        faults += proved.faults
    for fault in faults:
        say(f"  ! {fault}")
    say(f"{len(faults)} faults.")
    return not faults


def demo(
    folder: Annotated[Path | None, typer.Argument(help="A new folder; otherwise one in your home folder.")] = None,
) -> None:
    """Build an invented class of 24 and run its whole month: assign, hand in, mark, return, report, export, practise."""
    from grader.demo import account, build

    place = folder or build.free_folder(Path.home() / "timing-mark-demo")
    say(f"Building an invented term in {place} ...")
    built = build.build(place)
    for line in account.month(built):
        say(line)
    practised = build.practise(built.term)
    say(f"\n{account.practice(practised)}\n")
    for line in account.places(built, practised):
        say(line)
    say(f"Next: {program()} term verify --term {built.term.folder}")
