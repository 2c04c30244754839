"""Fields in which an answer is typed: a number with its unit, a firing order, sentences."""

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

from grader.exercise.part import Numeric, Part
from grader.widgets import style


class NumberField:
    """One number or a range, and the unit beside it."""

    shown = ""  # the text itself tells
    coached = False

    def __init__(self, part: Numeric, given: SimpleNamespace, heard: Callable[[Any], object]) -> None:
        self.part = part
        self._text = style.Text("", continuous_update=True, tooltip=part.prompt, layout=style.field()).add_class(
            "tm-field"
        )
        self._unit = style.Dropdown(options=list(part.units), tooltip=f"Unit: {part.prompt}", layout=style.unit())
        self._unit.add_class("tm-unit")
        self.row = [self._text, self._unit] if any(part.units) else [self._text]  # a plain number has no unit
        for widget in (self._text, self._unit):
            widget.observe(heard, "value")

    @property
    def raw(self) -> str:
        return self._text.value

    @property
    def unit(self) -> str:
        return self._unit.value

    def follow(self, raw: str, unit: str) -> None:
        """Show what the store holds."""
        unit = unit or self.part.unit
        if self._text.value != raw:
            self._text.value = raw
        if self._unit.value != unit:
            if unit not in self._unit.options:
                self._unit.options = (*self._unit.options, unit)
            self._unit.value = unit


class TextField:
    """One line of text, such as a firing order."""

    unit = shown = ""
    coached = False

    def __init__(self, part: Part, given: SimpleNamespace, heard: Callable[[Any], object]) -> None:
        self._text = self._make(part)
        self._text.add_class("tm-field").observe(heard, "value")
        self.row = [self._text]

    def _make(self, part):
        return style.Text("", continuous_update=True, tooltip=part.prompt, layout=style.field())

    @property
    def raw(self) -> str:
        return self._text.value

    def follow(self, raw: str, unit: str) -> None:
        """Show what the store holds."""
        if self._text.value != raw:
            self._text.value = raw


class WrittenField(TextField):
    """Sentences to a customer or a colleague."""

    def _make(self, part):
        return style.Textarea(
            "", continuous_update=True, tooltip=part.prompt, rows=8, layout=style.layout(width="100%", height="12rem")
        )
