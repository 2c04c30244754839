"""Whoever only looks at a term changes nothing in it: not the records, not a file but the report asked for."""

import shutil

import pytest
import typer
from sqlalchemy import select

from grader import catalogue, clock
from grader.cli.main import app
from grader.course.grading import mark_class, observations
from grader.course.issue import assign
from grader.course.submissions import collect
from grader.records import adjustments, database, schema
from grader.records.gradebook import gradebook
from grader.records.term import term as terms
from tests.course import vehicles
from tests.work import issue_of, put_in_inbox, right_answers, sheet_of, state

MODULE = "m01_timing"
LIST = "id,last_name,first_name,group\nT01,Arundell,Bea,C\n"

# Each command that only reads: its words, its exit code, and the one file that it may leave.
READING = {
    "mark --preview": (["mark", "--preview"], 0, ""),
    "mark --preview of one": (["mark", MODULE, "--preview"], 0, ""),
    "roster import --preview": (["roster", "import", "{elsewhere}/list.csv", "--preview"], 0, ""),
    "roster list": (["roster", "list"], 0, ""),
    "term show": (["term", "show"], 0, ""),
    "term policy": (["term", "policy"], 0, ""),
    "term verify": (["term", "verify"], 1, ""),
    "term copy": (["term", "copy", "{elsewhere}"], 1, ""),
    "term retention": (["term", "retention"], 0, ""),
    "read --list": (["read", MODULE, "--list"], 0, ""),
    "received": (["received", "T01", MODULE], 0, ""),
    "received --preview": (["received", MODULE, "--all", "--at", "2026-03-29", "--preview"], 0, ""),
    "assign --change-due --preview": (["assign", MODULE, "--change-due", "2026-04-01", "--preview"], 0, ""),
    "assign --withdraw --preview": (["assign", MODULE, "--withdraw", "--preview"], 0, ""),
    "read --list --all": (["read", MODULE, "--list", "--all", "--names"], 0, ""),
    "read --to": (["read", MODULE, "--to", "{elsewhere}/answers.csv"], 0, ""),
    "copies": (["copies", MODULE], 0, ""),
    "report": (["report", MODULE], 1, f"reports/{MODULE}.html"),
    "witness --list": (["witness", "--list"], 0, ""),
    "vehicle list": (["vehicle", "list"], 0, ""),
    "vehicle check": (["vehicle", "check", "hall"], 0, ""),
    "vehicle show": (["vehicle", "show", "hall"], 0, ""),
    "vehicle show --page": (["vehicle", "show", "hall", "--page"], 0, "reports/vehicle_hall.html"),
}
# Commands that are there to change a term, to hand something out (which the ledger notes), or that open no term.
WRITING = {
    "assign", "collect", "received", "mark", "extend", "excuse", "resit", "override", "witness", "paper", "transcribe", "return",
    "read", "term new", "term policy", "term share", "term upgrade", "term delete-person", "term delete-class", "roster import",
    "vehicle new", "vehicle form", "vehicle add", "export grades", "export items", "export objectives",
    "export witnessed", "export analysis", "export variants", "export modules", "export changes", "export tables",
    "export workbook", "export layout", "export programme", "export oneroster", "export evidence", "export moderation",
    "export report", "export statements",
}  # fmt: skip
# The desk writes what its buttons do; that looking at its screens writes nothing is held by tests/desk.
NO_TERM = {"desk", "hub", "demo", "study", "guide", "release", "check", "export check-oneroster", "vehicle chart"}


