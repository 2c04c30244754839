"""Exercises on where leads go: round the cap, and apart from each other."""

from itertools import combinations, permutations
from types import MappingProxyType
from typing import Any

from grader.exercise import listing
from grader.exercise.kinds import Choices
from grader.exercise.model import Choice, Exercise, Line, Number, Percent, Slip
from grader.exercise.sorting import FiringOrder
from grader.exercise.spread import Pick, Steps
from grader.modules.situations import MANY, by_answer, chosen
from grader.reference import angles
from grader.reference.spark import cables
from grader.vehicle.spec import vehicle, vehicles

WIRE_MM = 0.6  # radius of a lead's core
_TERMINALS = tuple("ABCDEFGH")
_OTHER_WAY = MappingProxyType({"clockwise": "anticlockwise", "anticlockwise": "clockwise"})

# Layout and firing order of engines that a workshop sees (general trade knowledge, practice).
ORDERS = MappingProxyType({
    "four-1342": ("inline", (1, 3, 4, 2)),
    "four-1243": ("inline", (1, 2, 4, 3)),
    "six-153624": ("inline", (1, 5, 3, 6, 2, 4)),
    "v6-123456": ("odd-even", (1, 2, 3, 4, 5, 6)),
    "v6-165432": ("odd-even", (1, 6, 5, 4, 3, 2)),
    "v8-18436572": ("odd-even", (1, 8, 4, 3, 6, 5, 7, 2)),
    "v8-15426378": ("halves", (1, 5, 4, 2, 6, 3, 7, 8)),
    "v8-13726548": ("halves", (1, 3, 7, 2, 6, 5, 4, 8)),
})  # fmt: skip
_RISKY = tuple(key for key in ORDERS if key[:4] in ("four", "v8-1"))


def banks_of(layout: str, cylinders: int) -> tuple[tuple[int, ...], ...]:
    """Cylinder numbers bank by bank, front to back."""
    return angles.LAYOUTS[layout](cylinders)


def risky(key: str) -> tuple[tuple[int, int], ...]:
    """Pairs of an order of `ORDERS` that cross-fire side by side: (fires first, suffers)."""
    layout, order = ORDERS[key]
    return angles.cross_fire_pairs(order, banks_of(layout, len(order)))


def said_banks(layout: str, cylinders: int) -> str:
    """Where the cylinders stand, in words."""
    banks = banks_of(layout, cylinders)
    if len(banks) == 1:
        return f"cylinders 1 to {cylinders} in one row"
    left, right = ("-".join(map(str, bank)) for bank in banks)
    return f"one bank {left}, the other {right}, each from the front"


def _dashed(order) -> str:
    return "-".join(map(str, order))


# The round of the cap.


def _cap(parameters):
    spec = vehicle(parameters["vehicle"])
    order = list(spec.firing_order)
    return {"title": spec.title, "order": order, "rotor": spec.rotor}


def round_as_asked(v: Any) -> tuple[int, ...]:
    """Leads in the direction that is asked for, beginning with number one."""
    order = tuple(v.order)
    return order if v.way == v.rotor else (order[0], *reversed(order[1:]))


def _first_terminal(v):
    return _TERMINALS[v.place % len(v.order)]


LAY = Exercise(
    key="m05.lay",
    version=1,
    marking=1,
    title="A new cap",
    text=(
        "The {title} gets a new cap. Its firing order is {dashed}. Seen from above, the rotor turns {rotor}. The terminals "
        "of the cap are lettered {letters}, clockwise. With number one on compression the rotor points to terminal "
        "{first}. You plug the leads in one after the other and go {way} round the cap from there. Which cylinders are they?"
    ),
    draw={"vehicle": Pick(tuple(vehicles())), "place": Steps(0, 23), "way": Pick(("clockwise", "anticlockwise"))},
    fill=_cap,
    show=lambda v: {
        "dashed": _dashed(v.order), "letters": f"A to {_TERMINALS[len(v.order) - 1]}", "first": _first_terminal(v),
    },
    parts=(
        FiringOrder(key="round", prompt="Leads in the order in which you plug them in", marks=1, answer=round_as_asked,
                    objectives=("S10",)),
    ),
    route=lambda v: (
        f"Number one belongs to terminal {_first_terminal(v)}, where the rotor points.",
        f"The rotor turns {v.rotor}, so the firing order goes round the cap {v.rotor}: {_dashed(v.order)}.",
        f"You go {v.way}: " + ("that is the same way." if v.way == v.rotor else "that is against it, so read it backwards.")
        + f" {_dashed(round_as_asked(v))}.",
    ),
)  # fmt: skip

