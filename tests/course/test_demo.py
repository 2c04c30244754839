"""The demo: a whole term, honest trainees, and marking that finds out what they did."""

import csv
import io
import os

import pytest

from grader import catalogue
from grader.course.demo import build, scenario, trainees
from grader.course.work import verify
from grader.errors import Refused
from grader.marking.mark import mark_sheet
from tests.modules import proofs


def test_everybody_stands_where_he_should(demo):
    rows = list(csv.DictReader(io.StringIO(demo.grades.read_text(encoding="utf-8"))))
    assert len(rows) == len(scenario.CLASS) == 24
    states = {row["trainee_id"].lower(): row["status"] for row in rows}
    assert states[scenario.MISSING] == "not handed in" and states[scenario.CORRUPT] == "handed in"
    assert sum(state == "marked" for state in states.values()) == 22
    late = {row["trainee_id"].lower(): row["late_days"] for row in rows if row["late_days"] not in ("", "0")}
    assert late == dict.fromkeys(scenario.LATE, "2")
    assert all((row["mark"] == "") == (row["status"] != "marked") for row in rows)


def test_the_marks_prove(demo):
    assert verify.verify(demo.term).findings == []


def test_nothing_is_written_into_the_checkout(demo):
    from grader.paths import checkout

    assert not demo.term.folder.is_relative_to(checkout())


def test_a_second_run_is_safe(tmp_path):
    (tmp_path / "demo").mkdir()
    (tmp_path / "demo" / "mine.txt").write_text("keep me")
    with pytest.raises(Refused, match="not empty"):
        build.build(tmp_path / "demo")
    assert build.free_folder(tmp_path / "demo") == tmp_path / "demo-2"
    assert os.listdir(tmp_path) == ["demo"]


def test_marking_finds_out_what_honest_trainees_did(m01):
    """Over 200 simulated trainees, seed 7: no right route is marked wrong, and four slips of five are named.

    What is right includes what follows rightly from an own earlier answer. Slips on
    top of a slip, and those that a carried answer hides, may go unnamed.
    """
    seen = {"right": 0, "right and marked so": 0, "slip": 0, "slip and named": 0}
    for number, numbers in enumerate(proofs.draws(m01, 200)):
        record = _record(m01, f"t{number}", numbers)
        sheet, diary = trainees.answer_sheet(m01, record, 7)
        marks = {mark.path: mark for mark in mark_sheet(m01, record.exercises, sheet).parts}
        for did in diary:
            if did.what == trainees.RIGHT:
                seen["right"] += 1
                seen["right and marked so"] += marks[did.part].verdict in ("right", "carried")
                assert marks[did.part].verdict in ("right", "carried"), (number, did, marks[did.part])
            elif did.what == trainees.SLIPPED:
                seen["slip"] += 1
                seen["slip and named"] += marks[did.part].slip == did.slip
    assert seen["right"] > 800 and seen["slip"] > 100
    assert seen["slip and named"] >= 0.8 * seen["slip"], seen


def test_a_simulated_trainee_is_the_same_every_time(m01):
    numbers = proofs.draws(m01, 1)[0]
    record = _record(m01, "t1", numbers)
    assert trainees.answer_sheet(m01, record, 1) == trainees.answer_sheet(m01, record, 1)
    assert trainees.answer_sheet(m01, record, 1) != trainees.answer_sheet(m01, record, 2)


def _record(module, trainee, numbers):
    from grader.exercise import issued

    return issued.make(
        module,
        key=proofs.KEY,
        term="proof",
        trainee=trainee,
        attempt=1,
        mode="assessed",
        due="",
        zone="UTC",
        numbers=numbers,
    )


def test_the_invented_class_breaks_careless_tables():
    names = [last for _, last, _, _ in scenario.CLASS]
    assert "Null" in names and any("," in name for name in names) and any(ord(c) > 127 for c in "".join(names))
    assert catalogue.module(scenario.MODULE)
