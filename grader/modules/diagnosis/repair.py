"""Safe work, the order of it, what a repair disturbs, why a car comes back, and what is written down."""

from types import MappingProxyType

from grader.bench.instruments import unsafe_acts
from grader.bench.owner import complaint_words
from grader.exercise import listing
from grader.exercise.kinds import Choices, Written
from grader.exercise.model import Choice, Exercise, Line, Slip
from grader.exercise.sorting import Critical, Order
from grader.exercise.spread import Pick, Steps
from grader.modules.diagnosis.table import ENGINES, LETTERS, MANY, few, title
from grader.units import grouped

_SPARKS = ("lead_by_hand", "open_secondary", "spark_near_vapour", "live_compression", "key_on_feeler", "pacemaker")


def _day(parameters):
    keys = few(tuple(unsafe_acts()), parameters["start"], parameters["stride"], 7)
    bad = few(range(7), parameters["turn"], parameters["step"], parameters["count"])
    return {"acts": [[key, at in bad] for at, key in enumerate(keys)]}


def _stopped(v):
    return tuple(LETTERS[at] for at, (_, is_bad) in enumerate(v.acts) if is_bad)


def _spark_only(v):
    led = tuple(LETTERS[at] for at, (key, is_bad) in enumerate(v.acts) if is_bad and key in _SPARKS)
    return led if led and led != _stopped(v) else None


UNSAFE = Exercise(
    key="m06.unsafe",
    version=1,
    marking=1,
    title="Stop that",
    text="What a new colleague means to do today:{acts}Which of these do you stop before anybody is hurt?",
    draw={"start": MANY, "stride": Pick((1, 3, 5, 9, 11, 13)), "turn": MANY, "step": Pick((1, 2, 3, 5)), "count": Steps(2, 5)},
    fill=_day,
    show=lambda v: {
        "acts": listing.lines(
            f"{LETTERS[at]}: {unsafe_acts()[key]['title'] if is_bad else unsafe_acts()[key]['safely']}"
            for at, (key, is_bad) in enumerate(v.acts)
        )
    },
    parts=(
        Choices(
            key="stop", prompt="You stop", marks=3, objectives=("G10",), order="fixed",
            options=MappingProxyType({letter: f"Act {letter}" for letter in LETTERS[:7]}),
            answer=_stopped,
            because=lambda v: {
                LETTERS[at]: unsafe_acts()[key]["reason"] if is_bad else "So it is done as it should be."
                for at, (key, is_bad) in enumerate(v.acts)
            },
            slips=(
                Slip("sparks-only",
                     "You stopped what gives a shock. Fan, fumes, fuel, heat and a rolling car hurt people as well.",
                     _spark_only),
            ),
        ),
    ),
    route=lambda v: (
        Line("To be stopped: " + ", ".join(_stopped(v)) + ".", "stop"),
        *(Line(f"{LETTERS[at]}: {unsafe_acts()[key]['reason']}", "stop") for at, (key, is_bad) in enumerate(v.acts) if is_bad),
    ),
)  # fmt: skip

_STEPS = MappingProxyType({
    "ask": "Ask the owner when it happens and what was done last",
    "meet": "Bring that condition about and meet the complaint yourself",
    "battery": "Read the battery volts while cranking",
    "output": "Measure the coil output while cranking, lead in the jig",
    "dwell": "Read the dwell at idle and at speed",
    "plug_line": "Take the vacuum line off and plug it",
    "mark": "Read the initial timing at idle with the light",
    "rise": "Read the rise of the mark at the two check speeds",
    "line": "Put the line back on at idle and watch the mark",
    "cool": "Let the engine cool, key off",
    "plugs": "Take the plugs out and read them",
    "disable": "Earth the coil lead and prop the throttle open",
    "press": "Measure the compression of each cylinder",
    "name": "Say what it is, and how it is proved",
})  # fmt: skip
_CHAINS = MappingProxyType({
    "spark": ("battery volts and coil output", ("battery", "output")),
    "timing": ("dwell, initial timing and rise", ("dwell", "plug_line", "mark", "rise")),
    "vacuum": ("dwell, initial timing and the line", ("dwell", "plug_line", "mark", "line")),
    "cylinders": ("plugs and compression", ("cool", "plugs", "disable", "press")),
})  # fmt: skip
_LISTS = (
    ("spark", "timing"), ("spark", "vacuum"), ("spark", "cylinders"), ("timing", "cylinders"), ("vacuum", "cylinders"),
    ("spark", "timing", "cylinders"), ("timing",), ("vacuum",), ("cylinders",),
)  # fmt: skip
_ORDER_WORDS = ("misfire_load", "misfire_speed", "sluggish", "thirsty", "rough_idle")


