"""What leaves the term: tables, workbook, reports and evidence for the coordinator, of one class or of several."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import ipywidgets

from grader.course.attempts import overview
from grader.course.audit import deletion
from grader.desk import parts, start
from grader.desk.change import MUST_SAY, Done, Foreseen, names
from grader.desk.screen import Screen, title_of
from grader.records.term import policy_in_force, roster
from grader.records.term import term as terms
from grader.reports.export import package, workbook
from grader.reports.export.pages import evidence, moderation, programme_report
from grader.reports.tables import scope
from grader.widgets import style

_EVERYBODY = "*"  # no id of a trainee


class Office(Screen):
    """Each export is written into exports/ and noted in the ledger."""

    title = "Office"

    def above(self) -> Sequence[ipywidgets.Widget]:
        here = self.term.folder
        others = [folder for folder in start.known() if folder != here]
        self.classes = ipywidgets.SelectMultiple(
            options=[(str(folder), folder) for folder in (here, *others)],
            value=(here,),
            rows=min(6, len(others) + 1),
            layout=style.wide(),
        )
        self.pseudonymous = style.Checkbox(
            description="Without names: codes in their place", indent=False, layout=style.wide()
        )
        self.centre, centre = parts.text_field("Name of the training centre, for the programme report")
        keys = overview.assigned(self.term)
        self.module, module = parts.choice("Module, for the moderator's sample", [(title_of(key), key) for key in keys])
        rows: list[ipywidgets.Widget] = [parts.heading(self.title, 2)]
        if others:
            rows.append(parts.labelled("Classes: hold Ctrl to choose several", self.classes))
        return [*rows, self.pseudonymous] + ([centre, module] if keys else [centre])

    def content(self) -> Sequence[ipywidgets.Widget]:
        acts: list[tuple[str, str, Callable[[list, bool], Path | list[Path]]]] = [
            ("Grades", "a table with a row for each trainee and module", lambda opened, blind: package.write(opened, "grades", pseudonymous=blind).path),
            ("All tables", "every table with its description, in one folder", lambda opened, blind: [one.path for one in package.write_all(opened, pseudonymous=blind)]),
            ("Workbook", "all tables as sheets of one workbook", lambda opened, blind: workbook.write(opened, pseudonymous=blind)),
            ("Programme report", "pass rates, trends and what asks for a decision, as a page", lambda opened, blind: programme_report.write(opened, centre=self.centre.value.strip(), pseudonymous=blind)),
            ("Evidence", "a page for each trainee, by objective; with names", lambda opened, _: evidence.write(opened)),
        ]  # fmt: skip
        if self.module.options:
            acts.append(
                ("Moderator's sample", "some sheets of a module with marks and reasons",
                 lambda opened, blind: moderation.write(opened, parts.chosen(self.module), pseudonymous=blind)[0])
            )  # fmt: skip
        rows: list[ipywidgets.Widget] = []
        for label, words, write in acts:
            row = style.HBox(
                [parts.says(f"{label}: {words}."), parts.button(f"{label} …", lambda label=label, write=write: self._export(label, write))],
                layout=style.row(),
            )  # fmt: skip
            row.add_class("tm-waits")
            rows.append(row)
        rows.append(parts.button("Note that term.toml was changed …", self._note_settings))
        people = [(f"{one.name} ({one.college_id})", one.id) for one in roster.listed(self.term)]
        self.person, person = parts.choice(
            "Delete for good", [("nobody", ""), *people, ("everybody in this class", _EVERYBODY)]
        )
        rows += [person, parts.button("See what would be deleted …", self._delete)]
        until, passed = scope.retention(self.term)
        return [
            *rows,
            parts.listed(list(policy_in_force.lines(self.term)), "What it takes to pass"),
            parts.says(
                f"Records are kept until {until}."
                + (" That day has passed: delete the class, or say why not." if passed else ""),
                "wrong" if passed else "",
            ),
        ]

    def _note_settings(self) -> None:
        term = self.term

        def foresee(_progress) -> Foreseen:
            lines = ["The ledger notes the settings that term.toml says now, and why they were changed."]
            return Foreseen([*lines, *policy_in_force.lines(term)], reason=MUST_SAY)

        def do(reason, _progress) -> Done:
            policy_in_force.note_settings([term], reason=reason)
            return Done(["The settings are noted."])

        self.propose("Note changed settings", foresee, do)

    def _delete(self) -> None:
        chosen = parts.chosen(self.person)
        if not chosen:
            self.desk.say("Nobody is chosen. Choose a person, or everybody; nothing was changed.")
            return
        term, everybody = self.term, chosen == _EVERYBODY
        trainee = "" if everybody else chosen

        def foresee(_progress) -> Foreseen:
            doomed = deletion.preview(term, trainee)
            named = names([f"{one.name} ({one.college_id})" for one in doomed.people], 6)
            lines = [
                f"Deleted for good: {named}; {doomed.hand_ins} hand-ins, {doomed.files} files removed or rewritten.",
                "Every export and report of the class goes too, and can be made again. This cannot be undone.",
            ]
            elsewhere = [f"This file elsewhere names them, and goes too: {path}" for path in doomed.elsewhere]
            typed = term.id if everybody else doomed.people[0].college_id
            return Foreseen(lines, nothing=not doomed.people, reason=MUST_SAY, typed=typed, warnings=elsewhere)

        def do(reason, _progress) -> Done:
            if everybody:
                gone = deletion.delete_class(term, reason=reason, elsewhere=True)
            else:
                gone = deletion.delete_person(term, trainee, reason=reason, elsewhere=True)
            lines = [f"{gone.people} deleted: {gone.files} files, {gone.ledger_rows} ledger rows emptied.",
                     "Copies of the folder elsewhere are yours to delete."]  # fmt: skip
            return Done(lines, [str(line) for line in gone.findings])

        self.propose("Delete for good", foresee, do)

    def _export(self, label: str, write: Callable[[list, bool], Path | list[Path]]) -> None:
        folders, blind = list(self.classes.value) or [self.term.folder], self.pseudonymous.value

        def foresee(_progress) -> Foreseen:
            opened = [terms.open_term(folder) for folder in folders]
            titles = ", ".join(one.settings.title for one in opened)
            lines = [
                f"{label} of {titles} is written into {package.folder_for(opened)}.",
                "Codes stand in the place of names." if blind else "It holds names: whoever gets it may read them.",
                "The ledger notes that it was made.",
            ]
            return Foreseen(lines)

        def do(_reason, _progress) -> Done:
            written = write(scope.open_all(folders), blind)
            if isinstance(written, Path):
                return Done(
                    [f"Written: {written}"],
                    shown=[parts.Save(f"Save {written.name}", written.name, written.read_bytes)],
                )
            place = ", ".join(dict.fromkeys(str(path.parent) for path in written))
            return Done(
                [
                    f"Written: {len(written)} files in {place}."
                    if written
                    else "Nobody has a mark yet; nothing was written."
                ]
            )

        self.propose(label, foresee, do)


SCREEN = Office
