"""One car on the bench: its manual, the card of its engine, and the condition of every part.

A fault or a repair is a function from one `Car` to another (`dataclasses.replace`); what
the manual says never changes by it. Tuples for each cylinder stand in the order of the
cylinder numbers: place 0 is number 1.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from math import inf

from grader import tables
from grader.errors import OutOfRange, Unknown
from grader.ranges import in_range
from grader.reference.timing.induction import standard_pressure_kpa
from grader.units import MM_PER_IN
from grader.vehicle.spec import Vehicle, vehicle

CARD_COLUMNS = (
    "key",
    "displacement_l",
    "compression_ratio",
    "rated_rpm",
    "crank_rpm",
    "crank_v",
    "running_v",
    "coil_ohm",
    "coil_mh",
    "ballast_ohm",
    "plug_gap_in",
    "throttle_mm",
    "compression_psig",
    "moving_g",
    "lead_run_mm",
)
AS_MADE, ON_MANIFOLD, HOSE_OFF = "as made", "manifold", "off"  # where the vacuum hose ends
HOSES = (AS_MADE, ON_MANIFOLD, HOSE_OFF)
CRANK, IDLE, FREE, ROAD = "crank", "idle", "free", "road"
MODES = (CRANK, IDLE, FREE, ROAD)
COLD, WARM, HOT_SOAKED = "cold", "warm", "hot-soaked"
ENGINES = (COLD, WARM, HOT_SOAKED)


@dataclass(frozen=True, slots=True)
class Card:
    """What the bench has to know of an engine beyond its manual; teaching values, no specification.

    displacement_l, compression_ratio [1], rated_rpm [crank rev/min], crank_rpm and crank_v
    (speed and battery volts under the starter), running_v, coil_ohm, coil_mh (primary),
    ballast_ohm (0: none fitted), plug_gap_in, throttle_mm (bore), compression_psig (gauge, at
    the starter's speed), moving_g (breaker arm, felt at the contacts), lead_run_mm (length
    along which neighbouring leads run side by side).
    """

    key: str
    displacement_l: float
    compression_ratio: float
    rated_rpm: float
    crank_rpm: float
    crank_v: float
    running_v: float
    coil_ohm: float
    coil_mh: float
    ballast_ohm: float
    plug_gap_in: float
    throttle_mm: float
    compression_psig: float
    moving_g: float
    lead_run_mm: float

    @property
    def ballasted(self) -> bool:
        """True if a ballast stands in the feed and the starter by-passes it."""
        return self.ballast_ohm > 0


_CARD_RANGES = {
    "displacement_l": ("l", 0.3, 10), "compression_ratio": ("", 5, 12), "rated_rpm": ("rev/min", 1200, 8000),
    "crank_rpm": ("rev/min", 80, 300), "crank_v": ("V", 3, 13), "running_v": ("V", 5, 15), "coil_ohm": ("ohm", 0.5, 6),
    "coil_mh": ("mH", 2, 20), "ballast_ohm": ("ohm", 0, 4), "plug_gap_in": ("in", 0.015, 0.06),
    "throttle_mm": ("mm", 15, 80), "compression_psig": ("psig", 60, 220), "moving_g": ("g", 0.5, 6),
    "lead_run_mm": ("mm", 50, 1500),
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Car:
    """A vehicle in a condition. Ranges in brackets, then what it is when sound.

    Supply: crank_v [V] (3-13) battery under the starter, card; running_v [V] charging, card;
    switch_ohm [ohm] (0-3) 0, switch and joints of the feed; feed_open; bypass_ok True, the
    starter's by-pass of the ballast; ballast_ohm [ohm] (0-4) card; ballast_open.

    Coil: coil_ohm [ohm] and coil_mh [mH] card; coil_share [1] (0-1) 1, share of its voltage
    that it gives, coil_hot_share [1] (0-1) 1, the same again once hot-soaked; coil_flash_kv
    [kV] (5-inf) inf, voltage at which its tower flashes over; reversed (polarity).

    Condenser: condenser_uf [uF] (0-1) 0.22; condenser_short.

    Points: gap_mm [mm] (0-1) manual, 0: they never open; spring_n [N] (0.1-12) 5.5, at the
    contacts; contact_ohm [ohm] (0-1) 0.02; pitting [1] (0-1) 0; play_mm [mm] (0-0.5) 0, of the
    shaft, at the contacts; film: oil or dirt holds them apart electrically; lt_short: the
    terminal lies on the distributor's body; pigtail_deg [distributor degree] inf, travel of the
    plate at which the pigtail breaks the circuit.

    Distributor: body_deg [crank degree] (-20-20) 0, advanced of where it belongs; wander_deg
    [crank degree] 0, standard deviation of a loose body; shift_deg [crank degree] 0, of a
    distributor put back a tooth (-55, 55) or half a turn (360) out; ring_slip_deg [crank
    degree] 0, what the pulley mark shows beyond the truth; weight_preload [1] (0.2-1) 1, of
    the weights' springs; weights_stuck.

    Vacuum unit: leak_inhg_s [inHg/s] (0-10) 0, fall of a hand pump while air enters at the
    speed of sound; plate_stuck; hose: "as made", "manifold" or "off"; vacuum_shift_inhg [inHg] (-3-3)
    0, by which its table stands higher after a careless pull on its line.

    Secondary: rotor_gap_mm [mm] (0.5-5) 0.7; rotor_flash_kv [kV] inf; button_gap_mm [mm] 0,
    the carbon brush; king_break_mm [mm] 0, break in the core of the coil lead; for each
    cylinder cap_gap_mm [mm] 0, burnt away at its terminal, cap_flash_kv [kV] inf, lead_kohm
    [kilohm] 8, lead_break_mm [mm] 0, lead_flash_kv [kV] inf; lead_swap: () or the numbers
    of two cylinders whose leads are changed over; lead_spacing_mm [mm] 60; lead_permittivity
    [1] 1, of what lies between neighbouring leads; damp_flash_kv [kV] 26, of all insulation
    when wet; king_kohm [kilohm] 5, resistance of the coil lead.

    Plugs, for each cylinder: plug_gap_mm [mm]; rounding [1] (0-1) of the edges; shunt_mohm
    [Mohm]; plug_flash_kv [kV] inf, of a cracked nose; oil; bridged; nose_mm [mm] 14; fuel_wet.
    kmiles [1000 miles] on the plugs.

    Cylinders, each: leak [1] (0-1) 0, share of the charge lost on compression; rings: True if
    what leaks, leaks past the rings (oil seals it for a while).

    Mixture: idle_area_mm2 [mm2], effective opening past the throttle at idle; choke [1] (0-1)
    0; starved [1] (0-1) 0, fuel short at speed under load; leak_area_mm2 [mm2] 0, of an air
    leak, leak_near: number of the cylinder nearest to it, 0 for none; exhaust_kpa [kPa] 3,
    back pressure at 2000 rev/min, full charge; octane_deg [crank degree] 0, by which the
    knock limit stands off that of the fuel and the chamber as made.

    A sound car comes from `grader.vehicle.state.sound_car`, which finds its idle opening.
    """

    spec: Vehicle
    card: Card
    # supply
    crank_v: float
    running_v: float
    switch_ohm: float = 0.0
    feed_open: bool = False
    bypass_ok: bool = True
    ballast_ohm: float
    ballast_open: bool = False
    # coil and condenser
    coil_ohm: float
    coil_mh: float
    coil_share: float = 1.0
    coil_hot_share: float = 1.0
    coil_flash_kv: float = inf
    reversed: bool = False
    condenser_uf: float = 0.22
    condenser_short: bool = False
    # points
    gap_mm: float
    spring_n: float = 5.5
    contact_ohm: float = 0.02
    pitting: float = 0.0
    play_mm: float = 0.0
    film: bool = False
    lt_short: bool = False
    pigtail_deg: float = inf
    # distributor
    body_deg: float = 0.0
    wander_deg: float = 0.0
    shift_deg: float = 0.0
    ring_slip_deg: float = 0.0
    weight_preload: float = 1.0
    weights_stuck: bool = False
    # vacuum unit
    leak_inhg_s: float = 0.0
    plate_stuck: bool = False
    hose: str = AS_MADE
    vacuum_shift_inhg: float = 0.0
    # secondary
    rotor_gap_mm: float = 0.7
    rotor_flash_kv: float = inf
    button_gap_mm: float = 0.0
    king_break_mm: float = 0.0
    king_kohm: float = 5.0
    cap_gap_mm: tuple[float, ...]
    cap_flash_kv: tuple[float, ...]
    lead_kohm: tuple[float, ...]
    lead_break_mm: tuple[float, ...]
    lead_flash_kv: tuple[float, ...]
    lead_swap: tuple[int, ...] = ()
    lead_spacing_mm: float = 60.0
    lead_permittivity: float = 1.0
    damp_flash_kv: float = 26.0
    # plugs
    plug_gap_mm: tuple[float, ...]
    rounding: tuple[float, ...]
    shunt_mohm: tuple[float, ...]
    plug_flash_kv: tuple[float, ...]
    oil: tuple[bool, ...]
    bridged: tuple[bool, ...]
    nose_mm: tuple[float, ...]
    fuel_wet: tuple[bool, ...]
    kmiles: float = 5.0
    # cylinders
    leak: tuple[float, ...]
    rings: tuple[bool, ...]
    # mixture
    idle_area_mm2: float
    choke: float = 0.0
    starved: float = 0.0
    leak_area_mm2: float = 0.0
    leak_near: int = 0
    exhaust_kpa: float = 3.0
    octane_deg: float = 0.0

    @property
    def cylinders(self) -> int:
        """Number of cylinders."""
        return self.spec.cylinders


@dataclass(frozen=True, slots=True)
class Running:
    """What the engine is made to do.

    mode: "crank" (starter), "idle" (throttle closed), "free" (held at rpm, unloaded) or
    "road" (rpm and load). rpm [crank rev/min]: for free and road. load [1] (0.2-1): manifold
    pressure over barometer, for the road. line: vacuum line connected, else off and plugged.
    engine: "cold", "warm" or "hot-soaked". wet: insulation damp or misted. earthed: number of
    the cylinder whose lead is earthed, 0 for none.
    """

    mode: str
    rpm: float = 0.0
    load: float = 0.0
    line: bool = True
    engine: str = WARM
    wet: bool = False
    earthed: int = 0

    def __post_init__(self):
        for words, value, allowed in (("The mode", self.mode, MODES), ("The engine", self.engine, ENGINES)):
            if value not in allowed:
                raise Unknown(f"{words} is {value!r}; allowed is {', '.join(allowed)}.")
        if self.mode in (FREE, ROAD):
            in_range("Engine speed", self.rpm, "rev/min", least=300, most=8000)
        if self.mode == ROAD:
            in_range("Manifold pressure over barometer", self.load, "", least=0.2, most=1)


@dataclass(frozen=True, slots=True)
class Surroundings:
    """Air and height: air_c [degree C] (-10-40), altitude_m [m] (0-3000)."""

    air_c: float = 20.0
    altitude_m: float = 0.0

    def __post_init__(self):
        in_range("The air temperature", self.air_c, "degrees C", least=-10, most=40)
        in_range("The altitude", self.altitude_m, "m", least=0, most=3000, advice="Convert feet: 1 ft = 0.3048 m.")

    @property
    def barometer_kpa(self) -> float:
        """Air pressure of the standard atmosphere at the height [kPa absolute]."""
        return standard_pressure_kpa(self.altitude_m)


@cache
def cards() -> Mapping[str, Card]:
    """The cards of the teaching vehicles, by key.

    Raises
    ------
    BadTable
        A row of datasets/engine_cards.csv that can be no engine.
    """
    return tables.by_key("engine_cards.csv", CARD_COLUMNS, _card)


def _card(row):
    return Card(vehicle(row["key"]).key, **{name: _figure(row, name) for name in CARD_COLUMNS[1:]})


def _figure(row, name):
    unit, least, most = _CARD_RANGES[name]
    return in_range(name, float(row[name]), unit, least=least, most=most)


def card(spec: Vehicle | str) -> Card:
    """The card of a vehicle or its key.

    Raises
    ------
    Unknown
        No card: the bench knows nothing of that engine's size, coil and throttle.
    """
    key = vehicle(spec).key
    if key not in cards():
        raise Unknown(f"No engine card for {key!r}; the bench has {', '.join(cards())}.")
    return cards()[key]


def new_car(spec: Vehicle | str, idle_area_mm2: float) -> Car:
    """A sound car in service: plugs with 5000 miles on them, all else as the manual wants it.

    Parameters
    ----------
    spec : Vehicle or str
    idle_area_mm2 : float [mm2]
        Effective opening past the closed throttle; `state.sound_car` finds it.

    Raises
    ------
    Unknown
        As `card`.
    OutOfRange
        Opening not above zero.
    """
    spec, engine = vehicle(spec), card(spec)
    n = spec.cylinders

    def each(value):
        return (value,) * n

    return Car(
        spec=spec,
        card=engine,
        crank_v=engine.crank_v,
        running_v=engine.running_v,
        ballast_ohm=engine.ballast_ohm,
        coil_ohm=engine.coil_ohm,
        coil_mh=engine.coil_mh,
        gap_mm=MM_PER_IN * spec.gap_in,
        cap_gap_mm=each(0.0),
        cap_flash_kv=each(inf),
        lead_kohm=each(8.0),
        lead_break_mm=each(0.0),
        lead_flash_kv=each(inf),
        plug_gap_mm=each(MM_PER_IN * (engine.plug_gap_in + 0.005)),
        rounding=each(0.2),
        shunt_mohm=each(100.0),
        plug_flash_kv=each(inf),
        oil=each(False),
        bridged=each(False),
        nose_mm=each(14.0),
        fuel_wet=each(False),
        leak=each(0.0),
        rings=each(False),
        idle_area_mm2=in_range("The idle opening", idle_area_mm2, "mm2", above=0, most=1000),
    )


def check(car: Car) -> Car:
    """The car itself, if every figure lies where a car can be.

    Raises
    ------
    OutOfRange
        Says which figure and what is allowed.
    """
    for name, unit, least, most in _RANGES:
        value = getattr(car, name)
        for figure in value if isinstance(value, tuple) else (value,):
            if figure != inf or most != inf:
                in_range(name, figure, unit, least=least, most=most)
        if isinstance(value, tuple) and len(value) != car.cylinders:
            raise OutOfRange(f"{name} holds {len(value)} figures; the engine has {car.cylinders} cylinders.")
    if car.hose not in HOSES:
        raise OutOfRange(f"The hose is {car.hose!r}; allowed is {', '.join(HOSES)}.")
    numbers = range(1, car.cylinders + 1)
    if car.lead_swap and (len(set(car.lead_swap)) != 2 or not set(car.lead_swap) <= set(numbers)):
        raise OutOfRange(f"Leads {car.lead_swap} cannot be changed over; name two cylinders from 1 to {car.cylinders}.")
    if car.leak_near not in (0, *numbers):
        raise OutOfRange(f"The air leak is near cylinder {car.leak_near}; allowed are 1 to {car.cylinders}, or 0.")
    return car


_RANGES = (
    ("crank_v", "V", 3, 13), ("running_v", "V", 5, 15), ("switch_ohm", "ohm", 0, 3), ("ballast_ohm", "ohm", 0, 4),
    ("coil_ohm", "ohm", 0.5, 6), ("coil_mh", "mH", 2, 20), ("coil_share", "", 0, 1), ("coil_hot_share", "", 0, 1),
    ("coil_flash_kv", "kV", 1, inf), ("condenser_uf", "uF", 0, 1), ("gap_mm", "mm", 0, 1), ("spring_n", "N", 0.1, 12),
    ("contact_ohm", "ohm", 0, 2), ("pitting", "", 0, 1), ("play_mm", "mm", 0, 0.8), ("pigtail_deg", "degrees", 0, inf),
    ("body_deg", "crank degrees", -30, 30), ("wander_deg", "crank degrees", 0, 20), ("shift_deg", "crank degrees", -360, 360),
    ("ring_slip_deg", "crank degrees", -40, 40), ("weight_preload", "", 0.1, 1.5), ("leak_inhg_s", "inHg/s", 0, 10),
    ("vacuum_shift_inhg", "inHg", -3, 3),
    ("rotor_gap_mm", "mm", 0.5, 6), ("rotor_flash_kv", "kV", 1, inf), ("button_gap_mm", "mm", 0, 10),
    ("king_break_mm", "mm", 0, 10), ("king_kohm", "kilohm", 0, 1e6), ("cap_gap_mm", "mm", 0, 6),
    ("cap_flash_kv", "kV", 1, inf), ("lead_kohm", "kilohm", 0, 1e6), ("lead_break_mm", "mm", 0, 20),
    ("lead_flash_kv", "kV", 1, inf), ("lead_spacing_mm", "mm", 3, 500), ("lead_permittivity", "", 1, 10),
    ("damp_flash_kv", "kV", 1, inf), ("plug_gap_mm", "mm", 0.2, 3), ("rounding", "", 0, 1), ("shunt_mohm", "megohm", 0.01, 1e5),
    ("plug_flash_kv", "kV", 1, inf), ("nose_mm", "mm", 4, 30), ("kmiles", "thousand miles", 0, 100), ("leak", "", 0, 1),
    ("idle_area_mm2", "mm2", 0.5, 1000), ("choke", "", 0, 1), ("starved", "", 0, 0.9), ("leak_area_mm2", "mm2", 0, 500),
    ("exhaust_kpa", "kPa", 0, 100), ("octane_deg", "crank degrees", -30, 30),
)  # fmt: skip
