"""One coherent state of a car: what turns, pulls, sparks and burns, and what the instruments find."""

from dataclasses import dataclass, replace
from functools import cache
from math import nan

import numpy as np

from grader.errors import Unknown
from grader.reference.angles import firing_interval_deg
from grader.reference.spark import plug
from grader.reference.timing import filling, induction
from grader.vehicle.car import COLD, CRANK, FREE, IDLE, ROAD, Car, Running, Surroundings, new_car
from grader.vehicle.model import NEVER_OPENS_MM, NO_CONTACT, Model
from grader.vehicle.spec import Vehicle

IDLE_SPEEDS_RPM = np.geomspace(150.0, 3200.0, 56)
STALLS_BELOW_RPM = 220.0
FREE_SHARES = np.linspace(0.18, 0.999, 40)  # manifold over barometer, when a speed is held
THROTTLED_SHARES = (
    1.0 - 1e-4 - 0.86 * np.linspace(1.0, 0.0, 60) ** 2
)  # the same behind an idle opening; close at the top
STANDING_SHARE = 0.91  # of the charging voltage that the battery gives with the engine standing
KNOCK_DEG, KNOCK_FROM_LOAD = 6.0, 0.85
HEAVY_DUTY = 0.92  # load times root of the speed share that is heavy duty to a plug's nose: flat out
UPHILL = (0.35, 0.97)  # share of the rated speed, and manifold pressure over barometer
COVERED_MM2 = 1e6  # an idle opening so large that every plate covers the tap


@dataclass(frozen=True, slots=True)
class State:
    """The car at one running condition. Arrays have shape (cylinders,), place 0 is cylinder 1.

    Where the engine must turn and does not (`runs` False), figures that need a turning engine
    are nan and probabilities 0; the electrical figures with the key on are there always.

    car, running, surroundings: what was asked.
    runs: an engine that idles, holds the speed or pulls on the road; cranking: True.
    rpm [crank rev/min]; barometer_kpa, manifold_kpa, exhaust_kpa [kPa absolute];
    vacuum_inhg [inHg] on the manifold; line_vacuum_inhg [inHg] at the vacuum unit.
    mark_deg [crank degree before top]: what the timing light shows at the pulley, the ring's
    slip with it; advance_deg (array) [crank degree before top]: truth of each cylinder's
    spark; mean_advance_deg: their mean, of the distributor as it stands, without changed leads;
    scatter_deg [crank degree]: standard deviation of the mark, over lobes and wander.
    dwell_deg [distributor degree]: mean a meter shows; dwell_swing_deg: largest less smallest lobe.
    current_a [A]: primary current at opening, mean of the lobes; coil_kv (array) [kV]: what the
    coil can give at its tower for each cylinder's spark, lead held open.
    available_kv (array) [kV]: least of the coil's voltage with the plug's shunt on it and of
    every place where it can flash over; required_kv (array) [kV]: the plug's demand and the
    series gaps of rotor, cap and broken cores; plug_demand_kv (array) [kV]: the plug alone;
    at_lead_kv (array) [kV]: what a gap on the lead's end, the plug off, can be fired with.
    spark, burn, fires (arrays) [1]: probability of a spark in time, of a burn given the spark,
    and of both. cross (array) [1]: probability that a charge is lit far too early, by a
    neighbour's lead or a lead in the wrong place. energy_mj (array) [mJ]: into the spark after
    breakdown. nose_c (array) [degree C].
    air_ratio (array) [1]: air over the correct amount; imep_bar (array) [bar].
    torque_nm [N m] at the flywheel; fuel_g_s [g/s]; knock_margin_deg [crank degree]: by which
    the mean advance stays below the knock limit, negative: it pings (nan unless full load).
    Key on, engine standing: feed_v [V] at the coil's supply, points closed, feed_crank_v [V]
    the same under the starter; drop_v [V] across closed points; open_v [V] at the points'
    terminal with the points open.
    compression_psig (array) [psig]: gauge at the starter's speed, dry.
    """

    car: Car
    running: Running
    surroundings: Surroundings
    runs: bool
    rpm: float
    barometer_kpa: float
    manifold_kpa: float
    exhaust_kpa: float
    vacuum_inhg: float
    line_vacuum_inhg: float
    mark_deg: float
    advance_deg: np.ndarray
    mean_advance_deg: float
    scatter_deg: float
    dwell_deg: float
    dwell_swing_deg: float
    current_a: float
    coil_kv: np.ndarray
    available_kv: np.ndarray
    required_kv: np.ndarray
    plug_demand_kv: np.ndarray
    at_lead_kv: np.ndarray
    spark: np.ndarray
    burn: np.ndarray
    fires: np.ndarray
    cross: np.ndarray
    energy_mj: np.ndarray
    nose_c: np.ndarray
    air_ratio: np.ndarray
    imep_bar: np.ndarray
    torque_nm: float
    fuel_g_s: float
    knock_margin_deg: float
    feed_v: float
    feed_crank_v: float
    drop_v: float
    open_v: float
    compression_psig: np.ndarray

    @property
    def power_kw(self) -> float:
        """Power at the flywheel [kW]."""
        return self.torque_nm * self.rpm * np.pi / 30e3

    @property
    def misses(self) -> np.ndarray:
        """Share of each cylinder's cycles that do not fire in their time, shape (cylinders,) [1]."""
        return 1.0 - self.fires * (1.0 - self.cross)


