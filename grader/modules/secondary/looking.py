"""Exercises on safe hands and on finding the fault: acts, sights, readings, the order of a search, polarity."""

from types import MappingProxyType
from typing import Any

from grader.exercise import listing
from grader.exercise.kinds import Choices, Range
from grader.exercise.model import Choice, Exercise, Line, Percent, Slip
from grader.exercise.sorting import Critical, Order
from grader.exercise.spread import Pick, Steps
from grader.modules.secondary.leads import gap_kv
from grader.modules.situations import MANY, by_answer, chosen
from grader.reference.spark import cables
from grader.vehicle.spec import vehicle, vehicles

_EIGHT = tuple("12345678")


def _states(prefix, topics):
    """One draw for each topic: which of its lines is printed."""
    return {f"{prefix}_{topic}": Steps(0, len(lines) - 1) for topic, lines in topics.items()}


def _drawn(v, prefix, topics):
    """The printed lines in their places: (line, applies, why)."""
    return tuple(lines[getattr(v, f"{prefix}_{topic}")] for topic, lines in topics.items())


def _applies(rows):
    return tuple(line for line, row in zip(_EIGHT, rows, strict=True) if row[1])


# What is done by hand at a live ignition: (what he does, is it unsafe, why). Sixteen acts and their safe sisters (practice).
_ACTS = MappingProxyType({
    "hold": (
        ("holds the end of a plug lead near the block by hand, engine cranking", True,
         "The jolt throws the hand into the fan: use an insulated, earthed jig."),
        ("holds a plug lead with dry cloth while the engine idles", True,
         "Cloth does not hold back 20 kV: stop the engine, or use insulated pliers."),
        ("clamps the lead into an insulated jig whose gap is earthed, then has the engine cranked", False,
         "The jig takes the voltage, and no hand is near."),
    ),
    "open": (
        ("pulls a plug lead off the running engine and lets it hang", True,
         "With nowhere to go the voltage breaks through coil, cap or rotor, and it can go through a person."),
        ("earths the coil lead before he cranks for a compression test", False, "Earthed, the coil has a way for its voltage."),
    ),
    "water": (
        ("sprays the cap with a jet from the hose while the engine runs", True,
         "A jet drives water into cap, fan and face: a fine mist shows as much."),
        ("wets the leads with a fine mist in the dark, hands and bottle well away from the fan", False,
         "A mist shows a leak, and nothing is touched."),
    ),
    "vapour": (
        ("makes a test spark beside the open carburettor", True, "Any spark lights fuel vapour: close the carburettor, air the place, keep the jig away."),
        ("makes a test spark above the battery just after it was charged", True, "A spark makes battery gas explode: keep the jig well away."),
        ("airs the engine bay, wipes up fuel and puts the extinguisher within reach before the spark test", False,
         "Then no vapour lies near the spark."),
    ),
    "pacemaker": (
        ("holds the timing light although he wears a pacemaker", True,
         "A live ignition can disturb a pacemaker: he stays away and asks his doctor."),
        ("asks everyone near whether somebody wears a pacemaker before the engine is started", False,
         "Whoever wears one stays well away."),
    ),
    "touch": (
        ("pushes a loose boot back on its plug while the engine idles", True, "A leaking boot gives the jolt: stop the engine first."),
        ("stops the engine and takes the key out before he touches a lead", False, "A stopped engine with its key out gives no jolt."),
    ),
    "room": (
        ("lets the engine run in the closed bay for the search in the dark", True,
         "Exhaust gas kills, and nobody notices it: put the extraction on the tail pipe, or work outdoors."),
        ("puts the extraction on the tail pipe before the search in the dark", False, "The exhaust leaves the bay."),
    ),
    "sleeve": (
        ("reaches over the turning fan to bend a lead aside, sleeves open", True, "The fan takes sleeve and arm: stop the engine first."),
        ("ties back his hair and rolls his sleeves tight before the engine starts", False, "Nothing loose can be caught."),
    ),
})  # fmt: skip
_VAPOUR = _EIGHT[tuple(_ACTS).index("vapour")]


def unsafe_lines(v: Any) -> tuple[str, ...]:
    """Numbers of the lines at which somebody is stopped."""
    return _applies(_drawn(v, "act", _ACTS))


