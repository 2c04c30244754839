"""Handing out a module, and correcting what was handed out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import ipywidgets

from grader import catalogue, clock
from grader.course.attempts.standing import Whom
from grader.course.grading import agenda, due_time
from grader.course.grading.agenda import ModuleState
from grader.course.issue import assign, channels
from grader.course.vehicles import store
from grader.desk import parts
from grader.desk.change import MAY_SAY, MUST_SAY, Change, Done, Foreseen, names
from grader.desk.parts import Cell, Column, Row
from grader.desk.screen import Screen, title_of
from grader.exercise.model import ASSESSED, PRACTICE
from grader.records.term import roster
from grader.widgets import style

WAYS = (
    ("a zip for each person", channels.ZIPS),
    ("one folder for a machine that all share", channels.FOLDER),
    ("nbgrader's exchange", channels.EXCHANGE),
    ("sheets to print", channels.PAPER),
)
ALL, GROUP, SOME = "all", "group", "some"


class HandOut(Screen):
    """Own numbers for everybody, a due time, and one file that holds all."""

    title = "Hand out"
    slow = True
    states: Sequence[ModuleState] = ()

    def above(self) -> Sequence[ipywidgets.Widget]:
        term = self.term
        people = [one for one in roster.listed(term) if one.status == roster.ENROLLED]
        groups = sorted({one.group for one in people} - {""})
        self.states, _ = agenda.agenda(term)
        states = self.states
        out = {one.key for one in states if not one.withdrawn}
        modules = [
            (f"{found.title}{' (handed out)' if key in out else ''}", key)
            for key, found in catalogue.all_modules().items()
        ]
        first = next((key for _, key in modules if key not in out), modules[0][1])
        self.module, module = parts.choice("Module", modules, first)
        whom = [("everybody", ALL), *([("a group", GROUP)] if groups else []), ("some people", SOME)]
        self.whom, to = parts.choice("For", whom)
        self.group, self.group_box = parts.choice("Group", [(one, one) for one in groups])
        self.some = ipywidgets.SelectMultiple(
            options=[(f"{one.name} ({one.college_id})", one.id) for one in people], rows=8, layout=style.wide()
        )
        self.some_box = parts.labelled("People: hold Ctrl to choose several", self.some)
        self.mode, mode = parts.choice(
            "As", [("assessed work", ASSESSED), ("practice, which nobody passes or fails", PRACTICE)]
        )
        self.due = parts.Moment(f"Due, by the clock of {term.settings.zone}")
        self.way, way = parts.choice("How it reaches them", WAYS)
        own = [one.key for one in store.listed(term)]
        self.own = ipywidgets.SelectMultiple(options=own, rows=min(4, len(own) or 1), layout=style.wide())
        self.whom.observe(self._whom_changed, "value")
        self.form = style.VBox([], layout=style.column())
        self.fields = [module, to, mode, self.due.box, way]
        self.vehicles = (
            [parts.labelled("Draw from your own vehicles (none chosen: the teaching vehicles)", self.own)]
            if own
            else []
        )
        self.go = parts.button("See what will happen …", self._assign, "tm-main")
        self._whom_changed(None)
        self.form.add_class("tm-form")
        return [parts.heading(self.title, 2), self.form]

    def _whom_changed(self, _change: Any) -> None:
        more = {GROUP: [self.group_box], SOME: [self.some_box]}.get(parts.chosen(self.whom), [])
        self.form.children = (*self.fields[:2], *more, *self.fields[2:], *self.vehicles, self.go)

    def content(self) -> Sequence[ipywidgets.Widget]:
        states, self.states = (
            self.states or agenda.agenda(self.term)[0],
            [],
        )  # looked at above, where all is shown afresh
        if not states:
            return []
        return [parts.heading("What is out"), *(self._out(one) for one in states)]

    def _out(self, one: ModuleState) -> ipywidgets.Widget:
        due = "practice" if one.mode == PRACTICE else self.moment(one.due)
        row: list[ipywidgets.Widget] = [parts.says(
            f"{one.title}: {'taken back' if one.withdrawn else f'{one.people} have numbers, {one.came} handed in; {due}'}."
        )]  # fmt: skip
        if not one.withdrawn:
            row += [
                parts.Save(
                    "Save one zip with a folder for each person",
                    f"{self.term.id}-{one.key}-hand-outs.zip",
                    lambda: assign.packed_for_all(self.term, one.key),
                ),
                parts.button("Sheets to print …", lambda: self._print(one.key), says=f"Sheets to print of {one.title}"),
                parts.button(
                    "Move the due time …", lambda: self._ask_due(one), says=f"Move the due time of {one.title}"
                ),
                parts.button("Take it back …", lambda: self._withdraw(one.key), says=f"Take back {one.title}"),
            ]
        box = style.HBox(row, layout=style.row())
        box.add_class("tm-waits")
        return box

    def _assign(self) -> None:
        self.desk.notice.children = ()
        term, module = self.term, parts.chosen(self.module)
        wanted: dict[str, Any] = {
            "due": self.due.text,
            "mode": self.mode.value,
            "group": self.group.value if self.whom.value == GROUP else "",
            "trainees": tuple(self.some.value) if self.whom.value == SOME else (),
            "way": self.way.value,
            "own": tuple(self.own.value),
        }
        if self.whom.value == SOME and not self.some.value:
            self.desk.say("Nobody is chosen. Choose people in the list, or hand out to everybody.")
            return

        def foresee(_progress) -> Foreseen:
            done = assign.assign(term, module, **wanted, preview=True)
            until = term.shown(clock.from_text(done.due)) if done.due else "without a due time"
            lines = [
                f"{title_of(module)} goes out as {done.mode} work, due {until}."
                if done.due
                else f"{title_of(module)} goes out as {done.mode} work, {until}.",
                f"{len(done.issued_to)} get numbers of their own"
                + (f": {names([one.name for one in done.issued_to])}." if done.issued_to else "."),
            ]
            if done.had_them:
                lines.append(f"{done.had_them} have theirs already and keep them.")
            return Foreseen(lines, warnings=done.notes)

        def do(_reason, progress) -> Done:
            done = assign.assign(term, module, **wanted, progress=progress)
            shown: list[ipywidgets.Widget] = []
            if done.way == channels.ZIPS:
                shown.append(
                    parts.Save(
                        "Save one zip with a folder for each person",
                        f"{term.id}-{module}-hand-outs.zip",
                        lambda: assign.packed_for_all(term, module),
                    )
                )
            if done.way == channels.PAPER:
                to_print = channels.print_sheets(term, module, one_file=True)[-1]
                shown.append(
                    parts.Save(
                        "Save all sheets to print as one file", f"{term.id}-{module}-to-print.html", to_print.read_bytes
                    )
                )
            lines = [
                f"{title_of(module)} is out: {len(done.issued_to)} have numbers of their own. It lies in {done.folder}."
            ]
            if done.way == channels.ZIPS:
                lines.append(
                    f"Each person gets the zip in his folder and opens it with: timing-mark study {module}.zip"
                )
            undo = None if done.had_them else self._taking_back(module)
            return Done(lines, done.notes, shown, undo)

        self.propose(f"Hand out {title_of(module)}", foresee, do)

    def _taking_back(self, module: str) -> Change:
        term = self.term

        def foresee(_progress) -> Foreseen:
            found = due_time.withdraw(term, module, preview=True)
            lines = [
                f"{title_of(module)} is taken back for all. {found.issued} had numbers, {found.handed_in} had handed in.",
                "It counts nowhere then. To hand it out again brings the same numbers, the work and the marks back.",
            ]
            return Foreseen(lines, reason=MUST_SAY if found.handed_in else MAY_SAY)

        def do(reason, _progress) -> Done:
            found = due_time.withdraw(term, module, reason=reason)
            return Done(
                [f"{title_of(module)} is taken back."], [note[0].upper() + note[1:] + "." for note in found.notes]
            )

        return Change(f"Take back {title_of(module)}", foresee, do)

    def _withdraw(self, module: str) -> None:
        self.start(self._taking_back(module))

    def _print(self, module: str) -> None:
        term = self.term

        def foresee(_progress) -> Foreseen:
            return Foreseen(
                [
                    f"A sheet on paper is made for everybody who has numbers of {title_of(module)}, and one file of all to print.",
                    "The records note that they went out on paper too.",
                ]
            )

        def do(_reason, _progress) -> Done:
            written = channels.print_sheets(term, module, one_file=True)
            save = parts.Save(
                "Save all sheets to print as one file", f"{term.id}-{module}-to-print.html", written[-1].read_bytes
            )
            return Done([f"{len(written) - 1} sheets are made: {written[-1]}."], shown=[save])

        self.propose(f"Sheets to print of {title_of(module)}", foresee, do)

    def _ask_due(self, one: ModuleState) -> None:
        moment = parts.Moment(f"New due time of {one.title}, by the clock of {self.term.settings.zone}")
        form = style.VBox(
            [
                parts.heading(f"Move the due time of {one.title}"),
                moment.box,
                parts.button("See what moving it does …", lambda: self._move(one.key, moment.text), "tm-main"),
            ],
            layout=style.column(),
        )
        form.add_class("tm-change")
        self.slot.children = (form,)
        self.asked = moment

    def _move(self, module: str, due: str) -> None:
        if not due:
            self.desk.say("Choose a day first; nothing was changed.")
            return
        self.start(self._moving(module, due))

    def _moving(self, module: str, due: str, undo: bool = True) -> Change:
        term = self.term
        everybody = Whom(everybody=True)

        def foresee(_progress) -> Foreseen:
            found = due_time.change_due(term, module, due, everybody, preview=True)
            was = "; ".join(self.moment(before) for before in found.before) or "no due time"
            lines = [
                f"{title_of(module)} is due {self.moment(found.due)} for {len(found.people)}; before: {was}.",
                f"{found.handed_in} of them have handed in. What lateness costs them is computed afresh.",
            ]
            table = parts.Table("For whom", (Column("n", "Name"), Column("i", "Id")), [
                Row(one.id, [Cell(one.name), Cell(one.college_id)]) for one in found.people
            ])  # fmt: skip
            return Foreseen(lines, [table], reason=MUST_SAY if found.handed_in else MAY_SAY)

        def do(reason, progress) -> Done:
            found = due_time.change_due(term, module, due, everybody, reason=reason)
            back = None
            if undo and len(found.before) == 1 and found.before[0]:
                back = self._moving(module, clock.from_text(found.before[0]).isoformat(), undo=False)
            return Done(
                [f"{title_of(module)} is due {self.moment(found.due)} for {len(found.people)}. Hand it out again where a file "
                 "shows the old time."],
                [note[0].upper() + note[1:] + "." for note in found.notes],
                undo=back,
            )  # fmt: skip

        return Change(f"Move the due time of {title_of(module)}", foresee, do)


SCREEN = HandOut
