"""Exercises with the dwell meter: a wrong switch, a round of vehicles, the weak spring, the next test."""

from types import MappingProxyType

from grader.exercise import listing
from grader.exercise.model import Absolute, Choice, Exercise, Line, Number, Percent, Slip
from grader.exercise.sorting import EITHER, KEEP, REJECT, Batch
from grader.exercise.spread import Pick, Steps
from grader.modules.dwell.cam import cam
from grader.modules.situations import MANY, by_answer, chosen
from grader.reference.spark import points
from grader.vehicle.spec import vehicles

_DWELL = Absolute(0.5, "half a degree is what a dwell meter can be read to")
_FROM_SHARE = Absolute(0.3, "arithmetic from a printed share")
_ARITHMETIC = Percent(1, "three-figure arithmetic")
_LIMIT_DEG = 2.5


def _half(value):
    return round(2 * value) / 2


def _metered(parameters):
    spec = cam(parameters)
    others = [n for n in (4, 6, 8) if n != spec["cylinders"]]
    scale = others[parameters["switch"]]
    true = spec["dwell_deg"] + parameters["off_deg"]
    shown = float(points.meter_reading_deg(true, spec["cylinders"], scale))
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
    # Dwell up to 6.5 degrees off its figure, closed for 40 to 85 per cent of the time (practice).
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
# Where each vehicle's true dwell lies, share of its limits or degrees outside them, and its fall with speed (practice).
_SORTS = MappingProxyType(
    {
        "good": ("share", (0.25, 0.4, 0.6, 0.75), (0.0, 1.0)),
        "wide": ("outside", (-4.0, -3.0, -2.0), (0.0, 1.0)),
        "small": ("outside", (2.0, 3.0, 4.0), (0.0, 1.0)),
        "edge": ("outside", (-0.25, 0.25), (0.0, 0.5)),
        "shaft": ("share", (0.4, 0.5, 0.6), (5.0, 6.5)),
    }
)
# A switch that hides the fault: cylinders, switch, true dwell at idle. The figure read lies well within the engine's limits.
_HIDDEN = ((6, 8, 47.0), (6, 8, 48.0), (8, 6, 22.0), (8, 6, 21.0))


def _at_idle(n, kind, place):
    least, most = _LIMITS[n]
    how, places, _ = _SORTS[kind]
    value = places[place % len(places)]
    if how == "share":
        return least + value * (most - least)
    return (least if value < 0 else most) + value


def _round(parameters):
    """Eight vehicles: cylinders, switch, and what the meter shows at idle and at 1500 rev/min.

    One is sound and looks faulty to whoever forgets its switch, and one is faulty and looks sound.
    """
    cars, seat = [], parameters["seat"]
    for number, label in enumerate(_LABELS):
        n, kind, place = (parameters[f"{name}_{label}"] for name in ("cylinders", "sort", "place"))
        wrong = {4: 8, 6: 4, 8: 4}[n]  # a four read on the scale for eight looks like half its dwell
        switch = n if place % 3 else wrong
        if number == seat:
            kind, switch = "good", wrong
        idle, falls = _at_idle(n, kind, place), _SORTS[kind][2]
        if number == (seat + 3) % len(_LABELS):
            n, switch, idle = _HIDDEN[place % len(_HIDDEN)]
            falls = (0.0, 0.0)
        true = (idle, idle - falls[place % 2])
        shown = [_half(float(points.meter_reading_deg(dwell, n, switch))) for dwell in true]
        cars.append([label, n, switch, *shown])
    return {"cars": cars}


def _show_round(v):
    return {
        "list": listing.lines(
            f"{label}: {n} cylinders, switch on {switch}, {idle:g}° at idle and {fast:g}° at 1500"
            for label, n, switch, idle, fast in v.cars
        )
    }


def _decided(n, idle, fast, width):
    """A decision on dwell at idle and at speed, each known to `width`."""
    least, most = _LIMITS[n]
    outside, over = max(least - idle, idle - most), abs(idle - fast) - _SHIFT_DEG
    worst = max(outside, over / 2)  # two readings make a shift, so it is known half as well
    return REJECT if worst > width else KEEP if worst < -width else EITHER


