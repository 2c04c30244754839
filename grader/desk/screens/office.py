"""What leaves the term: tables, workbook, reports, evidence and packages for the coordinator, of one class or of several.

Whoever may look and change nothing has his files in a folder of his own; nothing is noted in the class then.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import ipywidgets

from grader import catalogue, clock, files
from grader.course.attempts import overview, policy_change
from grader.course.audit import deletion
from grader.desk import parts, start
from grader.desk.change import MUST_SAY, Change, Done, Foreseen, names
from grader.desk.parts import Cell, Column, Row
from grader.desk.screen import Screen, title_of
from grader.errors import Refused, TimingMarkError
from grader.pages import csv_file
from grader.records import exported
from grader.records.term import policy, policy_in_force, roster
from grader.records.term import term as terms
from grader.records.term.term import Term
from grader.reports.export import layout, package, workbook
from grader.reports.export.oneroster import programme, writer
from grader.reports.export.oneroster.check import checker
from grader.reports.export.pages import evidence, moderation, programme_report
from grader.reports.export.xapi import statements
from grader.reports.tables import scope
from grader.reports.tables.columns import SHAPES
from grader.widgets import style

_EVERYBODY = "*"  # no id of a trainee
_MOST_SHOWN = 200  # rows of what was sent
_MANNERS = (
    ("for another program", ("", ",")),
    ("for a spreadsheet, with commas", ("yes", ",")),
    ("for a spreadsheet, with semicolons and decimal commas", ("yes", ";")),
    ("for a spreadsheet, with tabs", ("yes", "tab")),
)
_PASSED = {"yes": "passed", "no": "not passed", "": "not decided"}

Write = Callable[[list[Term], bool, Path | None], Path | Sequence[Path]]


@dataclass(frozen=True, slots=True)
class Export:
    """A button that writes something: `write` takes the classes, whether codes stand for names, and a place or None."""

    label: str
    says: str
    write: Write
    warns: str = ""


class Office(Screen):
    """Each export is written into exports/ and noted in the ledger."""

    title = "Office"
    slow = True

    def above(self) -> Sequence[ipywidgets.Widget]:
        here = self.term.folder
        others = [folder for folder in start.known() if folder != here]
        self.classes = ipywidgets.SelectMultiple(
            options=[(_called(folder), folder) for folder in (here, *others)],
            value=(here,),
            rows=min(6, len(others) + 1),
            layout=style.wide(),
        )
        self.pseudonymous = style.Checkbox(
            description="Without names: codes in their place", indent=False, layout=style.wide()
        )
        self.centre, centre = parts.text_field("Name of the training centre, for the report and for packages")
        self.manner, manner = parts.choice("Tables are written", _MANNERS)
        self.table, table = parts.choice("One table", [(f"{key}: {shape.says}", key) for key, shape in SHAPES.items()])
        keys = overview.assigned(self.term)
        self.module, module = parts.choice("Module, for the moderator's sample", [(title_of(key), key) for key in keys])
        self.sample, sample = parts.text_field("How many sheets in the moderator's sample", str(moderation.SAMPLE))
        rows: list[ipywidgets.Widget] = [parts.heading(self.title, 2)]
        if others:
            rows.append(parts.labelled("Classes: hold Ctrl to choose several", self.classes))
        return [*rows, self.pseudonymous, centre, manner, table, *([module, sample] if keys else [])]

    # What can be written

    def _tables_and_pages(self) -> list[Export]:
        def how() -> csv_file.Manner:
            spreadsheet, separator = parts.chosen(self.manner)
            return csv_file.manner(spreadsheet=bool(spreadsheet), separator=separator)

        def one(opened: list[Term], blind: bool, place: Path | None) -> Path:
            name = parts.chosen(self.table)
            path = place / f"{name}.csv" if place else None
            return package.write(opened, name, path, how=how(), pseudonymous=blind).path

        def every(opened: list[Term], blind: bool, place: Path | None) -> list[Path]:
            written = package.write_all(opened, place, how=how(), pseudonymous=blind)
            return [table.path for table in written]

        def grades(opened: list[Term], blind: bool, place: Path | None) -> Path:
            path = place / "grades.csv" if place else None
            return package.write(opened, "grades", path, how=how(), pseudonymous=blind).path

        def book(opened: list[Term], blind: bool, place: Path | None) -> Path:
            return workbook.write(opened, place / "programme.xlsx" if place else None, pseudonymous=blind)

        def report(opened: list[Term], blind: bool, place: Path | None) -> Path:
            path = place / "programme.html" if place else None
            return programme_report.write(opened, path, centre=self.centre.value.strip(), pseudonymous=blind)

        def sample(opened: list[Term], blind: bool, place: Path | None) -> Path:
            key = parts.chosen(self.module)
            path = place / f"moderation-{key}.zip" if place else None
            return moderation.write(opened, key, path, sample=self._sample(), pseudonymous=blind)[0]

        found = [
            Export("Grades", "a table with a row for each trainee and module", grades),
            Export("One table", "the one chosen above", one),
            Export("All tables", "every table with its description, in one folder", every),
            Export("Workbook", "all tables as sheets of one workbook", book),
            Export("Programme report", "pass rates, trends and what asks for a decision, as a page", report),
            Export(
                "Evidence",
                "a page for each trainee, by objective; with names",
                lambda opened, _, place: evidence.write(opened, place),
            ),
        ]
        if self.module.options:
            found.append(Export("Moderator's sample", "some sheets of a module with marks and reasons", sample))
        return found

    def _packages(self) -> list[Export]:
        def listed(opened: list[Term]) -> programme.Programme | None:
            """The centre's name makes its ids at the receiver, so every package of a centre must carry it."""
            centre = self.centre.value.strip()
            folders = tuple(term.folder for term in opened)
            return programme.Programme(None, centre, programme.YEAR_STARTS, folders) if centre else None

        def part(opened: list[Term], blind: bool, _place: Path | None) -> Path:
            return writer.write(opened, programme=listed(opened), pseudonymous=blind)

        def whole(opened: list[Term], blind: bool, _place: Path | None) -> Path:
            named = listed(opened)
            if named is None:
                raise Refused("Write the name of the training centre above first; nothing was written.")
            return writer.write([], programme=named, bulk=True, pseudonymous=blind)

        return [
            Export(
                "OneRoster, these classes",
                "a OneRoster CSV 1.2.1 package that touches no other class at the receiver",
                part,
            ),
            Export(
                "OneRoster, the whole programme",
                "the same with all of the programme's classes, chosen above",
                whole,
                warns="The receiver deletes every class that is not in this package. Choose all classes of the programme first.",
            ),
            Export(
                "Statements",
                "xAPI statements for a record store; what changed since the last ones is voided there",
                lambda opened, blind, _: statements.write(opened, pseudonymous=blind).path,
            ),
        ]

    def _sample(self) -> int:
        text = self.sample.value.strip()
        return int(text) if text.isascii() and text.isdigit() and 0 < int(text) < 1000 else moderation.SAMPLE

    def content(self) -> Sequence[ipywidgets.Widget]:
        rows: list[ipywidgets.Widget] = [parts.heading("Tables and pages")]
        rows += [self._row(one) for one in self._tables_and_pages()]
        self.layout_drop = parts.Drop(
            "A layout of your own: drop its file, and the table is written by it",
            self.desk.home / "dropped",
            self._by_layout,
            several=False,
        )
        rows += [
            parts.labelled(self.layout_drop.label, self.layout_drop),
            parts.Save(
                "Save an explained layout to begin with", "registry.toml", lambda: layout.EXAMPLE.encode("utf-8")
            ),
            parts.heading("To other systems"),
        ]
        if self.desk.office:
            rows.append(
                parts.says(
                    "Packages and statements for other systems note in the class what the receiver knows, so the instructor's "
                    "desk writes them."
                )
            )
        else:
            rows += [self._row(one) for one in self._packages()]
        self.package_drop = parts.Drop(
            "A OneRoster package of anybody: drop it, and it is checked",
            self.desk.home / "dropped",
            self._check,
            several=False,
        )
        rows.append(parts.labelled(self.package_drop.label, self.package_drop))
        return [*rows, *self._policy(), *self._sent(), *([] if self.desk.office else self._deletion())]

    def _row(self, one: Export) -> ipywidgets.Widget:
        row = style.HBox(
            [parts.says(f"{one.label}: {one.says}."), parts.button(f"{one.label} …", lambda: self._export(one))],
            layout=style.row(),
        )
        row.add_class("tm-waits")
        return row

    def _export(self, one: Export) -> None:
        folders, blind = list(self.classes.value) or [self.term.folder], self.pseudonymous.value
        place = self.desk.home / "exports" if self.desk.office else None

        def foresee(_progress) -> Foreseen:
            opened = scope.open_to_read(folders, read_only=self.desk.office)
            titles = ", ".join(term.settings.title for term in opened)
            lines = [
                f"{one.label} of {titles} is written into {place or package.folder_for(opened, pseudonymous=blind)}.",
                "Codes stand in the place of names." if blind else "It holds names: whoever gets it may read them.",
                "Nothing is written into the class itself."
                if self.desk.office
                else "The ledger notes that it was made.",
            ]
            return Foreseen(
                lines,
                agree="The whole programme is chosen." if one.warns else "",
                warnings=[one.warns] * bool(one.warns),
            )

        def do(_reason, _progress) -> Done:
            if self.desk.office:
                opened = scope.open_to_read(folders, read_only=True)
            else:
                opened = scope.open_all(folders)
            return self._written(one.write(opened, blind, place))

        self.propose(one.label, foresee, do)

    def _written(self, written: Path | Sequence[Path]) -> Done:
        if isinstance(written, Path):
            shown: list[ipywidgets.Widget] = [parts.Save(f"Save {written.name}", written.name, written.read_bytes)]
            if written.suffix == ".html":
                shown.append(parts.Leaf(written.stem, written.read_bytes()))
            findings = (
                [str(one) for one in checker.check(written, complete=True)] if "oneroster" in written.name else []
            )
            return Done([f"Written: {written}"], findings, shown)
        if not written:
            return Done(["Nobody has a mark yet; nothing was written."])
        place = ", ".join(dict.fromkeys(str(path.parent) for path in written))
        return Done([f"Written: {len(written)} files in {place}."])

    def _by_layout(self, folder: Path) -> None:
        saved = next(path for path in sorted(folder.rglob("*")) if path.is_file())
        spreadsheet, separator = parts.chosen(self.manner)

        def write(opened: list[Term], _blind: bool, place: Path | None) -> Path:
            target = (place or package.folder_for(opened)) / f"{saved.stem}.csv"
            how = csv_file.manner(spreadsheet=bool(spreadsheet), separator=separator)
            return layout.write(opened, layout.read(saved), target, how).path

        self._export(Export(f"A table by {saved.name}", "", write))

    def _check(self, folder: Path) -> None:
        path = next(path for path in sorted(folder.rglob("*")) if path.is_file())

        def foresee(_progress) -> Foreseen:
            faults = checker.check(path)
            return Foreseen(
                [f"{path.name}: {len(faults) or 'no'} findings."], nothing=True, warnings=[str(one) for one in faults]
            )

        self.propose("Check a package", foresee, lambda _reason, _progress: Done())

    # What it takes to pass

    def _policy(self) -> list[ipywidgets.Widget]:
        term = self.term
        in_force = parts.listed(list(policy_in_force.lines(term)))
        path = term.folder / policy.NAME
        content = (
            files.read_bytes(path, most=policy.LARGEST_FILE, what="The policy")
            if path.exists()
            else policy.EXAMPLE.encode()
        )
        save = parts.Save("Save it as a file, to change more", policy.NAME, lambda: content)
        rows = [parts.heading("What it takes to pass"), in_force, save]
        self.policy_drop = parts.Drop(
            "Another policy: drop its file to see who would pass or fail differently",
            self.desk.home / "dropped",
            lambda folder: self.start(self._adopting(next(p for p in sorted(folder.rglob("*")) if p.is_file()))),
            several=False,
        )
        rows.append(parts.labelled(self.policy_drop.label, self.policy_drop))
        if not self.desk.office:
            rows += [
                parts.button("Change pass marks and objectives …", self._ask_policy),
                parts.button("Note that term.toml was changed …", self._note_settings),
            ]
        return rows

    def _ask_policy(self) -> None:
        """A form of what most classes change; weights stay in the file."""
        rules, known = self.term.policy, catalogue.objectives()
        self.pass_fields = {
            key: parts.text_field(f"{title_of(key)}: passed from, per cent", f"{rules.pass_percents.get(key, '')}")
            for key in overview.assigned(self.term)
        }
        self.threshold, threshold = parts.text_field("An objective is met from, per cent", str(rules.threshold))
        self.must = ipywidgets.SelectMultiple(
            options=[(f"{code}: {row['text']}", code) for code, row in known.items()],
            value=tuple(code for code in known if code in rules.must_pass),
            rows=8,
            layout=style.wide(),
        )
        form = style.VBox(
            [
                parts.heading("What it takes to pass"),
                parts.says(
                    f"An empty field leaves the pass mark of the class, {self.term.settings.pass_percent:g} %, to a module."
                ),
                *(box for _, box in self.pass_fields.values()),
                threshold,
                parts.labelled("Objectives that must be met, whatever the mark (hold Ctrl for several)", self.must),
                parts.button("See who would pass or fail differently …", self._propose_policy, "tm-main"),
            ],
            layout=style.column(),
        )
        form.add_class("tm-change")
        self.slot.children = (form,)

    def _propose_policy(self) -> None:
        marks = {key: field.value.strip().replace(",", ".") for key, (field, _) in self.pass_fields.items()}
        text = policy.written(self.term.policy, marks, self.threshold.value.strip(), self.must.value)
        path = Path(tempfile.mkdtemp(dir=self.desk.home, prefix="policy-")) / policy.NAME
        files.write_text(path, text, mode=files.PRIVATE)
        self.start(self._adopting(path))

    def _adopting(self, path: Path, undo: bool = True) -> Change:
        folders, office = list(self.classes.value) or [self.term.folder], self.desk.office

        def foresee(_progress) -> Foreseen:
            changes = policy_change.preview([terms.open_term(folder, read_only=office) for folder in folders], path)
            lines: list[str] = []
            rows = []
            for change in changes:
                title = change.term.settings.title
                lines += [f"{title}: this is in force already."] * change.same
                lines += [f"{title}, then: {line}" for line in change.then]
                for moved in change.moved:
                    was, would = (_PASSED[word] for word in (moved.before, moved.after))
                    person = moved.person
                    cells = [
                        Cell(title),
                        Cell(person.name),
                        Cell(title_of(moved.module)),
                        Cell(was),
                        Cell(would, "changed"),
                    ]
                    rows.append(Row(f"{change.term.id} {person.id} {moved.module}", cells))
            if not rows:
                lines.append("Nobody would pass or fail otherwise than now.")
            columns = [Column(key, key) for key in ("Class", "Name", "Module", "Now", "Then")]
            table = parts.Table("Who would pass or fail differently", columns, rows)
            same = all(change.same for change in changes)
            if office:
                lines.append("The instructor's desk puts a policy in force.")
            return Foreseen(lines, [table] if rows else [], nothing=same or office, reason=MUST_SAY)

        def do(reason, _progress) -> Done:
            opened = [terms.open_term(folder) for folder in folders]
            before = self._in_force(opened[0])
            new = policy_in_force.adopt(opened, path, reason=reason)
            back = self._adopting(before, undo=False) if undo and len(opened) == 1 else None
            return Done([f"In force now in {', '.join(term.settings.title for term in new)}."], undo=back)

        return Change("Put a policy in force", foresee, do)

    def _in_force(self, term: Term) -> Path:
        """A copy of the policy that stands; where none does, of one that changes nothing."""
        path = Path(tempfile.mkdtemp(dir=self.desk.home, prefix="policy-")) / policy.NAME
        stands = term.folder / policy.NAME
        content = (
            files.read_bytes(stands, most=policy.LARGEST_FILE, what="The policy")
            if stands.exists()
            else policy.EXAMPLE.encode()
        )
        files.write_bytes(path, content, mode=files.PRIVATE)
        return path

    def _note_settings(self) -> None:
        term = self.term

        def foresee(_progress) -> Foreseen:
            lines = ["The ledger notes the settings that term.toml says now, and why they were changed."]
            return Foreseen([*lines, *policy_in_force.lines(term)], reason=MUST_SAY)

        def do(reason, _progress) -> Done:
            policy_in_force.note_settings([term], reason=reason)
            return Done(["The settings are noted."])

        self.propose("Note changed settings", foresee, do)

    # What was sent, and what goes

    def _sent(self) -> list[ipywidgets.Widget]:
        term = self.term
        sent = scope.exports(term)
        rows = [
            Row(str(number), [Cell(self.wall(term.shown(clock.from_text(at))), order=at), Cell(what), Cell(actor)])
            for number, (at, actor, what) in enumerate(sent[:_MOST_SHOWN])
        ]
        columns = (Column("a", "When"), Column("w", "What"), Column("b", "By whom"))
        shown: list[ipywidgets.Widget] = [
            parts.heading("What was sent"),
            parts.Table(
                "Exports that the ledger notes, the last first", columns, rows, empty="Nothing was exported yet."
            ),
            parts.says(f"They lie in {term.folder / 'exports'} unless the list below names another place."),
        ]
        elsewhere = exported.places(term)
        if elsewhere:
            shown.append(parts.listed([str(path) for path in elsewhere], "Files about this class that lie elsewhere"))
        until, passed = scope.retention(term)
        shown.append(
            parts.says(
                f"Records are kept until {until}, {term.settings.retention_years} years after the term."
                + (" That day has passed: delete the class, or say why not." if passed else ""),
                "wrong" if passed else "",
            )
        )
        return shown

    def _deletion(self) -> list[ipywidgets.Widget]:
        people = [(f"{one.name} ({one.college_id})", one.id) for one in roster.listed(self.term)]
        self.person, person = parts.choice(
            "Delete for good", [("nobody", ""), *people, ("everybody in this class", _EVERYBODY)]
        )
        self.elsewhere = style.Checkbox(
            value=True, description="Also files elsewhere that name them", indent=False, layout=style.wide()
        )
        act = parts.button("See what would be deleted …", self._delete)
        return [parts.heading("Delete"), person, self.elsewhere, act]

    def _delete(self) -> None:
        chosen, elsewhere = parts.chosen(self.person), self.elsewhere.value
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
            what = "and goes too" if elsewhere else "and stays"
            outside = [f"This file elsewhere names them, {what}: {path}" for path in doomed.elsewhere]
            typed = term.id if everybody else doomed.people[0].college_id
            return Foreseen(lines, nothing=not doomed.people, reason=MUST_SAY, typed=typed, warnings=outside)

        def do(reason, _progress) -> Done:
            if everybody:
                gone = deletion.delete_class(term, reason=reason, elsewhere=elsewhere)
            else:
                gone = deletion.delete_person(term, trainee, reason=reason, elsewhere=elsewhere)
            lines = [f"{gone.people} deleted: {gone.files} files, {gone.ledger_rows} ledger rows emptied.",
                     "Copies of the folder elsewhere are yours to delete."]  # fmt: skip
            return Done(lines, [str(line) for line in gone.findings])

        self.propose("Delete for good", foresee, do)


def _called(folder: Path) -> str:
    """A class by its title and its folder; one that cannot be opened by its folder alone."""
    try:
        return f"{terms.open_term(folder, read_only=True).settings.title}, {folder}"
    except TimingMarkError:
        return str(folder)


SCREEN = Office
