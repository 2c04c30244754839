"""Exercises on what there is and what is asked for: reserve, the misfire zone, the shape of a loss, new plugs."""

from collections import Counter
from functools import cache
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from grader.errors import OutOfRange
from grader.exercise import listing
from grader.exercise.kinds import PlotReading
from grader.exercise.model import Absolute, Choice, Exercise, Line, Number, Percent, Slip
from grader.exercise.spread import Pick, Steps
from grader.modules.secondary.leads import gap_kv, rotor_kv
from grader.modules.situations import MANY, chosen
from grader.ranges import FloatOrArray
from grader.reference import angles
from grader.reference.spark import breakdown, coil, insulation, misfire
from grader.reference.timing import advance, combustion, mixture
from grader.units import MM_PER_IN, signed
from grader.vehicle.car import card
from grader.vehicle.spec import vehicle, vehicles

# The lesson's own engine, which no exercise draws: an eight with the generic coil of the reference, at sea level.
CYLINDERS, DWELL_DEG, INITIAL_DEG, COMPRESSION = 8, 30.0, 8.0, 8.5
CENTRIFUGAL = ((375.0, 0.0), (750.0, 5.0), (1100.0, 8.0), (1900.0, 13.0))
VACUUM = ((6.0, 0.0), (14.0, 10.0))
FASTEST_RPM, SLOWEST_RPM, RATED_RPM = 5000, 400, 4500
MOST_KV = 30
FULL_LOAD = 1.0
CLEAN_MOHM = 100.0
MINOR_RPM, MINOR_KV = 50, 1
PLOT_PIXELS = 560  # length of the speed axis of the panel's picture on the page
_CLOSING_SHARE, _CLOSING_K, _BAROMETER_KPA = 0.97, 340.0, 101.3
_EDGES = misfire.EDGE_FACTOR
_SERVED = 0.2  # rounding of the edges of plugs that have run some 5000 miles


def available_kv(speed_rpm: ArrayLike, coil_percent: float = 100.0, shunt_mohm: float = CLEAN_MOHM) -> FloatOrArray:
    """What the lesson's coil gives, points in order; the panel draws the same curve.

    Parameters
    ----------
    speed_rpm : float or array [crank rev/min]
    coil_percent : float
        Of a sound coil's voltage that this one gives.
    shunt_mohm : float
        Leakage across the plug.

    Returns
    -------
    float or array of the shape of speed_rpm [kV]
    """
    current = coil.current_at_opening_a(DWELL_DEG, speed_rpm)
    given = coil.available_voltage_kv(current, speed_rpm)
    return given * (coil_percent / 100.0) * coil.shunt_factor(shunt_mohm)


def advance_deg(speed_rpm: ArrayLike, load: float = FULL_LOAD, late_deg: float = 0.0) -> FloatOrArray:
    """Spark of the lesson's engine before top: initial, weights and vacuum unit, less what it is set late.

    Parameters
    ----------
    speed_rpm : float or array [crank rev/min]
    load : float
        Manifold pressure over barometer.
    late_deg : float [crank degree]

    Returns
    -------
    float or array of the shape of speed_rpm [crank degree]
    """
    weights = advance.centrifugal_advance_deg(angles.distributor_speed_rpm(speed_rpm), CENTRIFUGAL)
    vacuum = advance.vacuum_advance_deg(29.92 * max(0.0, 1.0 - load), VACUUM)
    return INITIAL_DEG + angles.crank_deg(weights) + angles.crank_deg(vacuum) - late_deg


def required_kv(
    speed_rpm: ArrayLike, gap_in: float, load: float = FULL_LOAD, late_deg: float = 0.0, rotor_mm: float = 0.75,
    break_mm: float = 0.0,
) -> FloatOrArray:  # fmt: skip
    """What plug, rotor gap and a break in the lead ask of the lesson's coil; the panel draws the same curve.

    Parameters
    ----------
    speed_rpm : float or array [crank rev/min]
    gap_in : float
        Of the plug.
    load : float
        Manifold pressure over barometer.
    late_deg : float [crank degree]
    rotor_mm, break_mm : float
        Rotor gap (0.5 mm or more); break in the lead's core.

    Returns
    -------
    float or array of the shape of speed_rpm [kV]
    """
    return plug_kv(speed_rpm, gap_in, load, late_deg) + series_kv(rotor_mm, break_mm)


