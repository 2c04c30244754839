"""The troubleshooting chart of a complaint on an engine: the best plan, drawn up once for everybody.

sign -> possible causes -> next cheapest telling test. It is the plan itself, so that it cannot say otherwise.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from grader.bench import plan as planning
from grader.bench.debrief import test_title
from grader.bench.instruments import phrase
from grader.bench.likelihood import FLOOR, idles, readable, table
from grader.bench.owner import complaint_words
from grader.bench.signs import UNREADABLE, examined_sound_word
from grader.errors import Unknown

KMILES = 8.0  # thousand miles on the plugs for which charts are drawn up
_NOT_RUNNING = ("no_start", "dies_on_release")


@dataclass(frozen=True, slots=True)
class Branch:
    """One result of a test: in words, its share, and what comes next."""

    result: str
    share: float
    then: "Node"


@dataclass(frozen=True, slots=True)
class Node:
    """One place in a chart.

    causes: what is possible here with its share of this place. test: key of the next test, empty
    at an end; title: in words; minutes: of the test, a look's over its chance to see. branches: by result.
    """

    causes: tuple[tuple[str, float], ...]
    test: str = ""
    title: str = ""
    minutes: float = 0.0
    branches: tuple[Branch, ...] = ()


@dataclass(frozen=True, slots=True)
class Chart:
    """The chart of a complaint on an engine. held: share of all such cars that it covers. minutes: expected to the end."""

    engine: str
    complaint: str
    words: str
    held: float
    minutes: float
    root: Node


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a chart as it is printed.

    test, minutes: as in `Node`. branches: each result with the line to go on with, from 1, or 0 at an
    end, and the causes that are left there, the likeliest first.
    """

    test: str
    minutes: float
    branches: tuple[tuple[str, int, tuple[tuple[str, float], ...]], ...]


def rows(drawn: Chart) -> tuple[Row, ...]:
    """A chart as numbered lines, those of fewer tests first; none where nothing is left to be tested."""
    waiting, numbered, last = [drawn.root] if drawn.root.test else [], [], 1
    while waiting:
        node = waiting.pop(0)
        branches = []
        for branch in node.branches:
            if branch.then.test:
                waiting.append(branch.then)
                last += 1
            branches.append((branch.result, last if branch.then.test else 0, branch.then.causes))
        numbered.append(Row(node.title, node.minutes, tuple(branches)))
    return tuple(numbered)


@dataclass(frozen=True, slots=True)
class Place:
    """One place in a chart with everything that could be done there.

    readings: what was read on the way, as (test, result) in words. causes: as in `Node`. tests: each
    test that is left as (key, title, minutes, sets it leaves, expected minutes to the end with it), the best first.
    """

    readings: tuple[tuple[str, str], ...]
    causes: tuple[tuple[str, float], ...]
    tests: tuple[tuple[str, str, float, int, float], ...]


@cache
def places(engine: str, complaint: str, most: int = planning.HINT_FAULTS) -> tuple[Place, ...]:
    """Every place of a chart where a test is wanted, the first one first; raises as `chart`."""
    weights, plan = _planned(engine, complaint, most)
    rows = []

    def walk(mask: int, readings: tuple[tuple[str, str], ...], taken: tuple[str, ...]) -> None:
        best = plan.best_of(mask)
        if best == "stop":
            return
        total = float(weights[plan.places(mask)].sum())
        causes = tuple((title, share / total) for title, share in _causes(engine, weights, plan.places(mask)))
        tests = [
            (key, test_title(key), plan.minutes[key], len(plan.parts_of(mask, key)), plan.cost_at(mask, key))
            for key in plan.minutes
            if key not in taken
        ]
        tests.sort(key=lambda test: (test[0] != best, test[4]))
        rows.append(Place(readings, causes, tuple(tests)))
        for part in plan.parts_of(mask, best):
            read = (test_title(best), _result(engine, best, plan.places(part)))
            walk(part, (*readings, read), (*taken, best))

    walk(plan.everything, (), ())
    return tuple(rows)


@cache
def chart(engine: str, complaint: str, most: int = planning.HINT_FAULTS) -> Chart:
    """The chart of a complaint.

    Parameters
    ----------
    engine : str
    complaint : str
        Key of datasets/complaints.csv.
    most : int
        How many of the likeliest faults it covers.

    Raises
    ------
    Unknown
        No such engine or complaint.
    """
    weights, plan = _planned(engine, complaint, most)
    return Chart(
        engine=engine,
        complaint=complaint,
        words=complaint_words()[complaint],
        held=plan.held,
        minutes=plan.value,
        root=_node(engine, weights, plan, plan.everything),
    )


@cache
def _planned(engine: str, complaint: str, most: int) -> tuple[NDArray[np.float64], planning.Plan]:
    if complaint not in complaint_words():
        raise Unknown(f"No complaint {complaint!r}; see datasets/complaints.csv.")
    tables = table(engine)
    true = tables.complaints[KMILES][:, list(complaint_words()).index(complaint)]
    runs = idles(engine, KMILES) != (complaint in _NOT_RUNNING)
    weights = planning.commonness(engine, 1) * np.where(true, 1.0, FLOOR) * np.where(runs, 1.0, FLOOR)
    return weights, planning.Plan(engine, KMILES, weights / weights.sum(), most=most)


def _node(engine: str, weights: NDArray[np.float64], plan: planning.Plan, mask: int) -> Node:
    places = plan.places(mask)
    total = float(weights[places].sum())
    possible = tuple((title, share / total) for title, share in _causes(engine, weights, places))
    test = plan.best_of(mask)
    if test == "stop":
        return Node(possible)
    branches = []
    for part in plan.parts_of(mask, test):
        left = plan.places(part)
        share = float(weights[left].sum()) / total
        branches.append(Branch(_result(engine, test, left), share, _node(engine, weights, plan, part)))
    branches.sort(key=lambda branch: -branch.share)
    return Node(possible, test, test_title(test), plan.minutes[test], tuple(branches))


def _causes(engine: str, weights: NDArray[np.float64], places: list[int]) -> list[tuple[str, float]]:
    shares: dict[str, float] = {}
    for place in places:
        title = table(engine).atoms[place].title
        shares[title] = shares.get(title, 0.0) + float(weights[place])
    return sorted(shares.items(), key=lambda row: (-row[1], row[0]))


def _result(engine: str, test: str, places: list[int]) -> str:
    """The result of a test that leaves some atoms, in words: what is out of limits, or that all is in them."""
    if test.startswith("swap:"):
        cured = planning.cured_share(engine, KMILES, test.partition(":")[2])[places[0]]
        return "the complaint is gone" if cured else "the complaint is still there"
    tables, words, unread = table(engine), [], []
    for sign in readable():
        if sign.instrument != test:
            continue
        word = tables.words[sign.name][tables.likeliest(KMILES, sign.name)[places[0]]]
        if word == examined_sound_word(engine, sign.name):
            continue
        (unread if word == UNREADABLE else words).append(phrase(sign.name, word))
    return "; ".join([*words, *unread]) or "all in limits"
