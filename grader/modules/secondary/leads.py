"""Exercises on leads: limits by length, a set on the bench, what resistance and a break cost."""

from functools import cache
from typing import Any

from grader.exercise import listing
from grader.exercise.model import Absolute, Exercise, Line, Number, Percent, Slip
from grader.exercise.sorting import EITHER, KEEP, REJECT, Batch
from grader.exercise.spread import Pick, Steps
from grader.modules.situations import page_with_an_error
from grader.reference.spark import breakdown, cables, insulation
from grader.units import MM_PER_IN, grouped

_NEAR = 0.05  # an ohmmeter and the ends of a lead together are sure to 5 per cent (practice)


def inches(length_mm: float) -> str:
    """A length in inches to a tenth, for a text in which mm come first."""
    return f"{length_mm / MM_PER_IN:.1f} in"


def _limit(v, length_mm: float) -> float:
    return float(cables.per_foot_limit_kohm(length_mm, v.per_foot))


LIMITS = Exercise(
    key="m05.limits",
    version=1,
    marking=1,
    title="From which resistance on is this lead renewed?",
    text=(
        "The manual of a vehicle allows its suppression leads at most {per_foot:g} kΩ for each foot (304.8 mm) of length, "
        "and no lead more than 30 kΩ. A lead is {length_mm} mm ({length_in}) long. You measure it off the engine, and you "
        "flex it. From which resistance on do you renew it?"
    ),
    # Leads of 200 mm (a four) to 900 mm (the coil lead of a lorry); limits of 7 to 12 kilohm a foot are printed on
    # workshop pages (published).
    draw={"length_mm": Steps(200, 900, 25), "per_foot": Pick((7, 8, 9, 10, 12))},
    show=lambda v: {"length_in": inches(v.length_mm)},
    parts=(
        Number(
            key="renew", prompt="Renewed above", unit="kΩ", also=("Ω",), marks=1, step=0.1,
            answer=lambda v: _limit(v, v.length_mm),
            within=Absolute(0.5, "an ohmmeter on its 20 or 50 kilohm range"), possible=(0.5, 2000.0), objectives=("S1",),
            slips=(
                Slip("inch-for-foot",
                     "You multiplied by the length in inches. The limit is for each foot: divide the inches by 12 first.",
                     lambda v: v.per_foot * v.length_mm / MM_PER_IN),
                Slip("metre-for-foot",
                     "You multiplied by the length in metres. The limit is for each foot, and a foot is 0.3048 m.",
                     lambda v: v.per_foot * v.length_mm / 1000),
                Slip("most-forgotten",
                     "You forgot the second limit. No lead may have more than 30 kΩ, however long it is.",
                     lambda v: v.per_foot * v.length_mm / cables.FOOT_MM if _limit(v, v.length_mm) == 30 else None),
            ),
        ),
    ),
    route=lambda v: (
        f"Length in feet: {v.length_mm} ÷ 304.8 = {v.length_mm / cables.FOOT_MM:.3f} feet.",
        f"Limit by length: {v.length_mm / cables.FOOT_MM:.3f} × {v.per_foot:g} = "
        f"{v.length_mm / cables.FOOT_MM * v.per_foot:.1f} kΩ.",
        f"At most 30 kΩ for any lead: so the limit is {_limit(v, v.length_mm):.1f} kΩ.",
    ),
)  # fmt: skip

_LABELS = tuple("ABCDEFGH")
_OPEN = "open"
# What the eight leads of a set are: two sound when straight and open when flexed, one over its own limit; more sound
# than bad, so that throwing all away earns nothing.
_KINDS = ("flexed", "flexed", "over", "good", "good", "good", "good", "near")


@cache
def _row(length_mm):
    """Least and most of the sheet's row for a length, and the resistance from which it is renewed."""
    return tuple(float(kohm) for kohm in cables.lead_limits_kohm(length_mm))


