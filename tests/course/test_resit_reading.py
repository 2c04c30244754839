"""Written answers and resits: a letter that is kept is read once for all; what changes nothing writes nothing."""

import csv
import io
import zipfile

import pytest
from sqlalchemy import select
from typer.testing import CliRunner

from grader.cli.main import app
from grader.course.attempts import standing
from grader.course.audit import deletion, verify
from grader.course.grading import written_answers, written_table
from grader.records import adjustments, database, ledger, schema
from grader.reports.export import package
from grader.reports.feedback import return_run
from tests.course.resits import KEY, LETTER, WORDS, hand_in, returned, sit
from tests.work import issue_of, right_answers


@pytest.fixture
def sat(assigned_term, m01):
    """T01's letter was read in attempt 1 and is kept in attempt 2, which is handed in and marked."""
    returned(assigned_term, m01)
    done = sit(assigned_term)
    assert LETTER.rpartition(".")[0] not in {e.key for e in done.exercises}
    fresh = {e.key for e in done.exercises}
    right = right_answers(m01, issue_of(assigned_term, "t01", attempt=2))
    hand_in(assigned_term, {p: a for p, a in right.items() if p.rpartition(".")[0] in fresh}, 2)
    return assigned_term


def rows(term, table):
    with database.transaction(term) as connection:
        return connection.execute(select(table)).all()


def entries(term, *events):
    with database.transaction(term) as connection:
        return [entry for _, _, entry in ledger.entries(connection, *events)]


def letters(term):
    return {row.attempt: (row.verdict, row.hundredths) for row in rows(term, schema.answer) if row.part == LETTER}


def test_a_kept_letter_is_not_asked_for_again(sat, m01):
    assert letters(sat) == {1: ("read", 150), 2: ("read", 150)}
    assert {row.attempt: (row.state, row.pending) for row in rows(sat, schema.mark)} == {
        1: ("marked", 0),
        2: ("marked", 0),
    }
    assert written_answers.waiting(sat, KEY) == 0 and written_answers.answers(sat, KEY) == []
    [only] = written_answers.answers(sat, KEY, waiting_only=False)
    assert (only.owner, only.kept_in) == (("t01", KEY, 1), (("t01", KEY, 2),)), "listed once, with who it is for"
    said = [(e["attempt"], e["new"], e["reason"]) for e in entries(sat, "read")]
    assert said == [(1, 150, "Say what you measured."), (2, 150, "kept from attempt 1")]
    assert {row.reason for row in rows(sat, adjustments.reading)} == {"Say what you measured."}
    assert return_run.give_back(sat, KEY).findings == [] and verify.verify(sat).findings == []


def test_a_reading_put_right_is_right_wherever_the_letter_counts(sat):
    """The second attempt counts; whoever corrects the reading of the one letter need not know that."""
    before = {row.attempt: row.mark for row in rows(sat, schema.mark)}
    [only] = written_answers.answers(sat, KEY, waiting_only=False)
    written_answers.give(sat, KEY, only.code, ["1", "1"], "Read again.")
    assert letters(sat) == {1: ("read", 200), 2: ("read", 200)}
    assert {row.attempt: row.mark for row in rows(sat, schema.mark)} == {n: mark + 50 for n, mark in before.items()}
    assert verify.verify(sat).findings == []


def test_a_reading_put_right_before_the_resit_comes_back(assigned_term, m01):
    """Nothing of attempt 2 is marked yet; what was kept for it follows all the same."""
    returned(assigned_term, m01)
    sit(assigned_term)
    [only] = written_answers.answers(assigned_term, KEY, waiting_only=False)
    written_answers.give(assigned_term, KEY, only.code, ["0", "0"], "Copied from the wall.")
    assert [(row.attempt, row.hundredths, row.reason) for row in rows(assigned_term, adjustments.reading)] == [
        (1, 0, "Copied from the wall."), (2, 0, "Copied from the wall."),
    ]  # fmt: skip
    hand_in(assigned_term, {"m01.mark_arc.arc": "0.001"}, 2)
    assert letters(assigned_term) == {1: ("read", 0), 2: ("read", 0)}
    assert verify.verify(assigned_term).findings == []


def test_the_same_points_again_write_nothing(sat, tmp_path):
    [only] = written_answers.answers(sat, KEY, waiting_only=False)
    number, marks = len(entries(sat)), rows(sat, schema.mark)
    found = written_answers.give(sat, KEY, only.code, ["1", "0,50"], " Say what you measured. ")
    assert (found.changed, found.mark) == (False, {m.attempt: m.mark for m in marks}[1])
    table = tmp_path / "letters.csv"
    table.write_bytes(written_table.to_table(sat, KEY, waiting_only=False))
    said = CliRunner().invoke(app, ["read", KEY, "--from", str(table), "--term", str(sat.folder)])
    assert (
        said.exit_code == 0
        and "0 written answers read. 1 had these points before; nothing changed there." in said.output
    )
    typed = "1\n0.5\nSay what you measured.\n"
    said = CliRunner().invoke(app, ["read", KEY, "--all", "--term", str(sat.folder)], input=typed)
    assert said.exit_code == 0 and "had these points and this comment before; nothing changed." in said.output
    assert len(entries(sat)) == number and rows(sat, schema.mark) == marks
    assert written_answers.give(sat, KEY, only.code, ["1", "0.5"], "Other words.").changed
    assert len(entries(sat)) > number


