"""How likely each result of each test is on each car that may stand there: solved cars, with the scatter of the tools.

The tables are computed once for each engine (`timing-mark check --bench --write`) and lie under datasets/likelihoods/, so that every machine marks alike.
Counts of 200 equally likely draws: of a figure its quantiles, of several figures a Latin
hypercube, so that one draw in 200 stands for each slice of the scatter.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from grader import paths
from grader.bench import atoms as possibilities
from grader.bench import instruments as reading
from grader.bench.atoms import KMILES, Atom, atoms, car_of
from grader.bench.owner import complaint_words
from grader.bench.signs import UNREADABLE, Examined, Sign, signs
from grader.errors import BadTable
from grader.vehicle.spec import vehicle

DRAWS = 200
FLOOR = 0.004  # no result is impossible: a mechanic misreads
NEW_PLUGS = 0.0
PLUGS = (NEW_PLUGS, *KMILES)  # thousand miles on the plugs for which there are tables
_HYPERCUBE_SEED = 12


@dataclass(frozen=True, eq=False)
class Likelihood:
    """Tables of one engine; rows of every array are the atoms, pairs of faults last.

    words: for each sign its words, the last one for what cannot be read. shares: (plugs, sign)
    to an array (atoms, words) of probabilities, not yet floored. complaints: plugs to an array (atoms,
    complaints) of True where the owner has something to say, in the order of datasets/complaints.csv.
    """

    engine: str
    atoms: tuple[Atom, ...]
    words: Mapping[str, tuple[str, ...]]
    shares: Mapping[tuple[float, str], NDArray[np.float64]]
    complaints: Mapping[float, NDArray[np.bool_]]

    def of(self, kmiles: float, sign: str, word: str) -> NDArray[np.float64]:
        """Probability of one result on every atom's car, shape (atoms,), at least `FLOOR`."""
        return np.maximum(self.shares[kmiles, sign][:, self.words[sign].index(word)], FLOOR)

    def likeliest(self, kmiles: float, sign: str) -> NDArray[np.int64]:
        """Index of the likeliest word of a sign on every atom's car, shape (atoms,)."""
        return self.shares[kmiles, sign].argmax(axis=1)


def readable() -> tuple[Sign, ...]:
    """Every sign that an instrument reads, in the order of the table."""
    return tuple(sign for sign in signs().values() if sign.instrument)


def words_of(sign: Sign) -> tuple[str, ...]:
    """Every word a sign can have."""
    return (*sign.results, UNREADABLE)


@cache
def table(engine: str) -> Likelihood:
    """The tables of an engine as they are shipped.

    Raises
    ------
    Unknown
        No such vehicle.
    BadTable
        They are missing, or were made from other faults, signs or complaints.
    """
    vehicle(engine)
    path = _path(engine)
    try:
        with np.load(path, allow_pickle=False) as kept:
            counts, owner, names = kept["counts"], kept["complaints"], tuple(map(str, kept["names"]))
    except (OSError, ValueError, KeyError):
        raise BadTable(
            f"datasets/likelihoods/{path.name} is missing or damaged. Restore it from the project."
        ) from None
    every = atoms(engine, pairs=True)
    if names != _names(every) or counts.shape != (len(PLUGS), len(every), _width()):
        raise BadTable(
            f"datasets/likelihoods/{path.name} was made from other faults, signs or complaints. "
            "Make it anew with: timing-mark check --bench --write"
        )
    words, shares, start = {}, {}, 0
    for sign in readable():
        words[sign.name] = words_of(sign)
        for place, kmiles in enumerate(PLUGS):
            part = counts[place, :, start : start + len(words[sign.name])]
            shares[kmiles, sign.name] = part / np.float64(DRAWS)
        start += len(words[sign.name])
    return Likelihood(engine, every, words, shares, dict(zip(PLUGS, owner, strict=True)))


def _path(engine: str):
    return paths.datasets() / "likelihoods" / f"{engine}.npz"


def _names(every: tuple[Atom, ...]) -> tuple[str, ...]:
    read = (f"{sign.name} {' '.join(words_of(sign))}" for sign in readable())
    return (*(atom.key for atom in every), *read, *complaint_words())


def _width() -> int:
    return sum(len(words_of(sign)) for sign in readable())


def row(engine: str, atom: Atom, kmiles: float) -> NDArray[np.uint8]:
    """Counts of every word of every sign on one car, computed, shape (words of all signs,)."""
    x = Examined(car_of(engine, atom, kmiles))
    return np.concatenate([_counts(sign, x) for sign in readable()])


