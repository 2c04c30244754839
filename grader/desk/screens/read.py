"""Reading written answers, one at a time and without the name; each is kept at once."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Any

import ipywidgets

from grader.course.grading import written_answers
from grader.course.grading.written_answers import Answer
from grader.desk import parts
from grader.desk.screen import ModuleScreen
from grader.errors import TimingMarkError
from grader.widgets import style


class Read(ModuleScreen):
    """The answer on the left, what to look for on the right."""

    title = "Read"

    def content(self) -> Sequence[ipywidgets.Widget]:
        if not self.module:
            return []
        self.everything, box = parts.choice("Show", [("what waits", False), ("also what was read", True)], False)
        self.everything.observe(lambda _: self._load(), "value")
        self.page = style.VBox([], layout=style.column())
        self._load()
        return [box, self.page]

    def _load(self) -> None:
        self.at = 0
        self._look()
        self._show()

    def _look(self) -> None:
        """The answers as they stand now, and what was written to others of the same question."""
        self.written = written_answers.comments(self.term, self.module)
        self.answers = written_answers.answers(self.term, self.module, waiting_only=not self.everything.value)

    def _show(self, problem: str = "", said: str = "") -> None:
        if not self.answers:
            told = "Every written answer is read." if not self.everything.value else "There is no written answer."
            lead = parts.button("Give the work back", lambda: self.desk.go("give_back", module=self.module), "tm-main")
            self.page.children = (*([parts.says(said, "right")] if said else []), parts.says(told, "right"), lead)
            return
        answer = self.answers[self.at]
        self.points = [self._point(answer, place) for place in range(len(answer.rubric))]
        given = answer.given
        self.comment = style.Textarea(value=given.comment if given else "", rows=3, layout=style.wide())
        self.comment.add_class("tm-field")
        self.comment.add_class("tm-long")
        left = style.VBox([parts.html(_question(answer), "tm-letter")], layout=style.layout())
        right = style.VBox(
            [
                parts.heading("What to look for", 4),
                *(parts.labelled(f"{says} ({most:g})", field) for (says, most), field in zip(answer.rubric, self.points, strict=True)),
                self._saved_comments(answer),
                parts.labelled("Comment for the trainee", self.comment),
                style.HBox(
                    [
                        parts.button("Keep, next", self._keep, "tm-main", "tm-keep"),
                        parts.button("Back", lambda: self._step(-1)),
                        parts.button("Skip", lambda: self._step(1)),
                    ],
                    layout=style.row(),
                ),
                parts.html(f"<p><strong>A good answer.</strong> {escape(str(answer.model))}</p>"),
            ],
            layout=style.layout(),
        )  # fmt: skip
        left.add_class("tm-half")
        right.add_class("tm-half")
        above = [parts.heading(f"{self.at + 1} of {len(self.answers)}: {answer.code}")]
        if said:
            above.append(parts.says(said, "right"))
        if problem:
            above.append(parts.says(problem, "wrong"))
        both = style.HBox([left, right], layout=style.row())
        both.add_class("tm-both")
        self.page.children = (*above, both)

    @staticmethod
    def _point(answer: Answer, place: int) -> ipywidgets.RadioButtons:
        most = answer.rubric[place][1]
        steps = [half / 2 for half in range(int(2 * most), -1, -1)]
        had = answer.given.points[place] / 100 if answer.given else None
        if had is not None and had not in steps:
            steps = sorted({*steps, had}, reverse=True)
        field = style.RadioButtons(options=[(f"{step:g}", step) for step in steps], value=had, layout=style.wide())
        field.add_class("tm-sure")
        return field

    def _saved_comments(self, answer: Answer) -> ipywidgets.Widget:
        """Comments that were written to other answers of the same question, to choose one from."""
        written = self.written.get(answer.path, [])
        if not written:
            return parts.html("")
        field, box = parts.choice(
            "Take a comment that you wrote before", [("", ""), *((one[:80], one) for one in written)]
        )

        def taken(change: Any) -> None:
            if change["new"]:
                self.comment.value = change["new"]

        field.observe(taken, "value")
        return box

    def _step(self, by: int) -> None:
        self.at = (self.at + by) % len(self.answers)
        self._show()

    def _keep(self) -> None:
        answer = self.answers[self.at]
        points = ["" if field.value is None else f"{field.value:g}" for field in self.points]
        try:
            given = written_answers.give(self.term, self.module, answer.code, points, self.comment.value)
        except TimingMarkError as problem:
            typed, chosen = self.comment.value, [field.value for field in self.points]
            self._show(problem=str(problem))
            self.comment.value = typed
            for field, value in zip(self.points, chosen, strict=True):
                field.value = value
            return
        mark = "" if given.mark is None else f" The module's mark is now {given.mark / 100:g}."
        said = f"{answer.code} is kept.{mark}" if given.changed else f"{answer.code} had this before; nothing changed."
        at = self.at
        self._look()
        if self.everything.value:
            at += 1
        self.at = at % len(self.answers) if self.answers else 0
        self._show(said=said)


def _question(answer: Answer) -> str:
    lines = "".join(f"<p>{escape(str(line))}</p>" for line in answer.question)
    return f"{lines}<h4>The answer</h4><blockquote><bdi>{escape(answer.text)}</bdi></blockquote>"


SCREEN = Read
