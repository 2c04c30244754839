"""The check tables in brief: how many of each label pass, and by how much at worst."""

from grader import paths
from grader.files import write_text
from grader.published_checks import checks

_BEGIN, _END = "<!-- science -->", "<!-- end of science -->"


def readme_table(outcomes):
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
    for table in sorted({found.check.table for found in outcomes}):
        mine = [found for found in outcomes if found.check.table == table]
        lines.append(
            f"| {table} | " + " | ".join(_count(mine, label) for label in checks.LABELS) + f" | {_tightest(mine)} |"
        )
    lines.append("| **all** | " + " | ".join(f"**{_count(outcomes, label)}**" for label in checks.LABELS) + " | |")
    return "\n".join(lines)


def write_readme(outcomes):
    """Put the table between its marks in README.md."""
    path = paths.checkout() / "README.md"
    text = path.read_text(encoding="utf-8")
    before, rest = text.split(_BEGIN)
    after = rest.split(_END)[1]
    write_text(path, f"{before}{_BEGIN}\n{readme_table(outcomes)}\n{_END}{after}")


def _count(outcomes, label):
    mine = [found for found in outcomes if found.check.label == label]
    return f"{sum(found.passed for found in mine)} of {len(mine)}" if mine else ""


def _tightest(outcomes):
    """The Published row that comes nearest to failing: its id and how far it is off."""
    rows = [found for found in outcomes if found.check.label == "Published" and ".." not in found.check.expected]
    if not rows:
        return ""
    worst = max(rows, key=lambda found: found.error / ((found.high - found.low) / 2))
    return f"{worst.check.id}: {worst.check.expected} {worst.check.unit}, computed {worst.got:.4g}"