UNSAFE = Exercise(
    key="m05.unsafe",
    version=1,
    marking=1,
    title="Whom do you stop?",
    text=(
        "In the workshop somebody does the following, one after the other. He{list}Tick every line at which you stop him. "
        "Tick “none of these” if all of it is safe."
    ),
    draw=_states("act", _ACTS),
    show=lambda v: {"list": listing.lines(f"({n}) {row[0]}" for n, row in zip(_EIGHT, _drawn(v, "act", _ACTS), strict=True))},
    parts=(
        Choices(
            key="stop", prompt="You stop him at", marks=1, objectives=("S11",), order="fixed",
            options=MappingProxyType({line: f"Line {line}" for line in _EIGHT}),
            answer=unsafe_lines,
            because=lambda v: {n: row[2] for n, row in zip(_EIGHT, _drawn(v, "act", _ACTS), strict=True)},
            slips=(
                Slip("vapour-forgotten",
                     "You let him make a spark beside vapour. Fuel and battery gas light from any spark.",
                     lambda v: tuple(n for n in unsafe_lines(v) if n != _VAPOUR) if _VAPOUR in unsafe_lines(v) else None,
                     share=0.5),
            ),
        ),
    ),
    route=lambda v: tuple(
        f"({n}) {'Stop him.' if row[1] else 'Safe.'} {row[2]}"
        for n, row in zip(_EIGHT, _drawn(v, "act", _ACTS), strict=True)
    ),
)  # fmt: skip

# Sights of a cap, its rotor and leads: (what is seen, does it call for a part, why). Grey terminals and a charred tip edge
# are normal by two public workshop pages (published); the others are practice.
_SIGHTS = MappingProxyType({
    "terminals": (
        ("The terminals inside the cap wear a thin grey film.", False, "A grey film is normal: the spark leaves it."),
        ("The terminals inside the cap are eaten away to half.", True, "The rotor gap has grown by what is gone: fit a new cap."),
        ("Thick green crust fills two towers of the cap.", True, "The lead no longer touches its terminal well: clean the towers, or fit a new cap."),
    ),
    "inside": (
        ("Inside the cap there is dust, and no line in it.", False, "Wipe the dust out: it is no fault of the part."),
        ("Inside the cap a thin black line runs from one terminal to the next.", True,
         "The line of carbon takes the spark to the wrong cylinder: fit a new cap."),
        ("A crack as fine as a hair runs down from a tower.", True, "Damp gets into the crack and carries the spark away: fit a new cap."),
    ),
    "tip": (
        ("The edge of the rotor's tip is dark from the spark.", False, "A dark edge is normal while the tip keeps its length."),
        ("The rotor's tip is burnt short by 2 mm.", True, "Each millimetre of air takes kilovolts: fit a new rotor."),
    ),
    "fit": (
        ("The rotor sits on its shaft without play.", False, "A rotor must sit without play."),
        ("The rotor rocks on its shaft.", True, "A loose rotor strikes the terminals or stands out of place: fit a new rotor."),
    ),
    "brush": (
        ("The carbon brush in the cap springs back and is bright.", False, "A brush must spring back and touch the rotor."),
        ("The carbon brush is worn flush with its holder.", True, "It no longer touches the rotor, and the spark must jump a gap: fit a new brush or cap."),
        ("The spring of the carbon brush is there, the brush is not.", True, "There is a gap of air where the brush was: fit a new brush or cap."),
    ),
    "skin": (
        ("The leads are dusty, and they bend softly.", False, "Wipe the dust off: the leads are sound to look at."),
        ("A lead has rubbed on a bracket, and its core shines through.", True, "The spark leaves there: fit a new lead, and keep it clear of the bracket's edge."),
        ("A lead is swollen and soft with oil.", True, "Oil spoils the insulation: fit a new lead, and find where the oil comes from."),
    ),
    "boot": (
        ("The boots are supple and sit tight.", False, "Boots must be supple and tight."),
        ("A boot is hard and split down its side.", True, "The spark gets out through the split: fit a new boot or lead."),
    ),
    "tower": (
        ("The coil's tower is clean and dry.", False, "A clean, dry tower holds the spark."),
        ("A branched black line runs down the coil's tower.", True, "The line carries the spark to earth: fit a new coil, and find the cause."),
    ),
})  # fmt: skip
_GREY = _EIGHT[tuple(_SIGHTS).index("terminals")]
_DARK = _EIGHT[tuple(_SIGHTS).index("tip")]


