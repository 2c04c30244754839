"""Before a part is fitted: what would prove you wrong, what proves it, and when the ignition is sound."""

import re
from functools import cache
from itertools import combinations
from types import MappingProxyType

from grader.bench.instruments import instruments
from grader.bench.owner import complaint_words
from grader.bench.signs import signs
from grader.errors import OutOfRange
from grader.exercise import listing
from grader.exercise.kinds import Choices
from grader.exercise.model import Choice, Exercise, Line, Slip
from grader.exercise.spread import Pick, Steps
from grader.modules.diagnosis.table import (
    ENGINES,
    LETTERS,
    MANY,
    STRIDES,
    complaint_of,
    few,
    ignition_faults,
    measured,
    name,
    one_of,
    quiet,
    result,
    sound_word,
    telling,
    title,
    word,
)
from grader.vehicle.faults import fault


@cache
def _refutable():
    """(fault, a measured sign that it puts out, three or more results that it gives)."""
    rows = []
    for key in ignition_faults():
        for sign in telling(key):
            if sign in measured():
                agreeing = [(other, word(key, other)) for other in telling(key) if other != sign]
                calm = [(other, sound_word(other)) for other in quiet(key) if other in measured()]
                if len(calm) >= 3:
                    rows.append((key, sign, tuple(agreeing), tuple(calm)))
    return tuple(rows)


def _four_results(parameters):
    key, sign, agreeing, calm = one_of(_refutable(), parameters["which"])
    lines = [result(sign, sound_word(sign))]
    lines += [result(*pair) for pair in few(agreeing, parameters["start"], 1, 1)] if agreeing else []
    out = len(lines)
    lines += [result(*pair) for pair in few(calm, parameters["start"], parameters["stride"], 4 - len(lines))]
    order = few(range(4), parameters["turn"], parameters["step"], 4)
    return {
        "fault": key, "sign": sign, "lines": [lines[at] for at in order],
        "against": str(order.index(0) + 1), "agrees": str(order.index(1) + 1) if out == 2 else "",
    }  # fmt: skip


PROVE_WRONG = Exercise(
    key="m06.prove_wrong",
    version=1,
    marking=1,
    title="What would prove you wrong?",
    text=(
        "{engine}. The owner says: “{words}” You suspect: {fault}. Before you say so aloud, ask what you would have to "
        "read if it were something else. Which result would prove you wrong?{lines}"
    ),
    draw={"engine": Pick(ENGINES), "which": MANY, "start": MANY, "stride": Pick(STRIDES), "turn": MANY, "step": Pick((1, 3))},
    fill=_four_results,
    show=lambda v: {
        "engine": title(v.engine),
        "words": complaint_of(v.fault),
        "fault": name(v.fault)[0].lower() + name(v.fault)[1:],
        "lines": listing.lines(f"({number}) {line}" for number, line in enumerate(v.lines, 1)),
    },
    parts=(
        Choice(
            key="line", prompt="It would prove you wrong", marks=2, objectives=("G5",), order="fixed",
            options=MappingProxyType({str(number): f"Result {number}" for number in range(1, 5)}),
            signs=MappingProxyType({
                str(number): "With your fault you would read just that, and with many others too: it decides nothing."
                for number in range(1, 5)
            }),
            answer=lambda v: v.against,
            slips=(
                Slip("agreeing",
                     "That result agrees with your suspicion. What agrees never proves you wrong: look for what your fault forbids.",
                     lambda v: v.agrees or None),
            ),
        ),
    ),
    route=lambda v: (
        f"With this fault: {result(v.sign, word(v.fault, v.sign)).lower()}.",
        Line(f"So result {v.against} speaks against it. The other three it gives as well.", "line"),
    ),
)  # fmt: skip

