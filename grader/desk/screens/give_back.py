"""Returning marked work: who gets a page and who does not, then one file that holds all."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets

from grader.course.attempts.kept import RETURNED
from grader.desk import parts
from grader.desk.change import MUST_SAY, Change, Done, Foreseen, names
from grader.desk.parts import Cell, Column, Row
from grader.desk.screen import ModuleScreen, title_of
from grader.records.term import roster
from grader.reports.feedback import return_run
from grader.widgets import style


class GiveBack(ModuleScreen):
    """Each page tells right answers: it goes out when nothing can come in any more."""

    title = "Return"

    def content(self) -> Sequence[ipywidgets.Widget]:
        if not self.module:
            return []
        self.partly = style.Checkbox(description="Also where written answers wait", indent=False, layout=style.wide())
        people = [(f"{one.name} ({one.college_id})", one.id) for one in roster.listed(self.term)]
        self.person, person = parts.choice("Look at the returned page of", [("", ""), *people])
        self.person.observe(lambda change: self.desk.safely(lambda: self._preview(change["new"])), "value")
        self.leaf = style.VBox([], layout=style.column())
        return [
            self.partly,
            parts.button("See who gets a page …", self._give_back, "tm-main"),
            parts.button("Returned by mistake: take pages back …", lambda: self.start(self._taking_back(self.module))),
            person,
            self.leaf,
        ]

    def _preview(self, trainee: str) -> None:
        self.leaf.children = ()
        if not trainee:
            return
        person = next(one for one in roster.listed(self.term) if one.id == trainee)
        page = return_run.page_of(self.term, self.module, trainee)
        name = f"{person.id}-{self.module}.html"
        self.leaf.children = (
            parts.says("This is how the page looks as things stand now; it need not be returned yet."),
            parts.Save("Save this page", name, lambda: page),
            parts.Leaf(f"Returned page of {person.name}", page),
        )

    def _give_back(self) -> None:
        term, module, partly = self.term, self.module, self.partly.value

        def foresee(progress) -> Foreseen:
            found = return_run.give_back(term, module, partly=partly, preview=True, progress=progress)
            rows = [
                Row(f"o{n}", [Cell("gets a page", "right"), Cell(who), Cell("")])
                for n, who in enumerate(found.going_out)
            ]
            for number, words in enumerate(found.left_out):
                who, _, why = words.partition(": ")
                rows.append(Row(f"l{number}", [Cell("stays", "waits"), Cell(who), Cell(parts.plain(why))]))
            table = parts.Table(
                "Who gets a page, and who does not",
                (Column("w", "What"), Column("n", "Name"), Column("y", "Why")),
                rows,
            )
            replaced = f", {found.replaced} of them in the place of an older page" if found.replaced else ""
            lines = [
                f"{found.written} pages go out{replaced}; {found.unchanged} are out and say the same; {len(found.left_out)} stay.",
                "A page tells the right answers: what comes in after it counts only with an extension.",
                *(f"With a penalty: {line}." for line in found.penalties),
            ]
            return Foreseen(
                lines,
                [table] if rows else [],
                nothing=not found.written,
                warnings=[str(line) for line in found.findings],
            )

        def do(_reason, progress) -> Done:
            found = return_run.give_back(term, module, partly=partly, one_file=True, progress=progress)
            print_file = found.one_file
            saves: list[ipywidgets.Widget] = [self._all(module)]
            if print_file is not None:
                saves.append(
                    parts.Save(
                        "Save all pages in one file, to print",
                        f"{term.id}-{module}-returned.html",
                        print_file.read_bytes,
                    )
                )
            saves.append(parts.button("Prepare the next lesson", lambda: self.desk.go("next_lesson", module=module)))
            back = self._taking_back(module, tuple(found.first_time)) if found.first_time else None
            return Done(
                [
                    f"{found.written} pages are written, {found.unchanged} were there. They lie in {term.folder / RETURNED}."
                ],
                [str(line) for line in found.findings],
                saves,
                back,
            )

        self.propose(f"Return {title_of(module)}", foresee, do)

    def _taking_back(self, module: str, trainees: tuple[str, ...] = ()) -> Change:
        term = self.term

        def foresee(_progress) -> Foreseen:
            found = return_run.take_back(term, module, trainees, reason="", preview=True)
            lines = [
                f"The pages of {len(found.done)} are taken back: {names([one.name for one in found.done])}.",
                "Do it only while nobody has seen his page: it tells the right answers. What comes in counts again then.",
            ]
            return Foreseen(lines, reason=MUST_SAY, warnings=[f"Left out: {words}" for words in found.left_out])

        def do(reason, _progress) -> Done:
            found = return_run.take_back(term, module, trainees, reason=reason)
            return Done(
                [f"{len(found.done)} pages are taken back. To return them again makes them anew."],
                [f"Left out: {words}" for words in found.left_out],
            )

        return Change(f"Take back the pages of {title_of(module)}", foresee, do)

    def _all(self, module: str) -> ipywidgets.Widget:
        return parts.Save(
            "Save one zip with a folder for each person",
            f"{self.term.id}-{module}-returned.zip",
            lambda: return_run.packed_for_all(self.term, module),
        )


SCREEN = GiveBack
