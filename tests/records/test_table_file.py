"""Tables from a workshop office: whatever a spreadsheet saves is read alike, and nothing of a class goes in silence."""

import io
import zipfile

import openpyxl
import pytest
from openpyxl.styles import numbers
from typer.testing import CliRunner

from grader import clock
from grader.cli.main import app
from grader.errors import BadFile, BadRoster, Refused
from grader.records import database
from grader.records.term import class_list, roster, table_file
from grader.reports.export import workbook

WHAT = "The table"
HEADER = ("trainee", "part", "answer")
ROWS = [("0427", "arc", "12,5 mm"), ("T2", "Übung", "ja")]


def xlsx(*rows, formats=(), title="Sheet", before=()):
    """A workbook as an office program saves it; `formats` are (row, column, number format)."""
    book = openpyxl.Workbook()
    sheet = book.active
    for name in before:
        book.create_sheet(name, 0).append(["something else"])
    sheet.title = title
    for row in rows:
        sheet.append(row)
    for row, column, shape in formats:
        sheet.cell(row, column).number_format = shape
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def text(separator):
    lines = [HEADER, *ROWS]
    return "\n".join(separator.join(f'"{cell}"' if separator in cell else cell for cell in line) for line in lines)


@pytest.mark.parametrize(
    "content",
    [*(text(separator).encode(encoding) for separator in ",;\t" for encoding in ("utf-8", "utf-8-sig", "utf-16", "cp1252")),
     xlsx(HEADER, *ROWS), xlsx((), ("Trainee ", "PART", "Answer"), (), *ROWS, before=("notes",))],
)  # fmt: skip
def test_every_way_of_saving_gives_the_same_table(content):
    """The office saves with commas, semicolons or tabs, in old letters or new ones, or sends the spreadsheet itself."""
    table = table_file.parse(content, {"trainee": "trainee", "part": "part", "answer": "answer"}.get, what=WHAT)
    assert [table_file.plain_heading(cell) for cell in table.header] == list(HEADER)
    assert [tuple(row) for _, row in table.rows] == ROWS


def test_a_spreadsheet_s_numbers_and_days_are_read_as_they_are_shown():
    """A column set to show 0427 holds the number 427; a day is a number, too; a long number has lost its end."""
    day = clock.from_text("2026-03-12T00:00:00+00:00").replace(tzinfo=None)
    content = xlsx(
        ("id", "on", "mark", "long"), (427, day, 12.5, 1234567890123456789),
        formats=[(2, 1, "0000"), (2, 2, numbers.FORMAT_DATE_XLSX14)],
    )  # fmt: skip
    [(line, row)] = table_file.parse(content, {"id": "id"}.get, what=WHAT).rows
    assert (line, row[:3]) == (2, ["0427", "2026-03-12", "12.5"]) and "E+18" in row[3]


