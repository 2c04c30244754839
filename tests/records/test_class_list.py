"""Reading class lists: every form that colleges send, and every fault named with its line."""

import codecs

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grader.errors import BadRoster
from grader.records import database, ledger
from grader.records.term import class_list, roster
from grader.records.term.term import ID

PLAIN = "id,last_name,first_name,group\n0042,Åkesson,Bo,A\nT2,李,Nélia,B\n"


def names(content):
    people, _ = class_list.read(content)
    return [(p.college_id, p.last_name, p.first_name, p.group or "") for p in people]


EXPECTED = [("0042", "Åkesson", "Bo", "A"), ("T2", "李", "Nélia", "B")]


@pytest.mark.parametrize(
    "content",
    [
        PLAIN.encode(),
        PLAIN.encode("utf-8-sig"),
        PLAIN.encode("utf-16"),
        codecs.BOM_UTF16_BE + PLAIN.encode("utf-16-be"),
        PLAIN.encode("utf-32"),
        PLAIN.replace(",", ";").encode(),
        PLAIN.replace(",", "\t").encode("utf-16"),
        PLAIN.replace(",", "|").encode(),
        ("sep=;\r\n" + PLAIN.replace(",", ";").replace("\n", "\r\n")).encode(),
        PLAIN.replace("\n", ",,\n").encode(),
        PLAIN.replace(",", " , ").encode(),
        ("\n\n" + PLAIN.replace("\n", "\n\n")).encode(),
        PLAIN.replace("id,last_name,first_name,group", "Matrikel-Nr.,Nachname,Vorname,Gruppe").encode(),
        PLAIN.replace("id,last_name,first_name,group", "Matricule,Nom,Prénom,Groupe").encode(),
        PLAIN.replace("id,last_name,first_name,group", "Student ID,Surname,Given name,Section").encode(),
    ],
    ids=["utf-8", "utf-8 with mark", "utf-16", "utf-16 big", "utf-32", "semicolons", "tabs", "bars", "sep line",
         "empty columns", "blanks", "blank lines", "german", "french", "english"],
)  # fmt: skip
def test_every_form_says_the_same(content):
    assert names(content) == EXPECTED


def test_windows_1252_is_read_with_a_note():
    people, notes = class_list.read("id;Nachname;Vorname\n7;Müller;Zoë\n".encode("cp1252"))
    assert people[0].last_name == "Müller" and any("Windows-1252" in note for note in notes)


def test_signs_nobody_sees_are_taken_out_and_joiners_stay():
    text = "id,last_name,first_name\n\u200e00\u200b42\ufeff,van\u00a0 \u202fDyk\u00ad,می\u200cخواهم\n"
    assert names(text.encode()) == [("0042", "van Dyk", "می\u200cخواهم", "")]


def test_names_are_taken_as_they_are():
    rows = "id,last_name,first_name\n1,Null,NA\n2,O'Neil,None\n3,d’Arc,nan\n4,Nguye\u0302\u0303n,true\n5,Nguyễn,N/A\n"
    people, notes = class_list.read(rows.encode())
    assert [p.last_name for p in people] == ["Null", "O'Neil", "d’Arc", "Nguyễn", "Nguyễn"]
    assert [p.first_name for p in people] == ["NA", "None", "nan", "true", "N/A"] and notes == []


def test_one_column_for_the_whole_name():
    assert names(b"no;name\n7;Abel Bo\n") == [("7", "Abel Bo", "", "")]


def test_what_is_passed_over_is_noted():
    people, notes = class_list.read(
        b"id,last_name,first_name,e-mail\n1,Abel,Bo,a@b.example\n1,Abel,Bo,c@d.example\n2,Abel,Bo,\n"
    )
    assert [p.college_id for p in people] == ["1", "2"]
    assert notes == [
        "not kept: e-mail",
        "line 3 says the same as line 2; kept once",
        "Abel, Bo is the name of 1 and 2; all are kept",
    ]


