"""A whole answer sheet: every part's verdict, and the marks they add up to."""

from dataclasses import dataclass

from grader.errors import BadSheet
from grader.exercise.issued import KEPT
from grader.exercise.sheet import Answer
from grader.exercise.truth import Truth
from grader.marking.compare import mark_part, possible
from grader.marking.verdict import AWAITING, BLANK, UNIT, Earlier, PartMark

ENGINE = "marking 3"  # raise when a verdict or a mark can come out differently
# In a resit, beside the kept answers of an exercise: which of them had a wrong unit that was charged somewhere else.
CHARGED_BEFORE = "charged_before"


@dataclass(frozen=True, slots=True)
class SheetMark:
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
    issued, notes, earlier, marks = truth.module, [], Earlier(), {}
    lesson = in_order = issued.parts()
    answers, free = sheet.answers, None
    if any([KEPT in entry for entry in exercises.values()]):
        answers, free = with_kept(exercises, answers), _charged_before(exercises)
        # What a resit keeps is settled first. Sorting is stable, and linked exercises are never torn apart.
        in_order = lesson if free is None else sorted(lesson, key=lambda found: KEPT not in exercises[found[0].key])
    for exercise, part, path in in_order:
        answer = answers.get(path)
        if answer is not None and answer.version != exercise.version and answer.raw.strip():
            notes.append(
                f"{path} was answered for version {answer.version} of the exercise; version {exercise.version} was issued. "
                "It counts as blank; read it yourself."
            )
            answer = None
        known = Earlier(earlier.own, earlier.settled, _Every()) if free and path in free else earlier
        mark = marks[path] = mark_part(truth, path, part, answer, known)
        if path in issued.carried:
            earlier.settled[path] = mark.verdict
            if mark.own is not None and possible(part, mark.own):
                earlier.own[path] = mark.own
    if not answers.keys() <= truth.paths:
        strangers = [path for path in answers if path not in truth.paths]
        shown = ", ".join(path[:40] for path in strangers[:3]) + (" and more" if len(strangers) > 3 else "")
        notes.append(f"No exercise of {module.key} is called {shown}; these answers are kept and count nothing.")
    in_lesson = marks.values() if in_order is lesson else (marks[path] for _, _, path in lesson)
    return SheetMark(module.key, tuple(in_lesson), tuple(notes))


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
