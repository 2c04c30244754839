"""A seeded model of trainees at the bench: each goes his own way about his first cars, for better or worse.

The rest of the sheet is answered as in trainees.py; letters are left out.
"""

from collections.abc import Mapping
from dataclasses import replace
from random import Random

from grader.bench import cases
from grader.bench import trainees as at_work
from grader.demo import scenario, trainees
from grader.exercise.issued import Issued
from grader.exercise.model import Exercise, Module
from grader.exercise.sheet import Answer, Sheet

PARTS = "parts"  # fits on suspicion until he gives up
COPIED = "copied"  # hands in the logs of somebody else, of whose cars others were wrong


def answer_sheet(module: Module, record: Issued, way: str, seed: int, logs: Mapping[str, str]) -> Sheet:
    """The sheet of one simulated trainee.

    Parameters
    ----------
    module : Module
    record : Issued
        His own numbers.
    way : str
        A key of `grader.bench.trainees.STRATEGIES`, or `COPIED`.
    seed : int
    logs : dict of str to str
        By "exercise.part", what a copier hands in.

    Returns
    -------
    Sheet
    """
    cars = [exercise for exercise in module.exercises if _is_car(exercise)][: scenario.BENCH_CARS]
    others = replace(module, exercises=tuple(exercise for exercise in module.exercises if not _is_car(exercise)))
    sheet, diary = trainees.answer_sheet(others, record, seed)
    letters = {did.part for did in diary if did.what == trainees.WROTE}
    answers = {path: answer for path, answer in sheet.answers.items() if path not in letters}
    random = Random(f"{seed} bench {record.trainee}")
    for exercise in cars:
        path = f"{exercise.key}.{exercise.parts[0].key}"
        case = cases.from_plain(record.numbers[exercise.key])
        if way == COPIED:
            log = logs[path]
        elif way == PARTS:
            log = at_work.parts_road(case, scenario.MOST_PARTS)
        else:
            log = at_work.STRATEGIES[way].road(case, random)
        answers[path] = Answer(raw=log, unit="", version=exercise.version, at="2026-03-15T18:00:00Z")
    return sheet.but(answers=answers)


def _is_car(exercise: Exercise) -> bool:
    return any(part.keeps_a_log for part in exercise.parts)


def logs_of(sheet: Sheet, module: Module) -> dict[str, str]:
    """What a copier takes from a sheet: the logs, by "exercise.part"."""
    paths = [f"{exercise.key}.{exercise.parts[0].key}" for exercise in module.exercises if _is_car(exercise)]
    return {path: sheet.answers[path].raw for path in paths if path in sheet.answers}
