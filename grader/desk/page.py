"""The desk as its page shows it: the screens, the way from one to the other, and where it stood when it was closed."""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import suppress
from html import escape
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

from grader import files
from grader.course.grading import agenda
from grader.desk import parts, start
from grader.errors import BadFile, TimingMarkError
from grader.records.term import term as terms
from grader.records.term.term import Term
from grader.widgets import style

if TYPE_CHECKING:
    from grader.desk.screen import Screen

PLACE = "place.json"
SCREENS = {  # name of the file in screens/ -> what stands on its button
    "today": "Today",
    "people": "Class",
    "hand_out": "Hand out",
    "inbox": "Inbox",
    "marks": "Marks",
    "read": "Read",
    "give_back": "Return",
    "next_lesson": "Next lesson",
    "workshop": "Workshop",
    "office": "Office",
}
OFFICE = ("today", "marks", "next_lesson", "office")  # what somebody sees who may look and change nothing
BEHIND = ("new_term", "vehicles")  # screens that another one leads to


def warm(home: str | Path) -> None:
    """Load what the first screen needs, while the browser still loads the page; nothing is written, nothing is told.

    Parameters
    ----------
    home : path
        Where the desk keeps its own things.
    """
    with suppress(Exception):  # whatever is wrong here is wrong again, and told, when the page asks
        noted = files.from_json(
            files.read_bytes(Path(home) / start.FOLDER, most=10_000, what="The desk"), what="The desk"
        )
        import_module("grader.desk.screens.today")
        agenda.agenda(terms.open_term(noted["folder"]))


class Desk:
    """One term on a page.

    Parameters
    ----------
    folder : path
        A term folder, or one that is to become one.
    home : path
        Where the desk keeps its own things, outside the term.
    office : bool
        For somebody who may look and export: the records refuse to be written, whatever is pressed.
    """

    def __init__(self, folder: str | Path, home: str | Path, *, office: bool = False) -> None:
        self.folder, self.home, self.office = Path(folder), Path(home), office
        self.screens = {name: label for name, label in SCREENS.items() if not office or name in OFFICE}
        self.place: dict[str, str] = self._read_place()
        self.term: Term | None = None
        self.screen: Screen | None = None
        self.notice = style.VBox([], layout=style.column())
        self.body = style.VBox([], layout=style.column())
        self.title = parts.html("", "tm-desk-title")
        self.nav = style.HBox([], layout=style.row())
        self.nav.add_class("tm-nav")
        self.box = style.VBox([self.title, self.nav, self.notice, self.body], layout=style.column())
        self.box.add_class("tm-desk")
        parts.guard_with(self.safely)
        self.open()

    def open(self) -> None:
        """Open the term where there is one, and the screen that was open last; else the page that makes a term."""
        if not self.office and not (self.folder / "term.toml").is_file():
            self.title.value = "<h1>Your desk</h1>"
            self.go("new_term")
            return
        try:
            self.term = terms.open_term(self.folder, read_only=self.office)
        except TimingMarkError as problem:
            self.title.value = "<h1>Your desk</h1>"
            self.say(str(problem))
            return
        only = ": the office, where nothing of the class can be changed" if self.office else ""
        self.title.value = f"<h1>{escape(self.term.settings.title + only)}</h1>"
        self.nav.children = tuple(
            parts.button(label, lambda name=name: self.go(name, person=""), f"tm-to-{name}")
            for name, label in self.screens.items()
        )
        self.go(self.place.get("screen", "office" if self.office else "today"))

    def load_rest(self) -> None:
        """Load the other screens while somebody looks at the first, so that no click waits for it."""

        def load() -> None:
            with suppress(Exception):  # told when that screen is opened
                for name in self.screens:
                    import_module(f"grader.desk.screens.{name}")

        threading.Thread(target=load, daemon=True).start()

    def go(self, name: str, **place: str) -> Screen | None:
        """Show a screen; `place` is where on it, such as the module."""
        if name not in self.screens and (self.office or name not in BEHIND):
            name = "office" if self.office else "today"
        self.place = {**self.place, **place, "screen": name}
        self.notice.children = ()
        for button, known in zip(self.nav.children, self.screens, strict=False):
            (button.add_class if known == name else button.remove_class)("tm-here")

        def shown() -> None:
            kind = import_module(f"grader.desk.screens.{name}").SCREEN
            before = self.body.children
            if kind.slow:
                self.body.children = (parts.says("One moment …"),)
            made = self.screen = kind(self)
            made.show()
            self.body.children = (made.box,)
            for old in before:
                parts.close(old)

        self.safely(shown)
        self._keep_place()
        return self.screen

    def safely(self, act: Callable[[], Any]) -> Any:
        """Do something that only looks; what went wrong is told on the page."""
        try:
            return act()
        except TimingMarkError as problem:
            self.say(str(problem))
        except OSError as problem:
            self.say(f"{problem.filename or 'The machine'}: {problem.strerror or problem}.")
        except Exception as fault:  # ipywidgets would lose it
            words = " ".join(str(fault).split())[:200]
            self.say(f"A fault of Timing Mark ({type(fault).__name__}: {words}). Nothing was changed.")
        return None

    def say(self, text: str, kind: str = "wrong") -> None:
        """A sentence above the screen."""
        told = parts.says(text, kind)
        told.add_class("tm-verdict")
        self.notice.children = (told,)

    @property
    def opened(self) -> Term:
        """The term, read afresh: its settings may have been changed beside the desk."""
        self.term = terms.open_term(self.folder, read_only=self.office)
        return self.term

    def _read_place(self) -> dict[str, str]:
        try:
            found = files.from_json(
                files.read_bytes(self.home / PLACE, most=10_000, what="The desk's place"), what="The desk's place"
            )
        except BadFile:
            return {}
        return (
            {str(key): value for key, value in found.items() if isinstance(value, str)}
            if isinstance(found, dict)
            else {}
        )

    def remember(self, **place: str) -> None:
        """Where the desk stands, for when it is opened again."""
        self.place = {**self.place, **place}
        self._keep_place()

    def _keep_place(self) -> None:
        if self.home.is_dir():
            files.write_text(self.home / PLACE, files.to_json(self.place), mode=files.PRIVATE)
