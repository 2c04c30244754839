"""Panel: the nose of a plug in section, its temperature from root to tip, and the limits."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from ipywidgets import FloatSlider, IntSlider, RadioButtons
from matplotlib.artist import Artist
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure
from matplotlib.patches import FancyArrowPatch, Polygon, Rectangle

from grader.reference.spark import plug
from grader.units import MM_PER_IN
from grader.widgets import style
from grader.widgets.panel import Panel, Picture, add_patch
from grader.widgets.panels.heat_range import scales

TIGHT, LOOSE = "tight", "loose"
SHORTEST_MM, LONGEST_MM = 6, 24
_STRIPS = 40
_SHELL_MM, _TOP_MM, _OUT_MM = 6.0, 30.0, 1.5  # inner radius, height drawn, how far the tip looks out of the shell


@dataclass(frozen=True, slots=True)
class Nose:
    """One setting of the sliders; temperatures in degrees Celsius, `profile` from root to tip."""

    nose_mm: float
    load: float
    over_deg: float
    air_ratio: float
    seat: str
    profile: np.ndarray
    gas_c: float
    root_c: float

    @property
    def tip_c(self) -> float:
        return float(self.profile[-1])

    @property
    def state(self) -> str:
        return plug.nose_state(self.tip_c)


def compute(nose_mm: float, load: float, over_deg: float, air_ratio: float, seat: str) -> Nose:
    """Temperatures of one nose.

    Parameters
    ----------
    nose_mm : float [mm]
    load : float [1]
        0 light, 1 heavy.
    over_deg : float [crank degree]
        Spark earlier than specified.
    air_ratio : float [1]
    seat : str
        `TIGHT` or `LOOSE`.

    Returns
    -------
    Nose
    """
    transfer, gas, root = plug.gas_side(load, over_deg, air_ratio, 1.0 if seat == LOOSE else 0.0)
    profile = plug.nose_profile_c(nose_mm, transfer, gas, root)
    return Nose(nose_mm, load, over_deg, air_ratio, seat, profile, gas, root)


class Section(Picture[Nose]):
    """The lower end of a plug cut open, spark end down; the nose takes the colour of its temperature."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        axes.set_xlim(-17.5, 17.5)
        axes.set_ylim(-8.5, 33.0)
        axes.set_aspect("equal")
        axes.set_axis_off()
        metal = {"facecolor": "#c9ced2", "edgecolor": style.INK, "lw": 1.0}
        for side in (-1, 1):
            axes.add_patch(
                Rectangle(
                    (side * 9.0 if side > 0 else -12.5, 0.6),
                    3.5,
                    31,
                    facecolor="#e6e6e6",
                    edgecolor="#9a9a9a",
                    lw=0.8,
                    hatch="//",
                )
            )
            inner, outer = side * _SHELL_MM, side * 8.2
            axes.add_patch(Polygon([(inner, 0), (outer, 0), (outer, _TOP_MM), (inner, _TOP_MM)], closed=True, **metal))
            for step in range(16):  # the thread
                y = 0.8 + step * 1.8
                axes.add_patch(
                    Polygon([(outer, y), (side * 9.0, y + 0.6), (outer, y + 1.2)], closed=True, **{**metal, "lw": 0.7})
                )
        bent = [(6.0, 0.0), (8.2, 0.0), (8.2, -5.4), (-1.6, -5.4), (-1.6, -4.0), (6.0, -4.0)]
        axes.add_patch(Polygon(bent, closed=True, **metal))
        self._body = add_patch(
            axes, Polygon(np.zeros((3, 2)), closed=True, facecolor="#f7f7f2", edgecolor=style.INK, lw=1.0)
        )
        self._nose = PolyCollection([], edgecolors="none")
        axes.add_collection(self._nose)
        (self._edge,) = axes.plot([], [], color=style.INK, lw=1.0)
        self._core = add_patch(
            axes,
            Rectangle(
                (-plug.BORE_MM / 2, -2.9), plug.BORE_MM, _TOP_MM + 2.9, facecolor="#8d949a", edgecolor=style.INK, lw=0.8
            ),
        )
        arrow = {"arrowstyle": "-|>", "mutation_scale": 16, "color": style.INK, "lw": 1.8}
        self._paths = [add_patch(axes, FancyArrowPatch((0, 0), (1, 1), **arrow)) for _ in range(4)]
        self._gasket = [axes.plot([], [], color=style.RED, lw=4.0, solid_capstyle="butt")[0] for _ in range(2)]
        self._tip = axes.text(-3.4, -2.4, "", ha="right", va="center", **style.words(17, weight="bold"))
        self._root = axes.text(-13.0, 0, "", ha="right", va="center", **style.words(12))
        axes.text(-10.75, 32.2, "head, water", ha="center", va="center", **style.words(12))
        axes.text(10.75, 32.2, "head, water", ha="center", va="center", **style.words(12))
        axes.text(0, 31.4, "centre electrode", ha="center", va="center", **style.words(12))
        axes.text(9.2, -6.9, "side electrode", ha="center", va="center", **style.words(12))
        axes.text(-10.5, -6.9, "burning gas", ha="center", va="center", **style.words(12))
        return (self._body, self._nose, self._edge, self._core, *self._paths, *self._gasket, self._tip, self._root)

    def update(self, state: Nose) -> None:
        root = state.nose_mm - _OUT_MM
        thin, thick = plug.OUTER_MM / 2, 5.2
        shoulder = min(root + 2.2, _TOP_MM - 2)
        half = [(thin, root), (_SHELL_MM, shoulder), (_SHELL_MM, _TOP_MM), (thick, _TOP_MM)]
        self._body.set_xy([*half, *((-x, y) for x, y in reversed(half))])
        ends = np.linspace(root, -_OUT_MM, _STRIPS + 1)
        self._nose.set_verts(
            [[(-thin, a), (thin, a), (thin, b), (-thin, b)] for a, b in zip(ends[:-1], ends[1:], strict=True)]
        )
        self._nose.set(facecolor=scales.heat_colour(np.interp(np.linspace(0, 200, _STRIPS), range(201), state.profile)))
        self._edge.set_data([-thin, -thin, thin, thin], [root, -_OUT_MM, -_OUT_MM, root])
        loose = state.seat == LOOSE
        for side, pair, seat in zip((-1, 1), (self._paths[:2], self._paths[2:]), self._gasket, strict=True):
            pair[0].set_positions((side * 1.9, 0.0), (side * 1.9, root + 0.5))
            pair[1].set_positions((side * 2.6, root + 1.0), (side * 11.2, root + 3.2))
            pair[1].set_linewidth(0.7 if loose else 1.8)
            pair[1].set_mutation_scale(9 if loose else 16)
            seat.set_data([side * 8.6, side * 8.6] if loose else [], [0.6, _TOP_MM] if loose else [])
        self._tip.set_text(f"tip {state.tip_c:.0f} °C\n{scales.fahrenheit(state.tip_c):.0f} °F")
        self._root.set(y=root, text=f"root\n{state.root_c:.0f} °C")


