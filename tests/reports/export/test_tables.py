"""Own tables: what stands in them, that machines read them back, and that they hold no more than they should."""

import csv
import io
import json
from decimal import Decimal

import pandas
import pytest
from frictionless import Package, system
from sqlalchemy import select, update

from grader import catalogue
from grader.course.grading import adjust
from grader.errors import CannotWrite, Refused, Unknown
from grader.marking.verdict import AWAITING
from grader.pages import csv_file
from grader.records import database, ledger, schema
from grader.records.term import roster
from grader.reports.export import package
from grader.reports.tables import scope
from grader.reports.tables.columns import SHAPES
from tests.work import exported


def read(path, delimiter=","):
    return list(csv.DictReader(io.StringIO(path.read_text("utf-8-sig"), newline=""), delimiter=delimiter))


def valid(folder):
    """What frictionless, which is not ours, finds wrong."""
    with system.use_context(trusted=True):
        report = Package(str(folder / "datapackage.json")).validate()
    return report.flatten(["name", "type", "note"])


@pytest.mark.parametrize("separator", [",", ";", "tab"])
def test_frictionless_finds_nothing_wrong(classes, tmp_path, separator):
    how = csv_file.manner(spreadsheet=separator != ",", separator=separator)
    package.write_all(classes, tmp_path / "out", how=how)
    assert valid(tmp_path / "out") == []
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == sorted(
        [*(f"{name}.csv" for name in SHAPES), "policy.json", "datapackage.json"]
    )


@pytest.mark.parametrize(
    ("table", "old", "new"),
    [("grades", ",marked,", ",half done,"), ("grades", "spring-a,0042", "spring-a,0043"), ("items", ",30,", ",thirty,"),
     ("changes", "-03-", "-13-"), ("objectives", "threshold", "limit")],
)  # fmt: skip
def test_frictionless_sees_a_spoiled_table(classes, tmp_path, table, old, new):
    """The description is worth something: a changed word, key, number, moment or heading does not pass."""
    package.write_all(classes, tmp_path)
    path = tmp_path / f"{table}.csv"
    text = path.read_bytes().decode()
    if table == "items":
        old, new = ",2,2,,direct,", ",two,2,,direct,"
    if table == "changes":
        old, new = "Z,marked,", "X,marked,"
    assert old in text
    path.write_bytes(text.replace(old, new, 1).encode())
    described = json.loads((tmp_path / "datapackage.json").read_text("utf-8"))
    for resource in described["resources"]:
        del resource["hash"], resource["bytes"]  # else the digest alone would give it away
    (tmp_path / "datapackage.json").write_text(json.dumps(described), encoding="utf-8")
    assert valid(tmp_path) != []


def test_noughts_in_front_survive_a_spreadsheet_and_come_back(classes, tmp_path):
    """A table is opened and saved by a program that takes 0042 for a number, and then read as a class list."""
    how = csv_file.manner(spreadsheet=True)
    path = package.write(classes[:1], "grades", tmp_path / "grades.csv", how=how).path
    opened = pandas.read_csv(path, encoding="utf-8-sig", keep_default_na=False)
    assert opened["trainee_id"].tolist()[0] != 42
    saved = tmp_path / "saved.csv"
    opened[["trainee_id", "last_name", "first_name"]].to_csv(saved, index=False)
    outcome = roster.import_list(classes[0], saved, preview=True)
    known = {person.college_id for person in (*outcome.unchanged, *(after for _, after in outcome.changed))}
    assert known == {"0042", "0043", "NA", "1E", "0046"}, "the same people"
    assert not outcome.added and not outcome.withdrawn


@pytest.mark.parametrize(
    ("text", "kept"),
    [("0042", True), ("1E5", True), ("3-4", True), ("12345678901234567", True), ("=1+1", True),
     ("42", False), ("0.5", False), ("11.5 mm", False), ("spring-a", False), ("T01", False), ("'quoted'", False)],
)  # fmt: skip
def test_what_a_spreadsheet_would_change_has_an_apostrophe_and_loses_it_again(text, kept):
    assert (csv_file.defused(text) != text) == kept and csv_file.plain(csv_file.defused(text)) == text


def test_items_carry_the_mode(demo_term):
    assert {row["mode"] for row in exported(demo_term, "items")} == {"assessed"}


