"""The troubleshooting charts of a vehicle to print: one sheet for each complaint."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from grader import files
from grader.bench.chart import Chart, chart, rows
from grader.bench.owner import complaint_words
from grader.errors import Unknown
from grader.pages import html
from grader.vehicle.spec import vehicle

SAFETY = (
    "Neutral, chocks, exhaust extraction; no lead or gap in the hand, no loose sleeve near the fan; key off before the "
    "points and the condenser are touched. Limits and order of work are those of the vehicle's own service manual."
)
CAUSES = 3  # that are named at an end
SHARE = 0.05  # of the cars at an end: what is seldomer is not named


def complaints(engine: str) -> tuple[str, ...]:
    """Complaints of which a chart asks for a test at all, in the order of datasets/complaints.csv; raises as `page`."""
    vehicle(engine)
    return tuple(key for key in complaint_words() if not key.endswith("_again") and chart(engine, key).root.test)


def page(engine: str, wanted: Sequence[str] = ()) -> bytes:
    """Charts of a vehicle, each on a sheet of its own.

    Parameters
    ----------
    engine : str
    wanted : sequence of str
        Keys of complaints; all of them where none is given.

    Raises
    ------
    Unknown
        No such vehicle or complaint.
    """
    known = complaint_words()
    for key in wanted:
        if key not in known:
            raise Unknown(f"There is no complaint {key[:30]!r}. There are: {', '.join(complaints(engine))}.")
    title = vehicle(engine).title
    charts = [_sheet(title, chart(engine, key)) for key in wanted or complaints(engine)]
    return html.page("troubleshooting.html", title=f"Troubleshooting: {title}", charts=charts, safety=SAFETY)


def write(folder: Path, engine: str, wanted: Sequence[str] = ()) -> Path:
    """Write the page into a folder; raises as `page`.

    Raises
    ------
    CannotWrite
        The old page stands.
    """
    content = page(engine, wanted)
    path = Path(folder) / f"troubleshooting_{engine}.html"
    with files.replacing(path) as target:
        target.write(content)
    return path


def _sheet(title: str, drawn: Chart) -> dict[str, Any]:
    lines = []
    for number, row in enumerate(rows(drawn), 1):
        for place, (result, line, causes) in enumerate(row.branches):
            then = f"go to {line}" if line else _named(causes)
            head = (f"{number}", row.test, f"{row.minutes:.0f} min") if not place else ("", "", "")
            lines.append((*head, result, then))
    return {
        "vehicle": title,
        "words": drawn.words,
        "how": (
            "Begin with line 1. Behind the result of a test stands the line to go on with, or what it then is: prove that "
            "before a part is fitted. A look that shows nothing may have missed; its minutes count a second look."
        ),
        "lines": html.table(
            f"Tests in their order; about {drawn.minutes:.0f} minutes on average",
            ("line", "test", "takes", "result", "then"),
            lines,
            empty="Nothing parts the causes of this complaint.",
            kind="chart",
        ),
        "held": (
            f"Computed for the teaching vehicle with 8,000 miles on its plugs; it covers {drawn.held:.0%} of the cars that "
            "come with these words. Where no result fits, or what it names is disproved, look for two faults, or another "
            "trade's."
        ),
    }


def _named(causes: Sequence[tuple[str, float]]) -> str:
    """The causes left at an end, the likeliest first."""
    named = [name for name, share in causes if share >= SHARE][:CAUSES]
    return "; or ".join(named)
