"""Answers on paper typed in: read as the marker reads them, kept as a hand-in, said to be transcribed."""

import csv
import json
from types import SimpleNamespace

import openpyxl
import pytest
from sqlalchemy import select
from typer.testing import CliRunner

from grader import catalogue, clock
from grader.bench.part import Bench
from grader.cli.main import app
from grader.course.attempts.kept import kept_path
from grader.course.audit import deletion, verify
from grader.course.grading import mark_class
from grader.course.issue import assign
from grader.course.submissions import collect, transcribe
from grader.errors import BadFile, Refused, Unknown, Unreadable
from grader.exercise import sheet as sheets
from grader.exercise.kinds import Choices
from grader.exercise.model import Choice
from grader.exercise.sorting import Batch, Order
from grader.marking.mark import mark_sheet
from grader.pages.csv_file import Manner
from grader.records import database, ledger, schema
from tests.work import issue_of, put_in_inbox, right_answers, right_sheet, sheet_of

MODULE = "m01_timing"
ARC = "m01.mark_arc.arc"
EARLY = clock.parse("2026-03-30 12:00", "Europe/Lisbon")


def on_paper(question, raw):
    """What would stand on the sheet for a text of answers.json."""
    part, by_key = question.part, {key: letter for letter, key, _ in question.lettered}
    if isinstance(part, Choice):
        return by_key[raw]
    if isinstance(part, Choices):
        return raw if raw == "none" else " ".join(by_key[key] for key in raw.split(";"))
    if isinstance(part, Order):
        return "".join(by_key[key] for key in raw.split(">")).lower()
    if isinstance(part, Batch):
        return " ".join(entry.partition("=")[2][0] for entry in raw.split(";"))
    return raw


def hand_ins(term):
    with database.transaction(term) as connection:
        return connection.execute(select(schema.hand_in).order_by(schema.hand_in.c.id)).all()


def marks(term):
    with database.transaction(term) as connection:
        return {(r.trainee, r.module): (r.raw, r.mark) for r in connection.execute(select(schema.mark))}


@pytest.mark.campaign
@pytest.mark.parametrize("key", list(catalogue.all_modules()))
def test_a_right_paper_earns_what_a_right_file_earns(assigned_term, key):
    if key != MODULE:
        assign.assign(assigned_term, key, due="2026-03-31 17:00")
    opened = transcribe.begin(assigned_term, "T01", key)
    right = right_answers(catalogue.module(key), opened.record)
    answers = {
        question.path: transcribe.read(question, on_paper(question, right[question.path]))
        for question in opened.questions
        if question.path in right
    }
    assert {path: answer.raw for path, answer in answers.items()} == right
    kept = transcribe.keep(assigned_term, opened, answers, received_at=EARLY)
    assert (kept.answered, kept.known, kept.others) == (len(right), False, 0)
    put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, "t02", key)))
    collect.collect(assigned_term, received_at=EARLY)
    mark_class.mark(assigned_term, key)
    found = marks(assigned_term)
    # Each is worth what the marking says of his own numbers, and both the same where no car is: the best road of one
    # car earns a little more than that of another.
    for trainee in ("t01", "t02"):
        record = issue_of(assigned_term, trainee, key)
        worth = mark_sheet(catalogue.module(key), record.exercises, right_sheet(record)).hundredths
        assert found[trainee, key] == (worth, worth)
    has_cars = any(isinstance(part, Bench) for _, part, _ in catalogue.module(key).parts())
    assert (found["t01", key] == found["t02", key] or has_cars) and found["t01", key][1] > 0
    assert verify.verify(assigned_term).findings == []


def test_it_is_kept_like_any_hand_in_and_said_to_be_transcribed(assigned_term):
    opened = transcribe.begin(assigned_term, "t01", MODULE)
    answers = {ARC: transcribe.read(opened.questions[0], "12,3 mm")}
    kept = transcribe.keep(assigned_term, opened, answers, received_at=EARLY)
    [row] = hand_ins(assigned_term)
    assert (row.trainee, row.module, row.attempt, row.usable) == ("t01", MODULE, 1, True)
    assert row.source == f"transcribed by {ledger.actor()}" and row.received_at == clock.to_text(EARLY)
    assert row.sha256 == kept.sha256
    sheet = sheets.read(kept_path(assigned_term, row.sha256))
    assert sheet.answers[ARC].raw == "12,3 mm" and sheet.answers[ARC].read_as == "12,3 mm"
    with database.transaction(assigned_term) as connection:
        [entry] = [e for _, _, e in ledger.entries(connection, "handed-in")]
    assert (entry["reason"], entry["sha256"], entry["trainee"]) == ("transcribed from paper", row.sha256, "t01")
    assert transcribe.keep(assigned_term, opened, answers, received_at=EARLY).known
    assert len(hand_ins(assigned_term)) == 1


