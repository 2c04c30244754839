"""Module 5: cap, rotor, leads, and what the plug must be given."""

from types import MappingProxyType

from grader.exercise.kinds import Written
from grader.exercise.model import Exercise, Module
from grader.exercise.spread import Pick, Steps
from grader.modules.secondary.cross_fire import INDUCED, LAY, LONGEST_RUN, PAIRS, SWAPPED, VICTIM, risky
from grader.modules.secondary.leads import AIR_IN_WAY, FIND_ERROR, LEAD_BATCH, LEAD_COST, LIMITS
from grader.modules.secondary.looking import DAMP_ORDER, LOOK, POLARITY, UNSAFE, WHERE
from grader.modules.secondary.voltage import NEW_PLUGS, RESERVE, WHICH_CURVE, ZONE

_EXPECTED = MappingProxyType({
    "leads": "a new set of leads",
    "cap": "a new cap and a new rotor",
    "plugs": "a hotter set of plugs",
    "coil": "a stronger coil",
})  # fmt: skip
# When the engine misses: as the owner says it, as it is told to him, and where the cure was tried.
_WHEN = MappingProxyType({
    "hill": ("under load, uphill", "under load, uphill", "Up the same hill"),
    "trailer": ("with a trailer", "with a trailer", "With the trailer on"),
    "overtaking": ("when he overtakes", "when you overtook", "When we overtook on the road"),
})  # fmt: skip
_ENGINES = MappingProxyType({"four-1342": "four-cylinder car", "four-1243": "small van", "v8-18436572": "lorry",
                             "v8-15426378": "eight-cylinder van", "v8-13726548": "eight-cylinder car"})  # fmt: skip


def _pair(v):
    pairs = risky(v.order_key)
    return pairs[v.which % len(pairs)]


def _letter(v):
    first, second = _pair(v)
    return (
        f"Your {_ENGINES[v.order_key]} missed {_WHEN[v.when][1]}. You expected {_EXPECTED[v.expected]}, but you need no part. The thick "
        f"wires that bring the spark to cylinders {first} and {second} had been taped together. These two cylinders take "
        "their sparks one after the other, and they stand side by side. When the first wire carried its spark, some of its voltage went "
        f"over to the second one, so the fuel in cylinder {second} was lit much too early. We parted the two wires and put each into its own "
        f"holder. {_WHEN[v.when][2]}, the engine then ran without a miss; with the wires together the fault came back, and parted it was gone "
        "again. We measured all wires, and they are sound. Please look every few weeks whether each wire sits in its holder, and look "
        "again after any work on the engine. If the engine misses again, come back, and we measure before we fit anything."
    )


LETTER = Exercise(
    key="m05.letter",
    version=1,
    marking=1,
    title="“But which part did you change?”",
    text=(
        "The owner of {engine_words} says that the engine misses {when_words}. He expects {expected_words}. You found the leads of cylinders "
        "{first} and {second} taped together. You parted them and put each into its own bracket. The fault went. With the leads taped "
        "together again it came back, and with the leads parted it was gone. All leads measured well. Write to the owner in six to ten sentences, politely "
        "and without trade words that you do not explain. Say what was wrong, how it was proved, why no part was "
        "needed, and what to watch from now on."
    ),
    draw={
        "order_key": Pick(tuple(_ENGINES)), "which": Steps(0, 1), "expected": Pick(tuple(_EXPECTED)), "when": Pick(tuple(_WHEN)),
    },
    show=lambda v: {
        "engine_words": f"{'an' if _ENGINES[v.order_key][0] in 'aeiou' else 'a'} {_ENGINES[v.order_key]}", "expected_words": _EXPECTED[v.expected], "first": _pair(v)[0],
        "when_words": _WHEN[v.when][0], "second": _pair(v)[1],
    },
    parts=(
        Written(
            key="text", prompt="Your letter", marks=4, objectives=("S12", "S4"),
            rubric=(
                ("says that laying the two leads apart was the cure and that no part was needed", 1),
                ("gives the proof: gone when parted, back when taped, gone again", 1),
                ("says what to watch: each lead in its own holder, also after other work", 1),
                ("explains what happened in plain words, stays polite, blames nobody", 1),
            ),
            answer=_letter,
        ),
    ),
    route=lambda v: (
        "Say first what was wrong: two leads side by side.",
        "Then the proof: parted, together again, parted.",
        "Then why no part: every lead measured well.",
        "Last what the owner can watch.",
    ),
)  # fmt: skip

MODULE = Module(
    key="m05_secondary",
    title="Cap, rotor and leads",
    minutes=90,
    # In the order of the lesson.
    exercises=(
        UNSAFE, AIR_IN_WAY, LOOK, WHERE, LIMITS, LEAD_BATCH, LEAD_COST, FIND_ERROR, LAY, SWAPPED,
        PAIRS, VICTIM, INDUCED, LONGEST_RUN, POLARITY, RESERVE, ZONE, WHICH_CURVE, NEW_PLUGS, DAMP_ORDER, LETTER,
    ),
)  # fmt: skip
