"""Plug testing: pressures on the gauge, absolute and in the engine."""

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from types import MappingProxyType

from grader.exercise.kinds import PlotReading
from grader.exercise.model import Absolute, Choice, Exercise, Line, Number, Percent, Slip
from grader.exercise.spread import Pick, Steps
from grader.modules.situations import MANY, chosen
from grader.reference.spark import breakdown, tester
from grader.reference.timing import induction
from grader.units import grouped

KPA_PER_PSI = 6.894757
KPA_PER_INHG = 3.38638864
MM_PER_INCH = 25.4
# The chart of the tester panel, which an exercise is read from.
CHART_GAPS_IN = (0.025, 0.030, 0.035, 0.040, 0.045)
CHART_MOST_PSIA, CHART_MOST_KV = 180.0, 30.0
CHART_MINOR_KV, CHART_MINOR_PSIA, CHART_PSIA_PER_PIXEL = 0.5, 2.5, 0.36
GAUGE = Absolute(2, "two psi is what a tester's gauge can be read and trusted to")
POINTS = Absolute(0.5, "half a point of per cent from figures read to one psi")


def kpa(psi: float) -> str:
    """Whole kPa for a text in which psi comes first."""
    return f"{psi * KPA_PER_PSI:.0f}"


def both(psi: float) -> str:
    """A gauge reading in both systems."""
    return f"{psi:g} psi ({kpa(psi)} kPa)"


def percent_low(new: float, used: float) -> float:
    """By how many per cent a used plug fires below a new one."""
    return 100 * tester.pressure_drop(new, used)


def _used(parameters):
    limit = tester.KEEP_SHARE * parameters["new_psig"]
    return {"used_psig": round(limit) + parameters["side"] * parameters["off_psi"]}


DROP = Exercise(
    key="m04.drop",
    version=1,
    marking=1,
    title="How far below a new plug?",
    text=(
        "On one tester, on one day and at one gap, a new plug fires up to {new} on the gauge and a cleaned, filed and "
        "gapped used plug up to {used}. By how many per cent does the used plug fire below the new one, on the gauge? "
        "And what does the 30 per cent rule say?"
    ),
    # A new plug reads 80 to 130 psi on a tester, a used one 35 psi or more and never more than a new one (practice).
    draw={"new_psig": Steps(84, 126), "side": Pick((-1, 1)), "off_psi": Steps(6, 24)},
    fill=_used,
    show=lambda v: {"new": both(v.new_psig), "used": both(v.used_psig)},
    parts=(
        Number(
            key="drop", prompt="Below the new plug", unit="%", marks=2, step=0.1,
            answer=lambda v: percent_low(v.new_psig, v.used_psig),
            within=POINTS, possible=(0.0, 100.0), objectives=("P2",),
            slips=(
                Slip("of-used",
                     "You divided by the used plug's pressure. The new plug is the measure: divide by its pressure.",
                     lambda v: 100 * (v.new_psig - v.used_psig) / v.used_psig),
                Slip("share-left",
                     "That is the share the used plug still has. How far it lies below is 100 minus that share.",
                     lambda v: 100 - percent_low(v.new_psig, v.used_psig)),
                Slip("absolute",
                     "You worked with absolute pressures. The rule is stated on the gauge: take both readings as they are.",
                     lambda v: percent_low(tester.absolute_psia(v.new_psig), tester.absolute_psia(v.used_psig))),
            ),
        ),
        Choice(
            key="decision", prompt="By the rule", marks=1, objectives=("P2", "P3"),
            options=MappingProxyType({
                "keep": "Keep it: it fires no more than 30 per cent below the new plug.",
                "reject": "Reject it: it fires more than 30 per cent below the new plug.",
            }),
            signs=MappingProxyType({
                "keep": "You keep a plug that fires no more than 30 per cent below: compare your figure with that.",
                "reject": "You reject only a plug that fires more than 30 per cent below: compare your figure with that.",
            }),
            answer=lambda v, drop: "keep" if drop <= 100 * (1 - tester.KEEP_SHARE) else "reject",
            uses=("m04.drop.drop",),
        ),
    ),
    route=lambda v: (
        f"Difference: {v.new_psig} − {v.used_psig} = {v.new_psig - v.used_psig} psi.",
        Line(
            f"Of the new plug's {v.new_psig} psi that is {v.new_psig - v.used_psig} ÷ {v.new_psig} "
            f"= {percent_low(v.new_psig, v.used_psig):.1f} per cent.",
            "drop",
        ),
        Line(
            f"The limit is 0.70 × {v.new_psig} = {tester.KEEP_SHARE * v.new_psig:.1f} psi; the used plug gave {v.used_psig}.",
            "decision",
        ),
    ),
)  # fmt: skip


