"""Repeatability: what a few scattered readings can say about the 70 per cent line."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from ipywidgets import FloatSlider, IntSlider
from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from grader.reference.spark import tester
from grader.widgets import style
from grader.widgets.panel import Panel, Picture, keep_readable
from grader.widgets.panels.plug_testing.look import DECISIONS, bare_axes, font, plain_axes, tidy

SETS, MOST_READINGS, NEW_PSIG = 12, 12, 100.0
LEAST, MOST = 45, 100  # per cent of the new plug


@dataclass(frozen=True, slots=True)
class Sets:
    """Sets of readings of one plug, each as if taken afresh."""

    true_percent: float
    scatter_percent: float
    readings: int
    first: tuple  # single readings of the first set, per cent of the new plug's mean
    verdicts: tuple

    def count(self, decision: str) -> int:
        """How many sets end in a decision."""
        return sum(v.decision == decision for v in self.verdicts)


def compute(true_percent: float, scatter_percent: float, readings: int, start: int) -> Sets:
    """Readings drawn with scatter, and the verdict of each set.

    Parameters
    ----------
    true_percent : float [%]
        Used over new if one could measure for ever.
    scatter_percent : float [%]
        Standard deviation of one reading, of its mean.
    readings : int [count]
        Of the new and of the used plug in each set.
    start : int
        Number of the first set; the same number gives the same readings.

    Returns
    -------
    Sets
    """
    verdicts, first = [], ()
    for number in range(start, start + SETS):
        scatter = np.random.default_rng(number).standard_normal((2, MOST_READINGS))[:, :readings]
        new = NEW_PSIG * (1 + scatter_percent / 100 * scatter[0])
        used = NEW_PSIG * true_percent / 100 * (1 + scatter_percent / 100 * scatter[1])
        verdicts.append(tester.keep_verdict(new, used))
        first = first or tuple(100 * used / new.mean())
    return Sets(true_percent, scatter_percent, readings, first, tuple(verdicts))


class Intervals(Picture[Sets]):
    """One bar for each set: where the share lies, 95 times in a hundred."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        axes = figure.add_axes((0.04, 0.14, 0.73, 0.84))
        axes.set_xlim(LEAST, MOST)
        axes.set_ylim(-SETS - 0.2, 2.4)
        axes.set_yticks([])
        axes.add_patch(Rectangle((LEAST, -SETS - 0.2), 70 - LEAST, SETS + 1.4, facecolor="#f3ece6", edgecolor="none"))
        axes.plot([70, 70], [-SETS - 0.2, 1.2], color=style.INK, lw=1.6)
        # The headings stand above the line and clear of it, so that the rings below have room.
        axes.text(65.5, 1.8, "below: reject", ha="right", va="center", **font(13))
        axes.text(70, 1.8, "70 %", ha="center", va="center", **font(13, weight="bold"))
        axes.text(74.5, 1.8, "and above: keep", ha="left", va="center", **font(13))
        plain_axes(axes, "Used plug over new plug, on the gauge (%)", "")
        axes.spines["left"].set_visible(False)
        side = figure.add_axes((0.78, 0.14, 0.22, 0.84))
        bare_axes(side, 1, 1)
        side.set_ylim(*axes.get_ylim())
        side.text(0.04, 0.35, "readings", va="center", **font(13, style="italic"))
        (self._dots,) = axes.plot([], [], "o", color=style.INK, ms=6, mfc=style.PAPER)
        (self._true,) = axes.plot([], [], color=style.GREEN, lw=1.4, ls=style.DOTTED)
        self._bars, self._means, self._words = [], [], []
        for row in range(SETS):
            self._bars += axes.plot([], [], lw=3.2, solid_capstyle="butt")
            self._means += axes.plot([], [], "|", color=style.INK, ms=11, mew=2)
            self._words.append(side.text(0.04, -row - 0.5, "", va="center", **font(13)))
        return self._true, *self._bars, *self._means, self._dots, *self._words

    def update(self, state: Sets) -> None:
        self._dots.set_data(np.clip(state.first, LEAST, MOST), np.full(len(state.first), 0.35))
        self._true.set_data([state.true_percent] * 2, [-SETS, 0])
        for row, verdict in enumerate(state.verdicts):
            height = -row - 0.5
            colour, dash = DECISIONS[verdict.decision]
            self._bars[row].set_data([100 * max(verdict.low, 0), 100 * verdict.high], [height, height])
            self._bars[row].set(color=colour, linestyle=dash)
            self._means[row].set_data([100 * verdict.ratio], [height])
            self._words[row].set_text(verdict.decision)


def caption(state: Sets) -> str:
    """The picture in words."""
    first = state.verdicts[0]
    return (
        f"One and the same plug, truly at {state.true_percent:.0f} % (dotted line), one reading scattering by "
        f"{state.scatter_percent:.1f} %. Rings: the {state.readings} readings of the first set, each over the new plug's mean. "
        f"Below them, {SETS} sets of {state.readings} readings. The first gives {100 * first.ratio:.1f} %, "
        f"95 times in a hundred between {100 * first.low:.1f} and {100 * first.high:.1f} %: {first.decision}. "
        f"Of the {SETS} sets {state.count('keep')} say keep, {state.count('reject')} reject, "
        f"{state.count('undecided')} undecided."
    )


def repeat_panel(compute: Callable[..., Sets] = compute) -> Panel[Sets]:
    """True share, scatter, number of readings, another dozen sets."""
    controls = {
        "readings": IntSlider(3, min=2, max=MOST_READINGS, description="Readings of each plug"),
        "true_percent": IntSlider(74, min=55, max=90, description="True share of the used plug (%)"),
        "scatter_percent": FloatSlider(
            5, min=1, max=8, step=0.5, readout_format=".1f", description="Scatter of one reading (%)"
        ),
        "start": IntSlider(1, min=1, max=50, description="Take another dozen sets"),
    }
    views = ((Intervals(660, 430), caption),)
    return keep_readable(Panel("How sure is a reading?", tidy(controls, "16rem"), compute, views), 0, 520)
