"""Every kind of answer: how it is written, how it is read, what it earns."""

import itertools
import json
from collections import Counter
from dataclasses import replace
from random import Random

import pytest
from hypothesis import given as examples
from hypothesis import settings
from hypothesis import strategies as st

from grader import catalogue
from grader.bench.part import Bench
from grader.errors import Unreadable
from grader.exercise import variant
from grader.exercise.sorting import Batch
from grader.exercise.truth import Truth
from grader.marking import feedback, proof
from grader.marking.reading import read
from grader.marking.verdict import VERDICTS, earned
from tests.marking.bench_parts import (
    BATCH,
    CHOICES,
    EXERCISE,
    FIRING,
    GIVEN,
    MODULE,
    ORDER,
    PARTS,
    PLOT,
    RANGE,
    SPACE,
    WRITTEN,
    kinds,
    marks,
    one,
)


def test_every_kind_is_tried_here():
    assert {type(part) for part in PARTS} | {Bench} == set(kinds())  # a session at the bench: tests/bench


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.key)
def test_what_a_form_writes_is_read_back_and_earns_everything(part):
    right = Truth(MODULE, {"m98.all": GIVEN}).answer(f"m98.all.{part.key}")
    text = part.typed(right, SPACE)
    assert isinstance(text, str) and read(part, text, "", SPACE).echo
    mark = one(part.key, text)
    if part is WRITTEN:
        assert (mark.verdict, mark.hundredths) == ("awaiting", None)
    else:
        assert (mark.verdict, mark.hundredths) == ("right", part.marks * 100)
    assert feedback.shown(part, right, SPACE) and feedback.expected(part, mark)


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.key)
@settings(max_examples=150)
@examples(typed=st.text(max_size=30))
def test_any_text_gets_a_verdict_and_a_sentence(part, typed):
    mark = one(part.key, typed)
    assert mark.verdict in VERDICTS and (mark.hundredths is None or 0 <= mark.hundredths <= mark.most)
    assert feedback.say(part, mark).strip().endswith((".", "?"))


@pytest.mark.parametrize(
    ("typed", "verdict", "hundredths"),
    [
        ("51 to 57", "right", 200),
        ("51…57 °", "right", 200),
        ("51-57", "right", 200),
        ("51 – 57 deg dist", "right", 200),
        ("51° to 57°", "right", 200),
        ("57 to 51", "right", 200),
        ("102 ° crank to 114 ° crank", "right", 200),
        ("50.5 and 57.5", "right", 200),
        ("33 to 39", "slip", 0),
        ("51 to 60", "partly right", 100),
        ("50.4 to 57.6", "wrong", 0),
        ("-51 to -57", "wrong sign", 0),
        ("5.1 to 5.7", "power of ten", 0),
        ("54", "unreadable", 0),
        ("51 to 54 to 57", "unreadable", 0),
        ("51 ms to 57 ms", "wrong kind of unit", 0),
    ],
)
def test_range(typed, verdict, hundredths):
    mark = one("dwell", typed)
    assert (mark.verdict, mark.hundredths) == (verdict, hundredths)


def test_a_unit_written_once_counts_for_both_ends():
    assert read(RANGE, "102 to 114", "° crank").value == (51.0, 57.0)
    assert read(RANGE, "102 – 114 ° crank").value == (51.0, 57.0)
    assert read(RANGE, "-3 to 4").value == (-3.0, 4.0)


def test_reading_off_a_plot():
    """Half a minor division (0.5) and slope 2 times half an x-division (0.25) make 1.0."""
    truth = Truth(MODULE, {"m98.all": GIVEN})
    assert truth.tolerance("m98.all.plot") == pytest.approx(1.0, rel=1e-6)
    assert one("plot", "11.0").verdict == "right" and one("plot", "11.1").verdict == "wrong"


def test_nobody_reads_closer_than_three_pixels():
    assert PLOT.half_step == 0.5 and replace(PLOT, pixel=0.4).half_step == pytest.approx(1.2)


@pytest.mark.parametrize(
    ("typed", "verdict", "hundredths"),
    [
        ("a;c;d", "right", 300), ("d, a, c", "right", 300), ('["c","a","d"]', "right", 300),
        ("a;c", "partly right", 200), ("a;b", "wrong", 0), ("a;b;c;d;e", "partly right", 100), ("a", "slip", 100),
        ("none", "wrong", 0), ("a;a", "unreadable", 0), ("a;z", "unreadable", 0),
    ],
)  # fmt: skip
def test_several_choices(typed, verdict, hundredths):
    mark = one("several", typed)
    assert (mark.verdict, mark.hundredths) == (verdict, hundredths)


