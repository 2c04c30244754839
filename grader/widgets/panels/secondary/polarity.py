"""Polarity at the electrodes of a plug."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle

from grader.reference.spark import breakdown
from grader.widgets import style
from grader.widgets.panel import Panel, Picture, add_patch
from grader.widgets.panels.dwell.drawing import axes, bare, pick, slider, words

RIGHT, WRONG = "right way round", "wrong way round"
_LEAST, _MOST = 1.15, 1.30  # practice


@dataclass(frozen=True, slots=True)
class Asked:
    """What one plug asks for either way round [kV]."""

    way: str
    electrode_c: float
    coil_kv: float
    right_kv: float
    wrong_kv: float

    @property
    def now_kv(self) -> float:
        """As the coil is connected now."""
        return self.right_kv if self.way == RIGHT else self.wrong_kv


def compute(way: str, healthy_kv: float, electrode_c: float, coil_kv: float) -> Asked:
    """The healthy voltage is that of a plug at its usual 540 °C; a colder electrode asks for more either way."""
    heat = float(breakdown.demand_factor(electrode_c=electrode_c)) / float(breakdown.demand_factor(electrode_c=540.0))
    right = healthy_kv * heat
    return Asked(way, electrode_c, coil_kv, right, right * breakdown.REVERSED)


class Electrodes(Picture[Asked]):
    """Hot centre electrode above, cooler side electrode below; electrons leave the negative one."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        ax = bare(figure, (0, 0, 1, 1), (0, 36), (0, 40))
        add_patch(
            ax, Polygon([(9, 40), (11, 27), (21, 27), (23, 40)], facecolor="#f4efe4", edgecolor=style.INK, lw=1.3)
        )
        self._centre = add_patch(ax, Rectangle((14, 20), 4, 20, facecolor="#c9a08a", edgecolor=style.INK, lw=1.2))
        add_patch(
            ax,
            Polygon(
                [(9, 8), (27, 8), (27, 34), (30, 34), (30, 5), (9, 5)], facecolor="#b9c2c8", edgecolor=style.INK, lw=1.2
            ),
        )
        self._signs = [
            ax.text(x, y, "", ha="center", va="center", **words(22, weight="bold")) for x, y in ((16, 30), (24, 6.5))
        ]
        (self._electrons,) = ax.plot([], [], "o", color=style.BLUE, ms=6, ls="none")
        (self._way,) = ax.plot([], [], color=style.BLUE, lw=1.6)
        ax.text(1, 21.5, "hot centre\nelectrode", va="center", **words(12))
        ax.text(1, 2.4, "cooler side electrode, earthed", va="center", **words(12))
        self._flow = ax.text(1, 14, "", va="center", **words(12, color=style.BLUE))
        return self._centre, *self._signs, self._electrons, self._way, self._flow

    def update(self, state: Asked) -> None:
        right = state.way == RIGHT
        heat = np.clip((state.electrode_c - 20) / 780, 0, 1)
        self._centre.set_facecolor((0.72 + 0.2 * heat, 0.72 - 0.3 * heat, 0.72 - 0.45 * heat))
        for sign, text in zip(self._signs, ("−", "+") if right else ("+", "−"), strict=True):
            sign.set_text(text)
        spread = (15.0, 16.0, 17.0)
        self._electrons.set_data([*spread, *spread], [17.8] * 3 + [15.2] * 3 if right else [10.2] * 3 + [12.8] * 3)
        tip, foot = (9.2, 19.2) if right else (19.2, 9.2)
        side = 1.2 if right else -1.2
        self._way.set_data([16, 16, 15.3, 16, 16.7], [foot, tip, tip + side, tip, tip + side])
        self._flow.set_text(
            "electrons\nleave the hot\nend easily" if right else "electrons\nleave the cooler\nend hardly"
        )


class Bars(Picture[Asked]):
    """What the plug asks for either way, against what the coil gives."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        ax = axes(
            figure, (0.16, 0.16, 0.8, 0.78), "", "Voltage (kV)", xticks=(0, 1), yticks=range(0, 31, 5), xlim=(-0.6, 1.6)
        )
        ax.set_xticklabels(("right way", "wrong way"), **words(13))
        looks = (("#dfe8ee", ""), ("#f2c9ac", "//"))
        self._bars = [
            add_patch(
                ax, Rectangle((place - 0.3, 0), 0.6, 1, facecolor=colour, edgecolor=style.INK, hatch=hatch, lw=1.0)
            )
            for place, (colour, hatch) in enumerate(looks)
        ]
        (self._coil,) = ax.plot([-0.6, 1.6], [0, 0], color=style.BLUE, lw=1.6, ls=style.DASHED)
        self._coil_name = ax.text(-0.57, 0, "the coil gives", va="bottom", **words(12, color=style.BLUE))
        self._names = [ax.text(place, 0, "", ha="center", va="bottom", **words(14, weight="bold")) for place in (0, 1)]
        (self._now,) = ax.plot([0], [0], marker="^", color=style.RED, ms=10, ls="none", clip_on=False)
        return *self._bars, self._coil, self._coil_name, *self._names, self._now

    def update(self, state: Asked) -> None:
        for bar, name, kv in zip(self._bars, self._names, (state.right_kv, state.wrong_kv), strict=True):
            bar.set_height(min(30.0, kv))
            name.set(y=min(28.4, kv + 0.2), text=f"{kv:.1f}")
        self._coil.set_ydata([state.coil_kv] * 2)
        self._coil_name.set_y(state.coil_kv + 0.15)
        self._now.set_data([0 if state.way == RIGHT else 1], [0.9])


def electrodes_caption(state: Asked) -> str:
    """The electrodes in words."""
    signs = ("negative", "positive") if state.way == RIGHT else ("positive", "negative")
    return (
        f"Coil connected the {state.way}: the centre electrode is {signs[0]}, the side electrode {signs[1]}. "
        f"The centre electrode has {state.electrode_c:g} °C ({1.8 * state.electrode_c + 32:.0f} °F). A hot electrode gives its electrons more readily."
    )


def bars_caption(state: Asked) -> str:
    """Both voltages in words."""
    left = state.coil_kv - state.now_kv
    says = (
        f"{left:.1f} kV are left for the rotor gap and for wear"
        if left >= 0
        else f"{-left:.1f} kV are missing, and it misses"
    )
    return (
        f"Right way round the plug asks for {state.right_kv:.1f} kV, wrong way round for {state.wrong_kv:.1f} kV here, "
        f"{state.right_kv * _LEAST:.1f} to {state.right_kv * _MOST:.1f} kV in practice. The coil gives {state.coil_kv:g} kV. Now {says}."
    )


def polarity_panel(compute: Callable[..., Asked] = compute) -> Panel[Asked]:
    """Coil the right and the wrong way round."""
    controls = {
        "way": pick((RIGHT, WRONG), RIGHT, "The coil is connected"),
        "healthy_kv": slider(12.0, 6.0, 16.0, 0.5, "A healthy plug asks for (kV)"),
        "electrode_c": slider(540, 20, 800, 20, "Centre electrode (°C)"),
        "coil_kv": slider(18.0, 10.0, 28.0, 0.5, "The coil gives (kV)"),
    }
    return Panel(
        "Polarity at the electrodes",
        controls,
        compute,
        ((Electrodes(330, 370), electrodes_caption), (Bars(370, 370), bars_caption)),
    )
