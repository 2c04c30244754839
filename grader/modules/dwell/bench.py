"""Exercises at the bench: when a feeler lies, the order of work, what contacts show, a letter to the owner."""

from types import MappingProxyType, SimpleNamespace

from grader.exercise import listing
from grader.exercise.kinds import Choices, Written
from grader.exercise.model import Choice, Exercise, Slip
from grader.exercise.sorting import Critical, Order
from grader.exercise.spread import Pick, Steps
from grader.modules.dwell.cam import cam
from grader.modules.situations import MANY, by_answer, chosen
from grader.reference.spark import points
from grader.units import grouped, signed
from grader.vehicle.spec import vehicle, vehicles

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
    # A pip hides 6 to 9 thousandths, points run 8,000 to 16,000 miles, a worn bush swings the needle 4 to 7 degrees (practice).
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
        "lamp": "Put the earth lead back on, set the initial timing with a test lamp, number one on compression",
        "start": "Put the earth lead back on, start the engine with the vacuum line off and plugged, let it warm up",
        "dwell": "Read the dwell at idle; stop and correct the gap until it is in limits",
        "timing": "Set the initial timing with the light",
        "speeds": "Raise the speed: mark moving up, needle steady; then the line back on",
        "road": "After a first run check points and timing again: new blocks bed in",
    }
)
_BENCH_STEPS = ("off", "fit", "lube", "peak", "gap")
_JOBS = MappingProxyType(
    {
        "new": "You fit new points to an engine with the distributor in place.",
        "gap": "The old points are sound and stay in; only their gap has closed, and you set it again. Their block has long bedded in.",
    }
)
_DONE = MappingProxyType({
    "nothing": "Nothing is done yet.",
    "off": "The key is off, and the battery's earth lead is off.",
    "fit": "The earth lead is off; the new points are in, wiped and square.",
    "lube": "The earth lead is off; the points are in, wiped and square, and the cam has its trace of lubricant.",
    "peak": "The earth lead is off, points and lubricant are as they should be, and the block stands on a lobe peak.",
    "gap": "The earth lead is off, points and lubricant are as they should be, and the gap is set and measured twice.",
})  # fmt: skip
_RUNS = MappingProxyType(
    {
        "meter": "The engine can run, and a dwell meter and a timing light are at hand.",
        "no-meter": "The engine can run. A timing light is at hand; the dwell meter is away for repair, and the manual allows a gap by blade.",
        "lamp": "The engine may not be started today. You have a test lamp; the rest is done another day.",
    }
)


def _steps_left(job, done, runs):
    """The steps that are left, or None where nothing is left to put in order."""
    if job == "gap" and done == "fit":
        return None  # nothing is fitted
    bench = [step for step in _BENCH_STEPS if not (job == "gap" and step == "fit")]
    after = {
        "meter": ["start", "dwell", "timing", "speeds"],
        "no-meter": ["start", "timing", "speeds"],
        "lamp": ["lamp"],
    }[runs]
    if job == "new" and runs != "lamp":
        after = [*after, "road"]
    if done != "nothing":
        bench = bench[bench.index(done) + 1 :]
    steps = (*bench, *after)
    return steps if len(steps) > 1 else None


_FITTINGS = tuple(
    (job, done, runs) for job in _JOBS for done in _DONE for runs in _RUNS if _steps_left(job, done, runs) is not None
)


def _fitting(v):
    job, done, runs = _FITTINGS[v.fitting]
    return {"job": _JOBS[job], "done": _DONE[done], "runs": _RUNS[runs]}


def steps_left(v: SimpleNamespace) -> tuple[str, ...]:
    """The steps that are still to be done, in their order.

    Parameters
    ----------
    v : namespace
        The parameters of `FIT_ORDER`.

    Returns
    -------
    tuple of str
    """
    return _steps_left(*_FITTINGS[v.fitting]) or ()


