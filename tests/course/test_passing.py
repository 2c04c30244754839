"""Pass needs both: the pass mark, and every objective that must be met; one function says so everywhere."""

import csv
import io
import json
import zipfile
from collections import namedtuple
from decimal import Decimal
from types import SimpleNamespace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from grader import catalogue
from grader.course.attempts import passing, policy_change, standing
from grader.course.audit import verify
from grader.course.grading import adjust
from grader.marking.verdict import AWAITING
from grader.records import database, schema
from grader.records.term import policy, policy_in_force
from grader.records.term import term as terms
from grader.reports.export import layout, package, workbook
from grader.reports.export.oneroster import writer
from grader.reports.export.pages import evidence, moderation, programme_report
from grader.reports.export.xapi import statements
from grader.reports.feedback import class_report, return_run
from grader.reports.tables import grades, people
from tests.course.resits import KEY, LETTER, WORDS, WRONG, hand_in, returned, sit
from tests.work import NEXT, issue_of, right_answers, wrong_answers

Row = namedtuple("Row", "part hundredths most verdict")
Mark = namedtuple("Mark", "module mark most pending attempt")
T1 = [path for _, part, path in catalogue.module(KEY).parts() if "T1" in part.objectives]
MUST = "\n[objectives.T1]\nthreshold = {}\nmust_pass = true\n"


def a_term(threshold, pass_percent, must=True):
    rules = policy.Policy(thresholds={"T1": threshold}, must_pass=frozenset({"T1"} if must else ()))
    return SimpleNamespace(policy=rules, pass_percent=lambda module: pass_percent)


@settings(max_examples=300)
@given(
    earned=st.lists(st.one_of(st.none(), st.integers(0, 200)), min_size=1, max_size=len(T1)),
    threshold=st.integers(1, 100),
    pass_percent=st.integers(0, 100),
    mark=st.integers(0, 3000),
    pending=st.sampled_from([0, 200]),
    must=st.booleans(),
)
def test_pass_needs_both(earned, threshold, pass_percent, mark, pending, must):
    rows = [Row(path, got, 200, "right") for path, got in zip(T1, earned, strict=False)]
    found = passing.outcome(a_term(threshold, pass_percent, must), Mark(KEY, mark, 3000, pending, 1), rows)
    enough = mark * 100 >= pass_percent * 3000
    waits = None in earned
    shown = not waits and sum(earned) * 100 >= threshold * 200 * len(earned)
    if not must:
        assert found == passing.Outcome("yes" if enough else "" if pending else "no")
    elif not waits and not shown:
        assert found == passing.Outcome("no", ("T1",))
    else:
        assert found.failed == ()
        assert found.passed == ("" if enough and waits else "yes" if enough else "" if pending else "no")
    assert (found.passed == "yes") <= enough and (found.passed == "yes" and must) <= shown


@pytest.mark.parametrize(
    ("threshold", "earned", "met"),
    [
        (70, (80, 60), "yes"),  # 140 of 200: exactly at its threshold
        (70, (80, 59), "no"),
        (33, (66, 0), "yes"),
        (33, (65, 0), "no"),
        (100, (100, 100), "yes"),
        (100, (100, 99), "no"),
    ],
)
def test_an_objective_exactly_at_its_threshold_is_met(threshold, earned, met):
    """Who reaches the threshold to the hundredth of a mark has met the objective; a hundredth less has not."""
    rows = [Row(path, got, 100, "right") for path, got in zip(T1, earned, strict=False)]
    found = passing.judge(policy.Policy(thresholds={"T1": threshold}), "T1", rows)
    assert (found.met, found.lacking) == (met, met == "no")


@pytest.mark.parametrize(("earned", "lacking"), [(70, False), (69, True)])
def test_a_single_item_at_the_threshold_need_not_be_sat_again(earned, lacking):
    """One item is too few to say that an objective is met; it is given again only where it fell short."""
    found = passing.judge(policy.Policy(threshold=70), "T1", [Row(T1[0], earned, 100, "right")])
    assert (found.met, found.lacking) == ("too few items", lacking)