_OF_SYSTEM = MappingProxyType({  # instruments that say nothing of a fault in that system while they read in limits
    "primary": ("hand_pump", "tdc", "compression", "lead_ohms", "leak_hunt"),
    "points": ("hand_pump", "tdc", "compression", "lead_ohms", "leak_hunt"),
    "advance": ("lead_ohms", "compression", "condenser", "polarity", "leak_hunt"),
    "secondary": ("hand_pump", "tdc", "timing_rise", "condenser"),
    "plugs": ("hand_pump", "tdc", "timing_rise", "condenser", "crank_volts"),
})  # fmt: skip
_TRAP, _HEARSAY = "trap", "hearsay"


def _shown_by(tool, key):
    """What an instrument shows with a fault, as words; nothing where engines differ in all of it."""
    shown = [(sign, word(key, sign)) for sign in instruments()[tool].signs]
    out = [pair for pair in shown if pair[1] and pair[1] != sound_word(pair[0])]
    calm = [pair for pair in shown if pair[1] and pair[1] == sound_word(pair[0])]
    return "; ".join(result(*pair).lower() for pair in (out or calm[:1]))


@cache
def _provable():
    """(fault, instruments that prove it, instruments that say nothing of it)."""
    rows = []
    for key in ignition_faults():
        named = tuple(dict.fromkeys(re.split("[&|]", fault(key).proof_by)))
        tools = tuple(tool for tool in named if tool not in ("swap", "soak", "road"))
        other = tuple(
            tool
            for tool in _OF_SYSTEM.get(fault(key).system, ())
            if tool not in named and all(word(key, sign) == sound_word(sign) for sign in instruments()[tool].signs)
        )
        if tools and len(tools) < 4 and all(_shown_by(tool, key) for tool in tools) and len(other) >= 2:
            rows.append((key, tools, other))
    return tuple(rows)


def _six_acts(parameters):
    key, tools, other = one_of(_provable(), parameters["which"])
    acts = [*tools, _TRAP, _HEARSAY]
    acts += few(other, parameters["start"], parameters["stride"], 6 - len(acts))
    return {"fault": key, "acts": few(acts, parameters["turn"], parameters["step"], len(acts))}


def _act(v, act):
    if act == _TRAP:
        return "New plugs were fitted for a trial drive: the complaint is gone."
    if act == _HEARSAY:
        return "The owner heard from the last garage that it was just this."
    return f"{instruments()[act].title}: {_shown_by(act, v.fault)}."


def _proves(v):
    return tuple(LETTERS[at] for at, act in enumerate(v.acts) if act in re.split("[&|]", fault(v.fault).proof_by))


def _why_act(v):
    told = {
        _TRAP: "New plugs hide almost any weakness for some thousand miles, so they prove none.",
        _HEARSAY: "What was heard is a hint where to look, and no reading.",
    }
    return {
        LETTERS[at]: told.get(
            act,
            "It belongs to the proof of this fault."
            if LETTERS[at] in _proves(v)
            else "It reads so with and without this fault.",
        )
        for at, act in enumerate(v.acts)
    }


PROOF = Exercise(
    key="m06.proof",
    version=1,
    marking=1,
    title="What proves it?",
    text=(
        "{engine}. The owner says: “{words}” The suspicion: {fault}. These stand on the sheet:{acts}"
        "Tick all that belong to the proof, before any part is ordered."
    ),
    draw={"engine": Pick(ENGINES), "which": MANY, "start": MANY, "stride": Pick(STRIDES), "turn": MANY, "step": Pick((1, 5))},
    fill=_six_acts,
    show=lambda v: {
        "engine": title(v.engine),
        "words": complaint_of(v.fault),
        "fault": name(v.fault)[0].lower() + name(v.fault)[1:],
        "acts": listing.lines(f"{LETTERS[at]}: {_act(v, act)}" for at, act in enumerate(v.acts)),
    },
    parts=(
        Choices(
            key="acts", prompt="Belongs to the proof", marks=3, objectives=("G4", "G6"), order="fixed",
            options=MappingProxyType({letter: f"Entry {letter}" for letter in LETTERS[:6]}),
            answer=_proves,
            because=_why_act,
            slips=(
                Slip("new-plug-trap",
                     "You took the cure by new plugs for a proof. Fresh plugs hide a weak system, and the complaint comes back.",
                     lambda v: tuple(sorted((*_proves(v), LETTERS[v.acts.index(_TRAP)])))),
            ),
        ),
    ),
    route=lambda v: (
        f"The proof: {fault(v.fault).proof}.",
        Line("It stands in: " + ", ".join(_proves(v)) + ".", "acts"),
    ),
)  # fmt: skip