def _fired(kv, gap_in):
    """What a tester of that voltage shows on its gauge at a gap of a plug with sharp edges."""
    return tester.gauge_psig(tester.firing_pressure_psia(breakdown.reach_cm(kv), gap_in * MM_PER_INCH))


def _as_it_came(parameters):
    """What a tester of the drawn voltage shows at the gap with which the plug came in."""
    return {"psig": round(_fired(parameters["kv"], parameters["gap_in"]))}


def _near(readings: Mapping[tuple, float], reading: float) -> tuple:
    """Situations that lead to a reading, to one psi; the two nearest where there is none."""
    by_distance = sorted(readings, key=lambda situation: abs(readings[situation] - reading))
    near = tuple(situation for situation in by_distance if abs(readings[situation] - reading) <= 1)
    return near or tuple(by_distance[:2])


def _regapped(v):
    reach = tester.reach_of_pressure_cm(tester.absolute_psia(v.psig), v.gap_in * MM_PER_INCH)
    return tester.gauge_psig(tester.firing_pressure_psia(reach, v.set_in * MM_PER_INCH))


def _printed_psia(v):
    """Absolute pressure after gapping to the tenth that is printed, so that the sums of the routes come out."""
    return round(tester.absolute_psia(_regapped(v)), 1)


# Gaps of 0.036 to 0.048 in come back from 10 000 miles and more and are set to 0.025 to 0.032 in; a tester gives 14 to
# 20 kV, and its gauge is read from 35 to 130 psi (practice).
REGAPS = MappingProxyType({
    (gap / 1000, right / 1000, kv / 4): _fired(kv / 4, right / 1000)
    for gap in range(36, 49)
    for right in range(25, 33)
    for kv in range(56, 81)
})  # fmt: skip


@cache
def _regaps_near(after: int) -> tuple:
    """Plugs and testers that lead to about that reading; more, where there are few."""
    return _near(REGAPS, after)


def _brought_in(parameters):
    """A plug and a tester for the drawn reading after gapping, so that no one reading is right for many."""
    gap_in, set_in, kv = chosen(_regaps_near(parameters["after"]), parameters["among"])
    return {"gap_in": gap_in, "set_in": set_in, "kv": kv, "psig": round(_fired(kv, gap_in))}


