"""The demo: a whole term, honest trainees, and marking that finds out what they did."""

import csv
import io
import os
from dataclasses import replace
from random import Random

import pytest

from grader import catalogue
from grader.course.attempts import overview
from grader.course.audit import verify
from grader.demo import account, build, letters, quality, scenario, trainees
from grader.errors import Refused
from grader.exercise.kinds import Written
from grader.exercise.truth import Truth
from grader.marking.mark import mark_sheet
from tests.marking.bench_parts import MODULE
from tests.modules import proofs


def test_everybody_stands_where_he_should(demo):
    rows = csv.DictReader(io.StringIO(demo.grades.read_text(encoding="utf-8")))
    rows = [row for row in rows if row["module"] == scenario.MODULE]
    assert len(rows) == len(scenario.CLASS) == 24
    states = {row["trainee_id"].lower(): row["status"] for row in rows}
    assert states[scenario.MISSING] == "not handed in" and states[scenario.CORRUPT] == "handed in"
    assert sum(state == "marked" for state in states.values()) == 22, "every letter was read"
    late = {row["trainee_id"].lower(): row["late_days"] for row in rows if row["late_days"] not in ("", "0")}
    assert late == dict.fromkeys(scenario.LATE, "2")
    assert all((row["mark"] == "") == (row["status"] != "marked") for row in rows)


def test_the_marks_prove(demo):
    assert verify.verify(demo.term).findings == []


def test_the_month_ends_with_sheets_and_a_report(demo):
    sheets = sorted((demo.term.folder / "returned").rglob("*.html"))
    assert len(sheets) == demo.returned.written == 22 and len(demo.returned.left_out) == 2
    assert not {scenario.MISSING, scenario.CORRUPT} & {sheet.parent.name for sheet in sheets}
    assert len(demo.read) > 15 and all(one.answer.text and one.changed for one in demo.read)
    read = demo.read[0].answer
    page = (demo.term.folder / "returned" / read.owner[0] / f"{scenario.MODULE}.html").read_text(encoding="utf-8")
    assert "Read by your instructor" in page and "<dt>Comment</dt>" in page and "Waits for" not in page
    assert "Commonest slips" in demo.report.read_text(encoding="utf-8")


def test_those_at_the_bench_are_told_their_road_beside_a_best_one(demo_term):
    """Who reads before he fits earns more than who fits first or hands in another's log, and each is told why."""
    demo_term = replace(demo_term, key=bytes(range(32)))  # the same cars each time
    done = build.bench(demo_term)
    module = catalogue.module(scenario.AT_THE_BENCH)
    cars = [exercise.key for exercise in module.exercises if any(part.keeps_a_log for part in exercise.parts)]
    cars = cars[: scenario.BENCH_CARS]
    earned = {
        scenario.BENCH_WAYS[one.person.id]: sum(marks[key] or 0 for key in cars)
        for one, marks in overview.marks_table(demo_term, module)
        if one.mark is not None
    }
    most = 100 * sum(exercise.marks for exercise in module.exercises if exercise.key in cars)
    assert earned["best"] > 0.85 * most and earned["best"] >= earned["listed"] > earned["parts"]
    assert earned["copied"] <= 0.15 * most and earned["parts"] <= 0.3 * most
    swapper = next(who for who, way in scenario.BENCH_WAYS.items() if way == "parts")
    sheet = (demo_term.folder / "returned" / swapper / f"{module.key}.html").read_text(encoding="utf-8")
    assert "Your road:" in sheet and "One best road:" in sheet and "what it was worth then" in sheet
    report = done.report.read_text(encoding="utf-8")
    assert "Where the class loses its way at the bench" in report and "left out: " in report


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
    pairs = []
    for number, numbers in enumerate(proofs.draws(m01, 200)):
        record = _record(m01, f"t{number}", numbers)
        sheet, diary = trainees.answer_sheet(m01, record, 7)
        marks = {mark.path: mark for mark in mark_sheet(m01, record.exercises, sheet).parts}
        pairs += [(did, marks[did.part]) for did in diary]
    found = quality.count(pairs)
    assert found.right == found.right_marked_right > 800
    assert found.slips > 100 and found.slips_named >= 0.8 * found.slips, found


def test_the_demo_prints_its_own_quality(demo):
    found = quality.measure(demo.term, demo.diary)
    assert found.right == found.right_marked_right > 50 and found.slips_named >= 0.8 * found.slips > 0
    assert "right answers are marked right" in "".join(quality.lines(found))


