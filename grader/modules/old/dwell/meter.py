"""Exercises with the dwell meter: a wrong switch, a round of vehicles, the weak spring, the next test."""

from dataclasses import replace
from types import MappingProxyType

from grader.exercise import listing
from grader.exercise.model import Absolute, Choice, Exercise, Line, Number, Percent, Slip
from grader.exercise.sorting import EITHER, KEEP, REJECT, Batch, by_cost
from grader.exercise.spread import Pick, Steps
from grader.modules.old.dwell.cam import cam
from grader.reference.spark import points
from grader.vehicle.spec import vehicles

_DWELL = Absolute(0.5, "half a degree is what a dwell meter can be read to")
_ARITHMETIC = Percent(1, "three-figure arithmetic")
_LIMIT_DEG = 2.5


def _metered(parameters):
    spec = cam(parameters)
    others = [n for n in (4, 6, 8) if n != spec["cylinders"]]
    scale = others[parameters["switch"]]
    true = spec["dwell_deg"] + parameters["off_deg"]
    shown = points.meter_reading_deg(true, spec["cylinders"], scale)
    return {**spec, "scale": scale, "reading": round(2 * shown) / 2}


_FINDINGS = MappingProxyType(
    {
        "within": "Dwell is within limits.",
        "small": "Dwell is too great: the gap is too small.",
        "wide": "Dwell is too small: the gap is too wide.",
    }
)


def _true_deg(v):
    return points.meter_reading_deg(v.reading, v.scale, v.cylinders)


def _judged(v, dwell):
    change = dwell - v.dwell_deg
    return "within" if abs(change) <= _LIMIT_DEG else "small" if change > 0 else "wide"


METER = Exercise(
    key="m02.meter",
    version=1,
    marking=1,
    title="The switch stood on the wrong number",
    text=(
        "A helper hands you a note: {title}, {cylinders} cylinders, dwell {reading:g}°. On the bench you see that the "
        "meter's switch stands on {scale} cylinders. The manual asks for {least:g}° to {most:g}°. "
        "Undo the reading step by step, then judge it."
    ),
    draw={
        "vehicle": Pick(tuple(vehicles())),
        "switch": Steps(0, 1),
        "off_deg": Pick((-6.5, -6.0, -5.5, -5.0, -4.5, -4.0, -1.5, -1.0, 0.0, 1.0, 1.5, 4.0, 4.5, 5.0, 5.5, 6.0, 6.5)),
    },
    fill=_metered,
    show=lambda v: {"least": v.dwell_deg - _LIMIT_DEG, "most": v.dwell_deg + _LIMIT_DEG},
    parts=(
        Number(
            key="duty", prompt="Share of the time during which the points are closed", unit="%", marks=1, step=0.1,
            answer=lambda v: points.duty_percent(v.reading, v.scale),
            within=_ARITHMETIC, possible=(1.0, 100.0), objectives=("D2",),
            slips=(
                Slip("whole-turn",
                     "You took the whole turn of 360°. Each cylinder has only its own part of the turn: first divide 360° by the number on the switch.",
                     lambda v: 100 * v.reading / 360),
                Slip("engine-cylinders",
                     "You used the engine's number of cylinders here. The meter did its sum with the number on its switch.",
                     lambda v: 100 * v.reading * v.cylinders / 360),
            ),
        ),
        Number(
            key="dwell", prompt="True dwell", unit="° dist", marks=1, step=0.1,
            answer=lambda v, duty: points.dwell_of_duty_deg(duty, v.cylinders),
            uses=("m02.meter.duty",),
            within=_DWELL, possible=(5.0, 89.0), objectives=("D3",),
            slips=(
                Slip("as-read",
                     "You kept the needle's figure. It belongs to an engine with the number of cylinders on the switch.",
                     lambda v, duty: float(v.reading)),
                Slip("inverted",
                     "You turned the ratio round. Fewer cylinders have more degrees each: multiply by the switch, divide by the engine.",
                     lambda v, duty: v.reading * v.cylinders / v.scale),
            ),
        ),
        Choice(
            key="verdict", prompt="Your finding", marks=1, objectives=("D3", "D5"),
            options=_FINDINGS,
            signs=MappingProxyType({
                "within": "Within limits lies a true dwell between the manual's two figures.",
                "small": "A gap too small shows as a true dwell above the manual's greater figure.",
                "wide": "A gap too wide shows as a true dwell below the manual's smaller figure.",
            }),
            answer=_judged, uses=("m02.meter.dwell",),
            slips=(
                Slip("reversed", "You turned gap and dwell round. Great dwell: small gap. Small dwell: wide gap.",
                     lambda v, dwell: {"small": "wide", "wide": "small"}.get(_judged(v, dwell))),
            ),
        ),
    ),
    route=lambda v: (
        f"For {v.scale} cylinders each has 360 ÷ {v.scale} = {360 / v.scale:g}°.",
        Line(f"Closed share: {v.reading:g} ÷ {360 / v.scale:g} = {points.duty_percent(v.reading, v.scale):.1f} %.", "duty"),
        Line(
            f"The engine has {360 / v.cylinders:g}° for each cylinder; that share of it is {_true_deg(v):.1f}°.", "dwell"
        ),
        Line(
            f"Allowed is {v.dwell_deg - _LIMIT_DEG:g}° to {v.dwell_deg + _LIMIT_DEG:g}°. "
            f"{_FINDINGS[_judged(v, _true_deg(v))]}",
            "verdict",
        ),
    ),
)  # fmt: skip

