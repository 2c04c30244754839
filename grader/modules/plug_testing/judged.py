"""Plug testing: what a plug needs before it is judged, whether it can be judged, what moves a reading, a sheet with an error."""

from types import MappingProxyType, SimpleNamespace

from grader.exercise import listing
from grader.exercise.kinds import Choices
from grader.exercise.model import Choice, Exercise, Slip
from grader.exercise.sorting import Critical, Order
from grader.exercise.spread import Pick, Steps
from grader.modules.plug_testing.firing import KPA_PER_PSI, MM_PER_INCH, both
from grader.modules.situations import MANY, by_answer, chosen
from grader.reference.spark import breakdown, coil, tester
from grader.reference.timing import induction

_RIGHT_GAP = Steps(26, 31, scale=1000)  # in; new plugs of the teaching vehicles, practice
_WORN_MORE = Steps(7, 14, scale=1000)  # in wider than set: 7000 to 14000 miles, practice


def _inch(gap_in):
    """A gap in both systems."""
    return f"{gap_in:.3f} in ({gap_in * MM_PER_INCH:.2f} mm)"


# What a plug went through before the test. Only the last three are a full service.
_SERVICE = MappingProxyType({
    "as-it-came": "It went into the tester as it came out of the engine: grey with deposits, its gap wide.",
    "washed-only": "The oil was washed off, and it went into the tester; its nose is still coated, its gap wide.",
    "brushed": "It was brushed and its gap was set to {right}; nobody filed its rounded electrodes.",
    "oily": "It came oily. It was washed, dried, blasted, blown out, filed and gapped to {right}.",
    "sooty": "It came sooty. It was blasted, blown out, filed and gapped to {right}.",
    "worn": "It came clean, its gap wide. It was filed and gapped to {right}.",
})  # fmt: skip
_HALF_DONE = ("as-it-came", "washed-only", "brushed")
# With what it is compared. Only the first is a measure.
_BESIDE = MappingProxyType({
    "new": "A new plug of the type at {new_gap}, on the same tester in the same hour, fired up to {new}.",
    "note": "No new plug was tested; the pencil note on the wall from last year says {new} for this type.",
    "yesterday": "A new plug of the type fired up to {new} yesterday; since then the tester's battery has been charged.",
    "other-type": "The new plug beside it, of a type for another engine, fired up to {new} on the same tester in the same hour.",
    "neighbour": "A new plug of the type fired up to {new} on the neighbour's tester this morning.",
    "old-one": "The plug beside it, an old one that still ran well, fired up to {new} on the same tester in the same hour.",
})  # fmt: skip
_GAPS = MappingProxyType({
    "equal": "",
    "used-wide": " This engine asks for {wide}, and the used plug was set to that; the new one came out of the box at {right}.",
    "new-wide": " The new plug was set to {wide}, as this engine asks; on the used one the gap stayed at {right}.",
})  # fmt: skip
_TRIES = MappingProxyType({
    "agree": "Five tries of each agreed within 2 psi (14 kPa).",
    "mean": "Each figure is the mean of five tries that lay close together.",
    "one": "Each was tried once.",
    "apart": "Of five tries of the used plug the highest and the lowest lay {apart} apart; the figure is their mean.",
})  # fmt: skip


def _can_be_judged(service, beside, gaps, tries, side):
    """What a fair judge says; None where two things are missing at once, or where no workshop sees such a thing."""
    missing = [
        finding
        for finding, lacks in (
            ("unready", service in _HALF_DONE),
            ("no-measure", beside != "new"),
            ("other-gap", gaps != "equal"),
            ("again", tries in ("one", "apart")),
        )
        if lacks
    ]
    if len(missing) > 1:
        return None
    if missing == ["unready"] and side == "above":
        return None  # dirt and a wide gap lower the reading: what passes all the same is not the question here
    if gaps == "used-wide" and side == "above" or gaps == "new-wide" and side == "below":
        return None  # the wider gap fires less far; it would prove the more
    if missing and missing != ["again"] and tries != "agree":
        return None  # one thing to find is enough to read
    return missing[0] if missing else "keep" if side == "above" else "reject"


