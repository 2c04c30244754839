"""Earlier versions of the exercises on reading plugs: few cases, every wet plug oily, and a wide gap scrapped a plug."""

from dataclasses import replace
from types import MappingProxyType

from grader.exercise import listing
from grader.exercise.kinds import Choices
from grader.exercise.model import Choice, Exercise, Slip
from grader.exercise.sorting import EITHER, KEEP, REJECT, Batch, Critical, Order, by_cost
from grader.exercise.spread import Pick, Steps
from grader.modules.heat_range.wear import miles
from grader.reference.spark import plug
from grader.units import grouped
from grader.vehicle.spec import vehicle, vehicles

_ENGINES = Pick(tuple(vehicles()))

_LOOKS = MappingProxyType(
    {
        "tan": ("the nose is light tan to grey, the edges still square, the gap hardly wider than new", ()),
        "sooty": ("the nose and shell wear a dry, fluffy black coat that a finger wipes off", ("rich", "weak", "cold")),
        "oily": ("the nose is wet, black and slippery, and the thread drips", ("oil",)),
        "white": ("the nose is chalk white with small blisters, the electrodes are blued", ("early", "loose")),
        "rounded": ("the nose is tan, but the centre electrode is rounded and the gap is wide", ("miles",)),
        "cracked": ("the nose is tan, but a piece of its tip has broken away", ("knock",)),
        "bridged": ("the nose is tan, but a crumb of deposit joins the two electrodes", ("crumb",)),
    }
)


def _titled(parameters):
    spec = vehicle(parameters["vehicle"])
    return {"title": spec.title, "cylinders": spec.cylinders}


LOOK = Exercise(
    key="m03.look",
    version=1,
    marking=1,
    title="One look, several causes",
    text=(
        "All {cylinders} plugs of the {title} look alike: {seen}. Tick every cause that this look may come from. "
        "Tick “none of these” if the plugs say that all is well."
    ),
    draw={"vehicle": _ENGINES, "look": Pick(tuple(_LOOKS))},
    fill=_titled,
    show=lambda v: {"seen": _LOOKS[v.look][0]},
    parts=(
        Choices(
            key="causes", prompt="It may come from", marks=1, objectives=("H5",),
            options=MappingProxyType({
                "rich": "rich mixture, choke, or long idling",
                "weak": "weak ignition",
                "cold": "plugs too cold for the work",
                "oil": "oil past rings or valve guides",
                "early": "spark too early, or lean mixture",
                "loose": "plugs loose in their seats, or too hot a type",
                "miles": "many miles",
                "knock": "detonation, a fall, or careless gapping",
                "crumb": "deposits broken loose in hard use after slow running",
            }),
            answer=lambda v: _LOOKS[v.look][1],
            slips=(
                Slip("fuel-only",
                     "Dry soot is not the carburettor's alone. A weak spark leaves it too, and so does a plug too cold.",
                     lambda v: ("rich",) if v.look == "sooty" else None),
                Slip("oil-cold",
                     "You blamed a cold plug for oil. Oil comes past rings or guides; no plug cures it.",
                     lambda v: ("oil", "cold") if v.look == "oily" else None),
                Slip("hot-only",
                     "You blamed the plugs alone. A spark too early or a lean mixture whitens the right plug as well.",
                     lambda v: ("loose",) if v.look == "white" else None),
            ),
        ),
    ),
    route=lambda v: (
        f"What you see: {_LOOKS[v.look][0]}.",
        {
            "tan": "Right plug, right mixture: none of the causes.",
            "sooty": "Dry soot: rich mixture or idling, weak ignition, or plugs too cold. The look cannot tell which.",
            "oily": "Wet and oily: oil past rings or guides.",
            "white": "Too hot: early spark or lean mixture, loose plug or too hot a type.",
            "rounded": "Wide and rounded on a tan nose: mileage.",
            "cracked": "A broken nose: detonation, a fall, or gapping against the centre.",
            "bridged": "A bridge: deposits broken loose.",
        }[v.look],
    ),
)  # fmt: skip

_PATTERNS = MappingProxyType(
    {
        "one-dry": (
            "the plug of cylinder {one} is dry and sooty, all others are light tan",
            "cylinder {one} has black, dusty deposits; the rest of the row looks healthy",
        ),
        "one-wet": (
            "the plug of cylinder {one} is wet with oil, all others are light tan",
            "cylinder {one} shows a shiny, greasy nose; the rest of the row looks healthy",
        ),
        "all-dry": (
            "every plug is dry and sooty, one like the other",
            "the whole row is dusty black, no cylinder differs",
        ),
        "all-white": (
            "every nose is chalk white and the electrodes are blued",
            "the whole row looks overheated, no cylinder differs",
        ),
        "one-white": (
            "the nose of cylinder {one} is white and blistered, all others are light tan",
            "cylinder {one} looks overheated; the rest of the row looks healthy",
        ),
    }
)

