"""Type and axes that the timing panels share."""

from collections.abc import Sequence

from matplotlib.axes import Axes

from grader.widgets.style import words


def mark_axes(
    axes: Axes,
    across: tuple[float, float],
    up: tuple[float, float],
    across_label: str,
    up_label: str,
    across_ticks: Sequence[float],
    up_ticks: Sequence[float],
) -> None:
    """Give plain axes their limits, labels and figures."""
    axes.set_xlim(*across)
    axes.set_ylim(*up)
    axes.set_xlabel(across_label, **words())
    axes.set_ylabel(up_label, **words())
    axes.set_xticks(across_ticks)
    axes.set_yticks(up_ticks)
    for label in (*axes.get_xticklabels(), *axes.get_yticklabels()):
        label.set(**words(12))
    axes.grid(color="#dddddd", linewidth=0.7)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