# Faults by what is to be done with the car; what each shows beside the ignition's quiet readings.
_HANDED = MappingProxyType({
    "mechanical": (
        ("valve_low", (("compression", "one↓"), ("vacuum", "regular"))),
        ("head_gasket", (("compression", "two↓"), ("cutout", "two"))),
        ("exhaust_blocked", (("vac_hold", "low"), ("power", "low"))),
        ("plug_oil", (("compression", "one↓"), ("plugs", "oil_one"))),
    ),
    "mixture": (
        ("manifold_leak", (("air_leak", "found"), ("cutout", "one"))),
        ("choke_stuck", (("under_bonnet", "choke"), ("plugs", "soot_all"))),
        ("fuel_starved", (("miss_h", "x"), ("spit", "x"))),
    ),
    "ignition": (
        ("gap_small", (("dwell", "H"), ("mark", "R"))),
        ("points_burnt", (("drop", "H"), ("coil_kv", "↓"))),
        ("coil_weak", (("coil_kv", "↓"), ("lead_kv", "↓"))),
        ("condenser_open", (("condenser", "open"), ("coil_kv", "↓"))),
        ("lead_leaky", (("lead_kv", "one↓"), ("dark", "lead"))),
        ("cap_track", (("lead_kv", "two↓"), ("cap_look", "track"))),
        ("timing_late", (("mark", "R"), ("power", "low"))),
        ("weights_seized", (("rise_mid", "0"), ("rise_top", "0"))),
        ("diaphragm_punctured", (("pump", "F"),)),
        ("coil_reversed", (("polarity", "rev"),)),
        ("breaker_spring_weak", (("dwell_top", "L"),)),
        ("feed_resistance", (("feed", "L"), ("lead_kv", "↓"))),
    ),
    "nothing": (("none", ()),),
})  # fmt: skip
_QUIET = ("coil_kv", "lead_kv", "dwell", "dwell_top", "drop", "feed", "condenser", "mark", "rise_mid", "rise_top", "pump",
          "polarity", "tester", "lead_ohm", "cap_look")  # fmt: skip
_ENGINE_QUIET = ("compression", "air_leak", "vacuum", "vac_hold", "under_bonnet")


def _job_sheet(parameters):
    key, shown = one_of(_HANDED[parameters["case"]], parameters["which"])
    told = [list(pair) for pair in shown]
    calm = [sign for sign in _QUIET if word(key, sign) == sound_word(sign)]
    calm = few(calm, parameters["start"], parameters["stride"], 5)
    engine = [] if parameters["case"] in ("mechanical", "mixture") else few(_ENGINE_QUIET, parameters["start"], 1, 2)
    told += [[sign, sound_word(sign)] for sign in (*engine, *calm)]
    return {"fault": key, "readings": few(told[:7], parameters["turn"], parameters["step"], 7)}


