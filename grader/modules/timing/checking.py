"""Exercises on the way of checking: its order, the leads on the cap, and knowing when too little is known."""

from types import MappingProxyType, SimpleNamespace

from grader.exercise import listing
from grader.exercise.model import Choice, Exercise, Slip
from grader.exercise.sorting import Critical, FiringOrder, Order
from grader.exercise.spread import Pick, Steps
from grader.modules.situations import MANY, by_answer, chosen
from grader.modules.timing.limits import KPA_PER_INHG
from grader.modules.timing.sheet import tables_and_fast_idle
from grader.vehicle.spec import vehicle, vehicles

_STEPS = MappingProxyType(
    {
        "gap": "Set the points: gap, or dwell by the meter",
        "one": "Turn the engine forwards, number one on compression, to the manual's mark",
        "lamp": "Lamp between the points' terminal and earth: turn the distributor against its rotor until the lamp just lights",
        "warm": "Run the engine warm, choke fully open",
        "plug": "Take the vacuum line off the unit and plug its end",
        "idle": "Bring the idle to the manual's figure or below",
        "fast": "Hold the engine at the speed that the manual names for timing",
        "light": "Turn the distributor until the flash shows the mark at the manual's figure",
        "clamp": "Clamp the distributor and look once more",
        "curve": "Go through the speeds of the test sheet, line still off, and compare",
        "on": "Put the line back on: still at idle, then up at part throttle",
    }
)
_WAYS = MappingProxyType({
    "usual": "The engine runs. Its manual times it at idle, line off; the unit has a ported line.",
    "at-speed": "The engine runs. Its manual times it at a set speed well above idle, line off; the unit has a ported line.",
    "connected": "The engine runs. Its manual times it at idle with the vacuum line connected; you have no test sheet.",
    "static": "The engine has just been put together and is not to be started yet. You have a test lamp and a battery.",
})  # fmt: skip
_RIGHT = MappingProxyType({
    "usual": ("gap", "warm", "plug", "idle", "light", "clamp", "curve", "on"),
    "at-speed": ("gap", "warm", "plug", "fast", "light", "clamp", "curve", "on"),
    "connected": ("gap", "warm", "idle", "light", "clamp"),
    "static": ("gap", "one", "lamp", "clamp"),
})  # fmt: skip
_DONE = MappingProxyType({
    "gap": "The points were set with the meter an hour ago, and nobody has touched them since.",
    "warm": "The engine has run for a quarter of an hour, its choke is fully open.",
    "idle": "Idle was set to the manual's figure just now.",
    "one": "Number one already stands on compression, at the manual's mark.",
})  # fmt: skip


def _checks():
    """Every way of timing with every part of the work that may be done already: (way, steps done, sheet at hand)."""
    for way, steps in _RIGHT.items():
        can_be_done = [step for step in _DONE if step in steps]
        for number in range(2 ** len(can_be_done)):
            done = tuple(step for place, step in enumerate(can_be_done) if number >> place & 1)
            yield from ((way, done, sheet) for sheet in ((True, False) if "curve" in steps else (True,)))


_CHECKS = tuple(_checks())


def steps_left(v: SimpleNamespace) -> tuple[str, ...]:
    """The steps that are still to be done, in a right order, where some are done already.

    Parameters
    ----------
    v : namespace
        The parameters of `CHECK_ORDER`.

    Returns
    -------
    tuple of str
    """
    way, done, sheet = _CHECKS[v.check]
    return tuple(step for step in _RIGHT[way] if step not in done and (sheet or step != "curve"))


def _situation(v):
    way, done, sheet = _CHECKS[v.check]
    told = [_WAYS[way], *(_DONE[step] for step in done)]
    if not done:
        told.append("New points are in and not yet set.")
    if not sheet:
        told.append("There is no test sheet of the distributor.")
    return {"told": " ".join(told)}


