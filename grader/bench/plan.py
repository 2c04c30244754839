"""What may still be wrong, and which test tells most for its minutes.

Belief weighs every atom by what the owner said and what was read. A plan looks ahead over the
likeliest faults: each atom is taken to give its likeliest result, a look costs its minutes over
its chance to see; stopping costs what a wrong repair would, times the chance that it is wrong.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from grader.bench import actions as acting
from grader.bench import instruments as reading
from grader.bench.atoms import PAIRS_SHARE, SOUND_GROUP, SOUND_SHARE, Atom, common, group_of
from grader.bench.likelihood import FLOOR, NEW_PLUGS, idles, readable, table
from grader.bench.owner import FALSE, SAID, complaint_words
from grader.bench.session import ACTION, DONE, READ, TEST, Bench, Step
from grader.vehicle.faults import fault, faults
from grader.vehicle.state import sound_car

HINT_FAULTS, MARK_FAULTS = 14, 18  # likeliest faults that a plan looks at: to advise, and to mark
MOST_ALIKE = 26  # sets of causes that no test tells apart, the likeliest: what is beyond weighs little and takes long
WRONG_MINUTES = 120.0  # what handing over the wrong repair costs, beside the repair
TRIAL_MINUTES = 15.0  # to find that a part which was fitted has cured nothing
DISTURBED = 0.3  # chance that a reading after a change is anything at all: settings moved, parts disturbed
MISHAP = 0.02  # chance that an owner comes back with something that the work itself left behind
LISTED = 0.9  # who takes the tests in the order of the list stops when one answer is so likely
_LEAST_WEIGHT = 1e-4
_NEW_PLUG_ACTIONS = ("fit_plugs", "clean_plugs")


# What may still be wrong.


@cache
def commonness(engine: str, level: int) -> NDArray[np.float64]:
    """Weight of every atom before the owner has spoken, shape (atoms,)."""
    every = table(engine).atoms
    weights = np.array([common(atom) for atom in every])
    pairs = np.array([len(atom.faults) > 1 for atom in every])
    sound = np.array([atom.groups == {SOUND_GROUP} for atom in every])
    if level < 4:
        return np.where(pairs, 0.0, weights) / weights[~pairs].sum()
    shares = ((pairs, PAIRS_SHARE), (sound, SOUND_SHARE), (~pairs & ~sound, 1 - PAIRS_SHARE - SOUND_SHARE))
    for mask, share in shares:
        weights[mask] *= share / weights[mask].sum()
    return weights


def said_share(true: NDArray[np.bool_], words: Iterable[str]) -> NDArray[np.float64]:
    """Probability that an owner says just these words, for each row of true complaints, shape (atoms,)."""
    owner_says = np.array([key in set(words) for key in complaint_words()])
    each = np.where(true, np.where(owner_says, SAID, 1 - SAID), np.where(owner_says, FALSE, 1 - FALSE))
    count = true.sum(axis=1)
    # Who would have named no true complaint names one of them all the same.
    false_only = np.where(true, 1 - SAID, np.where(owner_says, FALSE, 1 - FALSE)).prod(axis=1)
    lone = (true & owner_says).sum(axis=1) == 1
    silent = (count > 0) & ~(true & owner_says).any(axis=1)
    return np.where(silent, 0.0, each.prod(axis=1) + np.where(lone, false_only / np.maximum(count, 1), 0.0))


def prior(bench: Bench) -> NDArray[np.float64]:
    """Belief before the first test, shape (atoms,): how common, what the owner says, and whether it was driven in."""
    case = bench.case
    tables = table(case.engine)
    weights = commonness(case.engine, case.level) * said_share(tables.complaints[case.kmiles], case.words)
    was_driven_in = idles(case.engine, case.kmiles) == bench.drove_in
    return _normal(weights * np.where(was_driven_in, 1.0, FLOOR))


def _normal(weights: NDArray[np.float64]) -> NDArray[np.float64]:
    return weights / weights.sum()


def belief(bench: Bench) -> NDArray[np.float64]:
    """Belief after every reading of a session, shape (atoms,)."""
    return beliefs(bench)[-1]


def beliefs(bench: Bench) -> list[NDArray[np.float64]]:
    """Belief before the first act and after each, by Bayes; every reading is evidence of the car as it then was."""
    weights, done = prior(bench), []
    course = [weights]
    for step in bench.steps:
        if step.kind == ACTION and step.outcome == DONE:
            done.append(step.act["what"])
        if step.kind == TEST and step.outcome == READ:
            weights = _normal(weights * _evidence(bench, step, tuple(done)))
        if step.came_back:
            weights = _normal(weights * np.where(_left_over(bench, step, done), 1.0, MISHAP))
        course.append(weights)
    return course


def _evidence(bench: Bench, step: Step, done: tuple[str, ...]) -> NDArray[np.float64]:
    tables = table(bench.case.engine)
    if step.instrument == reading.SWAP:
        part = step.act["part"]
        cured = cured_share(bench.case.engine, bench.case.kmiles, part)
        return np.maximum(cured if step.results[part] == "cured" else 1.0 - cured, FLOOR)
    if step.instrument == reading.ASK:
        words = [word for word in complaint_words() if word in step.results]
        return np.maximum(said_share(tables.complaints[_plugs(bench.case.kmiles, done)], words), FLOOR**2)
    rows, kmiles = rows_after(bench.case.engine, done), _plugs(bench.case.kmiles, done)
    likely = np.ones(len(tables.atoms))
    for sign, word in step.results.items():
        each = tables.of(kmiles, sign, word)[rows]
        likely *= (1 - DISTURBED) * each + DISTURBED / len(tables.words[sign]) if done else each
    return likely


def _left_over(bench: Bench, step: Step, done: Sequence[str]) -> NDArray[np.bool_]:
    """True for the atoms of which a hand-over left something in the car for its owner to come back with, shape (atoms,)."""
    goes_on = SOUND_GROUP in step.act["found"]
    return np.array(
        [
            any(not mended_by(key, done) and not (goes_on and group_of(key) == SOUND_GROUP) for key in atom.faults)
            for atom in table(bench.case.engine).atoms
        ]
    )


def _plugs(kmiles: float, done: Sequence[str]) -> float:
    return NEW_PLUGS if any(what in _NEW_PLUG_ACTIONS for what in done) else kmiles


@cache
def rows_after(engine: str, done: tuple[str, ...]) -> NDArray[np.int64]:
    """For every atom the row of the car that is left after some actions, shape (atoms,)."""
    every = table(engine).atoms
    places = {(atom.faults, atom.severity): number for number, atom in enumerate(every)}
    sound = next(number for number, atom in enumerate(every) if atom.faults == ("none",))
    rows = []
    for number, atom in enumerate(every):
        left = tuple(key for key in atom.faults if not mended_by(key, done))
        rows.append(number if left == atom.faults else places.get((left, atom.severity), sound) if left else sound)
    return np.array(rows)


def repairs(key: str) -> tuple[tuple[str, ...], ...]:
    """The ways to mend a fault, each as actions in order; () where another hand mends it."""
    if group_of(key) == SOUND_GROUP:
        return ()
    return tuple(tuple(way.split()) for way in fault(key).actions.split("|"))


def mended_by(key: str, done: Sequence[str]) -> bool:
    """True if the action that mends a fault is among those done; the others only set what it disturbed."""
    return any(way[0] in done for way in repairs(key))


@cache
def repair_minutes(engine: str, group: str) -> float:
    """Minutes and parts of the cheapest repair of a group."""
    car = sound_car(engine)
    if group == SOUND_GROUP:
        return acting.action(SOUND_GROUP).minutes_on(car)
    costs = [
        sum(acting.action(what).minutes_on(car) + acting.action(what).parts_on(car) for what in way)
        for key in faults()
        if group_of(key) == group
        for way in repairs(key)
    ]
    return min(costs)


@cache
def cured_share(engine: str, kmiles: float, part: str) -> NDArray[np.float64]:
    """1 where a known-good part takes the complaint away, shape (atoms,); new plugs hide much for a while."""
    tables = table(engine)
    again = np.array([not key.endswith("_again") for key in complaint_words()])
    plugs = NEW_PLUGS if part in _NEW_PLUG_ACTIONS else kmiles
    rows = rows_after(engine, (part,))
    return np.where(tables.complaints[plugs][rows][:, again].any(axis=1), 0.0, 1.0)


def named_share(atoms: Sequence[Atom], weights: NDArray[np.float64], named: Iterable[str]) -> float:
    """How right a name is: the overlap of the groups named with those of each atom, weighed."""
    named = set(named)
    overlaps = [len(named & atom.groups) / len(named | atom.groups) for atom in atoms]
    return float(np.dot(weights, overlaps))


@cache
def _overlaps(engine: str) -> NDArray[np.float64]:
    """How right every name is on every atom's car, shape (names, atoms)."""
    every = [atom.groups for atom in table(engine).atoms]
    return np.array([[len(named & true) / len(named | true) for true in every] for named in dict.fromkeys(every)])


