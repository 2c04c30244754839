"""The vacuum line and the hand pump: what each finding means."""

from types import MappingProxyType

from grader.exercise.model import Choice, Exercise, Slip
from grader.exercise.spread import Pick, Steps
from grader.modules.timing.racing import PORTED
from grader.modules.timing.sheet import tables_and_fast_idle
from grader.reference import angles
from grader.reference.timing import advance
from grader.units import unit
from grader.vehicle.spec import vehicles

_KPA_PER_INHG = unit("inHg vac").factor
_FINDINGS = MappingProxyType({
    "good": "The vacuum unit and its line are in order.",
    "punctured": "The diaphragm is punctured.",
    "seized": "The plate or its link is seized; the diaphragm is tight.",
    "uncovered": "The port is uncovered at idle, or the line sits on a manifold tap.",
    "blocked": "The unit is in order; the line or its port is blocked or off.",
    "shifted": "The unit holds and moves, but its setting has shifted: force on its line or arm.",
})  # fmt: skip


def _seen(parameters):
    """What light and pump show on the drawn engine with the drawn fault; crank degrees and inHg."""
    fault = parameters["fault"]
    # A manifold line pulls at idle by design: there is no port to be uncovered.
    engine = parameters["engine"] if fault != "uncovered" else PORTED[parameters["ported"]]
    figures = tables_and_fast_idle({**parameters, "vehicle": engine})
    curve, initial = figures["vacuum"], figures["initial_deg"]
    start, full = curve[0][0], curve[-1][0]
    arrives = {"punctured": 0.0, "seized": 0.0, "blocked": 0.0}

    def unit_deg(vacuum_inhg):
        moved = vacuum_inhg - (parameters["shift_inhg"] if fault == "shifted" else 0)
        return round(2 * float(angles.crank_deg(advance.vacuum_advance_deg(max(0.0, moved), curve)))) / 2

    at_idle = parameters["idle_inhg"] if figures["port"] == "manifold" or fault == "uncovered" else 0
    part = parameters["part_inhg"]
    works = fault not in arrives
    fast = figures["fast_rpm"] if fault == "uncovered" and parameters["fast"] else figures["idle_rpm"]
    weights = float(advance.centrifugal_advance_deg(angles.distributor_speed_rpm(fast), figures["centrifugal"]))
    off = initial + round(4 * weights) / 2
    rise = (
        round(
            2
            * float(
                angles.crank_deg(advance.centrifugal_advance_deg(parameters["part_rpm"] / 2, figures["centrifugal"]))
            )
        )
        / 2
    )
    return {
        "title": figures["title"], "port": figures["port"], "idle_rpm": figures["idle_rpm"], "seen_rpm": fast,
        "start_inhg": start, "full_inhg": full, "off_deg": off, "on_deg": off + (unit_deg(at_idle) if works else 0),
        "part_off_deg": initial + rise, "part_on_deg": initial + rise + (unit_deg(part) if works else 0),
        "begins_inhg": start + (parameters["shift_inhg"] if fault == "shifted" else 0),
    }  # fmt: skip


def _inhg(value):
    return f"{value:g} inHg ({value * _KPA_PER_INHG:.0f} kPa)"


def _told(v):
    joined = {
        "ported": "a port above the closed throttle plate",
        "manifold": "the manifold, below the throttle plate",
    }[v.port]
    idle = (
        f"the mark stays at {v.off_deg:g}° when the line goes on"
        if v.on_deg == v.off_deg
        else f"the mark goes from {v.off_deg:g}° to {v.on_deg:g}° as soon as the line goes on"
    )
    part = (
        f"it stands at {v.part_off_deg:g}° with the line off, and the same with the line on"
        if v.part_on_deg == v.part_off_deg
        else f"it stands at {v.part_off_deg:g}° with the line off, at {v.part_on_deg:g}° with the line on"
    )
    pump = {
        "punctured": f"The hand pump is taken to {_inhg(v.pump_inhg)}; {v.wait_s} s later it shows {_inhg(v.left_inhg)}",
        "seized": f"The hand pump still shows {_inhg(v.pump_inhg)} after {v.wait_s} s, and the plate has not moved",
    }.get(
        v.fault,
        f"The hand pump holds {_inhg(v.pump_inhg)} for {v.wait_s} s; the plate begins to move at {_inhg(v.begins_inhg)}, goes to "
        "its stop and comes back",
    )
    return {
        "joined": joined,
        "seen": f"At {v.seen_rpm} rev/min {idle}. At part throttle, {v.part_rpm} rev/min, {part}. {pump}.",
        "sheet": f"begins at {_inhg(v.start_inhg)} and is at its stop at {_inhg(v.full_inhg)}",
    }


