"""The throttle plate at idle: why an idle that is too fast adds advance twice."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from ipywidgets import FloatSlider, IntSlider, RadioButtons
from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from numpy.typing import ArrayLike

from grader.ranges import FloatOrArray
from grader.reference import angles
from grader.reference.timing import advance, filling, induction
from grader.units import KPA_PER_INHG, MM_PER_IN
from grader.widgets import style
from grader.widgets.panel import Panel, Picture, add_patch
from grader.widgets.panels.timing.scales import mark_axes
from grader.widgets.style import words

# The engine of the worked examples; plate, bore and filling are teaching values.
CENTRIFUGAL, VACUUM, INITIAL_DEG = ((400.0, 0.0), (1000.0, 6.0), (1800.0, 11.0)), ((5.0, 0.0), (13.0, 8.0)), 8.0
BORE_MM, CLOSED_DEG, DISCHARGE = 36.0, 8.0, 0.8
DISPLACEMENT_L, FILLING, IDLE_KPA, CHARGE_K = 2.0, 0.8, 35.0, 310.0
SLOWEST_RPM, FASTEST_RPM, MOST_DEG = 500, 1600, 45
PORTED, MANIFOLD = "above the closed plate (ported)", "below the plate (manifold)"
_SPEEDS = np.arange(SLOWEST_RPM, FASTEST_RPM + 1, 10.0)


@dataclass(frozen=True, slots=True)
class Idle:
    """The engine idling; angles in crank degrees, lengths in mm, vacuum in inHg."""

    speed_rpm: float
    tap_mm: float
    ported: bool
    plate_deg: float
    edge_mm: float
    covered: bool
    manifold_inhg: float
    line_inhg: float
    centrifugal_deg: float
    vacuum_deg: float
    centrifugal_curve: np.ndarray
    vacuum_curve: np.ndarray


def plate_deg(speed_rpm: ArrayLike) -> FloatOrArray:
    """Tilt of the plate that lets the idling engine breathe: its air grows with its speed."""
    full = np.pi / 4.0 * BORE_MM**2
    flow = induction.throttle_flow_g_per_s(1.0, IDLE_KPA / induction.ONE_ATMOSPHERE_KPA)  # of one mm2
    wanted = filling.engine_flow_g_per_s(IDLE_KPA, speed_rpm, FILLING, DISPLACEMENT_L, CHARGE_K)
    area = wanted / flow / DISCHARGE
    return np.degrees(np.arccos((1.0 - area / full) * np.cos(np.radians(CLOSED_DEG))))


def _at(speed_rpm, tap_mm, ported):
    """(plate, covered, manifold vacuum, line vacuum, weights, vacuum unit) at a speed or an array of them."""
    plate = plate_deg(speed_rpm)
    area = DISCHARGE * np.asarray(induction.throttle_area_mm2(plate, BORE_MM, CLOSED_DEG))
    manifold = induction.vacuum_inhg(
        induction.manifold_pressure_kpa(area, speed_rpm, DISPLACEMENT_L, FILLING, charge_temperature_k=CHARGE_K)
    )
    covered = np.asarray(induction.port_covered(plate, tap_mm, BORE_MM, CLOSED_DEG)) & ported
    line = advance.ported_vacuum_inhg(manifold, covered)
    weights = angles.crank_deg(advance.centrifugal_advance_deg(angles.distributor_speed_rpm(speed_rpm), CENTRIFUGAL))
    return plate, covered, manifold, line, weights, angles.crank_deg(advance.vacuum_advance_deg(line, VACUUM))


def compute(speed_rpm: float, tap_mm: float, tap: str) -> Idle:
    """What plate, line and timing do at an idle speed.

    Parameters
    ----------
    speed_rpm : float [crank rev/min]
    tap_mm : float [mm]
        Height of the tap above the edge of the closed plate.
    tap : str
        `PORTED` or `MANIFOLD`.

    Returns
    -------
    Idle
    """
    ported = tap == PORTED
    plate, covered, manifold, line, weights, unit = _at(float(speed_rpm), tap_mm, ported)
    curves = _at(_SPEEDS, tap_mm, ported)
    edge = BORE_MM / 2.0 * (np.sin(np.radians(plate)) - np.sin(np.radians(CLOSED_DEG))) / np.cos(np.radians(CLOSED_DEG))
    return Idle(
        speed_rpm,
        tap_mm,
        ported,
        float(plate),
        float(edge),
        bool(covered),
        float(manifold),
        float(line),
        float(weights),
        float(unit),
        np.asarray(curves[4]),
        np.asarray(curves[5]),
    )


class Plate(Picture[Idle]):
    """The bore cut open, whole and once more large at the edge of the plate. True to scale."""

    _REACH = 5.0  # millimetres shown above and below the closed edge in the large view

    def draw(self, figure: Figure) -> Iterable[Artist]:
        moving = []
        whole = figure.add_axes((0.02, 0.02, 0.42, 0.9))
        large = figure.add_axes((0.5, 0.02, 0.48, 0.9))
        for axes in (whole, large):
            axes.set_aspect("equal")
            axes.set_axis_off()
        half, closed = BORE_MM / 2, BORE_MM / 2 * np.tan(np.radians(CLOSED_DEG))
        whole.set_xlim(-30, 30)
        whole.set_ylim(-36, 36)
        for left in (-half - 6, half):
            whole.add_patch(Rectangle((left, -30), 6, 60, facecolor="#d9dee2", edgecolor=style.INK, lw=1.0))
        whole.text(0, 32.5, "air from the filter", ha="center", va="center", **words(12))
        whole.text(0, -33, "to the engine: vacuum", ha="center", va="center", **words(12))
        whole.plot([0], [0], "o", color=style.INK, ms=5)
        (self._plate,) = whole.plot([], [], color=style.RED, lw=4, solid_capstyle="butt")
        whole.add_patch(
            Rectangle((half - 7, closed - 6), 14, 12, facecolor="none", edgecolor=style.GREY, lw=1.0, ls=":")
        )
        reach = self._REACH
        large.set_xlim(-8.0, 6.6)
        large.set_ylim(-reach - 1.2, reach + 1.2)
        large.add_patch(Rectangle((0, -reach), 6.2, 2 * reach, facecolor="#d9dee2", edgecolor=style.INK, lw=1.0))
        large.text(-1.7, reach + 0.7, "the edge, seen large", ha="center", va="center", **words(12))
        large.plot([-7.6, -7.6], [-4.4, -2.4], color=style.INK, lw=1.2)
        large.text(-7.2, -3.4, "2 mm\n(0.08 in)", va="center", **words(12))
        (self._edge,) = large.plot([], [], color=style.RED, lw=7, solid_capstyle="butt")
        self._tap = add_patch(large, Rectangle((0, 0), 6.2, 1.0, facecolor=style.PAPER, edgecolor=style.INK, lw=1.2))
        self._says = large.text(-4.2, reach - 0.7, "", ha="center", va="center", **words(13, weight="bold"))
        self._line = large.text(3.1, 0, "", ha="center", va="bottom", color=style.BLUE, **words(13, weight="bold"))
        moving += [self._plate, self._edge, self._tap, self._says, self._line]
        return moving

    def update(self, state: Idle) -> None:
        length, turn = BORE_MM / 2 / np.cos(np.radians(CLOSED_DEG)), np.radians(state.plate_deg)
        tip = np.array([np.cos(turn), np.sin(turn)]) * length
        self._plate.set_data([-tip[0], tip[0]], [-tip[1], tip[1]])
        closed = BORE_MM / 2 * np.tan(np.radians(CLOSED_DEG))
        near = np.array([tip[0] - BORE_MM / 2, tip[1] - closed])
        away = near - 9.0 * tip / length
        self._edge.set_data([away[0], near[0]], [away[1], near[1]])
        middle = state.tap_mm if state.ported else -3.5
        self._tap.set_y(middle - 0.5)
        self._line.set(y=middle + 0.7, text=f"{state.line_inhg:.1f} inHg")
        self._says.set_text("manifold tap" if not state.ported else "tap covered" if state.covered else "tap uncovered")


class Marks(Picture[Idle]):
    """What the timing light shows at idle, against the idle speed."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        axes = figure.add_axes((0.135, 0.15, 0.62, 0.81))
        mark_axes(
            axes,
            (SLOWEST_RPM, FASTEST_RPM),
            (0, MOST_DEG),
            "Idle speed (crankshaft rev/min)",
            "Advance at idle (crank degrees)",
            range(600, FASTEST_RPM + 1, 200),
            range(0, MOST_DEG + 1, 10),
        )
        axes.axhline(INITIAL_DEG, color=style.GREEN, ls=style.DOTTED, lw=style.LINE * 0.8)
        place = FASTEST_RPM + 15
        axes.text(place, INITIAL_DEG, "set", color=style.GREEN, va="center", **words(13))
        (self._weights,) = axes.plot(_SPEEDS, np.zeros_like(_SPEEDS), color=style.RED, ls=style.DASHED, lw=2)
        (self._total,) = axes.plot(_SPEEDS, np.zeros_like(_SPEEDS), color=style.INK, lw=style.LINE * 0.9)
        self._names = [
            axes.text(place, 0, name, color=colour, va="center", **words(13))
            for name, colour in (("+ weights", style.RED), ("+ vacuum", style.INK))
        ]
        (self._dot,) = axes.plot([], [], "o", color=style.INK, ms=7)
        self._says = axes.text(0, 0, "", va="bottom", **words(14, weight="bold"))
        return self._weights, self._total, *self._names, self._dot, self._says

    def update(self, state: Idle) -> None:
        weights = INITIAL_DEG + state.centrifugal_curve
        total = weights + state.vacuum_curve
        self._weights.set_ydata(weights)
        self._total.set_ydata(total)
        self._names[0].set_y(weights[-1])
        self._names[1].set_y(max(total[-1], weights[-1] + 3))
        now = INITIAL_DEG + state.centrifugal_deg + state.vacuum_deg
        self._dot.set_data([state.speed_rpm], [now])
        left = state.speed_rpm > 1000
        self._says.set(
            x=state.speed_rpm + (-20 if left else 20), y=now + 1, ha="right" if left else "left", text=f"{now:.1f}°"
        )


