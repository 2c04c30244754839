"""An exercise on the screen: the task with the trainee's own numbers, its parts, the worked route."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from html import escape
from types import SimpleNamespace
from typing import TYPE_CHECKING

from grader.exercise import listing
from grader.exercise.issued import to_answer
from grader.exercise.model import PRACTICE, Exercise
from grader.widgets import style
from grader.widgets.answer_store import Store
from grader.widgets.fields.calculator import Calculator
from grader.widgets.fields.confidence import SureField
from grader.widgets.part_form import PartForm, is_settled, shown_errors

if TYPE_CHECKING:
    from ipywidgets import Button


def told(exercise: Exercise, given: SimpleNamespace, is_settled: Callable[[str], bool]) -> tuple[list[str], list[str]]:
    """The lines of a worked route that give nothing away too early.

    Parameters
    ----------
    exercise : Exercise
    given : namespace
        The trainee's numbers.
    is_settled : callable
        Of "exercise.part": whether its answer may be told.

    Returns
    -------
    (list of str, list of str)
        The lines to show, and the "exercise.part" for which the others wait.
    """
    shown, waits = [], {}
    for line in exercise.route(given):
        tells = [key if "." in key else f"{exercise.key}.{key}" for key in getattr(line, "tells", ())]
        early = [path for path in tells if not is_settled(path)]
        waits.update(dict.fromkeys(early))
        if not early:
            shown.append(line)
    return shown, list(waits)


class ExerciseForm:
    """The form of one exercise; `box` is the widget to show.

    Parameters
    ----------
    store : Store
    exercise : Exercise
    number : int or None
        Its place in the lesson, from 1; None shows none.
    intro : str
        HTML under the title of an exercise that comes again from an earlier lesson: it shows no marks, and offers no
        fresh numbers.
    """

    shows_unsaved = False

    def __init__(self, store: Store, exercise: Exercise, number: int | None = None, *, intro: str = "") -> None:
        self.store, self.exercise, self.number, self.intro = store, exercise, number, intro
        self.parts, self.sure = {}, None
        self._leans_on = {path.rpartition(".")[0] for part in exercise.parts for path in part.uses}
        self.message = style.HTML().add_class("tm-verdict")
        self.box = style.VBox(layout=style.column()).add_class("tm-exercise").add_class(f"tm-ex-{exercise.name}")
        self._build()
        store.listen(self._heard)

    def say(self, text: str, kind: str = "") -> None:
        """A sentence at the foot of the form."""
        self.message.value = style.sentence(text, kind)

    @cached_property
    def fresh(self) -> Button:
        """The button that draws fresh numbers; most exercises are left without it, so none opens with one."""
        button = style.Button(description="Fresh numbers", tooltip=f"Fresh numbers for: {self.exercise.title}")
        button.on_click(lambda _: self._draw_anew())
        return button.add_class("tm-new-numbers")

    @shown_errors
    def _heard(self, path):
        if path is None:
            self._build()
        for part in self.parts.values():
            if path == "" or path == part.path:
                part.refresh()
        mine = path and path.rpartition(".")[0] == self.exercise.key
        if self.sure is not None and (mine or path == ""):
            self.sure.refresh()
        if mine or path == "" or (path and path.rpartition(".")[0] in self._leans_on):
            self._offer_route()

    @shown_errors
    def _build(self):
        self.message.value = ""
        self.box.children = (self.message,)  # if the rest fails, this says why
        exercise = self.exercise
        marks = "1 mark" if exercise.marks == 1 else f"{exercise.marks} marks"
        number = f"Exercise {self.number}: " if self.number else ""
        title = f"{number}{escape(exercise.title)}{'' if self.intro else f' ({marks})'}"
        heading = f'<h3 id="{style.anchor(exercise)}" tabindex="-1">{title}</h3>{self.intro}'
        if self.store.people.waiting:
            self.parts, self.sure = {}, None
            self.box.children = (style.HTML(f"{heading}<p>{escape(self.store.place.why_not)}</p>"),)
            return
        given = SimpleNamespace(**self.store.issue.numbers[exercise.key])
        task = style.HTML(f"{heading}{listing.as_html(exercise.wording(given))}").add_class("tm-task")
        self.parts = {part.key: PartForm(self.store, exercise, part, self._offer_route) for part in exercise.parts}
        self.route = style.HTML().add_class("tm-route").add_class("tm-verdict")
        self._foot = style.HBox(layout=style.row())
        reckons = any(part.numeric for part in exercise.parts)
        self.calculator = Calculator(exercise.title) if reckons else None
        asks_sure = self.store.issue.mode == PRACTICE and SureField.fits(exercise) and not self.intro
        self.sure = SureField(self.store, exercise, self._said_sure) if asks_sure else None
        self.box.children = (
            task,
            *([self.sure.box] if self.sure else []),
            *(part.box for part in self.parts.values()),
            *([self.calculator.box] if self.calculator else []),
            self.route,
            self._foot,
            self.message,
        )
        self._offer_route()

    @shown_errors
    def _offer_route(self):
        """After the third try the route with the trainee's own numbers, then fresh ones."""
        if self.store.issue.mode != PRACTICE:
            return
        tired = any(part.tired for part in self.parts.values())
        self.route.value = self._route() if tired else ""
        over = tired or all(part.right for part in self.parts.values())
        offers = over and self.store.marker is not None and not self.intro
        self._foot.children = (self.fresh,) if offers else ()

    def _route(self):
        given = SimpleNamespace(**self.store.issue.numbers[self.exercise.key])
        asked = to_answer(self.store.issue.exercises)
        shown, waits = told(
            self.exercise, given, lambda path: path.rpartition(".")[0] not in asked or is_settled(self.store, path)
        )
        steps = "".join(f"<li>{escape(line)}</li>" for line in shown)
        heading = "<h4>The worked route with your numbers</h4>"
        return f"{heading}{f'<ol>{steps}</ol>' if steps else ''}{self._rest(waits)}"

    def _rest(self, waits):
        """HTML: the sentence that says what the lines that are kept back wait for."""
        if not waits:
            return ""
        names = []
        for path in waits:
            exercise, part = self.store.module.by_path[path]
            name = f"“{part.prompt}”"
            names.append(name if exercise is self.exercise else f"{name} in the exercise “{exercise.title}”")
        be = "is" if len(names) == 1 else "are"
        return f"<p>The rest is shown when {escape(' and '.join(names))} {be} right or tried three times.</p>"

    @shown_errors
    def _said_sure(self, word):
        self.store.say_sure(self.exercise, word)

    @shown_errors
    def _draw_anew(self):
        self.store.fresh(self.exercise.key)