def test_the_same_paper_typed_again_is_not_handed_in_again(assigned_term, tmp_path):
    """A table that grows and is read again brings only what is new: the older papers keep their time of arrival."""
    path = tmp_path / "answers.csv"
    path.write_text("trainee,part,answer,unit\nT01,mark_arc.arc,12,mm\n")
    [first] = transcribe.from_table(assigned_term, MODULE, path)[0]
    path.write_text(path.read_text() + "T02,mark_arc.arc,13,mm\n")
    again, new = transcribe.from_table(assigned_term, MODULE, path)[0]
    assert (again.known, again.sha256, new.known) == (True, first.sha256, False)
    assert [row.trainee for row in hand_ins(assigned_term)] == ["t01", "t02"]
    for typed in ("14", "12"):  # put right, and put back: each is a new last word
        path.write_text(f"trainee,part,answer,unit\nT01,mark_arc.arc,{typed},mm\n")
        assert not transcribe.from_table(assigned_term, MODULE, path)[0][0].known
    [dated] = transcribe.from_table(assigned_term, MODULE, path, received_at=EARLY)[0]
    assert not dated.known, "another time of arrival was named"


def test_when_the_paper_came_in_decides_what_is_late(assigned_term):
    for trainee, when in (("T01", "2026-03-31 16:59"), ("T02", "2026-04-02 12:00")):
        opened = transcribe.begin(assigned_term, trainee, MODULE)
        answers = {p: sheets.Answer(raw) for p, raw in right_answers(catalogue.module(MODULE), opened.record).items()}
        transcribe.keep(assigned_term, opened, answers, received_at=clock.parse(when, "Europe/Lisbon"))
    mark_class.mark(assigned_term, MODULE)
    found = marks(assigned_term)
    assert found["t01", MODULE][0] == found["t01", MODULE][1] == found["t02", MODULE][0] > found["t02", MODULE][1]


class TestReading:
    @pytest.fixture
    def questions(self, assigned_term):
        return {question.path: question for question in transcribe.begin(assigned_term, "T01", MODULE).questions}

    def test_units_stand_behind_the_number_or_in_a_column(self, questions):
        assert transcribe.read(questions[ARC], "1/2 in").read_as == "1/2 in"
        apart = transcribe.read(questions[ARC], "12.5", " mm ")
        assert (apart.raw, apart.unit, apart.read_as) == ("12.5", "mm", "12.5 mm")
        other = transcribe.read(questions[ARC], "1.25", "cm")
        assert (other.raw, other.unit, other.read_as) == ("1.25 cm", "", "1.25 cm")

    def test_what_cannot_be_read_is_said_and_can_be_kept_as_it_stands(self, questions):
        with pytest.raises(Unreadable):
            transcribe.read(questions[ARC], "about a thumb")
        kept = transcribe.read(questions[ARC], "! about a thumb")
        assert (kept.raw, kept.read_as) == ("about a thumb", "")

    @pytest.mark.parametrize("text", ["Z", "A B", "1", "yes", "A A"])
    def test_letters_that_are_not_there(self, questions, text):
        with pytest.raises(Unreadable, match="letter"):
            transcribe.read(questions["m01.line_test.finding"], text)

    def test_letters_in_any_manner(self, questions):
        order = questions["m01.check_order.order"] if "m01.check_order.order" in questions else None
        order = order or next(q for q in questions.values() if isinstance(q.part, Order))
        keys = {letter: key for letter, key, _ in order.lettered}
        for text in ("CAB", "c a b", "C>A>B", "c, a, b", "C-A-B"):
            assert transcribe.read(order, text).raw == ">".join((keys["C"], keys["A"], keys["B"]))

    def test_a_batch_by_its_rows(self, questions):
        batch = next(q for q in questions.values() if isinstance(q.part, Batch))
        labels = batch.part.items(batch.given)
        typed = "kru-" + "k" * (len(labels) - 4)
        raw = transcribe.read(batch, typed).raw
        assert raw.startswith(f"{labels[0]}=keep;{labels[1]}=reject;{labels[2]}=undecided;{labels[4]}=keep")
        assert f"{labels[3]}=" not in raw
        assert transcribe.read(batch, f"{labels[1]}=keep").raw == f"{labels[1]}=keep"
        for text in ("k", "x" * len(labels), "k" * (len(labels) + 1)):
            with pytest.raises(Unreadable, match="decisions are asked"):
                transcribe.read(batch, text)

    def test_several_or_none(self):
        module = catalogue.module("m03_heat_range")
        part = next(p for _, p, _ in module.parts() if isinstance(p, Choices))
        given = SimpleNamespace(**{})
        first, second = list(part.options)[:2]
        assert part.from_paper("b a", given) == f"{first};{second}"
        assert part.from_paper("None", given) == "none"

    def test_nothing_is_a_blank(self, questions):
        assert {transcribe.read(question, "  ").raw for question in questions.values()} == {""}