SOUND = Exercise(
    key="m06.sound",
    version=1,
    marking=1,
    title="Whose job is this car?",
    text=(
        "{engine}. The owner says: “{words}” You met it yourself on the road{met}. All readings were taken rightly and "
        "twice:{readings}What do you do with the car?"
    ),
    draw={"engine": Pick(ENGINES), "case": Pick(tuple(_HANDED)), "which": MANY, "start": MANY, "stride": Pick(STRIDES),
          "turn": MANY, "step": Pick((1, 2, 3, 5)), "complaint": Steps(0, 4)},
    fill=_job_sheet,
    show=lambda v: {
        "engine": title(v.engine),
        "words": complaint_words()[("misfire_load", "misfire_speed", "sluggish", "thirsty", "rough_idle")[v.complaint]]
        if v.case == "nothing" else complaint_of(v.fault),
        "met": ", once, as he drove it: he pressed the pedal from idle in top gear. Driven as it should be, it does not"
        if v.case == "nothing" else "",
        "readings": listing.lines(f"{result(*pair)}" for pair in v.readings),
    },
    parts=(
        Choice(
            key="do", prompt="You", marks=2, objectives=("G9",),
            options=MappingProxyType({
                "mechanical": "Say that the ignition is sound, and hand it over for valves, rings, gasket or exhaust.",
                "mixture": "Say that the ignition is sound, and hand it over for fuel or air.",
                "ignition": "Go on in the ignition, where a reading is out.",
                "nothing": "Give it back with what you read, and renew nothing.",
            }),
            signs=MappingProxyType({
                "mechanical": "That needs compression, vacuum or plugs that speak of valves, rings, gasket or exhaust.",
                "mixture": "That needs a sign of too much or too little air or fuel.",
                "ignition": "That needs one reading of the ignition out of its limits.",
                "nothing": "That needs every reading in its limits, those of the engine too.",
            }),
            answer=lambda v: v.case,
            slips=(
                Slip("least-bad",
                     "Every reading of the ignition is in limits. To go on there is to change the least bad part.",
                     lambda v: "ignition" if v.case in ("mechanical", "mixture") else None),
                Slip("passed-over",
                     "One reading of the ignition is out. Read the list again, line by line, with the limits beside it.",
                     lambda v: "nothing" if v.case == "ignition" else None),
            ),
        ),
    ),
    route=lambda v: (
        Line(
            "Out of limits: "
            + ("; ".join(result(*pair).lower() for pair in v.readings if pair[1] != sound_word(pair[0])) or "nothing")
            + ".",
            "do",
        ),
        Line(
            {
                "mechanical": "Nothing of the ignition gives that. It is sound: say so, and hand the car over.",
                "mixture": "Nothing of the ignition gives that. It is sound: say so, and hand the car over.",
                "ignition": "That is the ignition's own. Go on there.",
                "nothing": "Everything is in limits. To renew a part now is to guess.",
            }[v.case],
            "do",
        ),
    ),
)  # fmt: skip

_TWO = ("gap_small", "gap_wide", "points_burnt", "condenser_open", "condenser_large", "coil_weak", "coil_reversed", "battery_weak",
        "timing_late", "weights_seized", "diaphragm_punctured", "plate_seized", "lead_open", "lead_leaky", "cap_track", "leads_damp",
        "leads_crossfire", "plugs_worn", "plugs_hot", "breaker_spring_weak", "feed_resistance", "valve_low", "manifold_leak")  # fmt: skip


def _joined(keys, sign):
    """What several faults show together on a sign; None where it cannot be said."""
    shown = {word(key, sign) for key in keys}
    if None in shown:
        return None
    out = shown - {sound_word(sign)}
    return sound_word(sign) if not out else out.pop() if len(out) == 1 else None


@cache
def _pairs():
    """(two faults, readings that only both explain): each of them explains one that the other does not."""
    rows = []
    for pair in combinations(_TWO, 2):
        shown = {sign: _joined(pair, sign) for sign in signs() if signs()[sign].instrument}
        out = {sign: shown[sign] for sign in shown if shown[sign] not in (None, sound_word(sign))}
        first = tuple(sign for sign in out if word(pair[1], sign) == sound_word(sign))
        second = tuple(sign for sign in out if word(pair[0], sign) == sound_word(sign))
        calm = tuple(
            sign for sign in shown if shown[sign] == sound_word(sign) and sign in (*measured(), "lead_ohm", "tester")
        )
        if first and second and fault(pair[0]).system != fault(pair[1]).system and len(calm) >= 4:
            rows.append((pair, first[:3], second[:3], calm))
    return tuple(rows)


