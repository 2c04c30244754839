"""Written answers read by the instructor: points, comment, marks, ledger, table, and what undoes a reading."""

import csv
import io

import openpyxl
import pytest
from sqlalchemy import select
from typer.testing import CliRunner

from grader import clock, files
from grader.cli.main import app
from grader.course.audit import deletion, verify
from grader.course.grading import adjust, mark_class, written_answers, written_table
from grader.course.submissions import collect
from grader.errors import BadFile, Refused
from grader.pages import csv_file
from grader.records import adjustments, database, ledger, schema
from grader.reports.export import package
from tests.work import issue_of, put_in_inbox, right_answers, sheet_of

MODULE, PATH = "m01_timing", "m01.letter.text"
LETTERS = {"t01": "=1+1 The weights, <b>dear</b> customer.\nWe set the idle first.", "t02": "No idea."}


def hand_in(term, m01, who, text, when="2026-03-30 12:00"):
    record = issue_of(term, who)
    sheet = sheet_of(record, {**right_answers(m01, record), PATH: text})
    path = put_in_inbox(term, sheet.but(saved=when))
    collect.collect(term, [path.parent], received_at=clock.parse(when, "UTC"))
    return mark_class.mark(term, MODULE)


@pytest.fixture
def waiting(assigned_term, m01):
    for who, text in LETTERS.items():
        hand_in(assigned_term, m01, who, text)
    return assigned_term


def mark_of(term, who):
    with database.transaction(term) as connection:
        return connection.execute(select(schema.mark).where(schema.mark.c.trainee == who)).one()


def code_of(term, who):
    return next(
        answer.code for answer in written_answers.answers(term, MODULE, waiting_only=False) if answer.owner[0] == who
    )


def test_it_waits_without_a_name_and_is_read(waiting):
    found = written_answers.answers(waiting, MODULE)
    assert {answer.text for answer in found} == set(LETTERS.values())
    assert all(sum(points for _, points in answer.rubric) == 2 and answer.question[0] for answer in found)
    assert not any(answer.owner[0] in answer.code for answer in found)
    assert all(answer.code.startswith("w") for answer in found), "12e34567 is a number to a spreadsheet"
    before = mark_of(waiting, "t01")
    assert (before.state, before.pending) == ("partly marked", 200)
    answer, mark, _, most = written_answers.give(
        waiting, MODULE, code_of(waiting, "t01"), ["1", "0,5"], "Say what you measured."
    )
    assert most == 3000
    after = mark_of(waiting, "t01")
    assert (after.state, after.pending, after.mark) == ("marked", 0, before.mark + 150) and mark == after.mark
    assert [other.owner[0] for other in written_answers.answers(waiting, MODULE)] == ["t02"]
    assert verify.verify(waiting).findings == []
    with database.transaction(waiting) as connection:
        entry = list(ledger.entries(connection, "read"))[-1][2]
        row = connection.execute(
            select(schema.answer).where(schema.answer.c.part == PATH, schema.answer.c.trainee == "t01")
        ).one()
    assert (entry["old"], entry["new"], entry["most"], entry["reason"]) == (None, 150, 200, "Say what you measured.")
    assert (row.verdict, row.hundredths) == ("read", 150)


def test_it_reaches_the_items_and_the_item_analysis(waiting):
    for who, points in (("t01", ["1", "1"]), ("t02", ["0", "0"])):
        written_answers.give(waiting, MODULE, code_of(waiting, who), points)
    rows = [
        row
        for row in csv.DictReader(io.StringIO(package.write([waiting], "items").path.read_text("utf-8")))
        if row["item"] == PATH
    ]
    assert [row["mark"] for row in rows] == ["2", "0"]
    analysis = package.write([waiting], "analysis").path.read_text("utf-8")
    [counted] = [row for row in csv.DictReader(io.StringIO(analysis)) if row["item"] == PATH]
    assert counted["n"] == "2"


def test_reading_again_replaces_and_the_ledger_keeps_both(waiting):
    code = code_of(waiting, "t01")
    written_answers.give(waiting, MODULE, code, ["1", "0"])
    written_answers.give(waiting, MODULE, code, ["1", "1"], "Better than I thought.")
    assert mark_of(waiting, "t01").mark == mark_of(waiting, "t01").raw == 3000
    with database.transaction(waiting) as connection:
        assert [(e["old"], e["new"]) for _, _, e in ledger.entries(connection, "read")] == [(None, 100), (100, 200)]
    assert verify.verify(waiting).findings == []


