"""How sure a trainee said to be: read with care, judged by the first answers, and without any hold on a mark."""

import json

import pytest

from grader.exercise import sheet as sheets
from grader.exercise.truth import Truth
from grader.marking import confidence, verdict
from grader.marking.mark import mark_sheet
from tests.modules import proofs
from tests.work import right_answers, sheet_of

ARC, TIME = "m01.mark_arc.arc", "m01.angle_time.time"


class _Record:
    term, module, trainee, attempt = "spring", "m01_timing", "t01", 1

    def __init__(self, module, numbers):
        self.numbers = numbers
        self.exercises = {e.key: {"version": e.version, "parameters": numbers[e.key]} for e in module.exercises}


@pytest.fixture
def record(m01):
    return _Record(m01, proofs.draws(m01, 1)[0])


def with_rest(sheet, path, **rest):
    entry = sheet.answers.get(path, sheets.Answer(""))
    return sheet.with_answer(path, entry.but(rest={**entry.rest, **rest}))


def test_it_lies_in_the_sheet_and_comes_back(m01, record):
    sheet = with_rest(sheet_of(record, right_answers(m01, record)), ARC, sure="know", first=["1", "mm"])
    again = sheets.parse(sheets.dump(sheet))
    assert again == sheet and confidence.said(again) == ({"m01.mark_arc": "know"}, [])
    assert confidence.as_first_checked(again).answers[ARC].raw == "1"
    older = sheets.parse(sheets.dump(sheet_of(record, right_answers(m01, record))))
    assert confidence.said(older) == ({}, []) and confidence.as_first_checked(older) == older
    assert confidence.judge(m01, record.exercises, older) == {}


@pytest.mark.parametrize("bad", ["certain", "", "Know", 3, None, True, ["know"], {"word": "know"}, "k" * 5000])
def test_another_word_is_passed_over_with_a_sentence(m01, record, bad):
    sheet = with_rest(sheet_of(record, right_answers(m01, record)), ARC, sure=bad)
    said, (problem,) = confidence.said(sheets.parse(sheets.dump(sheet)))
    assert said == {} and problem.startswith(f"{ARC} says how sure as ") and "guess, think so, know" in problem
    assert len(problem) < 250 and "the answer stands" in problem


@pytest.mark.parametrize("bad", ["12", 12, None, [], ["12"], ["12", 3], [["12"], "mm"], ["1" * 20_001, ""]])
def test_a_first_answer_that_is_none_is_passed_over(m01, record, bad):
    sheet = with_rest(sheet_of(record, right_answers(m01, record)), ARC, sure="know", first=bad)
    again = sheets.parse(json.dumps(json.loads(sheets.dump(sheet))).encode())
    assert confidence.as_first_checked(again).answers[ARC].raw == sheet.answers[ARC].raw
    assert confidence.judge(m01, record.exercises, again)["m01.mark_arc"].right is True


def test_it_never_moves_a_mark(m01):
    """Over 40 trainees with right and wrong answers: every verdict and every mark is the same with and without it."""
    compared = 0
    for n, numbers in enumerate(proofs.draws(m01, 40)):
        record = _Record(m01, numbers)
        answers = right_answers(m01, record)
        answers = {path: raw if (n + i) % 3 else "1" for i, (path, raw) in enumerate(answers.items())}
        plain = sheet_of(record, answers)
        full = plain
        for i, path in enumerate(plain.answers):
            full = with_rest(full, path, sure=confidence.WORDS[(n + i) % 3], first=["99", "mm"])
        assert mark_sheet(m01, record.exercises, full) == mark_sheet(m01, record.exercises, plain)
        compared += len(full.answers)
    assert compared > 500


def test_the_first_answer_is_judged_and_not_the_mended_one(m01, record):
    truth = Truth(m01, record.numbers)
    slip = m01.by_path[ARC][1].slips[0]
    wrong = f"{truth.slip(ARC, slip):.1f}"
    mended = with_rest(sheet_of(record, right_answers(m01, record)), ARC, sure="know", first=[wrong, "mm"])
    found = confidence.judge(m01, record.exercises, mended)["m01.mark_arc"]
    assert (found.word, found.right, found.slips) == ("know", False, ((ARC, slip.key),))
    spoilt = sheet_of(record, {**right_answers(m01, record), ARC: wrong})
    right = spoilt.answers[ARC]
    first_right = with_rest(spoilt, ARC, sure="guess", first=[right_answers(m01, record)[ARC], right.unit])
    assert confidence.judge(m01, record.exercises, first_right)["m01.mark_arc"].right is True


def test_only_exercises_of_which_something_was_said(m01, record):
    sheet = with_rest(sheet_of(record, right_answers(m01, record)), TIME, sure="think so")
    assert set(confidence.judge(m01, record.exercises, sheet)) == {"m01.angle_time"}


def test_what_says_nothing_is_not_judged(m01, record):
    for raw in ("", "twelve"):
        sheet = with_rest(sheet_of(record, {**right_answers(m01, record), ARC: raw}), ARC, sure="know")
        assert confidence.judge(m01, record.exercises, sheet)["m01.mark_arc"].right is None


@pytest.mark.parametrize(
    ("verdicts", "right"),
    [
        ((verdict.RIGHT,), True), ((verdict.CARRIED, verdict.COARSE), True), ((verdict.RIGHT, verdict.AWAITING), True),
        ((verdict.RIGHT, verdict.SLIP), False), ((verdict.BLANK, verdict.WRONG), False), ((verdict.PARTLY,), False),
        ((verdict.RIGHT, verdict.BLANK), None), ((verdict.UNREADABLE,), None), ((verdict.KIND,), None),
        ((verdict.AWAITING,), None), ((), None),
    ],
)  # fmt: skip
def test_parts_are_right_together(verdicts, right):
    assert confidence.was_right([verdict.PartMark("x", v, 0, 0) for v in verdicts]) is right


def test_every_verdict_is_decided():
    known = confidence._RIGHT | confidence._WRONG | {verdict.BLANK, verdict.UNREADABLE, verdict.KIND, verdict.AWAITING, verdict.READ}  # fmt: skip
    assert known == set(verdict.VERDICTS)
