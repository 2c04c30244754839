"""The engine that races when the throttle is let go: what two readings of the mark tell about its cause."""

from types import MappingProxyType

from grader.exercise import listing
from grader.exercise.model import Choice, Exercise, Slip
from grader.exercise.spread import Pick, Steps
from grader.modules.timing.sheet import tables_and_fast_idle
from grader.reference import angles
from grader.reference.timing import advance
from grader.vehicle.spec import vehicles

# The port must lie above the closed plate, or the line says something else.
PORTED = tuple(key for key, spec in vehicles().items() if spec.port == "ported")
_CAUSES = MappingProxyType({
    "idle": "Idle was set too fast. Set it to the manual's figure first, then the timing.",
    "throttle": "The throttle does not close. Free its linkage first.",
    "tap": "The line sits below the throttle plate. Join it to the port above the plate.",
    "weights": "The weights do not come back. Take the distributor out and free them.",
    "air": "Air leaks in behind the throttle plate. Find the leak first.",
})  # fmt: skip


def _mark(figures, speed_rpm, vacuum_inhg=0.0):
    total = advance.total_advance_deg(
        speed_rpm, vacuum_inhg, figures["initial_deg"], figures["centrifugal"], figures["vacuum"]
    )
    return round(2 * float(total)) / 2


def _readings(parameters):
    """What tachometer and light show after the throttle was let go, for the drawn cause."""
    figures = tables_and_fast_idle({**parameters, "vehicle": parameters["engine"]})
    cause, idle, fast = parameters["cause"], figures["idle_rpm"], figures["fast_rpm"]
    initial = figures["initial_deg"]
    pulls, stuck = parameters["vacuum_inhg"], parameters["stuck_dist_deg"]
    settles = idle if cause in ("tap", "weights") else fast + parameters["over_rpm"]
    if cause == "idle":  # weights and port together: each adds advance, and advance adds speed
        on, off, slow = _mark(figures, settles, pulls), _mark(figures, settles), initial
    elif cause == "throttle":
        on, off, slow = _mark(figures, settles, pulls), _mark(figures, settles), initial
    elif cause == "tap":
        on, off, slow = _mark(figures, idle, pulls), initial, initial
    elif cause == "weights":
        on = off = slow = initial + angles.crank_deg(stuck)
    else:  # covered port: the leak lets air in below it
        on, off, slow = _mark(figures, settles), _mark(figures, settles), initial
    return {
        "title": figures["title"], "initial_deg": initial, "idle_rpm": idle, "settles_rpm": settles,
        "on_deg": on, "off_deg": off, "slow_deg": slow,
    }  # fmt: skip


def _facts(v):
    lever = {
        "throttle": "The lever stands {gap_mm} mm away from its stop screw.",
        "air": "The lever rests on its stop screw, and the screw is turned back as far as it goes.",
    }.get(v.cause, "The lever rests on its stop screw.")
    screw = {
        "idle": f"Turn the screw back: idle comes down to {v.idle_rpm} rev/min, and the mark to {v.slow_deg:g}°, line on or off.",
        "throttle": "Turn the screw back: nothing changes.",
        "air": "Turn the screw back: it is at its end, and idle stays where it is.",
    }.get(v.cause, f"The screw sets idle to {v.idle_rpm} rev/min as it should.")
    rows = (
        f"It comes down slowly, and settles at {v.settles_rpm} rev/min, line on.",
        lever.format(gap_mm=v.gap_mm),
        f"Mark with the line on: {v.on_deg:g}°. Mark with the line off and plugged: {v.off_deg:g}°.",
        screw,
    )
    turned = v.turn % len(rows)
    return {"facts": listing.lines((*rows[turned:], *rows[:turned]))}


RACING = Exercise(
    key="m01.racing",
    version=1,
    marking=1,
    title="It races when the throttle is let go",
    text=(
        "The owner of the {title} complains: when he lets the throttle go, the engine races and takes long to come down. "
        "The manual: {initial_deg:g}° at {idle_rpm} rev/min or less, line from a port above the closed plate.{facts}"
        "What is the cause, and what do you do first?"
    ),
    # Idle a third to a half too fast; at idle an engine pulls 15 to 20 inHg; weights hang 3 to 5 degrees out (practice).
    draw={
        "engine": Pick(PORTED), "cause": Pick(tuple(_CAUSES)), "times_percent": Steps(135, 155),
        "over_rpm": Steps(0, 60, 10), "vacuum_inhg": Steps(15, 20), "stuck_dist_deg": Steps(6, 10, scale=2),
        "gap_mm": Steps(2, 5), "turn": Steps(0, 3),
    },
    fill=_readings,
    show=_facts,
    parts=(
        Choice(
            key="cause", prompt="Cause and first step", marks=1, objectives=("T4", "T5"),
            options=_CAUSES,
            signs=MappingProxyType({
                "idle": "An idle that is only set too fast comes down with its screw, and the mark comes down with it.",
                "throttle": "A throttle that does not close leaves its lever away from the stop screw.",
                "tap": "A line below the plate moves the mark at the right idle, as soon as it goes on.",
                "weights": "Weights that stick leave the mark up at the right idle, line on or off.",
                "air": "Air from behind the plate keeps the engine fast with the screw turned back to its end.",
            }),
            answer=lambda v: v.cause,
            slips=(
                Slip("timing-first",
                     "The mark is up with the line off, too. At the right idle the port is covered and no line can do that.",
                     lambda v: "tap" if v.cause == "weights" else None),
                Slip("screw",
                     "Look at the lever and the screw: the screw was tried, and it does not bring idle down.",
                     lambda v: "idle" if v.cause in ("throttle", "air") else None),
            ),
        ),
    ),
    route=lambda v: {
        "idle": (
            f"At {v.settles_rpm} rev/min the weights move and the port lies free: the mark stands at {v.on_deg:g}°, not at "
            f"{v.initial_deg:g}°.",
            "Advance adds speed, and speed adds advance. Idle down to the manual's figure, then the timing.",
        ),
        "throttle": ("The lever does not reach its stop. No setting is right until the throttle closes.",),
        "tap": (f"Idle is right, and the mark goes from {v.off_deg:g}° to {v.on_deg:g}° with the line: vacuum at idle.",),
        "weights": (f"Idle is right and the line is off, and still the mark stands at {v.off_deg:g}°: the weights have stuck outwards.",),
        "air": ("Screw at its end, lever on it, and idle still fast: the air comes in another way.",),
    }[v.cause],
)  # fmt: skip