FIRST_MOVE = Exercise(
    key="m03.first_move",
    version=1,
    marking=1,
    title="All of them, or one of them?",
    text=(
        "You lay the plugs of the {title} side by side in the order of the cylinders, 1 to {cylinders}. You see this: "
        "{seen}. Nothing has been measured yet. Where do you look first?"
    ),
    draw={"vehicle": _ENGINES, "pattern": Pick(tuple(_PATTERNS)), "wording": Steps(0, 1), "spot": Steps(0, 23)},
    fill=lambda p: {**_titled(p), "one": 1 + p["spot"] % vehicle(p["vehicle"]).cylinders},
    show=lambda v: {"seen": _PATTERNS[v.pattern][v.wording].format(one=v.one)},
    parts=(
        Choice(
            key="look_first", prompt="First", marks=1, objectives=("H5",),
            options=MappingProxyType({
                "one-dry": "At the spark of that cylinder: its lead, its cap tower, its plug.",
                "one-wet": "At that cylinder's oil: compression test, rings, guides.",
                "all-dry": "At what all share: choke, air filter, points and coil. Measure before touching plugs.",
                "all-white": "At what all share: timing, lean mixture, air leaks.",
                "one-white": "At that plug's seat and type, and at an air leak on that port.",
            }),
            signs=MappingProxyType({
                "one-dry": "That is for one dry, sooty plug in a healthy row.",
                "one-wet": "That is for one plug wet with oil in a healthy row.",
                "all-dry": "That is for a whole row of dry soot.",
                "all-white": "That is for a whole row of overheated noses.",
                "one-white": "That is for one overheated nose in a healthy row.",
            }),
            answer=lambda v: v.pattern,
            slips=(
                Slip("one-for-all",
                     "Only one plug looks like this. A fault that all share would mark the whole row: stay with that cylinder.",
                     lambda v: {"one-dry": "all-dry", "one-white": "all-white"}.get(v.pattern)),
                Slip("all-for-one",
                     "The whole row looks alike. One cylinder's fault cannot do that: look at what all share.",
                     lambda v: {"all-dry": "one-dry", "all-white": "one-white"}.get(v.pattern)),
                Slip("oil-is-not-soot",
                     "Wet and shiny is oil, not soot. Follow the oil, not the spark.",
                     lambda v: {"one-wet": "one-dry"}.get(v.pattern)),
            ),
        ),
    ),
    route=lambda v: (
        "All alike: a cause they share. One alone: a cause in that cylinder.",
        "Dry is spark or mixture, wet is oil, white is heat.",
    ),
)  # fmt: skip

SOOTY_ORDER = Exercise(
    key="m03.sooty_order",
    version=1,
    marking=1,
    title="A sooty row: in which order?",
    text=(
        "The {title} comes in with {cylinders} dry, sooty plugs. New ones were fitted {weeks} weeks ago and soon looked "
        "the same. Put the steps in order."
    ),
    draw={"vehicle": _ENGINES, "weeks": Steps(3, 12)},
    fill=_titled,
    parts=(
        Order(
            key="steps", prompt="Your order", marks=2, objectives=("H5", "H6"),
            items=MappingProxyType({
                "ask": "Ask how it is driven, and look at the plugs side by side.",
                "choke": "Check choke and air filter.",
                "points": "Measure the voltage drop across the closed points, and the dwell.",
                "coil": "Measure the available voltage.",
                "cure": "Put right what the tests have shown.",
                "clean": "Clean, file and gap the plugs, or renew them.",
                "drive": "Drive it as the owner does, and read the plugs again.",
                "range": "Only now, if all is sound: a longer nose from the maker's list.",
            }),
            answer=lambda v: ("ask", "choke", "points", "coil", "cure", "clean", "drive", "range"),
            pairs=(
                ("ask", "choke"), ("ask", "points"), ("ask", "coil"), ("choke", "cure"), ("points", "cure"),
                ("coil", "cure"), ("cure", "clean"), ("clean", "drive"), ("drive", "range"),
            ),
            critical=(
                Critical("range-too-soon", "coil", "range",
                         "First measure the voltage, then think of the heat range; leave neither out. A weak spark looks like a cold plug."),
            ),
        ),
    ),
    route=lambda v: (
        "Ask and look; test what costs little: choke and filter, points, coil.",
        "Cure the cause, then clean the plugs, then drive and read them again.",
        "The heat range comes last, and only with everything else proved sound.",
    ),
)  # fmt: skip

_BATCH_LOOKS = MappingProxyType(
    {
        "tan": "tan",
        "sooty": "dry soot",
        "oily": "wet with oil",
        "blistered": "blistered nose",
        "cracked": "cracked nose",
        "thread": "torn thread",
        "bridge": "crumb in the gap",
    }
)
_SCRAP = ("blistered", "cracked", "thread")
_PLUGS = 9
_WIRE_MM = 0.02  # half the distance between two gap wires


