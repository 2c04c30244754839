"""Faults that others reported in public, tried on our exports with inputs of our own.

report                                          test here, if no other file is named
pandas 10647, 50458, 32084                      test_na_and_null_are_names; test_class_list.py
nbgrader 890                                    test_a_comma_in_a_name_shifts_no_column; test_public_troubles.py
nbgrader 912, 928, 1738, 1843                   test_ids_that_break_paths_and_patterns; test_term.py, test_class_list.py
nbgrader 723                                    test_a_penalty_goes_when_the_due_time_moves; test_adjust.py, test_work.py
nbgrader 1932                                   test_due_dates_stay_on_their_day; test_adjust.py
nbgrader 1250                                   test_who_was_removed_is_in_no_export; test_privacy.py
nbgrader PR 781, 1459                           test_not_handed_in_all_wrong_and_late_are_three_things
XlsxWriter 461                                  test_text_that_looks_like_a_formula
django-import-export 1712                       test_a_vertical_tab_in_an_answer
django-import-export 289                        test_noughts_in_front_of_an_id, ..._in_every_table
pandas 44323                                    test_accents_in_a_spreadsheet
ng-csv 28                                       test_semicolons_and_decimal_commas
pandas 27008, writexl 105                       test_the_hour_of_a_hand_in
XlsxWriter 364                                  test_a_long_sheet_name_with_forbidden_characters
pandas 27771                                    test_decimals_as_they_are
doorstop 101                                    test_a_whole_mark_twice_through_export_and_import
netbox PR 11954, kukur 279                      test_our_own_export_imported_again
"""

import csv
import io
import json
import re
import zipfile

import pandas
import pytest
from openpyxl import load_workbook
from sqlalchemy import select, update

from grader import clock
from grader.course.audit import deletion
from grader.course.grading import adjust, mark_class
from grader.course.issue import assign
from grader.course.submissions import collect
from grader.pages import csv_file
from grader.records import database, schema
from grader.records.term import roster
from grader.reports.export import layout, package, pseudonym, workbook
from grader.reports.export.oneroster import writer as oneroster
from grader.reports.export.oneroster.check import checker
from grader.reports.export.pages import evidence, moderation, programme_report
from grader.reports.export.xapi import statements
from grader.reports.tables.columns import GRADES, Column, Shape
from grader.reports.tables.grades import hundredths
from tests.work import NEXT, issue_of, put_in_inbox, right_sheet


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
    safe = read(package.write(classes, "grades", how=csv_file.manner(spreadsheet=True)).path)
    assert {row["trainee_id"]: row["last_name"] for row in safe}["'0042"] == f"'{name}", "and the id keeps its noughts"


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
    content = package.write(classes, "grades", how=csv_file.manner(spreadsheet=True)).path.read_bytes()
    assert content.startswith(b"\xef\xbb\xbf") and "Åse".encode() in content and "李".encode() in content
    assert not package.write(classes, "grades").path.read_bytes().startswith(b"\xef\xbb\xbf")


def test_semicolons_and_decimal_commas(classes):
    """asafdav/ng-csv 28: European spreadsheets want semicolons."""
    path = package.write(classes, "grades", how=csv_file.manner(spreadsheet=True, separator=";")).path
    rows = {row["trainee_id"]: row for row in read(path, delimiter=";")}
    assert rows["'0042"]["mark"] == "22,4" and rows["'0043"]["last_name"] == "O’Neil, Jr."


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
    once = csv_file.write_table(tmp_path / "1.csv", shape, [{"mark": hundredths(2000)}], csv_file.Manner())
    again = csv_file.write_table(tmp_path / "2.csv", shape, read(once.path), csv_file.Manner())
    assert once.sha256 == again.sha256 and read(again.path) == [{"mark": "20"}]


def test_our_own_export_imported_again(classes, empty_term, tmp_path):
    """netbox-community/netbox pull request 11954, timeseer-ai/kukur 279: the byte order mark stuck to the first heading."""
    (tmp_path / "l.toml").write_text(
        'format = "timing-mark layout"\nrows = "trainee"\ncolumns = [{take = "trainee_id", name = "id"}, {take = "last_name"}, {take = "first_name"}]\n'
    )
    how = csv_file.manner(spreadsheet=True)
    path = layout.write(classes[:1], layout.read(tmp_path / "l.toml"), tmp_path / "list.csv", how).path
    assert len(roster.import_list(empty_term, path).added) == 5
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


