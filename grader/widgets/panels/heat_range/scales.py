"""What the pictures of this module share: type sizes, axes, the temperature limits and their looks."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap, Normalize
from numpy.typing import ArrayLike

from grader.reference.spark import plug
from grader.widgets import style

LOWEST_C, HIGHEST_C = 100.0, 1100.0
# From cold to hot by lightness as well as by hue, so that it reads without colour too.
HEAT = LinearSegmentedColormap.from_list("heat", ("#2b4f77", "#7fa7c9", "#e8d9b5", "#e69f00", "#b3261e"))
_SHADE = Normalize(150.0, 1000.0)
ZONES = (
    (LOWEST_C, plug.CLEAN_FROM_C, "#d5d5d5", "fouls, below 450 °C"),
    (plug.CLEAN_FROM_C, plug.CLEAN_SURELY_C, "#ececec", ""),
    (plug.CLEAN_SURELY_C, plug.HOT_FROM_C, "#ffffff", "cleans itself, from 500 °C"),
    (plug.HOT_FROM_C, plug.PREIGNITES_C, "#fbe3d6", "too hot, from 850 °C"),
    (plug.PREIGNITES_C, HIGHEST_C, "#f3b79c", "pre-ignition, from 950 °C"),
)
STATE_WORDS = {
    "fouls": "too cold, it fouls",
    "hardly clean": "only just cleaning itself",
    "clean": "clean and safe",
    "hot": "too hot for long",
    "pre-ignites": "hot enough to light the charge",
}


def fahrenheit(celsius: ArrayLike) -> np.ndarray:
    """Degrees Celsius as degrees Fahrenheit."""
    return 1.8 * np.asarray(celsius) + 32.0


def heat_colour(celsius: ArrayLike) -> np.ndarray:
    """Colours of temperatures."""
    return HEAT(_SHADE(np.asarray(celsius)))


def plain_axes(axes: Axes, across: str, up: str) -> None:
    """Labels, type and spines as on all charts."""
    axes.set_xlabel(across, **style.words(13))
    axes.set_ylabel(up, **style.words(13))
    for label in (*axes.get_xticklabels(), *axes.get_yticklabels()):
        label.set(**style.words(12))
    axes.spines["top"].set_visible(False)


def temperature_axes(axes: Axes, lowest: float, highest: float) -> None:
    """Celsius on the left, Fahrenheit on the right, the zones of a tip behind."""
    axes.set_ylim(lowest, highest)
    axes.set_yticks(range(int(lowest), int(highest) + 1, 100))
    right = axes.secondary_yaxis("right", functions=(fahrenheit, lambda f: (np.asarray(f) - 32.0) / 1.8))
    first = int(np.ceil(fahrenheit(lowest) / 200) * 200)
    right.set_yticks(range(first, int(fahrenheit(highest)) + 1, 200))
    right.set_ylabel("°F", **style.words(13))
    for label in right.get_yticklabels():
        label.set(**style.words(12))
    for low, high, colour, word in ZONES:
        low, high = max(low, lowest), min(high, highest)
        if low >= high:
            continue
        axes.axhspan(low, high, color=colour, lw=0, zorder=0)
        if word:
            middle = min((low + high) / 2, high - 0.02 * (highest - lowest))
            axes.text(
                0.985,
                middle,
                word,
                transform=axes.get_yaxis_transform(),
                ha="right",
                va="center",
                zorder=3,
                bbox={"facecolor": colour, "edgecolor": "none", "pad": 2.0},
                **style.words(12, color="#444444", style="italic"),
            )