class TestTable:
    def test_many_trainees_at_once(self, assigned_term, tmp_path):
        lines = ["trainee,part,answer,unit"]
        for trainee in ("T01", "T03"):
            opened = transcribe.begin(assigned_term, trainee, MODULE)
            right = right_answers(catalogue.module(MODULE), opened.record)
            for question in opened.questions:
                if question.path in right:
                    text = on_paper(question, right[question.path])
                    lines.append(f'{trainee},{question.path.partition(".")[2]},"{text}",')
        path = tmp_path / "answers.csv"
        path.write_text("\n".join(lines), encoding="utf-8")
        kept = transcribe.from_table(assigned_term, MODULE, path, received_at=EARLY)[0]
        assert [one.person.id for one in kept] == ["t01", "t03"]
        assert mark_class.mark(assigned_term, MODULE).marked == 2
        found = marks(assigned_term)
        assert found["t01", MODULE] == found["t03", MODULE]
        assert verify.verify(assigned_term).findings == []

    def test_a_table_to_fill_in_comes_back_from_a_spreadsheet(self, assigned_term, tmp_path):
        """It holds the questions of all who have not handed in; what stays blank, or is of another lesson, is said once."""
        put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, "t02")))
        collect.collect(assigned_term, received_at=EARLY)
        people = transcribe.write_table(assigned_term, MODULE, tmp_path / "fill.csv", how=Manner(True, ";"))
        assert [person.id for person in people] == ["t01", "t03"]
        with pytest.raises(Refused, match="may hold what you filled in"):
            transcribe.write_table(assigned_term, MODULE, tmp_path / "fill.csv")
        with (tmp_path / "fill.csv").open(encoding="utf-8-sig", newline="") as stream:
            head, *rows = csv.reader(stream, delimiter=";")
        right = right_answers(catalogue.module(MODULE), issue_of(assigned_term, "t01"))
        questions = {question.path: question for question in transcribe.begin(assigned_term, "T01", MODULE).questions}
        book = openpyxl.Workbook()
        book.active.append(head)
        for row in rows:
            path = row[head.index("part")]
            if row[0] == "T01" and path in right:
                row[head.index("answer")] = on_paper(questions[path], right[path])
            book.active.append(row)
        book.active.append(["T01", "", "m02.something.else", "", "", "", "12", "ms"])
        book.save(tmp_path / "filled.xlsx")
        [kept], notes = transcribe.from_table(assigned_term, MODULE, tmp_path / "filled.xlsx", received_at=EARLY)
        assert (kept.person.id, kept.answered) == ("t01", len(right))
        assert (
            len(notes) == 2
            and "hold no answer; left blank" in notes[0]
            and "holds an answer of another module" in notes[1]
        )
        mark_class.mark(assigned_term, MODULE)
        assert marks(assigned_term)["t01", MODULE] == marks(assigned_term)["t02", MODULE]

    def test_all_faults_at_once_and_nothing_kept(self, assigned_term, tmp_path):
        path = tmp_path / "answers.csv"
        path.write_text(
            "trainee,part,answer,unit\nT01,mark_arc.arc,12,mm\nT09,mark_arc.arc,12,mm\nT01,nothing.here,1,\n"
            "T01,m01.mark_arc.arc,13,mm\nT02,mark_arc.arc,a thumb,\nT02,line_test.finding,Z\n",
            encoding="utf-8",
        )
        with pytest.raises(BadFile) as refusal:
            transcribe.from_table(assigned_term, MODULE, path)
        lines = str(refusal.value).splitlines()
        assert [line.partition(":")[0] for line in lines[1:-1]] == [f"line {n}" for n in (3, 4, 5, 6, 7)]
        assert "'T09'" in lines[1] and "no part of" in lines[2] and "earlier line" in lines[3] and "put !" in lines[4]
        assert hand_ins(assigned_term) == [] and not list(assigned_term.folder.glob("handed_in/*/*"))


def test_what_cannot_be_kept_is_refused(assigned_term):
    with pytest.raises(Unknown):
        transcribe.begin(assigned_term, "T09", MODULE)
    with pytest.raises(Refused, match="no numbers for m02_dwell"):
        transcribe.begin(assigned_term, "T01", "m02_dwell")
    opened = transcribe.begin(assigned_term, "T01", MODULE)
    with pytest.raises(Refused, match="Nothing is answered by Arundell, Bea"):
        transcribe.keep(assigned_term, opened, {ARC: sheets.Answer(" ")})
    with pytest.raises(Refused, match="still to come"):
        transcribe.keep(
            assigned_term, opened, {ARC: sheets.Answer("12")}, received_at=clock.parse("2999-01-01", "Europe/Lisbon")
        )
    assert hand_ins(assigned_term) == []


