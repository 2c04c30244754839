"""Broken answer files through collect and mark: one line each, the class run goes on, the original stays."""

import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from grader import clock
from grader.course.attempts import evaluation
from grader.course.audit import verify
from grader.course.grading import mark_class
from grader.course.submissions import collect
from grader.exercise import sheet as sheets
from grader.exercise.sheet import Answer
from grader.records import database, schema
from grader.records.term import term as terms
from tests.course import spoiling
from tests.exercise.test_sheet import BAD
from tests.work import issue_of, put_in_inbox, right_sheet

MODULE = "m01_timing"
WHEN = clock.parse("2026-03-30 12:00", "UTC")


def put(term, name, content):
    path = term.folder / "inbox" / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content)
    return path


def marks(term):
    with database.transaction(term) as connection:
        return {row.trainee: row.mark for row in connection.execute(select(schema.mark))}


def test_the_whole_list_at_once(assigned_term):
    """Every bad file of the list comes from t01; t02 and t03 are marked in the same run."""
    paths = {
        name: put(assigned_term, f"t01/{number:02d}/answers.json", BAD[name][0]) for number, name in enumerate(BAD)
    }
    for trainee in ("t02", "t03"):
        put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, trainee)))
    done = collect.collect(assigned_term, received_at=WHEN)
    by_place = {finding.partition(":")[0]: finding for finding in done.findings}
    assert len(done.findings) == len(BAD) == len(by_place)
    for name, path in paths.items():
        said = by_place[f"inbox/t01/{path.parent.name}/answers.json"]
        assert "\n" not in said and len(said) < 300, name
        assert path.read_bytes() == BAD[name][0], name
    run = mark_class.mark(assigned_term, MODULE)
    assert run.marked == 2 and marks(assigned_term) == {"t02": 2800, "t03": 2800}
    assert len(run.findings) <= 1 and verify.verify(assigned_term).findings == []


def changed(**changes):
    return lambda sheet: sheet.but(**changes)


def spoilt(**changes):
    """A change to the answer to "m01.mark_arc.arc" alone; it stays one to the version that was issued."""
    path = "m01.mark_arc.arc"
    return lambda sheet: sheet.with_answer(path, sheet.answers[path].but(**changes))


MARKED = {
    "unknown exercise": (lambda s: s.with_answer("m01.nothing.x", Answer("1")), "No exercise of m01_timing is called m01.nothing.x", 2800),
    "a name with a line break": (lambda s: s.with_answer("m01\n\x1b[31m.x", Answer("1")), "is called m01??[31m.x", 2800),
    "unknown version": (spoilt(version=99), "version 99", 2600),
    "a unit nobody knows": (spoilt(raw="1", unit="\u202efurlong\n" * 50), "", 2600),
    "zero characters": (spoilt(raw="\0\0"), "", 2600),
    "nothing at all": (changed(answers={}), "", 0),
    "20,000 characters": (spoilt(raw="9" * 20_000), "", 2600),
}  # fmt: skip


@pytest.mark.parametrize("name", MARKED)
def test_sheets_that_are_strange_and_can_be_marked(assigned_term, name):
    change, said, mark = MARKED[name]
    put_in_inbox(assigned_term, change(right_sheet(issue_of(assigned_term, "t01"))))
    assert collect.collect(assigned_term, received_at=WHEN).taken == 1
    run = mark_class.mark(assigned_term, MODULE)
    assert marks(assigned_term) == {"t01": mark}
    assert (len(run.findings) == 1 and said in run.findings[0]) if said else run.findings == []
    assert all(finding.isprintable() for finding in run.findings)
    assert verify.verify(assigned_term).findings == []


def test_a_fault_of_ours_stops_nobody_and_says_so(assigned_term, monkeypatch):
    for trainee in ("t01", "t02"):
        put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, trainee)))
    collect.collect(assigned_term, received_at=WHEN)
    real = evaluation.mark_sheet

    def faulty(module, exercises, sheet):
        if sheet.trainee == "t01":
            raise ZeroDivisionError("planted\nfault")
        return real(module, exercises, sheet)

    monkeypatch.setattr(evaluation, "mark_sheet", faulty)
    run = mark_class.mark(assigned_term, MODULE)
    assert marks(assigned_term) == {"t02": 2800}
    assert len(run.findings) == 1 and "fault of Timing Mark (ZeroDivisionError: planted fault)" in run.findings[0]


def test_any_sheet_is_marked_or_refused(assigned_term, m01):
    record = issue_of(assigned_term, "t01")
    seen = spoiling.any_sheet_is_marked_or_refused(m01, record, right_sheet(record), 300)
    assert seen["marked"] > 30 and seen["refused"] > 30, seen


@pytest.mark.campaign
def test_any_class_of_spoilt_sheets_is_run_to_the_end(assigned_term):
    """60 classes of five spoilt sheets each, and one good one that must always be marked."""
    good = right_sheet(issue_of(assigned_term, "t01"))
    put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, "t02")))
    term = terms.open_term(assigned_term.folder)

    @settings(max_examples=60, suppress_health_check=list(HealthCheck))
    @given(st.lists(spoiling.spoilt(good), min_size=5, max_size=5))
    def run(contents):
        for number, content in enumerate(contents):
            put(term, f"t01/{number}/answers.json", content)
        done = collect.collect(term, received_at=WHEN)
        marked = mark_class.mark(term, MODULE, reason="spoilt again")
        for finding in done.findings + marked.findings + marked.held:
            assert "\n" not in finding and mark_class.FAULT not in finding, finding
            finding.encode()
        assert marks(term)["t02"] == 2800

    run()
    assert verify.verify(term).findings == []


def test_the_spoiler_spoils(assigned_term):
    """A spoiler that leaves sheets whole would make the tests above say nothing."""
    good = right_sheet(issue_of(assigned_term, "t01"))
    whole = json.loads(sheets.dump(good))
    seen = []

    @settings(max_examples=100)
    @given(spoiling.spoilt(good))
    def run(content):
        try:
            seen.append(json.loads(content) == whole)
        except ValueError:
            seen.append(False)

    run()
    assert sum(seen) < len(seen) / 2


def test_a_zero_character_in_a_name_reaches_no_table(assigned_term):
    """PostgreSQL refuses it: one name of a crafted sheet, quoted in a finding or a note, stopped the class."""
    stranger = right_sheet(issue_of(assigned_term, "t01"))
    put_in_inbox(assigned_term, stranger.but(answers={**stranger.answers, "m01.\0.x": Answer("1")}))
    twice = (
        sheets.dump(right_sheet(issue_of(assigned_term, "t02"))).rstrip()[:-1] + b',"a\\u0000\\nb":1,"a\\u0000\\nb":2}'
    )
    put(assigned_term, "t02/answers.json", twice)
    done = collect.collect(assigned_term, received_at=WHEN)
    assert len(done.findings) == 1 and done.findings[0].isprintable()
    assert mark_class.mark(assigned_term, MODULE).marked == 1
    with database.transaction(assigned_term) as connection:
        findings = connection.execute(select(schema.hand_in.c.finding)).scalars().all()
        notes = connection.execute(select(schema.mark.c.notes)).scalars().all()
    assert any("twice in one place" in finding for finding in findings) and any(
        "count nothing" in note for note in notes
    )
    assert not [said for said in (*findings, *notes) if "\0" in said]
