"""A whole answer sheet: every part's verdict, and the marks they add up to."""

from functools import lru_cache

from msgspec import Struct

from grader.errors import BadSheet
from grader.exercise.issued import KEPT
from grader.exercise.sheet import Answer
from grader.exercise.truth import Truth
from grader.marking.compare import marker_of
from grader.marking.numbers import blank
from grader.marking.verdict import AWAITING, BLANK, UNIT, Earlier, PartMark

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
    def hundredths(self):
        return sum(part.hundredths or 0 for part in self.parts)

    @property
    def most(self):
        return sum(part.most for part in self.parts)

    @property
    def pending(self):
        return sum(part.most for part in self.parts if part.verdict == AWAITING)

    @property
    def state(self):
        """The word of the records: "marked", or "partly marked" while something waits."""
        return "partly marked" if self.pending else "marked"

    @property
    def answered(self):
        return sum(part.verdict != BLANK for part in self.parts)

    def exercise_hundredths(self, key):
        """Hundredths earned in one exercise; None while one of its answers waits to be read."""
        mine = [part.hundredths for part in self.parts if part.path.rpartition(".")[0] == key]
        return None if None in mine else sum(mine)


def mark_sheet(module, exercises, sheet, *, truth=None):
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

    Returns
    -------
    SheetMark

    Raises
    ------
    BadSheet
        The sheet belongs to another module, or a version of an exercise was
        issued that is not kept.
    """
    if sheet.module != module.key:
        raise BadSheet(f"The answer sheet is for {sheet.module}, not for {module.key}. Hand in the one of this lesson.")
    truth = truth or truth_of(module, exercises)
    issued, notes, earlier, marks = truth.module, [], Earlier(), []
    answers, free = sheet.answers, None
    lesson = plan = _plan(issued)
    if truth.resit is None:  # the same for every sheet that is marked with this truth
        truth.resit = any(KEPT in entry for entry in exercises.values())
    if truth.resit:
        answers, free = with_kept(exercises, answers), _charged_before(exercises)
        if free is not None:  # What a resit keeps is settled first; linked exercises are never torn apart.
            plan = sorted(lesson, key=lambda step: KEPT not in exercises[step[0]])
    get, unanswered = answers.get, 0
    for _, version, path, part, marker, carried in plan:
        answer = get(path)
        if answer is None:
            mark, unanswered = blank(truth, path, part), unanswered + 1
        elif answer.version != version and answer.raw.strip():
            notes.append(
                f"{path} was answered for version {answer.version} of the exercise; version {version} was issued. "
                "It counts as blank; read it yourself."
            )
            mark = blank(truth, path, part)
        else:
            known = Earlier(earlier.own, earlier.settled, _Every()) if free and path in free else earlier
            mark = marker(truth, path, part, answer, known)
        marks.append(mark)
        if carried:
            earlier.settled[path] = mark.verdict
            if mark.own is not None and part.possible_for(mark.own):
                earlier.own[path] = mark.own
    if len(answers) > len(plan) - unanswered:
        strangers = [path for path in answers if path not in truth.paths]
        shown = ", ".join(path[:40] for path in strangers[:3]) + (" and more" if len(strangers) > 3 else "")
        notes.append(f"No exercise of {module.key} is called {shown}; these answers are kept and count nothing.")
    if plan is not lesson:
        found = {mark.path: mark for mark in marks}
        marks = [found[path] for _, _, path in issued.parts()]
    return SheetMark(module.key, tuple(marks), tuple(notes))


@lru_cache(maxsize=256)
def _plan(module):
    """What a module asks, step by step in the order of the lesson, with all that no sheet changes.

    Returns
    -------
    tuple of (exercise key, version, "exercise.part", part, its marker, True if a later part uses its answer)
    """
    return tuple(
        (exercise.key, exercise.version, path, part, marker_of(part), path in module.carried)
        for exercise, part, path in module.parts()
    )


def _charged_before(exercises):
    """Paths of the kept answers whose wrong unit was charged elsewhere; None where no resit says so."""
    said = [entry[CHARGED_BEFORE] for entry in exercises.values() if CHARGED_BEFORE in entry]
    return {path for paths in said for path in paths} if said else None


class _Every(set):
    """Unit errors for a kept answer whose own was charged in another exercise: it costs nothing here either."""

    def __contains__(self, error):
        return True


def charged_before(rows):
    """Paths of marked answers, rows of tm_answer, whose wrong unit cost nothing: it was charged before.

    Returns
    -------
    list of str
    """
    return [row.part for row in rows if row.verdict == UNIT and row.hundredths == row.most]


def with_kept(exercises, answers):
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
    found = {path: answer for path, answer in answers.items() if path.rpartition(".")[0] not in kept}
    for entry in kept.values():
        found |= {path: Answer(raw, unit, entry["version"]) for path, (raw, unit) in entry[KEPT].items()}
    return found


def truth_of(module, exercises):
    """The expected answers for an issue.

    Raises
    ------
    BadSheet
        As `mark_sheet`.
    """
    numbers = {key: entry["parameters"] for key, entry in exercises.items()}
    return Truth(module.as_issued(exercises), numbers)