def best_share(engine: str, weights: NDArray[np.float64]) -> float:
    """How right the best name would be."""
    return float((_overlaps(engine) @ weights).max())


# What to do next.


@cache
def test_minutes(engine: str) -> Mapping[str, float]:
    """Minutes of every test that a plan knows over its chance to see; trials of parts as "swap:" and the action."""
    car = sound_car(engine)
    costs = {}
    for key, tool in reading.instruments().items():
        if tool.signs:
            costs[key] = tool.minutes_on(car) / tool.hit
    parts = {way[0] for key in faults() if "swap" in fault(key).proof_by for way in repairs(key)}
    for part in sorted(parts):
        costs[f"swap:{part}"] = (
            reading.instrument(reading.SWAP).minutes_on(car)
            + acting.action(part).minutes_on(car)
            + reading.DRIVEN_MINUTES
        )
    return costs


@cache
def _results(engine: str, kmiles: float, done: tuple[str, ...]) -> Mapping[str, NDArray[np.int64]]:
    """For every test the likeliest result of every atom as a number, shape (atoms,)."""
    tables = table(engine)
    rows, plugs = rows_after(engine, done), _plugs(kmiles, done)
    by_tool: dict[str, list[NDArray[np.int64]]] = {}
    for sign in readable():
        by_tool.setdefault(sign.instrument, []).append(tables.likeliest(plugs, sign.name)[rows])
    results = {}
    for test in test_minutes(engine):
        if test.startswith("swap:"):
            results[test] = cured_share(engine, kmiles, test.partition(":")[2])[rows].astype(int)
        else:
            results[test] = np.unique(np.stack(by_tool[test], axis=1), axis=0, return_inverse=True)[1].ravel()
    return results


