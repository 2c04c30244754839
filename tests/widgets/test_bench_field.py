"""The page of a car on the bench: everything can be reached, costs are told, unsafe acts are stopped, nothing is lost."""

import re
from types import SimpleNamespace

import pytest

from grader.bench import session
from grader.bench.actions import actions
from grader.bench.atoms import Atom
from grader.bench.cases import Case
from grader.bench.instruments import instruments, unsafe_acts
from grader.widgets.fields import bench_drawn
from grader.widgets.fields.bench import OVER, PLACES, SAY, BenchField

LEAD = Case("brackwater-four", 2, Atom(("lead_leaky",)), 2, 8.0, ("misfire_load",), "00112233445566aa")


class Bench(SimpleNamespace):
    """A field with what it told the form."""

    def __init__(self, case=LEAD):
        self.saved = []
        part = SimpleNamespace(prompt="The car", answer=lambda given: case)
        self.field = BenchField(part, SimpleNamespace(), lambda _: self.saved.append(self.field.raw))
        self.field.follow("", "")

    def open(self):
        self.field._open.click()
        return self

    def go(self, place, act=None, safely=True):
        """Stand somewhere, choose an act by its key, and do it."""
        field = self.field
        field._place.value = place
        if act is not None:
            field._act.value = next(n for n, way in enumerate(field._offered) if act in way.act.values())
            if field._how in field._desk.children:
                field._how.value = not safely
        field._go.click()
        return re.sub("<[^>]+>", "", field._came.value)


@pytest.fixture
def bench():
    return Bench().open()


def test_every_instrument_and_every_work_is_reached_from_one_place():
    reached = [key for _, tools, work in PLACES.values() for key in (*tools, *work)]
    assert sorted(reached) == sorted([*instruments(), *(key for key in actions() if key != "sound")])


def test_a_car_that_nobody_works_on_costs_the_page_two_widgets():
    field = Bench().field
    assert len(field.box.children) == 2 and field.raw == "" and not hasattr(field, "_place")
    card = field._card.value
    assert "It stumbles up the hills." in card and "Brackwater" in card and "1-3-4-2" in card


def test_whoever_uses_an_instrument_first_says_how_and_is_stopped_where_it_hurts(bench):
    told = bench.go("coil", "coil_gap", safely=False)
    assert told.startswith("Stopped: ") and bench.field.bench.stopped == 1 and bench.field.bench.minutes == 0
    assert "Coil output while cranking" in bench.go("coil", "coil_gap")
    bench.field._chosen()
    assert bench.field._how not in bench.field._desk.children, "who did it rightly once is not asked again"
    field = Bench().open().field
    field._place.value = "coil"
    assert {label for label, _ in field._how.options} & {act["safely"] for act in unsafe_acts().values()}
    field._go.click()
    assert "Say first how you go about it." in field._came.value and field.raw == ""


def test_what_cannot_be_done_is_said_and_stands_in_no_log(bench):
    bench.field._do(session.run("idle"))
    told = bench.go("leads", "lead_ohms")
    assert told == "Ohms of each lead, flexed: the engine turns; stop it first."
    assert [act["do"] for act in session.acts(bench.field.raw)] == ["run"]
    assert "Not now:" in bench.field._needs.value


def test_each_act_is_saved_at_once_and_a_reload_goes_on(bench):
    bench.go("coil", "coil_gap")
    bench.go("leads", "lead_gap")
    assert len(bench.saved) == 2 and [len(session.acts(log)) for log in bench.saved] == [1, 2]
    again = Bench()
    again.field.follow(bench.field.raw, "")
    assert again.field._came.value == bench.field._came.value and again.field.bench == bench.field.bench
    again.go("leads", "lead_gap")
    assert "still connected" in again.field._came.value
    bench.field.follow(again.field.raw, "")
    assert bench.field.bench == again.field.bench, "another window's log is taken over"


def test_a_whole_diagnosis_from_the_card_to_the_hand_over(bench):
    field, number = bench.field, LEAD.cylinder
    for place, act in (("seat", "road"), ("leads", "dark_mist"), ("leads", "lead_gap")):
        bench.go(place, act)
    field._place.value = SAY
    field._first.value = "lead"
    assert bench.go(SAY) == "Choose the cylinder first."
    field._at.value = number
    assert bench.go(SAY) == f"Suspected: lead of number {number}."
    bench.field._do(session.run("off"))
    field._place.value = "leads"
    field._act.value = next(n for n, way in enumerate(field._offered) if way.act.get("what") == "fit_lead")
    field._at.value = number
    field._go.click()
    bench.go("leads", "lead_gap")
    bench.go("seat", "road")
    field._place.value = OVER
    assert field._first.value == "lead" and field._at.value == number, "what was named last stands ready"
    field._proofs[0].value, field._compared.value, field._left.value = "lead_gap", "lead_gap", "Plug gaps wide."
    assert "nothing to complain of" in bench.go(OVER) and not field.bench.came_back
    last = session.acts(field.raw)[-1]
    assert last["found"] == ["lead"] and last["at"] == number and last["proved"] == ["lead_gap"] and last["left"]
    count = len(session.acts(field.raw))
    assert field.bench.closed
    assert "handed over" in bench.go("coil", "coil_gap") and len(session.acts(field.raw)) == count


