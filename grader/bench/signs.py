"""What each test of the bench finds on a car: figures, and the word a mechanic has for them.

A sign has figures, which follow from the car's states, and a word, which follows from the
figures and the limits below. An instrument puts its scatter on the figures in between; the
table of checks reads them without. A look has no figure: its word is what can be seen.
Limits compare with the sound car of the same manual at sea level and 20 degrees C, as a
mechanic compares with a printed figure; how the car pulls and what it burns, with the
sound car in the same air.
"""

from __future__ import annotations

from bisect import bisect
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from math import inf, isnan, nan
from typing import Any

import numpy as np

from grader import tables
from grader.errors import BadTable, Unknown
from grader.reference.spark.breakdown import demand_factor, reach_cm
from grader.reference.spark.cables import lead_state
from grader.reference.spark.coil import shunt_factor
from grader.reference.spark.insulation import flash_kv
from grader.reference.spark.tester import KEEP_SHARE, firing_pressure_psia, gauge_psig
from grader.reference.timing.advance import leaking_vacuum_inhg
from grader.vehicle.car import AS_MADE, MM_PER_IN, Car, Surroundings
from grader.vehicle.spec import Vehicle
from grader.vehicle.standard import (
    CRANK_COLD,
    CRANK_DAMP,
    CRANK_HOT,
    CRANK_SHOP,
    CRUISE,
    FREE_MID,
    FREE_TOP,
    HILL,
    HILL_HOT,
    HILL_WET,
    IDLING,
    IDLING_PLUGGED,
    SPEED,
    States,
)
from grader.vehicle.state import sound_car

COLUMNS = ("sign", "instrument", "title", "unit", "resolution", "sd", "sd_share", "results", "limits")
UNREADABLE = "-"  # the engine does not run, or there is no spark to look at
SHOP = Surroundings()

NO_START, HARD_START, SLOW_CRANK = 0.06, 0.5, 0.72  # share of compressions that fire; share of the sound speed
MISSES = 0.03
ROUGH_SCATTER_DEG, SCATTER_DEG, SWING_DEG = 1.8, 1.3, 3.0
UNEVEN = 0.6  # of the fall with one of the better cylinders earthed
SLOW_RPM, FAST_RPM = 90.0, 60.0
WEAK_PULL, POOR_ECONOMY = 0.95, 0.955
GLOWS_C = 850.0
LEAN = 1.17
CRANK_V, NO_VOLTS, LOW_VOLTS, HIGH_VOLTS = 0.93, 0.05, 0.92, 1.25  # of the sound value
DROP_V = 0.2  # across closed points [common practice]
CONDENSER_UF = (0.15, 0.30)
DWELL_DEG = {8: 2.0, 6: 2.5, 4: 3.0}
DWELL_FALL_DEG, MARK_DEG, RISE_DEG, NO_RISE_DEG, LINE_DEG, RING_DEG = 2.0, 2.0, 2.5, 2.0, 2.0, 2.0
PUMP_INHG, PUMP_S, PUMP_FALL_INHG = 15.0, 30.0, 1.5
NO_KV, LOW_KV, HIGH_KV = 0.1, 0.85, 1.2  # of the sound value
TESTER_KV = 20.0
VACUUM_INHG, HOLD_INHG, INHG_PER_M = 1.0, 1.5, 1.0 / 304.8  # one inHg for 1000 ft [common practice]
WEAK_COMPRESSION = 0.85
OILED_LEAK = 0.3  # of what leaks past rings that still does with oil on them
WEAK_BEAT = 0.85  # work of a cylinder at idle, of the best one's, below which the needle beats
WORN_GAP_MM, NARROW_GAP_MM = 0.010 * MM_PER_IN, 0.006 * MM_PER_IN
LEAD_OFF_MM = 15.0  # a "break" so wide that the lead lies beside its plug


