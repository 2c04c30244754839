"""Sure and wrong: from the practice sheets to class report and returned page, and from nowhere else."""

import re

import pytest

from grader import catalogue, clock
from grader.course.attempts import kept
from grader.course.audit import deletion, verify
from grader.course.grading import mark_class
from grader.course.issue import assign
from grader.course.submissions import collect
from grader.demo import build as demo_build
from grader.demo import practising, scenario, trainees
from grader.exercise import sheet as sheets
from grader.exercise.model import ASSESSED, PRACTICE
from grader.exercise.truth import Truth
from grader.marking import confidence
from grader.records import database, schema
from grader.records.term import roster
from grader.reports.feedback import class_report, return_run
from grader.reports.feedback import confidence as class_confidence
from grader.reports.feedback.verdict_words import SURE_AND_WRONG
from tests.modules import proofs
from tests.work import issue_of, put_in_inbox, right_answers, sheet_of

KEY, ARC, TIME = "m01_timing", "m01.mark_arc.arc", "m01.angle_time.time"
CLASS = "id,last_name,first_name\nT01,Arundell,Bea\nT02,Castellan,Rufus\nT03,Marr,Ivo\nT04,Null,Dov\n"


def said(term, who, words, *, wrong=()):
    """A sheet with everything right in the end; `wrong` paths held the module's first slip when they were checked."""
    module, record = catalogue.module(KEY), issue_of(term, who)
    truth, sheet = Truth(module, record.numbers), sheet_of(record, right_answers(module, record))
    for path, answer in sheet.answers.items():
        slip = next(iter(module.by_path[path][1].slips), None)
        raw = f"{truth.slip(path, slip):.2f}" if path in wrong else answer.raw
        rest = {"first": [raw, answer.unit], **({"sure": words[path]} if path in words else {})}
        sheet = sheet.with_answer(path, answer.but(rest=rest))
    return sheet


def hand_in(term, sheet):
    path = put_in_inbox(term, sheet)
    return collect.collect(term, [path.parent], received_at=clock.parse("2026-03-30 12:00", term.settings.zone))


@pytest.fixture(params=[PRACTICE, ASSESSED])
def handed_in(request, empty_term):
    """Four sheets in practice, and the very same in assessed work: two sure and wrong of the arc, two right by a guess."""
    listed = empty_term.folder / "rosters" / "list.csv"
    listed.write_text(CLASS, encoding="utf-8")
    roster.import_list(empty_term, listed)
    assign.assign(empty_term, KEY, mode=request.param)
    notes = []
    for who, words, wrong in (
        ("t01", {ARC: "know", TIME: "guess"}, (ARC,)), ("t02", {ARC: "know", TIME: "think so"}, (ARC,)),
        ("t03", {ARC: "guess", TIME: "know"}, ()), ("t04", {ARC: "guess", TIME: "sure thing"}, (TIME,)),
    ):  # fmt: skip
        notes += hand_in(empty_term, said(empty_term, who, words, wrong=wrong)).notes
    mark_class.mark(empty_term, KEY)
    return request.param, empty_term, notes


def test_the_report_tells_it_of_practice_alone(handed_in, m01):
    mode, term, notes = handed_in
    text = class_report.write([term], KEY)[0].read_text("utf-8")
    with database.transaction(term) as connection:
        marks = connection.execute(schema.mark.select()).all()
    assert {mark.mark for mark in marks} == {2800}, "no word moves a mark, in neither mode"
    if mode == ASSESSED:
        assert "Sure and wrong" not in text and class_confidence.of_class(term, m01) is None
        assert len(notes) == 4 and all("in assessed work it is not looked at" in note for note in notes)
        return
    (note,) = notes
    assert TIME in note and "'sure thing'" in note and "passed over" in note
    found = class_confidence.of_class(term, m01)
    assert (found.sheets, found.said, found.unread) == (4, 4, 0)
    (row,) = found.rows
    exercise, part = m01.by_path[ARC]
    assert (row.title, row.said, row.sure_and_wrong, row.right_by_guess) == (exercise.title, 4, 2, 2)
    assert (row.slip, row.made) == (part.slips[0].says, 2)
    section = text[text.index("<h2>Sure and wrong") : text.index("<h2>Marks by trainee")]
    assert [int(n) for n in re.findall(r'<td class="number">(\d+)</td>', section)] == [4, 2, 2]
    assert not any(name in section for name in ("Arundell", "Castellan", "Marr", "Null")), "counts, not people"
    assert verify.verify(term).findings == []


def test_the_returned_page_tells_whom_it_concerns(handed_in):
    mode, term, _ = handed_in
    return_run.give_back(term, KEY)
    told = {who: return_run.returned_path(term, who, KEY, 1).read_text("utf-8").count(SURE_AND_WRONG) for who in ("t01", "t02", "t03", "t04")}  # fmt: skip
    assert told == ({"t01": 1, "t02": 1, "t03": 0, "t04": 0} if mode == PRACTICE else dict.fromkeys(told, 0))