def test_work_from_a_computer_beside_it_is_named(assigned_term):
    put_in_inbox(assigned_term, sheet_of(issue_of(assigned_term, "t01"), {ARC: "3"}))
    collect.collect(assigned_term)
    opened = transcribe.begin(assigned_term, "T01", MODULE)
    assert transcribe.keep(assigned_term, opened, {ARC: sheets.Answer("12")}).others == 1


class TestTerminal:
    def run(self, term, typed, *words):
        return CliRunner().invoke(app, ["transcribe", *words, "--term", str(term.folder)], input=typed)

    def test_question_by_question(self, assigned_term):
        opened = transcribe.begin(assigned_term, "T01", MODULE)
        count = len(opened.questions)
        typed = ["a thumb", "12.5 mm", "<", "13 mm"] + [""] * (count - 1) + ["y"]
        ran = self.run(assigned_term, "\n".join(typed) + "\n", "T01", MODULE, "--received-at", "2026-03-30 12:00")
        assert ran.exit_code == 0, ran.output
        assert "read as 12.5 mm" in ran.output and "read as 13 mm" in ran.output
        assert f"1 of {count} answers kept, receipt" in ran.output and "with ! before it" in ran.output
        line = opened.questions[[q.path for q in opened.questions].index("m01.line_test.finding")]
        for letter, _, words in line.lettered:
            assert f"    {letter}  {words}" in ran.output
        [row] = hand_ins(assigned_term)
        assert sheets.read(kept_path(assigned_term, row.sha256)).answers[ARC].raw == "13 mm"
        assert row.received_at == clock.to_text(EARLY) and not list(assigned_term.folder.rglob("typing-*"))

    def test_broken_off_it_goes_on_where_it_stopped(self, assigned_term):
        ran = self.run(assigned_term, "12.5 mm\n", "T01", MODULE)
        assert ran.exit_code != 0 and hand_ins(assigned_term) == []
        count = len(transcribe.begin(assigned_term, "T01", MODULE).questions)
        ran = self.run(assigned_term, "\n" * count + "n\n", "T01", MODULE)
        assert "[12.5 mm]" in ran.output and "Not kept." in ran.output and hand_ins(assigned_term) == []
        ran = self.run(assigned_term, "\n" * count + "y\n", "T01", MODULE)
        assert ran.exit_code == 0 and len(hand_ins(assigned_term)) == 1

    def test_a_draft_goes_with_the_person(self, assigned_term):
        self.run(assigned_term, "12.5 mm\n", "T01", MODULE)
        assert len(list(assigned_term.folder.rglob("typing-*"))) == 1
        deletion.delete_person(assigned_term, "T01", reason="asked for it")
        assert not list(assigned_term.folder.rglob("typing-*"))

    def test_commands_of_paper_and_witness(self, assigned_term):
        def run(*words):
            ran = CliRunner().invoke(app, [*words, "--term", str(assigned_term.folder)])
            return ran.exit_code, ran.output

        assert run("paper", MODULE, "--group", "A")[1].startswith("2 sheets:")
        code, said = run("assign", "m02_dwell", "--as", "folder", "--group", "B")
        assert code == 0 and "issued to 1" in said and "/_class/folder/m02_dwell" in said
        seen = ("--result", "satisfactory", "--vehicle", "van", "--on", "2026-03-12", "--seen-by", "R. Q.")
        assert run("witness", "T01", "T1", *seen)[1].startswith("Task 1: Arundell, Bea, T1 satisfactory, 2026-03-12")
        assert "1 witnessed task." in run("witness", "--list", "T01")[1]
        assert run("witness", "--withdraw", "1", "--reason", "mistake")[0] == 0
        assert "WITHDRAWN: mistake" in run("witness", "--list")[1]
        assert CliRunner().invoke(app, ["witness", "--term", str(assigned_term.folder)]).exit_code != 0


def test_sheets_of_answers_say_what_they_are(assigned_term):
    """Whoever opens the kept file sees that it was typed in from paper."""
    opened = transcribe.begin(assigned_term, "T01", MODULE)
    kept = transcribe.keep(assigned_term, opened, {ARC: sheets.Answer("12")})
    content = json.loads(kept_path(assigned_term, kept.sha256).read_text("utf-8"))
    assert content["made_with"] == "transcribed from paper" and content["trainee"] == "t01"
