"""Voltages and currents of both windings after the points have opened.

Two coupled loops: battery, primary and condenser; secondary, its capacity and the
plug. Each stage (before, during and after the spark) is linear, so it is solved
exactly by its eigenvalues; nothing is stepped.
"""

from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import ArrayLike

from grader.errors import OutOfRange
from grader.ranges import FloatOrArray, in_range, plain

POINTS = 2001


@dataclass(frozen=True, slots=True)
class Circuit:
    """The teaching coil and its circuit.

    supply_v, primary_ohm, inductance_mh, turns_ratio [1], coupling [1], condenser_uf,
    load_pf, secondary_kohm, shunt_mohm (across the plug; 1000 is sound insulation),
    kept_share [1] (of the energy: iron and arc take the rest at once).
    """

    supply_v: float = 13.8
    primary_ohm: float = 3.2
    inductance_mh: float = 7.5
    turns_ratio: float = 100.0
    coupling: float = 0.97
    condenser_uf: float = 0.22
    load_pf: float = 60.0
    secondary_kohm: float = 9.0
    shunt_mohm: float = 1000.0
    kept_share: float = 0.4

    def __post_init__(self):
        for words, value, unit, bounds in (
            ("The supply", self.supply_v, "V", {"least": 0, "most": 100}),
            ("The primary resistance", self.primary_ohm, "ohm", {"least": 0, "most": 50}),
            ("The primary inductance", self.inductance_mh, "mH", {"above": 0, "most": 1000}),
            ("The turns ratio", self.turns_ratio, "", {"above": 0, "most": 1000}),
            ("The coupling", self.coupling, "", {"least": 0, "most": 0.99999}),
            ("The condenser", self.condenser_uf, "uF", {"least": 0.01, "most": 5}),
            ("The secondary load", self.load_pf, "pF", {"least": 1, "most": 1e6}),
            ("The secondary resistance", self.secondary_kohm, "kilohm", {"above": 0, "most": 1000}),
            ("The shunt", self.shunt_mohm, "megohm", {"least": 0.01, "most": 1e9}),
            ("The kept share", self.kept_share, "", {"above": 0, "most": 1}),
        ):
            in_range(words, value, unit, bounds.get("least", -inf), bounds["most"], above=bounds.get("above", -inf))


TEACHING_CIRCUIT = Circuit()


@dataclass(frozen=True, slots=True)
class Waveform:
    """Curves against time from the opening of the points, and what they show.

    time_ms, points_v (across points and condenser), primary_a, plug_kv (size, the
    centre electrode being negative), secondary_ma; peak_kv; breakdown_ms and spark_ms
    (duration), both None when the plug did not fire.
    """

    time_ms: np.ndarray
    points_v: np.ndarray
    primary_a: np.ndarray
    plug_kv: np.ndarray
    secondary_ma: np.ndarray
    peak_kv: float
    breakdown_ms: float | None
    spark_ms: float | None


def slow_mode_hz(
    inductance_mh: ArrayLike = 7.5,
    condenser_uf: ArrayLike = 0.22,
    load_pf: ArrayLike = 60.0,
    turns_ratio: ArrayLike = 100.0,
    coupling: ArrayLike = 1.0,
) -> FloatOrArray:
    """Lower of the two frequencies at which the open circuit rings.

    Parameters
    ----------
    inductance_mh : float or array [mH]
        Primary.
    condenser_uf : float or array, broadcast with inductance_mh [uF]
    load_pf : float or array, broadcast with inductance_mh [pF]
    turns_ratio, coupling : float or array, broadcast with inductance_mh [1]

    Returns
    -------
    float or array of the broadcast shape [Hz]

    Raises
    ------
    OutOfRange
        Coupling outside 0 to 1; another quantity not above zero.

    Notes
    -----
    Smaller root of (1-k^2) w^4 - (w1^2 + w2^2) w^2 + w1^2 w2^2, no losses; written so
    that it stays good at full coupling. Source: derived.
    """
    coupling = in_range("The coupling", coupling, "", least=0, most=1)
    total, product = _squares(inductance_mh, condenser_uf, load_pf, turns_ratio)
    spread = np.sqrt(total**2 - 4.0 * (1.0 - np.asarray(coupling) ** 2) * product)
    return plain(np.sqrt(2.0 * product / (total + spread)) / (2.0 * np.pi))


