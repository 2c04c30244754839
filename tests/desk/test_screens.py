"""Single screens: what goes wrong is told, what can be undone is undone, and a desk opens where it was closed."""

import datetime
import json
import os
import subprocess
import sys

import pytest

from grader import clock, files
from grader.course.audit import verify
from grader.course.grading import agenda
from grader.desk import icon, parts, start
from grader.desk.change import Change, Done, Foreseen
from grader.desk.words import plain
from grader.errors import Refused
from grader.records.term import roster
from grader.records.term import term as terms
from tests.desk.driving import cells, do_it, every, field, press, saved, table, texts, undo
from tests.work import issue_of, put_in_inbox, right_sheet, state

MODULE = "m01_timing"


def test_a_new_class_is_made_from_the_first_screen(desk_of, tmp_path):
    """Where there is no term folder the desk makes one, and goes on with its class list."""
    desk = desk_of(tmp_path / "spring-b")
    desk.screen.name.value, desk.screen.zone.value = "Spring, class B", "Europe/Lisbon"
    press(desk, "Make the class …")
    assert not (tmp_path / "spring-b").exists(), "nothing is made before Do it"
    do_it(desk)
    press(desk, "Go on: the class list")
    made = terms.open_term(tmp_path / "spring-b")
    assert (made.settings.title, made.settings.zone, made.id) == ("Spring, class B", "Europe/Lisbon", "spring-b")
    assert "Spring, class B" in texts(desk) and desk.place["screen"] == "people"


def test_a_bad_class_is_refused_in_words(desk_of, tmp_path):
    desk = desk_of(tmp_path / "spring-b")
    desk.screen.zone.value = "Mars/Olympus"
    press(desk, "Make the class …")
    assert "There is no time zone 'Mars/Olympus'" in texts(desk) and not (tmp_path / "spring-b").exists()


def test_a_desk_opens_where_it_was_closed(marked, desk_of):
    """A kernel that died is a page that runs again: the same screen and the same module stand there."""
    desk_of(marked.folder).go("read", module=MODULE)
    again = desk_of(marked.folder)
    assert (again.place["screen"], again.screen.title, again.screen.module) == ("read", "Read", MODULE)


def test_looking_writes_nothing(marked, desk_of):
    """All screens can be opened, and the term folder is as it was."""
    before = state(marked.folder)
    desk = desk_of(marked.folder)
    for name in (
        "today",
        "people",
        "hand_out",
        "inbox",
        "marks",
        "read",
        "give_back",
        "next_lesson",
        "workshop",
        "office",
    ):
        assert desk.go(name) is desk.screen and desk.notice.children == (), texts(desk)
    desk.go("people", person="t01")
    assert "28 of 30" in str(cells(desk, "Modules of"))
    press(desk, "Class")
    assert len(cells(desk, "The class list")) == 3, "its button leads to the class, not back to the person"
    assert state(marked.folder) == before


def test_today_says_what_waits_and_leads_there(marked, desk_of):
    """A marked sheet whose due time is over waits to be returned; new files lie in the inbox."""
    put_in_inbox(marked, right_sheet(issue_of(marked, "t02")))
    desk = desk_of(marked.folder)
    states, waits = agenda.agenda(marked)
    assert [(one.what, one.module, one.count) for one in waits] == [("files", "", 1), ("return", MODULE, 1)]
    assert (states[0].people, states[0].came, states[0].to_mark, states[0].returned) == (3, 1, 0, 0)
    assert "1 new file in the inbox" in texts(desk) and "1 sheet ready to return in Ignition timing" in texts(desk)
    press(desk, "Go there", 1)
    assert (desk.screen.title, desk.screen.module) == ("Return", MODULE)


def test_a_mark_by_hand_is_taken_back_by_undo(marked, desk_of):
    """Undo is a change like any other: it says what it does, asks why, and the computed mark stands again."""
    desk = desk_of(marked.folder)
    desk.go("marks", module=MODULE)
    before = cells(desk, "Marks in")
    table(desk, "Marks in").clicked = ["t01", "m01.mark_arc", 1]
    field(desk, "Marks by hand").value = "0.5"
    press(desk, "Set this mark by hand …")
    press(desk, "Do it")
    assert "Say why in a few words" in texts(desk) and cells(desk, "Marks in") == before
    do_it(desk, reason="misprint")
    assert cells(desk, "Marks in") != before
    undo(desk, "no misprint after all")
    assert cells(desk, "Marks in") == before


