"""Panels of module 4: the plug tester, gauge and absolute, tester and engine, repeatability."""

from types import MappingProxyType

from grader.widgets.panels.plug_testing.engine import engine_panel
from grader.widgets.panels.plug_testing.gauge import gauge_panel
from grader.widgets.panels.plug_testing.repeat import repeat_panel
from grader.widgets.panels.plug_testing.tester import tester_panel

PANELS = MappingProxyType(
    {"tester": tester_panel, "gauge": gauge_panel, "engine": engine_panel, "repeat": repeat_panel}
)
