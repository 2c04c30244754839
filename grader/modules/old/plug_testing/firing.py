"""REGAP and HARSHER in version 1: up to 168 psi, more than a tester of a workshop is asked for."""

from grader.exercise.model import Absolute, Exercise, Line, Number, Percent, Slip
from grader.exercise.spread import Steps
from grader.modules.plug_testing.firing import MM_PER_INCH, both
from grader.reference.spark import breakdown, tester

GAUGE = Absolute(2, "two psi is what a tester's gauge can be read and trusted to")


def _regapped(v):
    reach = tester.reach_of_pressure_cm(tester.absolute_psia(v.psig), v.gap_in * MM_PER_INCH)
    return tester.gauge_psig(tester.firing_pressure_psia(reach, v.set_in * MM_PER_INCH))


def _printed_psia(v):
    """Absolute pressure after gapping to the tenth that is printed, so that the sums of the routes come out."""
    return round(tester.absolute_psia(_regapped(v)), 1)


REGAP = Exercise(
    key="m04.regap",
    version=1,
    marking=1,
    title="The same plug after gapping",
    text=(
        "A plug with sharp, clean electrodes came in with its gap at {gap_in:.3f} in ({gap_mm} mm). The tester, at sea "
        "level, fired it up to {reading} on the gauge. You bend the side electrode until the gap is {set_in:.3f} in "
        "({set_mm} mm). Up to which gauge reading should the same tester fire it now?"
    ),
    draw={"gap_in": Steps(36, 48, scale=1000), "set_in": Steps(24, 31, scale=1000), "psig": Steps(44, 84)},
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
    version=1,
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
