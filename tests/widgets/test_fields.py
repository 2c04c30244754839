"""Every kind of answer has a field: what is picked or typed in it is what the marker reads as right."""

from html import escape
from types import SimpleNamespace

import pytest
from ipywidgets import Checkbox, Dropdown, HBox, VBox

from grader import catalogue
from grader.bench.part import Bench
from grader.exercise.kinds import Choices, Written
from grader.exercise.model import PRACTICE
from grader.exercise.sorting import Batch, FiringOrder, Order
from grader.marking import reading
from grader.marking.mark import mark_sheet
from grader.widgets import print_sheet
from grader.widgets.answer_store import Store
from grader.widgets.exercise_form import ExerciseForm
from grader.widgets.fields.kinds import field_of
from grader.widgets.fields.picked import BatchField, ChoicesField, OrderField
from grader.widgets.fields.typed import TextField
from tests.work import right_answers

LETTER = "Dear Ms Penhallow,\nthe points were set wide; timing comes after the gap. Yours, the workshop"

PARTS = [
    pytest.param(module, exercise, part, id=path)
    for module in catalogue.all_modules().values()
    for exercise, part, path in module.parts()
]


@pytest.fixture(scope="module")
def stores(tmp_path_factory):
    """A practice store of each module, in a folder where nothing is saved."""
    return {
        module.key: Store(module, tmp_path_factory.mktemp(module.key)) for module in catalogue.all_modules().values()
    }


def answers(module, record):
    """The right answers, and a letter in each written part."""
    written = {path: LETTER for _, part, path in module.parts() if isinstance(part, Written)}
    return {**right_answers(module, record), **written}


def test_every_kind_in_the_modules_has_a_field():
    plain = {type(parameter.values[2]) for parameter in PARTS if field_of(parameter.values[2]) is TextField}
    assert plain == {FiringOrder}, "a field made for the kind, or one line of text by choice"


@pytest.mark.parametrize(("module", "exercise", "part"), PARTS)
def test_the_right_answer_can_be_given_and_is_read_back(stores, module, exercise, part):
    store = stores[module.key]
    given = SimpleNamespace(**store.issue.numbers[exercise.key])
    right = answers(module, store.issue)[f"{exercise.key}.{part.key}"]
    heard = []
    field = field_of(part)(part, given, heard.append)
    assert field.raw == ""
    field.follow(right, "")
    assert heard, "a change in the field is heard"
    own, expected = (reading.read(part, raw, field.unit, given).value for raw in (field.raw, right))
    assert own == expected
    field.follow("", "")
    assert field.raw == ""


@pytest.mark.parametrize("module", catalogue.all_modules().values(), ids=lambda module: module.key)
def test_a_whole_lesson_can_be_worked_through_its_forms(module, tmp_path):
    """Shown, answered part by part, checked: everything right that can be right without a reader."""
    store = Store(module, tmp_path)
    assert store.issue.mode == PRACTICE
    right = answers(module, store.issue)
    for exercise in module.exercises:
        form = ExerciseForm(store, exercise)
        for part in form.parts.values():
            part.entry.follow(right[part.path], "")
            assert store.answers[part.path].raw == part.entry.raw
            part.check.click()
            expected = ["Your instructor reads it" if isinstance(part.part, Written) else "Right."]
            expected += ["of 100: road"] * isinstance(
                part.part, Bench
            )  # a look that misses can cost the best road a mark
            assert any(words in part.verdict.value for words in expected), (part.path, part.verdict.value)
    marks = mark_sheet(module, store.issue.exercises, store.sheet)
    for mark in marks.parts:
        part = module.by_path[mark.path][1]
        assert mark.verdict in ("right", "awaiting") or (isinstance(part, Bench) and mark.hundredths >= 0.7 * part.most)


def parts_of(kind):
    return [(m, e, p) for m in catalogue.all_modules().values() for e, p, _ in m.parts() if isinstance(p, kind)]


def widgets(box, kind):
    """All widgets of a kind inside a box, in order."""
    found = []
    for child in getattr(box, "children", ()):
        found += [child] if isinstance(child, kind) else widgets(child, kind) if isinstance(child, (HBox, VBox)) else []
    return found


def test_two_steps_cannot_have_one_place(stores):
    module, exercise, part = parts_of(Order)[0]
    given = SimpleNamespace(**stores[module.key].issue.numbers[exercise.key])
    field = OrderField(part, given, lambda _: None)
    first, second, third = widgets(field.row[0], Dropdown)[:3]
    first.value, second.value, third.value = 1, 2, 1
    assert (first.value, second.value, third.value) == (0, 2, 1)
    assert len(field.raw.split(">")) == 2


def test_none_of_these_is_an_answer_and_blank_is_not(stores):
    module, exercise, part = parts_of(Choices)[0]
    given = SimpleNamespace(**stores[module.key].issue.numbers[exercise.key])
    field = ChoicesField(part, given, lambda _: None)
    boxes = widgets(field.row[0], Checkbox)
    assert field.raw == ""
    boxes[-1].value = True
    assert field.raw == "none"
    boxes[0].value = True
    assert field.raw in part.options


def test_a_batch_is_sorted_item_by_item(stores):
    module, exercise, part = parts_of(Batch)[0]
    given = SimpleNamespace(**stores[module.key].issue.numbers[exercise.key])
    field = BatchField(part, given, lambda _: None)
    drops = widgets(field.row[0], Dropdown)
    assert len(drops) == len(part.items(given))
    drops[0].value, drops[-1].value = "keep", "undecided"
    labels = part.items(given)
    assert field.raw == f"{labels[0]}=keep;{labels[-1]}=undecided"


@pytest.mark.parametrize("module", catalogue.all_modules().values(), ids=lambda module: module.key)
def test_every_kind_can_be_printed(module, tmp_path):
    store = Store(module, tmp_path)
    for path, raw in answers(module, store.issue).items():
        store.put(path, raw)
    page = print_sheet.build(module, store.issue, store.sheet)
    assert "<script" not in page and "(blank)" not in page
    for exercise in module.exercises:
        for part in exercise.parts:
            assert escape(part.prompt) in page
            if isinstance(part, Order):
                assert ", then " in page
