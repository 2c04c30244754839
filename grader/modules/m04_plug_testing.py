"""Module 4: testing cleaned plugs under pressure, and judging them fairly."""

from types import MappingProxyType

from grader.exercise import listing
from grader.exercise.kinds import Written
from grader.exercise.model import Choice, Exercise, Line, Module, Number, Slip
from grader.exercise.sorting import Critical, Order
from grader.exercise.spread import Pick, Steps
from grader.modules.old import m04_plug_testing as old
from grader.modules.plug_testing.causes import BATCH, CHANGES, ZERO
from grader.modules.plug_testing.firing import ABSOLUTE, CHART, DROP, HARSHER, MM_PER_INCH, POINTS, REGAP, both
from grader.reference.spark import tester

_HISTORY = MappingProxyType({
    "as-it-came": (
        "The plug went into the tester as it came out of the engine: grey with deposits, gap {wide:.3f} in ({wide_mm} mm) "
        "where {right:.3f} in ({right_mm} mm) is specified. It fired up to {low}; a new plug of the type, gapped as "
        "specified, up to {new}, same tester, same hour."
    ),
    "no-reference": (
        "The plug was cleaned, filed and gapped to {right:.3f} in ({right_mm} mm). It fired up to {low}. No new plug was "
        "tested; the pencil note on the wall from last year says {new} for this type."
    ),
    "other-gap": (
        "The plug was cleaned, filed and gapped to {wide:.3f} in ({wide_mm} mm), as this engine wants it. It fired up to "
        "{low}. The new plug beside it came out of the box at {right:.3f} in ({right_mm} mm) and fired up to {new}, same "
        "tester, same hour."
    ),
    "reject": (
        "The plug was degreased, cleaned, filed and gapped to {right:.3f} in ({right_mm} mm). Five tries agreed within "
        "2 psi: it fired up to {low}. A new plug of the type at the same gap, same tester, same hour, fired up to {new}."
    ),
    "keep": (
        "The plug was degreased, cleaned, filed and gapped to {right:.3f} in ({right_mm} mm). Five tries agreed within "
        "2 psi: it fired up to {high}. A new plug of the type at the same gap, same tester, same hour, fired up to {new}."
    ),
})  # fmt: skip


def _low_and_high(parameters):
    limit = tester.KEEP_SHARE * parameters["new_psig"]
    return {
        "low_psig": round(limit) - parameters["off_psi"],
        "high_psig": round(limit) + parameters["off_psi"],
        "wide_in": round(parameters["right_in"] + 0.012, 3),
    }


def _history(v):
    return _HISTORY[v.case].format(
        low=both(v.low_psig),
        high=both(v.high_psig),
        new=both(v.new_psig),
        right=v.right_in,
        wide=v.wide_in,
        right_mm=f"{v.right_in * MM_PER_INCH:.2f}",
        wide_mm=f"{v.wide_in * MM_PER_INCH:.2f}",
    )


FIRST_TEST = Exercise(
    key="m04.first_test",
    version=1,
    marking=1,
    title="Can this plug be judged yet?",
    text="{history} All readings are on the gauge. What do you say?",
    draw={"case": Pick(tuple(_HISTORY)), "new_psig": Steps(88, 118), "off_psi": Steps(7, 16),
          "right_in": Steps(26, 34, scale=1000)},
    fill=_low_and_high,
    show=lambda v: {"history": _history(v)},
    parts=(
        Choice(
            key="finding", prompt="Your finding", marks=2, objectives=("P3", "P4"),
            options=MappingProxyType({
                "keep": "Keep it.",
                "reject": "Reject it.",
                "as-it-came": "Cannot tell yet: clean, file and gap the plug, then measure again.",
                "no-reference": "Cannot tell yet: measure a new plug of the type on this tester now.",
                "other-gap": "Cannot tell yet: set both plugs to one gap and measure both again.",
            }),
            signs=MappingProxyType({
                "keep": "A plug is kept only when it was made ready and a new one at the same gap was measured beside it.",
                "as-it-came": "That is for a plug that went into the tester as it came out of the engine.",
                "no-reference": "That is for a plug beside which no new one was measured that day.",
                "other-gap": "That is for two plugs that were both made ready and differ in their gap.",
            }),
            answer=lambda v: v.case,
            slips=(
                Slip("too-quick",
                     "The figure alone says so. Was the plug made ready, and was the new one measured at the same gap and hour?",
                     lambda v: {"as-it-came": "reject", "no-reference": "reject", "other-gap": "reject"}.get(v.case)),
                Slip("not-by-the-rule",
                     "Service, gap and the new plug were in order. Then the 30 per cent rule decides.",
                     lambda v: {"keep": "reject", "reject": "keep"}.get(v.case)),
            ),
        ),
    ),
    route=lambda v: {
        "as-it-came": ("Nothing was done to the plug before the test. Dirt and a wide gap alone lower the reading.",
                       "Clean, file, gap, measure again. Then judge."),
        "no-reference": ("A tester changes from day to day. The measure is a new plug, today, on this tester.",),
        "other-gap": ("A wider gap fires up to a lower pressure even on a perfect plug.",
                      "Bring both plugs to one gap and measure both again."),
        "reject": (f"Limit 0.70 × {v.new_psig} = {tester.KEEP_SHARE * v.new_psig:.0f} psi; it gave {v.low_psig}: reject.",),
        "keep": (f"Limit 0.70 × {v.new_psig} = {tester.KEEP_SHARE * v.new_psig:.0f} psi; it gave {v.high_psig}: keep.",),
    }[v.case],
)  # fmt: skip

