"""A whole answer sheet: every part's verdict, and the marks they add up to."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from msgspec import Struct

from grader.errors import BadSheet
from grader.exercise.issued import KEPT
from grader.exercise.model import AsIssued, Exercise, Module
from grader.exercise.sheet import Answer, Sheet
from grader.exercise.truth import Truth
from grader.marking.compare import marker_of
from grader.marking.numbers import blank
from grader.marking.verdict import AWAITING, BLANK, UNIT, Earlier, PartMark

if TYPE_CHECKING:
    from sqlalchemy import Row

ENGINE = "marking 4"  # raise when a verdict or a mark can come out differently
# In a resit, beside the kept answers of an exercise: which of them had a wrong unit that was charged somewhere else.
CHARGED_BEFORE = "charged_before"


class SheetMark(Struct, frozen=True):
    """What a sheet is worth. `notes` are sentences about entries that were passed over.

    `hundredths` are the marks so far; `pending` hundredths wait for the instructor.
    """

    module: str
    parts: tuple[PartMark, ...]
    notes: tuple[str, ...] = ()

    @property
    def hundredths(self) -> int:
        return sum(part.hundredths or 0 for part in self.parts)

    @property
    def most(self) -> int:
        return sum(part.most for part in self.parts)

    @property
    def pending(self) -> int:
        return sum(part.most for part in self.parts if part.verdict == AWAITING)

    @property
    def state(self) -> str:
        """The word of the records: "marked", or "partly marked" while something waits."""
        return "partly marked" if self.pending else "marked"

    @property
    def answered(self) -> int:
        return sum(part.verdict != BLANK for part in self.parts)

    def exercise_hundredths(self, key: str) -> int | None:
        """Hundredths earned in one exercise; None while one of its answers waits to be read."""
        mine = [part.hundredths for part in self.parts if part.path.rpartition(".")[0] == key]
        known = [hundredths for hundredths in mine if hundredths is not None]
        return sum(known) if len(known) == len(mine) else None


def mark_sheet(module: Module, exercises: AsIssued, sheet: Sheet, *, truth: Truth | None = None) -> SheetMark:
    """Mark a sheet against the numbers that were issued, in the versions that were issued.

    What a resit keeps is marked as it was before: its wrong units are charged where they
    were charged, and one that is charged there costs nothing in the fresh exercises.

    Parameters
    ----------
    module : Module
    exercises : dict
        As issued: exercise key to {"version", "parameters"}.
    sheet : Sheet
    truth : Truth or None
        What `truth_of` gave for the same issue before, to save computing it again.

    Raises
    ------
    BadSheet
        The sheet belongs to another module, or a version of an exercise was
        issued that is not kept.
    """
    return Marking(module, exercises, truth=truth).sheet(sheet)


class Marking:
    """Marks the sheets of one issue.

    Parameters
    ----------
    module, exercises, truth
        As `mark_sheet`.
    """

    def __init__(self, module: Module, exercises: AsIssued, *, truth: Truth | None = None):
        self.module = module
        self.truth = truth or truth_of(module, exercises)
        self._exercises = exercises
        self._is_resit = any(KEPT in entry for entry in exercises.values())
        self._free = _charged_before(exercises) if self._is_resit else None
        self._plan = lesson = _plan(self.truth.module)
        if self._free is not None:  # What a resit keeps is settled first; linked exercises are never torn apart.
            self._plan = sorted(lesson, key=lambda step: KEPT not in exercises[step.exercise.key])
        self._kept: dict[str, tuple[tuple, _Marked]] = {}  # of `exercise`: what it depended on, what came of it

    def sheet(self, sheet: Sheet) -> SheetMark:
        """The whole sheet, marked anew.

        Raises
        ------
        BadSheet
            It is of another module.
        """
        if sheet.module != self.module.key:
            raise BadSheet(
                f"The answer sheet is for {sheet.module}, not for {self.module.key}. Hand in the one of this lesson."
            )
        answers, earlier, notes, marks = self._answers(sheet), Earlier(), [], {}
        for step in self._plan:
            marks |= {mark.path: mark for mark in self._mark(step, answers, earlier, notes)}
        strangers = [path for path in answers if path not in self.truth.paths]
        if strangers:
            shown = ", ".join(path[:40] for path in strangers[:3]) + (" and more" if len(strangers) > 3 else "")
            notes.append(
                f"No exercise of {self.module.key} is called {shown}; these answers are kept and count nothing."
            )
        in_order = tuple(marks[path] for _, _, path in self.truth.module.parts())
        return SheetMark(self.module.key, in_order, tuple(notes))

    def exercise(self, sheet: Sheet, key: str) -> tuple[PartMark, ...]:
        """One exercise of a sheet that changes while somebody works, with the verdicts that `sheet` gives.

        What stands before it may bear on it: own answers that are carried, wrong units that were charged. An
        exercise is marked again only when its answers, or something that bears on it, changed since.
        """
        answers, earlier = self._answers(sheet), Earlier()
        for step in self._plan:
            mine = [answers.get(path) for _, path in step.exercise.paths]
            if step.exercise.key != key and not any(answer and answer.raw.strip() for answer in mine):
                continue  # blank: nothing is carried from it, nothing is charged in it
            depends = (
                [answer and (answer.raw, answer.unit, answer.version) for answer in mine],
                {path: (earlier.own.get(path), earlier.settled.get(path)) for path in step.uses},
                set(earlier.unit_errors),
            )
            known = self._kept.get(step.exercise.key)
            if known is None or known[0] != depends:
                known = self._kept[step.exercise.key] = depends, self._marked(step, answers, earlier)
            marked = known[1]
            # Only what this exercise itself left: of others it may remember what has changed since.
            for _, path, _, carried in step.parts:
                if carried and path in marked.after.settled:
                    earlier.settled[path] = marked.after.settled[path]
                if carried and path in marked.after.own:
                    earlier.own[path] = marked.after.own[path]
            earlier.unit_errors.update(marked.after.unit_errors)
            if step.exercise.key == key:
                return marked.marks
        raise KeyError(key)

    def _marked(self, step, answers, earlier):
        after = Earlier(dict(earlier.own), dict(earlier.settled), set(earlier.unit_errors))
        return _Marked(tuple(self._mark(step, answers, after, [])), after)

    def _answers(self, sheet):
        return with_kept(self._exercises, sheet.answers) if self._is_resit else sheet.answers

    def _mark(self, step, answers, earlier, notes):
        """The verdicts on one exercise; what they mean for those that follow is noted in `earlier`."""
        truth, version = self.truth, step.exercise.version
        for part, path, marker, carried in step.parts:
            answer = answers.get(path)
            if answer is None:
                mark = blank(truth, path, part)
            elif answer.version != version and answer.raw.strip():
                notes.append(
                    f"{path} was answered for version {answer.version} of the exercise; version {version} was issued. "
                    "It counts as blank; read it yourself."
                )
                mark = blank(truth, path, part)
            else:
                is_free = self._free is not None and path in self._free
                known = Earlier(earlier.own, earlier.settled, _Every()) if is_free else earlier
                mark = marker(truth, path, part, answer, known)
            if carried:
                earlier.settled[path] = mark.verdict
                if mark.own is not None and part.possible_for(mark.own):
                    earlier.own[path] = mark.own
            yield mark


class _Marked(NamedTuple):
    marks: tuple[PartMark, ...]
    after: Earlier


class _Step(NamedTuple):
    """One exercise, with all that no sheet changes: (part, path, its marker, True if a later part uses its answer)."""

    exercise: Exercise
    parts: tuple
    uses: tuple[str, ...]


@lru_cache(maxsize=256)
def _plan(module):
    """The exercises of a module in the order of the lesson."""
    return tuple(
        _Step(
            exercise,
            tuple((part, path, marker_of(part), path in module.carried) for part, path in exercise.paths),
            tuple(path for part in exercise.parts for path in part.uses),
        )
        for exercise in module.exercises
    )


def _charged_before(exercises):
    """Paths of the kept answers whose wrong unit was charged elsewhere; None where no resit says so."""
    charged = [entry[CHARGED_BEFORE] for entry in exercises.values() if CHARGED_BEFORE in entry]
    return {path for paths in charged for path in paths} if charged else None


class _Every(set):
    """Unit errors for a kept answer whose own was charged in another exercise: it costs nothing here either."""

    def __contains__(self, error):
        return True


def charged_before(rows: Iterable[Row]) -> list[str]:
    """Paths of marked answers, rows of tm_answer, whose wrong unit cost nothing: it was charged before.

    Returns
    -------
    list of str
    """
    return [row.part for row in rows if row.verdict == UNIT and row.hundredths == row.most]


def with_kept(exercises: AsIssued, answers: Mapping[str, Answer]) -> Mapping[str, Answer]:
    """The answers of a sheet with those that a resit keeps in their places, whatever the sheet says there.

    Parameters
    ----------
    exercises : dict
        As issued.
    answers : dict
        Path -> Answer.

    Returns
    -------
    dict
    """
    if not any(KEPT in entry for entry in exercises.values()):
        return answers
    kept = {key: entry for key, entry in exercises.items() if KEPT in entry}
    with_them = {path: answer for path, answer in answers.items() if path.rpartition(".")[0] not in kept}
    for entry in kept.values():
        with_them |= {path: Answer(raw, unit, entry["version"]) for path, (raw, unit) in entry[KEPT].items()}
    return with_them


def truth_of(module: Module, exercises: AsIssued) -> Truth:
    """The expected answers for an issue.

    Raises
    ------
    BadSheet
        As `mark_sheet`.
    """
    numbers = {key: entry["parameters"] for key, entry in exercises.items()}
    return Truth(module.as_issued(exercises), numbers)