def test_a_spreadsheet_that_is_none_or_too_large_is_refused_with_a_sentence():
    """A damaged one, an archive of something else, a formula in error, and a small file that would fill the memory."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", b" " * (table_file.LARGEST_UNPACKED + 1))
    assert len(packed.getvalue()) < 200_000
    other = io.BytesIO()
    with zipfile.ZipFile(other, "w") as archive:
        archive.writestr("content.xml", "x")
    broken = io.BytesIO()
    with zipfile.ZipFile(broken, "w") as archive:
        archive.writestr("xl/workbook.xml", "<no")
    for content, words in (
        (packed.getvalue(), "unpacks to more"), (other.getvalue(), "no .xlsx"), (broken.getvalue(), "cannot be opened"),
        (xlsx(("id",), ("#REF!",)), "line 2: a cell holds #REF!"), (xlsx(), "empty"),
    ):  # fmt: skip
        with pytest.raises(BadFile, match=words):
            table_file.parse(content, {"id": "id"}.get, what=WHAT)


def test_an_open_quotation_mark_is_named_with_its_line_and_a_second_header_is_passed_over():
    """Two lists copied under one another, and a quotation mark that somebody forgot to close."""
    people, notes = class_list.read(b"id,last_name,first_name\n1,Abel,Bo\nid,last_name,first_name\n2,Ceder,Di\n")
    assert [person.college_id for person in people] == ["1", "2"]
    assert notes == ["line 3 holds the headings again; passed over"]
    with pytest.raises(BadRoster, match="from line 3 on, a quotation mark is opened and not closed"):
        class_list.read(b'id;last_name;first_name\n1;Abel;Bo\n2;"Ceder;Di\n3;Em;Fi\n')
    with pytest.raises(BadRoster, match="line 3: a quotation mark is opened here and closed on a later line"):
        class_list.read(b'id,last_name,first_name\n1,Abel,Bo\n2,"Ceder,Di\n3,Em"\n')


@pytest.mark.parametrize(
    ("written", "iso"),
    [("31.3.2026", "2026-03-31"), ("1.3.2026 17:00", "2026-03-01 17:00"), ("31/03/2026", "2026-03-31"),
     ("3/31/2026 5 pm", "2026-03-31 17:00"), ("5/5/2026", "2026-05-05"), ("31 March 2026, 9:30", "2026-03-31 09:30"),
     ("Mar 31, 2026 at 12 am", "2026-03-31 00:00"), ("2026/3/1", "2026-03-01"), ("31st Mar. 2026", "2026-03-31"),
     ("2026-03-31 17:00", "2026-03-31 17:00")],
)  # fmt: skip
def test_a_date_is_read_as_people_write_it(written, iso):
    assert clock.as_iso(written) == iso
    assert clock.parse(written, "Europe/Lisbon") == clock.parse(iso, "Europe/Lisbon")


@pytest.mark.parametrize(
    ("written", "words"),
    [("4/3/2026", "can be 4 March or 3 April.*Write 2026-03-04 or 2026-04-03"), ("4-3-2026", "can be 4 March"),
     ("31 Mai 2026", "no month"), ("ma 3, 2026", "not a date"), ("3.4.26", "not a date"), ("3.4.2026 25:00", "no such hour"),
     ("2026-03-31 17", "not a date"), ("31/31/2026", "no date")],
)  # fmt: skip
def test_a_date_that_could_be_two_days_is_asked_about(written, words):
    """The fourth of March here is the third of April there."""
    with pytest.raises(Refused, match=words):
        clock.parse(written, "Europe/Lisbon")


def statuses(term):
    with database.reading(term) as connection:
        return {person.college_id: person.status for person in roster.everyone(connection)}


def test_half_a_list_withdraws_nobody_before_somebody_says_so(assigned_term, tmp_path):
    """The office sent one page of the list: two of three would be out, and that is shown, not done."""
    half = tmp_path / "half.xlsx"
    half.write_bytes(xlsx(("id", "last_name", "first_name"), ("T01", "Arundell", "Beatrice")))
    run, at = CliRunner(), ["--term", str(assigned_term.folder)]
    shown = run.invoke(app, ["roster", "import", str(half), *at])
    assert shown.exit_code == 2 and set(statuses(assigned_term).values()) == {"enrolled"}
    assert "It would withdraw 2 of 3 (Null, Dov; O’Neil, Jr., Cass)" in shown.output
    assert "changed: T01 Arundell, Bea -> Arundell, Beatrice" in shown.output
    done = run.invoke(app, ["roster", "import", str(half), *at, "--yes"])
    assert done.exit_code == 0 and list(statuses(assigned_term).values()).count("withdrawn") == 2


def test_ids_without_their_noughts_are_seen_before_they_are_stored(empty_term, tmp_path):
    """A spreadsheet made 427 of 0427: that would be a new person, and the old one would be out."""
    listed = tmp_path / "list.csv"
    listed.write_text("id,last_name,first_name,group\n" + "".join(f"04{n},Name,N{n},A\n" for n in range(20, 32)))
    roster.import_list(empty_term, listed)
    listed.write_text(listed.read_text().replace("\n0427", "\n427"))
    seen = roster.import_list(empty_term, listed)
    assert not seen.stored and "427 for 0427" in " ".join(seen.doubts) and "427" not in statuses(empty_term)
    listed.write_text("id;last_name;first_name\n" + "".join(f"04{n};Name;N{n}\n" for n in range(20, 32)))
    kept = roster.import_list(empty_term, listed)
    assert kept.stored and not kept.changed, "a list without groups leaves everybody in his group"


def test_our_own_workbook_comes_back_with_every_nought(empty_term, tmp_path):
    """The coordinator's workbook, opened, saved again and used as a class list: the same people, nobody else."""
    listed = tmp_path / "list.csv"
    listed.write_text("id,last_name,first_name,group\n0042,Abel,Bo,01\n007,Ceder,Di,01\n1E,Em,Fi,02\n")
    roster.import_list(empty_term, listed)
    from grader.course.issue import assign

    assign.assign(empty_term, "m01_timing")
    path = workbook.write([empty_term], tmp_path / "programme.xlsx")
    book = openpyxl.load_workbook(path)
    book.save(tmp_path / "saved.xlsx")
    again = roster.import_list(empty_term, tmp_path / "saved.xlsx", preview=True)
    assert not (again.added or again.changed or again.withdrawn or again.doubts) and len(again.unchanged) == 3