FIT_ORDER = Exercise(
    key="m02.fit_order",
    version=2,
    marking=1,
    title="New points, from first to last",
    text=(
        "{job} {runs} {done} Put the steps that are left into their order. Leave out every step that is done already or "
        "does not belong here."
    ),
    draw={"fitting": Steps(0, len(_FITTINGS) - 1)},
    show=_fitting,
    parts=(
        Order(
            key="steps", prompt="The steps in order", marks=2, objectives=("D8",),
            items=_STEPS, answer=steps_left,
            pairs=(
                ("off", "fit"), ("off", "lube"), ("fit", "lube"), ("fit", "peak"), ("lube", "start"), ("peak", "gap"),
                ("gap", "start"), ("gap", "lamp"), ("lube", "lamp"), ("start", "dwell"), ("start", "timing"),
                ("dwell", "timing"), ("timing", "speeds"), ("speeds", "road"), ("dwell", "road"),
            ),
            critical=(
                Critical("timing-before-dwell", "dwell", "timing",
                         "First the dwell, then the timing; leave neither out. Every later change of gap moves the timing again."),
                Critical("live", "off", "gap",
                         "First the key off, then the gap; leave neither out. The coil gives several hundred volts at the points."),
                Critical("lamp-before-gap", "gap", "lamp",
                         "First the gap, then the lamp; leave neither out. The lamp shows the moment at which the points open."),
            ),
            because=lambda v: {
                ("fit", "lube"): "Points that go in after the lubricant drag it onto their contacts.",
                ("peak", "gap"): "The gap is the widest opening, and that is on the lobe peak.",
                ("gap", "start"): "An engine with points that do not open gives no spark.",
                ("speeds", "road"): "What is not right on the bench is not right on the road.",
                ("timing", "speeds"): "The rise with speed is counted from the initial timing.",
            },
        ),
    ),
    route=lambda v: tuple(_STEPS[step] for step in steps_left(v)),
)  # fmt: skip


def _suggests(earth, gone, measured):
    """What contacts suggest by the shop rule; None where no workshop sees such a thing together.

    `gone` is the contact that lost metal. The earthed contact is the fixed one.
    """
    if gone == "neither":
        return "even" if measured == "unread" else None
    if earth == "unknown":
        return "unknown" if measured == "unread" else None
    minus = "fixed" if earth == "negative" else "moving"
    capacity = "small" if gone == minus else "large"
    if measured == "in":
        return "lead" if capacity == "small" else None
    return capacity if measured in ("unread", capacity) else None


_EARTHS = MappingProxyType(
    {
        "negative": (
            "The battery's negative pole is earthed.",
            "The battery's positive pole feeds the coil.",
            "The manual says: negative earth.",
        ),
        "positive": (
            "The battery's positive pole is earthed.",
            "The battery's negative pole feeds the coil.",
            "The manual says: positive earth.",
        ),
        "unknown": (
            "The battery is out, and both its leads look alike.",
            "The engine stands on a pallet, without battery and leads.",
            "The owner changed the battery himself; the poles are no longer marked.",
        ),
    }
)
_GONE = MappingProxyType(
    {
        "fixed": (
            "a crater in the fixed contact and a pip on the moving one",
            "a pip of metal on the moving contact",
            "a hole in the fixed contact",
        ),
        "moving": (
            "a crater in the moving contact and a pip on the fixed one",
            "a pip of metal on the fixed contact",
            "a hole in the moving contact",
        ),
        "neither": (
            "both contacts grey, flat and alike",
            "a light grey film on both contacts, no pip, no hole",
            "both contacts a little worn, level and of one colour",
        ),
    }
)
_MEASURED = MappingProxyType({
    "unread": "", "in": " The condenser measures {right} µF, as the manual asks.",
    "small": " The condenser measures {low} µF; the manual asks for {right} µF.",
    "large": " The condenser measures {high} µF; the manual asks for {right} µF.",
})  # fmt: skip
_CONTACTS = by_answer({"earth": tuple(_EARTHS), "gone": tuple(_GONE), "measured": tuple(_MEASURED)}, _suggests)


def _contacts(parameters):
    return dict(chosen(_CONTACTS[parameters["answer"]], parameters["which"]))


def _contacts_seen(v):
    told = _MEASURED[v.measured].format(
        low=f"{v.right_uf * 0.5:.2f}", right=f"{v.right_uf:.2f}", high=f"{v.right_uf * 2:.2f}"
    )
    return {
        "told": f"{_EARTHS[v.earth][v.wording_earth]} After {_run(v)} you find {_GONE[v.gone][v.wording_gone]}.{told}"
    }


