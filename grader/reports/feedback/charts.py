"""Charts of the class report."""

from collections.abc import Sequence

from grader.pages import charts


def spread(percents: Sequence[float], pass_percent: float | None) -> str:
    """How many trainees reached which tenth of the marks, with the pass mark where there is one.

    Parameters
    ----------
    percents : list of float
    pass_percent : float or None
        None for practice, which nobody passes or fails.

    Returns
    -------
    str
        Data address of an SVG picture.
    """
    figure, axes = charts.blank(2.4)
    counts = tenths(percents)
    bars = axes.bar([10 * n + 5 for n in range(10)], counts, width=9.2, color=charts.LIGHT, **charts.EDGE)
    axes.bar_label(bars, [str(n) if n else "" for n in counts], padding=2, fontsize=9)
    axes.set_ylim(0, max(counts) * 1.3 + 0.5)
    if pass_percent is not None:
        axes.axvline(pass_percent, color="#111111", linestyle="--", linewidth=1.2)
        axes.annotate(
            "pass mark", (pass_percent, axes.get_ylim()[1]), xytext=(4, -11), textcoords="offset points", fontsize=9
        )
    axes.set_xlim(0, 100)
    axes.set_xticks(range(0, 101, 10))
    axes.set_yticks([])
    axes.set_xlabel("mark, per cent of the module's marks")
    axes.set_ylabel("trainees")
    return charts.address(figure)


def tenths(percents: Sequence[float]) -> list[int]:
    """How many of some shares lie in each tenth; 100 belongs to the last."""
    counts = [0] * 10
    for value in percents:
        counts[min(9, max(0, int(value // 10)))] += 1
    return counts


def exercises(rows: Sequence[tuple[str, int, int, int, int]]) -> str:
    """Bars of how many trainees earned all, some or none of the marks of each exercise.

    Parameters
    ----------
    rows : list of (str, int, int, int, int)
        Label, all, some, none, waiting.
    """
    labels, *counts = zip(*rows, strict=True)
    looks = (("all marks", charts.BLUE, ""), ("some marks", charts.LIGHT, "//"), ("none", "#ffffff", ""),
             ("waits", charts.SAND, ".."))  # fmt: skip
    shares = [
        charts.Share(name, values, colour, hatch) for (name, colour, hatch), values in zip(looks, counts, strict=True)
    ]
    return charts.stacked(labels, shares, "trainees")


def months(rows: Sequence[tuple[str, str, float, int]]) -> str:
    """Mean mark of one module after the other.

    Parameters
    ----------
    rows : list of (str, str, float, int)
        Class, label of the module, mean in per cent, how many marks.
    """
    lines = []
    for name in dict.fromkeys(row[0] for row in rows):
        mine = [(place, row[2], f"{row[2]:.0f} %\nn = {row[3]}") for place, row in enumerate(rows) if row[0] == name]
        lines.append(charts.Course(name, *zip(*mine, strict=True)))
    return charts.courses([row[1] for row in rows], lines, "mean mark, per cent")