REGAP = Exercise(
    key="m04.regap",
    version=3,
    marking=1,
    title="The same plug after gapping",
    text=(
        "A plug with sharp, clean electrodes came in with its gap at {gap_in:.3f} in ({gap_mm} mm). The tester, at sea "
        "level, fired it up to {reading} on the gauge. You bend the side electrode until the gap is {set_in:.3f} in "
        "({set_mm} mm). Up to which gauge reading should the same tester fire it now?"
    ),
    draw={"after": Steps(57, 127), "among": MANY},
    fill=_brought_in,
    show=lambda v: {"gap_mm": f"{v.gap_in * MM_PER_INCH:.2f}", "set_mm": f"{v.set_in * MM_PER_INCH:.2f}",
                    "reading": both(v.psig)},
    parts=(
        Number(
            key="pressure", prompt="Gauge reading after gapping", unit="psi gauge", also=("kPa gauge", "bar gauge"),
            marks=2, step=0.5, answer=_regapped, within=GAUGE, possible=(0.0, 400.0), objectives=("P1", "P7"),
            slips=(
                Slip("gauge-for-absolute",
                     "You multiplied the gauge reading. Gap times absolute pressure stays the same: add 14.7 psi first, take it off after.",
                     lambda v: v.psig * v.gap_in / v.set_in, share=0.5),
                Slip("upside-down",
                     "You turned the ratio over. A narrower gap fires up to a higher pressure.",
                     lambda v: tester.absolute_psia(v.psig) * v.set_in / v.gap_in - tester.ATMOSPHERE_PSIA),
                Slip("left-absolute",
                     "That is the absolute pressure. The gauge shows 14.7 psi less.",
                     lambda v: tester.absolute_psia(_regapped(v)), share=0.5),
            ),
        ),
    ),
    route=lambda v: (
        f"Absolute: {v.psig} + 14.7 = {tester.absolute_psia(v.psig):.1f} psi.",
        f"Gap times absolute pressure stays the same: {tester.absolute_psia(v.psig):.1f} × {v.gap_in:.3f} ÷ {v.set_in:.3f} "
        f"= {_printed_psia(v):.1f} psi absolute.",
        f"On the gauge: {_printed_psia(v):.1f} − 14.7 = {_printed_psia(v) - 14.7:.1f} psi.",
    ),
)  # fmt: skip


def _same_density(psig, gas_c):
    cold = breakdown.relative_density(breakdown.STANDARD_PRESSURE_BAR, breakdown.STANDARD_TEMPERATURE_K)
    hot = breakdown.relative_density(breakdown.STANDARD_PRESSURE_BAR, gas_c + tester.ZERO_C)
    return tester.absolute_psia(psig) * cold / hot


HARSHER = Exercise(
    key="m04.harsher",
    version=3,
    marking=1,
    title="The tester's pressure in a hot engine",
    text=(
        "Take the gauge reading you found for the gapped plug. The tester's air is at 20 °C (68 °F). In the cylinder "
        "the charge is at {gas_c} °C ({gas_f} °F) when the spark is due. Which absolute pressure there is just as hard "
        "on the plug, that is, has the same density?"
    ),
    draw={"gas_c": Steps(200, 450, 5)},
    linked="m04.regap",
    show=lambda v: {"gas_f": f"{1.8 * v.gas_c + 32:.0f}"},
    parts=(
        Number(
            key="pressure", prompt="Pressure of equal density in the cylinder", unit="psi abs",
            also=("kPa abs", "bar abs"), marks=2, step=1, answer=lambda v, psig: _same_density(psig, v.gas_c),
            uses=("m04.regap.pressure",), within=Percent(2, "three-figure arithmetic with a carried reading"),
            possible=(0.0, 1500.0), objectives=("P7",),
            slips=(
                Slip("gauge-for-absolute",
                     "You warmed the gauge reading. Density goes with absolute pressure: add 14.7 psi first.",
                     lambda v, psig: _same_density(psig, v.gas_c) - tester.ATMOSPHERE_PSIA * (v.gas_c + 273.15) / 293.15),
                Slip("celsius",
                     "You took the ratio of the degrees as the thermometer shows them. Add 273 to both first.",
                     lambda v, psig: tester.absolute_psia(psig) * v.gas_c / 20),
                Slip("upside-down",
                     "You turned the ratio over. Hot gas is thin, so it takes more pressure for the same density.",
                     lambda v, psig: tester.absolute_psia(psig) ** 2 / _same_density(psig, v.gas_c)),
            ),
        ),
    ),
    route=lambda v: (
        Line(
            f"Absolute, cold: {_printed_psia(v) - 14.7:.1f} + 14.7 = {_printed_psia(v):.1f} psi at 293 K.",
            "m04.regap.pressure",
        ),
        Line(  # the absolute figure is the earlier answer with the barometer added
            f"{v.gas_c} °C is {v.gas_c + 273} K. Equal density: {_printed_psia(v):.1f} × "
            f"{v.gas_c + 273} ÷ 293 = {_same_density(_regapped(v), v.gas_c):.0f} psi absolute.",
            "pressure", "m04.regap.pressure",
        ),
        "So cold air at a modest gauge reading is as hard on a plug as a far higher pressure in the engine.",
    ),
)  # fmt: skip


