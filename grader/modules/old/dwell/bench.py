"""Exercises at the bench: when a feeler lies, the order of work, what contacts show, a letter to the owner."""

from types import MappingProxyType

from grader.exercise.kinds import Written
from grader.exercise.model import Choice, Exercise, Slip
from grader.exercise.sorting import Critical, Order
from grader.exercise.spread import Pick, Steps
from grader.modules.old.dwell.cam import cam
from grader.reference.spark import points
from grader.units import grouped
from grader.vehicle.spec import vehicles

_BLADE_TOLD = MappingProxyType(
    {
        "pip": "These points have run {miles} and are pitted. The blade just fits at the manual's gap. "
               "The meter, its switch right, shows {seen:.1f}°.",
        "peak": "The points are new and smooth. The blade just fitted at the manual's gap, but nobody looked where the "
                "cam stood. The meter, its switch right, shows {seen:.1f}°.",
        "switch": "The points are new and smooth, and the blade fits at the manual's gap on the lobe peak. "
                  "The meter, its switch on {other} cylinders, shows {seen:.1f}°.",
        "shaft": "The points are new and smooth. On one lobe peak the blade fits at the manual's gap, on others it is "
                 "loose or will not enter. The meter's needle swings over {swing}°.",
        "agree": "The points are new and smooth, and the blade fits at the manual's gap on the lobe peak. "
                 "The meter, its switch right, shows {seen:.1f}°.",
    }
)  # fmt: skip


def _blade(parameters):
    spec = cam(parameters)
    n = spec["cylinders"]
    other = {4: 8, 6: 4, 8: 4}[n]
    dwell = spec["dwell_deg"]
    true = points.dwell_of_gap_deg(spec["gap_in"] + parameters["hidden_thou"] / 1000, spec["lift_in"], n)
    seen = {"pip": true, "peak": true, "switch": points.meter_reading_deg(dwell, n, other), "agree": dwell + 0.2}
    return {**spec, "other": other, "seen": seen.get(parameters["case"], dwell)}


def _run(v):
    return f"{grouped(1000 * v.miles)} miles ({grouped(round(1609.344 * v.miles, -3))} km)"


FEELER = Exercise(
    key="m02.feeler",
    version=1,
    marking=1,
    title="Blade and meter disagree, or do they?",
    text=(
        "{title}: manual {gap_in:.3f} in ({gap_mm} mm), {dwell_deg:g}°, {cylinders} cylinders. {told} "
        "What do you make of it?"
    ),
    draw={
        "vehicle": Pick(tuple(vehicles())), "case": Pick(tuple(_BLADE_TOLD)), "hidden_thou": Steps(60, 90, 5, scale=10),
        "miles": Steps(8, 16), "swing": Steps(4, 7),
    },
    fill=_blade,
    show=lambda v: {"told": _BLADE_TOLD[v.case].format(**{**vars(v), "miles": _run(v)}), "gap_mm": f"{25.4 * v.gap_in:.2f}"},
    parts=(
        Choice(
            key="finding", prompt="Your finding", marks=1, objectives=("D6",),
            options=MappingProxyType({
                "pip": "The blade rides on a pip: the true gap is wider. Renew the points, or set by the meter.",
                "peak": "The block was not on the lobe peak: at the peak the gap is wider. Set it again there.",
                "switch": "Gap and dwell agree. Turn the meter's switch to the engine's number of cylinders.",
                "shaft": "The shaft or its bush is worn: no single gap can be right.",
                "agree": "Gap and dwell agree. Leave the points and go on to the timing.",
            }),
            signs=MappingProxyType({
                "pip": "A pip grows only on contacts that have run and are pitted.",
                "peak": "The peak is in doubt where smooth contacts were measured and nobody looked where the cam stood.",
                "switch": "A wrong switch stands on another number than the engine has cylinders, and it shifts one steady reading.",
                "shaft": "A worn shaft makes gap and needle wander from lobe to lobe.",
                "agree": "You go straight on where the switch is on the engine's number and one steady reading is the manual's dwell.",
            }),
            answer=lambda v: v.case,
            slips=(
                Slip("trusts-blade",
                     "The blade alone says all is well, and the meter says it is not. Ask why a blade could be held off or misled.",
                     lambda v: "agree" if v.case in ("pip", "peak") else None),
                Slip("pip-on-smooth",
                     "Smooth new points have no pip to hold the blade off. Where did the cam stand?",
                     lambda v: "pip" if v.case == "peak" else None),
                Slip("blames-shaft",
                     "One steady reading speaks against play. A worn shaft makes gap and needle wander from lobe to lobe.",
                     lambda v: "shaft" if v.case in ("switch", "agree") else None),
            ),
        ),
    ),
    route=lambda v: {
        "pip": ("Less dwell than the gap should give means a wider gap; a pip keeps a flat blade from finding it.",),
        "peak": ("Less dwell than the gap should give means that the points open wider somewhere: on the peak.",),
        "switch": (f"{v.seen:.1f}° on {v.other} cylinders is {v.dwell_deg:g}° on {v.cylinders}: just right.",),
        "shaft": ("Gap and dwell that change from lobe to lobe: the shaft moves sideways.",),
        "agree": ("Blade and meter tell the same within half a degree.",),
    }[v.case],
)  # fmt: skip