_SWAPPED = MappingProxyType({
    "right": "All leads are right. Look for the fault elsewhere.",
    "neighbours": "Two leads that follow each other have changed places. Both cylinders get their spark far from their own time: it spits and bangs.",
    "companions": "Two leads half-way round from each other have changed places. Both sparks come at the end of the exhaust stroke: two dead cylinders, no bang.",
    "backwards": "The whole round goes the wrong way: only two cylinders get their spark in time, and the engine does not run.",
})  # fmt: skip


# On a four the round backwards and two leads half-way round changed over are one and the same.
_MANY_LEADS = tuple(key for key, spec in vehicles().items() if spec.cylinders > 4)


def _engine_cap(parameters):
    return _cap({"vehicle": parameters["engine"]})


def _as_found(v):
    """Leads clockwise from number one, as somebody laid them."""
    order = tuple(v.order)
    clockwise = order if v.rotor == "clockwise" else (order[0], *reversed(order[1:]))
    count = len(order)
    laid = list(clockwise)
    if v.found == "backwards":
        return (laid[0], *reversed(laid[1:]))
    if v.found == "right":
        return tuple(laid)
    step = 1 if v.found == "neighbours" else count // 2
    first = v.place % count
    other = (first + step) % count
    laid[first], laid[other] = laid[other], laid[first]
    return tuple(laid)


SWAPPED = Exercise(
    key="m05.swapped",
    version=1,
    marking=1,
    title="What is wrong with these leads?",
    text=(
        "The {title} came back after somebody had its leads off. Firing order {dashed}; seen from above, the rotor turns "
        "{rotor}. Clockwise round the cap the leads now go to the cylinders {found_list}. What is wrong, and what is felt?"
    ),
    draw={"engine": Pick(_MANY_LEADS), "found": Pick(tuple(_SWAPPED)), "place": Steps(0, 23), "turned": Steps(0, 23)},
    fill=_engine_cap,
    show=lambda v: {"dashed": _dashed(v.order), "found_list": _dashed(_turned(v))},
    parts=(
        Choice(
            key="finding", prompt="Your finding", marks=1, objectives=("S10",), options=_SWAPPED,
            answer=lambda v: v.found,
            signs=MappingProxyType({
                "right": "All is right where the round gives the firing order, read the way the rotor turns.",
                "neighbours": "Two that follow each other have changed places only if the rest of the round still fits.",
                "companions": "Two half-way round have changed places only if all the others still stand in their order.",
                "backwards": "The whole round is backwards where it gives the firing order when you read it against the rotor.",
            }),
            slips=(
                Slip("against-the-rotor",
                     "You read the round clockwise whatever the rotor does. Read it the way the rotor turns.",
                     lambda v: "backwards" if v.found == "right" and v.rotor == "anticlockwise"
                     else "right" if v.found == "backwards" and v.rotor == "anticlockwise" else None),
            ),
        ),
    ),
    route=lambda v: (
        f"The rotor turns {v.rotor}. Read that way from number one, the leads give "
        f"{_dashed(_read_with_rotor(v))}.",
        f"The firing order is {_dashed(v.order)}.",
        _SWAPPED[v.found],
    ),
)  # fmt: skip


def _turned(v):
    order = _as_found(v)
    start = v.turned % len(order)
    return order[start:] + order[:start]


def _read_with_rotor(v):
    order = _as_found(v)
    read = order if v.rotor == "clockwise" else (order[0], *reversed(order[1:]))
    start = read.index(1)
    return read[start:] + read[:start]


# Which leads must not lie side by side.

_LINES = tuple("123456")
_MIXED = tuple(permutations(range(6)))


