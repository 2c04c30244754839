"""What a reading is worth: near its limit, void, impossible; and which part of the vehicle it speaks of."""

from collections.abc import Callable, Mapping
from types import MappingProxyType

from grader.bench.signs import DROP_V, DWELL_DEG, LOW_VOLTS, MARK_DEG, PUMP_FALL_INHG
from grader.exercise import listing
from grader.exercise.kinds import Choices
from grader.exercise.model import Choice, Exercise, Line, Slip
from grader.exercise.spread import Pick, Steps
from grader.modules.diagnosis.table import ENGINES, LETTERS, MANY, STRIDES, few, title
from grader.vehicle.car import card
from grader.vehicle.spec import vehicle

STANDING = 0.913  # battery volts of the standing engine beside those of the running one [common practice]


def _supply_v(engine):
    """Volts at the coil of a standing engine with the points closed: coil and ballast share the battery's."""
    made = card(engine)
    return STANDING * made.running_v * made.coil_ohm / (made.coil_ohm + made.ballast_ohm)


# What is read, its limits as (low, high) with None for an open side, unit, places, scatter of one
# reading, and how it can be taken wrongly. Scatter: practice, as the bench's instruments have it.
_READINGS: Mapping[str, tuple[str, Callable, str, int, float, str]] = MappingProxyType({
    "dwell": (
        "Dwell at idle", lambda e: (vehicle(e).dwell_deg - DWELL_DEG[vehicle(e).cylinders],
                                    vehicle(e).dwell_deg + DWELL_DEG[vehicle(e).cylinders]),
        "°", 1, 0.5, "the meter's switch stood on another number of cylinders"),
    "mark": (
        "Initial timing, line off and plugged", lambda e: (vehicle(e).initial_deg - MARK_DEG, vehicle(e).initial_deg + MARK_DEG),
        "°", 1, 1.0, "the engine idled 250 rev/min above the manual's idle speed"),
    "drop": (
        "Drop across the closed points", lambda e: (None, DROP_V), "V", 2, 0.02, "the points stood half open, on the flank of the cam"),
    "condenser": ("Capacity of the condenser", lambda e: (0.15, 0.30), "µF", 2, 0.02, "its lead was still on the distributor"),
    "compression": (
        "Lowest cylinder's compression", lambda e: (0.85 * card(e).compression_psig, None), "psi", 0, 5.0,
        "the throttle was shut"),
    "pump": (
        "Fall on the hand pump in 30 s, from 15 inHg", lambda e: (None, PUMP_FALL_INHG), "inHg", 1, 0.5,
        "the pump's own hose had a split, as was seen afterwards"),
    "feed": (
        "Coil supply with the points closed", lambda e: (LOW_VOLTS * _supply_v(e), None), "V", 1, 0.15,
        "the points stood open"),
})  # fmt: skip
_FAR = ("in", "out", "again", "void")


def _drawn_reading(parameters):
    _, limits, _, places, scatter, _ = _READINGS[parameters["what"]]
    low, high = limits(parameters["engine"])
    upper = high is not None and (low is None or parameters["side"] > 0)
    bound = high if upper else low
    assert bound is not None  # every reading has at least one limit, and `upper` says which
    limit = round(bound, places)
    inside = {"in": 1, "out": -1, "again": parameters["sign"], "void": parameters["sign"]}[parameters["case"]]
    away = parameters["near"] / 10 if parameters["case"] == "again" else parameters["far"] / 10
    if parameters["case"] == "in" and low is not None and high is not None:
        away = min(away, 0.9 * (high - low) / 2 / scatter)  # no farther in than the middle
    read = max(round(limit + (-inside if upper else inside) * away * scatter, places), 0.0)
    return {"low": low, "high": high, "limit": limit, "read": read, "scatter": scatter}


