"""Panels of module 1: total advance from speed, vacuum and initial timing."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
from ipywidgets import FloatSlider, IntSlider, RadioButtons
from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.patches import Circle, FancyArrowPatch, Polygon, Wedge

from grader.reference import angles
from grader.reference.timing import advance
from grader.units import KPA_PER_INHG
from grader.widgets import style
from grader.widgets.panel import Panel, Picture, add_patch
from grader.widgets.panels.timing.idle import fast_idle
from grader.widgets.panels.timing.pressure import spark_pressure
from grader.widgets.panels.timing.pump import pump_test
from grader.widgets.panels.timing.scales import mark_axes

# The engine of the lesson's worked examples, no vehicle that is asked about in an exercise.
CENTRIFUGAL = ((400.0, 0.0), (1000.0, 6.0), (1800.0, 11.0))
VACUUM = ((5.0, 0.0), (13.0, 8.0))
OFF, ON = "off and plugged", "on"
MOST_RPM, MOST_DEG = 4500, 60

_SPEEDS = np.linspace(0, MOST_RPM, 91)


@dataclass(frozen=True, slots=True)
class Advance:
    """One setting of the sliders and what follows from it; angles in crank degrees."""

    speed_rpm: float
    vacuum_inhg: float
    line_on: bool
    initial_deg: float
    centrifugal_deg: float
    vacuum_deg: float
    total_deg: float
    speeds: np.ndarray
    centrifugal_curve: np.ndarray
    vacuum_curve: np.ndarray
    total_curve: np.ndarray


def compute(speed_rpm: float, vacuum_inhg: float, initial_deg: float, line: str) -> Advance:
    """The parts of the advance at one speed, and their curves against speed.

    Parameters
    ----------
    speed_rpm : float [crank rev/min]
    vacuum_inhg : float [inHg vacuum]
        In the manifold; the same at every speed of the curves.
    initial_deg : float [crank degree]
    line : str
        `ON` or `OFF`.

    Returns
    -------
    Advance
    """
    at_unit = vacuum_inhg if line == ON else 0.0
    weights = angles.crank_deg(advance.centrifugal_advance_deg(angles.distributor_speed_rpm(speed_rpm), CENTRIFUGAL))
    diaphragm = angles.crank_deg(advance.vacuum_advance_deg(at_unit, VACUUM))
    curve = angles.crank_deg(advance.centrifugal_advance_deg(angles.distributor_speed_rpm(_SPEEDS), CENTRIFUGAL))
    return Advance(
        speed_rpm,
        vacuum_inhg,
        line == ON,
        initial_deg,
        weights,
        diaphragm,
        advance.total_advance_deg(speed_rpm, at_unit, initial_deg, CENTRIFUGAL, VACUUM),
        _SPEEDS,
        curve,
        np.full_like(_SPEEDS, diaphragm),
        advance.total_advance_deg(_SPEEDS, at_unit, initial_deg, CENTRIFUGAL, VACUUM),
    )


class Curves(Picture[Advance]):
    """Advance against engine speed: each part, the sum, and where the engine runs now."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        axes = figure.add_axes((0.135, 0.145, 0.625, 0.82))
        mark_axes(
            axes,
            (0, MOST_RPM),
            (0, MOST_DEG),
            "Engine speed (crankshaft rev/min)",
            "Advance (crank degrees)",
            range(0, MOST_RPM + 1, 1000),
            range(0, MOST_DEG + 1, 10),
        )
        looks = (
            ("total", style.INK, style.SOLID, style.LINE * 0.9),
            ("weights", style.RED, style.DASHED, style.LINE * 0.7),
            ("vacuum unit", style.BLUE, style.DASH_DOT, style.LINE * 0.7),
            ("initial", style.GREEN, style.DOTTED, style.LINE * 0.8),
        )
        self._lines, self._labels = {}, {}
        for name, colour, dashes, width in looks:
            (self._lines[name],) = axes.plot(_SPEEDS, np.zeros_like(_SPEEDS), color=colour, ls=dashes, lw=width)
            self._labels[name] = axes.text(
                MOST_RPM * 1.02,
                0,
                name,
                color=colour,
                va="center",
                clip_on=False,
                family=style.FONT["family"],
                size=style.points(13),
            )
        (self._now,) = axes.plot([0, 0], [0, MOST_DEG], color=style.GREY, lw=0.9)
        (self._dot,) = axes.plot([0], [0], "o", color=style.INK, ms=6)
        self._figure_at_dot = axes.text(
            0, 0, "", color=style.INK, va="bottom", family=style.FONT["family"], size=style.points(14), weight="bold"
        )
        return (self._now, *self._lines.values(), *self._labels.values(), self._dot, self._figure_at_dot)

    def update(self, state: Advance) -> None:
        heights = {
            "total": state.total_curve,
            "weights": state.centrifugal_curve,
            "vacuum unit": state.vacuum_curve,
            "initial": np.full_like(state.speeds, state.initial_deg),
        }
        for name, height in heights.items():
            self._lines[name].set_ydata(height)
        for name, place in _apart({name: float(height[-1]) for name, height in heights.items()}, 3.4).items():
            self._labels[name].set_y(place)
        self._now.set_xdata([state.speed_rpm, state.speed_rpm])
        self._dot.set_data([state.speed_rpm], [state.total_deg])
        left = state.speed_rpm > 700  # the curve never falls, so there is room to the left above it
        self._figure_at_dot.set(
            x=state.speed_rpm + (-70 if left else 70),
            y=min(state.total_deg + 1.2, MOST_DEG - 4),
            ha="right" if left else "left",
            text=f"{state.total_deg:.1f}°",
        )


