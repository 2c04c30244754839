"""Two attempts and a vehicle of the term's own: every export says which attempt it tells of, and where numbers come from."""

import csv
import io
import json
import shutil
import zipfile
from decimal import Decimal

import pytest

from grader import catalogue, clock
from grader.course.audit import verify
from grader.course.grading import mark_class, resit
from grader.course.issue import assign
from grader.course.submissions import collect
from grader.exercise import issued
from grader.records.gradebook import setup
from grader.records.term import roster
from grader.records.term import term as terms
from grader.reports.export import layout, package, workbook
from grader.reports.export.oneroster import writer
from grader.reports.export.oneroster.check import checker
from grader.reports.export.pages import evidence, moderation, programme_report
from grader.reports.export.xapi import statements
from grader.reports.feedback import return_run
from tests.conftest import CLASS
from tests.course.vehicles import stored
from tests.reports.export.test_papers import Page, well_made
from tests.work import NEXT, exported, issue_of, put_in_inbox, right_answers, sheet_of, wrong_answers

KEY = "m01_timing"
SOURCE = "Hall engine handbook"


def _sit(term, trainee, attempt, when, *, wrong=()):
    record = issue_of(term, trainee, attempt=attempt)
    module = catalogue.module(KEY)
    answers = right_answers(module, record) | wrong_answers(module, record, wrong)
    asked = set(issued.to_answer(record.exercises))
    answers = {path: raw for path, raw in answers.items() if path.rpartition(".")[0] in asked}
    path = put_in_inbox(term, sheet_of(record, answers))
    collect.collect(term, [path.parent], received_at=clock.parse(when, term.settings.zone))
    assert mark_class.mark(term, KEY).findings == []


@pytest.fixture(scope="module")
def _sat(tmp_path_factory):
    """T01 does better in his second attempt, T02 worse, T03 hands nothing in."""
    place = tmp_path_factory.mktemp("attempts")
    term = setup.new_term(place / "term", term_id="spring-a", title="Spring", zone="Europe/Lisbon")
    (place / "list.csv").write_text(CLASS, encoding="utf-8")
    roster.import_list(term, place / "list.csv")
    stored(term, "hall", title="Hall four", initial="8 BTDC")
    assign.assign(term, KEY, due="2026-03-31 17:00", own=["hall"])
    first = ("m01.mark_arc.arc", "m01.angle_time.time")
    for trainee in ("t01", "t02"):
        _sit(term, trainee, 1, "2026-03-30 12:00", wrong=first)
    return_run.give_back(term, KEY)
    for trainee in ("t01", "t02"):
        resit.resit(term, trainee, KEY, due=f"{NEXT}-04-20 17:00", reason="T1 again")
    _sit(term, "t01", 2, "2026-04-10 12:00")
    _sit(term, "t02", 2, "2026-04-11 12:00", wrong=(*first, "m01.centrifugal.advance"))
    return term.folder


@pytest.fixture
def sat(_sat, tmp_path):
    shutil.copytree(_sat, tmp_path / "term")
    return terms.open_term(tmp_path / "term")


def test_the_records_agree(sat):
    assert verify.verify(sat).findings == []


def test_grades_show_the_attempt_that_counts_and_how_many_there_were(sat):
    found = {row["trainee_id"]: row for row in exported(sat, "grades")}
    shown = {
        who: (row["attempt"], row["attempts"], row["mark"], row["handed_in_at"][:10]) for who, row in found.items()
    }
    assert shown == {
        "T01": ("2", "2", "28", "2026-04-10"),
        "T02": ("1", "2", "24", "2026-03-30"),
        "T03": ("1", "1", "", ""),
    }


def test_items_tell_attempts_and_kept_answers_apart(sat):
    found = exported(sat, "items")
    grades = {row["trainee_id"]: row for row in exported(sat, "grades")}
    for who in ("T01", "T02"):
        mine = [row for row in found if row["trainee_id"] == who]
        by = {(row["attempt"], row["item"]): row for row in mine}
        assert len(by) == len(mine) and {attempt for attempt, _ in by} == {"1", "2"}
        counting = [Decimal(r["mark"]) for (attempt, _), r in by.items() if attempt == grades[who]["attempt"]]
        assert sum(counting) == Decimal(grades[who]["raw"])
        kept = {item for (attempt, item), row in by.items() if row["kept"] == "yes" and attempt == "2"}
        assert kept and "m01.mark_arc.arc" not in kept and not [r for (a, _), r in by.items() if a == "1" and r["kept"] == "yes"]  # fmt: skip
        for item in {item for _, item in by}:
            one, two = by["1", item], by["2", item]
            same = [one[column] == two[column] for column in ("variant", "answer", "mark")]
            assert item not in kept or same == [True, True, True]
        # Where few numbers can be drawn, a fresh draw can be the old one again; not in every exercise of a resit.
        assert any(by["1", item]["variant"] != by["2", item]["variant"] for item in {i for _, i in by} - kept)
    assert {row["first_attempt"] for row in found if row["attempt"] == "2"} == {"no"}


