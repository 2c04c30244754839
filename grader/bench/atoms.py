"""What may be wrong with a car: every fault in every severity, some pairs, and nothing at all.

An atom is one such possibility. A case is one of them that was drawn; a diagnosis weighs all of them.
"""

from dataclasses import dataclass
from functools import cache

from grader.bench import actions
from grader.bench.owner import complaints
from grader.bench.signs import Examined
from grader.vehicle.car import Car
from grader.vehicle.faults import ELSEWHERE, HIGH, LOW, MID, SOUND, THIRD, applies, fault, faults, plant
from grader.vehicle.state import sound_car
from grader.vehicle.wear import driven

KMILES = (5.0, 8.0, 11.0)  # thousand miles on the plugs of a car that is brought in
SEVERITY_WEIGHT = {LOW: 0.3, MID: 0.4, HIGH: 0.3}
# Two faults on one car: from a workshop's own experience, at middle severity [common practice].
PAIRS = (
    ("gap_small", "timing_early"),
    ("coil_weak", "plugs_worn"),
    ("diaphragm_punctured", "timing_early"),
    ("condenser_open", "points_burnt"),
    ("lead_open", "plugs_worn"),
    ("cap_track", "leads_damp"),
    ("battery_weak", "bypass_dead"),
    ("weights_seized", "plate_seized"),
    ("shaft_worn", "gap_wide"),
    ("set_fast_idle", "hose_manifold"),
    ("manifold_leak", "plugs_worn"),
    ("cap_burnt", "rotor_burnt"),
    ("low_octane", "timing_early"),
    ("plugs_worn", "leads_crossfire"),
    ("points_burnt", "valve_low"),
)
HIDDEN = ("gap_small", "timing_early")  # the timing was set afterwards, so that the mark is right
PAIRS_SHARE, SOUND_SHARE = 0.4, 0.3  # of the cars of the highest level: with two faults, with a sound ignition
SOUND_GROUP = "sound"  # one name for all that another hand must mend, and for nothing at all
CYLINDER_GROUPS = ("lead",)  # named with the number of the cylinder


@dataclass(frozen=True, slots=True, order=True)
class Atom:
    """One possibility: the faults on a car and how severe they are."""

    faults: tuple[str, ...]
    severity: str = MID

    @property
    def key(self) -> str:
        """As it stands in tables: "lead_open:mid", "coil_weak+plugs_worn:mid"."""
        return f"{'+'.join(self.faults)}:{self.severity}"

    @property
    def groups(self) -> frozenset[str]:
        """The groups by which it is named: what one repair mends."""
        return frozenset(group_of(key) for key in self.faults)

    @property
    def title(self) -> str:
        """In words."""
        return " and ".join(fault(key).title for key in self.faults)

    @property
    def system(self) -> str:
        """Of the first fault."""
        return fault(self.faults[0]).system


def of_key(key: str) -> Atom:
    """The atom of a key as `Atom.key` gives it."""
    names, _, severity = key.partition(":")
    return Atom(tuple(names.split("+")), severity)


def group_of(key: str) -> str:
    """The group by which a fault is named; one for all that leave the ignition sound."""
    mend = fault(key).mend
    return SOUND_GROUP if mend in (ELSEWHERE, SOUND) else mend


@cache
def groups(engine: str) -> tuple[str, ...]:
    """Every group that can be named on an engine, in the order of the table of faults."""
    return tuple(dict.fromkeys(group_of(key) for key in faults() if applies(key, engine)))


@cache
def atoms(engine: str, pairs: bool) -> tuple[Atom, ...]:
    """Every possibility on an engine.

    Parameters
    ----------
    engine : str
    pairs : bool
        With two faults on one car.
    """
    single = []
    for key, planted in faults().items():
        if applies(key, engine):
            severities = (LOW, MID, HIGH) if planted.severities else (MID,)
            single += [Atom((key,), severity) for severity in severities]
    both = [Atom(pair) for pair in PAIRS if all(applies(key, engine) for key in pair)]
    return (*single, *(both if pairs else ()))


def common(atom: Atom) -> float:
    """How often a single fault is met, in proportion; of a pair nothing is known but that it is seldom."""
    if len(atom.faults) != 1:
        return 1.0
    planted = fault("".join(atom.faults))
    return planted.common * (SEVERITY_WEIGHT[atom.severity] if planted.severities else 1.0)


@cache
def car_of(engine: str, atom: Atom, kmiles: float, place: int = THIRD) -> Car:
    """The car with what an atom says, and so many miles on its plugs.

    Parameters
    ----------
    engine : str
    atom : Atom
    kmiles : float [thousand miles]
        0: a set of new plugs, gapped; else 5 or more.
    place : int
        Of the firing order, where one cylinder is concerned.
    """
    car = _planted(sound_car(engine), atom, place)
    if not kmiles:
        return actions.do(car, "fit_plugs")
    if kmiles == car.kmiles:
        return car
    miles = 1000.0 * (kmiles - car.kmiles)
    if not Examined(
        car
    ).idles:  # its plugs did their miles before the fault came: it cannot be driven, and so not foul them
        return _planted(driven(sound_car(engine), miles), atom, place)
    return driven(car, miles)


def _planted(car: Car, atom: Atom, place: int) -> Car:
    for key in atom.faults:
        car = plant(car, key, atom.severity, place)
    return actions.do(car, "set_timing") if atom.faults == HIDDEN else car


@cache
def complaints_of(engine: str, atom: Atom, kmiles: float) -> tuple[str, ...]:
    """What is true of such a car in its owner's eyes; computed, and kept while the program runs."""
    return complaints(Examined(car_of(engine, atom, kmiles)), atom.faults)