def series_kv(rotor_mm: float, break_mm: float = 0.0) -> float:
    """What rotor gap and a break take, as the bench reckons it.

    Parameters
    ----------
    rotor_mm, break_mm : float

    Returns
    -------
    float [kV]
    """
    rotor = rotor_kv(rotor_mm) if rotor_mm <= 1.0 else gap_kv(rotor_mm)
    broken = insulation.series_gap_kv(breakdown.uniform_voltage_kv(max(break_mm, insulation.LEAST_LAW_MM)), break_mm)
    return rotor + float(broken)


def plug_kv(speed_rpm: ArrayLike, gap_in: float, load: float = FULL_LOAD, late_deg: float = 0.0) -> FloatOrArray:
    """What the plug alone asks for in the lesson's engine.

    Parameters
    ----------
    speed_rpm : float or array [crank rev/min]
    gap_in, load, late_deg
        As `required_kv`.

    Returns
    -------
    float or array of the shape of speed_rpm [kV]
    """
    early = np.maximum(advance_deg(speed_rpm, load, late_deg), -25.0)
    kpa = combustion.pressure_at_spark_kpa(early, _CLOSING_SHARE * _BAROMETER_KPA * load, COMPRESSION)
    kelvin = combustion.temperature_at_spark_k(early, _CLOSING_K, COMPRESSION)
    electrode = misfire.electrode_c(load, np.asarray(speed_rpm) / RATED_RPM)
    factor = _EDGES * breakdown.demand_factor(
        rounding=_SERVED, air_ratio=mixture.road_air_ratio(load), electrode_c=electrode
    )
    return factor * breakdown.uniform_voltage_kv(gap_in * MM_PER_IN, breakdown.relative_density(0.01 * kpa, kelvin))


# Reserve at one speed.


def _engine_at_speed(parameters):
    """Pressure and heat at the spark, what the coil gives, for one of the teaching engines at full load."""
    spec, engine = vehicle(parameters["engine"]), card(vehicle(parameters["engine"]))
    speed = 50 * round(engine.rated_rpm * parameters["speed_percent"] / 100 / 50)
    weights = advance.centrifugal_advance_deg(angles.distributor_speed_rpm(speed), spec.centrifugal)
    early = spec.initial_deg + angles.crank_deg(weights)
    kpa = combustion.pressure_at_spark_kpa(early, _CLOSING_SHARE * _BAROMETER_KPA, engine.compression_ratio)
    kelvin = combustion.temperature_at_spark_k(early, _CLOSING_K, engine.compression_ratio)
    electrode = misfire.electrode_c(FULL_LOAD, speed / engine.rated_rpm)
    factor = _EDGES * breakdown.demand_factor(
        rounding=parameters["rounding"], air_ratio=mixture.road_air_ratio(FULL_LOAD), electrode_c=electrode
    )
    ohms = engine.coil_ohm + engine.ballast_ohm
    current = coil.current_at_opening_a(spec.dwell_deg, speed, engine.running_v, ohms, engine.coil_mh)
    return {
        "title": spec.title,
        "speed_rpm": speed,
        "bar": round(float(kpa) / 100, 1),
        "gas_c": 5 * round((float(kelvin) - 273) / 5),
        "factor": round(float(factor), 2),
        "available_kv": round(
            float(coil.available_voltage_kv(current, speed, engine.coil_mh)) * parameters["coil_percent"] / 100, 1
        ),
    }  # fmt: skip


def _density(v):
    return v.bar / 1.013 * 293 / (v.gas_c + 273)


def _reach_cm(v):
    return v.gap_in * MM_PER_IN / 10 * _density(v)


def asked_kv(v: Any, reach_cm: float | None = None, reversed_polarity: bool | None = None) -> float:
    """What the plug of a drawn engine asks for [kV]; reach is gap in cm times density."""
    way = v.way == "reversed" if reversed_polarity is None else reversed_polarity
    reach = _reach_cm(v) if reach_cm is None else reach_cm
    factor = v.factor * (breakdown.REVERSED if way else 1.0)
    return factor * (breakdown.LINEAR * reach + breakdown.ROOT * reach**0.5)