def _limit_words(v):
    words, _, unit, places, scatter, wrongly = _READINGS[v.what]
    ends = {
        (True, True): lambda: f"{v.low:.{places}f} to {v.high:.{places}f} {unit}",
        (True, False): lambda: f"not below {v.low:.{places}f} {unit}",
        (False, True): lambda: f"not above {v.high:.{places}f} {unit}",
    }[v.low is not None, v.high is not None]()
    return {
        "engine": title(v.engine),
        "what": words,
        "ends": ends.replace(" °", "°"),
        "scatter": f"{scatter:g} {unit}".replace(" °", "°"),
        "read": f"{v.read:.{places}f} {unit}".replace(" °", "°"),
        "taken": f"As you note it you see that {wrongly}." if v.case == "void" else "It was taken as it must be.",
    }


def _side_of_limit(v):
    return "in" if (v.low is None or v.read >= v.low) and (v.high is None or v.read <= v.high) else "out"


LIMIT = Exercise(
    key="m06.limit",
    version=1,
    marking=1,
    title="In, out, or no result yet?",
    text=(
        "{engine}. {what}: the limit is {ends}. Readings of one and the same thing with your instrument scatter by "
        "± {scatter}. It reads {read}. {taken} What is this reading worth?"
    ),
    draw={"engine": Pick(ENGINES), "what": Pick(tuple(_READINGS)), "case": Pick(_FAR), "side": Pick((-1, 1)),
          "sign": Pick((-1, 1)), "near": Steps(2, 8), "far": Steps(25, 45)},
    fill=_drawn_reading,
    show=_limit_words,
    parts=(
        Choice(
            key="worth", prompt="It is", marks=2, objectives=("G3",), order="fixed",
            options=MappingProxyType({
                "in": "In limits: note it and go on.",
                "out": "Out of limits: a result to go by.",
                "again": "No result yet: it lies nearer to the limit than readings scatter, so read again.",
                "void": "Void: put right how it is taken, then take it anew.",
            }),
            signs=MappingProxyType({
                "in": "To be in, a reading taken as it must be lies inside by more than readings scatter.",
                "out": "To be out, a reading taken as it must be lies outside by more than readings scatter.",
                "again": "You read again what was taken rightly and lies nearer to its limit than readings scatter.",
                "void": "Void is a reading that was taken in another way than the test asks for.",
            }),
            answer=lambda v: v.case,
            slips=(
                Slip("trusts-digit",
                     "You let the last digit decide. Read twice, it may fall on the other side of the limit.",
                     lambda v: _side_of_limit(v) if v.case == "again" else None),
                Slip("trusts-void",
                     "The figure means nothing, whichever side it is on. Look at how it was taken.",
                     lambda v: _side_of_limit(v) if v.case == "void" else None),
            ),
        ),
    ),
    route=lambda v: (
        "First: was it taken as the test asks? If not, it is void, whatever it says.",
        Line(
            {
                "void": "It was not. Put that right and take it anew.",
                "again": "It was. It lies within the scatter of the limit, so a second reading may say the opposite.",
                "in": "It was. It lies inside the limit by more than the scatter.",
                "out": "It was. It lies outside the limit by more than the scatter.",
            }[v.case],
            "worth",
        ),
    ),
)  # fmt: skip

