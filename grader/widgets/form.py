"""An exercise on the screen: the task with the trainee's own numbers, its parts, the worked route."""

import re
from html import escape
from types import SimpleNamespace

from ipywidgets import HTML, Button, HBox, VBox

from grader.exercise import listing
from grader.exercise.model import PRACTICE, Number
from grader.exercise.truth import Truth
from grader.marking import feedback
from grader.widgets import style
from grader.widgets.fields.calculator import Calculator
from grader.widgets.fields.sure import SureField
from grader.widgets.part import PartForm, shown_errors


class ExerciseForm:
    """The form of one exercise; `box` is the widget to show.

    Parameters
    ----------
    store : Store
    exercise : Exercise
    number : int or None
        Its place in the lesson, from 1; None shows none.
    """

    shows_unsaved = False

    def __init__(self, store, exercise, number=None):
        self.store, self.exercise, self.number = store, exercise, number
        self.parts, self.sure = {}, None
        self.message = HTML().add_class("tm-verdict")
        self.box = VBox(layout=style.column()).add_class("tm-exercise").add_class(f"tm-ex-{exercise.name}")
        self._build()
        store.listen(self._heard)

    def say(self, text, kind=""):
        """A sentence at the foot of the form."""
        self.message.value = style.sentence(text, kind)

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
        if mine:
            self._offer_route()

    @shown_errors
    def _build(self):
        self.message.value = ""
        self.box.children = (self.message,)  # if the rest fails, this says why
        exercise = self.exercise
        marks = "1 mark" if exercise.marks == 1 else f"{exercise.marks} marks"
        number = f"Exercise {self.number}: " if self.number else ""
        heading = f'<h3 id="{style.anchor(exercise)}" tabindex="-1">{number}{escape(exercise.title)} ({marks})</h3>'
        if self.store.people.waiting:
            self.parts, self.sure = {}, None
            self.box.children = (HTML(f"{heading}<p>{escape(self.store.place.why_not)}</p>"),)
            return
        given = SimpleNamespace(**self.store.issue.numbers[exercise.key])
        task = HTML(f"{heading}{listing.as_html(exercise.wording(given))}").add_class("tm-task")
        self.parts = {part.key: PartForm(self.store, exercise, part, self._offer_route) for part in exercise.parts}
        self.route = HTML().add_class("tm-route").add_class("tm-verdict")
        self.fresh = Button(description="Fresh numbers", tooltip=f"Fresh numbers for: {exercise.title}").add_class(
            "tm-new-numbers"
        )
        self.fresh.on_click(lambda _: self._draw_anew())
        self._foot = HBox(layout=style.row())
        reckons = any(hasattr(part, "half_step") for part in exercise.parts)
        self.calculator = Calculator(exercise.title) if reckons else None
        asks_sure = self.store.issue.mode == PRACTICE and SureField.fits(exercise)
        self.sure = SureField(self.store, exercise, self._said_sure) if asks_sure else None
        self.box.children = (
            task, *([self.sure.box] if asks_sure else []), *(part.box for part in self.parts.values()),
            *([self.calculator.box] if reckons else []), self.route, self._foot, self.message,
        )  # fmt: skip
        self._offer_route()

    @shown_errors
    def _offer_route(self):
        """After the third try the route with the trainee's own numbers, then fresh ones."""
        if self.store.issue.mode != PRACTICE:
            return
        tired = any(part.tired for part in self.parts.values())
        self.route.value = self._route() if tired else ""
        over = tired or all(part.right for part in self.parts.values())
        self._foot.children = (self.fresh,) if over and self.store.marker is not None else ()

    def _route(self):
        given = SimpleNamespace(**self.store.issue.numbers[self.exercise.key])
        lines = tuple(self.exercise.route(given))
        known = self._up_to_unsettled(lines)
        steps = "".join(f"<li>{escape(line)}</li>" for line in known)
        more = "" if len(known) == len(lines) else "<p>The rest follows when you have tried the other part.</p>"
        return f"<h4>The worked route with your numbers</h4><ol>{steps}</ol>{more}"

    def _up_to_unsettled(self, lines):
        """The lines before the first one that would give away a part not yet tried three times."""
        truth = Truth(self.store.module, self.store.issue.numbers)
        hidden = [
            feedback.shown(part, truth.answer(f"{self.exercise.key}.{part.key}")).split(" ")[0].removesuffix(".0")
            for part in self.exercise.parts
            if isinstance(part, Number) and not self.parts[part.key].settled
        ]
        for count, line in enumerate(lines):
            plain = line.replace("\u202f", "")  # 15 596 is told as 15596
            if any(re.search(rf"(?<![\d.])0?{re.escape(figure)}(?!\d)", plain) for figure in hidden):
                return lines[:count]
        return lines

    @shown_errors
    def _said_sure(self, word):
        self.store.say_sure(self.exercise, word)

    @shown_errors
    def _draw_anew(self):
        self.store.fresh(self.exercise.key)
