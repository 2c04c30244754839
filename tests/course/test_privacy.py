"""Deleting a person leaves nothing behind in any file, harms nobody else, and keeps the ledger whole."""

import shutil
import zipfile

import pytest
from sqlalchemy import select

from grader.course.attempts import overview
from grader.course.audit import deletion, verify
from grader.course.grading import written_answers, written_table
from grader.errors import Refused, Unknown
from grader.records import database, ledger, schema, traces
from grader.records.term import roster
from grader.reports.export import package, workbook
from grader.reports.export.oneroster import writer
from tests import work

GONE, REASON = ("Q0117", "q0117", "Pellworth"), "asked for it in writing"


def everything(folder):
    """Every file's bytes, archives unpacked, and every file's name."""
    for path in sorted(folder.rglob("*")):
        yield str(path.relative_to(folder)), str(path).encode()
        if path.is_file():
            yield str(path.relative_to(folder)), path.read_bytes()
            if zipfile.is_zipfile(path):
                with zipfile.ZipFile(path) as archive:
                    for name in archive.namelist():
                        yield f"{path.name}: {name}", archive.read(name)


def where(folder, *words):
    return sorted({place for place, content in everything(folder) for word in words if word.encode() in content})


@pytest.fixture
def full(demo_term):
    """The demo with every kind of file that can hold a person."""
    package.write_all([demo_term])
    workbook.write([demo_term])
    writer.write([demo_term])
    for name in ("returned/q0117/m01_timing.html", "feedback/q0117/m01.html", "reports/class.html"):
        (demo_term.folder / name).parent.mkdir(parents=True, exist_ok=True)
        (demo_term.folder / name).write_text("Pellworth, Gideon")
    shutil.copy(demo_term.folder / "rosters" / "class_list.csv", demo_term.folder / "rosters" / "old.csv.bak")
    (demo_term.folder / "rosters" / "utf16.csv").write_bytes(
        "id;n\nQ0117;Pellworth\nQ0118;Quenneval\n".encode("utf-16")
    )
    stray = demo_term.folder / "inbox" / "post"
    stray.mkdir()
    shutil.copy(demo_term.folder / "inbox" / "q0117" / "m01_timing.zip", stray / "scan.zip")
    with database.transaction(demo_term) as connection:
        ledger.append(
            connection,
            [
                ledger.Entry("excuse", trainee="q0117", reason="ill"),
                ledger.Entry("settings", reason="Pellworth asked for more time"),
            ],
        )
    return demo_term


def test_nothing_is_left_of_a_person(full):
    assert len(where(full.folder, *GONE)) > 15
    done = deletion.delete_person(full, "Q0117", reason=REASON)
    assert where(full.folder, *GONE) == []
    assert done.findings == [] and done.people == 1 and done.ledger_rows >= 6
    with database.transaction(full) as connection:
        assert ledger.first_broken(connection) is None
        assert "q0117" not in [person.id for person in roster.everyone(connection)]
        said = [entry for _, _, entry in ledger.entries(connection, "delete")]
    assert [(entry["new"], entry["reason"]) for entry in said] == [("1 of the roster", REASON)]


def test_nobody_else_loses_anything(full):
    def others(term):
        with database.transaction(term) as connection:
            return {
                name: [tuple(row) for row in connection.execute(select(table).where(table.c.trainee != "q0117"))]
                for name, table in schema.metadata.tables.items()
                if "trainee" in table.c
            }

    before = others(full)
    deletion.delete_person(full, "q0117", reason=REASON)
    assert others(full) == before
    assert verify.verify(full).findings == []
    assert (full.folder / "out" / "q0118").is_dir() and (full.folder / "inbox" / "q0118").is_dir()
    assert "Quenneval" in (full.folder / "rosters" / "class_list.csv").read_text("utf-8")
    assert "Quenneval" in (full.folder / "rosters" / "utf16.csv").read_text("utf-8")
    package.write_all([full])
    assert "Q0118" in (full.folder / "exports" / "grades.csv").read_text("utf-8")


def test_a_whole_class(full):
    deletion.delete_class(full, reason="kept long enough")
    assert where(full.folder, *GONE, "Quenneval", "Q0101", "q0124", "Åkervik", "Weatherall") == []
    with database.transaction(full) as connection:
        assert ledger.first_broken(connection) is None and roster.everyone(connection) == []
    assert verify.verify(full).findings == []
    assert all("nobody is left" in line for line in overview.lines(full) if line.startswith("m0"))


def test_somebody_elses_row_that_names_him_is_a_finding(full):
    """Another trainee's mark may rest on that row, so it is not emptied but named."""
    with database.transaction(full) as connection:
        ledger.append(connection, [ledger.Entry("excuse", trainee="q0118", reason="nursed Pellworth")])
        number = ledger.count(connection)
    done = deletion.delete_person(full, "q0117", reason=REASON)
    assert any(f"row {number} is about q0118" in finding for finding in done.findings)
    assert any("gradebook.db still names or quotes" in finding for finding in done.findings)


