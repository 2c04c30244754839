"""A dwell meter drawn as three straight scales under one line, so that the switch explains itself."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from grader.reference.spark import points
from grader.widgets import style
from grader.widgets.panel import Panel, Picture, add_patch
from grader.widgets.panels.dwell.drawing import LESSON_LIFT, axes, pick, slider, thou
from grader.widgets.style import words

_ROWS = (4, 6, 8)
_STEPS = {4: 10, 6: 10, 8: 5}


@dataclass(frozen=True, slots=True)
class Shown:
    """What the points do and what the meter makes of it."""

    cylinders: int
    switch: int
    gap: float
    dwell_deg: float
    duty_percent: float
    reading_deg: float


def compute(cylinders: int, switch: int, gap: float) -> Shown:
    """Reading of the meter; gap in thousandths of an inch."""
    dwell = points.dwell_of_gap_deg(gap, LESSON_LIFT[cylinders], cylinders)
    return Shown(
        cylinders,
        switch,
        gap,
        dwell,
        points.duty_percent(dwell, cylinders),
        points.meter_reading_deg(dwell, cylinders, switch),
    )


class Scales(Picture[Shown]):
    """Closed share on top; below it degrees for four, six and eight cylinders."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        ax = figure.add_axes((0.28, 0.04, 0.53, 0.92))
        ax.set_xlim(0, 100)
        ax.set_ylim(0, 4)
        ax.set_axis_off()
        self._rows = {}
        for row, name in enumerate(("share", *_ROWS)):
            base = 3.25 - row
            ax.plot([0, 100], [base, base], color=style.INK, lw=1.2)
            full, step = (100, 10) if name == "share" else (360 // name, _STEPS[name])
            for mark in np.arange(0, full + 0.1, step):
                x = 100 * mark / full
                ax.plot([x, x], [base, base + 0.12], color=style.INK, lw=1.0)
                ax.text(x, base + 0.17, f"{mark:g}", ha="center", va="bottom", **words(12))
            text = "closed, %" if name == "share" else f"{name} cylinders, °"
            ax.text(-3, base + 0.12, text, ha="right", va="center", clip_on=False, **words(13))
            if name != "share":
                self._rows[name] = base
        self._frame = add_patch(
            ax, Rectangle((-46, 0), 173, 0.62, fill=False, edgecolor=style.BLUE, lw=2.0, clip_on=False)
        )
        self._own = ax.text(-42, 0, "●", ha="center", va="center", clip_on=False, **words(13, color=style.GREEN))
        (self._line,) = ax.plot([0, 0], [0, 4], color=style.RED, lw=1.6)
        self._say = ax.text(
            124, 0, "", ha="right", va="center", clip_on=False, **words(17, weight="bold", color=style.BLUE)
        )
        return self._frame, self._own, self._line, self._say

    def update(self, state: Shown) -> None:
        base = self._rows[state.switch]
        self._frame.set_y(base - 0.2)
        self._own.set_y(self._rows[state.cylinders] + 0.12)
        self._line.set_xdata([state.duty_percent] * 2)
        self._say.set(y=base + 0.11, text=f"{state.reading_deg:.1f}°")


class Signal(Picture[Shown]):
    """Closed and open over a quarter turn of the distributor: all that the meter sees."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        ax = axes(
            figure,
            (0.21, 0.3, 0.75, 0.5),
            "Distributor degrees",
            "",
            xticks=range(0, 91, 15),
            yticks=(0, 1),
            ylim=(-0.2, 1.3),
        )
        ax.set_yticklabels(["open", "closed"], **words(13))
        (self._line,) = ax.plot([], [], color=style.INK, lw=style.LINE)
        return (self._line,)

    def update(self, state: Shown) -> None:
        lobe, at, level = 360.0 / state.cylinders, [0.0], [1]
        start = 0.0
        while start < 90:
            at += [start + state.dwell_deg, start + state.dwell_deg, start + lobe]
            level += [1, 0, 0]
            start += lobe
            if start < 90:
                at.append(start)
                level.append(1)
        self._line.set_data(at, level)


def scales_caption(state: Shown) -> str:
    """The reading in words."""
    right = state.switch == state.cylinders
    truth = (
        "The switch is right."
        if right
        else f"The switch is wrong: on {state.cylinders} it would show {state.dwell_deg:.1f}°."
    )
    return (
        f"The points are closed {state.duty_percent:.1f} % of the time. On the scale for {state.switch} cylinders (framed) "
        f"that reads {state.reading_deg:.1f}°. {truth} The dot marks the engine's own scale."
    )


def signal_caption(state: Shown) -> str:
    """The signal in words."""
    return (
        f"{state.cylinders} cylinders, gap {thou(state.gap)}: closed for {state.dwell_deg:.1f} of every "
        f"{360 / state.cylinders:g} distributor degrees."
    )


def dwell_meter(compute: Callable[..., Shown] = compute) -> Panel[Shown]:
    """Dwell meter with its cylinder switch."""
    controls = {
        "gap": slider(18.0, 8.0, 28.0, 0.5, "Point gap (0.001 in)"),
        "cylinders": pick(_ROWS, 8, "Cylinders of the engine"),
        "switch": pick(_ROWS, 4, "Switch of the meter"),
    }
    return Panel(
        "Dwell meter", controls, compute, ((Scales(500, 320), scales_caption), (Signal(330, 320), signal_caption))
    )
