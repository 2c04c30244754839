"""'term verify' names what was changed behind the program's back; each change is made in the database or the folder itself."""

import os
import shutil

import pytest
from sqlalchemy import delete, select, text, update

from grader import clock
from grader.course.audit import verify
from grader.course.grading import mark_class
from grader.course.submissions import collect
from grader.errors import Refused
from grader.records import database, head, ledger, schema
from grader.records.term import policy_in_force
from grader.records.term import term as terms
from grader.reports.feedback import return_run
from tests.work import issue_of, put_in_inbox, right_sheet, sheet_of, state

MODULE = "m01_timing"
WHEN = clock.parse("2026-03-30 12:00", "UTC")
HAND_IN, MARK, ANSWER, ISSUE, LEDGER = schema.hand_in, schema.mark, schema.answer, schema.issue, schema.ledger


@pytest.fixture
def marked(assigned_term):
    """t01 all right, t02 empty handed; marked and given back."""
    put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, "t01")))
    put_in_inbox(assigned_term, sheet_of(issue_of(assigned_term, "t02"), {"m01.mark_arc.arc": "1"}))
    collect.collect(assigned_term, received_at=WHEN)
    mark_class.mark(assigned_term, MODULE)
    return_run.give_back(assigned_term, MODULE, partly=True)
    assert verify.verify(assigned_term).findings == []
    return assigned_term


def change(term, *statements):
    with database.transaction(term) as connection:
        for statement in statements:
            connection.execute(statement)


def swap_ids():
    """The college's ids of t01 and t02, by way of a third: they are unique."""
    return [
        text(f"UPDATE tm_trainee SET college_id = '{new}' WHERE id = '{who}'")
        for who, new in (("t01", "x"), ("t02", "T01"), ("t01", "T02"))
    ]


CHANGES = {
    "an objective met": (lambda: [update(ANSWER).where(ANSWER.c.trainee == "t02").values(verdict="right", hundredths=ANSWER.c.most)], "not what marking again gives"),
    "an answer row gone": (lambda: [delete(ANSWER).where(ANSWER.c.trainee == "t02", ANSWER.c.part == "m01.mark_arc.arc")], "not what marking again gives"),
    "college ids swapped": (swap_ids, "the ledger says enrolled, T01"),
    "withdrawn by hand": (lambda: [text("UPDATE tm_trainee SET status = 'withdrawn' WHERE id = 't03'")], "the ledger says enrolled"),
    "penalty": (lambda: [update(MARK).where(MARK.c.trainee == "t01").values(penalty=100)], "the penalty in hundredths is 100"),
    "late days": (lambda: [update(MARK).where(MARK.c.trainee == "t01").values(late_days=3)], "days late is 3"),
    "received": (lambda: [update(HAND_IN).where(HAND_IN.c.trainee == "t01").values(received_at="2026-03-29T12:00:00.000Z")], "by the ledger"),
    "a hand-in forgotten": (lambda: [delete(HAND_IN).where(HAND_IN.c.trainee == "t02"), delete(MARK).where(MARK.c.trainee == "t02")], "never by the records"),
    "due": (lambda: [update(ISSUE).where(ISSUE.c.trainee == "t01").values(due="2027-03-31T16:00:00.000Z")], "by the issue or ledger"),
    "ledger cut": (lambda: [delete(LEDGER).where(LEDGER.c.seq > 3)], "this ledger ends before it"),
}  # fmt: skip


@pytest.mark.parametrize("name", CHANGES)
def test_a_change_in_the_database_is_named(marked, name):
    statements, words = CHANGES[name]
    change(marked, *statements())
    findings = verify.verify(marked).findings
    assert any(words in finding for finding in findings), findings


def rebuild(term):
    """Write the whole chain anew with the same words and other salts, as somebody with the database could."""
    with database.transaction(term) as connection:
        rows = [(row.event, row.payload) for row in connection.execute(select(LEDGER).order_by(LEDGER.c.seq))]
        connection.execute(delete(LEDGER))
        for event, payload in rows:
            ledger.append(connection, [ledger.Entry(event, reason="rebuilt")])
            last = connection.execute(select(LEDGER).order_by(LEDGER.c.seq.desc()).limit(1)).one()
            digest = ledger._digest(last.salt, payload)
            row_hash = ledger._hash(last.seq, last.at, event, digest, last.previous)
            values = {"payload": payload, "digest": digest, "hash": row_hash}
            connection.execute(update(LEDGER).where(LEDGER.c.seq == last.seq).values(**values))


