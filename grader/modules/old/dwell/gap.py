"""Exercises on gap, dwell and timing: the cam card, what wear does, an error in print."""

from types import MappingProxyType

from grader.exercise import listing
from grader.exercise.kinds import Range
from grader.exercise.model import Absolute, Choice, Exercise, Line, Number, Slip
from grader.exercise.spread import Pick, Steps
from grader.modules.old.dwell.cam import CARD_STEP_IN, cam
from grader.reference import angles
from grader.reference.spark import points
from grader.vehicle.spec import vehicles

_DWELL = Absolute(0.5, "half a degree is what a dwell meter can be read to")
_TIMING = Absolute(0.5, "half a degree is what a pulley scale can be read to")
_BLADE = Absolute(0.00035, "reading between the rows of a cam card")


def _cam_found(parameters):
    spec = cam(parameters)
    return {**spec, "found_in": round(spec["gap_in"] + parameters["off_thou"] / 1000, 4)}


def _dwell_at(v, gap_in):
    return points.dwell_of_gap_deg(gap_in, v.lift_in, v.cylinders)


def _show_card(v):
    gaps = [v.gap_in + row * CARD_STEP_IN for row in (-2, -1, 0, 1, 2)]
    return {
        "card": listing.lines(f"{gap:.3f} in ({25.4 * gap:.2f} mm) → {_dwell_at(v, gap):.1f}°" for gap in gaps),
        "lobe_deg": f"{angles.firing_interval_deg(v.cylinders) / 2:g}",
    }


def _show_found(v):
    return {**_show_card(v), "found_mm": f"{25.4 * v.found_in:.2f}", "gap_mm": f"{25.4 * v.gap_in:.2f}"}


GAP_DWELL = Exercise(
    key="m02.gap_dwell",
    version=1,
    marking=1,
    title="From gap to dwell",
    text=(
        "The cam card of the {title} gives the dwell for each gap:{card}Between the rows it runs nearly straight. "
        "With a dial gauge you find a gap of {found_in:.4f} in ({found_mm} mm) on the lobe peak. "
        "Which dwell will the meter show?"
    ),
    draw={"vehicle": Pick(tuple(vehicles())), "off_thou": Pick(tuple(n / 2 * s for s in (-1, 1) for n in range(5, 17)))},
    fill=_cam_found,
    show=_show_found,
    parts=(
        Number(
            key="dwell", prompt="Dwell", unit="° dist", marks=2, step=0.1,
            answer=lambda v: _dwell_at(v, v.found_in),
            within=_DWELL, possible=(5.0, 89.0), objectives=("D1",),
            slips=(
                Slip("reversed",
                     "You went the wrong way along the card. A wider gap opens the points for longer, so dwell falls; a smaller gap raises it.",
                     lambda v: 2 * v.dwell_deg - _dwell_at(v, v.found_in)),
                Slip("open-angle",
                     "You have the angle during which the points are open. Dwell is the closed part: what is left of the angle between two lobes.",
                     lambda v: angles.firing_interval_deg(v.cylinders) / 2 - _dwell_at(v, v.found_in)),
                Slip("crank-degrees",
                     "You doubled it into crank degrees. Dwell is counted at the distributor, as the card and the meter do.",
                     lambda v: 2 * _dwell_at(v, v.found_in)),
            ),
        ),
    ),
    route=lambda v: (
        f"The manual's gap of {v.gap_in:.3f} in goes with {v.dwell_deg:g}°.",
        f"The found gap is {abs(v.found_in - v.gap_in):.4f} in {'wider' if v.found_in > v.gap_in else 'smaller'}, "
        f"so dwell is {'less' if v.found_in > v.gap_in else 'more'} than that.",
        f"Between the rows of the card: {_dwell_at(v, v.found_in):.1f}°.",
    ),
)  # fmt: skip

WEAR_TIMING = Exercise(
    key="m02.wear_timing",
    version=1,
    marking=1,
    title="What the gap did to the timing",
    text=(
        "The same {title}. Its initial timing was set to {set_deg}° before top dead centre while the gap stood at "
        "{gap_in:.3f} in ({gap_mm} mm), dwell {dwell_deg:g}°. Since then the gap has changed to {found_in:.4f} in "
        "({found_mm} mm). Nobody has touched the distributor body; its cam is symmetric. What does the timing light "
        "show now at idle, vacuum line off and plugged?"
    ),
    draw={"set_deg": Steps(2, 12)},
    linked="m02.gap_dwell",
    show=_show_found,
    parts=(
        Number(
            key="timing", prompt="Initial timing now (after top dead centre: minus)", unit="° crank", marks=2, step=0.1,
            answer=lambda v, dwell: v.set_deg + points.timing_change_deg(dwell - v.dwell_deg),
            uses=("m02.gap_dwell.dwell",),
            within=_TIMING, possible=(-40.0, 50.0), objectives=("D4", "D5"),
            slips=(
                Slip("reversed",
                     "You moved the spark the wrong way. More dwell means that the points open later: retard. Less dwell: advance.",
                     lambda v, dwell: v.set_deg - points.timing_change_deg(dwell - v.dwell_deg)),
                Slip("half",
                     "You have half the change. Half of it falls on the opening flank, but crank degrees are double distributor degrees: one for one.",
                     lambda v, dwell: v.set_deg + points.timing_change_deg(dwell - v.dwell_deg) / 2),
                Slip("double",
                     "You have twice the change. Only half the change of dwell lies on the opening flank; the other half is at closing.",
                     lambda v, dwell: v.set_deg + 2 * points.timing_change_deg(dwell - v.dwell_deg)),
                Slip("untouched",
                     "You left the timing where it was. The spark comes when the points open, and the gap moves that moment.",
                     lambda v, dwell: float(v.set_deg)),
            ),
        ),
    ),
    route=lambda v: (
        Line(
            f"Dwell went from {v.dwell_deg:g}° to {_dwell_at(v, v.found_in):.1f}°: "
            f"a change of {_dwell_at(v, v.found_in) - v.dwell_deg:+.1f}°.",
            "m02.gap_dwell.dwell",
        ),
        "One degree more dwell is one crank degree of retard; one degree less is one of advance.",
        Line(
            f"Now {v.set_deg + points.timing_change_deg(_dwell_at(v, v.found_in) - v.dwell_deg):z.1f}°. "
            "Set the gap, then the timing.",
            "timing",
        ),
    ),
)  # fmt: skip


