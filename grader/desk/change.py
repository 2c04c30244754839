"""Every change goes in four steps: what will happen, a reason where the ledger asks for one, do it, the result.

Nothing is written before somebody presses *Do it*. What takes long runs beside the page,
which goes on listening, so that *Stop* is heard; whatever was done until then is whole.
"""

from __future__ import annotations

import asyncio
import contextvars
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import ipywidgets

from grader.desk import parts
from grader.errors import TimingMarkError
from grader.widgets import style

NO_REASON, MAY_SAY, MUST_SAY = "", "may", "must"
DO_IT, LEAVE_IT, CLOSE, STOP, UNDO = "Do it", "Leave it", "Close", "Stop", "Undo"
STOPPED = "Stopped. What was done so far is whole; do it again to go on."
_EVERY_S = 0.1  # how often a bar is moved


class Halt(Exception):
    """Somebody pressed Stop."""


@dataclass(slots=True)
class Foreseen:
    """What would happen.

    `lines` are sentences, `shown` widgets such as a table of names. `nothing` tells that
    there is nothing to do. `reason` is one of the three above. `agree` is a sentence that
    must be ticked before it can be done, `typed` a text that must be typed.
    """

    lines: Sequence[str] = ()
    shown: Sequence[ipywidgets.Widget] = ()
    nothing: bool = False
    reason: str = NO_REASON
    agree: str = ""
    typed: str = ""
    warnings: Sequence[str] = ()


@dataclass(slots=True)
class Done:
    """What was done: sentences, what somebody must look at, files to save or buttons to go on with, and how to undo it."""

    lines: Sequence[str] = ()
    findings: Sequence[str] = ()
    shown: Sequence[ipywidgets.Widget] = ()
    undo: Change | None = None


class Progress:
    """Told by a long run how far it is; ends it where somebody pressed Stop."""

    def __init__(self, bar: ipywidgets.IntProgress) -> None:
        self._bar, self._at, self.stop = bar, 0.0, threading.Event()

    def __call__(self, done: int, of: int) -> None:
        if self.stop.is_set():
            raise Halt
        if time.monotonic() - self._at >= _EVERY_S:
            self._at = time.monotonic()
            self._bar.max, self._bar.value = max(of, 1), done
            self._bar.description = f"{done} of {of}"


