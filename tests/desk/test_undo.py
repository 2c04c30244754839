"""What was said wrongly is taken back, and what a coordinator may not write he cannot."""

import io
import zipfile

import pytest

from grader import catalogue, clock
from grader.course.audit import copy as copies
from grader.course.audit import verify
from grader.course.grading import mark_class
from grader.course.submissions import collect
from grader.course.vehicles import store, template
from grader.desk import start
from grader.desk.page import Desk
from grader.desk.words import plain_page
from grader.errors import Refused
from grader.records import database, ledger
from grader.records.term import roster
from grader.records.term import term as terms
from grader.reports.feedback import return_run
from tests.course import vehicles
from tests.desk.driving import buttons, cells, do_it, every, press, saved, table, texts, undo
from tests.work import issue_of, put_in_inbox, right_answers, right_sheet, sheet_of, state

MODULE = "m01_timing"


def test_a_class_list_is_put_back(marked, desk_of):
    """The wrong list withdrew two and brought a stranger: undone, the two are enrolled again and the stranger is withdrawn."""
    desk = desk_of(marked.folder)
    desk.go("people")
    desk.screen.drop.take([("wrong.csv", b"id,last_name,first_name\nT01,Arundell,Bea\nT99,Strange,Ann\n")])
    do_it(desk, agree=True)
    assert {one.id: one.status for one in roster.listed(marked)} == {
        "t01": "enrolled", "t02": "withdrawn", "t03": "withdrawn", "t99": "enrolled",
    }  # fmt: skip
    undo(desk, "")
    assert {one.id: (one.status, one.group) for one in roster.listed(marked)} == {
        "t01": ("enrolled", "A"), "t02": ("enrolled", "A"), "t03": ("enrolled", "B"), "t99": ("withdrawn", ""),
    }  # fmt: skip
    assert verify.verify(marked).findings == []


def test_a_page_returned_too_early_is_taken_back_and_what_comes_in_counts_again(marked, desk_of):
    """Returned by mistake, a hand-in after it counts for nothing; taken back, it counts. A page that was answered by a resit stays."""
    return_run.give_back(marked, MODULE)
    record = issue_of(marked, "t01")
    answers = {**right_answers(catalogue.module(MODULE), record), "m01.letter.text": "Afterwards."}
    collect.collect(marked, [put_in_inbox(marked, sheet_of(record, answers))])
    with database.reading(marked) as connection:
        late = [entry for _, _, entry in ledger.entries(connection, "handed-in")][-1]
    assert late["kind"] == "after the return"
    desk = desk_of(marked.folder)
    desk.go("give_back", module=MODULE)
    press(desk, "Returned by mistake: take pages back …")
    assert "Arundell, Bea" in texts(desk)
    do_it(desk, reason="pressed too soon")
    assert not list((marked.folder / "returned").rglob("*.html"))
    with database.reading(marked) as connection:
        assert [entry["kind"] for _, _, entry in ledger.entries(connection, "handed-in")][-1] == "accepted"
    assert verify.verify(marked).findings == []
    press(desk, "Returned by mistake: take pages back …")
    assert "none can be taken back" in texts(desk)


def test_what_changed_since_somebody_looked_last_is_marked(marked, desk_of):
    """A mark that came while nobody looked has a dot and says what it was; looked at once more it has none."""
    desk = desk_of(marked.folder)
    desk.go("marks", module=MODULE)
    assert not [cell for row in table(desk, "Marks in").rows for cell in row["cells"] if cell["news"]]
    path = put_in_inbox(marked, right_sheet(issue_of(marked, "t02")))
    collect.collect(marked, [path], received_at=clock.parse("2026-03-30 12:00", "Europe/Lisbon"))
    mark_class.mark(marked, MODULE)
    desk.go("marks", module=MODULE)
    desk.screen.filter.value = "changed since you looked last"
    assert [row[0] for row in cells(desk, "Marks in")] == ["O’Neil, Jr., Cass"]
    says = [cell["says"] for cell in table(desk, "Marks in").rows[0]["cells"] if cell["news"]]
    assert says and all("new since you looked last" in one for one in says)
    desk.go("marks", module=MODULE)
    assert not [cell for row in table(desk, "Marks in").rows for cell in row["cells"] if cell["news"]]