_STEPS = MappingProxyType(
    {
        "off": "Key off, battery's earth lead off",
        "fit": "Fit the points, contacts in line and square; wipe the protective film off them",
        "lube": "Put a trace of cam lubricant on the cam, none on the contacts",
        "peak": "Turn the engine until the rubbing block stands on a lobe peak",
        "gap": "Set the gap with a clean blade, tighten the screw, measure again",
        "start": "Put the earth lead back on, start the engine with the vacuum line off and plugged, let it warm up",
        "dwell": "Read the dwell at idle; stop and correct the gap until it is in limits",
        "timing": "Set the initial timing",
        "speeds": "Raise the speed: dwell steady, mark moving up; then the line back on",
        "road": "After a first run read dwell and timing again: new blocks bed in",
    }
)

FIT_ORDER = Exercise(
    key="m02.fit_order",
    version=1,
    marking=1,
    title="New points, from first to last",
    text="You fit new points to an engine with the distributor in place. Bring the steps into their order.",
    draw={},
    parts=(
        Order(
            key="steps", prompt="The steps in order", marks=2, objectives=("D8",),
            items=_STEPS, answer=lambda v: tuple(_STEPS),
            pairs=(
                ("off", "fit"), ("fit", "lube"), ("fit", "peak"), ("lube", "start"), ("peak", "gap"), ("gap", "start"),
                ("start", "dwell"), ("dwell", "timing"), ("timing", "speeds"), ("speeds", "road"), ("dwell", "road"),
            ),
            critical=(
                Critical("timing-before-dwell", "dwell", "timing",
                         "First the dwell, then the timing; leave neither out. Every later change of gap moves the timing again."),
                Critical("live", "off", "gap",
                         "First the key off, then the gap; leave neither out. The coil kicks with several hundred volts."),
            ),
        ),
    ),
    route=lambda v: tuple(_STEPS.values()),
)  # fmt: skip

_CONTACTS = MappingProxyType(
    {
        # earth, where the metal has gone from: the earthed fixed contact or the moving one
        "small-negative": ("negative", "fixed", "small"),
        "small-positive": ("positive", "moving", "small"),
        "large-negative": ("negative", "moving", "large"),
        "large-positive": ("positive", "fixed", "large"),
        "even-negative": ("negative", "neither", "even"),
        "even-positive": ("positive", "neither", "even"),
        "unknown-fixed": ("", "fixed", "unknown"),
        "unknown-moving": ("", "moving", "unknown"),
    }
)