def test_other_words_wait_again_and_the_old_ones_keep_their_points(waiting, m01):
    written_answers.give(waiting, MODULE, code_of(waiting, "t02"), ["0", "0"], "Try again.")
    hand_in(waiting, m01, "t02", "The weights helped the mark; I set the idle.", "2026-03-30 15:00")
    assert mark_of(waiting, "t02").state == "partly marked"
    assert "t02" in {answer.owner[0] for answer in written_answers.answers(waiting, MODULE)}
    hand_in(waiting, m01, "t02", " No idea.\n", "2026-03-30 16:00")
    assert (mark_of(waiting, "t02").state, mark_of(waiting, "t02").pending) == ("marked", 0)
    assert verify.verify(waiting).findings == []


def test_an_override_stands_above_a_reading(waiting):
    adjust.override(waiting, "t01", MODULE, "letter", "1.5", reason="read on paper")
    assert [answer.owner[0] for answer in written_answers.answers(waiting, MODULE)] == ["t02"]
    written_answers.give(waiting, MODULE, code_of(waiting, "t01"), ["0", "0"])
    assert mark_of(waiting, "t01").mark == 2950
    adjust.override(waiting, "t01", MODULE, "letter", "computed", reason="go by the rubric")
    assert mark_of(waiting, "t01").mark == 2800
    assert verify.verify(waiting).findings == []


@pytest.mark.parametrize(
    ("points", "said"),
    [(["1"], "read against 2 points and 1 are given"), (["1", ""], "2 points and 1 are given"),
     (["1", "2"], "not between 0 and 1"), (["-1", "1"], "not between"), (["one", "1"], "not between"),
     (["1", "1", "1"], "2 points and 3")],
)  # fmt: skip
def test_points_that_cannot_be_are_refused_and_nothing_is_written(waiting, points, said):
    with pytest.raises(Refused, match=said):
        written_answers.give(waiting, MODULE, code_of(waiting, "t01"), points)
    assert mark_of(waiting, "t01").state == "partly marked"
    with pytest.raises(Refused, match="has the code 'nobody'"):
        written_answers.give(waiting, MODULE, "nobody", ["1", "1"])


def test_the_table_goes_out_and_comes_back(waiting, tmp_path):
    content = written_table.to_table(waiting, MODULE)
    assert content.startswith(b"\xef\xbb\xbf") and b"\r\n" in content
    rows = list(csv.DictReader(io.StringIO(content.decode("utf-8-sig"), newline="")))
    assert "trainee" not in rows[0] and {row["answer"] for row in rows} == {"'" + LETTERS["t01"], LETTERS["t02"]}
    for row in rows:
        row |= {"points 1": "1", "points 2": "0,5", "comment": "'=well done"}
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, rows[0], delimiter=";")
    writer.writeheader()
    writer.writerows(rows)
    path = tmp_path / "filled.csv"
    path.write_text(text.getvalue(), encoding="utf-8")
    assert len(written_table.from_table(waiting, MODULE, path)[0]) == 2
    with database.transaction(waiting) as connection:
        given = adjustments.read(connection).readings.values()
    assert [r.comment for one in given for r in one.values()] == ["=well done"] * 2
    assert mark_of(waiting, "t01").mark == 2950 and verify.verify(waiting).findings == []


def test_it_comes_back_from_any_spreadsheet_and_blank_lines_are_said_once(waiting, tmp_path):
    """Semicolons and decimal commas for one office, the old letters or .xlsx from another; not every line is filled."""
    table = tmp_path / "letters.csv"
    written_table.write(waiting, MODULE, table, how=csv_file.manner(spreadsheet=True, separator=";"))
    with table.open(encoding="utf-8-sig", newline="") as stream:
        head, *rows = csv.reader(stream, delimiter=";")
    book = openpyxl.Workbook()
    book.active.append(head)
    for number, row in enumerate(rows):
        if number:
            row[head.index("points 1")], row[head.index("points 2")], row[head.index("comment")] = 1, 0.5, "schön"
        book.active.append(row)
    book.save(tmp_path / "filled.xlsx")
    [given], notes = written_table.from_table(waiting, MODULE, tmp_path / "filled.xlsx")
    assert given.changed and notes == ["line 2 holds no points; passed over"]
    table.write_bytes(
        "\n".join(";".join(f'"{cell}"' for cell in row) for row in (head, *rows)).encode("cp1252", "replace")
    )
    [again], notes = written_table.from_table(waiting, MODULE, table)
    assert not again.changed and "Windows-1252" in notes[0]
    with pytest.raises(BadFile, match="no written answer has the code"):
        table.write_text("code,points 1,points 2,comment\nw00000000,1,1,\n")
        written_table.from_table(waiting, MODULE, table)