class Pulley(Picture[Advance]):
    """The crankshaft pulley from the front, stopped by the flash, against a scale on the engine.

    Drawn true to angle and turning clockwise: before top dead centre the notch has
    still to come to 0, so the scale runs to the left.
    """

    _RADIUS, _MARK = 1.0, 0.16

    def draw(self, figure: Figure) -> Iterable[Artist]:
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set_xlim(-1.3, 1.1)
        axes.set_ylim(-1.2, 1.7)
        axes.set_aspect("equal")
        axes.set_axis_off()
        font: dict[str, Any] = {"family": style.FONT["family"], "color": style.INK, "ha": "center", "va": "center"}
        axes.add_patch(Circle((0, 0), self._RADIUS, facecolor="#eceff1", edgecolor=style.INK, lw=1.2))
        axes.add_patch(Circle((0, 0), self._RADIUS * 0.8, facecolor="none", edgecolor=style.GREY, lw=0.8))
        axes.add_patch(Circle((0, 0), 0.1, facecolor=style.PAPER, edgecolor=style.INK, lw=1.0))
        axes.add_patch(
            Wedge(
                (0, 0), 1.2, 90 - 12, 90 + MOST_DEG + 2, width=0.16, facecolor=style.PAPER, edgecolor=style.INK, lw=0.9
            )
        )
        for degree in range(-10, MOST_DEG + 1, 2):
            long = degree % 10 == 0
            inner, outer = _at(degree, 1.04), _at(degree, 1.16 if long else 1.1)
            axes.plot(*zip(inner, outer, strict=True), color=style.INK, lw=1.3 if long else 0.7)
            if long:
                axes.text(*_at(degree, 1.29), str(abs(degree)), size=style.points(13), **font)
        axes.text(0.0, 1.55, "top dead centre", size=style.points(12), **font)
        axes.plot([0, 0], [1.38, 1.47], color=style.INK, lw=0.8)
        axes.text(-1.0, 1.3, "before", size=style.points(12), **font)
        axes.text(0.52, 1.3, "after", size=style.points(12), **font)
        axes.add_patch(
            FancyArrowPatch(
                _at(128, 0.62),
                _at(58, 0.62),
                connectionstyle="arc3,rad=-0.3",
                arrowstyle="-|>",
                mutation_scale=14,
                color=style.GREY,
                lw=1.1,
            )
        )
        axes.text(0.0, -0.35, "turns clockwise", size=style.points(12), **{**font, "color": "#555555"})
        self._notch = add_patch(
            axes, Polygon(np.zeros((3, 2)), closed=True, facecolor=style.RED, edgecolor=style.INK, lw=0.8, hatch="////")
        )
        (self._ray,) = axes.plot([0, 0], [0, 0], color=style.RED, lw=2.2)
        self._reading = axes.text(0.0, 0.3, "", size=style.points(20), weight="bold", **font)
        return self._notch, self._ray, self._reading

    def update(self, state: Advance) -> None:
        tip = _at(state.total_deg, self._RADIUS)
        self._notch.set_xy([tip, _at(state.total_deg - 3.2, 0.82), _at(state.total_deg + 3.2, 0.82)])
        self._ray.set_data(*zip(tip, _at(state.total_deg, 1.14), strict=True))
        self._reading.set_text(f"{state.total_deg:.1f}°")