def _job(v):
    steps = [step for chain in _LISTS[v.list] for step in _CHAINS[chain][1]]
    return ("ask", "meet", *steps, "name")


ORDER = Exercise(
    key="m06.order",
    version=1,
    marking=1,
    title="In which order?",
    text=(
        "{engine}. The owner says: “{words}” It starts and runs. On your list stand {tests}. Put the job in order, from the "
        "owner's words to your finding. Leave out every step that is not part of it."
    ),
    draw={"engine": Pick(ENGINES), "list": Steps(0, len(_LISTS) - 1), "words": Pick(_ORDER_WORDS)},
    show=lambda v: {
        "engine": title(v.engine),
        "words": complaint_words()[v.words],
        "tests": "; then ".join(_CHAINS[chain][0] for chain in _LISTS[v.list]),
    },
    parts=(
        Order(
            key="steps", prompt="The steps in order", marks=3, objectives=("G2", "G10"), items=_STEPS, answer=_job,
            pairs=(
                ("ask", "meet"), *(("meet", step) for step in ("battery", "output", "dwell", "mark", "cool", "plugs", "press")),
                ("battery", "output"), ("dwell", "mark"), ("plug_line", "mark"), ("mark", "rise"), ("mark", "line"),
                ("plug_line", "line"), ("plug_line", "rise"), ("cool", "plugs"), ("plugs", "press"), ("disable", "press"),
                *((step, "name") for step in ("meet", "output", "dwell", "mark", "rise", "line", "plugs", "press")),
            ),
            critical=(
                Critical("live-compression", "disable", "press",
                         "First earth the coil lead, then crank for the compression; leave neither out. Sparks at open holes light fuel."),
                Critical("timing-first", "dwell", "mark",
                         "First the dwell, then the timing; leave neither out. A dwell that is set later moves the timing again."),
                Critical("hot-head", "cool", "plugs",
                         "First the engine cool, then the plugs out; leave neither out. Hot threads come out with the plug."),
            ),
            because=lambda v: {
                ("ask", "meet"): "He knows the condition; without it you meet nothing.",
                ("battery", "output"): "Coil output while cranking means something only with good battery volts.",
                ("plug_line", "mark"): "Vacuum on the line would be read as initial timing.",
                ("mark", "rise"): "The rise is counted from the idle mark.",
                ("plugs", "press"): "The gauge needs the plug holes, and all cylinders free.",
            },
        ),
    ),
    route=lambda v: tuple(Line(_STEPS[step] + ".", "steps") for step in _job(v)),
)  # fmt: skip

# What came back, as it is told, by the cause.
_BACK = MappingProxyType({
    "hidden": (
        "New plugs were fitted, nothing was measured. All was well for {some} miles ({some_km} km). Now it stumbles as before.",
        "New plugs cured it, so the job sheet says. After {some} miles ({some_km} km) the same words again; the plugs are sooty.",
        "The plugs were renewed on suspicion. It went well for {some} miles ({some_km} km); now uphill it is as it was.",
    ),
    "worn": (
        "New plugs were fitted, coil output and gaps measured, all in limits. After {many} miles ({many_km} km) it stumbles again.",
        "Plugs renewed, reserve measured and good. {many} miles ({many_km} km) later the gaps are wide and it stumbles uphill.",
        "After a proved repair with new plugs it ran well for {many} miles ({many_km} km). Their edges are round now.",
    ),
    "disturbed": (
        "New plugs were fitted this morning. It shakes on the way out of the yard; before it only stumbled uphill.",
        "A cap was fitted. On the way home it shook and spat back; it never did that before.",
        "New points were fitted, and only points. The same evening it had less power; before it only started badly.",
    ),
    "bedded": (
        "New points were fitted, dwell and timing set. After {few} miles ({few_km} km) dwell is high and the mark late.",
        "Points renewed and set by the meter, timing after them. {few} miles ({few_km} km) on, it is a little lazy; contacts grey.",
        "Dwell and timing were right as it left with new points. After {few} miles ({few_km} km) both moved, one for one.",
    ),
    "burned_by": (
        "Burnt points were renewed, nothing else was tested. After {some} miles ({some_km} km) they are burnt again.",
        "The second set of points within a year, and after {some} miles ({some_km} km) these are burnt as well.",
        "Points renewed twice for burning. The last set ran {some} miles ({some_km} km) and drops 0.5 V.",
    ),
})  # fmt: skip
_BACK_OPTIONS = MappingProxyType({
    "hidden": "The cause was never found: fresh plugs hid a weakness. Measure the output and what the plugs ask.",
    "worn": "Ordinary wear at the end of an interval. Service the plugs; nothing was wrong with the repair.",
    "disturbed": "The repair itself upset something. Look first at what was touched.",
    "bedded": "The new block bedded in, and the gap closed. Set the dwell again, then the timing.",
    "burned_by": "Something burns them and is still there. Test condenser and ballast before the next set.",
    "bad_part": "The new part was bad. Fit another of the same.",
})  # fmt: skip


