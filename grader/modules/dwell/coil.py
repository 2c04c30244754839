"""Exercises on the coil: how far the current gets, where the voltage runs out, what the contacts show."""

from functools import cache
from itertools import product
from types import MappingProxyType

from numpy.typing import ArrayLike

from grader.errors import OutOfRange
from grader.exercise.kinds import PlotReading
from grader.exercise.model import Exercise, Line, Number, Percent, Slip
from grader.exercise.spread import Pick, Steps
from grader.modules.dwell.cam import cam
from grader.modules.situations import MANY, chosen
from grader.ranges import FloatOrArray
from grader.reference.spark import coil
from grader.vehicle.spec import vehicles

_ARITHMETIC = Percent(2, "two- and three-figure arithmetic")

LESSON_DWELL = MappingProxyType({4: 50.0, 6: 37.0, 8: 30.0})
ROTOR_GAP_KV = 2.0
FASTEST_RPM = 6000  # end of the speed axis of the coil panel
_FALLS_FROM_RPM, _FALLS_TO_RPM = 1500, 15000  # available voltage only falls between these
PLOT_PIXELS = 350  # length of the speed axis of that picture on the page


def available_kv(
    speed_rpm: ArrayLike, cylinders: int, supply_v: float = 13.8, contact_ohm: float = 0.0
) -> FloatOrArray:
    """Available voltage of the lesson's own coil, ballast in circuit; the panel draws the same curve.

    Parameters
    ----------
    speed_rpm : float or array
        Engine speed.
    cylinders : int
    supply_v, contact_ohm : float
        Supply voltage, and resistance that the points add.

    Returns
    -------
    float or array
        In kilovolts.
    """
    resistance = float(coil.primary_resistance_ohm(contact_ohm=contact_ohm))
    current = coil.current_at_opening_a(LESSON_DWELL[cylinders], speed_rpm, supply_v, resistance)
    return coil.available_voltage_kv(current, speed_rpm)


def _runs_out_rpm(required_kv, cylinders, contact_ohm=0.0):
    """Engine speed above which the lesson's coil gives less than is required."""

    def excess(speed):
        return available_kv(speed, cylinders, contact_ohm=contact_ohm) - required_kv

    if not excess(_FALLS_TO_RPM) < 0 < excess(_FALLS_FROM_RPM):
        raise OutOfRange(f"{required_kv:g} kV is not crossed between {_FALLS_FROM_RPM} and {_FALLS_TO_RPM} rev/min.")
    return _crossing(excess, _FALLS_FROM_RPM, _FALLS_TO_RPM)


def _crossing(excess, low, high):
    """Where a falling function is zero between two places: false position, Illinois' way, to the last figures.

    scipy.optimize has finer ones, and loading it alone took a sixth of the time in which the lesson opens.
    """
    at_low, at_high, former, before = excess(low), excess(high), low, 0.0
    for _ in range(100):
        middle = (low * at_high - high * at_low) / (at_high - at_low)
        value = excess(middle)
        if value == 0 or abs(middle - former) <= 1e-14 * middle:
            break
        stays = 0.5 if value * before > 0 else 1.0  # an end that stays twice counts half, or it would stay for good
        former, before = middle, value
        if value > 0:
            low, at_low, at_high = middle, value, at_high * stays
        else:
            high, at_high, at_low = middle, value, at_low * stays
    return middle


def _resistance(v):
    return float(coil.primary_resistance_ohm(v.coil_ohm, v.ballast_ohm))


