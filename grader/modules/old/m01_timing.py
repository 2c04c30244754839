"""Earlier versions of module 1's exercises, frozen: work issued with them is marked by them.

CENTRIFUGAL, TOTAL and FAST_IDLE in version 1 drew their speeds from one list for all
engines. Where the weights are fully out the answer was the same for too many. MARK_ARC
in version 1 asked for more than a tape can be read to. ANGLE_TIME drew speed and angle
apart, FAST_IDLE in version 2 knew an idle of 1800 rev/min. The choices had few cases.
"""

from types import MappingProxyType

from grader.exercise.model import Absolute, Exercise, Line, Number, Percent, Slip
from grader.exercise.spread import Pick, Steps
from grader.modules.old.timing import checking, limits, line, words
from grader.reference import angles
from grader.reference.timing import advance
from grader.vehicle.spec import vehicle, vehicles

_SCALE = Absolute(0.5, "half a degree is what a pulley scale can be read to")

_ENGINES = Pick(tuple(vehicles()))


def _tables(parameters):
    """The drawn vehicle's own figures, so that an issue is complete in itself."""
    spec = vehicle(parameters["vehicle"])
    return {
        "title": spec.title,
        "initial_deg": spec.initial_deg,
        "idle_rpm": spec.idle_rpm,
        "centrifugal": [list(point) for point in spec.centrifugal],
        "vacuum": [list(point) for point in spec.vacuum],
        "port": spec.port,
    }


def _show_tables(v):
    return {
        "centrifugal_table": ", ".join(f"{rpm:g} → {deg:g}°" for rpm, deg in v.centrifugal),
        "vacuum_table": ", ".join(f"{vac:g} → {deg:g}°" for vac, deg in v.vacuum),
    }


def _weights_crank_deg(v):
    return angles.crank_deg(advance.centrifugal_advance_deg(angles.distributor_speed_rpm(v.speed_rpm), v.centrifugal))


def _weights_at(v, distributor_rpm):
    return advance.centrifugal_advance_deg(distributor_rpm, v.centrifugal)


def _diaphragm_dist_deg(v):
    return advance.vacuum_advance_deg(v.vacuum_inhg, v.vacuum)


_RULE = Percent(2, "arc against chord, and reading a rule to half a millimetre")

MARK_ARC = Exercise(
    key="m01.mark_arc",
    version=1,
    marking=1,
    title="A mark where the scale has rusted away",
    text=(
        "The timing scale is gone; only the top-dead-centre notch is left on a pulley of {diameter_mm} mm "
        "({diameter_in} in) diameter. The manual sets the initial timing to {angle_deg}° before top dead centre. "
        "How far from the notch, measured along the rim with a tape, do you make the new mark?"
    ),
    draw={"diameter_mm": Steps(118, 206, 2), "angle_deg": Steps(4, 14)},
    show=lambda v: {"diameter_in": f"{v.diameter_mm / 25.4:.2f}"},
    parts=(
        Number(
            key="arc",
            prompt="Distance along the rim",
            unit="mm",
            also=("in",),
            marks=2,
            step=0.1,
            answer=lambda v: angles.pulley_arc(v.angle_deg, v.diameter_mm),
            within=_RULE,
            possible=(0.0, 700.0),
            objectives=("T1",),
            slips=(
                Slip(
                    "radius",
                    "You have half the distance. The rim measures π times the full diameter, not the radius, for 360°.",
                    lambda v: angles.pulley_arc(v.angle_deg, v.diameter_mm / 2),
                ),
                Slip(
                    "distributor",
                    "You doubled the degrees. The manual's figure is already in crank degrees, as the pulley turns.",
                    lambda v: angles.pulley_arc(2 * v.angle_deg, v.diameter_mm),
                ),
            ),
        ),
    ),
    route=lambda v: (
        f"The rim measures π × {v.diameter_mm} mm = {angles.pulley_arc(360, v.diameter_mm):.1f} mm for 360°.",
        f"{v.angle_deg}° is {v.angle_deg}/360 of it: {angles.pulley_arc(v.angle_deg, v.diameter_mm):.1f} mm.",
    ),
)

_ARITHMETIC = Percent(2, "two- and three-figure arithmetic")