@pytest.fixture
def three(assigned_term, m01):
    for who in ("t01", "t02", "t03"):
        right = right_answers(m01, issue_of(assigned_term, who))
        hand_in(assigned_term, right | {LETTER: f"{WORDS} I am {who}."}, who=who)
    return assigned_term


def test_a_table_is_taken_back_with_one_look_at_everything(three, tmp_path, monkeypatch):
    """Decisions and answers are read a fixed number of times, however many answers come back."""
    content = written_table.to_table(three, KEY).decode("utf-8-sig")
    filled = list(csv.DictReader(io.StringIO(content, newline="")))
    looked = []
    for where, name in ((written_answers, "_answers"), (adjustments, "read")):
        real = getattr(where, name)
        monkeypatch.setattr(where, name, lambda *a, real=real, name=name, **k: looked.append(name) or real(*a, **k))
    counted = []
    for number in (1, 2):
        some = filled[:1] if number == 1 else filled[1:]
        text = io.StringIO(newline="")
        writer = csv.DictWriter(text, filled[0])
        writer.writeheader()
        writer.writerows({**row, "points 1": "1", "points 2": "1"} for row in some)
        (tmp_path / "filled.csv").write_text(text.getvalue(), encoding="utf-8")
        looked.clear()
        assert [one.changed for one in written_table.from_table(three, KEY, tmp_path / "filled.csv")[0]] == [
            True
        ] * number
        counted.append((looked.count("_answers"), looked.count("read")))
    assert counted[0] == counted[1] and counted[0][0] == 1, counted
    assert {row.hundredths for row in rows(three, adjustments.reading)} == {200}
    assert verify.verify(three).findings == []


def test_verify_asks_once_which_attempts_count(three, monkeypatch):
    def asked(*_):
        raise AssertionError("asked for one trainee")

    monkeypatch.setattr(standing, "best_attempt", asked)
    assert verify.verify(three).findings == []
    with database.transaction(three) as connection:
        assert standing.best_attempts(connection) == {(who, KEY): 1 for who in ("t01", "t02", "t03")}


def everything(folder):
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        yield path, path.read_bytes()
        if zipfile.is_zipfile(path):
            with zipfile.ZipFile(path) as archive:
                yield from ((path, archive.read(name)) for name in archive.namelist())


class TestPrivacy:
    """Everything that a resit spreads: records, hand-out, returned sheets of both attempts, papers, exports."""

    MARKS = (WORDS, "zephyrine", "Say what you measured.")

    @pytest.fixture
    def spread(self, sat):
        from grader.course.formgrader import notebooks
        from grader.course.issue import assign

        with database.transaction(sat) as connection:
            connection.execute(schema.issue.update().where(schema.issue.c.attempt == 2).values(due=""))
        return_run.give_back(sat, KEY)
        notebooks.write_class(sat, KEY)
        assign.assign(sat, KEY, way="folder")
        package.write_all([sat])
        return sat

    def where(self, term):
        return sorted({
            str(path.relative_to(term.folder)) for path, content in everything(term.folder)
            if any(word.encode() in content for word in self.MARKS)
        })  # fmt: skip

    def test_it_can_be_found_before(self, spread):
        found = self.where(spread)
        assert (
            f"returned/t01/{KEY}-attempt-2.html" in found
            and "gradebook.db" in found
            and "out/t01/m01_timing.zip" in found
        )
        assert "exports/items.csv" in found and f"autograded/t01/{KEY}/{KEY}.ipynb" in found

    def test_nothing_of_a_person_is_left(self, spread):
        done = deletion.delete_person(spread, "T01", reason="asked for it")
        assert self.where(spread) == [] and done.findings == []
        assert [row.trainee for row in rows(spread, schema.issue) if row.trainee == "t01"] == []
        assert verify.verify(spread).findings == []

    def test_nothing_of_a_class_is_left(self, spread):
        deletion.delete_class(spread, reason="kept long enough")
        assert self.where(spread) == [] and verify.verify(spread).findings == []

    def test_a_pseudonymous_export_has_no_kept_words(self, spread, tmp_path):
        made = package.write_all([spread], tmp_path / "out", pseudonymous=True)
        files = [path for path in (tmp_path / "out").rglob("*") if path.is_file()]
        assert made and len(files) > 5
        for path in files:
            content = path.read_text("utf-8")
            assert not any(word in content for word in (*self.MARKS, "Arundell", "T01", "t01")), path
        items = csv.DictReader(io.StringIO((tmp_path / "out" / "items.csv").read_text("utf-8")))
        second = [row for row in items if row["attempt"] == "2"]
        assert second and {row["answer"] for row in second} == {""} and {row["kept"] for row in second} == {"yes", "no"}