_WAYS = MappingProxyType({
    "right": "The coil is connected the right way round.",
    "reversed": "The coil is connected the wrong way round, so the plugs ask for 1.225 times as much.",
})  # fmt: skip

RESERVE = Exercise(
    key="m05.reserve",
    version=1,
    marking=1,
    title="What is left over",
    text=(
        "The {title} works with full throttle at {speed_rpm} rev/min. When the spark is due, the cylinder holds {bar:g} bar "
        "(absolute) at {gas_c} °C. The plug gap is {gap_mm} mm ({gap_in:.3f} in). The shape of its edges, the mixture and the hot electrodes together make "
        "{factor:.2f} of the lesson's law. {way_words} The coil gives {available_kv:g} kV, and the rotor gap is {rotor_mm:g} mm. "
        "How many kV does the plug ask for, and what is left as reserve?"
    ),
    # Gaps of 0.6 to 1.1 mm, engines at a fifth to nine tenths of their rated speed, rotor gaps of 0.5 to 1.0 mm (practice).
    draw={
        "engine": Pick(tuple(key for key, spec in vehicles().items() if spec.battery_v == 12)),
        "speed_percent": Steps(25, 95, 5), "gap_in": Steps(24, 42, scale=1000), "rounding": Steps(0, 8, 1, scale=10),
        "way": Pick(("right", "right", "reversed")), "rotor_mm": Steps(50, 100, 5, scale=100),
        "coil_percent": Steps(60, 100, 5),  # a tired coil still gives 60 per cent (practice)
    },
    fill=_engine_at_speed,
    show=lambda v: {"gap_mm": f"{v.gap_in * MM_PER_IN:.2f}", "way_words": _WAYS[v.way]},
    parts=(
        Number(
            key="required", prompt="The plug asks for", unit="kV", also=("V",), marks=1, step=0.1,
            answer=asked_kv,
            within=Percent(2.5, "the law worked to three figures, the gap in either unit"), possible=(0.5, 300.0), objectives=("S7",),
            slips=(
                Slip("celsius",
                     "You put the degrees of the thermometer into the density. Add 273 to both temperatures first.",
                     lambda v: asked_kv(v, v.gap_in * 2.54 * v.bar / 1.013 * 20 / v.gas_c)),
                Slip("heat-forgotten",
                     "You left the heat out. Hot gas is thin: multiply the density by 293 and divide by the hot degrees plus 273.",
                     lambda v: asked_kv(v, v.gap_in * 2.54 * v.bar / 1.013)),
                Slip("mm-for-cm",
                     "You put mm into the law. It wants cm: divide by 10 first.",
                     lambda v: asked_kv(v, 10 * _reach_cm(v))),
                Slip("polarity-forgotten",
                     "You left out the wrong polarity. The plugs then ask for 1.225 times as much.",
                     lambda v: asked_kv(v, reversed_polarity=False) if v.way == "reversed" else None),
            ),
        ),
        Number(
            key="reserve", prompt="Reserve (too little: with a minus)", unit="kV", also=("V",), marks=1, step=0.1,
            answer=lambda v, asked: v.available_kv - asked - rotor_kv(v.rotor_mm),
            uses=("m05.reserve.required",),
            within=Absolute(0.3, "the law worked to three figures, for some 10 kV"), possible=(-60.0, 40.0), objectives=("S6", "S7"),
            slips=(
                Slip("rotor-forgotten",
                     "You forgot the rotor gap. It lies in the spark's way too: take its 1 to 3 kV off as well.",
                     lambda v, asked: v.available_kv - asked),
                Slip("rotor-added",
                     "You added the rotor gap. It takes voltage: subtract it.",
                     lambda v, asked: v.available_kv - asked + rotor_kv(v.rotor_mm)),
            ),
        ),
    ),
    route=lambda v: (
        f"Density: {v.bar:g} ÷ 1.013 × 293 ÷ ({v.gas_c} + 273) = {_density(v):.4f} times free air.",
        f"Gap in cm times density: {v.gap_in * MM_PER_IN / 10:.5f} × {_density(v):.4f} = {_reach_cm(v):.4f}.",
        Line(
            f"Asked: {v.factor:.2f} × {'1.225 × ' if v.way == 'reversed' else ''}(24.22 × {_reach_cm(v):.4f} + 6.08 × "
            f"√{_reach_cm(v):.4f}) = {asked_kv(v):.2f} kV.",
            "required",
        ),
        f"Rotor gap: 1 + 2 × ({v.rotor_mm:g} − 0.5) ÷ 0.5 = {rotor_kv(v.rotor_mm):.1f} kV.",
        Line(
            f"Reserve: {v.available_kv:g} − {asked_kv(v):.2f} − {rotor_kv(v.rotor_mm):.1f} = "
            f"{signed(f'{round(v.available_kv - round(asked_kv(v), 2) - rotor_kv(v.rotor_mm), 1) + 0.0:.1f}')} kV.",
            "required", "reserve",
        ),
    ),
)  # fmt: skip


