"""What the pictures of plug testing share: type, axes, colours by decision."""

from types import MappingProxyType

from grader.widgets import style

KPA_PER_PSI = 6.894757
MM_PER_INCH = 25.4
PALE, AIR = "#dddddd", "#f2f4f5"
DECISIONS = MappingProxyType(
    {
        "keep": (style.BLUE, style.SOLID),
        "undecided": (style.GREY, style.DOTTED),
        "reject": (style.RED, style.DASHED),
    }
)


def points(pixels):
    """Size of type in points for a size in pixels of the page."""
    return pixels * 72 / style.DOTS_PER_INCH


def font(pixels=13, **more):
    """Arguments of a text."""
    return {"family": style.FONT["family"], "size": points(pixels), "color": style.INK, **more}


def plain_axes(axes, x_label, y_label):
    """Labels in our type, no frame above and to the right."""
    axes.set_xlabel(x_label, **font(13))
    axes.set_ylabel(y_label, **font(13))
    for label in (*axes.get_xticklabels(), *axes.get_yticklabels()):
        label.set(family=style.FONT["family"], size=points(12))
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def bare_axes(axes, width, height):
    """A sheet to draw on, one unit for one pixel."""
    axes.set_xlim(0, width)
    axes.set_ylim(0, height)
    axes.set_axis_off()


def tidy(controls, wide="13rem"):
    """Sliders over the whole width with room for their names."""
    for control in controls.values():
        control.style.description_width = wide
        control.layout = style.wide()
    return controls


def both(psi):
    """A pressure in both systems."""
    return f"{psi:.0f} psi ({psi * KPA_PER_PSI:.0f} kPa)"


def keep_readable(panel, place, least):
    """A chart that is read off keeps a least width [pixel of the page]; a narrow page scrolls it sideways."""
    chart = panel.images[place]
    chart.layout.min_width = f"{least}px"
    frame = next(box for row in panel.box.children for box in getattr(row, "children", ()) if chart in box.children)
    frame.layout.overflow = "auto hidden"
    frame.layout.flex = f"1 1 {least // 16}rem"  # beside another picture only where all of it has room
    return panel