CHECK_ORDER = Exercise(
    key="m01.check_order",
    version=2,
    marking=1,
    title="First things first",
    text="{told} Put the steps that are left in order. Leave out every step that is done already or does not belong here.",
    draw={"check": Steps(0, len(_CHECKS) - 1)},
    show=_situation,
    parts=(
        Order(
            key="steps", prompt="The steps in order", marks=2, objectives=("T3",), items=_STEPS,
            answer=steps_left,
            pairs=(
                ("gap", "one"), ("gap", "lamp"), ("one", "lamp"), ("lamp", "clamp"), ("gap", "light"), ("warm", "light"),
                ("plug", "light"), ("warm", "idle"), ("idle", "light"), ("fast", "light"), ("light", "clamp"),
                ("clamp", "curve"), ("plug", "curve"), ("curve", "on"), ("light", "on"),
            ),
            critical=(
                Critical("timing-before-dwell", "gap", "light",
                         "First the points, then the timing; leave neither out. Every change of gap moves the timing."),
                Critical("lamp-before-gap", "gap", "lamp",
                         "First the gap, then the lamp; leave neither out. The lamp shows the moment at which the points open."),
                Critical("not-plugged", "plug", "light",
                         "First the line off and plugged, then the timing; leave neither out. Vacuum at the unit may move the mark."),
                Critical("wrong-idle", "idle", "light",
                         "First the idle, then the timing; leave neither out. At too fast an idle the weights move the mark, too."),
            ),
            because=lambda v: {
                ("warm", "idle"): "A cold engine and its choke change the idle.",
                ("warm", "light"): "A cold engine and its choke change the idle, and the idle moves the mark.",
                ("light", "clamp"): "The clamp holds what was set, and clamping itself may move it.",
                ("clamp", "curve"): "The rise is counted from the initial timing, so that must stand first.",
                ("curve", "on"): "With the line on nobody can tell the weights from the vacuum unit.",
                ("one", "lamp"): "The lamp means number one only while number one is on compression.",
            },
        ),
    ),
    route=lambda v: tuple(f"{_STEPS[key]}." for key in steps_left(v)),
)  # fmt: skip

# Orders in common use on engines of four, six and eight cylinders (practice).
_ORDERS = (
    "1-3-4-2",
    "1-2-4-3",
    "1-5-3-6-2-4",
    "1-4-2-6-3-5",
    "1-6-5-4-3-2",
    "1-8-4-3-6-5-7-2",
    "1-5-4-2-6-3-7-8",
    "1-3-7-2-6-5-4-8",
    "1-5-4-8-6-3-7-2",
    "1-2-7-8-4-5-6-3",
)


def _order(v):
    return tuple(int(cylinder) for cylinder in v.order.split("-"))


def _clockwise(v):
    """Cylinders as their leads sit in the cap, clockwise from above, number one first."""
    order = _order(v)
    return order if v.rotor == "clockwise" else (order[0], *reversed(order[1:]))


def _from_start(v):
    """The order as the rotor meets it, from the cylinder that was brought to compression."""
    order = _order(v)
    place = v.start % len(order)
    return order[place:] + order[:place]


CAP = Exercise(
    key="m01.cap",
    version=2,
    marking=1,
    title="All leads off",
    text=(
        "Somebody pulled all leads off the cap. The firing order {order} is cast into the manifold. You bring number {first} "
        "to the top on compression; the rotor then points to terminal {letter}. Seen from above, the rotor turns "
        "{rotor}. Go round the cap clockwise from terminal {letter}: which cylinders' leads do you put in, one "
        "after the other?"
    ),
    draw={
        "order": Pick(_ORDERS), "rotor": Pick(("clockwise", "anticlockwise")), "letter": Pick(tuple("ABCD")),
        "start": Steps(0, 23),
    },
    show=lambda v: {"first": _from_start(v)[0]},
    parts=(
        FiringOrder(key="leads", prompt="Leads, clockwise from that terminal", marks=1, answer=_clockwise, objectives=("T8",)),
    ),
    route=lambda v: (
        f"Number {_from_start(v)[0]} is on compression, so its lead goes to terminal {v.letter}.",
        f"The others follow as the rotor turns, {v.rotor}: {'-'.join(map(str, _from_start(v)))}.",
        "Read clockwise, from number one on, that is " + "-".join(map(str, _clockwise(v))) + ".",
    ),
)  # fmt: skip

