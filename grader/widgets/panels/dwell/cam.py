"""Cam, points and gap, with dwell and timing moving together."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon, Rectangle

from grader.reference.spark import points
from grader.widgets import style
from grader.widgets.panel import Panel, Picture, add_patch
from grader.widgets.panels.dwell.drawing import (
    LESSON_DWELL,
    LESSON_GAP,
    LESSON_LIFT,
    axes,
    bare,
    pick,
    slider,
    thou,
)
from grader.widgets.style import words

SET_DEG = 8.0  # initial timing, set when the gap was the lesson's own
_HILL, _ROUND, _TOP = 0.34, 0.95, 90.0  # size of the drawn lobes, of the cam, and where the block sits


@dataclass(frozen=True, slots=True)
class Gap:
    """One setting of the points; lengths in thousandths of an inch, angles of the distributor but for the timing."""

    cylinders: int
    set_gap: float
    wear: float
    gap: float
    dwell_deg: float
    timing_deg: float
    turn_deg: float
    lift: float
    opening: float

    @property
    def lobe_deg(self) -> float:
        return 360.0 / self.cylinders

    @property
    def half_open_deg(self) -> float:
        return (self.lobe_deg - self.dwell_deg) / 2


def compute(cylinders: int, set_gap: float, wear: float, turn: float) -> Gap:
    """Gap, dwell and timing after the block has worn; `turn` is in per cent of a lobe from the peak."""
    lift = LESSON_LIFT[cylinders]
    gap = points.gap_after_wear(set_gap, wear)
    dwell = points.dwell_of_gap_deg(gap, lift, cylinders)
    timing = SET_DEG + points.timing_change_deg(dwell - LESSON_DWELL[cylinders])
    angle = turn / 100 * 360 / cylinders
    raised = lift / 2 * (1 + np.cos(np.radians(cylinders * angle)))
    return Gap(cylinders, set_gap, wear, gap, dwell, timing, angle, lift, float(max(0.0, raised - (lift - gap))))


class Mechanism(Picture[Gap]):
    """Cam, rubbing block, arm and contacts; the lift is drawn far too large so that it can be seen."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        ax = bare(figure, (0, 0, 1, 1), (-2.2, 2.75), (-1.75, 2.0))
        ax.add_patch(Circle((-1.75, 1.45), 0.12, facecolor=style.PAPER, edgecolor=style.INK, lw=1.4))
        ax.text(-1.75, 1.68, "pivot", ha="center", **words(12))
        self._cam = add_patch(ax, Polygon(np.zeros((3, 2)), facecolor="#eceff1", edgecolor=style.INK, lw=1.6))
        hub = add_patch(ax, Circle((0, 0), 0.16, facecolor=style.PAPER, edgecolor=style.INK, lw=1.2))
        hub_name = ax.text(0, -0.42, "cam", ha="center", **words(12))
        (self._arm,) = ax.plot([], [], color=style.INK, lw=5, solid_capstyle="round")
        self._block = add_patch(
            ax, Polygon(np.zeros((5, 2)), facecolor=style.SKY, edgecolor=style.INK, lw=1.2, hatch="..")
        )
        self._upper = add_patch(ax, Rectangle((1.53, 0), 0.24, 0.1, facecolor=style.RED, edgecolor=style.INK, lw=1.0))
        self._fixed = add_patch(ax, Rectangle((1.53, 0), 0.24, 0.1, facecolor=style.BLUE, edgecolor=style.INK, lw=1.0))
        self._post = add_patch(ax, Rectangle((1.58, 0), 0.14, 0.3, facecolor="#d9d9d9", edgecolor=style.INK, lw=1.0))
        ax.text(1.45, 0.4, "fixed contact,\nset for gap", ha="left", va="top", **words(12))
        self._block_name = ax.text(0.2, 0, "rubbing block", va="center", **words(12))
        self._say = ax.text(2.7, -1.2, "", ha="right", **words(15, weight="bold"))
        self._opening = ax.text(2.7, -1.6, "", ha="right", **words(12))
        return (
            self._cam,
            hub,
            hub_name,
            self._arm,
            self._block,
            self._upper,
            self._fixed,
            self._post,
            self._block_name,
            self._say,
            self._opening,
        )

    def update(self, state: Gap) -> None:
        around = np.radians(np.arange(0.0, 360.0, 1.5))
        hill = _HILL / 2 * (1 + np.cos(state.cylinders * (around - np.radians(_TOP - state.turn_deg))))
        self._cam.set_xy(np.column_stack([(_ROUND + hill) * np.cos(around), (_ROUND + hill) * np.sin(around)]))
        scale = _HILL / state.lift
        raised = _HILL / 2 * (1 + np.cos(np.radians(state.cylinders * state.turn_deg)))
        length = 0.4 - state.wear * scale
        held = _ROUND + _HILL - state.gap * scale  # the lowest that the closed contacts let the block come
        foot = max(_ROUND + raised, held)
        top = foot + length
        slope = (top - 1.45) / 1.75
        sides = [(0.08, foot + 0.1), (0.08, top), (-0.08, top), (-0.08, foot + 0.1)]
        self._block.set_xy([(0.0, foot), *sides])
        self._arm.set_data([-1.75, 1.75], [1.45, 1.45 + 3.5 * slope])
        reach = 1.45 + slope * 3.4 - 0.14
        shut = 1.45 + (held + length - 1.45) / 1.75 * 3.4 - 0.14
        self._upper.set_y(reach)
        self._fixed.set_y(shut - 0.1)
        self._post.set_bounds(1.58, 0.5, 0.14, max(0.05, shut - 0.6))
        self._block_name.set_y(foot + length / 2)
        self._say.set_text("points open" if state.opening > 0 else "points closed")
        self._opening.set_text(f"opening now {thou(state.opening)}")