def lines_for_parts(v: Any) -> tuple[str, ...]:
    """Numbers of the lines that call for a part."""
    return _applies(_drawn(v, "see", _SIGHTS))


LOOK = Exercise(
    key="m05.look",
    version=1,
    marking=1,
    title="What must be renewed or repaired?",
    text=(
        "Engine stopped, key out. You look at cap, rotor and leads with a strong light. You see this:{list}Tick every line "
        "that shows something to renew or to repair. Tick “none of these” if all may stay."
    ),
    draw=_states("see", _SIGHTS),
    show=lambda v: {"list": listing.lines(f"({n}) {row[0]}" for n, row in zip(_EIGHT, _drawn(v, "see", _SIGHTS), strict=True))},
    parts=(
        Choices(
            key="parts", prompt="To be renewed or repaired", marks=1, objectives=("S3",), order="fixed",
            options=MappingProxyType({line: f"Line {line}" for line in _EIGHT}),
            answer=lines_for_parts,
            because=lambda v: {n: row[2] for n, row in zip(_EIGHT, _drawn(v, "see", _SIGHTS), strict=True)},
            slips=(
                Slip("grey-is-normal",
                     "You threw away a cap for its grey film. The spark leaves that film: it is normal.",
                     lambda v: tuple(sorted({*lines_for_parts(v), _GREY})) if _GREY not in lines_for_parts(v) else None,
                     share=0.5),
                Slip("dark-is-normal",
                     "You threw away a rotor for its dark edge. It is normal as long as the tip keeps its length.",
                     lambda v: tuple(sorted({*lines_for_parts(v), _DARK})) if _DARK not in lines_for_parts(v) else None,
                     share=0.5),
            ),
        ),
    ),
    route=lambda v: tuple(
        f"({n}) {row[2]}" for n, row in zip(_EIGHT, _drawn(v, "see", _SIGHTS), strict=True)
    ),
)  # fmt: skip

_PLACES = MappingProxyType({
    "coil": "On the coil's side: coil, coil lead, points, condenser or their feed.",
    "way": "Behind the coil lead: brush or rotor.",
    "track": "In the cap: a track between two terminals.",
    "lead": "In one plug's lead.",
    "plug": "At one plug.",
})  # fmt: skip
_SOUND_KV = (24, 25, 26, 27, 28)


def _readings(parameters):
    """What the tester shows at the coil lead and at each plug lead [kV], and what the leads measure flexed [kohm]."""
    spec = vehicle(parameters["engine"])
    order, cylinders = spec.firing_order, spec.cylinders
    fault, size = parameters["fault"], parameters["size"] / 10
    coil = parameters["coil_kv"] * ((0.45 + 0.15 * size) if fault == "coil" else 1.0)
    rotor = float(cables.rotor_gap_kv(0.75))
    ends: dict[int, float] = {number: coil - rotor for number in range(1, cylinders + 1)}  # noqa: C420 - typed
    ohms = {number: 6.0 + (number * 7 + parameters["spot"]) % 5 for number in ends}
    spot = parameters["spot"] % cylinders
    one, two = order[spot], order[(spot + 1) % cylinders]  # neighbours in the cap follow each other in the order
    if fault == "way":
        ends = {number: kv - gap_kv(2.0 + 2.0 * size) for number, kv in ends.items()}
    if fault == "track":
        ends[one] = ends[two] = 5.0 + 4.0 * size
    if fault == "lead":
        ends[one] -= gap_kv(3.0 + 3.0 * size)
    scatter = ((0.0, 0.3, -0.2, 0.1, -0.3, 0.2, -0.1, 0.0), (0.2, -0.1, 0.0, -0.3, 0.3, 0.1, 0.0, -0.2))[spot % 2]
    return {
        "title": spec.title,
        "order": list(order),
        "coil_read": round(coil, 1),
        "leads": [
            [number, round(kv + scatter[number - 1], 1), _open_or(ohms[number], fault == "lead" and number == one)]
            for number, kv in ends.items()
        ],
        "one": one,
    }  # fmt: skip


