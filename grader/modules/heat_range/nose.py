"""Exercises on the insulator nose: its temperature, what moves it, and which length suits the work."""

from functools import cache
from types import MappingProxyType

import numpy as np

from grader.exercise.kinds import PlotReading
from grader.exercise.model import Absolute, Choice, Exercise, Line, Number, Slip
from grader.exercise.spread import Pick, Steps
from grader.reference.spark import plug
from grader.units import convert, unit

# The three noses of the lesson's chart; panel and exercise share them.
NOSES_MM = MappingProxyType({"A": 10.0, "B": 16.0, "C": 22.0})
NEITHER = "none"

_COSH = Absolute(4, "m·L good to 0.01, and cosh read between the lines of a table")
_STATE_C = MappingProxyType(
    {
        "fouls": (340, 440),
        "hardly clean": (455, 495),
        "clean": (520, 830),
        "hot": (860, 940),
        "pre-ignites": (960, 1060),
    }
)


def celsius(fahrenheit):
    """Degrees Fahrenheit as degrees Celsius."""
    return convert(fahrenheit, unit("°F"), unit("°C"))


def fahrenheit(celsius):
    """Degrees Celsius as degrees Fahrenheit."""
    return convert(celsius, unit("°C"), unit("°F"))


def _tip_reading(parameters):
    low, high = _STATE_C[parameters["zone"]]
    return {"tip_f": round(fahrenheit(low + (high - low) * parameters["place"] / 40))}


TIP_STATE = Exercise(
    key="m03.tip_state",
    version=1,
    marking=1,
    title="What the thermocouple says",
    text=(
        "A test plug has a thermocouple in the tip of its insulator nose. On the road it shows {tip_f} °F. "
        "Where does this tip stand between fouling and pre-ignition?"
    ),
    draw={"zone": Pick(tuple(_STATE_C)), "place": Steps(0, 40)},
    fill=_tip_reading,
    parts=(
        Choice(
            key="state", prompt="The tip", marks=1, objectives=("H3",), order="fixed",
            options=MappingProxyType({
                "fouls": "is below 450 °C: soot stays on it.",
                "hardly clean": "is between 450 and 500 °C: soot only just burns off.",
                "clean": "is between 500 and 850 °C: it keeps itself clean and lasts.",
                "hot": "is between 850 and 950 °C: too hot for long, electrodes suffer.",
                "pre-ignites": "is above 950 °C: it can light the charge before the spark.",
            }),
            signs=MappingProxyType(dict.fromkeys(
                _STATE_C, "Take 32 from the reading, divide by 1.8, and compare the result with every limit in the answers."
            )),
            answer=lambda v: plug.nose_state(celsius(v.tip_f)),
            slips=(
                Slip("fahrenheit",
                     "You compared degrees Fahrenheit with limits in Celsius. Take 32 away, then divide by 1.8.",
                     lambda v: plug.nose_state(v.tip_f)),
            ),
        ),
    ),
    route=lambda v: (
        f"({v.tip_f} − 32) ÷ 1.8 = {celsius(v.tip_f):.0f} °C.",
        f"Between the limits 450, 500, 850 and 950 °C that tip counts as “{plug.nose_state(celsius(v.tip_f))}”.",
    ),
)  # fmt: skip


def _fin_number(v, conductivity=None, outer_mm=None):
    """m L of the nose as a fin, out of the reference: gas 1, root 0 leaves 1 - 1/cosh(m L)."""
    tip = plug.fin_tip_c(v.nose_mm, v.heat_transfer, 1.0, 0.0, conductivity or v.conductivity, outer_mm or v.outer_mm)
    return float(np.arccosh(1.0 / (1.0 - tip)))


def _fin_tip(v, number, gas_c=None, root_c=None):
    """Tip of a nose of the drawn stuff whose m L is `number`."""
    length = v.nose_mm * number / _fin_number(v)
    return plug.fin_tip_c(
        length, v.heat_transfer, v.gas_c if gas_c is None else gas_c, v.root_c if root_c is None else root_c,
        v.conductivity, v.outer_mm,
    )  # fmt: skip


def _cosh(v):  # of m L as printed, so that a pocket calculator finds the same
    return float(np.cosh(round(_fin_number(v), 3)))


