"""Exercises on gap growth: how wide, what voltage it asks for, what is left, and when to service."""

from dataclasses import replace

from grader.exercise.kinds import Range
from grader.exercise.model import Absolute, Exercise, Line, Number, Percent, Slip
from grader.exercise.spread import Pick, Steps
from grader.reference.spark import breakdown, plug
from grader.units import KM_PER_MILE, grouped, signed

_WIRE = Absolute(0.01, "a gap is measured to a hundredth of a millimetre")


def miles(km: float) -> str:
    """A distance in miles as text, to the nearest hundred."""
    return grouped(km / KM_PER_MILE if km < 2000 else round(km / KM_PER_MILE, -2))


def thousandths_rate(thousandths: float) -> float:
    """Growth in mm in 1000 km for thousandths of an inch in 1000 miles."""
    return plug.GROWTH_MM_PER_1000_KM * thousandths


def _worn_mm(v):
    return plug.worn_gap_mm(v.new_mm, v.distance_km)


GAP_GROWTH = Exercise(
    key="m03.gap_growth",
    version=2,
    marking=1,
    title="How wide is the gap now?",
    text=(
        "Plugs were gapped to {new_mm:.2f} mm ({new_in:.4f} in) and have run {distance} km ({miles} miles) since. "
        "How wide do you expect the gap now, by the rule of the trade?"
    ),
    # Gaps of 0.022 to 0.032 in; a set is looked at after 5000 to 15 000 miles (practice).
    draw={"new_mm": Steps(55, 80, 1, scale=100), "distance_km": Steps(8000, 24000, 200)},
    show=lambda v: {"new_in": v.new_mm / 25.4, "distance": grouped(v.distance_km), "miles": miles(v.distance_km)},
    parts=(
        Number(
            key="gap", prompt="Plug gap now (in mm to two places, in inches to four)", unit="mm", also=("in",), marks=1, step=0.01,
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


# What is left at full load: from 3 kV short (worn plugs, tired coil) to 8 kV; a coil gives 14 to 26 kV (practice).
_SHORT_KV, _SPARE_KV, _LEAST_KV, _MOST_KV = -3.0, 8.0, 14.0, 26.0


def _supplied(parameters, spare_kv=_SPARE_KV):
    """The factor of the edges, and a coil's voltage that leaves what a workshop sees."""
    k = breakdown.demand_factor(rounding=parameters["rounding"])
    gap = plug.worn_gap_mm(parameters["new_mm"], parameters["distance_km"])
    asked = k * breakdown.uniform_voltage_kv(gap, parameters["density"]) + breakdown.ROTOR_GAP_KV
    low, high = max(_LEAST_KV, asked + _SHORT_KV), min(_MOST_KV, asked + spare_kv)
    return {"k": k, "available_kv": round(low + (high - low) * parameters["supply"] / 100, 1)}


def _required_kv(v, gap_mm, k=None, density=None):
    return (v.k if k is None else k) * breakdown.uniform_voltage_kv(gap_mm, density or v.density)


RESERVE = Exercise(
    key="m03.reserve",
    version=3,
    marking=1,
    title="What is left for the worst moment",
    text=(
        "The same plugs at full load. The charge in the gap is {density} times as dense as workshop air; worn edges ask "
        "for {k:.1f} times the voltage of sharp ones (K = {k:.1f}). The coil can give {available_kv} kV at this speed, "
        "and the rotor gap takes {rotor_kv:g} kV. With x = gap in cm × density, the plug asks for "
        "K × (24.22·x + 6.08·√x) kV."
    ),
    draw={
        "density": Steps(26, 44, 1, scale=10),  # full load, spark 40 to 20 degrees before top dead centre
        "rounding": Pick((0.5, 0.75, 1.0)),
        "supply": Steps(0, 100),
    },
    linked="m03.gap_growth",
    fill=lambda parameters: _supplied(parameters, spare_kv=10.0),
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
            f"{signed(f'{breakdown.reserve_kv(v.available_kv, round(_required_kv(v, _worn_mm(v)), 1)):z.1f}')} kV.",
            "required", "reserve",
        ),
    ),
)  # fmt: skip


def _ends_mm(v, distance_km=None):
    distance = v.distance_km if distance_km is None else distance_km
    return tuple(plug.worn_gap_mm(v.new_mm, distance, thousandths_rate(rate)) for rate in (v.slow, v.quick))


def _interval_km(v, rate):
    """Distance at which the gap reaches the limit: growth is even, so one 1000 km tell it."""
    return 1000 * (v.limit_mm - v.new_mm) / (plug.worn_gap_mm(v.new_mm, 1000, thousandths_rate(rate)) - v.new_mm)


INTERVAL = Exercise(
    key="m03.interval",
    version=2,
    marking=1,
    title="A rule is not a reading",
    text=(
        "In your shop's own records the gaps of one kind of engine grew between {slow} and {quick} thousandths of an "
        "inch in 1000 miles ({slow_mm:.4f} to {quick_mm:.4f} mm in 1000 km). New gap {new_mm:.2f} mm ({new_in:.4f} in). "
        "A set comes in after {distance} km ({miles} miles). For this engine the manual allows a gap of at most "
        "{limit_mm:.2f} mm ({limit_in:.4f} in)."
    ),
    # A set comes in at 5,000 to 12,000 miles, grown by half the rule to half as much again, to 1.25 mm at most (practice).
    draw={
        "new_mm": Steps(60, 80, 1, scale=100),
        "distance_km": Steps(8000, 19000, 500),
        "slow": Steps(4, 8, 1, scale=10),
        "quick": Steps(11, 15, 1, scale=10),
        "allowed": Steps(15, 40),
    },
    fill=lambda p: {"limit_mm": round(p["new_mm"] + p["allowed"] / 100, 2)},
    show=lambda v: {
        "slow_mm": thousandths_rate(v.slow), "quick_mm": thousandths_rate(v.quick), "new_in": v.new_mm / 25.4,
        "distance": grouped(v.distance_km), "miles": miles(v.distance_km), "limit_in": v.limit_mm / 25.4,
    },
    parts=(
        Range(
            key="gaps", prompt="Between which gaps do you expect this set (in mm to two places, in inches to four)?", unit="mm", also=("in",), marks=2, step=0.01,
            answer=_ends_mm, within=_WIRE, possible=(0.2, 4.0), objectives=("H8",),
            slips=(
                Slip("miles-for-km",
                     "You took kilometres for miles. The thousandths belong to 1000 miles, that is 1609 km.",
                     lambda v: _ends_mm(v, v.distance_km * KM_PER_MILE)),
                Slip("growth-only",
                     "Those are the growths alone. Add them to the new gap.",
                     lambda v: tuple(end - v.new_mm for end in _ends_mm(v))),
            ),
        ),
        Number(
            key="longest", prompt="Longest service interval that keeps every set inside the limit", unit="km",
            also=("mi",), marks=1, step=100, answer=lambda v: _interval_km(v, v.quick),
            within=Percent(3, "two-figure arithmetic"), possible=(1000.0, 200000.0), objectives=("H8",),
            slips=(
                Slip("slow-rate",
                     "You took the slow growth. The set that wears quickest must still be inside the limit.",
                     lambda v: _interval_km(v, v.slow)),
                Slip("whole-gap",
                     "You divided the whole limit by the growth. Only the room between new gap and limit may be used up.",
                     lambda v: _interval_km(v, v.quick) * v.limit_mm / (v.limit_mm - v.new_mm)),
                Slip("miles-for-km",
                     "Your figure is in miles. Choose mi as its unit.",
                     lambda v: _interval_km(v, v.quick) / KM_PER_MILE, share=0.5),
            ),
        ),
    ),
    route=lambda v: (
        Line(
            f"Slowest: {v.new_mm:.2f} + {thousandths_rate(v.slow):.4f} × {v.distance_km / 1000:g} = {_ends_mm(v)[0]:.2f} mm.",
            "gaps",
        ),
        Line(
            f"Quickest: {v.new_mm:.2f} + {thousandths_rate(v.quick):.4f} × {v.distance_km / 1000:g} = "
            f"{_ends_mm(v)[1]:.2f} mm.",
            "gaps",
        ),
        f"Room: {v.limit_mm:.2f} − {v.new_mm:.2f} = {v.limit_mm - v.new_mm:.2f} mm.",
        Line(f"At the quickest growth it lasts {grouped(_interval_km(v, v.quick))} km.", "longest"),
    ),
)  # fmt: skip

# Issued before the draws were those of a workshop: sets of 30,000 km, gaps of 1.6 mm.
INTERVAL_FAR = replace(
    INTERVAL,
    version=1,
    draw={
        "new_mm": Steps(60, 85, 1, scale=100),
        "distance_km": Steps(12000, 30000, 500),
        "slow": Steps(4, 8, 1, scale=10),
        "quick": Steps(11, 16, 1, scale=10),
        "allowed": Steps(15, 45),
    },
)

# Issued when one reserve was right for one trainee in ten.
RESERVE_NARROW = replace(RESERVE, version=2, fill=_supplied)