def test_objectives_rest_on_the_attempt_they_name(sat):
    items, tags = exported(sat, "items"), {path: part.objectives for _, part, path in catalogue.module(KEY).parts()}
    found = exported(sat, "objectives")
    assert {(row["trainee_id"], row["attempt"]) for row in found} == {("T01", "2"), ("T02", "1")}
    for row in found:
        mine = [i for i in items if (i["trainee_id"], i["attempt"]) == (row["trainee_id"], row["attempt"]) and row["objective"] in tags[i["item"]]]  # fmt: skip
        waits = any(i["mark"] == "" for i in mine)
        assert waits or Decimal(row["marks"]) == sum(Decimal(i["mark"]) for i in mine)
    met = {(row["trainee_id"], row["objective"]): row["met"] for row in found}
    assert (met["T01", "T1"], met["T02", "T1"]) == ("yes", "no")


def test_statistics_stay_with_first_attempts(sat):
    assert {row["n"] for row in exported(sat, "analysis")} == {"2"}


def test_a_package_for_another_system(sat):
    made = writer.write([sat])
    assert checker.check(made, complete=True) == []
    with zipfile.ZipFile(made) as archive:
        results = list(csv.DictReader(io.StringIO(archive.read("results.csv").decode(), newline="")))
    told = sorted((row["score"], row["comment"]) for row in results)
    assert told == [("", ""), ("24", "passed; attempt 1 of 2"), ("28", "passed; attempt 2 of 2")]


def test_statements_of_both_attempts(sat):
    lines = [json.loads(line) for line in statements.write([sat]).path.read_text("utf-8").splitlines()]
    own = f"{statements.BASE}extensions/"
    told = {
        (s["actor"]["account"]["name"], s["context"]["extensions"][f"{own}attempt"], s["context"]["extensions"][f"{own}counts"], s["result"]["score"]["raw"])
        for s in lines
        if s["object"]["id"] == f"{statements.BASE}modules/{KEY}"
    }  # fmt: skip
    assert {(who, attempt, counts) for who, attempt, counts, _ in told} == {
        ("T01", 1, False), ("T01", 2, True), ("T02", 1, True), ("T02", 2, False),
    }  # fmt: skip
    assert {raw for who, _, counts, raw in told if counts} == {24, 28}
    assert all(s["context"]["extensions"][f"{own}attempt"] in (1, 2) for s in lines)


def test_what_a_resit_keeps_is_stated_once(sat):
    """An answer was given once: its statement stands under that attempt, the later one has only the marks it brings."""
    lines = [json.loads(line) for line in statements.write([sat]).path.read_text("utf-8").splitlines()]
    own, parts, exercises = f"{statements.BASE}extensions/", {1: set(), 2: set()}, {1: {}, 2: {}}
    for said in (s for s in lines if s["actor"]["account"]["name"] == "T01"):
        told, (folder, _, key) = said["context"]["extensions"], said["object"]["id"].removeprefix(statements.BASE).partition("/")  # fmt: skip
        if folder == "parts":
            parts[told[f"{own}attempt"]].add(key)
        if folder == "exercises":
            exercises[told[f"{own}attempt"]][key] = (told.get(f"{own}kept", False), said["result"]["score"]["raw"])
    kept = {row["item"] for row in exported(sat, "items") if row["trainee_id"] == "T01" and row["kept"] == "yes"}
    assert kept and parts[2] == parts[1] - kept
    fresh = {item.rpartition(".")[0] for item in parts[2]}
    assert set(exercises[2]) == set(exercises[1])  # so that the module's mark is still the sum of its exercises
    assert {key for key, (was_kept, _) in exercises[2].items() if was_kept} == set(exercises[2]) - fresh
    assert not any(was_kept for was_kept, _ in exercises[1].values())
    assert all(exercises[1][key][1] == mark for key, (was_kept, mark) in exercises[2].items() if was_kept)
    assert sum(mark for _, mark in exercises[2].values()) == 28