# Where the misfire begins and ends.

_GRID_RPM = np.arange(SLOWEST_RPM, FASTEST_RPM + 1, 10.0)
_ZONE_GAPS, _ZONE_COILS, _ZONE_LATE, _ZONE_ROTORS = (
    range(34, 65),
    range(55, 111, 5),
    (-8, -4, 0, 4, 8),
    (0.5, 0.75, 1.0, 2.0),
)
_SHARED = 8
_NARROWEST_KV = 0.5  # reserve between the two ends of the zone, so that both are seen


def reserve_curve_kv(
    speeds: np.ndarray, gap_in: float, coil_percent: float, late_deg: float, rotor_mm: float
) -> np.ndarray:
    """Available less required of the lesson's engine at full load.

    Parameters
    ----------
    speeds : array [crank rev/min]
    gap_in, coil_percent, late_deg, rotor_mm : float

    Returns
    -------
    array of the shape of speeds [kV]
    """
    asked = required_kv(speeds, gap_in, late_deg=late_deg, rotor_mm=rotor_mm)
    return np.asarray(available_kv(speeds, coil_percent)) - np.asarray(asked)


def _ends(speeds, reserve):
    """Where the reserve comes up through nothing and where it falls through it again; None if it does not do both once."""
    over = reserve > 0
    if over[0] or over[-1] or not over.any():
        return None
    inside = np.flatnonzero(over)
    if inside[-1] - inside[0] + 1 != inside.size or reserve.max() < _NARROWEST_KV:
        return None
    return _nothing_left(speeds, reserve, inside[0] - 1), _nothing_left(speeds, reserve, inside[-1])


def _nothing_left(speeds, reserve, k) -> float:
    """Between two points of the grid, where the straight line is zero."""
    return float(speeds[k] - reserve[k] * (speeds[k + 1] - speeds[k]) / (reserve[k + 1] - reserve[k]))


@cache
def _zones():
    """Settings of the panel with a zone at both ends, by the speeds to the next 50 at which they begin: fast, then slow."""
    asked = {
        (gap, late): np.asarray(plug_kv(_GRID_RPM, gap / 1000, late_deg=late))
        for gap in _ZONE_GAPS
        for late in _ZONE_LATE
    }
    given = {share: np.asarray(available_kv(_GRID_RPM, share)) for share in _ZONE_COILS}
    settings_at: dict[int, dict[int, list]] = {}
    for (gap, late), plug in asked.items():
        for share, kv in given.items():
            for rotor in _ZONE_ROTORS:
                ends = _ends(_GRID_RPM, kv - plug - series_kv(rotor))
                if ends is not None and ends[1] - ends[0] > 600 and ends[1] < FASTEST_RPM - 100:
                    setting = {"gap_in": gap / 1000, "coil_percent": share, "late_deg": late, "rotor_mm": rotor}
                    slow, fast = (50 * round(end / 50) for end in ends)
                    settings_at.setdefault(fast, {}).setdefault(slow, []).append(setting)
    # Of the pairs of ends at most so many share one end: else one speed would be right for too many.
    kept, shared = [], Counter()
    for fast, slows in sorted(settings_at.items()):
        for slow, many in sorted(slows.items(), key=lambda pair: shared["slow", pair[0]]):
            if shared["slow", slow] < _SHARED and shared["fast", fast] < _SHARED:
                shared.update([("slow", slow), ("fast", fast)])
                kept.append(tuple(many))
    return tuple(kept)


