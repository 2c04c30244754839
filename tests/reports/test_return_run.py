"""Returned sheets: what the records hold, for the trainee alone, and never run as script."""

import hashlib
import re

import pytest
from sqlalchemy import delete

from grader import catalogue, clock
from grader.course.audit import deletion, verify
from grader.course.grading import adjust, mark_class, written_answers
from grader.course.submissions import collect
from grader.errors import Refused, Unknown
from grader.exercise import hand_in, issued
from grader.exercise.kinds import Choices, Written
from grader.exercise.model import Choice
from grader.exercise.sorting import Batch, FiringOrder, Order
from grader.exercise.truth import Truth
from grader.records import database, ledger, schema
from grader.reports.feedback import return_run
from grader.widgets import own_work
from tests.modules import proofs
from tests.work import NEXT, issue_of, put_in_inbox, right_answers, right_sheet, sheet_of

KEY = "m01_timing"
HOSTILE = "<script>alert(1)</script><img src=x onerror=alert(2)>\"'</textarea><svg onload=alert(3)>"


def _hand_in(term, sheet, when="2026-03-30 12:00"):
    path = put_in_inbox(term, sheet)
    collect.collect(term, [path.parent], received_at=clock.parse(when, term.settings.zone))


def _page(term, who="t01", attempt=1):
    return return_run.returned_path(term, who, KEY, attempt).read_text(encoding="utf-8")


def record_of_hand_in(term, who):
    with database.transaction(term) as connection:
        return next(row.sha256 for row in connection.execute(schema.hand_in.select()) if row.trainee == who)


def _returned(term):
    with database.transaction(term) as connection:
        return [entry for _, _, entry in ledger.entries(connection, "returned")]


@pytest.fixture
def returned(assigned_term, m01):
    """T01 made the radius slip and worked in hostile text, T02 is late with everything right, T03 did nothing."""
    record = issue_of(assigned_term, "t01")
    answers, truth = right_answers(m01, record), Truth(m01, record.numbers)
    slip = m01.by_path["m01.mark_arc.arc"][1].slips[0]
    answers["m01.mark_arc.arc"] = f"{truth.slip('m01.mark_arc.arc', slip):.1f}"
    answers["m01.angle_time.time"] = HOSTILE
    _hand_in(assigned_term, sheet_of(record, answers))
    _hand_in(assigned_term, right_sheet(issue_of(assigned_term, "t02")), "2026-04-01 12:00")
    mark_class.mark(assigned_term, KEY)
    return assigned_term


def test_a_page_tells_slip_expected_answer_route_and_what_next(returned, m01):
    done = return_run.give_back(returned, KEY)
    assert (done.written, done.unchanged, done.findings) == (2, 0, [])
    assert done.left_out == ["Null, Dov (T03): not handed in."]
    page, record = _page(returned), issue_of(returned, "t01")
    exercise, part = m01.by_path["m01.mark_arc.arc"]
    truth = Truth(m01, record.numbers)
    assert part.slips[0].says in page and "A slip" in page
    assert f"{truth.answer('m01.mark_arc.arc'):.1f} mm (counts as right: " in page
    for line in exercise.route(truth.given(exercise.key)):
        assert line in page
    assert exercise.wording(truth.given(exercise.key)) in page
    receipt = hand_in.short(record_of_hand_in(returned, "t01"))
    assert f"Receipt, as your lesson showed it</dt><dd>{receipt}</dd>" in page
    assert "What to practise next" in page and "timing-mark study m01_timing" in page
    assert "1. Degrees, time and the tape measure" in page, "the lesson's section"
    assert "A resit would cover the objectives not met yet (T1) with fresh numbers: A mark where" in page


def test_the_trainees_own_start_page_reads_the_page(returned, m01):
    return_run.give_back(returned, KEY)
    read = own_work.read_returned(return_run.returned_path(returned, "t01", KEY, 1))
    assert read is not None and (read.trainee, read.module, read.attempt) == ("t01", KEY, 1)
    assert f"<strong>{read.mark}</strong> of {read.most}<span>{read.outcome}</span>" in _page(returned)
    assert read.earned["m01.mark_arc"][0] < read.earned["m01.mark_arc"][1] == 200


def test_every_exercise_and_its_marks_are_there_and_nothing_of_others(returned, m01):
    return_run.give_back(returned, KEY)
    page = _page(returned, "t02")
    assert all(exercise.title in page for exercise in m01.exercises)
    assert "O’Neil, Jr." in page and "day late" in page and "Taken off for being late" in page
    assert "Arundell" not in page and "T01" not in page and "alert(1)" not in page
    with database.transaction(returned) as connection:
        mark = next(row for row in connection.execute(schema.mark.select()) if row.trainee == "t02")
    assert mark.penalty > 0 and f"<strong>{mark.mark / 100:g}</strong> of {mark.most / 100:g}<" in page


