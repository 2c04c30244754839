"""copies: whose wrong answers fit a neighbour's numbers."""

from typing import Annotated

import typer

from grader.cli.output import say
from grader.cli.term import HERE, TermFolder


def copies(
    module: Annotated[str, typer.Argument(help="Such as m01_timing.")],
    term: TermFolder = HERE,
):
    """List pairs whose wrong answers fit the other's numbers beyond chance: a reason to talk, no more."""
    from grader.records.term import term as terms
    from grader.reports.feedback import similarity as screen
    from grader.reports.feedback import similarity_chance

    found = screen.pairs(terms.open_term(term), module)
    if not found:
        say(f"{module}: no pair stands out beyond chance.")
        return
    say(f"{module}: pairs beyond 1 in {1 / similarity_chance.LIMIT:.0f}, after allowing for all pairs of the class.")
    for pair in found:
        say(f"  {screen.sentence(pair)}")
    say(screen.ADVICE)