NOSE_FIN = Exercise(
    key="m03.nose_fin",
    version=1,
    marking=1,
    title="How hot is the tip?",
    text=(
        "An insulator nose is {nose_mm} mm ({nose_in} in) long and {outer_mm} mm ({outer_in} in) thick; take it as one "
        "solid piece that conducts {conductivity} W/(m K). The gas acts with {heat_transfer} W/(m² K) at {gas_c} °C "
        "({gas_f} °F). The root sits at {root_c} °C ({root_f} °F). First work out the number m·L, then the temperature "
        "of the tip."
    ),
    draw={
        "nose_mm": Steps(8, 18),
        "outer_mm": Steps(44, 56, 2, scale=10),
        "conductivity": Steps(16, 30),
        "heat_transfer": Steps(150, 400, 10),
        "gas_c": Steps(750, 1000, 10),
        "root_c": Steps(150, 210, 5),
    },
    show=lambda v: {
        "nose_in": f"{v.nose_mm / 25.4:.2f}", "outer_in": f"{v.outer_mm / 25.4:.2f}",
        "gas_f": f"{fahrenheit(v.gas_c):.0f}", "root_f": f"{fahrenheit(v.root_c):.0f}",
    },
    parts=(
        Number(
            key="number", prompt="The number m·L", unit="", marks=1, step=0.01,
            answer=_fin_number, within=Absolute(0.01, "a square root by pocket calculator"), possible=(0.05, 20.0),
            objectives=("H1", "H7"),
            slips=(
                Slip("four",
                     "You left the 4 out. Surface over section of a round rod is 4 ÷ thickness.",
                     lambda v: _fin_number(v) / 2),
                Slip("inverted",
                     "You put conduction over heat transfer. The gas side stands on top: m = √(4·h ÷ (k·d)).",
                     lambda v: (v.nose_mm / 1000) ** 2 / _fin_number(v)),
                Slip("radius",
                     "You took half the thickness. The formula wants the full diameter.",
                     lambda v: _fin_number(v, outer_mm=v.outer_mm / 2)),
                Slip("millimetres",
                     "You left the thickness in millimetres. All lengths go in as metres.",
                     lambda v: _fin_number(v) / 1000**0.5),
            ),
        ),
        Number(
            key="tip", prompt="Temperature of the tip", unit="°C", also=("°F",), marks=2, step=1,
            answer=_fin_tip, uses=("m03.nose_fin.number",), within=_COSH, possible=(0.0, 1200.0),
            objectives=("H1", "H7"),
            slips=(
                Slip("endless",
                     "You gave the tip the temperature of the gas. Only an endless nose gets so hot: divide by cosh.",
                     lambda v, number: float(v.gas_c)),
                Slip("wrong-end",
                     "You counted up from the root. Count down from the gas: gas − (gas − root) ÷ cosh(m·L).",
                     lambda v, number: v.gas_c + v.root_c - _fin_tip(v, number)),
                Slip("no-cosh",
                     "You divided by m·L itself. Divide by its cosh.",
                     lambda v, number: v.gas_c - (v.gas_c - v.root_c) / number),
                Slip("fahrenheit",
                     "Your figure is right in degrees Fahrenheit. Choose °F as its unit.",
                     lambda v, number: fahrenheit(_fin_tip(v, number)), share=0.5),
            ),
        ),
    ),
    route=lambda v: (
        f"m = √(4 × {v.heat_transfer} ÷ ({v.conductivity} × {v.outer_mm / 1000:g})) "
        f"= {_fin_number(v) / v.nose_mm * 1000:.2f} per metre.",
        Line(f"m·L = {_fin_number(v) / v.nose_mm * 1000:.2f} × {v.nose_mm / 1000:g} = {_fin_number(v):.3f}.", "number"),
        Line(f"cosh({_fin_number(v):.3f}) = {_cosh(v):.3f}.", "number"),
        Line(
            f"Tip = {v.gas_c} − ({v.gas_c} − {v.root_c}) ÷ {_cosh(v):.3f} "
            f"= {_fin_tip(v, _fin_number(v)):.0f} °C.",
            "tip",
        ),
    ),
)  # fmt: skip


def _gas_rise(over_deg):
    """What the teaching model adds to the gas for a spark that comes too early."""
    return plug.gas_side(0.5, over_deg)[1] - plug.gas_side(0.5)[1]