@dataclass(frozen=True, slots=True)
class Choice:
    """A test as the plan sees it: minutes that the whole road takes with it, and without what it may cost to err.

    key: instrument, "swap:" and an action, or "stop". cost: Q, expected minutes to the end.
    """

    key: str
    cost: float


class Search:
    """The cheapest road through tests that part a set of possibilities, exact.

    Parameters
    ----------
    weights : list of float
        Of the possibilities, with sum 1; a set of them is a whole number, bit k for number k.
    wrong : list of (name, set, minutes)
        Answers that can be named, the possibilities that each is right for, and what a wrong one costs.
    splits : list of (minutes, test, sets)
        What each result of a test leaves.
    """

    def __init__(
        self,
        weights: list[float],
        wrong: list[tuple[frozenset[str], int, float]],
        splits: list[tuple[float, str, tuple[int, ...]]],
    ):
        self._weights, self._wrong, self._splits = weights, wrong, splits
        self._all = (1 << len(weights)) - 1
        self._cheapest = min((minutes for minutes, _, _ in splits), default=0.0)
        self._sums = self._byte_sums()
        self._known: dict[int, float] = {}  # what was found of a set: its cost,
        self._bounds: dict[int, float] = {}  # the least that it can cost,
        self._stops: dict[int, float] = {}  # and that of naming the best answer
        self._parting = self._cheapest_of_each()

    def _cheapest_of_each(self) -> list[tuple[float, tuple[int, ...]]]:
        """Minutes and sets of the tests that part anything; of those that part it alike the cheapest."""
        parting: dict[frozenset[int], tuple[float, tuple[int, ...]]] = {}
        for minutes, _, masks in self._splits:
            alike = frozenset(masks)
            if len(masks) > 1 and (alike not in parting or minutes < parting[alike][0]):
                parting[alike] = (minutes, masks)
        return sorted(parting.values())

    def _byte_sums(self) -> list[list[float]]:
        """Weight of every pattern of eight neighbouring places."""
        sums = []
        for start in range(0, len(self._weights), 8):
            part = self._weights[start : start + 8]
            block = [0.0]
            for weight in part:
                block += [known + weight for known in block]
            sums.append(block)
        return sums

    def _weight(self, mask: int) -> float:
        total = 0.0
        for block in self._sums:
            total += block[mask & 255] if mask & 255 else 0.0
            mask >>= 8
        return total

    def _stop(self, mask: int, weight: float) -> float:
        """Weighed cost of naming the best answer now; nothing where only one is left."""
        known = self._stops.get(mask)
        if known is None:
            self._stops[mask] = known = min(
                max(0.0, weight - self._weight(mask & group)) * minutes
                for _, group, minutes in self._wrong
                if mask & group
            )
        return known

    def _cost(self, mask: int) -> float:
        """Weighed minutes to the end from a set of possibilities."""
        known = self._known.get(mask)
        if known is not None:
            return known
        weight = self._weight(mask)
        best = self._stop(mask, weight)
        if best > 1e-12:
            for bound, minutes, parts in self._ways(mask, weight, best):
                if bound >= best:
                    break
                best = min(best, self._try(minutes * weight, parts, best))
        self._known[mask] = self._bounds[mask] = best
        return best

    def _ways(self, mask: int, weight: float, best: float) -> list[tuple[float, float, list[int]]]:
        """Tests that part a set, with a least cost of each, the least first."""
        ways = []
        for minutes, masks in self._parting:
            spent = minutes * weight
            if spent >= best:
                break  # the next ones take longer still
            parts = [left for part in masks if (left := mask & part)]
            if len(parts) > 1:
                least = spent + sum(map(self._least, parts))
                if least < best:
                    ways.append((least, minutes, parts))
        ways.sort(key=lambda way: way[0])
        return ways

    def _least(self, mask: int) -> float:
        known = self._bounds.get(mask)
        if known is None:
            weight = self._weight(mask)
            self._bounds[mask] = known = min(self._stop(mask, weight), self._cheapest * weight)
        return known

    def _try(self, spent: float, parts: list[int], best: float) -> float:
        parts = sorted(parts, key=int.bit_count)
        left = sum(map(self._least, parts))
        for part in parts:
            left -= self._least(part)
            spent += self._cost(part)
            if spent + left >= best:
                return best
        return spent

    @property
    def value(self) -> float:
        """V: expected minutes to the end on the best road."""
        return self._cost(self._all)

    @property
    def stop(self) -> Choice:
        """What naming the best answer now would cost."""
        return Choice("stop", self._stop(self._all, self._weight(self._all)))

    @property
    def best_named(self) -> frozenset[str]:
        """The groups that would be named now."""
        weight = self._weight(self._all)
        return min(self._wrong, key=lambda row: (weight - self._weight(row[1])) * row[2])[0]

    def cost(self, test: str, minutes_again: float = 0.0) -> float:
        """Q: expected minutes to the end if this test comes next; one that the search does not know adds its minutes."""
        for minutes, key, masks in self._splits:
            if key == test:
                return minutes + sum(self._cost(part) for part in masks)
        return minutes_again + self.value

    def cost_at(self, mask: int, test: str) -> float:
        """Expected minutes to the end from a set of possibilities, if this test comes next."""
        minutes = next(minutes for minutes, key, _ in self._splits if key == test)
        weight = self._weight(mask)
        return minutes + sum(self._cost(part) for part in self.parts_of(mask, test)) / weight

    def choices(self) -> list[Choice]:
        """Every test that parts the shortlist, and stopping, the cheapest road first."""
        tests = [Choice(key, self.cost(key)) for _, key, masks in self._splits if len(masks) > 1]
        return sorted([*tests, self.stop], key=lambda choice: (choice.cost, choice.key))

    def best(self) -> Choice:
        """The first step of the best road."""
        return Choice(self.best_of(self._all), self.value)

    @property
    def everything(self) -> int:
        """The whole shortlist as a set."""
        return self._all

    def parts_of(self, mask: int, test: str) -> list[int]:
        """The sets that the results of a test leave of a set."""
        return next([mask & part for part in masks if mask & part] for _, key, masks in self._splits if key == test)

    def best_of(self, mask: int) -> str:
        """The first test of the best road from a set, or "stop"."""
        weight, cost = self._weight(mask), self._cost(mask)
        if self._stop(mask, weight) <= cost + 1e-9:
            return "stop"
        for minutes, key, masks in sorted(self._splits):
            parts = [mask & part for part in masks if mask & part]
            if len(parts) > 1 and minutes * weight + sum(map(self._cost, parts)) <= cost + 1e-9:
                return key
        return "stop"

    def listed(self) -> float:
        """Expected minutes of who takes the tests in the order of the list until one answer is likely enough."""
        tests = self._splits

        def walk(mask: int, number: int) -> float:
            weight = self._weight(mask)
            sure = max(self._weight(mask & group) for _, group, _ in self._wrong)
            if sure >= LISTED * weight or number == len(tests):
                return self._stop(mask, weight)
            minutes, _, masks = tests[number]
            return minutes * weight + sum(walk(mask & part, number + 1) for part in masks if mask & part)

        return walk(self._all, 0)


