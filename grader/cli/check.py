"""check --science and release: for those who work on the project."""

import sys
from typing import Annotated

import typer
from rich.table import Table

from grader.cli.output import console, say


def release(module: Annotated[str, typer.Argument(help="Otherwise every module.")] = ""):
    """Make lessons/ anew from solutions/."""
    from grader import catalogue
    from grader.course import release as releasing

    for key in [module] if module else catalogue.all_modules():
        say(f"{releasing.release(key)} is made anew.")


def check(
    science: Annotated[bool, typer.Option("--science", help="Reference functions against published values.")] = False,
):
    """Check the project itself."""
    if not science:
        say("Say what to check: --science.")
        sys.exit(2)
    from grader.science import checks

    outcomes = [checks.run(check) for check in checks.every()]
    table = Table("check", "label", "source", "expected", "got", "error", "allowed", box=None, pad_edge=False)
    for found in outcomes:
        row = found.check
        table.add_row(
            f"{row.table} {row.id}", row.label, row.source, f"{row.expected} {row.unit}", f"{found.got:.6g}",
            f"{found.error:.2g}", row.allowed if found.passed else f"{row.allowed}  FAILED",
        )  # fmt: skip
    console.print(table)
    for label in checks.LABELS:
        mine = [found for found in outcomes if found.check.label == label]
        say(f"{label}: {sum(found.passed for found in mine)} of {len(mine)} pass.")
    if not all(found.passed for found in outcomes):
        sys.exit(1)
