"""GAP_GROWTH and RESERVE in version 1: plugs left in for 20 000 miles, and supply and demand drawn apart, so that almost half of the plugs misfired, some by 15 kV."""

from grader.exercise.model import Absolute, Exercise, Line, Number, Percent, Slip
from grader.exercise.spread import Pick, Steps
from grader.modules.heat_range.wear import miles
from grader.reference.spark import breakdown, plug
from grader.units import KM_PER_MILE, grouped

_WIRE = Absolute(0.01, "a gap is measured to a hundredth of a millimetre")


def _worn_mm(v):
    return plug.worn_gap_mm(v.new_mm, v.distance_km)


GAP_GROWTH = Exercise(
    key="m03.gap_growth",
    version=1,
    marking=1,
    title="How wide is the gap now?",
    text=(
        "Plugs were gapped to {new_mm:.2f} mm ({new_in:.3f} in) and have run {distance} km ({miles} miles) since. "
        "How wide do you expect the gap now, by the rule of the trade?"
    ),
    draw={"new_mm": Steps(55, 90, 1, scale=100), "distance_km": Steps(8000, 32000, 400)},
    show=lambda v: {"new_in": v.new_mm / 25.4, "distance": grouped(v.distance_km), "miles": miles(v.distance_km)},
    parts=(
        Number(
            key="gap", prompt="Plug gap now", unit="mm", also=("in",), marks=1, step=0.01,
            answer=_worn_mm, within=_WIRE, possible=(0.2, 3.0), objectives=("H8",),
            slips=(
                Slip("growth-only",
                     "That is the growth alone. Add it to the gap that the plug began with.",
                     lambda v: _worn_mm(v) - v.new_mm),
                Slip("miles-for-km",
                     "You took kilometres for miles. 0.001 inch belongs to 1000 miles, that is 1609 km.",
                     lambda v: plug.worn_gap_mm(v.new_mm, v.distance_km * KM_PER_MILE)),
                Slip("shrinks",
                     "You took the growth away. Wear opens the gap.",
                     lambda v: 2 * v.new_mm - _worn_mm(v)),
            ),
        ),
    ),
    route=lambda v: (
        f"0.001 inch in 1000 miles is {plug.GROWTH_MM_PER_1000_KM:.4f} mm in 1000 km.",
        f"Growth: {plug.GROWTH_MM_PER_1000_KM:.4f} × {v.distance_km / 1000:g} = {_worn_mm(v) - v.new_mm:.2f} mm.",
        f"Gap now: {v.new_mm:.2f} + {_worn_mm(v) - v.new_mm:.2f} = {v.new_mm + round(_worn_mm(v) - v.new_mm, 2):.2f} mm.",
    ),
)  # fmt: skip


def _factor(parameters):
    return {"k": breakdown.demand_factor(rounding=parameters["rounding"])}


def _required_kv(v, gap_mm, k=None, density=None):
    return (v.k if k is None else k) * breakdown.uniform_voltage_kv(gap_mm, density or v.density)


RESERVE = Exercise(
    key="m03.reserve",
    version=1,
    marking=1,
    title="What is left in hand",
    text=(
        "The same plugs at full load. The charge in the gap is {density} times as dense as workshop air; worn edges ask "
        "for {k:.1f} times the voltage of sharp ones (K = {k:.1f}). The coil can give {available_kv} kV at this speed, "
        "and the rotor gap takes {rotor_kv:g} kV. With x = gap in cm × density, the plug asks for "
        "K × (24.22·x + 6.08·√x) kV."
    ),
    draw={
        "density": Steps(22, 56, 1, scale=10),
        "rounding": Pick((0.5, 0.75, 1.0)),
        "available_kv": Steps(150, 260, 2, scale=10),
    },
    linked="m03.gap_growth",
    fill=_factor,
    show=lambda v: {"rotor_kv": breakdown.ROTOR_GAP_KV},
    parts=(
        Number(
            key="required", prompt="Required voltage at the plug", unit="kV", also=("V",), marks=2, step=0.1,
            answer=_required_kv, uses=("m03.gap_growth.gap",),
            within=Percent(1.5, "a square root and two products by pocket calculator"), possible=(0.5, 90.0),
            objectives=("H8",),
            slips=(
                Slip("millimetres",
                     "You put the gap in as millimetres. The formula wants centimetres: divide by 10.",
                     lambda v, gap: _required_kv(v, 10 * gap)),
                Slip("edges",
                     "You left the worn edges out. Multiply by K.",
                     lambda v, gap: _required_kv(v, gap, k=1.0), share=0.5),
                Slip("density",
                     "You took workshop air. The charge is denser: multiply the gap by the density.",
                     lambda v, gap: _required_kv(v, gap, density=1.0)),
                Slip("new-gap",
                     "You took the gap that the plug began with. The worn one asks for the voltage.",
                     lambda v, gap: _required_kv(v, v.new_mm)),
            ),
        ),
        Number(
            key="reserve", prompt="Reserve (below zero if the plug misfires)", unit="kV", also=("V",), marks=1, step=0.1,
            answer=lambda v, required: breakdown.reserve_kv(v.available_kv, required),
            uses=("m03.reserve.required",), within=Absolute(0.45, "a required voltage that was right to 1.5 %"), possible=(-90.0, 30.0),
            objectives=("H8",),
            slips=(
                Slip("rotor",
                     "You left the rotor gap out. Its voltage comes off as well.",
                     lambda v, required: breakdown.reserve_kv(v.available_kv, required, 0.0), share=0.5),
                Slip("rotor-added",
                     "You added the rotor gap. The coil must feed it too: take it away.",
                     lambda v, required: v.available_kv - required + breakdown.ROTOR_GAP_KV),
            ),
        ),
    ),
    route=lambda v: (
        Line(
            f"x = {_worn_mm(v) / 10:.4f} cm × {v.density} = {_worn_mm(v) / 10 * v.density:.3f}.", "m03.gap_growth.gap"
        ),
        Line(
            f"{v.k:.1f} × (24.22 × {_worn_mm(v) / 10 * v.density:.3f} + 6.08 × √{_worn_mm(v) / 10 * v.density:.3f}) "
            f"= {_required_kv(v, _worn_mm(v)):.1f} kV.",
            "required",
        ),
        Line(
            f"Reserve: {v.available_kv} − {_required_kv(v, _worn_mm(v)):.1f} − {breakdown.ROTOR_GAP_KV:g} = "
            f"{breakdown.reserve_kv(v.available_kv, round(_required_kv(v, _worn_mm(v)), 1)):z.1f} kV.",
            "required", "reserve",
        ),
    ),
)  # fmt: skip