_JUDGED = by_answer(
    {"service": tuple(_SERVICE), "beside": tuple(_BESIDE), "gaps": tuple(_GAPS), "tries": tuple(_TRIES),
     "side": ("above", "below")},
    _can_be_judged,
)  # fmt: skip


def _near_the_limit(parameters):
    """The situation and its reading: clear of the limit, or within the scatter where the tries are to decide."""
    situation = dict(chosen(_JUDGED[parameters["finding"]], parameters["which"]))
    off = 2 + parameters["off_psi"] % 3 if parameters["finding"] == "again" else parameters["off_psi"]
    sign = 1 if situation["side"] == "above" else -1
    return {**situation, "used_psig": round(tester.KEEP_SHARE * parameters["new_psig"]) + sign * off}


def _story(v):
    right, wide = _inch(v.right_in), _inch(v.right_in + v.more_in)
    new_gap = "that gap" if v.gaps == "equal" else "a gap of its own"
    sentences = (
        _SERVICE[v.service].format(right=wide if v.gaps == "used-wide" else right),
        f"It fired up to {both(v.used_psig)}.",
        _BESIDE[v.beside].format(new=both(v.new_psig), new_gap=new_gap) + _GAPS[v.gaps].format(wide=wide, right=right),
        _TRIES[v.tries].format(apart=both(14)) if v.beside not in ("note", "yesterday", "neighbour") else "",
    )
    return {"story": " ".join(text for text in sentences if text)}


