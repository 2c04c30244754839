"""A whole answer sheet: every part's verdict, and the marks they add up to."""

from dataclasses import dataclass

from grader.errors import BadSheet
from grader.exercise.model import Number
from grader.exercise.truth import Truth
from grader.marking.compare import BLANK, PartMark, mark_part

ENGINE = "marking 1"  # raise when a verdict or a mark can come out differently


@dataclass(frozen=True, slots=True)
class SheetMark:
    """What a sheet is worth. `notes` are sentences about entries that were passed over."""

    module: str
    parts: tuple[PartMark, ...]
    notes: tuple[str, ...] = ()

    @property
    def hundredths(self):
        return sum(part.hundredths for part in self.parts)

    @property
    def most(self):
        return sum(part.most for part in self.parts)

    @property
    def answered(self):
        return sum(part.verdict != BLANK for part in self.parts)

    def exercise_hundredths(self, key):
        """Hundredths earned in one exercise."""
        return sum(part.hundredths for part in self.parts if part.path.rpartition(".")[0] == key)


def mark_sheet(module, exercises, sheet):
    """Mark a sheet against the numbers that were issued.

    Parameters
    ----------
    module : Module
    exercises : dict
        As issued: exercise key to {"version", "parameters"}.
    sheet : Sheet

    Returns
    -------
    SheetMark

    Raises
    ------
    BadSheet
        The sheet belongs to another module, or numbers of another version of
        an exercise were issued.
    """
    if sheet.module != module.key:
        raise BadSheet(f"The answer sheet is for {sheet.module}, not for {module.key}. Hand in the one of this lesson.")
    for exercise in module.exercises:
        issued = exercises.get(exercise.key)
        if issued is None:
            raise BadSheet(f"No numbers were issued for {exercise.key}. Assign the module again.")
        if issued["version"] != exercise.version:
            raise BadSheet(
                f"{exercise.key} was issued in version {issued['version']}; this version of Timing Mark marks "
                f"version {exercise.version}. Use the version it was issued with."
            )
    truth = Truth(module, {key: entry["parameters"] for key, entry in exercises.items()})
    notes, marks, own, settled = [], [], {}, {}
    known = set()
    for exercise, part, path in module.parts():
        known.add(path)
        answer = sheet.answers.get(path)
        if answer is not None and answer.version != exercise.version and answer.raw.strip():
            notes.append(
                f"{path} was answered for version {answer.version} of the exercise; version {exercise.version} was issued. "
                "It counts as blank; read it yourself."
            )
            answer = None
        mark = mark_part(truth, path, part, answer, own, settled)
        settled[path] = mark.verdict
        if mark.own is not None and _possible(part, mark.own):
            own[path] = mark.own
        marks.append(mark)
    strangers = [path for path in sheet.answers if path not in known]
    if strangers:
        shown = ", ".join(path[:40] for path in strangers[:3]) + (" and more" if len(strangers) > 3 else "")
        notes.append(f"No exercise of {module.key} is called {shown}; these answers are kept and count nothing.")
    return SheetMark(module.key, tuple(marks), tuple(notes))


def _possible(part, own):
    return not isinstance(part, Number) or part.possible[0] <= own <= part.possible[1]