def fast_mode_hz(
    inductance_mh: ArrayLike = 7.5,
    condenser_uf: ArrayLike = 0.22,
    load_pf: ArrayLike = 60.0,
    turns_ratio: ArrayLike = 100.0,
    coupling: ArrayLike = 0.97,
) -> FloatOrArray:
    """Higher of the two frequencies at which the open circuit rings.

    Parameters
    ----------
    inductance_mh : float or array [mH]
        Primary.
    condenser_uf : float or array, broadcast with inductance_mh [uF]
    load_pf : float or array, broadcast with inductance_mh [pF]
    turns_ratio, coupling : float or array, broadcast with inductance_mh [1]

    Returns
    -------
    float or array of the broadcast shape [Hz]

    Raises
    ------
    OutOfRange
        Coupling not below 1, where there is no second mode; another quantity not
        above zero.

    Notes
    -----
    Source: derived.
    """
    loose = 1.0 - np.asarray(in_range("The coupling", coupling, "", least=0, below=1)) ** 2
    total, product = _squares(inductance_mh, condenser_uf, load_pf, turns_ratio)
    return plain(np.sqrt((total + np.sqrt(total**2 - 4.0 * loose * product)) / (2.0 * loose)) / (2.0 * np.pi))


def breakdown_energy_mj(breakdown_kv: ArrayLike, load_pf: ArrayLike = 60.0) -> FloatOrArray:
    """Energy that the capacity of winding and leads gives to the gap at breakdown.

    Parameters
    ----------
    breakdown_kv : float or array [kV]
    load_pf : float or array, broadcast with breakdown_kv [pF]

    Returns
    -------
    float or array of the broadcast shape [mJ]

    Raises
    ------
    OutOfRange
        Voltage below zero, or load not above zero.

    Notes
    -----
    Half C V^2; pF and kV give uJ. Source: rp1032.
    """
    load = in_range("The secondary load", load_pf, "pF", above=0)
    return 0.5e-3 * load * in_range("The breakdown voltage", breakdown_kv, "kV", least=0, most=100) ** 2


def solve(
    current_a: float,
    until_ms: float = 4.0,
    breakdown_kv: float | None = None,
    burning_kv: float = 1.5,
    circuit: Circuit = TEACHING_CIRCUIT,
) -> Waveform:
    """Follow both windings from the opening of the points.

    Parameters
    ----------
    current_a : float [A]
        Primary current at opening.
    until_ms : float [ms]
        Length of the picture: at most until the points close again.
    breakdown_kv : float or None [kV]
        Voltage at which the plug fires; None for a lead held open.
    burning_kv : float [kV]
        Of plug, rotor gap and leads while the spark burns.
    circuit : Circuit [coil and loads]

    Returns
    -------
    Waveform [see its own text]

    Raises
    ------
    OutOfRange
        Current outside 0 to 50 A, time outside 0.05 to 50 ms, breakdown voltage not
        above the burning voltage.

    Notes
    -----
    At breakdown the load empties into the gap and the plug is held at the burning
    voltage. The spark ends when its current, less the ringing with the primary, has
    fallen to zero: short dips of the ringing do not put it out. Source: derived.
    """
    current = in_range("The primary current", current_a, "A", least=0, most=50)
    until = 1e-3 * in_range("The length of the picture", until_ms, "ms", least=0.05, most=50)
    time = np.linspace(0.0, until, POINTS)
    start = np.array([current * np.sqrt(circuit.kept_share), 0.0, 0.0, 0.0])
    state = _open(circuit, start)
    curves = state(time)
    # The first wave needs a finer look than a long picture gives.
    wave = 1.0 / slow_mode_hz(
        circuit.inductance_mh, circuit.condenser_uf, circuit.load_pf, circuit.turns_ratio, circuit.coupling
    )
    search = np.union1d(np.linspace(0.0, min(until, wave), 1001), time)
    rising = state(search)[3]
    fired = ended = None
    if breakdown_kv is not None:
        burning = 1e3 * in_range("The burning voltage", burning_kv, "kV", above=0, most=20)
        limit = 1e3 * in_range("The breakdown voltage", breakdown_kv, "kV", above=0, most=100)
        if limit <= burning:
            raise OutOfRange(
                f"The breakdown voltage is {limit / 1e3:g} kV; it must be above the burning voltage of "
                f"{burning / 1e3:g} kV."
            )
        over = np.flatnonzero(rising >= limit)
        if over.size:
            fired = _crossing(lambda t: state(t)[3] - limit, search[over[0] - 1], search[over[0]])
            burn, slow = _burning(circuit, state(fired), burning)
            during = time >= fired
            curves[:, during] = burn(time[during] - fired)
            span = np.linspace(0.0, until, POINTS)
            falling = slow(span)
            out = np.flatnonzero(falling[np.argmax(falling) :] <= 0.0)
            if out.size:
                last = np.argmax(falling) + out[0]
                ended = _crossing(lambda t: -slow(t), span[last - 1], span[last]) if last else 0.0
                after = time >= fired + ended
                curves[:, after] = _open(circuit, burn(ended))(time[after] - fired - ended)
            else:
                ended = until - fired  # still burning at the end of the picture
    lasting = None if fired is None or ended is None else 1e3 * float(min(ended, until - fired))
    peak = limit if fired is not None else np.max(rising)
    return Waveform(
        1e3 * time,
        curves[1],
        curves[0],
        1e-3 * curves[3],
        1e3 * curves[2],
        1e-3 * float(peak),
        None if fired is None else 1e3 * float(fired),
        lasting,
    )