class Profile(Picture[Nose]):
    """Temperature along the nose, with the zones in which a tip may lie."""

    def draw(self, figure: Figure) -> Iterable[Artist]:
        axes = figure.add_axes((0.155, 0.115, 0.7, 0.855))
        axes.set_xlim(0, LONGEST_MM + 1)
        scales.temperature_axes(axes, scales.LOWEST_C, scales.HIGHEST_C)
        axes.set_xticks(range(0, LONGEST_MM + 1, 4))
        scales.plain_axes(axes, "Distance from the root (mm)", "Temperature (°C)")
        (self._line,) = axes.plot([], [], color=style.INK, lw=style.LINE)
        (self._dot,) = axes.plot([], [], "o", color=style.RED, ms=9, mec=style.INK)
        self._words = axes.text(0, 0, "", **style.words(14, weight="bold"))
        return self._line, self._dot, self._words

    def update(self, state: Nose) -> None:
        self._line.set_data(np.linspace(0, state.nose_mm, state.profile.size), state.profile)
        self._dot.set_data([state.nose_mm], [state.tip_c])
        right = state.nose_mm < 14
        self._words.set(
            x=state.nose_mm + (0.7 if right else -0.7),
            y=state.tip_c + (0 if right else 14),
            ha="left" if right else "right",
            va="center" if right else "bottom",
            text=f"{state.tip_c:.0f} °C",
        )


def section_caption(state: Nose) -> str:
    """What the section shows, in words."""
    way = (
        "The seat is loose: between thread and head the way of the heat is poor (thin arrows), so the root runs hotter."
        if state.seat == LOOSE
        else "The heat leaves along the arrows: up the nose to the root, through the seat into the shell, then into the head."
    )
    return (
        f"A plug cut open, spark end down. The insulator nose is {state.nose_mm:.0f} mm ({state.nose_mm / MM_PER_IN:.2f} in) "
        f"long. Its root is at {state.root_c:.0f} °C ({scales.fahrenheit(state.root_c):.0f} °F), its tip at "
        f"{state.tip_c:.0f} °C ({scales.fahrenheit(state.tip_c):.0f} °F). {way}"
    )


def profile_caption(state: Nose) -> str:
    """What the curve shows, in words."""
    early = (
        f"{abs(state.over_deg):.0f}° too {'early' if state.over_deg > 0 else 'late'}"
        if state.over_deg
        else "as specified"
    )
    middle = state.profile[state.profile.size // 2]
    return (
        f"Temperature from root to tip: {state.root_c:.0f}, {middle:.0f} half way, {state.tip_c:.0f} °C. Load "
        f"{state.load:.2f}, spark {early}, air {state.air_ratio:.2f} of the correct amount, seat {state.seat}. The tip "
        f"is {scales.STATE_WORDS[state.state]}. The limits are 450 and 500 °C for fouling, 850 and 950 °C for overheating."
    )


def nose_section(compute: Callable[..., Nose] = compute) -> Panel[Nose]:
    """The panel of one nose: length, load, timing, mixture and seat."""
    controls = {
        "nose_mm": IntSlider(14, min=SHORTEST_MM, max=LONGEST_MM, description="Nose length (mm)"),
        "load": FloatSlider(0.5, min=0, max=1, step=0.05, readout_format=".2f", description="Load, 0 light 1 heavy"),
        "over_deg": IntSlider(0, min=-10, max=15, description="Spark too early (°)"),
        "air_ratio": FloatSlider(
            1, min=0.8, max=1.25, step=0.05, readout_format=".2f", description="Air, 1 is correct"
        ),
        "seat": RadioButtons(options=[TIGHT, LOOSE], value=TIGHT, description="Plug in its seat"),
    }
    for control in controls.values():
        control.style.description_width = "11rem"
        control.layout = style.wide()
    views = ((Section(400, 470), section_caption), (Profile(430, 470), profile_caption))
    return Panel("The nose of a plug, cut open", controls, compute, views)
