"""Why the tester is harsher than the engine: one scale for both."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from ipywidgets import FloatSlider, IntSlider
from matplotlib.figure import Figure
from numpy.typing import ArrayLike

from grader.ranges import FloatOrArray
from grader.reference.spark import breakdown, tester
from grader.reference.timing import combustion
from grader.units import KPA_PER_PSI, MM_PER_IN
from grader.widgets import style
from grader.widgets.panel import Panel, Picture, keep_readable
from grader.widgets.panels.plug_testing.look import PALE, both, font, plain_axes, tidy

if TYPE_CHECKING:
    from matplotlib.artist import Artist

GAP_MM = 0.035 * MM_PER_IN
FIRST_DEG, LEAST_PSIG, MOST_PSIG = 60, -15, 100
_ANGLES = np.arange(0.0, FIRST_DEG + 1)


@dataclass(frozen=True, slots=True)
class Demand:
    """What the engine asks of a plug, as readings on the tester's gauge."""

    advance_deg: float
    electrode_c: float
    psig: float
    spark_kpa: float
    cold_psig: float
    hot_psig: float
    top_psig: float
    cold_curve: np.ndarray
    hot_curve: np.ndarray

    @property
    def in_hand(self) -> float:
        """Tester reading of this plug over what the engine asks, psi."""
        return self.psig - self.hot_psig


def equal_reading_psig(
    advance_deg: ArrayLike, closing_kpa: float, compression_ratio: float, electrode_c: float
) -> FloatOrArray:
    """Gauge reading on the tester that asks the same voltage as the engine.

    Parameters
    ----------
    advance_deg : float or array [crank degree before top]
    closing_kpa : float [kPa absolute]
        In the cylinder when the inlet valve closes.
    compression_ratio : float [1]
    electrode_c : float [degree C]
        Centre electrode; 20 leaves the gas alone to count.

    Returns
    -------
    float or array of the shape of advance_deg [psig]
    """
    bar = combustion.pressure_at_spark_kpa(advance_deg, closing_kpa, compression_ratio) / 100
    kelvin = combustion.temperature_at_spark_k(advance_deg, compression_ratio=compression_ratio)
    heat = breakdown.demand_factor(electrode_c=electrode_c)
    kv = breakdown.required_voltage_kv(GAP_MM, bar, kelvin, heat)
    return tester.gauge_psig(tester.firing_pressure_psia(breakdown.reach_cm(kv), GAP_MM))


def compute(
    advance_deg: float, closing_kpa: float, compression_ratio: float, electrode_c: float, psig: float
) -> Demand:
    """The engine's demand over the compression stroke, and at the spark.

    Parameters
    ----------
    advance_deg, closing_kpa, compression_ratio, electrode_c
        As `equal_reading_psig`.
    psig : float [psig]
        Up to which this plug fires on the tester.

    Returns
    -------
    Demand
    """
    engine = (float(closing_kpa), float(compression_ratio))
    advance, electrode = float(advance_deg), float(electrode_c)
    return Demand(
        advance,
        electrode,
        float(psig),
        combustion.pressure_at_spark_kpa(advance, *engine),
        equal_reading_psig(advance, *engine, 20.0),
        equal_reading_psig(advance, *engine, electrode),
        equal_reading_psig(0.0, *engine, 20.0),
        equal_reading_psig(_ANGLES, *engine, 20.0),
        equal_reading_psig(_ANGLES, *engine, electrode),
    )


