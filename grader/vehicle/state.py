"""One coherent state of a car: what turns, pulls, sparks and burns, and what the instruments find."""

from dataclasses import dataclass, replace
from functools import cache
from math import inf, nan
from types import SimpleNamespace

import numpy as np

from grader.errors import Unknown
from grader.reference.angles import crank_deg, cross_fire_pairs, distributor_speed_rpm, firing_interval_deg
from grader.reference.spark import breakdown, cables, coil, follower, insulation, misfire, plug, points
from grader.reference.timing import advance, combustion, filling, induction, mixture, output
from grader.vehicle import timing_map
from grader.vehicle.car import (
    AS_MADE,
    COLD,
    CRANK,
    FREE,
    HOSE_OFF,
    HOT_SOAKED,
    IDLE,
    MM_PER_IN,
    ROAD,
    Car,
    Running,
    Surroundings,
    new_car,
)


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
    def power_kw(self):
        """Power at the flywheel [kW]."""
        return self.torque_nm * self.rpm * np.pi / 30e3

    @property
    def misses(self):
        """Share of each cylinder's cycles that do not fire, shape (cylinders,) [1]."""
        return 1.0 - self.fires


IDLE_SPEEDS_RPM = np.geomspace(150.0, 3200.0, 56)
STALLS_BELOW_RPM = 220.0
FREE_SHARES = np.linspace(0.18, 0.999, 40)  # manifold over barometer
_PRESSURE_SHARES = 1.0 - 0.86 * np.linspace(1.0, 0.0, 60) ** 2 * 0.999 - 1e-4
STANDING_SHARE = 0.91  # of the charging voltage that the battery gives with the engine standing
CLOSING_SHARE, CLOSING_K = 0.97, 340.0  # of the manifold pressure when the inlet closes; temperature there
LEAK_TIME_INHG_S = 0.5  # leak of a diaphragm at which its line keeps 1/e of the vacuum
PITTED_OPENING = 0.6  # of the opening speed, taken by deep pits
TURNS = 100.0
LEAD_HEIGHT_MM, LEAD_RADIUS_MM = 50.0, 0.6
KNOCK_DEG, KNOCK_FROM_LOAD = 6.0, 0.85
COVERED_MM2 = 1e6  # a nominal opening under which any plate covers the tap


def solve(car, running, surroundings=Surroundings()):  # noqa: B008 - frozen
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
    return _Solver(car, running, surroundings).state()


@cache
def sound_car(spec):
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


def idle_opening_mm2(car, rpm=None):
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
    return _opening_mm2(car, car.spec.idle_rpm if rpm is None else rpm)


def hill_demand_kv(spec):
    """Voltage that the sound car asks for uphill: what severities of flash-over are shares of [kV]."""
    car = sound_car(spec)
    uphill = Running(ROAD, rpm=0.35 * car.card.rated_rpm, load=0.97)
    return float(np.max(solve(car, uphill).required_kv))


def _opening_mm2(car, rpm, nominal_mm2=None):
    solver = _Solver(car, Running(IDLE), Surroundings(), nominal_mm2)
    pressure = FREE_SHARES * solver.barometer_kpa
    speed = np.full_like(pressure, rpm)
    torque = solver.at(speed, pressure).torque_nm
    for _ in range(3):  # the first pass has no slope to go by: it looks between 40 pressures
        crossing = _first_rise(pressure, torque)
        if crossing is None:
            return nan
        low, high = crossing
        pressure = np.linspace(low, high, 8)
        torque = solver.at(np.full_like(pressure, rpm), pressure).torque_nm
    settled = float(_zero(pressure, torque))
    return float(solver.opening_mm2(np.array([float(rpm)]), np.array([settled]))[0]) - car.leak_area_mm2


def _first_rise(inputs, values):
    """The two inputs between which the values first rise through zero, or None."""
    rises = np.flatnonzero((values[:-1] < 0.0) & (values[1:] >= 0.0))
    return (inputs[rises[0]], inputs[rises[0] + 1]) if rises.size else None


