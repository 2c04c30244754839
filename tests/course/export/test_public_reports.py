"""Faults that others reported in public, tried on our exports with inputs of our own."""

import csv
import io

import pytest
from openpyxl import load_workbook
from sqlalchemy import update

from grader.course import roster
from grader.course.export import layout, package, stream, workbook
from grader.course.export.grades import hundredths
from grader.course.export.tables.columns import GRADES, Column, Shape
from grader.course.records import database, schema


def read(path, **options):
    return list(csv.DictReader(io.StringIO(path.read_text("utf-8-sig"), newline=""), **options))


def sheet(path, name):
    head, *body = load_workbook(path)[name].values
    return [dict(zip(head, row, strict=True)) for row in body]


def test_na_and_null_are_names(classes):
    """pandas-dev/pandas 10647, 50458, 32084: "NA" and "null" came back as missing."""
    rows = {row["trainee_id"]: row["last_name"] for row in read(package.write(classes, "grades").path)}
    assert rows["NA"] == "NA" and rows["0042"] == "Null"
    in_book = {row["trainee_id"]: row["last_name"] for row in sheet(workbook.write(classes), "Grades")}
    assert in_book["NA"] == "NA" and in_book["0042"] == "Null"


def test_a_comma_in_a_name_shifts_no_column(classes):
    """jupyter/nbgrader 890 and its plain CSV writer: a name with a comma made a row one cell longer."""
    table = list(csv.reader(io.StringIO(package.write(classes, "grades").path.read_text("utf-8"), newline="")))
    assert {len(row) for row in table} == {len(GRADES.names)}
    assert "O’Neil, Jr." in {row[2] for row in table}


def test_not_handed_in_all_wrong_and_late_are_three_things(classes):
    """jupyter/nbgrader pull request 781 and issue 1459: a missing sheet exported as 0, score and raw score confused."""
    with database.transaction(classes[0]) as connection:
        connection.execute(update(schema.mark).where(schema.mark.c.trainee == "0046").values(raw=0, mark=0))
    rows = {row["trainee_id"]: row for row in read(package.write(classes, "grades").path)}
    assert [rows["1E"][name] for name in ("status", "raw", "mark", "percent", "passed")] == [
        "not handed in",
        "",
        "",
        "",
        "",
    ]
    assert [rows["0046"][name] for name in ("status", "raw", "mark", "percent", "passed")] == [
        "marked",
        "0",
        "0",
        "0",
        "no",
    ]
    assert [rows["0042"][name] for name in ("raw", "penalty", "mark", "late_days")] == ["28", "5.6", "22.4", "2"]
    in_book = {row["trainee_id"]: row["mark"] for row in sheet(workbook.write(classes), "Grades")}
    assert in_book["1E"] is None and in_book["0046"] == 0


@pytest.mark.parametrize("name", ["=transformer", "=1+1", "+49", "-x", "@sum", "＝1"])
def test_text_that_looks_like_a_formula(classes, name):
    """jmcnamara/XlsxWriter 461: "=transformer" became 0. OWASP: such cells are defused for spreadsheets."""
    with database.transaction(classes[0]) as connection:
        connection.execute(update(schema.trainee).where(schema.trainee.c.id == "0042").values(last_name=name))
    in_book = {row["trainee_id"]: row["last_name"] for row in sheet(workbook.write(classes), "Grades")}
    assert in_book["0042"] == name
    plain = {row["trainee_id"]: row["last_name"] for row in read(package.write(classes, "grades").path)}
    assert plain["0042"] == name
    safe = read(package.write(classes, "grades", how=stream.manner(spreadsheet=True)).path)
    assert {row["trainee_id"]: row["last_name"] for row in safe}["0042"] == f"'{name}"


def test_a_vertical_tab_in_an_answer(classes):
    """django-import-export 1712: a vertical tab stopped the export to a workbook."""
    answers = [row["answer"] for row in sheet(workbook.write(classes), "Items") if row["answer"]]
    assert any("\ufffd" in answer for answer in answers) and not any("_x000B_" in answer for answer in answers)
    assert any("\x0b" in row["answer"] for row in read(package.write(classes, "items").path))