def plate_caption(state: Idle) -> str:
    """Where the plate's edge stands and what the line feels."""
    where = (
        "The tap is in the manifold, so the line always feels the engine's vacuum"
        if not state.ported
        else f"The tap sits {state.tap_mm:.1f} mm ({state.tap_mm / MM_PER_IN:.3f} in) above the closed edge and is "
        + ("covered" if state.covered else "uncovered")
    )
    return (
        f"At {state.speed_rpm:.0f} rev/min the edge of the plate stands {state.edge_mm:.1f} mm "
        f"({state.edge_mm / MM_PER_IN:.3f} in) above its closed place. {where}: {state.line_inhg:.1f} inHg "
        f"({state.line_inhg * KPA_PER_INHG:.0f} kPa) in the line."
    )


def marks_caption(state: Idle) -> str:
    """What the timing light shows, and how much of it nobody set."""
    extra = state.centrifugal_deg + state.vacuum_deg
    total = INITIAL_DEG + extra
    if extra < 0.05:
        return f"The timing light shows {total:.1f}°, just what was set: weights and vacuum unit rest."
    parts = [
        f"{deg:.1f}° from the {name}"
        for deg, name in ((state.centrifugal_deg, "weights"), (state.vacuum_deg, "vacuum unit"))
        if deg >= 0.05
    ]
    return (
        f"The timing light shows {total:.1f}°, of which {INITIAL_DEG:.0f}° are set and {extra:.1f}° were not wanted at idle: "
        f"{' and '.join(parts)}. Bring the idle down to the manual's figure first, then set the timing."
    )


def fast_idle(compute: Callable[..., Idle] = compute) -> Panel[Idle]:
    """The panel: idle speed, height of the tap, and where the line is joined."""
    controls = {
        "speed_rpm": IntSlider(700, min=SLOWEST_RPM, max=FASTEST_RPM, step=20, description="Idle speed (rev/min)"),
        "tap_mm": FloatSlider(
            2.2, min=1.5, max=3.5, step=0.1, readout_format=".1f", description="Height of the tap (mm)"
        ),
        "tap": RadioButtons(options=[PORTED, MANIFOLD], value=PORTED, description="Vacuum line joined"),
    }
    for control in controls.values():
        control.style.description_width = "13rem"
        control.layout = style.wide()
        control.continuous_update = True
    return Panel(
        "Throttle plate and idle speed",
        controls,
        compute,
        ((Plate(430, 340), plate_caption), (Marks(450, 340), marks_caption)),
    )