def curves_caption(state: Advance) -> str:
    """What the curves show, with the present values: the picture's alternative text."""
    line = (
        f"the line is on with {state.vacuum_inhg:.1f} inHg ({state.vacuum_inhg * KPA_PER_INHG:.0f} kPa) and the "
        f"vacuum unit adds {state.vacuum_deg:.1f}°"
        if state.line_on
        else "the vacuum line is off and plugged and the unit adds 0.0°"
    )
    return (
        f"Advance against engine speed. At {state.speed_rpm:.0f} rev/min the initial timing is "
        f"{state.initial_deg:.0f}°, the weights add {state.centrifugal_deg:.1f}°, {line}: total {state.total_deg:.1f}° before top dead centre, "
        "all in crank degrees."
    )


def pulley_caption(state: Advance) -> str:
    """What the timing light shows, in words."""
    return (
        f"As the timing light shows it: the notch stands at {state.total_deg:.1f}° before top dead centre. Scales on "
        "real engines are shorter; the service manual says how to read beyond them."
    )


def total_advance(compute: Callable[..., Advance] = compute) -> Panel[Advance]:
    """The panel of handbook figures: speed, vacuum, initial timing, line on or off."""
    controls = {
        "speed_rpm": IntSlider(1500, min=0, max=MOST_RPM, step=50, description="Engine speed (rev/min)"),
        "vacuum_inhg": FloatSlider(9, min=0, max=22, step=0.5, readout_format=".1f", description="Vacuum (inHg)"),
        "initial_deg": IntSlider(8, min=0, max=14, description="Initial timing (°)"),
        "line": RadioButtons(options=[OFF, ON], value=OFF, description="Vacuum line"),
    }
    for control in controls.values():
        control.style.description_width = "13rem"
        control.layout = style.wide()
        control.continuous_update = True
    views = ((Curves(480, 400), curves_caption), (Pulley(330, 400), pulley_caption))
    return Panel("Total advance", controls, compute, views)


PANELS = MappingProxyType(
    {
        "spark_pressure": spark_pressure,
        "total_advance": total_advance,
        "fast_idle": fast_idle,
        "pump_test": pump_test,
    }
)


def _at(degree, radius):
    """A point on the pulley: degrees before top to the left of the upright."""
    turn = np.radians(90.0 + degree)
    return radius * np.cos(turn), radius * np.sin(turn)


def _apart(heights, least):
    """Places for labels near their heights, none closer than `least` to the next."""
    placed, below = {}, -np.inf
    for name, height in sorted(heights.items(), key=lambda item: item[1]):
        below = max(height, below + least)
        placed[name] = below
    return placed