class Examined:
    """A car under examination: its states and the sound car's to compare with.

    Parameters
    ----------
    car : Car
    surroundings : Surroundings
    """

    def __init__(self, car: Car, surroundings: Surroundings = SHOP) -> None:
        self.car = car
        self.surroundings = surroundings
        self.states = States(car, surroundings)

    @cached_property
    def card(self) -> States:
        """States of the sound car at sea level in a bay of 20 degrees C."""
        return sound_states(self.car.spec, SHOP)

    @cached_property
    def sound(self) -> States:
        """States of the sound car here and now."""
        return sound_states(self.car.spec, self.surroundings)

    @property
    def as_sound(self) -> Examined:
        """The sound car in the same place, as it looks to who misses what is wrong."""
        return Examined(sound_car(self.car.spec.key), self.surroundings)

    @property
    def idles(self) -> bool:
        """True if the engine keeps running with the throttle closed."""
        return self.states.idles

    @property
    def idles_plugged(self) -> bool:
        """True if it keeps running with the vacuum line off and plugged."""
        return self.states[IDLING_PLUGGED].runs and not self.states.kicks

    @cached_property
    def sparks(self) -> bool:
        """True if the coil gives anything while cranking."""
        return bool(_tower_kv(self.states[CRANK_SHOP]) >= NO_KV * _tower_kv(self.card[CRANK_SHOP]))

    @cached_property
    def falls_rpm(self) -> np.ndarray:
        """Fall of the idle speed with each cylinder earthed, shape (cylinders,) [rev/min]."""
        idle, falls, known = self.states[IDLING], [], {}
        for number in range(1, self.car.cylinders + 1):
            # Cylinders that work alike are alike to the engine: one is earthed for all of them.
            alike = tuple(round(float(part[number - 1]), 9) for part in (idle.imep_bar, idle.fires, idle.cross))
            if alike not in known or self.car.lead_swap or idle.cross.any():
                dead = self.states.earthed(number)
                known[alike] = idle.rpm - (dead.rpm if dead.runs else 0.0)
            falls.append(known[alike])
        return np.array(falls)

    def word(self, sign: str) -> str:
        """The word for one sign, read without scatter."""
        return signs()[sign].of(self)

    def words(self) -> dict[str, str]:
        """The words for all signs, by the name of the sign."""
        return {name: sign.of(self) for name, sign in signs().items()}


@cache
def sound_states(spec: Vehicle, surroundings: Surroundings) -> States:
    """States of the sound car of a vehicle, kept."""
    return States(sound_car(spec.key), surroundings)


@cache
def examined_sound_word(engine: str, sign: str) -> str:
    """The word for one sign on the sound car of an engine."""
    return Examined(sound_car(engine)).word(sign)


@dataclass(frozen=True, slots=True)
class Sign:
    """One line of datasets/readings.csv.

    figures: from an Examined to an array, or None where it cannot be read (a look: to its
    word). word: from figures and Examined to a word of `results`; None for a look. sds: scatter
    of one reading for each figure, absolute; share: the same as part of the figure.
    """

    name: str
    instrument: str
    title: str
    unit: str
    resolution: float
    sds: tuple[float, ...]
    share: float
    results: tuple[str, ...]
    limits: str
    figures: Callable[[Any], Any]
    word: Callable[[Any, Any], str] | None

    @property
    def is_look(self) -> bool:
        """True for a sign without a figure."""
        return self.word is None

    def of(self, examined: Examined) -> str:
        """The word, read without scatter."""
        figures = self.figures(examined)
        if self.word is None:
            return figures
        return UNREADABLE if figures is None else self.word(figures, examined)

    def labels(self, car: Car) -> Sequence[str | None]:
        """A name for each figure, "" for a lone one; None for one that is not shown as a number."""
        if self.name in _LABELS:
            return _LABELS[self.name](car)
        return ("",)

    def may_be_negative(self, index: int) -> bool:
        """True for a figure that is a difference or an angle about a mark."""
        return self.name in _ABOUT_ZERO and index == 0

    def places(self, examined: Examined, word: str) -> Sequence[int]:
        """Numbers of the cylinders where a look shows its word; nothing where that is no matter."""
        return _PLACES.get((self.name, word), lambda x: ())(examined)


@cache
def signs() -> Mapping[str, Sign]:
    """Every sign by its name, in the order of datasets/readings.csv.

    Raises
    ------
    BadTable
        A row without a way to read it, or the other way round.
    """
    rows = {row["sign"]: _sign(row) for row in tables.rows("readings.csv", COLUMNS) if row["sign"] in _READ}
    if set(rows) != set(_READ) or len(rows) != len(tables.rows("readings.csv", COLUMNS)):
        raise BadTable("datasets/readings.csv and grader/bench/signs.py name different signs.")
    return rows


