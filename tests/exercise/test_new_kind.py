"""A kind of answer that nobody has thought of: its class, its field and one line, and it goes all the way.

The kind is shaped like a session at a vehicle: the answer is a JSON text of what was done, and
its marks need the trainee's own numbers, not only the expected answer.
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import SimpleNamespace

import pytest

from grader import catalogue, clock
from grader.course.grading import mark_class
from grader.course.issue import assign, channels
from grader.course.submissions import collect
from grader.demo import trainees
from grader.errors import Unreadable
from grader.exercise import issued, practice
from grader.exercise import sheet as sheets
from grader.exercise.part import Item, Judged, Part, Room, no_reasons
from grader.exercise.spread import Pick
from grader.marking import proof
from grader.marking.reading import read
from grader.records.term import roster
from grader.reports.feedback import return_run
from grader.widgets import print_sheet, style
from grader.widgets.fields import kinds as fields
from grader.widgets.lesson import Lesson
from tests.work import exported, issue_of, put_in_inbox, right_answers, sheet_of

PATH = "m01.fast_idle.found"
TESTS = {"lamp": "test lamp at the points", "feeler": "feeler in the gap", "spark": "spark to earth"}
FAULTS = {"points": "points burnt", "lead": "lead broken"}


@dataclass(frozen=True, slots=True)
class Session(Part):
    """Some tests, then a fault named: {"did": ["lamp"], "named": "points"}. Half for the fault, half for few tests."""

    key: str
    prompt: str
    marks: int
    answer: Callable
    objectives: tuple[str, ...]
    because: Callable = no_reasons

    says_wrong = "Neither fault nor way. Begin with the lamp."
    how_typed = "tests, then the fault"

    def typed(self, value, given=None):
        return json.dumps({"did": list(value[0]), "named": value[1]})

    def read(self, raw, given=None):
        try:
            log = json.loads(raw)
            did, named = tuple(log["did"]), log["named"]
        except (ValueError, KeyError, TypeError):
            raise Unreadable("The log of the session is damaged. Begin the session again.") from None
        if set(did) - set(TESTS) or named not in FAULTS:
            raise Unreadable("The log names a test or a fault that this vehicle has not.")
        return did, named

    def echo(self, value, given=None):
        did, named = value
        return f"{len(did)} test{'' if len(did) == 1 else 's'}, then “{FAULTS[named]}”"

    def judge(self, truth, path, right, own):
        few = truth.given_at(path).enough  # from the trainee's own numbers
        share = 0.5 * (own[1] == right[1]) + 0.5 * min(1.0, few / max(1, len(own[0])))
        return Judged(share if own[1] == right[1] else 0.0)

    def wrong_items(self, right, own, given: SimpleNamespace | None = None, because: Mapping = no_reasons(None)):
        return [
            Item(f"“{TESTS[key]}” told nothing new.", because.get(key, "")) for key in own[0] if key not in right[0]
        ]

    def disturbed(self, chance, right):
        return right[0], chance.choice([fault for fault in FAULTS if fault != right[1]])

    def room(self, given):
        return Room(lines=4, says="Write test after test, then the fault.")


class SessionField:
    """A button for each test and a list of faults."""

    unit = shown = ""

    def __init__(self, part, given, heard):
        self._did = []
        self._heard = heard
        self.fault = style.Dropdown(options=["", *FAULTS], tooltip="Fault")
        self.fault.observe(heard, "value")
        self.row = [style.VBox([self.fault])]

    def do(self, test):
        self._did.append(test)
        self._heard(None)

    @property
    def raw(self):
        return json.dumps({"did": self._did, "named": self.fault.value}) if self.fault.value else ""

    def follow(self, raw, unit):
        if raw != self.raw:
            log = json.loads(raw) if raw else {"did": [], "named": ""}
            self._did, self.fault.value = list(log["did"]), log["named"]


PART = Session(
    key="found", prompt="Find the fault", marks=3, objectives=("T5",), answer=lambda v: (("lamp",), v.fault),
    because=lambda v: {"feeler": "The lamp had shown the gap already."},
)  # fmt: skip


@pytest.fixture
def module(m01, monkeypatch):
    """Module 1 with a session in place of its last calculation; the one line that ties class and field together."""
    exercises = tuple(
        replace(e, parts=(PART,), draw={"fault": Pick(tuple(FAULTS)), "enough": Pick((1, 2))}, fill=None, show=None,
                linked=None, text="It will not start.", route=lambda v: (f"It is {FAULTS[v.fault]}.",))
        if e.key == "m01.fast_idle" else e for e in m01.exercises
    )  # fmt: skip
    changed = replace(m01, exercises=exercises)
    monkeypatch.setattr(catalogue, "module", lambda key: changed)
    monkeypatch.setitem(fields.FIELDS, Session, SessionField)
    return changed


def test_what_it_writes_is_read_back():
    assert read(PART, PART.typed((("lamp", "spark"), "lead"))).value == (("lamp", "spark"), "lead")
    assert read(PART, PART.typed((("lamp",), "lead"))).echo == "1 test, then “lead broken”"


def test_the_proofs_and_the_simulated_trainees_take_it(module):
    found = proof.prove(module, 60)
    assert PATH in found.parts and not [said for said in found.faults if "right answer" in said]
    numbers = next(proof.draws(module, 1))
    record = issued.make(module, key=proof.KEY, term="t", trainee="t1", attempt=1, mode="assessed", due="", zone="UTC",
                         numbers=numbers)  # fmt: skip
    assert any(PATH in trainees.answer_sheet(module, record, seed)[0].answers for seed in range(5))


def test_in_the_form_it_is_saved_checked_and_printed(module, tmp_path, monkeypatch):
    monkeypatch.delenv("NBGRADER_EXECUTION", raising=False)
    practice.write(tmp_path / practice.NAME, practice.Marker("Ana", "7" * 32))
    lesson = Lesson("m01_timing", tmp_path)
    lesson.show("m01.fast_idle")
    given = lesson.numbers("m01.fast_idle")
    form = lesson.forms["m01.fast_idle"].parts["found"]
    for test in ("lamp", "feeler", "spark"):
        form.entry.do(test)
    form.entry.fault.value = given.fault
    assert "Read as <strong>3 tests, then" in form.echo.value and "Saved" in form.echo.value
    form.check.click()
    assert PART.says_partly in form.verdict.value
    assert "<li>“feeler in the gap” told nothing new. The lamp had shown the gap already.</li>" in form.verdict.value
    kept = sheets.read(tmp_path / sheets.NAME).answers[PATH]
    assert json.loads(kept.raw) == {"did": ["lamp", "feeler", "spark"], "named": given.fault} and kept.tries == 1
    again = Lesson("m01_timing", tmp_path)
    again.show("m01.fast_idle")
    assert again.forms["m01.fast_idle"].parts["found"].entry.raw == kept.raw
    assert "3 tests, then" in print_sheet.write(again.store).read_text("utf-8")


def test_in_a_term_it_is_drawn_marked_returned_and_exported(module, empty_term):
    term = empty_term
    listed = term.folder / "rosters" / "list.csv"
    listed.write_text("id,last_name,first_name\nT01,Arundell,Bea\n", encoding="utf-8")
    roster.import_list(term, listed)
    assign.assign(term, "m01_timing", due="2026-03-31 17:00")
    record = issue_of(term, "t01")
    numbers = record.numbers["m01.fast_idle"]
    assert numbers["fault"] in FAULTS
    [paper] = channels.print_sheets(term, "m01_timing", trainees=("T01",))
    assert "Write test after test, then the fault." in paper.read_text("utf-8")
    own = (("lamp", "feeler", "spark", "spark"), numbers["fault"])
    answers = {**right_answers(module, record), PATH: PART.typed(own)}
    path = put_in_inbox(term, sheet_of(record, answers))
    collect.collect(term, [path.parent], received_at=clock.parse("2026-03-30 12:00", term.settings.zone))
    mark_class.mark(term, "m01_timing")
    return_run.give_back(term, "m01_timing")
    page = return_run.returned_path(term, "t01", "m01_timing", 1).read_text("utf-8")
    assert "4 tests, then “" in page and "told nothing new. The lamp had shown the gap already." in page
    [row] = [row for row in exported(term, "items") if row["item"] == PATH]
    hundredths = round(300 * (0.5 + 0.5 * numbers["enough"] / 4))
    assert row["verdict"] == "partly right" and round(float(row["mark"]) * 100) == hundredths
    assert PART.typed((("lamp",), numbers["fault"])) in row.values()