def test_a_file_that_cannot_be_used_has_a_text_that_asks_for_it_again(marked, desk_of):
    """The text names the file and says what is wrong, in words for a trainee: no command stands in it."""
    (marked.folder / "inbox" / "work.zip").write_bytes(b"PK no zip")
    desk = desk_of(marked.folder)
    desk.go("inbox")
    press(desk, "Look into the inbox folder …")
    (asked,) = [w for w in every(desk.box) if type(w).__name__ == "Copy"]
    assert "“inbox/work.zip”" in asked.text or "work.zip" in asked.text
    assert "press “Hand in”" in asked.text and "'" not in asked.text


def test_a_file_that_cannot_be_used_is_put_away_and_back(marked, desk_of):
    """Who has asked for it again is done with it: it lies in the folder of what was taken, and no look finds it."""
    lay = marked.folder / "inbox" / "work.zip"
    lay.write_bytes(b"PK no zip")
    desk = desk_of(marked.folder)
    desk.go("inbox")
    press(desk, "Look into the inbox folder …")
    (done,) = [w.description for w in every(desk.box) if getattr(w, "description", "").startswith("Done with")]
    press(desk, done)
    assert lay.exists()
    press(desk, "Do it")
    assert not lay.exists() and (marked.folder / "inbox" / "taken" / "set aside" / "work.zip").is_file()
    assert collect.collect(marked, preview=True).findings == []
    press(desk, "Undo")
    press(desk, "Do it")
    assert lay.read_bytes() == b"PK no zip"


def test_a_coordinator_looks_and_exports_and_nothing_of_the_class_is_written(marked, tmp_path):
    """Every screen of the office, every export: the class's folder stays as it was to the byte, and its records refuse a row."""
    home = tmp_path / "office"
    home.mkdir()
    before = state(marked.folder)
    desk = Desk(marked.folder, home, office=True)
    assert [button.description for button in desk.nav.children] == ["Today", "Marks", "Next lesson", "Office"]
    for name in (*desk.screens, "people", "hand_out", "workshop", "vehicles"):
        screen = desk.go(name)
        assert desk.notice.children == () and screen is not None, texts(desk)
        assert screen.title in ("Today", "Marks", "Next lesson", "Office")
    desk.go("office")
    written = [button.description for button in every(desk.box) if getattr(button, "description", "").endswith(" …")]
    assert written == [
        f"{label} …"
        for label in (
            "Grades",
            "One table",
            "All tables",
            "Workbook",
            "Programme report",
            "Evidence",
            "Moderator's sample",
        )
    ]
    for label in written:
        press(desk, label)
        assert do_it(desk).problem == "", texts(desk)
    assert b"Arundell" in (home / "exports" / "grades.csv").read_bytes()
    assert (home / "exports" / "programme.html").is_file() and (home / "exports" / "programme.xlsx").is_file()
    assert state(marked.folder) == before
    opened = terms.open_term(marked.folder, read_only=True)
    with pytest.raises(Refused, match="looked at only"), database.transaction(opened) as connection:
        ledger.append(connection, [ledger.Entry("export", new="x")])
    assert state(marked.folder) == before
    assert ready_cell(marked.folder, office=True) != ready_cell(marked.folder, office=False)


def ready_cell(folder, *, office):
    return start.make_ready(folder, office=office).notebook.read_text()


def test_a_policy_from_a_form_says_first_who_would_pass_or_fail(marked, desk_of):
    """94 per cent of the marks is enough for 90 and not for 96; undone, the class's own pass mark holds again."""
    desk = desk_of(marked.folder)
    desk.go("office")
    before = state(marked.folder)
    press(desk, "Change pass marks and objectives …")
    desk.screen.pass_fields[MODULE][0].value = "many"
    press(desk, "See who would pass or fail differently …")
    assert "“many” is no share" in texts(desk)
    desk.screen.pass_fields[MODULE][0].value = "96"
    press(desk, "See who would pass or fail differently …")
    assert "Ignition timing from 96" in texts(desk) or "m01_timing from 96" in texts(desk)
    assert state(marked.folder) == before
    do_it(desk, reason="agreed")
    assert float(terms.open_term(marked.folder).pass_percent(MODULE)) == 96
    undo(desk, "not agreed")
    assert float(terms.open_term(marked.folder).pass_percent(MODULE)) == 60
    assert verify.verify(marked).findings == []