_TAKEN = MappingProxyType({
    "dwell": "Dwell at idle", "mark": "Initial timing, line off and plugged", "idle": "Idle speed", "vacuum": "Vacuum at idle",
    "feed": "Coil supply with the points closed", "drop": "Drop across the closed points", "condenser": "Capacity of the condenser",
    "coil": "Coil output while cranking", "ends": "Output at the lead ends while cranking", "ohms": "Ohms of each lead",
    "cap": "Look of cap and rotor", "order": "Leads checked against the firing order", "plugs": "Look and gaps of the plugs",
    "tester": "Firing pressure of the plugs", "press": "Compression of each cylinder", "cranking": "Battery volts while cranking",
})  # fmt: skip
# An act, what it makes void, and what it leaves as it was. What may go either way is in neither.
_ACTS = MappingProxyType({
    "set_dwell": ("You set the gap by the meter", ("dwell", "mark", "idle", "vacuum"),
                  ("feed", "condenser", "ohms", "cap", "order", "plugs", "tester", "press", "cranking")),
    "fit_points": ("You fitted new points", ("dwell", "mark", "idle", "vacuum", "drop"),
                   ("condenser", "ohms", "order", "plugs", "tester", "press", "cranking")),
    "set_timing": ("You turned the distributor and set the initial timing", ("mark", "idle", "vacuum"),
                   ("dwell", "feed", "drop", "condenser", "coil", "ends", "ohms", "cap", "order", "plugs", "tester", "press", "cranking")),
    "set_idle": ("You set idle mixture and idle speed", ("mark", "idle", "vacuum"),
                 ("feed", "drop", "condenser", "coil", "ends", "ohms", "cap", "order", "tester", "press", "cranking")),
    "fit_condenser": ("You fitted a condenser", ("condenser", "coil", "ends"),
                      ("mark", "dwell", "ohms", "cap", "order", "tester", "press", "cranking", "feed")),
    "fit_coil": ("You fitted another coil", ("coil", "ends"),
                 ("dwell", "mark", "condenser", "ohms", "cap", "order", "tester", "press", "cranking")),
    "fit_cap": ("You fitted a cap", ("cap", "ends", "order"),
                ("dwell", "mark", "feed", "drop", "condenser", "coil", "ohms", "tester", "press", "cranking")),
    "fit_leads": ("You fitted a set of leads", ("ohms", "ends", "order"),
                  ("dwell", "mark", "feed", "drop", "condenser", "coil", "cap", "tester", "press", "cranking")),
    "fit_plugs": ("You fitted new plugs, gapped", ("plugs", "tester"),
                  ("dwell", "mark", "feed", "drop", "condenser", "coil", "ohms", "cap", "press", "cranking")),
    "battery": ("You charged the battery and cleaned its posts", ("cranking", "coil", "ends"),
                ("dwell", "mark", "condenser", "ohms", "cap", "order", "plugs", "tester", "drop")),
})  # fmt: skip


def _six_taken(parameters):
    _, void, kept = _ACTS[parameters["act"]]
    taken = few(void, parameters["start"], 1, min(len(void), parameters["count"]))
    taken += few(kept, parameters["start"], parameters["stride"], 6 - len(taken))
    return {"taken": few(taken, parameters["turn"], parameters["stride"], 6)}


def _voided(v):
    return tuple(LETTERS[at] for at, key in enumerate(v.taken) if key in _ACTS[v.act][1])


def _without_mark(v):
    led = tuple(letter for letter in _voided(v) if v.taken[LETTERS.index(letter)] != "mark")
    return led if led and led != _voided(v) and v.act in ("set_dwell", "fit_points") else None


VOID = Exercise(
    key="m06.void",
    version=1,
    marking=1,
    title="Which readings are gone?",
    text=(
        "{engine}. On your sheet stand six readings of today, all taken as they must be:{taken}{act}. "
        "Which of the six are no longer true of the car as it stands now?"
    ),
    draw={"engine": Pick(ENGINES), "act": Pick(tuple(_ACTS)), "count": Steps(2, 4), "start": MANY, "stride": Pick(STRIDES),
          "turn": MANY},
    fill=_six_taken,
    show=lambda v: {
        "engine": title(v.engine),
        "act": _ACTS[v.act][0],
        "taken": listing.lines(f"{LETTERS[at]}: {_TAKEN[key]}" for at, key in enumerate(v.taken)),
    },
    parts=(
        Choices(
            key="gone", prompt="To be taken again", marks=3, objectives=("G3", "G7"), order="fixed",
            options=MappingProxyType({letter: f"Reading {letter}" for letter in LETTERS[:6]}),
            answer=_voided,
            because=lambda v: {
                LETTERS[at]: f"{_ACTS[v.act][0]}: that {'changes' if key in _ACTS[v.act][1] else 'does not change'} what this reads."
                for at, key in enumerate(v.taken)
            },
            slips=(
                Slip("keeps-timing",
                     "You kept the timing. The spark comes when the points open: with another dwell it comes at another moment.",
                     _without_mark),
                Slip("throws-all",
                     "You threw every reading away. What the work did not touch still holds, and to take it again costs minutes.",
                     lambda v: LETTERS[:6] and tuple(LETTERS[:6])),
            ),
        ),
    ),
    route=lambda v: (
        "Ask of each reading: does it depend on what I have just changed?",
        Line("To be taken again: " + "; ".join(_TAKEN[v.taken[LETTERS.index(letter)]] for letter in _voided(v)) + ".", "gone"),
    ),
)  # fmt: skip


