"""check and release: for those who work on the project."""

import sys
from typing import Annotated

import typer

from grader.cli.output import console, say


def release(module: Annotated[str, typer.Argument(help="Otherwise every module.")] = ""):
    """Make lessons/ anew from solutions/."""
    from grader import catalogue
    from grader.records.gradebook import release as releasing

    for key in [module] if module else catalogue.all_modules():
        say(f"{releasing.release(key)} is made anew.")


def check(
    module: Annotated[str, typer.Argument(help="With --exercises: one module; otherwise every one.")] = "",
    science: Annotated[bool, typer.Option("--science", help="Reference functions against published values.")] = False,
    readme: Annotated[bool, typer.Option("--readme", help="Also put the table of it into README.md.")] = False,
    exercises: Annotated[bool, typer.Option("--exercises", help="Own numbers, slips, copied answers.")] = False,
    trainees: Annotated[int, typer.Option(min=20, help="With --exercises: for how many trainees.")] = 10_000,
):
    """Check the project itself."""
    if not science and not exercises:
        say("Say what to check: --science or --exercises.")
        sys.exit(2)
    sound = True
    if science:
        sound &= _check_science(readme)
    if exercises:
        sound &= _check_exercises(module, trainees, readme)
    if not sound:
        sys.exit(1)


def _check_science(readme):
    from grader.published_checks import checks, summary

    outcomes = [checks.run(check) for check in checks.every()]
    for found in outcomes:
        row = found.check
        say(
            f"{'ok  ' if found.passed else 'FAIL'} {row.table + ' ' + row.id:<24} {row.label:<10} {row.source:<22} "
            f"{row.expected + ' ' + row.unit:<24} got {found.got:<12.6g} off {found.error:<9.2g} allowed {row.allowed}"
        )
    for label in checks.LABELS:
        mine = [found for found in outcomes if found.check.label == label]
        say(f"{label}: {sum(found.passed for found in mine)} of {len(mine)} pass.")
    if readme:
        summary.write_readme(outcomes)
    return all(found.passed for found in outcomes)


def _check_exercises(module, trainees, readme):
    from rich.progress import Progress

    from grader import catalogue
    from grader.marking import proof

    faults = []
    for key in [catalogue.module(module).key] if module else catalogue.all_modules():
        unit = catalogue.module(key)
        with Progress(console=console, transient=True) as bar:
            task = bar.add_task(key, total=trainees)
            found = proof.prove(unit, trainees, step=lambda bar=bar, task=task: bar.advance(task))
        say(f"{key}: {trainees} trainees, {unit.marks} marks")
        for (_, part, path), mine in zip(unit.parts(), found.parts.values(), strict=True):
            say(f"{'FAIL' if mine.faults else 'ok  '} {path:<32} {_figures(part, mine)}")
        say(f"A classmate's whole sheet earns {found.copied_sheet:.2f} of {unit.marks} marks on average.")
        fixed = ", ".join(found.fixed) or "none"
        say(f"Orders that are the same for most trainees: {fixed} ({found.fixed_share:.0%} of the marks).")
        _say_difficulty(unit, min(trainees, 200))
        faults += found.faults
    for fault in faults:
        say(f"  ! {fault}")
    say(f"{len(faults)} faults.")
    if readme:
        from grader.records.gradebook import release as releasing

        releasing.write_readme()
    return not faults


def _say_difficulty(unit, count):
    from grader.demo import quality

    say(f"Difficulty, estimated from SIMULATED trainees (n = {count}); a real class will differ:")
    for one in quality.estimates(unit, count):
        share = "" if one.facility is None else f"{one.facility:.2f}"
        say(f"    {one.exercise:<28} {one.marks:>2} marks  n {one.n:<5} simulated facility {share:<5} {one.remark}")


def _figures(part, mine):
    low, high = mine.tolerance
    width = "" if high == 0 else f"{low:.3g} to {high:.3g} {part.unit}"
    slips = f"{len(mine.slips)} of {len(part.slips)} named" if part.slips else ""
    nearest = f"{mine.nearest:.2f}" if mine.nearest < float("inf") else ""
    limit = "listed" if mine.limit is None else f"{mine.limit:.0%}"
    return (
        f"tolerance {width:<24} slips {slips:<14} nearest {nearest:<6} "
        f"copied {mine.copied:<6.1%} constant {mine.constant:<6.1%} limit {limit}"
    )
