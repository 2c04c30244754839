"""Charts that several reports share, drawn without a display; they can be told apart in grey print."""

import base64
import io
from collections.abc import Sequence
from dataclasses import dataclass

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

BLUE, LIGHT, SAND, GREY = "#2c6ca8", "#9ecae1", "#fee8b0", "#c7c7c7"
EDGE = {"edgecolor": "#333333", "linewidth": 0.6}
WIDTH_IN = 8.0


@dataclass(frozen=True, slots=True)
class Share:
    """One part of stacked bars: its name, its length in each bar, its look."""

    name: str
    values: Sequence[float]
    colour: str
    hatch: str = ""


@dataclass(frozen=True, slots=True)
class Course:
    """One line of a chart over time: places on the axis, per cent, and what stands beside each point."""

    name: str
    places: Sequence[int]
    percents: Sequence[float]
    notes: Sequence[str]


def address(figure: Figure) -> str:
    """Data address of a figure as SVG, the same for the same figure."""
    content = io.BytesIO()
    with matplotlib.rc_context({"svg.hashsalt": "timing-mark"}):
        figure.savefig(content, format="svg", metadata={"Date": None})
    return "data:image/svg+xml;base64," + base64.b64encode(content.getvalue()).decode()


def blank(height_in: float) -> tuple[Figure, Axes]:
    """A figure of the usual width without a frame above and to the right."""
    figure = Figure(figsize=(WIDTH_IN, height_in), layout="constrained")
    axes = figure.subplots()
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return figure, axes


def stacked(labels: Sequence[str], shares: Sequence[Share], across: str) -> str:
    """Horizontal bars, each made of parts one after the other; parts that are nowhere are left out.

    Parameters
    ----------
    labels : sequence of str
        One for each bar, from above.
    shares : sequence of Share
    across : str
        What the axis counts.

    Returns
    -------
    str
        Data address of an SVG picture.
    """
    figure, axes = blank(1.1 + 0.32 * len(labels))
    left = [0.0] * len(labels)
    for share in shares:
        if any(share.values):
            axes.barh(
                range(len(labels)),
                share.values,
                left=left,
                color=share.colour,
                hatch=share.hatch,
                label=share.name,
                **EDGE,
            )
            left = [before + more for before, more in zip(left, share.values, strict=True)]
    axes.set_yticks(range(len(labels)), labels)
    axes.set_ylim(len(labels) - 0.4, -0.6)
    axes.xaxis.set_major_locator(MaxNLocator(nbins="auto", steps=[1, 2, 2.5, 5, 10], integer=True))
    axes.set_xlabel(across)
    figure.legend(loc="outside lower center", ncols=4, frameon=False)
    return address(figure)


def courses(ticks: Sequence[str], lines: Sequence[Course], up: str) -> str:
    """Shares over time, 0 to 100 per cent, each line with marks and dashes of its own.

    Parameters
    ----------
    ticks : sequence of str
        Words under the places 0, 1, 2 ...
    lines : sequence of Course
    up : str
        What the axis shows.
    """
    figure, axes = blank(3.0)
    for number, line in enumerate(lines):
        axes.plot(
            line.places,
            line.percents,
            color=(BLUE, "#b35806")[number % 2],
            label=line.name,
            marker="osD^v"[number % 5],
            linestyle=("-", "--", ":", "-.")[number % 4],
        )
        for place, percent, note in zip(line.places, line.percents, line.notes, strict=True):
            axes.annotate(note, (place, percent), xytext=(0, 8), textcoords="offset points", ha="center", fontsize=9)
    axes.set_xticks(range(len(ticks)), ticks)
    axes.set_xlim(-0.5, len(ticks) - 0.5)
    axes.set_ylim(0, 125)
    axes.set_yticks(range(0, 101, 20))
    axes.set_ylabel(up)
    if len(lines) > 1:
        figure.legend(loc="outside lower center", ncols=3, frameon=False)
    return address(figure)
