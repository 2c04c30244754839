"""xAPI statements: a validator that is not ours accepts them, and a changed mark is voided and issued afresh."""

import json
import re
import shutil
import sqlite3
import subprocess
import zipfile
from contextlib import closing

import pytest

from grader import catalogue
from grader.course.audit import deletion, verify
from grader.course.grading import adjust, mark_class
from grader.errors import BadFile, CannotWrite, Refused
from grader.records import database, ledger, schema, sent
from grader.records.term import term as terms
from grader.reports.export import package
from grader.reports.export.xapi import statements
from tests import freeze, programs
from tests.reports.export.conftest import hand_in
from tests.work import issue_of, right_answers, sheet_of

VOIDED = "http://adlnet.gov/expapi/verbs/voided"
VALIDATE = """
const validate = require("xapi-validation").default;
const lines = require("fs").readFileSync(0, "utf8").trim().split("\\n");
console.log(JSON.stringify(lines.map(line => validate(JSON.parse(line)).map(String))));
"""


def findings(lines):
    """What xapi-validation says of each statement."""
    node = programs.need(shutil.which("node"), "node")
    room = programs.node_package("xapi-validation").parent.parent
    done = subprocess.run(
        [node, "-e", VALIDATE],
        input="\n".join(lines),
        cwd=room,
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    return json.loads(done.stdout)


def written(opened, **options):
    return statements.write(opened, **options).path.read_text("utf-8").splitlines()


def parsed(opened, **options):
    return [json.loads(line) for line in written(opened, **options)]


def split(found):
    """(statements that stand, by id; ids of statements that are voided)."""
    voids = [s["object"]["id"] for s in found if s["verb"]["id"] == VOIDED]
    live = {s["id"]: s for s in found if s["verb"]["id"] != VOIDED}
    assert len({s["id"] for s in found}) == len(found) and len(set(voids)) == len(voids)
    return live, set(voids)


@pytest.mark.parametrize("pseudonymous", [False, True])
def test_a_validator_that_is_not_ours_accepts_all(classes, pseudonymous):
    written(classes, pseudonymous=pseudonymous)
    adjust.override(classes[0], "0042", "m01_timing", "mark_arc", "0.5", reason="by hand")
    lines = written(classes, pseudonymous=pseudonymous)
    assert VOIDED in "".join(lines)
    assert [found for found in findings(lines) if found] == []


@pytest.mark.parametrize(
    "spoil",
    [
        lambda s: s.pop("actor"),
        lambda s: s.update(id="one"),
        lambda s: s.update(timestamp="yesterday"),
        lambda s: s["result"]["score"].update(raw=1000),
        lambda s: s["object"].update(id="no address"),
        lambda s: s["actor"].update(mbox="mailto:a@example.invalid"),
        lambda s: s.update(colour="red"),
    ],
)
def test_it_refuses_what_is_spoiled(classes, spoil):
    good = next(s for s in parsed(classes) if s.get("result", {}).get("score"))
    spoiled = json.loads(json.dumps(good))
    spoil(spoiled)
    found = findings([json.dumps(good), json.dumps(spoiled)])
    assert found[0] == [] and found[1] != []


def test_one_for_each_part_exercise_and_module_with_its_marks(demo_term):
    found = parsed([demo_term])
    with database.transaction(demo_term) as connection:
        answers = connection.execute(schema.answer.select()).all()
        marks = connection.execute(schema.mark.select()).all()
    exercises = {(row.trainee, row.attempt, row.exercise) for row in answers}
    assert len(found) == len(answers) + len(exercises) + len(marks)
    of = {}
    for s in found:
        kind = s["object"]["definition"]["type"].rpartition("/")[2]
        of.setdefault(kind, []).append(s.get("result", {}).get("score", {}).get("raw", 0))
    raws = sum(row.raw for row in marks) / 100
    assert sum(of["cmi.interaction"]) == pytest.approx(raws) == pytest.approx(sum(of["assessment"]))
    assert sum(of["module"]) == pytest.approx(sum(row.mark for row in marks if not row.pending) / 100)
    assert all(set(s["actor"]["account"]) == {"homePage", "name"} and "name" not in s["actor"] for s in found)


def test_two_runs_give_the_same_bytes(classes, tmp_path):
    assert written(classes, path=tmp_path / "one") == written(classes, path=tmp_path / "two")
    adjust.override(classes[0], "0042", "m01_timing", "mark_arc", "0.5", reason="by hand")
    assert written(classes, path=tmp_path / "three") == written(classes, path=tmp_path / "four")


class TestVoidAndReissue:
    def test_a_changed_mark_touches_only_what_changed(self, classes):
        """A mark by hand changes the exercise and the module; the parts were answered as before."""
        before, none = split(parsed(classes))
        adjust.override(classes[0], "0042", "m01_timing", "mark_arc", "0.5", reason="by hand")
        after, voided = split(parsed(classes))
        assert none == set() and voided == set(before) - set(after)
        touched = sorted(before[key]["object"]["id"].removeprefix(statements.BASE) for key in voided)
        assert touched == ["exercises/m01.mark_arc", "modules/m01_timing"]
        assert {before[key]["actor"]["account"]["name"] for key in voided} == {"0042"}
        fresh = {after[key]["object"]["id"]: after[key] for key in set(after) - set(before)}
        assert {key.removeprefix(statements.BASE) for key in fresh} == set(touched)
        by_hand = fresh[f"{statements.BASE}exercises/m01.mark_arc"]
        assert by_hand["context"]["extensions"][f"{statements.BASE}extensions/by-hand"] is True
        assert by_hand["result"]["score"]["raw"] == 0.5
        assert all(after[key] == before[key] for key in set(after) & set(before)), "an id never says two things"

    def test_a_sheet_handed_in_anew(self, classes):
        """Other work: whatever tells of the first hand-in is voided, and of nobody else anything."""
        term = classes[0]
        before, _ = split(parsed(classes))
        record = issue_of(term, "na")
        answers = right_answers(catalogue.module("m01_timing"), record) | {"m01.cap.leads": "1-2"}
        hand_in(term, sheet_of(record, answers), "2026-03-31 09:00")
        mark_class.mark(term, "m01_timing")
        after, voided = split(parsed(classes))
        assert voided == {key for key, s in before.items() if s["actor"]["account"]["name"] == "NA"} - set(after)
        assert len(after) == len(before) and voided

    def test_back_to_the_first_mark_is_a_third_statement(self, classes):
        """An id that was voided never comes back, whatever is said."""
        first, _ = split(parsed(classes))
        adjust.override(classes[0], "0042", "m01_timing", "mark_arc", "0.5", reason="by hand")
        second, _ = split(parsed(classes))
        adjust.override(classes[0], "0042", "m01_timing", "mark_arc", "computed", reason="a mistake")
        third, voided = split(parsed(classes))
        assert voided == (set(first) | set(second)) - set(third) and len(voided) == 4 and len(third) == len(first)

    def test_a_file_that_cannot_be_written_was_not_sent(self, classes, tmp_path):
        (tmp_path / "file").write_text("mine")
        with pytest.raises(CannotWrite):
            statements.write(classes, tmp_path / "file" / "statements.ndjson")
        for term in classes:
            with database.transaction(term) as connection:
                assert sent.people(connection) == set() and list(ledger.entries(connection, "export")) == []

    def test_which_attempt_counts(self, classes):
        """The second attempt takes the first one's place: only the word that it counts is voided."""
        term = classes[0]
        with database.transaction(term) as connection:
            connection.execute(schema.mark.update().where(schema.mark.c.trainee == "0046").values(raw=100, mark=100))
        before, _ = split(parsed(classes))
        with database.transaction(term) as connection:
            for table in (schema.mark, schema.answer, schema.issue):
                rows = [{**row._mapping, "attempt": 2} for row in connection.execute(table.select().where(table.c.trainee == "0046"))]  # fmt: skip
                connection.execute(table.insert(), rows)
        after, voided = split(parsed(classes))
        assert [before[key]["object"]["id"] for key in voided] == [f"{statements.BASE}modules/m01_timing"]
        told = {
            tuple(s["context"]["extensions"][f"{statements.BASE}extensions/{name}"] for name in ("attempt", "counts"))
            for s in after.values()
            if s["actor"]["account"]["name"] == "0046" and s["object"]["id"].endswith("modules/m01_timing")
        }
        assert told == {(1, False), (2, True)}

    def test_what_was_never_sent_is_not_voided(self, classes):
        adjust.override(classes[0], "0042", "m01_timing", "mark_arc", "0.5", reason="by hand")
        assert split(parsed(classes))[1] == set()

    def test_each_base_has_its_own_memory(self, classes):
        mine, _ = split(parsed(classes))
        adjust.override(classes[0], "0042", "m01_timing", "mark_arc", "0.5", reason="by hand")
        other, voided = split(parsed(classes, base="https://store.example/activities"))
        assert voided == set() and not set(mine) & set(other)

    def test_an_excuse_and_its_withdrawal(self, classes):
        before, _ = split(parsed(classes))
        adjust.excuse(classes[0], "0042", "m01_timing", reason="done elsewhere")
        during, voided = split(parsed(classes))
        assert voided == set(before) - set(during) != set()
        adjust.excuse(classes[0], "0042", "m01_timing", reason="a mistake", withdraw=True)
        after, still = split(parsed(classes))
        assert still == voided and len(after) == len(before) and not voided & set(after)


def test_without_names(classes):
    text = "\n".join(written(classes, pseudonymous=True))
    text = re.sub(r"\b[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}\b", "", text)  # digests hold any four figures by chance
    for private in ("0042", "0043", "0046", "B0", "O’Neil", "Nguyễn", "Marr", "=1+1", "expected-low", "T17:00"):
        assert private not in text
    assert {s["timestamp"][10:] for s in parsed(classes, pseudonymous=True)} == {"T00:00:00.000Z"}


@pytest.mark.parametrize(
    "base", ["", "timing", "ftp://a/", "https://", "https://a b/", "https://a/?x=", "https://a/#x"]
)
def test_a_base_that_is_no_address(classes, base):
    with pytest.raises(Refused, match="is no address"):
        statements.write(classes, base=base)
    with database.transaction(classes[0]) as connection:
        assert list(ledger.entries(connection, "export")) == []


def test_nothing_of_a_deleted_person_is_left(classes):
    """Neither in files kept here nor in what is remembered of them; who stays keeps his ids, and the ledger verifies."""
    term = classes[1]
    before, _ = split(parsed(classes[1:]))
    adjust.override(term, "b1", "m01_timing", "mark_arc", "0.5", reason="by hand")
    parsed(classes[1:], path=term.folder / "exports" / "statements.ndjson")
    parsed(classes[1:], pseudonymous=True)
    with database.transaction(term) as connection:
        assert {"b0", "b1"} <= sent.people(connection)
    done = deletion.delete_person(term, "B1", reason="asked for it")
    assert [said for said in done.findings if "record store" in said]
    assert not list((term.folder / "exports").rglob("*.ndjson"))
    with database.transaction(term) as connection:
        assert "b1" not in sent.people(connection) and "b0" in sent.people(connection)
        assert ledger.first_broken(connection) is None
    left = [path for path in term.folder.rglob("*") if path.is_file() and b"Ford1" in path.read_bytes()]
    assert left == []
    after, voided = split(parsed(classes[1:]))
    gone = {key for key, s in before.items() if s["actor"]["account"]["name"] == "B1"}
    assert set(after) == set(before) - gone and voided == set() and gone
    assert verify.verify(term).findings == []


def test_nothing_is_remembered_of_a_deleted_class(classes):
    parsed(classes)
    deletion.delete_class(classes[1], reason="kept long enough")
    with database.transaction(classes[1]) as connection:
        assert sent.people(connection) == set() and ledger.first_broken(connection) is None
    assert {s["actor"]["account"]["name"] for s in parsed(classes)} == {"0042", "0046", "NA"}


def test_a_term_made_before_the_table_of_what_was_sent(tmp_path):
    """Records of version 4 were made with and without it: it is there once such a term is brought to this version."""
    with zipfile.ZipFile(freeze.PLACE / "records-4.zip") as archive:
        archive.extractall(tmp_path / "term")
    with closing(sqlite3.connect(tmp_path / "term" / "gradebook.db")) as book:
        book.execute("DROP TABLE tm_sent")
        book.commit()
    term = terms.open_term(tmp_path / "term")
    database.upgrade(term)
    whole = statements.write([term], tmp_path / "whole.ndjson").path.read_bytes()
    assert statements.write([term], tmp_path / "again.ndjson").path.read_bytes() == whole
    assert verify.verify(term).findings == []
    with closing(sqlite3.connect(term.folder / "gradebook.db")) as book:
        assert book.execute("SELECT COUNT(*) FROM tm_sent").fetchone()[0] > 0
        book.execute("DROP TABLE tm_witnessed")  # a table that held something once is damage, and stays to be seen
        book.commit()
    with pytest.raises(BadFile, match="damaged: no such table: tm_witnessed. Put it back from your copy"):
        package.write([term], "witnessed")