def _eight_leads(parameters):
    """Length, ohms lying straight and ohms flexed of eight leads."""
    turn, leads = parameters["turn"], []
    for place, label in enumerate(_LABELS):
        kind = _KINDS[(place * parameters["stride"] + turn) % 8]
        length, within = parameters[f"length_{label}"], parameters[f"within_{label}"] / 20
        least, most, renew = _row(length)
        if kind == "over":  # over its own limit, and most of them below the 30 kilohm of the longest
            straight = renew * (1.12 + 0.35 * within)
        elif kind == "near":
            straight = renew * (0.97 + 0.05 * within)
        else:
            straight = least * 1.1 + (most * 0.92 - least * 1.1) * within
        straight = round(straight, 1)
        flexed = _OPEN if kind == "flexed" else round(straight * (0.98 + 0.04 * within), 1)
        leads.append([label, length, straight, flexed])
    return {"leads": leads}


def _over(length_mm, kohm):
    """How far a reading lies over the renewal limit, as a share of it; below nothing inside."""
    renew = _row(length_mm)[2]
    return kohm / renew - 1.0


def sorted_leads(v: Any) -> tuple[str, ...]:
    """Keep, reject or either way for each lead of the set."""
    verdicts = []
    for _, length, straight, flexed in v.leads:
        if flexed == _OPEN:
            verdicts.append(REJECT)
            continue
        worst = _over(length, max(straight, flexed))
        least, most, _ = _row(length)
        sound = least <= max(straight, flexed) <= most
        verdicts.append(EITHER if abs(worst) <= _NEAR else REJECT if worst > 0 else KEEP if sound else EITHER)
    return tuple(verdicts)


def _why_lead(v):
    reasons = {}
    for label, length, straight, flexed in v.leads:
        least, most, renew = _row(length)
        if flexed == _OPEN:
            reasons[label] = f"Its core is broken: {straight:g} kΩ lying straight, open when flexed."
        elif abs(_over(length, max(straight, flexed))) <= _NEAR:
            reasons[label] = (
                f"{straight:g} kΩ lies within 5 per cent of its limit of {renew:.1f} kΩ: clean the ends, measure again."
            )
        elif _over(length, max(straight, flexed)) > 0:
            reasons[label] = f"{straight:g} kΩ is over the {renew:.1f} kΩ at which a lead of {length} mm is renewed."
        else:
            reasons[label] = f"{straight:g} kΩ lies in its row, {least:g} to {most:g} kΩ, and stays there when flexed."
    return reasons


def _led(v, keeps):
    """Sorted by a rule of one lead; None if that spoils nothing."""
    led = tuple(KEEP if keeps(length, straight, flexed) else REJECT for _, length, straight, flexed in v.leads)
    spoilt = any(right not in (EITHER, own) for right, own in zip(sorted_leads(v), led, strict=True))
    return led if spoilt else None


LEAD_BATCH = Exercise(
    key="m05.lead_batch",
    version=1,
    marking=1,
    title="Eight leads on the bench",
    text=(
        "Eight suppression leads lie on the bench, their ends clean. The workshop's sheet: up to 381 mm (15 in) 3 to 10 kΩ; "
        "up to 635 mm (25 in) 4 to 15 kΩ; up to 889 mm (35 in) 6 to 20 kΩ; longer ones 6 to 25 kΩ. Renew a lead above 12 kΩ "
        "for each foot (304.8 mm), and above 30 kΩ in any case. Keep a lead that lies inside its row. You measured each lead "
        "lying straight, then while you flexed it:{list}Keep, reject, or leave undecided what lies within 5 per cent "
        "of its limit."
    ),
    # Leads of 250 to 1000 mm; 4 to 45 kilohm (practice); the rows are those of a workshop page (published).
    draw={
        "turn": Steps(0, 7), "stride": Pick((1, 3, 5, 7)),
        **{f"length_{label}": Steps(250, 1000, 25) for label in _LABELS},
        **{f"within_{label}": Steps(0, 20) for label in _LABELS},
    },
    fill=_eight_leads,
    show=lambda v: {
        "list": listing.lines(
            f"{label}: {length} mm ({inches(length)}), straight {straight:g} kΩ, flexed "
            + (flexed if flexed == _OPEN else f"{flexed:g} kΩ")
            for label, length, straight, flexed in v.leads
        )
    },
    parts=(
        Batch(
            key="sorted", prompt="Your decision for each lead", marks=2, objectives=("S1", "S2"),
            items=lambda v: tuple(lead[0] for lead in v.leads),
            answer=sorted_leads,
            because=_why_lead,
            slips=(
                Slip("straight-reading",
                     "You judged by the straight reading. A broken core touches when the lead lies still: flex it.",
                     lambda v: _led(v, lambda length, straight, flexed: _over(length, straight) <= 0)),
                Slip("thirty-for-all",
                     "You took 30 kΩ for every lead. That is for long ones: a short lead has a lower limit of its own.",
                     lambda v: _led(v, lambda length, straight, flexed: flexed != _OPEN and straight <= 30)),
            ),
        ),
    ),
    route=lambda v: tuple(
        f"{label}: {_why_lead(v)[label]} So {'test it again' if decision == EITHER else decision}."
        for (label, *_), decision in zip(v.leads, sorted_leads(v), strict=True)
    ),
)  # fmt: skip