ANGLE_TIME = Exercise(
    key="m01.angle_time",
    version=1,
    marking=1,
    title="Degrees as time",
    text=(
        "At {speed_rpm} rev/min (crankshaft) the spark comes {angle_deg}° before top dead centre. "
        "How many milliseconds are left for the charge to burn until the piston is at the top?"
    ),
    draw={"speed_rpm": Steps(500, 4500, 50), "angle_deg": Steps(6, 40)},
    parts=(
        Number(
            key="time", prompt="Time to top dead centre", unit="ms", marks=2, step=0.01,
            answer=lambda v: angles.time_of_angle_ms(v.angle_deg, v.speed_rpm),
            within=_ARITHMETIC, possible=(0.0, 200.0), objectives=("T1",),
            slips=(
                Slip("distributor-speed",
                     "You put the distributor's speed into the sum. Degrees here are crank degrees, so take the crankshaft's speed.",
                     lambda v: angles.time_of_angle_ms(v.angle_deg, angles.distributor_speed_rpm(v.speed_rpm))),
                Slip("two-turns",
                     "You spread the time of one turn over 720°. One turn of the crankshaft is 360°.",
                     lambda v: angles.time_of_angle_ms(v.angle_deg, 2 * v.speed_rpm)),
                Slip("minutes",
                     "You took revolutions a minute for revolutions a second. Divide the speed by 60 first.",
                     lambda v: angles.time_of_angle_ms(v.angle_deg, 60 * v.speed_rpm)),
            ),
        ),
    ),
    route=lambda v: (
        f"One turn takes 60\u202f000 ÷ {v.speed_rpm} = {60000 / v.speed_rpm:.2f} ms.",
        f"{v.angle_deg}° is {v.angle_deg}/360 of a turn: {angles.time_of_angle_ms(v.angle_deg, v.speed_rpm):.2f} ms.",
    ),
)  # fmt: skip

CENTRIFUGAL = Exercise(
    key="m01.centrifugal",
    version=1,
    marking=1,
    title="What the weights add",
    text=(
        "The test sheet of the {title} gives the centrifugal advance in distributor units "
        "(distributor rev/min → distributor degrees): {centrifugal_table}. Between the points it runs straight; "
        "beyond the ends it stays flat. The engine turns at {speed_rpm} rev/min (crankshaft). "
        "How many crank degrees do the weights add?"
    ),
    draw={"vehicle": _ENGINES, "speed_rpm": Steps(1100, 3400, 50)},
    fill=_tables,
    show=_show_tables,
    parts=(
        Number(
            key="advance", prompt="Centrifugal advance", unit="° crank", also=("° dist",), marks=3, step=0.1,
            answer=_weights_crank_deg, within=_SCALE, possible=(0.0, 60.0), objectives=("T1", "T2"),
            slips=(
                Slip("not-doubled",
                     "You have distributor degrees. The crankshaft turns twice as far: double them.",
                     lambda v: _weights_crank_deg(v) / 2, share=0.5),
                Slip("crank-speed",
                     "You looked the crankshaft's speed up in a table of distributor speeds. Halve the engine speed first.",
                     lambda v: angles.crank_deg(_weights_at(v, v.speed_rpm))),
                Slip("crank-speed-not-doubled",
                     "You looked up the crankshaft's speed and kept distributor degrees. Halve the speed, then double the degrees.",
                     lambda v: _weights_at(v, v.speed_rpm)),
            ),
        ),
    ),
    route=lambda v: (
        f"The distributor turns at {v.speed_rpm} / 2 = {v.speed_rpm / 2:g} rev/min.",
        f"The table gives {_weights_at(v, v.speed_rpm / 2):.2f} distributor degrees there.",
        f"At the crankshaft that is twice as much: {_weights_crank_deg(v):.1f}°.",
    ),
)  # fmt: skip

