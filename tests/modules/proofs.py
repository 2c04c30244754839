"""What every module must prove; each module's test file calls these."""

import json
from collections import Counter
from pathlib import Path

from grader.exercise import sheet as sheets
from grader.exercise import variant
from grader.exercise.model import Choice, Number
from grader.exercise.truth import Truth
from grader.marking.mark import mark_sheet
from tests.work import right_answers

KEY = bytes(range(32))
GOLDEN = Path(__file__).parent / "golden"


def draws(module, count):
    """Parameters of `count` trainees."""
    return [variant.draw(module, key=KEY, term="proof", trainee=f"t{i:05d}", attempt=1) for i in range(count)]


def exercises(module, numbers):
    """Numbers in the form in which they are issued."""
    return {e.key: {"version": e.version, "parameters": numbers[e.key]} for e in module.exercises}


def marks_of(module, numbers, answers):
    """Marks of typed answers against a trainee's numbers."""
    entries = {path: sheets.Answer(raw) for path, raw in answers.items()}
    return mark_sheet(module, exercises(module, numbers), sheets.Sheet("proof", module.key, "t", 1, entries))


def right_sheets_earn_everything(module, drawn):
    """Rounded as asked, every right answer is right for every trainee."""
    for numbers in drawn:
        found = marks_of(module, numbers, _answers(module, numbers))
        assert [part.path for part in found.parts if part.verdict != "right"] == []
        assert found.hundredths == module.marks * 100


def slips_are_named(module, drawn):
    """Whoever takes a foreseen wrong route is told that very slip."""
    for numbers in drawn:
        truth = Truth(module, numbers)
        right = _answers(module, numbers)
        for _, part, path in module.parts():
            for slip in part.slips:
                led = truth.slip(path, slip)
                if led is None or led == truth.answer(path):
                    continue
                typed = f"{led:.6f}" if isinstance(part, Number) else part.typed(led)
                mark = next(m for m in marks_of(module, numbers, {**right, path: typed}).parts if m.path == path)
                assert (mark.verdict, mark.slip) == ("slip", slip.key), (path, slip.key, typed, numbers)


def copying_pays_little(module, drawn):
    """A classmate's answer, or any constant, is right in at most a tenth of cases; a choice of k in 1/k + 5 %."""
    allowed = {}
    for _, part, path in module.parts():
        allowed[path] = 1 / len(part.options) + 0.05 if isinstance(part, Choice) else 0.10
    typed = [_answers(module, numbers) for numbers in drawn]
    copied = Counter()
    for position, numbers in enumerate(drawn):
        neighbour = typed[(position + 1) % len(drawn)]
        copied.update(m.path for m in marks_of(module, numbers, neighbour).parts if m.verdict == "right")
    for path, limit in allowed.items():
        # Three standard errors of a share drawn from so many trainees are forgiven here; the long run forgives fewer.
        slack = 3 * (limit * (1 - limit) / len(drawn)) ** 0.5
        assert copied[path] / len(drawn) <= limit + slack, (
            f"copying {path} is right {copied[path]} of {len(drawn)} times"
        )
        assert _best_constant(module, drawn, path) <= limit + slack, f"one constant answer to {path} is right too often"


def numbers_and_answers_are_as_recorded(module):
    """Twenty draws of each exercise and version with their answers; a change needs a new version."""
    drawn, fresh = draws(module, 20), []
    for exercise in module.exercises:
        now = []
        for numbers in drawn:
            truth = Truth(module, numbers)
            answers = {part.key: truth.answer(f"{exercise.key}.{part.key}") for part in exercise.parts}
            now.append({"parameters": numbers[exercise.key], "answers": answers})
        path = GOLDEN / f"{exercise.key}@{exercise.version}.json"
        if not path.exists():
            path.parent.mkdir(exist_ok=True)
            path.write_text(json.dumps(now, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
            fresh.append(path.name)
            continue
        kept = json.loads(path.read_text(encoding="utf-8"))
        assert [entry["parameters"] for entry in kept] == [entry["parameters"] for entry in now], (
            f"{path.name}: the draw changed"
        )
        for before, after in zip(kept, now, strict=True):
            for key, value in before["answers"].items():
                same = (
                    abs(value - after["answers"][key]) <= 1e-12 * abs(value)
                    if isinstance(value, float)
                    else value == after["answers"][key]
                )
                assert same, f"{path.name}: the answer {key} changed; give the exercise a new version"
    assert fresh == [], "these were missing and are written now; look at them, then run again"


def _answers(module, numbers):
    class Record:
        pass

    record = Record()
    record.numbers = numbers
    return right_answers(module, record)


def _best_constant(module, drawn, path):
    """Greatest share of trainees for whom one and the same answer is right."""
    intervals, labels = [], Counter()
    for numbers in drawn:
        truth = Truth(module, numbers)
        value = truth.answer(path)
        if isinstance(value, str):
            labels[value] += 1
        else:
            width = truth.tolerance(path)
            intervals += [(value - width, 0), (value + width, 1)]
    if labels:
        return labels.most_common(1)[0][1] / len(drawn)
    best = open_now = 0
    for _, closes in sorted(intervals):
        open_now += -1 if closes else 1
        best = max(best, open_now)
    return best / len(drawn)