def _sorted_round(v):
    return tuple(
        _decided(n, *(points.meter_reading_deg(dwell, switch, n) for dwell in (idle, fast, _METER_DEG)))
        for _, n, switch, idle, fast in v.cars
    )


def _as_read(v):
    """Sorted as if every switch stood right."""
    return tuple(_decided(n, idle, fast, _METER_DEG) for _, n, _, idle, fast in v.cars)


def _why(v):
    """For each vehicle what its dwell is, and which limit it passes or keeps."""
    reasons = {}
    for (label, n, switch, idle, fast), decision in zip(v.cars, _sorted_round(v), strict=True):
        (least, most), true = _LIMITS[n], points.meter_reading_deg(idle, switch, n)
        shift = abs(true - points.meter_reading_deg(fast, switch, n))
        turned = "" if switch == n else f" ({idle:g}° × {switch} ÷ {n})"
        told = f"Its true dwell is {true:.1f}°{turned}, the limits are {least:g}° to {most:g}°"
        if shift > _SHIFT_DEG - 1:
            told += f", and it changes by {shift:.1f}° with speed"
        near = ": too near a limit for the meter to tell" if decision == EITHER else ""
        reasons[label] = f"{told}{near}."
    return reasons


ROUND = Exercise(
    key="m02.round",
    version=3,
    marking=1,
    title="A morning's round with the meter",
    text=(
        "Eight vehicles, vacuum lines plugged. Limits in your shop: 4 cylinders 45° to 55°, 6 cylinders 34° to 42°, "
        "8 cylinders 26° to 33°; and no more than 3° of change from idle to 1500 rev/min. The meter reads to half a "
        "degree, and its switch did not always stand right.{list}Keep what is sound, reject what needs work, and "
        "leave undecided what lies so near a limit that the meter cannot tell."
    ),
    # More than half are sound, as on a real morning.
    draw={
        "seat": Steps(0, 7),
        **{
            f"{name}_{label}": values
            for label in _LABELS
            for name, values in (
                ("cylinders", Pick((4, 6, 8))), ("sort", Pick(("good",) * 5 + tuple(_SORTS)[1:])), ("place", Steps(0, 11)),
            )
        },
    },
    fill=_round,
    show=_show_round,
    parts=(
        Batch(
            key="sorted", prompt="Your decision for each vehicle", marks=3, objectives=("D3", "D9"),
            items=lambda v: tuple(car[0] for car in v.cars), answer=_sorted_round, because=_why,
            slips=(
                Slip("as-read",
                     "You took every reading as it stood. Where the switch is not on the engine's number, turn the reading first: "
                     "× switch ÷ cylinders.",
                     _as_read),
            ),
        ),
    ),
    route=lambda v: tuple(
        f"{label}: true dwell {points.meter_reading_deg(idle, switch, n):.1f}° at idle, "
        f"{points.meter_reading_deg(fast, switch, n):.1f}° at 1500; {decision if decision != EITHER else 'too near to tell'}."
        for (label, n, switch, idle, fast), decision in zip(v.cars, _sorted_round(v), strict=True)
    ),
)  # fmt: skip

_WHERE = MappingProxyType({
    "narrow": "The gap is much too narrow.",
    "wide": "The gap is much too wide.",
    "spring": "The points no longer follow the cam at speed.",
    "resistance": "The contacts or their joints add resistance.",
    "elsewhere": "Points and gap are sound: test coil, condenser and plugs.",
})  # fmt: skip
_ROUGH = "It idles roughly and misses at high speed."
_FAST = "It idles well and misses at high speed, in neutral as well as uphill."
_WEAK = "It starts badly, idles roughly and misses under load."


def _in_per_cent(parameters):
    """One vehicle with one fault: what the meter shows in per cent, where the mark stands, the drop at the points."""
    spec, fault, place = cam(parameters), parameters["fault"], parameters["place"]
    n = spec["cylinders"]
    # A narrow gap is a third to a half of the manual's, a wide one is half as much again (practice).
    share = {"narrow": (0.35, 0.4, 0.45, 0.5), "wide": (1.4, 1.45, 1.5, 1.55)}.get(fault, (1.0,) * 4)[place % 4]
    dwell = points.dwell_of_gap_deg(share * spec["gap_in"], spec["lift_in"], n)
    if share == 1.0:
        dwell += (-1.0, -0.5, 0.5, 1.0)[place % 4]
    falls = (6.0, 7.0, 8.0, 9.0)[place % 4] if fault == "spring" else 0.0
    return {
        **spec,
        "idle_percent": _half(points.duty_percent(dwell, n)),
        "fast_percent": _half(points.duty_percent(dwell, n) - falls),
        "drop_v": (0.45, 0.6, 0.75, 0.9)[place % 4] if fault == "resistance" else 0.1,
    }