TOTAL = Exercise(
    key="m01.total",
    version=1,
    marking=1,
    title="Total advance, line off and line on",
    text=(
        "The same {title} at the same {speed_rpm} rev/min. Initial timing is {initial_deg:g}° before top dead centre. "
        "The vacuum unit gives (inHg → distributor degrees): {vacuum_table}. First the vacuum line is off and plugged. "
        "Then it is on, at part throttle, and a gauge in the line shows {vacuum_inhg} inHg ({vacuum_kpa} kPa)."
    ),
    draw={"vacuum_inhg": Steps(65, 150, 5, scale=10)},
    linked="m01.centrifugal",
    show=lambda v: {**_show_tables(v), "vacuum_kpa": f"{v.vacuum_inhg * 3.38639:.0f}"},
    parts=(
        Number(
            key="line_off", prompt="Where the timing light shows the mark, line off", unit="° crank", marks=2, step=0.1,
            answer=lambda v, weights: v.initial_deg + weights,
            uses=("m01.centrifugal.advance",),
            within=_SCALE, possible=(-30.0, 90.0), objectives=("T2",),
            slips=(
                Slip("vacuum-counted",
                     "You counted the vacuum unit in. With its line off and plugged it adds nothing.",
                     lambda v, weights: v.initial_deg + weights + angles.crank_deg(_diaphragm_dist_deg(v))),
                Slip("initial-left-out",
                     "You left the initial timing out. The weights add to it.",
                     lambda v, weights: weights),
            ),
        ),
        Number(
            key="line_on", prompt="Total advance, line on", unit="° crank", marks=3, step=0.1,
            answer=lambda v, off: off + angles.crank_deg(_diaphragm_dist_deg(v)),
            uses=("m01.total.line_off",), reads=MappingProxyType({"vacuum_inhg": 0.25}),
            within=_SCALE, possible=(-30.0, 120.0), objectives=("T2",),
            slips=(
                Slip("not-doubled",
                     "You added the vacuum unit's distributor degrees as they are. Double them for the crankshaft.",
                     lambda v, off: off + _diaphragm_dist_deg(v), share=0.5),
                Slip("kpa-for-inhg",
                     "You read the figure in kPa as inches of mercury, so the unit seemed fully out. 1 inHg is 3.39 kPa.",
                     lambda v, off: off + angles.crank_deg(v.vacuum[-1][1])),
                Slip("vacuum-left-out",
                     "You left the vacuum unit out. With the line on at part throttle it adds its share.",
                     lambda v, off: off),
            ),
        ),
    ),
    route=lambda v: (
        Line(
            f"Line off: initial {v.initial_deg:g}° + weights {_weights_crank_deg(v):.1f}° "
            f"= {v.initial_deg + _weights_crank_deg(v):.1f}°.",
            "line_off", "m01.centrifugal.advance",
        ),
        f"At {v.vacuum_inhg} inHg the unit gives {_diaphragm_dist_deg(v):.2f} distributor degrees, "
        f"{angles.crank_deg(_diaphragm_dist_deg(v)):.1f}° at the crankshaft.",
        Line(
            "Line on: "
            f"{advance.total_advance_deg(v.speed_rpm, v.vacuum_inhg, v.initial_deg, v.centrifugal, v.vacuum):.1f}°.",
            "line_on",
        ),
    ),
)  # fmt: skip

