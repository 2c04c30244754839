"""Available and required voltage over speed, and where the spark fails."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from grader.modules.secondary import voltage
from grader.widgets import style
from grader.widgets.panel import Panel, Picture, add_patch, keep_readable
from grader.widgets.panels.dwell.drawing import axes, pick, slider, words

_SPEEDS = np.arange(voltage.SLOWEST_RPM, voltage.FASTEST_RPM + 1, 20.0)
_LEAKS = (("clean", voltage.CLEAN_MOHM), ("2 MΩ", 2.0), ("1 MΩ", 1.0), ("0.5 MΩ", 0.5), ("0.25 MΩ", 0.25))
_WIDTH, _HEIGHT = 700, 420
_MOST_ZONES = 3


@dataclass(frozen=True, slots=True)
class Curves:
    """Both curves, what they are at the ruler, and the speeds between which the spark fails."""

    speed_rpm: float
    available_kv: float
    plug_kv: float
    series_kv: float
    available: np.ndarray
    required: np.ndarray
    zones: tuple[tuple[float, float], ...]

    @property
    def left_kv(self) -> float:
        """Reserve at the ruler."""
        return self.available_kv - self.plug_kv - self.series_kv


def _fails(speeds: np.ndarray, left: np.ndarray) -> tuple[tuple[float, float], ...]:
    """Stretches of speed in which nothing is left, their ends on the straight line between two points."""
    ends = [float(speeds[0])] if left[0] < 0 else []
    for k in np.flatnonzero((left[:-1] < 0) != (left[1:] < 0)):
        ends.append(float(speeds[k] - left[k] * (speeds[k + 1] - speeds[k]) / (left[k + 1] - left[k])))
    if left[-1] < 0:
        ends.append(float(speeds[-1]))
    return tuple(zip(ends[0::2], ends[1::2], strict=True))


def compute(
    gap: int, load: float, late: int, shunt: float, coil: int, break_mm: float, rotor_mm: float, speed: float
) -> Curves:
    """Curves of the lesson's engine; gap in thousandths of an inch, the coil in per cent of a sound one."""
    series = voltage.series_kv(rotor_mm, break_mm)
    available = np.asarray(voltage.available_kv(_SPEEDS, coil, shunt))
    required = np.asarray(voltage.plug_kv(_SPEEDS, gap / 1000, load, late)) + series
    return Curves(
        speed,
        float(voltage.available_kv(speed, coil, shunt)),
        float(voltage.plug_kv(speed, gap / 1000, load, late)),
        series,
        available,
        required,
        _fails(_SPEEDS, available - required),
    )


class Zone(Picture[Curves]):
    """The two curves, the misfire zone hatched, a ruler across the speeds."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        ax = axes(
            figure,
            (0.09, 0.14, voltage.PLOT_PIXELS / _WIDTH, 0.82),
            "Engine speed, crankshaft (rev/min)",
            "Voltage (kV)",
            xticks=range(0, voltage.FASTEST_RPM + 1, 500),
            yticks=range(0, voltage.MOST_KV + 1, 5),
            finer=100,
        )
        self._zones = [
            add_patch(ax, Rectangle((0, 0), 1, 30, facecolor="#f6d9c8", edgecolor=style.RED, hatch="//", lw=0.8))
            for _ in range(_MOST_ZONES)
        ]
        (self._available,) = ax.plot(_SPEEDS, 0 * _SPEEDS, color=style.INK, lw=style.LINE)
        (self._required,) = ax.plot(_SPEEDS, 0 * _SPEEDS, color=style.RED, lw=style.LINE, ls=style.DASHED)
        (self._ruler,) = ax.plot([0, 0], [0, voltage.MOST_KV], color=style.BLUE, lw=1.2)
        (self._dots,) = ax.plot([0, 0], [0, 0], "o", color=style.BLUE, ms=6, ls="none")
        self._names = [
            ax.text(voltage.FASTEST_RPM * 1.015, 0, text, va="center", clip_on=False, **words(13, color=colour))
            for text, colour in (("available", style.INK), ("required", style.RED))
        ]
        return *self._zones, self._available, self._required, self._ruler, self._dots, *self._names

    def update(self, state: Curves) -> None:
        for place, patch in enumerate(self._zones):
            met = place < len(state.zones)
            low, high = state.zones[place] if met else (0.0, 1.0)
            patch.set_bounds(low, 0, high - low, voltage.MOST_KV)
            patch.set_alpha(None if met else 0)
        most = voltage.MOST_KV
        self._available.set_ydata(np.where(state.available <= most, state.available, np.nan))
        self._required.set_ydata(np.where(state.required <= most, state.required, np.nan))
        self._ruler.set_xdata([state.speed_rpm, state.speed_rpm])
        at = np.array([state.available_kv, state.plug_kv + state.series_kv])
        self._dots.set_data([state.speed_rpm] * 2, np.where(at <= most, at, np.nan))
        ends = [min(most - 1.0, float(curve[-1])) for curve in (state.available, state.required)]
        apart = max(0.0, 1.6 - abs(ends[0] - ends[1])) / 2 * (1 if ends[0] >= ends[1] else -1)
        for name, end, way in zip(self._names, ends, (apart, -apart), strict=True):
            name.set_y(min(most - 0.8, end + way))


def caption(state: Curves) -> str:
    """The ruler in words; where the zones end is left to the eye, or to the ruler."""
    left = state.left_kv
    says = f"{left:.1f} kV are left over" if left >= 0 else f"{-left:.1f} kV are missing, and the spark fails"
    zones = {
        0: "It fails at no speed.",
        1: "There is one zone in which it fails.",
        2: "There are two zones in which it fails.",
    }
    return (
        f"Ruler at {state.speed_rpm:g} rev/min: {state.available_kv:.1f} kV available. The plug asks for {state.plug_kv:.1f} kV, "
        f"rotor gap and break for {state.series_kv:.1f} kV: {says}. {zones.get(len(state.zones), 'It fails in several zones.')}"
    )


def curves_panel(compute: Callable[..., Curves] = compute) -> Panel[Curves]:
    """Available and required voltage, with everything that moves them."""
    controls = {
        "gap": slider(35, 24, 70, 1, "Plug gap (0.001 in)"),
        "load": slider(1.0, 0.35, 1.0, 0.05, "Load (1 is full throttle)", ".2f"),
        "late": slider(0, -10, 14, 2, "Spark late by (°; minus: early)"),
        "coil": slider(100, 40, 110, 5, "Coil (% of a sound one)"),
        "shunt": pick(_LEAKS, voltage.CLEAN_MOHM, "Leakage at the plug"),
        "break_mm": slider(0.0, 0.0, 5.0, 0.5, "Break in the lead's core (mm)"),
        "rotor_mm": slider(0.75, 0.5, 4.0, 0.25, "Rotor gap (mm)", ".2f"),
        "speed": slider(1500, voltage.SLOWEST_RPM, voltage.FASTEST_RPM, 10, "Ruler at (rev/min)"),
    }
    panel = Panel("What there is, and what is asked for", controls, compute, ((Zone(_WIDTH, _HEIGHT), caption),))
    return keep_readable(panel, 0, 620)