@pytest.mark.parametrize(
    ("typed", "verdict", "hundredths", "slip"),
    [
        ("dwell>idle>plug>read>turn", "right", 400, ""),
        ('["dwell", "idle", "plug", "read", "turn"]', "right", 400, ""),
        ("idle>dwell>plug>read>turn", "partly right", 320, ""),
        ("turn>idle>plug>read>dwell", "slip", 0, "timing-first"),
        ("dwell>idle>read>plug>turn", "slip", 0, "not-plugged"),
        ("dwell>idle>read>turn", "slip", 0, "not-plugged"),
        ("dwell>plug>read>turn", "partly right", 80, ""),
        ("dwell>idle>fly", "unreadable", 0, ""),
    ],
)
def test_order(typed, verdict, hundredths, slip):
    mark = one("steps", typed)
    assert (mark.verdict, mark.hundredths, mark.slip) == (verdict, hundredths, slip)
    if slip:
        assert feedback.say(ORDER, mark) in [critical.says for critical in ORDER.critical]


def test_only_the_pairs_that_matter_count():
    """Where two steps may change places, either order of them is right."""
    part = replace(ORDER, pairs=(("dwell", "turn"), ("plug", "read"), ("read", "turn")), critical=())
    right = part.answer(SPACE)
    assert part.share(right, ("idle", "dwell", "plug", "read", "turn")) == 1
    assert part.share(right, ("dwell", "idle", "read", "plug", "turn")) == pytest.approx(1 / 3)


def test_keys_that_cannot_stand_in_a_list_are_an_authors_mistake():
    for key in ("a;b", " a", "none", "a>b", ""):
        with pytest.raises(ValueError, match="cannot stand in a list"):
            type(CHOICES)("c", "", 1, {key: "", "b": ""}, lambda v: (), ())
    with pytest.raises(ValueError, match="none called"):
        type(ORDER)("o", "", 1, {"a": "", "b": ""}, lambda v: ("a", "b"), (), pairs=(("a", "c"),))


def test_guessing_an_order_earns_little():
    """The raw share of right pairs would give a guesser half; 1 - 2 bad/pairs gives him a tenth or so."""
    right = tuple("abcdef")
    bare = type(ORDER)("o", "", 1, dict.fromkeys(right, ""), lambda v: right, ())
    shares = [bare.share(right, guess) for guess in itertools.permutations(right)]
    assert sum(shares) / len(shares) < 0.16


@pytest.mark.parametrize(
    "typed",
    [
        "1-3-4-2",
        "3 4 2 1",
        "1,3,4,2",
        "1342",
        "[1, 3, 4, 2]",
        "4–2–1–3",
        "1/3/4/2",
        "1.3.4.2",
        "1→3→4→2",
        "1\u20113\u20114\u20112",
        "1 | 3 | 4 | 2",
    ],
)
def test_a_firing_order_may_begin_anywhere(typed):
    assert one("firing", typed).verdict == "right"
    assert read(FIRING, typed).echo == "1-3-4-2"


def test_firing_order_slips_and_parts():
    backwards = one("firing", "1-2-4-3")
    assert (backwards.verdict, backwards.slip, backwards.hundredths) == ("slip", "reversed", 0)
    assert one("firing", "1-2-3-4").verdict == "wrong"
    assert one("firing", "1-5-3-6-2-4").verdict == "wrong"  # of another engine
    near = one("firing", "1-8-4-3-6-5-2-7", cylinders=8)
    assert (near.verdict, near.hundredths) == ("partly right", 50)  # 3 of 8 "fires next" broken
    for typed in ("1-3-3-2", "1-3-5-2", "first", "0-1-2"):
        assert one("firing", typed).verdict == "unreadable"


BATCH_RIGHT = "A1=keep;A2=undecided;A3=reject;A4=keep;A5=reject;A6=keep"


@pytest.mark.parametrize(
    ("typed", "verdict", "hundredths", "by_cost"),
    [
        (BATCH_RIGHT, "right", 400, 400),
        (BATCH_RIGHT.replace("A2=undecided", "A2=keep"), "right", 400, 400),
        (BATCH_RIGHT.replace("A2=undecided", "A2=reject"), "right", 400, 400),
        ("A1=keep;A3=reject;A4=keep;A5=reject;A6=keep", "right", 400, 400),  # the borderline one left out
        (BATCH_RIGHT.replace("A1=keep", "A1=reject"), "partly right", 240, 267),  # a good one scrapped: 1 of 5
        (BATCH_RIGHT.replace("A1=keep;", ""), "partly right", 240, 267),  # not sorted
        (BATCH_RIGHT.replace("A1=keep", "A1=undecided"), "partly right", 320, 333),
        (BATCH_RIGHT.replace("A3=reject", "A3=undecided"), "partly right", 320, 333),
        (BATCH_RIGHT.replace("A3=reject", "A3=keep"), "partly right", 80, 0),  # a bad one kept
        (";".join(f"A{i}=keep" for i in range(1, 7)), "wrong", 0, 0),
        (";".join(f"A{i}=reject" for i in range(1, 7)), "wrong", 0, 0),
        (";".join(f"A{i}=undecided" for i in range(1, 7)), "wrong", 0, 67),
        ("A9=keep", "unreadable", 0, 0),
        ("A1=perhaps", "unreadable", 0, 0),
        ("A1=keep;A1=reject", "unreadable", 0, 0),
    ],
)
def test_batch(typed, verdict, hundredths, by_cost):
    """Five of the six can be told: each is a fifth. Before, errors were held against the cheaper heap: 3 x 1."""
    mark = one("batch", typed)
    assert (mark.verdict, mark.hundredths) == (verdict, hundredths)
    assert one("by_cost", typed).hundredths == by_cost