def sign(name: str) -> Sign:
    """One sign by its name.

    Raises
    ------
    Unknown
        No such sign.
    """
    if name not in signs():
        raise Unknown(f"No sign {name!r}; see datasets/readings.csv.")
    return signs()[name]


def _sign(row):
    figures, word, more = _READ[row["sign"]]
    return Sign(
        name=row["sign"],
        instrument=row["instrument"],
        title=row["title"],
        unit=row["unit"],
        resolution=float(row["resolution"] or 0),
        sds=(float(row["sd"] or 0), *more),
        share=float(row["sd_share"] or 0),
        results=tuple(row["results"].split()),
        limits=row["limits"],
        figures=figures,
        word=word,
    )


# What the owner meets: starts, misfires, pull.


def _start(name):
    def word(x):
        state, card = x.states[name], x.card[name]
        fires = float(state.fires.mean())
        if fires < NO_START:
            return "none"
        if not x.idles:
            return "dies"
        return "hard" if fires < HARD_START or state.rpm < SLOW_CRANK * card.rpm else "ok"

    return word


def _misses(state):
    return float(state.misses.max()) > MISSES


def _running(word):
    """A sign that only a running engine shows."""
    return lambda x: word(x) if x.idles else UNREADABLE


def _miss(name):
    return _running(lambda x: "x" if _misses(x.states[name]) else "o")


def _only_then(name):
    """A misfire uphill that is there in one condition and not in the dry and warm."""
    return _running(lambda x: "x" if _misses(x.states[name]) and not _misses(x.states[HILL]) else "o")


def _idle(x):
    rough = _misses(x.states[IDLING]) or x.states[IDLING].scatter_deg > ROUGH_SCATTER_DEG or _weak(x.falls_rpm)
    return "rough" if rough else "N"


def _power(x):
    weak = any(x.states[at].torque_nm < WEAK_PULL * x.sound[at].torque_nm for at in (HILL, SPEED))
    return "low" if weak else "N"


def _economy(x):
    here, sound = x.states[CRUISE], x.sound[CRUISE]
    return "poor" if here.torque_nm / here.fuel_g_s < POOR_ECONOMY * sound.torque_nm / sound.fuel_g_s else "N"


def _ping(x):
    full = [x.states[at] for at in (HILL, SPEED)]
    return "x" if any(state.knock_margin_deg < 0 or state.nose_c.max() >= GLOWS_C for state in full) else "o"


def _spit(x):
    crossed = x.car.cylinders == 4 and max(x.states[at].cross.max() for at in (HILL, SPEED)) > MISSES
    return "x" if crossed or x.car.lead_swap or x.states[SPEED].air_ratio.max() > LEAN else "o"


# Figures, and the words for them.


def _classes(limits, words):
    """A word by the place of one figure among limits, which an Examined gives in rising order."""
    return lambda figures, x: words[bisect(limits(x), float(figures[0]))]


def _one(figure):
    """A single figure as an array; None stays None."""

    def figures(x):
        value = figure(x)
        return None if value is None else np.array([value], dtype=float)

    return figures


def _share_of_card(name, attribute):
    return lambda x: [part * getattr(x.card[name], attribute) for part in (NO_VOLTS, LOW_VOLTS, HIGH_VOLTS)]


def _drop(x):
    """A meter reads no volts too where no current comes: only the open points tell a dead feed from a good contact."""
    return x.states[IDLING].drop_v


def _condenser(x):
    return -1.0 if x.car.condenser_short else x.car.condenser_uf


def _dwell_state(x):
    return x.states[IDLING_PLUGGED if x.idles_plugged else CRANK_SHOP]


def _dwell(x):
    state = _dwell_state(x)
    return None if isnan(state.dwell_deg) else np.array([state.dwell_deg, state.dwell_swing_deg])


def _dwell_word(figures, x):
    spec, lobe = x.car.spec, 360.0 / x.car.cylinders
    dwell, swing = figures
    if dwell > lobe - 0.6:
        return "full"
    if dwell < 0.6:
        return "0"
    if swing > SWING_DEG:
        return "V"
    width = DWELL_DEG[x.car.cylinders]
    return "H" if dwell > spec.dwell_deg + width else "L" if dwell < spec.dwell_deg - width else "N"


def _dwell_top(x):
    if not (x.idles_plugged and x.states[FREE_TOP].runs):
        return None
    top, idle = x.states[FREE_TOP], x.states[IDLING_PLUGGED]
    return np.array([top.dwell_deg - idle.dwell_deg, top.dwell_swing_deg])