CRATER = Exercise(
    key="m02.crater",
    version=2,
    marking=1,
    title="Where the metal went",
    text=(
        "The fixed contact is earthed; the moving one goes to the coil. {told} Reason with the shop rule (practice, not "
        "physics): minus capacity, minus metal on the minus contact. What does it suggest?"
    ),
    draw={
        "answer": Pick(tuple(_CONTACTS)), "which": MANY, "wording_earth": Steps(0, 2), "wording_gone": Steps(0, 2),
        "miles": Steps(6, 14), "right_uf": Steps(18, 25, scale=100),  # miles and capacity: practice
    },
    fill=_contacts,
    show=_contacts_seen,
    parts=(
        Choice(
            key="condenser", prompt="What the contacts suggest", marks=1, objectives=("D10",),
            options=MappingProxyType({
                "small": "The minus contact lost metal: the condenser is too small, or its lead is poor. Test it, or renew it where the test says so.",
                "large": "The plus contact lost metal: the condenser is too large. Test it, or renew it where the test says so.",
                "lead": "The minus contact lost metal and the condenser is right: look at its lead and its earth.",
                "even": "No side lost metal: nothing points to the condenser.",
                "unknown": "Cannot tell yet: find out which pole of the battery is earthed.",
            }),
            signs=MappingProxyType({
                "small": "That needs a crater in the contact that is known to be minus, and no condenser that measures right.",
                "large": "That needs a crater in the contact that is known to be plus.",
                "lead": "Lead and earth come first where the condenser was measured and is as the manual asks.",
                "even": "Even contacts are grey, flat and alike; a crater says that metal has gone over.",
                "unknown": "The task tells which pole is earthed, and that settles which contact is minus.",
            }),
            answer=lambda v: v.answer,
            slips=(
                Slip("earth-side",
                     "Look at the earth again: the fixed contact is minus only where the battery's negative pole is earthed.",
                     lambda v: {"small": "large", "large": "small"}.get(v.answer)),
                Slip("guessed",
                     "Without the earth polarity nobody knows which contact is minus. That comes first.",
                     lambda v: {"fixed": "small", "moving": "large"}[v.gone] if v.answer == "unknown" else None),
            ),
        ),
    ),
    route=lambda v: {
        "small": ("Find the minus contact from the earth. It is the one with the crater: minus metal, minus capacity.",),
        "large": ("Find the minus contact from the earth. It has the pip, so the plus contact lost metal.",),
        "lead": ("The minus contact lost metal, and the capacity is right: so too little of it reaches the points.",),
        "even": ("Grey and even is how sound contacts look.",),
        "unknown": ("The rule speaks of the minus contact. Without the earth polarity it says nothing.",),
    }[v.answer],
)  # fmt: skip

_TRAY = tuple("ABCDEF")


def _tray(parameters):
    """Six sets of points: earth of the vehicle, and the contact that lost metal."""
    sets = []
    for label in _TRAY:
        earth, gone = parameters[f"set_{label}"].split("-")
        sets.append([label, earth, gone])
    return {"sets": sets}


def _lost_minus(earth, gone):
    return _suggests(earth, gone, "unread") == "small"


def _plus_lost(v):
    return tuple(label for label, earth, gone in v.sets if gone != "neither" and not _lost_minus(earth, gone))


def _fixed_lost(v):
    """What ticks whoever takes the fixed contact for minus on all six; None where another slip ticks the same."""
    ticked = tuple(label for label, _, gone in v.sets if gone == "fixed")
    return ticked if ticked and ticked != _plus_lost(v) else None


def _tray_why(v):
    reasons = {}
    for label, earth, gone in v.sets:
        minus = "fixed" if earth == "negative" else "moving"
        reasons[label] = (
            "Neither contact lost metal."
            if gone == "neither"
            else f"With {earth} earth the {minus} contact is minus, and the {gone} one lost metal."
        )
    return reasons


CONTACTS = Exercise(
    key="m02.contacts",
    version=1,
    marking=1,
    title="Six sets on the tray",
    text=(
        "Six sets of points lie on the tray, each from another vehicle. On all six the fixed contact was earthed.{tray}"
        "Which of them, by the shop rule of the minus contact, point to too small a condenser or a poor lead to it?"
    ),
    draw={
        f"set_{label}": Pick(
            (
                "negative-fixed",
                "negative-moving",
                "positive-fixed",
                "positive-moving",
                "negative-neither",
                "positive-neither",
            )
        )
        for label in _TRAY
    },
    fill=_tray,
    show=lambda v: {
        "tray": listing.lines(
            f"{label}: {earth} earth, {'both contacts flat and grey' if gone == 'neither' else f'crater in the {gone} contact'}"
            for label, earth, gone in v.sets
        )
    },
    parts=(
        Choices(
            key="small",
            prompt="Sets that point to too small a condenser",
            marks=1,
            objectives=("D10",),
            order="fixed",
            options=MappingProxyType({label: f"Set {label}" for label in _TRAY}),
            answer=lambda v: tuple(label for label, earth, gone in v.sets if _lost_minus(earth, gone)),
            because=_tray_why,
            slips=(
                Slip(
                    "plus-side",
                    "You ticked the sets in which the plus contact lost metal. Negative earth: the fixed contact is minus.",
                    lambda v: _plus_lost(v) or None,
                ),
                Slip(
                    "fixed-always",
                    "You took the fixed contact for minus on all six. It is minus only with negative earth.",
                    _fixed_lost,
                ),
            ),
        ),
    ),
    route=lambda v: tuple(f"{label}: {why}" for label, why in _tray_why(v).items()),
)

