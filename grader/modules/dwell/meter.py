"""Exercises with the dwell meter: a wrong switch, a round of vehicles, the weak spring, the next test."""

from grader.exercise.model import Absolute, Choice, Exercise, Number, Percent, Pick, Slip, Steps
from grader.exercise.sorting import EITHER, KEEP, REJECT, Batch
from grader.modules.dwell.cam import cam
from grader.reference.spark import points
from grader.vehicle.spec import vehicles

_DWELL = Absolute(0.5, "half a degree is what a dwell meter can be read to")
_ARITHMETIC = Percent(2, "two- and three-figure arithmetic")
_LIMIT_DEG = 2.5


def _metered(parameters):
    spec = cam(parameters)
    others = [n for n in (4, 6, 8) if n != spec["cylinders"]]
    scale = others[parameters["switch"]]
    true = spec["dwell_deg"] + parameters["off_deg"]
    shown = points.meter_reading_deg(true, spec["cylinders"], scale)
    return {**spec, "scale": scale, "reading": round(2 * shown) / 2}


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
        "off_deg": Pick((-5.5, -5.0, -4.5, -4.0, -1.5, -0.5, 0.5, 1.5, 4.0, 4.5, 5.0, 5.5)),
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
                     "You shared by the whole turn of 360°. Each cylinder has only its own part of the turn: divide 360° by the number on the switch.",
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
            options={
                "within": "Dwell is within limits.",
                "small": "Dwell is too great: the gap is too small.",
                "wide": "Dwell is too small: the gap is too wide.",
            },
            answer=_judged, uses=("m02.meter.dwell",),
            slips=(
                Slip("reversed", "You turned gap and dwell round. Great dwell: small gap. Small dwell: wide gap.",
                     lambda v, dwell: {"small": "wide", "wide": "small"}.get(_judged(v, dwell))),
            ),
        ),
    ),
    route=lambda v: (
        f"For {v.scale} cylinders each has 360 / {v.scale} = {360 / v.scale:g}°.",
        f"Closed share: {v.reading:g} / {360 / v.scale:g} = {points.duty_percent(v.reading, v.scale):.1f} %.",
        f"The engine has {360 / v.cylinders:g}° for each cylinder; that share of it is "
        f"{points.meter_reading_deg(v.reading, v.scale, v.cylinders):.1f}°.",
        f"Allowed is {v.dwell_deg - _LIMIT_DEG:g}° to {v.dwell_deg + _LIMIT_DEG:g}°.",
    ),
)  # fmt: skip
