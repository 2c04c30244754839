"""One part of an exercise on the screen: field, echo, saved or not, verdict."""

from collections.abc import Callable, Iterable
from functools import wraps
from html import escape
from types import SimpleNamespace
from typing import Any
from urllib.parse import quote

from grader.errors import CannotWrite, Refused, TimingMarkError, Unreadable, afterwards
from grader.exercise.model import PRACTICE, Exercise
from grader.exercise.part import Part
from grader.marking import feedback, reading, verdict
from grader.widgets import style
from grader.widgets.answer_store import CHECKED, Store
from grader.widgets.fields.kinds import Workplace, field_of

TRIES = 3  # after so many the worked route is shown

_UNCOUNTED = (verdict.BLANK, verdict.UNREADABLE, verdict.KIND, verdict.AWAITING)
_DONE = (verdict.RIGHT, verdict.CARRIED)


def shown_errors(method: Callable[..., Any]) -> Callable[..., Any]:
    """A callback whose errors appear in the form; the notebook would swallow them.

    The owner has `say` and `shows_unsaved`: True where an answer that could not be
    saved is told in another place.
    """

    @wraps(method)
    def safe(self, *arguments, **named):
        try:
            return method(self, *arguments, **named)
        except TimingMarkError as problem:
            if not (self.shows_unsaved and isinstance(problem, CannotWrite)):
                self.say(str(problem), "wrong")
        except Exception as problem:
            self.say(
                f"The lesson stumbled here ({type(problem).__name__}: {problem}). What you typed stays. Reload "
                "the page; if that does not help, show this line to your instructor.",
                "wrong",
            )
        return None

    return safe


def is_settled(store: Store, path: str) -> bool:
    """True once the answer of a part may be told: right, or tried three times."""
    return is_tired(store, path) or is_right(store, path)


def is_tired(store: Store, path: str) -> bool:
    """True after the third try, or once an answer was checked to which nothing can be added any more."""
    answer = store.answers.get(path)
    if answer is None or answer.tries < 1:
        return False
    return answer.tries >= TRIES or (_is_checked(store, path) and is_closed(store, path))


def is_closed(store: Store, path: str) -> bool:
    """True where the answer cannot be changed any more: a car that its owner has again."""
    exercise, part = store.module.by_path[path]
    try:
        return part.is_closed(store.answers[path].raw, SimpleNamespace(**store.issue.numbers[exercise.key]))
    except TimingMarkError:
        return False


def is_right(store: Store, path: str) -> bool:
    """True where what stands there was checked and is right."""
    return _is_checked(store, path) and store.mark_of(path).verdict in _DONE


def _is_checked(store, path):
    answer = store.answers.get(path)
    return answer is not None and bool(answer.raw.strip()) and answer.rest.get(CHECKED) == [answer.raw, answer.unit]