def test_it_is_seen_who_would_go_and_what_lies_elsewhere(full, tmp_path):
    """A report of two classes lies in the other class's folder: it is named, and goes when that is asked for."""
    there = package.write([full], "grades", tmp_path / "other" / "exports" / "both.csv").path
    book = workbook.write([full], tmp_path / "other" / "programme.xlsx")
    package.write([full], "modules", tmp_path / "no-names.csv")
    before = work.state(full.folder)
    doomed = deletion.preview(full, "Q0117")
    assert [person.name for person in doomed.people] == ["Pellworth, Gideon"] and doomed.elsewhere == [there, book]
    assert doomed.hand_ins >= 1 and work.state(full.folder) == before, "looking changes nothing"
    done = deletion.delete_person(full, "q0117", reason=REASON)
    assert done.files >= doomed.files and sum("still names" in finding for finding in done.findings) == 2
    assert there.is_file() and book.is_file()
    assert deletion.preview(full, "Q0118").elsewhere == [there, book]
    done = deletion.delete_person(full, "q0118", reason=REASON, elsewhere=True)
    assert not there.exists() and not book.exists() and (tmp_path / "no-names.csv").is_file() and done.findings == []


def test_a_table_of_letters_that_quotes_him_is_a_finding(full):
    """README writes the answers for a spreadsheet into the term folder, under codes: his words are still his."""
    asked = list(written_answers.answers(full, "m01_timing", waiting_only=False))
    his = [answer.code for answer in asked if answer.person.id == "q0118"]  # q0117 wrote no letter
    table = written_table.to_table(full, "m01_timing", waiting_only=False)
    assert len(his) == 1 and his[0].encode() in table
    (full.folder / "letters.csv").write_bytes(table)
    (full.folder / "others.csv").write_text("\n".join(answer.code for answer in asked if answer.code not in his))
    done = deletion.delete_person(full, "q0118", reason=REASON)
    assert done.findings == ["letters.csv still names or quotes a deleted person. Look at it and remove it."]


def test_ids_that_stand_in_any_file_delete_nothing_else(assigned_term, tmp_path):
    """A trainee called 1: the figure stands everywhere, and only what is his goes."""
    (tmp_path / "list.csv").write_text("id,last_name,first_name\n1,Li,Bo\n11,Wu,Al\nT01,Arundell,Bea\n")
    roster.import_list(assigned_term, tmp_path / "list.csv", confirmed=True)
    from grader.course.issue import assign

    assign.assign(assigned_term, "m01_timing")
    done = deletion.delete_person(assigned_term, "1", reason="left")
    assert done.findings == []
    assert not (assigned_term.folder / "out" / "1").exists() and (assigned_term.folder / "out" / "11").is_dir()
    with database.transaction(assigned_term) as connection:
        left = set(connection.execute(select(schema.issue.c.trainee)).scalars())
    assert left == {"11", "t01", "t02", "t03"}


@pytest.mark.parametrize(
    ("who", "reason", "error", "said"),
    [("Q0117", "  ", Refused, "needs a reason"), ("Q0117", "Pellworth asked", Refused, "names a person"),
     ("Q0117", "q0117 left", Refused, "names a person"), ("Q9999", "left", Unknown, "Nobody on the roster")],
)  # fmt: skip
def test_refusals_change_nothing(demo_term, who, reason, error, said):
    before = {str(path): path.stat().st_size for path in demo_term.folder.rglob("*")}
    with pytest.raises(error, match=said):
        deletion.delete_person(demo_term, who, reason=reason)
    assert {str(path): path.stat().st_size for path in demo_term.folder.rglob("*")} == before


def test_an_empty_class(empty_term):
    with pytest.raises(Refused, match="Nobody is on the roster"):
        deletion.delete_class(empty_term, reason="over")


@pytest.mark.parametrize(
    ("content", "found"),
    [(b"id,Q0117,x", True), (b"XQ01179", False), ("Pellworth".encode("utf-16-le"), True), (b"pellworth", False),
     ("»Pellworth«".encode("cp1252"), True), (b"Pellworths", False), (b"", False), (b"PK\x03\x04 broken", False)],
)  # fmt: skip
def test_what_counts_as_naming(content, found):
    person = roster.Trainee("q0117", "Q0117", "Pellworth", "Gideon")
    assert traces.mentions(content, traces.words(person)) is found


def test_a_family_name_that_another_has_is_no_trace():
    mine, other = roster.Trainee("t01", "T01", "Null", "A"), roster.Trainee("t02", "T02", "Null", "B")
    assert traces.words(mine, [other]) == ((), ("t01", "T01"))