@settings(max_examples=200)
@given(earned=st.lists(st.integers(0, 300), min_size=1, max_size=5), threshold=st.integers(1, 100))
def test_the_table_says_what_the_decision_says(earned, threshold):
    """The share in a row of objectives.csv is rounded, and yet reaches the threshold exactly where the marks do."""
    rows = [SimpleNamespace(part="x", hundredths=got, most=300, verdict="right", attempt=1) for got in earned]
    term = SimpleNamespace(id="a", policy=policy.Policy(threshold=threshold))
    found = passing.judge(term.policy, "T1", rows)
    row = people.objective(term, SimpleNamespace(college_id="1"), catalogue.objectives()["T1"], rows)
    enough = sum(earned) * 100 >= threshold * 300 * len(earned)
    assert (Decimal(row["share"]) >= Decimal(row["threshold"])) is enough
    assert (found.lacking, found.met) == (not enough, row["met"])


def test_a_mark_by_hand_is_that_of_an_answer_only_where_it_is_all_of_its_exercise():
    """A letter that has a mark by hand waits for nobody; of a mark for several parts together none has a share of its own."""
    answered = namedtuple("answered", "part exercise hundredths verdict")
    letter, part = (
        answered(LETTER, "m01.letter", None, AWAITING),
        answered("m01.total.line_on", "m01.total", None, AWAITING),
    )
    read, still = passing.as_marked([letter, part], {"m01.letter": 150, "m01.total": 150})
    assert (read.hundredths, passing.waiting(read)) == (150, False) and still == part
    assert passing.as_marked([letter], {"m01.total": 150}) == [letter]


def opened(term, threshold):
    text = 'format = "timing-mark policy"\nschema = 1\n' + MUST.format(threshold)
    saved = term.folder.parent / "asked.toml"
    saved.write_text(text)
    policy_in_force.adopt([term], saved, reason="ours")
    return terms.open_term(term.folder)


def table(term, name):
    text = package.write([term], name).path.read_text("utf-8")
    return {row["trainee_id"]: row for row in csv.DictReader(io.StringIO(text, newline="")) if row.get("objective", "T1") == "T1"}  # fmt: skip


@pytest.fixture
def lacking(assigned_term, m01):
    """T01 reached the pass mark and has not met T1, which must be met; T02 has everything."""
    returned(assigned_term, m01)
    returned(assigned_term, m01, who="t02", wrong=())
    return opened(assigned_term, 70)


def test_every_export_says_who_passed_or_what_failed(lacking):
    grades = table(lacking, "grades")
    assert float(grades["T01"]["percent"]) > 60
    assert [(grades[who]["passed"], grades[who]["failed_objectives"]) for who in ("T01", "T02")] == [
        ("no", "T1"), ("yes", ""),
    ]  # fmt: skip
    objectives = table(lacking, "objectives")
    assert [(objectives[who]["met"], objectives[who]["must_pass"], objectives[who]["threshold"]) for who in ("T01", "T02")] == [
        ("no", "yes", "0.7"), ("yes", "yes", "0.7"),
    ]  # fmt: skip
    with zipfile.ZipFile(writer.write([lacking])) as archive:
        results = list(csv.DictReader(io.StringIO(archive.read("results.csv").decode(), newline="")))
    assert sorted(row["comment"] for row in results) == ["", "not passed: T1 must be met", "passed"]
    page = programme_report.write([lacking]).read_text("utf-8")
    assert "Not passed because an objective must be met and is not" in page
    assert "sit again: T1 must be met" in evidence.write([lacking], trainee="T01")[0].read_text("utf-8")
    with zipfile.ZipFile(moderation.write([lacking], KEY)[0]) as archive:
        index = archive.read("index.html").decode()
    assert "sit again: T1 must be met" in index and "T1 from 70 %" in index
    own = f"{statements.BASE}extensions/failed-objectives"
    found = [json.loads(line) for line in statements.write([lacking]).path.read_text("utf-8").splitlines()]
    told = {s["actor"]["account"]["name"]: (s["verb"]["display"]["en"], s["result"]["success"], s["context"]["extensions"].get(own))
            for s in found if s["object"]["id"].endswith(f"modules/{KEY}")}  # fmt: skip
    assert told == {"T01": ("failed", False, "T1"), "T02": ("passed", True, None)}
    sheet = class_report.write([lacking])[0].read_text("utf-8")
    assert "has not met T1" in sheet and "1 of 2 with a whole mark have passed" in sheet
    workbook.write([lacking])


