"""Coil current over the cycle, and the voltage that is available from it."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from matplotlib.artist import Artist
from matplotlib.figure import Figure

from grader.modules.dwell.coil import FASTEST_RPM, LESSON_DWELL, PLOT_PIXELS
from grader.reference.spark import coil
from grader.widgets import style
from grader.widgets.panel import Panel, Picture, keep_readable
from grader.widgets.panels.dwell.drawing import axes, pick, slider
from grader.widgets.style import words

IN, BYPASSED = "in circuit", "bypassed (as while cranking)"
_SPEEDS = np.linspace(120, FASTEST_RPM, 150)
_ACROSS = np.linspace(0.0, 90.0, 901)
_WIDTH = 500


@dataclass(frozen=True, slots=True)
class Coil:
    """Current and voltage at one speed, and over all speeds."""

    cylinders: int
    speed_rpm: float
    closed_ms: float
    final_a: float
    current_a: float
    energy_mj: float
    available_kv: float
    required_kv: float
    angle_current_a: np.ndarray
    curve_kv: np.ndarray


def compute(
    cylinders: int, speed_rpm: float, supply_v: float, ballast: str, contact_ohm: float, required_kv: float
) -> Coil:
    """Current over 90 distributor degrees, and available voltage against speed."""
    dwell, lobe = LESSON_DWELL[cylinders], 360.0 / cylinders
    resistance = coil.primary_resistance_ohm(contact_ohm=contact_ohm, bypassed=ballast == BYPASSED)
    closed = coil.closed_time_ms(dwell, speed_rpm)
    current = coil.current_at_opening_a(dwell, speed_rpm, supply_v, resistance)
    inside = _ACROSS % lobe
    rising = coil.current_after_a(1000.0 * inside / (3.0 * speed_rpm), supply_v, resistance)
    curve = coil.available_voltage_kv(coil.current_at_opening_a(dwell, _SPEEDS, supply_v, resistance), _SPEEDS)
    return Coil(
        cylinders,
        speed_rpm,
        closed,
        supply_v / resistance,
        current,
        coil.stored_energy_mj(current),
        coil.available_voltage_kv(current, speed_rpm),
        required_kv,
        np.where(inside <= dwell, rising, 0.0),
        curve,
    )


class Current(Picture[Coil]):
    """Current through the points over a quarter turn of the distributor."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        ax = axes(
            figure,
            (0.165, 0.15, 0.795, 0.79),
            "Distributor degrees",
            "Primary current (A)",
            xticks=range(0, 91, 15),
            yticks=range(0, 11, 2),
        )
        (self._line,) = ax.plot(_ACROSS, np.zeros_like(_ACROSS), color=style.BLUE, lw=style.LINE)
        (self._final,) = ax.plot([0, 90], [0, 0], color=style.GREY, lw=1.2, ls=style.DASHED)
        self._final_name = ax.text(89, 0, "", ha="right", va="bottom", **words(12, color="#555555"))
        (self._dot,) = ax.plot([0], [0], "o", color=style.RED, ms=8)
        self._say = ax.text(0, 0, "", ha="left", va="bottom", **words(14, weight="bold", color=style.RED))
        return self._line, self._final, self._final_name, self._dot, self._say

    def update(self, state: Coil) -> None:
        dwell = LESSON_DWELL[state.cylinders]
        self._line.set_ydata(state.angle_current_a)
        self._final.set_ydata([state.final_a] * 2)
        self._final_name.set(y=state.final_a + 0.05, text=f"final {state.final_a:.1f} A")
        self._dot.set_data([dwell], [state.current_a])
        self._say.set(x=dwell + 1.5, y=max(0.2, state.current_a - 0.55), text=f"{state.current_a:.2f} A")


class Available(Picture[Coil]):
    """Available voltage against engine speed, with what is required."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        ax = axes(
            figure,
            (0.12, 0.15, PLOT_PIXELS / _WIDTH, 0.79),
            "Engine speed, crankshaft (rev/min)",
            "Voltage (kV)",
            xticks=range(0, FASTEST_RPM + 1, 1000),
            yticks=range(0, 41, 5),
            finer=250,
        )
        (self._curve,) = ax.plot(_SPEEDS, np.zeros_like(_SPEEDS), color=style.INK, lw=1.8)
        (self._required,) = ax.plot([0, FASTEST_RPM], [0, 0], color=style.RED, lw=1.5, ls=style.DASHED)
        self._names = [
            ax.text(FASTEST_RPM * 1.02, 0, text, va="center", clip_on=False, **words(13, color=colour))
            for text, colour in (("available", style.INK), ("required", style.RED))
        ]
        (self._dot,) = ax.plot([0], [0], "o", color=style.BLUE, ms=8)
        return self._curve, self._required, *self._names, self._dot

    def update(self, state: Coil) -> None:
        self._curve.set_ydata(state.curve_kv)
        self._required.set_ydata([state.required_kv] * 2)
        end, required = min(39.0, float(state.curve_kv[-1])), state.required_kv
        apart = max(0.0, 2.2 - abs(end - required)) / 2 * (1 if end >= required else -1)
        self._names[0].set_y(end + apart)
        self._names[1].set_y(required - apart)
        self._dot.set_data([state.speed_rpm], [state.available_kv])


def current_caption(state: Coil) -> str:
    """Current in words."""
    return (
        f"{state.cylinders} cylinders, dwell {LESSON_DWELL[state.cylinders]:g}°, {state.speed_rpm:g} rev/min: the points stay closed "
        f"{state.closed_ms:.2f} ms. The current reaches {state.current_a:.2f} A of a final {state.final_a:.2f} A; the coil "
        f"then holds {state.energy_mj:.1f} mJ."
    )


def available_caption(state: Coil) -> str:
    """Voltage in words; where the two lines cross is left to the eye."""
    left = state.available_kv - state.required_kv
    word = f"{left:.1f} kV in reserve" if left >= 0 else f"{-left:.1f} kV too little: it misses"
    return (
        f"At {state.speed_rpm:g} rev/min {state.available_kv:.1f} kV is available and {state.required_kv:.1f} kV is required: {word}. "
        "Slow points arc, so the curve also sags below 1000 rev/min."
    )


def coil_current(compute: Callable[..., Coil] = compute) -> Panel[Coil]:
    """Coil current and available voltage."""
    controls = {
        "speed_rpm": slider(1500, 150, FASTEST_RPM, 50, "Engine speed (rev/min)"),
        "supply_v": slider(13.8, 5.0, 15.0, 0.1, "Supply (V)"),
        "contact_ohm": slider(0.0, 0.0, 1.0, 0.05, "Resistance at the points (Ω)", ".2f"),
        "required_kv": slider(12.0, 5.0, 30.0, 0.1, "Required voltage (kV)"),
        "cylinders": pick((4, 6, 8), 8, "Cylinders"),
        "ballast": pick((IN, BYPASSED), IN, "Ballast"),
    }
    panel = Panel(
        "Coil current and available voltage",
        controls,
        compute,
        ((Current(330, 380), current_caption), (Available(_WIDTH, 380), available_caption)),
    )
    return keep_readable(panel, 1, 480)
