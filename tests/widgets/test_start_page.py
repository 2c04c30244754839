"""The start page: every lesson and how it stands, from what lies in the trainee's own folder."""

import json
import re

import pytest

from grader import catalogue, clock
from grader.errors import BadFile, Refused, Unknown
from grader.exercise import hand_in, issued
from grader.widgets import own_work, start_page, study
from grader.widgets.answer_store import Store
from tests.widgets.conftest import issue_of

M01, M02 = catalogue.module("m01_timing"), catalogue.module("m02_dwell")


def put(root, module, **conditions):
    """Issued work of a lesson, as its zip would bring it."""
    folder = root / module.key
    folder.mkdir(parents=True)
    (folder / issued.NAME).write_bytes(issued.dump(issue_of(module, **conditions)))
    (folder / f"{module.key}.ipynb").write_text("{}")
    return folder


def sheet(path, **changes):
    record = {"format": own_work.RETURNED_FORMAT, "term": "spring", "trainee": "t07", "module": "m01_timing",
              "attempt": 1, "handed_in": "2026-01-02T10:00:00.000Z", "mark": "24.5", "most": "30",
              "outcome": "82 %: passed", "earned": {"m01.racing": [0, 100]}, **changes}  # fmt: skip
    text = json.dumps(record).replace("&", "&amp;").replace('"', "&#34;")
    path.write_text(f'<article data-returned="{text}">')
    return path


def plain(page):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


def test_all_lessons_stand_there_with_one_link_each_and_the_first_is_to_be_begun(tmp_path):
    ready = study.make_start_ready(folder=tmp_path)
    page = start_page.page(ready.root)
    for module in catalogue.all_modules().values():
        assert f'href="practice/{module.key}/{module.key}.ipynb"' in page and module.title in page
        assert (ready.root / "practice" / module.key / f"{module.key}.ipynb").is_file()
    assert "Begin “Ignition timing”" in plain(page)


def test_due_handed_in_changed_and_returned_are_told_with_the_marks(tmp_path):
    root = tmp_path / "t07"
    folder = put(root, M01, due="2026-01-01T16:00:00.000Z")
    study.make_start_ready(folder=tmp_path, name="t07")
    page = plain(start_page.page(root))
    assert f"Due {clock.shown(clock.from_text('2026-01-01T16:00:00.000Z'), 'Europe/Lisbon')}." in page
    assert "This time has passed." in page and "Hand in “Ignition timing”" in page
    store = Store(M01, folder)
    store.put("m01.mark_arc.arc", "12", "mm")
    hand_in.write(folder, store.issue)
    page = plain(start_page.page(root))
    assert "Not returned yet." in page and "Hand in “" not in page and f"1 of {len(list(M01.parts()))} answered" in page
    store.put("m01.mark_arc.arc", "13", "mm")
    assert "You changed answers since: hand in again." in plain(start_page.page(root))
    sheet(root / "sheet.html")
    page = start_page.page(root)
    assert "Returned: 24.5 of 30 marks , 82 %: passed." in plain(page) and 'href="../../files/sheet.html"' in page
    assert "Practise “It races when the throttle is let go”" in plain(page)
    assert f'href="m01_timing/{M01.key}.ipynb"' in page and f'href="practice/m01_timing/{M01.key}.ipynb"' in page


def test_reading_it_writes_nothing(tmp_path):
    root = tmp_path / "t07"
    put(root, M02)
    study.make_start_ready(folder=tmp_path, name="t07")
    before = {path: path.read_bytes() for path in root.rglob("*") if path.is_file()}
    start_page.page(root)
    assert {path: path.read_bytes() for path in root.rglob("*") if path.is_file()} == before


def test_spoilt_files_are_named_or_passed_over_and_the_page_stands(tmp_path):
    root = study.make_start_ready(folder=tmp_path).root
    (root / "practice" / M01.key / "practice.json").write_text("{")
    (root / "practice" / M02.key / "answers.json").write_bytes(b"\xff\x00")
    (root / "broken.html").write_text('<article data-returned="{&#34;format&#34;: 1">')
    page = plain(start_page.page(root))
    assert page.count("Practice.") == len(catalogue.all_modules()) and "practice file" in page


def test_a_hand_out_still_finds_its_place_after_the_start_page(tmp_path):
    """The start page puts practice beside the place of issued work, not into it."""
    root = study.make_start_ready(folder=tmp_path, name="t07").root
    assert not (root / M01.key).exists()
    assert study.make_ready(M01.key, folder=tmp_path, name="t07").notebook.parent == root / "practice" / M01.key


def test_where_several_work_it_asks_whose_page(tmp_path):
    study.make_start_ready(folder=tmp_path, name="Ada")
    assert study.make_start_ready(folder=tmp_path).root == tmp_path / "ada", "the only one"
    study.make_start_ready(folder=tmp_path, name="Ben")
    with pytest.raises(Refused, match="ada, ben"):
        study.make_start_ready(folder=tmp_path)


def test_a_returned_sheet_is_taken_into_the_folder_of_whom_it_belongs_to(tmp_path):
    page = sheet(tmp_path / "from-mail.html")
    ready = study.take_returned(page, folder=tmp_path / "work")
    assert ready.root.name == "t07" and "24.5 of 30" in plain(start_page.page(ready.root))
    with pytest.raises(Unknown, match="no file"):
        study.take_returned(tmp_path / "none.html", folder=tmp_path / "work")
    page.write_text("<p>A page of something else")
    with pytest.raises(BadFile, match="no returned sheet"):
        study.take_returned(page, folder=tmp_path / "work")


def test_the_lesson_leads_back_to_it(tmp_path, opened):
    root = study.make_start_ready(folder=tmp_path).root
    assert 'href="../../start.ipynb"' in opened(root / "practice" / M01.key).head.who.value