def _root_rise():
    """What a loose seat adds to the root."""
    return plug.gas_side(0.5, loose_seat=1.0)[2] - plug.gas_side(0.5)[2]


TIP_CHANGES = Exercise(
    key="m03.tip_changes",
    version=1,
    marking=1,
    title="Too early, or loose",
    text=(
        "The same nose in the same engine. Our teaching model adds 6 °C (11 °F) to the gas for each degree that the "
        "spark comes too early, and 80 °C (144 °F) to the root of a plug that is loose in its seat. "
        "First the timing stands {over_deg}° too early, with the plug tight. Then the timing is put right, "
        "but the plug is loose."
    ),
    draw={"over_deg": Steps(5, 14)},
    linked="m03.nose_fin",
    parts=(
        Number(
            key="early", prompt="Temperature of the tip, spark too early", unit="°C", also=("°F",), marks=1, step=1,
            answer=lambda v, number: _fin_tip(v, number, gas_c=v.gas_c + _gas_rise(v.over_deg)),
            uses=("m03.nose_fin.number",), within=_COSH, possible=(0.0, 1300.0), objectives=("H4", "H7"),
            slips=(
                Slip("whole-rise",
                     "You gave the tip the whole rise of the gas. The root pulls it down: put the hotter gas into the formula.",
                     lambda v, number: _fin_tip(v, number) + _gas_rise(v.over_deg)),
                Slip("one-degree",
                     "You added 6 °C once. It counts for each degree that the spark is early.",
                     lambda v, number: _fin_tip(v, number, gas_c=v.gas_c + _gas_rise(1))),
                Slip("cooler",
                     "You took the rise away. A spark that comes too early heats the nose.",
                     lambda v, number: _fin_tip(v, number, gas_c=v.gas_c - _gas_rise(v.over_deg))),
            ),
        ),
        Number(
            key="loose", prompt="Temperature of the tip, plug loose", unit="°C", also=("°F",), marks=1, step=1,
            answer=lambda v, number: _fin_tip(v, number, root_c=v.root_c + _root_rise()),
            uses=("m03.nose_fin.number",), within=_COSH, possible=(0.0, 1300.0), objectives=("H1", "H4", "H7"),
            slips=(
                Slip("whole-rise",
                     "You gave the tip the whole rise of the root. Put the hotter root into the formula.",
                     lambda v, number: _fin_tip(v, number) + _root_rise()),
                Slip("cooler",
                     "You took the rise away. A loose seat blocks the way of the heat, so the nose runs hotter.",
                     lambda v, number: _fin_tip(v, number, root_c=v.root_c - _root_rise())),
            ),
        ),
    ),
    route=lambda v: (
        Line(
            f"Too early: the gas is at {v.gas_c} + 6 × {v.over_deg} = {v.gas_c + _gas_rise(v.over_deg):.0f} °C. "
            f"The tip is at {_fin_tip(v, _fin_number(v), gas_c=v.gas_c + _gas_rise(v.over_deg)):.0f} °C.",
            "early",
        ),
        Line(
            f"Loose: the root is at {v.root_c} + 80 = {v.root_c + _root_rise():.0f} °C. "
            f"The tip is at {_fin_tip(v, _fin_number(v), root_c=v.root_c + _root_rise()):.0f} °C.",
            "loose",
        ),
    ),
)  # fmt: skip


@cache
def nose_tip_c(name, load):
    """Tip of one of the three plugs of the chart at a load, everything else in order."""
    return plug.nose_temperature_c(NOSES_MM[name], *plug.gas_side(load))


def _serves(name, loads):
    return all(plug.CLEAN_SURELY_C <= nose_tip_c(name, load) <= plug.HOT_FROM_C for load in loads)


def plug_for(loads):
    """The shortest nose that stays clean and cool enough at every load, or `NEITHER`."""
    return next((name for name in NOSES_MM if _serves(name, loads)), NEITHER)


# Where the two duties are drawn for each answer, in hundredths of full load.
_DUTIES = MappingProxyType(
    {"A": ((86, 94), (96, 100)), "B": ((35, 70), (74, 100)), "C": ((4, 18), (60, 82)), NEITHER: ((4, 18), (96, 100))}
)