class PartForm:
    """The form of one part.

    `box` is the widget; `changed` is called when a verdict was given, so that
    the exercise can offer its route. `own_name` is the part's key.
    """

    shows_unsaved = True  # beside the field, from the store

    def __init__(
        self, store: Store, exercise: Exercise, part: Part, changed: Callable[[], object] = lambda: None
    ) -> None:
        self.store, self.exercise, self.part = store, exercise, part
        self.path = f"{exercise.key}.{part.key}"
        self._changed = changed
        self._following, self._refused = False, ""
        self._answered = 0  # checks that were answered since the form was built
        self._given = SimpleNamespace(**store.issue.numbers[exercise.key])
        self.echo = style.HTML().add_class("tm-echo")
        self.verdict = style.HTML().add_class("tm-verdict")
        self.beacon = style.HTML().add_class("tm-beacon")
        label = style.HTML(f"<div>{escape(part.prompt)}</div>").add_class("tm-label")
        self.entry = field_of(part)(part, self._given, self._typed)
        self.entry.coached = store.issue.mode == PRACTICE
        if isinstance(self.entry, Workplace):
            self.entry.draft, self.entry.drafted = store.draft_of(self.path), self._drafted
        row = list(self.entry.row)
        self.field, self.unit = row[0], row[1] if len(row) > 1 else None
        self.check = None
        if store.issue.mode == PRACTICE:
            words = "What to look for" if part.by_person else "Check"
            self.check = style.Button(description=words, tooltip=f"{words}: {part.prompt}").add_class("tm-check")
            self.check.on_click(lambda _: self._checked())
            row.append(self.check)
        row = style.HBox(row, layout=style.row())
        self.box = style.VBox([label, row, self.echo, self.verdict, self.beacon])
        self.box.add_class("tm-part").add_class(f"tm-part-{part.key}")
        self.refresh()

    @property
    def tired(self) -> bool:
        """True after the third try."""
        return is_tired(self.store, self.path)

    @property
    def right(self) -> bool:
        """True where what stands here was checked and is right."""
        return is_right(self.store, self.path)

    def say(self, text: str, kind: str = "", items: Iterable[str] = ()) -> None:
        """A sentence where the verdict stands, and what is to be told item by item."""
        self.verdict.value = style.sentence(text, kind, items)

    def refresh(self) -> None:
        """Show what the store holds: another view of the lesson may have changed it."""
        answer = self.store.answers.get(self.path)
        self._following = True
        try:
            self.entry.follow(answer.raw if answer else "", answer.unit if answer else "")
        finally:
            self._following = False
        self._show_echo()
        self._show_checked()

    @property
    def _raw(self):
        return self.entry.raw

    @property
    def _text(self):
        """What the page's field to write in holds, if all of it arrived."""
        return self.entry.typed if isinstance(self.entry, Workplace) else self._raw

    @shown_errors
    def _typed(self, _):
        if self._following:
            return
        self.verdict.value = ""
        self._refused = ""
        with afterwards(self._show_echo):
            try:
                self.store.put(self.path, self._raw, self.entry.unit, self._reading()[0])
            except Refused as problem:
                self._refused = str(problem)

    @shown_errors
    def _drafted(self):
        """What is half done beside the answer is kept; a verdict that stands there goes on standing."""
        with afterwards(self._show_echo):
            if isinstance(self.entry, Workplace):
                self.store.put_draft(self.path, self.entry.draft)

    def _reading(self):
        """(what is read, or an empty text; the sentence why not)."""
        if not self._raw.strip():
            return "", ""
        try:
            return _echo(reading.read(self.part, self._raw, self.entry.unit, self._given)), ""
        except Unreadable as problem:
            return "", str(problem)

    @shown_errors
    def _show_echo(self):
        answer = self.store.answers.get(self.path)
        why = self._refused or (self.store.why if self.path in self.store.unsaved else "")
        words = []
        if self._raw.strip() and self.part.shows_reading:
            read_as, unread = self._reading()
            words.append(self._in_words(read_as) if read_as else escape(unread))
        waits = self.path in self.store.saving
        if why:
            words.append(f"<strong>Not saved:</strong> {escape(why)}")
        elif waits:
            words.append("Saving …")
        elif answer is not None and self._raw:
            words.append("Saved.")
        if told := self.store.told.get(self.path):
            words.append(f"<strong>Look here:</strong> {escape(told)}")
        self.echo.value = " ".join(words)
        self._show_beacon(why, waits)

    def _show_beacon(self, why=None, waits=False):
        """For the page's guard: what is here, whose, and whether it is saved; and the checks answered.

        `why` is None where the first of it is as before. An answer that waits for the disk is neither saved nor refused.
        """
        if why is not None:
            self._state = (
                f'<span data-part="{escape(self.path)}" data-text="{quote(self._text, safe="", errors="replace")}" '
                f'data-unit="{quote(self.entry.unit, safe="")}" data-shown="{quote(self.entry.shown, safe="")}" '
                f'data-saved="{"no" if why else "waits" if waits else "yes"}" data-why="{quote(why)}" '
                f'data-whose="{quote(self.store.whose, safe="")}"></span>'
            )
        self.beacon.value = self._state + style.clicks("tm-check", self._answered)

    def _in_words(self, read_as):
        """HTML: what is read; steps stand one below the other, as they are to be done."""
        steps = () if self.part.numeric else self.part.steps(self.part.read(self._raw, self._given))
        if steps:
            return f"Your order:<ol>{''.join(f'<li>{escape(step)}</li>' for step in steps)}</ol>"
        return f"Read as <strong>{escape(read_as)}</strong>."

    def _checked(self):
        self._judge()
        self._answered += 1
        self._show_beacon()

    @shown_errors
    def _judge(self):
        mark = self.store.mark_of(self.path)
        if mark.verdict == verdict.AWAITING:
            points = "; ".join(
                f"{words} ({points} mark{'' if points == 1 else 's'})" for words, points in self.part.rubric
            )
            self.say(f"Your instructor reads it. It earns marks where it {points}. Read yours again with this in mind.")
            return
        if mark.verdict in _UNCOUNTED:
            self.say(feedback.say(self.part, mark), "wrong")
            return
        with afterwards(self._show_checked, self._changed):  # the verdict is due even where the try could not be saved
            self.store.count_try(self.path)

    @shown_errors
    def _show_checked(self):
        """The verdict on an answer that was checked and not changed since."""
        if self.check is None:
            return
        if not _is_checked(self.store, self.path):
            self.verdict.value = ""
            return
        if isinstance(self.entry, Workplace):
            self.entry.look_back()
        mark = self.store.mark_of(self.path)
        if mark.verdict in _DONE:
            self.say(feedback.say(self.part, mark), "right")
            return
        hint = feedback.say(self.part, mark)
        opening = "" if mark.verdict in (verdict.COARSE, verdict.PARTLY, verdict.WRONG) else "Not yet. "
        tries = self.store.answers[self.path].tries
        left = "" if self.tired else f" Try {tries} of {TRIES}; after that you see the worked route."
        self.say(f"{opening}{hint}{left}", "wrong", feedback.hints(self.store.truth, self.path, mark))


def _echo(understood):
    """What was read, with a decimal point: "12,5" comes back as 12.5, so that nobody wonders about the comma."""
    if "," not in understood.text or not isinstance(understood.number, float):
        return understood.echo
    return f"{understood.number:.12g} {understood.unit.text}".strip()
