"""The hand pump on a vacuum unit: tight and free, punctured, or seized."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
from ipywidgets import FloatSlider, RadioButtons
from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.patches import FancyBboxPatch, Rectangle

from grader.reference.timing import advance
from grader.units import KPA_PER_INHG
from grader.widgets import style
from grader.widgets.panel import Panel, Picture
from grader.widgets.panels.timing.scales import mark_axes
from grader.widgets.style import words

LONGEST_S, MOST_INHG = 60, 24
STOP_INHG, START_INHG = 13.0, 5.0  # the unit of the worked examples: starts to move, stands at its stop
STROKE_MM = 8.0  # of the rod from rest to its stop; a teaching value
GOOD, PUNCTURED, SEIZED = "sound", "punctured", "plate seized"
UNITS = (GOOD, PUNCTURED, SEIZED)
_TIMES = np.linspace(0.0, LONGEST_S, 121)


@dataclass(frozen=True, slots=True)
class Pumped:
    """The unit some time after the pump was left alone; vacuum in inHg, stroke in mm."""

    unit: str
    start_inhg: float
    time_s: float
    left_inhg: float
    stroke_mm: float
    curve_inhg: np.ndarray


def compute(unit: str, start_inhg: float, fall_inhg_per_s: float, time_s: float) -> Pumped:
    """What gauge and plate show.

    Parameters
    ----------
    unit : str
        One of `UNITS`.
    start_inhg : float [inHg vacuum]
    fall_inhg_per_s : float [inHg/s]
        Of a punctured diaphragm while its leak is choked.
    time_s : float [s]

    Returns
    -------
    Pumped
    """
    fall = fall_inhg_per_s if unit == PUNCTURED else 0.0
    left = advance.leaking_vacuum_inhg(time_s, start_inhg, fall)
    share = np.clip((left - START_INHG) / (STOP_INHG - START_INHG), 0.0, 1.0)
    stroke = 0.0 if unit == SEIZED else float(STROKE_MM * share)
    return Pumped(unit, start_inhg, time_s, left, stroke, advance.leaking_vacuum_inhg(_TIMES, start_inhg, fall))


class Gauge(Picture[Pumped]):
    """Vacuum against time since the pump was left alone."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        axes = figure.add_axes((0.13, 0.16, 0.83, 0.8))
        mark_axes(
            axes,
            (0, LONGEST_S),
            (0, MOST_INHG),
            "Time since the last stroke of the pump (s)",
            "Vacuum gauge (inHg)",
            range(0, LONGEST_S + 1, 10),
            range(0, MOST_INHG + 1, 4),
        )
        limit = advance.choked_vacuum_inhg()
        axes.axhline(limit, color=style.GREY, ls=style.DOTTED, lw=1.2)
        axes.text(
            LONGEST_S, limit + 0.4, "a leak falls straight down to here", color="#555555", ha="right", **words(12)
        )
        (self._line,) = axes.plot(_TIMES, np.zeros_like(_TIMES), color=style.BLUE, lw=style.LINE)
        (self._dot,) = axes.plot([0], [0], "o", color=style.INK, ms=7)
        self._figure = axes.text(0, 0, "", color=style.INK, va="bottom", **words(14, weight="bold"))
        return self._line, self._dot, self._figure

    def update(self, state: Pumped) -> None:
        self._line.set_ydata(state.curve_inhg)
        self._dot.set_data([state.time_s], [state.left_inhg])
        left = state.time_s > LONGEST_S / 2
        self._figure.set(
            x=state.time_s + (-1 if left else 1),
            y=state.left_inhg + 0.7,
            ha="right" if left else "left",
            text=f"{state.left_inhg:.1f} inHg",
        )