def solve(car: Car, running: Running, surroundings: Surroundings = Surroundings()) -> State:  # noqa: B008 - frozen
    """The state of a car at one running condition.

    Parameters
    ----------
    car : Car
    running : Running
    surroundings : Surroundings

    Returns
    -------
    State

    Raises
    ------
    OutOfRange
        A figure of the car that no car has.
    Unknown
        A cylinder to be earthed that the engine has not.
    """
    if running.earthed not in range(car.cylinders + 1):
        raise Unknown(f"Cylinder {running.earthed} cannot be earthed; the engine has 1 to {car.cylinders}.")
    model = Model(car, running, surroundings, sound_car(car.spec).idle_area_mm2)
    point = _settle(model, running)
    return _stopped(model, surroundings) if point is None else _state(model, point, surroundings)


@cache
def sound_car(spec: Vehicle | str) -> Car:
    """A sound car in service: all as the manual wants it, plugs with 5000 miles on them.

    Parameters
    ----------
    spec : Vehicle or str

    Returns
    -------
    Car
        Its idle opening is found so that it idles at the manual's speed, at 20 degrees C and sea level.

    Raises
    ------
    Unknown
        No such vehicle, or no card of its engine.
    """
    raw = new_car(spec, 1.0)
    return replace(raw, idle_area_mm2=_opening_mm2(raw, raw.spec.idle_rpm, nominal_mm2=COVERED_MM2))


def idle_opening_mm2(car: Car, rpm: float | None = None) -> float:
    """Opening past the throttle at which a car idles at a speed: what setting the idle finds.

    Parameters
    ----------
    car : Car
    rpm : float or None [crank rev/min]
        None: the manual's.

    Returns
    -------
    float [mm2]
        Warm, line connected, at 20 degrees C and sea level. nan where no opening makes it run so.
    """
    return _opening_mm2(car, car.spec.idle_rpm if rpm is None else rpm, sound_car(car.spec).idle_area_mm2)


def hill_demand_kv(spec: Vehicle | str) -> float:
    """Voltage that the sound car asks for uphill: what severities of flash-over are shares of [kV]."""
    car = sound_car(spec)
    speed_share, load = UPHILL
    uphill = Running(ROAD, rpm=speed_share * car.card.rated_rpm, load=load)
    return float(np.max(solve(car, uphill).required_kv))


def _opening_mm2(car, rpm, nominal_mm2):
    model = Model(car, Running(IDLE), Surroundings(), nominal_mm2)
    held = _hold(model, rpm)
    return nan if held is None else float(held.throttle_mm2[0])


def _settle(model, running):
    """The point at which the engine settles, or None if it stops."""
    if running.mode == CRANK:
        car, card = model.car, model.card
        speed = filling.cranking_speed_rpm(car.crank_v, card.crank_v, card.crank_rpm)
        share = filling.CRANK_SHARES["choked" if running.engine == COLD else "open"]
        return model.at(np.array([speed]), np.array([share * model.barometer_kpa]))
    if running.mode == ROAD:
        return model.at(np.array([float(running.rpm)]), np.array([running.load * model.barometer_kpa]))
    return _hold(model, running.rpm) if running.mode == FREE else _idle(model)


def _hold(model, rpm):
    """The least charge at which an engine holds a speed without load."""
    pressures = FREE_SHARES * model.barometer_kpa
    torque = model.at(np.full_like(pressures, rpm), pressures).torque_nm
    rises = np.flatnonzero((torque[:-1] < 0.0) & (torque[1:] >= 0.0))
    if not rises.size:
        return None
    ends = pressures[rises[0]], pressures[rises[0] + 1]
    return _balanced(lambda pressure: model.at(np.full_like(pressure, rpm), pressure), *ends)


