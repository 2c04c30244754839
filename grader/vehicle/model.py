"""Everything that happens in a car at given speeds and manifold pressures, from the hose to the flywheel.

The order is that of cause and effect: vacuum, timing, coil, mixture, secondary, burn, torque.
Which speed and pressure the engine settles at is not asked here: that is the state's business.
"""

from types import SimpleNamespace

import numpy as np
from scipy.special import ndtr

from grader.reference.angles import crank_deg, cross_fire_pairs, distributor_speed_rpm, firing_interval_deg
from grader.reference.spark import breakdown, cables, coil, follower, insulation, misfire, points
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
    Car,
    Running,
    Surroundings,
)

CLOSING_SHARE = 0.97  # of the manifold pressure in the cylinder when the inlet closes
CLOSING_K, COLD_RISE_K = 340.0, 10.0  # temperature there; in a cold engine over that of the air
POLYTROPE = 1.30
LEAK_TIME_INHG_S = 0.5  # leak of a diaphragm at which its line keeps 1/e of the vacuum
PITTED_OPENING = 0.6  # of the opening speed, taken by deep pits
TURNS = 100.0
LEAD_HEIGHT_MM, LEAD_RADIUS_MM = 50.0, 0.6
SOUND_ROTOR_MM = 1.0  # up to here the trade's figures for the rotor's gap hold
NEVER_OPENS_MM = 0.01
NO_CONTACT = 0.01  # share of cycles below which the circuit counts as open
FRAYED_DEG = 0.25  # distributor degrees over which a frayed pigtail may or may not break
LEAST_REACH_MM = 0.11  # gap times density; below, the breakdown law was not measured
EARLY_FROM_DEG, EARLIEST_DEG = 70.0, 240.0  # a spark so early lights a charge that is being drawn in or squeezed