HIGH_MISS = Exercise(
    key="m02.high_miss",
    version=1,
    marking=1,
    title="A meter in per cent",
    text=(
        "{title}, {cylinders} cylinders. The manual: dwell {dwell_deg:g}° ± 2.5°. {complaint} Your meter shows no degrees, "
        "it shows the share of the time during which the points are closed: {idle_percent:g} % at idle and "
        "{fast_percent:g} % at {high_rpm} rev/min, vacuum line off and plugged. With the key on, the drop across the closed "
        "points is {drop_v:g} V. What is the dwell at idle, and where does the fault lie?"
    ),
    draw={
        "vehicle": Pick(tuple(vehicles())), "fault": Pick(tuple(_WHERE)), "place": Steps(0, 11),
        "high_rpm": Steps(2600, 3900, 100),
    },
    fill=_in_per_cent,
    show=lambda v: {"complaint": {"narrow": _ROUGH, "resistance": _WEAK}.get(v.fault, _FAST)},
    parts=(
        Number(
            key="dwell", prompt="Dwell at idle", unit="° dist", marks=1, step=0.1,
            answer=lambda v: points.dwell_of_duty_deg(v.idle_percent, v.cylinders),
            within=_FROM_SHARE, possible=(5.0, 89.0), objectives=("D2",),
            slips=(
                Slip("whole-turn",
                     "You took the whole turn of 360°. Each cylinder has only its own part of it: first divide 360° by the number of cylinders.",
                     lambda v: 3.6 * v.idle_percent if 3.6 * v.idle_percent <= 360 else None),
                Slip("open-share",
                     "You have the angle during which the points are open. The meter shows the closed share.",
                     lambda v: 360 / v.cylinders - points.dwell_of_duty_deg(v.idle_percent, v.cylinders)),
            ),
        ),
        Choice(
            key="fault", prompt="Where the fault lies", marks=1, objectives=("D5", "D9"),
            options=_WHERE,
            signs=MappingProxyType({
                "narrow": "A narrow gap shows as a dwell well above the manual's, at idle and at speed alike.",
                "wide": "A wide gap shows as a dwell well below the manual's, at idle and at speed alike.",
                "spring": "Where the points no longer follow the cam, the dwell is right at idle and falls at speed.",
                "resistance": "Resistance shows as more than 0.2 V across the closed points.",
                "elsewhere": "Points and gap are sound only where dwell, its steadiness and the drop are all right.",
            }),
            answer=lambda v: v.fault,
            slips=(
                Slip("reversed", "You turned gap and dwell round. Great dwell: narrow gap. Small dwell: wide gap.",
                     lambda v: {"narrow": "wide", "wide": "narrow"}.get(v.fault)),
            ),
        ),
    ),
    route=lambda v: (
        Line(
            f"Each cylinder has 360 ÷ {v.cylinders} = {360 / v.cylinders:g}°; {v.idle_percent:g} % of it is "
            f"{points.dwell_of_duty_deg(v.idle_percent, v.cylinders):.1f}°.",
            "dwell",
        ),
        Line({
            "narrow": "Much dwell at idle and at speed: a narrow gap. The points open slowly and arc at low speed, and they bounce at high speed.",
            "wide": "Little dwell at idle and at speed: a wide gap. It leaves the current too little time at high speed.",
            "spring": "Right at idle, less at speed: the arm does not follow the cam. Spring, or arm tight on its pivot.",
            "resistance": f"{v.drop_v:g} V across closed points is more than 0.2 V, and it costs most at low speed.",
            "elsewhere": "Dwell right and steady, drop small: the points do their work. Coil, condenser and plugs come next.",
        }[v.fault], "fault"),
    ),
)  # fmt: skip

_ARM_KG, _LIFT_MM = 0.002, 1.6  # teaching values of the arm and cam; only the ratio of the forces matters below
_N_PER_OZ = 0.2780138510