def _before(v):
    return float(cables.lead_cost_v(v.lead_kohm, v.firing_kv, v.rise_us, spark_ma=v.spark_ma)[0])


def _during(v):
    return float(cables.lead_cost_v(v.lead_kohm, v.firing_kv, v.rise_us, spark_ma=v.spark_ma)[1])


_COST = Percent(3, "three factors, each to two figures")

LEAD_COST = Exercise(
    key="m05.lead_cost",
    version=1,
    marking=1,
    title="What resistance costs",
    text=(
        "A sound lead has {lead_kohm:g} kΩ. Behind it lie 30 pF of lead and plug. The voltage rises to {firing_kv:g} kV in "
        "{rise_us} µs, then the plug fires. After that {spark_ma} mA flow through the spark. How many volts does "
        "the resistance take while the voltage rises? How many while the spark burns?"
    ),
    # Leads of 4 to 20 kilohm; plugs fire at 10 to 18 kV under load; a coil's voltage rises in 40 to 80 microseconds and
    # its spark begins with 25 to 45 mA (practice).
    draw={
        "lead_kohm": Steps(4, 20), "firing_kv": Steps(10, 18), "rise_us": Steps(40, 80, 5), "spark_ma": Steps(25, 45),
    },
    parts=(
        Number(
            key="before", prompt="Taken while the voltage rises", unit="V", also=("kV",), marks=1, step=1, answer=_before,
            within=_COST, possible=(1.0, 5000.0), objectives=("S2",),
            slips=(
                Slip("exchanged", "That is what it takes while the spark burns. Before the spark only 30 pF are charged.", _during),
                Slip("whole-voltage",
                     "You took the spark's current for the charging current. Charging: 30 pF × kV ÷ µs gives mA.",
                     lambda v: v.firing_kv * v.spark_ma * v.lead_kohm / 30),
            ),
        ),
        Number(
            key="during", prompt="Taken while the spark burns", unit="V", also=("kV",), marks=1, step=1, answer=_during,
            within=_COST, possible=(1.0, 200000.0), objectives=("S2",),
            slips=(
                Slip("primary-current",
                     "You used the 4 A of the points. They flow in the primary; through the lead flow only mA.",
                     lambda v: 4000.0 * v.lead_kohm),
                Slip("exchanged", "That is what it takes while the voltage rises. Now the spark's own mA flow.", _before),
            ),
        ),
    ),
    route=lambda v: (
        f"Charging current: 30 pF × {v.firing_kv:g} kV ÷ {v.rise_us} = {30 * v.firing_kv / v.rise_us:.2f} mA.",
        Line(f"While it rises: {30 * v.firing_kv / v.rise_us:.2f} mA × {v.lead_kohm:g} kΩ = {_before(v):.0f} V.", "before"),
        Line(f"While it burns: {v.spark_ma} mA × {v.lead_kohm:g} kΩ = {_during(v):.0f} V.", "during"),
        f"Of {grouped(1000 * v.firing_kv)} V the first is next to nothing; the second shortens the spark.",
    ),
)  # fmt: skip


def gap_kv(gap_mm: float, share: float = insulation.SERIES_SHARE) -> float:
    """Voltage that a gap in the lead's way takes, by the lesson's law."""
    return share * float(breakdown.uniform_voltage_kv(gap_mm))


