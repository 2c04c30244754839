"""Whether the figures of one vehicle can belong together; each rule speaks as soon as it knows enough."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from grader.errors import OutOfRange
from grader.reference.angles import LAYOUTS, check_firing_order, firing_interval_deg
from grader.reference.spark.points import full_lift
from grader.reference.timing.advance import centrifugal_advance_deg, check_curve
from grader.vehicle.own import CONNECTED

CYLINDERS = (4, 6, 8)  # the numbers for which the exercises have limits and meter scales
FULL_LIFT_MM = (0.55, 3.2)  # lift of the contacts in our cam model at the corners of the usual limits (practice)
# Usual limits by number of cylinders, in distributor degrees (practice).
USUAL_DWELL_DEG = {4: (45.0, 60.0), 6: (34.0, 42.0), 8: (26.0, 33.0)}
USUAL_GAP_MM = (0.35, 0.64)  # practice
USUAL_TOTALS_DEG = {"centrifugal": (16.0, 28.0), "vacuum": (10.0, 24.0)}  # crank degrees, practice
_OPEN_WIDTH_DEG = 1.0  # dwell and open angle are each printed to half a degree


@dataclass(frozen=True, slots=True)
class Said:
    """One sentence about a figure. A fault keeps the vehicle out; a remark asks for a second look."""

    name: str
    sentence: str
    fault: bool = True


def judge(known: Mapping[str, Any]) -> list[Said]:
    """Everything that does not fit among the figures known so far.

    Parameters
    ----------
    known : dict
        Any of cylinders, layout, firing_order, dwell_deg, open_deg, gap_mm,
        idle_rpm, line, port, centrifugal, vacuum; curves in distributor units.

    Returns
    -------
    list of Said
    """
    return [sentence for rule in _RULES for sentence in rule(known)]


def _order(known):
    order, cylinders = known.get("firing_order"), known.get("cylinders")
    if order is None:
        return
    try:
        check_firing_order(order)
    except OutOfRange as problem:
        yield Said("firing_order", str(problem))
        return
    shown = "-".join(map(str, order))
    if cylinders and len(order) != cylinders:
        yield Said("firing_order", f"Firing order {shown} names {len(order)} cylinders; the engine has {cylinders}.")
        return
    layout = known.get("layout")
    if layout not in LAYOUTS or len(order) % 2:
        return
    half = len(order) // 2
    pairs = [(order[place], order[place + half]) for place in range(half)]
    if layout == "inline":
        odd = next((pair for pair in pairs if sum(pair) != len(order) + 1), None)
        if odd:
            yield Said(
                "firing_order",
                f"Firing order {shown} is none of an even-firing engine in one row: pistons {odd[0]} and "
                f"{len(order) + 1 - odd[0]} rise together, so they fire half the order apart. Look at the manual again.",
            )
        return
    bank = {number: row for row, numbers in enumerate(LAYOUTS[layout](len(order))) for number in numbers}
    same = next((pair for pair in pairs if bank[pair[0]] == bank[pair[1]]), None)
    if same:
        yield Said(
            "firing_order",
            f"Cylinders {same[0]} and {same[1]} fire half the order {shown} apart and lie on one bank. On most V engines "
            "such a pair lies on both banks: look at the order and at the numbering of the cylinders again.",
            fault=False,
        )


def _dwell(known):
    dwell, cylinders = known.get("dwell_deg"), known.get("cylinders")
    if dwell is None or cylinders not in CYLINDERS:
        return
    lobe = firing_interval_deg(cylinders) / 2
    if not 0 < dwell < lobe:
        yield Said(
            "dwell",
            f"Dwell {dwell:g}° does not fit between two sparks {lobe:g} distributor degrees apart ({cylinders} cylinders).",
        )
        return
    opened = known.get("open_deg")
    if opened is not None and abs(dwell + opened - lobe) > _OPEN_WIDTH_DEG:
        yield Said(
            "open",
            f"Dwell {dwell:g}° and open angle {opened:g}° make {dwell + opened:g}°; on {cylinders} cylinders they must make "
            f"{lobe:g} distributor degrees. Correct one of them, or leave the open angle out.",
        )
    low, high = USUAL_DWELL_DEG[cylinders]
    if not low <= dwell <= high:
        yield Said(
            "dwell",
            f"Dwell {dwell:g}° is outside the usual {low:g} to {high:g}° of {cylinders} cylinders.",
            fault=False,
        )
    gap = known.get("gap_mm")
    if gap is None:
        return
    lift = full_lift(gap, dwell, cylinders)
    least, most = FULL_LIFT_MM
    if not least <= lift <= most:
        yield Said(
            "gap",
            f"Gap {gap:.2f} mm with dwell {dwell:g}° would need a cam that lifts the contacts by {lift:.2f} mm; usual cams "
            f"lift {least:g} to {most:g} mm. One of the two figures is wrong.",
        )


def _usual_gap(known):
    gap, (low, high) = known.get("gap_mm"), USUAL_GAP_MM
    if gap is not None and not low <= gap <= high:
        yield Said("gap", f"Gap {gap:.2f} mm is outside the usual {low:g} to {high:g} mm.", fault=False)


def _curves(known):
    for name, most in (("centrifugal", 6000.0), ("vacuum", 29.9)):
        curve = known.get(name)
        if curve is None:
            continue
        what = f"The {name} table"
        try:
            inputs, advance = check_curve(curve)
        except OutOfRange:
            yield Said(name, _not_rising(what, curve))
            continue
        if advance[0] != 0:
            yield Said(
                name,
                f"{what} begins with {advance[0]:g}° of advance. Put the last point without advance first, so that it "
                "shows where the advance begins.",
            )
        elif advance[-1] == 0:
            yield Said(name, f"{what} never leaves 0°. The exercises need one that rises.")
        if inputs[-1] > most:
            yield Said(name, f"{what} goes up to {inputs[-1]:g}; allowed is {most:g} or less. Look at the unit.")
        total, (low, high) = 2 * float(advance[-1]), USUAL_TOTALS_DEG[name]
        if total > 60:
            yield Said(name, f"{what} ends at {total:g} crank degrees; allowed is 60 or less. Look at the unit.")
        elif total and not low <= total <= high:
            yield Said(
                name, f"{what} ends at {total:g} crank degrees; usual are {low:g} to {high:g}. Look again.", fault=False
            )


def _not_rising(what, curve):
    if len(curve) < 2:
        return f"{what} has {len(curve)} point; two or more are needed."
    for number, (below, above) in enumerate(zip(curve, curve[1:], strict=False), 2):
        if above[0] <= below[0] or above[1] < below[1]:
            return (
                f"{what} must rise: point {number} ({above[0]:g}, {above[1]:g}°, in distributor units) does not lie above point "
                f"{number - 1} ({below[0]:g}, {below[1]:g}°)."
            )
    return f"{what} holds advance below zero."


def _conditions(known):
    idle, curve = known.get("idle_rpm"), known.get("centrifugal")
    if idle is not None and curve and len(curve) > 1:
        try:
            added = 2 * centrifugal_advance_deg(idle / 2, curve)
        except OutOfRange:
            added = 0.0  # the table itself is at fault, and that is said
        if added > 0:
            yield Said(
                "at_speed",
                f"At {idle:g} rev/min the weights already add {added:.1f} crank degrees. Give the speed at which they rest "
                "and the timing for it; the exercises take the initial timing without them.",
            )
    if known.get("line") == CONNECTED and known.get("port") == "manifold":
        yield Said(
            "vacuum_line",
            "With the line connected to the manifold the vacuum unit adds its part to what the timing light shows at idle. "
            "Make sure that the manual means it so.",
            fault=False,
        )


_RULES = (_order, _dwell, _usual_gap, _curves, _conditions)