def _everything(opened, folder):
    """Every kind of export into one folder; what lies there by name, archives unpacked."""
    package.write_all(opened, folder)
    workbook.write(opened, folder / "programme.xlsx")
    oneroster.write(opened, folder / "oneroster.zip")
    statements.write(opened, folder / "statements.ndjson")
    programme_report.write(opened, folder / "programme.html")
    for term in opened:
        evidence.write([term], folder / "evidence")
        moderation.write([term], "m01_timing", folder / f"moderation-{term.id}.zip", sample=99)
    found = {}
    for path in sorted(folder.rglob("*")):
        if path.is_file() and zipfile.is_zipfile(path):
            with zipfile.ZipFile(path) as archive:
                found |= {f"{path.name}/{name}": archive.read(name) for name in archive.namelist()}
        elif path.is_file():
            found[str(path.relative_to(folder))] = path.read_bytes()
    return found


def test_ids_that_break_paths_and_patterns(assigned_term, tmp_path):
    """jupyter/nbgrader 912 (a backslash), 928, 1738, 1843 (+ ( ) [ ] /): such ids could not be marked or collected."""
    ids = ["SHOP\\jo", "x[1]", "a+b", "c(d)", "e/f", "Ü 7", "CON"]
    listed = tmp_path / "list.csv"
    listed.write_text("id,last_name,first_name\n" + "".join(f"{one},Name,N{n}\n" for n, one in enumerate(ids)), "utf-8")
    roster.import_list(assigned_term, listed, confirmed=True)
    assign.assign(assigned_term, "m01_timing")
    with database.transaction(assigned_term) as connection:
        ours = {person.college_id: person.id for person in roster.everyone(connection)}
    for one in ids:
        put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, ours[one])))
    collect.collect(assigned_term, received_at=clock.parse("2026-03-30", "UTC"))
    assert mark_class.mark(assigned_term, "m01_timing").marked == len(ids)
    found = _everything([assigned_term], tmp_path / "out")
    table = csv.DictReader(io.StringIO(found["grades.csv"].decode(), newline=""))
    assert {row["trainee_id"] for row in table if row["mark"] == "28"} == set(ids)
    users = csv.DictReader(io.StringIO(found["oneroster.zip/users.csv"].decode(), newline=""))
    assert set(ids) <= {row["username"] for row in users}
    assert checker.check(tmp_path / "out" / "oneroster.zip", complete=True) == []
    told = [json.loads(line)["actor"]["account"]["name"] for line in found["statements.ndjson"].decode().splitlines()]
    assert set(ids) == set(told)
    assert {row["trainee_id"] for row in sheet(tmp_path / "out" / "programme.xlsx", "Grades")} >= set(ids)
    pages = [name for name in found if "evidence" in name or "/sheets/" in name]
    assert len(pages) == 3 * len(ids), "a page of evidence, a moderated sheet and its answers for each"
    assert all(re.fullmatch(r"[a-z0-9][a-z0-9._-]*", name.rpartition("/")[2]) and ".." not in name for name in pages)


def test_a_penalty_goes_when_the_due_time_moves(classes):
    """jupyter/nbgrader 723: the penalty stayed after the due date was moved. Late, extended, marked again: no penalty."""
    term = classes[0]
    before = {row["trainee_id"]: row for row in read(package.write([term], "grades").path)}["0042"]
    assert (before["penalty"], before["mark"], before["late_days"], before["extension_until"]) == (
        "5.6",
        "22.4",
        "2",
        "",
    )
    adjust.extend(term, "0042", "m01_timing", until="2026-04-03", reason="ill")
    after = {row["trainee_id"]: row for row in read(package.write([term], "grades").path)}["0042"]
    assert (after["raw"], after["penalty"], after["mark"], after["late_days"]) == ("28", "0", "28", "0")
    assert after["extension_until"] == "2026-04-03T22:59:59.000Z"
    with zipfile.ZipFile(oneroster.write([term])) as archive:
        results = csv.DictReader(io.StringIO(archive.read("results.csv").decode(), newline=""))
        mine = [r for r in results if r["studentSourcedId"] == pseudonym.code(term, "0042", "oneroster")]
    assert [(r["score"], r["late"], r["comment"]) for r in mine] == [("28", "false", "passed")]
    told = [json.loads(line) for line in statements.write([term]).path.read_text("utf-8").splitlines()]
    [module] = [s for s in told if s["object"]["id"].endswith("modules/m01_timing") and s["actor"]["account"]["name"] == "0042"]  # fmt: skip
    assert module["result"]["score"]["raw"] == 28
    assert module["context"]["extensions"][f"{statements.BASE}extensions/penalty"] == 0
    late = [row for row in programme_report.late_changes([term]) if row[4] == "0042"]
    assert {row[3] for row in late} == {"extension", "re-marked"}
    [until] = [row[8] for row in late if row[3] == "extension"]
    assert until == "2026-04-03 23:59 Europe/Lisbon", "a page for people shows the term's own clock"
    sample, _ = moderation.write([term], "m01_timing")
    with zipfile.ZipFile(sample) as archive:
        pages = [archive.read(name).decode() for name in archive.namelist() if name.endswith(".html")]
    assert any(until in page for page in pages) and not any("22:59:59" in page for page in pages)


