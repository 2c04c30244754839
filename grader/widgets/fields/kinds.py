"""Which field an answer of which kind gets."""

from grader.exercise.kinds import Choices, PlotReading, Range, Written
from grader.exercise.model import Choice, Number
from grader.exercise.sorting import Batch, BatchByCost, FiringOrder, Order
from grader.widgets.fields.picked import BatchField, ChoiceField, ChoicesField, OrderField
from grader.widgets.fields.typed import NumberField, TextField, WrittenField

FIELDS = {
    Number: NumberField,
    PlotReading: NumberField,
    Range: NumberField,
    FiringOrder: TextField,
    Written: WrittenField,
    Choice: ChoiceField,
    Choices: ChoicesField,
    Order: OrderField,
    Batch: BatchField,
    BatchByCost: BatchField,
}