def _one_zone(drawn):
    """Each pair of ends as likely as any other, so that no one speed is right for many."""
    return dict(chosen(chosen(_zones(), drawn["ends"]), drawn["which"]))


def zone_ends(v: Any) -> tuple[float, float]:
    """Up to which speed it fails at the slow end, and from which on at the fast end [crank rev/min]."""
    return _edges_of(v.gap_in, v.coil_percent, v.late_deg, v.rotor_mm)


@cache
def _edges_of(gap_in: float, coil_percent: float, late_deg: float, rotor_mm: float) -> tuple[float, float]:
    ends = _ends(_GRID_RPM, reserve_curve_kv(_GRID_RPM, gap_in, coil_percent, late_deg, rotor_mm))
    if ends is None:
        raise OutOfRange("These settings of the panel have no zone at either end.")
    return ends


@cache
def _peak_rpm():
    return float(_GRID_RPM[np.argmax(available_kv(_GRID_RPM))])


def _late(late_deg):
    return f"{late_deg}° late" if late_deg > 0 else f"{-late_deg}° early" if late_deg else "as specified (0° late)"


_READ = Absolute(35, "width of the drawn line, and a ruler that moves by 10 rev/min")

ZONE = Exercise(
    key="m05.zone",
    version=1,
    marking=1,
    title="Where it misses",
    text=(
        "Set the panel “What there is, and what is asked for” so: plug gap {gap_in:.3f} in ({gap_mm} mm), full throttle (load 1.00), spark {late_words}, "
        "no leakage, coil {coil_percent} per cent, lead sound, rotor gap {rotor_mm:.2f} mm. The hatched zones show where the spark fails. "
        "Up to which engine speed does it fail at the slow end? From which speed on does it fail at the fast end?"
    ),
    # Plugs of 0.034 to 0.064 in come back from service; a tired coil gives 55 per cent, a stronger one 110; rotors burn to
    # 2 mm; timing is found up to 8 degrees off (practice).
    draw={"ends": MANY, "which": MANY},
    fill=_one_zone,
    show=lambda v: {
        "gap_mm": f"{v.gap_in * MM_PER_IN:.2f}", "late_words": _late(v.late_deg),
    },
    parts=(
        PlotReading(
            key="slow", prompt="Slow end: it fails up to", unit="engine rev/min", marks=1, step=10, minor=MINOR_RPM,
            pixel=FASTEST_RPM / PLOT_PIXELS, answer=lambda v: zone_ends(v)[0], within=_READ,
            possible=(100.0, float(FASTEST_RPM)), objectives=("S8", "S7"),
            slips=(
                Slip("other-end", "That is the fast end. At the slow end the plugs ask for most, and the points arc.",
                     lambda v: zone_ends(v)[1]),
                Slip("peak-read", "That is where the coil gives most. Look where the two curves cross.", lambda v: _peak_rpm()),
            ),
        ),
        PlotReading(
            key="fast", prompt="Fast end: it fails from", unit="engine rev/min", marks=1, step=10, minor=MINOR_RPM,
            pixel=FASTEST_RPM / PLOT_PIXELS, answer=lambda v: zone_ends(v)[1], within=_READ,
            possible=(100.0, float(FASTEST_RPM)), objectives=("S8", "S7"),
            slips=(
                Slip("other-end", "That is the slow end. At the fast end the points are closed too briefly.",
                     lambda v: zone_ends(v)[0]),
            ),
        ),
    ),
    route=lambda v: (
        Line(f"At the slow end the curves cross at {zone_ends(v)[0]:.0f} rev/min: below it the plugs ask for more than there is.", "slow"),
        Line(f"At the fast end they cross at {zone_ends(v)[1]:.0f} rev/min: above it the coil gives less than is asked.", "fast"),
        "Between them the spark jumps.",
    ),
)  # fmt: skip

