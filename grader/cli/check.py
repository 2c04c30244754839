"""check --science and release: for those who work on the project."""

import sys
from typing import Annotated

import typer

from grader.cli.output import say


def release(module: Annotated[str, typer.Argument(help="Otherwise every module.")] = ""):
    """Make lessons/ anew from solutions/."""
    from grader import catalogue
    from grader.course import release as releasing

    for key in [module] if module else catalogue.all_modules():
        say(f"{releasing.release(key)} is made anew.")


def check(
    science: Annotated[bool, typer.Option("--science", help="Reference functions against published values.")] = False,
    readme: Annotated[bool, typer.Option("--readme", help="Also put the summary into README.md.")] = False,
):
    """Check the project itself."""
    if not science:
        say("Say what to check: --science.")
        sys.exit(2)
    from grader.science import checks, summary

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
    if not all(found.passed for found in outcomes):
        sys.exit(1)