def rotor_kv(rotor_mm: float) -> float:
    """Voltage that a rotor gap in order takes: 1 kV at 0.5 mm to 3 kV at 1.0 mm."""
    return float(cables.rotor_gap_kv(rotor_mm))


AIR_IN_WAY = Exercise(
    key="m05.air_in_way",
    version=1,
    marking=1,
    title="Air where no air should be",
    text=(
        "The gap between rotor and cap is {rotor_mm:g} mm ({rotor_in} in). A gap of 0.5 mm there takes 1 kV, one of 1.0 mm "
        "takes 3 kV, and between them it goes evenly. The core of a plug's lead has broken, and its ends stand "
        "{break_mm:g} mm ({break_in} in) apart. The lesson's law for such a gap, x in cm: 0.69 × (24.22 × x + 6.08 × √x) kV. "
        "How many kV do rotor gap and break take together?"
    ),
    # A rotor in order stands 0.6 to 1.0 mm off; a broken core opens by 0.5 to 5 mm (practice).
    draw={"rotor_mm": Steps(60, 100, 5, scale=100), "break_mm": Steps(5, 50, scale=10)},
    show=lambda v: {"rotor_in": f"{v.rotor_mm / MM_PER_IN:.3f}", "break_in": f"{v.break_mm / MM_PER_IN:.3f}"},
    parts=(
        Number(
            key="taken", prompt="Taken together", unit="kV", also=("V",), marks=1, step=0.1,
            answer=lambda v: rotor_kv(v.rotor_mm) + gap_kv(v.break_mm),
            within=Percent(3, "two laws, each worked to three figures"), possible=(0.5, 500.0), objectives=("S2", "S7"),
            slips=(
                Slip("share-forgotten",
                     "You left out the 0.69. Sharp ends that spark need less than flat, cold ones.",
                     lambda v: rotor_kv(v.rotor_mm) + gap_kv(v.break_mm, 1.0)),
                Slip("mm-for-cm",
                     "You put mm into the law. It wants cm: divide by 10 first.",
                     lambda v: rotor_kv(v.rotor_mm) + insulation.SERIES_SHARE
                     * (breakdown.LINEAR * v.break_mm + breakdown.ROOT * v.break_mm**0.5)),
                Slip("rotor-forgotten",
                     "That is the break alone. The rotor gap lies in the same way, and it takes its part too.",
                     lambda v: gap_kv(v.break_mm)),
            ),
        ),
    ),
    route=lambda v: (
        f"Rotor gap: 1 + 2 × ({v.rotor_mm:g} − 0.5) ÷ 0.5 = {rotor_kv(v.rotor_mm):.1f} kV.",
        f"Break: {v.break_mm:g} mm are {v.break_mm / 10:.2f} cm. 0.69 × (24.22 × {v.break_mm / 10:.2f} + "
        f"6.08 × √{v.break_mm / 10:.2f}) = {gap_kv(v.break_mm):.2f} kV.",
        f"Together: {rotor_kv(v.rotor_mm):.2f} + {gap_kv(v.break_mm):.2f} = {rotor_kv(v.rotor_mm) + gap_kv(v.break_mm):.2f} kV.",
    ),
)  # fmt: skip