# The shape of a loss.

_SPEEDS = (600, 1200, 2400, 4000)
_LOSSES = MappingProxyType({
    "all": "The coil or the condenser: the same share is missing at every speed.",
    "slow": "Burnt points: they arc as they open slowly, so the loss is at low speed.",
    "fast": "The point gap is too wide: too little dwell, so the loss is at high speed.",
    "leak": "A leak in cap, rotor or lead: at every speed the voltage stops at the same height.",
    "asks": "The plugs: the coil gives what it gave, and the plugs ask for more.",
})  # fmt: skip
_SHARES = MappingProxyType(
    {"all": (0.55, 0.75), "slow": (0.85, 1.15), "fast": (20.0, 23.0), "leak": (11.0, 14.0), "asks": (14, 24)}
)


def _given_by(dwell_deg=DWELL_DEG, opening=1.0):
    speeds = np.array(_SPEEDS, dtype=float)
    current = coil.current_at_opening_a(dwell_deg, speeds)
    return np.asarray(coil.available_voltage_kv(current, speeds, opening_ratio=opening))


def _then_and_now(parameters):
    """Available and asked at four speeds, before and now, of the lesson's engine with another coil and other plugs."""
    cause, share = parameters["cause"], parameters["severity"] / 10
    low, high = _SHARES[cause]
    size = low + (high - low) * share
    strong = parameters["sheet_percent"] / 100
    speeds = np.array(_SPEEDS, dtype=float)
    before = strong * _given_by()
    asked = np.asarray(required_kv(speeds, parameters["gap_in"]))
    now, asks = before, asked
    if cause == "all":
        now = size * before
    elif cause == "slow":
        now = strong * _given_by(opening=1.0 - 0.6 * size)
    elif cause == "fast":
        now = strong * _given_by(dwell_deg=size)
    elif cause == "leak":
        now = np.minimum(before, size)
    else:
        asks = np.asarray(required_kv(speeds, parameters["gap_in"] + size / 1000))
    return {
        "rows": [
            [rpm, *(round(float(kv), 1) for kv in four)]
            for rpm, *four in zip(_SPEEDS, before, now, asked, asks, strict=True)
        ]
    }


WHICH_CURVE = Exercise(
    key="m05.which_curve",
    version=1,
    marking=1,
    title="The shape of the loss",
    text=(
        "You compare today's measurement of an eight-cylinder engine with its sheet, at full throttle. The first two "
        "figures are what is available, the last two what is required:{list}One cause explains it. Which one?"
    ),
    draw={
        "cause": Pick(tuple(_LOSSES)), "severity": Steps(0, 10), "sheet_percent": Steps(92, 108, 2), "gap_in": Steps(28, 36, scale=1000),
    },
    fill=_then_and_now,
    show=lambda v: {
        "list": listing.lines(
            f"{rpm} rev/min: available {before:.1f} kV by the sheet, {now:.1f} today; required {asked:.1f} kV, {asks:.1f} today"
            for rpm, before, now, asked, asks in v.rows
        )
    },
    parts=(
        Choice(
            key="cause", prompt="The cause", marks=1, objectives=("S8",), options=_LOSSES,
            answer=lambda v: v.cause,
            signs=MappingProxyType({
                "all": "With coil or condenser the same share is missing at every speed: divide today's figures by the sheet's.",
                "slow": "With burnt points most is missing at low speed, and hardly anything at high speed.",
                "fast": "With a wide point gap most is missing at high speed, and hardly anything at low speed.",
                "leak": "With a leak today's available voltage is the same figure at every speed.",
                "asks": "With the plugs the available figures stay, and the required ones have risen.",
            }),
            slips=(
                Slip("ends-exchanged",
                     "You took one end for the other. Burnt points arc at low speed; a short dwell shows at high speed.",
                     lambda v: {"slow": "fast", "fast": "slow"}.get(v.cause)),
            ),
        ),
    ),
    route=lambda v: (
        *(
            f"{rpm} rev/min: {100 * now / before:.0f} per cent of the available voltage is there, and {100 * asks / asked:.0f} per "
            "cent of the former voltage is required."
            for rpm, before, now, asked, asks in v.rows
        ),
        _LOSSES[v.cause],
    ),
)  # fmt: skip

