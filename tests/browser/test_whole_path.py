"""One trainee's path: the zip from the instructor, the lesson, the hand-in, the mark in the gradebook."""

import shutil

import pytest
from sqlalchemy import select

from grader import catalogue
from grader.course.grading import mark_class
from grader.course.issue import assign
from grader.course.submissions import collect
from grader.exercise import hand_in
from grader.records import database, schema
from grader.records.gradebook import setup
from grader.records.term import roster
from tests.browser.conftest import MODULE, field, part, until

RIGHT, SLIP, WORDS = "m01.mark_arc.arc", "m01.angle_time.time", "m01.fast_idle.initial"


@pytest.fixture
def term(tmp_path):
    made = setup.new_term(tmp_path / "term", term_id="evening", title="Evening class", zone="Europe/Lisbon")
    class_list = tmp_path / "class.csv"
    class_list.write_text("id,last_name,first_name\nt01,Moor,Ada\n", encoding="utf-8")
    roster.import_list(made, class_list)
    assign.assign(made, MODULE)
    return made


@pytest.mark.parametrize("button", ["Hand in", "Sheet to print"])
def test_kernel_killed_under_the_click(term, house, page, button):
    """The page runs the lesson again and asks again: nobody goes home with work that is not handed in."""
    lesson = house.handout(term.folder / "out" / "t01" / f"{MODULE}.zip")
    lesson.show(page)
    field(page, RIGHT).fill("12")
    until(page, lambda: lesson.answers.get(RIGHT) == "12")
    page.wait_for_timeout(600)
    before = set(lesson.folder.iterdir())
    (kernel,) = house.kernels()
    kernel.suspend()
    page.get_by_role("button", name=button).click()
    page.wait_for_timeout(200)
    kernel.kill()
    until(page, lambda: page.locator(".tm-top .tm-message a[download]").count() == 1, 40)
    made = [path.name for path in set(lesson.folder.iterdir()) - before if path.suffix in (".zip", ".html")]
    assert len(made) == 1, made
    until(page, lambda: page.locator("#tm-bar").inner_text() == "")


def test_from_the_zip_to_the_mark(term, house, page):
    """Typed on the page, marked in the term: the right answer, the slip and the words keep their verdicts."""
    lesson = house.handout(term.folder / "out" / "t01" / f"{MODULE}.zip")
    lesson.show(page)
    top = page.locator(".tm-top")
    assert "Assessed" in top.inner_text() and "t01" in top.inner_text()
    assert page.get_by_role("button", name="Check").count() == 0, "assessed work shows no verdicts"
    answers = {
        RIGHT: f"{lesson.truth().answer(RIGHT):.1f}".replace(".", ","),
        SLIP: f"{lesson.slip(SLIP, 'distributor-speed')[0]:.2f}",
        WORDS: "too late I think",
    }
    for path, text in answers.items():
        field(page, path).fill(text)
        until(page, lambda path=path, text=text: lesson.answers.get(path) == text)
        assert part(page, path).locator(".tm-verdict").inner_text().strip() == ""
    until(page, lambda: f"3 of {len(catalogue.module(MODULE).parts())} done" in top.inner_text())
    page.get_by_role("button", name="Hand in").click()
    packed = lesson.folder / hand_in.zip_name(lesson.store.issue)
    until(page, packed.is_file)
    until(page, lambda: "receipt" in top.inner_text())
    with page.expect_download() as download:
        top.get_by_role("link", name="Download it").click()
    assert download.value.path().read_bytes() == packed.read_bytes()

    inbox = term.folder / "inbox" / "t01"
    inbox.mkdir(parents=True, exist_ok=True)
    shutil.copy(packed, inbox)
    assert collect.collect(term).taken == 1
    assert mark_class.mark(term, MODULE).marked == 1
    with database.transaction(term) as connection:
        rows = {row.part: row for row in connection.execute(select(schema.answer))}
        (mark,) = connection.execute(select(schema.mark)).all()
    assert {path: rows[path].raw for path in answers} == answers
    assert rows[RIGHT].verdict == "right" and rows[RIGHT].hundredths == rows[RIGHT].most > 0
    assert rows[SLIP].slip == "distributor-speed" and rows[SLIP].hundredths == 0
    assert rows[WORDS].verdict == "unreadable" and rows[WORDS].hundredths == 0
    assert mark.mark == rows[RIGHT].hundredths
