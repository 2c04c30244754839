"""A seeded model of trainees who practise: how sure they say to be, what they check, what they mend.

A simulated trainee answers as in trainees.py; letters he leaves out. Then, exercise
by exercise:

1. eight in ten say how sure they are before they check. Whoever took the right
   route says know (55 in 100), think so (35) or guess (10); whoever went astray
   know (30), think so (40) or guess (30): a slip feels right while it is made;
2. he checks every answer once, so that the form keeps it as first checked;
3. seven in ten wrong answers are mended after the verdict, and the sheet that is
   handed in holds the right one.
"""

from random import Random

from grader.demo import trainees
from grader.demo.trainees import Did
from grader.exercise.issued import Issued
from grader.exercise.model import Module
from grader.exercise.sheet import Answer, Sheet
from grader.exercise.truth import Truth
from grader.marking.confidence import FIRST, GUESS, KNOW, SURE, THINK_SO

_SAYS, _MENDS = 0.8, 0.7
_RIGHT = ((0.55, KNOW), (0.90, THINK_SO), (1.0, GUESS))
_ASTRAY = ((0.30, KNOW), (0.70, THINK_SO), (1.0, GUESS))
_FINE = (trainees.RIGHT, trainees.COARSE)


def answer_sheet(module: Module, record: Issued, seed: int) -> tuple[Sheet, list[Did]]:
    """The practice sheet of one simulated trainee, and what he did before the first check.

    Parameters
    ----------
    module : Module
    record : Issued
    seed : int

    Returns
    -------
    (Sheet, list of Did)
    """
    sheet, diary = trainees.answer_sheet(module, record, seed)
    random = Random(f"{seed} practice {record.trainee} {module.key}")
    truth, did = Truth(module, record.numbers), {deed.part: deed.what for deed in diary}
    answers = {}
    for exercise in module.exercises:
        paths = {f"{exercise.key}.{p.key}": p for p in exercise.parts if not p.by_person}
        given = {path: sheet.answers[path] for path in paths if path in sheet.answers}
        if not given:
            continue
        word = _word(random, all(did[path] in _FINE for path in paths))
        for path, answer in given.items():
            answers[path] = _checked(random, truth, path, paths[path], answer, did[path] in _FINE)
        if word:
            first = f"{exercise.key}.{exercise.parts[0].key}"
            entry = answers.get(first, Answer("", version=exercise.version))
            answers[first] = entry.but(rest={**entry.rest, SURE: word})
    return sheet.but(answers=answers), [deed for deed in diary if deed.what != trainees.WROTE]


def _word(random, right):
    if random.random() >= _SAYS:
        return ""
    chance = random.random()
    return next(word for least, word in (_RIGHT if right else _ASTRAY) if chance < least)


def _checked(random, truth, path, part, answer, right):
    """The entry after a check, and after a second one where the first verdict was mended."""
    rest = {FIRST: [answer.raw, answer.unit]}
    if right or random.random() >= _MENDS:
        return answer.but(tries=1, rest=rest)
    raw = part.typed(truth.answer(path), truth.given_at(path))
    return answer.but(raw=raw, unit="", tries=2, rest=rest)
