"""Figures of the programme report, drawn without a display; the same records give the same picture."""

from matplotlib.figure import Figure

from grader.pages.html import address
from grader.reports.tables.columns import STATES

# Colours that people with any colour vision tell apart, and hatches for those who print in grey.
_LOOK = dict(zip(STATES, (("#ffffff", ""), ("#e8e8e8", ".."), ("#fee8b0", "//"), ("#9ecae1", "xx"), ("#2c6ca8", ""),
                          ("#c7c7c7", "--")), strict=True))  # fmt: skip


def completion(counts):
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
    figure = Figure(figsize=(8, 1.7 + 0.35 * len(counts)), layout="constrained")
    axes = figure.subplots()
    labels = [label for label, _ in counts]
    left = [0] * len(counts)
    for state in STATES:
        widths = [states.get(state, 0) for _, states in counts]
        if any(widths):
            colour, hatch = _LOOK[state]
            axes.barh(
                labels, widths, left=left, color=colour, hatch=hatch, edgecolor="#333333", linewidth=0.6, label=state
            )
            left = [a + b for a, b in zip(left, widths, strict=True)]
    axes.invert_yaxis()
    axes.set_xlabel("trainees")
    figure.legend(loc="outside lower center", ncols=3, frameon=False)
    return address(figure)


def objectives(shares):
    """Points of the share of trainees who have shown each objective.

    Parameters
    ----------
    shares : list of (str, float)
        Code and share, 0 to 1.
    """
    figure = Figure(figsize=(8, 1.0 + 0.3 * len(shares)), layout="constrained")
    axes = figure.subplots()
    codes, values = [code for code, _ in shares], [100 * share for _, share in shares]
    axes.hlines(codes, 0, values, color="#2c6ca8", linewidth=2)
    axes.plot(values, codes, "o", color="#2c6ca8")
    for code, value in zip(codes, values, strict=True):
        axes.annotate(f"{value:.0f} %", (value, code), xytext=(7, -3), textcoords="offset points", fontsize=9)
    axes.margins(y=0.6 / max(1, len(shares)))
    axes.invert_yaxis()
    axes.set_xlim(0, 112)
    axes.set_xlabel("trainees who have shown it, per cent of those examined")
    return address(figure)
