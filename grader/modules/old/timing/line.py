"""The vacuum line and the hand pump: what each finding means."""

from types import MappingProxyType

from grader.exercise.model import Choice, Exercise, Slip
from grader.exercise.spread import Pick, Steps

_SEEN = MappingProxyType(
    {
        "good": (
            "At idle the mark stays where it is when you put the line back on. At part throttle it moves up the scale. "
            "The hand pump holds {pump_inhg} inHg and the plate goes to its stop."
        ),
        "punctured": (
            "At idle the mark stays when you put the line back on, and at part throttle it stays too. "
            "The hand pump is taken to {pump_inhg} inHg; {wait_s} s later it shows {left_inhg} inHg."
        ),
        "seized": (
            "At idle the mark stays when you put the line back on, and at part throttle it stays too. "
            "The hand pump still shows {pump_inhg} inHg after {wait_s} s, and the plate has not moved."
        ),
        "uncovered": (
            "Idle is {idle_seen} rev/min. When you put the line back on the mark jumps up the scale at once. "
            "The hand pump holds {pump_inhg} inHg and the plate goes to its stop and comes back."
        ),
        "blocked": (
            "At idle the mark stays when you put the line back on, and at part throttle it stays too. "
            "The hand pump on the unit holds {pump_inhg} inHg, the plate goes to its stop and comes back."
        ),
    }
)

LINE_TEST = Exercise(
    key="m01.line_test",
    version=1,
    marking=1,
    title="What the line and the pump tell",
    text=(
        "The vacuum line of this engine comes from a port above the closed throttle plate; specified idle is 650 rev/min. "
        "{seen} What do you conclude?"
    ),
    draw={
        "case": Pick(tuple(_SEEN)),
        "pump_inhg": Steps(12, 16),
        "wait_s": Steps(20, 60, 10),
        "left_inhg": Steps(0, 6),
        "idle_seen": Steps(900, 1150, 50),
    },
    show=lambda v: {"seen": _SEEN[v.case].format(**vars(v))},
    parts=(
        Choice(
            key="finding", prompt="Your finding", marks=2, objectives=("T4", "T6"),
            options=MappingProxyType({
                "good": "The vacuum unit and its line are in order.",
                "punctured": "The diaphragm is punctured.",
                "seized": "The plate or its link is seized; the diaphragm is tight.",
                "uncovered": "The port is uncovered at idle, or the line sits on a manifold tap.",
                "blocked": "The unit is in order; the line or its port is blocked or off.",
            }),
            signs=MappingProxyType({
                "good": "Where all is in order, the mark moves up at part throttle and the pump moves the plate to its stop.",
                "punctured": "Through a hole the pump's reading falls away.",
                "seized": "A seized plate stands still while the pump holds.",
                "uncovered": "That makes the mark jump at idle as the line goes back on, and still the pump holds and moves the plate.",
                "blocked": "Putting a blocked line back on never moves the mark, and yet the pump holds and moves the plate.",
            }),
            answer=lambda v: v.case,
            slips=(
                Slip("falls-or-holds",
                     "Look at the pump again: a reading that falls is a hole; a reading that holds with a still plate is a seizure.",
                     lambda v: {"punctured": "seized", "seized": "punctured"}.get(v.case)),
                Slip("still-at-idle-is-no-fault",
                     "A ported line gives nothing at idle, so a still mark there proves neither fault nor health. "
                     "Judge by part throttle and by the pump.",
                     lambda v: {"good": "blocked", "blocked": "good"}.get(v.case)),
                Slip("jump-at-idle",
                     "The mark jumped at idle. A covered port cannot do that: look at idle speed and at where the hose sits.",
                     lambda v: {"uncovered": "good"}.get(v.case)),
            ),
        ),
    ),
    route=lambda v: {
        "good": ("Still at idle, advancing at part throttle, pump holds and plate moves: in order.",),
        "punctured": (f"The pump fell from {v.pump_inhg} to {v.left_inhg} inHg: air passes the diaphragm.",),
        "seized": ("The pump holds, so the diaphragm is tight; the plate stays, so it or its link is seized.",),
        "uncovered": ("A covered port gives no vacuum. The mark jumped, so vacuum reaches the unit at idle: "
                      "idle too fast, choke cam, or hose on a manifold tap.",),
        "blocked": ("Held and moved by the pump: the unit is good. Nothing at part throttle: vacuum does not arrive.",),
    }[v.case],
)  # fmt: skip
