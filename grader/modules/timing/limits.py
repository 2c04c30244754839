"""Exercises on limits: a band from a test sheet, eight vehicles against it, a gauge high above the sea."""

from types import MappingProxyType

from grader.exercise import listing
from grader.exercise.kinds import Range
from grader.exercise.model import Absolute, Exercise, Number, Slip
from grader.exercise.sorting import EITHER, KEEP, REJECT, Batch
from grader.exercise.spread import Pick, Steps
from grader.modules.timing import sheet
from grader.reference import angles
from grader.reference.timing import advance, induction
from grader.units import signed
from grader.vehicle.spec import vehicle, vehicles

KPA_PER_INHG = 3.38638864
FEET_PER_M = 3.28084


def _weights_dist_deg(v):
    return advance.centrifugal_advance_deg(angles.distributor_speed_rpm(v.speed_rpm), v.centrifugal)


def _band(v, weights_deg, weights_limit_deg, initial_limit_deg):
    """Both ends of what the light may show; the weights' figures in crank degrees."""
    reach = initial_limit_deg + weights_limit_deg
    return v.initial_deg + weights_deg - reach, v.initial_deg + weights_deg + reach


def _ends(v):
    return _band(v, angles.crank_deg(_weights_dist_deg(v)), angles.crank_deg(v.weights_limit), v.initial_limit)


BAND = Exercise(
    key="m01.band",
    version=1,
    marking=1,
    title="Within which limits?",
    text=(
        "{title}, line off and plugged. Initial timing {initial_deg:g}° ± {initial_limit}° (crankshaft). The test sheet "
        "of the distributor (distributor rev/min → distributor degrees): {centrifugal_table}, each ± {weights_limit:g}° "
        "at the distributor. The engine turns at {speed_rpm} rev/min. Between which figures may the timing light show "
        "the mark, least and most?"
    ),
    # Limits of 1 to 2 degrees on the initial timing and 1 to 2 distributor degrees on the weights (practice).
    draw={
        "vehicle": Pick(tuple(vehicles())), "along_percent": Steps(30, 97), "initial_limit": Steps(1, 2),
        "weights_limit": Steps(2, 4, scale=2),
    },
    fill=sheet.tables_and_speed,
    show=sheet.show_tables,
    parts=(
        Range(
            key="band", prompt="Least and most", unit="° crank", marks=2, step=0.1,
            answer=_ends,
            within=Absolute(0.25, "arithmetic to a tenth of a degree at each end"), possible=(-40.0, 90.0),
            objectives=("T2",),
            slips=(
                Slip("limit-not-doubled",
                     "You doubled the weights' degrees but not their ± figure. That is in distributor degrees, too.",
                     lambda v: _band(v, angles.crank_deg(_weights_dist_deg(v)), v.weights_limit, v.initial_limit), share=0.5),
                Slip("not-doubled",
                     "You used distributor degrees as they are. Double the weights' degrees and their ± figure.",
                     lambda v: _band(v, _weights_dist_deg(v), v.weights_limit, v.initial_limit)),
                Slip("initial-limit-left-out",
                     "You left out the ± of the initial timing. Both may be off the same way, so their limits add.",
                     lambda v: _band(v, angles.crank_deg(_weights_dist_deg(v)), angles.crank_deg(v.weights_limit), 0), share=0.5),
            ),
        ),
    ),
    route=lambda v: (
        f"Distributor {v.speed_rpm / 2:g} rev/min: {_weights_dist_deg(v):.2f} ± {v.weights_limit:g} distributor degrees, "
        f"at the crankshaft {2 * _weights_dist_deg(v):.1f} ± {2 * v.weights_limit:g}°.",
        f"Initial {v.initial_deg:g} ± {v.initial_limit}°: together {v.initial_deg + 2 * _weights_dist_deg(v):.1f} "
        f"± {v.initial_limit + 2 * v.weights_limit:g}°, from {_ends(v)[0]:.1f}° to {_ends(v)[1]:.1f}°.",
    ),
)  # fmt: skip

_LABELS = tuple("ABCDEFGH")
_INITIAL_LIMIT, _RISE_LIMIT = 2.0, 3.0  # practice
_READ_TO = 0.5  # a rise is the difference of two readings, so it is known to twice this
# How far the mark at idle, the rise with speed and the rise with the line on are off their figures.
_OFF = MappingProxyType(
    {
        "good": ((-1.0, 0.5, 0.5), (0.5, -1.0, 1.0), (1.0, 1.0, -1.0), (0.0, -0.5, -1.5)),
        "base": ((3.5, -0.5, 0.5), (-3.0, 1.0, 0.0), (-4.0, 0.5, -0.5), (4.0, -1.0, 1.0)),
        "weights": ((0.5, -6.0, 0.5), (-0.5, 5.0, -0.5), (0.0, -5.0, 1.0), (1.0, -7.0, 0.0)),
        "both": ((3.5, -5.0, 1.0), (4.0, -5.5, 0.0), (-3.5, 5.0, 0.5), (-4.0, 5.5, -0.5)),
        "unit": ((0.5, 0.5, -10.0), (-1.0, 0.0, -6.0), (0.0, 1.0, -8.0), (1.0, -0.5, -7.0)),
        "edge": ((2.0, 0.5, 0.5), (-2.0, 0.0, -0.5), (0.5, 3.0, 0.0), (0.0, -0.5, -3.0)),
    }
)