def _lines(engine, size):
    """Readings by kind: as on a sound car, with a fault that can be, and as no car can read; size 0 to 4 moves the figures."""
    spec, made = vehicle(engine), card(engine)
    battery = STANDING * made.running_v
    crank, lobe, psi = made.crank_v, 360 / spec.cylinders, made.compression_psig
    return {
        "supply": (
            f"Cranking: {crank - size / 10:.1f} V at the battery, {0.93 * crank - size / 10:.1f} V at the coil.",
            f"Cranking: {crank - size / 10:.1f} V at the battery, {0.5 * crank - size / 10:.1f} V at the coil.",
            f"Cranking: {crank - size / 10:.1f} V at the battery, {1.2 * crank + size / 10:.1f} V at the coil.",
        ),
        "ends": (
            f"Cranking: {22 + size} kV at the coil lead, {20 + size} to {21 + size} kV at the plug ends.",
            f"Cranking: {22 + size} kV at the coil lead, {9 + size} to {11 + size} kV at the plug ends.",
            f"Cranking: {22 + size} kV at the coil lead, {29 + size} to {31 + size} kV at the plug ends.",
        ),
        "dwell": (
            f"Dwell {spec.dwell_deg + size / 4 - 0.5:.1f}°, needle steady, {spec.cylinders} cylinders.",
            f"Dwell {spec.dwell_deg - 6 - size / 2:.1f}°, needle steady, {spec.cylinders} cylinders.",
            f"Dwell {lobe + 3 + size / 2:.1f}°, needle steady, {spec.cylinders} cylinders, switch right.",
        ),
        "rise": (
            f"Line plugged: rise {10 + size}° to the middle check speed, {19 + size}° to the top one.",
            f"Line plugged: rise {1 + size / 4:g}° to the middle check speed, {1.5 + size / 4:g}° to the top one.",
            f"Line plugged: rise {19 + size}° to the middle check speed, {8 + size}° to the top one; weights and springs as new.",
        ),
        "press": (
            f"Lowest cylinder {psi - 4 - size:.0f} psi dry, {psi - 1 - size:.0f} psi with oil.",
            f"Lowest cylinder {0.62 * psi - size:.0f} psi dry, {0.9 * psi - size:.0f} psi with oil.",
            f"Lowest cylinder {psi - 4 - size:.0f} psi dry, {0.7 * psi - size:.0f} psi with oil.",
        ),
        "plug": (
            f"A used plug, gap as specified, fires up to {92 + size} psi, a new one to {104 + size} psi.",
            f"A used plug, gap as specified, fires up to {48 + size} psi, a new one to {104 + size} psi.",
            f"A used plug, gap 0.015 in wider than specified, fires up to {136 + size} psi, a new one to {104 + size} psi.",
        ),
        "pump": (
            "Hand pump: 15 inHg, and 15 inHg after 30 s; the plate moves.",
            f"Hand pump: 15 inHg, and {4 + size} inHg after 30 s; the plate moves.",
            f"Hand pump: 15 inHg, and {18 + size / 2:g} inHg after 30 s, the pump not touched.",
        ),
        "volts": (
            f"Engine standing, points open: {battery:.1f} V at the battery, {battery:.1f} V at the points.",
            f"Engine standing, points open: {battery:.1f} V at the battery, 0.0 V at the points.",
            f"Engine standing, points open: {battery:.1f} V at the battery, {1.2 * battery + size / 10:.1f} V at the points.",
        ),
    }  # fmt: skip


