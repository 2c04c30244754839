"""Every page that is handed over, opened as a file: nothing serious for axe-core, nothing cut off, nothing fetched."""

import json
import shutil

import pytest

from grader import clock
from grader.course.attempts import kept
from grader.course.grading import mark_class
from grader.course.issue import paper_sheet
from grader.course.submissions import collect
from grader.exercise import issued
from grader.records import database
from grader.records.term import roster
from grader.records.term import term as terms
from grader.reports.export.pages import evidence, programme_report
from grader.reports.feedback import return_run as returning
from tests.browser.conftest import axe_source
from tests.work import issue_of, put_in_inbox, right_answers, sheet_of

HOSTILE = "<script>alert(1)</script><img src=x onerror=alert(2)>\"'</textarea><svg onload=alert(3)>"
BAD = ("serious", "critical")
WIDE = """() => [...document.querySelectorAll("body *")]
           .filter(node => node.checkVisibility())
           .filter(node => { const box = node.getBoundingClientRect(); return box.width > 0 && box.right > innerWidth + 1; })
           .filter(node => { for (let up = node; up; up = up.parentElement)
                               if (["auto", "scroll"].includes(getComputedStyle(up).overflowX)) return false;
                             return true; })
           .map(node => node.outerHTML.slice(0, 120))"""


@pytest.fixture(scope="module")
def pages(demo, tmp_path_factory):
    """One page of each kind, by name."""
    folder = tmp_path_factory.mktemp("papers") / "term"
    shutil.copytree(demo.term.folder, folder)
    term = terms.open_term(folder)
    with database.transaction(term) as connection:
        people = {person.id: person for person in roster.everyone(connection)}
    given_back = sorted((term.folder / "returned").glob("*/*.html"))[0]
    someone = given_back.parent.name
    return {
        "programme": programme_report.write([term]),
        "evidence": evidence.write([term])[0],
        "returned": given_back,
        "class": folder / "reports" / demo.report.name,
        "paper": paper_sheet.write(term, people[someone], issued.dump(issue_of(term, someone)).decode()),
    }


@pytest.mark.parametrize("name", ["programme", "evidence", "returned", "class", "paper"])
def test_a_page_is_open_to_everybody(browser, pages, name):
    context = browser.new_context(offline=True)
    try:
        page = context.new_page()
        asked = []
        page.on("request", lambda request: asked.append(request.url))
        page.goto(pages[name].as_uri())
        page.evaluate(axe_source())
        found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
        assert len(found["passes"]) > 10, "axe looked at next to nothing"
        worst = [
            (v["id"], [n["html"][:160] for n in v["nodes"][:4]]) for v in found["violations"] if v["impact"] in BAD
        ]
        assert not worst, json.dumps(worst, indent=1)
        assert page.locator("h1").count() == 1 and page.evaluate("document.documentElement.lang") == "en"
        assert all(image.get_attribute("alt") for image in page.locator("img").all())
        assert page.locator("script").count() == 0
        assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
        page.set_viewport_size({"width": 390, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, page.evaluate(WIDE)
    finally:
        context.close()


def test_hostile_text_on_a_returned_sheet_runs_nothing(browser, assigned_term, m01):
    record = issue_of(assigned_term, "t01")
    answers = {**right_answers(m01, record), "m01.angle_time.time": HOSTILE}
    path = put_in_inbox(assigned_term, sheet_of(record, answers))
    collect.collect(assigned_term, [path.parent], received_at=clock.parse("2026-03-30 12:00", "UTC"))
    mark_class.mark(assigned_term, m01.key)
    returning.give_back(assigned_term, m01.key)
    context = browser.new_context(viewport={"width": 390, "height": 800})
    try:
        page, dialogs = context.new_page(), []
        page.on("dialog", lambda dialog: (dialogs.append(dialog.message), dialog.dismiss()))
        page.goto(kept.returned_path(assigned_term, "t01", m01.key, 1).as_uri())
        page.wait_for_timeout(300)
        assert dialogs == [] and "<script>alert(1)</script>" in page.locator("main").inner_text()
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    finally:
        context.close()
