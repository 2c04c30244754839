"""The plug tester: raise the air pressure until the spark fails, and the chart behind it."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from ipywidgets import IntSlider, RadioButtons
from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.patches import FancyBboxPatch, Polygon, Rectangle
from matplotlib.ticker import MultipleLocator

from grader.modules.plug_testing import firing
from grader.reference.spark import breakdown, coil, tester
from grader.units import KPA_PER_PSI, MM_PER_IN
from grader.widgets import style
from grader.widgets.panel import Panel, Picture, add_patch, beside_controls, keep_readable
from grader.widgets.panels.plug_testing.look import (
    AIR,
    bare_axes,
    both,
    font,
    plain_axes,
    tidy,
)

MOST_PSIG = 160
EDGES = MappingProxyType({"sharp": 0.0, "worn": 0.5, "quite round": 1.0})
LEAKAGE = MappingProxyType({"none": None, "2 MΩ": 2.0, "1 MΩ": 1.0, "0.5 MΩ": 0.5})
STANDARD_BAR = breakdown.STANDARD_PRESSURE_BAR


@dataclass(frozen=True, slots=True)
class Test:
    """One setting of the tester and what follows."""

    __test__ = False  # no test case, whatever its name begins with

    supply_kv: float
    gap_in: float
    edges: str
    leakage: str
    psig: float
    left_kv: float
    factor: float
    firing_psig: float

    @property
    def sparks(self) -> bool:
        """True while the gap still breaks."""
        return self.psig <= self.firing_psig

    @property
    def sharp_kv(self) -> float:
        """Voltage that counts against a plug with sharp edges."""
        return self.left_kv / self.factor


def compute(supply_kv: float, gap_thou: float, edges: str, leakage: str, psig: float) -> Test:
    """Firing pressure of a plug with its gap, edges and leakage.

    Parameters
    ----------
    supply_kv : float [kV]
    gap_thou : float [0.001 inch]
    edges, leakage : str
        Keys of `EDGES` and `LEAKAGE`.
    psig : float [psig]
        Pressure in the chamber.

    Returns
    -------
    Test
    """
    shunt = LEAKAGE[leakage]
    left = supply_kv * (1.0 if shunt is None else coil.shunt_factor(shunt))
    factor = breakdown.demand_factor(rounding=EDGES[edges])
    gap_in = gap_thou / 1000
    pressure = tester.firing_pressure_psia(breakdown.reach_cm(left / factor), gap_in * MM_PER_IN)
    return Test(supply_kv, gap_in, edges, leakage, psig, left, factor, tester.gauge_psig(pressure))


class Chamber(Picture[Test]):
    """The plug in its chamber and a plain column for the pressure; a drawing of ours, of no real tester."""

    _FOOT, _TOP = 60, 350  # of the column, in pixels

    def draw(self, figure: Figure) -> Iterable[Artist]:
        axes = figure.add_axes((0, 0, 1, 1))
        bare_axes(axes, 400, 420)
        axes.add_patch(
            FancyBboxPatch(
                (40, 50),
                190,
                190,
                boxstyle="round,pad=0,rounding_size=14",
                facecolor="#b9c0c6",
                edgecolor=style.INK,
                lw=1.2,
            )
        )
        self._air = add_patch(axes, Rectangle((58, 68), 154, 154, facecolor=AIR, edgecolor=style.INK, lw=0.9))
        axes.add_patch(Rectangle((230, 90), 40, 16, facecolor="#b9c0c6", edgecolor=style.INK, lw=0.9))
        axes.text(251, 112, "air", ha="center", **font(12))
        self._draw_plug(axes)
        axes.text(135, 26, "chamber, cut open", ha="center", **font(12))
        axes.text(135, 384, "from the tester's coil", ha="center", **font(12))
        self._side = add_patch(
            axes, Polygon(np.zeros((6, 2)), closed=True, facecolor="#6d757c", edgecolor=style.INK, lw=0.8)
        )
        (self._spark,) = axes.plot([], [], color=style.BLUE, lw=2.4)
        self._words = axes.text(135, 84, "", ha="center", va="center", weight="bold", **font(15))
        axes.add_patch(
            Rectangle((306, self._FOOT), 24, self._TOP - self._FOOT, facecolor=style.PAPER, edgecolor=style.INK)
        )
        for psi in range(0, MOST_PSIG + 1, 20):
            height = self._at(psi)
            axes.plot([300, 306], [height, height], color=style.INK, lw=0.9)
            axes.text(297, height, f"{psi}", ha="right", va="center", **font(11))
            axes.text(336, height, f"{psi * KPA_PER_PSI:.0f}", ha="left", va="center", **font(11))
        axes.text(294, 366, "psi", ha="right", **font(12))
        axes.text(338, 366, "kPa", ha="left", **font(12))
        axes.text(318, 34, "on the gauge", ha="center", **font(12))
        self._column = add_patch(axes, Rectangle((307, self._FOOT), 22, 1, facecolor=style.SKY, edgecolor="none"))
        (self._limit,) = axes.plot([], [], color=style.RED, lw=2.2, ls=style.DASHED)
        return self._side, self._spark, self._words, self._column, self._limit

    def _draw_plug(self, axes):
        steel, stone = "#8d959c", "#fbfaf4"
        axes.add_patch(Rectangle((127, 340), 16, 30, facecolor="#6d757c", edgecolor=style.INK, lw=0.8))
        axes.add_patch(Polygon([(112, 340), (158, 340), (164, 285), (106, 285)], facecolor=stone, edgecolor=style.INK))
        axes.add_patch(Rectangle((92, 255), 86, 32, facecolor=steel, edgecolor=style.INK, lw=0.9))
        axes.add_patch(Rectangle((104, 180), 62, 75, facecolor=steel, edgecolor=style.INK, lw=0.9))
        for height in range(188, 252, 8):
            axes.plot([104, 166], [height - 2, height + 2], color=style.INK, lw=0.5)
        axes.add_patch(Polygon([(117, 180), (153, 180), (144, 160), (126, 160)], facecolor=stone, edgecolor=style.INK))
        axes.add_patch(Rectangle((130, 150), 10, 12, facecolor="#6d757c", edgecolor=style.INK, lw=0.8))

    def _at(self, psi):
        return self._FOOT + (self._TOP - self._FOOT) * min(psi, MOST_PSIG) / MOST_PSIG

    def update(self, state: Test) -> None:
        gap = 10 + (state.gap_in - 0.020) * 600  # the gap is drawn larger than the rest, so that its change is seen
        tip = 150 - gap
        self._side.set_xy([(158, 180), (166, 180), (166, tip - 8), (126, tip - 8), (126, tip), (158, tip)])
        bend = np.array([0.0, 3.5, -3.0, 2.5, 0.0]) + 135
        self._spark.set_data(bend, np.linspace(150, tip, 5))
        self._spark.set_visible(state.sparks)
        self._words.set_text("sparks steadily" if state.sparks else "spark fails")
        self._column.set_height(max(1.0, self._at(state.psig) - self._FOOT))
        limit = self._at(max(state.firing_psig, 0.0))
        self._limit.set_data([300, 336], [limit, limit])
        self._limit.set_visible(0 <= state.firing_psig <= MOST_PSIG)


class Chart(Picture[Test]):
    """Voltage that sharp gaps want against absolute pressure: the chart which an exercise is read from."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        axes = figure.add_axes((0.10, 0.12, 0.78, 0.83))
        axes.set_xlim(0, firing.CHART_MOST_PSIA)
        axes.set_ylim(0, firing.CHART_MOST_KV)
        axes.xaxis.set_major_locator(MultipleLocator(20))
        axes.yaxis.set_major_locator(MultipleLocator(5))
        axes.xaxis.set_minor_locator(MultipleLocator(firing.CHART_MINOR_PSIA))
        axes.yaxis.set_minor_locator(MultipleLocator(firing.CHART_MINOR_KV))
        axes.grid(which="minor", color="#dcdcdc", linewidth=0.5)
        axes.grid(which="major", color="#b5b5b5", linewidth=0.8)
        axes.set_axisbelow(True)
        plain_axes(axes, "Absolute pressure (psi; 100 psi = 689 kPa), 20 °C", "Voltage a sharp plug wants (kV)")
        psia = np.linspace(4.0, firing.CHART_MOST_PSIA, 181)
        dashes = (style.SOLID, style.DASHED, style.DASH_DOT, style.DOTTED, style.SOLID)
        for gap_in, dash in zip(firing.CHART_GAPS_IN, dashes, strict=True):
            kv = breakdown.required_voltage_kv(
                gap_in * MM_PER_IN, psia / tester.ATMOSPHERE_PSIA * STANDARD_BAR, breakdown.STANDARD_TEMPERATURE_K
            )
            shown = kv <= firing.CHART_MOST_KV
            axes.plot(psia[shown], kv[shown], color=style.INK, ls=dash, lw=1.3)
            # A curve ends at the top or at the right; its label stands beyond the end.
            x, y = psia[shown][-1], kv[shown][-1]
            top = y > firing.CHART_MOST_KV - 0.5
            axes.text(
                x + (0 if top else 1.5),
                y + (0.3 if top else 0),
                f"{gap_in:.3f}",
                ha="center" if top else "left",
                va="bottom" if top else "center",
                **font(12),
            )
        axes.text(182, firing.CHART_MOST_KV + 0.3, "gap (in)", ha="left", va="bottom", **font(12))
        (self._now,) = axes.plot([0, 0], [0, 1], color=style.BLUE, lw=1.6, ls=style.DASHED)
        (self._supply,) = axes.plot([0, 1], [0, 0], color=style.RED, lw=1.6)
        return self._now, self._supply

    def update(self, state: Test) -> None:
        now = tester.absolute_psia(state.psig)
        self._now.set_data([now, now], [0, firing.CHART_MOST_KV])
        self._supply.set_data([0, firing.CHART_MOST_PSIA], [state.sharp_kv, state.sharp_kv])


