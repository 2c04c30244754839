"""NOSE_FIN and TIP_CHANGES, dropped: hyperbolic cosines carried a sixth of the marks of a lesson for mechanics."""

import numpy as np

from grader.exercise.model import Absolute, Exercise, Line, Number, Slip
from grader.exercise.spread import Steps
from grader.modules.heat_range.nose import fahrenheit
from grader.reference.spark import plug

_COSH = Absolute(4, "m·L good to 0.01, and cosh read between the lines of a table")


def _fin_number(v, conductivity=None, outer_mm=None):
    """m L of the nose as a fin, out of the reference: gas 1, root 0 leaves 1 - 1/cosh(m L)."""
    tip = plug.fin_tip_c(v.nose_mm, v.heat_transfer, 1.0, 0.0, conductivity or v.conductivity, outer_mm or v.outer_mm)
    return float(np.arccosh(1.0 / (1.0 - tip)))


def _fin_tip(v, number, gas_c=None, root_c=None):
    """Tip of a nose of the drawn stuff whose m L is `number`."""
    length = v.nose_mm * number / _fin_number(v)
    return plug.fin_tip_c(
        length,
        v.heat_transfer,
        v.gas_c if gas_c is None else gas_c,
        v.root_c if root_c is None else root_c,
        v.conductivity,
        v.outer_mm,
    )


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
