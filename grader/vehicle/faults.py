"""What can be wrong with a car: each fault is a function from one car to another, in three severities.

A fault changes the condition of a part and never a reading; readings follow from the car.
What a mechanic would expect to see is told apart from this, in datasets/fault_signs.csv.
Faults can be joined: shares multiply, angles add, and of two flash-over places the lower counts.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from math import pi, sin, sqrt
from types import MappingProxyType

from scipy.optimize import brentq

from grader import tables
from grader.errors import BadTable, Refused, Unknown
from grader.reference.angles import cross_fire_pairs
from grader.reference.spark.points import dwell_of_gap_deg, float_speed_rpm, full_lift
from grader.reference.timing.advance import centrifugal_advance_deg
from grader.vehicle.car import HOSE_OFF, MM_PER_IN, ON_MANIFOLD, Car
from grader.vehicle.spec import Vehicle
from grader.vehicle.standard import check_speeds_rpm
from grader.vehicle.state import hill_demand_kv, idle_opening_mm2, sound_car

COLUMNS = (
    "key",
    "title",
    "system",
    "applies",
    "severity_of",
    "low",
    "mid",
    "high",
    "history",
    "proof",
    "proof_by",
    "mend",
    "repair",
    "actions",
    "look_alikes",
    "common",
    "source",
)
LOW, MID, HIGH = SEVERITIES = ("low", "mid", "high")
SOUND = "none"  # the row in which nothing is wrong
ELSEWHERE = "elsewhere"  # the group of faults for which the ignition is sound and the car goes to another hand
THIRD = 2  # place in the firing order where a fault of one cylinder sits unless said otherwise


@dataclass(frozen=True, slots=True)
class Fault:
    """One row of datasets/faults.csv.

    severities: figure for low, mid and high, of what severity_of says; None where the fault
    has one form only. history: words of the owner that come from what was done before.
    proof_by: instruments, `&` and, `|` or. mend: the group that one repair mends and by which
    the fault is named. actions: the repair, in order. common: weight of how often it is met.
    """

    key: str
    title: str
    system: str
    applies: str
    severity_of: str
    severities: tuple[float, float, float] | None
    history: tuple[str, ...]
    proof: str
    proof_by: str
    mend: str
    repair: str
    actions: str
    look_alikes: tuple[str, ...]
    common: float
    source: str

    def figure(self, severity: str) -> float | None:
        """The figure of a severity; None for a fault with one form only.

        Raises
        ------
        Unknown
            No such severity.
        """
        if severity not in SEVERITIES:
            raise Unknown(f"No severity {severity!r}; allowed is {', '.join(SEVERITIES)}.")
        return None if self.severities is None else self.severities[SEVERITIES.index(severity)]


@cache
def faults() -> Mapping[str, Fault]:
    """Every fault by its key, the sound car among them.

    Raises
    ------
    BadTable
        A row of datasets/faults.csv without a change of ours, or a change without a row.
    """
    rows = {row["key"]: _fault(row) for row in tables.rows("faults.csv", COLUMNS)}
    if set(rows) != set(_CHANGES):
        odd = ", ".join(sorted(set(rows) ^ set(_CHANGES)))
        raise BadTable(f"datasets/faults.csv and the changes of grader/vehicle/faults.py differ in {odd}.")
    return MappingProxyType(rows)


def fault(key: str) -> Fault:
    """One fault by its key.

    Raises
    ------
    Unknown
        No such key.
    """
    try:
        return faults()[key]
    except KeyError:
        raise Unknown(f"No fault {key!r}; see datasets/faults.csv.") from None


def applies(key: str, spec: Vehicle | str) -> bool:
    """True if a vehicle has the part that the fault is about.

    Parameters
    ----------
    key : str
        Of the fault.
    spec : Vehicle or str

    Raises
    ------
    Unknown
        No such fault or vehicle, or a vehicle without a card.
    """
    return _APPLIES[fault(key).applies](sound_car(spec))


def plant(car: Car, key: str, severity: str = MID, place: int = THIRD) -> Car:
    """The car with a fault in it.

    Parameters
    ----------
    car : Car
    key : str
        Of the fault.
    severity : str
        low, mid or high.
    place : int
        Which cylinder of the firing order, from 0, where the fault has one cylinder; with it
        the next one in the order where it has two.

    Raises
    ------
    Unknown
        No such fault or severity.
    Refused
        The vehicle does not have the part.
    """
    if not applies(key, car.spec):
        raise Refused(f"{car.spec.title} cannot have {fault(key).title!r}: it has no such part ({fault(key).applies}).")
    return _CHANGES[key](car, fault(key).figure(severity), place % car.cylinders)


def cylinder_at(spec: Vehicle, place: int) -> int:
    """Number of the cylinder at a place of the firing order, from 0 and around."""
    return spec.firing_order[place % spec.cylinders]


def _fault(row):
    low, mid, high = (row[name] for name in SEVERITIES)
    return Fault(
        key=row["key"],
        title=row["title"],
        system=row["system"],
        applies=row["applies"],
        severity_of=row["severity_of"],
        severities=(float(low), float(mid), float(high)) if low and mid and high else None,
        history=tuple(row["history"].split()),
        proof=row["proof"],
        proof_by=row["proof_by"],
        mend=row["mend"],
        repair=row["repair"],
        actions=row["actions"],
        look_alikes=tuple(row["look_alikes"].split()),
        common=float(row["common"]),
        source=row["source"],
    )


_APPLIES = {
    "all": lambda car: True,
    "ballasted": lambda car: car.card.ballasted,
    "ported": lambda car: car.spec.port == "ported",
    "cross-fire": lambda car: bool(cross_fire_pairs(car.spec.firing_order, car.spec.banks)),
}


def _put(**fields):
    """A change that puts parts into one condition, whatever the severity."""
    return lambda car, x, place: replace(car, **fields)


def _set(field, of=lambda car, x: x):
    """A change that sets one figure."""
    return lambda car, x, place: replace(car, **{field: of(car, x)})


def _times(field):
    return lambda car, x, place: replace(car, **{field: getattr(car, field) * x})


def _turned(field):
    return lambda car, x, place: replace(car, **{field: getattr(car, field) + x})


def _all(**of):
    """A change of every cylinder alike; each function takes car and severity."""
    return lambda car, x, place: replace(
        car, **{field: (float(value(car, x)),) * car.cylinders for field, value in of.items()}
    )


def _at(car, field, value, *places):
    """The car with one figure changed at places of the firing order."""
    figures = list(getattr(car, field))
    for place in places:
        figures[cylinder_at(car.spec, place) - 1] = value
    return replace(car, **{field: tuple(figures)})


def _flash(field):
    """Flash-over of a part that all cylinders share, as share of what is asked uphill."""
    return lambda car, x, place: replace(car, **{field: min(getattr(car, field), x * hill_demand_kv(car.spec))})


def _flash_at(field, count=1):
    def change(car, x, place):
        for step in range(count):
            number = cylinder_at(car.spec, place + step)
            lower = min(getattr(car, field)[number - 1], x * hill_demand_kv(car.spec))
            car = _at(car, field, lower, place + step)
        return car

    return change


def _points_burnt(car, x, place):
    return replace(car, pitting=x, contact_ohm=0.02 + 0.9 * x * car.running_v / 13.8)


def _spring_weak(car, x, place):
    lift = full_lift(MM_PER_IN * car.spec.gap_in, car.spec.dwell_deg, car.cylinders)
    floats = float_speed_rpm(car.spring_n, car.card.moving_g / 1e3, lift, car.cylinders)
    # The speed at which the block leaves the cam goes with the root of the spring's force.
    return replace(car, spring_n=car.spring_n * (x * check_speeds_rpm(car.spec)[1] / floats) ** 2)


def _shaft_worn(car, x, place):
    n, gap = car.cylinders, MM_PER_IN * car.spec.gap_in
    lift = full_lift(gap, car.spec.dwell_deg, n)
    waves = [sin(2 * pi * lobe / n + 0.7) for lobe in range(n)]

    def swing(play):
        dwell = [dwell_of_gap_deg(gap + play / 2 * (wave + car.spec.idle_rpm / 1500), lift, n) for wave in waves]
        return max(dwell) - min(dwell) - x

    most = 0.95 * min((lift - gap) / 0.75, gap / 0.35)  # the gap stays above nothing and below the lift
    return replace(car, play_mm=brentq(swing, 0.0, most, xtol=1e-6))


def _rests(car, rpm):
    """Crank degrees that the weights add at a speed."""
    return 2.0 * float(centrifugal_advance_deg(rpm / 2.0 / sqrt(car.weight_preload), car.spec.centrifugal))


def _fast_idle(car, x, place):
    speed = car.spec.idle_rpm + x
    car = replace(car, body_deg=car.body_deg - _rests(car, speed))  # the mark was set right at that speed
    return replace(car, idle_area_mm2=idle_opening_mm2(car, speed))


def _clamp_loose(car, x, place):
    return replace(car, wander_deg=x, body_deg=car.body_deg - x)


def _weight_reset(car, x, place):
    car = replace(car, weight_preload=x)
    return replace(car, body_deg=car.body_deg - _rests(car, car.spec.idle_rpm))


def _hose_off(car, x, place):
    car = replace(car, hose=HOSE_OFF)
    if car.spec.port == "manifold":  # an open manifold tap lets air in; a ported one is shut at idle
        car = replace(car, leak_area_mm2=car.leak_area_mm2 + 0.2 * car.idle_area_mm2)
    return car


def _ring_slipped(car, x, place):
    return replace(car, ring_slip_deg=x, body_deg=car.body_deg - x)  # timed by the mark that lies


def _cap_burnt(car, x, place):
    return replace(car, cap_gap_mm=(x,) * car.cylinders)


def _lead_open(car, x, place):
    return _at(_at(car, "lead_break_mm", x, place), "lead_kohm", 10_000.0, place)


def _king_open(car, x, place):
    return replace(car, king_break_mm=x, king_kohm=10_000.0)


def _leads_swapped(car, x, place):
    return replace(car, lead_swap=(cylinder_at(car.spec, place), cylinder_at(car.spec, place + 1)))


def _new_gap(car):
    return MM_PER_IN * car.card.plug_gap_in


def _plug_oil(car, x, place):
    car = _at(_at(car, "shunt_mohm", x, place), "oil", True, place)
    return _at(_at(car, "leak", 0.22, place), "rings", True, place)


def _bridged(car, x, place):
    return _at(car, "bridged", True, place)


def _manifold_leak(car, x, place):
    return replace(car, leak_area_mm2=x * car.idle_area_mm2, leak_near=cylinder_at(car.spec, place))


def _valve_low(car, x, place):
    return _at(car, "leak", x, place)


def _head_gasket(car, x, place):
    leak = list(car.leak)
    for number in car.spec.banks[0][1:3]:
        leak[number - 1] = x
    return replace(car, leak=tuple(leak))


def _flooded(car, x, place):
    return replace(car, shunt_mohm=(x,) * car.cylinders, fuel_wet=(True,) * car.cylinders)


_CHANGES = {
    SOUND: lambda car, x, place: car,
    "feed_dead": _put(feed_open=True),
    "feed_resistance": _set("switch_ohm", lambda car, x: x * car.running_v / 13.8),
    "ballast_open": _put(ballast_open=True),
    "bypass_dead": _put(bypass_ok=False),
    "ballast_shorted": _set("ballast_ohm"),
    "battery_weak": _times("crank_v"),
    "coil_weak": _times("coil_share"),
    "coil_hot": _set("coil_hot_share"),
    "coil_reversed": _put(reversed=True),
    "condenser_open": _set("condenser_uf"),
    "condenser_shorted": _put(condenser_short=True),
    "condenser_large": _set("condenser_uf"),
    "lt_shorted": _put(lt_short=True),
    "pigtail_broken": _set("pigtail_deg"),
    "points_film": _put(film=True),
    "gap_small": _times("gap_mm"),
    "gap_wide": _times("gap_mm"),
    "points_burnt": _points_burnt,
    "breaker_spring_weak": _spring_weak,
    "shaft_worn": _shaft_worn,
    "block_gone": _put(gap_mm=0.0),
    "timing_late": _turned("body_deg"),
    "timing_early": _turned("body_deg"),
    "set_fast_idle": _fast_idle,
    "clamp_loose": _clamp_loose,
    "tooth_out": _set("shift_deg"),
    "half_turn": _put(shift_deg=360.0),
    "weights_seized": _put(weights_stuck=True),
    "weight_spring_weak": _set("weight_preload"),
    "weight_spring_reset": _weight_reset,
    "diaphragm_punctured": _set("leak_inhg_s"),
    "plate_seized": _put(plate_stuck=True),
    "hose_manifold": _put(hose=ON_MANIFOLD),
    "port_uncovered": _times("idle_area_mm2"),
    "hose_off": _hose_off,
    "ring_slipped": _ring_slipped,
    "cap_track": _flash_at("cap_flash_kv", 2),
    "cap_burnt": _cap_burnt,
    "brush_gone": _set("button_gap_mm"),
    "rotor_leak": _flash("rotor_flash_kv"),
    "rotor_burnt": _set("rotor_gap_mm"),
    "lead_open": _lead_open,
    "lead_leaky": _flash_at("lead_flash_kv"),
    "king_open": _king_open,
    "coil_tower": _flash("coil_flash_kv"),
    "leads_crossfire": lambda car, x, place: replace(car, lead_spacing_mm=7.0, lead_permittivity=x),
    "leads_swapped": _leads_swapped,
    "leads_damp": _flash("damp_flash_kv"),
    "plugs_worn": _all(plug_gap_mm=lambda car, x: x * _new_gap(car), rounding=lambda car, x: 1.3 * (x - 1.0)),
    "plugs_sooted": _all(nose_mm=lambda car, x: 9.0, shunt_mohm=lambda car, x: x),
    "plugs_hot": _all(nose_mm=lambda car, x: x),
    "plug_oil": _plug_oil,
    "plug_bridged": _bridged,
    "plug_cracked": _flash_at("plug_flash_kv"),
    "plug_gaps_narrow": _all(plug_gap_mm=lambda car, x: x * _new_gap(car)),
    "manifold_leak": _manifold_leak,
    "valve_low": _valve_low,
    "head_gasket": _head_gasket,
    "choke_stuck": _set("choke"),
    "fuel_starved": _set("starved"),
    "exhaust_blocked": _set("exhaust_kpa"),
    "low_octane": _turned("octane_deg"),
    "flooded": _flooded,
}