def _lot(parameters):
    limit = plug.worn_gap_mm(parameters["new_mm"], parameters["limit_km"])
    plugs = []
    for number in range(1, _PLUGS + 1):
        gap = round((parameters["new_mm"] + limit) / 2 + parameters[f"grown_{number}"] / 100, 2)
        if (
            _WIRE_MM / 2 < abs(gap - limit) < 2 * _WIRE_MM
        ):  # neither at the limit nor clear of it: nobody could tell why
            gap = round(limit + (2.2 if gap > limit else -2.2) * _WIRE_MM, 2)
        plugs.append([f"P{number}", parameters[f"look_{number}"], gap])
    return {"plugs": plugs}


def _judge_lot(v):
    """What each plug of the lot deserves; a gap within half a wire step of the limit counts either way."""
    limit = plug.worn_gap_mm(v.new_mm, v.limit_km)
    return tuple(
        REJECT if look in _SCRAP or gap > limit + _WIRE_MM else EITHER if gap >= limit - _WIRE_MM else KEEP
        for _, look, gap in v.plugs
    )


def _lots(looks, most_grown):
    """What a draw takes: gap and mileage, and for each plug its look and how far its gap has grown [0.01 mm]."""
    return {
        "new_mm": Steps(60, 80, 5, scale=100),
        "limit_km": Steps(16000, 28000, 1000),
        **{f"look_{n}": Pick(looks) for n in range(1, _PLUGS + 1)},
        **{f"grown_{n}": Steps(-12, most_grown) for n in range(1, _PLUGS + 1)},
    }


SORT_LOT = Exercise(
    key="m03.sort_lot",
    version=2,
    marking=1,
    title="Nine plugs on the bench",
    text=(
        "The shop cleans, files and gaps a plug unless its nose is cracked or blistered, its thread is torn, or its gap "
        "has grown past the limit. The new gap is {new_mm:.2f} mm ({new_in:.3f} in). The limit is the gap that the rule "
        "“0.001 inch in 1000 miles” (0.0158 mm in 1000 km) gives after {limit} km ({limit_miles} miles). "
        "The wires measure to within 0.02 mm (0.001 in). Sort them, and leave undecided what lies so near the limit that the "
        "wires cannot tell:{listed}"
    ),
    draw=_lots(("tan",) * 6 + ("sooty", "oily", "bridge", *_SCRAP), 24),  # more than half are fit for use
    fill=_lot,
    show=lambda v: {
        "new_in": v.new_mm / 25.4,
        "limit": grouped(v.limit_km),
        "limit_miles": miles(v.limit_km),
        "listed": listing.lines(
            f"{label} {_BATCH_LOOKS[look]}, {gap:.2f} mm ({gap / 25.4:.3f} in)" for label, look, gap in v.plugs
        ),
    },
    parts=(
        Batch(
            key="lot", prompt="Keep, reject, or undecided", marks=2, objectives=("H5", "H8"),
            items=lambda v: tuple(label for label, _, _ in v.plugs),
            answer=_judge_lot,
            slips=(
                Slip("soot-scrapped",
                     "You rejected plugs for soot, oil or a crumb. Those clean off: judge by nose, thread and gap.",
                     lambda v: tuple(
                         REJECT if look != "tan" and right == KEEP else right
                         for (_, look, _), right in zip(v.plugs, _judge_lot(v), strict=True)
                     )),
                Slip("gap-only",
                     "You judged by the gap alone. A cracked or blistered nose or a torn thread ends a plug at any gap.",
                     lambda v: tuple(
                         KEEP if look in _SCRAP and gap <= plug.worn_gap_mm(v.new_mm, v.limit_km) else right
                         for (_, look, gap), right in zip(v.plugs, _judge_lot(v), strict=True)
                     )),
            ),
        ),
    ),
    route=lambda v: (
        f"Limit: {v.new_mm:.2f} + 0.0158 × {v.limit_km / 1000:g} = {plug.worn_gap_mm(v.new_mm, v.limit_km):.2f} mm.",
        "Rejected for nose or thread: "
        + (", ".join(label for label, look, _ in v.plugs if look in _SCRAP) or "none") + ".",
        "Rejected for the gap: "
        + (", ".join(
            label for (label, look, _), said in zip(v.plugs, _judge_lot(v), strict=True)
            if said == REJECT and look not in _SCRAP
        ) or "none") + ".",
        "Too near the limit to tell: "
        + (", ".join(label for (label, _, _), said in zip(v.plugs, _judge_lot(v), strict=True) if said == EITHER) or "none")
        + ".",
    ),
)  # fmt: skip

# Issued before each plug had its share of the marks; half of the nine were scrap.
SORT_LOT_BY_COST = replace(
    SORT_LOT,
    version=1,
    draw=_lots(("tan", "tan", "sooty", "oily", "tan", "bridge", *_SCRAP), 30),
    parts=(by_cost(SORT_LOT.parts[0]),),
)
