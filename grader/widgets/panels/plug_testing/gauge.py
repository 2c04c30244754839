"""Gauge and absolute pressure, at sea level and in the hills."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from ipywidgets import IntSlider
from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from grader.reference.spark import tester
from grader.reference.timing import induction
from grader.units import KPA_PER_PSI, M_PER_FT
from grader.widgets import style
from grader.widgets.panel import Panel, Picture, keep_readable
from grader.widgets.panels.plug_testing.look import PALE, both, font, plain_axes, tidy

MOST_PSIA = 150


@dataclass(frozen=True, slots=True)
class Height:
    """The same two plugs at sea level and at a height; psi."""

    altitude_m: float
    barometer_psia: float
    new_psia: float
    used_psia: float

    def gauge(self, psia: float) -> float:
        """Reading there of an absolute pressure."""
        return tester.gauge_psig(psia, self.barometer_psia)

    @property
    def sea_share(self) -> float:
        """Used over new on the gauge at sea level, per cent."""
        return 100 * tester.gauge_psig(self.used_psia) / tester.gauge_psig(self.new_psia)

    @property
    def share(self) -> float:
        """Used over new on the gauge there, per cent."""
        return 100 * self.gauge(self.used_psia) / self.gauge(self.new_psia)

    @property
    def absolute_share(self) -> float:
        """Used over new in absolute pressure, per cent; the same everywhere."""
        return 100 * self.used_psia / self.new_psia


def compute(altitude_m: float, new_psig: float, used_percent: float) -> Height:
    """Absolute firing pressures and the barometer at a height.

    Parameters
    ----------
    altitude_m : float [m]
    new_psig : float [psig]
        What a new plug reads at sea level.
    used_percent : float [%]
        Used over new on the gauge at sea level.

    Returns
    -------
    Height
    """
    barometer = induction.standard_pressure_kpa(float(altitude_m)) / KPA_PER_PSI
    new, used = (tester.absolute_psia(float(psig)) for psig in (new_psig, new_psig * used_percent / 100))
    return Height(altitude_m, barometer, new, used)


class Columns(Picture[Height]):
    """Four columns: the air outside below, the gauge's part above it, the whole is absolute pressure."""

    _PLACES = ((0.7, "new plug"), (1.7, "used plug"), (3.5, "new plug"), (4.5, "used plug"))
    _WIDE = 0.7

    def draw(self, figure: Figure) -> Iterable[Artist]:
        axes = figure.add_axes((0.135, 0.09, 0.71, 0.82))
        axes.set_xlim(0, 5.2)
        axes.set_ylim(0, MOST_PSIA)
        axes.set_yticks(range(0, MOST_PSIA + 1, 25))
        axes.set_xticks([place for place, _ in self._PLACES], [name for _, name in self._PLACES])
        axes.grid(axis="y", color=PALE, lw=0.7)
        axes.set_axisbelow(True)
        plain_axes(axes, "", "Absolute pressure (psi)")
        right = axes.secondary_yaxis(
            "right", functions=(lambda psi: np.multiply(psi, KPA_PER_PSI), lambda kpa: np.divide(kpa, KPA_PER_PSI))
        )
        right.set_ylabel("Absolute pressure (kPa)", **font(13))
        for label in right.get_yticklabels():
            label.set(**font(12))
        axes.text(1.2, MOST_PSIA * 1.03, "at sea level", ha="center", **font(14, weight="bold"))
        self._there = axes.text(4.0, MOST_PSIA * 1.03, "", ha="center", clip_on=False, **font(14, weight="bold"))
        self._air, self._gauge, self._figures = [], [], []
        for place, _ in self._PLACES:
            left = place - self._WIDE / 2
            self._air.append(
                axes.add_patch(
                    Rectangle((left, 0), self._WIDE, 1, facecolor="#e3e3e3", edgecolor=style.INK, hatch="///", lw=0.9)
                )
            )
            self._gauge.append(
                axes.add_patch(Rectangle((left, 0), self._WIDE, 1, facecolor=style.SKY, edgecolor=style.INK, lw=0.9))
            )
            self._figures.append(axes.text(place, 0, "", ha="center", va="center", **font(14, weight="bold")))
        self._levels = [axes.plot([], [], color=style.RED, ls=style.DASHED, lw=1.6)[0] for _ in range(2)]
        axes.text(2.6, 8, "hatched:\nbarometer", ha="center", va="center", **font(12))
        return (*self._air, *self._gauge, *self._figures, *self._levels, self._there)

    def update(self, state: Height) -> None:
        self._there.set_text(f"your shop, {state.altitude_m:.0f} m")
        pressures = (state.new_psia, state.used_psia) * 2
        barometers = (tester.ATMOSPHERE_PSIA,) * 2 + (state.barometer_psia,) * 2
        rows = zip(self._air, self._gauge, self._figures, pressures, barometers, strict=True)
        for air, gauge, figure, pressure, barometer in rows:
            air.set_height(barometer)
            gauge.set_y(barometer)
            gauge.set_height(pressure - barometer)
            figure.set_y((pressure + barometer) / 2)
            figure.set_text(f"{pressure - barometer:.1f}\npsi")
        for level, pressure in zip(self._levels, (state.new_psia, state.used_psia), strict=True):
            level.set_data([0, 5.2], [pressure, pressure])


def caption(state: Height) -> str:
    """The columns in words; at sea level both pairs are the same and only one is told."""
    new = tester.gauge_psig(state.new_psia)
    barometer = f"{state.barometer_psia:.1f} psi ({state.barometer_psia * KPA_PER_PSI:.0f} kPa)"
    opening = (
        "Hatched: the air outside. Above it: what the gauge shows, in psi. Dashed: the absolute pressure of each plug."
    )
    if state.altitude_m == 0:
        return (
            f"{opening} Your shop stands at sea level, where the air outside presses with {barometer}; so both pairs are "
            f"the same. A new plug reads {both(new)}. Used over new is {state.sea_share:.1f} % on the gauge and "
            f"{state.absolute_share:.1f} % in absolute pressure. Raise the shop: one of the two shares moves."
        )
    feet = state.altitude_m / M_PER_FT
    there = state.gauge(state.new_psia)
    return (
        f"{opening} At {state.altitude_m:.0f} m ({feet:.0f} ft) the air outside presses with {barometer}, not 14.7. "
        f"A new plug reads {both(new)} at sea level and {both(there)} there; the absolute pressures stay. Used over new is "
        f"{state.sea_share:.1f} % on the gauge at sea level, {state.share:.1f} % on the gauge there and "
        f"{state.absolute_share:.1f} % in absolute pressure everywhere."
    )


def gauge_panel(compute: Callable[..., Height] = compute) -> Panel[Height]:
    """Height, a new plug's reading and a used plug's share of it."""
    controls = {
        "altitude_m": IntSlider(0, min=0, max=3000, step=100, description="Height of the shop (m)"),
        "new_psig": IntSlider(100, min=60, max=125, description="New plug at sea level (psi)"),
        "used_percent": IntSlider(72, min=40, max=100, description="Used over new, gauge (%)"),
    }
    panel = Panel(
        "Gauge, absolute, and the height of the shop", tidy(controls, "16rem"), compute, ((Columns(660, 420), caption),)
    )
    return keep_readable(panel, 0, 520)