_LEADS = MappingProxyType({
    "right": "Leads and rotor are right: look elsewhere for the fault.",
    "backwards": "The leads go round the wrong way: lay them the way the rotor turns.",
    "swapped": "Two neighbours have changed places: put those two leads right.",
    "turned": "The rotor stands half a turn out: it points to the lead of another cylinder while number one is on compression.",
    "stroke": "Number one is not on compression: turn the crankshaft once more, then look again.",
})  # fmt: skip


def _leads_found(v):
    """Leads clockwise, beginning where the rotor points, as somebody left them."""
    order = _clockwise(v)
    half = len(order) // 2
    if v.found in ("turned", "stroke"):
        return order[half:] + order[:half]
    if v.found == "backwards":
        return (order[0], *reversed(order[1:]))
    if v.found == "swapped":
        place = 1 + v.pair % (len(order) - 2)
        return (*order[:place], order[place + 1], order[place], *order[place + 2 :])
    return order


LEADS_FOUND = Exercise(
    key="m01.leads_found",
    version=1,
    marking=1,
    title="Leads as you find them",
    text=(
        "The engine {complaint}. Firing order {order}; seen from above, the rotor turns {rotor}. You turn the engine until the "
        "mark of number one stands at the top. Thumb over its plug hole: {thumb}. Beginning where the rotor points, the "
        "leads go clockwise to the cylinders {leads}. What do you find?"
    ),
    draw={
        "order": Pick(_ORDERS), "rotor": Pick(("clockwise", "anticlockwise")), "found": Pick(tuple(_LEADS)),
        "pair": Steps(0, 23), "complaint": Pick(("does not start", "spits back and does not run", "hardly turns under its own power")),
    },
    show=lambda v: {
        "leads": "-".join(map(str, _leads_found(v))),
        "thumb": "nothing pushes against it" if v.found == "stroke" else "air pushed hard against it on the way up",
    },
    parts=(
        Choice(
            key="finding", prompt="Your finding", marks=1, objectives=("T8",), options=_LEADS,
            signs=MappingProxyType({
                "right": "All is right where number one is on compression, the rotor points to its lead and the round fits the order.",
                "backwards": "Leads that go round backwards give the firing order when you read them against the rotor.",
                "swapped": "Where two neighbours have changed places, the rest of the round still fits.",
                "turned": "A rotor half a turn out points to another lead although number one is on compression.",
                "stroke": "On the other stroke nothing pushes against the thumb on the way up.",
            }),
            answer=lambda v: v.found,
            slips=(
                Slip("thumb", "Ask the thumb first: it tells the stroke. Only then does the rotor tell anything.",
                     lambda v: {"stroke": "turned", "turned": "stroke"}.get(v.found)),
                Slip("direction", "Read the round the way the rotor turns, and compare it with the firing order.",
                     lambda v: {"backwards": "right", "right": "backwards"}.get(v.found)),
            ),
        ),
    ),
    route=lambda v: (
        f"Clockwise the round should be {'-'.join(map(str, _clockwise(v)))}, beginning with number one.",
        {
            "right": "It is, and number one is on compression.",
            "backwards": "It is just that round backwards.",
            "swapped": "Only two neighbours stand in each other's places.",
            "turned": "The round fits, but on number one's compression the rotor points to another lead.",
            "stroke": "Nothing pushed against the thumb: number one exhausts, and its companion is on compression.",
        }[v.found],
    ),
)  # fmt: skip


