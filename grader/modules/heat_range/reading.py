"""Exercises on reading plugs: what a look may come from, what to do first, what to keep."""

from types import MappingProxyType

from grader.exercise import listing
from grader.exercise.kinds import Choices
from grader.exercise.model import Choice, Exercise, Slip
from grader.exercise.sorting import EITHER, KEEP, REJECT, Batch, Critical, Order
from grader.exercise.spread import Pick, Steps
from grader.reference.spark import tester
from grader.vehicle.spec import vehicle, vehicles

_ENGINES = Pick(tuple(vehicles()))

# What lies on the noses of a whole set, and the causes that leave it (the looks of two public manuals; fuel: practice).
_COATS = MappingProxyType(
    {
        "tan": ("All noses are light tan to grey", ()),
        "sooty": ("All noses and shells wear a dry, fluffy black coat that a finger wipes off", ("rich", "weak", "cold")),
        "oily": ("All noses are wet, black and slippery, and the threads drip with oil", ("oil",)),
        "fuel": ("The engine was cranked and did not fire once; all noses are clean, wet, and smell of petrol",
                 ("flooded", "dead")),
        "white": ("All noses are chalk white, the electrodes are blued", ("early", "hot")),
    }
)  # fmt: skip
_EDGES = MappingProxyType(
    {
        "square": ("the edges are still square and the gaps hardly wider than new", ()),
        "rounded": ("the centre electrodes are rounded and the gaps are wide", ("miles",)),
    }
)
_HARMS = MappingProxyType(
    {
        "none": ("", ()),
        "cracked": (" On the plug of cylinder {one} a piece of the nose has broken away.", ("knock",)),
        "bridged": (" On the plug of cylinder {one} a crumb of deposit joins the two electrodes.", ("crumb",)),
    }
)
_WHY = MappingProxyType(
    {
        "rich": "Rich mixture, choke and long idling leave dry soot.",
        "weak": "A weak spark leaves dry soot, as a cold plug does.",
        "cold": "A plug too cold for the work does not burn its soot off.",
        "flooded": "Flooding leaves plugs wet with fuel.",
        "dead": "Fuel that no spark lights stays on the plugs.",
        "oil": "Oil comes past rings or valve guides.",
        "early": "A spark too early or a lean mixture heats every nose.",
        "hot": "Too hot a type, or plugs loose in their seats, leave white noses.",
        "miles": "Distance rounds the edges and widens the gaps.",
        "knock": "Detonation, a fall or careless gapping breaks a nose.",
        "crumb": "Deposits that break loose can join the electrodes.",
    }
)


def _titled(parameters):
    spec = vehicle(parameters["vehicle"])
    return {"title": spec.title, "cylinders": spec.cylinders}


def _titled_and_one(parameters):
    spec = _titled(parameters)
    return {**spec, "one": 1 + parameters["spot"] % spec["cylinders"]}


def _causes(v):
    return (*_COATS[v.coat][1], *_EDGES[v.edges][1], *_HARMS[v.harm][1])


def _set_seen(v):
    return f"{_COATS[v.coat][0]}; {_EDGES[v.edges][0]}.{_HARMS[v.harm][0].format(one=v.one)}"