def test_items_say_how_each_mark_was_earned(classes):
    rows = read(package.write(classes, "items").path)
    mine = [row for row in rows if row["trainee_id"] == "0042"]
    assert [row["item"] for row in mine] == [path for _, _, path in catalogue.module("m01_timing").parts()]
    other = [row for row in rows if row["class"] == "spring-a" and row["path"] == "none"]
    told = [(row["item"], row["mark"]) for row in other if row["item"] != "m01.letter.text"]
    assert told == [("m01.mark_arc.arc", "0")], "the letter is blank on every sheet"
    numbers = [row for row in rows if row["expected_low"]]
    assert numbers and all(float(row["expected_low"]) <= float(row["expected_high"]) for row in numbers)
    codes = {(r["class"], r["trainee_id"]): r["variant"] for r in rows if r["item"] == "m01.mark_arc.arc"}
    drawn = {(term.id, college): numbers for term in classes for college, numbers in _numbers(term, "m01.mark_arc")}
    pairs = [(codes[one] == codes[other], drawn[one] == drawn[other]) for one in codes for other in codes]
    assert len(codes) == 6 and all(same_code == same_numbers for same_code, same_numbers in pairs)
    assert (False, False) in pairs


def _numbers(term, exercise):
    """(college id, drawn parameters) of everybody with numbers for an exercise."""
    with database.transaction(term) as connection:
        people = {row.id: row.college_id for row in connection.execute(select(schema.trainee))}
        for row in connection.execute(select(schema.issue)):
            yield people[row.trainee], json.loads(row.record)["exercises"][exercise]["parameters"]


def test_a_mark_by_hand_stands_beside_the_items_it_replaces(demo_term, m01):
    exercise = next(e for e in m01.exercises if len(e.parts) > 1)
    with database.transaction(demo_term) as connection:
        who = connection.execute(select(schema.mark.c.trainee).order_by(schema.mark.c.mark)).scalars().first()
    person, _ = adjust.override(demo_term, who, m01.key, exercise.name, "1.5", reason="misprint")
    rows = [row for row in read(package.write([demo_term], "items").path) if row["trainee_id"] == person.college_id]
    mine = [row for row in rows if row["item"].startswith(f"{exercise.key}.")]
    assert [row["exercise_by_hand"] for row in mine] == ["1.5"] * len(exercise.parts)
    rest = [row for row in rows if row not in mine]
    assert {row["exercise_by_hand"] for row in rest} == {""}
    [grade] = [r for r in read(package.write([demo_term], "grades").path) if r["trainee_id"] == person.college_id]
    assert Decimal(grade["raw"]) == sum(Decimal(row["mark"]) for row in rest) + Decimal("1.5")


def test_marks_add_up_to_the_grades(demo_term):
    """Raw marks of grades.csv are the sums of items.csv, in decimals, for everybody."""
    sums = {}
    for row in read(package.write([demo_term], "items").path):
        sums[row["trainee_id"]] = sums.get(row["trainee_id"], 0) + Decimal(row["mark"])
    grades = {
        row["trainee_id"]: Decimal(row["raw"]) for row in read(package.write([demo_term], "grades").path) if row["raw"]
    }
    assert sums == grades and len(grades) == 22


def test_objectives_are_sums_over_their_items(demo_term):
    tags = {path: part.objectives for _, part, path in catalogue.module("m01_timing").parts()}
    items, rows = read(package.write([demo_term], "items").path), read(package.write([demo_term], "objectives").path)
    assert {row["objective"] for row in rows} == {code for codes in tags.values() for code in codes}
    for row in rows:
        mine = [i for i in items if i["trainee_id"] == row["trainee_id"] and row["objective"] in tags[i["item"]]]
        marks, most = sum(Decimal(i["mark"]) for i in mine), sum(Decimal(i["max"]) for i in mine)
        assert (Decimal(row["marks"]), Decimal(row["max"]), int(row["items"])) == (marks, most, len(mine))
        expected = "too few items" if len(mine) < 2 else "yes" if marks * 10 >= most * 7 else "no"
        assert row["met"] == expected
    assert {"yes", "no"} <= {row["met"] for row in rows}


