"""Judgement exercises of module 4 as they were first issued: a handful of cases each."""

from types import MappingProxyType

from grader.exercise import listing
from grader.exercise.kinds import Choices
from grader.exercise.model import Choice, Exercise, Slip
from grader.exercise.sorting import Critical, Order
from grader.exercise.spread import Pick, Steps
from grader.modules.plug_testing.firing import KPA_PER_PSI, MM_PER_INCH, both
from grader.reference.spark import breakdown, coil, tester
from grader.reference.timing import induction

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

_BASE = MappingProxyType({"kv": 18.0, "gap_in": 0.035, "factor": 1.1, "air_c": 20.0, "shunt": 1.0, "altitude_m": 0.0})
CAUSES = MappingProxyType({  # wording, what it changes, and whether the plug itself is changed
    "wide": ("The plug's gap has grown by 0.010 in (0.25 mm).", {"gap_in": 0.045}, True),
    "round": ("The plug's electrode edges have been worn round.", {"factor": breakdown.demand_factor(rounding=0.5)}, True),
    "soot": ("Damp soot lies on the plug's insulator nose.", {"shunt": coil.shunt_factor(1.0)}, True),
    "sharp": ("The plug's electrodes have been filed flat and sharp.", {"factor": breakdown.demand_factor()}, True),
    "weak": ("The tester's coil has become hot and gives less voltage.", {"kv": 15.0}, False),
    "cold": ("The shop and its compressed air have cooled from 20 to 5 °C (68 to 41 °F).", {"air_c": 5.0}, False),
    "hill": ("The tester has been moved to a shop 1500 m (4900 ft) higher.", {"altitude_m": 1500.0}, False),
})  # fmt: skip


def reading_psig(kv: float, gap_in: float, factor: float, air_c: float, shunt: float, altitude_m: float) -> float:
    """Gauge reading of a plug on a tester, everything that matters counted in."""
    reach = breakdown.reach_cm(kv * shunt / factor)
    barometer = induction.standard_pressure_kpa(altitude_m) / KPA_PER_PSI
    return tester.gauge_psig(tester.firing_pressure_psia(reach, gap_in * MM_PER_INCH, air_c), barometer)


def changes(sign: int, in_plug: bool | None) -> tuple[str, ...]:
    """Keys of the causes that move the reading that way; in_plug tells where the cause lies, None anywhere."""
    usual = reading_psig(**_BASE)
    return tuple(
        key
        for key, (_, change, of_plug) in CAUSES.items()
        if in_plug in (None, of_plug) and sign * (reading_psig(**{**_BASE, **change}) - usual) > 0
    )


_ASKED = MappingProxyType({
    "lower-plug": ("lower", " and that lies in the plug itself", -1, True),
    "lower-outside": ("lower", " and that does not lie in the plug", -1, False),
    "lower": ("lower", ", whether it lies in the plug or not", -1, None),
    "higher-plug": ("higher", " and that lies in the plug itself", 1, True),
    "higher-outside": ("higher", " and that does not lie in the plug", 1, False),
    "higher": ("higher", ", whether it lies in the plug or not", 1, None),
})  # fmt: skip

CHANGES = Exercise(
    key="m04.changes",
    version=1,
    marking=1,
    title="What moved the reading?",
    text=(
        "A used plug is tested twice, and the second gauge reading is {way} than the first. Each line below names one "
        "change between the two tests, all else equal. Tick every change that makes the reading {way}{where}."
    ),
    draw={"case": Pick(tuple(_ASKED))},
    show=lambda v: {"way": _ASKED[v.case][0], "where": _ASKED[v.case][1]},
    parts=(
        Choices(
            key="which",
            prompt="Changes that fit",
            marks=2,
            objectives=("P4", "P6"),
            options=MappingProxyType({key: words for key, (words, _, _) in CAUSES.items()}),
            answer=lambda v: changes(*_ASKED[v.case][2:]),
            slips=(
                Slip(
                    "other-way",
                    "You ticked the changes that move the reading the other way. Thin or warm gas and narrow, sharp gaps "
                    "let the plug fire up to a higher reading.",
                    lambda v: changes(-_ASKED[v.case][2], _ASKED[v.case][3]),
                ),
                Slip(
                    "wrong-place",
                    "You ticked the right direction but the wrong place: ask of each line whether the plug itself changed.",
                    lambda v: None if _ASKED[v.case][3] is None else changes(_ASKED[v.case][2], not _ASKED[v.case][3]),
                ),
            ),
        ),
    ),
    route=lambda v: (
        f"Wanted: every change that makes the reading {_ASKED[v.case][0]}{_ASKED[v.case][1]}.",
        "These fit: " + " ".join(CAUSES[key][0] for key in changes(*_ASKED[v.case][2:])),
    ),
)
