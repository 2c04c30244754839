"""Which field an answer of which kind gets."""

from collections.abc import Callable, Sequence
from pkgutil import resolve_name
from types import SimpleNamespace
from typing import Any, Protocol, runtime_checkable

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
    changes by the trainee's hand. `coached` is set where the lesson is practised: a field that can help does so there.
    """

    coached: bool

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


@runtime_checkable
class Workplace(Protocol):
    """What a field has besides where an answer grows act by act.

    `draft` is what is chosen or written and not done yet, as text to be kept; it is set before the first `follow`.
    `drafted` is called when it changes. `typed` is the text in the field to write in, as far as it arrived.
    """

    draft: str
    drafted: Callable[[], object]

    @property
    def typed(self) -> str: ...

    def look_back(self) -> None:
        """Show what can be learned from an answer that was checked and is closed."""


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


# Kinds whose modules load numerics that only some lessons need: class -> field, by name.
LATER = {"grader.bench.part:Bench": "grader.widgets.fields.bench:BenchField"}


def field_of(part: Part) -> Callable[[Any, SimpleNamespace, Callable], Field]:
    """What makes the field for a part: (part, given, heard) -> Field."""
    for kind in type(part).__mro__:
        if kind in FIELDS:
            return FIELDS[kind]
        later = LATER.get(f"{kind.__module__}:{kind.__qualname__}")
        if later:
            return resolve_name(later)
    raise TypeError(f"{type(part).__name__} is no kind of answer.")
