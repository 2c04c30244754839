"""Charts of the programme report; the same records give the same picture."""

from collections.abc import Mapping, Sequence

from grader.pages import charts
from grader.reports.tables.columns import STATES

# Colours that people with any colour vision tell apart, and hatches for those who print in grey.
_LOOKS = dict(zip(STATES, (("#ffffff", ""), ("#e8e8e8", ".."), (charts.SAND, "//"), (charts.LIGHT, "xx"), (charts.BLUE, ""),
                           (charts.GREY, "--")), strict=True))  # fmt: skip


def completion(counts: Sequence[tuple[str, Mapping[str, int]]]) -> str:
    """Bars of how many trainees stand where.

    Parameters
    ----------
    counts : list of (str, dict of str to int)
        Label of a bar, and trainees by state.

    Returns
    -------
    str
        Data address of an SVG picture.
    """
    shares = [
        charts.Share(state, [states.get(state, 0) for _, states in counts], *look) for state, look in _LOOKS.items()
    ]
    return charts.stacked([label for label, _ in counts], shares, "trainees")


def objectives(shares: Sequence[tuple[str, float]]) -> str:
    """Points of the share of trainees who have shown each objective.

    Parameters
    ----------
    shares : list of (str, float)
        Code and share, 0 to 1.
    """
    figure, axes = charts.blank(0.9 + 0.26 * len(shares))
    codes, values = [code for code, _ in shares], [100 * share for _, share in shares]
    axes.hlines(codes, 0, values, color=charts.BLUE, linewidth=2)
    axes.plot(values, codes, "o", color=charts.BLUE)
    for code, value in zip(codes, values, strict=True):
        axes.annotate(f"{value:.0f} %", (value, code), xytext=(7, -3), textcoords="offset points", fontsize=9)
    axes.margins(y=0.6 / max(1, len(shares)))
    axes.invert_yaxis()
    axes.set_xlim(0, 112)
    axes.set_xlabel("trainees who have shown it, per cent of those examined")
    return charts.address(figure)
