"""Module 4: testing cleaned plugs under pressure, and judging them fairly."""

from types import MappingProxyType

from grader.exercise.kinds import Written
from grader.exercise.model import Choice, Exercise, Line, Module, Number, Slip
from grader.exercise.spread import Pick, Steps
from grader.modules.old import m04_plug_testing as old
from grader.modules.plug_testing.causes import BATCH, ZERO
from grader.modules.plug_testing.firing import ABSOLUTE, CHART, DROP, HARSHER, POINTS, REGAP
from grader.modules.plug_testing.judged import CHANGES, FIND_ERROR, FIRST_TEST, SERVICE
from grader.reference.spark import tester

_SCATTERS = ((2, -2, 0, 1, -1), (-3, 2, 1, -1, 2), (0, 3, -2, -2, 1), (1, -1, -3, 2, 2), (-1, 3, 0, -3, 0))
_LEANS = MappingProxyType({"reject": (-13, 5), "undecided": (-2.5, 5), "keep": (8, 5)})  # points: start, width


def _two_sets(parameters):
    start, width = _LEANS[parameters["lean"]]
    share = tester.KEEP_SHARE + (start + width * parameters["within"] / 20) / 100
    wide = 2 if parameters["lean"] == "undecided" else 1
    new = [parameters["new_psig"] + d for d in _SCATTERS[parameters["new_scatter"]]]
    used = [round(share * parameters["new_psig"]) + wide * d for d in _SCATTERS[parameters["used_scatter"]]]
    verdict = tester.keep_verdict(new, used)
    return {"new": new, "used": used, "half": round(50 * (verdict.high - verdict.low), 1)}


def _ratio(v):
    return 100 * tester.keep_verdict(v.new, v.used).ratio


def _decision(v, ratio):
    limit = 100 * tester.KEEP_SHARE
    return "keep" if ratio - v.half >= limit else "reject" if ratio + v.half < limit else "undecided"


REPEAT = Exercise(
    key="m04.repeat",
    version=1,
    marking=1,
    title="Five readings each",
    text=(
        "A new plug fired at {new_list} psi and a used one, same gap and hour, at {used_list} psi on the gauge "
        "(70 psi = 483 kPa). What share of the new plug's mean is the used plug's mean? The scatter makes this share "
        "sure to ± {half:.1f} points, 95 times in a hundred. What do you decide?"
    ),
    # Tries of one plug lie within 12 psi of one another, about a few per cent of a reading of 50 to 120 psi (practice).
    draw={"lean": Pick(tuple(_LEANS)), "within": Steps(0, 20), "new_psig": Steps(92, 114),
          "new_scatter": Steps(0, 4), "used_scatter": Steps(0, 4)},
    fill=_two_sets,
    show=lambda v: {"new_list": ", ".join(map(str, v.new)), "used_list": ", ".join(map(str, v.used))},
    parts=(
        Number(
            key="share", prompt="Used over new", unit="%", marks=1, step=0.1, answer=_ratio, within=POINTS,
            possible=(1.0, 200.0), objectives=("P3",),
            slips=(
                Slip("turned-over",
                     "You divided the new plug's mean by the used one's. Divide by the new plug's mean.",
                     lambda v: 1e4 / _ratio(v)),
                Slip("drop-given",
                     "That is how far the used plug lies below. Asked is the share it still has.",
                     lambda v: 100 - _ratio(v)),
            ),
        ),
        Choice(
            key="decision", prompt="Your decision", marks=1, objectives=("P3",),
            options=MappingProxyType({
                "keep": "Keep it: even the low end of the range reaches 70 per cent.",
                "reject": "Reject it: even the high end of the range stays below 70 per cent.",
                "undecided": "Undecided: the range lies across 70 per cent, so take more readings.",
            }),
            signs=MappingProxyType({
                "keep": "To keep it, its share less the ± must still reach 70 per cent.",
                "reject": "To reject it, its share and the ± together must still stay below 70 per cent.",
            }),
            answer=_decision, uses=("m04.repeat.share",),
            slips=(
                Slip("mean-alone",
                     "You let the mean alone decide. Compare its ± range with 70 per cent: it lies on both sides.",
                     lambda v, share: ("keep" if share >= 70 else "reject") if _decision(v, share) == "undecided" else None),
                Slip("too-careful",
                     "The whole range lies on one side of 70 per cent. More readings would cost time and change nothing.",
                     lambda v, share: None if _decision(v, share) == "undecided" else "undecided"),
            ),
        ),
    ),
    route=lambda v: (
        f"Means: new {sum(v.new) / 5:.1f} psi, used {sum(v.used) / 5:.1f} psi.",
        Line(f"Share: {sum(v.used) / 5:.1f} ÷ {sum(v.new) / 5:.1f} = {_ratio(v):.1f} per cent.", "share"),
        Line(  # the share lies in the middle of the range
            f"Range: {_ratio(v) - v.half:.1f} to {_ratio(v) + v.half:.1f} per cent; "
            f"the limit is 70 per cent: {_decision(v, _ratio(v))}.",
            "share", "decision",
        ),
    ),
)  # fmt: skip


