"""Exercises on gap, dwell and timing: the cam card, what wear does, an error in print."""

from types import MappingProxyType

from grader.exercise import listing
from grader.exercise.kinds import Range
from grader.exercise.model import Absolute, Exercise, Line, Number, Slip
from grader.exercise.spread import Pick, Steps
from grader.modules.dwell.cam import CARD_STEP_IN, cam
from grader.modules.situations import page_with_an_error
from grader.reference import angles
from grader.reference.spark import points
from grader.units import signed
from grader.vehicle.spec import vehicle, vehicles

_DWELL = Absolute(0.5, "half a degree is what a dwell meter can be read to")
_TIMING = Absolute(0.3, "two subtractions from a dwell that was written to a tenth of a degree")
_BLADE = Absolute(0.0004, "a card is read between its rows; blades go by thousandths of an inch")


def _cam_found(parameters):
    spec = cam(parameters)
    return {**spec, "found_in": round(spec["gap_in"] + parameters["off_thou"] / 1000, 3)}


def _dwell_at(v, gap_in):
    return points.dwell_of_gap_deg(gap_in, v.lift_in, v.cylinders)


def _show_card(v, step_in=CARD_STEP_IN):
    gaps = [v.gap_in + row * step_in for row in (-2, -1, 0, 1, 2)]
    return {
        "card": listing.lines(f"{gap:.3f} in ({25.4 * gap:.3f} mm) → {_dwell_at(v, gap):.1f}°" for gap in gaps),
        "lobe_deg": f"{angles.firing_interval_deg(v.cylinders) / 2:g}",
    }


def _show_found(v):
    return {**_show_card(v), "found_mm": f"{25.4 * v.found_in:.3f}", "gap_mm": f"{25.4 * v.gap_in:.3f}"}


GAP_DWELL = Exercise(
    key="m02.gap_dwell",
    version=2,
    marking=1,
    title="From gap to dwell",
    text=(
        "A teaching card for the cam of the {title} gives the dwell for each gap:{card}Between the rows it runs nearly "
        "straight. On the lobe peak the blade of {found_in:.3f} in ({found_mm} mm) just fits. "
        "Which dwell will the meter show?"
    ),
    # Off the manual's gap by some thousandths: a worn block down to -6, a hurried setting up to +5 (practice). The rows
    # of the card themselves are left out, and so is what the meter could not tell from the manual's dwell.
    draw={"vehicle": Pick(tuple(vehicles())), "off_thou": Pick((-6, -5, -3, -2, 2, 3, 5))},
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
        f"The found gap is {abs(v.found_in - v.gap_in):.3f} in {'wider' if v.found_in > v.gap_in else 'smaller'}, "
        f"so dwell is {'less' if v.found_in > v.gap_in else 'more'} than that.",
        f"Between the rows of the card: {_dwell_at(v, v.found_in):.1f}°.",
    ),
)  # fmt: skip


def _set_before(parameters):
    """What the timing was set to: the manual's figure, or a degree beside it, as a workshop sets it (practice)."""
    return {"set_deg": vehicle(parameters["vehicle"]).initial_deg + parameters["set_off"]}


def _since(v):
    # A gap closes by itself, as the block wears. It never widens by itself: somebody has set it.
    worn = v.found_in < v.gap_in
    told = (
        "Since then the rubbing block has worn, and the gap has closed to"
        if worn
        else "Since then the owner has set the points by eye, and the gap is now"
    )
    return {**_show_found(v), "since": told}