def _bundle(parameters):
    """Four leads of one bracket and the six pairs that they make, in an order of their own."""
    layout, order = ORDERS[parameters["order_key"]]
    pairs = risky(parameters["order_key"])
    bundles = tuple(combinations(range(1, len(order) + 1), 4))
    # Of the many bundles of an eight most hold no pair at all: five in six are taken from those that do.
    holding = tuple(b for b in bundles if any(set(pair) <= set(b) for pair in pairs))
    some = holding if holding and parameters["many"] % 6 else bundles
    bundle = chosen(some, parameters["many"])
    inside = tuple(combinations(bundle, 2))
    mixed = _MIXED[parameters["mix"]]
    return {
        "layout": layout, "order": list(order), "bundle": list(bundle), "pairs": [list(inside[place]) for place in mixed],
    }  # fmt: skip


def _lines_where(v, holds):
    return tuple(line for line, pair in zip(_LINES, v.pairs, strict=True) if holds(*pair))


def crossing_lines(v: Any) -> tuple[str, ...]:
    """Numbers of the lines whose pair can cross-fire."""
    at_risk = [set(pair) for pair in angles.cross_fire_pairs(v.order, banks_of(v.layout, len(v.order)))]
    return _lines_where(v, lambda a, b: {a, b} in at_risk)


def _consecutive(v, a, b):
    place = {number: spot for spot, number in enumerate(v.order)}
    return abs(place[a] - place[b]) in (1, len(v.order) - 1)


def _side_by_side(v, a, b):
    bank = next(bank for bank in banks_of(v.layout, len(v.order)) if a in bank)
    return b in bank and abs(bank.index(a) - bank.index(b)) == 1


def _why_pair(v):
    reasons = {}
    for line, (a, b) in zip(_LINES, v.pairs, strict=True):
        follow, near = _consecutive(v, a, b), _side_by_side(v, a, b)
        reasons[line] = (
            f"{a} and {b} {'fire one after the other' if follow else 'do not fire one after the other'} and "
            f"{'stand side by side on one bank' if near else 'do not stand side by side on one bank'}."
        )
    return reasons


PAIRS = Exercise(
    key="m05.pairs",
    version=1,
    marking=1,
    title="Which leads must lie apart?",
    text=(
        "An engine has the firing order {dashed}; {banks}. Somebody has put the leads of cylinders {bundle_list} into one "
        "clip. Which of these pairs can cross-fire there?{list}Tick “none of these” if no pair can."
    ),
    draw={"order_key": Pick(3 * _RISKY + ("six-153624", "v6-165432")), "many": MANY, "mix": Steps(0, len(_MIXED) - 1)},
    fill=_bundle,
    show=lambda v: {
        "dashed": _dashed(v.order), "banks": said_banks(v.layout, len(v.order)),
        "bundle_list": ", ".join(map(str, v.bundle)),
        "list": listing.lines(f"({line}) {a} with {b}" for line, (a, b) in zip(_LINES, v.pairs, strict=True)),
    },
    parts=(
        Choices(
            key="pairs", prompt="They can cross-fire", marks=1, objectives=("S4",), order="fixed",
            options=MappingProxyType({line: f"Pair {line}" for line in _LINES}),
            answer=crossing_lines,
            because=_why_pair,
            slips=(
                Slip("order-only",
                     "You looked at the firing order alone. The two must also stand side by side on one bank.",
                     lambda v: _lines_where(v, lambda a, b: _consecutive(v, a, b))),
                Slip("place-only",
                     "You looked at the engine alone. The two must also fire one after the other.",
                     lambda v: _lines_where(v, lambda a, b: _side_by_side(v, a, b))),
            ),
        ),
    ),
    route=lambda v: (
        "A pair must do both: fire one after the other, and stand side by side on one bank.",
        *(f"({line}) {why}" for line, why in _why_pair(v).items()),
    ),
)  # fmt: skip

_LOADS = MappingProxyType({
    "full": "pulls a trailer up a hill, throttle open",
    "overtakes": "overtakes with the throttle wide open",
    "second": "accelerates hard in second gear",
    "idle": "idles at the kerb",
    "jam": "stands in a queue and idles",
})  # fmt: skip


def _victim_rule(order_key, pair, named_first, load):
    pairs = risky(order_key)
    if pair >= len(pairs):
        return None
    if load in ("idle", "jam"):
        return "nothing"
    suffers = "second" if named_first == "earlier" else "first"
    return f"{suffers}-{'spits' if order_key.startswith('four') else 'knocks'}"


