"""Pictures that an exercise is read from, drawn for paper: black lines over a grid that a ruler can follow."""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import matplotlib
import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MultipleLocator

from grader.exercise.model import Exercise
from grader.modules.dwell.coil import FASTEST_RPM, available_kv
from grader.modules.heat_range.nose import NOSES_MM, fahrenheit, nose_tip_c
from grader.modules.plug_testing import firing
from grader.modules.secondary import voltage
from grader.reference.spark import breakdown, tester
from grader.units import MM_PER_IN

_WIDTH_MM = 172.0  # fits between the margins of A4 and of Letter
_DASHES = ("-", (0, (6, 3)), (0, (7, 2.5, 1.5, 2.5)), (0, (1.5, 2)), (0, (3, 1.5)))


@dataclass(frozen=True, slots=True)
class Plot:
    """A picture as a data address; `says` tells what it shows, `on_paper` what is otherwise than on the screen."""

    data: str
    caption: str
    says: str
    on_paper: str = ""


def plot(exercise: Exercise, given: SimpleNamespace) -> Plot | None:
    """The picture of an exercise with a trainee's own numbers, or None where it needs none.

    Parameters
    ----------
    exercise : Exercise
    given : namespace

    Returns
    -------
    Plot or None
    """
    maker = _PLOTS.get(exercise.key)
    return maker(given) if maker else None


def _available(given):
    figure, axes = _axes(118, "Engine speed, crankshaft (rev/min)", "Voltage (kV)")
    _scale(axes.xaxis, axes.set_xlim, (0, FASTEST_RPM), 500, 250)
    _scale(axes.yaxis, axes.set_ylim, (0, 40), 5, 1)
    speeds = np.linspace(120, FASTEST_RPM, 400)
    contact_ohm = getattr(given, "contact_ohm", 0.0)  # the first version knew sound contacts only
    axes.plot(speeds, available_kv(speeds, given.cylinders, contact_ohm=contact_ohm), color="black", lw=1.2)
    contacts = f"{contact_ohm:.2f} Ω at the points" if contact_ohm else "sound contacts"
    return Plot(
        _address(figure),
        f"Voltage that the coil can give, {given.cylinders} cylinders, 13.8 V, ballast in circuit, {contacts}.",
        "One curve of available voltage in kilovolts, 0 to 40, against engine speed, 0 to 6000 revolutions a minute.",
        "It takes the place of the coil panel: rule the line of what is required yourself.",
    )


def _noses(given):
    figure, axes = _axes(150, "Load (0 light, 1 heavy)", "Tip of the insulator nose (°C)")
    _scale(axes.xaxis, axes.set_xlim, (0, 1), 0.1, 0.02)
    _scale(axes.yaxis, axes.set_ylim, (200, 1000), 100, 10)
    loads = np.linspace(0, 1, 101)
    for name, length in NOSES_MM.items():
        tips = np.array([nose_tip_c(name, float(round(load, 4))) for load in loads])
        axes.plot(loads, tips, color="black", lw=1.1)
        axes.text(
            0.03,
            np.interp(0.03, loads, tips) + 55,
            f"{name}, {length:.0f} mm",
            fontsize=10,
            weight="bold",
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.5},
        )
    for limit in (500, 850):
        axes.axhline(limit, color="black", lw=0.9, ls=_DASHES[1])
    right = axes.secondary_yaxis("right", functions=(fahrenheit, lambda f: (np.asarray(f) - 32.0) / 1.8))
    right.set_yticks(range(400, 1801, 200))
    right.set_ylabel("°F")
    return Plot(
        _address(figure),
        "Tip temperature of three plugs against load; timing, mixture and seat in order. Dashed: 500 and 850 °C.",
        "Three rising curves of tip temperature, 200 to 1000 degrees Celsius, against load from 0 to 1: plug A lowest, "
        "plug B between, plug C highest. Fine lines stand every 10 degrees and every 0.02 of the load.",
    )


