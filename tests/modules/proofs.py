"""What every module must prove; each module's test file calls these."""

import json
from pathlib import Path

from grader.exercise.model import Module
from grader.exercise.truth import Truth
from grader.marking import proof
from grader.marking.mark import mark_sheet

KEY = proof.KEY
GOLDEN = Path(__file__).parent / "golden"


def draws(module, count):
    """Parameters of `count` trainees."""
    return list(proof.draws(module, count))


def exercises(module, numbers):
    """Numbers in the form in which they are issued."""
    return proof.as_issued(module, numbers)


def marks_of(module, numbers, answers):
    """Marks of typed answers against a trainee's numbers."""
    return mark_sheet(module, exercises(module, numbers), proof.sheet(module, answers))


def everything(module, trainees=300):
    """The whole proof of a module without a fault; returns what it found."""
    found = proof.prove(module, trainees)
    assert found.faults == []
    return found


def honest_readings_are_right(module, readings=2000, seed=20260301):
    """No honest reading of an instrument is marked wrong."""
    done, wrong = proof.honest_readings(module, readings, seed, trainees=50)
    assert done >= readings and wrong == [], f"seed {seed}: {wrong[:3]}"


def numbers_and_answers_are_as_recorded(module):
    """Twenty draws of each exercise and version with their answers; a change needs a new version.

    Old versions are held by the same files, for as long as they are kept.
    """
    fresh = []
    for exercise in (*module.exercises, *module.old):
        fresh += _as_recorded(_with(module, exercise), exercise)
    assert fresh == [], "these were missing and are written now; look at them, then run again"


def _with(module, exercise):
    """The module with one exercise in that version, and with it those of this version that are drawn together with it."""
    leader = exercise.linked or exercise.key
    group = {
        e.key: e
        for e in (*module.exercises, *module.old)
        if (e.linked or e.key) == leader and e.version == exercise.version
    }
    dropped = tuple(e for key, e in group.items() if key not in {e.key for e in module.exercises})
    exercises = (*(group.get(e.key, e) for e in module.exercises), *dropped)
    return Module(module.key, module.title, module.minutes, exercises)


def _as_recorded(module, exercise, golden=GOLDEN):
    now = []
    for numbers in draws(module, 20):
        truth = Truth(module, numbers)
        answers = {part.key: truth.answer(f"{exercise.key}.{part.key}") for part in exercise.parts}
        answers |= {part.key: part.recorded(answers[part.key]) for part in exercise.parts if part.proved_apart}
        now.append({"parameters": numbers[exercise.key], "answers": json.loads(json.dumps(answers))})
    path = golden / f"{exercise.key}@{exercise.version}.json"
    if not path.exists():
        path.parent.mkdir(exist_ok=True)
        path.write_text(json.dumps(now, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
        return [path.name]
    kept = json.loads(path.read_text(encoding="utf-8"))
    assert [e["parameters"] for e in kept] == [e["parameters"] for e in now], f"{path.name}: the draw changed"
    for before, after in zip(kept, now, strict=True):
        for key, value in before["answers"].items():
            same = _same(value, after["answers"][key])
            assert same, f"{path.name}: the answer {key} changed; give the exercise a new version"
    return []


def _same(before, after):
    if isinstance(before, list):
        return len(before) == len(after) and all(map(_same, before, after))
    return abs(before - after) <= 1e-12 * abs(before) if isinstance(before, float) else before == after
