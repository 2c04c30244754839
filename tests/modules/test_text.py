"""What a module prints: lists one entry a line, and thousands kept together, in the same way everywhere."""

import json
import re
from types import SimpleNamespace

import pytest

from grader import catalogue, paths
from grader.exercise import listing
from grader.exercise.kinds import Written
from grader.exercise.model import Choice
from grader.exercise.sorting import Order
from grader.exercise.truth import Truth
from grader.marking import feedback, verdict
from grader.units import grouped
from tests.modules import proofs

THIN = "\u202f"
LONG = re.compile(r"(?<![\d.,])\d{5,}")
LOOSE = re.compile(r"(?<!P\d\d)(?<=\d) \d{3}\b")  # 12 400 that a line may part; P07 110 is a plug and its reading
LISTS = {  # entries by exercise
    "m01.round": 8, "m01.find_error": 5, "m01.racing": 4, "m01.next_step": 5, "m02.gap_dwell": 5, "m02.gap_window": 5, "m02.find_error": 5, "m02.round": 8, "m02.contacts": 6,
    "m03.find_error": 5, "m03.sort_lot": 9, "m04.changes": 6, "m04.find_error": 5, "m04.batch": 24,
    "m05.unsafe": 8, "m05.look": 8, "m05.where": {4, 6, 8}, "m05.lead_batch": 8, "m05.find_error": 5, "m05.pairs": 6, "m05.which_curve": 4,
    "m06.unsafe": 7, "m06.words": 3, "m06.cards": 9, "m06.road_cost": 4, "m06.false_one": 5, "m06.void": 6, "m06.excluded": 8,
    "m06.prove_wrong": 4, "m06.proof": 6, "m06.sound": 7, "m06.pair": 12, "m06.next_test": set(range(8, 18)), "m06.chart": set(range(20, 70)),
}  # fmt: skip


def printed(exercise, given):
    """Everything of an exercise that a trainee can come to read with his numbers in it."""
    yield exercise.wording(given)
    yield from exercise.route(given)
    for part in exercise.parts:
        if isinstance(part, Written):
            yield part.answer(given)
        elif hasattr(part, "items") and callable(part.items):
            yield from part.items(given)
        elif hasattr(part, "options"):
            yield from (words for _, words in part.in_shown_order(given))


def choices_wrong(count):
    """(path, part, right option, wrong option, its mark) for every option of some trainees of every module."""
    for module in catalogue.all_modules().values():
        parts = [(part, path) for _, part, path in module.parts() if isinstance(part, Choice)]
        for numbers in proofs.draws(module, count):
            right = {path: Truth(module, numbers).answer(path) for _, path in parts}
            for place in range(max(len(part.options) for part, _ in parts)):
                chosen = {path: list(part.options)[place % len(part.options)] for part, path in parts}
                marks = {mark.path: mark for mark in proofs.marks_of(module, numbers, chosen).parts}
                for part, path in parts:
                    if chosen[path] != right[path]:
                        yield path, part, right[path], chosen[path], marks[path]


def told(count):
    """(exercise, what it prints) for some trainees of every module."""
    for module in catalogue.all_modules().values():
        for numbers in proofs.draws(module, count):
            for exercise in module.exercises:
                yield exercise, tuple(printed(exercise, SimpleNamespace(**numbers[exercise.key])))


def test_thousands_are_printed_alike_and_never_parted_by_a_line_end():
    found = [(e.key, text) for e, texts in told(40) for text in texts if LONG.search(text) or LOOSE.search(text)]
    assert found == []


@pytest.mark.parametrize("key", list(catalogue.all_modules()))
def test_lessons_print_thousands_as_the_exercises_do(key):
    cells = json.loads((paths.lessons() / key / f"{key}.ipynb").read_text(encoding="utf-8"))["cells"]
    prose = ["".join(cell["source"]) for cell in cells if cell["cell_type"] == "markdown"]
    assert [text for text in prose if LONG.search(text) or LOOSE.search(text)] == []
    assert THIN in "".join(prose)