def _letter(v):
    rest, single = v.count - v.bad, v.bad == 1
    return (
        f"We cleaned all {v.count} plugs, set their gaps, and compared each with a new plug on our tester. "
        f"{rest} spark well enough and are back in the engine. {'One sparks' if single else 'Two spark'} too weakly, so we fitted "
        f"{'a new one' if single else 'two new ones'} at {v.price:.2f}{'' if single else f' each, {v.bad * v.price:.2f} in all'}; "
        f"a full set would have been {v.count * v.price:.2f}. The test is harder on a plug than your engine is, but it "
        "does not show everything. New plugs can hide another fault for a while, so we drove the car under load and "
        f"measured the rest of the ignition: {_FOUND[v.found]} If the misfire comes back, please bring the car "
        "at once: fuel that does not burn can ruin the exhaust."
    )


# What the rest of the ignition showed after the plugs were in, in an owner's words.
_FOUND = MappingProxyType({
    "right": "all of it is right, and the engine ran evenly under load.",
    "weak": "the part that makes the high voltage is weak, and the misfire is not gone. We would like to renew it; may we?",
    "points": "the contacts that switch the current are burnt, and the misfire is not gone. We would like to renew them; may we?",
    "lead": "one cable to a plug is cracked, and the misfire is not gone. We would like to renew it; may we?",
})  # fmt: skip
_SHOWN = MappingProxyType({
    "right": "voltage, points and leads are right, and the misfire is gone",
    "weak": "the coil gives too little voltage, and the misfire is still there",
    "points": "the points are burnt, and the misfire is still there",
    "lead": "one plug lead is cracked, and the misfire is still there",
})  # fmt: skip

LETTER = Exercise(
    key="m04.letter",
    version=2,
    marking=1,
    title="A few words to the owner",
    text=(
        "An owner asked for a full set of new plugs because the car misfires under load. You serviced and tested "
        "the {count} plugs: {bad} fired more than 30 per cent below a new one and had to be renewed, the others did not. A new plug costs "
        "{price:.2f}. Then you drove the car under load and measured the rest of the ignition: {shown}. Write to the owner in 60 to 150 "
        "words, without trade words that you do not explain: what you kept and renewed, why, what it costs, what else you measured, and what to do "
        "if the misfire comes back."
    ),
    draw={"count": Pick((4, 6, 8)), "bad": Steps(1, 2), "price": Steps(320, 640, 5, scale=100), "found": Pick(tuple(_FOUND))},
    show=lambda v: {"shown": _SHOWN[v.found]},
    parts=(
        Written(
            key="text", prompt="Your message", marks=3, objectives=("P2", "P7"), answer=_letter,
            rubric=(
                ("says what was kept and renewed, by a measurement beside a new plug, and the cost", 1),
                ("says in plain words that the tester asks more than the engine, and does not call a plug faultless that only fired", 1),
                ("says what the rest of the ignition showed, promises no cure by plugs alone, and what to do if the misfire comes back", 1),
            ),
        ),
    ),
    route=lambda v: (_letter(v),),
)  # fmt: skip

MODULE = Module(
    key="m04_plug_testing",
    title="Plug testing",
    minutes=85,
    exercises=(
        REGAP,
        CHART,
        ABSOLUTE,
        SERVICE,
        FIRST_TEST,
        CHANGES,
        DROP,
        FIND_ERROR,
        HARSHER,
        REPEAT,
        ZERO,
        BATCH,
        LETTER,
    ),
    old=old.EXERCISES,
    # Marks were noted before the list followed the lesson; their records name these in the first order.
    recorded=("m04.regap", "m04.absolute", "m04.chart", "m04.first_test", "m04.service"),
)