def _dwell_top_word(figures, x):
    return "V" if figures[1] > SWING_DEG else "L" if figures[0] < -DWELL_FALL_DEG else "N"


def _mark(x):
    state = x.states[IDLING_PLUGGED]
    if x.idles_plugged:
        return np.array([state.mark_deg, state.scatter_deg])
    # A standing engine is looked at with number one on compression: does the rotor point to its terminal?
    return np.array([nan, nan]) if x.car.shift_deg else None


def _mark_word(figures, x):
    mark, scatter = figures
    if isnan(mark):
        return "off"
    return "E" if scatter > SCATTER_DEG else "RNA"[bisect(_about(x.car.spec.initial_deg, MARK_DEG), float(mark))]


def _about(middle, width):
    return [middle - width, middle + width]


def _rise_of(states, name):
    """Rise of the mark, or None if the engine does not hold the speed."""
    if not (states[IDLING_PLUGGED].runs and states[name].runs):
        return None
    return _mark_rise(states, name)


def _mark_rise(states, name):
    return states[name].mark_deg - states[IDLING_PLUGGED].mark_deg


def _rise(name):
    def limits(x):
        card = _mark_rise(x.card, name)  # a sound engine holds every speed
        return [NO_RISE_DEG, card - RISE_DEG, card + RISE_DEG]

    return (
        _one(lambda x: _rise_of(x.states, name)),
        _classes(limits, ("0", "lo", "N", "hi")),
        (),
    )


def _line_of(states):
    return states[IDLING].mark_deg - states[IDLING_PLUGGED].mark_deg


def _pump(x):
    """Fall in 30 s, movement of the plate as 1 or 0, and 1 if the idling engine dies as it moves."""
    car = x.car
    fall = PUMP_INHG - float(leaking_vacuum_inhg(PUMP_S, PUMP_INHG, car.leak_inhg_s)) if car.leak_inhg_s else 0.0
    travel = 0.0 if car.plate_stuck else max(degrees for _, degrees in car.spec.vacuum)
    return np.array([fall, float(not car.plate_stuck), float(x.idles and travel >= car.pigtail_deg)])


def _pump_word(figures, x):
    fall, moves, cuts = figures
    return "F" if fall > PUMP_FALL_INHG else "S" if not moves else "cuts" if cuts else "HM"


def _tower_kv(state):
    return min(float(state.coil_kv.mean()), state.car.coil_flash_kv)


def _coil_limits(x):
    return [part * _tower_kv(x.card[CRANK_SHOP]) for part in (NO_KV, LOW_KV, HIGH_KV)]


def _shares(kilovolts, name, x):
    return kilovolts / x.card[name].at_lead_kv


def _of_cylinders(low, all_word="↓"):
    """One, two, or all alike."""
    count = int(np.count_nonzero(low))
    return {1: "one", 2: "two"}.get(count, "") + all_word if count else ""


def _lead_crank_word(figures, x):
    shares = _shares(figures, CRANK_SHOP, x)
    if (shares < NO_KV).all():
        return "0"
    return "↑" if (shares > HIGH_KV).all() else _of_cylinders(shares < LOW_KV) or "N"


def _lead_kv(x):
    """At idle, then at the top check speed; at idle alone if the engine does not reach that."""
    if not x.idles:
        return None
    speeds = [at for at in (IDLING, FREE_TOP) if x.states[at].runs]
    return np.concatenate([x.states[at].at_lead_kv for at in speeds])


def _lead_kv_word(figures, x):
    n = x.car.cylinders
    idle = _shares(figures[:n], IDLING, x)
    top = _shares(figures[n:], FREE_TOP, x) if figures.size > n else idle
    if ((idle > HIGH_KV) & (top > HIGH_KV)).all():
        return "↑"
    low = (idle < LOW_KV) | (top < LOW_KV)
    word = _of_cylinders(low) or "N"
    if word != "↓":
        return word
    return "↓lo" if not (top < LOW_KV).any() else "↓hi" if not (idle < LOW_KV).any() else "↓"


def _lead_ohm(x):
    return np.array([*x.car.lead_kohm, x.car.king_kohm])


def _lead_ohm_word(figures, x):
    renew = np.asarray(lead_state(figures, x.car.card.lead_run_mm)) == "renew"
    if renew[-1]:
        return "coil↑"
    return _of_cylinders(renew[:-1], "↑") or "N"


