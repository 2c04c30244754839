"""What the pictures of plug testing share: type, axes, colours by decision."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from grader.units import KPA_PER_PSI
from grader.widgets import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PALE, AIR = "#dddddd", "#f2f4f5"
DECISIONS = MappingProxyType(
    {
        "keep": (style.BLUE, style.SOLID),
        "undecided": (style.GREY, style.DOTTED),
        "reject": (style.RED, style.DASHED),
    }
)


def font(pixels: float = 13, **more: Any) -> dict[str, Any]:
    """Arguments of a text."""
    return style.words(pixels, **{"color": style.INK, **more})


def plain_axes(axes: Axes, x_label: str, y_label: str) -> None:
    """Labels in our type, no frame above and to the right."""
    axes.set_xlabel(x_label, **font(13))
    axes.set_ylabel(y_label, **font(13))
    for label in (*axes.get_xticklabels(), *axes.get_yticklabels()):
        label.set(**style.words(12))
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def bare_axes(axes: Axes, width: float, height: float) -> None:
    """A sheet to draw on, one unit for one pixel."""
    axes.set_xlim(0, width)
    axes.set_ylim(0, height)
    axes.set_axis_off()


def tidy(controls: dict[str, Any], wide: str = "13rem") -> dict[str, Any]:
    """Sliders over the whole width with room for their names."""
    for control in controls.values():
        control.style.description_width = wide
        control.layout = style.wide()
    return controls


def both(psi: float) -> str:
    """A pressure in both systems."""
    return f"{psi:.0f} psi ({psi * KPA_PER_PSI:.0f} kPa)"
