"""What the pictures on points and dwell share: axes, words, the lesson's own cams."""

from collections.abc import Sequence
from types import MappingProxyType
from typing import Any

import numpy as np
from ipywidgets import FloatSlider, IntSlider, RadioButtons
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from grader.modules.dwell.coil import LESSON_DWELL
from grader.reference.spark import points
from grader.widgets import style
from grader.widgets.style import words

THOU_MM = 0.0254
# Gap that goes with the lesson's dwell, in thousandths of an inch. No vehicle of an exercise has such a cam,
# so that a panel shows how things hang together and answers nothing by itself.
LESSON_GAP = MappingProxyType({4: 18.0, 6: 24.0, 8: 18.0})
LESSON_LIFT = MappingProxyType({n: points.full_lift(LESSON_GAP[n], LESSON_DWELL[n], n) for n in LESSON_GAP})


def axes(
    figure: Figure,
    place: tuple[float, float, float, float],
    across: str,
    up: str,
    *,
    xticks: Sequence[float],
    yticks: Sequence[float],
    xlim: tuple[float, float] | None = None,
    ylim: tuple[float, float] | None = None,
    finer: float | None = None,
) -> Axes:
    """Plain axes with a grid; `finer` is the spacing of the fine lines across."""
    made = figure.add_axes(place)
    made.set_xlim(*(xlim or (xticks[0], xticks[-1])))
    made.set_ylim(*(ylim or (yticks[0], yticks[-1])))
    made.set_xlabel(across, **words())
    made.set_ylabel(up, **words())
    made.set_xticks(xticks)
    made.set_yticks(yticks)
    for label in (*made.get_xticklabels(), *made.get_yticklabels()):
        label.set(**words(12))
    made.grid(color="#cfcfcf", linewidth=0.7)
    if finer:
        made.set_xticks(np.arange(xticks[0], xticks[-1] + finer / 2, finer), minor=True)
        made.grid(which="minor", color="#ececec", linewidth=0.6)
    for side in ("top", "right"):
        made.spines[side].set_visible(False)
    return made


def bare(
    figure: Figure, place: tuple[float, float, float, float], xlim: tuple[float, float], ylim: tuple[float, float]
) -> Axes:
    """Axes for a drawing: equal scales, no frame."""
    made = figure.add_axes(place)
    made.set_xlim(*xlim)
    made.set_ylim(*ylim)
    made.set_aspect("equal")
    made.set_axis_off()
    return made


def slider(
    value: float, least: float, most: float, step: float, description: str, form: str = ".1f"
) -> IntSlider | FloatSlider:
    """A slider as wide as the page with its name in front."""
    if isinstance(step, int):
        made = IntSlider(value, min=least, max=most, step=step, description=description)
    else:
        made = FloatSlider(value, min=least, max=most, step=step, readout_format=form, description=description)
    return _named(made)


def pick(options: Sequence[Any], value: Any, description: str) -> RadioButtons:
    """A choice of a few values."""
    return _named(RadioButtons(options=options, value=value, description=description))


def _named(control):
    control.style.description_width = "14rem"
    control.layout = style.wide()
    return control


def thou(gap: float) -> str:
    """A gap in both systems, half thousandths where there are any."""
    return f"{gap / 1000:.{4 if gap % 1 else 3}f} in ({gap * THOU_MM:.2f} mm)"