def _wrong_minutes(engine: str, named: frozenset[str]) -> float:
    return WRONG_MINUTES + sum(repair_minutes(engine, group) for group in named)


class Plan(Search):
    """The exact plan over a shortlist.

    Parameters
    ----------
    engine : str
    kmiles : float
    weights : array, shape (atoms,)
        Belief.
    done : tuple of str
        Actions so far.
    taken : set of str
        Tests already read on the car as it stands: they are out.
    most : int
        How many of the likeliest faults are looked at.
    """

    def __init__(
        self,
        engine: str,
        kmiles: float,
        weights: NDArray[np.float64],
        done: tuple[str, ...] = (),
        taken: Iterable[str] = (),
        most: int = HINT_FAULTS,
    ):
        every = table(engine).atoms
        by_fault: dict[tuple[str, ...], float] = {}
        for atom, weight in zip(every, weights, strict=True):
            by_fault[atom.faults] = by_fault.get(atom.faults, 0.0) + float(weight)
        self.shortlist = sorted(by_fault, key=lambda key: -by_fault[key])[:most]
        short = set(self.shortlist)
        places = [n for n, atom in enumerate(every) if atom.faults in short and weights[n] > _LEAST_WEIGHT]
        self.held = float(weights[places].sum())
        results = _results(engine, kmiles, done)
        self.minutes = test_minutes(engine)
        taken = set(taken)
        open_tests = [test for test in self.minutes if test not in taken]
        codes = np.stack([results[test] for test in self.minutes], axis=1)
        open_columns = [n for n, test in enumerate(self.minutes) if test in set(open_tests)]
        merged: dict[tuple, float] = {}
        members: dict[tuple, list[int]] = {}
        for n in places:
            like = (every[n].groups, codes[n, open_columns].tobytes())
            merged[like] = merged.get(like, 0.0) + float(weights[n]) / self.held
            members.setdefault(like, []).append(n)
        order = sorted(merged, key=lambda like: -merged[like])[:MOST_ALIKE]
        kept = sum(merged[like] for like in order)
        self.held *= kept
        self.members = [members[like] for like in order]
        groups = [like[0] for like in order]
        wrong = [
            (named, sum(1 << k for k, group in enumerate(groups) if group == named), _wrong_minutes(engine, named))
            for named in dict.fromkeys(groups)
        ]
        splits = []
        for test in open_tests:
            column = codes[:, list(self.minutes).index(test)]
            masks: dict[int, int] = {}
            for k, like in enumerate(order):
                code = int(column[members[like][0]])
                masks[code] = masks.get(code, 0) | 1 << k
            splits.append((self.minutes[test], test, tuple(masks.values())))
        super().__init__([merged[like] / kept for like in order], wrong, splits)

    def places(self, mask: int) -> list[int]:
        """A set as places among all atoms."""
        return [n for k, places in enumerate(self.members) if mask >> k & 1 for n in places]

    def outcomes(self, test: str) -> list[list[int]]:
        """The atoms left by each result of a test, the likeliest result first, as their places among all atoms."""
        for _, key, masks in self._splits:
            if key == test:
                ordered = sorted(masks, key=lambda mask: -self._weight(mask))
                return [self.places(mask) for mask in ordered]
        return []


def done_so_far(bench: Bench, place: int | None = None) -> tuple[str, ...]:
    """Actions of a session in order: all of them, or those before a step."""
    return tuple(step.act["what"] for step in bench.steps[:place] if step.kind == ACTION and step.outcome == DONE)


def test_key(step: Step) -> str:
    """A test of a session as plans name it."""
    return f"swap:{step.act['part']}" if step.instrument == reading.SWAP else step.instrument


def taken_now(bench: Bench, place: int | None = None) -> set[str]:
    """Tests that were read on the car as it stands: at the end, or before a step."""
    changes = len(done_so_far(bench, place))
    return {test_key(step) for step in bench.steps[:place] if step.outcome == READ and step.car == changes}


def plan_of(
    bench: Bench, most: int = HINT_FAULTS, place: int | None = None, weights: NDArray[np.float64] | None = None
) -> Plan:
    """The plan from where a session stands, or stood before a step; `weights` are the belief there where it is known."""
    weights = beliefs(bench)[-1 if place is None else place] if weights is None else weights
    done, taken = done_so_far(bench, place), taken_now(bench, place)
    return Plan(bench.case.engine, bench.case.kmiles, weights, done, taken, most)
