"""Figures of the class report, drawn without a display; they can be told apart in grey print."""

from matplotlib.figure import Figure

from grader.pages.html import address

_BLUE = "#2c6ca8"
_SHARES = (
    ("all marks", _BLUE, ""),
    ("some marks", "#9ecae1", "//"),
    ("none", "#ffffff", ""),
    ("waits", "#fee8b0", ".."),
)


def spread(percents, pass_percent):
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
    figure = Figure(figsize=(8, 2.6), layout="constrained")
    axes = figure.subplots()
    counts = tenths(percents)
    bars = axes.bar(
        [10 * n + 5 for n in range(10)], counts, width=9.2, color="#9ecae1", edgecolor="#333333", linewidth=0.6
    )
    axes.bar_label(bars, [str(n) if n else "" for n in counts], padding=2, fontsize=9)
    axes.set_ylim(0, max(counts) * 1.3 + 0.5)
    if pass_percent is not None:
        axes.axvline(pass_percent, color="#111111", linestyle="--", linewidth=1.2)
        axes.annotate(
            "pass mark",
            (pass_percent, axes.get_ylim()[1]),
            xytext=(-4, -11),
            textcoords="offset points",
            ha="right",
            fontsize=9,
        )
    axes.set_xticks(range(0, 101, 10))
    axes.set_yticks([])
    axes.set_xlabel("mark, per cent of the module's marks")
    axes.set_ylabel("trainees")
    return address(figure)


def tenths(percents):
    """How many of some shares lie in each tenth; 100 belongs to the last."""
    counts = [0] * 10
    for value in percents:
        counts[min(9, max(0, int(value // 10)))] += 1
    return counts


def exercises(rows):
    """Bars of how many trainees earned all, some or none of the marks of each exercise.

    Parameters
    ----------
    rows : list of (str, int, int, int, int)
        Label, all, some, none, waiting.
    """
    figure = Figure(figsize=(8, 1.2 + 0.34 * len(rows)), layout="constrained")
    axes = figure.subplots()
    labels = [label for label, *_ in rows]
    left = [0] * len(rows)
    for place, (name, colour, hatch) in enumerate(_SHARES, start=1):
        widths = [row[place] for row in rows]
        if not any(widths):
            continue
        axes.barh(labels, widths, left=left, color=colour, hatch=hatch, edgecolor="#333333", linewidth=0.6, label=name)
        left = [a + b for a, b in zip(left, widths, strict=True)]
    axes.invert_yaxis()
    axes.xaxis.get_major_locator().set_params(integer=True)
    axes.set_xlabel("trainees")
    figure.legend(loc="outside lower center", ncols=4, frameon=False)
    return address(figure)


def months(rows):
    """Mean mark of one module after the other.

    Parameters
    ----------
    rows : list of (str, str, float, int)
        Class, label of the module, mean in per cent, how many marks.
    """
    figure = Figure(figsize=(8, 3.0), layout="constrained")
    axes = figure.subplots()
    places = range(len(rows))
    for number, name in enumerate(dict.fromkeys(row[0] for row in rows)):
        mine = [(place, row[2]) for place, row in zip(places, rows, strict=True) if row[0] == name]
        axes.plot(*zip(*mine, strict=True), marker="osD^v"[number % 5], linestyle=("-", "--", ":", "-.")[number % 4], color=_BLUE, label=name)  # fmt: skip
    for place, (_, _, mean, n) in zip(places, rows, strict=True):
        axes.annotate(
            f"{mean:.0f} %\nn = {n}", (place, mean), xytext=(0, 8), textcoords="offset points", ha="center", fontsize=9
        )
    axes.set_xticks(list(places), [row[1] for row in rows])
    axes.set_xlim(-0.5, len(rows) - 0.5)
    axes.set_ylim(0, 125)
    axes.set_yticks(range(0, 101, 20))
    axes.set_ylabel("mean mark, per cent")
    if len({row[0] for row in rows}) > 1:
        figure.legend(loc="outside lower center", ncols=3, frameon=False)
    return address(figure)
