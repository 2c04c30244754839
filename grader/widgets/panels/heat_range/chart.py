"""Panel: tip temperature against load for three noses, to be read and to choose by."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from ipywidgets import FloatSlider, IntSlider, RadioButtons
from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.ticker import MultipleLocator

from grader.modules.heat_range.nose import NOSES_MM
from grader.reference.spark import plug
from grader.units import MM_PER_IN
from grader.widgets import style
from grader.widgets.panel import Panel, Picture, keep_readable
from grader.widgets.panels.heat_range import scales
from grader.widgets.panels.heat_range.section import LOOSE, TIGHT

LOWEST_C, HIGHEST_C = 200, 1000
_LOADS = np.linspace(0.0, 1.0, 21)
_NAME_ENDS = 0.14  # the load at which the longest name on a line ends
# All lines are solid: a dash has gaps where somebody wants to read. The names on them tell them apart.
_COLOURS = {"A": style.BLUE, "B": style.INK, "C": style.RED}


@dataclass(frozen=True, slots=True)
class Noses:
    """Tips of the three plugs over the load [degree Celsius], by name."""

    over_deg: float
    air_ratio: float
    seat: str
    tips: dict


def compute(over_deg: float, air_ratio: float, seat: str) -> Noses:
    """Tips of the three plugs at every load.

    Parameters
    ----------
    over_deg : float [crank degree]
        Spark earlier than specified.
    air_ratio : float [1]
    seat : str
        `TIGHT` or `LOOSE`.

    Returns
    -------
    Noses
    """
    side = plug.gas_side(_LOADS, over_deg, air_ratio, 1.0 if seat == LOOSE else 0.0)
    tips = {name: plug.nose_temperature_c(length, *side) for name, length in NOSES_MM.items()}
    return Noses(over_deg, air_ratio, seat, tips)


class Chart(Picture[Noses]):
    """Three curves over a grid fine enough to read 10 °C and 0.02 of the load."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        axes = figure.add_axes((0.095, 0.105, 0.805, 0.875))
        axes.set_xlim(0, 1)
        scales.temperature_axes(axes, LOWEST_C, HIGHEST_C)
        axes.set_xticks(np.linspace(0, 1, 11))
        axes.xaxis.set_minor_locator(MultipleLocator(0.02))
        axes.yaxis.set_minor_locator(MultipleLocator(10))
        axes.grid(which="major", color="#9a9a9a", lw=0.8)
        axes.grid(which="minor", color="#dcdcdc", lw=0.45)
        axes.tick_params(which="minor", length=2)
        scales.plain_axes(axes, "Load (0 light, 1 heavy)", "Tip of the insulator nose (°C)")
        self._lines, self._names = {}, {}
        for name, colour in _COLOURS.items():
            (self._lines[name],) = axes.plot(_LOADS, np.zeros_like(_LOADS), color=colour, lw=1.6)
            self._names[name] = axes.text(
                0.02, 0, f"{name}, {NOSES_MM[name]:.0f} mm", va="bottom", **style.words(14, color=colour, weight="bold")
            )
        return (*self._lines.values(), *self._names.values())

    def update(self, state: Noses) -> None:
        for name, tips in state.tips.items():
            self._lines[name].set_ydata(tips)
            self._names[name].set_y(float(np.interp(_NAME_ENDS, _LOADS, tips)) + 8)  # clear of the line it names


def chart_caption(state: Noses) -> str:
    """Both ends of the curves; what lies between is to be read."""
    ends = "; ".join(
        f"plug {name} ({NOSES_MM[name]:.0f} mm, {NOSES_MM[name] / MM_PER_IN:.2f} in) from {tips[0]:.0f} to {tips[-1]:.0f} °C"
        for name, tips in state.tips.items()
    )
    early = (
        f"{abs(state.over_deg):.0f}° too {'early' if state.over_deg > 0 else 'late'}"
        if state.over_deg
        else "as specified"
    )
    return (
        f"Tip temperature from the lightest to the heaviest load: {ends}. Spark {early}, air {state.air_ratio:.2f} of the "
        f"correct amount, seat {state.seat}. The lines rise all the way; fine lines stand every 10 °C and every 0.02 "
        "of the load. The band for lasting work is 500 to 850 °C (932 to 1562 °F)."
    )


def three_noses(compute: Callable[..., Noses] = compute) -> Panel[Noses]:
    """The panel of the three plugs of one maker's list."""
    controls = {
        "over_deg": IntSlider(0, min=-10, max=15, description="Spark too early (°)"),
        "air_ratio": FloatSlider(
            1, min=0.8, max=1.25, step=0.05, readout_format=".2f", description="Air, 1 is correct"
        ),
        "seat": RadioButtons(options=[TIGHT, LOOSE], value=TIGHT, description="Plugs in their seats"),
    }
    for control in controls.values():
        control.style.description_width = "11rem"
        control.layout = style.wide()
    panel = Panel("Three noses", controls, compute, ((Chart(820, 620), chart_caption),))
    return keep_readable(panel, 0, 700)
