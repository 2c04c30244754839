"""The sheet on paper: own questions, room for answers, no answer, safe with any name."""

import base64
import json
import re
import shutil
from html.parser import HTMLParser
from types import SimpleNamespace

import pytest
from sqlalchemy import update

from grader import catalogue
from grader.course.audit import deletion, verify
from grader.course.issue import assign, channels, paper_sheet, plots
from grader.errors import Refused, Unknown
from grader.exercise import issued, variant
from grader.exercise.kinds import Choices, PlotReading, Range
from grader.exercise.model import Choice, Number
from grader.exercise.part import sayings
from grader.exercise.sorting import Batch, Order
from grader.records import database, ledger, schema
from grader.records.term import roster
from grader.records.term import term as terms
from tests.work import issue_of, right_answers

MODULES = list(catalogue.all_modules())


class Page(HTMLParser):
    """Tags with their attributes and the words of a page."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.text = [], []
        self.feed(text)
        self.words = " ".join("".join(self.text).split())

    def handle_starttag(self, tag, attributes):
        self.tags.append((tag, dict(attributes)))

    def handle_data(self, data):
        self.text.append(data)

    def count(self, tag, kind=None):
        return sum(t == tag and (kind is None or kind in a.get("class", "").split()) for t, a in self.tags)


def given_of(module, trainee="t01"):
    drawn = variant.draw(module, key=b"key of a test", term="spring", trainee=trainee, attempt=1)
    return {key: SimpleNamespace(**numbers) for key, numbers in drawn.items()}


@pytest.fixture(scope="module", params=MODULES)
def sheet(request, _assigned_term, tmp_path_factory):
    """The printed sheet of one trainee; tests only read it."""
    term = terms.open_term(shutil.copytree(_assigned_term, tmp_path_factory.mktemp("printed") / "term"))
    if request.param != "m01_timing":
        assign.assign(term, request.param)
    [path] = channels.print_sheets(term, request.param, trainees=("T01",))
    return term, catalogue.module(request.param), path


def test_every_question_stands_there_with_own_numbers_and_room(sheet):
    term, module, path = sheet
    assert path == term.folder / "out" / "t01" / f"{module.key}.html"
    page = Page(path.read_text("utf-8"))
    squeezed = re.sub(r"\s", "", page.words)
    numbers = issue_of(term, "t01", module.key).numbers
    for exercise in module.exercises:
        given = SimpleNamespace(**numbers[exercise.key])
        assert re.sub(r"\s|\*\*|•", "", exercise.wording(given)) in squeezed
        for part in exercise.parts:
            assert part.prompt in page.words
            for letter, _, words in part.lettered(given):
                assert re.sub(r"\s", "", letter + words) in squeezed
    parts = [part for _, part, _ in module.parts()]
    boxes = sum(len(p.options) for p in parts if isinstance(p, (Choice, Choices)))
    boxes += sum(isinstance(p, Choices) for p in parts)  # none of these
    boxes += 3 * sum(
        len(p.items(SimpleNamespace(**numbers[e.key]))) for e, p, _ in module.parts() if isinstance(p, Batch)
    )
    assert page.count("span", "box") == boxes
    assert page.count("span", "place") == sum(len(p.items) for p in parts if isinstance(p, Order))
    assert page.count("img") == sum(any(isinstance(p, PlotReading) for p in e.parts) for e in module.exercises)
    assert page.count("h1") == 1 and page.count("script") == 0 and "summary card" in page.words


def test_it_is_one_file_that_needs_nothing_else(sheet):
    text = sheet[2].read_text("utf-8")
    assert not re.search(r"(src|href)=\"(?!data:)", text) and "url(" not in text and "@import" not in text
    page = Page(text)
    assert dict(page.tags)["html"] == {"lang": "en"}
    assert all(attributes.get("alt") for tag, attributes in page.tags if tag == "img")
    assert all(a.get("scope") in ("row", "col") for tag, a in page.tags if tag == "th")
    assert "@page" in text and "break-inside: avoid" in text


def test_two_trainees_have_two_sheets(assigned_term):
    first, _, second = channels.print_sheets(assigned_term, "m01_timing")
    a, b = (Page(path.read_text("utf-8")).words for path in (first, second))
    assert a != b and "Arundell" in a and "Arundell" not in b and "T02" in b and "T02" not in a


def test_the_sheets_of_a_class_stand_in_one_file_to_print(assigned_term):
    *single, whole = channels.print_sheets(assigned_term, "m01_timing", one_file=True)
    words = Page(whole.read_text("utf-8")).words
    assert len(single) == 3 and words.count("summary card") == 3
    assert all(name in words for name in ("Arundell, Bea", "O’Neil, Jr., Cass", "Null, Dov"))
    foot = re.findall(r'content: "(m01_timing, t0\d, spring-a)"', whole.read_text("utf-8"))
    assert foot == [f"m01_timing, t0{n}, spring-a" for n in (1, 3, 2)], "each paper says whose it is"
    deletion.delete_person(assigned_term, "T01", reason="asked for it")
    assert not whole.exists()


def test_options_stand_in_the_trainees_own_order(assigned_term):
    """The letters mean what the lesson's form shows first, second, third."""
    module = catalogue.module("m01_timing")
    orders = set()
    for trainee in ("t01", "t02", "t03"):
        numbers = issue_of(assigned_term, trainee).numbers["m01.line_test"]
        part = module.by_path["m01.line_test.finding"][1]
        found = part.lettered(SimpleNamespace(**numbers))
        assert [key for _, key, _ in found] == list(numbers[part.order_name])
        assert "".join(letter for letter, _, _ in found) == "ABCDEFGH"[: len(found)]
        orders.add(tuple(key for _, key, _ in found))
    assert len(orders) > 1