_LABELS = tuple("ABCDEFGH")
# Usual limits by number of cylinders (practice), in distributor degrees.
_LIMITS = MappingProxyType({4: (45.0, 55.0), 6: (34.0, 42.0), 8: (26.0, 33.0)})
_SHIFT_DEG = 3.0  # idle to 1500 rev/min (practice)
_METER_DEG = 0.5
# Where each vehicle's true dwell lies: share of its limits, or degrees outside them; and its fall with speed.
_SORTS = MappingProxyType(
    {
        "good": ("share", (0.25, 0.4, 0.6, 0.75), (0.0, 1.0)),
        "wide": ("outside", (-4.0, -3.0, -2.0), (0.0, 1.0)),
        "small": ("outside", (2.0, 3.0, 4.0), (0.0, 1.0)),
        "edge": ("outside", (-0.25, 0.25), (0.0, 0.5)),
        "shaft": ("share", (0.4, 0.5, 0.6), (5.0, 6.5)),
    }
)


def _round(parameters):
    """Eight vehicles: cylinders, switch, and what the meter shows at idle and at 1500 rev/min."""
    cars = []
    for label in _LABELS:
        n, kind, place = (parameters[f"{name}_{label}"] for name in ("cylinders", "sort", "place"))
        least, most = _LIMITS[n]
        how, places, falls = _SORTS[kind]
        chosen = places[place % len(places)]
        if how == "share":
            idle = least + chosen * (most - least)
        else:
            idle = (least if chosen < 0 else most) + chosen
        # Some switches stand wrong; a four read on the scale for eight looks like half its dwell.
        switch = n if place % 3 else {4: 8, 6: 4, 8: 4}[n]
        true = (idle, idle - falls[place % 2])
        shown = [round(2 * points.meter_reading_deg(dwell, n, switch)) / 2 for dwell in true]
        cars.append([label, n, switch, *shown])
    return {"cars": cars}


def _show_round(v):
    return {
        "list": listing.lines(
            f"{label}: {n} cylinders, switch on {switch}, {idle:g}° at idle and {fast:g}° at 1500"
            for label, n, switch, idle, fast in v.cars
        )
    }


def _sorted_round(v):
    verdicts = []
    for _, n, switch, idle, fast in v.cars:
        least, most = _LIMITS[n]
        width = points.meter_reading_deg(_METER_DEG, switch, n)  # what half a degree on that scale is worth
        true = points.meter_reading_deg(idle, switch, n)
        shift = abs(true - points.meter_reading_deg(fast, switch, n))
        outside, over = max(least - true, true - most), shift - _SHIFT_DEG
        worst = max(outside, over / 2)  # two readings make a shift, so it is known half as well
        verdicts.append(REJECT if worst > width else KEEP if worst < -width else EITHER)
    return tuple(verdicts)


