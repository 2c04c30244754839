"""A seeded model of honest trainees: what they would type, slips and all.

Each trainee has a skill between 0.55 and 0.98 and one favourite slip, which he
makes wherever an exercise offers it. For each part, in this order:

1. he leaves it blank: 4 % plus 8 % of what he lacks in skill;
2. he works it out from his own earlier answers, so that an early slip is carried;
3. with the chance of his skill the route is right; else it is a slip where one
   exists (his favourite first), or the right route with a miscalculation of 8 to 40 %
   (two steps changed over, one decision turned round, one tick too many);
4. he writes the result: rounded as asked (80 %), with a figure more (12 %) or too
   coarsely (8 %); with the unit or without; with a comma where he learnt it so; in
   the other unit that the form offers (15 %); three in a hundred write words;
5. a written answer is a short letter, better or worse with his skill (letters.py).

The model knows nothing of verdicts: it serves to see whether marking finds out
what happened, and its own record of what it did is kept beside the answers.
"""

from dataclasses import dataclass
from random import Random

from grader import units
from grader.demo import letters
from grader.errors import OutOfRange
from grader.exercise.issued import Issued
from grader.exercise.model import Module
from grader.exercise.sheet import Answer, Sheet
from grader.exercise.truth import Truth

RIGHT, SLIPPED, MISCALCULATED, BLANK, WORDS, COARSE = "right", "slip", "miscalculated", "blank", "words", "coarse"
WROTE = "wrote"


@dataclass(frozen=True, slots=True)
class Did:
    """What the simulated trainee did in one part.

    `slip` names the slip; of a letter it tells how each point of the rubric is met.
    """

    part: str
    what: str
    slip: str = ""


@dataclass(frozen=True, slots=True)
class _Habits:
    skill: float
    comma: bool
    writes_unit: bool
    favourite: str


def answer_sheet(module: Module, record: Issued, seed: int) -> tuple[Sheet, list[Did]]:
    """The sheet of one simulated trainee, and what he did.

    Parameters
    ----------
    module : Module
    record : Issued
        His own numbers.
    seed : int

    Returns
    -------
    (Sheet, list of Did)
    """
    random = Random(f"{seed} {record.trainee} {module.key}")
    slips = sorted({slip.key for _, part, _ in module.parts() for slip in part.slips})
    habits = _Habits(random.uniform(0.55, 0.98), random.random() < 0.3, random.random() < 0.5, random.choice(slips))
    truth = Truth(module, record.numbers)
    answers, diary, own = {}, [], {}
    for exercise, part, path in module.parts():
        raw, unit, value, did = _answered(random, habits, truth, path, part, own)
        diary.append(did)
        if value is not None:
            own[path] = value
        if raw:
            answers[path] = Answer(raw=raw, unit=unit, version=exercise.version, at="2026-03-01T18:00:00Z")
    sheet = Sheet(record.term, record.module, record.trainee, record.attempt, answers, saved="2026-03-01T19:30:00Z")
    return sheet, diary


def _answered(random, habits, truth, path, part, own):
    if random.random() < 0.04 + 0.08 * (1 - habits.skill):
        return "", "", None, Did(path, BLANK)
    if part.by_person:
        letter = letters.write(random, habits.skill, path, part, truth.given_at(path), truth.answer(path))
        return letter.text, "", None, Did(path, WROTE, ",".join(letter.met))
    right_route = random.random() < habits.skill
    if not part.numeric:
        return _choose(random, habits, truth, path, part, right_route)
    try:
        base = truth.following(path, own)
    except OutOfRange:
        base = truth.answer(path)
    if right_route:
        value, did = base, Did(path, RIGHT)
    else:
        value, did = _astray(random, habits, truth, path, part, base)
    return _written(random, habits, part, value, did)


def _choose(random, habits, truth, path, part, right_route):
    right, given = truth.answer(path), truth.given_at(path)
    if right_route:
        return part.typed(right, given), "", right, Did(path, RIGHT)
    led = _slips(truth, path, part)
    led = {key: answer for key, answer in led.items() if answer != right}
    if led and random.random() < 0.7:
        key = habits.favourite if habits.favourite in led else random.choice(sorted(led))
        return part.typed(led[key], given), "", led[key], Did(path, SLIPPED, key)
    wrong = part.disturbed(random, right)
    return part.typed(wrong, given), "", wrong, Did(path, MISCALCULATED)


def _slips(truth, path, part):
    led = {slip.key: truth.slip(path, slip) for slip in part.slips}
    return {key: value for key, value in led.items() if value is not None}


def _astray(random, habits, truth, path, part, base):
    led = _slips(truth, path, part)
    if led and random.random() < 0.75:
        key = habits.favourite if habits.favourite in led else random.choice(sorted(led))
        return led[key], Did(path, SLIPPED, key)
    return part.disturbed(random, base), Did(path, MISCALCULATED)


def _written(random, habits, part, value, did):
    ends = value if isinstance(value, tuple) else (value,)
    if random.random() < 0.03:
        return f"about {ends[0]:.0f}", "", None, Did(did.part, WORDS)
    unit = part.asked
    if part.also and random.random() < 0.15:
        unit = units.unit(part.also[0])
    step = part.step / units.scale(unit, part.asked)
    places = max(0, -_exponent(step))
    kind = random.random()
    if kind < 0.12:
        places += 1
    elif kind < 0.20 and places > 0 and did.what == RIGHT:
        places, did = places - 1, Did(did.part, COARSE)
    texts = [f"{units.convert(end, part.asked, unit):.{places}f}" for end in ends]
    own = tuple(units.convert(float(text), unit, part.asked) for text in texts)
    text = " to ".join(texts)
    if habits.comma:
        text = text.replace(".", ",")
    if habits.writes_unit:
        text = f"{text} {unit.text}"
    return text, unit.text, own if isinstance(value, tuple) else own[0], did


def _exponent(step):
    """Power of ten of the last figure that a rounding step asks for; 0.004 in asks for thousandths."""
    power = 0
    while step < 0.9999 and power > -6:
        step *= 10
        power -= 1
    return power