WEAR_TIMING = Exercise(
    key="m02.wear_timing",
    version=2,
    marking=1,
    title="What the gap did to the timing",
    text=(
        "The same {title}. Its initial timing was set to {set_deg:g}° before top dead centre while the gap stood at "
        "{gap_in:.3f} in ({gap_mm} mm), dwell {dwell_deg:g}°. {since} {found_in:.3f} in "
        "({found_mm} mm). Nobody has turned the distributor body; its cam is symmetric. What does the timing light "
        "show now at idle, vacuum line off and plugged?"
    ),
    draw={"set_off": Pick((-1, 0, 1))},
    linked="m02.gap_dwell",
    fill=_set_before,
    show=_since,
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
            f"a change of {signed(f'{_dwell_at(v, v.found_in) - v.dwell_deg:+.1f}')}°.",
            "m02.gap_dwell.dwell", "timing",  # the change alone may have the figures of the new timing
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
    """Points of another pattern in the same distributor: gap and lift grow alike, the dwell stays.

    The gap is a whole thousandth, as the card prints it.
    """
    spec = cam(parameters)
    gap_in = round(spec["gap_in"] * parameters["size_percent"] / 100, 3)
    return {**spec, "gap_in": gap_in, "lift_in": points.full_lift(gap_in, spec["dwell_deg"], spec["cylinders"])}


def _window(v):
    return tuple(points.gap_of_dwell(v.dwell_deg + change, v.lift_in, v.cylinders) for change in (v.above, -v.below))


def _show_limits(v):
    """The card reaches from less than half the gap to more than one and a half, so that both limits lie between its rows."""
    card = _show_card(v, step_in=round(0.28 * v.gap_in, 3))
    return {**card, "least": v.dwell_deg - v.below, "most": v.dwell_deg + v.above}


GAP_WINDOW = Exercise(
    key="m02.gap_window",
    version=2,
    marking=1,
    title="From dwell limits to gap limits",
    text=(
        "This {title} carries points of another pattern, with a cam card of their own:{card}The manual allows a "
        "dwell from {least:g}° to {most:g}°. After a breakdown you have blades and no meter. Between which gaps must "
        "these points be set?"
    ),
    # Limits of a manual lie 1 to 4 degrees beside its figure (practice).
    draw={
        "vehicle": Pick(tuple(vehicles())),
        "size_percent": Steps(76, 130),
        "below": Steps(10, 40, 5, scale=10),
        "above": Steps(10, 40, 5, scale=10),
    },
    fill=_other_points,
    show=_show_limits,
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

# Two published texts do print the line on gap and dwell wrong; the geometry of the cam is against them.
_PRINTED = MappingProxyType(
    {
        "measured": {
            "peak": (
                "Measure the gap with the rubbing block on the peak of a lobe.",
                "Measure the gap with the rubbing block on the flat between two lobes.",
                "Measure the gap at any position of the cam.",
                "The gap is the widest opening, and that is on the lobe peak.",
            ),
            "pitted": (
                "On pitted points the true gap is wider than the blade that just fits.",
                "On pitted points the true gap is smaller than the blade that just fits.",
                "On pitted points a blade measures the gap as well as on new ones.",
                "A flat blade rides on the pip and misses the hollow beside it.",
            ),
            "scale": (
                "On the meter's scale for eight cylinders a four shows half its dwell.",
                "On the meter's scale for eight cylinders a four shows twice its dwell.",
                "Whatever scale the meter's switch is on, it shows the same dwell.",
                "The meter measures a share of the time, and the switch says how many degrees make the whole.",
            ),
        },
        "gap": {
            "wider": (
                "A wider gap gives less dwell.",
                "The dwell grows as the gap grows.",
                "A smaller gap gives less dwell.",
                "A wider gap opens earlier and closes later, so less angle is left for dwell.",
            ),
            "narrow": (
                "With a gap much too narrow the engine is rough at low speed and misses at high speed.",
                "With a gap much too narrow the engine is rough at idle, and runs well at high speed.",
                "With a gap much too narrow the engine runs better at high speed, since dwell is great.",
                "The points open slowly and arc at low speed, and at high speed they bounce.",
            ),
            "wide": (
                "With a gap much too wide the misfire comes at high speed.",
                "With a gap much too wide the misfire comes at idle and goes away at high speed.",
                "A gap much too wide gives the coil more time, so the voltage at high speed rises.",
                "Little dwell gives the current little time, and at high speed there is least time.",
            ),
        },
        "timing": {
            "wear": (
                "As the rubbing block wears, the spark comes later.",
                "As the rubbing block wears, the spark comes earlier.",
                "Wear of the rubbing block leaves the timing as it was.",
                "A worn block lets the points open later: retard.",
            ),
            "degree": (
                "On a symmetric cam one degree more dwell retards the spark by one crank degree.",
                "On a symmetric cam one degree more dwell retards the spark by two crank degrees.",
                "On a symmetric cam one degree more dwell advances the spark by one crank degree.",
                "Half the change is on the opening flank, and the crank counts double.",
            ),
            "set-wider": (
                "If you set the gap wider, the spark comes earlier than before.",
                "If you set the gap wider, the spark comes later than before.",
                "If you set the gap wider, the spark comes when it came before.",
                "With a wider gap the points open sooner, and the spark comes when they open.",
            ),
        },
        "order": {
            "dwell-first": (
                "Set the dwell first and the timing after it.",
                "Set the timing first; dwell may be corrected afterwards.",
                "After a change of gap you need not check the timing.",
                "The gap moves the timing; the timing does not move the gap.",
            ),
            "key-off": (
                "Turn the key off before you measure or file the points.",
                "Leave the key on while you measure or file the points.",
                "Measure the gap with a blade while a helper works the starter.",
                "The coil gives several hundred volts at the points, and a moving cam gives no gap to measure.",
            ),
            "bedding": (
                "Read the dwell of new points again after the first run: a new block beds in.",
                "New points need no second reading: a new block does not wear.",
                "Read the dwell of new points again after the first run: the gap of new points grows.",
                "A new block loses a little height in the first miles, and the gap closes.",
            ),
        },
        "running": {
            "steady": (
                "A sound distributor shows the same dwell at idle and at speed.",
                "A sound distributor shows much less dwell at speed than at idle.",
                "A sound distributor shows much more dwell at speed than at idle.",
                "Dwell is an angle, and an angle does not depend on speed.",
            ),
            "spring": (
                "With a weak breaker spring the dwell falls from one speed on.",
                "With a weak breaker spring the dwell falls at idle and is right at speed.",
                "A weak breaker spring never changes the dwell.",
                "At speed the weak spring cannot push the arm after the cam, so the points close late.",
            ),
            "drop": (
                "More than 0.2 V across closed points means too much resistance (practice).",
                "Some 2 V across closed points is in order (practice).",
                "More than 0.2 V across closed points means too wide a gap (practice).",
                "Closed points are a closed switch: hardly any voltage may be left across them.",
            ),
        },
    }
)

FIND_ERROR = page_with_an_error(
    key="m02.find_error",
    version=2,
    text="Printed books have errors, too. One of these five lines is wrong. Which one?{page}",
    marks=1,
    objectives=("D4", "D5", "D8"),
    topics=_PRINTED,
)