def complaints_row(engine: str, atom: Atom, kmiles: float) -> NDArray[np.bool_]:
    """What the owner of one car has to say, computed, shape (complaints,)."""
    true = possibilities.complaints_of(engine, atom, kmiles)
    return np.array([key in true for key in complaint_words()])


def idles(engine: str, kmiles: float) -> NDArray[np.bool_]:
    """True where the car of an atom keeps running, shape (atoms,)."""
    tables = table(engine)
    return tables.shares[kmiles, "vacuum"][:, tables.words["vacuum"].index(UNREADABLE)] < 0.5


def complaints_of(engine: str, atom: Atom, kmiles: float) -> tuple[str, ...]:
    """What is true of a car in its owner's eyes, from the tables."""
    tables = table(engine)
    true = tables.complaints[kmiles][tables.atoms.index(atom)]
    return tuple(key for key, is_true in zip(complaint_words(), true, strict=True) if is_true)


def write(engine: str, step: Callable[[], None] = lambda: None) -> None:
    """Compute the tables of an engine and put them where they are shipped from.

    Parameters
    ----------
    engine : str
    step : function
        Called after each atom.
    """
    every = atoms(engine, pairs=True)
    counts = np.zeros((len(PLUGS), len(every), _width()), dtype=np.uint8)
    owner = np.zeros((len(PLUGS), len(every), len(complaint_words())), dtype=bool)
    for number, atom in enumerate(every):
        for place, kmiles in enumerate(PLUGS):
            counts[place, number] = row(engine, atom, kmiles)
            owner[place, number] = complaints_row(engine, atom, kmiles)
        step()
    folder = paths.checkout() / "datasets" / "likelihoods"
    folder.mkdir(exist_ok=True)
    np.savez_compressed(folder / f"{engine}.npz", counts=counts, complaints=owner, names=np.array(_names(every)))


def _counts(sign: Sign, x: Examined) -> NDArray[np.uint8]:
    words = words_of(sign)
    hit = reading.instrument(sign.instrument).hit
    true = _shares(sign, x)
    quiet = {sign.results[0]: 1.0} if sign.is_look else None
    if hit < 1 and UNREADABLE not in true and not (sign.name == "plugs" and set(true) & set(reading.SEEN_BY_GAUGE)):
        missed = quiet if quiet is not None else _shares(sign, x.as_sound)
        true = {word: hit * true.get(word, 0.0) + (1 - hit) * missed.get(word, 0.0) for word in {*true, *missed}}
    exact = np.array([DRAWS * true.get(word, 0.0) for word in words])
    whole = np.floor(exact)
    for place in np.argsort(whole - exact, kind="stable")[: round(DRAWS - whole.sum())]:
        whole[place] += 1
    return whole.astype(np.uint8)


def _shares(sign: Sign, x: Examined) -> dict[str, float]:
    """Share of each word, nothing missed."""
    figures = sign.figures(x)
    if sign.word is None:
        return {figures: 1.0}
    if figures is None:
        return {UNREADABLE: 1.0}
    sds = np.array([sign.sds[min(index, len(sign.sds) - 1)] for index in range(len(figures))])
    sds = sds + sign.share * np.abs(figures)
    if np.isnan(figures).any() or not sds.any():
        return {sign.word(figures, x): 1.0}
    least = np.array([-np.inf if sign.may_be_negative(at) or value < 0 else 0.0 for at, value in enumerate(figures)])
    drawn = np.maximum(figures + sds * _scatter(len(figures)), least)
    if len(figures) == 1 and sign.word(drawn[0], x) == sign.word(drawn[-1], x):
        return {sign.word(figures, x): 1.0}  # words of one figure stand in the order of its limits
    shares: dict[str, float] = {}
    for read in drawn:
        word = sign.word(read, x)
        shares[word] = shares.get(word, 0.0) + 1.0 / DRAWS
    return shares


@cache
def _scatter(count: int) -> NDArray[np.float64]:
    """Standard normal draws, shape (DRAWS, count): each column holds every quantile once."""
    edges = np.linspace(0.0, 1.0, DRAWS + 1)
    quantiles = np.array([NormalDist().inv_cdf((low + high) / 2) for low, high in pairwise(edges)])
    if count == 1:
        return quantiles[:, None]
    random = np.random.default_rng(_HYPERCUBE_SEED)
    return np.stack([random.permutation(quantiles) for _ in range(count)], axis=1)
