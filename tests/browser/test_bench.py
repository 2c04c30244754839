"""A car on the bench, from the job card to the mark: by keyboard alone, by touch, and whatever comes in between."""

import json
import subprocess
import sys
from types import SimpleNamespace

import pytest

from grader.bench import cases, session, trainees
from grader.course.issue import assign
from grader.exercise import hand_in
from grader.records.gradebook import setup
from grader.records.term import roster
from grader.widgets.fields.bench import OVER, PLACES, SAY
from tests.browser.conftest import READY, axe_source, call, until
from tests.browser.test_access import BAD, CLIPPED, CUT

KEY = "m06_diagnosis"
PLACE = ".tm-bench-places .widget-radio-box"
DESK = ".tm-bench-desk .widget-radio-box"


def place_of(act):
    """(place, number of the act in the list there) of a reading or a piece of work."""
    key = act.get("with") or act["what"]
    return next(
        (place, (*tools, *work).index(key)) for place, (_, tools, work) in PLACES.items() if key in (*tools, *work)
    )


class Hand:
    """Whoever works a car on the page; how he presses, picks and writes his kind says."""

    def __init__(self, lesson, page, exercise="first"):
        self.lesson, self.page, self.path = lesson, page, f"m06.{exercise}.car"
        self.box = page.locator(f".tm-ex-{exercise}")
        self.case = cases.from_plain(SimpleNamespace(**lesson.store.issue.numbers[f"m06.{exercise}"]))

    @property
    def acts(self):
        """The log as it lies on disk."""
        return session.acts(self.lesson.answers.get(self.path) or session.EMPTY)

    def shown(self):
        """What the kernel says is picked."""
        return self.box.locator("[data-part]").get_attribute("data-shown") or ""

    def stands(self, *numbers):
        """Wait until the kernel has what was picked last, and the desk shows what belongs to it."""
        until(self.page, lambda: self.shown().split("%7C")[: len(numbers)] == [str(number) for number in numbers])

    def begin(self):
        self.press("button[title^='Begin with this car']")
        self.box.locator(PLACE).wait_for()

    def go(self, place, number=None):
        """Stand somewhere, and take up what is done there."""
        at = list(PLACES).index(place)
        self.pick(PLACE, at)
        self.stands(at)
        if number is not None:
            self.pick(DESK, number)
            self.stands(at, number)

    def follow(self, acts):
        """Do what a log says, and see that the log on disk is the same."""
        for act in acts:
            count = len(self.acts)
            if act["do"] == session.RUN:
                self.press(f"button[title='{session.RUN_WORDS[act['to']]}']")
            elif act["do"] == session.NAME:
                self.go(SAY)
                self.name(act["groups"], act.get("at", 0))
                self.press(".tm-bench-go")
            elif act["do"] != session.HAND_OVER:
                self.go(*place_of(act))
                self.safely()
                if act.get("at"):
                    self.choose(0, act["at"])
                if act.get("marked"):
                    self.tick("input[type=checkbox]")
                self.press(".tm-bench-go")
            until(self.page, lambda count=count: len(self.acts) == count + 1)
            assert self.acts[-1] == act

    def safely(self):
        """Whoever is asked how he goes about it takes the way that hurts nobody."""
        if self.box.locator(DESK).count() > 1:
            ways = [words.strip() for words in self.box.locator(DESK).nth(1).locator("label").all_inner_texts()]
            safe = {act["safely"] for act in session.reading.unsafe_acts().values()}
            self.pick(f"{DESK} >> nth=1", next(number for number, words in enumerate(ways) if words in safe))

    def name(self, groups, at):
        known = list(session.groups(self.case.engine))
        for nth, group in enumerate(groups):
            self.choose(nth, known.index(group) + 1)
        if at:
            self.box.locator(".tm-bench-desk select").nth(2).wait_for()
            self.choose(2, at)

    def over(self, act):
        """Fill in what a hand-over wants, all but its last word."""
        self.go(OVER)
        self.name(act["found"], act.get("at", 0))
        read = list(dict.fromkeys(one["with"] for one in self.acts if one["do"] == session.TEST))
        lists = self.box.locator(".tm-bench-desk select").count()
        for nth, tool in enumerate(act["proved"][:2]):
            self.choose(lists - 3 + nth, read.index(tool) + 1)
        self.choose(lists - 1, read.index(act["compared"]) + 1)


