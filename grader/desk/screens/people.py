"""The class list: taking a new one, and everything about one person."""

from __future__ import annotations

import csv
import io
import shutil
from collections.abc import Sequence
from pathlib import Path

import ipywidgets

from grader.desk import parts
from grader.desk.change import Change, Done, Foreseen, names
from grader.desk.parts import Cell, Column, Row
from grader.desk.screen import Screen, title_of
from grader.records.term import roster
from grader.records.term.roster import Trainee
from grader.reports.tables import person as persons
from grader.reports.tables import wording
from grader.reports.tables.grades import hundredths

_COLUMNS = (Column("name", "Name"), Column("id", "Id"), Column("group", "Group"), Column("status", "Status"))
_CHANGES = (
    Column("what", "What"),
    Column("id", "Id"),
    Column("name", "Name"),
    Column("group", "Group"),
    Column("difference", "From what to what"),
)


class People(Screen):
    """Who is in the class."""

    title = "Class"

    def content(self) -> Sequence[ipywidgets.Widget]:
        person = self.desk.place.get("person", "")
        if person:
            return self._about(person)
        found = roster.listed(self.term)
        self.drop = parts.Drop(
            "A new class list: a table from your spreadsheet with id, last name, first name and perhaps group",
            self.desk.home / "dropped",
            self._dropped,
            several=False,
        )
        rows = [Row(one.id, self._cells(one), "left" if one.status == roster.WITHDRAWN else "") for one in found]
        self.table = parts.Table(
            "The class list", _COLUMNS, rows, opened=self._open, empty="Nobody yet. Drop a class list above."
        )
        return [parts.labelled(self.drop.label, self.drop), self.table]

    @staticmethod
    def _cells(one: Trainee) -> list[Cell]:
        left = one.status == roster.WITHDRAWN
        return [
            Cell(one.name, act=True, says=f"All about {one.name}"),
            Cell(one.college_id),
            Cell(one.group),
            Cell(one.status, tone="left" if left else ""),
        ]

    def _open(self, trainee: str, _column: str) -> None:
        self.desk.go("people", person=trainee)

    def _dropped(self, folder: Path) -> None:
        listed = next(path for path in sorted(folder.rglob("*")) if path.is_file())
        term = self.term

        def foresee(_progress) -> Foreseen:
            found = roster.import_list(term, listed, preview=True)
            rows = [Row(one.id, _row("left", one, "no longer listed")) for one in found.withdrawn]
            rows += [
                Row(now.id, _row("changed", now, "changed", roster.difference(was, now))) for was, now in found.changed
            ]
            rows += [Row(one.id, _row("new", one, "new")) for one in found.added]
            table = parts.Table("What this list changes", _CHANGES, rows)
            lines = [f"{listed.name}: {_counts(found)}."]
            if found.withdrawn:
                lines.append("Whoever is no longer listed becomes withdrawn. Work and marks stay; nobody is deleted.")
            if not rows:
                lines.append("It says the same as the class list that is stored.")
            return Foreseen(
                lines,
                [table] if rows else [],
                nothing=not rows,
                agree="I looked at this, and the list is right." if found.doubts else "",
                warnings=[*found.doubts, *(note[0].upper() + note[1:] + "." for note in found.notes)],
            )

        def do(_reason, _progress) -> Done:
            before = [one for one in roster.listed(term) if one.status == roster.ENROLLED]
            found = roster.import_list(term, listed, confirmed=True)
            shutil.rmtree(folder, ignore_errors=True)
            lead = parts.button("Hand out a module", lambda: self.desk.go("hand_out"))
            back = self._putting_back(before) if before else None
            return Done([f"The class list is stored: {_counts(found)}."], shown=[lead], undo=back)

        self.propose("Take this class list", foresee, do)

    def _putting_back(self, before: Sequence[Trainee]) -> Change:
        """The list as it stood: taken like any other, so that who came with the new one is withdrawn and not deleted."""
        term = self.term
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow(("id", "last_name", "first_name", "group"))
        writer.writerows((one.college_id, one.last_name, one.first_name, one.group) for one in before)
        listed = parts.keep(self.desk.home / "dropped", [("list-as-before.csv", text.getvalue().encode())])
        path = next(listed.iterdir())

        def foresee(_progress) -> Foreseen:
            found = roster.import_list(term, path, preview=True)
            lines = [f"The class list becomes what it was: {_counts(found)}."]
            if found.withdrawn:
                gone = names([one.name for one in found.withdrawn])
                lines.append(f"Withdrawn, not deleted: {gone}. To delete a person for good go to Office.")
            return Foreseen(lines)

        def do(_reason, _progress) -> Done:
            found = roster.import_list(term, path, confirmed=True)
            shutil.rmtree(listed, ignore_errors=True)
            return Done([f"The class list is as it was: {_counts(found)}."])

        return Change("Put the class list back", foresee, do)

    def _about(self, trainee: str) -> Sequence[ipywidgets.Widget]:
        term = self.term
        about = persons.about(term, trainee)
        person = about.person
        rows = [
            Row(one.module, [
                Cell(title_of(one.module), act=True, says=f"Marks of {title_of(one.module)}"),
                Cell(wording.result(term, one)),
                Cell(f"{hundredths(one.mark.mark)} of {hundredths(one.mark.most)}" if one.mark else ""),
                Cell(str(one.attempt or "")),
                Cell(self.moment(one.due)),
                Cell(self.moment(one.handed_in_at) if one.handed_in_at else ""),
            ])
            for one in about.standings
        ]  # fmt: skip
        modules = parts.Table(
            f"Modules of {person.name}",
            (Column("m", "Module"), Column("s", "Result"), Column("k", "Mark"), Column("a", "Attempt"), Column("d", "Due"), Column("h", "Handed in")),
            rows,
            opened=lambda module, _: self.desk.go("marks", module=module, person=""),
        )  # fmt: skip
        changes = [
            Row(str(row.seq), [Cell(self.wall(row.at), order=row.seq), Cell(row.event), Cell(wording.module(row.module)),
                               Cell(f"{self.wall(row.old)} → {self.wall(row.new) or 'none'}" if row.old else self.wall(row.new)),
                               Cell(row.reason)])
            for row in reversed(about.changes)
        ]  # fmt: skip
        ledger = parts.Table(
            "What was done and decided",
            (
                Column("at", "When"),
                Column("e", "What"),
                Column("m", "Module"),
                Column("v", "Value"),
                Column("r", "Reason"),
            ),
            changes,
        )
        group = f", group {person.group}" if person.group else ""
        slips = [f"{title_of(module)}, {question}: {slip}" for module, question, slip in about.slips]
        seen = [
            f"{task.objective} {task.result}, {task.day}, {task.vehicle}"
            for task in about.witnessed
            if not task.withdrawn
        ]
        return [
            parts.button("← The class", lambda: self.desk.go("people", person="")),
            parts.heading(f"{person.name} ({person.college_id}{group}), {person.status}"),
            modules,
            parts.listed(slips, "Slips") if slips else parts.says("No slip is known."),
            parts.listed(seen, "Seen on a real vehicle")
            if seen
            else parts.says("Nothing was seen on a real vehicle yet."),
            ledger,
        ]


def _row(tone: str, one: Trainee, what: str, difference: str = "") -> list[Cell]:
    return [Cell(what, tone=tone), Cell(one.college_id), Cell(one.name), Cell(one.group), Cell(difference)]


def _counts(found: roster.Imported) -> str:
    return (
        f"{len(found.added)} new, {len(found.changed)} changed, {len(found.withdrawn)} no longer listed, "
        f"{len(found.unchanged)} as before"
    )


SCREEN = People