def _squares(inductance_mh, condenser_uf, load_pf, turns_ratio):
    """Sum and product of the squares of the two uncoupled ring frequencies, in rad/s."""
    inductance = 1e-3 * in_range("The primary inductance", inductance_mh, "mH", above=0)
    primary = 1.0 / (inductance * 1e-6 * in_range("The condenser", condenser_uf, "uF", above=0))
    secondary_h = inductance * np.asarray(in_range("The turns ratio", turns_ratio, "", above=0)) ** 2
    secondary = 1.0 / (secondary_h * 1e-12 * in_range("The secondary load", load_pf, "pF", above=0))
    return primary + secondary, primary * secondary


def _rates(circuit):
    """Matrix of d/dt (i1, v1, i2, v2) with the plug dark, and the inverse inductances."""
    first = 1e-3 * circuit.inductance_mh
    mutual, second = circuit.coupling * circuit.turns_ratio * first, circuit.turns_ratio**2 * first
    inverse = np.linalg.inv(np.array([[first, mutual], [mutual, second]]))
    drops = np.array([[-circuit.primary_ohm, -1.0, 0.0, 0.0], [0.0, 0.0, -1e3 * circuit.secondary_kohm, -1.0]])
    matrix = np.zeros((4, 4))
    matrix[[0, 2]] = inverse @ drops
    matrix[1, 0] = 1e6 / circuit.condenser_uf
    matrix[3, 2] = 1e12 / circuit.load_pf
    matrix[3, 3] = -1e6 / (circuit.load_pf * circuit.shunt_mohm)
    return matrix, inverse


def _open(circuit, start):
    """State against time with the plug dark."""
    matrix, _ = _rates(circuit)
    rest = np.array([0.0, circuit.supply_v, 0.0, 0.0])
    return _modes(matrix, start, rest)[0]


def _burning(circuit, start, burning):
    """State against time with the plug held at its burning voltage, and the slow part of the current."""
    matrix, _ = _rates(circuit)
    rest = np.array([0.0, circuit.supply_v, -burning / (1e3 * circuit.secondary_kohm)])
    state, slow = _modes(matrix[:3, :3], start[:3], rest)

    def whole(time):
        three = state(time)
        return np.concatenate([three, np.full((1, *np.shape(time)), burning)])

    return whole, lambda time: slow(time)[2]


def _modes(matrix, start, rest):
    """Solution of x' = A (x - rest), and the part of it that does not ring."""
    values, vectors = np.linalg.eig(matrix)
    weights = vectors * np.linalg.solve(vectors, (start - rest).astype(complex))
    steady = np.abs(np.imag(values)) <= 1e-9 * np.abs(values).max()

    def run(time, columns):
        grown = np.exp(np.multiply.outer(values[columns], np.asarray(time, dtype=float)))
        moved = np.real(np.tensordot(weights[:, columns], grown, axes=1))
        return moved + rest.reshape(-1, *[1] * np.ndim(time))

    everything = np.ones(len(values), dtype=bool)
    return lambda time: run(time, everything), lambda time: run(time, steady)


def _crossing(rising, low, high):
    """Where a function that is below zero at `low` and not at `high` crosses."""
    for _ in range(40):
        middle = 0.5 * (low + high)
        if rising(middle) < 0.0:
            low = middle
        else:
            high = middle
    return high