class Keyboard(Hand):
    """He has no mouse: Tab, arrows, Space and Enter."""

    def reach(self, selector):
        """Walk by Tab, forwards or backwards, until the thing has the focus, which must be to be seen."""
        wanted = self.box.locator(selector)
        for _ in range(60):
            where = wanted.evaluate_all(
                """nodes => { const at = document.activeElement;
                     return nodes.includes(at) ? 0
                       : at.compareDocumentPosition(nodes[0]) & Node.DOCUMENT_POSITION_FOLLOWING ? 1 : -1; }"""
            )
            if where == 0:
                return
            self.page.keyboard.press("Tab" if where > 0 else "Shift+Tab")
        pytest.fail(f"{selector} cannot be reached by Tab")

    def press(self, selector):
        self.reach(selector)
        self.page.keyboard.press("Enter")

    def pick(self, group, number):
        radios = self.box.locator(f"{group} >> input" if ">>" in group else f"{group} >> nth=0 >> input")
        inputs = group.replace(" >> nth=1", "") + " input"
        first = self.box.locator(inputs).count() - radios.count() if ">>" in group else 0
        checked = radios.evaluate_all("nodes => nodes.findIndex(node => node.checked)")
        self.reach(f"{inputs} >> nth={first + max(checked, 0)}")
        if checked < 0:
            self.page.keyboard.press("Space")
        for _ in range(abs(number - max(checked, 0))):
            self.page.keyboard.press("ArrowDown" if number > checked else "ArrowUp")

    def choose(self, nth, number):
        self.reach(f".tm-bench-desk select >> nth={nth}")
        self.page.keyboard.press("Home")
        for _ in range(number):
            self.page.keyboard.press("ArrowDown")

    def tick(self, selector):
        self.reach(f".tm-bench-desk {selector}")
        self.page.keyboard.press("Space")

    def write(self, text):
        self.reach(".tm-bench-desk .tm-field input")
        self.page.keyboard.press("End")
        self.page.keyboard.type(text)


class Finger(Hand):
    """He has a tablet or a telephone."""

    def press(self, selector):
        self.box.locator(selector).tap()

    def pick(self, group, number):
        self.box.locator(group).first.locator("label").nth(number).tap() if ">>" not in group else self.box.locator(
            group
        ).locator("label").nth(number).tap()

    def choose(self, nth, number):
        self.box.locator(".tm-bench-desk select").nth(nth).select_option(index=number)

    def tick(self, selector):
        self.box.locator(f".tm-bench-desk {selector}").tap()

    def write(self, text):
        self.box.locator(".tm-bench-desk .tm-field input").tap()
        self.page.keyboard.type(text)


@pytest.fixture
def term(tmp_path):
    made = setup.new_term(tmp_path / "term", term_id="evening", title="Evening class", zone="Europe/Lisbon")
    class_list = tmp_path / "class.csv"
    class_list.write_text("id,last_name,first_name\nt01,Moor,Ada\n", encoding="utf-8")
    roster.import_list(made, class_list)
    assign.assign(made, KEY)
    return made