def test_the_strip_leads_to_every_exercise_and_says_how_it_went_by_sign_and_word(returned, m01):
    """No colour is needed: each exercise has a sign, a word and its marks, and a link that leads somewhere."""
    return_run.give_back(returned, KEY)
    page = _page(returned)
    strip = page[page.index("<nav") : page.index("</nav>")]
    cells = re.findall(
        r'<li class="(\w+)"><a href="#([\w-]+)"><b>(\d+) <span[^>]*>(.)</span></b> (\w+) <small>([^<]*)', strip
    )
    assert [int(number) for _, _, number, _, _, _ in cells] == list(range(1, len(m01.exercises) + 1))
    signs = {"right": "✓", "partly": "◐", "wrong": "✗", "blank": "–", "waits": "…"}
    for (state, target, _, sign, word, marks), exercise in zip(cells, m01.exercises, strict=True):
        assert f'<section id="{target}">' in page and word == state and sign == signs[state]
        got, _, most = marks.partition(" of ")
        assert most == str(exercise.marks)
        assert state == (
            "right" if got == most else "blank" if not exercise.parts else "partly" if got != "0" else state
        )
    words = {state for state, *_ in cells}
    assert {"right", "wrong", "blank"} <= words, "T01 made a slip, wrote nonsense and left the letter blank"


def test_all_sheets_stand_in_one_file_to_print(returned):
    """Each as on its own page, no address twice, and it goes with every person who is deleted."""
    done = return_run.give_back(returned, KEY, one_file=True)
    text = done.one_file.read_text(encoding="utf-8")
    assert text.count("<article ") == 2 and "Arundell" in text and "O’Neil, Jr." in text
    anchors = re.findall(r' id="([^"]+)"', text)
    assert len(set(anchors)) == len(anchors) > 20 and set(re.findall(r'href="#([^"]+)"', text)) == set(anchors)
    assert return_run.give_back(returned, KEY).one_file is None
    deletion.delete_person(returned, "T02", reason="asked for it")
    assert not done.one_file.exists()


def test_hostile_text_is_shown_and_is_no_markup(returned):
    return_run.give_back(returned, KEY)
    page = _page(returned)
    assert "<script" not in page and "<img" not in page and "<svg" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page and "Could not be read" in page


def test_a_second_run_changes_nothing_and_a_new_mark_replaces_the_page(returned):
    return_run.give_back(returned, KEY)
    first, before = _page(returned), _returned(returned)
    again = return_run.give_back(returned, KEY)
    assert (again.written, again.unchanged) == (0, 2) and _returned(returned) == before
    adjust.override(returned, "t01", KEY, "mark_arc", "2", reason="misprint in the hand-out")
    third = return_run.give_back(returned, KEY)
    assert (third.written, third.replaced, third.unchanged) == (1, 1, 1)
    last = _returned(returned)[-1]
    digest = hashlib.sha256(first.encode()).hexdigest()
    assert last["old"] == digest and last["sha256"] == hashlib.sha256(_page(returned).encode()).hexdigest() != digest
    assert (last["trainee"], last["module"], last["attempt"]) == ("t01", KEY, 1) and "place" in last["reason"]
    assert "Your instructor set the marks of this exercise to 2." in _page(returned)
    assert "misprint" not in _page(returned), "the reason stands in the ledger, for the instructor"


def test_a_page_lost_or_changed_in_the_folder_is_written_again(returned):
    return_run.give_back(returned, KEY)
    path, before = return_run.returned_path(returned, "t01", KEY, 1), len(_returned(returned))
    content = path.read_bytes()
    path.write_bytes(content + b"<p>17 marks</p>")
    return_run.returned_path(returned, "t02", KEY, 1).unlink()
    assert return_run.give_back(returned, KEY).written == 2
    assert path.read_bytes() == content and len(_returned(returned)) == before


def test_the_term_still_proves(returned):
    return_run.give_back(returned, KEY)
    assert verify.verify(returned).findings == []


def test_one_trainee_alone(returned):
    assert return_run.give_back(returned, KEY, trainee="T02").written == 1
    assert not return_run.returned_path(returned, "t01", KEY, 1).exists()
    with pytest.raises(Unknown):
        return_run.give_back(returned, KEY, trainee="nobody")


def test_extended_and_excused_people_are_named_and_left_out(returned):
    adjust.extend(returned, "t01", KEY, until=f"{NEXT}-01-01", reason="ill")
    adjust.excuse(returned, "t02", KEY, reason="did it elsewhere")
    done = return_run.give_back(returned, KEY)
    assert done.written == 0 and len(done.left_out) == 3
    assert f"extended until {NEXT}-01-01" in done.left_out[0] and "excused" in done.left_out[2]