def test_a_layout_can_take_the_attempt(sat, tmp_path):
    (tmp_path / "l.toml").write_text(
        'format = "timing-mark layout"\nrows = "trainee"\ncolumns = [{take = "trainee_id"}, {take = "m01_timing.attempt", name = "a"}, {take = "m01_timing.attempts", name = "n"}]\n'
    )
    found = layout.rows([sat], layout.read(tmp_path / "l.toml"))
    assert {tuple(row.values()) for row in found} == {("T01", "2", "2"), ("T02", "1", "2"), ("T03", "1", "1")}


class TestPapers:
    def test_evidence_rests_on_one_attempt_and_names_the_vehicle(self, sat):
        pages = {path.stem: well_made(path.read_bytes()).text for path in evidence.write([sat])}
        assert "2026-04-10" in pages["t01"] and "2026-03-30" not in pages["t01"]
        assert "2026-03-30" in pages["t02"] and "2026-04-11" not in pages["t02"]
        for text in pages.values():
            assert f"Hall four (hall, revision 1): {SOURCE}, p. 7; entered by Q. Z." in text

    def test_a_moderator_sees_the_attempt_the_vehicle_and_what_was_kept(self, sat):
        path, names = moderation.write([sat], KEY)
        with zipfile.ZipFile(path) as archive:
            found = {name: well_made(archive.read(f"sheets/{name}.html")).text for name in names}
            index = Page(archive.read("index.html")).text
        assert set(found) == {"t01", "t02"} and "2 of 2" in index and "1 of 2" in index
        assert "2 of 2 issued" in found["t01"] and "kept from an earlier attempt" in found["t01"]
        assert "1 of 2 issued" in found["t02"] and "kept from an earlier attempt" not in found["t02"]
        assert all(SOURCE in text and "Hall four" in text for text in found.values())

    def test_a_question_is_shown_with_its_own_numbers(self, sat):
        path, _ = moderation.write([sat], KEY)
        module = catalogue.module(KEY)
        with zipfile.ZipFile(path) as archive:
            text = Page(archive.read("sheets/t01.html")).text
        from types import SimpleNamespace

        numbers = issue_of(sat, "t01", attempt=2).numbers
        for exercise in module.exercises:
            wording = exercise.wording(SimpleNamespace(**numbers[exercise.key]))
            asked = " ".join(wording.replace("• ", "").split())  # lines with a bullet are a list on the page
            assert asked in text, exercise.key

    def test_no_source_in_a_pseudonymous_pack(self, sat):
        path, _ = moderation.write([sat], KEY, pseudonymous=True)
        with zipfile.ZipFile(path) as archive:
            said = b"".join(archive.read(name) for name in archive.namelist())
        assert SOURCE.encode() not in said and b"Q. Z." not in said

    def test_the_report_names_own_vehicles(self, sat):
        text = well_made(programme_report.write([sat]).read_bytes()).text
        assert f"Own vehicles Numbers are drawn from class module vehicle source of its figures Spring (spring-a) Ignition timing Hall four (hall, revision 1) {SOURCE}, p. 7" in text  # fmt: skip
        assert SOURCE not in Page(programme_report.write([sat], pseudonymous=True).read_bytes()).text


class TestVehicles:
    def test_items_name_the_vehicle_and_its_revision(self, sat):
        found = exported(sat, "items")
        numbers = issue_of(sat, "t02").numbers
        for row in found:
            drawn = "vehicle" in numbers[row["item"].rpartition(".")[0]]
            assert row["vehicle"] == ("hall, revision 1" if drawn else ""), row["item"]
        assert {row["vehicle"] for row in found} == {"", "hall, revision 1"}

    def test_the_policy_gives_the_source(self, sat, tmp_path):
        package.write_all([sat], tmp_path / "named")
        policy = json.loads((tmp_path / "named" / "policy.json").read_text("utf-8"))
        [one] = policy["classes"][0]["vehicles"]
        assert (one["key"], one["revision"], one["title"], one["manual"], one["page"], one["modules"]) == (
            "hall", 1, "Hall four", SOURCE, "p. 7", [KEY],
        )  # fmt: skip
        package.write_all([sat], tmp_path / "coded", pseudonymous=True)
        said = "".join(path.read_text("utf-8") for path in (tmp_path / "coded").iterdir())
        assert SOURCE not in said and "hall, revision" not in said

    def test_the_ledger_and_the_workbook_name_it(self, sat):
        told = [row["new"] for row in exported(sat, "changes") if row["event"] == "vehicle"]
        assert told == ["hall, revision 1", "hall, revision 1"]
        from openpyxl import load_workbook

        book = load_workbook(workbook.write([sat]))
        assert SOURCE in {cell.value for row in book["Policy"] for cell in row}