FAULTS = {
    "blank id": (",Abel,Bo", "no id"),
    "no name": ("9,,", "no name"),
    "too short": ("9,Abel", "2 cells under 3 headings"),
    "unquoted comma": ("9,O'Neil, Jr.,Bo", "4 cells under 3 headings"),
    "control character": ("9,A\x0bbel,Bo", "control character or line break in last_name"),
    "line break": ('9,"A\nbel",Bo', "control character or line break in last_name"),
    "destroyed": ("1.23457E+11,Abel,Bo", "destroyed by a spreadsheet"),
    "destroyed, comma": ('"1,23457E+11",Abel,Bo', "destroyed by a spreadsheet"),
    "=": ("9,=1+1,Bo", "begins with ="),
    "+": ("+9,Abel,Bo", "begins with +"),
    "-": ("9,Abel,-Bo", "begins with -"),
    "@": ("9,@SUM(A1),Bo", "begins with @"),
    "wide =": ("9,＝1,Bo", "begins with ＝"),
    "hidden =": ("9,\u200b=1,Bo", "begins with ="),
    "parent": ("../evil,Abel,Bo", "path to another folder"),
    "parent inside": ("a/../../b,Abel,Bo", "path to another folder"),
    "parent, other slash": ("..\\evil,Abel,Bo", "path to another folder"),
    "absolute": ("/etc/x,Abel,Bo", "path to another folder"),
    "drive": ("C:\\x,Abel,Bo", "path to another folder"),
    "dots": ("..,Abel,Bo", "path to another folder"),
    "too long": ("9," + "x" * 201 + ",Bo", "201 characters"),
    "same id, other name": ("T0,Else,Bo", "T0 is already on line 2"),
    "capitals": ("t0,First,One", "differs only in capitals from T0, already on line 2"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_is_named_with_its_line(name):
    row, said = FAULTS[name]
    with pytest.raises(BadRoster) as caught:
        class_list.read(f"id,last_name,first_name\nT0,First,One\n{row}\n".encode())
    assert "line 3: " in str(caught.value) and said in str(caught.value)


def test_line_numbers_count_lines_of_the_file():
    text = 'sep=,\nid,last_name,first_name\n\n1,"A\nb",C\n,D,E\n'
    with pytest.raises(BadRoster, match="(?s)line 4: a control.*line 6: no id"):
        class_list.read(text.encode())


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"PK\x03\x04rest", "spreadsheet"),
        (b"\xd0\xcf\x11\xe0rest", "spreadsheet"),
        (b"id,last_name\0,first_name", "zero bytes"),
        (b"id,last_name,first_name\n\x81,\x8d,\x9d\n", "no text that can be read"),
        (b"\xff\xfea", "no text that can be read"),
        (b"id,last_name,first_name\n", "empty below its header"),
        (b"id,surname,last_name,first_name\n1,a,b,c\n", "two columns for last_name"),
    ],
)
def test_files_that_are_no_list(content, said):
    with pytest.raises(BadRoster, match=said):
        class_list.read(content)


@settings(max_examples=300)
@given(st.one_of(st.binary(max_size=300), st.text(max_size=200).map(lambda t: ("id,last_name,first_name\n" + t).encode("utf-8", "replace"))))  # fmt: skip
def test_any_bytes_are_read_or_refused(content):
    try:
        people, _ = class_list.read(content)
    except BadRoster:
        return
    assert people and all(person.college_id for person in people)


class TestFolderIds:
    @pytest.mark.parametrize("college_id", ["0042", "t1", "a_b-c", "Q0101"])
    def test_safe_ones_stay(self, college_id):
        assert class_list.folder_id(college_id) == college_id.lower()

    @pytest.mark.parametrize("college_id", ["SHOP\\jo", "x[1]", ".x", "a b", "ä1", "con", "LPT1", "a+b", "x" * 64, "李", "a/b", "-rf", "jo.", "x(2)"])  # fmt: skip
    def test_others_are_mapped(self, college_id):
        """jupyter/nbgrader 912, 928, 1738, 1843: such ids break paths and patterns."""
        found = class_list.folder_id(college_id)
        assert ID.match(found) and found == class_list.folder_id(college_id.upper() if college_id != "李" else "李")
        assert found not in ("con", "lpt1") and found[-9] == "-"

    def test_different_ids_stay_different(self):
        many = ["a b", "a.b", "a+b", "a/b", "ä b", "a\\b", "A  b"]
        assert len({class_list.folder_id(one) for one in many}) == len(many)

    def test_both_spellings_of_an_accent(self):
        assert class_list.folder_id("e\u0301") == class_list.folder_id("é")


def test_the_map_is_kept_and_a_preview_stores_nothing(assigned_term, tmp_path):
    path = tmp_path / "list.csv"
    path.write_bytes(b"id,last_name,first_name\nt01,Arundell,Beatrice\nSHOP\\jo,Jolle,Jo\n")
    outcome = roster.import_list(assigned_term, path, preview=True)
    assert [p.college_id for p in outcome.added] == ["SHOP\\jo"]
    assert [(p.id, p.college_id, p.first_name) for _, p in outcome.changed] == [("t01", "T01", "Beatrice")]
    assert sorted(p.id for p in outcome.withdrawn) == ["t02", "t03"]
    with database.transaction(assigned_term) as connection:
        assert {p.status for p in roster.everyone(connection)} == {"enrolled"}
        before = ledger.count(connection)
    roster.import_list(assigned_term, path, confirmed=True)
    with database.transaction(assigned_term) as connection:
        jo = roster.one(connection, "shop\\JO")
        assert jo.id.startswith("shop-jo-") and ledger.count(connection) == before + 3
    again = roster.import_list(assigned_term, path)
    assert len(again.unchanged) == 2 and not again.added and not again.changed