def test_a_bad_one_kept_costs_more_than_a_good_one_scrapped():
    right = BATCH.answer(SPACE)
    kept = 1 - BATCH.share(right, ("keep", "keep", "keep", "keep", "reject", "keep"))
    scrapped = 1 - BATCH.share(right, ("reject", "keep", "reject", "keep", "reject", "keep"))
    assert kept == pytest.approx(2 * scrapped) and scrapped == pytest.approx(2 / 5)


def test_one_error_of_eight_costs_the_same_whatever_was_drawn():
    """Held against the cheaper heap the same slip of the hand cost all marks or a sixth of them, as the draw fell out."""
    for bad in range(1, 8):
        right = ("reject",) * bad + ("keep",) * (8 - bad)
        scrapped, kept = (*right[:-1], "reject"), ("keep", *right[1:])
        assert BATCH.share(right, scrapped) == pytest.approx(6 / 8)
        assert BATCH.share(right, kept) == pytest.approx(4 / 8)


@pytest.mark.parametrize("module", catalogue.all_modules().values(), ids=lambda module: module.key)
def test_sorting_blindly_earns_a_tenth_at_most(module):
    """Whoever throws dice over keep and reject, undecided too or not, or puts all on one heap, shows nothing."""
    random, ways = Random(20260301), (("keep", "reject"), ("keep", "reject", "undecided"), ("keep",), ("reject",),
                                      ("undecided",))  # fmt: skip
    truths = [Truth(module, numbers) for numbers in proof.draws(module, 300)]
    for part, path in ((part, path) for _, part, path in module.parts() if isinstance(part, Batch)):
        rights = [truth.answer(path) for truth in truths for _ in range(4)]
        for heaps in ways:
            shares = [part.share(right, [random.choice(heaps) for _ in right]) for right in rights]
            assert sum(shares) / len(shares) <= 0.10, (path, heaps)


class TestItems:
    """Whoever sorts, orders or ticks wrongly hears which one, and why where the exercise says so."""

    def items(self, key, typed):
        mark = one(key, typed)
        part = MODULE.by_path[f"m98.all.{key}"][1]
        return [(item.says, item.why) for item in part.wrong_items(mark.expected, mark.own, SPACE, part.because(SPACE))]

    def test_sorting(self):
        kv = "It fires at {} kV, and 10 are allowed."
        assert self.items("batch", BATCH_RIGHT) == []
        assert self.items("batch", "A1=reject;A2=keep;A3=keep;A4=undecided;A5=reject") == [
            ("You rejected A1.", kv.format(7)), ("You kept A3.", kv.format(12)),
            ("You left A4 undecided, but it can be told.", kv.format(8.5)), ("You did not sort A6.", ""),
        ]  # fmt: skip

    def test_several_ticks(self):
        assert self.items("several", "a;b") == [
            ("“plug white” does not apply.", "A white plug burns lean."),
            ("“lead damp” applies and is not ticked.", "Damp leads leak."),
            ("“cap cracked” applies and is not ticked.", ""),
        ]
        hints = [item.hint for item in CHOICES.wrong_items(("a", "c", "d"), ("a", "b"))]
        assert hints == ["", "2 that apply are not ticked.", "2 that apply are not ticked."]

    def test_an_order(self):
        """A step that was pulled far forward is told by the next one that it overtook."""
        assert self.items("steps", "dwell>plug>idle>turn") == [
            ("“read the mark” is left out.", "Without it nobody knows."),
            ("“bring the idle down” must come before “plug the line”.", "The idle is set with the line on."),
        ]
        assert self.items("steps", "read>dwell>idle>plug>turn") == [
            ("“plug the line” must come before “read the mark”.", "Plug the line first, or the vacuum is counted in."),
        ]
        part = replace(ORDER, answer=lambda v: ("dwell", "idle", "read"))
        said = part.wrong_items(("dwell", "idle", "read"), ("turn", "dwell", "idle", "read"))
        assert [item.says for item in said] == ["“turn the distributor” does not belong here."]

    @pytest.mark.parametrize("part", [ORDER, CHOICES, BATCH], ids=lambda part: part.key)
    def test_nothing_is_told_of_a_right_answer_and_something_of_a_wrong_one(self, part):
        right, random = part.answer(SPACE), Random(7)
        assert part.wrong_items(tuple(right), tuple(right), SPACE) == []
        keys = list(part.options) if part is CHOICES else list(part.items) if part is ORDER else None
        for _ in range(300):
            own = (
                tuple(random.sample(keys, random.randint(1, len(keys)))) if keys
                else tuple(random.choice(("keep", "reject", "undecided", "")) for _ in right)
            )  # fmt: skip
            assert bool(part.wrong_items(right, own, SPACE)) == (part.share(right, own) < 1), own