def _idle(model):
    """Where torque falls through nothing behind the idle opening: an engine comes down to its idle, so the highest speed."""
    torque = model.at(IDLE_SPEEDS_RPM, _throttled_kpa(model, IDLE_SPEEDS_RPM)).torque_nm
    falls = np.flatnonzero((torque[:-1] > 0.0) & (torque[1:] <= 0.0))
    if not falls.size:
        return None
    ends = IDLE_SPEEDS_RPM[falls[-1]], IDLE_SPEEDS_RPM[falls[-1] + 1]
    point = _balanced(lambda speed: model.at(speed, _throttled_kpa(model, speed)), *ends)
    return point if point.speed_rpm[0] >= STALLS_BELOW_RPM else None


def _throttled_kpa(model, speed):
    """Manifold pressures behind the idle opening and any leak, at speeds."""
    pressures = THROTTLED_SHARES * model.barometer_kpa
    needed = model.opening_mm2(speed[:, None], pressures[None, :])
    opening = model.car.idle_area_mm2 + model.car.leak_area_mm2
    return filling.settled_pressure_kpa(np.full_like(speed, opening), pressures, needed)


def _balanced(at, low, high):
    """The point between two ends where the torque is nothing: eight inputs, then two close by, then the line."""
    inputs = np.linspace(low, high, 8)
    near = _zero(inputs, at(inputs).torque_nm)
    width = (high - low) / 70.0
    inputs = np.array([near - width, near + width])
    return at(np.array([_zero(inputs, at(inputs).torque_nm)]))


def _zero(inputs, values):
    """Where the straight line through two neighbours crosses zero, the last neighbours if none does."""
    changes = np.flatnonzero((values[:-1] < 0.0) != (values[1:] < 0.0))
    k = int(changes[0]) if changes.size else len(inputs) - 2
    slope = values[k + 1] - values[k]
    share = -values[k] / slope if slope else 0.5
    return inputs[k] + np.clip(share, -1.0, 2.0) * (inputs[k + 1] - inputs[k])


def _state(model, point, surroundings):
    """The record of a turning engine."""
    car, running, cranking = model.car, model.running, model.running.mode == CRANK
    mark = float(point.mean_advance_deg[0]) + car.ring_slip_deg
    knock = nan
    if running.mode == ROAD and point.load[0] >= KNOCK_FROM_LOAD:
        knock = float(point.manual_advance_deg[0] + KNOCK_DEG + car.octane_deg - point.mean_advance_deg[0])
    return State(
        car=car,
        running=running,
        surroundings=surroundings,
        runs=running.mode != ROAD or bool(point.torque_nm[0] > 0.0),
        rpm=float(point.speed_rpm[0]),
        barometer_kpa=model.barometer_kpa,
        manifold_kpa=float(point.manifold_kpa[0]),
        exhaust_kpa=float(point.exhaust_kpa[0]),
        vacuum_inhg=float(point.vacuum_inhg[0]),
        line_vacuum_inhg=float(point.line_inhg[0]),
        mark_deg=(mark + 180.0) % 360.0 - 180.0,
        advance_deg=point.advance_deg[:, 0],
        mean_advance_deg=float(point.mean_advance_deg[0]),
        scatter_deg=float(point.scatter_deg[0]),
        **_dwell(model, point),
        current_a=float(point.lobe_current_a[:, 0].mean()),
        coil_kv=point.coil_kv[:, 0],
        available_kv=point.available_kv[:, 0],
        required_kv=point.required_kv[:, 0],
        plug_demand_kv=point.plug_demand_kv[:, 0],
        at_lead_kv=point.at_lead_kv[:, 0],
        spark=point.spark[:, 0],
        burn=point.burn[:, 0],
        fires=point.fires[:, 0],
        cross=point.cross[:, 0],
        energy_mj=point.energy_mj[:, 0],
        nose_c=np.full(car.cylinders, nan) if cranking else _nose_c(model, point),
        air_ratio=point.air_ratio[:, 0],
        imep_bar=point.imep_bar[:, 0],
        torque_nm=float(point.torque_nm[0]),
        fuel_g_s=float(point.fuel_g_s[0]),
        knock_margin_deg=knock,
        compression_psig=_compression_psig(model),
        **_volts(car),
    )


