"""The class's own vehicles: a form with a check beside each field, and the store of those that are whole."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

import ipywidgets

from grader.course.issue import vehicle_choice
from grader.course.vehicles import store, template
from grader.course.vehicles.fields import COUNT, CURVE, FIELDS, ONE_OF, Field, read_figure
from grader.course.vehicles.read import MOST_POINTS, known_as, read_one
from grader.desk import parts
from grader.desk.change import Done, Foreseen
from grader.desk.parts import Cell, Column, Row
from grader.desk.screen import Screen
from grader.errors import Unreadable
from grader.reports.export.pages import vehicle_sheet
from grader.vehicle import plausible, spec
from grader.widgets import style

_GROUPS = {
    "": "The vehicle",
    "source": "Where the figures are from",
    "engine": "Engine",
    "points": "Breaker points",
    "timing": "Ignition timing",
    "advance": "Advance",
}


class Vehicles(Screen):
    """What is typed is kept as a file at every step, so that nothing is lost; it counts once it is stored."""

    title = "Vehicles of your own"

    def content(self) -> Sequence[ipywidgets.Widget]:
        rows = [
            Row(one.key, [
                Cell(one.own.vehicle.title, act=True, says=f"The sheet of {one.own.vehicle.title}"), Cell(one.key),
                Cell(str(one.revision)), Cell(f"{one.own.manual}, {one.own.page}"), Cell("Change …", act=True, says=f"Change {one.own.vehicle.title}"),
            ])
            for one in store.listed(self.term)
        ]  # fmt: skip
        columns = (
            Column("t", "Vehicle"),
            Column("k", "Key"),
            Column("r", "Revision"),
            Column("s", "Source"),
            Column("c", "Change", sort=False),
        )
        self.table = parts.Table("Stored", columns, rows, opened=self._opened, empty="No vehicle is stored yet.")
        self.key, key = parts.text_field(
            "A short key for another one: small letters, figures and hyphens", "", "hall-engine"
        )
        begun = sorted(path.stem for path in (self.term.folder / store.FOLDER).glob("*.toml"))
        like = [("an invented example", ""), *((vehicle.title, name) for name, vehicle in spec.vehicles().items())]
        self.like, like_box = parts.choice("Begin with the figures of", like)
        self.behind = style.VBox([], layout=style.column())
        rows_: list[ipywidgets.Widget] = [
            parts.button("← Workshop", lambda: self.desk.go("workshop")),
            parts.says(template.SAFETY),
            self.table,
            key,
            like_box,
            parts.button("Enter it …", self._begin, "tm-main"),
        ]
        if begun:
            self.begun, begun_box = parts.choice("Or go on with one that was begun", [(name, name) for name in begun])
            rows_ += [begun_box, parts.button("Go on …", lambda: self._form(parts.chosen(self.begun)))]
        return [*rows_, self.behind]

    def _opened(self, key: str, column: str) -> None:
        if column == "c":
            self._form(key)
            return
        revisions = store.one(self.term, key)
        page = vehicle_sheet.page(self.term, revisions)
        self.behind.children = (
            parts.Save("Save this sheet, to print", f"vehicle_{key}.html", lambda: page),
            parts.Leaf(revisions[-1].own.vehicle.title, page),
        )

    def _begin(self) -> None:
        term, key, like = self.term, self.key.value.strip(), parts.chosen(self.like)

        def foresee(_progress) -> Foreseen:
            path = store.path_of(term, key)
            if path.exists():
                return Foreseen([f"{path.name} was begun already. Go on with it below."], nothing=True)
            lines = [
                f"A file for {key} is made, with figures of another vehicle in every field: put those of the manual in."
            ]
            return Foreseen(lines)

        def do(_reason, _progress) -> Done:
            store.new(term, key, like=like)
            return Done([f"{key} is begun."], shown=[parts.button("Fill it in", lambda: self._form(key), "tm-main")])

        self.propose("Enter a vehicle", foresee, do)

    # The form

    def _form(self, key: str) -> None:
        self.put_away()
        self.open_key = key
        _, before = store.begun(self.term, key)
        self.fields: dict[tuple[str, str], tuple[Any, ipywidgets.HTML]] = {}
        rows: list[ipywidgets.Widget] = [parts.heading(f"{key}: figures from the manual")]
        table = None
        for asked in FIELDS:
            if asked.table != table:
                table = asked.table
                rows.append(parts.heading(_GROUPS[table], 4))
            rows.append(self._field(asked, before.get((asked.table, asked.name))))
        rows += [
            parts.button("Check and store …", self._store, "tm-main"),
            parts.button("Keep what is typed, go on later …", self._keep),
        ]
        form = style.VBox(rows, layout=style.column())
        form.add_class("tm-change")
        self.behind.children = (form,)
        self._check_all()

    def _field(self, asked: Field, before: Any) -> ipywidgets.Widget:
        # What the help of the file says about its lines and quotes means nothing in a form.
        says = f"{asked.says} (may be empty)" if asked.optional else asked.says
        says += f" ({asked.help})" if asked.kind != COUNT and not asked.optional else ""
        if asked.kind in (ONE_OF, COUNT):
            options = [("", ""), *((str(option), str(option)) for option in asked.options)]
            field, box = parts.choice(says, options, str(before or ""))
        elif asked.kind == CURVE:
            lines = "\n".join(f"{one}; {two}" for one, two in before or ())
            field = style.Textarea(value=lines, rows=6, layout=style.wide())
            field.add_class("tm-field")
            field.add_class("tm-long")
            box = parts.labelled(f"{says}. One point a line, with a semicolon between", field)
        else:
            field, box = parts.text_field(says, str(before or ""))
        told = parts.html("", "tm-verdict")
        self.fields[asked.table, asked.name] = (field, told)
        field.observe(lambda _: self.desk.safely(self._check_all), "value")
        return style.VBox([box, told], layout=style.column())

    def _answers(self) -> dict[tuple[str, str], Any]:
        found: dict[tuple[str, str], Any] = {}
        for asked in FIELDS:
            value = str(self.fields[asked.table, asked.name][0].value).strip()
            if asked.kind == CURVE:
                points = [re.split(r"\s*;\s*", line.strip(), maxsplit=1) for line in value.splitlines() if line.strip()]
                found[asked.table, asked.name] = [(point[0], point[1] if len(point) > 1 else "") for point in points]
            elif value or not asked.optional:
                found[asked.table, asked.name] = value
        return found

    def _check_all(self) -> int:
        """Say beside each field how it was read or what is wrong; how many are wrong or empty."""
        answers, known, wrong = self._answers(), {}, 0
        judged: Sequence[plausible.Said] = ()
        for asked in FIELDS:
            told = self.fields[asked.table, asked.name][1]
            raw = answers.get((asked.table, asked.name))
            if raw is None:
                told.value = ""
                continue
            try:
                value, echo = _read(asked, raw, known)
            except Unreadable as problem:
                told.value = style.sentence(parts.plain(str(problem)), "wrong")
                wrong += 1
                continue
            known[known_as(asked)] = value
            before, judged = judged, plausible.judge(known)
            fresh = [remark for remark in judged if remark not in before]
            faults = [remark for remark in fresh if remark.fault]
            wrong += bool(faults)
            words = " ".join([f"Read as {echo}.", *(remark.sentence for remark in fresh)])
            told.value = style.sentence(words, "wrong" if faults else "")
        return wrong

    def _keep(self) -> None:
        term, key, answers = self.term, self.open_key, self._answers()

        def do(_reason, _progress) -> Done:
            store.keep(store.path_of(term, key), answers)
            return Done(
                [f"What you typed of {key} is kept. It is not stored yet, and nobody's numbers are drawn from it."]
            )

        lines = [
            f"What stands in the form is kept in {store.FOLDER}/{key}.toml; the file before it stays beside it as .bak."
        ]
        self.propose("Keep a vehicle", lambda _progress: Foreseen(lines), do)

    def _store(self) -> None:
        term, key, answers, wrong = self.term, self.open_key, self._answers(), self._check_all()
        if wrong:
            self.desk.say(f"{wrong} fields are wrong or empty; each says what to do. Nothing was stored.")
            return

        def foresee(_progress) -> Foreseen:
            lines = [
                f"{answers['', 'title']} is stored with its source, {answers['source', 'manual']}, {answers['source', 'page']}. "
                "A later change becomes a new revision.",
                "Compare every figure with the manual once more, best with a second person.",
            ]
            for revision, modules in vehicle_choice.modules_of(term, key).items():
                lines.append(f"{', '.join(modules)} went out with revision {revision} and keeps it.")
            return Foreseen(lines, agree="Every figure was compared with the manual.", warnings=[template.SAFETY])

        def do(_reason, _progress) -> Done:
            store.keep(store.path_of(term, key), answers)
            stored, found = store.add(term, key)
            self.behind.children = ()
            lines = [f"{stored.own.vehicle.title} is stored: {stored.line}. Choose it when you hand out a module."]
            return Done(lines, [remark for _, remark in found.remarks])

        self.propose("Store a vehicle", foresee, do)


def _read(asked: Field, raw: Any, known: Mapping[str, Any]) -> tuple[Any, str]:
    """(value, how it was read) of what stands in a field, by the reader of the file.

    Raises
    ------
    Unreadable
        With the sentence to show.
    """
    if asked.kind != CURVE:
        return read_one(asked, raw, known)
    if not raw or len(raw) > MOST_POINTS:
        raise Unreadable(f"{asked.says} has {len(raw)} points; 1 to {MOST_POINTS} are allowed, one a line.")
    assert asked.quantity is not None and asked.second is not None  # a curve has both
    values: list[tuple[float, ...]] = []
    for number, pair in enumerate(raw, 1):
        try:
            point = tuple(
                read_figure(quantity, text).value
                for quantity, text in zip((asked.quantity, asked.second), pair, strict=True)
            )
        except Unreadable as problem:
            raise Unreadable(f"Point {number}: {problem}") from None
        if values and (point[0] <= values[-1][0] or point[1] < values[-1][1]):
            raise Unreadable(f"Point {number}: the table must rise from point to point.")
        values.append(point)
    return tuple(values), "; ".join(
        f"{one:g} {asked.quantity.unit} → {two:g} {asked.second.unit}" for one, two in values
    )


SCREEN = Vehicles