CURRENT = Exercise(
    key="m02.current",
    version=2,
    marking=1,
    title="How far the current gets",
    text=(
        "{title}: {cylinders} cylinders, dwell {dwell_deg:g}°, engine at {speed_rpm} rev/min (crankshaft). Coil "
        "{coil_ohm:g} Ω and ballast {ballast_ohm:g} Ω in series, inductance {inductance_mh:g} mH, supply {supply_v:g} V "
        "running. How long are the points closed before each spark, and which current flows when they open?"
    ),
    draw={
        "vehicle": Pick(tuple(key for key, spec in vehicles().items() if spec.battery_v == 12)),
        "speed_rpm": Steps(1000, 4600, 50),  # what a car, a lorry and a boat reach alike (practice)
        "coil_ohm": Steps(12, 18, scale=10),  # a coil that works with a ballast (practice)
        "ballast_ohm": Steps(12, 19, scale=10),  # (practice)
        "inductance_mh": Steps(40, 100, 5, scale=10),  # 4 to 8 mH in a public article, to 10 in practice
        "supply_v": Steps(132, 144, 2, scale=10),  # engine running, battery charged (practice)
    },
    fill=cam,
    parts=(
        Number(
            key="time", prompt="Closed time", unit="ms", marks=1, step=0.01,
            answer=lambda v: coil.closed_time_ms(v.dwell_deg, v.speed_rpm),
            within=_ARITHMETIC, possible=(0.1, 100.0), objectives=("D7",),
            slips=(
                Slip("crank-speed",
                     "You let the distributor turn at crankshaft speed. It turns half as fast, so the points stay closed twice as long.",
                     lambda v: coil.closed_time_ms(v.dwell_deg, 2 * v.speed_rpm)),
                Slip("open-angle",
                     "You timed the open part. Take the dwell: the angle with the points closed.",
                     lambda v: coil.closed_time_ms(360 / v.cylinders - v.dwell_deg, v.speed_rpm)),
            ),
        ),
        Number(
            key="current", prompt="Current when the points open", unit="A", marks=1, step=0.01,
            answer=lambda v, time: coil.current_after_a(time, v.supply_v, _resistance(v), v.inductance_mh),
            uses=("m02.current.time",),
            within=Percent(1.5, "reading between the columns of the share table"), possible=(0.0, 20.0), objectives=("D7",),
            slips=(
                Slip("steady",
                     "You gave the final current, volts ÷ ohms. At this speed the points open before the current gets there.",
                     lambda v, time: v.supply_v / _resistance(v)),
                Slip("straight-line",
                     "You let the current rise in a straight line, V × t ÷ L. Resistance bends the curve; use the share table.",
                     lambda v, time: v.supply_v * time / v.inductance_mh),
                Slip("no-ballast",
                     "You left the ballast out. It stays in the circuit while the engine runs.",
                     lambda v, time: coil.current_after_a(time, v.supply_v, v.coil_ohm, v.inductance_mh)),
            ),
        ),
    ),
    route=lambda v: (
        Line(
            f"The distributor sweeps 3 × {v.speed_rpm} degrees a second: {v.dwell_deg:g}° take "
            f"{coil.closed_time_ms(v.dwell_deg, v.speed_rpm):.2f} ms.",
            "time",
        ),
        f"Final current {v.supply_v:g} V ÷ {_resistance(v):.1f} Ω = {v.supply_v / _resistance(v):.2f} A; "
        f"time constant {v.inductance_mh:g} mH ÷ {_resistance(v):.1f} Ω = {v.inductance_mh / _resistance(v):.2f} ms.",
        Line(
            "Current when the points open: "
            f"{coil.current_at_opening_a(v.dwell_deg, v.speed_rpm, v.supply_v, _resistance(v), v.inductance_mh):.2f} A.",
            "current",
        ),
    ),
)  # fmt: skip

# What plugs ask for at full load: 10 kV with sharp edges, 16 kV where the gap has grown (worked from published tables of
# gaps in air at the density in the cylinder).
PLUGS_ASK_KV = (10.0, 16.0)
# Sound points add next to nothing; burnt ones up to an ohm, a drop of some 3 V (practice).
_CONTACTS_OHM = (0.0, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)


@cache
def _misses_at(speed_rpm):
    """Engines that begin to miss at that speed while their plugs ask for what plugs do ask for."""
    engines = []
    for cylinders, contact_ohm in product(LESSON_DWELL, _CONTACTS_OHM):
        available = float(available_kv(speed_rpm, cylinders, contact_ohm=contact_ohm))
        plug_kv = round(available - ROTOR_GAP_KV, 1)
        if PLUGS_ASK_KV[0] <= plug_kv <= PLUGS_ASK_KV[1]:
            engines.append({"cylinders": cylinders, "contact_ohm": contact_ohm, "plug_kv": plug_kv})
    return tuple(engines)


ENOUGH_VOLTAGE = Exercise(
    key="m02.enough_voltage",
    version=2,
    marking=1,
    title="Where the voltage runs out",
    text=(
        "Set the coil panel to {cylinders} cylinders, 13.8 V, ballast in circuit, and {contact_ohm:.2f} Ω at the points"
        "{points}. The plugs of this engine ask for {plug_kv:g} kV at full load. The spark must also jump the rotor gap: "
        "take 2 kV for it. Set the required voltage with the slider and read off the picture of voltage against "
        "speed: from which engine speed on is there too little voltage?"
    ),
    draw={"near_rpm": Steps(2400, 5800, 20), "which": MANY},
    fill=lambda drawn: chosen(_misses_at(drawn["near_rpm"]), drawn["which"]),
    show=lambda v: {"points": " (burnt)" if v.contact_ohm else " (sound)"},
    parts=(
        PlotReading(
            key="speed",
            prompt="Engine speed",
            unit="engine rev/min",
            marks=2,
            step=50,
            minor=250,
            pixel=FASTEST_RPM / PLOT_PIXELS,
            answer=lambda v: _runs_out_rpm(v.plug_kv + ROTOR_GAP_KV, v.cylinders, v.contact_ohm),
            within=Percent(2, "width of the drawn line"),
            possible=(1800.0, float(FASTEST_RPM) - 100),
            objectives=("D7",),
            slips=(
                Slip(
                    "rotor-gap",
                    "You forgot the rotor gap. The coil must feed it, too: add 2 kV to what the plugs ask for.",
                    lambda v: _runs_out_rpm(v.plug_kv, v.cylinders, v.contact_ohm),
                ),
            ),
        ),
    ),
    route=lambda v: (
        f"Required at the coil: {v.plug_kv:g} + 2 = {v.plug_kv + ROTOR_GAP_KV:g} kV.",
        f"The curve for {v.cylinders} cylinders falls through that height at "
        f"{_runs_out_rpm(v.plug_kv + ROTOR_GAP_KV, v.cylinders, v.contact_ohm):.0f} rev/min.",
    ),
)
