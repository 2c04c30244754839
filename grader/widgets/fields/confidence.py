"""How sure a trainee is of an exercise, said before the first check: practice only, never marked."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from grader.exercise.model import Exercise
from grader.marking import confidence
from grader.widgets import style

if TYPE_CHECKING:
    from grader.widgets.answer_store import Store

_LABEL = "How sure are you? Say it before you check, if you like. It is never marked."
SURE_AND_WRONG = "You were sure here, and it was not right: worth another look."
_GUESS_AND_RIGHT = "Right, and you called it a guess: go through the steps once more, so that next time you know."


class SureField:
    """Three words to pick from, none picked at first; it stands fast once a first verdict was shown.

    `box` is the widget.

    Parameters
    ----------
    store : Store
    exercise : Exercise
    heard : callable
        Told the word that is picked.
    """

    def __init__(self, store: Store, exercise: Exercise, heard: Callable[[str], object]) -> None:
        self.store, self.exercise, self._heard = store, exercise, heard
        self._following = False
        self._paths = [f"{exercise.key}.{part.key}" for part in exercise.parts]
        label = style.HTML(f"<div>{_LABEL}</div>").add_class("tm-label")
        self.radio = style.RadioButtons(
            options=confidence.WORDS, value=None, orientation="horizontal", layout=style.wide()
        )
        # Side by side they lack the class of all widgets, by which the page finds the label that names the group.
        self.radio.add_class("jupyter-widgets").add_class("tm-sure").observe(self._picked, "value")
        self.note = style.HTML().add_class("tm-verdict")
        self.box = style.VBox([label, self.radio, self.note], layout=style.column()).add_class("tm-sureness")
        self.refresh()

    @staticmethod
    def fits(exercise: Exercise) -> bool:
        """Whether an exercise has an answer that is checked at once; letters are read by people."""
        return not all(part.by_person for part in exercise.parts)

    def refresh(self) -> None:
        """Show what the store holds."""
        answers = {path: self.store.answers[path] for path in self._paths if path in self.store.answers}
        words, _ = confidence.said(self.store.sheet)
        word = words.get(self.exercise.key)
        checked = {path for path, answer in answers.items() if answer.tries}
        self._following = True
        try:
            self.radio.value = word
        finally:
            self._following = False
        self.radio.disabled = bool(checked)
        self.note.value = self._note(word, checked)

    def _note(self, word, checked):
        """What the word and the first verdicts say together; empty where that is nothing."""
        if not checked or word not in (confidence.KNOW, confidence.GUESS):
            return ""
        marks = self.store.marks_of(self.exercise.key, first=True)
        right = confidence.was_right([mark for mark in marks if mark.path in checked])
        if word == confidence.KNOW and right is False:
            return style.sentence(SURE_AND_WRONG, "wrong")
        is_all_right = confidence.was_right(marks)
        return style.sentence(_GUESS_AND_RIGHT, "right") if word == confidence.GUESS and is_all_right else ""

    def _picked(self, change):
        if not self._following and change["new"] is not None:
            self._heard(change["new"])