class Model:
    """One car under one condition.

    Parameters
    ----------
    car : Car
    running : Running
        Its speed and load are not read: `at` takes them.
    surroundings : Surroundings
    idle_opening_mm2 : float [mm2]
        Of the sound car: the tap of a ported line is covered up to a multiple of it.
    """

    def __init__(self, car: Car, running: Running, surroundings: Surroundings, idle_opening_mm2: float) -> None:
        self.car, self.running = car, running
        self.spec, self.card = car.spec, car.card
        self.idle_opening_mm2 = idle_opening_mm2
        self.barometer_kpa = float(surroundings.barometer_kpa)
        self.air_k = surroundings.air_c + 273.15
        self.cranking = running.mode == CRANK
        self.cold = running.engine == COLD
        self.closing_k = self.air_k + COLD_RISE_K if self.cold else CLOSING_K
        self.order = np.array(self.spec.firing_order) - 1
        self.lift_mm = points.full_lift(MM_PER_IN * self.spec.gap_in, self.spec.dwell_deg, car.cylinders)
        self.pairs = cross_fire_pairs(self.spec.firing_order, self.spec.banks)
        # Earthed in front of the points, or by a condenser across them: current flows and is never broken.
        self.earthed = car.lt_short or car.condenser_short
        self.by_pass = self.cranking and car.bypass_ok and self.card.ballasted
        self.fed = not (car.feed_open or (car.ballast_open and not self.by_pass))

    def opening_mm2(self, speed: np.ndarray, pressure: np.ndarray) -> np.ndarray:
        """Opening that passes what the engine draws at speeds and pressures."""
        flow = filling.engine_flow_g_per_s(pressure, speed, self._filling(speed, pressure)[0], self.card.displacement_l)
        share = np.minimum(1.0, pressure / self.barometer_kpa)
        return flow / np.maximum(induction.throttle_flow_g_per_s(1.0, share, self.barometer_kpa, self.air_k), 1e-9)

    def _filling(self, speed, pressure):
        exhaust = filling.exhaust_pressure_kpa(pressure, speed, self.barometer_kpa, self.car.exhaust_kpa)
        return filling.volumetric_efficiency(pressure, exhaust, self.card.compression_ratio), exhaust

    def at(self, speed: np.ndarray, pressure: np.ndarray) -> SimpleNamespace:
        """All quantities at speeds and manifold pressures.

        Parameters
        ----------
        speed, pressure : array of shape (speeds,) [crank rev/min, kPa absolute]

        Returns
        -------
        SimpleNamespace
            Arrays of shape (speeds,), and (cylinders, speeds) in order of the cylinder numbers
            or, where the name begins with lobe, in firing order.
        """
        point = SimpleNamespace(speed_rpm=speed, manifold_kpa=pressure)
        point.load = pressure / self.barometer_kpa
        point.filling, point.exhaust_kpa = self._filling(speed, pressure)
        point.throttle_mm2 = np.maximum(1e-3, self.opening_mm2(speed, pressure) - self.car.leak_area_mm2)
        self._advance(point)
        self._coil(point)
        self._mixture(point)
        self._secondary(point)
        self._burn(point)
        self._torque(point)
        return point

    def _advance(self, point):
        car, spec, n = self.car, self.spec, self.car.cylinders
        point.vacuum_inhg = (self.barometer_kpa - point.manifold_kpa) / induction.KPA_PER_INHG
        tap = point.vacuum_inhg
        if car.hose == HOSE_OFF:
            tap = np.zeros_like(tap)
        elif car.hose == AS_MADE and spec.port == "ported":
            tap = advance.ported_vacuum_inhg(tap, filling.tap_covered(point.throttle_mm2, self.idle_opening_mm2))
        point.tap_inhg = tap
        point.line_inhg = tap * np.exp(-car.leak_inhg_s / LEAK_TIME_INHG_S) if self.running.line else np.zeros_like(tap)
        felt = np.maximum(0.0, point.line_inhg - car.vacuum_shift_inhg)
        plate = np.zeros_like(tap) if car.plate_stuck else advance.vacuum_advance_deg(felt, spec.vacuum)
        if car.weights_stuck:
            weights = np.zeros_like(tap)
        else:
            slower = np.sqrt(car.weight_preload)  # the curve's speeds go with the root of the preload
            weights = advance.centrifugal_advance_deg(distributor_speed_rpm(point.speed_rpm) / slower, spec.centrifugal)
        # A frayed pigtail breaks a little sooner or later each time: an engine that hunts about that place misses.
        point.connected = ndtr((car.pigtail_deg - plate) / FRAYED_DEG)
        # Gap, dwell and opening of each lobe, in firing order.
        gaps = follower.lobe_gaps_mm(car.gap_mm, car.play_mm, n, point.speed_rpm)
        point.lobe_opens = gaps > NEVER_OPENS_MM
        gaps = np.clip(gaps, NEVER_OPENS_MM, 0.98 * self.lift_mm)
        lobe = firing_interval_deg(n) / 2.0
        dwell = follower.dwell_at_speed_deg(
            gaps, self.lift_mm, n, point.speed_rpm, car.spring_n, 1e-3 * self.card.moving_g
        )
        point.lobe_dwell_deg = np.where(point.lobe_opens, dwell, lobe)
        change = points.timing_change_deg(points.dwell_of_gap_deg(gaps, self.lift_mm, n) - spec.dwell_deg)
        point.lobe_gap_mm = gaps
        by_lobe = spec.initial_deg + car.body_deg + car.shift_deg + change + crank_deg(weights) + crank_deg(plate)
        point.lobe_advance_deg = by_lobe
        point.mean_advance_deg = by_lobe.mean(axis=0)
        point.scatter_deg = np.hypot(by_lobe.std(axis=0), car.wander_deg)
        point.manual_advance_deg = spec.initial_deg + crank_deg(
            advance.centrifugal_advance_deg(distributor_speed_rpm(point.speed_rpm), spec.centrifugal)
        )
        manual_plate = advance.vacuum_advance_deg(point.tap_inhg, spec.vacuum)
        point.over_deg = point.mean_advance_deg - point.manual_advance_deg - crank_deg(manual_plate)
        point.advance_deg = self._by_cylinder(by_lobe)
        if car.lead_swap:
            first, second = (int(np.flatnonzero(self.order == number - 1)[0]) for number in car.lead_swap)
            later = (second - first) * firing_interval_deg(n)
            for number, late in zip(car.lead_swap, (later, -later), strict=True):
                swapped = point.advance_deg[number - 1] - late
                point.advance_deg[number - 1] = (swapped + 360.0) % 720.0 - 360.0

    def _by_cylinder(self, by_lobe):
        placed = np.empty_like(by_lobe)
        placed[self.order] = by_lobe
        return placed

    def _coil(self, point):
        car = self.car
        supply = (car.crank_v if self.cranking else car.running_v) if self.fed and not car.film else 0.0
        contact = car.contact_ohm + (0.0 if self.by_pass else car.switch_ohm)
        ohms = coil.primary_resistance_ohm(car.coil_ohm, car.ballast_ohm, contact, self.by_pass)
        point.lobe_current_a = coil.current_at_opening_a(
            point.lobe_dwell_deg, point.speed_rpm, supply, ohms, car.coil_mh
        )
        alive = point.lobe_opens & (point.connected > NO_CONTACT) & (not self.earthed)
        opening = points.opening_speed_ratio(point.lobe_gap_mm, MM_PER_IN * self.spec.gap_in, self.lift_mm)
        given = coil.available_voltage_kv(
            point.lobe_current_a,
            point.speed_rpm,
            car.coil_mh,
            car.condenser_uf,
            opening_ratio=opening * (1.0 - PITTED_OPENING * car.pitting),
        )
        point.coil_kept = car.coil_share * (car.coil_hot_share if self.running.engine == HOT_SOAKED else 1.0)
        given = given * points.bounce_kept_share(point.lobe_gap_mm, point.speed_rpm) * point.coil_kept
        point.coil_kv = self._by_cylinder(np.where(alive, given, 0.0))
        point.current_a = self._by_cylinder(np.where(alive, point.lobe_current_a, 0.0))

    def _mixture(self, point):
        car, mode = self.car, self.running.mode
        if mode == CRANK:
            base = mixture.CRANK_COLD_RATIO if self.cold else mixture.CRANK_RATIO
        else:
            base = {IDLE: mixture.IDLE_RATIO, FREE: mixture.FREE_RATIO}.get(mode)
        if base is None:
            base = mixture.road_air_ratio(point.load)
        # While starting, the pedal is worked: the leak adds to what the engine is given, and takes nothing from it.
        passed = point.throttle_mm2 + (car.leak_area_mm2 if self.cranking else 0.0)
        leak = mixture.leak_shares(car.cylinders, car.leak_near)[:, None] * (car.leak_area_mm2 / passed)
        ratio = mixture.disturbed_air_ratio(
            base, car.choke, car.starved, point.load, point.speed_rpm / self.card.rated_rpm, leak
        )
        point.air_ratio = np.clip(ratio, 0.4, 3.0)

    def _secondary(self, point):
        car, running = self.car, self.running
        if self.cranking:
            electrode = misfire.COLD_ELECTRODE_C if self.cold else misfire.WARM_ELECTRODE_C
            kept, exponent = filling.CRANK_KEPT, filling.CRANK_POLYTROPE
        else:
            electrode = misfire.electrode_c(point.load, point.speed_rpm / self.card.rated_rpm)
            kept, exponent = 1.0, POLYTROPE
        leak, gap, rounding = _column(car.leak), _column(car.plug_gap_mm), _column(car.rounding)
        closing = CLOSING_SHARE * point.manifold_kpa * kept * np.maximum(0.05, 1.0 - leak)
        point.factor = misfire.EDGE_FACTOR * breakdown.demand_factor(
            car.reversed, rounding, np.clip(point.air_ratio, 0.6, 1.6), electrode
        )
        # A spark out of place meets what the cylinder holds there: no later than 40 degrees past top, no earlier than the closing.
        place = np.clip(point.advance_deg, -40.0, 120.0)
        ratio = self.card.compression_ratio
        squeezed = combustion.pressure_at_spark_kpa(place, closing, ratio, exponent)
        heated = combustion.temperature_at_spark_k(place, self.closing_k, ratio, exponent)
        point.density = breakdown.relative_density(0.01 * squeezed, heated)
        point.plug_demand_kv = point.factor * breakdown.uniform_voltage_kv(gap, _measured(point.density, gap))
        series = _rotor_kv(car.rotor_gap_mm) + sum(
            _series_kv(gap_mm)
            for gap_mm in (car.button_gap_mm, car.king_break_mm, _column(car.cap_gap_mm), _column(car.lead_break_mm))
        )
        point.required_kv = point.plug_demand_kv + series
        before_plug = self._flash_before_plug_kv()
        shunt = coil.shunt_factor(_column(car.shunt_mohm), car.coil_mh, max(car.condenser_uf, 1e-3))
        plug_flash = insulation.flash_kv(_column(car.plug_flash_kv), "plug")
        point.available_kv = np.minimum(np.minimum(point.coil_kv * shunt, before_plug), plug_flash)
        point.available_kv = np.where(_column(car.bridged), 0.0, point.available_kv)
        point.at_lead_kv = np.maximum(0.0, np.minimum(point.coil_kv, before_plug) - series)
        if running.earthed:
            point.available_kv[running.earthed - 1] = 0.0
        jumps = misfire.spark_probability(point.available_kv, point.required_kv, car.pitting)
        point.spark = jumps * point.connected
        point.left = misfire.left_share(point.available_kv, point.required_kv)

    def _flash_before_plug_kv(self):
        """Least voltage at which the secondary flashes over on its way to each plug."""
        car = self.car
        places = (
            (car.coil_flash_kv, "tower"), (car.rotor_flash_kv, "rotor"), (_column(car.cap_flash_kv), "cap"),
            (_column(car.lead_flash_kv), "lead"),
        )  # fmt: skip
        least = np.full((car.cylinders, 1), np.inf)
        for dry_kv, place in places:
            least = np.minimum(least, insulation.flash_kv(dry_kv, place, self.running.wet, car.damp_flash_kv))
        return least

    def _burn(self, point):
        car = self.car
        time = coil.spark_duration_ms(
            1e3 / TURNS * point.current_a * point.coil_kept,
            misfire.burning_kv(_column(car.lead_kohm)),
            1e-3 * TURNS**2 * car.coil_mh,
        )
        point.spark_ms = time * point.left
        point.energy_mj = coil.stored_energy_mj(point.current_a, car.coil_mh) * (point.coil_kept * point.left) ** 2
        lean = misfire.lean_limit(point.manifold_kpa, point.spark_ms, _column(car.plug_gap_mm), _column(car.leak))
        point.burn = misfire.burn_probability(point.air_ratio, lean, point.advance_deg)
        early = point.advance_deg > EARLY_FROM_DEG
        point.burn = np.where(early, 0.0, point.burn)
        if self.cranking:
            point.burn = point.burn * misfire.kick_share(point.advance_deg)
        point.fires = point.spark * point.burn
        # A spark far too early lights what the cylinder already holds; so does a neighbour's lead.
        holds = early & (point.advance_deg < EARLIEST_DEG)
        point.cross = np.where(holds, point.spark * misfire.lit_share(point.density), 0.0)
        for victim, lit in self._cross_fire(point):
            point.cross[victim] = np.maximum(point.cross[victim], lit)

    def _cross_fire(self, point):
        car = self.car
        between, ground = cables.capacitances_pf_per_m(
            LEAD_HEIGHT_MM, car.lead_spacing_mm, LEAD_RADIUS_MM, permittivity=car.lead_permittivity
        )
        for first, victim in self.pairs:
            source = np.minimum(point.required_kv[first - 1], point.available_kv[first - 1])
            induced = cables.induced_capacitive_kv(source, self.card.lead_run_mm, between, ground)
            density = cables.victim_density(
                car.cylinders,
                np.clip(point.advance_deg[first - 1], -30.0, 60.0),
                self.card.compression_ratio,
                closing_density=breakdown.relative_density(0.01 * CLOSING_SHARE * point.manifold_kpa, self.closing_k),
            )
            gap = car.plug_gap_mm[victim - 1]
            needed = point.factor[victim - 1] * breakdown.uniform_voltage_kv(gap, _measured(density, gap))
            yield victim - 1, misfire.cross_fire_probability(induced, needed, density)

    def _torque(self, point):
        car, litres = self.car, self.card.displacement_l
        best = timing_map.best_deg(self.spec, self.card.compression_ratio, point.speed_rpm, point.manifold_kpa)
        charge = point.filling * point.manifold_kpa / (filling.GAS_CONSTANT * filling.CHARGE_K)
        point.imep_bar = output.indicated_bar(
            charge,
            mixture.mixture_work_share(point.air_ratio),
            timing_map.loss(point.advance_deg - best),
            point.fires,
            _column(car.leak),
            np.clip(point.cross, 0.0, 1.0),
        )
        friction = output.friction_bar(point.speed_rpm, self.cold)
        left = output.brake_bar(point.imep_bar.mean(axis=0), friction, point.exhaust_kpa, point.manifold_kpa)
        point.torque_nm = output.torque_nm(left, litres)
        air = filling.engine_flow_g_per_s(point.manifold_kpa, point.speed_rpm, point.filling, litres)
        point.fuel_g_s = mixture.fuel_g_per_s(air * np.ones_like(point.air_ratio), point.air_ratio).mean(axis=0)


def _column(values):
    return np.array(values)[:, None]


def _measured(density, gap_mm):
    """The density, or the least for which the breakdown law holds: charge so thin does not light."""
    return np.maximum(density, LEAST_REACH_MM / gap_mm)


def _rotor_kv(gap_mm):
    return cables.rotor_gap_kv(gap_mm) if gap_mm <= SOUND_ROTOR_MM else _series_kv(gap_mm)


def _series_kv(gap_mm):
    gap = np.asarray(gap_mm, dtype=float)
    return insulation.series_gap_kv(breakdown.uniform_voltage_kv(np.maximum(gap, insulation.LEAST_LAW_MM)), gap)