def test_an_answer_still_to_be_read_has_no_mark(classes):
    with database.transaction(classes[0]) as connection:
        connection.execute(
            update(schema.answer)
            .where(schema.answer.c.part == "m01.mark_arc.arc", schema.answer.c.trainee == "0042")
            .values(verdict=AWAITING, hundredths=0)
        )
    row = next(r for r in read(package.write(classes, "items").path) if r["verdict"] == "awaiting")
    assert (row["mark"], row["path"], row["max"]) == ("", "", "2")
    waits = {r["objective"]: r for r in read(package.write(classes, "objectives").path) if r["met"] == "waits"}
    assert waits and all(r["marks"] == r["share"] == "" and r["trainee_id"] == "0042" for r in waits.values())
    module = read(package.write(classes, "modules").path)[0]
    assert (module["n"], module["left_out"]) == ("5", "1")


def test_analysis_pools_the_classes_and_says_what_means_nothing(classes, demo_term):
    few = read(package.write(classes, "analysis").path)
    assert {row["n"] for row in few} == {"6"} and all(
        "counts only" in row["note"] and row["facility"] == "" for row in few
    )
    found = read(package.write([demo_term], "analysis").path)
    assert {row["n"] for row in found} == {"22"} and all(0 <= float(row["facility"]) <= 1 for row in found)
    everything = read(package.write([*classes, demo_term], "modules").path)
    assert [row["n"] for row in everything] == ["28"] and float(everything[0]["alpha"]) < 1


def test_statistics_use_first_attempts_only(demo_term):
    before = package.write([demo_term], "analysis").path.read_bytes()
    with database.transaction(demo_term) as connection:
        for table in (schema.mark, schema.answer, schema.issue):
            rows = [
                {**row._mapping, "attempt": 2}
                for row in connection.execute(table.select().where(table.c.trainee == "q0101"))
            ]
            connection.execute(table.insert(), rows)
    assert package.write([demo_term], "analysis").path.read_bytes() == before


def test_two_runs_give_the_same_bytes(classes, tmp_path):
    def content(folder):
        package.write_all(classes, folder)
        return {path.name: path.read_bytes() for path in folder.iterdir()}

    assert content(tmp_path / "one") == content(tmp_path / "two")


def test_every_export_is_in_the_ledger_of_each_term(classes):
    package.write(classes, "grades")
    for term in classes:
        with database.transaction(term) as connection:
            assert [entry["new"] for _, _, entry in ledger.entries(connection, "export")] == ["grades.csv"]
            assert ledger.first_broken(connection) is None


def test_policy_holds_every_setting_and_no_address(classes, tmp_path):
    package.write_all(classes, tmp_path)
    policy = json.loads((tmp_path / "policy.json").read_text("utf-8"))
    assert [entry["class"] for entry in policy["classes"]] == ["spring-a", "spring-b"]
    first = policy["classes"][0]
    assert (first["pass_percent"], first["late"]["percent_per_day"], first["retention"]["years"]) == (60, 10, 3)
    assert first["retention"]["keep_until"] > "2029-03-31"
    assert "database" not in json.dumps(policy)


class TestRefusals:
    def test_one_term_twice(self, classes):
        with pytest.raises(Refused, match="both term spring-a"):
            scope.open_all([classes[0].folder, classes[0].folder])

    def test_a_table_that_is_none(self, classes):
        with pytest.raises(Unknown, match="there are grades, items"):
            package.write(classes, "marks")

    @pytest.mark.parametrize(
        ("options", "said"), [({"separator": "|"}, "is not known"), ({"separator": ";"}, "--spreadsheet")]
    )
    def test_separators(self, options, said):
        with pytest.raises(Refused, match=said):
            csv_file.manner(**options)

    def test_a_place_that_cannot_be_written_keeps_the_old_file(self, classes, tmp_path):
        (tmp_path / "file").write_text("mine")
        with pytest.raises(CannotWrite):
            package.write(classes, "grades", tmp_path / "file" / "grades.csv")
        with database.transaction(classes[0]) as connection:
            assert list(ledger.entries(connection, "export")) == []

    def test_a_fault_half_way_leaves_the_old_file(self, tmp_path):
        path = tmp_path / "grades.csv"
        path.write_text("old")

        def rows():
            yield dict.fromkeys(SHAPES["grades"].names, "")
            raise RuntimeError("cut short")

        with pytest.raises(RuntimeError):
            csv_file.write_table(path, SHAPES["grades"], rows(), csv_file.Manner())
        assert path.read_text() == "old" and list(tmp_path.iterdir()) == [path]
