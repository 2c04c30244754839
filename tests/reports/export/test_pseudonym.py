"""An export without names gives nobody away: no names, ids, free text, order of the list or small cells."""

import csv
import io

import pytest

from grader.records import database, ledger, schema
from grader.reports.export import package, pseudonym, workbook
from grader.reports.tables.columns import ANALYSIS, MODULES

SECRET = ("Null", "O’Neil", "李", "Nguyễn", "Quay", "Marr", "0042", "0043", "0046", "=1+1", "Ford", "Åse", "evening")


def read(path):
    return list(csv.DictReader(io.StringIO(path.read_text("utf-8"), newline="")))


def test_no_name_no_id_no_free_text_anywhere(classes, tmp_path):
    with database.transaction(classes[0]) as connection:
        ledger.append(connection, [ledger.Entry("excuse", trainee="0042", reason="Marr drove Åse home")])
    package.write_all(classes, tmp_path / "out", pseudonymous=True)
    said = "".join(path.read_text("utf-8") for path in (tmp_path / "out").iterdir())
    assert [word for word in SECRET if word in said] == []
    named = package.write(classes, "grades", tmp_path / "named.csv").path.read_text("utf-8")
    assert all(word in named for word in ("Null", "O’Neil", "0042"))


def test_codes_need_the_key_and_hold_over_all_tables(classes, tmp_path):
    package.write_all(classes, tmp_path, pseudonymous=True)
    grades, items = read(tmp_path / "grades.csv"), read(tmp_path / "items.csv")
    assert {row["trainee_id"] for row in items} < {row["trainee_id"] for row in grades}
    assert len({row["trainee_id"] for row in grades}) == 11
    mine = pseudonym.code(classes[0], "0042")
    assert mine in {row["trainee_id"] for row in grades} and mine != pseudonym.code(classes[1], "0042")
    assert mine != pseudonym.code(classes[0], "0042", "another purpose")


def test_the_order_of_the_class_list_is_not_kept(classes, tmp_path):
    package.write_all(classes, tmp_path, pseudonymous=True)
    for name in ("grades", "objectives"):
        codes = [row["trainee_id"] for row in read(tmp_path / f"{name}.csv") if row["class"] == "spring-b"]
        assert codes == sorted(codes) and codes
    rows = read(tmp_path / "changes.csv")
    enrolled = [row["trainee_id"] for row in rows if row["event"] == "enrolled" and row["class"] == "spring-b"]
    assert enrolled == sorted(enrolled) and len(enrolled) == 6
    numbers = [int(row["seq"]) for row in rows if row["class"] == "spring-b"]
    assert numbers == list(range(1, len(numbers) + 1))


def test_days_instead_of_moments(classes, tmp_path):
    package.write_all(classes, tmp_path, pseudonymous=True)
    moments = [row["handed_in_at"] for row in read(tmp_path / "grades.csv") if row["handed_in_at"]]
    assert moments and all(len(text) == 10 for text in moments)
    assert "2026-03-30" in moments  # 01:00 on the Lisbon clock is the day before in UTC


def test_small_cells_are_hidden(assigned_term, tmp_path):
    """A class of three is not named, and figures of fewer than five are blank."""
    package.write_all([assigned_term], tmp_path, pseudonymous=True)
    assert {row["class"] for row in read(tmp_path / "grades.csv")} == {"hidden"}
    assert "spring-a" not in "".join(path.read_text("utf-8") for path in tmp_path.glob("*.*"))
    row = {"module": "m", "key_version": "", "n": "4", "left_out": "0", "items": "3", "mean": "5", "note": ""}
    hidden = shown(MODULES, **row)
    assert (hidden["mean"], hidden["n"]) == ("", "0") and "fewer than 5" in hidden["note"]


def shown(shape, **cells):
    """A row of figures as it stands in an export without names."""
    return next(pseudonym.figure_rows(shape, [dict.fromkeys(shape.names, "") | cells]))


@pytest.mark.parametrize(("people", "mean"), [("5", "17.5"), ("4", "")])
def test_a_cell_of_exactly_five_is_shown(people, mean):
    """Five people are enough to hide in, four are not: neither their mean nor their number is told."""
    row = shown(MODULES, module="m", n=people, left_out="0", items="3", mean="17.5")
    assert (row["mean"], row["n"]) == (mean, people if mean else "0")


@pytest.mark.parametrize(("left_out", "told"), [("5", "5"), ("4", "0"), ("0", "0")])
def test_five_left_out_are_told(left_out, told):
    assert shown(MODULES, module="m", n="20", left_out=left_out, items="3", mean="17.5")["left_out"] == told


@pytest.mark.parametrize(("share", "slip"), [("0.5", "radius"), ("0.4", "")])
def test_a_slip_that_five_made_is_named(share, slip):
    """Of ten: five made it, or four; then it is not told."""
    row = shown(ANALYSIS, module="m", item="x", n="10", facility="0.4", top_slip="radius", top_slip_share=share)
    assert (row["top_slip"], row["facility"]) == (slip, "0.4")


def test_a_class_of_exactly_five_keeps_its_name(classes, tmp_path):
    """spring-a has five trainees; with four its name alone would say who they are."""
    package.write_all(classes, tmp_path / "five", pseudonymous=True)
    assert {row["class"] for row in read(tmp_path / "five" / "grades.csv")} == {"spring-a", "spring-b"}
    with database.transaction(classes[0]) as connection:
        connection.execute(schema.trainee.delete().where(schema.trainee.c.college_id == "0046"))
    package.write_all(classes, tmp_path / "four", pseudonymous=True)
    assert {row["class"] for row in read(tmp_path / "four" / "grades.csv")} == {"hidden", "spring-b"}


def test_the_workbook_too(classes, tmp_path):
    from openpyxl import load_workbook

    book = load_workbook(workbook.write(classes, tmp_path / "p.xlsx", pseudonymous=True))
    cells = {str(c.value) for sheet in book for row in sheet for c in row if c.value is not None}
    assert [word for word in SECRET if any(word in cell for cell in cells)] == []
    assert pseudonym.code(classes[0], "0042") in cells