def test_a_table_with_faults_names_every_line_and_writes_nothing(waiting, tmp_path):
    code = code_of(waiting, "t01")
    path = tmp_path / "filled.csv"
    path.write_text(f"code,points 1,points 2,comment\n{code},1,7,\nzzz,1,1,\n{code},1,1,\n{code},1,1,\n,,,\n", "utf-8")
    with pytest.raises(BadFile) as said:
        written_table.from_table(waiting, MODULE, path)
    for line in ("Row 2:", "Row 3:", "Row 5:", "stands twice", "Nothing was written."):
        assert line in str(said.value)
    assert mark_of(waiting, "t01").state == "partly marked"
    path.write_text("a,b\n1,2\n", "utf-8")
    with pytest.raises(BadFile, match="needs the columns"):
        written_table.from_table(waiting, MODULE, path)


def test_read_on_the_command_line(waiting):
    run = CliRunner()
    listed = run.invoke(app, ["read", MODULE, "--list", "--term", str(waiting.folder)])
    assert listed.exit_code == 0 and "2 answers" in listed.output and "Arundell" not in listed.output
    assert "No idea." in listed.output and listed.output.count("Looked for:") == 1, (
        "what is looked for stands there once"
    )
    done = run.invoke(app, ["read", MODULE, "--term", str(waiting.folder)], input="1\n9\n0.5\nGood.\ns\n")
    assert done.exit_code == 0 and "not between 0 and 1" in done.output
    assert "Kept. The module's mark is now 29.5 of 30." in done.output, "the first point was not to be typed again"
    assert len(written_answers.answers(waiting, MODULE)) == 1
    stopped = run.invoke(app, ["read", MODULE, "--term", str(waiting.folder)], input="q\n")
    assert "Stopped" in stopped.output and len(written_answers.answers(waiting, MODULE)) == 1
    said = run.invoke(app, ["mark", MODULE, "--term", str(waiting.folder)])
    assert "1 written answers wait" in said.output.replace("answer waits", "answers wait")


def test_one_goes_back_and_takes_a_comment_that_was_written_before(waiting):
    """A slip in the first letter is put right while the second is read; the second gets the same words by their number."""
    first, second = written_answers.answers(waiting, MODULE)
    typed = "1\n1\nSay what you measured.\n0\n<\n<\n\n0\n\n0\n0\n1\n"
    done = CliRunner().invoke(app, ["read", MODULE, "--term", str(waiting.folder)], input=typed)
    assert done.exit_code == 0 and "1  Say what you measured." in done.output
    given = {answer.code: answer.given for answer in written_answers.answers(waiting, MODULE, waiting_only=False)}
    assert given[first.code].points == (100, 0) and given[second.code].points == (0, 0)
    assert {reading.comment for reading in given.values()} == {"Say what you measured."}
    assert written_answers.comments(waiting, MODULE) == {PATH: ["Say what you measured."]}


def test_a_filled_in_table_is_not_written_over(waiting, tmp_path):
    run, path = CliRunner(), tmp_path / "letters.csv"
    first = run.invoke(app, ["read", MODULE, "--to", str(path), "--term", str(waiting.folder)])
    assert first.exit_code == 0 and path.read_bytes().startswith(b"\xef\xbb\xbfcode")
    path.write_text("filled in", "utf-8")
    second = run.invoke(app, ["read", MODULE, "--to", str(path), "--term", str(waiting.folder)])
    assert isinstance(second.exception, Refused) and path.read_text("utf-8") == "filled in"


def test_what_a_trainee_wrote_cannot_steer_the_terminal(assigned_term, m01):
    hand_in(assigned_term, m01, "t03", "before\x1b[2J\x1b]0;title\x07 \u202eafter\x9b31m\nsecond line")
    shown = CliRunner().invoke(app, ["read", MODULE, "--term", str(assigned_term.folder)], input="q\n").output
    assert "before" in shown and "after" in shown and "second line" in shown
    assert not set("\x1b\x07\x9b\u202e") & set(shown)


def test_a_deleted_person_leaves_no_reading(waiting):
    written_answers.give(waiting, MODULE, code_of(waiting, "t02"), ["0", "1"], "for O’Neil")
    deletion.delete_person(waiting, "T02", reason="asked for it")
    with database.transaction(waiting) as connection:
        assert connection.execute(select(adjustments.reading)).all() == []
    assert verify.verify(waiting).findings == []


def test_a_reading_changed_past_the_ledger_is_found(waiting):
    written_answers.give(waiting, MODULE, code_of(waiting, "t01"), ["1", "0"])
    with database.transaction(waiting) as connection:
        connection.execute(adjustments.reading.update().values(hundredths=200))
    assert any("the ledger says 100" in finding for finding in verify.verify(waiting).findings)
    with database.transaction(waiting) as connection:
        connection.execute(adjustments.reading.update().values(hundredths=100, points="[0, 150]"))
    assert any("points do not add up" in finding for finding in verify.verify(waiting).findings)
    assert files.read_bytes(waiting.folder / "term.toml", most=10_000, what="Settings")