def _miles(v):
    some, many, bedded = 100 * v.some, 500 * v.many, 50 * v.few
    return {
        name: grouped(figure)
        for name, figure in {
            "some": some, "some_km": round(1.609344 * some, -2), "many": many, "many_km": round(1.609344 * many, -2),
            "few": bedded, "few_km": round(1.609344 * bedded, -1),
        }.items()
    }  # fmt: skip


COMEBACK = Exercise(
    key="m06.comeback",
    version=1,
    marking=1,
    title="It came back",
    text="{engine}. {told} What do you make of it?",
    # Fresh plugs hide a weakness for some hundred to some thousand miles (the vehicle model, mid severity); a set
    # runs 12 000 miles and more, a block beds in within the first hundreds (practice).
    draw={"engine": Pick(ENGINES), "case": Pick(tuple(_BACK)), "telling": Steps(0, 2), "some": Steps(12, 58),
          "many": Steps(24, 34), "few": Steps(5, 14)},
    show=lambda v: {"engine": title(v.engine), "told": _BACK[v.case][v.telling].format(**_miles(v))},
    parts=(
        Choice(
            key="why", prompt="Your finding", marks=2, objectives=("G6",), options=_BACK_OPTIONS,
            signs=MappingProxyType({
                "hidden": "That is for plugs renewed on suspicion and a complaint that returns in the old words within some thousand miles.",
                "worn": "That needs a repair that was proved, and plugs at the end of their miles.",
                "disturbed": "That is for a new complaint which begins with the repair itself.",
                "bedded": "That needs new points, some hundred miles, and dwell and timing moved together.",
                "burned_by": "That is for contacts which burn set after set.",
            }),
            answer=lambda v: v.case,
            slips=(
                Slip("bad-new-part",
                     "A new part can be bad, and seldom is. Read again how soon it came back, and what was measured before.",
                     lambda v: "bad_part"),
            ),
        ),
    ),
    route=lambda v: (
        "Three questions: what was fitted, how soon did it come back, and in the old words or in new ones?",
        Line(_BACK_OPTIONS[v.case], "why"),
    ),
)  # fmt: skip

# What a repair upset: how the repair is told, what comes after it.
_UPSET = MappingProxyType({
    "timing": (
        ("New points were fitted and their gap set.", "The contacts were dressed and the gap set by the meter."),
        ("The mark stands 5° late, dwell in limits.", "It has less power than it had; dwell is in limits.",
         "It pings; dwell is in limits, the mark 6° early."),
    ),
    "lead_off": (
        ("The plugs were cleaned and gapped.", "New plugs were fitted, gapped."),
        ("It shakes from the first yard; one plug is wet with fuel.", "One cylinder earthed changes nothing at idle.",
         "The vacuum needle drops in a regular beat; compression is even."),
    ),
    "swapped": (
        ("A new cap was fitted, the leads not marked.", "All leads were taken off together, and a new set was fitted."),
        ("It spits back and shakes.", "Two neighbours in the firing order give no power.",
         "It shakes, spits back and has less power; every lead end has its spark."),
    ),
    "polarity": (
        ("A new coil was fitted.", "The coil was changed, its two thin wires taken off together."),
        ("Output is in limits; the plugs ask 20 per cent more than before.", "The spark's flare is on the wrong side of the pencil.",
         "Dwell, feed and output are in limits; it stumbles uphill earlier than before."),
    ),
    "beside": (
        ("One plug lead was renewed.", "A single lead was renewed in a hurry."),
        ("In the dark a glow between two leads.", "It stumbles uphill in two cylinders; every lead measures right.",
         "It misfires under load until two leads are parted."),
    ),
    "tooth": (
        ("The distributor was out for overhaul, its place not marked.", "Another distributor was put in."),
        ("It does not start; number one on compression, and the rotor points beside its terminal.",
         "The body cannot be turned far enough for the mark.", "It does not fire; spark at all lead ends."),
    ),
})  # fmt: skip
_UPSET_OPTIONS = MappingProxyType({
    "timing": "The timing: it moved with the points and was not set after them.",
    "lead_off": "A plug's lead was not pushed home.",
    "swapped": "Two leads are changed over.",
    "polarity": "The coil's two thin wires are changed over.",
    "beside": "The new lead lies beside another.",
    "tooth": "The distributor stands a tooth out.",
})  # fmt: skip
_NEAR = MappingProxyType({"timing": "tooth", "lead_off": "swapped", "swapped": "lead_off", "polarity": "timing",
                          "beside": "swapped", "tooth": "timing"})  # fmt: skip