def _mornings(kinds):
    """What a draw takes: for each of the eight its cylinders and one of these kinds."""
    return {
        f"{name}_{label}": values
        for label in _LABELS
        for name, values in (("cylinders", Pick((4, 6, 8))), ("sort", Pick(kinds)), ("place", Steps(0, 11)))
    }


ROUND = Exercise(
    key="m02.round",
    version=2,
    marking=1,
    title="A morning's round with the meter",
    text=(
        "Eight vehicles, vacuum lines plugged. Limits in your shop: 4 cylinders 45° to 55°, 6 cylinders 34° to 42°, "
        "8 cylinders 26° to 33°; and no more than 3° of change from idle to 1500 rev/min. The meter reads to half a "
        "degree, and its switch did not always stand right.{list}Keep what is sound, reject what needs work, and "
        "leave undecided what lies so near a limit that the meter cannot tell."
    ),
    draw=_mornings(("good",) * 5 + tuple(_SORTS)[1:]),  # more than half are sound, as on a real morning
    fill=_round,
    show=_show_round,
    parts=(
        Batch(
            key="sorted",
            prompt="Your decision for each vehicle",
            marks=3,
            objectives=("D3", "D9"),
            items=lambda v: tuple(car[0] for car in v.cars),
            answer=_sorted_round,
        ),
    ),
    route=lambda v: tuple(
        f"{label}: true dwell {points.meter_reading_deg(idle, switch, n):.1f}° at idle, "
        f"{points.meter_reading_deg(fast, switch, n):.1f}° at 1500; {decision if decision != EITHER else 'too near to tell'}."
        for (label, n, switch, idle, fast), decision in zip(v.cars, _sorted_round(v), strict=True)
    ),
)

# Issued before each vehicle had its share of the marks; more than half of the eight needed work.
ROUND_BY_COST = replace(
    ROUND, version=1, draw=_mornings(("good", "good", *tuple(_SORTS)[1:])), parts=(by_cost(ROUND.parts[0]),)
)

_ARM_KG, _LIFT_MM = 0.002, 1.6  # teaching values of the arm and cam; only the ratio of the forces matters below


def _floats_at(v, force_oz):
    """Engine speed at which the block leaves the cam, from the speed known for the new spring."""
    speed = [points.float_speed_rpm(force * 0.2780138510, _ARM_KG, _LIFT_MM, 8) for force in (force_oz, v.new_oz)]
    return v.new_rpm * speed[0] / speed[1]


SPRING = Exercise(
    key="m02.spring",
    version=1,
    marking=1,
    title="A tired breaker spring",
    text=(
        "With a new spring of {new_oz} oz ({new_n} N) the rubbing block of this engine leaves the cam at {new_rpm} "
        "rev/min. The spring balance now shows {old_oz} oz ({old_n} N). At which engine speed do you expect the dwell "
        "reading to fall and the misfire to begin?"
    ),
    draw={"new_oz": Steps(17, 23), "new_rpm": Steps(4000, 7600, 50), "old_oz": Steps(6, 14)},
    show=lambda v: {f"{name}_n": f"{getattr(v, f'{name}_oz') * 0.2780138510:.1f}" for name in ("new", "old")},
    parts=(
        Number(
            key="speed",
            prompt="Speed at which the block leaves the cam",
            unit="engine rev/min",
            marks=2,
            step=10,
            answer=lambda v: _floats_at(v, v.old_oz),
            within=Percent(2, "a square root taken to two figures"),
            possible=(100.0, 9000.0),
            objectives=("D9",),
            slips=(
                Slip(
                    "straight",
                    "You let the speed fall as the force does. It goes with the square root of the force.",
                    lambda v: v.new_rpm * v.old_oz / v.new_oz,
                ),
                Slip(
                    "inverted",
                    "A weaker spring lets go earlier, not later. Turn the ratio round.",
                    lambda v: v.new_rpm * v.new_rpm / _floats_at(v, v.old_oz),
                ),
            ),
        ),
    ),
    route=lambda v: (
        f"Force left: {v.old_oz} ÷ {v.new_oz} = {v.old_oz / v.new_oz:.4f}.",
        f"Its square root: √{v.old_oz / v.new_oz:.4f} = {(v.old_oz / v.new_oz) ** 0.5:.4f}.",
        f"{v.new_rpm} × {(v.old_oz / v.new_oz) ** 0.5:.4f} = {_floats_at(v, v.old_oz):.0f} rev/min.",
    ),
)

