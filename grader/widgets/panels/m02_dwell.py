"""Panels of module 2: points, dwell meter, arm, coil, voltage after the opening."""

from types import MappingProxyType

from grader.widgets.panels.dwell.arm import bounce_float
from grader.widgets.panels.dwell.cam import cam_points
from grader.widgets.panels.dwell.coil import coil_current
from grader.widgets.panels.dwell.meter import dwell_meter
from grader.widgets.panels.dwell.wave import after_opening

PANELS = MappingProxyType(
    {
        "cam_points": cam_points,
        "dwell_meter": dwell_meter,
        "bounce_float": bounce_float,
        "coil_current": coil_current,
        "after_opening": after_opening,
    }
)