def test_each_attempt_has_its_own_page_and_its_own_due_time(returned, m01):
    """A second issue, made as the first ones are; its sheet stays back while its due time runs."""
    return_run.give_back(returned, KEY)
    first = _page(returned)
    with database.transaction(returned) as connection:
        record = issued.make(m01, key=returned.key, term=returned.id, trainee="t01", attempt=2, mode="assessed",
                             due=f"{NEXT}-01-01T12:00:00.000Z", zone="Europe/Lisbon", numbers=proofs.draws(m01, 1)[0])  # fmt: skip
        connection.execute(schema.issue.insert().values(
            trainee="t01", module=KEY, attempt=2, issued_at="2026-04-05T12:00:00.000Z", due=record.due,
            record=issued.dump(record).decode()))  # fmt: skip
    _hand_in(returned, right_sheet(issue_of(returned, "t01", attempt=2)), "2026-04-10 12:00")
    mark_class.mark(returned, KEY)
    done = return_run.give_back(returned, KEY, trainee="t01")
    assert (done.written, done.unchanged) == (0, 1) and not return_run.returned_path(returned, "t01", KEY, 2).exists()
    assert f"attempt 2: marked, may hand in until {NEXT}-01-01" in done.left_out[0]
    with database.transaction(returned) as connection:
        connection.execute(
            schema.issue.update().where(schema.issue.c.attempt == 2).values(due="2026-04-12T12:00:00.000Z")
        )
    assert return_run.give_back(returned, KEY, trainee="t01").written == 1
    assert _page(returned) == first and "number 2" in _page(returned, attempt=2)
    assert return_run.returned_path(returned, "t01", KEY, 2).name == "m01_timing-attempt-2.html"


def test_a_written_answer_waits_unless_partly_is_said(assigned_term, m01):
    record = issue_of(assigned_term, "t01")
    letter = "The weights were out already. " + HOSTILE
    _hand_in(assigned_term, sheet_of(record, {**right_answers(m01, record), "m01.letter.text": letter}))
    mark_class.mark(assigned_term, KEY)
    done = return_run.give_back(assigned_term, KEY)
    assert done.written == 0 and "--partly" in done.left_out[0]
    assert return_run.give_back(assigned_term, KEY, partly=True).written == 1
    page = _page(assigned_term)
    assert "Waits for your instructor" in page and "so far" in page and "<script" not in page
    part = m01.by_path["m01.letter.text"][1]
    assert part.rubric[0][0] in page
    assert part.answer(Truth(m01, record.numbers).given("m01.letter"))[:60] not in page, "the model answer stays away"


def test_points_and_comment_of_a_read_answer_are_shown(assigned_term, m01):
    record = issue_of(assigned_term, "t01")
    _hand_in(assigned_term, sheet_of(record, {**right_answers(m01, record), "m01.letter.text": "Too fast an idle."}))
    mark_class.mark(assigned_term, KEY)
    (answer,) = written_answers.answers(assigned_term, KEY)
    written_answers.give(assigned_term, KEY, answer.code, ["1", "0,5"], f"Plain enough.\n{HOSTILE}")
    assert return_run.give_back(assigned_term, KEY).written == 1
    page = _page(assigned_term)
    rubric = m01.by_path["m01.letter.text"][1].rubric
    assert f"<dt>1 of 1</dt><dd>{rubric[0][0]}" in page and f"<dt>0.5 of 1</dt><dd>{rubric[1][0]}" in page
    assert "Plain enough.<br>&lt;script&gt;" in page and "<script" not in page and "Read by your instructor" in page
    assert "Waits for your instructor" not in page


def test_what_was_not_assigned_is_refused(returned):
    with pytest.raises(Refused, match="not assigned"):
        return_run.give_back(returned, "m02_dwell")


def test_deleting_a_person_takes_the_pages_too(returned):
    return_run.give_back(returned, KEY)
    done = deletion.delete_person(returned, "T02", reason="asked for it")
    assert (
        not (returned.folder / "returned" / "t02").exists()
        and return_run.returned_path(returned, "t01", KEY, 1).exists()
    )
    assert done.findings == []
    assert {entry["trainee"] for entry in _returned(returned)} == {"t01"}
    assert verify.verify(returned).findings == []


def test_a_run_cut_short_before_the_ledger_is_finished_by_the_next(returned):
    return_run.give_back(returned, KEY)
    with database.transaction(returned) as connection:
        connection.execute(delete(schema.ledger).where(schema.ledger.c.event == "returned"))
    assert return_run.give_back(returned, KEY).written == 2 and len(_returned(returned)) == 2


@pytest.mark.parametrize("key", sorted(catalogue.all_modules()))
def test_every_module_and_kind_can_be_returned(demo_term, key):
    """Blank sheets and sheets with the right answers, over all kinds of answer that the modules use."""
    from grader.course.issue import assign

    if key != KEY:
        assign.assign(demo_term, key, due="2026-03-31 17:00")
        module = catalogue.module(key)
        for who, typed in (("q0101", right_answers(module, issue_of(demo_term, "q0101", key))), ("q0102", {})):
            _hand_in(demo_term, sheet_of(issue_of(demo_term, who, key), typed))
        mark_class.mark(demo_term, key)
    done = return_run.give_back(demo_term, key, partly=True)
    assert done.written + done.unchanged >= 2 and done.findings == []
    page = return_run.returned_path(demo_term, "q0101", key, 1).read_text(encoding="utf-8")
    module = catalogue.module(key)
    kinds = {type(part) for _, part, _ in module.parts()} & {Choice, Choices, Order, Batch, FiringOrder, Written}
    assert kinds and "You chose" in page and page.count("<section id=") == len(module.exercises)
