"""Which field an answer of which kind gets."""

import sys
from collections.abc import Callable, Sequence
from types import SimpleNamespace
from typing import Any, Protocol

from ipywidgets import Widget

from grader.exercise.kinds import Choices, Written
from grader.exercise.model import Choice
from grader.exercise.part import Numeric, Part
from grader.exercise.sorting import Batch, FiringOrder, Order
from grader.widgets.fields.picked import BatchField, ChoiceField, ChoicesField, OrderField
from grader.widgets.fields.typed import NumberField, TextField, WrittenField


class Field(Protocol):
    """What a form wants of the field of a kind; it is made with (part, given, heard).

    `row` are its widgets, the first one the field itself, the second the unit if there
    is one. `raw` is the answer as text for answers.json, `unit` the unit chosen, or empty.
    `shown` tells the page's guard what the widgets hold if the kernel has it all; empty
    where the text itself tells. `heard` is called with the change of a widget whenever `raw` or `unit`
    changes by the trainee's hand.
    """

    @property
    def row(self) -> Sequence[Widget]: ...

    @property
    def raw(self) -> str: ...

    @property
    def unit(self) -> str: ...

    @property
    def shown(self) -> str: ...

    def follow(self, raw: str, unit: str) -> None:
        """Show what the store holds; another view of the lesson may have changed it."""


# A kind without a line here gets the field of the kind that it derives from.
FIELDS: dict[type[Part], Callable[[Any, SimpleNamespace, Callable], Field]] = {
    Part: TextField,
    Numeric: NumberField,
    FiringOrder: TextField,
    Written: WrittenField,
    Choice: ChoiceField,
    Choices: ChoicesField,
    Order: OrderField,
    Batch: BatchField,
}


def field_of(part: Part) -> Callable[[Any, SimpleNamespace, Callable], Field]:
    """What makes the field for a part: (part, given, heard) -> Field."""
    if _is(part, "grader.bench.part", "Bench"):
        return _bench_field
    return next(FIELDS[kind] for kind in type(part).__mro__ if kind in FIELDS)


def _bench_field(part: Any, given: SimpleNamespace, heard: Callable) -> Field:
    from grader.widgets.fields.bench import BenchField  # its numerics load only where a car stands in the lesson

    return BenchField(part, given, heard)


def _is(thing: object, module: str, name: str) -> bool:
    """Whether a thing is of a class whose module is loaded; where it is not, nothing can be."""
    return module in sys.modules and isinstance(thing, getattr(sys.modules[module], name))


def coach(field: Field) -> None:
    """Let a field that can help do so: where the lesson is practised, and nowhere else."""
    if _is(field, "grader.widgets.fields.bench", "BenchField"):
        vars(field)["coached"] = True