@pytest.mark.parametrize("key", MODULES)
def test_no_answer_stands_on_it(assigned_term, key):
    """No figure of an answer, no line of a route, no sentence of a slip; numbers from a key that never changes."""
    module = catalogue.module(key)
    numbers = variant.draw(module, key=b"key of a test", term="spring", trainee="t01", attempt=1)
    record = issued.make(module, key=b"key of a test", term="spring", trainee="t01", attempt=1, mode="assessed", due="",
                         zone="Europe/Lisbon", numbers=numbers)  # fmt: skip
    person = roster.Trainee("t01", "T01", "Arundell", "Bea")
    text = paper_sheet.build(assigned_term, [(person, issued.dump(record).decode())]).decode()
    sections = [Page(section).words for section in text.split("<section>")[1:]]
    answers = right_answers(module, record)
    looked = 0
    for exercise, words in zip(module.exercises, sections, strict=False):
        given = SimpleNamespace(**numbers[exercise.key])
        steps = {words for part in exercise.parts for _, _, words in part.lettered(given)}  # in a drawn order
        assert exercise.title in words and not [
            line for line in exercise.route(given) if line in words and line not in steps
        ]
        for part in exercise.parts:
            assert not [said for said in sayings(part).values() if said in words]
            figure = answers.get(f"{exercise.key}.{part.key}", "")
            if isinstance(part, (Number, Range)) and figure not in exercise.wording(given):
                looked += 1
                assert not re.search(rf"(?<![\d.]){re.escape(figure)}(?![\d.])", words), (part.key, figure)
    assert looked > 3 and record.token not in text


@pytest.mark.parametrize("key", MODULES)
def test_every_reading_off_a_plot_has_its_plot_and_nothing_else_has(key):
    module = catalogue.module(key)
    given = given_of(module)
    for exercise in module.exercises:
        found = plots.plot(exercise, given[exercise.key])
        reads = any(isinstance(part, PlotReading) for part in exercise.parts)
        assert (found is not None) == reads
        if found:
            svg = base64.b64decode(found.data.partition(",")[2])
            assert svg.startswith(b"<?xml") and len(found.says) > 60
            assert plots.plot(exercise, given[exercise.key]) == found  # same numbers, same picture


def test_the_plot_shows_the_trainees_own_engine():
    exercise = next(e for e in catalogue.module("m02_dwell").exercises if e.name == "enough_voltage")
    pictures = {plots.plot(exercise, SimpleNamespace(cylinders=count, plug_kv=15.0)).data for count in (4, 6, 8)}
    assert len(pictures) == 3


def test_a_name_is_never_markup(assigned_term):
    with database.transaction(assigned_term) as connection:
        table = schema.trainee
        connection.execute(
            update(table).where(table.c.id == "t01").values(last_name="<script>alert(1)</script>", first_name='"&')
        )
    [path] = channels.print_sheets(assigned_term, "m01_timing", trainees=("T01",))
    page = Page(path.read_text("utf-8"))
    assert page.count("script") == 0 and "<script>alert(1)</script>" in page.words


def test_who_has_no_numbers_gets_no_sheet(assigned_term):
    with pytest.raises(Refused, match="no numbers for m02_dwell. Run 'assign m02_dwell --as paper'"):
        channels.print_sheets(assigned_term, "m02_dwell")
    with pytest.raises(Unknown):
        channels.print_sheets(assigned_term, "m01_timing", trainees=("T09",))
    assert not list(assigned_term.folder.rglob("*.html"))


def test_assigned_on_paper_it_is_written_and_recorded(assigned_term):
    done = assign.assign(assigned_term, "m02_dwell", group="A", way="paper")
    assert [path.parent.name for path in sorted(done.folder.glob("*/m02_dwell.html"))] == ["t01", "t02"]
    assert not list(done.folder.glob("*/m02_dwell.zip"))
    channels.print_sheets(assigned_term, "m02_dwell")  # once more: the same numbers, nothing new to record
    with database.transaction(assigned_term) as connection:
        said = [json.dumps(e) for _, _, e in ledger.entries(connection, "issued") if e["module"] == "m02_dwell"]
    assert len(said) == 2 and all('"new": "paper"' in entry for entry in said)
    assert verify.verify(assigned_term).findings == []


def test_it_goes_with_the_person(assigned_term):
    paths = channels.print_sheets(assigned_term, "m01_timing")
    deletion.delete_person(assigned_term, "T01", reason="asked for it")
    assert [path.exists() for path in paths] == [False, True, True]
