"""Trainees who sat a module, got it back and sit a part of it again: made for the tests of resits."""

from grader import clock
from grader.course.grading import mark_class, resit, written_answers
from grader.course.submissions import collect
from grader.reports.feedback import return_run
from tests.work import NEXT, issue_of, put_in_inbox, right_answers, sheet_of, wrong_answers

KEY = "m01_timing"
LATER = f"{NEXT}-03-31 17:00"
LETTER, WORDS = "m01.letter.text", "Dear customer, the zephyrine mark was off."
WRONG = ("m01.mark_arc.arc", "m01.angle_time.time")  # T1 is not met


def hand_in(term, answers, attempt=1, *, who="t01", when="2026-03-30 12:00", **units):
    """Hand in and mark; returns what was handed in."""
    record = issue_of(term, who, attempt=attempt)
    sheet = sheet_of(record, answers)
    for path, unit in units.items():
        sheet = sheet.with_answer(path, unit)
    path = put_in_inbox(term, sheet)
    collect.collect(term, [path.parent], received_at=clock.parse(when, term.settings.zone))
    assert mark_class.mark(term, KEY).findings == []
    return sheet


def returned(term, m01, *, who="t01", letter=WORDS, wrong=WRONG):
    """One trainee with a first attempt that is marked, read and returned."""
    record = issue_of(term, who)
    answers = right_answers(m01, record) | wrong_answers(m01, record, wrong)
    hand_in(term, answers | ({LETTER: letter} if letter else {}), who=who)
    for answer in written_answers.answers(term, KEY):
        written_answers.give(term, KEY, answer.code, ["1", "0.5"], "Say what you measured.")
    assert return_run.give_back(term, KEY, trainee=who).written == 1
    return term


def sit(term, who="T01", **how):
    """Issue the resit."""
    return resit.resit(term, who, KEY, due=LATER, reason="again", **how)