LINE_TEST = Exercise(
    key="m01.line_test",
    version=2,
    marking=1,
    title="What the line and the pump tell",
    text=(
        "The manual joins the vacuum line of the {title} to {joined}; idle is {idle_rpm} rev/min. By the test sheet the unit "
        "{sheet}. {seen} What do you conclude?"
    ),
    # Idle pulls 15 to 20 inHg, part throttle 11 to 14; a unit that somebody pulled at begins 3 or 4 inHg late (practice).
    draw={
        "engine": Pick(tuple(vehicles())), "ported": Steps(0, len(PORTED) - 1), "fault": Pick(tuple(_FINDINGS)),
        "times_percent": Steps(140, 155), "fast": Pick((False, True)), "idle_inhg": Steps(15, 20),
        "part_inhg": Steps(11, 14), "part_rpm": Steps(1600, 2400, 100), "pump_inhg": Steps(15, 18),
        "wait_s": Steps(30, 60, 10), "left_inhg": Steps(0, 6), "shift_inhg": Steps(3, 4),
    },
    fill=_seen,
    show=_told,
    parts=(
        Choice(
            key="finding", prompt="Your finding", marks=1, objectives=("T4", "T6"),
            options=_FINDINGS,
            signs=MappingProxyType({
                "good": "Where all is in order, the mark moves up at part throttle and the pump moves the plate as the sheet says.",
                "punctured": "Through a hole the pump's reading falls away.",
                "seized": "A seized plate stands still while the pump holds.",
                "uncovered": "An uncovered port or a manifold tap makes the mark jump at idle as the line goes on, and the unit itself is sound.",
                "blocked": "Putting a blocked line back on never moves the mark, and yet the pump holds and moves the plate.",
                "shifted": "A unit whose setting has shifted begins at another vacuum than the test sheet says.",
            }),
            answer=lambda v: v.fault,
            slips=(
                Slip("falls-or-holds",
                     "Look at the pump again: a reading that falls is a hole; a reading that holds with a still plate is a seizure.",
                     lambda v: {"punctured": "seized", "seized": "punctured"}.get(v.fault)),
                Slip("still-at-idle-is-no-fault",
                     "A ported line gives nothing at idle, so a still mark there proves neither fault nor health. "
                     "Judge by part throttle and by the pump.",
                     lambda v: {"good": "blocked", "blocked": "good"}.get(v.fault) if v.port == "ported" else None),
                Slip("jump-at-idle",
                     "The mark jumped at idle. A covered port cannot do that: look at idle speed and at where the hose sits.",
                     lambda v: {"uncovered": "good"}.get(v.fault)),
                Slip("manifold-by-design",
                     "Read how the manual joins the line. Joined to the manifold it has vacuum at idle, and the mark must move there.",
                     lambda v: "uncovered" if v.port == "manifold" and v.fault == "good" else None),
                Slip("begins-late",
                     "Compare the vacuum at which the plate begins to move with the test sheet.",
                     lambda v: {"shifted": "good"}.get(v.fault)),
            ),
        ),
    ),
    route=lambda v: {
        "good": ("Line and unit do what sheet and manual say: in order.",),
        "punctured": (f"The pump fell from {v.pump_inhg} to {v.left_inhg} inHg: air passes the diaphragm.",),
        "seized": ("The pump holds, so the diaphragm is tight; the plate stays, so it or its link is seized.",),
        "uncovered": ("A covered port gives no vacuum. The mark jumped, so vacuum reaches the unit at idle: "
                      "idle too fast, choke cam, or hose on a manifold tap.",),
        "blocked": ("Held and moved by the pump: the unit is good. Nothing at part throttle: vacuum does not arrive.",),
        "shifted": (f"It begins at {v.begins_inhg:g} inHg, the sheet says {v.start_inhg:g}. Perhaps somebody pulled or levered at it: "
                    "renew or set the unit, and do not pull at its line.",),
    }[v.fault],
)  # fmt: skip