_VICTIMS = by_answer(
    {"order_key": _RISKY, "pair": (0, 1), "named_first": ("earlier", "later"), "load": tuple(_LOADS)}, _victim_rule
)
_FELT = MappingProxyType({
    "first-spits": "The one named first: its thin charge is lit at the beginning of compression, and the engine spits back.",
    "second-spits": "The one named second: its thin charge is lit at the beginning of compression, and the engine spits back.",
    "first-knocks": "The one named first: its charge is lit half-way up the compression, and it knocks and loses power.",
    "second-knocks": "The one named second: its charge is lit half-way up the compression, and it knocks and loses power.",
    "nothing": "Neither: the charge is too thin to be lit so early, so nothing is felt.",
})  # fmt: skip


def _pair_named(v):
    first, second = risky(v.order_key)[v.pair]
    return (first, second) if v.named_first == "earlier" else (second, first)


def _other_cylinder(answer):
    which, _, effect = answer.partition("-")
    return f"{'second' if which == 'first' else 'first'}-{effect}"


def _other_stroke(answer):
    which, _, effect = answer.partition("-")
    return f"{which}-{'knocks' if effect == 'spits' else 'spits'}"


def _at_load(v):
    first, _ = risky(v.order_key)[v.pair]
    earlier = first == _pair_named(v)[0]
    return f"{'second' if earlier else 'first'}-{'spits' if v.order_key.startswith('four') else 'knocks'}"


VICTIM = Exercise(
    key="m05.victim",
    version=1,
    marking=1,
    title="Who suffers, and how?",
    text=(
        "An engine has the firing order {dashed}; {banks}. The leads of cylinders {one} and {other} are taped together and "
        "cross-fire. The vehicle {load_words}. Which cylinder suffers, and what is felt?"
    ),
    draw={"answer": Pick(tuple(_FELT)), "many": MANY},
    fill=lambda drawn: dict(chosen(_VICTIMS[drawn["answer"]], drawn["many"])),
    show=lambda v: {
        "dashed": _dashed(ORDERS[v.order_key][1]), "banks": said_banks(ORDERS[v.order_key][0], len(ORDERS[v.order_key][1])),
        "one": _pair_named(v)[0], "other": _pair_named(v)[1], "load_words": _LOADS[v.load],
    },
    parts=(
        Choice(
            key="victim", prompt="Cylinder and effect", marks=1, objectives=("S4",), options=_FELT, order="fixed",
            answer=lambda v: v.answer,
            slips=(
                Slip("earlier-one",
                     "You blamed the one that fires first. It has burnt already: the later one still compresses its charge.",
                     lambda v: _other_cylinder(v.answer) if v.answer != "nothing" else None),
                Slip("felt-at-idle",
                     "At idle the charge is too thin: a spark so early lights nothing.",
                     lambda v: _at_load(v) if v.answer == "nothing" else None),
                Slip("wrong-stroke",
                     "How far before its own spark does the later one stand? 180° on a four, 90° on an eight.",
                     lambda v: _other_stroke(v.answer) if v.answer != "nothing" else None),
                Slip("both-wrong",
                     "The later one suffers. And ask how far before its own spark it stands: 180° on a four, 90° on an eight.",
                     lambda v: _other_stroke(_other_cylinder(v.answer)) if v.answer != "nothing" else None),
                Slip("nothing-felt",
                     "Under load the charge is dense enough to be lit: something is felt.",
                     lambda v: "nothing" if v.answer != "nothing" else None),
            ),
            signs=MappingProxyType({
                option: "A thin charge is not lit so early: look at what the vehicle is doing before you name a cylinder."
                for option in _FELT if option != "nothing"
            }),
        ),
    ),
    route=lambda v: (
        f"Order {_dashed(ORDERS[v.order_key][1])}: {risky(v.order_key)[v.pair][0]} fires, then {risky(v.order_key)[v.pair][1]}.",
        "The later one suffers: its charge is not yet burnt. The earlier one has burnt already.",
        "Its own spark is due 720 ÷ "
        f"{len(ORDERS[v.order_key][1])} = {720 / len(ORDERS[v.order_key][1]):.0f} crank degrees later.",
        _FELT[v.answer],
    ),
)  # fmt: skip

# How much crosses.

_SHARE = Percent(3, "a quotient of figures with two and three places")


