"""The short way of marking a plain number gives what the long way gives, and so does the short way of reading a file."""

import json
import random

import pytest

from grader import catalogue
from grader.errors import BadSheet
from grader.exercise import sheet as sheets
from grader.exercise import variant
from grader.exercise.model import Number
from grader.exercise.sheet import Answer, Sheet
from grader.marking.numbers import mark_number, mark_numbers
from grader.marking.verdict import Earlier

SEED = 20261125
MODULES = sorted(catalogue.all_modules())


def near_misses(truth, path, part, seeded):
    """What trainees type: right, a slip's figure, another unit, sign or point, too few figures, anything."""
    right = truth.answer(path)
    led = [led for _, led, _ in truth.routes(path)] or [right]
    value = seeded.choice(
        [right, seeded.choice(led), -right, 10 ** seeded.randint(-3, 3) * right, right * seeded.uniform(0.5, 1.5),
         right * seeded.choice([25.4, 1 / 25.4, 1000, 6.894757, 1 / 6.894757]), seeded.uniform(-9, 9), 0.0]
    )  # fmt: skip
    return f"{value:.{seeded.randint(0, 4)}f}"


@pytest.mark.parametrize("key", MODULES)
def test_a_plain_number_is_marked_the_same_on_both_ways(key):
    seeded, module, verdicts = random.Random(SEED), catalogue.module(key), set()
    for trainee in range(40):
        _, truth = variant.draw_with_truth(module, key=b"k", term="t", trainee=f"t{trainee}", attempt=1)
        for exercise, part, path in module.parts():
            if not isinstance(part, Number):
                continue
            answer = Answer(near_misses(truth, path, part, seeded), seeded.choice(["", *part.units]), exercise.version)
            charged = {(unit, part.unit) for unit in part.units} if seeded.random() < 0.5 else set()
            earlier = [Earlier(unit_errors=set(charged)) for _ in range(2)]
            short = mark_number(truth, path, part, answer, earlier[0])
            long = mark_numbers(truth, path, part, answer, earlier[1])
            assert short == long, f"seed {SEED}, {path}: {answer.raw} {answer.unit}"
            assert earlier[0].unit_errors == earlier[1].unit_errors, f"seed {SEED}, {path}"
            verdicts.add(short.verdict)
    assert {"right", "slip", "wrong"} <= verdicts


def a_sheet(seeded):
    texts = [
        "",
        "6.25",
        "say “no”",
        'a "word"',
        "back\\slash",
        "two\nlines",
        "½ µs",
        "\u2028",
        "tab\there",
        "\x7f",
        "{}",
    ]
    answers = {}
    for number in range(seeded.randint(0, 6)):
        rest = seeded.choice([{}, {}, {}, {"sure": "know"}, {"rest": {}}])
        answers[f"m.e{number}.{seeded.choice(['part', 'päth'])}"] = Answer(
            seeded.choice(texts), seeded.choice(["", "ms"]), seeded.randint(1, 3), seeded.choice(texts),
            seeded.choice(["", "2026-01-01T00:00:00Z"]), seeded.randint(0, 4), rest,
        )  # fmt: skip
    rest = seeded.choice([{}, {}, {"last": "m.e1"}])
    return Sheet("t", "m", "a", seeded.randint(1, 2), answers, seeded.choice(texts), "made", rest)


def on_both_ways(content):
    """(what the short way gave or None, whether the long way refused), after seeing that they agree."""
    quick = sheets._of_our_own(content)
    try:
        found = sheets._of_any_hand(content)
    except BadSheet:
        assert quick is None, f"seed {SEED}: {content}"
        return None, True
    assert quick is None or quick == found, f"seed {SEED}: {content}"
    return quick, False


def test_a_file_as_we_write_it_is_read_the_same_on_both_ways():
    seeded, short = random.Random(SEED), 0
    for _ in range(1500):
        made = a_sheet(seeded)
        content = sheets.dump(made)
        assert sheets._of_any_hand(content) == made, f"seed {SEED}: {content}"
        short += on_both_ways(content)[0] is not None
    assert 200 < short < 1400


def test_what_the_long_way_refuses_the_short_way_leaves_to_it():
    """Damage by chance: a piece left out, doubled, or a name written twice."""
    seeded, refused = random.Random(SEED), 0
    for _ in range(3000):
        content = sheets.dump(a_sheet(seeded))
        at, length = seeded.randrange(len(content)), seeded.randint(1, 40)
        damaged = seeded.choice(
            [content[:at] + content[at + length :], content[:at] + content[at : at + length] + content[at:],
             content.replace(b'"unit": ""', b'"raw": "5"', 1), content.replace(b'"tries"', b'"raw": "1", "tries"', 1)]
        )  # fmt: skip
        refused += on_both_ways(damaged)[1]
    assert refused > 1000


def test_values_out_of_place_take_the_long_way():
    """Entries with other types, missing or unknown names: what the long way refuses or mends is left to it."""
    seeded, short, refused = random.Random(SEED), 0, 0
    values = {
        "raw": ("", "34.5", 7, 2.5, None, ["x"], "9" * 20_001), "unit": ("", "mm", 3, None), "version": (1, 2, 0, -1, "1", True, 1.0),
        "read_as": ("", "34.5 mm", 5), "at": ("", "2026-03-01T18:00:00Z", None), "tries": (0, 3, -1, "2", False),
    }  # fmt: skip
    whole = json.loads(sheets.dump(Sheet("t", "m", "a", 1)))
    for _ in range(5000):
        entry = {key: seeded.choice(given[:2] if seeded.random() < 0.8 else given) for key, given in values.items()}
        if seeded.random() < 0.2:
            entry.pop(seeded.choice(list(entry)))
        if seeded.random() < 0.2:
            entry["later"] = 1
        content = json.dumps(whole | {"answers": {"m01.x.y": entry}}).encode()
        quick, left = on_both_ways(content)
        short, refused = short + (quick is not None), refused + left
    assert short > 500 and refused > 500
