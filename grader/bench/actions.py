"""What a mechanic does to a car: each action is a function from one car to another, with its side effects.

An action changes parts and settings, may disturb others (drawn, and avoided by care), takes
minutes and parts, and leaves something that must be checked afterwards.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from math import inf
from types import MappingProxyType

from grader import tables
from grader.bench.draws import STEADY, Draws, Steady
from grader.bench.signs import LEAD_OFF_MM
from grader.errors import BadTable, Refused, Unknown
from grader.reference.spark.points import full_lift, gap_of_dwell
from grader.vehicle.car import AS_MADE, IDLE, MM_PER_IN, Car, Running
from grader.vehicle.faults import cylinder_at
from grader.vehicle.standard import CRANK_SHOP, running
from grader.vehicle.state import idle_opening_mm2, solve

COLUMNS = (
    "key",
    "title",
    "minutes",
    "minutes_per_cylinder",
    "parts",
    "parts_per_cylinder",
    "disturbs",
    "then",
    "note",
)
COIL_LEAD = "coil lead"
MARKED_MINUTES = 1.0  # to mark the leads, the wires or the place of the distributor before taking them off
TURNS_DEG = 20.0  # as far as the body can be turned in its clamp, crank degrees
_SET_DWELL_DEG, _SET_TIMING_DEG = 0.5, 1.0  # how near a setting comes


@dataclass(frozen=True, slots=True)
class Action:
    """One row of datasets/actions.csv.

    minutes and parts are (fixed, for each cylinder); a unit of parts costs as much as a
    minute. disturbs: what the action may upset. then: actions and instruments that must follow.
    """

    key: str
    title: str
    minutes: tuple[float, float]
    parts: tuple[float, float]
    disturbs: str
    then: tuple[str, ...]
    note: str

    def minutes_on(self, car: Car, marked: bool = False) -> float:
        """Minutes on a car, with those for marking what comes off."""
        return self.minutes[0] + self.minutes[1] * car.cylinders + MARKED_MINUTES * marked

    def parts_on(self, car: Car) -> float:
        """Cost of the parts on a car, in minutes."""
        return self.parts[0] + self.parts[1] * car.cylinders


@dataclass(frozen=True, slots=True)
class How:
    """How an action is done.

    at: cylinder number, or "coil lead", for an action on one. marked: leads, wires or place
    were marked before they came off. gapped: new plugs were gapped and not fitted from the box.
    """

    at: int | str = 0
    marked: bool = False
    gapped: bool = True


@cache
def actions() -> Mapping[str, Action]:
    """Every action by its key.

    Raises
    ------
    BadTable
        A row of datasets/actions.csv without a change of ours, or the other way round.
    """
    rows = {row["key"]: _action(row) for row in tables.rows("actions.csv", COLUMNS)}
    if set(rows) != set(_DONE):
        odd = ", ".join(sorted(set(rows) ^ set(_DONE)))
        raise BadTable(f"datasets/actions.csv and the changes of grader/bench/actions.py differ in {odd}.")
    return MappingProxyType(rows)


def action(key: str) -> Action:
    """One action by its key.

    Raises
    ------
    Unknown
        No such key.
    """
    try:
        return actions()[key]
    except KeyError:
        raise Unknown(f"No action {key!r}; see datasets/actions.csv.") from None


def do(car: Car, key: str, draws: Draws | Steady = STEADY, how: How = How()) -> Car:
    """The car after an action.

    Parameters
    ----------
    car : Car
    key : str
        Of the action.
    draws : Draws or STEADY
        Where scatter and mishaps come from.
    how : How

    Raises
    ------
    Unknown
        No such action.
    Refused
        It cannot be done on this car as it stands; says why.
    """
    action(key)
    return _DONE[key](car, draws, how)


def _action(row):
    return Action(
        key=row["key"],
        title=row["title"],
        minutes=(float(row["minutes"]), float(row["minutes_per_cylinder"])),
        parts=(float(row["parts"]), float(row["parts_per_cylinder"])),
        disturbs=row["disturbs"],
        then=tuple(row["then"].split()),
        note=row["note"],
    )


# Settings.


def _set_dwell(car, draws, how):
    lift = full_lift(MM_PER_IN * car.spec.gap_in, car.spec.dwell_deg, car.cylinders)
    dwell = car.spec.dwell_deg + draws.normal(_SET_DWELL_DEG)
    return replace(car, gap_mm=float(gap_of_dwell(dwell, lift, car.cylinders)))


def _set_timing(car, draws, how):
    if abs(car.shift_deg) > TURNS_DEG:
        raise Refused(
            "The body cannot be turned far enough: number one's terminal is not where the rotor points. "
            "Refit the distributor first."
        )
    off = draws.normal(_SET_TIMING_DEG)
    car = replace(car, wander_deg=0.0)
    for _ in range(4):  # turning the body moves the idle speed, and with it the weights
        short = car.spec.initial_deg + off - _mark_deg(car)
        if abs(short) < 0.01:
            break
        car = replace(car, body_deg=min(max(car.body_deg + short, -TURNS_DEG), TURNS_DEG))
    return car


def _mark_deg(car):
    state = solve(car, Running(IDLE, line=False))
    return (state if state.runs else solve(car, running(CRANK_SHOP, car.spec))).mark_deg


def _set_idle(car, draws, how):
    opening = idle_opening_mm2(car)
    if not 0.4 < opening / car.idle_area_mm2 < 2.5:
        raise Refused(
            f"The idle cannot be brought to {car.spec.idle_rpm} rev/min with the screw alone: find what is wrong first."
        )
    return replace(car, idle_area_mm2=opening)


# Parts. A gap that is touched moves a little.


def _nudged(car, draws):
    return replace(car, gap_mm=car.gap_mm * (1.0 + draws.uniform(-0.05, 0.05)))


def _nudging(**fields):
    return lambda car, draws, how: _nudged(replace(car, **fields), draws)


def _put(**fields):
    return lambda car, draws, how: replace(car, **fields)


def _clean_points(car, draws, how):
    car = replace(car, film=False, pitting=0.5 * car.pitting, contact_ohm=max(0.02, 0.5 * car.contact_ohm))
    return _nudged(car, draws)


def _fit_points(car, draws, how):
    gap = MM_PER_IN * car.spec.gap_in * draws.uniform(0.85, 1.15)
    film = draws.chance(0.1)  # preservative left on the contacts
    return replace(car, gap_mm=gap, contact_ohm=0.02, pitting=0.0, spring_n=5.5, film=film)


def _fit_coil(car, draws, how):
    wrong = draws.chance(0.05) and not how.marked
    return replace(
        car,
        coil_share=1.0,
        coil_hot_share=1.0,
        coil_flash_kv=inf,
        reversed=car.reversed != wrong,
        coil_ohm=car.card.coil_ohm,
        coil_mh=car.card.coil_mh,
    )


def _swap_lt(car, draws, how):
    return replace(car, reversed=not car.reversed)


def _fit_ballast(car, draws, how):
    return replace(car, ballast_ohm=car.card.ballast_ohm, ballast_open=False)


def _battery(car, draws, how):
    return replace(car, crank_v=0.98 * car.card.crank_v)


def _mixed_up(car, draws, how):
    """Two leads changed over where they were taken off unmarked."""
    mixed, place = draws.chance(0.04), int(draws.uniform(0, car.cylinders))
    if not mixed or how.marked or car.lead_swap:
        return car
    return replace(car, lead_swap=(cylinder_at(car.spec, place), cylinder_at(car.spec, place + 1)))


def _fit_cap(car, draws, how):
    each = car.cylinders
    return _mixed_up(replace(car, cap_gap_mm=(0.0,) * each, cap_flash_kv=(inf,) * each, button_gap_mm=0.0), draws, how)


def _one_of(values, number, value):
    return (*values[: number - 1], value, *values[number:])


def _fit_lead(car, draws, how):
    if how.at == COIL_LEAD:
        return replace(car, king_break_mm=0.0, king_kohm=5.0)
    number = _cylinder(car, how)
    car = replace(
        car,
        lead_kohm=_one_of(car.lead_kohm, number, 8.0),
        lead_break_mm=_one_of(car.lead_break_mm, number, 0.0),
        lead_flash_kv=_one_of(car.lead_flash_kv, number, inf),
    )
    return replace(car, lead_spacing_mm=20.0) if draws.chance(0.05) else car


def _cylinder(car, how):
    if how.at not in range(1, car.cylinders + 1):
        raise Refused(f"Say which lead: a cylinder from 1 to {car.cylinders}, or the {COIL_LEAD}.")
    return how.at


def _fit_leads(car, draws, how):
    each = car.cylinders
    car = replace(
        car,
        lead_kohm=(8.0,) * each,
        lead_break_mm=(0.0,) * each,
        lead_flash_kv=(inf,) * each,
        king_break_mm=0.0,
        king_kohm=5.0,
    )
    return _mixed_up(car, draws, how)


def _lay_order(car, draws, how):
    pushed_home = tuple(0.0 if gap >= LEAD_OFF_MM else gap for gap in car.lead_break_mm)
    return replace(car, lead_swap=(), lead_break_mm=pushed_home)


def _lead_left_off(car, draws):
    off, number = draws.chance(0.02), 1 + int(draws.uniform(0, car.cylinders))
    return replace(car, lead_break_mm=_one_of(car.lead_break_mm, number, LEAD_OFF_MM)) if off else car


def _clean_plugs(car, draws, how):
    each = car.cylinders
    car = replace(
        car,
        plug_gap_mm=(MM_PER_IN * car.card.plug_gap_in,) * each,
        rounding=tuple(0.4 * edge for edge in car.rounding),
        shunt_mohm=(100.0,) * each,
        bridged=(False,) * each,
        fuel_wet=(False,) * each,
    )
    return _lead_left_off(car, draws)


def _fit_plugs(car, draws, how):
    each, gap = car.cylinders, MM_PER_IN * car.card.plug_gap_in
    boxed = tuple(gap * draws.uniform(0.9, 1.15) for _ in range(each))
    car = replace(
        car,
        plug_gap_mm=(gap,) * each if how.gapped else boxed,
        rounding=(0.0,) * each,
        shunt_mohm=(1000.0,) * each,
        nose_mm=(14.0,) * each,
        plug_flash_kv=(inf,) * each,
        bridged=(False,) * each,
        fuel_wet=(False,) * each,
        kmiles=0.0,
    )
    return _lead_left_off(car, draws)


def _fit_vacuum(car, draws, how):
    pulled = draws.chance(0.05)  # a careless pull on the line shifts the table
    return replace(car, leak_inhg_s=0.0, vacuum_shift_inhg=1.0 if pulled else 0.0)


def _hose(car, draws, how):
    leak = 0.0 if not car.leak_near else car.leak_area_mm2  # what came in at the open end
    return replace(car, hose=AS_MADE, leak_area_mm2=leak)


def _weights(car, draws, how):
    return _nudged(replace(car, weights_stuck=False, weight_preload=1.0), draws)


def _distributor(car, draws, how):
    car = replace(car, play_mm=0.0, weights_stuck=False, weight_preload=1.0, plate_stuck=False)
    return _put_back(car, draws, how)


def _put_back(car, draws, how):
    """A distributor that was out stands a little off, and a tooth off where its place was not marked."""
    turned, tooth = draws.uniform(-6.0, 6.0), draws.chance(0.05)
    shift = -55.0 if tooth and not how.marked else 0.0
    return _nudged(replace(car, body_deg=turned, shift_deg=shift), draws)


def _refit(car, draws, how):
    return replace(car, shift_deg=0.0, body_deg=draws.uniform(-6.0, 6.0))


_DONE = {
    "set_dwell": _set_dwell,
    "set_timing": _set_timing,
    "set_idle": _set_idle,
    "route": _put(lead_spacing_mm=60.0, lead_permittivity=1.0),
    "lay_order": _lay_order,
    "clean_points": _clean_points,
    "fit_points": _fit_points,
    "fit_condenser": _put(condenser_uf=0.22, condenser_short=False),
    "fit_coil": _fit_coil,
    "swap_lt": _swap_lt,
    "fit_ballast": _fit_ballast,
    "mend_feed": _put(feed_open=False, switch_ohm=0.0),
    "mend_bypass": _put(bypass_ok=True),
    "battery": _battery,
    "mend_lt": _nudging(lt_short=False, pigtail_deg=inf),
    "fit_rotor": _put(rotor_gap_mm=0.7, rotor_flash_kv=inf),
    "fit_cap": _fit_cap,
    "fit_lead": _fit_lead,
    "fit_leads": _fit_leads,
    "clean_dry": _put(damp_flash_kv=26.0),
    "clean_plugs": _clean_plugs,
    "fit_plugs": _fit_plugs,
    "fit_vacuum": _fit_vacuum,
    "free_plate": _nudging(plate_stuck=False),
    "hose": _hose,
    "weights": _weights,
    "distributor": _distributor,
    "refit": _refit,
    "damper": _put(ring_slip_deg=0.0),
    "sound": _put(),
}
