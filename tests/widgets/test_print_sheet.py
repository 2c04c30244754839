"""The printable sheet: the trainee's own questions and answers, readable anywhere, safe with any text."""

from html.parser import HTMLParser

import pytest

from grader.widgets import print_sheet

HOSTILE = "<script>alert(1)</script>\"'&<img src=x onerror=y>"


class Page(HTMLParser):
    """Tags with their attributes, and the text."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.text = [], []
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        self.tags.append((tag, dict(attributes)))

    def handle_data(self, data):
        self.text.append(data)

    @property
    def words(self):
        return " ".join("".join(self.text).split())


@pytest.fixture
def sheet(practice_folder, opened):
    page = opened(practice_folder)
    page.part("mark_arc.arc").field.value = "12,5"
    page.part("angle_time.time").field.value = HOSTILE
    page.part("line_test.finding").field.value = "seized"
    page.head.print.click()
    return page, (practice_folder / "m01_timing-sheet.html").read_text(encoding="utf-8")


def test_holds_questions_and_answers(sheet):
    page, text = sheet
    words = Page(text).words
    numbers = page.store.issue.numbers["m01.mark_arc"]
    assert f"pulley of {numbers['diameter_mm']} mm" in words and "12,5 mm" in words
    assert "The plate or its link is seized; the diaphragm is tight." in words
    assert "(blank)" in words and "Ana" in words


def test_hostile_text_stays_text(sheet):
    _, text = sheet
    found = Page(text)
    assert not {"script", "img"} & {tag for tag, _ in found.tags}
    assert not [name for _, attributes in found.tags for name in attributes if name.startswith("on")]
    assert " ".join(HOSTILE.split()) in found.words


def test_hostile_names_stay_text(practice_folder, opened):
    page = opened(practice_folder)
    text = print_sheet.build(page.lesson.module, page.store.issue, page.store.sheet, HOSTILE)
    assert "<script" not in text and "<img" not in text


def test_reads_well_for_a_screen_reader_and_offline(sheet):
    _, text = sheet
    found = Page(text)
    assert ("html", {"lang": "en"}) in found.tags
    assert [tag for tag, _ in found.tags].count("title") == 1 and "Ignition timing: questions" in found.words
    heads = [attributes for tag, attributes in found.tags if tag == "th"]
    assert heads and all(attributes.get("scope") in ("row", "col") for attributes in heads)
    assert not [a for _, attributes in found.tags for a in attributes if a in ("src", "href")]
    assert [tag for tag, _ in found.tags].count("caption") == [tag for tag, _ in found.tags].count("table")


def test_link_carries_the_sheet(sheet):
    page, _ = sheet
    assert 'download="m01_timing-sheet.html"' in page.head.message.value


def test_sheet_of_issued_numbers_says_whose_and_until_when(assessed_folder, opened):
    page = opened(assessed_folder)
    page.head.print.click()
    words = Page((assessed_folder / "m01_timing-sheet.html").read_text(encoding="utf-8")).words
    for piece in ("t07", "assessed, attempt 1", "spring", "2031-03-31 17:00 Europe/Lisbon", "nothing saved yet"):
        assert piece in words


def test_odd_time_in_the_answer_file_does_no_harm(practice_folder, opened):

    page = opened(practice_folder)
    text = print_sheet.build(page.lesson.module, page.store.issue, page.store.sheet.but(saved="yesterday"), "")
    assert "yesterday" in text