def _eight(parameters):
    """Eight vehicles of one type and what the timing light showed on each: idle, at speed, line on."""
    spec = vehicle(parameters["vehicle"])
    last_rpm = spec.centrifugal[-1][0]
    speed_rpm = 100 * round(2 * last_rpm * parameters["along_percent"] / 100 / 100)
    rise = round(float(angles.crank_deg(advance.centrifugal_advance_deg(speed_rpm / 2, spec.centrifugal))))
    full_inhg = spec.vacuum[-1][0]
    unit_rise = round(float(angles.crank_deg(advance.vacuum_advance_deg(full_inhg, spec.vacuum))))
    kinds = [parameters[f"sort_{label}"] for label in _LABELS]
    seat = parameters["seat"]
    kinds[seat], kinds[(seat + 3) % 8] = "good", "weights"  # no batch without a sound one and a faulty one
    cars = []
    for label, kind in zip(_LABELS, kinds, strict=True):
        idle_off, rise_off, unit_off = _OFF[kind][parameters[f"place_{label}"]]
        idle = spec.initial_deg + idle_off
        fast = idle + rise + rise_off
        cars.append([label, idle, fast, fast + max(0.0, unit_rise + unit_off)])
    return {
        "title": spec.title, "initial_deg": spec.initial_deg, "idle_rpm": spec.idle_rpm, "speed_rpm": speed_rpm,
        "rise_deg": rise, "full_inhg": full_inhg, "unit_rise_deg": unit_rise, "cars": cars,
    }  # fmt: skip


def _sorted_eight(v):
    verdicts = []
    for _, idle, fast, on in v.cars:
        over = max(
            abs(idle - v.initial_deg) - _INITIAL_LIMIT,
            (abs(fast - idle - v.rise_deg) - _RISE_LIMIT) / 2,
            (abs(on - fast - v.unit_rise_deg) - _RISE_LIMIT) / 2,
        )
        verdicts.append(REJECT if over > _READ_TO else KEEP if over < -_READ_TO else EITHER)
    return tuple(verdicts)


def _why(v):
    """For each vehicle the reading that decides."""
    reasons = {}
    for (label, idle, fast, on), decision in zip(v.cars, _sorted_eight(v), strict=True):
        readings = (
            (f"At idle it is {abs(idle - v.initial_deg):g}° off, allowed are {_INITIAL_LIMIT:g}°",
             abs(idle - v.initial_deg) - _INITIAL_LIMIT),
            (f"From idle to speed it rises by {fast - idle:g}°, allowed are {v.rise_deg}° ± {_RISE_LIMIT:g}°",
             (abs(fast - idle - v.rise_deg) - _RISE_LIMIT) / 2),
            (f"With the line on it rises by {on - fast:g}° more, allowed are {v.unit_rise_deg}° ± {_RISE_LIMIT:g}°",
             (abs(on - fast - v.unit_rise_deg) - _RISE_LIMIT) / 2),
        )  # fmt: skip
        told = max(readings, key=lambda reading: reading[1])[0]
        near = ": too near the limit for the timing light to tell" if decision == EITHER else ""
        reasons[label] = f"{told}{near}." if decision != KEEP else "All three readings lie within their limits."
    return reasons


def _by_one_look(v, column, figure, limit):
    """Sorted by one reading alone; None if that spoils nothing."""
    led = tuple(KEEP if abs(car[column] - figure) <= limit else REJECT for car in v.cars)
    spoilt = any(right not in (EITHER, own) for right, own in zip(_sorted_eight(v), led, strict=True))
    return led if spoilt else None


def _mornings(kinds):
    """What a draw takes: a vehicle's type, and for each of the eight one of these kinds."""
    return {
        "vehicle": Pick(tuple(vehicles())), "along_percent": Steps(70, 95, 5), "seat": Steps(0, 7),
        **{
            f"{name}_{label}": values
            for label in _LABELS
            for name, values in (("sort", Pick(kinds)), ("place", Steps(0, 3)))
        },
    }  # fmt: skip