@pytest.fixture(scope="module")
def looked_at(_assigned_term, tmp_path_factory):
    """A term with something for every command to find.

    One sheet is marked, and formgrader changed a mark since; one is kept and not marked; a letter waits to be
    read; a vehicle is stored, a task was witnessed, and a second module is assigned.
    """
    folder = tmp_path_factory.mktemp("read") / "term"
    shutil.copytree(_assigned_term, folder)
    (folder.parent / "list.csv").write_text(LIST, encoding="utf-8")
    term = terms.open_term(folder)
    module = catalogue.module(MODULE)
    for trainee in ("t01", "t02"):
        record = issue_of(term, trainee)
        answers = right_answers(module, record) | {"m01.letter.text": f"Dear customer, {trainee} has timed it."}
        path = put_in_inbox(term, sheet_of(record, answers))
        collect.collect(term, [path.parent], received_at=clock.parse("2026-03-30 12:00", "UTC"))
        if trainee == "t01":
            mark_class.mark(term, MODULE)
    vehicles.stored(term, "hall")
    observations.record(term, observations.Seen("t01", "T3", "satisfactory", "hall four", "2026-03-12", "Q. Z.", ""))
    assign.assign(term, "m02_dwell", due="2026-04-30")
    with gradebook._nbgrader() as api, api.Gradebook(term.database_url) as opened:
        opened.find_grade("mark_arc", MODULE, MODULE, "t01").manual_score = 1.25
        opened.db.commit()
    return folder


@pytest.mark.parametrize("name", READING)
def test_a_command_that_reads_writes_nothing(call, looked_at, name):
    """Byte for byte, the records included, though formgrader changed a mark and a sheet waits to be marked."""
    words, expected, leaves = READING[name]
    elsewhere = looked_at.parent
    (elsewhere / "answers.csv").unlink(missing_ok=True)
    before = state(looked_at)
    code, out, err = call(*(word.format(elsewhere=elsewhere) for word in words), "--term", looked_at)
    assert (code, err) == (expected, "") and out
    after = state(looked_at)
    assert {path for path in before.keys() | after.keys() if before.get(path) != after.get(path)} <= {leaves}
    assert not leaves or leaves in after
    (looked_at / leaves).unlink() if leaves else None


def test_a_preview_shows_what_formgrader_changed(call, looked_at, tmp_path):
    """And the run without --preview then does just that."""
    shutil.copytree(looked_at, tmp_path / "term")
    term = terms.open_term(tmp_path / "term")
    _, shown, _ = call("mark", MODULE, "--preview", "--term", term.folder)
    assert "2 marks would be written, 0 stay. Nothing was changed." in shown and "t02: new, " in shown
    line = next(line for line in shown.splitlines() if "t01: " in line)
    before, after = (float(figure) for figure in line.split("t01: ")[1].split(" (")[0].split(" → "))
    assert after == before - 0.75 and "same hand-in" in line
    with database.transaction(term) as connection:
        assert adjustments.read(connection).overrides == {}
    mark_class.mark(term, MODULE)
    with database.transaction(term) as connection:
        marks = dict(connection.execute(select(schema.mark.c.trainee, schema.mark.c.mark)).all())
        assert adjustments.read(connection).overrides == {("t01", MODULE, 1): {"m01.mark_arc": 125}}
    assert marks["t01"] == round(100 * after) and "t02" in marks
    assert mark_class.mark(term, MODULE, preview=True).changes == []


def test_who_reads_is_told_of_a_mark_that_the_records_do_not_have_yet(call, looked_at):
    """Verify and the class report do not take it over, so they say what to do."""
    for words in (["term", "verify"], ["report", MODULE]):
        code, out, _ = call(*words, "--term", looked_at)
        assert code == 1
        assert "t01, mark_arc: formgrader has 1.25 and the records have no mark by hand. Run 'mark m01_timing'" in out


def test_every_command_is_held_to_one_side():
    """A new command is put among those that read, or among those that are there to write."""
    group = typer.main.get_command(app)

    def names(found, before=""):
        for name, command in found.commands.items():
            yield from names(command, f"{before}{name} ") if hasattr(command, "commands") else [before + name]

    reading = {name.partition(" --")[0] for name in READING}
    assert set(names(group)) == reading | WRITING | NO_TERM
    assert not (reading | WRITING) & NO_TERM


def test_the_words_of_help_are_sentences():
    """What a command says of itself is for people: no line of the program stands in it."""
    group = typer.main.get_command(app)

    def helps(found):
        yield found.help or ""
        for command in getattr(found, "commands", {}).values():
            yield from helps(command)

    for text in helps(group):
        assert text.strip() and "import " not in text and "grader." not in text, text