def _step_first(dwell, line, idle, mark, pulley):
    """The first thing that is not known or not right before the distributor may be turned; None where facts do not fit."""
    if idle in ("fast", "unread") and mark == "late":
        return None  # a fast idle makes the mark early, never late
    if dwell != "in":
        return "dwell"
    if line != "off":
        return "line"
    if idle != "right":
        return "idle"
    if pulley == "bulged":
        return "top"
    return None if mark == "right" else "set"


_CHAIN = by_answer(
    {
        "dwell": ("in", "out", "unread"), "line": ("off", "on", "untold"), "idle": ("right", "fast", "unread"),
        "mark": ("right", "early", "late"), "pulley": ("checked", "bulged"),
    },
    _step_first,
)  # fmt: skip
_ANSWERS = (*_CHAIN, "pump", "barometer")


def _note(parameters):
    """A colleague's note on a drawn engine."""
    figures = tables_and_fast_idle({**parameters, "vehicle": parameters["engine"]})
    spec, answer = vehicle(parameters["engine"]), parameters["answer"]
    facts = {"dwell": "in", "line": "off", "idle": "right", "mark": "right", "pulley": "checked"}
    if answer in _CHAIN:
        facts = dict(chosen(_CHAIN[answer], parameters["which"]))
    off = {"right": 0, "early": parameters["off_deg"], "late": -parameters["off_deg"]}[facts["mark"]]
    return {
        **{name: figures[name] for name in ("title", "initial_deg", "idle_rpm")},
        "least_deg": spec.dwell_deg - 2.5, "most_deg": spec.dwell_deg + 2.5,
        "dwell_seen": spec.dwell_deg + (parameters["dwell_off"] if facts["dwell"] == "out" else parameters["dwell_in"]),
        "idle_seen": figures["fast_rpm"] if facts["idle"] == "fast" else figures["idle_rpm"] - parameters["below"],
        "mark_deg": figures["initial_deg"] + off, **facts,
    }  # fmt: skip


def _side(degrees):
    return f"{abs(degrees):g}° {'before' if degrees >= 0 else 'after'} the top"


def _note_lines(v):
    last = {
        "checked": "Pulley: top checked at the piston last week, the mark is true",
        "bulged": "Pulley: the rubber of its ring stands out in a bulge, and the engine has little power",
    }[v.pulley]
    low = v.home_inhg - v.thousand_ft
    last = {
        "pump": f"Line on, part throttle: the mark does not move; a gauge at the unit shows {v.unit_inhg} inHg "
        f"({v.unit_inhg * KPA_PER_INHG:.0f} kPa). The owner wants a new unit at once",
        "barometer": f"Vacuum at idle {low} inHg ({low * KPA_PER_INHG:.0f} kPa), far up in the hills; on the coast it was "
        f"{v.home_inhg} inHg ({v.home_inhg * KPA_PER_INHG:.0f} kPa). The owner thinks of a burnt valve",
    }.get(v.answer, last)
    return {
        "note": listing.lines(
            (
                {
                    "in": f"Dwell: {v.dwell_seen:g}°",
                    "out": f"Dwell: {v.dwell_seen:g}°",
                    "unread": "Points: set by eye, no dwell was read",
                }[v.dwell],
                {
                    "off": "Vacuum line: off, its end plugged",
                    "on": "Vacuum line: on",
                    "untold": "Vacuum line: nothing is written",
                }[v.line],
                {
                    "right": f"Idle: {v.idle_seen} rev/min",
                    "fast": f"Idle: {v.idle_seen} rev/min",
                    "unread": "Idle: nothing is written",
                }[v.idle],
                f"Mark: {_side(v.mark_deg)}",
                last,
            )
        )
    }