FAST_IDLE = Exercise(
    key="m01.fast_idle",
    version=1,
    marking=1,
    title="Set at the wrong idle speed",
    text=(
        "The manual of the {title} wants the initial timing set at {idle_rpm} rev/min or less, vacuum line off and "
        "plugged. A colleague set the mark to {mark_deg}° before top dead centre while the engine idled at "
        "{speed_rpm} rev/min. Centrifugal advance (distributor rev/min → distributor degrees): {centrifugal_table}. "
        "What is the initial timing really?"
    ),
    draw={"vehicle": _ENGINES, "speed_rpm": Steps(900, 1500, 20), "mark_deg": Steps(4, 12)},
    fill=_tables,
    show=_show_tables,
    parts=(
        Number(
            key="initial", prompt="True initial timing (after top dead centre: minus)", unit="° crank", marks=3, step=0.1,
            answer=lambda v: advance.true_initial_deg(v.mark_deg, v.speed_rpm, v.centrifugal),
            within=_SCALE, possible=(-40.0, 40.0), objectives=("T5",),
            slips=(
                Slip("unchanged",
                     "You kept what the light showed. At that speed the weights already added a part of it.",
                     lambda v: float(v.mark_deg)),
                Slip("added",
                     "You added what the weights give. They helped the mark to its place, so take it away.",
                     lambda v: v.mark_deg + _weights_crank_deg(v)),
                Slip("not-doubled",
                     "You took distributor degrees away from crank degrees. Double them first.",
                     lambda v: v.mark_deg - _weights_crank_deg(v) / 2, share=0.5),
                Slip("crank-speed",
                     "You looked the crankshaft's speed up in a table of distributor speeds. Halve the engine speed first.",
                     lambda v: v.mark_deg - angles.crank_deg(_weights_at(v, v.speed_rpm))),
            ),
        ),
    ),
    route=lambda v: (
        f"The distributor turned at {v.speed_rpm / 2:g} rev/min; there the weights give "
        f"{_weights_at(v, v.speed_rpm / 2):.2f} distributor degrees, {_weights_crank_deg(v):.1f}° at the crankshaft.",
        f"The light showed {v.mark_deg}°, so the initial timing is {v.mark_deg} − {_weights_crank_deg(v):.1f} "
        f"= {advance.true_initial_deg(v.mark_deg, v.speed_rpm, v.centrifugal):.1f}°.",
        "The whole curve is late by that part. Bring the idle down and set the timing again.",
    ),
)  # fmt: skip

FAST_IDLE_2 = Exercise(
    key="m01.fast_idle",
    version=2,
    marking=1,
    title="Set at the wrong idle speed",
    text=(
        "The manual of the {title} wants the initial timing set at {idle_rpm} rev/min or less, vacuum line off and "
        "plugged. A colleague set the mark to {mark_deg}° before top dead centre while the engine idled at "
        "{speed_rpm} rev/min. Centrifugal advance (distributor rev/min → distributor degrees): {centrifugal_table}. "
        "What is the initial timing really?"
    ),
    draw={"vehicle": _ENGINES, "speed_rpm": Steps(900, 1800, 20), "mark_deg": Steps(2, 18)},
    fill=_tables,
    show=_show_tables,
    parts=(
        Number(
            key="initial", prompt="True initial timing (after top dead centre: minus)", unit="° crank", marks=3, step=0.1,
            answer=lambda v: advance.true_initial_deg(v.mark_deg, v.speed_rpm, v.centrifugal),
            within=_SCALE, possible=(-40.0, 40.0), objectives=("T5",),
            slips=(
                Slip("unchanged",
                     "You kept what the light showed. At that speed the weights already added a part of it.",
                     lambda v: float(v.mark_deg)),
                Slip("added",
                     "You added what the weights give. They helped the mark to its place, so take it away.",
                     lambda v: v.mark_deg + _weights_crank_deg(v)),
                Slip("not-doubled",
                     "You took distributor degrees away from crank degrees. Double them first.",
                     lambda v: v.mark_deg - _weights_crank_deg(v) / 2, share=0.5),
                Slip("crank-speed",
                     "You looked the crankshaft's speed up in a table of distributor speeds. Halve the engine speed first.",
                     lambda v: v.mark_deg - angles.crank_deg(_weights_at(v, v.speed_rpm))),
            ),
        ),
    ),
    route=lambda v: (
        f"The distributor turned at {v.speed_rpm / 2:g} rev/min; there the weights give "
        f"{_weights_at(v, v.speed_rpm / 2):.2f} distributor degrees, {_weights_crank_deg(v):.1f}° at the crankshaft.",
        f"The light showed {v.mark_deg}°, so the initial timing is {v.mark_deg} − {_weights_crank_deg(v):.1f} "
        f"= {v.mark_deg - round(_weights_crank_deg(v), 1):z.1f}°.",
        "The whole curve is late by that part. Bring the idle down and set the timing again.",
    ),
)  # fmt: skip

EXERCISES = (
    MARK_ARC,
    ANGLE_TIME,
    CENTRIFUGAL,
    TOTAL,
    FAST_IDLE,
    FAST_IDLE_2,
    line.LINE_TEST,
    checking.CHECK_ORDER,
    checking.CAP,
    limits.ROUND_BY_COST,
    limits.ALTITUDE,
    words.FIND_ERROR,
    checking.NEXT_STEP,
    words.LETTER,
)
