"""Every page that is handed over, opened as a file: nothing serious for axe-core, nothing cut off, nothing fetched."""

import json
import shutil

import pytest

from grader.course import roster
from grader.course import term as terms
from grader.course.export.papers import evidence, report
from grader.course.hand_out import paper
from grader.course.records import database
from grader.exercise import issued
from tests.browser.conftest import axe_source
from tests.work import issue_of

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
        "programme": report.write([term]),
        "evidence": evidence.write(term)[0],
        "returned": given_back,
        "class": folder / "reports" / demo.report.name,
        "paper": paper.write(term, people[someone], issued.dump(issue_of(term, someone)).decode()),
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
