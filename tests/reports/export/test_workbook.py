"""The workbook and saved layouts, read back by a library that is not ours."""

import csv
import gc
import io
import os

import pytest
from openpyxl import load_workbook
from sqlalchemy import update

from grader import files
from grader.errors import BadFile, CannotWrite, Refused
from grader.pages import csv_file
from grader.records import database, schema
from grader.reports.export import layout, package, workbook
from grader.reports.tables.columns import SHAPES


def rows_of(sheet):
    head, *body = [[cell.value for cell in row] for row in sheet]
    return [dict(zip(head, row, strict=True)) for row in body]


def test_the_sheets_hold_what_the_tables_hold(classes, tmp_path):
    book = load_workbook(workbook.write(classes))
    assert book.sheetnames == [
        "Summary", "Grades", "Objectives", "Witnessed", "Items", "Analysis", "Variants", "Modules", "Changes", "Policy",
    ]  # fmt: skip
    for name in ("grades", "items", "objectives"):
        shape = SHAPES[name]
        path = package.write(classes, name, tmp_path / f"{name}.csv").path
        theirs = list(csv.DictReader(io.StringIO(path.read_text("utf-8"), newline="")))
        ours = rows_of(book[name.capitalize()])
        assert len(ours) == len(theirs) > 0
        for mine, row in zip(ours, theirs, strict=True):
            for column in shape.columns:
                if column.kind in ("number", "integer"):
                    assert mine[column.name] == (float(row[column.name]) if row[column.name] else None)
                else:
                    assert (mine[column.name] or "") == workbook.clean(row[column.name])


def test_ids_stay_text_and_formulas_text(classes):
    book = load_workbook(workbook.write(classes))
    ids = [row["trainee_id"] for row in rows_of(book["Grades"])]
    assert {"0042", "0043", "NA", "1E"} <= set(ids)
    cells = [cell for sheet in book for row in sheet for cell in row]
    assert not [cell for cell in cells if cell.data_type == "f"]
    assert [cell.value for cell in cells if str(cell.value).startswith("=")] == ["=1+1� +351 Marr"] * 2


def test_two_runs_give_the_same_bytes(classes, tmp_path):
    assert workbook.write(classes).read_bytes() == workbook.write(classes, tmp_path / "again.xlsx").read_bytes()


def test_moments_stand_in_utc_and_on_the_clock_of_the_term(classes):
    """Handed in at 01:00 on the Lisbon clock in summer time is 00:00 UTC."""
    rows = rows_of(load_workbook(workbook.write(classes))["Grades"])
    night = [row for row in rows if row["handed_in_at"] == "2026-03-30T00:00:00.000Z"]
    assert len(night) == 2 and {row["handed_in_at Europe/Lisbon"] for row in night} == {"2026-03-30 01:00:00"}


@pytest.mark.parametrize(
    ("title", "name"),
    [("Timing: advance / retard [all engines, all speeds]", "Timing  advance   retard  all e"), ("'quoted'", "quoted"), ("", "Sheet"),
     ("a\x0bb", "a�b"), ("///", "Sheet")],
)  # fmt: skip
def test_sheet_names(title, name):
    assert workbook.sheet_name(title) == name and len(name) <= 31


def test_two_sheets_of_one_name():
    taken = ["Timing"]
    assert workbook.sheet_name("TIMING", taken) == "TIMING (2)"
    assert len(workbook.sheet_name("x" * 40, ["x" * 31])) <= 31


def test_too_long_for_a_cell():
    assert len(workbook.clean("x" * 40_000)) == 32_767


LAYOUT = """
format = "timing-mark layout"
rows = "{rows}"
order = [{order}]
columns = [{columns}]
[[words]]
from = 60
word = "Pass"
[[words]]
from = 0
word = "Refer"
"""


def read(
    classes,
    tmp_path,
    *,
    rows="trainee",
    order='"last_name"',
    columns='{take = "trainee_id", name = "No"}, {take = "word"}',
):
    path = tmp_path / "mine.toml"
    path.write_text(LAYOUT.format(rows=rows, order=order, columns=columns), encoding="utf-8")
    found = layout.read(path)
    return [list(row.values()) for row in layout.rows(classes, found)], found