def _couple(spacing_mm, height_mm, permittivity):
    """Between the two leads, and from the second to the block, as printed [pF/m]."""
    between, ground = cables.capacitances_pf_per_m(height_mm, spacing_mm, WIRE_MM, permittivity=permittivity)
    return round(float(between), 1), round(float(ground), 1)


def _induced(v):
    return float(cables.induced_capacitive_kv(v.firing_kv, v.run_mm, v.between_pf, v.ground_pf))


def _two_leads(parameters):
    touching, sparks = parameters["lie"] == "taped", parameters["sparks"] == "yes"
    spacing = parameters["close_mm"] if touching else parameters["apart_mm"]
    between, ground = _couple(spacing, parameters["height_mm"], 3.0 if touching else 1.0)
    run = parameters["run_mm"] - (250 if touching and not sparks else 0)
    kv = float(cables.induced_capacitive_kv(parameters["firing_kv"], run, between, ground))
    # What the later plug asks for so early: 1.6 to 4.5 kV by gap, edges and heat (the lesson's law at the density there).
    lean = parameters["lean"] / 100
    need = kv / (1.15 + 0.2 * lean) if touching and sparks else max(1.8 + 1.5 * lean, kv * (1.2 + 0.3 * lean))
    return {"run_mm": run, "spacing_mm": spacing, "between_pf": between, "ground_pf": ground, "need_kv": round(need, 1)}


INDUCED = Exercise(
    key="m05.induced",
    version=1,
    marking=1,
    title="What the neighbour feels",
    text=(
        "Two leads run {lie_words} for {run_mm} mm ({run_in} in), {spacing_mm} mm apart from core to core, {height_mm} mm over the "
        "block. From lead to lead there are {between_pf:g} pF for each metre, from the second lead to the block {ground_pf:g} pF. "
        "Its plug adds 25 pF. The first lead rises to {firing_kv:g} kV. To how many kV is the second lead lifted? "
        "Its plug would spark at {need_kv:g} kV just then. Does it spark?"
    ),
    # Touching leads lie 7 to 9 mm apart, parted ones 20 to 60, 30 to 80 mm over the block; they run side by side for 100
    # to 500 mm; plugs fire at 13 to 17 kV under load (practice).
    draw={
        "lie": Pick(("taped", "taped", "taped", "bracketed")), "close_mm": Steps(7, 9), "apart_mm": Steps(20, 60, 5),
        "height_mm": Steps(30, 80, 5), "run_mm": Steps(350, 500, 10), "firing_kv": Steps(13, 17), "lean": Steps(0, 100, 10),
        "sparks": Pick(("yes", "yes", "no")),
    },
    fill=_two_leads,
    show=lambda v: {
        "lie_words": "taped together" if v.lie == "taped" else "side by side in their brackets",
        "run_in": f"{v.run_mm / 25.4:.1f}",
    },
    parts=(
        Number(
            key="lifted", prompt="Voltage on the second lead", unit="kV", also=("V",), marks=1, step=0.01, answer=_induced,
            within=_SHARE, possible=(0.001, 40.0), objectives=("S5",),
            slips=(
                Slip("plug-forgotten",
                     "You left out the 25 pF of the plug. They hold the voltage down too: add them below the line.",
                     lambda v: v.firing_kv * v.between_pf / (v.between_pf + v.ground_pf)),
                Slip("not-by-length",
                     "You took the pF of a whole metre. Multiply both by the length in metres first; the plug's 25 stay.",
                     lambda v: v.firing_kv * v.between_pf / (v.between_pf + v.ground_pf + 25)),
                Slip("ground-forgotten",
                     "You left out what goes from the lead to the block. It stands below the line as well.",
                     lambda v: v.firing_kv * v.between_pf * v.run_mm / (v.between_pf * v.run_mm + 25_000)),
            ),
        ),
        Choice(
            key="sparks", prompt="Does the second plug spark?", marks=1, objectives=("S5",),
            options=MappingProxyType({
                "yes": "It sparks, far too early.",
                "no": "It does not spark: the voltage is too low.",
            }),
            signs=MappingProxyType({
                "yes": "It sparks only where the lead is lifted to what the plug asks for, or higher.",
                "no": "It stays dark only where the lead is lifted to less than the plug asks for.",
            }),
            answer=lambda v, lifted: "yes" if lifted >= v.need_kv else "no",
            uses=("m05.induced.lifted",),
        ),
    ),
    route=lambda v: (
        f"Between the leads: {v.between_pf:g} × {v.run_mm / 1000:g} = {v.between_pf * v.run_mm / 1000:.2f} pF.",
        f"From the second lead to the block: {v.ground_pf:g} × {v.run_mm / 1000:g} = {v.ground_pf * v.run_mm / 1000:.2f} pF.",
        Line(
            f"Lifted to: {v.firing_kv:g} × {v.between_pf * v.run_mm / 1000:.2f} ÷ ({v.between_pf * v.run_mm / 1000:.2f} + "
            f"{v.ground_pf * v.run_mm / 1000:.2f} + 25) = {_induced(v):.2f} kV.",
            "lifted",
        ),
        Line(
            f"The plug asks for {v.need_kv:g} kV, so "
            + ("it sparks, far too early." if _induced(v) >= v.need_kv else "it does not spark: the voltage is too low."),
            "sparks", "lifted",
        ),
    ),
)  # fmt: skip