def test_what_cannot_be_is_refused_without_the_words_of_commands(marked, desk_of):
    """A resit before the return: the desk names its own screen, not a command."""
    desk = desk_of(marked.folder)
    desk.go("marks", module=MODULE)
    press(desk, "Excuse …")
    assert "Nobody is ticked" in texts(desk)
    table(desk, "Marks in").ticked = ["t01"]
    press(desk, "Resit …")
    press(desk, "See what will happen …")
    assert "give it back (screen “Return”) first" in texts(desk) and "'return" not in texts(desk)


def test_a_moved_due_time_is_moved_back(marked, desk_of):
    """Who handed in asks for a reason; undone, the old time stands and the ledger has both."""
    desk = desk_of(marked.folder)
    desk.go("hand_out")
    press(desk, "Move the due time …")
    desk.screen.asked.day_field.value = datetime.date(2026, 4, 9)
    press(desk, "See what moving it does …")
    assert "1 of them have handed in" in texts(desk)
    do_it(desk, reason="the workshop was shut")
    assert "2026-04-09 17:00" in texts(desk)
    undo(desk, "it was open")
    states, _ = agenda.agenda(marked)
    assert marked.shown(clock.from_text(states[0].due)) == "2026-03-31 17:00 Europe/Lisbon"


def test_what_was_seen_is_ticked_recorded_together_and_taken_back(marked, desk_of):
    """Two trainees did it, one not yet: one tap or two in the grid; recorded together, undone together, each with its reason."""
    desk = desk_of(marked.folder)
    desk.go("workshop")
    screen = desk.screen
    press(desk, "Record 0 ticks …")
    assert "Nothing is ticked" in texts(desk)
    screen.vehicle.value, screen.seen_by.value = "blue van", "R. Quillfeather"
    screen.day.day_field.value = datetime.date(2026, 3, 12)
    before = state(marked.folder)
    taps = [("t01", "T3"), ("t03", "T3"), ("t03", "T3"), ("t02", "T3"), ("t02", "T3"), ("t02", "T3")]
    for number, (trainee, code) in enumerate(taps):
        screen.table.clicked = [trainee, code, number]
    place = [column["key"] for column in screen.table.columns].index("T3")
    assert {row[0]: row[place] for row in cells(desk, "Tap what you saw")} == {
        "Arundell, Bea": "satisfactory", "Null, Dov": "not yet", "O’Neil, Jr., Cass": "·",
    }  # fmt: skip
    press(desk, "Record 2 ticks …")
    assert state(marked.folder) == before
    do_it(desk)
    assert [row[2:5] for row in cells(desk, "Seen on a real vehicle")] == [
        ["satisfactory", "2026-03-12", "blue van"], ["not yet", "2026-03-12", "blue van"],
    ]  # fmt: skip
    undo(desk, "wrong day")
    assert [row[6] for row in cells(desk, "Seen on a real vehicle")] == ["taken back: wrong day"] * 2
    assert verify.verify(marked).findings == []


def test_the_office_writes_what_the_command_writes(marked, desk_of):
    desk = desk_of(marked.folder)
    desk.go("office")
    press(desk, "Grades …")
    assert not list((marked.folder / "exports").iterdir())
    do_it(desk)
    assert saved(desk, "Save grades.csv") == (marked.folder / "exports" / "grades.csv").read_bytes()


def test_a_person_is_deleted_only_when_his_id_is_typed(marked, desk_of):
    """What goes is listed first; another id does nothing."""
    desk = desk_of(marked.folder)
    desk.go("office")
    desk.screen.person.value = "t01"
    press(desk, "See what would be deleted …")
    assert "Arundell, Bea (T01); 1 hand-ins" in texts(desk)
    change = desk.screen.change
    change.reason.value, change.typed.value = "left the college", "T02"
    press(desk, "Do it")
    assert "Type T01 just as it stands" in texts(desk) and len(roster.listed(marked)) == 3
    change.typed.value = "T01"
    press(desk, "Do it")
    assert [one.id for one in roster.listed(marked)] == ["t03", "t02"]


def test_stop_ends_a_long_run_with_whole_marks(desk_of, marked):
    """Stop is heard between two parts of a run; what was done stays, and the page says so."""

    def do(_reason, progress):
        progress.stop.set()
        progress(1, 2)
        return Done(["never"])

    change = Change("Long", lambda _progress: Foreseen(["It takes long."]), do).begin()
    change.do_it.click()
    assert change.done is None and "What was done so far is whole" in change.problem