def test_no_grade_word_hides_it(lacking):
    """T01 has more than the pass mark: the word for a pass is kept back, in the total and in the module."""
    words = ((80, "High"), (60, "Pass"), (0, "Refer"))
    taken = tuple((take, take) for take in ("trainee_id", "word", f"{KEY}.word"))
    found = {row["trainee_id"]: row for row in layout.rows([lacking], layout.Layout("trainee", taken, (), words))}
    assert (found["T01"]["word"], found["T01"][f"{KEY}.word"]) == ("Refer", "Refer")
    assert (found["T02"]["word"], found["T02"][f"{KEY}.word"]) == ("High", "High")
    each = layout.Layout("module", (("trainee_id", "trainee_id"), ("word", "word")), (), words)
    assert {row["trainee_id"]: row["word"] for row in layout.rows([lacking], each)}["T01"] == "Refer"


def test_the_returned_sheet_says_it(lacking):
    return_run.give_back(lacking, KEY)
    for who, said in (("t01", "not met yet"), ("t02", "met")):
        page = (lacking.folder / "returned" / who / f"{KEY}.html").read_text("utf-8")
        assert "Needed for a pass" in page and f"T1 from 70\u00a0%: {said}<" in page


def test_an_attempt_that_passes_counts_before_a_better_mark_that_does_not(assigned_term, m01):
    """The resit brings T1 and loses marks elsewhere: without a must the first attempt counts, with it the second."""
    returned(assigned_term, m01)
    asked = sit(assigned_term)
    record = issue_of(assigned_term, "t01", attempt=2)
    fresh = {exercise.key for exercise in asked.exercises}
    answers = {path: raw for path, raw in right_answers(m01, record).items() if path.rpartition(".")[0] in fresh}
    others = [path for path in answers if path not in T1]
    hand_in(assigned_term, answers | dict.fromkeys(others, "0.001"), attempt=2, when="2026-04-10 12:00")
    plain = table(assigned_term, "grades")["T01"]
    strict = opened(assigned_term, 70)
    found = table(strict, "grades")["T01"]
    assert (plain["attempt"], plain["passed"]) == ("1", "yes")
    assert (found["attempt"], found["passed"], found["failed_objectives"]) == ("2", "yes", "")
    assert Decimal(found["mark"]) < Decimal(plain["mark"])
    own = f"{statements.BASE}extensions/"
    counting = [
        s["context"]["extensions"][f"{own}attempt"]
        for s in map(json.loads, statements.write([strict]).path.read_text("utf-8").splitlines())
        if s["context"]["extensions"].get(f"{own}counts")
    ]
    assert counting == [2]
    assert verify.verify(strict).findings == []  # nbgrader's book keeps the better mark


def test_the_pass_mark_of_a_module_is_its_own(assigned_term, m01):
    returned(assigned_term, m01)
    text = f'format = "timing-mark policy"\nschema = 1\n[modules.{KEY}]\npass_percent = 99.5\n'
    (assigned_term.folder / policy.NAME).write_text(text)
    strict = terms.open_term(assigned_term.folder)
    assert table(assigned_term, "grades")["T01"]["passed"] == "yes"
    found = table(strict, "grades")["T01"]
    assert (found["passed"], found["failed_objectives"]) == ("no", "")
    with database.transaction(strict) as connection:
        [one] = [s for s in standing.standings(strict, connection, [KEY]) if s.person.id == "t01"]
    assert one.passed == "no"
    shown = layout.rows([strict], layout.Layout("trainee", (("trainee_id", "id"), ("modules_passed", "n"), (f"{KEY}.failed_objectives", "f")), (), ()))  # fmt: skip
    assert {row["id"]: (row["n"], row["f"]) for row in shown}["T01"] == ("0", "")