_BEFORE = MappingProxyType({
    "worn": "The block had worn and the gap had closed. So the spark came late; we set the gap first, and then the timing.",
    "wide": "The gap had been set too wide. So the spark came early; we set the gap first, and then the timing.",
    "timing": "The gap was in order and stayed as it was. The distributor had been turned, and we set the timing only.",
    "both": "The gap was wrong, and the distributor had been turned as well. We set the gap first, and then the timing.",
})  # fmt: skip


def _job_card(parameters):
    """Dwell and timing before and after, as they stand on a job card."""
    spec = cam(parameters)
    initial = vehicle(parameters["vehicle"]).initial_deg
    change = {"worn": parameters["size"], "wide": -parameters["size"], "timing": 0.0,
              "both": parameters["side"] * parameters["size"]}[parameters["cause"]]  # fmt: skip
    turned = parameters["side"] * parameters["turned"] if parameters["cause"] in ("timing", "both") else 0.0
    return {
        "title": spec["title"], "dwell_deg": spec["dwell_deg"], "right_deg": initial,
        "before_deg": spec["dwell_deg"] + change,
        "seen_deg": initial + points.timing_change_deg(change) + turned,
    }  # fmt: skip


def _side(degrees):
    return f"{abs(degrees):g}° {'before' if degrees >= 0 else 'after'} top dead centre"


TELL = Exercise(
    key="m02.tell_owner",
    version=1,
    marking=1,
    title="What do you tell the owner?",
    text=(
        "Job card of the {title}. Before: dwell {before_deg:g}°, mark {before}. After: dwell {dwell_deg:g}°, mark {after}, "
        "both as the manual asks. The owner wants to know what was wrong. Which sentence is true?"
    ),
    # Changes of 3 to 6 degrees: a gap some thousandths off, a distributor turned by hand (practice).
    draw={
        "vehicle": Pick(tuple(vehicles())), "cause": Pick(tuple(_BEFORE)), "size": Steps(6, 12, scale=2),
        "turned": Steps(6, 12, scale=2), "side": Pick((-1, 1)),
    },
    fill=_job_card,
    show=lambda v: {"before": _side(v.seen_deg), "after": _side(v.right_deg)},
    parts=(
        Choice(
            key="sentence", prompt="The true sentence", marks=1, objectives=("D4", "D11"),
            options=_BEFORE,
            signs=MappingProxyType({
                "worn": "A closed gap shows as more dwell, and the spark is then late by just as many degrees.",
                "wide": "A wide gap shows as less dwell, and the spark is then early by just as many degrees.",
                "timing": "Only the distributor was wrong where the dwell stayed the same.",
                "both": "Both were wrong where the mark moved by another amount than the dwell.",
            }),
            answer=lambda v: v.cause,
            slips=(
                Slip("reversed", "You turned it round. More dwell comes from a closed gap, less dwell from a wide one.",
                     lambda v: {"worn": "wide", "wide": "worn"}.get(v.cause)),
                Slip("gap-alone",
                     "The gap explains one crank degree for each degree of dwell. Compare that with how far the mark moved.",
                     lambda v: ("worn" if v.before_deg > v.dwell_deg else "wide") if v.cause == "both" else None),
            ),
        ),
    ),
    route=lambda v: (
        f"The dwell was off by {signed(f'{v.before_deg - v.dwell_deg:+z.1f}')}°. That alone moves the mark by "
        f"{signed(f'{points.timing_change_deg(v.before_deg - v.dwell_deg):+z.1f}')}°."
        if v.before_deg != v.dwell_deg
        else "The dwell was right, so it did not move the mark.",
        f"The mark was off by {signed(f'{v.seen_deg - v.right_deg:+z.1f}')}°."
        if v.seen_deg != v.right_deg
        else "The mark was right.",
        _BEFORE[v.cause],
    ),
)  # fmt: skip

LETTER = Exercise(
    key="m02.letter",
    version=1,
    marking=1,
    title="A letter to the owner",
    text=(
        "The owner of the {title} writes: your bill says points {gap_in:.3f} in and then timing as well. I asked for "
        "points only, and the timing was right {weeks} weeks ago. Answer in four to six sentences that somebody outside the trade understands."
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