class Unit(Picture[Pumped]):
    """The unit cut open: chamber, diaphragm, rod, and the plate's stroke on a scale. Strokes are drawn larger."""

    _REST, _SCALE = 4.6, 0.22  # place of the diaphragm at rest; drawing units for one millimetre

    def draw(self, figure: Figure) -> Iterable[Artist]:
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set_xlim(-0.4, 10.6)
        axes.set_ylim(-2.6, 5.0)
        axes.set_aspect("equal")
        axes.set_axis_off()
        centred: dict[str, Any] = {"ha": "center", "va": "center"}
        axes.add_patch(
            FancyBboxPatch(
                (2.0, 0.0), 3.6, 3.6, boxstyle="round,pad=0.1", facecolor="#eceff1", edgecolor=style.INK, lw=1.4
            )
        )
        axes.add_patch(Rectangle((0.0, 1.6), 1.9, 0.4, facecolor=style.PAPER, edgecolor=style.INK, lw=1.2))
        axes.text(0.95, 2.4, "to pump", **words(12), **centred)
        axes.text(2.55, 4.2, "vacuum side", **words(12), **centred)
        axes.text(6.2, 4.2, "open to the air", **words(12), **centred)
        axes.plot([6.2, 5.3], [3.95, 2.9], color=style.GREY, lw=0.8)
        axes.plot([7.0, 9.4], [-0.55, -0.55], color=style.INK, lw=1.0)
        for millimetre in range(0, int(STROKE_MM) + 1, 2):
            at = 9.0 - self._SCALE * millimetre
            axes.plot([at, at], [-0.55, -0.75], color=style.INK, lw=1.0)
            if millimetre % 4 == 0:
                axes.text(at, -1.15, str(millimetre), **words(12), **centred)
        axes.text(8.1, -1.9, "stroke of the plate (mm)", **words(12), **centred)
        (self._diaphragm,) = axes.plot([], [], color=style.RED, lw=3.0)
        (self._rod,) = axes.plot([], [], color=style.INK, lw=4.0, solid_capstyle="butt")
        (self._pointer,) = axes.plot([], [], color=style.INK, lw=1.4)
        (self._plate,) = axes.plot([], [], "o", color=style.BLUE, ms=13, mec=style.INK)
        (self._hole,) = axes.plot([], [], "o", color=style.PAPER, mec=style.INK, ms=7)
        self._said = axes.text(3.8, -1.3, "", **words(14, weight="bold"), **centred)
        return self._diaphragm, self._rod, self._pointer, self._plate, self._hole, self._said

    def update(self, state: Pumped) -> None:
        shift = self._SCALE * state.stroke_mm
        middle = self._REST - shift
        self._diaphragm.set_data([self._REST - 0.3, middle, middle, self._REST - 0.3], [0.0, 0.9, 2.7, 3.6])
        self._rod.set_data([middle, 9.0 - shift], [1.8, 1.8])
        self._pointer.set_data([9.0 - shift, 9.0 - shift], [1.8, -0.5])
        self._plate.set_data([9.0 - shift], [1.8])
        self._hole.set_data([middle], [2.35]) if state.unit == PUNCTURED else self._hole.set_data([], [])
        self._said.set_text(f"{state.left_inhg:.1f} inHg")


_VERDICTS = MappingProxyType(
    {
        GOOD: "It holds, and the plate has moved: a sound unit, if the plate comes back when you let go.",
        PUNCTURED: "It falls: air passes the diaphragm.",
        SEIZED: "It holds and the plate stays at 0.0 mm: the diaphragm is tight, plate or link is seized.",
    }
)


def gauge_caption(state: Pumped) -> str:
    """What the gauge shows, in words."""
    return (
        f"Pumped to {state.start_inhg:.1f} inHg ({state.start_inhg * KPA_PER_INHG:.0f} kPa). After {state.time_s:.0f} s "
        f"the gauge shows {state.left_inhg:.1f} inHg ({state.left_inhg * KPA_PER_INHG:.0f} kPa)."
    )


def unit_caption(state: Pumped) -> str:
    """What the plate does, and what it means."""
    if state.unit == GOOD and state.stroke_mm == 0:
        return (
            "It holds, and the plate stays at 0.0 mm: this unit begins to move at 5 inHg (17 kPa) only. Pump further."
        )
    return f"The plate stands {state.stroke_mm:.1f} mm from rest. {_VERDICTS[state.unit]}"


def pump_test(compute: Callable[..., Pumped] = compute) -> Panel[Pumped]:
    """The panel: which unit, how far it is pumped, how large the hole, how long one waits."""
    controls = {
        "unit": RadioButtons(options=UNITS, value=GOOD, description="Vacuum unit"),
        "start_inhg": FloatSlider(18, min=0, max=22, step=0.5, readout_format=".1f", description="Pumped to (inHg)"),
        "fall_inhg_per_s": FloatSlider(
            0.5, min=0.1, max=2, step=0.1, readout_format=".1f", description="Leak (inHg/s)"
        ),
        "time_s": FloatSlider(20, min=0, max=LONGEST_S, step=1, readout_format=".0f", description="Wait (s)"),
    }
    for control in controls.values():
        control.style.description_width = "13rem"
        control.layout = style.wide()
        control.continuous_update = True
    return Panel(
        "Hand pump on the vacuum unit",
        controls,
        compute,
        ((Gauge(480, 340), gauge_caption), (Unit(430, 300), unit_caption)),
    )
