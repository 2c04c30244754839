"""guide: how each of the three uses the program, and how a class works on one machine; to read in the terminal."""

from enum import StrEnum
from typing import Annotated

import typer

from grader.cli.output import console, say

COLUMNS = 100  # a wider line is hard to read


class Role(StrEnum):
    """Whose guide."""

    TRAINEE = "trainee"
    INSTRUCTOR = "instructor"
    COORDINATOR = "coordinator"
    MACHINE = "machine"


def guide(
    role: Annotated[Role, typer.Argument(help="trainee, instructor, coordinator; machine: a class on one machine.")],
) -> None:
    """Show the guide for a trainee, an instructor, a coordinator, or for a class on one machine."""
    from rich.markdown import Markdown

    from grader import paths

    path = paths.guide(role)
    pictures = "!["  # they are for those who read the file in a browser
    text = "\n".join(line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith(pictures))
    console.print(Markdown(text), width=min(console.width, COLUMNS), soft_wrap=False)
    say()
    say(f"The same with pictures: {path}")
