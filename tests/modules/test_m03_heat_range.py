"""Module 3 keeps its promises."""

import pytest

from grader import catalogue
from grader.exercise.kinds import Written
from grader.exercise.truth import Truth
from grader.modules.heat_range import advice, nose, reading
from grader.reference.spark import breakdown, plug
from grader.vehicle.spec import vehicles
from tests.modules import proofs


@pytest.fixture(scope="module")
def m03():
    return catalogue.module("m03_heat_range")


@pytest.fixture(scope="module")
def drawn(m03):
    return proofs.draws(m03, 120)


def test_every_exercise_proves_itself(m03):
    found = proofs.everything(m03, 200)
    named = {path: set(part.slips) for path, part in found.parts.items()}
    foreseen = {path: {slip.key for slip in part.slips} for _, part, path in m03.parts()}
    assert named == foreseen, "a slip was never met"
    assert found.copied_sheet < 0.2 * m03.marks


def test_numbers_and_answers_are_as_recorded(m03):
    proofs.numbers_and_answers_are_as_recorded(m03)


def test_many_kinds_of_answer_and_marks_in_bounds(m03):
    assert len({type(part) for _, part, _ in m03.parts()}) >= 5
    assert 10 <= len(m03.exercises) <= 14 and 15 <= m03.marks <= 30


def test_every_objective_is_in_the_list_and_met(m03):
    codes = {code for _, part, _ in m03.parts() for code in part.objectives}
    listed = {code for code, row in catalogue.objectives().items() if row["module"] == m03.key}
    assert codes == listed


def test_the_wording_holds_the_numbers_and_both_systems(m03, drawn):
    for numbers in drawn[:40]:
        truth = Truth(m03, numbers)
        said = {e.key: e.wording(truth.given(e.key)) for e in m03.exercises}
        assert not {"{", "}"} & set("".join(said.values()))
        for key, mark in (
            ("nose_fin", " in)"), ("nose_fin", "°F)"), ("tip_changes", "°F)"), ("two_duties", "°F)"), ("owner", "°F)"),
            ("gap_growth", "miles)"), ("gap_growth", " in)"), ("interval", "miles)"), ("sort_lot", " in)"),
        ):  # fmt: skip
            assert mark in said[f"m03.{key}"], key
        assert all(e.route(truth.given(e.key)) for e in m03.exercises)


def test_every_vehicle_look_pattern_and_case_is_met(drawn):
    assert {n["m03.look"]["vehicle"] for n in drawn} == set(vehicles())
    assert {n["m03.look"]["look"] for n in drawn} == set(reading._LOOKS)
    assert {n["m03.first_move"]["pattern"] for n in drawn} == set(reading._PATTERNS)
    assert {n["m03.keep_range"]["case"] for n in drawn} == set(advice._CASES)
    for numbers in drawn:
        given = numbers["m03.first_move"]
        assert 1 <= given["one"] <= given["cylinders"]


def test_the_worked_examples_of_the_lesson():
    """Each figure that the lesson prints comes out of the reference."""
    rod = (25, 5.0)
    assert plug.nose_state(nose.celsius(1100)) == "clean" and round(nose.celsius(1100)) == 593
    assert plug.fin_tip_c(15, 300, 800, 180, *rod) == pytest.approx(529, abs=0.5)
    assert plug.fin_tip_c(15, 300, 824, 180, *rod) == pytest.approx(543, abs=0.5)
    assert plug.fin_tip_c(15, 300, 800, 260, *rod) == pytest.approx(564, abs=0.5)
    assert [round(nose.nose_tip_c("B", load)) for load in (0.4, 0.95)] == [550, 758]
    assert [round(nose.nose_tip_c("C", load)) for load in (0.4, 0.95)] == [673, 867]
    assert nose.plug_for((0.4, 0.95)) == "B"
    assert plug.worn_gap_mm(0.75, 20000) == pytest.approx(1.066, abs=5e-4)
    required = 1.3 * breakdown.uniform_voltage_kv(1.07, 3.5)
    assert required == pytest.approx(16.6, abs=0.05)
    assert breakdown.reserve_kv(21.0, required) == pytest.approx(2.4, abs=0.05)


def test_the_number_of_the_rod_is_the_formula_of_the_lesson(drawn):
    """m = root(4 h / k d): a second route to what is taken out of the fin."""
    for numbers in drawn:
        p = numbers["m03.nose_fin"]
        m = (4 * p["heat_transfer"] / (p["conductivity"] * p["outer_mm"] / 1000)) ** 0.5
        given = Truth(catalogue.module("m03_heat_range"), numbers).given("m03.nose_fin")
        assert nose._fin_number(given) == pytest.approx(m * p["nose_mm"] / 1000, rel=1e-9)


def test_the_shortest_plug_that_serves_is_asked_for():
    """A short nose only where it stays clean; none where the work is too light and too heavy at once."""
    assert nose.plug_for((0.9, 1.0)) == "A"
    assert nose.plug_for((0.1, 0.7)) == "C"
    assert nose.plug_for((0.1, 1.0)) == nose.NEITHER


def test_a_longer_nose_is_the_hotter_one():
    tips = [nose.nose_tip_c(name, 0.5) for name in nose.NOSES_MM]
    assert tips == sorted(tips) and list(nose.NOSES_MM.values()) == sorted(nose.NOSES_MM.values())


def test_the_note_has_exactly_one_wrong_line(drawn):
    """Line for line against a note without a mistake."""
    for numbers in drawn:
        given = Truth(catalogue.module("m03_heat_range"), numbers).given("m03.find_error")
        wrong = advice._note(given)
        right = advice._note(type(given)(**{**vars(given), "wrong": 0}))
        assert [i for i, (a, b) in enumerate(zip(wrong, right, strict=True), 1) if a != b] == [given.wrong]


def test_a_plug_at_the_limit_counts_either_way():
    class Given:
        new_mm, limit_km = 0.70, 16000
        plugs = (("P1", "tan", 0.95), ("P2", "tan", 0.90), ("P3", "tan", 1.00), ("P4", "cracked", 0.72))

    assert plug.worn_gap_mm(0.70, 16000) == pytest.approx(0.9525, abs=1e-4)
    assert reading._judge_lot(Given) == ("either", "keep", "reject", "reject")


def test_the_letter_has_a_rubric_that_adds_up(m03):
    (letter,) = [part for _, part, _ in m03.parts() if isinstance(part, Written)]
    assert sum(points for _, points in letter.rubric) == letter.marks == 4


def test_whoever_rounds_honestly_is_followed(m03, drawn):
    """A first answer that just counts as right leads to second answers that count as right too."""
    for numbers in drawn[:40]:
        truth = Truth(m03, numbers)
        for first, later, share in (
            ("m03.nose_fin.number", ("m03.nose_fin.tip", "m03.tip_changes.early", "m03.tip_changes.loose"), 0.9),
            ("m03.reserve.required", ("m03.reserve.reserve",), 0.9),
        ):
            for sign in (1, -1):
                own = {first: truth.answer(first) + sign * share * truth.tolerance(first)}
                for path in later:
                    off = abs(truth.following(path, own) - truth.answer(path))
                    assert off <= truth.tolerance(path), (path, numbers)
