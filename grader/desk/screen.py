"""What every screen is: its rows, and the place where a change is shown until it is done."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import ipywidgets

from grader import catalogue, clock
from grader.course.attempts import overview
from grader.desk import parts
from grader.desk.change import Change, Done, Foreseen, Progress
from grader.records.term.term import Term
from grader.widgets import style

if TYPE_CHECKING:
    from grader.desk.page import Desk


class Screen:
    """One screen of the desk."""

    title = ""
    slow = False  # whether it takes over a fifth of a second to fill

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.change: Change | None = None
        self.slot = style.VBox([], layout=style.column())
        self.rows = style.VBox([], layout=style.column())
        self.head = style.VBox([], layout=style.column())
        self.box = style.VBox([self.head, self.slot, self.rows], layout=style.column())
        self.box.add_class("tm-screen")
        self.zone = desk.term.settings.zone if desk.term else ""

    @property
    def term(self) -> Term:
        return self.desk.opened

    def show(self) -> None:
        """Fill the screen afresh from the records."""
        self.head.children = tuple(self.above())
        self.rows.children = tuple(self.content())

    def above(self) -> Sequence[ipywidgets.Widget]:
        """What stands above a change: the heading, what is chosen."""
        return [parts.heading(self.title, 2)]

    def content(self) -> Sequence[ipywidgets.Widget]:
        """What stands below it."""
        return []

    def propose(
        self,
        title: str,
        foresee: Callable[[Progress], Foreseen],
        do: Callable[[str, Progress], Done],
    ) -> Change | None:
        """Show a change in its four steps."""
        return self.start(Change(title, foresee, do))

    def start(self, change: Change) -> Change | None:
        """Show a change from its first step; one at a time."""
        if self.change is not None and self.change.running:
            return self.change
        change.finished, change.closed = self.refresh, self.put_away
        self.change = change
        self.slot.children = (change.box,)
        return change.begin()

    def put_away(self) -> None:
        self.slot.children = ()
        self.change = None

    def refresh(self) -> None:
        """The rows as they stand now; a change that is shown stays."""
        self.desk.safely(lambda: setattr(self.rows, "children", tuple(self.content())))

    def moment(self, text: str) -> str:
        """A moment of the records for a person."""
        if not text:
            return "no due time"
        term = self.desk.term or self.term  # as it was opened last: a screen tells many moments
        return self.wall(term.shown(clock.from_text(text)))

    def wall(self, shown: str) -> str:
        """A moment without the name of the term's zone, which is the same on every screen; other texts as they are."""
        return shown.removesuffix(f" {self.zone}")


class ModuleScreen(Screen):
    """A screen about one module that is assigned, which is chosen at its top."""

    nothing = "Nothing was handed out yet."

    def above(self) -> Sequence[ipywidgets.Widget]:
        keys = overview.assigned(self.term)
        if not keys:
            self.module = ""
            return [parts.heading(self.title, 2), parts.says(self.nothing)]
        kept = self.desk.place.get("module", "")
        self.module = kept if kept in keys else keys[0]
        field, box = parts.choice("Module", [(title_of(key), key) for key in keys], self.module)
        field.observe(self._chosen, "value")
        return [parts.heading(self.title, 2), box]

    def _chosen(self, change: Any) -> None:
        self.module = change["new"]
        self.desk.remember(module=self.module)
        self.put_away()
        self.refresh()


def title_of(module_key: str) -> str:
    """How a module is called on the desk."""
    return catalogue.module(module_key).title