def test_a_fault_of_ours_is_told_and_not_lost(marked, desk_of):
    def do(_reason, _progress):
        raise ZeroDivisionError("by zero")

    change = Change("Faulty", lambda _progress: Foreseen(["Something."]), do).begin()
    change.do_it.click()
    assert "A fault of Timing Mark (ZeroDivisionError: by zero)" in change.problem


def test_dropped_files_cannot_leave_their_folder(tmp_path):
    """Names with paths, of devices, empty or twice: each file lies below the folder, with its content."""
    names = ["../../x.zip", "..\\..\\y.zip", "/etc/passwd", "..", "", "a\0b", "twice", "twice"]
    place = parts.keep(tmp_path / "home", [(name, name.encode() + b"!") for name in names])
    found = [path for path in place.rglob("*") if path.is_file()]
    assert sorted(path.read_bytes() for path in found) == sorted(name.encode() + b"!" for name in names)
    assert all(path.resolve().is_relative_to(place) for path in found)
    assert [path.name for path in tmp_path.iterdir()] == ["home"]


def test_names_and_answers_are_text(empty_term, desk_of, tmp_path):
    """A hostile name or title stands on the page as it is spelled; nothing of it becomes an element."""
    bad = '<img src=x onerror="boom()"> & <b>'
    listed = tmp_path / "list.csv"
    listed.write_text(f'id,last_name,first_name,group\nT01,"{bad.replace(chr(34), chr(34) * 2)}",Bea,A\n', "utf-8")
    roster.import_list(empty_term, listed)
    desk = desk_of(empty_term.folder)
    desk.go("people", person="t01")
    desk.say(bad)
    assert bad in texts(desk)
    raw = "".join(str(getattr(one, "value", "")) for one in every(desk.box) if type(one).__name__ == "HTML")
    assert "<img" not in raw and "<b>" not in raw


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("Run 'mark m01_timing' first; nothing was changed.", "Mark it (screen “Marks”) first; nothing was changed."),
        ("add --earlier.", "add a tick at “Also an earlier time”."),
        ("'received' lists them", "“Inbox” lists them"),
        ("run 'received' with --accept or --set-aside and a reason", "decide about it (screen “Inbox”) with “Let it count” or “Set it aside” and a reason"),
        ("name a --group or --trainee", "name a group or a person"),
        ("m01_timing from 75 %; see out/t01/m01_timing.zip.", "Ignition timing from 75 %; see out/t01/m01_timing.zip."),
        ("m99_nothing is unknown", "m99_nothing is unknown"),
    ],
)  # fmt: skip
def test_sentences_name_screens_in_place_of_commands(said, told):
    assert plain(said) == told


def test_the_desk_of_a_folder_lies_outside_it(marked):
    """Its page, its token and what was dropped are the user's own; a copy of the term carries none of it."""
    before = state(marked.folder)
    ready = start.make_ready(marked.folder)
    assert state(marked.folder) == before and not ready.root.is_relative_to(marked.folder)
    cell = json.loads(ready.notebook.read_text())["cells"][0]
    assert repr(str(marked.folder)) in "".join(cell["source"])
    assert start.known() == [marked.folder] and start.folder_meant(None) == marked.folder
    assert oct(ready.notebook.stat().st_mode & 0o777) == oct(files.PRIVATE)


@pytest.mark.parametrize("system", ["linux", "darwin", "win32"])
def test_an_icon_starts_the_desk_of_its_folder(tmp_path, system):
    folder = tmp_path / "it's a $class 100%" if system != "win32" else tmp_path / "class a"
    made = icon.write(folder, tmp_path, system)
    text = made.read_text()
    assert "grader desk" in text.replace('" "', " ").replace('"', "") and os.access(made, os.X_OK)
    assert "--office" not in text and "--office" in icon.write(folder, tmp_path, system, office=True).read_text()
    if system == "darwin":
        shown = tmp_path / "shown.sh"
        shown.write_text(text.replace("exec", "printf '%s\\n'"))
        told = subprocess.run(["sh", shown], capture_output=True, text=True, check=True).stdout
        assert told.splitlines() == [sys.executable, "-m", "grader", "desk", str(folder)]
    with pytest.raises(Refused):
        icon.write(tmp_path / "a\nb", tmp_path, system)