def _stopped(model, surroundings):
    """The record of an engine that does not keep running."""
    unknown, none = np.full(model.car.cylinders, nan), np.zeros(model.car.cylinders)
    return State(
        car=model.car,
        running=model.running,
        surroundings=surroundings,
        runs=False,
        rpm=0.0,
        barometer_kpa=model.barometer_kpa,
        manifold_kpa=model.barometer_kpa,
        exhaust_kpa=model.barometer_kpa,
        vacuum_inhg=0.0,
        line_vacuum_inhg=0.0,
        mark_deg=nan,
        advance_deg=unknown,
        mean_advance_deg=nan,
        scatter_deg=nan,
        dwell_deg=nan,
        dwell_swing_deg=nan,
        current_a=nan,
        coil_kv=unknown,
        available_kv=unknown,
        required_kv=unknown,
        plug_demand_kv=unknown,
        at_lead_kv=unknown,
        spark=none,
        burn=none,
        fires=none,
        cross=none,
        energy_mj=unknown,
        nose_c=unknown,
        air_ratio=unknown,
        imep_bar=unknown,
        torque_nm=0.0,
        fuel_g_s=0.0,
        knock_margin_deg=nan,
        compression_psig=_compression_psig(model),
        **_volts(model.car),
    )


def _dwell(model, point):
    """What a dwell meter shows: the share of the time in which the points' terminal has no volts."""
    car = model.car
    if not model.fed:
        return {"dwell_deg": nan, "dwell_swing_deg": nan}  # no volts either way: nothing to count
    if model.earthed:
        return {"dwell_deg": firing_interval_deg(car.cylinders) / 2.0, "dwell_swing_deg": 0.0}
    if car.film or point.connected[0] < NO_CONTACT:
        return {"dwell_deg": 0.0, "dwell_swing_deg": 0.0}
    lobes = point.lobe_dwell_deg[:, 0]
    return {"dwell_deg": float(lobes.mean()), "dwell_swing_deg": float(np.ptp(lobes))}


def _volts(car):
    """Key on, points closed, standing: volts at the coil's supply and across the points; under the starter; points open."""
    earthed = car.lt_short or car.condenser_short
    flows = earthed or not car.film
    contact = 0.0 if earthed else car.contact_ohm
    standing, feed_ohm = STANDING_SHARE * car.running_v, car.switch_ohm + car.ballast_ohm
    by_pass = car.bypass_ok and car.card.ballasted

    def supply(volts, before_ohm):
        """Volts left at the coil behind a resistance."""
        after_ohm = car.coil_ohm + contact
        return volts * after_ohm / (after_ohm + before_ohm) if flows else volts

    feed = 0.0 if car.feed_open or car.ballast_open else supply(standing, feed_ohm)
    fed_cranking = not (car.feed_open or (car.ballast_open and not by_pass))
    cranking = supply(car.crank_v, 0.0 if by_pass else feed_ohm) if fed_cranking else 0.0
    drop = feed * contact / (car.coil_ohm + contact) if flows else feed
    opens = not (earthed or car.feed_open or car.ballast_open or car.gap_mm <= NEVER_OPENS_MM)
    return {"feed_v": feed, "feed_crank_v": cranking, "drop_v": drop, "open_v": standing if opens else 0.0}


def _compression_psig(model):
    """Gauge at the starter's speed, dry: what leaks is missing, and thinner air gives less in proportion."""
    sea_level = model.card.compression_psig * model.barometer_kpa / induction.ONE_ATMOSPHERE_KPA
    return sea_level * (1.0 - np.array(model.car.leak))


def _nose_c(model, point):
    """Temperature of each nose; equal plugs are reckoned once."""
    power = point.load[0] * np.sqrt(point.speed_rpm[0] / model.card.rated_rpm)
    load = float(np.clip(power / HEAVY_DUTY, 0.0, 1.0))
    over = float(np.clip(point.over_deg[0], -30.0, 30.0))
    ratios = np.clip(point.air_ratio[:, 0], 0.6, 1.6)
    cases = [(nose, load, over, float(ratio)) for nose, ratio in zip(model.car.nose_mm, ratios, strict=True)]
    hot = {case: _one_nose_c(*case) for case in set(cases)}
    return np.array([hot[case] for case in cases])


def _one_nose_c(nose_mm, load, over_deg, air_ratio):
    return plug.nose_temperature_c(nose_mm, *plug.gas_side(load, over_deg, air_ratio))