def test_noughts_in_front_of_an_id(classes):
    """django-import-export 289: 0042 became 42."""
    assert "0042" in {row["trainee_id"] for row in sheet(workbook.write(classes), "Grades")}


def test_accents_in_a_spreadsheet(classes):
    """pandas-dev/pandas 44323: without a byte order mark spreadsheets garble Å and 李."""
    content = package.write(classes, "grades", how=stream.manner(spreadsheet=True)).path.read_bytes()
    assert content.startswith(b"\xef\xbb\xbf") and "Åse".encode() in content and "李".encode() in content
    assert not package.write(classes, "grades").path.read_bytes().startswith(b"\xef\xbb\xbf")


def test_semicolons_and_decimal_commas(classes):
    """asafdav/ng-csv 28: European spreadsheets want semicolons."""
    path = package.write(classes, "grades", how=stream.manner(spreadsheet=True, separator=";")).path
    rows = {row["trainee_id"]: row for row in read(path, delimiter=";")}
    assert rows["0042"]["mark"] == "22,4" and rows["0043"]["last_name"] == "O’Neil, Jr."


def test_the_hour_of_a_hand_in(classes):
    """pandas-dev/pandas 27008, ropensci/writexl 105: zones refused or silently changed in a workbook."""
    rows = [
        row for row in sheet(workbook.write(classes), "Grades") if row["handed_in_at"] == "2026-03-30T00:00:00.000Z"
    ]
    assert {row["handed_in_at Europe/Lisbon"] for row in rows} == {"2026-03-30 01:00:00"}


def test_a_long_sheet_name_with_forbidden_characters():
    """jmcnamara/XlsxWriter 364: more than 31 characters, or : and /, were refused."""
    assert workbook.sheet_name("Cap: rotor / leads and everything between") == "Cap  rotor   leads and everythi"


@pytest.mark.parametrize(("value", "said"), [(1755, "17.55"), (30, "0.3"), (65696, "656.96"), (2000, "20")])
def test_decimals_as_they_are(value, said):
    """pandas-dev/pandas 27771: 656.964 was written as 656.9639999. Ours are whole hundredths."""
    assert hundredths(value) == said


def test_a_whole_mark_twice_through_export_and_import(classes, tmp_path):
    """doorstop-dev/doorstop 101: 1.0 came back as 1, and the next export differed."""
    shape = Shape("t", "", (Column("mark", "number", ""),), ())
    once = stream.write_table(tmp_path / "1.csv", shape, [{"mark": hundredths(2000)}], stream.Manner())
    again = stream.write_table(tmp_path / "2.csv", shape, read(once.path), stream.Manner())
    assert once.sha256 == again.sha256 and read(again.path) == [{"mark": "20"}]


def test_our_own_export_imported_again(classes, empty_term, tmp_path):
    """netbox-community/netbox pull request 11954, timeseer-ai/kukur 279: the byte order mark stuck to the first heading."""
    (tmp_path / "l.toml").write_text(
        'format = "timing-mark layout"\nrows = "trainee"\ncolumns = [{take = "trainee_id", name = "id"}, {take = "last_name"}, {take = "first_name"}]\n'
    )
    how = stream.manner(spreadsheet=True)
    path = layout.write(classes[:1], layout.read(tmp_path / "l.toml"), tmp_path / "list.csv", how).path
    assert len(roster.import_list(empty_term, path)["added"]) == 5
    with database.transaction(empty_term) as connection:
        assert {p.college_id for p in roster.everyone(connection)} == {"0042", "0043", "NA", "1E", "0046"}


def test_a_name_that_the_locale_cannot_write(classes, monkeypatch, tmp_path):
    """nbgrader's exporter opened its file in the encoding of the locale; ours is UTF-8 whatever the locale."""
    import os
    import subprocess
    import sys
    from pathlib import Path

    env = {**os.environ, "LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    words = [
        sys.executable,
        "-m",
        "grader",
        "export",
        "grades",
        str(tmp_path / "g.csv"),
        "--term",
        str(classes[0].folder),
    ]
    ran = subprocess.run(words, env=env, cwd=Path(__file__).parents[3], capture_output=True, timeout=120)
    assert ran.returncode == 0, ran.stderr
    assert "李" in (tmp_path / "g.csv").read_text("utf-8")