FIND_ERROR = page_with_an_error(
    key="m05.find_error",
    version=1,
    text="An apprentice has written down what he knows about leads. One line is wrong.{page}Which one?",
    marks=1,
    objectives=("S1", "S2"),
    topics={
        "limit": {
            "foot": (
                "A lead 36 in (914 mm) long, limit 10 kΩ a foot: renew it above 30 kΩ.",
                "A lead 36 in (914 mm) long, limit 10 kΩ a foot: renew it above 360 kΩ.",
                "A lead 36 in (914 mm) long, limit 10 kΩ a foot: renew it above 10 kΩ.",
                "36 inches are 3 feet, and 3 × 10 makes 30 kΩ.",
            ),
            "short": (
                "A short lead has a lower limit than a long one.",
                "A short lead may have as much resistance as a long one.",
                "A short lead may have more resistance than a long one.",
                "The limit goes by the length: the longer the lead, the more it may have.",
            ),
            "manual": (
                "Sheets and pages print different limits; the manual of the vehicle decides.",
                "One limit is printed everywhere, so no manual is needed.",
                "Where two pages print different limits, take the higher one.",
                "Pages print 7, 10 and 12 kΩ a foot, so the vehicle's manual decides.",
            ),
            "old-page": (
                "One page allows 5000 Ω for each inch; where the manual says less, the manual counts.",
                "One page allows 5000 Ω for each inch, so every lead may have that.",
                "One page allows 5000 Ω for each inch; that is 5000 Ω for the whole lead.",
                "Pages differ, and the manual of the vehicle counts.",
            ),
        },
        "measuring": {
            "flex": (
                "Flex the lead while you measure: a broken core may touch when it lies straight.",
                "Keep the lead still and straight while you measure, or the reading is false.",
                "Stretch the lead hard while you measure: a good core stands that.",
                "A broken core can touch when the lead lies still, and it opens when the lead is bent.",
            ),
            "off": (
                "Take the lead off at both ends, engine stopped and key off, before you measure.",
                "Measure the lead in its place with the engine idling.",
                "Measure the lead in its place with the key on.",
                "An ohmmeter has its own battery, and a live lead hurts you and the meter.",
            ),
            "pull": (
                "Pull a lead off by its boot and twist it: never pull on the lead itself.",
                "Pull a lead off by the lead itself, far from the boot.",
                "Pull a lead off with pliers on the lead, close to the boot.",
                "Pulling on the lead tears the core out of its end.",
            ),
        },
        "before": {
            "little": (
                "Before the spark, 10 kΩ take about 100 V of 20 kV: next to nothing.",
                "Before the spark, 10 kΩ take about half of the 20 kV.",
                "Before the spark, 10 kΩ take 40 kV, so no spark is left.",
                "Only a few milliamperes charge lead and plug before the spark.",
            ),
            "break": (
                "A break of 2 mm in the core takes about 5 kV: the spark must jump it too.",
                "A break of 2 mm in the core takes nothing: high voltage jumps it freely.",
                "A break of 2 mm in the core takes about 100 V, like a resistance.",
                "A break is a gap of air, and each gap of air takes kilovolts.",
            ),
            "weak": (
                "A broken core shows first under load, where the plug asks for most.",
                "A broken core shows first at idle, where the plug asks for most.",
                "A broken core shows only on the radio; the engine never misses for it.",
                "Under load the plug asks for most, and the break takes its share as well.",
            ),
        },
        "during": {
            "shorter": (
                "While the spark burns, 10 kΩ take about 350 V, and the spark is shorter.",
                "While the spark burns, 10 kΩ take 350 V, and the spark is longer for it.",
                "While the spark burns, 10 kΩ take nothing at all.",
                "Some 35 mA flow through the lead then, and 35 × 10 makes 350 V.",
            ),
            "current": (
                "Through the lead flow some tens of milliamperes; the 4 A flow in the primary.",
                "Through the lead flow the same 4 A as through the points.",
                "Through the lead flow some 40 A while the spark burns.",
                "The coil turns few volts and many amperes into many volts and few milliamperes.",
            ),
            "burning": (
                "A burning spark needs some 1500 V; the lead's share comes on top of it.",
                "A burning spark needs as many kilovolts as it took to begin it.",
                "A burning spark needs no voltage; the lead's share is all there is.",
                "Once the gas conducts, far less voltage keeps the spark alive.",
            ),
        },
        "why": {
            "radio": (
                "Suppression leads are fitted against radio noise and slow the wear of the electrodes.",
                "Suppression leads are fitted to make the spark stronger.",
                "Suppression leads are fitted to save the points from burning.",
                "Their resistance takes up surplus energy: less noise, slower wear.",
            ),
            "routing": (
                "Suppression leads still cross-fire when they lie side by side.",
                "Suppression leads cannot cross-fire, so they may be taped together.",
                "Suppression leads cross-fire more easily than metal ones, so they lie in no bracket.",
                "The voltage crosses before the spark, and resistance does not stop that.",
            ),
            "whole-set": (
                "One lead over its limit is renewed; the sound ones stay, each in its bracket.",
                "One lead over its limit: the whole set must be renewed at once.",
                "One lead over its limit may stay while the others are sound.",
                "Each lead is judged by its own length and its own ohms.",
            ),
        },
    },
)