def _tester(x):
    """Gauge pressure at which each plug, as found, fires from the tester; the last figure is a new plug's."""
    car = x.car
    sharp = _fires_at_psig(TESTER_KV, MM_PER_IN * car.card.plug_gap_in)
    return np.array([*(_as_found_psig(car, place) for place in range(car.cylinders)), sharp])


def _as_found_psig(car, place):
    if car.bridged[place]:
        return 0.0
    supply = min(TESTER_KV * float(shunt_factor(car.shunt_mohm[place])), car.plug_flash_kv[place])
    return _fires_at_psig(supply / float(demand_factor(rounding=car.rounding[place])), car.plug_gap_mm[place])


def _fires_at_psig(supply_kv, gap_mm):
    return max(0.0, float(gauge_psig(firing_pressure_psia(reach_cm(max(supply_kv, 0.9)), gap_mm))))


def _tester_word(figures, x):
    low = figures[:-1] < KEEP_SHARE * figures[-1]
    return "all↓" if np.count_nonzero(low) > 2 else _of_cylinders(low) or "N"


def _weak(falls):
    """How many cylinders pull less than they should, beside the better half of them."""
    better = np.sort(falls)[len(falls) // 2 :].mean()
    return int(np.count_nonzero(falls < UNEVEN * better))


def _cutout_word(figures, x):
    return {0: "even", 1: "one", 2: "two"}.get(_weak(figures), "several")


def _vacuum(x):
    """Level of the needle, and what each cylinder pulls of the share of the best."""
    if not x.idles:
        return None
    pulls = x.states[IDLING].imep_bar
    return np.array([x.states[IDLING].vacuum_inhg, *(pulls / max(float(pulls.max()), 1e-6))])


def _vacuum_word(figures, x):
    if 0 < np.count_nonzero(figures[1:] < WEAK_BEAT) <= 2:
        return "regular"
    idle = x.states[IDLING]
    if _misses(idle) or idle.scatter_deg > ROUGH_SCATTER_DEG:
        return "irregular"
    return ("low", "N", "high")[bisect(_about(_printed_vacuum(x, IDLING), VACUUM_INHG), float(figures[0]))]


def _printed_vacuum(x, name):
    """What is to be expected here: the figure of sea level less one inHg for each 1000 ft."""
    return x.card[name].vacuum_inhg - INHG_PER_M * x.surroundings.altitude_m


def _compression(x):
    """Dry, then with oil in the cylinder, which seals rings for a while and no valve."""
    dry = x.states[IDLING].compression_psig
    leak, rings = np.array(x.car.leak), np.array(x.car.rings)
    return np.concatenate([dry, dry * (1.0 - leak * np.where(rings, OILED_LEAK, 1.0)) / np.maximum(1.0 - leak, 1e-6)])


def _compression_word(figures, x):
    dry = figures[: x.car.cylinders]
    return _of_cylinders(dry < WEAK_COMPRESSION * dry.max()) or "N"


# Looks.


def _points_look(x):
    car = x.car
    low, high = CONDENSER_UF
    for there, word in (
        (car.gap_mm <= 0, "block"),
        (car.film, "film"),
        (car.pigtail_deg < inf, "frayed"),
        (car.pitting >= 0.3, "burnt"),
        (not car.condenser_short and car.condenser_uf < low, "crater_minus"),
        (car.condenser_uf > high, "crater_plus"),
        (x.states[IDLING].feed_v > HIGH_VOLTS * x.card[IDLING].feed_v and not car.film, "burnt"),
    ):
        if there:
            return word
    return "N"


def _cap_look(x):
    car = x.car
    for there, word in (
        (car.rotor_flash_kv < inf, "rotor_track"),
        (min(car.cap_flash_kv) < inf, "track"),
        (car.button_gap_mm > 0.5, "brush"),
        (max(car.cap_gap_mm) > 0.5, "burnt"),
        (car.rotor_gap_mm > 1.2, "rotor_burnt"),
    ):
        if there:
            return word
    return "N"


def _dark(x):
    if not x.sparks:
        return UNREADABLE
    car = x.car
    asked = float(_asked_in_mist_kv(x))
    for there, word in (
        (flash_kv(car.coil_flash_kv, "tower", wet=True) < asked, "coil"),
        (flash_kv(min(car.cap_flash_kv), "cap", wet=True) < asked, "cap"),
        (flash_kv(min(car.lead_flash_kv), "lead", wet=True) < asked, "lead"),
        (x.idles and x.states[HILL].cross.max() > MISSES and not car.lead_swap, "cross"),
        (car.damp_flash_kv < asked, "many"),
    ):
        if there:
            return word
    return "none"


def _asked_in_mist_kv(x):
    """What the worst plug asks for as the throttle is blipped: a full charge for a moment."""
    return x.states[HILL_WET].required_kv.max()


def _under_bonnet(x):
    car = x.car
    for there, word in (
        (bool(car.lead_swap), "order"),
        (car.lead_spacing_mm < 25 or max(car.lead_break_mm) >= LEAD_OFF_MM, "leads"),
        (car.hose != AS_MADE, "hose"),
        (car.wander_deg > 1, "clamp"),
        (car.choke > 0.2, "choke"),
        (car.damp_flash_kv < 20, "dirty"),
    ):
        if there:
            return word
    return "N"


def _plugs(x):
    car, count = x.car, x.car.cylinders
    gaps = np.array(car.plug_gap_mm) - MM_PER_IN * car.card.plug_gap_in
    hottest = np.maximum(x.states[HILL].nose_c, x.states[SPEED].nose_c)
    for mask, word in (
        (np.array(car.bridged), "bridged_one"),
        (np.array(car.oil), "oil_one"),
        (gaps < -NARROW_GAP_MM, "narrow_all"),
        (gaps > WORN_GAP_MM, "worn_all"),
        (hottest >= GLOWS_C, "white_all"),
    ):
        if mask.any():
            return word
    if all(car.fuel_wet) or x.word("start") == "none":
        return "wet_all"
    sooted = int(np.count_nonzero(_sooted(x)))
    return "tan" if not sooted else "soot_" + {1: "one", 2: "two"}.get(min(sooted, count), "all")


def _sooted(x):
    """Plugs that are dry and black: rich, leaky, or firing too seldom under load to burn clean."""
    car = x.car
    black = np.array(car.shunt_mohm) < 10.0
    if x.idles:
        black |= x.states[CRUISE].air_ratio < 0.85
        black |= x.states[HILL].misses > MISSES  # at speed a plug runs hot enough to burn clean
    return black


def _numbers(mask):
    return tuple(int(number) for number in np.flatnonzero(mask) + 1)


def _each(car):
    return [f"number {number}" for number in range(1, car.cylinders + 1)]


_LABELS = {
    "dwell": lambda car: ("", "swing"),
    "dwell_top": lambda car: ("change", "swing"),
    "mark": lambda car: ("", None),
    "pump": lambda car: ("", None, None),
    "lead_crank": _each,
    "lead_kv": lambda car: [f"{name} {at}" for at in ("idle", "top") for name in _each(car)],
    "lead_ohm": lambda car: [*_each(car), "coil lead"],
    "tester": lambda car: [*_each(car), "new"],
    "cutout": _each,
    "vacuum": lambda car: ("", *[None] * car.cylinders),
    "compression": lambda car: [f"{name} {how}" for how in ("dry", "oiled") for name in _each(car)],
}
_ABOUT_ZERO = ("dwell_top", "mark", "rise_mid", "rise_top", "line_on", "tdc")
_PLACES = {
    ("plugs", "soot_one"): lambda x: _numbers(_sooted(x)),
    ("plugs", "soot_two"): lambda x: _numbers(_sooted(x)),
    ("plugs", "oil_one"): lambda x: _numbers(x.car.oil),
    ("plugs", "bridged_one"): lambda x: _numbers(x.car.bridged),
    ("dark", "lead"): lambda x: _numbers(np.isfinite(x.car.lead_flash_kv)),
    ("dark", "cap"): lambda x: _numbers(np.isfinite(x.car.cap_flash_kv)),
    ("cap_look", "track"): lambda x: _numbers(np.isfinite(x.car.cap_flash_kv)),
    ("under_bonnet", "order"): lambda x: tuple(sorted(x.car.lead_swap)),
    ("air_leak", "found"): lambda x: (x.car.leak_near,) * bool(x.car.leak_near),
}

_READ = {
    "start": (_start(CRANK_COLD), None, ()),
    "start_damp": (_start(CRANK_DAMP), None, ()),
    "start_hot": (_start(CRANK_HOT), None, ()),
    "idle": (_running(_idle), None, ()),
    "idle_rpm": (
        _one(lambda x: x.states[IDLING].rpm if x.idles else None),
        _classes(lambda x: [x.car.spec.idle_rpm - SLOW_RPM, x.car.spec.idle_rpm + FAST_RPM], ("slow", "N", "fast")),
        (),
    ),
    "miss_i": (_miss(IDLING), None, ()),
    "miss_h": (_miss(SPEED), None, ()),
    "miss_l": (_miss(HILL), None, ()),
    "cruise_miss": (_miss(CRUISE), None, ()),
    "hot_l": (_only_then(HILL_HOT), None, ()),
    "damp_l": (_only_then(HILL_WET), None, ()),
    "power": (_running(_power), None, ()),
    "economy": (_running(_economy), None, ()),
    "ping": (_running(_ping), None, ()),
    "spit": (_running(_spit), None, ()),
    "crank_v": (
        _one(lambda x: x.car.crank_v),
        _classes(lambda x: [CRANK_V * x.car.card.crank_v], ("L", "N")),
        (),
    ),
    "feed": (
        _one(lambda x: x.states[IDLING].feed_v),
        _classes(_share_of_card(IDLING, "feed_v"), ("0", "L", "N", "H")),
        (),
    ),
    "feed_crank": (
        _one(lambda x: x.states[IDLING].feed_crank_v),
        _classes(_share_of_card(IDLING, "feed_crank_v"), ("0", "L", "N", "H")),
        (),
    ),
    "drop": (_one(_drop), _classes(lambda x: [DROP_V, 0.8 * x.car.running_v], ("N", "H", "full")), ()),
    "open_v": (
        _one(lambda x: x.states[IDLING].open_v),
        _classes(lambda x: [0.5 * x.car.running_v], ("0", "N")),
        (),
    ),
    "points_look": (_points_look, None, ()),
    "condenser": (_one(_condenser), _classes(lambda x: [0.0, *CONDENSER_UF], ("short", "open", "N", "large")), ()),
    "polarity": (lambda x: UNREADABLE if not x.sparks else "rev" if x.car.reversed else "N", None, ()),
    "dwell": (_dwell, _dwell_word, (0.6,)),
    "dwell_top": (_dwell_top, _dwell_top_word, (0.6,)),
    "mark": (_mark, _mark_word, (0.2,)),
    "rise_mid": _rise(FREE_MID),
    "rise_top": _rise(FREE_TOP),
    "line_on": (
        _one(lambda x: _line_of(x.states) if x.idles else None),
        _classes(lambda x: _about(_line_of(x.card), LINE_DEG), ("-less", "N", "+")),
        (),
    ),
    "pump": (_pump, _pump_word, (0.0, 0.0)),
    "tdc": (_one(lambda x: x.car.ring_slip_deg), _classes(lambda x: _about(0.0, RING_DEG), ("off", "N", "off")), ()),
    "air_leak": (_running(lambda x: "found" if x.car.leak_area_mm2 > 0.05 * x.car.idle_area_mm2 else "N"), None, ()),
    "coil_kv": (
        _one(lambda x: _tower_kv(x.states[CRANK_SHOP])),
        _classes(_coil_limits, ("0", "↓", "N", "↑")),
        (),
    ),
    "lead_crank": (lambda x: x.states[CRANK_SHOP].at_lead_kv, _lead_crank_word, ()),
    "lead_kv": (_lead_kv, _lead_kv_word, ()),
    "lead_ohm": (_lead_ohm, _lead_ohm_word, ()),
    "cap_look": (_cap_look, None, ()),
    "dark": (_dark, None, ()),
    "under_bonnet": (_under_bonnet, None, ()),
    "plugs": (_plugs, None, ()),
    "tester": (_tester, _tester_word, ()),
    "cutout": (lambda x: x.falls_rpm if x.idles else None, _cutout_word, ()),
    "vacuum": (_vacuum, _vacuum_word, (0.0,)),
    "vac_hold": (
        _one(lambda x: x.states[FREE_TOP].vacuum_inhg if x.idles and x.states[FREE_TOP].runs else None),
        _classes(lambda x: [_printed_vacuum(x, FREE_TOP) - HOLD_INHG], ("low", "N")),
        (),
    ),
    "compression": (_compression, _compression_word, ()),
}
