"""The lesson as its notebook uses it: top, panels, forms, noting answers, marks."""

from __future__ import annotations

import sys
from importlib import import_module
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING
from weakref import WeakSet

from grader import catalogue
from grader.errors import Unknown
from grader.exercise.issued import KEPT
from grader.marking.mark import mark_sheet
from grader.widgets.answer_store import Store
from grader.widgets.people import being_executed, being_graded

if TYPE_CHECKING:
    from ipywidgets import HTML, VBox

_open = WeakSet()


class _Silent(float):
    """A number that shows nothing at the end of a cell."""

    def _ipython_display_(self):
        pass


def _in_kernel():
    """True in the kernel of a page, whose event loop goes on between two keys."""
    shell = sys.modules.get("IPython")
    shell = shell.get_ipython() if shell is not None else None
    return getattr(shell, "kernel", None) is not None and not being_executed()


class Lesson:
    """One module, opened in the folder of its notebook.

    Parameters
    ----------
    module_key : str
    folder : path or None
        None: where the notebook lies.
    """

    def __init__(self, module_key: str, folder: Path | str | None = None) -> None:
        self.module = catalogue.module(module_key)
        for older in tuple(_open):
            older.flush_or_keep()
        self.store = Store(self.module, folder, behind=_in_kernel())
        self._exercises = {exercise.key: exercise for exercise in self.module.exercises}
        self.forms, self.panels = {}, {}
        self.head = self.warm_up = None
        if not being_executed():
            self._take_over()

    def numbers(self, exercise_key: str) -> SimpleNamespace:
        """The trainee's own numbers of an exercise, as attributes."""
        self._exercise(exercise_key)
        return SimpleNamespace(**self.store.issue.numbers[exercise_key])

    def top(self) -> VBox | None:
        """Who works here, until when, how far he is; hand in. From the second lesson on the warm-up too."""
        if being_executed():
            return None
        from grader.widgets.lesson_header import SheetTop

        self.head = SheetTop(self.store)
        if self.module.key == catalogue.keys()[0]:
            return self.head.box
        from grader.widgets import style
        from grader.widgets.warm_up import WarmUp

        self.warm_up = WarmUp(self.store, _open.add)
        return style.VBox([self.head.box, self.warm_up.box], layout=style.column())

    def panel(self, name: str) -> VBox | None:
        """A picture with sliders, such as "total_advance"."""
        if being_executed():  # marking needs no pictures, and a word on stderr would cost the marks
            return None
        makers = import_module(f"grader.widgets.panels.{self.module.key}").PANELS
        if name not in makers:
            raise Unknown(f"{self.module.key} has no panel {name!r}; it has {', '.join(makers)}.")
        self.panels[name] = makers[name]()
        return self.panels[name].box

    def show(self, exercise_key: str) -> VBox | HTML | None:
        """The form of an exercise: the task with the trainee's own numbers, and what is asked."""
        exercise = self._exercise(exercise_key)
        if being_executed():
            return None
        number = self.module.exercises.index(exercise) + 1  # the page may show a later one first
        if KEPT in self.store.issue.exercises.get(exercise_key, ()):
            from ipywidgets import HTML

            return HTML(
                f"<p><strong>Exercise {number}: {exercise.title}.</strong> Not part of this resit. Your earlier answer counts.</p>"
            )
        from grader.widgets.exercise_form import ExerciseForm

        form = ExerciseForm(self.store, exercise, number)
        self.forms[exercise_key] = form
        return form.box

    def answer(self, path: str, raw: object, unit: str = "") -> None:
        """Note an answer as typed text, such as "34.5", with its unit."""
        if path not in {known for _, _, known in self.module.parts()}:
            raise Unknown(f"{self.module.key} asks for no {path!r}.")
        self.store.put(path, str(raw), unit)

    def mark(self, exercise_key: str) -> float:
        """Marks of an exercise while nbgrader marks the notebook; otherwise a silent 0.

        Lessons run when they are opened, so a trainee must not see a mark here. An answer
        that the instructor has still to read counts nothing yet.
        """
        exercise = self._exercise(exercise_key)
        if not being_graded():
            return _Silent(0.0)
        marks = mark_sheet(self.module, self.store.issue.exercises, self.store.sheet)
        earned = sum(part.hundredths or 0 for part in marks.parts if part.path.rpartition(".")[0] == exercise.key)
        return float(min(max(earned / 100, 0.0), exercise.marks))

    def _take_over(self):
        """The page was opened again: free the widgets of the last time, keep what they could not save."""
        from ipywidgets import Widget

        for older in tuple(_open):
            self.store.take_unsaved(older)
            older.close()
        _open.clear()
        _open.add(self.store)
        Widget.close_all()

    def _exercise(self, key):
        try:
            return self._exercises[key]
        except KeyError:
            raise Unknown(f"{self.module.key} has no exercise {key!r}; it has {', '.join(self._exercises)}.") from None
