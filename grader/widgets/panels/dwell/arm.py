"""Bounce and float: the breaker arm at speed."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from matplotlib.artist import Artist
from matplotlib.figure import Figure

from grader.reference.spark import follower, points
from grader.widgets import style
from grader.widgets.panel import Panel, Picture
from grader.widgets.panels.dwell.drawing import LESSON_LIFT, THOU_MM, axes, slider, thou
from grader.widgets.style import words

OZ_N = 0.2780138510
ARM_KG = 0.0020  # with this arm a sound spring holds to about 4000 rev/min: a teaching value
CYLINDERS = 8
_LIFT_MM = LESSON_LIFT[CYLINDERS] * THOU_MM
_LOBE = 360.0 / CYLINDERS
_ACROSS = np.linspace(-_LOBE / 2, _LOBE, 271)
_SPEEDS = np.linspace(0.0, 6000.0, 241)


@dataclass(frozen=True, slots=True)
class Arm:
    """One spring, gap and speed; gap in thousandths of an inch."""

    gap: float
    spring_oz: float
    speed_rpm: float
    floats_rpm: float
    dwell_deg: float
    still_deg: float
    kept_percent: float
    opening_thou: np.ndarray
    wanted_thou: np.ndarray
    dwell_curve: np.ndarray
    kept_curve: np.ndarray


def compute(spring_oz: float, gap: float, speed_rpm: float) -> Arm:
    """Path of the contacts over a lobe, dwell and kept voltage against speed."""
    setting = {"gap_mm": gap * THOU_MM, "lift_mm": _LIFT_MM, "cylinders": CYLINDERS}
    arm = {"spring_n": spring_oz * OZ_N, "moving_mass_kg": ARM_KG}
    dwell = follower.dwell_at_speed_deg(**setting, speed_rpm=_SPEEDS, **arm)
    return Arm(
        gap,
        spring_oz,
        speed_rpm,
        points.float_speed_rpm(arm["spring_n"], ARM_KG, _LIFT_MM, CYLINDERS),
        follower.dwell_at_speed_deg(**setting, speed_rpm=speed_rpm, **arm),
        points.dwell_of_gap_deg(gap, LESSON_LIFT[CYLINDERS], CYLINDERS),
        100.0 * points.bounce_kept_share(setting["gap_mm"], speed_rpm),
        follower.opening_mm(_ACROSS, **setting, speed_rpm=speed_rpm, **arm) / THOU_MM,
        follower.opening_mm(_ACROSS, **setting, speed_rpm=0.0, **arm) / THOU_MM,
        dwell,
        100.0 * points.bounce_kept_share(setting["gap_mm"], _SPEEDS),
    )


class Flight(Picture[Arm]):
    """What the cam asks for and what the contacts do."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        ax = axes(
            figure,
            (0.14, 0.16, 0.83, 0.78),
            "Distributor degrees from the lobe peak",
            "Opening (0.001 in)",
            xticks=range(-15, 46, 15),
            xlim=(-22.5, 45),
            yticks=range(0, 51, 10),
        )
        (self._wanted,) = ax.plot(_ACROSS, np.zeros_like(_ACROSS), color=style.GREY, lw=1.6, ls=style.DASHED)
        (self._path,) = ax.plot(_ACROSS, np.zeros_like(_ACROSS), color=style.RED, lw=style.LINE)
        ax.text(44, 46.5, "dashed: what the cam asks for", ha="right", **words(12, color="#555555"))
        ax.text(44, 42.5, "full: what the contacts do", ha="right", **words(12, color=style.RED))
        self._say = ax.text(44, 37.5, "", ha="right", **words(15, weight="bold"))
        return self._wanted, self._path, self._say

    def update(self, state: Arm) -> None:
        self._wanted.set_ydata(state.wanted_thou)
        self._path.set_ydata(state.opening_thou)
        late = state.still_deg - state.dwell_deg
        self._say.set_text(f"close {late:.1f}° late" if late > 0.05 else "follow the cam")


class Speeds(Picture[Arm]):
    """Dwell reading against speed, and under it what bounce leaves of the voltage."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        top = axes(
            figure,
            (0.13, 0.57, 0.8, 0.38),
            "",
            "Dwell reading (°)",
            xticks=range(0, 6001, 1000),
            yticks=range(0, 46, 15),
        )
        low = axes(
            figure,
            (0.13, 0.14, 0.8, 0.3),
            "Engine speed, crankshaft (rev/min)",
            "Voltage kept (%)",
            xticks=range(0, 6001, 1000),
            yticks=range(0, 101, 25),
            ylim=(0, 108),
        )
        (self._dwell,) = top.plot(_SPEEDS, np.zeros_like(_SPEEDS), color=style.INK, lw=style.LINE)
        (self._kept,) = low.plot(_SPEEDS, np.zeros_like(_SPEEDS), color=style.BLUE, lw=style.LINE, ls=style.DASH_DOT)
        self._float = top.axvline(0, color=style.RED, lw=1.2, ls=style.DOTTED)
        self._float_name = top.text(0, 41, "", **words(12, color=style.RED))
        (self._at_dwell,) = top.plot([0], [0], "o", color=style.RED, ms=8)
        (self._at_kept,) = low.plot([0], [0], "o", color=style.RED, ms=8)
        return self._dwell, self._kept, self._float, self._float_name, self._at_dwell, self._at_kept

    def update(self, state: Arm) -> None:
        self._dwell.set_ydata(state.dwell_curve)
        self._kept.set_ydata(state.kept_curve)
        shown = min(state.floats_rpm, 6000.0)
        self._float.set_xdata([shown, shown])
        left = shown > 3200
        self._float_name.set(
            x=shown + (-60 if left else 60),
            ha="right" if left else "left",
            text=f"leaves the cam: {state.floats_rpm:.0f}",
        )
        self._at_dwell.set_data([state.speed_rpm], [state.dwell_deg])
        self._at_kept.set_data([state.speed_rpm], [state.kept_percent])


def flight_caption(state: Arm) -> str:
    """The path in words."""
    late = state.still_deg - state.dwell_deg
    does = f"the arm flies and the points close {late:.1f}° late" if late > 0.05 else "the points follow the cam"
    return (
        f"Eight lobes, spring {state.spring_oz:.1f} oz ({state.spring_oz * OZ_N:.1f} N), gap {thou(state.gap)}, "
        f"{state.speed_rpm:g} rev/min: {does}. Order of magnitude only; rebound on closing is not drawn."
    )


def speeds_caption(state: Arm) -> str:
    """Dwell and bounce in words."""
    return (
        f"The block leaves the cam at {state.floats_rpm:.0f} rev/min; now the meter shows {state.dwell_deg:.1f}° "
        f"({state.still_deg:.1f}° at idle). With this gap contact bounce leaves {state.kept_percent:.0f} % of the voltage. "
        "The direction is practice, the size a teaching value."
    )


def bounce_float(compute: Callable[..., Arm] = compute) -> Panel[Arm]:
    """Bounce and float."""
    controls = {
        "spring_oz": slider(19.0, 8.0, 24.0, 0.5, "Breaker spring (oz)"),
        "gap": slider(18.0, 4.0, 24.0, 0.5, "Point gap (0.001 in)"),
        "speed_rpm": slider(1500, 0, 6000, 50, "Engine speed (rev/min)"),
    }
    return Panel(
        "Bounce and float",
        controls,
        compute,
        ((Flight(410, 380), flight_caption), (Speeds(420, 380), speeds_caption)),
    )
