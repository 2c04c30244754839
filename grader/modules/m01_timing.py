"""Module 1: ignition timing with its centrifugal and vacuum advance."""

from types import MappingProxyType

from grader.exercise.model import Absolute, Exercise, Line, Module, Number, Percent, Slip
from grader.exercise.spread import Pick, Steps
from grader.modules.old import m01_timing as old
from grader.modules.timing import checking, limits, line, racing, sheet, words
from grader.reference import angles
from grader.reference.timing import advance
from grader.vehicle.spec import vehicles

_RULE = Percent(2, "arc against chord; a tape is read to half a millimetre", least=0.5)
_WORKED = Absolute(0.25, "worked from a printed table to a tenth of a degree")
_SCALE = Absolute(0.5, "half a degree is what a pulley scale can be read to")

_ENGINES = Pick(tuple(vehicles()))


def _weights_crank_deg(v):
    return angles.crank_deg(advance.centrifugal_advance_deg(angles.distributor_speed_rpm(v.speed_rpm), v.centrifugal))


def _weights_at(v, distributor_rpm):
    return advance.centrifugal_advance_deg(distributor_rpm, v.centrifugal)


def _diaphragm_dist_deg(v):
    return advance.vacuum_advance_deg(v.vacuum_inhg, v.vacuum)


