"""A wrong answer without a slip of its own gets a sentence that fits what was asked, and gives nothing away."""

import re

import pytest

from grader import catalogue
from grader.bench.part import Bench
from grader.exercise.kinds import Choices, PlotReading, Range, Written
from grader.exercise.model import Choice, Number
from grader.exercise.sorting import Batch, BatchByCost, FiringOrder, Order
from grader.exercise.truth import Truth
from grader.marking import feedback, verdict
from tests.marking.bench_parts import kinds
from tests.modules import proofs

FITS = {  # a word of what the trainee is to look at
    Number: "steps", Choice: "Not this one", Range: "the least", PlotReading: "curve", Choices: "each line", Order: "step",
    FiringOrder: "rotor", Batch: "limit",
}  # fmt: skip


def test_every_kind_has_a_sentence_of_its_own():
    assert set(FITS) | {Written, BatchByCost, Bench} == set(kinds())  # a session at the bench has its debrief


@pytest.fixture(scope="module")
def wrong():
    """(part, its verdict, right answer, given) for wrong answers that no slip foresees, all modules."""
    found = []
    for module in catalogue.all_modules().values():
        for numbers in proofs.draws(module, 12):
            truth = Truth(module, numbers)
            for exercise, part, path in module.parts():
                if isinstance(part, Written | Bench):  # a bench tells its marks and steps, not one sentence
                    continue
                right, given = truth.answer(path), truth.given(exercise.key)
                for text in typed(part, right, given):
                    sheet = proofs.marks_of(module, numbers, {path: text})
                    mark = next(mark for mark in sheet.parts if mark.path == path)
                    if mark.verdict == verdict.WRONG:
                        found.append((part, mark, right, given))
    return found


def typed(part, right, given):
    if isinstance(part, Range):
        return ["8101 to 8102"]
    if hasattr(part, "half_step"):
        return ["8101"]
    if isinstance(part, Choice):
        return [key for key in part.options if key != right]
    if isinstance(part, Choices):
        return [";".join(key for key in part.options if key not in right)]
    if isinstance(part, Order):
        return [">".join(reversed(right)), next(iter(part.items))]
    if isinstance(part, FiringOrder):
        return ["-".join(map(str, (right[0], right[2], right[1], *right[3:])))]
    opposite = {"keep": "reject", "reject": "keep", "either": "keep"}
    return [";".join(f"{label}={opposite[word]}" for label, word in zip(part.items(given), right, strict=True))]


def test_the_sentence_fits_the_kind(wrong):
    seen = set()
    for part, mark, _, _ in wrong:
        said = feedback.say(part, mark)
        assert FITS[type(part)] in said, (mark.path, said)
        assert 1 <= len(re.findall(r"[.?!](?: |$)", said)) <= 2 and len(said) < 150
        seen.add(type(part))
    assert seen >= set(FITS) - {
        FiringOrder,
        Order,
    }  # two leads changed over are partly right; most bad orders break a critical pair


def test_the_sentence_gives_nothing_away(wrong):
    for part, mark, right, given in wrong:
        said = feedback.say(part, mark).lower()
        # What speaks against an option may name a figure of the rule; no choice is answered with a figure.
        assert isinstance(part, Choice) or not re.search(r"\d", said), "no figure stands in it"
        if isinstance(part, Choice):
            assert part.options[right].lower().rstrip(".") not in said
        shown = re.escape(feedback.shown(part, right, given).lower())
        assert not re.search(rf"(?<!\w){shown}(?!\w)", said)
