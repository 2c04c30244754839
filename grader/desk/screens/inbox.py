"""What comes back: dropped files and those of the inbox folder, looked at first, taken then."""

from __future__ import annotations

import os
import shutil
from collections.abc import Mapping, Sequence
from datetime import datetime
from html import escape
from pathlib import Path

import ipywidgets

from grader import clock
from grader.course.attempts import overview
from grader.course.attempts.standing import Whom
from grader.course.grading import received
from grader.course.submissions import collect
from grader.course.submissions.collect import Collected, Taken
from grader.desk import parts
from grader.desk.change import MUST_SAY, Change, Done, Foreseen
from grader.desk.parts import Cell, Column, Row
from grader.desk.screen import Screen, title_of
from grader.records import finding, first_seen
from grader.records.finding import Finding
from grader.records.term import dates, roster
from grader.reports.tables.grades import hundredths
from grader.widgets import style

_EVERYBODY = "*"  # no id of a trainee
_COLUMNS = (
    Column("name", "Name"),
    Column("module", "Module"),
    Column("receipt", "Receipt", says="As the lesson showed it to the trainee"),
    Column("at", "Came in"),
    Column("late", "On time or late"),
    Column("file", "File"),
)


class Inbox(Screen):
    """Nothing is taken before its late list is confirmed."""

    title = "Inbox"

    def content(self) -> Sequence[ipywidgets.Widget]:
        term = self.term
        folder = term.folder / "inbox"
        self.came = parts.Moment("They came in (leave empty for now)", hour=None)
        self.drop = parts.Drop(
            "Drop what came back: files, zips, zips of zips, a whole folder as a zip",
            self.desk.home / "dropped",
            self._dropped,
        )
        rows: list[ipywidgets.Widget] = [
            self.came.box,
            parts.labelled(self.drop.label, self.drop),
            parts.html(
                f"<p>Or put files into <code>{escape(str(folder))}</code>, under any names, and look there.</p>"
            ),
            parts.button("Look into the inbox folder …", self._look, "tm-look"),
            parts.button("Look into nbgrader's exchange …", self._exchange),
        ]
        waiting = received.waiting(term)
        if waiting:
            rows.append(parts.heading("You must decide about these"))
            rows += [self._decision(person_id, name, module, one) for person_id, name, module, one in waiting]
        return [*rows, *self._times()]

    def _times(self) -> list[ipywidgets.Widget]:
        """Where a time at which work came in is said to have been another."""
        modules = overview.assigned(self.term)
        if not modules:
            return []
        self.module, module = parts.choice("Module", [(title_of(key), key) for key in modules])
        people = [(f"{one.name} ({one.college_id})", one.id) for one in roster.listed(self.term)]
        self.whose, whose = parts.choice("Whose", [*people, ("everybody's last hand-in", _EVERYBODY)])
        self.really = parts.Moment(f"It really came in, by the clock of {self.zone}")
        act = parts.button("See what correcting it does …", self._correct)
        return [parts.heading("A time that is wrong"), module, whose, self.really.box, act]

    def _correct(self) -> None:
        if not self.really.text:
            self.desk.say("Choose the day first; nothing was changed.")
            return
        chosen = parts.chosen(self.whose)
        ids = () if chosen == _EVERYBODY else (chosen,)
        self.start(self._correcting(parts.chosen(self.module), {self.really.text: ids}))

    def _correcting(self, module: str, times: Mapping[str, tuple[str, ...]], undo: bool = True) -> Change:
        """`times` are moments, each with the ids of those whose work came then; no ids: everybody's."""
        term = self.term

        def correct(reason: str, preview: bool) -> list[received.Corrected]:
            found = []
            for at, ids in times.items():
                whom = Whom(ids, everybody=not ids)
                found += received.correct(term, module, whom, at=at, reason=reason, preview=preview)
            return found

        def foresee(_progress) -> Foreseen:
            lines = [
                f"{one.person.name}: came in {self.moment(one.now)}, before that it said {self.moment(one.before)}."
                for one in correct("", True)
            ]
            lines.append("What lateness costs is computed afresh.")
            return Foreseen(lines, reason=MUST_SAY)

        def do(reason, _progress) -> Done:
            found = correct(reason, False)
            lines = [
                f"{one.person.name}: came in {self.moment(one.now)}."
                + ("" if one.mark is None else f" The module's mark is now {hundredths(one.mark)}.")
                for one in found
            ]
            before: dict[str, tuple[str, ...]] = {}
            for one in found:
                at = clock.from_text(one.before).isoformat()
                before[at] = (*before.get(at, ()), one.person.id)
            return Done(lines, undo=self._correcting(module, before, undo=False) if undo else None)

        return Change(f"When work of {title_of(module)} came in", foresee, do)

    def _decision(self, person_id: str, name: str, module: str, one: received.HandIn) -> ipywidgets.Widget:
        text = f"{name}, {title_of(module)}: {one.source}, came {self.moment(one.received_at)}. {one.words}"
        row = style.HBox(
            [
                parts.says(text),
                parts.button(
                    "Let it count …", lambda: self.start(self._deciding(person_id, name, module, one.number, True))
                ),
                parts.button(
                    "Set it aside …", lambda: self.start(self._deciding(person_id, name, module, one.number, False))
                ),
            ],
            layout=style.row(),
        )
        row.add_class("tm-waits")
        return row

    def _deciding(self, person_id: str, name: str, module: str, number: int, accept: bool, undo: bool = True) -> Change:
        term = self.term
        what = "counts" if accept else "is set aside and does not count"

        def foresee(_progress) -> Foreseen:
            _, found = received.listed(term, person_id, module)
            lines = [f"The hand-in {number} of {name} in {title_of(module)} {what}. It stays kept either way."]
            lines += [
                f"{one.number}. attempt {one.attempt}, came {self.moment(one.received_at)}, {one.source}"
                + (": counts now." if one.counts else ".")
                for one in found
            ]
            return Foreseen(lines, reason=MUST_SAY)

        def do(reason, _progress) -> Done:
            done = received.decide(term, person_id, module, accept=accept, reason=reason, number=number)
            mark = "" if done.mark is None else f" The module's mark is now {hundredths(done.mark)}."
            back = self._deciding(person_id, name, module, number, not accept, undo=False) if undo else None
            return Done([f"{name}: the hand-in {what}.{mark}"], undo=back)

        return Change("Let it count" if accept else "Set it aside", foresee, do)

    def _dropped(self, folder: Path) -> None:
        """What was dropped came at this moment or when it was dropped first, unless somebody says when it really did."""
        term, typed = self.term, self.came.text
        first_seen.look(folder, term.id, term.key)
        moment = self.desk.safely(lambda: dates.arrival(term, typed)) if typed else None
        if typed and moment is None:
            return
        self.start(self._taking(folder, moment))

    def _look(self) -> None:
        typed = self.came.text
        moment = self.desk.safely(lambda: dates.arrival(self.term, typed)) if typed else None
        if typed and moment is None:
            return
        self.start(self._taking(None, moment))

    def _taking(self, dropped: Path | None, moment: datetime | None) -> Change:
        term = self.term

        def foresee(progress) -> Foreseen:
            many: list[collect.ManyLate] = []
            found = collect.collect(
                term,
                [dropped] if dropped else (),
                received_at=moment,
                confirm=lambda late: not many.append(late),
                preview=True,
                progress=progress,
            )
            agree = ""
            if found.late:
                days = "; ".join(f"{one.person.name} ({one.late_days} d, {one.cost})" for one in found.late[:8])
                more = f"; and {len(found.late) - 8} more" if len(found.late) > 8 else ""
                agree = f"Take them as late: {days}{more}."
            return Foreseen(
                [_summary(found)],
                [*([self._table(found.sheets)] if found.sheets else []), *self._to_look_at(found.findings)],
                nothing=not found.taken and not (dropped and found.findings),
                agree=agree,
                warnings=[*map(str, many), *map(str, found.findings), *found.notes],
            )

        def do(_reason, progress) -> Done:
            roots: Sequence[Path] = ()
            if dropped is not None:
                roots = [_into_inbox(dropped, term.folder / "inbox")]
            found = collect.collect(term, roots, received_at=moment, progress=progress)
            modules = list(dict.fromkeys(one.module for one in found.sheets))
            leads = [
                parts.button(f"Mark {title_of(key)}", lambda key=key: self.desk.go("marks", module=key), "tm-main")
                for key in modules
            ]
            asking = self._to_look_at(found.findings)
            return Done([found.sentence(), *found.notes], [str(line) for line in found.findings], [*leads, *asking])

        return Change("Take what came back", foresee, do)

    def _to_look_at(self, findings: Sequence[str]) -> list[ipywidgets.Widget]:
        """For each file that cannot be used a text for whoever sent it, to be copied into a message; and the file put away."""
        shown: list[ipywidgets.Widget] = []
        for found in findings:
            if not isinstance(found, Finding) or found.kind not in (finding.UNREADABLE, finding.MISPLACED):
                continue
            text = (
                f"Your file “{found.subject}” came in and could not be used.\n{parts.plain(found.words)}\n"
                "Nothing is lost: open the lesson again, look whether your answers stand there, press “Hand in”, and send the "
                "file that it makes, just as it is."
            )
            shown.append(parts.Copy(f"Ask again for {found.subject}: a text to copy", text))
            if collect.in_inbox(self.term, found.subject) is not None:
                act = parts.button(f"Done with {found.subject} …", lambda where=found.subject: self._done_with(where))
                shown.append(act)
        return shown

    def _done_with(self, where: str) -> None:
        term = self.term

        def foresee(_progress) -> Foreseen:
            return Foreseen(
                [
                    f"{where} moves to the folder “taken” of the inbox. Nothing in it counts, and it is not looked at again."
                ]
            )

        def do(_reason, _progress) -> Done:
            lay, lies = collect.set_aside(term, where)

            def back(_reason, _progress) -> Done:
                collect.put_back(lies, lay)
                return Done([f"{where} lies in the inbox again."])

            undo = Change("Put it back", lambda _progress: Foreseen([f"{where} lies in the inbox again."]), back)
            return Done([f"{where} is put away."], undo=undo)

        self.start(Change(f"Done with {where}", foresee, do))

    def _exchange(self) -> None:
        term = self.term

        def foresee(_progress) -> Foreseen:
            return Foreseen(
                ["Every hand-in that lies in nbgrader's exchange is taken, with the time that the exchange gave it."]
            )

        def do(_reason, _progress) -> Done:
            found = collect.collect_exchange(term)
            return Done([found.sentence(), *found.notes], [str(line) for line in found.findings])

        self.propose("Take what lies in the exchange", foresee, do)

    def _table(self, sheets: Sequence[Taken]) -> parts.Table:
        rows = [
            Row(str(number), [
                Cell(one.person.name),
                Cell(title_of(one.module) + (f", attempt {one.attempt}" if one.attempt > 1 else "")),
                Cell(one.receipt),
                Cell(f"{self.moment(one.received_at)}, by {one.by}", order=one.received_at),
                Cell(_late(one), tone="late" if one.late_days else "waits" if one.waits else "right", order=one.late_days),
                Cell(one.where),
            ])
            for number, one in enumerate(sheets)
        ]  # fmt: skip
        return parts.Table("What would be taken", _COLUMNS, rows)


def _late(one: Taken) -> str:
    said = f"{one.late_days} day{'' if one.late_days == 1 else 's'} late: {one.cost}" if one.late_days else "on time"
    return f"{said}; waits for your decision" if one.waits else said


def _summary(found: Collected) -> str:
    known = f", {found.known} known before" if found.known else ""
    look = f", {len(found.findings)} to look at" if found.findings else ""
    return (
        f"{found.taken} would be taken{known}{look}." if found.taken or found.known or look else "Nothing lies there."
    )


def _into_inbox(dropped: Path, inbox: Path) -> Path:
    """Put what was dropped into the inbox folder, where all that came back lies; nothing there is replaced."""
    stamp = clock.to_text(clock.now())[:19].replace(":", "")
    number, target = 1, inbox / f"dropped {stamp}"
    while target.exists():
        number += 1
        target = inbox / f"dropped {stamp} {number}"
    try:
        os.replace(dropped, target)
    except OSError:  # the term lies on another disk
        shutil.copytree(dropped, target)
        shutil.rmtree(dropped, ignore_errors=True)
    return target


SCREEN = Inbox