class TestWritten:
    def test_it_waits_and_is_never_nothing_by_itself(self):
        found = marks(why="The weights were out.", gap="0.64")
        assert (found.state, found.pending, found.hundredths) == ("partly marked", 300, 200)
        assert found.exercise_hundredths("m98.all") is None

    def test_without_it_the_sheet_is_marked(self):
        found = marks(gap="0.64")
        assert (found.state, found.pending, found.exercise_hundredths("m98.all")) == ("marked", 0, 200)

    def test_the_rubric_adds_up(self):
        with pytest.raises(ValueError, match="do not add up"):
            type(WRITTEN)("w", "", 4, (("one", 1),), lambda v: "", ())


class TestUnits:
    def test_the_same_unit_error_is_charged_once(self):
        """Edexcel's scheme of June 2010 takes the mark for a wrong unit once in a paper; reference from memory."""
        found = {m.path.rpartition(".")[2]: m for m in marks(gap=("0.64", "in"), wide=("1.28", "in")).parts}
        assert [found[k].verdict for k in ("gap", "wide")] == ["wrong unit", "wrong unit"]
        assert [found[k].hundredths for k in ("gap", "wide")] == [100, 200]
        assert "charged once" in feedback.say(PARTS[0], found["gap"])
        assert "costs nothing here" in feedback.say(PARTS[1], found["wide"])

    def test_another_unit_error_is_charged_again(self):
        found = {m.path.rpartition(".")[2]: m for m in marks(gap=("0.0252", "mm"), wide=("1.28", "in")).parts}
        assert [found[k].hundredths for k in ("gap", "wide")] == [100, 100]

    def test_a_wrong_figure_is_no_unit_error(self):
        assert one("gap", "0.7", "in").verdict == "wrong"


def test_steps_are_never_shown_in_a_right_order():
    for number in range(150):
        drawn = variant.draw(MODULE, key=bytes(32), term="t", trainee=f"t{number}", attempt=1)["m98.all"]
        assert tuple(drawn["order_steps"]) != ORDER.answer(None)
        assert json.loads(json.dumps(drawn)) == drawn
        assert sorted(drawn["order_several"]) == sorted(CHOICES.options)


def test_a_batch_without_a_bad_one_is_not_issued():
    given = {**GIVEN, "fires_kv": [7.0, 8.0, 9.0]}
    assert not variant.separate(MODULE, (EXERCISE,), {"m98.all": given})
    assert variant.separate(MODULE, (EXERCISE,), {"m98.all": GIVEN})


def test_every_verdict_has_a_sentence_for_every_kind():
    seen = Counter()
    for part in PARTS:
        for typed in (
            "",
            "x",
            "1",
            "-0.64",
            "6.4",
            "0.64 V",
            "51 to 60",
            "a;c",
            "a;b",
            "1-2-3-4",
            "dwell>idle",
            "A1=keep",
        ):
            mark = one(part.key, typed)
            seen[mark.verdict] += 1
            assert feedback.say(part, mark)
    assert len(seen) >= 8


@pytest.mark.parametrize("typed", ["[1, {}]", "[" * 5000, '["a", null]', "[true]"])
def test_damaged_lists_are_refused_in_a_sentence(typed):
    for part in (CHOICES, ORDER, FIRING, BATCH):
        with pytest.raises(Unreadable):
            read(part, typed, "", SPACE)


def test_half_a_hundredth_of_a_mark_is_rounded_up():
    """3 marks, and 7 of 24 of the worst cost: 212.5 hundredths are 213; binary made 212 of them."""
    for most in range(1, 6):
        for worst in range(1, 49):
            for spent in range(worst + 1):
                assert earned(most, 1 - spent / worst) == (200 * most * (worst - spent) + worst) // (2 * worst)