def _barometer(parameters):
    return {"barometer_kpa": round(induction.standard_pressure_kpa(parameters["altitude_m"]), 1)}


def _barometer_psia(v):
    return v.barometer_kpa / KPA_PER_PSI


def _gauge_gain(v):
    there = tester.absolute_psia(v.psig, _barometer_psia(v))
    return tester.gauge_psig(there, _barometer_psia(v)) - tester.gauge_psig(there)


ABSOLUTE = Exercise(
    key="m04.absolute",
    version=1,
    marking=1,
    title="A workshop in the hills",
    text=(
        "A workshop lies {altitude_m} m ({altitude_ft} ft) up. Its barometer shows {barometer_kpa} kPa "
        "({barometer_inhg} inHg). A new plug fires up to {reading} on the tester's gauge. Which absolute pressure is that? "
        "And by how much does the gauge read higher here than at sea level, for the same plug?"
    ),
    # Workshops of high country, 3,300 to 11,200 ft, by the standard atmosphere; 50 to 115 psi on the gauge (practice).
    draw={"altitude_m": Steps(1000, 3400, 20), "psig": Steps(52, 112)},
    fill=_barometer,
    show=lambda v: {"altitude_ft": grouped(round(v.altitude_m / 0.3048, -2)), "reading": both(v.psig),
                    "barometer_inhg": f"{v.barometer_kpa / KPA_PER_INHG:.2f}"},
    parts=(
        Number(
            key="absolute", prompt="Absolute pressure in the tester", unit="psi abs", also=("kPa abs", "bar abs"),
            marks=1, step=0.1, answer=lambda v: tester.absolute_psia(v.psig, _barometer_psia(v)),
            within=Absolute(0.5, "a sum of two given figures"), possible=(0.0, 400.0), objectives=("P1", "P6"),
            slips=(
                Slip("sea-level",
                     "You added the sea-level 14.7 psi. Up there the air outside weighs less: use that day's barometer.",
                     lambda v: tester.absolute_psia(v.psig)),
                Slip("kpa-added",
                     "You added kPa to psi. Turn the barometer into psi first: 1 psi is 6.895 kPa.",
                     lambda v: v.psig + v.barometer_kpa),
                Slip("taken-off",
                     "You took the barometer away. The gauge counts from the air outside, so add it.",
                     lambda v: v.psig - _barometer_psia(v)),
            ),
        ),
        Number(
            key="gain", prompt="How much higher the gauge reads there than at sea level, same plug and tester (lower: minus)",
            unit="psi", also=("kPa",), marks=1, step=0.1, answer=_gauge_gain,
            within=Absolute(0.1, "a difference of two given figures"), possible=(-20.0, 20.0), objectives=("P6",),
            slips=(
                Slip("inches",
                     "That is the difference in inches of mercury. One inHg is 0.491 psi.",
                     lambda v: _gauge_gain(v) * KPA_PER_PSI / KPA_PER_INHG),
            ),
        ),
    ),
    route=lambda v: (
        f"The barometer in psi: {v.barometer_kpa} ÷ 6.895 = {_barometer_psia(v):.2f} psi.",
        Line(f"Absolute: {v.psig} + {_barometer_psia(v):.2f} = {v.psig + _barometer_psia(v):.1f} psi.", "absolute"),
        Line(
            f"At sea level 14.70 psi would come off, here only {_barometer_psia(v):.2f} psi: "
            f"the gauge reads {_gauge_gain(v):.1f} psi higher for the same plug.",
            "gain",
        ),
    ),
)  # fmt: skip


def _chart_psia(kv, gap_in):
    """Absolute pressure at which a voltage just fails, as the chart shows it."""
    return tester.firing_pressure_psia(breakdown.reach_cm(kv), gap_in * MM_PER_INCH)


