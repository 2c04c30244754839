"""The first screen: how far each module has come, and what waits."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import ipywidgets

from grader import clock
from grader.course.audit import verify
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

    def content(self) -> Sequence[ipywidgets.Widget]:
        term = self.term
        if not database.current(term):
            return [
                parts.says("These records were made by an earlier version of the program.", "wrong"),
                parts.button("Bring the class up to this version …", self._upgrade, "tm-main"),
            ]
        states, waits = agenda.agenda(term)
        people = [person for person in roster.listed(term) if person.status == roster.ENROLLED]
        rows: list[ipywidgets.Widget] = [parts.heading("What waits for you")]
        if not people:
            rows.append(self._lead("The class list is empty.", "Bring in the class list", "people", ""))
        elif not states:
            rows.append(self._lead("Nothing was handed out yet.", "Hand out a module", "hand_out", ""))
        rows += [self._waits(one) for one in waits]
        if people and states and not waits:
            rows.append(parts.says("Nothing waits. Hand out the next module when you like.", "right"))
        if states:
            cards = style.HBox([self._card(one) for one in states], layout=style.row())
            cards.add_class("tm-cards")
            rows += [parts.heading("Modules"), cards]
        open_ = terms.open_to_others(term.folder)
        if open_:
            rows += [parts.says(open_[0], "wrong"), parts.button("Close the folder to others …", self._close)]
        rows.append(
            parts.html(
                f"<p>{len(people)} enrolled. All of it lies in <code>{escape(str(term.folder))}</code>: copy that folder to a "
                f"second safe place after each marking. {escape(self.desk.place.get('proved', ''))}</p>"
            )
        )
        rows.append(parts.button("Check the records …", self._prove))
        return rows

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
