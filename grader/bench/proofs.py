"""Proof of the bench: every case can be solved, and ways of work earn what they are worth."""

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from random import Random

from grader.bench import cases, session, trainees
from grader.bench.atoms import KMILES, Atom
from grader.bench.cases import Case
from grader.bench.likelihood import complaints_of, table
from grader.bench.marks import PROOF, Marks, mark
from grader.vehicle.faults import MID, SOUND, THIRD
from grader.vehicle.spec import vehicle

CONSTANT_LIMIT, COPY_LIMIT, CAREFUL_LEAST = 10.0, 15.0, 85.0  # marks, on the average; of the best road, mean of all
BEST_LEAST = 93.0
BELOW_SHARE = 0.02  # of careful roads that may end below, where chance hid the fault three times running
_BEST = trainees.STRATEGIES["best"].title
_AT_MOST = {
    trainees.STRATEGIES["parts"].title: 30.0,
    trainees.STRATEGIES["named"].title: 5.0,
    "another's log": COPY_LIMIT,
    "constant answers": CONSTANT_LIMIT,
}
ATTEMPTS = 3  # to solve a case: a look may miss twice


@dataclass(frozen=True, slots=True)
class Solved:
    """The best road on one car: its marks, whether what is wrong was proved, and whether the owner came back."""

    case: Case
    marks: Marks
    came_back: bool

    @property
    def is_fit(self) -> bool:
        """True if the road ends in the whole proof and no comeback."""
        return self.marks.proof >= PROOF - 1e-9 and not self.came_back and self.marks.named_share > 0.5


def case_with(engine: str, atom: Atom, attempt: int = 0) -> Case | None:
    """The case of one possibility on an engine, all complaints told; None if its owner never complains.

    Every attempt has a scatter of its own.
    """
    seed = hashlib.sha256(f"{engine} {atom.key} {attempt}".encode()).hexdigest()[:16]
    for kmiles in KMILES:
        words = complaints_of(engine, atom, kmiles)
        if words:
            return Case(engine, 4 if len(atom.faults) > 1 else 2, atom, THIRD, kmiles, words, seed)
    return None


def solved(engine: str, atom: Atom) -> Solved | None:
    """The best road on one possibility; where chance hid what there is to see, on the same car another day."""
    row = None
    for attempt in range(ATTEMPTS):
        case = case_with(engine, atom, attempt)
        if case is None:
            return None
        row = solve(case)
        if row.is_fit:
            break
    return row


def solve_all(
    engines: Sequence[str], severities: Sequence[str] = (MID,), step: Callable[[], None] = lambda: None
) -> Iterator[Solved | tuple[Atom, str]]:
    """The best road on every fault, severity and pair of some engines.

    Yields
    ------
    Solved, or (atom, engine) where the owner never complains.
    """
    for engine in engines:
        vehicle(engine)
        for atom in wanted(engine, severities):
            row = solved(engine, atom)
            yield (atom, engine) if row is None else row
            step()


def wanted(engine: str, severities: Sequence[str]) -> list[Atom]:
    """Every possibility of an engine in some severities."""
    return [atom for atom in table(engine).atoms if atom.severity in severities and SOUND not in atom.faults]


def solve(case: Case) -> Solved:
    """The best road on a case, and its marks."""
    log = trainees.best_road(case)
    return Solved(case, mark(case, log), bool(session.replay(case, log).came_back))


@dataclass(frozen=True, slots=True)
class Trial:
    """What a way of work earned on many cars: mean, least and most marks, how often it named what was there, how many.

    below: how many of them earned less than `CAREFUL_LEAST`.
    """

    title: str
    expected: float
    mean: float
    least: float
    most: float
    named: float
    tried: int
    below: int = 0