def test_due_dates_stay_on_their_day(empty_term, tmp_path):
    """jupyter/nbgrader 1932: a due date without a zone landed on midnight UTC. Half past midnight in Lisbon is the day before in UTC."""
    (tmp_path / "l.csv").write_text("id,last_name,first_name\nX1,Bo,Al\n")
    roster.import_list(empty_term, tmp_path / "l.csv")
    assign.assign(empty_term, "m01_timing", due=f"{NEXT}-07-01 00:30")
    with database.transaction(empty_term) as connection:
        assert connection.execute(select(schema.assignment.c.due)).scalars().all() == [f"{NEXT}-06-30T23:30:00.000Z"]
    with zipfile.ZipFile(oneroster.write([empty_term])) as archive:
        lines = list(csv.DictReader(io.StringIO(archive.read("lineItems.csv").decode(), newline="")))
    assert [line["dueDate"] for line in lines] == [f"{NEXT}-07-01"]


def test_who_was_removed_is_in_no_export(classes, tmp_path):
    """jupyter/nbgrader 1250: a removed student was still shown, and the folders stayed."""
    gone = ("B0", "Ford0", "Ann0", pseudonym.code(classes[1], "b0", "oneroster"), pseudonym.code(classes[1], "B0"))
    before = _everything(classes, tmp_path / "before")
    assert {word for word in gone[:3] for text in before.values() if word.encode() in text} == set(gone[:3])
    deletion.delete_person(classes[1], "B0", reason="asked for it")
    after = _everything(classes, tmp_path / "after")
    for name, text in after.items():
        text = re.sub(rb'src="data:[^"]*"', b"", text)  # a picture in letters may hold any two of them
        assert [word for word in gone if re.search(rb"\b" + word.encode() + rb"\b", text)] == [], name
    with zipfile.ZipFile(tmp_path / "after" / "programme.xlsx") as book:
        assert b"Ford0" not in book.read("xl/worksheets/sheet2.xml") and b"Ford1" in book.read(
            "xl/worksheets/sheet2.xml"
        )
    assert "B1" in after["grades.csv"].decode()
    folder = classes[1].folder  # in handed_in/ a folder bears the first two figures of a digest, and may be called b0
    named = [path for path in folder.rglob("*") if path.name.lower() in ("b0", "b0.html")]
    assert [path for path in named if path.parent != folder / "handed_in"] == []


def test_noughts_in_front_of_an_id_in_every_table(classes):
    """django-import-export 289, in the files as well: 0042 is text everywhere, described as text."""
    package.write_all(classes)
    folder = classes[0].folder / "exports"
    described = json.loads((folder / "datapackage.json").read_text("utf-8"))
    for resource in described["resources"]:
        for field in resource["schema"]["fields"]:
            if field["name"] == "trainee_id":
                assert field["type"] == "string"
    for name in ("grades", "items", "objectives", "changes"):
        assert "0042" in {row["trainee_id"] for row in read(folder / f"{name}.csv")}
    frame = pandas.read_csv(folder / "grades.csv", dtype={"trainee_id": str}, keep_default_na=False)
    assert {"0042", "NA"} <= set(frame["trainee_id"]) and "Null" in set(frame["last_name"])