MARK_ARC = Exercise(
    key="m01.mark_arc",
    version=2,
    marking=1,
    title="A mark where the scale has rusted away",
    text=(
        "The timing scale is gone; only the top-dead-centre notch is left on a pulley of {diameter_mm} mm "
        "({diameter_in} in) diameter. The manual sets the initial timing to {angle_deg}° before top dead centre. "
        "How far from the notch, measured along the rim with a tape, do you make the new mark?"
    ),
    # Pulleys of 118 to 206 mm and figures of 4 to 14 degrees before top (practice).
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


LIGHT_THROTTLE_FROM_RPM = 1300


def _advance_at(parameters):
    """A speed along this engine's own curve and the advance that belongs to it, with the line off or at part throttle."""
    figures = sheet.tables(parameters)
    first, last = figures["idle_rpm"], 2.2 * figures["centrifugal"][-1][0]
    speed = 50 * round((first + (last - first) * parameters["along_percent"] / 100) / 50)
    vacuum = parameters["vacuum_inhg"] if speed >= LIGHT_THROTTLE_FROM_RPM else 0  # below it the plate covers the port
    total = advance.total_advance_deg(speed, vacuum, figures["initial_deg"], figures["centrifugal"], figures["vacuum"])
    return {"title": figures["title"], "speed_rpm": speed, "vacuum_inhg": vacuum, "angle_deg": round(float(total))}


ANGLE_TIME = Exercise(
    key="m01.angle_time",
    version=2,
    marking=1,
    title="Degrees as time",
    text=(
        "At {speed_rpm} rev/min (crankshaft), {line}, the spark of the {title} comes {angle_deg}° before top dead centre. "
        "How many milliseconds are left for the charge to burn until the piston is at the top?"
    ),
    # From idle to a little beyond the end of the curve; 8 to 16 inHg is light throttle, 0 is the line off (practice).
    draw={"vehicle": _ENGINES, "along_percent": Steps(8, 100), "vacuum_inhg": Pick((0, 0, 8, 10, 12, 14, 16))},
    fill=_advance_at,
    show=lambda v: {"line": "vacuum line on at light throttle" if v.vacuum_inhg else "vacuum line off and plugged"},
    parts=(
        Number(
            key="time", prompt="Time to top dead centre", unit="ms", marks=2, step=0.01,
            answer=lambda v: angles.time_of_angle_ms(v.angle_deg, v.speed_rpm),
            within=Percent(2, "two- and three-figure arithmetic", least=0.01), possible=(0.0, 200.0), objectives=("T1",),
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
    version=2,
    marking=1,
    title="What the weights add",
    text=(
        "The test sheet of the {title} gives the centrifugal advance in distributor units "
        "(distributor rev/min → distributor degrees): {centrifugal_table}. Between the points it runs straight; "
        "beyond the ends it stays flat. The engine turns at {speed_rpm} rev/min (crankshaft). "
        "How many crank degrees do the weights add?"
    ),
    # Speeds of 700 to 4,200 rev/min, 2 to 28 crank degrees of advance (practice: all in by 1,800 to 4,000).
    draw={"vehicle": _ENGINES, "along_percent": Steps(10, 102)},
    fill=sheet.tables_and_speed,
    show=sheet.show_tables,
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
        f"The distributor turns at {v.speed_rpm} ÷ 2 = {v.speed_rpm / 2:g} rev/min.",
        f"The table gives {_weights_at(v, v.speed_rpm / 2):.2f} distributor degrees there.",
        f"At the crankshaft that is twice as much: {_weights_crank_deg(v):.1f}°.",
    ),
)  # fmt: skip

TOTAL = Exercise(
    key="m01.total",
    version=2,
    marking=1,
    title="Total advance, line off and line on",
    text=(
        "The same {title} at the same {speed_rpm} rev/min. Initial timing is {initial_deg:g}° before top dead centre. "
        "The vacuum unit gives (inHg → distributor degrees): {vacuum_table}. First the vacuum line is off and plugged. "
        "Then it is on, at part throttle, and a gauge in the line shows {vacuum_inhg} inHg ({vacuum_kpa} kPa)."
    ),
    # Part throttle, where a vacuum unit works: 6 to 15 inHg, in all not above 55 degrees (practice).
    draw={"vacuum_inhg": Steps(65, 150, 5, scale=10)},
    linked="m01.centrifugal",
    show=lambda v: {**sheet.show_tables(v), "vacuum_kpa": f"{v.vacuum_inhg * 3.38639:.0f}"},
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
                     "That is the unit fully out. Did you read the figure in kPa as inches of mercury? 1 inHg is 3.39 kPa.",
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
            f"= {v.initial_deg + round(float(_weights_crank_deg(v)), 1):.1f}°.",
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


def _set_too_fast(parameters):
    figures = sheet.tables_and_fast_idle(parameters)
    return {**figures, "mark_deg": figures["initial_deg"] + parameters["mark_off"]}


def _fast_weights_deg(v):
    return angles.crank_deg(_weights_at(v, angles.distributor_speed_rpm(v.fast_rpm)))


FAST_IDLE = Exercise(
    key="m01.fast_idle",
    version=3,
    marking=1,
    title="Set at the wrong idle speed",
    text=(
        "The manual of the {title} wants the initial timing set to {initial_deg:g}° at {idle_rpm} rev/min or less, vacuum line "
        "off and plugged. A colleague set the mark to {mark_deg:g}° before top dead centre while the engine idled at "
        "{fast_rpm} rev/min. Centrifugal advance (distributor rev/min → distributor degrees): {centrifugal_table}. "
        "What is the initial timing really?"
    ),
    # An idle a third to a half too fast; the mark set within two degrees of the manual's figure (practice).
    draw={"vehicle": _ENGINES, "times_percent": Steps(135, 155), "mark_off": Steps(-4, 4, scale=2)},
    fill=_set_too_fast,
    show=sheet.show_tables,
    parts=(
        Number(
            key="initial", prompt="True initial timing (after top dead centre: minus)", unit="° crank", marks=3, step=0.1,
            answer=lambda v: advance.true_initial_deg(v.mark_deg, v.fast_rpm, v.centrifugal),
            within=_WORKED, possible=(-40.0, 40.0), objectives=("T5",),
            slips=(
                Slip("unchanged",
                     "You kept what the timing light showed. At that speed the weights already added a part of it.",
                     lambda v: float(v.mark_deg)),
                Slip("added",
                     "You added what the weights give. They helped the mark to its place, so take it away.",
                     lambda v: v.mark_deg + _fast_weights_deg(v)),
                Slip("not-doubled",
                     "You took distributor degrees away from crank degrees. Double them first.",
                     lambda v: v.mark_deg - _fast_weights_deg(v) / 2, share=0.5),
                Slip("crank-speed",
                     "You looked the crankshaft's speed up in a table of distributor speeds. Halve the engine speed first.",
                     lambda v: v.mark_deg - angles.crank_deg(_weights_at(v, v.fast_rpm))),
            ),
        ),
    ),
    route=lambda v: (
        f"The distributor turned at {v.fast_rpm / 2:g} rev/min; there the weights give "
        f"{_weights_at(v, v.fast_rpm / 2):.2f} distributor degrees, {_fast_weights_deg(v):.1f}° at the crankshaft.",
        f"The timing light showed {v.mark_deg:g}°, so the initial timing is {v.mark_deg:g} − {_fast_weights_deg(v):.1f} "
        f"= {v.mark_deg - round(float(_fast_weights_deg(v)), 1):z.1f}°.",
        "The whole curve is late by that part. Bring the idle down and set the timing again.",
    ),
)  # fmt: skip

MODULE = Module(
    key="m01_timing",
    title="Ignition timing",
    minutes=90,
    exercises=(
        MARK_ARC,
        ANGLE_TIME,
        CENTRIFUGAL,
        TOTAL,
        FAST_IDLE,
        racing.RACING,
        line.LINE_TEST,
        checking.CHECK_ORDER,
        checking.CAP,
        checking.LEADS_FOUND,
        limits.BAND,
        limits.ROUND,
        limits.ALTITUDE,
        words.FIND_ERROR,
        checking.NEXT_STEP,
        words.LETTER,
    ),
    old=old.EXERCISES,
)