_KINDS = ("supply", "ends", "dwell", "rise", "press", "plug", "pump", "volts")
_WHY = MappingProxyType({
    "supply": "The coil gets its volts from the battery: it cannot have more than the posts.",
    "ends": "What reaches the plug ends came through the coil lead: there cannot be more of it.",
    "dwell": "The points cannot stay closed longer than one lobe lasts.",
    "rise": "Weights fly farther out as speed rises: the rise cannot fall.",
    "press": "Oil in the cylinder seals it better: the second reading cannot be lower.",
    "plug": "A wider gap fires up to a lower pressure: a used plug cannot beat a new one so.",
    "pump": "A leak lets vacuum out; nothing puts more in.",
    "volts": "The points get their volts from the battery: with the engine standing they cannot have more.",
})  # fmt: skip


def _sheet(parameters):
    kinds = few(_KINDS, parameters["start"], parameters["stride"], 5)
    return {"kinds": kinds, "faulty": (parameters["false"] + parameters["apart"]) % 5}


def _sheet_lines(v):
    return [
        _lines(v.engine, v.size)[kind][2 if at == v.false else 1 if at == v.faulty else 0]
        for at, kind in enumerate(v.kinds)
    ]


FALSE_ONE = Exercise(
    key="m06.false_one",
    version=1,
    marking=1,
    title="One of these readings is false",
    text=(
        "{engine}. Five readings of one car stand on a colleague's sheet. One of them no car can give, whatever is wrong "
        "with it; the other four are true:{sheet}Which one do you take again before you believe anything?"
    ),
    draw={"engine": Pick(ENGINES), "start": MANY, "stride": Pick((1, 3, 5, 7)), "false": Steps(0, 4), "apart": Steps(1, 4),
          "size": Steps(0, 4)},
    fill=_sheet,
    show=lambda v: {
        "engine": title(v.engine),
        "sheet": listing.lines(f"({number}) {line}" for number, line in enumerate(_sheet_lines(v), 1)),
    },
    parts=(
        Choice(
            key="line", prompt="The false reading", marks=2, objectives=("G3",), order="fixed",
            options=MappingProxyType({str(number): f"Reading {number}" for number in range(1, 6)}),
            signs=MappingProxyType({
                str(number): "That reading can be true: look for one that contradicts itself."
                for number in range(1, 6)
            }),
            answer=lambda v: str(v.false + 1),
            slips=(
                Slip("blames-part",
                     "That reading is out of limits, and a car can read so: a fault explains it. Which one can no fault explain?",
                     lambda v: str(v.faulty + 1)),
            ),
        ),
    ),
    route=lambda v: (
        "Ask of each line: is there any fault with which a car reads so?",
        Line(f"Reading {v.false + 1}: {_WHY[v.kinds[v.false]]}", "line"),
        Line(f"Reading {v.faulty + 1} is out of limits, and a fault explains it.", "line"),
    ),
)  # fmt: skip