def _chart(given):
    figure, axes = _axes(135, "Absolute pressure (psi; 100 psi = 689 kPa), 20 °C", "Voltage a sharp plug wants (kV)")
    _scale(axes.xaxis, axes.set_xlim, (0, firing.CHART_MOST_PSIA), 20, firing.CHART_MINOR_PSIA)
    _scale(axes.yaxis, axes.set_ylim, (0, firing.CHART_MOST_KV), 5, firing.CHART_MINOR_KV)
    psia = np.linspace(4.0, firing.CHART_MOST_PSIA, 361)
    for gap_in, dash in zip(firing.CHART_GAPS_IN, _DASHES, strict=True):
        kv: Any = breakdown.required_voltage_kv(
            gap_in * MM_PER_IN,
            psia / tester.ATMOSPHERE_PSIA * breakdown.STANDARD_PRESSURE_BAR,
            breakdown.STANDARD_TEMPERATURE_K,
        )
        shown = kv <= firing.CHART_MOST_KV
        axes.plot(psia[shown], kv[shown], color="black", lw=1.1, ls=dash)
        x, y = psia[shown][-1], kv[shown][-1]
        top = y > firing.CHART_MOST_KV - 0.5
        axes.annotate(
            f"{gap_in:.3f}",
            (x, y),
            xytext=(0, 4) if top else (4, 0),
            textcoords="offset points",
            ha="center" if top else "left",
            va="bottom" if top else "center",
            fontsize=9,
        )
    axes.annotate("gap (in)", (1, 1), xycoords="axes fraction", xytext=(4, 4), textcoords="offset points", fontsize=9)
    return Plot(
        _address(figure),
        f"Voltage that a gap with sharp edges wants. One small square is {firing.CHART_MINOR_PSIA:g} psi by "
        f"{firing.CHART_MINOR_KV:g} kV.",
        "Five rising curves, for gaps of 0.025 to 0.045 inch, of voltage in kilovolts, 0 to 30, against absolute "
        "pressure, 0 to 180 psi; the widest gap lies highest.",
    )


def _zone(given):
    figure, axes = _axes(150, "Engine speed, crankshaft (rev/min)", "Voltage (kV)")
    _scale(axes.xaxis, axes.set_xlim, (0, voltage.FASTEST_RPM), 500, voltage.MINOR_RPM)
    _scale(axes.yaxis, axes.set_ylim, (0, voltage.MOST_KV), 5, voltage.MINOR_KV)
    speeds = np.linspace(voltage.SLOWEST_RPM, voltage.FASTEST_RPM, 461)
    available = np.asarray(voltage.available_kv(speeds, given.coil_percent))
    required = np.asarray(voltage.required_kv(speeds, given.gap_in, late_deg=given.late_deg, rotor_mm=given.rotor_mm))
    axes.plot(speeds, available, color="black", lw=0.9)
    axes.plot(speeds, required, color="black", lw=0.9, ls=_DASHES[1])
    return Plot(
        _address(figure),
        f"Full line: available voltage. Dashed: required voltage, rotor gap with it. One small square is "
        f"{voltage.MINOR_RPM} rev/min by {voltage.MINOR_KV} kV.",
        "Two curves of voltage in kilovolts, 0 to 30, against engine speed, 0 to 5000 revolutions a minute: what is available, "
        "full, and what is required, dashed. They cross twice. Fine lines stand every 50 revolutions a minute.",
        "It takes the place of the panel, with its sliders set as the task says; nothing is hatched.",
    )


_PLOTS = {
    "m02.enough_voltage": _available,
    "m03.two_duties": _noses,
    "m03.tip_moves": _noses,
    "m04.chart": _chart,
    "m05.zone": _zone,
}


def _axes(height_mm, across, up):
    figure = Figure(figsize=(_WIDTH_MM / MM_PER_IN, height_mm / MM_PER_IN), layout="constrained")
    axes = figure.subplots()
    axes.set_xlabel(across)
    axes.set_ylabel(up)
    axes.set_axisbelow(True)
    return figure, axes


def _scale(axis, limit, ends, major, minor):
    """Numbers at the major divisions, fine lines at the minor ones."""
    limit(*ends)
    axis.set_major_locator(MultipleLocator(major))
    axis.set_minor_locator(MultipleLocator(minor))
    axis.grid(which="major", color="#808080", lw=0.7)
    axis.grid(which="minor", color="#c8c8c8", lw=0.35)


def _address(figure):
    content = io.BytesIO()
    with matplotlib.rc_context({"svg.hashsalt": "timing-mark"}):
        figure.savefig(content, format="svg", metadata={"Date": None})
    return "data:image/svg+xml;base64," + base64.b64encode(content.getvalue()).decode()
