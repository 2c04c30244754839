"""The lesson as its notebook uses it: show an exercise, note answers, mark."""

from types import SimpleNamespace

from IPython.display import Markdown

from grader import catalogue
from grader.errors import Unknown
from grader.exercise.model import Choice
from grader.exercise.variant import order_name
from grader.marking.mark import mark_sheet
from grader.widgets.store import Store, being_graded


class _Silent(float):
    """A number that shows nothing at the end of a cell."""

    def _ipython_display_(self):
        pass


class Lesson:
    """One module, opened in the folder of its notebook.

    Parameters
    ----------
    module_key : str
    folder : path or None
        None: where the notebook lies.
    """

    def __init__(self, module_key, folder=None):
        self.module = catalogue.module(module_key)
        self.store = Store(self.module, folder)
        self._exercises = {exercise.key: exercise for exercise in self.module.exercises}

    def numbers(self, exercise_key):
        """The trainee's own numbers of an exercise, as attributes."""
        self._exercise(exercise_key)
        return SimpleNamespace(**self.store.issue.numbers[exercise_key])

    def show(self, exercise_key):
        """The task with the trainee's own numbers, and what is asked."""
        exercise = self._exercise(exercise_key)
        given = self.numbers(exercise_key)
        lines = [f"**{exercise.title}** ({exercise.marks} marks)", "", exercise.wording(given), ""]
        for part in exercise.parts:
            if isinstance(part, Choice):
                lines.append(f"- {part.prompt}:")
                order = getattr(given, order_name(part), tuple(part.options))
                lines += [f"    - {part.options[key]}" for key in order]
            else:
                lines.append(f"- {part.prompt} in {' or '.join(part.units)}")
        return Markdown("\n".join(lines))

    def answer(self, path, raw, unit=""):
        """Note an answer as typed text, such as "34.5", with its unit."""
        self.store.put(path, str(raw), unit)

    def mark(self, exercise_key):
        """Marks of an exercise while nbgrader marks the notebook; otherwise a silent 0.

        Lessons run when they are opened, so a trainee must not see a mark here.
        """
        exercise = self._exercise(exercise_key)
        if not being_graded():
            return _Silent(0.0)
        marks = mark_sheet(self.module, self.store.issue.exercises, self.store.sheet)
        return float(min(max(marks.exercise_hundredths(exercise.key) / 100, 0.0), exercise.marks))

    def _exercise(self, key):
        try:
            return self._exercises[key]
        except KeyError:
            raise Unknown(f"{self.module.key} has no exercise {key!r}; it has {', '.join(self._exercises)}.") from None
