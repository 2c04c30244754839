"""Module 3 keeps its promises."""

import pytest

from grader import catalogue
from grader.exercise.kinds import Written
from grader.exercise.truth import Truth
from grader.modules.heat_range import advice, nose, reading
from grader.reference.spark import breakdown, plug, tester
from grader.vehicle.spec import vehicles
from tests.modules import proofs, workshop


@pytest.fixture(scope="module")
def m03():
    return catalogue.module("m03_heat_range")


@pytest.fixture(scope="module")
def drawn(m03):
    return proofs.draws(m03, 120)


def test_every_exercise_proves_itself(m03):
    found = proofs.everything(m03, 150)
    named = {path: set(part.slips) for path, part in found.parts.items()}
    foreseen = {path: {slip.key for slip in part.slips} for _, part, path in m03.parts()}
    assert named == foreseen, "a slip was never met"
    assert found.copied_sheet < 0.2 * m03.marks and m03.marks == 30


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
            ("tip_moves", "°F)"), ("two_duties", "°F)"),
            ("gap_growth", "miles)"), ("gap_growth", " in)"), ("interval", "miles)"), ("sort_lot", " in)"), ("sort_lot", " kPa)"),
        ):  # fmt: skip
            assert mark in said[f"m03.{key}"], key
        assert ("°C" in said["m03.owner"]) == ("°F)" in said["m03.owner"])
        assert all(e.route(truth.given(e.key)) for e in m03.exercises)


def test_every_vehicle_look_and_pattern_is_met(drawn):
    assert {n["m03.look"]["vehicle"] for n in drawn} == set(vehicles())
    assert {n["m03.look"]["coat"] for n in drawn} == set(reading._COATS)
    assert {n["m03.first_move"]["pattern"] for n in drawn} == set(reading._PATTERNS)
    for numbers in drawn:
        given = numbers["m03.first_move"]
        assert 1 <= given["one"] <= given["cylinders"]


def test_each_objective_rests_on_two_exercises(m03):
    assert workshop.resting_on_one(m03) == set()


@pytest.mark.parametrize(
    ("key", "facts"),
    [
        ("m03.tip_moves", lambda v: (v.cause, v.moved, v.name, v.title)),
        ("m03.look", lambda v: (v.coat, v.edges, v.harm, v.title)),
        ("m03.first_move", lambda v: (v.pattern, v.title)),
        ("m03.wet", lambda v: (v.wet, v.who, v.spark, v.title)),
        ("m03.sooty_order", reading._to_do),
        ("m03.keep_range", lambda v: (v.row, v.work, v.measured, v.title)),
        ("m03.find_error", lambda v: (v.form, v.scale, v.nose, v.road, v.saying)),
        ("m03.owner", lambda v: (v.wish, v.found, v.title)),
        ("m03.sort_lot", lambda v: tuple(look for _, look, _, _ in v.plugs)),
    ],
)
def test_a_judgement_is_met_in_thirty_different_cases(m03, key, facts):
    """Facts that decide, not figures that only look different."""
    assert len(workshop.cases(m03, key, facts)) >= 30


def test_only_a_boat_meets_a_current_and_only_a_tractor_ploughs(m03):
    wording = next(e for e in m03.exercises if e.key == "m03.keep_range").wording
    for given in workshop.issued(m03, "m03.keep_range", count=1000):
        v = given["m03.keep_range"]
        told = wording(v)
        assert ("current" in told or "harbour" in told) == ("marine" in v.vehicle)
        assert ("plough" in told or "yard" in told) == ("tractor" in v.vehicle)


def test_of_each_plug_of_a_lot_it_is_said_why(m03, drawn):
    for numbers in drawn[:40]:
        given = Truth(m03, numbers).given("m03.sort_lot")
        why = m03.by_path["m03.sort_lot.lot"][1].because(given)
        assert list(why) == [row[0] for row in given.plugs] and all(text.endswith(".") for text in why.values())


def test_a_wide_gap_alone_scraps_no_plug():
    """File, set, test: only a cracked or blistered nose, a torn thread, a worn electrode or the tester ends a plug."""
    for look in reading._BATCH_LOOKS:

        class Given:
            new_psig, plugs = 100, (("P1", look, 1.25, 90), ("P2", look, 0.70, 60))

        ends = look in reading._SCRAP
        assert reading._judge_lot(Given) == ("reject" if ends else "keep", "reject")


def test_a_test_plug_reads_clearly_off_the_chart_where_something_is_wrong(m03):
    """By the teaching model; the chart is read to 10 degrees."""
    for given in workshop.issued(m03, "m03.tip_moves", count=1000):
        v = given["m03.tip_moves"]
        off = v.shown_c - nose.nose_tip_c(v.name, v.load)
        assert abs(off) <= 5 if v.moved == 0 else off * v.moved >= 20, (v, off)


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
    assert nose.nose_tip_c("B", 0.6) == pytest.approx(630, abs=5)
    loose = plug.nose_temperature_c(nose.NOSES_MM["B"], *plug.gas_side(0.6, loose_seat=1.0))
    assert loose == pytest.approx(665, abs=5)
    assert plug.worn_gap_mm(0.75, 20000) == pytest.approx(1.066, abs=5e-4)
    required = 1.3 * breakdown.uniform_voltage_kv(1.07, 3.5)
    assert required == pytest.approx(16.6, abs=0.05)
    assert breakdown.reserve_kv(21.0, required) == pytest.approx(2.4, abs=0.05)


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
        right = advice._note(type(given)(**{**vars(given), "form": ""}))
        assert [i for i, (a, b) in enumerate(zip(wrong, right, strict=True), 1) if a != b] == [int(given.wrong)]


def test_a_plug_at_the_limit_counts_either_way():
    class Given:
        new_psig = 100
        plugs = (("P1", "tan", 0.95, 71), ("P2", "tan", 0.90, 76), ("P3", "tan", 1.00, 65), ("P4", "cracked", 0.72, 90))

    assert tester.KEEP_SHARE == 0.7
    assert reading._judge_lot(Given) == ("either", "keep", "reject", "reject")


def test_the_letter_has_a_rubric_that_adds_up(m03):
    (letter,) = [part for _, part, _ in m03.parts() if isinstance(part, Written)]
    assert sum(points for _, points in letter.rubric) == letter.marks == 4


def test_whoever_rounds_honestly_is_followed(m03, drawn):
    """A first answer that just counts as right leads to second answers that count as right too."""
    for numbers in drawn[:40]:
        truth = Truth(m03, numbers)
        for first, later, share in (("m03.reserve.required", ("m03.reserve.reserve",), 0.9),):
            for sign in (1, -1):
                own = {first: truth.answer(first) + sign * share * truth.tolerance(first)}
                for path in later:
                    off = abs(truth.following(path, own) - truth.answer(path))
                    assert off <= truth.tolerance(path), (path, numbers)
