"""Panels of module 6: a diagnosis worked step by step."""

from types import MappingProxyType

from grader.widgets.panels.diagnosis.worked import worked_panel

PANELS = MappingProxyType({"worked": worked_panel})