class Stroke(Picture[Demand]):
    """The engine's demand against crank angle, in psi on the tester's gauge."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        axes = figure.add_axes((0.125, 0.13, 0.73, 0.84))
        axes.set_xlim(FIRST_DEG, 0)
        axes.set_ylim(LEAST_PSIG, MOST_PSIG)
        axes.set_yticks(range(0, MOST_PSIG + 1, 20))
        axes.grid(color=PALE, lw=0.7)
        axes.set_axisbelow(True)
        plain_axes(axes, "Crank degrees before top dead centre", "Same demand on the tester (psi gauge)")
        right = axes.secondary_yaxis(
            "right", functions=(lambda psi: np.multiply(psi, KPA_PER_PSI), lambda kpa: np.divide(kpa, KPA_PER_PSI))
        )
        right.set_ylabel("kPa gauge", **font(13))
        for label in right.get_yticklabels():
            label.set(**font(12))
        (self._cold,) = axes.plot(_ANGLES, 0 * _ANGLES, color=style.BLUE, ls=style.DASHED, lw=2.0)
        (self._hot,) = axes.plot(_ANGLES, 0 * _ANGLES, color=style.RED, lw=2.2)
        (self._plug,) = axes.plot([FIRST_DEG, 0], [0, 0], color=style.INK, lw=1.6, ls=style.DASH_DOT)
        (self._spark,) = axes.plot([0, 0], [LEAST_PSIG, MOST_PSIG], color=style.GREY, lw=1.2)
        (self._dot,) = axes.plot([0], [0], "o", color=style.RED, ms=8)
        self._words = [
            axes.text(30, 0, "gas alone, electrode cold", ha="right", va="bottom", **{**font(13), "color": style.BLUE}),
            axes.text(47, 0, "engine, electrode hot", ha="left", va="top", **{**font(13), "color": style.RED}),
            axes.text(58.5, 0, "this plug fires up to here", va="bottom", **font(13)),
            axes.text(0, LEAST_PSIG + 2, "spark", ha="right", va="bottom", **font(13)),
        ]
        return self._cold, self._hot, self._plug, self._spark, self._dot, *self._words

    def update(self, state: Demand) -> None:
        self._cold.set_ydata(state.cold_curve)
        self._hot.set_ydata(state.hot_curve)
        self._plug.set_ydata([state.psig, state.psig])
        self._spark.set_xdata([state.advance_deg, state.advance_deg])
        self._dot.set_data([state.advance_deg], [state.hot_psig])
        self._words[0].set_y(state.cold_curve[30] + 2)
        self._words[1].set_y(state.hot_curve[47] - 2)
        self._words[2].set_y(state.psig + 1)
        self._words[3].set_x(state.advance_deg + 0.6)


def caption(state: Demand) -> str:
    """The picture in words."""
    verdict = (
        f"{state.in_hand:.0f} psi to spare" if state.in_hand >= 0 else f"{-state.in_hand:.0f} psi short: it can misfire"
    )
    return (
        f"At {state.advance_deg:.0f}° before top dead centre the cylinder stands at {state.spark_kpa / KPA_PER_PSI:.0f} psi "
        f"({state.spark_kpa:.0f} kPa) absolute, hot and therefore thin. Its density alone asks what {both(state.cold_psig)} "
        f"asks on the tester; with the centre electrode at {state.electrode_c:.0f} °C "
        f"({1.8 * state.electrode_c + 32:.0f} °F) no more than {both(state.hot_psig)}. At top dead centre, which the spark "
        f"does not wait for, density would ask {both(state.top_psig)}. This plug fires up to {both(state.psig)}: {verdict}."
    )


def engine_panel(compute: Callable[..., Demand] = compute) -> Panel[Demand]:
    """Spark, filling, compression, electrode heat and a plug's firing pressure."""
    controls = {
        "advance_deg": IntSlider(20, min=0, max=40, description="Spark (° before top)"),
        "closing_kpa": IntSlider(95, min=35, max=98, description="Cylinder filled to (kPa abs)"),
        "compression_ratio": FloatSlider(
            8.5, min=6.5, max=10, step=0.5, readout_format=".1f", description="Compression ratio"
        ),
        "electrode_c": IntSlider(540, min=20, max=800, step=20, description="Centre electrode (°C)"),
        "psig": IntSlider(70, min=20, max=95, description="This plug on the tester (psi)"),
    }
    panel = Panel("Tester and engine on one scale", tidy(controls, "16rem"), compute, ((Stroke(660, 420), caption),))
    return keep_readable(panel, 0, 520)
