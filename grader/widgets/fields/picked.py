"""Fields in which an answer is picked: one option, several, an order of steps, a batch sorted."""

from collections.abc import Callable
from html import escape
from types import SimpleNamespace
from typing import Any

from grader.exercise import listing
from grader.exercise.kinds import Choices
from grader.exercise.model import Choice
from grader.exercise.sorting import KEEP, REJECT, UNDECIDED, Batch, Order
from grader.widgets import style

_DECISIONS = (("choose", ""), ("keep", KEEP), ("reject", REJECT), ("undecided, test again", UNDECIDED))


class _Picked:
    """What the kinds share: the text in answers.json is built from the widgets.

    `shown` tells the page's guard what its fields hold if the kernel has it all: the place of
    the option picked, or every tick and list in the order in which they stand.
    """

    unit = ""
    coached = False


class ChoiceField(_Picked):
    """One option of several, none picked at first."""

    def __init__(self, part: Choice, given: SimpleNamespace, heard: Callable[[Any], object]) -> None:
        options = [(words, key) for key, words in part.in_shown_order(given)]
        self._radio = style.RadioButtons(options=options, value=None, layout=style.wide()).add_class("tm-choice")
        self._keys = set(part.options)
        self._radio.observe(heard, "value")
        self.row = [self._radio]

    @property
    def raw(self) -> str:
        return self._radio.value or ""

    @property
    def shown(self) -> str:
        return str(-1 if self._radio.index is None else self._radio.index)

    def follow(self, raw: str, unit: str) -> None:
        """Show what the store holds."""
        wanted = raw if raw in self._keys else None
        if self._radio.value != wanted:
            self._radio.value = wanted


class ChoicesField(_Picked):
    """All options that apply; that none does is said by a tick of its own."""

    def __init__(self, part: Choices, given: SimpleNamespace, heard: Callable[[Any], object]) -> None:
        self.part = part
        self._boxes = {key: self._box(words, heard) for key, words in part.in_shown_order(given)}
        self._none = self._box("none of these", heard)
        self.row = [style.VBox([*self._boxes.values(), self._none], layout=style.wide()).add_class("tm-pick")]

    @staticmethod
    def _box(words, heard):
        box = style.Checkbox(value=False, description=words, indent=False, layout=style.wide())
        box.observe(heard, "value")
        return box

    @property
    def shown(self) -> str:
        return "|".join("true" if box.value else "false" for box in (*self._boxes.values(), self._none))

    @property
    def raw(self) -> str:
        ticked = [key for key, box in self._boxes.items() if box.value]
        if ticked:
            return self.part.typed(ticked)
        return listing.NONE if self._none.value else ""

    def follow(self, raw: str, unit: str) -> None:
        """Show what the store holds."""
        ticked = set(listing.entries(raw)) if raw and raw != listing.NONE else set()
        for key, box in self._boxes.items():
            box.value = key in ticked
        self._none.value = raw == listing.NONE


class OrderField(_Picked):
    """Steps in order: each gets its place; a place given again moves on."""

    def __init__(self, part: Order, given: SimpleNamespace, heard: Callable[[Any], object]) -> None:
        self.part, self._heard, self._moving = part, heard, False
        steps = part.in_shown_order(given)
        places = [("no place", 0), *((str(n), n) for n in range(1, len(steps) + 1))]
        self._places = {}
        rows = []
        for key, words in steps:
            place = style.Dropdown(
                options=places,
                value=0,
                layout=style.layout(width="7rem", min_width="7rem"),
                tooltip=f"Place of: {words}",
            )
            place.observe(lambda change, key=key: self._moved(key, change), "value")
            self._places[key] = place
            rows.append(_line(place, words))
        self.row = [style.VBox(rows, layout=style.wide()).add_class("tm-pick").add_class("tm-order")]

    def _moved(self, key, change):
        if self._moving:
            return
        self._moving = True
        try:
            for other, place in self._places.items():
                if other != key and change["new"] and place.value == change["new"]:
                    place.value = 0  # two steps cannot have one place
        finally:
            self._moving = False
        self._heard(change)

    @property
    def shown(self) -> str:
        return "|".join(place.label for place in self._places.values())

    @property
    def raw(self) -> str:
        placed = [key for key, place in self._places.items() if place.value]
        return ">".join(sorted(placed, key=lambda key: self._places[key].value))

    def follow(self, raw: str, unit: str) -> None:
        """Show what the store holds."""
        if raw == self.raw:
            return  # places with gaps between them stay as they are
        keys = [key.strip() for key in raw.split(">")] if raw else []
        self._moving = True
        try:
            for key, place in self._places.items():
                place.value = keys.index(key) + 1 if key in keys else 0
        finally:
            self._moving = False
        self._heard(None)


class BatchField(_Picked):
    """Every item of a batch: keep, reject, or undecided."""

    def __init__(self, part: Batch, given: SimpleNamespace, heard: Callable[[Any], object]) -> None:
        self._decisions = {}
        rows = []
        for label in part.items(given):
            decision = style.Dropdown(
                options=_DECISIONS, value="", layout=style.layout(width="12rem"), tooltip=f"Decision on {label}"
            )
            decision.observe(heard, "value")
            self._decisions[label] = decision
            rows.append(_line(decision, label, width="23rem"))
        flow = style.layout(width="100%", display="flex", flex_flow="row wrap")
        self.row = [style.HBox(rows, layout=flow).add_class("tm-pick").add_class("tm-batch")]

    @property
    def shown(self) -> str:
        return "|".join(decision.label for decision in self._decisions.values())

    @property
    def raw(self) -> str:
        return ";".join(f"{label}={d.value}" for label, d in self._decisions.items() if d.value)

    def follow(self, raw: str, unit: str) -> None:
        """Show what the store holds."""
        if raw == self.raw:
            return
        decided = dict(entry.split("=", 1) for entry in listing.entries(raw) if "=" in entry) if raw else {}
        for label, decision in self._decisions.items():
            wanted = decided.get(label, "")
            decision.value = wanted if wanted in (KEEP, REJECT, UNDECIDED) else ""


def _line(widget, words, width=None):
    """A drop-down with what it decides on behind it."""
    label = style.HTML(f"<div>{escape(words)}</div>").add_class("tm-label").add_class("tm-item")
    return style.HBox(
        [label, widget],
        layout=style.layout(flex_flow="row-reverse", justify_content="flex-end", align_items="center", width=width),
    )