@pytest.mark.parametrize("kind", [float, Decimal])
def test_whoever_has_the_pass_mark_to_the_hundredth_passes(kind):
    """64.4 per cent of 30 marks is 19.32; in binary it is a little more, and 19.32 failed. So it was with 91 pass marks."""
    for tenths in range(1, 1001):
        limit, mark = kind(Decimal(tenths) / 10), 3 * tenths
        term = SimpleNamespace(pass_percent=lambda module, limit=limit: limit)
        assert [passing.reached(term, KEY, got, 3000) for got in (mark - 1, mark)] == [False, True], limit
        said = [Decimal(grades.percent(got, 3000, limit)) >= Decimal(str(limit)) for got in (mark - 1, mark)]
        assert said == [False, True], limit


def test_a_grade_word_begins_just_where_the_layout_says():
    """The same of the words of a layout: from 64.4 per cent on means with 19.32 of 30 too."""
    for tenths in range(1, 1001):
        words = SimpleNamespace(words=((tenths / 10, "good"),))
        assert [layout.word(words, got, 3000) for got in (3 * tenths - 1, 3 * tenths)] == ["", "good"]
        assert layout.word(words, 3000, 3000, below=Decimal(tenths) / 10) == ""


def test_a_mark_by_hand_goes_to_the_attempt_that_counts(lacking, m01):
    """The first attempt has the better mark and lacks T1, the late second one counts: the mark by hand missed it."""
    sit(lacking, objectives=["T1"])
    record = issue_of(lacking, "t01", attempt=2)
    hand_in(lacking, right_answers(m01, record), 2, when=f"{NEXT}-04-02 12:00")
    name = m01.exercises[0].name

    def marks():
        with database.transaction(lacking) as connection:
            found = standing.standings(lacking, connection, [KEY])[0]
            rows = connection.execute(select(schema.mark).where(schema.mark.c.trainee == "t01"))
            return found.attempt, found.mark.mark, {row.attempt: row.mark for row in rows}

    counting, before, both = marks()
    assert counting == 2 and both[1] > both[2]
    _, told = adjust.override(lacking, "T01", KEY, name, "0", reason="copied")
    counting, now, after = marks()
    assert counting == 2 and now == told < before and after[1] == both[1]
    assert verify.verify(lacking).findings == []


def test_a_letter_marked_by_hand_waits_no_more(assigned_term, m01):
    """Its exercise has a mark by hand, so nobody reads it: the module stayed "open until everything is read" for good."""
    text = 'format = "timing-mark policy"\nschema = 1\n[objectives.T5]\nthreshold = 80\nmust_pass = true\n'
    saved = assigned_term.folder.parent / "asked.toml"
    saved.write_text(text)
    policy_in_force.adopt([assigned_term], saved, reason="ours")
    term = terms.open_term(assigned_term.folder)
    hand_in(term, right_answers(m01, issue_of(term, "t01")) | {LETTER: WORDS})

    def said():
        objectives = [
            row for row in csv.DictReader(io.StringIO(package.write([term], "objectives").path.read_text("utf-8"), newline=""))
            if row["objective"] == "T5" and row["trainee_id"] == "T01"
        ]  # fmt: skip
        return table(term, "grades")["T01"]["passed"], objectives[0]["met"]

    assert said() == ("", "waits")
    for mark, then in (("2", ("yes", "yes")), ("0", ("no", "no")), ("computed", ("", "waits"))):
        adjust.override(term, "T01", KEY, "letter", mark, reason="talked it over")
        assert said() == then


def test_a_policy_is_seen_before_it_counts(assigned_term, m01):
    """T01 has passed; what he missed shall have to be met: it is said that he would fail, and he does not fail yet."""
    record = issue_of(assigned_term, "t01")
    hand_in(assigned_term, right_answers(m01, record) | wrong_answers(m01, record, WRONG) | {LETTER: WORDS})
    adjust.override(assigned_term, "T01", KEY, "letter", "2", reason="read on paper")
    text = 'format = "timing-mark policy"\nschema = 1\n' + MUST.format(100)
    (assigned_term.folder.parent / "asked.toml").write_text(text)
    [change] = policy_change.preview([assigned_term], assigned_term.folder.parent / "asked.toml")
    assert [(m.person.id, m.module, m.before, m.after) for m in change.moved] == [("t01", KEY, "yes", "no")]
    assert not change.same and table(assigned_term, "grades")["T01"]["passed"] == "yes"
    assert table(opened(assigned_term, 100), "grades")["T01"]["passed"] == "no"
