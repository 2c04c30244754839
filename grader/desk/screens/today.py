"""The first screen: how far each module has come, and what waits."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import ipywidgets

from grader import clock
from grader.course.grading import agenda
from grader.course.grading.agenda import ModuleState, Waits
from grader.desk import parts
from grader.desk.change import Done, Foreseen
from grader.desk.screen import Screen, title_of
from grader.records import database
from grader.records.term import roster
from grader.records.term import term as terms
from grader.widgets import style

_LEADS = {
    agenda.FILES: "inbox",
    agenda.DECIDE: "inbox",
    agenda.MARK: "marks",
    agenda.READ: "read",
    agenda.RETURN: "give_back",
    agenda.EXTENDED: "marks",
}


class Today(Screen):
    """One card a module, and a list of what waits with a button each."""

    title = "Today"
    slow = True

    def content(self) -> Sequence[ipywidgets.Widget]:
        term = self.term
        if not database.current(term):
            old = parts.says("These records were made by an earlier version of the program.", "wrong")
            if self.desk.office:
                return [old, parts.says("The instructor's own desk brings the class up to this version.")]
            return [
                old,
                parts.button("Bring the class up to this version …", self._upgrade, "tm-main"),
            ]
        states, waits = agenda.agenda(term)
        people = [person for person in roster.listed(term) if person.status == roster.ENROLLED]
        if self.desk.office:
            shown = [parts.heading("Modules"), self._cards(states)]
            return shown if states else [parts.says("Nothing was handed out yet.")]
        rows: list[ipywidgets.Widget] = [parts.heading("What waits for you")]
        if not people:
            rows.append(self._lead("The class list is empty.", "Bring in the class list", "people", ""))
        elif not states:
            rows.append(self._lead("Nothing was handed out yet.", "Hand out a module", "hand_out", ""))
        rows += [self._waits(one) for one in waits]
        if people and states and not waits:
            rows.append(parts.says("Nothing waits. Hand out the next module when you like.", "right"))
        if states:
            rows += [parts.heading("Modules"), self._cards(states)]
        open_ = terms.open_to_others(term.folder)
        if open_:
            rows += [parts.says(open_[0], "wrong"), parts.button("Close the folder to others …", self._close)]
        place = self.desk.place
        proved = place.get("proved") or "The records were not checked on this desk yet."
        copied = place.get("copied") or "No copy was made on this desk yet: make one after each marking."
        rows += [
            parts.heading("Safe keeping"),
            parts.html(
                f"<p>{len(people)} enrolled. All of it lies in <code>{escape(str(term.folder))}</code>.</p>"
                f"<p>{escape(proved)}</p><p>{escape(copied)}</p>"
            ),
        ]
        self.second, second = parts.text_field(
            "A second safe place for a copy: a folder on another drive", place.get("second", ""), "/media/safe"
        )
        self.second.continuous_update = False
        acts = [parts.button("Check the records …", self._prove), parts.button("Copy the class there …", self._copy)]
        rows += [second, style.HBox(acts, layout=style.row())]
        return rows

    def _cards(self, states: Sequence[ModuleState]) -> ipywidgets.Widget:
        cards = style.HBox([self._card(one) for one in states], layout=style.row())
        cards.add_class("tm-cards")
        return cards

    def _copy(self) -> None:
        from grader.course.audit import copy as copies  # loads all that marking needs

        term, second = self.term, self.second.value.strip()
        if not second:
            self.desk.say("Name the folder first, such as a drive that you keep somewhere else; nothing was copied.")
            return

        def foresee(_progress) -> Foreseen:
            lines = [
                f"All of {term.folder} is copied into a new folder in {second}, and the copy is checked as the records are.",
                "Copies that lie there already stay. It holds names and marks: keep it as safely as the class itself.",
            ]
            return Foreseen(lines)

        def do(_reason, _progress) -> Done:
            target, proved = copies.copy(term, second)
            at = self.moment(clock.to_text(clock.now()))
            agrees = "and the copy agrees" if not proved.findings else "and the copy has findings"
            self.desk.remember(copied=f"Last copied {at} to {target}, {agrees}.", second=second)
            return Done([f"Copied to {target}.", proved.summary], [str(line) for line in proved.findings])

        self.propose("Copy the class", foresee, do)

    def _waits(self, one: Waits) -> ipywidgets.Widget:
        where = f" in {title_of(one.module)}" if one.module else ""
        return self._lead(f"{one.says}{where}.", "Go there", _LEADS[one.what], one.module)

    def _lead(self, text: str, label: str, screen: str, module: str) -> ipywidgets.Widget:
        place = {"module": module} if module else {}
        go = parts.button(label, lambda: self.desk.go(screen, **place), f"tm-lead-{screen}", says=f"{label}: {text}")
        row = style.HBox([parts.html(f"<p>{escape(text[0].upper() + text[1:])}</p>"), go], layout=style.row())
        row.add_class("tm-waits")
        return row

    def _card(self, one: ModuleState) -> ipywidgets.Widget:
        due = "practice" if one.mode == "practice" else f"due {self.moment(one.due)}" if one.due else "no due time"
        facts = [
            ("in", one.came, one.people),
            ("marked", one.came - one.to_mark, one.came),
            ("returned", one.returned, one.read_all),
        ]
        lines = "".join(
            f"<li>{'✓' if done >= of and of else '◐' if done else '–'} {done} of {of} {word}</li>"
            for word, done, of in facts
        )
        if one.to_read:
            lines += f"<li>… {one.to_read} written answers to read</li>"
        if one.mode != "practice" and one.read_all:
            lines += f"<li>{one.passed} of {one.read_all} passed</li>"
        if one.withdrawn:
            lines = f"<li>taken back: {escape(one.withdrawn)}</li>"
        card = style.VBox(
            [
                parts.html(f"<h4>{escape(one.title)}</h4><p>{escape(due)}</p><ul>{lines}</ul>"),
                parts.button("Marks", lambda: self.desk.go("marks", module=one.key), says=f"Marks of {one.title}"),
            ],
            layout=style.layout(),
        )
        card.add_class("tm-card")
        return card

    def _close(self) -> None:
        folder = self.term.folder

        def do(_reason, _progress) -> Done:
            terms.close(folder)
            return Done(["The folder is closed to other people on this machine."])

        lines = [f"Other people on this machine will not be able to look into {folder}."]
        self.propose("Close the folder", lambda _progress: Foreseen(lines), do)

    def _upgrade(self) -> None:
        term = self.term

        def do(_reason, _progress) -> Done:
            _, copy = database.upgrade(term)
            return Done(["The class is of this version now."], [f"The old records: {copy}"] if copy else [])

        lines = ["The records are copied first, then brought up to this version. No mark changes by it."]
        self.propose("Bring the class up", lambda _progress: Foreseen(lines), do)

    def _prove(self) -> None:
        from grader.course.audit import verify  # loads all that marking needs, which the first screen does not wait for

        term = self.term

        def foresee(_progress) -> Foreseen:
            return Foreseen(
                [
                    "Everything is marked again from the kept hand-ins and compared with records, ledger and returned pages. "
                    "Nothing is changed; with a large class it takes a while."
                ]
            )

        def do(_reason, _progress) -> Done:
            proved = verify.verify(term)
            if not proved.findings:
                self.desk.remember(proved=f"Records last checked {self.moment(clock.to_text(clock.now()))}: all agree.")
            return Done([proved.summary], [str(line) for line in proved.findings])

        self.propose("Check the records", foresee, do)


SCREEN = Today