class Change:
    """One change, from what it would do to what it did.

    Parameters
    ----------
    title : str
    foresee : callable
        Takes a Progress, returns Foreseen; writes nothing.
    do : callable
        Takes the reason and a Progress, returns Done.
    finished : callable or None
        Called once it was done.
    closed : callable or None
        Called when it is put away.
    """

    def __init__(
        self,
        title: str,
        foresee: Callable[[Progress], Foreseen],
        do: Callable[[str, Progress], Done],
        *,
        finished: Callable[[], object] | None = None,
        closed: Callable[[], object] | None = None,
    ) -> None:
        self.title, self._foresee, self._do = title, foresee, do
        self.finished, self.closed = finished, closed
        self.foreseen: Foreseen | None = None
        self.done: Done | None = None
        self.problem = ""
        self.running = False
        self.reason = style.Text(layout=style.wide())
        self.reason.add_class("tm-field")
        self.reason.add_class("tm-long")
        self.agree = style.Checkbox(indent=False, layout=style.wide())
        self.typed = style.Text(layout=style.wide())
        self.typed.add_class("tm-field")
        self.do_it = parts.button(DO_IT, self._press, "tm-do")
        self.bar = ipywidgets.IntProgress(description="", layout=style.wide())
        self.bar.add_class("tm-progress")
        self.stop = parts.button(STOP, lambda: self.progress.stop.set(), "tm-stop")
        self.progress = Progress(self.bar)
        self.box = style.VBox([], layout=style.column())
        self.box.add_class("tm-change")

    def begin(self) -> Change:
        """Look ahead, and show what would happen."""
        self._run(lambda: self._foresee(self.progress), self._looked)
        return self

    def _looked(self, found: Foreseen) -> None:
        self.foreseen = found
        rows: list[ipywidgets.Widget] = [self._heading(), *self._lines(found.lines), *found.shown]
        rows += [parts.says(line, "wrong") for line in found.warnings]
        if found.nothing:
            self._show([*rows, self._row(parts.button(CLOSE, self.close))])
            return
        if found.agree:
            self.agree.description = parts.plain(found.agree)
            rows.append(self.agree)
        if found.typed:
            rows.append(parts.labelled(f"Type {found.typed} to confirm", self.typed))
        if found.reason:
            must = "Why, without names; it stands in the ledger"
            rows.append(
                parts.labelled(must if found.reason == MUST_SAY else f"{must} (you may leave it empty)", self.reason)
            )
        self._show([*rows, self._row(self.do_it, parts.button(LEAVE_IT, self.close))])

    def _press(self) -> None:
        missing = self._missing()
        if missing:
            self._show([*self._without_problem(), self._told(missing)])
            return
        self._run(lambda: self._do(self.reason.value.strip(), self.progress), self._was_done)

    def _missing(self) -> str:
        assert self.foreseen is not None
        if self.foreseen.agree and not self.agree.value:
            return "Tick the sentence above first, if it is meant; nothing was changed."
        if self.foreseen.typed and self.typed.value.strip() != self.foreseen.typed:
            return f"Type {self.foreseen.typed} just as it stands; nothing was changed."
        if self.foreseen.reason == MUST_SAY and not self.reason.value.strip():
            return "Say why in a few words; it stands in the ledger. Nothing was changed."
        return ""

    def _was_done(self, done: Done) -> None:
        self.done = done
        rows: list[ipywidgets.Widget] = [self._heading("done"), *self._lines(done.lines, "right")]
        rows += [parts.says(line, "wrong") for line in done.findings]
        rows += done.shown
        buttons = [parts.button(CLOSE, self.close)]
        if done.undo is not None:
            buttons.insert(0, parts.button(UNDO, self._take_back))
        self._show([*rows, self._row(*buttons)])
        if self.finished is not None:
            self.finished()

    def _take_back(self) -> None:
        assert self.done is not None and self.done.undo is not None
        other = self.done.undo
        other.finished, other.closed = self.finished, self.closed
        self.box.children = (other.box,)
        other.begin()

    def close(self) -> None:
        self._show([])
        if self.closed is not None:
            self.closed()

    def _run(self, work: Callable[[], Any], then: Callable[[Any], None]) -> None:
        """Do a piece of work beside the page where there is one, else at once."""
        if self.running:
            return
        self.running = True
        self.problem = ""
        self.progress.stop.clear()
        self.bar.max, self.bar.value, self.bar.description = 1, 0, ""
        before = list(self.box.children)
        self._show([self._heading("one moment …"), self._row(self.bar, self.stop)])

        def finish(result: Any, problem: str) -> None:
            self.running = False
            if problem:
                self.problem = problem
                kept = [row for row in before if "tm-problem" not in row._dom_classes]
                kept = kept or [
                    self._heading(),
                    self._row(parts.button(CLOSE, self.close)),
                ]
                self._show([*kept, self._told(problem)])
            else:
                then(result)

        def guarded() -> tuple[Any, str]:
            try:
                return work(), ""
            except Halt:
                return None, STOPPED
            except TimingMarkError as refused:
                return None, str(refused)
            except OSError as refused:
                return (
                    None,
                    f"{refused.filename or 'The machine'}: {refused.strerror or refused}. What was written so far is whole.",
                )
            except Exception as fault:  # a fault of ours must be told, not lost in a log
                words = " ".join(str(fault).split())[:200]
                return (
                    None,
                    f"A fault of Timing Mark ({type(fault).__name__}: {words}). What was written so far is whole.",
                )

        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:  # no page: a test, or a script
            finish(*guarded())
            return
        context = contextvars.copy_context()

        def beside() -> None:
            result = context.run(guarded)
            loop.call_soon_threadsafe(lambda: finish(*result))

        threading.Thread(target=beside, daemon=True).start()

    def _told(self, problem: str) -> ipywidgets.Widget:
        told = parts.says(problem, "wrong")
        told.add_class("tm-problem")
        return told

    def _without_problem(self) -> list[ipywidgets.Widget]:
        return [row for row in self.box.children if "tm-problem" not in row._dom_classes]

    def _heading(self, more: str = "") -> ipywidgets.Widget:
        return parts.heading(f"{self.title}: {more}" if more else self.title)

    @staticmethod
    def _lines(lines: Sequence[str], kind: str = "") -> list[ipywidgets.Widget]:
        return [parts.says(line, kind) for line in lines]

    @staticmethod
    def _row(*widgets: ipywidgets.Widget) -> ipywidgets.Widget:
        return style.HBox(list(widgets), layout=style.row())

    def _show(self, rows: Sequence[ipywidgets.Widget]) -> None:
        self.box.children = tuple(rows)


def names(people: Sequence[str], most: int = 40) -> str:
    """Names one after the other; of a long list the first ones and how many more."""
    shown = "; ".join(people[:most])
    return shown + (f"; and {len(people) - most} more" if len(people) > most else "")