def test_it_goes_with_the_person(handed_in, m01):
    mode, term, _ = handed_in
    done = deletion.delete_person(term, "T01", reason="asked for it")
    assert done.findings == []
    if mode == PRACTICE:
        found = class_confidence.of_class(term, m01)
        assert (found.sheets, found.rows[0].sure_and_wrong, found.rows[0].right_by_guess) == (3, 1, 2)


def test_a_kept_hand_in_that_was_changed_stops_neither_page(handed_in, m01):
    mode, term, _ = handed_in
    with database.transaction(term) as connection:
        sha256 = connection.execute(schema.hand_in.select()).first().sha256
    kept.kept_path(term, sha256).write_text("{}")
    text = class_report.write([term], KEY)[0].read_text("utf-8")
    if mode == PRACTICE:
        assert class_confidence.of_class(term, m01).unread == 1 and "1 kept hand-ins could not be read again" in text
    assert return_run.give_back(term, KEY).written == 4
    assert len(verify.verify(term).findings) == 2


@pytest.mark.parametrize(
    ("word", "right", "counted"),
    [
        (confidence.GUESS, True, (0, 1)), (confidence.GUESS, False, (0, 0)), (confidence.GUESS, None, (0, 0)),
        (confidence.KNOW, True, (0, 0)), (confidence.KNOW, False, (1, 0)), (confidence.KNOW, None, (0, 0)),
        (confidence.THINK_SO, True, (0, 0)), (confidence.THINK_SO, False, (0, 0)),
    ],
)  # fmt: skip
def test_what_was_blank_or_unreadable_is_neither_right_nor_wrong(word, right, counted):
    """Only sure and wrong, and right by a guess, are counted; of an exercise with a blank nothing can be said."""
    count = class_confidence.Count()
    class_confidence._count(count, confidence.Said(word, right))
    assert (count.said, count.sure_and_wrong, count.right_by_guess) == (1, *counted)


def test_before_anybody_hands_in_or_says_a_word(empty_term, m01):
    listed = empty_term.folder / "rosters" / "list.csv"
    listed.write_text(CLASS, encoding="utf-8")
    roster.import_list(empty_term, listed)
    assign.assign(empty_term, KEY, mode=PRACTICE)
    assert "Sure and wrong" not in class_report.write([empty_term], KEY)[0].read_text("utf-8")
    hand_in(empty_term, said(empty_term, "t01", {}))
    mark_class.mark(empty_term, KEY)
    assert "Nobody said how sure he was" in class_report.write([empty_term], KEY)[0].read_text("utf-8")
    hand_in(empty_term, said(empty_term, "t02", {ARC: "know"}, wrong=(ARC,)))
    mark_class.mark(empty_term, KEY)
    text = class_report.write([empty_term], KEY)[0].read_text("utf-8")
    assert "In no exercise were several sure and wrong" in text, "one alone says nothing about the exercise"


def test_the_simulated_class_practises(demo_term):
    done = demo_build.practise(demo_term)
    assert (done.collected.taken, done.collected.findings, done.collected.notes) == (23, [], [])
    assert done.sure.sheets == 23 and done.sure.said > 15 and done.sure.unread == 0
    assert sum(row.sure_and_wrong >= class_confidence.SEVERAL for row in done.sure.rows) >= 2
    text = done.report.read_text("utf-8")
    assert done.report.stem == scenario.PRACTISED and "<h2>Sure and wrong" in text
    assert "Sure and wrong" not in class_report.write([demo_term], scenario.MODULE)[0].read_text("utf-8")
    assert verify.verify(demo_term).findings == []


def test_whoever_goes_astray_is_less_often_sure():
    """300 simulated trainees, seed 5: the words stand as the model says, and only wrong answers are mended."""
    module = catalogue.module(scenario.PRACTISED)
    count = {True: [0, 0], False: [0, 0]}
    for n, numbers in enumerate(proofs.draws(module, 300)):
        record = _Record(module, numbers, f"t{n}")
        sheet, diary = practising.answer_sheet(module, record, 5)
        assert sheets.parse(sheets.dump(sheet)) == sheet
        for found in confidence.judge(module, record.exercises, sheet).values():
            if found.right is not None:
                count[found.right][0] += found.word == confidence.KNOW
                count[found.right][1] += 1
        for did in diary:
            answer = sheet.answers.get(did.part)
            if did.what == trainees.RIGHT and answer is not None:
                assert answer.rest["first"] == [answer.raw, answer.unit] and answer.tries == 1
    shares = {right: know / all_ for right, (know, all_) in count.items()}
    assert count[True][1] > 1500 and count[False][1] > 400
    assert shares[True] == pytest.approx(0.55, abs=0.05) and shares[False] == pytest.approx(0.30, abs=0.06)


class _Record:
    term, attempt = "proof", 1

    def __init__(self, module, numbers, trainee):
        self.module, self.numbers, self.trainee = module.key, numbers, trainee
        self.exercises = {e.key: {"version": e.version, "parameters": numbers[e.key]} for e in module.exercises}
