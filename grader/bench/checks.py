"""The table of checks: for every fault and engine, the signs a mechanic expects beside those the car shows."""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from grader import tables
from grader.bench.owner import complaints
from grader.bench.signs import SHOP, Examined, signs
from grader.errors import BadTable
from grader.vehicle.car import Surroundings
from grader.vehicle.faults import MID, THIRD, applies, faults, plant
from grader.vehicle.spec import vehicle
from grader.vehicle.state import sound_car

LAST = "new_plugs_hold_miles"


@dataclass(frozen=True, slots=True)
class Expected:
    """One row of datasets/fault_signs.csv.

    complaints: what owners of such cars complain of at mid severity, plugs at 5000 miles;
    later: what joins with more miles. signs: sign to the words that are right; more than one
    where engines differ. new_plugs_hold_miles: miles that new plugs hide it, for a V8, a four,
    a six and a van's four; () where they make no difference.
    """

    key: str
    complaints: tuple[str, ...]
    later: tuple[str, ...]
    signs: MappingProxyType
    new_plugs_hold_miles: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Outcome:
    """A fault on an engine: each sign with the words expected and the one found."""

    fault: str
    engine: str
    severity: str
    signs: tuple[tuple[str, tuple[str, ...], str], ...]
    complaints: tuple[str, ...]

    @property
    def disagreeing(self) -> tuple[tuple[str, tuple[str, ...], str], ...]:
        """Signs whose word is none of those expected."""
        return tuple(line for line in self.signs if line[2] not in line[1])


@cache
def expected() -> Mapping[str, Expected]:
    """What a mechanic expects of each fault, by its key.

    Raises
    ------
    BadTable
        Other faults than in datasets/faults.csv, or a word that is no result of its sign.
    """
    columns = ("key", "complaints", "later", *signs(), LAST)
    rows = {row["key"]: _expected(row) for row in tables.rows("fault_signs.csv", columns)}
    if set(rows) != set(faults()):
        odd = ", ".join(sorted(set(rows) ^ set(faults())))
        raise BadTable(f"datasets/faults.csv and datasets/fault_signs.csv differ in {odd}.")
    return MappingProxyType(rows)


def _expected(row):
    words = {name: tuple(row[name].split("|")) for name in signs()}
    for name, allowed in words.items():
        wrong = set(allowed) - {*signs()[name].results, "-"}
        if wrong:
            raise BadTable(f"datasets/fault_signs.csv, {row['key']}: {name} cannot be {', '.join(sorted(wrong))}.")
    return Expected(
        key=row["key"],
        complaints=tuple(row["complaints"].split()),
        later=tuple(row["later"].split()),
        signs=MappingProxyType(words),
        new_plugs_hold_miles=tuple(float(miles) for miles in row[LAST].split("|") if miles),
    )


def examine(
    key: str, engine: str, severity: str = MID, place: int = THIRD, surroundings: Surroundings = SHOP
) -> Outcome:
    """A fault planted in the sound car of an engine, and what the bench finds.

    Parameters
    ----------
    key : str
        Of the fault.
    engine : str
        Of the vehicle.
    severity : str
    place : int
        Of the firing order.
    surroundings : Surroundings

    Returns
    -------
    Outcome

    Raises
    ------
    Refused
        The vehicle does not have the part.
    """
    x = Examined(plant(sound_car(engine), key, severity, place), surroundings)
    lines = tuple((name, expected()[key].signs[name], x.word(name)) for name in signs())
    return Outcome(key, engine, severity, lines, complaints(x, (key,)))


def table(
    engines: Iterable[str], severity: str = MID, step: Callable[[], object] = lambda: None
) -> Iterator[Outcome | tuple[str, str]]:
    """Every fault on every one of some engines.

    Parameters
    ----------
    engines : sequence of str
    severity : str
    step : function
        Called after each pair.

    Yields
    ------
    Outcome, or (fault, engine) where the vehicle does not have the part.
    """
    for engine in engines:
        vehicle(engine)
        for key in faults():
            yield examine(key, engine, severity) if applies(key, engine) else (key, engine)
            step()


def lines(outcomes: Sequence[Outcome], absent: Collection[tuple[str, str]]) -> Iterator[str]:
    """The printed table: a line for each fault and engine, those that do not apply, and the sum."""
    yield from map(_line, outcomes)
    for key, engine in absent:
        yield f"--   {key:<20} {engine:<21} does not apply: the vehicle has no such part"
    count = sum(len(outcome.signs) for outcome in outcomes)
    wrong = sum(len(outcome.disagreeing) for outcome in outcomes)
    yield (
        f"{count} signs of {len({outcome.fault for outcome in outcomes})} faults on "
        f"{len({outcome.engine for outcome in outcomes})} engines, middle severity, plugs at 5,000 miles: "
        f"{count - wrong} as a mechanic expects, {wrong} not. {len(absent)} pairs of fault and engine do not apply."
    )


def _line(outcome):
    """The signs that are out, or should be, as expected and as found; how many are as on a sound car."""
    shown, quiet = [], 0
    for name, words, word in outcome.signs:
        sound = signs()[name].results[0]
        if words == (sound,) and word == sound:
            quiet += 1
        elif words == (word,):
            shown.append(f"{name} {word}")
        else:
            shown.append(f"{name} {'|'.join(words)}: {word}{'' if word in words else ' !'}")
    head = "FAIL" if outcome.disagreeing else "ok  "
    listed = "; ".join(shown)
    return f"{head} {outcome.fault:<20} {outcome.engine:<21} {listed}{'; ' * bool(listed)}{quiet} as sound"
