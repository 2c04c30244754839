"""The cars on the bench: from one fault that shows plainly to two faults, or a sound ignition."""

from collections.abc import Mapping, Sequence
from types import SimpleNamespace
from typing import Any

from grader.bench import cases, session
from grader.bench.actions import action
from grader.bench.instruments import instrument
from grader.bench.part import Bench
from grader.bench.plan import repairs
from grader.exercise.model import Exercise, Line
from grader.exercise.spread import Pick
from grader.modules.diagnosis.table import ENGINES, MANY, title
from grader.vehicle.faults import fault

# Two neighbours in the lesson never share a family, so that what was just found is not found again.
_ODD = (cases.NO_START, cases.POINTS, cases.ADVANCE)
_EVEN = (cases.PRIMARY, cases.SECONDARY, cases.PLUGS)


def _first_or_third(level: int, parameters: Mapping[str, Any]) -> dict[str, Any]:
    return cases.drawn(parameters["engine"], level, parameters["number"], _ODD).plain


def _second(parameters: Mapping[str, Any]) -> dict[str, Any]:
    return cases.drawn(parameters["engine"], 2, parameters["number"], _EVEN).plain


def _fourth(parameters: Mapping[str, Any]) -> dict[str, Any]:
    """Two faults or a sound ignition for everybody: a single fault is passed over, and the next number taken."""
    number = parameters["number"]
    while True:
        case = cases.drawn(parameters["engine"], 4, number, (*_EVEN, cases.NOT_IGNITION))
        if len(case.atom.faults) > 1 or case.family == cases.NOT_IGNITION:
            return case.plain
        number += len(MANY.values)


def _proofs(key: str) -> str:
    """The ways to prove a fault, in words."""
    ways = (
        " and ".join(f"“{instrument(tool).title}”" for tool in way.split("&")) for way in fault(key).proof_by.split("|")
    )
    return ", or ".join(ways)


def _mended(key: str) -> str:
    """The ways to mend a fault, in words, or that it is not the ignition's."""
    ways = tuple(", then ".join(f"“{action(what).title}”" for what in way) for way in repairs(key))
    return ", or ".join(ways) or "somebody else: it is not the ignition"


def _truth(v: SimpleNamespace) -> tuple[Line, ...]:
    """What is wrong, what proves it and what mends it; how the own road was stands with the verdict."""
    case = cases.from_plain(v)
    lines = [Line(f"What is wrong: {' and '.join(session.truth_of(case))}.", "car")]
    for key in case.atom.faults:
        lines.append(Line(f"{fault(key).title}: proved by {_proofs(key)}.", "car"))
        lines.append(Line(f"{fault(key).title}: mended by {_mended(key)}.", "car"))
    return tuple(lines)


def _car(key: str, name: str, words: str, marks: int, fill, objectives: Sequence[str] = ()) -> Exercise:
    return Exercise(
        key=key,
        version=1,
        marking=1,
        title=name,
        text="{car} is brought to you: "
        + words
        + " Find what is wrong, prove it, mend it, verify it and hand the car over.",
        draw={"engine": Pick(ENGINES), "number": MANY},
        fill=fill,
        show=lambda v: {"car": title(v.engine)},
        parts=(
            Bench(
                key="car",
                prompt="The car on the bench",
                marks=marks,
                objectives=("G2", "G4", "G6", "G7", "G8", "G10", *objectives),
            ),
        ),
        route=_truth,
    )


FIRST = _car(
    "m06.first",
    "The first car",
    "one fault, and it shows plainly. The owner leaves nothing out.",
    10,
    lambda parameters: _first_or_third(1, parameters),
)
SECOND = _car("m06.second", "The second car", "one fault. The owner leaves something out.", 20, _second)
THIRD = _car(
    "m06.third",
    "The third car",
    "one fault, not always there. One word of the owner is wrong.",
    20,
    lambda parameters: _first_or_third(3, parameters),
)
FOURTH = _car(
    "m06.fourth",
    "The fourth car",
    "two faults, or an ignition that is sound.",
    20,
    _fourth,
    ("G9",),
)