class Angles(Picture[Gap]):
    """Opening over one lobe, the closed part, and where the timing mark stands."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        ax = axes(
            figure,
            (0.14, 0.42, 0.8, 0.53),
            "Distributor degrees from the lobe peak",
            "Opening (0.001 in)",
            xticks=range(-45, 46, 15),
            yticks=range(0, 31, 10),
            ylim=(-6, 30),
        )
        self._ax = ax
        (self._path,) = ax.plot([], [], color=style.INK, lw=style.LINE)
        self._closed = [
            add_patch(ax, Rectangle((0, -5), 1, 4, facecolor="#f2c9ac", edgecolor=style.RED, hatch="///", lw=0.8))
            for _ in range(2)
        ]
        self._open = add_patch(ax, Rectangle((0, -5), 1, 4, facecolor=style.PAPER, edgecolor=style.INK, lw=0.8))
        self._open_name = ax.text(0, -3.1, "", ha="center", va="center", **words(12))
        self._dwell = ax.text(0, 26.5, "", ha="center", va="center", **words(15, weight="bold", color=style.RED))
        (self._now,) = ax.plot([0, 0], [-6, 23.5], color=style.BLUE, lw=1.6, ls=style.DASHED)
        (self._spark,) = ax.plot([0], [0], marker=(8, 1, 0), ms=13, color=style.RED, mec=style.INK, mew=0.6)
        self._spark_name = ax.text(0, 3.0, "spark", ha="right", **words(12))
        low = figure.add_axes((0.14, 0.17, 0.8, 0.06))
        low.set_xlim(-6, 24)
        low.set_ylim(0, 1)
        low.set_yticks([])
        low.set_xticks(range(-5, 25, 5))
        for label in low.get_xticklabels():
            label.set(**words(12))
        low.set_xlabel("Timing mark, crank degrees before top dead centre", **words())
        low.plot([SET_DEG, SET_DEG], [0, 1], color=style.GREY, lw=1.2, ls=style.DASHED)
        (self._mark,) = low.plot([0], [0.5], marker="D", ms=10, color=style.BLUE, mec=style.INK)
        return (
            self._path,
            *self._closed,
            self._open,
            self._open_name,
            self._dwell,
            self._now,
            self._spark,
            self._spark_name,
            self._mark,
        )

    def update(self, state: Gap) -> None:
        half, lobe = state.half_open_deg, state.lobe_deg
        across = np.linspace(-lobe / 2, lobe / 2, 361)
        raised = state.lift / 2 * (1 + np.cos(np.radians(state.cylinders * across)))
        self._path.set_data(across, np.maximum(0.0, raised - (state.lift - state.gap)))
        self._closed[0].set_bounds(-lobe / 2, -5, lobe / 2 - half, 4)
        self._closed[1].set_bounds(half, -5, lobe / 2 - half, 4)
        self._open.set_bounds(-half, -5, 2 * half, 4)
        self._open_name.set_text("open")
        self._dwell.set_text(f"dwell {state.dwell_deg:.1f}°, open {2 * half:.1f}°")
        self._now.set_xdata([state.turn_deg, state.turn_deg])
        self._spark.set_data([-half], [0])
        self._spark_name.set_position((-half - 2.2, 2.0))
        self._mark.set_xdata([np.clip(state.timing_deg, -5.8, 23.8)])


def mechanism_caption(state: Gap) -> str:
    """What the drawing shows, in words."""
    stands = "open" if state.opening > 0 else "closed"
    side = "before" if state.turn_deg < 0 else "past"
    where = f"{abs(state.turn_deg):.1f} distributor degrees {side} a lobe peak" if state.turn_deg else "on a lobe peak"
    return (
        f"Cam with {state.cylinders} lobes, {where}: the points are {stands}. "
        f"Set to {thou(state.set_gap)}, block worn by {thou(state.wear)}: gap on the peak now {thou(state.gap)}. "
        "Lift drawn too large."
    )


def angles_caption(state: Gap) -> str:
    """Dwell and timing, in words."""
    change = state.timing_deg - SET_DEG
    how = "as it was set" if abs(change) < 0.05 else f"{abs(change):.1f}° {'early' if change > 0 else 'late'}"
    return (
        f"Gap {thou(state.gap)} gives a dwell of {state.dwell_deg:.1f} distributor degrees of {state.lobe_deg:g}. The points "
        f"open {state.half_open_deg:.1f}° before the peak: timing {state.timing_deg:.1f} crank degrees before top, {how}. "
        f"It was set to {SET_DEG:g}° at {thou(LESSON_GAP[state.cylinders])}."
    )


def cam_points(compute: Callable[..., Gap] = compute) -> Panel[Gap]:
    """Cam, points and gap."""
    controls = {
        "set_gap": slider(18.0, 10.0, 28.0, 0.5, "Gap as set (0.001 in)"),
        "wear": slider(0.0, 0.0, 8.0, 0.5, "Block worn by (0.001 in)"),
        "turn": slider(-20, -50, 50, 1, "Cam turned (% of a lobe)"),
        "cylinders": pick((4, 6, 8), 8, "Cylinders"),
    }
    return Panel(
        "Cam, points and gap",
        controls,
        compute,
        ((Mechanism(400, 340), mechanism_caption), (Angles(430, 340), angles_caption)),
    )