def _open_or(kohm, is_open):
    return "open" if is_open else kohm


WHERE = Exercise(
    key="m05.where",
    version=1,
    marking=1,
    title="Where is the fault?",
    text=(
        "The {title} misses under load{on_one}. Its firing order is {dashed}. On a tester with an earthed jig the coil lead gives "
        "{coil_read:g} kV at its cap end; the sheet says {coil_kv} kV. Then each plug lead at its plug end, and its resistance "
        "flexed:{list}Rotor and cap together take about 2 kV on a sound engine. Where do you look?"
    ),
    # A sound coil gives 24 to 28 kV on the jig; a burnt rotor, a break or a track takes kilovolts (practice).
    draw={
        "engine": Pick(tuple(vehicles())), "fault": Pick(tuple(_PLACES)), "spot": Steps(0, 23), "size": Steps(0, 10),
        "coil_kv": Pick(_SOUND_KV),
    },
    fill=_readings,
    show=lambda v: {
        "dashed": "-".join(map(str, v.order)),
        "on_one": f" on number {v.one}" if v.fault in ("lead", "plug") else "",
        "list": listing.lines(
            f"{number}: {kv:g} kV, {kohm if kohm == 'open' else f'{kohm:g} kΩ'}" for number, kv, kohm in v.leads
        ),
    },
    parts=(
        Choice(
            key="place", prompt="You look", marks=1, objectives=("S3", "S9"), options=_PLACES,
            answer=lambda v: v.fault,
            signs=MappingProxyType({
                "coil": "On the coil's side the fault shows at the coil lead already: compare that reading with the sheet.",
                "way": "A fault of brush or rotor lowers every plug lead alike, and the coil lead reads as the sheet says.",
                "track": "A track between two terminals lowers two leads, and those two follow each other in the order.",
                "lead": "A fault in one lead shows at that lead alone, in kV or in ohms.",
                "plug": "You look at the plug where every lead gives its full voltage at the plug end.",
            }),
            slips=(
                Slip("all-low-is-coil",
                     "All leads are low, but the coil lead reads as the sheet says. So the loss comes after the coil.",
                     lambda v: "coil" if v.fault == "way" else None),
                Slip("two-low-is-lead",
                     "Two leads are low, both with good ohms, and they are neighbours in the cap. What joins them?",
                     lambda v: "lead" if v.fault == "track" else None),
            ),
        ),
    ),
    route=lambda v: (
        f"The coil lead gives {v.coil_read:g} kV, and the sheet says {v.coil_kv} kV.",
        f"Each plug lead should give about {v.coil_kv - 2} kV. The lowest gives {min(kv for _, kv, _ in v.leads):g} kV, "
        f"the highest {max(kv for _, kv, _ in v.leads):g} kV.",
        _PLACES[v.fault],
    ),
)  # fmt: skip

# The order of a search.

_SEARCH = MappingProxyType({
    "ask": "Ask the owner when it happens and what was done last",
    "mist": "Engine running, in the dark, hands away: wet cap and leads with a fine mist and look",
    "stop": "Stop the engine and take the key out",
    "look": "Take cap and rotor off and look at them and at the leads with a strong light",
    "ohms": "Take the leads off one by one and measure them, flexed",
    "dry": "Clean and dry cap, coil and leads",
    "try": "Fit a part that is known to be good for a trial, and see whether the fault goes",
    "part": "Fit the new part",
    "again": "Bring about the owner's condition again and see that the fault stays away",
    "all": "Buy cap, rotor and leads and fit them all",
    "hand": "Hold a lead near the block by hand and watch the spark",
})  # fmt: skip
# What it will turn out to be -> the steps that lead there.
_FOUND = MappingProxyType({
    "dirt": ("dirt that carries the spark away when it is wet; no part is broken", ("ask", "mist", "stop", "look", "dry", "again")),
    "track": ("a black line inside the cap", ("ask", "mist", "stop", "look", "try", "part", "again")),
    "leaky": ("a lead whose insulation leaks when it is wet", ("ask", "mist", "stop", "look", "try", "part", "again")),
    "open": ("a lead that is open when it is flexed", ("ask", "stop", "ohms", "try", "part", "again")),
    "rotor": ("a rotor burnt short", ("ask", "stop", "look", "try", "part", "again")),
})  # fmt: skip
_COMPLAINTS = MappingProxyType({
    "dirt": ("misses on damp mornings", "stops in heavy rain"),
    "track": ("starts badly on damp mornings", "misses in rain, two cylinders at once"),
    "leaky": ("misses in rain, one cylinder alone", "misses after the engine was washed"),
    "open": ("misses on one cylinder over bumps", "misses on one cylinder, dry or wet"),
    "rotor": ("misses uphill on all cylinders", "loses power under load, dry or wet"),
})  # fmt: skip
_BEGUN = MappingProxyType({
    "nothing": ("", ()),
    "asked": (" The owner has already told you all he knows.", ("ask",)),
    "stopped": (" The owner has told you all he knows, and the engine stands with its key out.", ("ask", "stop")),
})  # fmt: skip