# A tester gives 15 to 25 kV, rounded edges ask 10 to 30 per cent more, its gauge is read from 35 to 135 psi (practice).
CHART_SUPPLIES = MappingProxyType({
    (kv / 2, gap_in, factor): tester.gauge_psig(_chart_psia(kv / 2 / factor, gap_in))
    for kv in range(30, 51)
    for gap_in in CHART_GAPS_IN
    for factor in (1.1, 1.15, 1.25, 1.3)
})  # fmt: skip


@cache
def _supplies_near(reading: int) -> tuple:
    """Supplies and plugs that lead to about that reading; more, where there are few."""
    return _near(CHART_SUPPLIES, reading)


def _supply(parameters):
    """A tester and a plug for the drawn reading, so that no one reading is right for many."""
    kv, gap_in, factor = chosen(_supplies_near(parameters["reading"]), parameters["among"])
    return {"kv": kv, "gap_in": gap_in, "factor": factor}


CHART = Exercise(
    key="m04.chart",
    version=2,
    marking=1,
    title="Up to which reading will it fire?",
    text=(
        "A tester gives {kv:.1f} kV at sea level and 20 °C (68 °F). A plug with a gap of {gap_in:.3f} in ({gap_mm} mm) has "
        "rounded edges and wants {factor:.2f} times the voltage of a sharp one. First work out what the tester's "
        "voltage is worth against a sharp plug. Then use the chart above. At which gauge reading does the spark fail?"
    ),
    draw={"reading": Steps(35, 135), "among": MANY},
    fill=_supply,
    show=lambda v: {"gap_mm": f"{v.gap_in * MM_PER_INCH:.2f}"},
    parts=(
        PlotReading(
            key="pressure",
            prompt="Gauge reading at which the spark fails",
            unit="psi gauge",
            also=("kPa gauge", "bar gauge"),
            marks=2,
            step=1,
            minor=CHART_MINOR_PSIA,
            pixel=CHART_PSIA_PER_PIXEL,
            answer=lambda v: tester.gauge_psig(_chart_psia(v.kv / v.factor, v.gap_in)),
            reads=MappingProxyType({"kv": CHART_MINOR_KV / 2}),
            within=GAUGE,
            possible=(8.0, CHART_MOST_PSIA - tester.ATMOSPHERE_PSIA),
            objectives=("P1", "P7"),
            slips=(
                Slip(
                    "left-absolute",
                    "The chart's axis is absolute pressure. The gauge shows 14.7 psi less.",
                    lambda v: _chart_psia(v.kv / v.factor, v.gap_in),
                    share=0.5,
                ),
                Slip(
                    "edges-forgotten",
                    "You read the chart for sharp edges. Divide the tester's voltage by the factor of the rounded ones first.",
                    lambda v: tester.gauge_psig(_chart_psia(v.kv, v.gap_in)),
                ),
            ),
        ),
    ),
    route=lambda v: (
        f"Against a sharp plug the tester has {v.kv:.1f} ÷ {v.factor:.2f} = {v.kv / v.factor:.1f} kV.",
        f"At {v.kv / v.factor:.1f} kV the {v.gap_in:.3f} in curve stands at "
        f"{_chart_psia(v.kv / v.factor, v.gap_in):.0f} psi absolute.",
        f"On the gauge: {_chart_psia(v.kv / v.factor, v.gap_in):.0f} − 14.7 = "
        f"{round(_chart_psia(v.kv / v.factor, v.gap_in)) - 14.7:.0f} psi.",
    ),
)

# Issued before the draws were those of a workshop: up to 30 kV and 164 psi.
CHART_HIGH = replace(
    CHART,
    version=1,
    fill=None,
    draw={"kv": Steps(26, 60, scale=2), "gap_in": Pick(CHART_GAPS_IN), "factor": Pick((1.1, 1.15, 1.25, 1.3))},
)

# Issued when one reading was right for one trainee in eight.
REGAP_NARROW = replace(
    REGAP,
    version=2,
    fill=_as_it_came,
    draw={"gap_in": Steps(36, 48, scale=1000), "set_in": Steps(26, 31, scale=1000), "kv": Steps(150, 200, scale=10)},
)
HARSHER_NARROW = replace(HARSHER, version=2)