def _two_loads(parameters):
    ends = [low + (high - low) * parameters["place"] // 20 for low, high in _DUTIES[parameters["wanted"]]]
    return {"light": ends[0] / 100, "heavy": ends[1] / 100}


TWO_DUTIES = Exercise(
    key="m03.two_duties",
    version=1,
    marking=1,
    title="One plug for two duties",
    text=(
        "Use the chart of the three plugs above, with timing, mixture and seat in order. First read plug {name} at load "
        "{read_load}. Then choose: an engine works now at load {light}, now at load {heavy} (0 is light, 1 is heavy). "
        "Its maker's list allows A, B and C. The tip must stay between 500 and 850 °C (932 and 1562 °F) at both. "
        "Where more than one plug does it, take the shorter nose: it has more in hand against pre-ignition."
    ),
    draw={
        "name": Pick(tuple(NOSES_MM)),
        "read_load": Steps(6, 96, 2, scale=100),
        "wanted": Pick(tuple(_DUTIES)),
        "place": Steps(0, 20),
    },
    fill=_two_loads,
    parts=(
        PlotReading(
            key="reading", prompt="Tip of the first plug, read off the chart", unit="°C", also=("°F",), marks=1, step=5,
            minor=10.0, answer=lambda v: nose_tip_c(v.name, round(v.read_load, 4)), reads=MappingProxyType({"read_load": 0.01}),
            within=Absolute(6, "half a division of the chart"), possible=(0.0, 1200.0), objectives=("H2", "H4"),
            slips=(
                Slip("other-curve",
                     "You read another plug's curve. The longest nose is the uppermost line, the shortest the lowest.",
                     lambda v: nose_tip_c({"A": "B", "B": "C", "C": "B"}[v.name], round(v.read_load, 4))),
                Slip("fahrenheit",
                     "You read the Fahrenheit scale on the right. Choose °F as the unit, or read on the left.",
                     lambda v: fahrenheit(nose_tip_c(v.name, round(v.read_load, 4))), share=0.5),
            ),
        ),
        Choice(
            key="plug", prompt="Which plug serves both duties?", marks=2, objectives=("H2", "H6"), order="fixed",
            options=MappingProxyType({
                "A": "Plug A, the short nose.",
                "B": "Plug B, the middle nose.",
                "C": "Plug C, the long nose.",
                NEITHER: "None of the three stays inside at both.",
            }),
            signs=MappingProxyType({
                "A": "Read curve A at both loads, against 500 and 850 °C: it does not stay inside at both.",
                "B": "Read curve B at both loads, against 500 and 850 °C; where it stays inside, ask whether a shorter nose does, too.",
                "C": "Read curve C at both loads, against 500 and 850 °C; where it stays inside, ask whether a shorter nose does, too.",
                NEITHER: "Read all three curves at both loads: one of them stays between 500 and 850 °C.",
            }),
            answer=lambda v: plug_for((v.light, v.heavy)),
            slips=(
                Slip("light-only",
                     "Your plug stays clean at the light duty but goes above 850 °C at the heavy one. Check both ends.",
                     lambda v: plug_for((v.light,))),
                Slip("heavy-only",
                     "Your plug is cool enough at the heavy duty but falls below 500 °C at the light one. Check both ends.",
                     lambda v: None if plug_for((v.heavy,)) == plug_for((v.light,)) else plug_for((v.heavy,))),
            ),
        ),
    ),
    route=lambda v: (
        Line(f"Plug {v.name} at load {v.read_load}: {nose_tip_c(v.name, v.read_load):.0f} °C.", "reading"),
        *(
            Line(
                f"Plug {name}: {nose_tip_c(name, v.light):.0f} °C at load {v.light}, "
                f"{nose_tip_c(name, v.heavy):.0f} °C at load {v.heavy}.",
                *(("plug", "reading") if name == v.name else ("plug",)),  # the loads may lie close to the one read
            )
            for name in NOSES_MM
        ),
        Line(
            {NEITHER: "None stays between 500 and 850 °C at both."}.get(
                plug_for((v.light, v.heavy)), f"Plug {plug_for((v.light, v.heavy))} is the shortest that stays inside."
            ),
            "plug",
        ),
    ),
)  # fmt: skip
