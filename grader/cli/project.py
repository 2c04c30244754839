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
        str, typer.Argument(help="With --exercises: one module; with --vehicle or --bench: one vehicle; otherwise all.")
    ] = "",
    science: Annotated[bool, typer.Option("--science", help="Reference functions against published values.")] = False,
    write: Annotated[
        bool,
        typer.Option(
            "--write", help="With --science: also the table in datasets/README.md; with --bench: its tables anew."
        ),
    ] = False,
    exercises: Annotated[bool, typer.Option("--exercises", help="Own numbers, slips, copied answers.")] = False,
    vehicle: Annotated[
        bool, typer.Option("--vehicle", help="Signs of every fault of the bench, expected and found.")
    ] = False,
    bench: Annotated[
        bool, typer.Option("--bench", help="Every case of the bench solved by the best road, and other ways of work.")
    ] = False,
    severities: Annotated[
        bool, typer.Option("--severities", help="With --bench: every severity, not the middle one alone.")
    ] = False,
    cases: Annotated[int, typer.Option(min=0, help="With --bench: drawn cases for each vehicle.")] = 30,
    trainees: Annotated[int, typer.Option(min=20, help="With --exercises: for how many trainees.")] = 10_000,
) -> None:
    """Check the project itself."""
    if not science and not exercises and not vehicle and not bench:
        say("Say what to check: --science, --exercises, --vehicle or --bench.")
        sys.exit(2)
    sound = True
    if science:
        sound &= _check_science(write)
    if exercises:
        sound &= _check_exercises(module, trainees)
    if vehicle:
        sound &= _check_vehicle(module)
    if bench:
        sound &= _check_bench(module, severities, cases, write)
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


def _check_bench(engine: str, every_severity: bool, count: int, write: bool) -> bool:
    from rich.progress import Progress

    from grader.bench import likelihood, proofs
    from grader.vehicle.faults import MID, SEVERITIES
    from grader.vehicle.spec import vehicles

    engines, severities = [engine] if engine else list(vehicles()), SEVERITIES if every_severity else (MID,)
    if write:
        for key in engines:
            likelihood.write(key)
            say(f"datasets/likelihoods/{key}.npz is made anew.")
    solved, silent = [], []
    with Progress(console=console, transient=True) as bar:
        task = bar.add_task("cases", total=sum(len(proofs.wanted(key, severities)) + count for key in engines))

        def step() -> None:
            bar.advance(task)

        for row in proofs.solve_all(engines, severities, step):
            (solved if isinstance(row, proofs.Solved) else silent).append(row)
        trials = proofs.trial(engines, count, step=step) if count else ()
    for line in proofs.lines(solved, silent, trials):
        say(line)
    faults = proofs.faults_of(solved, trials)
    for fault in faults:
        say(f"  ! {fault}")
    return not faults


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
    say(f"\n{account.practice(practised)}")
    at_the_bench = build.bench(built.term)
    say(f"{account.bench(built, at_the_bench)}\n")
    for line in account.places(built, practised, at_the_bench):
        say(line)
    say(f"Next: {program()} term verify --term {built.term.folder}")
