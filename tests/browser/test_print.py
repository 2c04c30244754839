"""Every page on paper, A4 and US Letter upright: no letter beyond the edge, no heading alone, no page all but empty."""

import re
import shutil
from dataclasses import dataclass

import pypdfium2
import pytest

from grader import catalogue
from grader.course.grading import mark_class
from grader.course.issue import assign, channels
from grader.course.submissions import collect
from grader.records import database, schema
from grader.records.term import term as terms
from grader.reports.export.pages import evidence, moderation, programme_report, vehicle_sheet
from grader.reports.feedback import class_report, return_run
from tests.course.vehicles import stored
from tests.work import issue_of, put_in_inbox, sheet_of

PAPER = {"A4": (595, 842), "Letter": (612, 792)}  # points
EDGE = 28  # points; a printer that leaves 10 mm white shows everything inside
NAMES = ("returned", "returned-m02_dwell", "returned-m03_heat_range", "returned-m04_plug_testing", "returned-m05_secondary", "returned-m06_diagnosis", "class", "programme",
         "evidence", "moderation", "moderated", "vehicle", *(f"paper-{key}" for key in catalogue.all_modules()))  # fmt: skip
# Elements whose own words do not fit into them while the rest is not shown, as it would be on paper.
CLIPPED = """() => [...document.querySelectorAll("body *")].filter(node => {
    const look = getComputedStyle(node);
    return look.overflowX !== "visible" && node.scrollWidth > node.clientWidth + 1;
}).map(node => node.outerHTML.slice(0, 120))"""


@dataclass
class Sheet:
    """One printed page: its words, the boxes of its letters, and how far down it is filled, 0 to 1."""

    text: str
    boxes: list
    filled: float
    size: tuple


@pytest.fixture(scope="module")
def pages(demo, tmp_path_factory):
    """One page of each kind, by name."""
    folder = tmp_path_factory.mktemp("print") / "term"
    shutil.copytree(demo.term.folder, folder)
    term = terms.open_term(folder)
    found = {"returned": folder / "returned" / "q0104" / "m01_timing.html"}
    for key in catalogue.all_modules():
        if key != "m01_timing":
            assign.assign(term, key, due="2026-03-31 17:00")
            module, record = catalogue.module(key), issue_of(term, "q0104", key)
            wrong = {path: "1" for _, _, path in module.parts()}  # the most is said of a sheet that is all wrong
            put_in_inbox(term, sheet_of(record, wrong))
            found[f"returned-{key}"] = folder / "returned" / "q0104" / f"{key}.html"
        channels.print_sheets(term, key, trainees=("q0104",))
        found[f"paper-{key}"] = folder / "out" / "q0104" / f"{key}.html"
    collect.collect(term)
    for key in catalogue.all_modules():
        if key != "m01_timing":
            mark_class.mark(term, key)
            return_run.give_back(term, key, partly=True)
    found["class"] = class_report.write([term], "m01_timing")[0]
    found["programme"] = programme_report.write([term], centre="Quayside workshop")
    found["evidence"] = evidence.write([term], trainee="q0104")[0]
    pack, _ = moderation.write([term], "m01_timing")
    shutil.unpack_archive(pack, folder / "pack")
    found["moderation"] = folder / "pack" / "index.html"
    found["moderated"] = sorted((folder / "pack" / "sheets").glob("*.html"))[0]
    found["vehicle"] = vehicle_sheet.write(term, [stored(term, "hall-engine")])
    return term, found


def printed(browser, path, paper):
    """The pages as the browser prints them."""
    page = browser.new_page()
    try:
        page.goto(path.as_uri())
        page.emulate_media(media="print")
        assert page.evaluate(CLIPPED) == []
        content = page.pdf(format=paper, prefer_css_page_size=True, margin=None)
    finally:
        page.close()
    with pypdfium2.PdfDocument(content) as book:
        return [_sheet(leaf) for leaf in book]


def _sheet(leaf):
    words = leaf.get_textpage()
    boxes = [words.get_charbox(n) for n in range(words.count_chars()) if words.get_text_range(n, 1).strip()]
    height = leaf.get_height()
    # The foot of a page, below the margin, fills nothing.
    lowest = min((box[1] for box in boxes if box[1] > 1.5 * EDGE), default=height)
    return Sheet(words.get_text_range(), boxes, 1 - lowest / height, leaf.get_size())


@pytest.mark.parametrize("paper", PAPER)
@pytest.mark.parametrize("name", NAMES)
def test_a_page_fits_its_paper(browser, pages, name, paper):
    sheets = printed(browser, pages[1][name], paper)
    for number, sheet in enumerate(sheets, start=1):
        assert sheet.size == pytest.approx(PAPER[paper], abs=2), "upright, and nothing asks for other paper"
        across = PAPER[paper][0]
        beyond = [box for box in sheet.boxes if box[0] < EDGE or box[2] > across - EDGE or box[1] < EDGE / 2]
        assert not beyond, f"page {number}: letters beyond the edge at {beyond[:3]}"
        if number < len(sheets):
            assert sheet.filled > 1 / 3, f"page {number} is two-thirds empty: {sheet.text[:200]!r}"


@pytest.mark.parametrize("paper", PAPER)
@pytest.mark.parametrize("name", [name for name in NAMES if name.startswith("returned")])
def test_a_returned_sheet_has_at_most_five_pages(browser, pages, name, paper):
    """Wrong throughout, which is the longest, in the widest letters that a machine is likely to have."""
    sheets = printed(browser, pages[1][name], paper)
    assert len(sheets) <= 5
    assert re.fullmatch(r"[\d.]+ of \d+", sheets[0].text.splitlines()[0].strip()), "the mark first"


@pytest.mark.parametrize("paper", PAPER)
def test_the_table_of_marks_keeps_mark_and_result(browser, pages, paper):
    """The last columns were cut off on A4; each trainee's mark and result stand on the paper."""
    term, found = pages
    text = "\n".join(sheet.text for sheet in printed(browser, found["class"], paper))
    table = text[text.index("exercises by their number") :]
    with database.transaction(term) as connection:
        marks = connection.execute(schema.mark.select().where(schema.mark.c.module == "m01_timing")).all()
    results = table.count("passed") + table.count("sit again")
    assert results >= len(marks) == 22 and "mark result" in " ".join(table.split())


def test_a_heading_stays_with_what_it_heads(browser, pages):
    """No page of any kind ends with a heading or the caption of a table."""
    for name in ("class", "programme", "evidence", "moderated", "returned"):
        page = browser.new_page()
        page.goto(pages[1][name].as_uri())
        heads = set(page.locator("h2, h3, caption").all_inner_texts())
        page.close()
        heads = {" ".join(head.split()) for head in heads}
        for sheet in printed(browser, pages[1][name], "A4")[:-1]:
            last = " ".join(sheet.text.strip().splitlines()[-1].split())
            assert last not in heads, f"{name}: {last!r} ends a page"


def test_all_sheets_of_a_class_print_from_one_file(browser, demo_term):
    """Each trainee's questions begin on paper of their own, with whose they are at the foot."""
    *single, whole = channels.print_sheets(demo_term, "m01_timing", trainees=("q0101", "q0102"), one_file=True)
    sheets = printed(browser, whole, "A4")
    alone = [len(printed(browser, path, "A4")) for path in single]
    assert len(sheets) == sum(alone)
    assert all("m01_timing, q0101" in sheet.text for sheet in sheets[: alone[0]])
    assert all("m01_timing, q0102" in sheet.text for sheet in sheets[alone[0] :])
