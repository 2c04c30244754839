"""Exercises on the way of checking: its order, the leads on the cap, and knowing when too little is known."""

from types import MappingProxyType

from grader.exercise.model import Choice, Exercise, Slip
from grader.exercise.sorting import Critical, FiringOrder, Order
from grader.exercise.spread import Pick, Steps

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
_WAYS = MappingProxyType(
    {
        "usual": (
            "The engine runs. Its manual times it at idle, line off; the unit has a ported line.",
            ("gap", "warm", "plug", "idle", "light", "clamp", "curve", "on"),
        ),
        "at-speed": (
            "The engine runs. Its manual times it at a set speed well above idle, line off; the unit has a ported line.",
            ("gap", "warm", "plug", "fast", "light", "clamp", "curve", "on"),
        ),
        "static": (
            "The engine has just been put together and is not to be started yet. You have a test lamp and a battery.",
            ("gap", "one", "lamp", "clamp"),
        ),
    }
)

CHECK_ORDER = Exercise(
    key="m01.check_order",
    version=1,
    marking=1,
    title="First things first",
    text="New points are in. {told} Put the steps in order. Leave out every step that does not belong here.",
    draw={"way": Pick(tuple(_WAYS))},
    show=lambda v: {"told": _WAYS[v.way][0]},
    parts=(
        Order(
            key="steps", prompt="The steps in order", marks=2, objectives=("T3",), items=_STEPS,
            answer=lambda v: _WAYS[v.way][1],
            pairs=(
                ("gap", "one"), ("gap", "lamp"), ("one", "lamp"), ("lamp", "clamp"), ("gap", "light"), ("warm", "light"),
                ("plug", "light"), ("warm", "idle"), ("idle", "light"), ("fast", "light"), ("light", "clamp"),
                ("clamp", "curve"), ("plug", "curve"), ("curve", "on"),
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
        ),
    ),
    route=lambda v: tuple(f"{_STEPS[key]}." for key in _WAYS[v.way][1]),
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


CAP = Exercise(
    key="m01.cap",
    version=1,
    marking=1,
    title="All leads off",
    text=(
        "Somebody pulled all leads off the cap. The firing order {order} is cast into the manifold. You bring number one "
        "to the mark on compression; the rotor then points to terminal {letter}. Seen from above, the rotor turns "
        "{rotor}. Go round the cap clockwise from terminal {letter}: which cylinders' leads do you put in, one "
        "after the other?"
    ),
    draw={"order": Pick(_ORDERS), "rotor": Pick(("clockwise", "anticlockwise")), "letter": Pick(tuple("ABCD"))},
    parts=(
        FiringOrder(
            key="leads", prompt="Leads, clockwise from that terminal", marks=1, answer=_clockwise, objectives=("T8",)
        ),
    ),
    route=lambda v: (
        f"On compression number one fires next, so its lead goes to terminal {v.letter}.",
        f"The others follow as the rotor turns, {v.rotor}: {v.order}.",
        "Read clockwise that is " + "-".join(map(str, _clockwise(v))) + ".",
    ),
)

_TOLD = MappingProxyType(
    {
        "set": (
            "Warm engine, dwell {dwell}° and in limits, line off and plugged, idle {slow} rev/min. The manual: {right}° at "
            "{figure} rev/min or less. The mark stands at {seen}°; top dead centre was checked at the piston last week."
        ),
        "idle": (
            "A colleague's note reads: dwell {dwell}° and in limits, engine warm, line off and plugged, mark at {seen}°. The "
            "manual: {right}° at {figure} rev/min or less. Nothing else stands on the note. He wants to turn the distributor."
        ),
        "dwell": (
            "The owner fitted points at home, by eye, and drove here. Warm engine, line off and plugged, idle {slow} "
            "rev/min. The manual: {right}° at {figure} rev/min or less. The mark stands at {seen}°."
        ),
        "top": (
            "Dwell {dwell}° and in limits, warm, line off and plugged, idle {slow} rev/min, mark just at the {right}° of the "
            "manual, the curve right. Yet it pulls badly, and the rubber of the pulley's ring stands out in a bulge."
        ),
        "pump": (
            "Dwell, initial timing and curve are right, line off. With the line on the mark stays at part throttle, too. "
            "A gauge in the line, at the unit, shows {vacuum} inHg. The owner wants a new vacuum unit at once."
        ),
        "barometer": (
            "Far up in the hills an engine idles at {low} inHg. Its owner says that at home, on the coast, it "
            "was {home} inHg and that a valve must be burnt. Dwell, idle speed and timing are right."
        ),
    }
)

NEXT_STEP = Exercise(
    key="m01.next_step",
    version=1,
    marking=1,
    title="Do you know enough?",
    text="{told} What do you do next?",
    draw={
        "case": Pick(tuple(_TOLD)), "dwell": Steps(28, 32), "right": Steps(4, 9), "off": Pick((-5, -4, -3, 4, 5, 6)),
        "figure": Steps(600, 700, 25), "below": Steps(0, 60, 20), "vacuum": Steps(11, 15), "home": Steps(17, 20),
        "thousand_ft": Steps(3, 6),
    },
    show=lambda v: {"told": _TOLD[v.case].format(
        **{**vars(v), "seen": v.right + v.off, "slow": v.figure - v.below, "low": v.home - v.thousand_ft}
    )},
    parts=(
        Choice(
            key="step", prompt="Your next step", marks=1, objectives=("T5", "T6", "T7"),
            options=MappingProxyType({
                "set": "Enough is known: turn the distributor to the manual's figure.",
                "idle": "Cannot tell yet: read the idle speed first.",
                "dwell": "Cannot tell yet: read the dwell first.",
                "top": "Cannot tell yet: find top dead centre at the piston and compare the mark.",
                "pump": "Cannot tell yet: put a hand pump on the unit.",
                "barometer": "Cannot tell yet: read the barometer of the place.",
            }),
            signs=MappingProxyType({
                "set": "The distributor is turned where the mark is off its figure, and dwell, idle, line and mark are all known.",
                "idle": "The idle speed comes first where a mark was read and nobody wrote the speed beside it.",
                "dwell": "The dwell comes first where points were set by eye, or nobody says what it was.",
                "top": "The mark itself is in doubt where every figure is right and the engine still pulls badly.",
                "pump": "The hand pump comes first where the unit gets vacuum and still moves nothing.",
                "barometer": "The barometer counts where a vacuum reading alone is low and the place lies high.",
            }),
            answer=lambda v: v.case,
            slips=(
                Slip("acts-at-once",
                     "You would turn the distributor before one reading is known that may explain it all. Which one is missing?",
                     lambda v: "set" if v.case in ("idle", "dwell", "top") else None),
                Slip("already-known",
                     "That reading stands in the report already. Go through the others that count: is one missing?",
                     lambda v: "idle" if v.case == "set" else None),
                Slip("wrong-reading",
                     "Vacuum comes to the unit, so the barometer is not in doubt. What does the unit make of it?",
                     lambda v: "barometer" if v.case == "pump" else None),
            ),
        ),
    ),
    route=lambda v: ({
        "set": "Dwell, line, idle and the mark itself are all known: set the timing.",
        "idle": "Nobody wrote the speed down. If it idled too fast, the weights are in the reading.",
        "dwell": "Points set by eye: the dwell may be off, and setting it right moves the timing. Dwell first.",
        "top": "A ring that has slipped on its rubber carries the mark away. Only the piston shows the true top.",
        "pump": "Vacuum arrives, the plate stays. The pump tells a punctured diaphragm from a seized plate.",
        "barometer": "Thin air alone lowers the reading by about an inch for each thousand feet (practice).",
    }[v.case],),
)  # fmt: skip
