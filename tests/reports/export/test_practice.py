"""Practice stands in the tables as practice: nobody passes or fails it, it is no grade elsewhere and no evidence."""

import csv
import io
import json
import shutil
import zipfile

import openpyxl
import pytest

from grader import catalogue
from grader.course.issue import assign
from grader.demo import build as demo_build
from grader.demo import scenario
from grader.errors import Refused
from grader.exercise.model import PRACTICE
from grader.records.gradebook import setup
from grader.records.term import roster
from grader.records.term import term as terms
from grader.reports.export import workbook
from grader.reports.export.oneroster import writer
from grader.reports.export.oneroster.check import checker
from grader.reports.export.pages import evidence, programme_report
from grader.reports.export.xapi import statements
from grader.reports.feedback import class_report
from grader.reports.tables import item_analysis
from tests.conftest import CLASS
from tests.work import exported

PRACTISED, ASSESSED = scenario.PRACTISED, scenario.MODULE


@pytest.fixture(scope="module")
def _practised(demo, tmp_path_factory):
    folder = tmp_path_factory.mktemp("practised") / "term"
    shutil.copytree(demo.term.folder, folder)
    demo_build.practise(terms.open_term(folder))
    return folder


@pytest.fixture
def practised(_practised, tmp_path):
    """The demo's class after it practised the next module."""
    shutil.copytree(_practised, tmp_path / "practised")
    return terms.open_term(tmp_path / "practised")


def test_the_tables_say_it(practised):
    found = exported(practised, "grades")
    assert {(row["module"], row["mode"]) for row in found} == {(ASSESSED, "assessed"), (PRACTISED, "practice")}
    marked = [row for row in found if row["mode"] == "practice" and row["mark"]]
    assert marked and {row["passed"] + row["failed_objectives"] for row in marked} == {""}
    assert {row["passed"] for row in found if row["mode"] == "assessed"} >= {"yes", "no"}
    assert {(row["objective"][0], row["mode"]) for row in exported(practised, "objectives")} == {("T", "assessed"), ("D", "practice")}  # fmt: skip
    book = openpyxl.load_workbook(workbook.write([practised]))
    sheet = list(book["Grades"].values)
    mode, passed = sheet[0].index("mode"), sheet[0].index("passed")
    assert {row[passed] for row in sheet[1:] if row[mode] == "practice"} == {None}


def test_figures_about_questions_leave_it_out(practised):
    """There answers are mended after each verdict."""
    assert {pool.module for pool in item_analysis.pools([practised])} == {ASSESSED}
    assert {row["module"] for row in exported(practised, "analysis")} == {ASSESSED}
    assert {pool.module for pool in item_analysis.pools([practised], practice=True)} == {ASSESSED, PRACTISED}
    page = class_report.write([practised], PRACTISED)[0].read_text("utf-8")
    assert "which nobody passes or fails" in page and "Trainees by mark" in page and "pass mark" not in page
    assert "pass mark" in class_report.write([practised], ASSESSED)[0].read_text("utf-8")


def test_no_grade_for_another_system(practised):
    made = writer.write([practised])
    assert checker.check(made, complete=True) == []
    with zipfile.ZipFile(made) as archive:
        found = {name: list(csv.DictReader(io.StringIO(archive.read(f"{name}.csv").decode(), newline="")))
                 for name in ("lineItems", "categories", "results", "lineItemLearningObjectiveIds")}  # fmt: skip
    [line] = found["lineItems"]
    assert {row["lineItemSourcedId"] for row in found["results"]} == {line["sourcedId"]}
    assert [row["title"] for row in found["categories"]] == ["Assessed work"]
    assert {row["learningObjectiveId"][0] for row in found["lineItemLearningObjectiveIds"]} == {"T"}


def test_a_class_that_only_practised_has_nothing_to_send(tmp_path):
    made = setup.new_term(tmp_path / "term", term_id="a", title="A", zone="UTC")
    (tmp_path / "list.csv").write_text(CLASS)
    roster.import_list(made, tmp_path / "list.csv")
    assign.assign(made, ASSESSED, mode=PRACTICE)
    with pytest.raises(Refused, match="no assessed work"):
        writer.write([made])


def test_statements_say_scored_and_practice(practised):
    own, verbs = f"{statements.BASE}extensions/mode", set()
    for line in statements.write([practised]).path.read_text("utf-8").splitlines():
        said = json.loads(line)
        key = said["object"]["id"].rpartition("/")[2]
        in_practice = key == PRACTISED or key.startswith("m02.")
        assert said["context"]["extensions"].get(own) == ("practice" if in_practice else None)
        if key in (PRACTISED, ASSESSED):
            verbs.add((key, said["verb"]["display"]["en"]))
            assert not in_practice or "success" not in said["result"]
    assert verbs == {(ASSESSED, "passed"), (ASSESSED, "failed"), (PRACTISED, "scored")}


def test_report_and_evidence(practised):
    page = programme_report.write([practised]).read_text("utf-8")
    assert f"{catalogue.module(PRACTISED).title} (practice)" in page and "D1 " not in page
    for path in evidence.write([practised]):
        text = path.read_text("utf-8")
        assert "<td>practice</td>" in text and "m02." not in text