def test_packages_for_other_systems_are_written_by_button_and_noted(marked, desk_of):
    """A whole programme wants the centre's name and a tick; what went out, when and where stands in the list."""
    desk = desk_of(marked.folder)
    desk.go("office")
    press(desk, "OneRoster, the whole programme …")
    do_it(desk, agree=True)
    assert "Write the name of the training centre" in texts(desk)
    desk.screen.centre.value = "Quayside workshop"
    press(desk, "OneRoster, the whole programme …")
    do_it(desk, agree=True)
    with zipfile.ZipFile(io.BytesIO(saved(desk, "Save oneroster-bulk.zip"))) as package:
        assert b"Quayside workshop" in package.read("orgs.csv")
    press(desk, "Statements …")
    do_it(desk)
    sent = [row[1] for row in cells(desk, "Exports that the ledger notes")]
    assert (
        len(sent) == 2 and any("oneroster-bulk" in what for what in sent) and any("statements" in what for what in sent)
    )


def test_a_vehicle_is_entered_by_form_with_its_checks_beside_the_fields(marked, desk_of):
    """A dwell that cannot be is named beside its field and not stored; put right, the vehicle stands there with its sheet."""
    manual = template.EXAMPLE | vehicles.SOURCE
    desk = desk_of(marked.folder)
    desk.go("vehicles")
    desk.screen.key.value = "hall-engine"
    press(desk, "Enter it …")
    do_it(desk)
    press(desk, "Fill it in")
    for place, (field, _) in desk.screen.fields.items():
        answer = manual.get(place)
        field.value = "\n".join("; ".join(pair) for pair in answer) if isinstance(answer, list) else str(answer or "")
    desk.screen.fields["points", "dwell"][0].value = "300 ° dist"
    assert "allowed is" in desk.screen.fields["points", "dwell"][1].value
    press(desk, "Check and store …")
    assert "Nothing was stored" in texts(desk) and store.listed(marked) == []
    desk.screen.fields["points", "dwell"][0].value = manual["points", "dwell"]
    assert "Read as" in desk.screen.fields["points", "dwell"][1].value
    press(desk, "Check and store …")
    do_it(desk, agree=True)
    (stored,) = store.listed(marked)
    assert (stored.key, stored.own.vehicle.title) == ("hall-engine", manual["", "title"])
    table(desk, "Stored").clicked = ["hall-engine", "t", 1]
    assert b"Computed advance" in saved(desk, "Save this sheet")


def test_a_copy_is_made_and_proved_and_today_says_when(marked, desk_of, tmp_path):
    """A copy inside the class's own folder is none; one elsewhere holds all, agrees, and is not the class itself."""
    with pytest.raises(Refused, match="outside it"):
        copies.copy(marked, marked.folder / "exports")
    safe = tmp_path / "safe"
    safe.mkdir()
    desk = desk_of(marked.folder)
    before = state(marked.folder)
    desk.screen.second.value = str(safe)
    press(desk, "Copy the class there …")
    do_it(desk)
    assert "all agree" in texts(desk) and "and the copy agrees" in texts(desk) and state(marked.folder) == before
    (copy,) = safe.iterdir()
    assert [one.id for one in roster.listed(terms.open_term(copy))] == [one.id for one in roster.listed(marked)]
    assert verify.verify(terms.open_term(copy)).marks == 1


def test_the_class_report_on_the_desk_names_screens_and_no_commands():
    page = b"<p>A &#39;good&#39; one</p><td>run &#39;mark&#39;; its finding says what to do</td><style>a{--x:1}</style>"
    told = plain_page(page).decode()
    assert "<td>mark it (screen “Marks”); its finding says what to do</td>" in told
    assert "A &#39;good&#39; one" in told and "<style>a{--x:1}</style>" in told


@pytest.mark.server
def test_formgrader_opens_from_the_marks(marked, desk_of):
    """The link leads to nbgrader's own page of this term, and without its token to nothing."""
    import re
    import urllib.error
    import urllib.request
    from html import unescape

    from grader.desk import formgrader

    desk = desk_of(marked.folder)
    desk.go("marks", module=MODULE)
    press(desk, "nbgrader's own marking page …")
    do_it(desk)
    try:
        shown = "".join(str(getattr(one, "value", "")) for one in every(desk.box))
        link = re.search(r'href="(http://127[^"]+)"', shown)
        assert link is not None, texts(desk)
        with urllib.request.urlopen(unescape(link[1]), timeout=60) as page:
            assert b"formgrader" in page.read()
        try:
            with urllib.request.urlopen(unescape(link[1]).partition("?")[0], timeout=60) as page:
                assert "/login" in page.url
        except urllib.error.HTTPError as refused:
            assert refused.code == 403
        assert not buttons(desk, "Undo")
    finally:
        process, _ = formgrader._running.pop(marked.folder)
        process.terminate()
        process.wait(30)