def _contacts_seen(v):
    earth, gone, _ = _CONTACTS[v.case]
    told = f"The battery's {earth} pole is earthed." if earth else "The battery is out, and both its leads look alike."
    holes = {
        "fixed": "a crater in the fixed contact and a pip on the moving one",
        "moving": "a crater in the moving contact and a pip on the fixed one",
        "neither": "both contacts grey, flat and alike",
    }[gone]
    return {"told": f"{told} After {_run(v)} you find {holes}."}


CRATER = Exercise(
    key="m02.crater",
    version=1,
    marking=1,
    title="Where the metal went",
    text=(
        "The fixed contact is earthed; the moving one goes to the coil. {told} Reason with the shop rule (practice, not "
        "physics): minus capacity, minus metal on the minus contact. What does it suggest?"
    ),
    draw={"case": Pick(tuple(_CONTACTS)), "miles": Steps(6, 14)},
    show=_contacts_seen,
    parts=(
        Choice(
            key="condenser", prompt="What the contacts suggest", marks=1, objectives=("D10",),
            options=MappingProxyType({
                "small": "The minus contact lost metal: test for too small a condenser or a poor lead to it.",
                "large": "The plus contact lost metal: test for too large a condenser.",
                "even": "No side lost metal: nothing against the condenser.",
                "unknown": "Cannot tell yet: find out which pole of the battery is earthed.",
            }),
            signs=MappingProxyType({
                "small": "That needs a crater in the contact that is known to be minus.",
                "large": "That needs a crater in the contact that is known to be plus.",
                "even": "Even contacts are grey, flat and alike; a crater says that metal has gone over.",
                "unknown": "The task tells which pole is earthed, and that settles which contact is minus.",
            }),
            answer=lambda v: _CONTACTS[v.case][2],
            slips=(
                Slip("earth-side",
                     "Look at the earth again: the fixed contact is minus only where the battery's negative pole is earthed.",
                     lambda v: {"small": "large", "large": "small"}.get(_CONTACTS[v.case][2])),
                Slip("guessed",
                     "Without the earth polarity nobody knows which contact is minus. That comes first.",
                     lambda v: {"unknown-fixed": "small", "unknown-moving": "large"}.get(v.case)),
            ),
        ),
    ),
    route=lambda v: {
        "small": ("Find the minus contact from the earth. It is the one with the crater: minus metal, minus capacity.",),
        "large": ("Find the minus contact from the earth. It has the pip, so the plus contact lost metal.",),
        "even": ("Grey and even is how sound contacts look.",),
        "unknown": ("The rule speaks of the minus contact. Without the earth polarity it says nothing.",),
    }[_CONTACTS[v.case][2]],
)  # fmt: skip

LETTER = Exercise(
    key="m02.letter",
    version=1,
    marking=1,
    title="A letter to the owner",
    text=(
        "The owner of the {title} writes: your bill says points {gap_in:.3f} in and then timing as well. I asked for "
        "points only, and the timing was right {weeks} weeks ago. Answer in four to six sentences that a layman understands."
    ),
    draw={"vehicle": Pick(tuple(vehicles())), "weeks": Steps(3, 20)},
    fill=cam,
    parts=(
        Written(
            key="letter", prompt="Your letter", marks=3, objectives=("D4", "D11"),
            rubric=(
                ("says that the spark comes when the points open, so that the gap moves the timing", 1),
                ("says what was measured before and after (dwell and timing), not only what was fitted", 1),
                ("asks the owner back for a check after the first run, since new blocks bed in, and stays polite and plain", 1),
            ),
            answer=lambda v: (
                f"The spark of your {v.title} comes at the moment the points open. New points set to the right gap open at "
                "another moment than the worn ones, so the timing moves with them. We measured dwell and timing before and "
                "after, and both now stand where the manual wants them; the figures are on your bill. The new rubbing block "
                "wears in a little at first. Please come by after some 500 miles (800 km): we check both again."
            ),
        ),
    ),
    route=lambda v: ("The instructor reads this one against three points: cause, measurement, check after the first run.",),
)  # fmt: skip