class TestLayouts:
    def test_the_example_can_be_used(self, classes, tmp_path):
        (tmp_path / "example.toml").write_text(layout.EXAMPLE, encoding="utf-8")
        made = layout.write(classes, layout.read(tmp_path / "example.toml"), tmp_path / "out.csv", csv_file.Manner())
        lines = (tmp_path / "out.csv").read_text("utf-8").splitlines()
        assert made.rows == 11 and lines[0] == "Student number,Family name,Given name,Timing,Per cent,Result"
        assert lines[1] == "0046,Marr,Ivo,28,93.33,Distinction"

    def test_order_names_and_words(self, classes, tmp_path):
        """Missing work after the due time counts nought by the settings, so it has a word too."""
        found, _ = read(classes[:1], tmp_path)
        assert found == [["0046", "Pass"], ["NA", "Pass"], ["0042", "Pass"], ["0043", "Refer"], ["1E", "Refer"]]

    def test_a_word_is_decided_unrounded(self, classes, tmp_path):
        with database.transaction(classes[0]) as connection:
            connection.execute(
                update(schema.mark).where(schema.mark.c.trainee == "0046").values(mark=59999, most=100000)
            )
        found, _ = read(
            classes[:1],
            tmp_path,
            columns='{take = "total_percent"}, {take = "word"}, {take = "m01_timing.passed", name = "p"}',
        )
        assert found[0] == ["59.99", "Refer", "no"]

    def test_one_row_per_module(self, classes, tmp_path):
        found, _ = read(
            classes,
            tmp_path,
            rows="module",
            order='"mark"',
            columns='{take = "module"}, {take = "mark"}, {take = "group"}',
        )
        marks = [row[1] for row in found]
        assert marks[:6] == sorted(marks[:6], key=float) and marks[6:] == [""] * 5
        assert {row[2] for row in found} == {"A", "B", ""}

    def test_nothing_assigned_is_no_mark(self, empty_term, classes, tmp_path):
        from grader.records.term import roster

        (tmp_path / "l.csv").write_text("id,last_name,first_name\nX1,Bo,Al\n")
        roster.import_list(empty_term, tmp_path / "l.csv")
        found, _ = read([empty_term], tmp_path, columns='{take = "total"}, {take = "total_percent"}, {take = "word"}')
        assert found == [["", "", ""]]

    def test_in_the_workbook(self, classes, tmp_path):
        _, saved = read(classes, tmp_path)
        book = load_workbook(workbook.write(classes, layout=saved))
        assert book.sheetnames[0] == "Layout" and rows_of(book["Layout"])[0]["No"] == "B0"
        with pytest.raises(Refused, match="shows names"):
            workbook.write(classes, layout=saved, pseudonymous=True)

    @pytest.mark.parametrize(
        ("options", "said"),
        [({"rows": "class"}, "rows is"), ({"columns": ""}, "names no columns"), ({"columns": '{take = "grade"}'}, "takes 'grade'"),
         ({"order": '"grade"'}, "order must"), ({"columns": '{take = "total", name = "A"}, {take = "word", name = "A"}'}, "twice"),
         ({"columns": '"total"'}, "takes None")],
    )  # fmt: skip
    def test_layouts_that_are_none(self, classes, tmp_path, options, said):
        with pytest.raises(BadFile, match=said):
            read(classes, tmp_path, **options)

    @pytest.mark.parametrize(("text", "said"), [("rows =", "cannot be read"), ("rows = 'trainee'", "must say format")])
    def test_files_that_are_none(self, tmp_path, text, said):
        (tmp_path / "l.toml").write_text(text)
        with pytest.raises(BadFile, match=said):
            layout.read(tmp_path / "l.toml")


def test_a_full_disk_is_said_in_one_sentence(assigned_term, tmp_path, monkeypatch):
    """The disk fills up while the workbook is written: the old one stands, and nothing is grumbled afterwards."""
    monkeypatch.setattr(files, "_part_beside", lambda path: (os.open("/dev/full", os.O_RDWR), str(tmp_path / "never")))
    path = tmp_path / "programme.xlsx"
    path.write_bytes(b"the old one")
    with pytest.raises(CannotWrite, match="programme.xlsx could not be written: No space left"):
        workbook.write([assigned_term], path)
    gc.collect()
    assert path.read_bytes() == b"the old one"