def _explained(keys, readings):
    return all(_joined(keys, sign) == shown for sign, shown in readings)


def _two_faults(parameters):
    pair, first, second, calm = one_of(_pairs(), parameters["which"])
    chosen = [*few(first, parameters["start"], 1, 2), *few(second, parameters["start"], 1, 2)]
    readings = [[sign, _joined(pair, sign)] for sign in chosen]
    readings += [
        [sign, sound_word(sign)] for sign in few(calm, parameters["turn"], parameters["stride"], 6 - len(readings))
    ]
    keys = list(pair)
    for key in few(_TWO, parameters["start"], parameters["stride"], len(_TWO)):
        mine = [*keys, key]
        alone = [two for size in (1, 2) for two in combinations(mine, size) if _explained(two, readings)]
        if key not in keys and alone == [pair] and len(mine) <= 6:
            keys = mine
    if len(keys) < 6:
        raise OutOfRange("Too few other faults leave a reading unexplained.")
    return {
        "pair": list(pair),
        "readings": few(readings, parameters["turn"], 1, 6),
        "faults": few(keys, parameters["turn"], parameters["step"], 6),
    }


def _both(v):
    return tuple(LETTERS[at] for at, key in enumerate(v.faults) if key in v.pair)


def _why_pair(v):
    reasons = {}
    for at, key in enumerate(v.faults):
        wrong = [pair for pair in v.readings if word(key, pair[0]) != pair[1]]
        out = [pair for pair in v.readings if pair[1] != sound_word(pair[0]) and word(key, pair[0]) == pair[1]]
        if key in v.pair:
            reasons[LETTERS[at]] = f"It alone explains: {result(*out[0]).lower()}."
        else:
            reasons[LETTERS[at]] = f"It leaves unexplained: {result(*wrong[0]).lower()}."
    return reasons


PAIR = Exercise(
    key="m06.pair",
    version=1,
    marking=1,
    title="More than one fault",
    text=(
        "{engine}. All readings were taken rightly and twice:{readings}No single fault of this list gives them all:{faults}"
        "Which two together do?"
    ),
    draw={"engine": Pick(ENGINES), "which": MANY, "start": MANY, "stride": Pick(STRIDES), "turn": MANY, "step": Pick((1, 5))},
    fill=_two_faults,
    show=lambda v: {
        "engine": title(v.engine),
        "readings": listing.lines(result(*pair) for pair in v.readings),
        "faults": listing.lines(f"{LETTERS[at]}: {name(key)}" for at, key in enumerate(v.faults)),
    },
    parts=(
        Choices(
            key="both", prompt="The two faults", marks=3, objectives=("G4", "G9"), order="fixed",
            options=MappingProxyType({letter: f"Fault {letter}" for letter in LETTERS[:6]}),
            answer=_both,
            because=_why_pair,
            slips=(
                Slip("first-only",
                     "You stopped at the first fault. It leaves a reading that is out without an explanation.",
                     lambda v: _both(v)[:1]),
                Slip("second-only",
                     "One fault alone leaves a reading that is out without an explanation. What explains that one?",
                     lambda v: _both(v)[1:]),
            ),
        ),
    ),
    route=lambda v: (
        "Out of limits: " + "; ".join(result(*pair).lower() for pair in v.readings if pair[1] != sound_word(pair[0])) + ".",
        "Take one fault: which of these readings does it leave unexplained?",
        Line(f"Together they explain all: {' and '.join(_both(v))}.", "both"),
    ),
)  # fmt: skip
