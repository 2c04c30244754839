"""Panels of module 3: nose in section, three noses against load, gap wear and reserve, plug faces."""

from types import MappingProxyType

from grader.widgets.panels.heat_range.chart import three_noses
from grader.widgets.panels.heat_range.face import plug_face
from grader.widgets.panels.heat_range.section import nose_section
from grader.widgets.panels.heat_range.wear import gap_wear

PANELS = MappingProxyType(
    {"nose_section": nose_section, "three_noses": three_noses, "plug_face": plug_face, "gap_wear": gap_wear}
)