def _floats_at(v, force_oz):
    """Engine speed at which the block leaves the cam, from the speed known for the new spring."""
    speed = [points.float_speed_rpm(force * _N_PER_OZ, _ARM_KG, _LIFT_MM, 8) for force in (force_oz, v.new_oz)]
    return v.new_rpm * speed[0] / speed[1]


SPRING = Exercise(
    key="m02.spring",
    version=2,
    marking=1,
    title="A tired breaker spring",
    text=(
        "With a new spring of {new_oz} oz ({new_n} N) the rubbing block of this engine leaves the cam at {new_rpm} "
        "rev/min. The spring balance now shows {old_oz} oz ({old_n} N). At which engine speed do you expect the dwell "
        "reading to fall and the misfire to begin?"
    ),
    # New springs of 17 to 23 oz (practice); tired ones of 9 to 14 oz; a sound arm follows well beyond the highest speed.
    draw={"new_oz": Steps(17, 23), "new_rpm": Steps(4200, 7400, 50), "old_oz": Steps(9, 14)},
    show=lambda v: {f"{name}_n": f"{getattr(v, f'{name}_oz') * _N_PER_OZ:.1f}" for name in ("new", "old")},
    parts=(
        Number(
            key="speed",
            prompt="Speed at which the block leaves the cam",
            unit="engine rev/min",
            marks=1,
            step=10,
            answer=lambda v: _floats_at(v, v.old_oz),
            within=Percent(2, "a square root taken to two figures"),
            possible=(100.0, 12000.0),
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


def _next(complaint, idle, speed, drop, line):
    """What a report allows to be said, or which reading comes first; None where no workshop sees such a report."""
    if complaint == "none":
        return "line" if (line, idle, speed) == ("on", "in", "moves") else None
    if line == "on" or speed == "moves":
        return None
    if idle != "in":
        # Much dwell goes with a rough idle, little dwell with a high-speed miss; nobody had to measure more.
        fits = complaint == ("rough" if idle == "great" else "high")
        return "gap" if fits and speed != "falls" and drop != "much" else None
    if complaint == "high":
        if drop == "much":
            return None
        return {"unread": "speed", "falls": "spring", "steady": "elsewhere"}[speed]
    if speed == "falls":
        return None
    return {"unread": "drop", "much": "resistance", "small": "elsewhere"}[drop]


_COMPLAINTS = MappingProxyType({
    "high": "It misses from {high} rev/min up, in neutral as well as uphill.",
    "rough": "It starts badly, and it is rough at idle.",
    "load": "It starts badly, and it misses at idle and under load.",
    "none": "It runs well. The owner wants the points looked at.",
})  # fmt: skip
_REPORTS = by_answer(
    {
        "complaint": tuple(_COMPLAINTS), "idle": ("in", "great", "small"), "speed": ("unread", "steady", "falls", "moves"),
        "drop": ("unread", "small", "much"), "line": ("off", "on"),
    },
    _next,
)  # fmt: skip


def _reported(parameters):
    """A report for a drawn vehicle: its own dwell, and the facts of one situation that leads to the drawn answer."""
    spec = cam(parameters)
    facts = dict(chosen(_REPORTS[parameters["answer"]], parameters["which"]))
    # So far off that no meter is in doubt, and no farther than a gap that nobody has looked after (practice).
    off = {"in": parameters["small_off"], "great": parameters["far_off"], "small": -parameters["far_off"]}[
        facts["idle"]
    ]
    return {"title": spec["title"], "dwell_deg": spec["dwell_deg"], "seen_deg": spec["dwell_deg"] + off, **facts}


def _report(v):
    line = "off and plugged" if v.line == "off" else "on all the time"
    speed = {
        "unread": "nobody has read it at speed",
        "steady": f"the same at {v.high} rev/min",
        "falls": f"at {v.high} rev/min the needle falls {v.fall}° and trembles",
        "moves": f"at 1500 rev/min, throttle slightly open, {v.fall}° away from that",
    }[v.speed]
    drop = {
        "unread": "nobody has measured the drop across the closed points",
        "small": "the drop across the closed points is 0.1 V",
        "much": f"with the key on, the drop across the closed points is {v.drop_v:g} V",
    }[v.drop]
    told = _COMPLAINTS[v.complaint].format(high=v.high)
    return {
        "least": v.dwell_deg - _LIMIT_DEG,
        "most": v.dwell_deg + _LIMIT_DEG,
        "told": f"{told} Dwell is {v.seen_deg:g}° at idle; {speed}. The vacuum line was {line}; {drop}.",
    }


NEXT_TEST = Exercise(
    key="m02.next_test",
    version=2,
    marking=1,
    title="Do you know enough?",
    text=(
        "A report on the {title}, whose manual allows a dwell of {least:g}° to {most:g}°. {told} Can you name the cause, or "
        "which measurement comes first?"
    ),
    draw={
        "vehicle": Pick(tuple(vehicles())), "answer": Pick(tuple(_REPORTS)), "which": MANY,
        "small_off": Pick((-1.0, -0.5, 0.0, 0.5, 1.0)), "far_off": Steps(5, 7), "high": Steps(2600, 3900, 100),
        "fall": Steps(4, 7), "drop_v": Steps(35, 80, 5, scale=100),
    },
    fill=_reported,
    show=_report,
    parts=(
        Choice(
            key="step", prompt="Your answer", marks=1, objectives=("D9", "D6"),
            options=MappingProxyType({
                "resistance": "Known: the contacts or their joints add resistance.",
                "spring": "Known: the points no longer follow the cam; spring, or arm tight on its pivot.",
                "gap": "Known: the gap is wrong; set it first, then look again.",
                "line": "Cannot tell yet: repeat with the vacuum line off and plugged, and look up how the plate is pivoted.",
                "drop": "Cannot tell yet: measure the drop across the closed points.",
                "speed": "Cannot tell yet: read the dwell at the speed where it misses.",
                "elsewhere": "Known: gap, arm and contacts are sound; look at coil, condenser and plugs.",
            }),
            signs=MappingProxyType({
                "resistance": "Resistance shows as a drop of more than 0.2 V across the closed points.",
                "spring": "Where the points no longer follow the cam, the dwell falls and trembles at speed.",
                "gap": "The gap is wrong where the dwell at idle lies outside the manual's limits.",
                "line": "The line comes off where the dwell changed with the line on and the engine runs well.",
                "drop": "The drop comes first where the spark is weak at low speed and nobody has measured that drop.",
                "speed": "The dwell at speed comes first where the engine misses only from a speed up and nobody has read it there.",
                "elsewhere": "You look elsewhere only when dwell, its steadiness or the drop have been measured and cleared the points.",
            }),
            answer=lambda v: v.answer,
            slips=(
                Slip("guessed",
                     "You may be right, but nothing here proves it. Which reading that nobody has taken would tell?",
                     lambda v: {"drop": "resistance", "speed": "spring"}.get(v.answer)),
                Slip("already-measured",
                     "That reading stands in the report. Use it: it names the cause.",
                     lambda v: {"resistance": "drop", "spring": "speed"}.get(v.answer)),
                Slip("shaft-too-soon",
                     "The plate may turn off centre with vacuum. Take the vacuum away before you blame spring or shaft.",
                     lambda v: {"line": "spring"}.get(v.answer)),
                Slip("limits",
                     "Compare the dwell at idle with the manual's limits first. Everything else depends on the gap.",
                     lambda v: {"gap": "elsewhere"}.get(v.answer)),
            ),
        ),
    ),
    route=lambda v: {
        "resistance": (f"{v.drop_v:g} V across closed points is more than 0.2 V: resistance, most felt at low speed.",),
        "spring": ("One speed, any load, dwell falling there: the arm no longer follows the cam.",),
        "gap": (f"{v.seen_deg:g}° is outside {v.dwell_deg - _LIMIT_DEG:g}° to {v.dwell_deg + _LIMIT_DEG:g}°: the gap first.",),
        "line": ("Vacuum turned the plate while you changed speed. Two things moved at once: plug the line, repeat.",),
        "drop": ("Weak at low speed with sound dwell points to resistance, but nobody measured the drop yet.",),
        "speed": ("One speed, any load points to the spring, but nobody read the dwell at that speed.",),
        "elsewhere": ("Dwell is in limits, and the reading that would name the points is sound. They are not the cause.",),
    }[v.answer],
)  # fmt: skip