@pytest.mark.campaign
def test_trainees_answer_every_kind():
    """Over all kinds of answer: what is right is marked right, and nothing that is typed breaks the marking."""
    pairs = []
    for number, numbers in enumerate(proofs.draws(MODULE, 120)):
        record = _record(MODULE, f"t{number}", numbers)
        sheet, diary = trainees.answer_sheet(MODULE, record, 3)
        marks = {mark.path: mark for mark in mark_sheet(MODULE, record.exercises, sheet).parts}
        pairs += [(did, marks[did.part]) for did in diary]
    found = quality.count(pairs)
    assert found.right == found.right_marked_right > 600 and found.slips_named > 0.8 * found.slips > 20
    assert {did.part.rpartition(".")[2] for did, _ in pairs if did.what == trainees.MISCALCULATED} >= {
        "gap", "dwell", "plot", "one", "several", "steps", "firing", "batch"
    }  # fmt: skip


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


def test_letters_are_of_varied_quality_and_the_reader_finds_it(m01):
    """500 letters, seed 11: all three ways of meeting a point occur; points follow how it is met, as the model says."""
    random, part = Random(11), m01.by_path["m01.letter.text"][1]
    truth = Truth(m01, proofs.draws(m01, 1)[0])
    given, model = truth.given("m01.letter"), truth.answer("m01.letter.text")
    texts, got = set(), {how: [] for how in (letters.WELL, letters.VAGUE, letters.MISSING)}
    for _ in range(500):
        letter = letters.write(random, 0.6, "m01.letter.text", part, given, model)
        points, comment = letters.read(random, part, letter.met)
        texts.add(letter.text)
        assert letter.text and "{" not in letter.text and len(points) == len(part.rubric)
        assert all(0 <= float(p) <= most for p, (_, most) in zip(points, part.rubric, strict=True))
        weak = [says for how, (says, _) in zip(letter.met, part.rubric, strict=True) if how != letters.WELL]
        assert bool(weak) == ("“" in comment) and (not weak or weak[0] in comment)
        for how, mark in zip(letter.met, points, strict=True):
            got[how].append(100 * float(mark))
    mean = {how: sum(marks) / len(marks) for how, marks in got.items()}
    assert len(texts) > 30 and min(map(len, got.values())) > 100
    assert mean[letters.WELL] > 90 > 60 > mean[letters.VAGUE] > 30 > mean[letters.MISSING] == 0


def test_every_written_answer_can_be_written_and_read():
    random, tried = Random(3), 0
    for module in catalogue.all_modules().values():
        truth = Truth(module, proofs.draws(module, 1)[0])
        for _, part, path in module.parts():
            if isinstance(part, Written):
                letter = letters.write(random, 0.5, path, part, truth.given_at(path), truth.answer(path))
                assert letter.text.strip() and len(letters.read(random, part, letter.met)[0]) == len(part.rubric)
                tried += 1
    assert tried >= 3, "three modules or more ask for a letter"


def test_the_invented_class_breaks_careless_tables():
    names = [last for _, last, _, _ in scenario.CLASS]
    assert "Null" in names and any("," in name for name in names) and any(ord(c) > 127 for c in "".join(names))
    assert catalogue.module(scenario.MODULE)


@pytest.mark.campaign
@pytest.mark.parametrize("key", catalogue.all_modules())
def test_no_exercise_is_out_of_reach_or_a_gift(key):
    """Estimated from simulated trainees; letters are read by people and have no figure."""
    found = quality.estimates(catalogue.module(key), 60)
    assert [one.exercise for one in found if one.remark in ("hard", "easy")] == []
    assert [one.exercise for one in found if one.n != 60] == [one.exercise for one in found if one.facility is None]
    letters_asked = sum(any(isinstance(part, Written) for part in e.parts) for e in catalogue.module(key).exercises)
    assert sum(one.facility is None for one in found) == letters_asked >= 1


def test_the_remark_says_what_lies_outside():
    assert quality.Estimate("x", 1, 60, 0.29).remark == "hard"
    assert quality.Estimate("x", 1, 60, 0.96).remark == "easy"
    assert quality.Estimate("x", 1, 60, 0.70).remark == ""


def test_marks_in_the_table_never_touch_their_neighbours():
    """A column has four places: 1.33 after a 2 was read as 21.33. What waits or was not answered keeps its sign."""
    shown = [account._cell({"e": hundredths}, "e") for hundredths in range(1000)]
    assert max(map(len, shown)) == 3 and all(abs(float(one) - n / 100) < 0.0501 for n, one in enumerate(shown))
    assert account._cell({"e": None}, "e") == "·" and account._cell({}, "e") == ""
