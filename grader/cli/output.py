"""How commands speak: tables and sentences to standard output, refusals to standard error."""

import shutil
import sys
from collections.abc import Sequence
from typing import Any, NoReturn

import typer
from rich.console import Console

console = Console(highlight=False, soft_wrap=True)


def say(text: object = "") -> None:
    """Text as it is; names of people and files are never read as markup, and nobody's text can steer the terminal."""
    plain = "".join(c if c.isprintable() or c in "\n\t" else "?" for c in str(text))
    console.print(plain, markup=False)


def program() -> str:
    """How a command line begins that is typed in this terminal: by name, or by Python where the name is not found."""
    return "timing-mark" if shutil.which("timing-mark") else f"{sys.executable} -m grader"


def fail(problem: object) -> NoReturn:
    """Say why nothing was done and leave with code 2."""
    print(f"{problem}", file=sys.stderr)
    sys.exit(2)


def ask(question: str, **options: Any) -> str:
    """What somebody types; Ctrl-C, or the end of what is typed, stops the command here as it does anywhere else."""
    try:
        return typer.prompt(question, **options)
    except typer.Abort:
        raise KeyboardInterrupt from None


def confirmed(question: str) -> bool:
    """Yes or no; stops as `ask` does."""
    try:
        return typer.confirm(question)
    except typer.Abort:
        raise KeyboardInterrupt from None


def findings(lines: Sequence[str]) -> None:
    """List findings and leave with code 1 if there are any."""
    for line in lines:
        say(f"  ! {line}")
    if lines:
        sys.exit(1)
