"""vehicle new|form|check|add|list|show|chart, and assign --vehicle, as an instructor types them."""

import pytest
from typer.testing import CliRunner

from grader import catalogue
from grader.cli.main import app
from grader.errors import BadFile, Unknown
from tests.course.test_vehicle_file import LINES
from tests.course.vehicles import put


@pytest.fixture
def run(assigned_term):
    def run(*words, typed=None, code=0):
        done = CliRunner().invoke(app, [*words, "--term", str(assigned_term.folder)], input=typed)
        assert done.exit_code == code, done.output
        return done.output

    run.term = assigned_term
    return run


def test_from_the_empty_form_to_the_numbers_of_a_class(run):
    assert "vehicles/hall.toml" in run("vehicle", "new", "hall").replace("\n", "")
    said = run("vehicle", "check", "hall", code=1)
    assert said.count("! line") == 3 and "note: line" in said
    put(run.term, "hall", title="Hall four", initial="8 BTDC")
    assert "every figure can be" in run("vehicle", "check", "hall")
    assert "answers for them" in run("vehicle", "add", "hall")
    assert "Hall four" in run("vehicle", "list") and "1 vehicle." in run("vehicle", "list")
    shown = run("vehicle", "show", "hall", "--page")
    assert "57.8 %" in shown and (run.term.folder / "reports" / "vehicle_hall.html").is_file()
    assert "drawn from Hall four (hall, revision 1)" in run("assign", "m02_dwell", "--vehicle", "hall")
    put(run.term, "hall", title="Hall four", initial="9 BTDC")
    said = run("vehicle", "add", "hall")
    assert "revision 2" in said and "m02_dwell went out with revision 1 and keeps it" in said
    run("vehicle", "show", "hall", "--page")
    page = (run.term.folder / "reports" / "vehicle_hall.html").read_text("utf-8")
    assert f"<td>{catalogue.module('m02_dwell').title}</td>" in page and "<td>nothing yet</td>" in page
    assert "all agree" in run("term", "verify")


def test_the_questions_as_they_are_typed(run):
    said = run("vehicle", "form", "bench", typed="\n".join(LINES[:6]) + "\n")
    assert "Stopped; what you typed stands in" in said
    said = run("vehicle", "form", "bench", typed="\n" * 6 + "\n".join(LINES[6:]) + "\n")
    assert "read as 900 engine rev/min = 450 dist rev/min" in said
    assert "Bench four is stored" in run("vehicle", "add", "bench")


def test_a_faulty_file_is_not_stored(run):
    put(run.term, "bad", gap="9 mm")
    done = CliRunner().invoke(app, ["vehicle", "add", "bad", "--term", str(run.term.folder)])
    assert isinstance(done.exception, BadFile) and "was not stored" in str(done.exception)


def test_the_charts_of_a_vehicle_are_printed_one_sheet_for_each_complaint(tmp_path):
    """Each line on the sheet is there to be gone to, and a complaint that does not exist is answered with those that do."""
    words = ["vehicle", "chart", "brackwater-four", "--to", str(tmp_path)]
    path = tmp_path / "troubleshooting_brackwater-four.html"
    assert CliRunner().invoke(app, [*words, "--complaint", "misfire_load"]).exit_code == 0
    page = path.read_text(encoding="utf-8")
    assert page.count("<article>") == 1 and "go to 2" in page and "service manual" in page
    assert CliRunner().invoke(app, words).exit_code == 0
    assert path.read_text(encoding="utf-8").count("<article>") > 10
    refused = CliRunner().invoke(app, [*words, "--complaint", "hums"])
    assert isinstance(refused.exception, Unknown) and "misfire_load" in str(refused.exception)