def _zero(inputs, values):
    """Where the straight line through the two ends nearest to zero crosses it."""
    place = np.flatnonzero((values[:-1] < 0.0) != (values[1:] < 0.0))
    k = int(place[0]) if place.size else int(np.argmin(np.abs(values[:-1])))
    return inputs[k] - values[k] * (inputs[k + 1] - inputs[k]) / (values[k + 1] - values[k])


class _Solver:
    """One car under one condition; `at` gives everything for arrays of speeds and manifold pressures."""

    def __init__(self, car, running, surroundings, nominal_mm2=None):
        self.car, self.running, self.around = car, running, surroundings
        self.spec, self.card = car.spec, car.card
        self.barometer_kpa = float(surroundings.barometer_kpa)
        self.air_k = surroundings.air_c + 273.15
        self.cranking = running.mode == CRANK
        self.order = np.array(self.spec.firing_order) - 1
        self.lift_mm = points.full_lift(MM_PER_IN * self.spec.gap_in, self.spec.dwell_deg, car.cylinders)
        if nominal_mm2 is None and self.spec.port == "ported":
            nominal_mm2 = sound_car(self.spec).idle_area_mm2
        self.nominal_mm2 = nominal_mm2

    # --- the circle -----------------------------------------------------------------------------

    def state(self):
        car, running = self.car, self.running
        if running.mode == CRANK:
            speed = filling.cranking_speed_rpm(car.crank_v, self.card.crank_v, self.card.crank_rpm)
            share = filling.CRANK_SHARES["choked" if running.engine == COLD else "open"]
            return self._state(speed, share * self.barometer_kpa, runs=True)
        if running.mode == ROAD:
            found = self.at(np.array([float(running.rpm)]), np.array([running.load * self.barometer_kpa]))
            return self._state_of(found, bool(found.torque_nm[0] > 0.0))
        if running.mode == FREE:
            pressure = FREE_SHARES * self.barometer_kpa
            crossing = _first_rise(pressure, self.at(np.full_like(pressure, running.rpm), pressure).torque_nm)
            if crossing is None:
                return self._stopped()
            settled = self._secant(lambda p: self.at(np.full_like(p, running.rpm), p), *crossing)
            return self._state_of(settled, True)
        return self._idle()

    def _idle(self):
        pressure = self._idle_pressure(IDLE_SPEEDS_RPM)
        torque = self.at(IDLE_SPEEDS_RPM, pressure).torque_nm
        falls = np.flatnonzero((torque[:-1] > 0.0) & (torque[1:] <= 0.0))
        if not falls.size:
            return self._stopped()
        ends = IDLE_SPEEDS_RPM[falls[-1]], IDLE_SPEEDS_RPM[falls[-1] + 1]
        settled = self._secant(lambda n: self.at(n, self._idle_pressure(n)), *ends)
        return self._state_of(settled, True) if settled.speed_rpm[0] >= STALLS_BELOW_RPM else self._stopped()

    def _secant(self, at, low, high):
        """The point between two where the torque is nothing: a pass of eight, then a secant step."""
        inputs = np.linspace(low, high, 8)
        root = _zero(inputs, at(inputs).torque_nm)
        width = (high - low) / 70.0
        near = np.array([root - width, root + width])
        return at(np.array([_zero(near, at(near).torque_nm)]))

    def _idle_pressure(self, speed):
        car = self.car
        pressures = _PRESSURE_SHARES * self.barometer_kpa
        needed = self.opening_mm2(speed[:, None], pressures[None, :])
        return filling.settled_pressure_kpa(
            np.full_like(speed, car.idle_area_mm2 + car.leak_area_mm2), pressures, needed
        )

    def opening_mm2(self, speed, pressure):
        """Opening that passes what the engine draws at speeds and pressures."""
        flow = filling.engine_flow_g_per_s(pressure, speed, self._filling(speed, pressure)[0], self.card.displacement_l)
        share = np.minimum(1.0, pressure / self.barometer_kpa)
        return flow / np.maximum(
            induction.throttle_flow_g_per_s(1.0, share, self.barometer_kpa, self.air_k), 1e-9
        )

    def _filling(self, speed, pressure):
        exhaust = filling.exhaust_pressure_kpa(pressure, speed, self.barometer_kpa, self.car.exhaust_kpa)
        return filling.volumetric_efficiency(pressure, exhaust, self.card.compression_ratio), exhaust

    # --- everything at given speeds and pressures -----------------------------------------------

    def at(self, speed, pressure):
        """All quantities; shapes (speeds,) and (cylinders, speeds)."""
        it = SimpleNamespace(speed_rpm=speed, manifold_kpa=pressure)
        it.load = pressure / self.barometer_kpa
        it.filling, it.exhaust_kpa = self._filling(speed, pressure)
        it.throttle_mm2 = np.maximum(1e-3, self.opening_mm2(speed, pressure) - self.car.leak_area_mm2)
        self._advance(it)
        self._coil(it)
        self._mixture(it)
        self._secondary(it)
        self._burn(it)
        self._torque(it)
        return it

    def _advance(self, it):
        car, spec, n = self.car, self.spec, self.car.cylinders
        it.vacuum_inhg = (self.barometer_kpa - it.manifold_kpa) / induction.KPA_PER_INHG
        tap = it.vacuum_inhg
        if car.hose == HOSE_OFF:
            tap = np.zeros_like(tap)
        elif car.hose == AS_MADE and spec.port == "ported":
            tap = advance.ported_vacuum_inhg(tap, filling.tap_covered(it.throttle_mm2, self.nominal_mm2))
        it.tap_inhg = tap
        it.line_inhg = tap * np.exp(-car.leak_inhg_s / LEAK_TIME_INHG_S) if self.running.line else np.zeros_like(tap)
        plate = np.zeros_like(tap) if car.plate_stuck else advance.vacuum_advance_deg(it.line_inhg, spec.vacuum)
        if car.weights_stuck:
            weights = np.zeros_like(tap)
        else:
            slower = np.sqrt(car.weight_preload)  # the curve's speeds go with the root of the preload
            weights = advance.centrifugal_advance_deg(distributor_speed_rpm(it.speed_rpm) / slower, spec.centrifugal)
        it.connected = plate < car.pigtail_deg
        # Gap, dwell and opening of each lobe, in firing order.
        gaps = follower.lobe_gaps_mm(car.gap_mm, car.play_mm, n, it.speed_rpm)
        it.opens = gaps > NEVER_OPENS_MM
        gaps = np.clip(gaps, NEVER_OPENS_MM, 0.98 * self.lift_mm)
        lobe = firing_interval_deg(n) / 2.0
        dwell = follower.dwell_at_speed_deg(gaps, self.lift_mm, n, it.speed_rpm, car.spring_n, 1e-3 * self.card.moving_g)
        it.dwell_deg = np.where(it.opens, dwell, lobe)
        change = points.timing_change_deg(points.dwell_of_gap_deg(gaps, self.lift_mm, n) - spec.dwell_deg)
        it.gap_mm = gaps
        by_lobe = spec.initial_deg + car.body_deg + car.shift_deg + change + crank_deg(weights) + crank_deg(plate)
        it.lobe_advance_deg = by_lobe
        it.mean_advance_deg = by_lobe.mean(axis=0)
        it.scatter_deg = np.hypot(by_lobe.std(axis=0), car.wander_deg)
        it.manual_advance_deg = spec.initial_deg + crank_deg(
            advance.centrifugal_advance_deg(distributor_speed_rpm(it.speed_rpm), spec.centrifugal)
        )
        manual_plate = advance.vacuum_advance_deg(it.tap_inhg, spec.vacuum)
        it.over_deg = it.mean_advance_deg - it.manual_advance_deg - crank_deg(manual_plate)
        it.advance_deg = self._by_cylinder(by_lobe)
        it.misplaced = np.zeros((n, 1), dtype=bool)
        if car.lead_swap:
            first, second = (int(np.flatnonzero(self.order == number - 1)[0]) for number in car.lead_swap)
            later = (second - first) * firing_interval_deg(n)
            for number, late in zip(car.lead_swap, (later, -later), strict=True):
                swapped = it.advance_deg[number - 1] - late
                it.advance_deg[number - 1] = (swapped + 360.0) % 720.0 - 360.0
                it.misplaced[number - 1] = True

    def _by_cylinder(self, by_lobe):
        placed = np.empty_like(by_lobe)
        placed[self.order] = by_lobe
        return placed

    def _primary(self, it):
        """Supply and resistance of the circuit that charges the coil."""
        car = self.car
        by_pass = self.cranking and car.bypass_ok and self.card.ballasted
        closed = not (car.feed_open or car.film or (car.ballast_open and not by_pass))
        supply = (car.crank_v if self.cranking else car.running_v) if closed else 0.0
        contact = car.contact_ohm + (0.0 if by_pass else car.switch_ohm)
        return supply, coil.primary_resistance_ohm(car.coil_ohm, car.ballast_ohm, contact, by_pass)

    def _coil(self, it):
        car = self.car
        supply, ohms = self._primary(it)
        it.lobe_current_a = coil.current_at_opening_a(it.dwell_deg, it.speed_rpm, supply, ohms, car.coil_mh)
        alive = it.opens & it.connected & (not (car.condenser_short or car.lt_short))
        opening = points.opening_speed_ratio(it.gap_mm, MM_PER_IN * self.spec.gap_in, self.lift_mm)
        given = coil.available_voltage_kv(
            it.lobe_current_a, it.speed_rpm, car.coil_mh, car.condenser_uf,
            opening_ratio=opening * (1.0 - PITTED_OPENING * car.pitting),
        )  # fmt: skip
        it.coil_kept = car.coil_share * (car.coil_hot_share if self.running.engine == HOT_SOAKED else 1.0)
        given = given * points.bounce_kept_share(it.gap_mm, it.speed_rpm) * it.coil_kept
        it.coil_kv = self._by_cylinder(np.where(alive, given, 0.0))
        it.current_a = self._by_cylinder(np.where(alive, it.lobe_current_a, 0.0))

    def _mixture(self, it):
        car, mode = self.car, self.running.mode
        if mode == CRANK:
            base = mixture.CRANK_COLD_RATIO if self.running.engine == COLD else mixture.CRANK_RATIO
        else:
            base = {IDLE: mixture.IDLE_RATIO, FREE: mixture.FREE_RATIO}.get(mode)
        if base is None:
            base = mixture.road_air_ratio(it.load)
        leak = mixture.leak_shares(car.cylinders, car.leak_near)[:, None] * (car.leak_area_mm2 / it.throttle_mm2)
        ratio = mixture.disturbed_air_ratio(
            base, car.choke, car.starved, it.load, it.speed_rpm / self.card.rated_rpm, leak
        )
        it.air_ratio = np.clip(ratio, 0.4, 3.0)

    def _secondary(self, it):
        car, wet, running = self.car, self.running.wet, self.running
        if self.cranking:
            electrode = misfire.COLD_ELECTRODE_C if running.engine == COLD else misfire.WARM_ELECTRODE_C
            kept, exponent = filling.CRANK_KEPT, filling.CRANK_POLYTROPE
        else:
            electrode = misfire.electrode_c(it.load, it.speed_rpm / self.card.rated_rpm)
            kept, exponent = 1.0, 1.30
        leak, gap, rounding = _column(car.leak), _column(car.plug_gap_mm), _column(car.rounding)
        closing = CLOSING_SHARE * it.manifold_kpa * kept * np.maximum(0.05, 1.0 - leak)
        it.factor = misfire.EDGE_FACTOR * breakdown.demand_factor(
            car.reversed, rounding, np.clip(it.air_ratio, 0.6, 1.6), electrode
        )
        # A spark out of place meets what the cylinder holds there: at most two fifths past top, at least as it closes.
        place = np.clip(it.advance_deg, -40.0, 120.0)
        ratio = self.card.compression_ratio
        squeezed = combustion.pressure_at_spark_kpa(place, closing, ratio, exponent)
        heated = combustion.temperature_at_spark_k(place, CLOSING_K, ratio, exponent)
        it.plug_demand_kv = breakdown.required_voltage_kv(gap, 0.01 * squeezed, heated, it.factor)
        it.density = breakdown.relative_density(0.01 * squeezed, heated)
        common = _rotor_kv(car.rotor_gap_mm) + _series_kv(car.button_gap_mm) + _series_kv(car.king_break_mm)
        series = common + _series_kv(_column(car.cap_gap_mm)) + _series_kv(_column(car.lead_break_mm))
        it.required_kv = it.plug_demand_kv + series
        before_plug = np.minimum.reduce(
            [
                np.broadcast_to(insulation.flash_kv(dry, place, wet, car.damp_flash_kv), it.coil_kv.shape)
                for dry, place in (
                    (car.coil_flash_kv, "tower"), (car.rotor_flash_kv, "rotor"), (_column(car.cap_flash_kv), "cap"),
                    (_column(car.lead_flash_kv), "lead"),
                )
            ]
        )  # fmt: skip
        shunt = coil.shunt_factor(_column(car.shunt_mohm), car.coil_mh, max(car.condenser_uf, 1e-3))
        plug_flash = insulation.flash_kv(_column(car.plug_flash_kv), "plug")
        it.available_kv = np.minimum(np.minimum(it.coil_kv * shunt, before_plug), plug_flash)
        it.available_kv = np.where(_column(car.bridged), 0.0, it.available_kv)
        it.at_lead_kv = np.maximum(0.0, np.minimum(it.coil_kv, before_plug) - series)
        if running.earthed:
            it.available_kv[running.earthed - 1] = 0.0
        it.spark = misfire.spark_probability(it.available_kv, it.required_kv, car.pitting)
        it.left = misfire.left_share(it.available_kv, it.required_kv)

    def _burn(self, it):
        car = self.car
        time = coil.spark_duration_ms(
            1e3 / TURNS * it.current_a * it.coil_kept, misfire.burning_kv(_column(car.lead_kohm)),
            1e-3 * TURNS**2 * car.coil_mh,
        )  # fmt: skip
        it.spark_ms = time * it.left
        it.energy_mj = coil.stored_energy_mj(it.current_a, car.coil_mh) * (it.coil_kept * it.left) ** 2
        lean = misfire.lean_limit(it.manifold_kpa, it.spark_ms, _column(car.plug_gap_mm), _column(car.leak))
        it.burn = misfire.burn_probability(it.air_ratio, lean, it.advance_deg)
        early = it.advance_deg > EARLY_FROM_DEG
        it.burn = np.where(early, 0.0, it.burn)
        if self.cranking:
            it.burn = it.burn * misfire.kick_share(it.advance_deg)
        it.fires = it.spark * it.burn
        # A spark far too early lights what the cylinder already holds; so does a neighbour's lead.
        holds = early & (it.advance_deg < EARLIEST_DEG)
        it.cross = np.where(holds, it.spark * misfire.lit_share(it.density), 0.0)
        for pair, lit in self._cross_fire(it):
            it.cross[pair] = np.maximum(it.cross[pair], lit)

    def _cross_fire(self, it):
        car = self.car
        if car.lead_spacing_mm > 30.0 and car.lead_permittivity == 1.0:
            return  # in their brackets: nothing that could be felt is induced
        between, ground = cables.capacitances_pf_per_m(
            LEAD_HEIGHT_MM, car.lead_spacing_mm, LEAD_RADIUS_MM, permittivity=car.lead_permittivity
        )
        for first, victim in cross_fire_pairs(self.spec.firing_order, self.spec.banks):
            source = np.minimum(it.required_kv[first - 1], it.available_kv[first - 1])
            induced = cables.induced_capacitive_kv(source, self.card.lead_run_mm, between, ground)
            density = cables.victim_density(
                car.cylinders, np.clip(it.advance_deg[first - 1], -30.0, 60.0), self.card.compression_ratio,
                closing_density=CLOSING_SHARE * it.manifold_kpa / 101.325 * 293.15 / CLOSING_K,
            )  # fmt: skip
            gap = car.plug_gap_mm[victim - 1]
            needed = it.factor[victim - 1] * breakdown.uniform_voltage_kv(gap, np.maximum(density, 0.11 / gap))
            yield victim - 1, misfire.cross_fire_probability(induced, needed, density)

    def _torque(self, it):
        car, litres = self.car, self.card.displacement_l
        best = timing_map.best_deg(self.spec, self.card.compression_ratio, it.speed_rpm, it.manifold_kpa)
        charge = it.filling * it.manifold_kpa / (filling.GAS_CONSTANT * filling.CHARGE_K)
        it.imep_bar = output.indicated_bar(
            charge, mixture.mixture_work_share(it.air_ratio), timing_map.loss(it.advance_deg - best), it.fires,
            _column(car.leak), np.clip(it.cross, 0.0, 1.0),
        )  # fmt: skip
        friction = output.friction_bar(it.speed_rpm, self.running.engine == COLD)
        left = output.brake_bar(it.imep_bar.mean(axis=0), friction, it.exhaust_kpa, it.manifold_kpa)
        it.torque_nm = output.torque_nm(left, litres)
        air = filling.engine_flow_g_per_s(it.manifold_kpa, it.speed_rpm, it.filling, litres)
        it.fuel_g_s = mixture.fuel_g_per_s(air * np.ones_like(it.air_ratio), it.air_ratio).mean(axis=0)

    # --- the record -----------------------------------------------------------------------------

    def _nose_c(self, it):
        load = np.clip(it.load * np.sqrt(it.speed_rpm / self.card.rated_rpm), 0.0, 1.0)[0]
        over = float(np.clip(it.over_deg[0], -30.0, 30.0))
        cases = list(zip(self.car.nose_mm, np.round(np.clip(it.air_ratio[:, 0], 0.6, 1.6), 3), strict=True))
        hot = {case: _nose_c(case[0], float(load), over, float(case[1])) for case in set(cases)}
        return np.array([hot[case] for case in cases])

    def _electrics(self):
        """Volts with the key on: at the coil's supply standing and cranking, across the points, points open."""
        car = self.car
        earthed = car.lt_short or car.condenser_short
        contact = 0.0 if earthed else car.contact_ohm
        flows = earthed or not car.film
        after = car.coil_ohm + contact

        def supply_v(volts, before, open_circuit):
            if open_circuit:
                return 0.0
            return volts * (after / (after + before) if flows else 1.0)

        standing = STANDING_SHARE * car.running_v
        before = car.switch_ohm + car.ballast_ohm
        feed = supply_v(standing, before, car.feed_open or car.ballast_open)
        by_pass = car.bypass_ok and self.card.ballasted
        cranked = supply_v(
            car.crank_v, 0.0 if by_pass else before, car.feed_open or (car.ballast_open and not by_pass)
        )
        drop = 0.0 if earthed else feed * (contact / after if flows else 1.0)
        dead = earthed or car.feed_open or car.ballast_open or car.gap_mm <= NEVER_OPENS_MM
        return feed, cranked, drop, 0.0 if dead else standing

    def _compression_psig(self):
        """Gauge at the starter's speed: what leaks is missing; thinner air gives less."""
        absolute = (self.card.compression_psig + 14.696) * self.barometer_kpa / induction.ONE_ATMOSPHERE_KPA
        outside = 14.696 * self.barometer_kpa / induction.ONE_ATMOSPHERE_KPA
        return (absolute - outside) * (1.0 - np.array(self.car.leak))

    def _state(self, speed, pressure, runs):
        return self._state_of(self.at(np.array([float(speed)]), np.array([float(pressure)])), runs)

    def _state_of(self, it, runs):
        mark = float(it.mean_advance_deg[0]) + self.car.ring_slip_deg
        knock = nan
        if self.running.mode == ROAD and it.load[0] >= KNOCK_FROM_LOAD:
            knock = float(it.manual_advance_deg[0] + KNOCK_DEG + self.car.octane_deg - it.mean_advance_deg[0])
        feed, cranked, drop, opened = self._electrics()
        cranking = self.cranking
        return State(
            car=self.car, running=self.running, surroundings=self.around, runs=runs, rpm=float(it.speed_rpm[0]),
            barometer_kpa=self.barometer_kpa, manifold_kpa=float(it.manifold_kpa[0]), exhaust_kpa=float(it.exhaust_kpa[0]),
            vacuum_inhg=float(it.vacuum_inhg[0]), line_vacuum_inhg=float(it.line_inhg[0]),
            mark_deg=(mark + 180.0) % 360.0 - 180.0, advance_deg=it.advance_deg[:, 0],
            mean_advance_deg=float(it.mean_advance_deg[0]), scatter_deg=float(it.scatter_deg[0]),
            dwell_deg=float(it.dwell_deg[:, 0].mean()), dwell_swing_deg=float(np.ptp(it.dwell_deg[:, 0])),
            current_a=float(it.lobe_current_a[:, 0].mean()), coil_kv=it.coil_kv[:, 0], available_kv=it.available_kv[:, 0],
            required_kv=it.required_kv[:, 0], plug_demand_kv=it.plug_demand_kv[:, 0], at_lead_kv=it.at_lead_kv[:, 0],
            spark=it.spark[:, 0], burn=it.burn[:, 0], fires=it.fires[:, 0], cross=it.cross[:, 0],
            energy_mj=it.energy_mj[:, 0], nose_c=np.full(self.car.cylinders, nan) if cranking else self._nose_c(it),
            air_ratio=it.air_ratio[:, 0], imep_bar=it.imep_bar[:, 0], torque_nm=float(it.torque_nm[0]),
            fuel_g_s=float(it.fuel_g_s[0]), knock_margin_deg=knock, feed_v=feed, feed_crank_v=cranked, drop_v=drop,
            open_v=opened, compression_psig=self._compression_psig(),
        )  # fmt: skip

    def _stopped(self):
        """The state of an engine that does not keep running."""
        feed, cranked, drop, opened = self._electrics()
        unknown, none = np.full(self.car.cylinders, nan), np.zeros(self.car.cylinders)
        return State(
            car=self.car, running=self.running, surroundings=self.around, runs=False, rpm=0.0,
            barometer_kpa=self.barometer_kpa, manifold_kpa=self.barometer_kpa, exhaust_kpa=self.barometer_kpa,
            vacuum_inhg=0.0, line_vacuum_inhg=0.0, mark_deg=nan, advance_deg=unknown, mean_advance_deg=nan, scatter_deg=nan,
            dwell_deg=nan, dwell_swing_deg=nan, current_a=nan, coil_kv=unknown, available_kv=unknown, required_kv=unknown,
            plug_demand_kv=unknown, at_lead_kv=unknown, spark=none, burn=none, fires=none, cross=none, energy_mj=unknown,
            nose_c=unknown, air_ratio=unknown, imep_bar=unknown, torque_nm=0.0, fuel_g_s=0.0, knock_margin_deg=nan,
            feed_v=feed, feed_crank_v=cranked, drop_v=drop, open_v=opened, compression_psig=self._compression_psig(),
        )  # fmt: skip


NEVER_OPENS_MM = 0.01
EARLY_FROM_DEG, EARLIEST_DEG = 70.0, 240.0  # a spark so early lights a charge that is being drawn in or squeezed


@cache
def _nose_c(nose_mm, load, over_deg, air_ratio):
    transfer, gas, root = plug.gas_side(load, over_deg, air_ratio)
    return plug.nose_temperature_c(nose_mm, transfer, gas, root)


def _column(values):
    return np.array(values)[:, None]


def _rotor_kv(gap_mm):
    beyond = max(0.0, gap_mm - SOUND_ROTOR_MM)
    if not beyond:
        return cables.rotor_gap_kv(gap_mm)
    return _series_kv(gap_mm)


SOUND_ROTOR_MM = 1.0


def _series_kv(gap_mm):
    gap = np.asarray(gap_mm, dtype=float)
    return insulation.series_gap_kv(breakdown.uniform_voltage_kv(np.maximum(gap, insulation.LEAST_LAW_MM)), gap)