ALLOWED = 0.6  # of what the later plug asks for: what a workshop may plan with (our own margin)


def _run_mm(v, allowed=ALLOWED, ground=True):
    most = allowed * v.need_kv
    below = v.firing_kv * v.between_pf - (most * (v.between_pf + v.ground_pf) if ground else 0.0)
    return 1000.0 * most * cables.PLUG_PF / below


def _side_by_side_leads(parameters):
    between, ground = _couple(parameters["spacing_mm"], parameters["height_mm"], parameters["permittivity"])
    return {"between_pf": between, "ground_pf": ground}


LONGEST_RUN = Exercise(
    key="m05.longest_run",
    version=1,
    marking=1,
    title="How long may they run together?",
    text=(
        "Two leads must share one clip for a while. From lead to lead there are {between_pf:g} pF for each metre, from the second lead "
        "to the block {ground_pf:g} pF; its plug adds 25 pF. The first lead rises to {firing_kv:g} kV. The second plug "
        "would spark at {need_kv:g} kV. You allow 60 per cent of that on its lead. How long may the two run together?"
    ),
    # 7 to 12 mm apart with insulation in most of the way (2.4 to 3 times air), 30 to 80 mm over the block; the later plug
    # asks for 2 to 3.6 kV early in its compression (practice).
    draw={
        "spacing_mm": Steps(7, 12), "height_mm": Steps(30, 80, 5), "permittivity": Steps(24, 30, scale=10),
        "firing_kv": Steps(12, 18), "need_kv": Steps(20, 36, scale=10),
    },
    fill=_side_by_side_leads,
    parts=(
        Number(
            key="run", prompt="Longest run", unit="mm", also=("cm", "m", "in"), marks=1, step=1, answer=_run_mm,
            within=_SHARE, possible=(1.0, 20000.0), objectives=("S4", "S5"),
            slips=(
                Slip("in-proportion",
                     "You let the voltage grow in proportion to the length. The block takes a share that grows too.",
                     lambda v: _run_mm(v, ground=False)),
                Slip("whole-voltage",
                     "You let the lead rise to all that the plug asks for. Only 60 per cent of it are allowed.",
                     lambda v: _run_mm(v, 1.0)),
            ),
        ),
    ),
    route=lambda v: (
        f"Allowed on the second lead: 0.60 × {v.need_kv:g} = {ALLOWED * v.need_kv:.2f} kV.",
        f"Above the line: {ALLOWED * v.need_kv:.2f} × 25 = {ALLOWED * v.need_kv * 25:.1f}.",
        f"Below the line: {v.firing_kv:g} × {v.between_pf:g} − {ALLOWED * v.need_kv:.2f} × ({v.between_pf:g} + {v.ground_pf:g}) "
        f"= {v.firing_kv * v.between_pf - ALLOWED * v.need_kv * (v.between_pf + v.ground_pf):.1f}.",
        f"Longest run: {ALLOWED * v.need_kv * 25:.1f} ÷ "
        f"{v.firing_kv * v.between_pf - ALLOWED * v.need_kv * (v.between_pf + v.ground_pf):.1f} = {_run_mm(v) / 1000:.3f} m, "
        f"that is {_run_mm(v):.0f} mm.",
    ),
)  # fmt: skip
