"""The check tables in brief: how many of each label pass, and by how much at worst."""

from collections.abc import Iterator, Sequence

from grader import files, paths
from grader.published_checks import checks
from grader.published_checks.checks import Outcome

README_MARK = "science"


def lines(outcomes: Sequence[Outcome]) -> Iterator[str]:
    """Every check as a line with its source, expected and computed value, then how many of each label pass."""
    for outcome in outcomes:
        row = outcome.check
        yield (
            f"{'ok  ' if outcome.passed else 'FAIL'} {row.table + ' ' + row.id:<24} {row.label:<10} {row.source:<22} "
            f"{row.expected + ' ' + row.unit:<24} got {outcome.got:<12.6g} off {outcome.error:<9.2g} "
            f"allowed {row.allowed}"
        )
    for label in checks.LABELS:
        labelled = [outcome for outcome in outcomes if outcome.check.label == label]
        yield f"{label}: {sum(outcome.passed for outcome in labelled)} of {len(labelled)} pass."


def readme_table(outcomes: Sequence[Outcome]) -> str:
    """A Markdown table, one row for each check table.

    Parameters
    ----------
    outcomes : sequence of Outcome

    Returns
    -------
    str
        Counts are passing of all; the last column is the largest share of its
        allowed width that a Published row uses up.
    """
    lines = ["| reference file | " + " | ".join(checks.LABELS) + " | tightest Published check |", "|---" * 6 + "|"]
    for table in sorted({outcome.check.table for outcome in outcomes}):
        mine = [outcome for outcome in outcomes if outcome.check.table == table]
        lines.append(
            f"| {table} | " + " | ".join(_count(mine, label) for label in checks.LABELS) + f" | {_tightest(mine)} |"
        )
    lines.append("| **all** | " + " | ".join(f"**{_count(outcomes, label)}**" for label in checks.LABELS) + " | |")
    return "\n".join(lines)


def write_readme(outcomes: Sequence[Outcome]) -> None:
    """Put the table between its marks in datasets/README.md."""
    files.write_between(paths.checkout() / "datasets" / "README.md", README_MARK, readme_table(outcomes))


def _count(outcomes, label):
    mine = [outcome for outcome in outcomes if outcome.check.label == label]
    return f"{sum(outcome.passed for outcome in mine)} of {len(mine)}" if mine else ""


def _tightest(outcomes):
    """The Published row that comes nearest to failing: its id and how far it is off."""
    rows = [
        outcome for outcome in outcomes if outcome.check.label == "Published" and ".." not in outcome.check.expected
    ]
    if not rows:
        return ""
    worst = max(rows, key=lambda outcome: outcome.error / ((outcome.high - outcome.low) / 2))
    return f"{worst.check.id}: {worst.check.expected} {worst.check.unit}, computed {worst.got:.4g}"