def chamber_caption(state: Test) -> str:
    """What the tester shows, in words."""
    leak = "no leakage" if LEAKAGE[state.leakage] is None else f"{state.leakage} of leakage"
    does = "the plug sparks steadily" if state.sparks else "the spark fails"
    return (
        f"Gap {state.gap_in:.3f} in ({state.gap_in * MM_PER_IN:.2f} mm), edges {state.edges}, {leak}, tester "
        f"{state.supply_kv:.0f} kV. At {both(state.psig)} on the gauge {does}. "
        f"Dashed mark: the firing pressure, {both(state.firing_psig)} on the gauge."
    )


def chart_caption(state: Test) -> str:
    """What the chart is, in words."""
    return (
        "Chart by the uniform-field law of this workbook, sharp edges, air at 20 °C (68 °F). "
        f"One small square is {firing.CHART_MINOR_PSIA:g} psi by {firing.CHART_MINOR_KV:g} kV. "
        f"Full line: the {state.sharp_kv:.1f} kV that count against a sharp plug, after leakage and edges. "
        f"Dashed line: the chamber at {tester.absolute_psia(state.psig):.0f} psi absolute."
    )


def tester_panel(compute: Callable[..., Test] = compute) -> Panel[Test]:
    """Supply, gap, edges, leakage and chamber pressure."""
    controls = {
        "psig": IntSlider(20, min=0, max=MOST_PSIG, step=2, description="Chamber pressure (psi)"),
        "gap_thou": IntSlider(35, min=20, max=50, description="Gap (0.001 in)"),
        "supply_kv": IntSlider(18, min=10, max=26, description="Tester's voltage (kV)"),
        "edges": RadioButtons(options=list(EDGES), description="Electrode edges"),
        "leakage": RadioButtons(options=list(LEAKAGE), description="Leakage over the nose"),
    }
    views = ((Chamber(400, 420), chamber_caption), (Chart(640, 480), chart_caption))
    return beside_controls(keep_readable(Panel("The plug tester", tidy(controls), compute, views), 1, 600))