def commanded(term, *words):
    """A command as the instructor types it."""
    done = subprocess.run(
        [sys.executable, "-m", "grader", *words, "--term", str(term.folder)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr + done.stdout
    return done.stdout


def test_a_car_by_keyboard_alone_interrupted_twice_marked_and_returned(term, house, page):
    """Tab, arrows and Enter reach all of the bench; a reload and a dead kernel take nothing of the hand-over half written."""
    lesson = house.handout(term.folder / "out" / "t01" / f"{KEY}.zip")
    lesson.show(page)
    hand = Keyboard(lesson, page)
    road = session.acts(trainees.best_road(hand.case))
    page.locator("#tm-m06-first").focus()
    hand.begin()
    hand.follow(road[:-1])
    assert page.evaluate("document.activeElement.matches('.tm-bench-go, .tm-bench-runs button')"), "the focus was lost"
    came = hand.box.locator(".tm-bench-came")
    assert came.get_attribute("aria-live") == "polite" and came.inner_text().strip()
    assert hand.box.get_by_role("button", name="Troubleshooting chart").count() == 0, "help in assessed work"

    hand.over(road[-1])
    hand.write("Plug gaps")
    until(page, lambda: "Plug gaps" in (lesson.folder / "answers.json").read_text("utf-8"))
    page.reload()
    page.wait_for_selector(READY, state="attached", timeout=60_000)
    note = hand.box.locator(".tm-bench-desk .tm-field input")
    until(page, lambda: note.count() == 1 and note.input_value() == "Plug gaps")
    page.locator("#tm-m06-first").focus()  # where the link at the top of the page leads
    hand.write(" wide")
    (kernel,) = house.kernels()
    kernel.kill()
    hand.write(", due soon.")
    until(page, lambda: "Plug gaps wide, due soon." in (lesson.folder / "answers.json").read_text("utf-8"), 40)
    page.wait_for_selector(READY, state="attached", timeout=30_000)
    until(page, lambda: page.locator("#tm-bar").inner_text() == "")
    hand.press(".tm-bench-go")
    until(page, lambda: len(hand.acts) == len(road))
    last = hand.acts[-1]
    assert last == {**road[-1], "left": "Plug gaps wide, due soon.", "proved": road[-1]["proved"][:2]}
    until(page, lambda: "nothing to complain of" in came.inner_text())

    page.get_by_role("button", name="Hand in").press("Enter")
    packed = lesson.folder / hand_in.zip_name(lesson.store.issue)
    until(page, packed.is_file)
    inbox = term.folder / "inbox" / "t01"
    inbox.mkdir(parents=True, exist_ok=True)
    (inbox / packed.name).write_bytes(packed.read_bytes())
    commanded(term, "collect")
    commanded(term, "mark", KEY)
    commanded(term, "return", KEY, "--partly")
    page.goto((term.folder / "returned" / "t01" / f"{KEY}.html").as_uri())
    text = page.locator("body").inner_text()
    assert "of 100: road " in text and "hand-over 4 of 4" in text


def test_a_car_by_touch_on_a_tablet_and_on_a_telephone(house, browser):
    """The same by a finger, half of it at 820 and half at 390 points: nothing is cut, all has its name, and another car can follow."""
    context = browser.new_context(viewport={"width": 820, "height": 1180}, has_touch=True, is_mobile=True)
    page = context.new_page()
    try:
        lesson = house.practice(KEY)
        lesson.show(page)
        hand = Finger(lesson, page)
        road = session.acts(trainees.best_road(hand.case))
        hand.begin()
        hand.follow(road[:3])
        page.set_viewport_size({"width": 390, "height": 844})
        hand.press("button[title^='The chart']")
        until(page, lambda: "minutes)" in hand.box.locator(".tm-bench-chart").inner_text())
        assert page.evaluate(CUT) == [] and page.evaluate(CLIPPED) == []
        page.evaluate(axe_source())
        worst = page.evaluate("axe.run('.tm-ex-first', {resultTypes: ['violations']})")["violations"]
        assert [one["id"] for one in worst if one["impact"] in BAD] == []
        hand.follow(road[3:-1])
        hand.over(road[-1])
        hand.write("Nothing.")
        hand.press(".tm-bench-go")
        until(page, lambda: len(hand.acts) == len(road))
        assert hand.acts[-1]["left"] == "Nothing.", "the act went out before the last letter"
        hand.box.get_by_role("button", name="Check").tap()
        until(page, lambda: "of 100: road" in hand.box.locator(".tm-part > .tm-verdict").first.inner_text())
        assert "One best road" in hand.box.locator(".tm-bench-back").text_content()
        hand.box.get_by_role("button", name="Fresh numbers").tap()
        until(page, lambda: hand.path not in lesson.answers)
        until(page, lambda: hand.box.get_by_role("button", name="Begin with this car").count() == 1)
        assert (
            "drafts" not in json.loads((lesson.folder / "answers.json").read_text("utf-8"))
            or not json.loads((lesson.folder / "answers.json").read_text("utf-8"))["drafts"]
        )
    finally:
        for opened in call(house, page, "get", "/api/sessions").json():
            call(house, page, "delete", f"/api/sessions/{opened['id']}")
        context.close()
