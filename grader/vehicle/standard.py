"""The standard conditions under which a car is judged: what the owner meets and what a bay can try."""

from dataclasses import replace

from grader.errors import Unknown
from grader.reference.spark.misfire import kick_share
from grader.vehicle.car import COLD, CRANK, FREE, HOT_SOAKED, IDLE, ROAD, WARM, Car, Running, Surroundings
from grader.vehicle.car import card as card_of
from grader.vehicle.spec import Vehicle
from grader.vehicle.state import UPHILL, State, solve

CRANK_COLD, CRANK_SHOP, CRANK_DAMP, CRANK_HOT = "crank cold", "crank", "crank damp", "crank hot"
IDLING, IDLING_PLUGGED = "idle", "idle plugged"
FREE_MID, FREE_TOP = "free mid", "free top"
CRUISE, HILL, SPEED, HILL_HOT, HILL_WET = "cruise", "hill", "speed", "hill hot", "hill wet"
STANDARD = (
    CRANK_COLD,
    CRANK_SHOP,
    CRANK_DAMP,
    CRANK_HOT,
    IDLING,
    IDLING_PLUGGED,
    FREE_MID,
    FREE_TOP,
    CRUISE,
    HILL,
    SPEED,
    HILL_HOT,
    HILL_WET,
)
KICKS = 0.06  # of the compressions that still turn over the top
COLD_MORNING_C = 5.0  # or the air of the day, where that is colder
# Share of the rated speed and manifold pressure over barometer on the road.
_ROAD = {CRUISE: (0.5, 0.5), HILL: UPHILL, SPEED: (0.95, 0.92), HILL_HOT: UPHILL, HILL_WET: UPHILL}
_CRANKED = {
    CRANK_COLD: Running(CRANK, engine=COLD),
    CRANK_SHOP: Running(CRANK),
    CRANK_DAMP: Running(CRANK, engine=COLD, wet=True),
    CRANK_HOT: Running(CRANK, engine=HOT_SOAKED),
}
_IDLED = {IDLING: Running(IDLE), IDLING_PLUGGED: Running(IDLE, line=False)}


def check_speeds_rpm(spec: Vehicle) -> tuple[float, float]:
    """The two speeds at which the rise of the timing is read: middle and top.

    Parameters
    ----------
    spec : Vehicle

    Returns
    -------
    tuple of two floats [crank rev/min]
        Of the second and the last point of the centrifugal table.
    """
    return 2.0 * spec.centrifugal[1][0], 2.0 * spec.centrifugal[-1][0]


def running(name: str, spec: Vehicle) -> Running:
    """One standard condition of a vehicle.

    Parameters
    ----------
    name : str
        One of `STANDARD`.
    spec : Vehicle

    Returns
    -------
    Running

    Raises
    ------
    Unknown
        No such condition.
    """
    if name in _CRANKED:
        return _CRANKED[name]
    if name in _IDLED:
        return _IDLED[name]
    if name in (FREE_MID, FREE_TOP):
        return Running(FREE, rpm=check_speeds_rpm(spec)[name == FREE_TOP], line=False)
    if name not in _ROAD:
        raise Unknown(f"No standard condition {name!r}; there are {', '.join(STANDARD)}.")
    share, load = _ROAD[name]
    engine = HOT_SOAKED if name == HILL_HOT else WARM
    return Running(ROAD, rpm=share * card_of(spec).rated_rpm, load=load, wet=name == HILL_WET, engine=engine)


class States:
    """A car's standard states, each solved when it is first asked for.

    Parameters
    ----------
    car : Car
    surroundings : Surroundings
        Cold and damp starts are tried at 5 degrees C, or in the air of the day where that is colder.
    """

    def __init__(self, car: Car, surroundings: Surroundings = Surroundings()) -> None:  # noqa: B008 - frozen
        self.car = car
        self.surroundings = surroundings
        self._solved = {}

    def __getitem__(self, name: str) -> State:
        """The State of one of `STANDARD`."""
        if name not in self._solved:
            around = self.surroundings
            if name in (CRANK_COLD, CRANK_DAMP):
                around = replace(around, air_c=min(around.air_c, COLD_MORNING_C))
            self._solved[name] = solve(self.car, running(name, self.car.spec), around)
        return self._solved[name]

    def earthed(self, number: int) -> State:
        """The State at idle with the lead of one cylinder earthed."""
        key = (IDLING, number)
        if key not in self._solved:
            self._solved[key] = solve(self.car, replace(_IDLED[IDLING], earthed=number), self.surroundings)
        return self._solved[key]

    @property
    def idles(self) -> bool:
        """True if the engine can be started and keeps running with the throttle closed."""
        return self[IDLING].runs and not self.kicks

    @property
    def kicks(self) -> bool:
        """True if the spark comes so early that it throws the starter back: no way to get it running."""
        return float(kick_share(self[CRANK_SHOP].mean_advance_deg)) < KICKS
