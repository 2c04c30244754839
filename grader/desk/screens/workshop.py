"""Work on real vehicles that somebody saw."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets

from grader import catalogue
from grader.course.grading import observations
from grader.desk import parts
from grader.desk.change import MUST_SAY, Change, Done, Foreseen
from grader.desk.parts import Cell, Column, Row
from grader.desk.screen import Screen
from grader.records import witnessed
from grader.records.term import roster
from grader.widgets import style


class Workshop(Screen):
    """A form for one task, and everything that is recorded."""

    title = "Workshop"

    def above(self) -> Sequence[ipywidgets.Widget]:
        people = [
            (f"{one.name} ({one.college_id})", one.id)
            for one in roster.listed(self.term)
            if one.status == roster.ENROLLED
        ]
        codes = [(f"{code}: {row['text']}", code) for code, row in catalogue.objectives().items()]
        self.person, person = parts.choice("Who", people)
        self.objective, objective = parts.choice("What he did, by objective", codes)
        self.result, result = parts.choice("Result", [("satisfactory", "satisfactory"), ("not yet", "not-yet")])
        self.vehicle, vehicle = parts.text_field("On which vehicle, in a few words", "", "blue van")
        self.day = parts.Moment("Seen on", hour=None)
        self.seen_by, seen_by = parts.text_field("Who saw it")
        self.note, note = parts.text_field("Anything to remember")
        form = style.VBox(
            [person, objective, result, vehicle, parts.labelled("Seen on: day", self.day.day_field), seen_by, note,
             parts.button("Record it …", self._record, "tm-main")],
            layout=style.column(),
        )  # fmt: skip
        form.add_class("tm-form")
        caution = "Work on a vehicle needs supervision, the vehicle's service manual and local rules."
        return [parts.heading(self.title, 2), parts.says(caution), form] if people else [
            parts.heading(self.title, 2), parts.says("Nobody is enrolled yet."),
        ]  # fmt: skip

    def content(self) -> Sequence[ipywidgets.Widget]:
        rows = [
            Row(str(task.id), [
                Cell(person.name), Cell(task.objective),
                Cell(task.result, "right" if task.result == witnessed.SATISFACTORY else "partly"),
                Cell(task.day), Cell(task.vehicle), Cell(task.seen_by),
                Cell(f"taken back: {task.withdrawn}") if task.withdrawn else Cell("Take back …", act=True, says=f"Take back task {task.id}"),
            ], "left" if task.withdrawn else "")
            for person, task in observations.listed(self.term, "")
        ]  # fmt: skip
        columns = (Column("n", "Name"), Column("o", "Objective"), Column("r", "Result"), Column("d", "Day"),
                   Column("v", "Vehicle"), Column("s", "Seen by"), Column("w", "", sort=False))  # fmt: skip
        return [
            parts.Table("Seen on a real vehicle", columns, rows, opened=lambda task, _: self.start(self._taking_back(int(task))),
                        empty="Nothing is recorded yet.")
        ]  # fmt: skip

    def _record(self) -> None:
        term = self.term
        seen = observations.Seen(
            parts.chosen(self.person),
            parts.chosen(self.objective),
            parts.chosen(self.result),
            self.vehicle.value,
            self.day.text,
            self.seen_by.value,
            self.note.value,
        )
        name = self.person.label

        def foresee(_progress) -> Foreseen:
            observations.record(term, seen, preview=True)
            return Foreseen(
                [
                    f"{name}: {seen.objective} {self.result.label}, {seen.on}, {seen.vehicle}, seen by {seen.seen_by}.",
                    "It stands apart from the marks, in the evidence.",
                ]
            )

        def do(_reason, _progress) -> Done:
            person, task = observations.record(term, seen)
            return Done([f"Task {task.id} of {person.name} is recorded."], undo=self._taking_back(task.id))

        self.propose("Record what was seen", foresee, do)

    def _taking_back(self, task_id: int) -> Change:
        term = self.term

        def foresee(_progress) -> Foreseen:
            return Foreseen(
                [f"Task {task_id} no longer counts; it stays in the records with the reason."], reason=MUST_SAY
            )

        def do(reason, _progress) -> Done:
            person, task = observations.withdraw(term, task_id, reason=reason)
            return Done([f"Task {task.id} of {person.name} ({task.objective}, {task.day}) no longer counts."])

        return Change("Take back a task", foresee, do)


SCREEN = Workshop