# New plugs.

_AFTER = MappingProxyType({
    "cured": "Hand it over: coil and leads give what they should, and the new plugs ask for little.",
    "primary": "Not yet cured: the coil lead gives too little. Look for the cause at feed, points, condenser and coil.",
    "secondary": "Not yet cured: on the way from the coil to the plugs too much is lost. Look at cap, rotor and leads.",
    "plugs": "Not yet right: the voltage is all there, but the new plugs ask for too much. Check their gap and type.",
})  # fmt: skip


def _workshop_sheet(parameters):
    after, lean = parameters["after"], parameters["lean"] / 10
    sheet = parameters["sheet_kv"]
    coil_kv = sheet * (0.70 + 0.08 * lean if after == "primary" else 0.97 + 0.06 * lean)
    lost = 5.0 + 2.5 * lean if after == "secondary" else 1.6 + 0.6 * lean
    old = parameters["old_kv"]
    new = old - (0.5 * lean if after == "plugs" else 4.5 + 1.5 * lean)
    return {
        "coil_kv": round(coil_kv, 1), "end_kv": round(coil_kv - lost, 1), "new_kv": round(new, 1),
    }  # fmt: skip


def _left(v, asked):
    return v.end_kv - asked


NEW_PLUGS = Exercise(
    key="m05.new_plugs",
    version=1,
    marking=1,
    title="It runs well again",
    text=(
        "The {title} missed uphill. One of its plugs was cracked. It got a set of new plugs and runs well again. You measure at full load before "
        "you hand it over. The coil lead gives {coil_kv:g} kV; the sheet says {sheet_kv} kV. Every plug lead gives {end_kv:g} kV; rotor and cap may take some 2 kV. The other "
        "old plugs asked for {old_kv:g} kV, the new ones ask for {new_kv:g} kV; new plugs of the right gap ask for {usual_kv:g} kV at most. What do you do?"
    ),
    # Coils of 22 to 28 kV on the jig; worn plugs ask for 15 to 17 kV, new ones for 4 to 6 kV less (practice).
    draw={
        "engine": Pick(tuple(vehicles())), "after": Pick(tuple(_AFTER)), "lean": Steps(0, 10), "sheet_kv": Steps(22, 28),
        "old_kv": Steps(150, 170, scale=10),
    },
    fill=_workshop_sheet,
    show=lambda v: {"title": vehicle(v.engine).title, "usual_kv": round(v.old_kv - 3.5, 1)},
    parts=(
        Choice(
            key="next", prompt="You", marks=1, objectives=("S9", "S12"), options=_AFTER,
            answer=lambda v: v.after,
            signs=MappingProxyType({
                "cured": "It is cured only where coil, leads and plugs all give the figures that they should.",
                "primary": "The fault lies before the coil lead only where that lead gives less than the sheet says.",
                "secondary": "The fault lies between coil and plugs only where more than some 2 kV are lost on that way.",
                "plugs": "The plugs are to blame only where they ask for more than new plugs of the right gap do.",
            }),
            slips=(
                Slip("new-plugs-hide-it",
                     "New plugs ask for less, so an engine with a weak ignition runs well for a time. Compare each figure with what it should be.",
                     lambda v: "cured" if v.after in ("primary", "secondary") else None),
            ),
        ),
    ),
    route=lambda v: (
        f"Coil lead: {v.coil_kv:g} kV of {v.sheet_kv} kV.",
        f"Lost on the way to the plugs: {v.coil_kv:g} − {v.end_kv:g} = {v.coil_kv - v.end_kv:.1f} kV; some 2 kV are usual.",
        f"The new plugs ask for {v.new_kv:g} kV; {v.old_kv - 3.5:.1f} kV at most are usual.",
        f"Left over today: {v.end_kv:g} − {v.new_kv:g} = {v.end_kv - v.new_kv:.1f} kV. The other old plugs "
        f"would have left {v.end_kv:g} − {v.old_kv:g} = {signed(f'{v.end_kv - v.old_kv:.1f}')} kV.",
        _AFTER[v.after],
    ),
)  # fmt: skip