_TOLD = MappingProxyType(
    {
        "resistance": (
            "It starts badly and misses at idle and under load. Dwell is {dwell}° at idle and at {high} rev/min, in limits. "
            "With the points closed and the key on, a voltmeter across them shows {drop:g} V."
        ),
        "spring": (
            "It misses from {high} rev/min up, in neutral as well as uphill. Dwell is {dwell}° at idle, in limits; at "
            "{high} rev/min the needle falls {fall}° and trembles. The drop across the closed points is 0.1 V."
        ),
        "line": (
            "It runs well. Dwell is {dwell}° at idle, in limits; at 1500 rev/min, throttle slightly open, it is {fall}° "
            "away from that. The vacuum line was on the distributor all the time."
        ),
        "drop": (
            "It starts badly and its spark is weak at idle. Dwell is {dwell}° at idle and at {high} rev/min, in limits. "
            "The coil has {feed:g} V at its feed with the key on. The points look grey."
        ),
        "speed": (
            "It misses from {high} rev/min up, in neutral as well as uphill. Dwell is {dwell}° at idle, in limits. The "
            "drop across the closed points is 0.1 V. The owner asks for new plugs and leads."
        ),
    }
)

NEXT_TEST = Exercise(
    key="m02.next_test",
    version=1,
    marking=1,
    title="Do you know enough?",
    text="{told} Can you name the cause, or which measurement comes first?",
    draw={
        "case": Pick(tuple(_TOLD)), "dwell": Steps(28, 32), "high": Steps(2600, 3900, 100), "fall": Steps(4, 7),
        "drop": Steps(35, 80, 5, scale=100), "feed": Steps(118, 126, scale=10),
    },
    show=lambda v: {"told": _TOLD[v.case].format(**vars(v))},
    parts=(
        Choice(
            key="step", prompt="Your answer", marks=2, objectives=("D9", "D6"),
            options=MappingProxyType({
                "resistance": "Known: the contacts or their joints add resistance.",
                "spring": "Known: the points no longer follow the cam; spring, or arm tight on its pivot.",
                "line": "Cannot tell yet: repeat with the vacuum line off and plugged, and look up how the plate is pivoted.",
                "drop": "Cannot tell yet: measure the drop across the closed points.",
                "speed": "Cannot tell yet: read the dwell at the speed where it misses.",
            }),
            signs=MappingProxyType({
                "resistance": "Resistance shows as a drop of more than 0.2 V across the closed points, and is felt most at low speed.",
                "spring": "Where the points no longer follow the cam, the dwell falls and trembles at speed.",
                "line": "The line comes off where the dwell changed with the line on and the engine runs well.",
                "drop": "The drop comes first where the spark is weak at low speed and nobody has measured that drop.",
                "speed": "The dwell at speed comes first where the engine misses only from a speed up and dwell was read at idle alone.",
            }),
            answer=lambda v: v.case,
            slips=(
                Slip("guessed",
                     "You may be right, but nothing here proves it. Which reading that nobody has taken would tell?",
                     lambda v: {"drop": "resistance", "speed": "spring"}.get(v.case)),
                Slip("already-measured",
                     "That reading stands in the report. Use it: it names the cause.",
                     lambda v: {"resistance": "drop", "spring": "speed"}.get(v.case)),
                Slip("shaft-too-soon",
                     "The plate may turn off centre with vacuum. Take the vacuum away before you blame spring or shaft.",
                     lambda v: {"line": "spring"}.get(v.case)),
            ),
        ),
    ),
    route=lambda v: {
        "resistance": (f"{v.drop:g} V across closed points is more than 0.2 V: resistance, most felt at low speed.",),
        "spring": ("One speed, any load, dwell falling there and a sound drop: the arm no longer follows the cam.",),
        "line": ("Vacuum turned the plate while you changed speed. Two things moved at once: plug the line, repeat.",),
        "drop": ("Weak at idle with sound dwell and feed points to resistance, but nobody measured the drop yet.",),
        "speed": ("One speed, any load points to the spring, but dwell was read at idle only.",),
    }[v.case],
)  # fmt: skip