def trial(
    engines: Sequence[str], count: int, seed: int = 1, step: Callable[[], None] = lambda: None
) -> tuple[Trial, ...]:
    """Every way of work of `trainees.STRATEGIES`, constant answers and a copied log, on drawn cases.

    Parameters
    ----------
    engines : sequence of str
    count : int
        Cases for each engine, of levels 2 to 4.
    seed : int
    step : function
        Called after each case.
    """
    random = Random(seed)
    drawn = [
        cases.drawn(engine, 2 + number % 3, seed * 100_000 + number) for engine in engines for number in range(count)
    ]
    earned: dict[str, list[tuple[float, float]]] = {}
    logs: list[str] = []
    for case in drawn:
        for key, strategy in trainees.STRATEGIES.items():
            log = strategy.road(case, random)
            _add(earned, key, mark(case, log))
            if key == "best":
                logs.append(log)
        for group in ("sound", "plugs", "points", "lead"):
            log = session.written(constant(group))
            _add(earned, "constant answers", mark(case, log))
        step()
    for number, case in enumerate(drawn * (len(drawn) > 1)):
        other = random.choice([n for n in range(len(drawn)) if n != number])
        _add(earned, "copied", mark(case, logs[other]))
    titles = {key: (strategy.title, strategy.expected) for key, strategy in trainees.STRATEGIES.items()}
    rows = []
    for key, marks in earned.items():
        totals = [total for total, _ in marks]
        title, expected = titles.get(key, (key if key != "copied" else "another's log", _limit(key)))
        named = sum(share > 0.5 for _, share in marks) / len(marks)
        rows.append(
            Trial(
                title,
                expected,
                sum(totals) / len(totals),
                min(totals),
                max(totals),
                named,
                len(totals),
                sum(total < CAREFUL_LEAST for total in totals),
            )
        )
    return tuple(rows)


def constant(group: str) -> list[dict]:
    """A log that is the same whatever the car: one look, a name, the hand-over with everything filled in."""
    return [
        session.test("bonnet"),
        session.test("road"),
        session.name(group),
        session.hand_over([group], proved=["bonnet", "road"], compared="road", left="Nothing else was found."),
    ]


def _limit(key: str) -> float:
    return COPY_LIMIT if key == "copied" else CONSTANT_LIMIT


def _add(earned: dict[str, list[tuple[float, float]]], key: str, marks: Marks) -> None:
    earned.setdefault(key, []).append((marks.total, marks.named_share))


def faults_of(solved: Sequence[Solved], trials: Sequence[Trial]) -> list[str]:
    """What is not as it should be, as sentences."""
    told = [
        f"{road.case.atom.key} on {road.case.engine}: the best road earns {road.marks.total:.0f}, "
        f"proof {road.marks.proof:.0f} of {PROOF:.0f}{', and the owner comes back' if road.came_back else ''}."
        for road in solved
        if not road.is_fit
    ]
    for row in trials:
        slack = 1.0 + 3.0 / row.tried**0.5  # few cases say little
        if row.title in _AT_MOST and row.mean > _AT_MOST[row.title] * slack:
            told.append(f"{row.title} earns {row.mean:.1f} on the average; {_AT_MOST[row.title]:.0f} is the limit.")
        if row.title == _BEST and row.mean < BEST_LEAST / slack**0.1:
            told.append(f"{row.title} earns {row.mean:.1f} on the average; {BEST_LEAST:.0f} is the least.")
        if row.title == _BEST and row.below > 1 + BELOW_SHARE * row.tried:
            told.append(f"{row.title}: {row.below} of {row.tried} cars earn less than {CAREFUL_LEAST:.0f}.")
    return told


def lines(solved: Sequence[Solved], silent: Sequence[tuple[Atom, str]], trials: Sequence[Trial]) -> Iterator[str]:
    """The printed proof."""
    for road in solved:
        yield (
            f"{'ok  ' if road.is_fit else 'FAIL'} {road.case.atom.key:<34} {road.case.engine:<21} "
            f"marks {road.marks.total:5.1f}  proof {road.marks.proof:4.1f}  {'came back' if road.came_back else 'stays away'}"
        )
    for atom, engine in silent:
        yield f"--   {atom.key:<34} {engine:<21} its owner never complains: not drawn"
    if solved:
        marks = [road.marks.total for road in solved]
        yield (
            f"{len(solved)} cases on {len({road.case.engine for road in solved})} engines, best road: mean "
            f"{sum(marks) / len(marks):.1f}, least {min(marks):.1f}, "
            f"{sum(road.is_fit for road in solved)} end in proof and without a comeback."
        )
    for row in trials:
        yield (
            f"{row.title:<22} mean {row.mean:5.1f} (expected or limit {row.expected:4.0f})  least {row.least:5.1f}  "
            f"most {row.most:5.1f}  named right {row.named:4.0%}"
            + (f"  below {CAREFUL_LEAST:.0f}: {row.below} of {row.tried}" if row.title == _BEST else "")
        )