def steps_needed(v: Any) -> tuple[str, ...]:
    """Steps from where the work stands now to the proof, in their order."""
    left = _FOUND[v.found][1]
    done = _BEGUN[v.begun][1]
    return tuple(step for step in left if step not in done or (step == "stop" and "mist" in left))


DAMP_ORDER = Exercise(
    key="m05.damp_order",
    version=1,
    marking=1,
    title="The way to the fault",
    text=(
        "The {title} {complaint}.{begun_words} It will turn out to be {found_words}. Put your steps in order, from now to the "
        "proof. Leave out every step that is not needed here or must never be done."
    ),
    draw={
        "vehicle": Pick(tuple(vehicles())), "found": Pick(tuple(_FOUND)), "told": Steps(0, 1),
        "begun": Pick(tuple(_BEGUN)),
    },
    fill=lambda parameters: {"title": vehicle(parameters["vehicle"]).title},
    show=lambda v: {
        "complaint": _COMPLAINTS[v.found][v.told], "begun_words": _BEGUN[v.begun][0], "found_words": _FOUND[v.found][0],
    },
    parts=(
        Order(
            key="order", prompt="Steps in order", marks=1, items=_SEARCH, objectives=("S9", "S11"),
            answer=steps_needed,
            critical=(
                Critical("live-leads", "stop", "ohms", "Leads are touched on a stopped engine. Stop it first, measure after; leave neither out."),
                Critical("live-cap", "stop", "look", "The cap comes off on a stopped engine. Stop it first, look after; leave neither out."),
                Critical("bought-unproved", "try", "part",
                         "A part is proved before it is bought. Try a good one first, fit the new one after; leave neither out."),
                Critical("unverified", "part", "again",
                         "The cure is shown after the repair. Fit first, try the owner's condition after; leave neither out."),
            ),
            because=lambda v: {
                "all": "Three parts at once prove nothing, and the owner pays for two of them in vain.",
                "hand": "A lead held by hand throws the hand into the fan.",
                "mist": "Mist finds what only leaks when it is wet." if "mist" in steps_needed(v) else "This fault is there in dry air too.",
                "ohms": "An open core shows on the ohmmeter." if "ohms" in steps_needed(v) else "The ohms of the leads say nothing about this fault.",
                "dry": "Dirt is cleaned off, no part is needed." if "dry" in steps_needed(v) else "Drying hides this fault for a day.",
                "part": "The part is what cures it." if "part" in steps_needed(v) else "No part is broken, so none is bought.",
                "try": "A good part on trial proves it." if "try" in steps_needed(v) else "There is no part to be proved.",
                ("mist", "stop"): "The mist is tried on the running engine.",
                ("ask", "mist"): "The owner's words say what to try.",
            },
        ),
    ),
    route=lambda v: (f"It turns out to be {_FOUND[v.found][0]}.", *(f"{_SEARCH[step]}." for step in steps_needed(v))),
)  # fmt: skip

# Polarity.

_MORE = (1.15, 1.30)  # what a plug asks for when the side electrode is negative (practice)
_EARTHS = ("negative", "positive")


def _wired_rule(earth, points_at, told):
    """The coil's terminal of the earthed pole's sign goes to the points, so that the plug's centre is negative."""
    return "leave" if points_at == earth else "swap"