def _other_points(parameters):
    """Points of another pattern in the same distributor: gap and lift grow alike, the dwell stays."""
    spec = cam(parameters)
    size = parameters["size_percent"] / 100
    return {**spec, "gap_in": spec["gap_in"] * size, "lift_in": spec["lift_in"] * size}


def _window(v):
    return tuple(points.gap_of_dwell(v.dwell_deg + change, v.lift_in, v.cylinders) for change in (v.above, -v.below))


GAP_WINDOW = Exercise(
    key="m02.gap_window",
    version=1,
    marking=1,
    title="From dwell limits to gap limits",
    text=(
        "This {title} carries points of another pattern, with a cam card of their own:{card}The manual allows a "
        "dwell from {least:g}° to {most:g}°. A breakdown leaves you with blades and no meter. Between which gaps must "
        "these points be set?"
    ),
    draw={
        "vehicle": Pick(tuple(vehicles())),
        "size_percent": Steps(88, 114),
        "below": Steps(10, 35, 5, scale=10),
        "above": Steps(5, 40, 5, scale=10),
    },
    fill=_other_points,
    show=lambda v: {**_show_card(v), "least": v.dwell_deg - v.below, "most": v.dwell_deg + v.above},
    parts=(
        Range(
            key="gaps", prompt="Least and greatest gap", unit="in", also=("mm",), marks=2, step=0.0005,
            answer=_window, within=_BLADE, possible=(0.001, 0.06), objectives=("D1",),
            slips=(
                Slip("reversed",
                     "You paired more dwell with a wider gap. The greatest dwell goes with the smallest gap.",
                     lambda v: None if v.above == v.below else tuple(2 * v.gap_in - end for end in reversed(_window(v)))),
            ),
        ),
    ),
    route=lambda v: (
        f"The greatest dwell, {v.dwell_deg + v.above:g}°, goes with the smallest gap: {_window(v)[0]:.4f} in.",
        f"The least dwell, {v.dwell_deg - v.below:g}°, goes with the widest gap: {_window(v)[1]:.4f} in.",
        f"In millimetres: {25.4 * _window(v)[0]:.2f} to {25.4 * _window(v)[1]:.2f} mm.",
    ),
)  # fmt: skip

# Line by line what is right, and two ways in which it gets printed wrong. Two published texts
# do print the second line wrong; the geometry of the cam is against them.
_PRINTED = MappingProxyType(
    {
        "peak": (
            "Measure the gap with the rubbing block on the peak of a lobe.",
            "Measure the gap with the rubbing block on the flat between two lobes.",
            "Measure the gap at any position of the cam.",
        ),
        "gap": (
            "A wider gap gives less dwell.",
            "The dwell grows as the gap grows.",
            "A smaller gap gives less dwell.",
        ),
        "wear": (
            "As the rubbing block wears, the spark comes later.",
            "As the rubbing block wears, the spark comes earlier.",
            "Wear of the rubbing block leaves the timing as it was.",
        ),
        "degree": (
            "On a symmetric cam one degree more dwell retards the spark by one crank degree.",
            "On a symmetric cam one degree more dwell retards the spark by two crank degrees.",
            "On a symmetric cam one degree more dwell advances the spark by one crank degree.",
        ),
        "order": (
            "Set the dwell first and the timing after it.",
            "Set the timing first; dwell may be corrected afterwards.",
            "After a change of gap the timing need not be looked at.",
        ),
    }
)
_WHY_RIGHT = MappingProxyType(
    {
        "peak": "That line is right. The gap is the widest opening, and that is on the lobe peak.",
        "gap": "That line is right. A wider gap opens earlier and closes later, so less angle is left for dwell.",
        "wear": "That line is right. A worn block lets the points open later: retard.",
        "degree": "That line is right. Half the change is on the opening flank, and the crank counts double.",
        "order": "That line is right. The gap moves the timing; the timing does not move the gap.",
    }
)


def _page(v):
    rows = [words[1 + v.wording if key == v.wrong else 0] for key, words in _PRINTED.items()]
    return {"page": listing.lines(f"({number}) {row}" for number, row in enumerate(rows, 1))}


FIND_ERROR = Exercise(
    key="m02.find_error",
    version=1,
    marking=1,
    title="Find the error in print",
    text="Printed books err, too. One of these five lines is wrong. Which?{page}",
    draw={"wrong": Pick(tuple(_PRINTED)), "wording": Steps(0, 1)},
    show=_page,
    parts=(
        Choice(
            key="line",
            prompt="The wrong line",
            marks=2,
            objectives=("D4", "D5"),
            order="fixed",
            options=MappingProxyType({key: f"Line {number}" for number, key in enumerate(_PRINTED, 1)}),
            answer=lambda v: v.wrong,
            slips=tuple(
                Slip(key, says, lambda v, key=key: None if v.wrong == key else key) for key, says in _WHY_RIGHT.items()
            ),
        ),
    ),
    route=lambda v: (
        f"Printed: {_PRINTED[v.wrong][1 + v.wording]}",
        f"It must read: {_PRINTED[v.wrong][0]}",
    ),
)