ROUND = Exercise(
    key="m01.round",
    version=2,
    marking=1,
    title="Eight on one morning",
    text=(
        "Eight vehicles with the same engine came in, the {title}. Allowed: at idle, line off, {initial_deg:g}° ± 2°; from idle to {speed_rpm} rev/min "
        "the mark rises by {rise_deg}° ± 3°, line still off; with {full_inhg:g} inHg ({full_kpa} kPa) on the line, same speed, "
        "it rises by {unit_rise_deg}° ± 3° more. One reading is sure to half a degree, a rise to one degree. What the "
        "timing light showed:{list}Keep what is in order, reject what has a fault, and leave undecided what lies so near a limit "
        "that the timing light cannot tell."
    ),
    draw=_mornings(("good",) * 5 + tuple(_OFF)[1:]),  # more than half are in order, as on a real morning
    fill=_eight,
    show=lambda v: {
        "full_kpa": f"{v.full_inhg * KPA_PER_INHG:.0f}",
        "list": listing.lines(
            f"{label}: {signed(f'{idle:g}')}° at idle, {fast:g}° at speed, {on:g}° with the line on"
            for label, idle, fast, on in v.cars
        ),
    },
    parts=(
        Batch(
            key="sorted",
            prompt="Your decision for each vehicle",
            marks=2,
            objectives=("T2", "T6"),
            items=lambda v: tuple(car[0] for car in v.cars),
            answer=_sorted_eight,
            because=_why,
            slips=(
                Slip(
                    "idle-alone",
                    "You judged by the mark at idle alone. Weights and vacuum unit show only when the mark must rise.",
                    lambda v: _by_one_look(v, 1, v.initial_deg, _INITIAL_LIMIT),
                ),
            ),
        ),
    ),
    route=lambda v: tuple(
        f"{label}: idle {signed(f'{idle:g}')}°, rise with speed {fast - idle:g}°, with the line on {on - fast:g}° more; "
        f"{decision if decision != EITHER else 'too near to tell'}."
        for (label, idle, fast, on), decision in zip(v.cars, _sorted_eight(v), strict=True)
    ),
)


def _heights(parameters):
    """Barometer at the coast and in the hills, and the vacuum where it was read."""
    high = round(float(induction.standard_pressure_kpa(parameters["height_m"])) / KPA_PER_INHG, 1)
    here, there = (parameters["coast_inhg"], high) if parameters["way"] == "up" else (high, parameters["coast_inhg"])
    return {"here_inhg": here, "there_inhg": there, "vacuum_inhg": round(here - parameters["manifold_inhg"], 1)}


def _there(v):
    return advance.vacuum_at_barometer_inhg(v.vacuum_inhg, v.here_inhg, v.there_inhg)


_TRIPS = MappingProxyType(
    {
        "up": ("at the coast", "in the hills, at {height_m} m ({feet} ft)"),
        "down": ("in the hills, at {height_m} m ({feet} ft)", "at the coast"),
    }
)


def _trip(v):
    here, there = (
        place.format(height_m=v.height_m, feet=round(v.height_m * FEET_PER_M, -2)) for place in _TRIPS[v.way]
    )
    return {
        "here": here.replace(".0 ft", " ft"),
        "there": there.replace(".0 ft", " ft"),
        **{f"{name}_kpa": f"{getattr(v, f'{name}_inhg') * KPA_PER_INHG:.1f}" for name in ("vacuum", "here", "there")},
    }


ALTITUDE = Exercise(
    key="m01.altitude",
    version=2,
    marking=1,
    title="The gauge in the hills",
    text=(
        "A sound engine idles at {vacuum_inhg} inHg ({vacuum_kpa} kPa) of vacuum {here}, where the barometer stands at "
        "{here_inhg} inHg ({here_kpa} kPa). It is driven away. {there}, the barometer stands at {there_inhg} inHg "
        "({there_kpa} kPa). Idle needs the same absolute pressure in the manifold. What will the vacuum gauge read there?"
    ),
    # Roads and villages to 2600 m; weather at the coast; idle at 0.32 to 0.45 atmospheres absolute (practice).
    draw={
        "way": Pick(("up", "down")), "height_m": Steps(800, 2600, 100), "coast_inhg": Steps(294, 304, scale=10),
        "manifold_inhg": Steps(95, 135, scale=10),
    },
    fill=_heights,
    show=lambda v: {**_trip(v), "there": _trip(v)["there"][0].upper() + _trip(v)["there"][1:]},
    parts=(
        Number(
            key="vacuum", prompt="Vacuum gauge there", unit="inHg vac", also=("kPa vac",), marks=1, step=0.1, answer=_there,
            within=Absolute(0.2, "arithmetic; a gauge is read to half an inch"), possible=(0.0, 31.0), objectives=("T7",),
            slips=(
                Slip("barometer-ignored",
                     "You kept the reading. A vacuum gauge counts down from the air around it, and that has changed.",
                     lambda v: v.vacuum_inhg),
                Slip("taken-as-absolute",
                     "You took the gauge's figure for the absolute pressure. First: barometer minus gauge.",
                     lambda v: v.there_inhg - v.vacuum_inhg),
                Slip("wrong-way",
                     "You corrected the wrong way. In the hills the air is thinner and the gauge reads less.",
                     lambda v: v.vacuum_inhg + v.here_inhg - v.there_inhg),
            ),
        ),
    ),
    route=lambda v: (
        f"Absolute pressure in the manifold: {v.here_inhg} − {v.vacuum_inhg} = {v.here_inhg - v.vacuum_inhg:.1f} inHg.",
        f"There: {v.there_inhg} − {v.here_inhg - v.vacuum_inhg:.1f} = {_there(v):.1f} inHg "
        f"({_there(v) * KPA_PER_INHG:.1f} kPa).",
    ),
)  # fmt: skip