# The sentence itself is drawn and lies in the numbers that were issued; it is printed in plainer words.
_PRINTED = MappingProxyType({
    "A new battery was fitted last week, and the engine misses under load since.":
        "A new battery was fitted last week. Since then the engine misses under load.",
    "The coil was renewed last month. Since then it misses uphill.":
        "The coil was renewed last month. Since then the engine misses uphill.",
    "The owner has changed the earth of the battery for a radio.":
        "To fit a radio, the owner has changed which pole of the battery is earthed.",
    "Everything else was found in order.": "Everything else was found in order.",
})  # fmt: skip
_TOLD = tuple(_PRINTED)
_WIRED = by_answer({"earth": _EARTHS, "points_at": _EARTHS, "told": _TOLD}, _wired_rule)
_SIGN = MappingProxyType({"negative": "−", "positive": "+"})

_DO = MappingProxyType({
    "leave": "leave the coil as it is connected: the plugs' centre electrodes are negative.",
    "swap": "change over the coil's two low-tension leads: the plugs' centre electrodes are positive now.",
})  # fmt: skip

POLARITY = Exercise(
    key="m05.polarity",
    version=1,
    marking=1,
    title="Which way round?",
    text=(
        "With the right polarity the plugs of the {title} ask for {healthy_kv:g} kV under load. Between which figures will they ask "
        "if the coil is connected the wrong way round? Now look at the coil. The battery's {earth} pole is earthed. "
        "{told_words} The coil's terminals are marked + and −, and the terminal marked {mark} is "
        "connected to the points. What do you do?"
    ),
    # Plugs ask for 8 to 15 kV under load; reversed for 15 to 30 per cent more (practice).
    draw={
        "vehicle": Pick(tuple(vehicles())), "healthy_kv": Steps(80, 150, 2, scale=10), "do": Pick(("leave", "swap")),
        "many": MANY,
    },
    fill=lambda drawn: {**chosen(_WIRED[drawn["do"]], drawn["many"]), "title": vehicle(drawn["vehicle"]).title},
    show=lambda v: {"mark": _SIGN[v.points_at], "told_words": _PRINTED[v.told]},
    parts=(
        Range(
            key="asks", prompt="Least and most, wrong way round", unit="kV", also=("V",), marks=1, step=0.1,
            answer=lambda v: (_MORE[0] * v.healthy_kv, _MORE[1] * v.healthy_kv),
            within=Percent(2, "a product of two figures"), possible=(0.5, 100.0), objectives=("S6",),
            slips=(
                Slip("rise-alone",
                     "You gave the rise alone. Asked is what the plugs then ask for in all: add the rise to the healthy voltage.",
                     lambda v: ((_MORE[0] - 1) * v.healthy_kv, (_MORE[1] - 1) * v.healthy_kv)),
                Slip("kv-for-per-cent",
                     "You added 15 and 30 kV. The rise is 15 to 30 per cent of the healthy voltage.",
                     lambda v: (v.healthy_kv + 15, v.healthy_kv + 30)),
                Slip("taken-off",
                     "You subtracted the rise. Wrong polarity asks for more: the cooler electrode gives its electrons less readily.",
                     lambda v: ((2 - _MORE[1]) * v.healthy_kv, (2 - _MORE[0]) * v.healthy_kv)),
            ),
        ),
        Choice(
            key="do", prompt="You", marks=1, objectives=("S6",),
            options=_DO,
            answer=lambda v: v.do,
            signs=MappingProxyType({
                "leave": "You leave it where the coil's terminal with the sign of the earthed pole goes to the points.",
                "swap": "You change them over where the coil's terminal with the other sign goes to the points.",
            }),
        ),
    ),
    route=lambda v: (
        Line(f"15 per cent more: 1.15 × {v.healthy_kv:g} = {_MORE[0] * v.healthy_kv:.2f} kV.", "asks"),
        Line(f"30 per cent more: 1.30 × {v.healthy_kv:g} = {_MORE[1] * v.healthy_kv:.2f} kV.", "asks"),
        Line(f"The {v.earth} pole is earthed, so the terminal marked {_SIGN[v.earth]} belongs to the points.", "do"),
        Line(f"You {_DO[v.do]}", "do"),
    ),
)  # fmt: skip
