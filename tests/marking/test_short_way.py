"""The short way of marking a plain number gives what the long way gives, and so does the short way of reading a file."""

import json
import random

import pytest

from grader import catalogue
from grader.errors import BadSheet
from grader.exercise import sheet as sheets
from grader.exercise import variant
from grader.exercise.model import Absolute, Exercise, Module, Number, Slip
from grader.exercise.sheet import Answer, Sheet
from grader.exercise.spread import Steps
from grader.exercise.truth import Truth
from grader.marking.numbers import mark_number, mark_numbers
from grader.marking.verdict import Earlier
from tests.long import SCRAPS
from tests.seed.draws import SEED

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


def at_the_edges(truth, path, part, seeded):
    """Figures of many places just inside and outside of everything that a verdict depends on."""
    right, width = truth.target(path)
    middles = [(right, width), (-right, width), *((led, width) for _, led, width in truth.routes(path))]
    middles += [((right - shift) / factor, abs(width / factor)) for factor, shift in part.rivals]
    middles += [(right * 10**power, width * 10**power) for power in (-3, -2, -1, 1, 2, 3)]
    middles += [(right, part_of * abs(right)) for part_of in (0.15, 0.25, 0.85, 4)]
    middle, off = seeded.choice(middles)
    there = middle + seeded.choice((-1, 1)) * off * (1 + seeded.choice((-1, 0, 1)) * 10 ** -seeded.uniform(1, 14))
    return f"{there:.{seeded.choice((0, 1, 2, 17, 17, 90))}f}"


def scraps(truth, path, part, seeded):
    """Figures of every shape, bare or with something of a trainee's about them."""
    whole = "".join(seeded.choices("0123456789", k=seeded.choice((0, 1, 2, 5, 20, 38, 41, 81))))
    point = seeded.choice(("", ".", "." + "".join(seeded.choices("0123456789", k=seeded.randint(1, 6)))))
    plain = seeded.choice(("", "", "-", "+")) + whole + point + seeded.choice(("", "", "", "e1", "E-2", " "))
    return plain if seeded.random() < 0.7 else "".join(seeded.choices((plain, *SCRAPS), k=seeded.randint(1, 4)))


def rough():
    """A module where tolerances are wide, slips overlap, answers are near nothing or below it, and one is built on another."""

    def number(key, answer, width, uses=(), **other):
        slips = tuple(
            Slip(f"by-{factor}", "Again.", lambda v, *own, factor=factor: factor * answer(v, *own), share)
            for factor, share in ((1.6, 0.0), (1.7, 0.25), (-1.5, 0.0))
        )
        return Number(
            key=key, prompt="", marks=3, step=0.1, within=Absolute(width, "test"), possible=(-1e6, 1e6), objectives=(),
            answer=answer, slips=slips, uses=uses, **{"unit": "mm", "also": ("in",)} | other,
        )  # fmt: skip

    parts = (
        number("wide", lambda v: v.x / 4, 2.0),
        number("small", lambda v: v.x / 4000, 0.0),
        number("below", lambda v: -v.x / 2, 1.0, unit="°C", also=("°F",)),
        number("built", lambda v, wide: 10 * wide - v.x, 0.2, uses=("m96.e.wide",)),
    )
    exercise = Exercise("m96.e", 1, 1, "", "", {"x": Steps(0, 40)}, parts, lambda v: ())
    return Module("m96_rough", "", 1, (exercise,))


def drawn(key, trainee):
    module = catalogue.module(key)
    return module, variant.draw_with_truth(module, key=b"k", term="t", trainee=f"t{trainee}", attempt=1)[1]


def before(truth, part, seeded):
    """What the marking knows from the parts before: own answers, right or not, and units that were charged."""
    earlier = Earlier()
    for path in part.uses:
        own = truth.answer(path)
        earlier.own[path], earlier.settled[path] = own, "right"
        if type(own) is float and seeded.random() < 0.5:
            earlier.own[path], earlier.settled[path] = own * 1.1 + 0.1, "wrong"
    if seeded.random() < 0.5:
        earlier.unit_errors.update((unit, part.unit) for unit in part.units)
    return earlier


@pytest.mark.parametrize("key", ["rough", *MODULES])
@pytest.mark.parametrize("typed", [near_misses, at_the_edges, scraps])
def test_a_plain_number_is_marked_the_same_on_both_ways(key, typed):
    seeded, verdicts, made = random.Random(SEED), set(), rough()
    for trainee in range(40 if key != "rough" else 400):
        module, truth = drawn(key, trainee) if key != "rough" else (made, Truth(made, {"m96.e": {"x": trainee % 41}}))
        for exercise, part, path in module.parts():
            if not isinstance(part, Number):
                continue
            chosen = seeded.choice(["", *part.units, "furlong" if typed is scraps else ""])
            answer = Answer(typed(truth, path, part, seeded), chosen, exercise.version)
            earlier = before(truth, part, seeded)
            again = Earlier(earlier.own, earlier.settled, set(earlier.unit_errors))
            short = mark_number(truth, path, part, answer, earlier)
            long = mark_numbers(truth, path, part, answer, again)
            assert short == long, f"seed {SEED}, {path}: {answer.raw} {answer.unit}"
            assert earlier.unit_errors == again.unit_errors, f"seed {SEED}, {path}"
            verdicts.add(short.verdict)
    assert {"wrong", "unreadable"} <= verdicts if typed is scraps else {"right", "slip", "wrong"} <= verdicts


@pytest.mark.parametrize(("raw", "slip"), [("16", "by-1.6"), ("16.4", "by-1.6"), ("16.6", "by-1.7"), ("17", "by-1.7")])
def test_of_two_slips_the_nearer_one_is_named(raw, slip):
    made = rough()
    truth, part = Truth(made, {"m96.e": {"x": 40}}), made.exercises[0].parts[0]
    assert mark_number(truth, "m96.e.wide", part, Answer(raw), Earlier()).slip == slip


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