DISTURBED = Exercise(
    key="m06.disturbed",
    version=1,
    marking=1,
    title="What did the repair upset?",
    text="{engine}. {repair} Since then: {after} What was upset, and is looked at first?",
    draw={"engine": Pick(ENGINES), "case": Pick(tuple(_UPSET)), "repair": Steps(0, 1), "after": Steps(0, 2)},
    show=lambda v: {
        "engine": title(v.engine),
        "repair": _UPSET[v.case][0][v.repair],
        "after": _UPSET[v.case][1][v.after][0].lower() + _UPSET[v.case][1][v.after][1:],
    },
    parts=(
        Choice(
            key="upset", prompt="Look first at", marks=2, objectives=("G7",), options=_UPSET_OPTIONS,
            signs=MappingProxyType({
                "timing": "The timing moves where points, gap or distributor were touched, and the engine still runs.",
                "lead_off": "That needs work at the plugs, and one cylinder that is dead from the first yard.",
                "swapped": "That needs several leads off at once, and two cylinders that fire at each other's time.",
                "polarity": "That needs work at the coil's wires.",
                "beside": "That needs one lead renewed, and two cylinders that disturb each other under load.",
                "tooth": "That needs a distributor that was out of the engine.",
            }),
            answer=lambda v: v.case,
            slips=(
                Slip("near-by",
                     "Close, and not touched by this repair. Ask which hands went where, and what came off for it.",
                     lambda v: _NEAR[v.case]),
            ),
        ),
    ),
    route=lambda v: (
        "What was taken off or moved for this repair? That comes first.",
        Line(_UPSET_OPTIONS[v.case], "upset"),
    ),
)  # fmt: skip

REPORT = Exercise(
    key="m06.report",
    version=1,
    marking=1,
    title="The job report",
    text=(
        "Take the car that you followed step by step in section 7, or another that you diagnosed yourself. Write the report "
        "that goes into the job folder, so that a colleague who never saw the car understands it. Six to ten sentences."
    ),
    draw={},
    parts=(
        Written(
            key="text", prompt="Your report", marks=6, objectives=("G5", "G7", "G8"),
            rubric=(
                ("says what was found, and where", 1),
                ("says how it was proved, and which result would have spoken against it", 1),
                ("gives the figures before and after, read under the same condition", 2),
                ("says what was left as it was, or must be looked at again", 1),
                ("is plain: a colleague could go on from it", 1),
            ),
            answer=lambda v: (
                "Complaint: stumbles uphill, met on the road. Coil output while cranking 24 kV, in limits; dwell and points "
                "drop in limits. In the dark one spark from the lead of number 4 to the manifold; that lead end 11 kV, the "
                "others 23 kV. Had all lead ends been alike, the lead would not have been it. Lead renewed and put into its "
                "bracket. After: lead end 23 kV, no spark under mist, hill driven twice without a stumble. Left: plug gaps "
                "0.006 in wide, told to the owner; due within 3000 miles (4800 km)."
            ),
        ),
    ),
    route=lambda v: ("The instructor reads this one: found, proved, before and after, left, plain.",),
)  # fmt: skip

_ASKED = (
    "my last garage always began with new plugs. Why did you not?", "plugs cost little. Why did you measure for half an hour first?",
    "a friend says you should have fitted plugs and seen. Why did you not?",
    "you charge for tests. With new plugs it would have been well at once, I hear.",
)  # fmt: skip

OWNER = Exercise(
    key="m06.owner",
    version=1,
    marking=1,
    title="Why not plugs first?",
    text=(
        "The owner of the {engine} writes: {asked} Your finding was a leaking lead; it was renewed and proved on the hill. "
        "Answer in four to six sentences that somebody outside the trade understands."
    ),
    draw={"engine": Pick(ENGINES), "asked": Steps(0, len(_ASKED) - 1)},
    show=lambda v: {"engine": title(v.engine), "asked": _ASKED[v.asked]},
    parts=(
        Written(
            key="text", prompt="Your answer", marks=3, objectives=("G6", "G8"),
            rubric=(
                ("says that new plugs can hide another weakness for a time, so that the complaint would have come back", 1),
                ("says what was measured and found before anything was bought", 1),
                ("stays polite and plain, and says what was checked at the end", 1),
            ),
            answer=lambda v: (
                "New plugs ask for less voltage, so with them your car would have run well for some time, and then stumbled "
                "again. We measured first and saw a spark jump from one lead to the engine; the plugs were not the cause. We "
                "renewed that one lead. Then we drove your hill twice: the engine ran evenly. So you paid for one part and some "
                "minutes, and not for a set of plugs that would have hidden the fault."
            ),
        ),
    ),
    route=lambda v: ("The instructor reads this one against three points: hiding, measuring, plain and checked.",),
)  # fmt: skip