_STEPS = MappingProxyType({
    "goggles": "Put on eye protection",
    "degrease": "Wash the oil off with solvent",
    "dry": "Let the plug dry through",
    "blast": "Blast the nose briefly with abrasive",
    "blow": "Blow out every grain of abrasive",
    "file": "File the electrodes flat and sharp",
    "gap": "Set the gap by bending the side electrode",
    "test": "Fire it in the tester beside a new plug at the same gap",
    "decide": "Apply the 30 per cent rule on the gauge",
})  # fmt: skip
_JOBS = MappingProxyType({
    "oily": ("wet and black with oil, its edges rounded", tuple(_STEPS)),
    "sooty": ("coated with dry soot, its edges rounded", tuple(k for k in _STEPS if k not in ("degrease", "dry"))),
    "worn": ("clean and light grey, its edges rounded and the gap wide", ("goggles", "file", "gap", "test", "decide")),
    "washed": ("still wet from the solvent bath, free of deposits, its edges rounded",
               ("goggles", "dry", "file", "gap", "test", "decide")),
})  # fmt: skip

SERVICE = Exercise(
    key="m04.service",
    version=1,
    marking=1,
    title="Service before judgement",
    text=(
        "On the bench lies a plug {look}. Put the steps from here to the verdict in order. Leave out every step that "
        "this plug does not need."
    ),
    draw={"case": Pick(tuple(_JOBS))},
    show=lambda v: {"look": _JOBS[v.case][0]},
    parts=(
        Order(
            key="order", prompt="Steps in order", marks=2, items=_STEPS, objectives=("P4",),
            answer=lambda v: _JOBS[v.case][1],
            critical=(
                Critical("oil-blasted", "degrease", "blast",
                         "Abrasive packs in oil and stays in the plug. Wash first, blast after; leave neither out."),
                Critical("wet-blasted", "dry", "blast", "Abrasive cakes on a wet plug. Dry first, blast after; leave neither out."),
                Critical("abrasive-left", "blow", "test",
                         "Abrasive left in the plug goes into the engine. Blow it out first, test after; leave neither out."),
                Critical("gap-before-file", "file", "gap", "Filing widens the gap. File first, set the gap after; leave neither out."),
                Critical("judged-unset", "gap", "test",
                         "The tester reads the gap as much as the plug. Set the gap first, test after; leave neither out."),
            ),
        ),
    ),
    route=lambda v: (f"The plug is {_JOBS[v.case][0]}.", *(f"{_STEPS[key]}." for key in _JOBS[v.case][1])),
)  # fmt: skip

_SCATTERS = ((2, -2, 0, 1, -1), (-3, 2, 1, -1, 2), (0, 3, -2, -2, 1), (1, -1, -3, 2, 2), (-1, 3, 0, -3, 0))
_LEANS = MappingProxyType({"reject": (-13, 5), "undecided": (-2.5, 5), "keep": (8, 5)})  # points: start, width


