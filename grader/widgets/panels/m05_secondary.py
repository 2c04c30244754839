"""Panels of module 5: both voltages over speed, the cap in section, a lead's cost, the plan of the leads, polarity."""

from types import MappingProxyType

from grader.widgets.panels.secondary.cap import cap_panel
from grader.widgets.panels.secondary.curves import curves_panel
from grader.widgets.panels.secondary.lead import lead_panel
from grader.widgets.panels.secondary.plan import plan_panel
from grader.widgets.panels.secondary.polarity import polarity_panel

PANELS = MappingProxyType(
    {"curves": curves_panel, "cap": cap_panel, "lead": lead_panel, "plan": plan_panel, "polarity": polarity_panel}
)
