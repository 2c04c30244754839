"""Work on real vehicles that somebody saw, tick by tick; and the way to the class's own vehicles."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets

from grader import catalogue
from grader.course.grading import observations
from grader.course.grading.observations import Seen
from grader.course.vehicles import store
from grader.desk import parts
from grader.desk.change import MUST_SAY, Change, Done, Foreseen, names
from grader.desk.parts import Cell, Column, Row
from grader.desk.screen import Screen, title_of
from grader.records import witnessed
from grader.records.term import roster
from grader.widgets import style

# What a tap makes of a cell.
_NEXT = {"": witnessed.SATISFACTORY, witnessed.SATISFACTORY: witnessed.NOT_YET, witnessed.NOT_YET: ""}


class Workshop(Screen):
    """What was seen stands in a grid of trainees and objectives; ticks are recorded together, or none of them."""

    title = "Workshop"
    slow = True

    def above(self) -> Sequence[ipywidgets.Widget]:
        self.ticks: dict[tuple[str, str], str] = {}
        known = catalogue.objectives()
        modules = list(dict.fromkeys(row["module"] for row in known.values()))
        self.module, module = parts.choice("Objectives of", [(title_of(key), key) for key in modules])
        self.module.observe(lambda _: self.desk.safely(self._show_grid), "value")
        self.vehicle, vehicle = parts.text_field("On which vehicle, in a few words", "", "blue van")
        self.day = parts.Moment("Seen on", hour=None)
        self.seen_by, seen_by = parts.text_field("Who saw it")
        self.note, note = parts.text_field("Anything to remember")
        form = style.VBox(
            [vehicle, parts.labelled("Seen on: day", self.day.day_field), seen_by, note, module], layout=style.column()
        )
        form.add_class("tm-form")
        caution = "Work on a vehicle needs supervision, the vehicle's service manual and local rules."
        return [
            parts.heading(self.title, 2),
            parts.says(caution),
            parts.says(
                "Say what, when and who; then tap the cells of those who did it: once for satisfactory, twice for not yet."
            ),
            form,
        ]

    def content(self) -> Sequence[ipywidgets.Widget]:
        self.people = [one for one in roster.listed(self.term) if one.status == roster.ENROLLED]
        self.tasks = observations.listed(self.term, "")
        own = [stored.own.vehicle.title for stored in store.listed(self.term)]
        vehicles = style.HBox(
            [
                parts.says(f"Own vehicles: {'; '.join(own) or 'none yet'}."),
                parts.button("Vehicles of your own", lambda: self.desk.go("vehicles")),
            ],
            layout=style.row(),
        )
        if not self.people:
            return [parts.says("Nobody is enrolled yet."), vehicles]
        self.grid = style.VBox([], layout=style.column())
        self._show_grid()
        rows = [
            Row(str(task.id), [
                Cell(person.name), Cell(task.objective),
                Cell(task.result, "right" if task.result == witnessed.SATISFACTORY else "partly"),
                Cell(task.day), Cell(task.vehicle), Cell(task.seen_by),
                Cell(f"taken back: {task.withdrawn}") if task.withdrawn else Cell("Take back …", act=True, says=f"Take back task {task.id}"),
            ], "left" if task.withdrawn else "")
            for person, task in self.tasks
        ]  # fmt: skip
        columns = (Column("n", "Name"), Column("o", "Objective"), Column("r", "Result"), Column("d", "Day"),
                   Column("v", "Vehicle"), Column("s", "Seen by"), Column("w", "Taken back", sort=False))  # fmt: skip
        recorded = parts.Table("Seen on a real vehicle", columns, rows, empty="Nothing is recorded yet.",
                               opened=lambda task, _: self.start(self._taking_back([int(task)])))  # fmt: skip
        return [self.grid, recorded, vehicles]

    def _show_grid(self) -> None:
        """The grid of the objectives that are chosen; ticks that were made and not recorded stay."""
        known = catalogue.objectives()
        codes = [code for code, row in known.items() if row["module"] == parts.chosen(self.module)]
        columns = [
            Column("name", "Name"),
            *(Column(code, code, sort=False, says=known[code]["text"]) for code in codes),
        ]
        self.table = parts.Table("Tap what you saw", columns, self._rows(codes), opened=self._tap, large=True)
        self.codes = codes
        self.record = parts.button("", self._record, "tm-main", "tm-record")
        self._count()
        listed = parts.says("; ".join(f"{code} {known[code]['text']}" for code in codes) + ".")
        self.grid.children = (self.table, self.record, listed)

    def _rows(self, codes: Sequence[str]) -> list[Row]:
        best: dict[tuple[str, str], witnessed.Task] = {}
        for person, task in self.tasks:
            if not task.withdrawn and (
                task.result == witnessed.SATISFACTORY or (person.id, task.objective) not in best
            ):
                best[person.id, task.objective] = task
        return [
            Row(one.id, [Cell(one.name), *(self._cell(one, code, best.get((one.id, code))) for code in codes)])
            for one in self.people
        ]

    def _cell(self, one: roster.Trainee, code: str, task: witnessed.Task | None) -> Cell:
        tick = self.ticks.get((one.id, code), "")
        stands = f"{task.result}, {task.day}" if task else "nothing recorded"
        says = f"{one.name}, {code}: {stands}" + (f"; ticked, not recorded yet: {tick}" if tick else "")
        if tick:
            return Cell(tick, "new", True, says, news=True)
        if task:
            return Cell(task.day, "right" if task.result == witnessed.SATISFACTORY else "partly", True, says)
        return Cell("·", act=True, says=says)

    def _tap(self, trainee: str, code: str) -> None:
        tick = _NEXT[self.ticks.get((trainee, code), "")]
        if tick:
            self.ticks[trainee, code] = tick
        else:
            self.ticks.pop((trainee, code), None)
        self.table.show(self._rows(self.codes))
        self._count()

    def _count(self) -> None:
        count = len(self.ticks)
        self.record.description = f"Record {count} tick{'' if count == 1 else 's'} …"

    def _record(self) -> None:
        self.desk.notice.children = ()
        if not self.ticks:
            self.desk.say("Nothing is ticked. Tap cells in the grid first; nothing was recorded.")
            return
        term, people = self.term, {one.id: one.name for one in self.people}
        rest = (self.vehicle.value, self.day.text, self.seen_by.value, self.note.value)
        seen = [Seen(trainee, code, result, *rest) for (trainee, code), result in self.ticks.items()]

        def foresee(_progress) -> Foreseen:
            observations.record_all(term, seen, preview=True)
            lines = []
            for code in dict.fromkeys(one.objective for one in seen):
                for result in witnessed.RESULTS:
                    who = [people[one.trainee] for one in seen if (one.objective, one.result) == (code, result)]
                    lines += [f"{code} {catalogue.objectives()[code]['text']}: {result}: {names(who)}."] if who else []
            lines.append(f"{rest[1]}, {rest[0]}, seen by {rest[2]}. It stands apart from the marks, in the evidence.")
            return Foreseen(lines)

        def do(_reason, _progress) -> Done:
            tasks = observations.record_all(term, seen)
            self.ticks.clear()
            return Done(
                [f"{len(tasks)} task{'' if len(tasks) == 1 else 's'} recorded."],
                undo=self._taking_back([task.id for _, task in tasks]),
            )

        self.propose("Record what was seen", foresee, do)

    def _taking_back(self, ids: Sequence[int]) -> Change:
        term = self.term

        def foresee(_progress) -> Foreseen:
            told = [
                f"{person.name}: {task.objective}, {task.day}"
                for person, task in observations.listed(term)
                if task.id in ids
            ]
            lines = [f"{names(told)}.", "It no longer counts, and stays in the records with the reason."]
            return Foreseen(lines, reason=MUST_SAY)

        def do(reason, _progress) -> Done:
            gone = observations.withdraw_all(term, ids, reason=reason)
            return Done([f"{person.name} ({task.objective}, {task.day}) no longer counts." for person, task in gone])

        return Change("Take back a task" if len(ids) == 1 else f"Take back {len(ids)} tasks", foresee, do)


SCREEN = Workshop