LOOK = Exercise(
    key="m03.look",
    version=2,
    marking=1,
    title="One look, several causes",
    text=(
        "The {cylinders} plugs of the {title} lie before you. {seen} Tick every cause that can explain what you see. "
        "Tick “none of these” if nothing is wrong."
    ),
    # One plug of a set is bridged or broken, never the whole set.
    draw={
        "vehicle": _ENGINES, "coat": Pick(tuple(_COATS)), "edges": Pick(tuple(_EDGES)),
        "harm": Pick(("none", "none", "cracked", "bridged")), "spot": Steps(0, 23),
    },
    fill=_titled_and_one,
    show=lambda v: {"seen": _set_seen(v)},
    parts=(
        Choices(
            key="causes", prompt="It may come from", marks=1, objectives=("H5",),
            options=MappingProxyType({
                "rich": "rich mixture, choke, or long idling",
                "weak": "a weak spark that still fires",
                "cold": "plugs too cold for the work",
                "flooded": "flooded with fuel while it was cranked",
                "dead": "no spark, or one too weak to fire at all",
                "oil": "oil past rings or valve guides",
                "early": "spark too early, or lean mixture",
                "hot": "too hot a type, or plugs loose in their seats",
                "miles": "a long distance",
                "knock": "detonation, a fall, or careless gapping",
                "crumb": "deposits broken loose in hard use after slow running",
            }),
            answer=_causes,
            because=lambda v: _WHY,
            slips=(
                Slip("fuel-only",
                     "Dry soot is not the carburettor's alone. A weak spark leaves it too, and so does a plug too cold.",
                     lambda v: ("rich", *_causes(v)[3:]) if v.coat == "sooty" else None),
                Slip("wet-is-oil",
                     "You took every wet plug for an oily one. Smell it: petrol tells of a missing spark or of flooding.",
                     lambda v: ("oil", *_causes(v)[2:]) if v.coat == "fuel" else None),
                Slip("oil-cold",
                     "You blamed a cold plug for oil. Oil comes past rings or guides; no plug cures it.",
                     lambda v: ("oil", "cold", *_causes(v)[1:]) if v.coat == "oily" else None),
                Slip("hot-only",
                     "You blamed the plugs alone. A spark too early or a lean mixture whitens the right plug as well.",
                     lambda v: ("hot", *_causes(v)[2:]) if v.coat == "white" else None),
            ),
        ),
    ),
    route=lambda v: (
        f"What you see: {_set_seen(v)}",
        "Take the noses, the edges and the one plug that differs each by itself.",
        *([_WHY[cause] for cause in _causes(v)] or ["Right plug, right mixture: none of the causes."]),
    ),
)  # fmt: skip