def _two_sets(parameters):
    start, width = _LEANS[parameters["lean"]]
    share = tester.KEEP_SHARE + (start + width * parameters["within"] / 20) / 100
    wide = 2 if parameters["lean"] == "undecided" else 1
    new = [parameters["new_psig"] + d for d in _SCATTERS[parameters["new_scatter"]]]
    used = [round(share * parameters["new_psig"]) + wide * d for d in _SCATTERS[parameters["used_scatter"]]]
    found = tester.keep_verdict(new, used)
    return {"new": new, "used": used, "half": round(50 * (found.high - found.low), 1)}


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


def _sheet(v):
    """The five lines of a colleague's sheet, one of them wrong; later lines follow from the lines above them."""
    used = round(0.7 * v.new_psig) + v.side * v.off_psi
    lower = v.new_psig - used
    base = used if v.wrong == "3" else v.new_psig
    percent = 100 * lower / base
    limit = 0.7 * (v.new_psig + 14.7) if v.wrong == "4" else 0.7 * v.new_psig
    keeps = used >= limit
    gap = v.gap_in + 0.006 if v.wrong == "1" else v.gap_in
    return (
        f"(1) New plug at {v.gap_in:.3f} in, used plug at {gap:.3f} in, one tester, one hour.",
        f"(2) New {both(v.new_psig)}, used {both(used)}, difference {lower + (10 if v.wrong == '2' else 0)} psi.",
        f"(3) {lower} ÷ {base} = {percent:.0f} per cent below.",
        f"(4) Lowest reading to keep is {limit:.0f} psi.",
        f"(5) {used} psi is {'not below' if keeps else 'below'} {limit:.0f} psi, so "
        f"{'keep' if keeps != (v.wrong == '5') else 'reject'}.",
    )


FIND_ERROR = Exercise(
    key="m04.find_error",
    version=1,
    marking=1,
    title="Find the error",
    text="A colleague's test sheet, all pressures on the gauge. One line is wrong.{sheet}Which line do you strike out?",
    draw={"wrong": Pick(("1", "2", "3", "4", "5")), "new_psig": Steps(88, 118), "side": Pick((-1, 1)),
          "off_psi": Steps(12, 20), "gap_in": Steps(26, 34, scale=1000)},
    show=lambda v: {"sheet": listing.lines(_sheet(v))},
    parts=(
        Choice(
            key="line", prompt="The wrong line", marks=1, objectives=("P2", "P1"), order="fixed",
            options=MappingProxyType({str(line): f"Line {line}" for line in range(1, 6)}),
            signs=MappingProxyType({
                "1": "That line is right: gap, tester and hour are the same for both plugs.",
                "2": "That line is right: take the used plug's reading from the new one's and compare.",
                "3": "That line is right: the new plug is the measure, so you divide by its reading.",
                "4": "That line is right: the rule is 0.70 times the new plug's reading on the gauge.",
                "5": "That line is right: it decides as the two figures in it say.",
            }),
            answer=lambda v: v.wrong,
        ),
    ),
    route=lambda v: ({
        "1": "Line 1: the two gaps differ. A wider gap lowers the reading by itself.",
        "2": "Line 2: the difference is miscounted.",
        "3": "Line 3: it divides by the used plug. The new plug is the measure.",
        "4": "Line 4: it adds 14.7 psi. The rule is 0.70 times the gauge reading of the new plug.",
        "5": "Line 5: the decision contradicts its own comparison.",
    }[v.wrong],),
)  # fmt: skip


def _letter(v):
    rest, one = v.count - v.bad, v.bad == 1
    return (
        f"We cleaned all {v.count} plugs, set their gaps, and compared each with a new plug on our tester. "
        f"{rest} spark well enough and are back in the engine. {'One sparks' if one else 'Two spark'} too weakly, so we fitted "
        f"{'a new one' if one else 'two new ones'} at {v.price:.2f}{'' if one else f' each, {v.bad * v.price:.2f} in all'}; "
        f"a full set would have been {v.count * v.price:.2f}. The test asks more of a plug than your engine does, but it "
        "does not show everything. New plugs can hide another fault for a while, so we drove the car under load and "
        f"measured the rest of the ignition: {_FOUND[v.found]} If the misfire comes back, please bring the car "
        "at once: fuel that does not burn can ruin the exhaust."
    )


# What the rest of the ignition showed after the plugs were in, in an owner's words.
_FOUND = MappingProxyType({
    "right": "all of it is right, and it pulled cleanly.",
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
