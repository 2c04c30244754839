"""Class lists: stored whole or not at all."""

import shutil

import pytest
import pyuca

from grader.errors import BadRoster, CannotWrite, Unknown
from grader.records import database, ledger
from grader.records.term import roster


def load(term, tmp_path, text, encoding="utf-8"):
    path = tmp_path / "list.csv"
    path.write_bytes(text.encode(encoding))
    return roster.import_list(term, path, confirmed=True)


def people(term):
    with database.transaction(term) as connection:
        return roster.everyone(connection)


def test_names_that_tables_break(empty_term, tmp_path):
    load(
        empty_term, tmp_path,
        'id,last_name,first_name,group\n0042,Null,Ada,A\nT2,"O\'Neil, Jr.",Cass,A\nT3,d’Arc,NA,\nT4,Nguye\u0302\u0303n,李,B\n',
    )  # fmt: skip
    found = {person.college_id: person for person in people(empty_term)}
    assert found["0042"].id == "0042" and found["0042"].last_name == "Null"
    assert found["T2"].last_name == "O'Neil, Jr." and found["T2"].id == "t2"
    assert found["T3"].first_name == "NA"
    assert found["T4"].last_name == "Nguyễn"


def test_a_byte_order_mark_and_blank_lines(empty_term, tmp_path):
    outcome = load(empty_term, tmp_path, "id,last_name,first_name\n\nT1, Abel , Bo\n", "utf-8-sig")
    assert [person.name for person in outcome.added] == ["Abel, Bo"]


def test_all_faults_at_once_and_nothing_stored(empty_term, tmp_path):
    with pytest.raises(BadRoster) as caught:
        load(
            empty_term, tmp_path,
            "id,last_name,first_name\nT1,Good,One\n,No,Id\nT1,Twice,Here\n1.23457E+11,Big,Number\nT5,=1+1,X\n../x,Path,Trick\nT7,short\n",
        )  # fmt: skip
    said = str(caught.value)
    for line, words in (
        (3, "no id"),
        (4, "already on line 2"),
        (5, "spreadsheet"),
        (6, "formula"),
        (7, "folder"),
        (8, "2 cells"),
    ):
        assert f"line {line}: " in said and words in said
    assert people(empty_term) == []


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "empty"),
        ("name,mail\nA,b\n", "without id and first_name; the header must be"),
        ("id,last_name,first_name,id\n1,2,3,4\n", "header must be"),
        ('id,last_name,first_name\n"T1,A,B\n', "no CSV table"),
    ],
)
def test_lists_that_are_none(empty_term, tmp_path, text, said):
    with pytest.raises(BadRoster, match=said):
        load(empty_term, tmp_path, text)


def test_ids_that_would_share_a_folder(empty_term, tmp_path):
    with pytest.raises(BadRoster, match="already on line 2"):
        load(empty_term, tmp_path, "id,last_name,first_name\nT1,A,B\nt1,C,D\n")


def test_a_second_list_changes_and_withdraws(assigned_term, tmp_path):
    outcome = load(assigned_term, tmp_path, "id,last_name,first_name,group\nT01,Arundell,Beatrice,A\nT04,New,Nils,B\n")
    assert [roster.difference(*pair) for pair in outcome.changed] == ["Arundell, Bea -> Arundell, Beatrice"]
    assert [p.id for p in outcome.added] == ["t04"]
    assert sorted(p.id for p in outcome.withdrawn) == ["t02", "t03"]
    assert {p.id: p.status for p in people(assigned_term)}["t02"] == roster.WITHDRAWN
    with database.transaction(assigned_term) as connection:
        events = [(entry["event"], entry["trainee"]) for _, _, entry in ledger.entries(connection)]
    assert ("withdrawn", "t02") in events and ("enrolled", "t04") in events


def test_one_by_either_id(assigned_term):
    with database.transaction(assigned_term) as connection:
        assert roster.one(connection, "T01") == roster.one(connection, "t01")
        with pytest.raises(Unknown, match="roster list"):
            roster.one(connection, "T99")


def test_a_list_that_cannot_be_kept_stores_nobody(empty_term, tmp_path):
    """“Nothing was changed” is true: who is enrolled and the list that says so come together or not at all."""
    listed = tmp_path / "class.csv"
    listed.write_text("id,last_name,first_name\nT01,Arundell,Bea\n")
    shutil.rmtree(empty_term.folder / "rosters")
    (empty_term.folder / "rosters").write_text("in the way")
    with pytest.raises(CannotWrite, match="nothing was changed"):
        roster.import_list(empty_term, listed)
    with database.transaction(empty_term) as connection:
        assert roster.everyone(connection) == []


NAMES = """Abreu Ábreu Åkervik Akervik Azevedo Čapek Capek Casta Cz Černý Cerny Çelik Dvořák Đorđević Dorado Dz Ðor Ełk Elk
Éluard Eluard Øster Oster Otto Ørsted Müller Muller Mustermann Nguyễn Nguyen Straße Strasse Ægir Aegir Žižka Zizka Zz Ñandú
Nandu Nz Işık Isik Ğ G1 O’Neil O'Neil Oakes Õ Võsu Vosu Wz van-der van Van Þór Thor""".split()


def test_names_stand_in_the_order_of_a_telephone_book():
    """As Unicode's collation algorithm orders them (UTS 10; its default table as the package pyuca brings it)."""
    assert roster.name_order("Čapek") > roster.name_order("Capek") and roster.name_order("Čapek") < roster.name_order(
        "Dz"
    )
    theirs = pyuca.Collator()
    names = [*NAMES, "de la Cruz", "Delacroix", "De Zeeuw"]
    assert sorted(names, key=roster.name_order) == sorted(names, key=theirs.sort_key)