_SYSTEMS = MappingProxyType({
    "primary": "the primary circuit: battery, supply, coil, condenser",
    "points": "the points: gap, contacts, spring, block",
    "advance": "the timing: setting, weights, vacuum unit",
    "secondary": "the secondary circuit: leads, cap, rotor",
    "plugs": "the plugs",
    "engine": "the engine or its mixture, not the ignition",
})  # fmt: skip
_CARDS = MappingProxyType({
    "primary": (
        "No volts at the coil with the key on; with a test lead from the battery it runs.",
        "Battery volts hold while cranking; the coil has only its ballast volts then.",
        "Full battery volts at the coil with the points closed.",
        "Condenser measures 0.06 µF.", "Condenser measures 0.62 µF.",
        "Coil output low; supply, drop, dwell and condenser in limits.",
        "Centre electrode positive; right after the coil's two thin wires were changed over.",
        "In the dark a spark runs down the tower of the coil.",
        "Coil output in limits cold, half of it after a heat soak.",
    ),
    "points": (
        "Dwell far above its limit; the timing came right as the dwell was set.",
        "Dwell below its limit, mark early by as much.",
        "0.6 V across the closed points.", "Dwell steady at idle, and 5° less at one speed, at any load.",
        "Battery volts across the closed points; gone after they were wiped.",
        "The points stay shut as the engine is turned; the block is worn away.",
        "Dwell swings by 6° with the line plugged, and the shaft rocks by hand.",
    ),
    "advance": (
        "Mark late, line off and plugged; dwell and idle speed in limits.",
        "Mark early, dwell and rise in limits.", "Mark in limits at idle, no rise with speed.",
        "Hand pump falls from 15 to 5 inHg.", "Hand pump holds, and the plate stands still.",
        "Mark wanders, dwell steady; the distributor turns by hand.",
        "True top dead centre found: the pulley mark is 9° off it.",
        "Line on at idle: the mark jumps early; the hose sits on a manifold tap.",
    ),
    "secondary": (
        "In the dark a spark from one lead to the manifold.", "One lead open on the ohmmeter when it is bent.",
        "A carbon track between two terminals of the cap.", "Coil output in limits, all plug ends low; rotor tip burnt short.",
        "Coil lead open on the ohmmeter.", "Under fine mist sparks run over cap and leads; dry, none.",
        "Two leads sit on each other's plugs by the firing order.", "Coil output in limits, all plug ends low; carbon brush gone.",
    ),
    "plugs": (
        "All gaps 0.014 in wider than specified, edges round; firing pressure low as found.",
        "A crumb across the gap of one plug.", "One plug fails on the tester; the fault moves with it to another cylinder.",
        "All noses white and blistered; timing and mixture in limits.",
        "All dry and sooty; mixture and coil output in limits, a colder type than listed.",
        "All gaps half of what is specified.",
    ),
    "engine": (
        "One cylinder low on compression, no better with oil.", "Two neighbours low on compression, and alike.",
        "Water on one joint of the manifold changes the idle.", "Choke flap shut on a warm engine.",
        "Vacuum sinks while a raised speed is held; timing and rise in limits.",
        "One plug wet and slippery again; that cylinder's compression better with oil.",
        "Misfires at speed with output, dwell and rise in limits; the pump delivers half of what it should.",
    ),
})  # fmt: skip
_ALL_CARDS = tuple((system, card_text) for system, texts in _CARDS.items() for card_text in texts)


def _nine(parameters):
    right = few(_CARDS[parameters["system"]], parameters["start"], 1, parameters["count"])
    others = [text for system, text in _ALL_CARDS if system != parameters["system"]]
    cards = right + few(others, parameters["start"], parameters["stride"], 9 - len(right))
    return {"cards": few(cards, parameters["turn"], parameters["step"], 9)}


def _of_system(v):
    return tuple(LETTERS[at] for at, text in enumerate(v.cards) if text in _CARDS[v.system])


def _why_card(v):
    homes = {text: system for system, text in _ALL_CARDS}
    return {LETTERS[at]: f"It speaks of {_SYSTEMS[homes[text]]}." for at, text in enumerate(v.cards)}


CARDS = Exercise(
    key="m06.cards",
    version=1,
    marking=1,
    title="Nine old job sheets",
    text=(
        "Nine old job sheets lie on the desk. Of each you see the reading that told the fault:{cards}"
        "Tick every sheet whose fault lay in {system}."
    ),
    draw={"system": Pick(tuple(_SYSTEMS)), "count": Steps(2, 4), "start": MANY, "stride": Pick((3, 5, 7, 11)), "turn": MANY,
          "step": Pick((1, 2, 4, 5, 7))},
    fill=_nine,
    show=lambda v: {
        "system": _SYSTEMS[v.system],
        "cards": listing.lines(f"{LETTERS[at]}: {text}" for at, text in enumerate(v.cards)),
    },
    parts=(
        Choices(
            key="sheets", prompt="Sheets that belong there", marks=3, objectives=("G1", "G9"), order="fixed",
            options=MappingProxyType({letter: f"Sheet {letter}" for letter in LETTERS}),
            answer=_of_system,
            because=_why_card,
        ),
    ),
    route=lambda v: (
        "Ask of each reading which part alone can give it.",
        Line("These belong there: " + ", ".join(_of_system(v)) + ".", "sheets"),
    ),
)  # fmt: skip
