"""Every kind of answer given on the page by mouse and keyboard: the slip is named, then the right answer is right."""

from random import Random

import pytest

from grader.exercise.kinds import Choices
from grader.exercise.model import Choice
from grader.exercise.sorting import Batch, Order
from tests.browser.conftest import field, judged, part, until, verdict

HEAPS = {"keep": "keep", "reject": "reject", "undecided": "undecided, test again"}
# Of one lesson that has them all: a number, a range, one option, several, an order, a round of leads, a batch, a plot.
PATHS = (
    "m05.look.parts",
    "m05.where.place",
    "m05.lead_batch.sorted",
    "m05.lead_cost.before",
    "m05.lay.round",
    "m05.polarity.asks",
    "m05.zone.slow",
    "m05.damp_order.order",
)


def give(page, path, asked, given, value):
    """Answer a part as a trainee would: tick, choose from a list, or type."""
    form = part(page, path)
    if isinstance(asked, Choices):
        for key, words in asked.options.items():
            form.get_by_label(words, exact=True).set_checked(key in value)
        form.get_by_label("none of these", exact=True).set_checked(not value)
    elif isinstance(asked, Choice):
        form.get_by_label(asked.options[value], exact=True).check()
    elif isinstance(asked, Order):
        for place, key in enumerate(value, 1):
            form.locator(f'select[title="Place of: {asked.items[key]}"]').select_option(str(place))
    elif isinstance(asked, Batch):
        for entry in asked.typed(value, given).split(";"):
            label, _, heap = entry.partition("=")
            form.locator(f'select[title="Decision on {label}"]').select_option(HEAPS[heap])
    else:
        field(page, path).fill(asked.typed(value, given))


def check(page, path):
    until(page, lambda: verdict(page, path) == "")
    page.locator(f".tm-ex-{path.split('.')[1]}").get_by_role("button", name="Check").first.click()
    return judged(page, path)


@pytest.fixture
def lesson(house):
    return house.practice("m05_secondary")


def test_each_kind_of_answer_is_given_wrong_and_then_right(shown):
    lesson, page = shown
    truth, asked = lesson.truth(), {path: asked for _, asked, path in lesson.module.parts()}
    for path in PATHS:
        right, given = truth.answer(path), truth.given_at(path)
        led = [(truth.slip(path, slip), slip.says) for slip in asked[path].slips]
        led = [(value, says) for value, says in led if value not in (None, right)]
        # With some numbers no slip leads anywhere else; then it is wrong without a name.
        wrong, says = led[0] if led else (asked[path].disturbed(Random(7), right), "")
        give(page, path, asked[path], given, wrong)
        heard = check(page, path)
        assert says in heard and heard != "Right.", (path, heard)
        give(page, path, asked[path], given, right)
        assert check(page, path) == "Right.", path


def test_a_lead_is_laid_with_the_mouse_on_the_plan(shown):
    """A click on a plug picks its lead, a click on a holder's line lays it there, and the words under the plan say so."""
    _, page = shown
    plan = page.locator(".tm-panel").filter(has_text="Lay the leads")
    plan.get_by_title("Pick the lead of cylinder 2").click()
    until(page, lambda: "The lead of cylinder 2 lies in holder a" in plan.inner_text())
    place = plan.get_by_title("Lay the picked lead into holder c")
    picture = plan.locator(".tm-stack").bounding_box()
    assert place.bounding_box()["y"] - picture["y"] > 0.2 * picture["height"]  # on its line, not in a corner
    place.click()
    until(page, lambda: "The lead of cylinder 2 lies in holder c" in plan.inner_text())