def test_a_ledger_written_anew_is_known_by_who_saw_the_old_one(marked):
    """The chain fits in itself; the next command does not forget what was seen either."""
    rebuild(marked)
    (finding,) = verify.verify(marked).findings
    assert "another one in its place" in finding
    mark_class.mark(marked, MODULE, reason="again")
    assert finding in verify.verify(marked).findings


def test_an_older_database_over_a_newer_folder(assigned_term):
    old = assigned_term.folder.parent / "old.db"
    shutil.copy(assigned_term.folder / "gradebook.db", old)
    put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, "t01")))
    collect.collect(assigned_term, received_at=WHEN)
    shutil.copy(old, assigned_term.folder / "gradebook.db")
    head.path_of(assigned_term).unlink()  # on another machine too
    (finding,) = verify.verify(assigned_term).findings
    assert "1 kept hand-ins are not in the records" in finding and "'collect inbox/taken'" in finding
    collect.collect(assigned_term, [assigned_term.folder / "inbox" / "taken"], received_at=WHEN)
    assert verify.verify(assigned_term).findings == []


def test_a_returned_page_that_was_altered(marked):
    page = return_run.returned_path(marked, "t02", MODULE, 1)
    page.write_bytes(page.read_bytes() + b"<!-- 30 of 30 -->")
    (finding,) = verify.verify(marked).findings
    assert str(finding).startswith(f"returned/t02/{MODULE}.html: ") and "returned last" in finding
    return_run.give_back(marked, MODULE, partly=True)
    assert verify.verify(marked).findings == []


def test_marking_again_puts_an_answer_right(marked):
    """The mark is the same, so no reason is asked; the answers are written as they are judged."""
    change(marked, *CHANGES["an objective met"][0]())
    mark_class.mark(marked, MODULE)
    assert verify.verify(marked).findings == []
    assert mark_class.mark(marked, MODULE).unchanged == 2


def test_what_was_seen_is_private_and_verify_writes_nothing(marked):
    seen = head.path_of(marked)
    assert seen.stat().st_mode & 0o777 == 0o600 and not seen.is_relative_to(marked.folder)
    copy = marked.folder.parent / "copy"
    shutil.copytree(marked.folder, copy)
    before = state(copy), seen.read_bytes()
    for folder, _, _ in os.walk(copy):
        os.chmod(folder, 0o500)
    assert verify.verify(terms.open_term(copy)).findings == []
    assert (state(copy), seen.read_bytes()) == before


def test_a_pass_mark_changed_in_the_settings(marked):
    """Whoever lowers it says why, once; until then everybody who proves the term is told."""
    path = marked.folder / "term.toml"
    path.write_text(path.read_text("utf-8").replace("pass_percent = 60", "pass_percent = 40"), encoding="utf-8")
    changed = terms.open_term(marked.folder)
    (finding,) = verify.verify(changed).findings
    assert "term.toml says pass_percent 40, and the ledger notes 60 last" in finding
    policy_in_force.note_settings([changed], reason="the awarding body lowered it")
    assert verify.verify(changed).findings == []
    with pytest.raises(Refused, match="need a reason"):
        policy_in_force.note_settings([changed], reason=" ")


def test_the_drill_of_the_guide(marked):
    """A copy proves itself; put back in the place of a damaged folder, the term goes on from it."""
    safe = marked.folder.parent / "safe"
    shutil.copytree(marked.folder, safe)
    assert verify.verify(terms.open_term(safe)).findings == []
    put_in_inbox(marked, right_sheet(issue_of(marked, "t03")))
    collect.collect(marked, received_at=WHEN)
    shutil.move(marked.folder, marked.folder.parent / "damaged")
    shutil.copytree(safe, marked.folder)
    back = terms.open_term(marked.folder)
    (finding,) = verify.verify(back).findings
    assert "older copy was put back" in finding and str(head.path_of(back)) in finding
    collect.collect(back, [marked.folder.parent / "damaged" / "inbox"], received_at=WHEN)
    head.path_of(back).unlink()
    assert verify.verify(back).findings == []
    mark_class.mark(back, MODULE)
    assert verify.verify(back).findings == [] and head.path_of(back).exists()
