"""Making a term folder, or opening one that had a desk before."""

from __future__ import annotations

import re
import zoneinfo
from collections.abc import Sequence
from pathlib import Path

import ipywidgets

from grader import clock
from grader.desk import parts, start
from grader.desk.change import Done, Foreseen
from grader.desk.screen import Screen
from grader.records.gradebook import setup
from grader.records.term import term as terms
from grader.widgets import style


class NewTerm(Screen):
    """Shown where the folder is no term folder yet."""

    title = "A new class"

    def content(self) -> Sequence[ipywidgets.Widget]:
        folder = self.desk.folder
        self.name, name = parts.text_field("What people call this class", "", "Spring, class A")
        self.zone = ipywidgets.Combobox(
            value=clock.here(), options=sorted(zoneinfo.available_timezones()), layout=style.wide()
        )
        self.zone.add_class("tm-field")
        self.zone.add_class("tm-long")
        self.id, id_ = parts.text_field(
            "Short id: small letters, figures and hyphens; it never changes", _slug(folder.name)
        )
        self.folder, place = parts.text_field(
            "Folder that will hold all of it: a new one, on your own machine", str(folder)
        )
        rows: list[ipywidgets.Widget] = [
            parts.says(
                "One folder holds one class for one term: settings, class list, work handed in, marks. Nothing is made before "
                "you say so."
            ),
            name,
            id_,
            parts.labelled("Time zone of your clock", self.zone),
            place,
            parts.button("Make the class …", self._make, "tm-main"),
        ]
        before = [known for known in start.known() if known != folder]
        if before:
            rows.append(parts.heading("Or open a class that you had open before"))
            rows += [parts.button(str(known), lambda known=known: self._open(known)) for known in before[:12]]
        return rows

    def _open(self, folder: Path) -> None:
        self.desk.folder = folder
        self.desk.remember(screen="today")
        self.desk.open()

    def _make(self) -> None:
        title = self.name.value.strip() or self.id.value.strip()
        term_id, zone = self.id.value.strip(), self.zone.value.strip()
        folder = Path(self.folder.value.strip()).expanduser()

        def foresee(_progress) -> Foreseen:
            terms.check_new(folder, term_id=term_id, zone=zone)
            return Foreseen(
                [
                    f"The class “{title}” with the id {term_id} will be made in {folder}.",
                    f"Its clock is that of {zone}. Pass mark 60 %, a late day costs 10 % of the mark, two attempts; term.toml "
                    "in the folder says so and can be changed.",
                    "Keep that folder to yourself: names, marks and the key of everybody's numbers lie in it.",
                ]
            )

        def do(_reason, _progress) -> Done:
            made = setup.new_term(folder, term_id=term_id, title=title, zone=zone)
            return Done(
                [f"{made.settings.title} is ready."],
                shown=[parts.button("Go on: the class list", lambda: self._made(made.folder), "tm-main")],
            )

        self.propose("Make a class", foresee, do)

    def refresh(self) -> None:
        """The fields stay as they were typed."""

    def _made(self, folder: Path) -> None:
        self.desk.folder = folder
        self.desk.remember(screen="people")
        self.desk.open()


def _slug(name: str) -> str:
    return re.sub(r"[^a-z0-9_-]+", "-", name.lower()).strip("-_")[:63]


SCREEN = NewTerm
