"""Handing in: one zip, a receipt, and the instructor's side takes it."""

import hashlib
import json
import zipfile
from datetime import timedelta

from sqlalchemy import select

from grader import clock
from grader.course.grading import mark_class
from grader.course.issue import assign
from grader.course.submissions import collect
from grader.exercise import hand_in, issued
from grader.exercise.kinds import Written
from grader.exercise.model import Number
from grader.records import database, schema
from grader.records.gradebook import setup
from grader.records.term import roster


def test_zip_holds_answers_numbers_and_receipt(assessed_folder, opened):
    page = opened(assessed_folder)
    page.part("mark_arc.arc").field.value = "12"
    page.head.hand_in.click()
    (path,) = assessed_folder.glob("*.zip")
    content = (assessed_folder / "answers.json").read_bytes()
    with zipfile.ZipFile(path) as packed:
        assert sorted(packed.namelist()) == [f"m01_timing/{n}" for n in ("answers.json", "issued.json", "receipt.json")]
        assert packed.read("m01_timing/answers.json") == content
        assert issued.parse(packed.read("m01_timing/issued.json")) == page.store.issue
        receipt = json.loads(packed.read("m01_timing/receipt.json"))
    digest = hashlib.sha256(content).hexdigest()
    assert receipt["sha256"] == digest and receipt["short"].replace(" ", "") == digest[:12]
    assert receipt["short"] in page.head.message.value and str(path) in page.head.message.value
    count = len(page.lesson.module.parts())
    assert f"{count - 1} of {count} answers are still blank" in page.head.message.value
    assert f"receipt {receipt['short']}" in page.head.who.value


def test_change_after_hand_in_is_told(assessed_folder, opened):
    page = opened(assessed_folder)
    page.part("mark_arc.arc").field.value = "12"
    page.head.hand_in.click()
    assert "hand in again" not in page.head.who.value
    page.part("mark_arc.arc").field.value = "13"
    assert "hand in again" in opened(assessed_folder).head.who.value
    page = opened(assessed_folder)
    page.head.hand_in.click()
    assert "hand in again" not in page.head.who.value


def test_nothing_answered_is_not_handed_in(assessed_folder, opened):
    page = opened(assessed_folder)
    page.head.hand_in.click()
    assert "Nothing is answered yet" in page.head.message.value and not list(assessed_folder.glob("*.zip"))
    page.part("mark_arc.arc").field.value = "1"
    page.part("mark_arc.arc").field.value = ""
    page.head.hand_in.click()
    assert "Nothing is answered yet" in page.head.message.value and not list(assessed_folder.glob("*.zip"))


def test_disk_that_refuses_is_told(assessed_folder, opened, monkeypatch):
    from grader.errors import CannotWrite

    page = opened(assessed_folder)
    page.part("mark_arc.arc").field.value = "12"

    def full(path, *_, **__):
        raise CannotWrite(f"{path} could not be written: no space left.")

    monkeypatch.setattr("grader.files.write_bytes", full)
    page.head.hand_in.click()
    assert "no space left" in page.head.message.value and "receipt" not in page.head.who.value


def test_own_practice_offers_no_hand_in(practice_folder, opened):
    page = opened(practice_folder)
    assert page.head.hand_in not in page.head.buttons.children


def test_path_in_place_of_an_id_leads_nowhere(module):
    from tests.widgets.conftest import issue_of

    assert hand_in.zip_name(issue_of(module, trainee="../../x")) == "hand-in-m01_timing-------x-1.zip"


def test_from_hand_out_to_the_mark(tmp_path, opened):
    """What the trainee's page writes, the instructor's commands take and mark."""
    term = setup.new_term(tmp_path / "term", term_id="spring", title="Spring class", zone="Europe/Lisbon")
    listed = term.folder / "rosters" / "list.csv"
    listed.write_text("id,last_name,first_name\nt07,Marek,Ana\n", encoding="utf-8")
    roster.import_list(term, listed)
    due = f"{clock.now() + timedelta(days=30):%Y-%m-%d} 17:00"  # years far from the term's are refused
    assign.assign(term, "m01_timing", due=due)
    work = tmp_path / "work"
    with zipfile.ZipFile(term.folder / "out" / "t07" / "m01_timing.zip") as packed:
        packed.extractall(work)
    page = opened(work / "m01_timing")
    assert "t07" in page.head.who.value and f"{due} Europe/Lisbon" in page.head.who.value
    count = len(page.lesson.module.parts())
    for _, part, path in page.lesson.module.parts():
        right, form = page.truth.answer(path), page.part(path.partition(".")[2])
        text = right if isinstance(part, Written) else part.typed(right, page.truth.given_at(path))
        form.entry.follow(text.replace(".", ",") if isinstance(part, Number) else text, "")
    assert f"{count} of {count} done" in page.head.who.value
    page.head.hand_in.click()
    (handed,) = (work / "m01_timing").glob("*.zip")
    outcome = collect.collect(term, [handed])
    assert (outcome.taken, outcome.findings) == (1, [])
    with database.connected(term) as connection:
        (row,) = connection.execute(select(schema.hand_in)).all()
    assert row.sha256 == hand_in.last(handed.parent, page.store.issue).sha256
    mark_class.mark(term, "m01_timing")
    with database.connected(term) as connection:
        (mark,) = connection.execute(select(schema.mark)).all()
        verdicts = set(connection.execute(select(schema.answer.c.verdict)).scalars())
    assert (mark.mark, mark.pending, mark.most, mark.sha256) == (2800, 200, 3000, row.sha256)
    assert mark.state == "partly marked" and verdicts == {"right", "awaiting"}