def test_figures_that_belong_together_are_a_list_with_one_entry_a_line():
    counts = {}
    for exercise, (wording, *_) in told(5):
        entries = [line for line in wording.split("\n") if line.startswith(listing.ENTRY)]
        counts.setdefault(exercise.key, set()).add(len(entries))
        assert all(len(line) < 200 for line in entries)
        assert all(line[:1] not in {"", ".", ","} for line in wording.strip().split("\n")), wording
    listed = {key: seen for key, seen in counts.items() if seen != {0}}
    assert set(listed) == set(LISTS)
    assert all(seen <= (LISTS[key] if isinstance(LISTS[key], set) else {LISTS[key]}) for key, seen in listed.items())


@pytest.mark.parametrize(
    ("number", "text"), [(0, "0"), (9900.4, "9900"), (10_000, f"10{THIN}000"), (-24_500, f"-24{THIN}500")]
)
def test_grouped(number, text):
    assert grouped(number) == text


@pytest.mark.parametrize("key", list(catalogue.all_modules()))
def test_exercises_are_listed_in_the_order_of_the_lesson(key):
    """Sheets, papers and reports number them by the list; the page numbers them as they come."""
    cells = json.loads((paths.lessons() / key / f"{key}.ipynb").read_text(encoding="utf-8"))["cells"]
    code = "\n".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "code")
    assert re.findall(r'lesson\.show\("([^"]+)"\)', code) == [e.key for e in catalogue.module(key).exercises]


@pytest.mark.parametrize("key", list(catalogue.all_modules()))
def test_every_lesson_opens_and_closes_alike(key):
    cells = json.loads((paths.lessons() / key / f"{key}.ipynb").read_text(encoding="utf-8"))["cells"]
    prose = "\n".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "markdown")
    heads = re.findall(r"^## (.+)$", prose, re.MULTILINE)
    assert heads[0].startswith("Before you touch ")
    assert re.fullmatch(r"\d+\. Tell the owner", heads[-3])
    assert heads[-2:] == ["Summary card (print me)", "Before you hand the vehicle back"]
    numbered = [int(head.partition(".")[0]) for head in heads[1:-2]]
    assert numbered == list(range(1, len(heads) - 2))
    for said in (
        "After this lesson you can\n",
        "You may stop at any time. Your answers stay, and the top of the page leads you back.",
        "your local rules and the person in charge of the workshop come before this text.",
        "Your instructor reads your answer against ",
    ):
        assert prose.count(said) == 1, said


def test_whoever_chooses_wrongly_is_told_what_speaks_against_it():
    """By a slip, or by what would have to be so; the answer that is right is not named."""
    signs_seen, unsaid = set(), set()
    for path, part, right, chosen, mark in choices_wrong(60):
        said = feedback.say(part, mark)
        if mark.verdict == verdict.WRONG:
            sign = part.signs.get(chosen)
            if sign is None or said != f"Not this one. {sign}":
                unsaid.add((path, chosen))
                continue
            signs_seen.add((path, chosen))
        assert part.options[right].lower().rstrip(".") not in said.lower(), (path, right, chosen)
    assert unsaid == set()
    written = {
        (path, option)
        for module in catalogue.all_modules().values()
        for _, part, path in module.parts()
        if isinstance(part, Choice)
        for option, sign in part.signs.items()
        if re.fullmatch(r"[A-Z0-9][^?!]*[^.]\.", sign) and not re.search(r"[.] [A-Z]", sign) and len(sign) < 135
    }
    assert written == signs_seen, "a sign that nobody can come to read, or more than one sentence"


def test_ticked_lines_are_read_back_as_one_sentence():
    ticked = next(e for e in catalogue.module("m04_plug_testing").exercises if e.name == "changes").parts[0]
    said = f"Read as {ticked.echo(tuple(ticked.options))}."
    assert ".;" not in said and ".." not in said and said.count(";") == len(ticked.options) - 1


def test_a_rule_of_order_holds_for_whoever_left_a_step_out_as_well():
    """Both break the same pair, so nobody is told that he did early what he may not have done at all."""
    rules = [
        (path, critical.says)
        for module in catalogue.all_modules().values()
        for _, part, path in module.parts()
        if isinstance(part, Order)
        for critical in part.critical
    ]
    assert len(rules) > 10
    assert [rule for rule in rules if "leave neither out" not in rule[1] or re.search(r"\b[Yy]ou\b", rule[1])] == []