FIRST_TEST = Exercise(
    key="m04.first_test",
    version=2,
    marking=1,
    title="Can this plug be judged yet?",
    text="A used plug was tested. {story} All readings are on the gauge. What do you say?",
    draw={
        "finding": Pick(("keep", "reject", "unready", "no-measure", "other-gap", "again")), "which": MANY,
        "new_psig": Steps(88, 118), "off_psi": Steps(7, 16), "right_in": _RIGHT_GAP, "more_in": _WORN_MORE,
    },
    fill=_near_the_limit,
    show=_story,
    parts=(
        Choice(
            key="finding", prompt="Your finding", marks=2, objectives=("P3", "P4"),
            options=MappingProxyType({
                "keep": "Keep it.",
                "reject": "Reject it.",
                "unready": "Cannot tell yet: make the plug ready as it should be, then measure again.",
                "no-measure": "Cannot tell yet: measure a new plug of the type on this tester now.",
                "other-gap": "Cannot tell yet: set both plugs to one gap and measure both again.",
                "again": "Cannot tell yet: take more readings of both plugs.",
            }),
            signs=MappingProxyType({
                "keep": "A plug is kept only when it was made ready, and a new one at the same gap was measured beside it.",
                "reject": "A plug is rejected only when it was made ready, and a new one at the same gap was measured beside it.",
                "unready": "That is for a plug that was not cleaned, filed and gapped before the test.",
                "no-measure": "That is for a plug beside which no new one of its type was measured on this tester that hour.",
                "other-gap": "That is for two plugs that were both made ready and differ in their gap.",
                "again": "That is for a share close to the limit, where the tries are few or lie far apart.",
            }),
            answer=lambda v: v.finding,
            slips=(
                Slip("too-quick",
                     "The figure alone says so. Was the plug made ready? Was a new one of its type measured at the same gap, "
                     "on this tester, in the same hour, and often enough?",
                     lambda v: None if v.finding in ("keep", "reject") else "keep" if v.side == "above" else "reject"),
                Slip("not-by-the-rule",
                     "Service, gap and the new plug were in order. Then the 30 per cent rule decides.",
                     lambda v: {"keep": "reject", "reject": "keep"}.get(v.finding)),
            ),
        ),
    ),
    route=lambda v: {
        "unready": ("The plug was not made ready. Dirt, a wide gap and round edges lower the reading by themselves.",
                    "Clean, file and gap it, and measure again. Then judge."),
        "no-measure": ("A tester changes from day to day. The measure is a new plug of the same type, now, on this tester.",),
        "other-gap": ("A wider gap fires up to a lower pressure even on a perfect plug.",
                      "Bring both plugs to one gap and measure both again."),
        "again": (f"Limit 0.70 × {v.new_psig} = {tester.KEEP_SHARE * v.new_psig:.0f} psi; it gave {v.used_psig}.",
                  "So near the limit the scatter of a spark can lead either way. More readings decide."),
        "reject": (f"Limit 0.70 × {v.new_psig} = {tester.KEEP_SHARE * v.new_psig:.0f} psi; it gave {v.used_psig}: reject.",),
        "keep": (f"Limit 0.70 × {v.new_psig} = {tester.KEEP_SHARE * v.new_psig:.0f} psi; it gave {v.used_psig}: keep.",),
    }[v.finding],
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
_WET = MappingProxyType({
    "oil": "It is wet with oil.", "fuel": "It is wet with petrol.", "solvent": "It is still wet from the solvent bath.",
    "dry": "It is dry.",
})  # fmt: skip
_COATED = MappingProxyType({
    "soot": "Soot coats the nose.", "hard": "Hard grey deposits lie on the nose.", "bare": "The nose is free of deposits.",
    "grains": "It has just been blasted; the nose is bare, and nobody has blown it out yet.",
})  # fmt: skip
_EDGES = MappingProxyType({"round": "The edges are rounded.", "sharp": "The edges are flat and sharp."})
_GAP_IS = MappingProxyType({
    "wide": "The gap is {wide}; the manual asks for {right}.", "right": "The gap is {right}, as the manual asks.",
})  # fmt: skip


def _needs(wet, coat, edges, gap):
    """Steps that a plug needs from here to the verdict, in order."""
    wanted = {
        "degrease": wet == "oil",
        "dry": wet != "dry",
        "blast": coat in ("soot", "hard"),
        "blow": coat in ("soot", "hard", "grains"),
        "file": edges == "round",
        "gap": edges == "round" or gap == "wide",
    }
    return tuple(step for step in _STEPS if wanted.get(step, True))


def _job(wet, coat, edges, gap):
    """ "job" where there is something to do that a workshop sees, else None."""
    if coat == "grains" and wet != "dry":
        return None  # a wet plug is not blasted
    return "job" if len(_needs(wet, coat, edges, gap)) > 3 else None


_JOBS = by_answer({"wet": tuple(_WET), "coat": tuple(_COATED), "edges": tuple(_EDGES), "gap": tuple(_GAP_IS)}, _job)[
    "job"
]


def _of_job(v):
    return _needs(v.wet, v.coat, v.edges, v.gap)


def _bench(v):
    gap = _GAP_IS[v.gap].format(right=_inch(v.right_in), wide=_inch(v.right_in + v.more_in))
    return {"look": f"{_WET[v.wet]} {_COATED[v.coat]} {_EDGES[v.edges]} {gap}"}


SERVICE = Exercise(
    key="m04.service",
    version=2,
    marking=1,
    title="Service before judgement",
    text=(
        "A plug lies on the bench. {look} Put the steps from here to the verdict in order. Leave out every step that "
        "this plug does not need."
    ),
    draw={"which": MANY, "right_in": _RIGHT_GAP, "more_in": _WORN_MORE},
    fill=lambda parameters: dict(chosen(_JOBS, parameters["which"])),
    show=_bench,
    parts=(
        Order(
            key="order", prompt="Steps in order", marks=2, items=_STEPS, objectives=("P4",),
            answer=_of_job,
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
            because=lambda v: {
                "degrease": "There is no oil on it.",
                "dry": "It is dry.",
                "blast": "There are no deposits on the nose.",
                "blow": "No abrasive has been on it.",
                "file": "Its edges are sharp.",
                "gap": "Its gap is right, and no file has changed it.",
                **({("degrease", "dry"): "The solvent has to dry off."} if v.wet == "oil" else {}),
                ("test", "decide"): "The rule needs the reading.",
            } | dict.fromkeys(_of_job(v), "This plug needs it."),
        ),
    ),
    route=lambda v: tuple(f"{_STEPS[key]}." for key in _of_job(v)),
)  # fmt: skip

_BASE = MappingProxyType({"kv": 18.0, "gap_in": 0.035, "factor": 1.1, "air_c": 20.0, "shunt": 1.0, "altitude_m": 0.0})
_ROUND, _SHARP = breakdown.demand_factor(rounding=0.5), breakdown.demand_factor()
_SOOT, _DAMP = coil.shunt_factor(1.0), coil.shunt_factor(0.5)
# What changed between two tests: in words, how it was before and after where that differs from the usual, whether
# it lies in the plug. 5 thousandths, 15 degrees, 1500 m and 2 to 3 kV: sizes that a workshop sees, practice.
CAUSES = MappingProxyType({
    "wide": ("The plug's gap has grown by 0.010 in (0.25 mm).", {}, {"gap_in": 0.045}, True),
    "bent": ("Somebody bent the plug's side electrode outwards by 0.005 in (0.13 mm).", {}, {"gap_in": 0.040}, True),
    "round": ("The plug's electrode edges have been worn round.", {}, {"factor": _ROUND}, True),
    "soot": ("Damp soot has settled on the plug's insulator nose.", {}, {"shunt": _SOOT}, True),
    "damp": ("The outside of the plug's insulator has become wet.", {}, {"shunt": _DAMP}, True),
    "closed": ("A knock has closed the plug's gap by 0.005 in (0.13 mm).", {}, {"gap_in": 0.030}, True),
    "sharp": ("The plug's electrodes have been filed flat and sharp, and the gap was set as before.", {}, {"factor": _SHARP}, True),
    "clean": ("The soot on the plug's insulator nose has been cleaned off.", {"shunt": _SOOT}, {}, True),
    "dried": ("The plug's insulator was wet outside and has been wiped dry.", {"shunt": _DAMP}, {}, True),
    "weak": ("The tester's coil has become hot and gives less voltage.", {}, {"kv": 15.0}, False),
    "flat": ("The tester's battery has become nearly flat.", {}, {"kv": 16.0}, False),
    "lead": ("The tester's high-tension lead has begun to leak.", {}, {"shunt": _SOOT}, False),
    "cold": ("The shop and its compressed air have cooled from 20 to 5 °C (68 to 41 °F).", {}, {"air_c": 5.0}, False),
    "valley": ("The tester came from a shop 1500 m (4900 ft) high down to the coast.", {"altitude_m": 1500.0}, {}, False),
    "charged": ("The tester's battery was nearly flat and has been charged.", {"kv": 16.0}, {}, False),
    "warm": ("The shop and its compressed air have warmed from 5 to 20 °C (41 to 68 °F).", {"air_c": 5.0}, {}, False),
    "hill": ("The tester has been moved to a shop 1500 m (4900 ft) higher.", {}, {"altitude_m": 1500.0}, False),
    "paint": ("The paint on the plug's shell has been wiped off.", {}, {}, True),
    "thread": ("The plug's thread has been wiped clean.", {}, {}, True),
    "window": ("The window of the tester has been cleaned.", {}, {}, False),
})  # fmt: skip
# Six lines, each one of these: so every page has another mixture.
_LINES = (
    ("wide", "closed", "weak", "window"),
    ("round", "sharp", "cold", "hill"),
    ("soot", "clean", "charged", "valley"),
    ("bent", "warm", "thread", "flat"),
    ("damp", "dried", "lead", "paint"),
    ("round", "sharp", "weak", "hill"),
)
_LABELS = tuple("ABCDEF")


def reading_psig(kv: float, gap_in: float, factor: float, air_c: float, shunt: float, altitude_m: float) -> float:
    """Gauge reading of a plug on a tester, everything that matters counted in."""
    reach = breakdown.reach_cm(kv * shunt / factor)
    barometer = induction.standard_pressure_kpa(altitude_m) / KPA_PER_PSI
    return tester.gauge_psig(tester.firing_pressure_psia(reach, gap_in * MM_PER_INCH, air_c), barometer)


def moves(cause: str) -> int:
    """-1, 0 or 1: whether a cause makes the gauge reading lower, leaves it, or makes it higher."""
    _, before, after, _ = CAUSES[cause]
    change = reading_psig(**{**_BASE, **after}) - reading_psig(**{**_BASE, **before})
    return (change > 0) - (change < 0)


_MOVES = MappingProxyType({cause: moves(cause) for cause in CAUSES})


def _lines(parameters):
    """The six causes of a page in their order; a cause that stands there already gives way to the one after it."""
    page: list[str] = []
    for number, many in enumerate(_LINES):
        place = parameters[f"line_{number}"]
        page.append(next(c for c in (*many[place:], *many[:place]) if c not in page))
    turn = parameters["turn"]
    return {"lines": page[turn:] + page[:turn]}


def changes(v: SimpleNamespace, sign: int, in_plug: bool | None) -> tuple[str, ...]:
    """Labels of the lines that move the reading that way; in_plug tells where the cause lies, None anywhere."""
    return tuple(
        label
        for label, cause in zip(_LABELS, v.lines, strict=True)
        if _MOVES[cause] == sign and in_plug in (None, CAUSES[cause][3])
    )


_ASKED = MappingProxyType({
    "lower-plug": ("lower", " and lies in the plug itself", -1, True),
    "lower-outside": ("lower", " and does not lie in the plug", -1, False),
    "lower": ("lower", ", whether it lies in the plug or not", -1, None),
    "higher-plug": ("higher", " and lies in the plug itself", 1, True),
    "higher-outside": ("higher", " and does not lie in the plug", 1, False),
    "higher": ("higher", ", whether it lies in the plug or not", 1, None),
})  # fmt: skip
_MOVED = MappingProxyType({-1: "lower", 0: "as it was", 1: "higher"})


def _fits(v):
    return changes(v, *_ASKED[v.case][2:])


def _ticked(v, sign, in_plug):
    """What a slip ticks; None where it ticks nothing, or what is right."""
    ticked = changes(v, sign, in_plug)
    return ticked if ticked and ticked != _fits(v) else None


def _why_moved(v):
    return {
        label: f"It makes the reading {_MOVED[_MOVES[cause]]}; it lies {'in' if CAUSES[cause][3] else 'outside'} the plug."
        if _MOVES[cause]
        else "It leaves the reading as it was."
        for label, cause in zip(_LABELS, v.lines, strict=True)
    }


CHANGES = Exercise(
    key="m04.changes",
    version=2,
    marking=1,
    title="What moved the reading?",
    text=(
        "A used plug is tested twice, and the second gauge reading is {way} than the first. Each line, taken "
        "by itself, is one change between the two tests, all else equal.{page}Tick every change that makes the reading {way}{where}. Tick "
        "“none of these” if there is none."
    ),
    draw={"case": Pick(tuple(_ASKED)), **{f"line_{n}": Steps(0, 3) for n in range(6)}, "turn": Steps(0, 5)},
    fill=_lines,
    show=lambda v: {
        "way": _ASKED[v.case][0], "where": _ASKED[v.case][1],
        "page": listing.lines(f"{label}: {CAUSES[cause][0]}" for label, cause in zip(_LABELS, v.lines, strict=True)),
    },
    parts=(
        Choices(
            key="which",
            prompt="Changes that fit",
            marks=2,
            objectives=("P4", "P6"),
            order="fixed",
            options=MappingProxyType({label: f"Line {label}" for label in _LABELS}),
            answer=_fits,
            because=_why_moved,
            slips=(
                Slip(
                    "other-way",
                    "You ticked the changes that move the reading the other way. Thin or warm gas and narrow, sharp gaps "
                    "let the plug fire up to a higher reading.",
                    lambda v: _ticked(v, -_ASKED[v.case][2], _ASKED[v.case][3]),
                ),
                Slip(
                    "wrong-place",
                    "You ticked the right direction but the wrong place: ask of each line whether the plug itself changed.",
                    lambda v: None if _ASKED[v.case][3] is None else _ticked(v, _ASKED[v.case][2], not _ASKED[v.case][3]),
                ),
            ),
        ),
    ),
    route=lambda v: (
        f"Wanted: every change that makes the reading {_ASKED[v.case][0]}{_ASKED[v.case][1]}.",
        *(f"{label}: {why}" for label, why in _why_moved(v).items()),
    ),
)  # fmt: skip

# What can be wrong with a colleague's sheet: line, and in which way.
_WRONG = MappingProxyType({
    "1": ("used-wide", "new-wide", "other-day", "other-type", "filed-last", "unset"),
    "2": ("ten-more", "ten-less"),
    "3": ("by-used", "share-left", "by-hundred"),
    "4": ("absolute", "thirty-off", "of-used"),
    "5": ("turned", "per-cent"),
})  # fmt: skip
_FAR_FROM_100 = ("by-hundred", "thirty-off")  # beside 100 psi these give what is right


def _sheet_figures(parameters):
    form = chosen(_WRONG[parameters["wrong"]], parameters["which"])
    new = parameters["base_psig"]
    if form in _FAR_FROM_100 and abs(new - 100) < 14:
        new += 28 if new >= 100 else -14
    side = 1 if form == "per-cent" else parameters["side"]  # below the limit it would end right by chance
    return {"form": form, "new_psig": new, "used_psig": round(tester.KEEP_SHARE * new) + side * parameters["off_psi"]}


def _first_line(v):
    gap, other = _inch(v.gap_in), _inch(v.gap_in + 0.006)
    return {
        "used-wide": f"New plug at {gap}, used plug at {other}, one type, one tester, one hour.",
        "new-wide": f"New plug at {other}, used plug at {gap}, one type, one tester, one hour.",
        "other-day": f"Both plugs of one type and at {gap}; new plug tested on Monday, used plug on Friday.",
        "other-type": f"Both plugs at {gap}, one tester, one hour; the new plug is of the next longer type.",
        "filed-last": f"One type, one tester, one hour; the used plug was gapped to {gap} as the new one, then filed.",
        "unset": f"One type, one tester, one hour; used plug gapped to {gap}, new plug as it came out of the box.",
    }.get(v.form, f"New plug and used plug filed and gapped, both at {gap}, one type, one tester, one hour.")


def _sheet(v):
    """The five lines of a colleague's sheet, one of them wrong; each can be checked for itself."""
    lower = v.new_psig - v.used_psig
    said = lower + {"ten-more": 10, "ten-less": -10}.get(v.form, 0)
    share = {
        "by-used": f"{lower} ÷ {v.used_psig} = {100 * lower / v.used_psig:.0f} per cent below.",
        "share-left": f"{v.used_psig} ÷ {v.new_psig} = {100 * v.used_psig / v.new_psig:.0f} per cent below.",
        "by-hundred": f"{lower} ÷ 100 = {lower} per cent below.",
    }.get(v.form, f"{lower} ÷ {v.new_psig} = {100 * lower / v.new_psig:.0f} per cent below.")
    limit, reckoned = {
        "absolute": (0.7 * (v.new_psig + 14.7), f"0.70 × ({v.new_psig} + 14.7)"),
        "thirty-off": (v.new_psig - 30, f"{v.new_psig} − 30"),
        "of-used": (0.7 * v.used_psig, f"0.70 × {v.used_psig}"),
    }.get(v.form, (0.7 * v.new_psig, f"0.70 × {v.new_psig}"))
    keeps = v.used_psig >= limit
    verdict = {
        "per-cent": f"{100 * lower / v.new_psig:.0f} per cent is less than 70 per cent, so reject.",
        "turned": f"{v.used_psig} psi is {'not below' if keeps else 'below'} {limit:.0f} psi, so {'reject' if keeps else 'keep'}.",
    }.get(
        v.form,
        f"{v.used_psig} psi is {'not below' if keeps else 'below'} {limit:.0f} psi, so {'keep' if keeps else 'reject'}.",
    )
    return (
        f"(1) {_first_line(v)}",
        f"(2) New {both(v.new_psig)}, used {both(v.used_psig)}, difference {said} psi.",
        f"(3) {share}",
        f"(4) Lowest reading to keep: {reckoned} = {limit:.0f} psi.",
        f"(5) {verdict}",
    )


_WRONG_BECAUSE = MappingProxyType({
    "used-wide": "the two gaps differ. The wider one lowers the used plug's reading by itself.",
    "new-wide": "the two gaps differ. The wider one lowers the new plug's reading by itself.",
    "other-day": "a tester changes from day to day. Test both plugs within one hour.",
    "other-type": "the measure is a new plug of the same type.",
    "filed-last": "filing widens the gap. File first, then set the gap.",
    "unset": "nobody measured the new plug's gap. Both are set to the same.",
    "ten-more": "the difference is miscounted.", "ten-less": "the difference is miscounted.",
    "by-used": "it divides by the used plug. The new plug is the measure.",
    "share-left": "that is the share that is left. Asked is how far it lies below.",
    "by-hundred": "it divides by 100. The new plug's reading is the measure.",
    "absolute": "it adds 14.7 psi. The rule means the gauge: 0.70 times the new plug's reading.",
    "thirty-off": "it takes 30 psi off. The rule takes 30 per cent off: 0.70 times the new plug's reading.",
    "of-used": "it takes the used plug's reading. The new plug is the measure.",
    "turned": "the decision contradicts the two figures before it.",
    "per-cent": "it compares how far the plug lies below with the share that must be left. Compare the readings in psi.",
})  # fmt: skip

FIND_ERROR = Exercise(
    key="m04.find_error",
    version=2,
    marking=1,
    title="Find the error",
    text="A colleague's test sheet, all pressures on the gauge. One line is wrong.{sheet}Which one?",
    draw={"wrong": Pick(tuple(_WRONG)), "which": MANY, "base_psig": Steps(88, 118), "side": Pick((-1, 1)),
          "off_psi": Steps(12, 16), "gap_in": _RIGHT_GAP},
    fill=_sheet_figures,
    show=lambda v: {"sheet": listing.lines(_sheet(v))},
    parts=(
        Choice(
            key="line", prompt="The wrong line", marks=1, objectives=("P2", "P1"), order="fixed",
            options=MappingProxyType({str(line): f"Line {line}" for line in range(1, 6)}),
            signs=MappingProxyType({
                "1": "That line is right: both plugs are of one type, at one gap, on one tester, in one hour.",
                "2": "That line is right: take the used plug's reading from the new one's and compare.",
                "3": "That line is right: the new plug is the measure, so you divide by its reading.",
                "4": "That line is right: the rule is 0.70 times the new plug's reading on the gauge.",
                "5": "That line is right: it decides as the two figures in it say.",
            }),
            answer=lambda v: v.wrong,
        ),
    ),
    route=lambda v: (f"Line {v.wrong}: {_WRONG_BECAUSE[v.form]}",),
)  # fmt: skip