_PATTERNS = MappingProxyType(
    {
        "one-dry": (
            "the plug of cylinder {one} is dry and sooty, all others are light tan",
            "cylinder {one} has black, dusty deposits; the rest of the row looks healthy",
        ),
        "one-oil": (
            "the plug of cylinder {one} is wet with oil, all others are light tan",
            "cylinder {one} shows a shiny, greasy nose; the rest of the row looks healthy",
        ),
        "one-fuel": (
            "the plug of cylinder {one} is wet and smells of petrol, all others are light tan",
            "cylinder {one} has a clean nose that drips with fuel; the rest of the row looks healthy",
        ),
        "all-dry": (
            "every plug is dry and sooty, one like the other",
            "the whole row is dusty black, no cylinder differs",
        ),
        "all-fuel": (
            "every plug is wet and smells of petrol; the engine turns and does not start",
            "the whole row drips with fuel, no cylinder differs, and the engine has not fired once",
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
    version=2,
    marking=1,
    title="All of them, or one of them?",
    text=(
        "You lay the plugs of the {title} side by side in the order of the cylinders, 1 to {cylinders}. You see this: "
        "{seen}. Nothing has been measured yet. Where do you look first?"
    ),
    draw={"vehicle": _ENGINES, "pattern": Pick(tuple(_PATTERNS)), "wording": Steps(0, 1), "spot": Steps(0, 23)},
    fill=_titled_and_one,
    show=lambda v: {"seen": _PATTERNS[v.pattern][v.wording].format(one=v.one)},
    parts=(
        Choice(
            key="look_first", prompt="First", marks=1, objectives=("H5",),
            options=MappingProxyType({
                "one-dry": "At why that cylinder fires badly: its lead, its cap tower, its plug.",
                "one-oil": "At that cylinder's oil: compression test, rings, guides.",
                "one-fuel": "At whether a spark comes at all at that plug: lead, cap tower, plug.",
                "all-dry": "At what all share: choke, air filter, points and coil. Measure before touching plugs.",
                "all-fuel": "At whether there is any spark, and then at the choke: no spark, or flooded.",
                "all-white": "At what all share: timing, lean mixture, air leaks.",
                "one-white": "At that plug's seat and type, and at an air leak on that port.",
            }),
            signs=MappingProxyType({
                "one-dry": "That is for one dry, sooty plug in a healthy row.",
                "one-oil": "That is for one plug wet with oil in a healthy row.",
                "one-fuel": "That is for one plug wet with fuel in a healthy row.",
                "all-dry": "That is for a whole row of dry soot.",
                "all-fuel": "That is for a whole row wet with fuel.",
                "all-white": "That is for a whole row of overheated noses.",
                "one-white": "That is for one overheated nose in a healthy row.",
            }),
            answer=lambda v: v.pattern,
            slips=(
                Slip("one-for-all",
                     "Only one plug looks like this. A fault that all share would mark the whole row: stay with that cylinder.",
                     lambda v: {"one-dry": "all-dry", "one-white": "all-white", "one-fuel": "all-fuel"}.get(v.pattern)),
                Slip("all-for-one",
                     "The whole row looks alike. One cylinder's fault cannot do that: look at what all share.",
                     lambda v: {"all-dry": "one-dry", "all-white": "one-white", "all-fuel": "one-fuel"}.get(v.pattern)),
                Slip("wet-is-not-oil",
                     "Wet alone does not mean oil. Smell and feel it: petrol is thin and clean, oil is black and slippery.",
                     lambda v: {"one-fuel": "one-oil", "one-oil": "one-fuel"}.get(v.pattern)),
            ),
        ),
    ),
    route=lambda v: (
        "All alike: a cause they share. One alone: a cause in that cylinder.",
        "Dry soot is spark or mixture, wet with fuel is no spark or flooding, wet with oil is oil, white is heat.",
    ),
)  # fmt: skip

_SPARK = MappingProxyType(
    {
        "untested": "Nobody has tested the spark yet.",
        "good": "A spark tester on {lead}, well away from fuel, sparks strongly.",
        "none": "A spark tester on {lead}, well away from fuel, shows no spark{others}.",
    }
)
# Wet with what, how many plugs, what the tester on the lead shows: where it leads (practice).
_WET = MappingProxyType(
    {
        ("fuel", "one", "untested"): "test",
        ("fuel", "all", "untested"): "test",
        ("fuel", "one", "none"): "lead",
        ("fuel", "one", "good"): "plug",
        ("fuel", "all", "none"): "shared",
        ("fuel", "all", "good"): "flooded",
        ("oil", "one", "untested"): "oil",
        ("oil", "one", "good"): "oil",
    }
)
_LEADS_TO = {
    ends: tuple(f for f, a in _WET.items() if a == ends)
    for ends in ("test", "lead", "plug", "shared", "flooded", "oil")
}


def _wet_case(parameters):
    cases = _LEADS_TO[parameters["ends"]]
    wet, who, spark = cases[parameters["which"] % len(cases)]
    return {**_titled_and_one(parameters), "wet": wet, "who": who, "spark": spark}


def _wet_seen(v):
    who = (
        f"The plug of cylinder {v.one} is"
        if v.who == "one"
        else "It turns on the starter and does not start. All plugs are"
    )
    wet = "wet, clean and smells of petrol" if v.wet == "fuel" else "wet, black and slippery, and smells of oil"
    if v.who == "all":
        wet = wet.replace("smells", "smell")
    rest = "; all others are tan." if v.who == "one" else "."
    spark = _SPARK[v.spark].format(
        lead=f"the lead of cylinder {v.one}" if v.who == "one" else "every lead in turn",
        others="; the other leads spark" if v.who == "one" else " on any",
    )
    return f"{who} {wet}{rest} {spark}"


WET = Exercise(
    key="m03.wet",
    version=1,
    marking=1,
    title="Wet with what?",
    text="The {title}, {cylinders} cylinders. {seen} What do you do, or where does the fault lie?",
    draw={"vehicle": _ENGINES, "ends": Pick(tuple(_LEADS_TO)), "which": Steps(0, 1), "spot": Steps(0, 23)},
    fill=_wet_case,
    show=lambda v: {"seen": _wet_seen(v)},
    parts=(
        Choice(
            key="step", prompt="Your answer", marks=2, objectives=("H5",),
            options=MappingProxyType({
                "test": "Cannot tell yet: test the spark at the lead, well away from fuel.",
                "lead": "Its lead or its tower in the cap: no spark arrives.",
                "plug": "The plug itself: clean, dry and test it, or renew it.",
                "shared": "Coil, points or what feeds them: no spark anywhere.",
                "flooded": "Flooded: look at the choke and the carburettor, dry the plugs, and let the fuel dry out of the cylinders.",
                "oil": "Rings or valve guides: measure the compression of that cylinder.",
            }),
            signs=MappingProxyType({
                "test": "The spark is tested first where plugs are wet with fuel and nobody has tested it.",
                "lead": "It is the lead or the cap where one lead alone gives no spark.",
                "plug": "It is the plug where its lead sparks strongly and it is wet with fuel all the same.",
                "shared": "It is what all share where no lead gives a spark.",
                "flooded": "It is flooded where every lead sparks strongly and every plug is wet with fuel.",
            }),
            answer=lambda v: v.ends,
            slips=(
                Slip("wet-is-oil",
                     "You took fuel for oil. It smells of petrol: either no spark lit it, or there was too much of it.",
                     lambda v: "oil" if v.wet == "fuel" else None),
                Slip("untested",
                     "You may be right, but nobody has tested the spark. That test is quick and tells.",
                     lambda v: {"one": "lead", "all": "flooded"}[v.who] if v.ends == "test" else None),
                Slip("one-or-all",
                     "Count the plugs. One bad lead leaves one plug without a spark; only a part that all share leaves all of them without.",
                     lambda v: {"lead": "shared", "shared": "lead"}.get(v.ends)),
            ),
        ),
    ),
    route=lambda v: (
        "Smell and feel first: petrol is thin and clean, oil is black and slippery.",
        "Wet with fuel: either no spark came, or there was too much fuel. The spark at the lead tells which.",
        {
            "test": "Nobody has tested it yet, so that comes first.",
            "lead": "This lead alone is dead: lead or cap tower.",
            "plug": "The spark arrives at the lead, so the plug does not use it.",
            "shared": "No lead sparks: coil, points, supply.",
            "flooded": "Every lead sparks: too much fuel.",
            "oil": "Oil has nothing to do with the spark. Compression, rings, guides.",
        }[v.ends],
    ),
)  # fmt: skip

_STEPS = MappingProxyType(
    {
        "ask": "Ask how it is driven, and look at the plugs side by side.",
        "choke": "Check choke and air filter.",
        "points": "Measure the voltage drop across the closed points, and the dwell.",
        "coil": "Measure the available voltage.",
        "cure": "Put right what the tests have shown.",
        "clean": "Clean, file and gap the plugs, or renew them.",
        "drive": "Drive it as the owner does, and read the plugs again.",
        "range": "Only now, if all is sound: a longer nose from the maker's list.",
    }
)
_DONE = MappingProxyType(
    {
        "ask": "has asked how it is driven and looked at the plugs side by side",
        "choke": "has checked choke and air filter, and both are right",
        "points": "has measured the drop across the points and the dwell, and both are right",
        "coil": "has measured the available voltage, and it is right",
        "clean": "has cleaned, filed and gapped the plugs",
    }
)


def _done(v):
    return tuple(step for step in _DONE if getattr(v, f"done_{step}"))


def _to_do(v):
    done = _done(v)
    tests = tuple(step for step in ("choke", "points", "coil") if step not in done)
    before = () if "ask" in done else ("ask",)
    return (*before, *tests, *(("cure",) if tests else ()), *(() if "clean" in done else ("clean",)), "drive", "range")


def _told(v):
    done = [_DONE[step] for step in _done(v)]
    return f"A colleague {'; he '.join(done)}. The rest is still to do." if done else "Nothing has been done yet."


SOOTY_ORDER = Exercise(
    key="m03.sooty_order",
    version=2,
    marking=1,
    title="A sooty row: in which order?",
    text=(
        "The {title} came in with {cylinders} dry, sooty plugs. New ones were fitted {weeks} weeks ago and soon looked "
        "the same. {told} Put the steps from here in order. Leave out what is done, and what then has no use."
    ),
    draw={"vehicle": _ENGINES, "weeks": Steps(3, 12), **{f"done_{step}": Pick((False, True)) for step in _DONE}},
    fill=_titled,
    show=lambda v: {"told": _told(v)},
    parts=(
        Order(
            key="steps", prompt="Your order", marks=2, objectives=("H5", "H6"),
            items=_STEPS,
            answer=_to_do,
            pairs=(
                ("ask", "choke"), ("ask", "points"), ("ask", "coil"), ("choke", "cure"), ("points", "cure"),
                ("coil", "cure"), ("cure", "clean"), ("cure", "drive"), ("ask", "drive"), ("clean", "drive"),
                ("drive", "range"),
            ),
            critical=(
                Critical("range-too-soon", "coil", "range",
                         "First measure the voltage, then think of the heat range; leave neither out. A weak spark looks like a cold plug."),
            ),
            because=lambda v: {
                **dict.fromkeys(_done(v), "That is done already."),
                **({} if "cure" in _to_do(v) else {"cure": "Every test was right, so there is nothing to put right."}),
                ("ask", "choke"): "The owner's work tells where to look, and asking costs nothing.",
                ("choke", "cure"): "Test first, then put right what the test shows.",
                ("points", "cure"): "Test first, then put right what the test shows.",
                ("coil", "cure"): "Test first, then put right what the test shows.",
                ("cure", "clean"): "Clean plugs soot up again while the cause is there.",
                ("clean", "drive"): "Only clean plugs can be read afresh.",
                ("drive", "range"): "Another length is for plugs that soot up again with all else in order.",
            },
        ),
    ),
    route=lambda v: tuple(_STEPS[step] for step in _to_do(v)),
)  # fmt: skip

_BATCH_LOOKS = MappingProxyType(
    {
        "tan": "tan",
        "sooty": "dry soot",
        "oily": "wet with oil",
        "fuel": "wet with fuel",
        "bridge": "crumb in the gap",
        "blistered": "blistered nose",
        "cracked": "cracked nose",
        "thread": "torn thread",
        "worn": "side electrode worn to half",
    }
)
_SCRAP = ("blistered", "cracked", "thread", "worn")
_PLUGS = 9
_GAUGE_PSI = 2  # what a tester's gauge can be read and trusted to
_WIDE_MM = 0.20  # from here on a gap looks wide to anybody
KPA_PER_PSI = 6.894757


def _lot(parameters):
    limit = tester.KEEP_SHARE * parameters["new_psig"]
    plugs = []
    for number in range(1, _PLUGS + 1):
        look, share = parameters[f"look_{number}"], parameters[f"share_{number}"]
        if look in _SCRAP and share < 75:  # it fires well, and is scrap all the same
            share = 75 + share % 20
        psig = round(parameters["new_psig"] * share / 100)
        if _GAUGE_PSI / 2 < abs(psig - limit) < 2 * _GAUGE_PSI:  # at the limit or clear of it, so that all can tell
            psig = round(limit + (5 if psig > limit else -5))
        plugs.append([f"P{number}", look, round(parameters["new_mm"] + parameters[f"grown_{number}"] / 100, 2), psig])
    return {"plugs": plugs}


def _judge_lot(v):
    """What each plug of the lot deserves; a reading within two psi of the limit counts either way."""
    limit = tester.KEEP_SHARE * v.new_psig
    return tuple(
        REJECT if look in _SCRAP or psig < limit - _GAUGE_PSI else EITHER if psig <= limit + _GAUGE_PSI else KEEP
        for _, look, _, psig in v.plugs
    )


def _why_lot(v):
    limit = tester.KEEP_SHARE * v.new_psig
    reasons = {}
    for (label, look, _, psig), decision in zip(v.plugs, _judge_lot(v), strict=True):
        if look in _SCRAP:
            reasons[label] = f"{_BATCH_LOOKS[look].capitalize()}: that does not heal, whatever the tester shows."
        else:
            how = {KEEP: "above", REJECT: "below", EITHER: "too near to tell from"}[decision]
            reasons[label] = f"Serviced, it fires up to {psig} psi, {how} the limit of {limit:.1f} psi."
    return reasons


def _wide_scrapped(v):
    return tuple(
        REJECT if gap >= v.new_mm + _WIDE_MM and right == KEEP else right
        for (_, _, gap, _), right in zip(v.plugs, _judge_lot(v), strict=True)
    )


def _dirt_scrapped(v):
    return tuple(
        REJECT if look != "tan" and right == KEEP else right
        for (_, look, _, _), right in zip(v.plugs, _judge_lot(v), strict=True)
    )


def _listed(label, look, gap, psig):
    return f"{label} {_BATCH_LOOKS[look]}, gap {gap:.2f} mm ({gap / 25.4:.3f} in); now {psig} psi ({psig * KPA_PER_PSI:.0f} kPa)"


SORT_LOT = Exercise(
    key="m03.sort_lot",
    version=3,
    marking=1,
    title="Nine plugs on the bench",
    text=(
        "The list says how each plug came in. The new gap is {new_mm:.2f} mm ({new_in:.3f} in). Then all were cleaned, "
        "filed, set to the new gap and fired in the plug tester; that is the last figure. A new plug of the type fires up "
        "to {new_psig} psi ({new_kpa} kPa) on the gauge. The shop keeps a plug that reaches 70 per cent of that, unless its "
        "nose is cracked or blistered, its thread torn, or an electrode worn away. The gauge is sure to 2 psi (14 kPa). Sort them, and "
        "leave undecided what lies so near the limit that the gauge cannot tell:{listed}"
    ),
    # Gaps up to 0.45 mm over the new one, 18 000 miles by the rule; a new plug at 90 to 120 psi; more than half are sound (practice).
    draw={
        "new_mm": Steps(60, 80, 5, scale=100),
        "new_psig": Steps(90, 120),
        **{f"look_{n}": Pick(("tan",) * 8 + ("sooty", "oily", "fuel", "bridge", *_SCRAP)) for n in range(1, _PLUGS + 1)},
        **{f"grown_{n}": Steps(0, 45) for n in range(1, _PLUGS + 1)},
        **{f"share_{n}": Steps(63, 98) for n in range(1, _PLUGS + 1)},
    },
    fill=_lot,
    show=lambda v: {
        "new_in": v.new_mm / 25.4,
        "new_kpa": f"{v.new_psig * KPA_PER_PSI:.0f}",
        "listed": listing.lines(_listed(*row) for row in v.plugs),
    },
    parts=(
        Batch(
            key="lot", prompt="Keep, reject, or undecided", marks=2, objectives=("H5", "H6"),
            items=lambda v: tuple(row[0] for row in v.plugs),
            answer=_judge_lot,
            because=_why_lot,
            slips=(
                Slip("wide-scrapped",
                     "You rejected plugs for the wide gap with which they came. A gap is filed and set: the tester decides.",
                     _wide_scrapped),
                Slip("dirt-scrapped",
                     "You rejected plugs for soot, oil, fuel or a crumb. Those clean off: nose, thread, electrodes and tester decide.",
                     lambda v: _dirt_scrapped(v) if _dirt_scrapped(v) != _wide_scrapped(v) else None),
                Slip("tester-only",
                     "You went by the tester alone. A cracked nose, a torn thread or a worn electrode ends a plug at any reading.",
                     lambda v: tuple(
                         KEEP if look in _SCRAP else right
                         for (_, look, _, _), right in zip(v.plugs, _judge_lot(v), strict=True)
                     )),
            ),
        ),
    ),
    route=lambda v: (
        f"Limit: 0.70 × {v.new_psig} = {tester.KEEP_SHARE * v.new_psig:.1f} psi. The gap with which a plug came in does not count.",
        "Rejected for nose, thread or electrode: "
        + (", ".join(row[0] for row in v.plugs if row[1] in _SCRAP) or "none") + ".",
        "Rejected by the tester: "
        + (", ".join(
            row[0] for row, decision in zip(v.plugs, _judge_lot(v), strict=True)
            if decision == REJECT and row[1] not in _SCRAP
        ) or "none") + ".",
        "Too near the limit to tell: "
        + (", ".join(
            row[0] for row, decision in zip(v.plugs, _judge_lot(v), strict=True) if decision == EITHER
        ) or "none") + ".",
    ),
)  # fmt: skip