def test_what_is_half_written_comes_back_with_the_page(bench):
    """Who reloads in the middle of a hand-over finds what he chose and wrote; what fits the car no more is passed over."""
    bench.go("leads", "lead_gap")
    field = bench.field
    field._place.value = OVER
    field._first.value, field._at.value = "lead", LEAD.cylinder
    field._proofs[0].value, field._left.value = "lead_gap", "Plug gaps"
    again = Bench().field
    again.draft = field.draft
    again.follow(field.raw, "")
    assert (again._place.value, again._first.value, again._at.value) == (OVER, "lead", LEAD.cylinder)
    assert (again._proofs[0].value, again.typed) == ("lead_gap", "Plug gaps") and again.shown == field.shown
    for strange in ("no JSON", '{"place": "roof"}', '{"place": "say", "found": ["wheel"], "left": 3}'):
        other = Bench().field
        other.draft = strange
        other.follow(field.raw, "")
        assert other._place.value in ("seat", SAY) and other._proofs[0].value == ""


def test_a_danger_that_was_met_rightly_is_not_asked_about_again(bench):
    """Whoever put the extraction on for one reading has it on for the next."""
    field = bench.field
    bench.go("coil", "coil_gap")
    met = field._hazard_at("coil_gap")[0]
    for place, (_, tools, _) in PLACES.items():
        for tool in tools:
            field._place.value = place
            field._act.value = tools.index(tool)
            if field._hazard_at(tool)[0] == met:
                assert field._how not in field._desk.children


def test_a_car_that_is_gone_is_looked_back_on_in_practice_alone(bench):
    field = bench.field
    field._do(session.hand_over(["lead"], LEAD.cylinder))
    while not field.bench.closed:
        field._do(session.action("fit_lead", at=LEAD.cylinder))
        field._do(session.hand_over(["lead"], LEAD.cylinder))
    field.look_back()
    assert field._back.value == "", "assessed work shows no debrief"
    field.coached = True
    field.look_back()
    assert "One best road" in field._back.value and "Wrong was: One plug lead leaks." in field._back.value


def test_care_is_written_down_as_it_was_taken(bench):
    field = bench.field
    bench.go("leads", "fit_cap")
    field._place.value = "leads"
    field._act.value = next(n for n, way in enumerate(field._offered) if way.act.get("what") == "fit_cap")
    field._marked.value = True
    field._go.click()
    bench.go("plugs", "fit_plugs")
    marked = [act.get("marked", False) for act in session.acts(field.raw) if act.get("what") == "fit_cap"]
    gapped = [act.get("gapped", True) for act in session.acts(field.raw) if act.get("what") == "fit_plugs"]
    assert marked == [False, True] and gapped == [False]


def test_a_reading_is_drawn_and_told_in_words():
    acts = [session.test("coil_gap"), session.test("lead_gap"), session.test("plug_look"), session.test("dark_mist"),
            session.run("idle"), session.test("timing_idle")]  # fmt: skip
    for step in session.replay(LEAD, session.written(acts)).steps:
        if step.instrument:
            words = re.sub("<[^>]+>", "", bench_drawn.told(step))
            assert step.outcome == session.READ and len(words) > 30
            pictures = bench_drawn.readings(step.figures, step.results, step.places)
            assert pictures.count("<svg") >= (1 if step.figures else 0)
            assert pictures.count("<svg") == len(re.findall(r'<svg[^>]* aria-hidden="true"', pictures))
            assert not re.findall(r"(?:nan|inf|None)", pictures)


def test_a_lead_end_of_many_cylinders_is_told_in_one_run():
    [step] = session.replay(LEAD, session.written([session.test("lead_gap")])).steps
    words = re.sub("<[^>]+>", "", bench_drawn.told(step))
    assert "From number 1 on: " in words and words.count("kV") == 3 and "number 4 top" not in words


@pytest.mark.parametrize("engine", ["anstow-v8", "brackwater-four", "tolmere-six"])
def test_the_plan_shows_every_cylinder_and_frames_where_one_stands(engine):
    case = Case(engine, 1, Atom(("lead_leaky",)), 0, 8.0, ("misfire_load",), "00112233445566aa")
    drawn = bench_drawn.plan(case.spec, "coil")
    assert set(re.findall(r'data-bench-place="(\w+)"', drawn)) == set(PLACES) - {OVER}
    assert re.findall(r'data-bench-place="(\w+)" class="tm-here"', drawn) == ["coil"]
    assert [n for n in range(1, case.spec.cylinders + 1) if f">{n}</text>" not in drawn] == []