NEXT_STEP = Exercise(
    key="m01.next_step",
    version=2,
    marking=1,
    title="Do you know enough?",
    text=(
        "{title}, warm. The manual: dwell {least_deg:g}° to {most_deg:g}°, {initial_deg:g}° before the top at {idle_rpm} rev/min or "
        "less, line off and plugged. A colleague's note:{note}What do you do next?"
    ),
    # Marks 3 to 6 degrees off, dwell 4 to 7 degrees off, an inch of vacuum for each thousand feet (practice).
    draw={
        "engine": Pick(tuple(vehicles())), "answer": Pick(_ANSWERS), "which": MANY, "times_percent": Steps(135, 155),
        "off_deg": Steps(3, 6), "dwell_off": Pick((-7, -6, -5, -4, 4, 5, 6, 7)), "dwell_in": Pick((-1.5, -1, -0.5, 0, 0.5, 1, 1.5)),
        "below": Steps(0, 40, 20), "unit_inhg": Steps(11, 15), "home_inhg": Steps(17, 20), "thousand_ft": Steps(3, 6),
    },
    fill=_note,
    show=_note_lines,
    parts=(
        Choice(
            key="step", prompt="Your next step", marks=1, objectives=("T5", "T6", "T7"),
            options=MappingProxyType({
                "set": "Enough is known: turn the distributor to the manual's figure.",
                "dwell": "The points first: read the dwell and set it.",
                "line": "The vacuum line first: take it off and plug its end.",
                "idle": "The idle first: read it and bring it to the manual's figure.",
                "top": "The mark is in doubt: find the top at the piston and compare.",
                "pump": "Cannot tell yet: put a hand pump on the unit.",
                "barometer": "Cannot tell yet: read the barometer of the place.",
            }),
            signs=MappingProxyType({
                "set": "The distributor is turned where the mark is off its figure, and dwell, line, idle and mark are all known.",
                "dwell": "The points come first where the dwell is outside its limits, or nobody has read it.",
                "line": "The line comes first where it is on, or nobody wrote whether it was off, and the points are right.",
                "idle": "The idle comes first where it is too fast or nobody wrote it, and points and line are right.",
                "top": "The mark itself is in doubt where the ring of the pulley may have moved.",
                "pump": "The hand pump comes first where the unit gets vacuum and still moves nothing.",
                "barometer": "The barometer counts where a vacuum reading alone is low and the place lies high.",
            }),
            answer=lambda v: v.answer,
            slips=(
                Slip("acts-at-once",
                     "You would turn the distributor before something is known or put right that may explain it all. Which is the first?",
                     lambda v: "set" if v.answer in ("idle", "line", "dwell", "top") else None),
                Slip("wrong-reading",
                     "Vacuum comes to the unit, so the barometer is not in doubt. What does the unit make of it?",
                     lambda v: "barometer" if v.answer == "pump" else None),
                Slip("later-link",
                     "That is not right either, but something before it is wrong or unknown, and it moves all that follows.",
                     lambda v: _later(v)),
            ),
        ),
    ),
    route=lambda v: ({
        "set": "Dwell, line, idle and the mark itself are all known: set the timing.",
        "dwell": "The dwell is not right or not known, and setting it moves the timing. Dwell first.",
        "line": "With the line on, or perhaps on, vacuum may move the mark. Take it off and plug it.",
        "idle": "Above its figure the weights are in the reading, and nobody can tell how much.",
        "top": "A ring that has moved on its rubber carries the mark away. Only the piston shows the true top.",
        "pump": "Vacuum arrives, the plate stays. The pump tells a punctured diaphragm from a seized plate.",
        "barometer": "Thin air alone lowers the reading by about an inch for each thousand feet (practice).",
    }[v.answer],),
)  # fmt: skip


def _later(v):
    """The first later link of the chain that is wrong as well, or None."""
    wrong = [
        name
        for name, state, sound in (
            ("dwell", v.dwell, "in"), ("line", v.line, "off"), ("idle", v.idle, "right"), ("top", v.pulley, "checked"),
        )
        if state != sound
    ]  # fmt: skip
    return wrong[1] if v.answer in _CHAIN and len(wrong) > 1 else None
