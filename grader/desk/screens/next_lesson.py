"""The class report on the page: what went wrong most, what to say, and who needs the instructor."""

from __future__ import annotations

from collections.abc import Sequence

import ipywidgets

from grader.desk import parts
from grader.desk.screen import ModuleScreen, title_of
from grader.desk.words import plain_page
from grader.reports.feedback import class_report


class NextLesson(ModuleScreen):
    """Only looks: the page is made afresh each time."""

    title = "Next lesson"
    slow = True

    def content(self) -> Sequence[ipywidgets.Widget]:
        if not self.module:
            return []
        term, module = self.term, self.module
        ((_, written),) = class_report.pages([term], module)
        page = plain_page(written)
        return [
            parts.button("Somebody sits again: choose on the marks", lambda: self.desk.go("marks", module=module)),
            parts.Save("Save this report, to print", f"{term.id}-{module}-report.html", lambda: page),
            parts.Leaf(f"Class report: {title_of(module)}", page),
        ]


SCREEN = NextLesson
