"""One coherent state of a car: what turns, pulls, sparks and burns, and what the instruments find."""

from dataclasses import dataclass

import numpy as np

from grader.vehicle.car import Car, Running, Surroundings


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
