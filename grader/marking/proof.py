"""What every exercise must prove over many trainees, before anybody works on it.

The right answer and every slip lie apart; the right answer, rounded as asked, is
marked right; whoever takes a foreseen wrong route is told that slip; neither a
classmate's answer nor any one constant answer is right too often.
"""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from math import inf
from random import Random
from types import SimpleNamespace
from typing import Any

from grader.exercise import variant
from grader.exercise.model import Module, Numbers
from grader.exercise.part import GUESSED, Part
from grader.exercise.sheet import Answer, Sheet
from grader.exercise.truth import Truth
from grader.marking.compare import mark_part
from grader.marking.mark import mark_sheet
from grader.marking.verdict import CARRIED, RIGHT, SLIP, Earlier

KEY = bytes(range(32))  # fixed, so that a proof can be repeated
TERM = "proof"

FIXED_LIMIT = 0.25  # of a module's marks that orders may carry which are the same for most trainees
APART = 1.25  # right answer and slip, in sums of their tolerances
AT_WILL = 0.2  # of honest answers that lie anywhere in their tolerance: what follows from them must be right too
FEW = 5000  # below so many trainees three standard errors of a share are forgiven


@dataclass(slots=True)
class PartProof:
    """What was found out about one part; shares are 0 to 1."""

    path: str
    marks: int
    limit: float | None  # None: not limited by itself
    tolerance: tuple = (inf, 0.0)  # smallest and largest width
    slips: Counter = field(default_factory=Counter)  # trainees by slip for whom it was named
    nearest: float = inf
    copied: float = 0.0
    constant: float = 0.0
    faults: list = field(default_factory=list)


@dataclass(slots=True)
class ModuleProof:
    """The proof of a module: its parts, the marks of a copied sheet, and every fault as a sentence."""

    module: str
    trainees: int
    parts: dict
    copied_sheet: float = 0.0  # mean marks that a classmate's whole sheet earns
    fixed: tuple = ()  # paths of orders that are the same for most trainees
    fixed_share: float = 0.0
    faults: list = field(default_factory=list)


def draws(module: Module, count: int) -> Iterator[dict[str, dict[str, Any]]]:
    """Numbers of `count` trainees, one after the other."""
    for i in range(count):
        yield variant.draw(module, key=KEY, term=TERM, trainee=f"t{i:05d}", attempt=1)


def as_issued(module: Module, numbers: Numbers) -> dict[str, dict[str, Any]]:
    """Numbers in the form in which they are issued."""
    return {e.key: {"version": e.version, "parameters": numbers[e.key]} for e in module.exercises}


def sheet(module: Module, typed: Mapping[str, str]) -> Sheet:
    """A sheet of typed answers by path."""
    versions = {path: exercise.version for exercise, _, path in module.parts()}
    entries = {path: Answer(raw, "", versions[path]) for path, raw in typed.items()}
    return Sheet(TERM, module.key, "t", 1, entries)


def right_answers(module: Module, truth: Truth) -> dict[str, str]:
    """The right answer to each part that is proved here as a form would save it, rounded as asked."""
    return {
        path: part.typed(truth.answer(path), truth.given_at(path))
        for _, part, path in module.parts()
        if not part.proved_apart
    }


def prove(module: Module, trainees: int, *, step: Callable[[], object] = lambda: None) -> ModuleProof:
    """Prove a module.

    Parameters
    ----------
    module : Module
    trainees : int
    step : function
        Called after each trainee, for a progress bar.

    Returns
    -------
    ModuleProof

    Raises
    ------
    Inseparable
        An exercise finds no numbers at all.
    """
    parts = {path: PartProof(path, part.marks, part.guess_limit) for _, part, path in module.parts()}
    proof = ModuleProof(module.key, trainees, parts)
    seen = {path: _Constant(part) for _, part, path in module.parts()}
    copied, copied_marks, first, before = Counter(), 0, None, None
    for numbers in draws(module, trainees):
        truth = Truth(module, numbers)
        typed = right_answers(module, truth)
        marked = mark_sheet(module, as_issued(module, numbers), sheet(module, typed), truth=truth)
        for mark, (_, part, path) in zip(marked.parts, module.parts(), strict=True):
            if part.by_person or part.proved_apart:
                continue
            mine = parts[path]
            if mark.verdict != RIGHT:
                _fault(mine, f"the right answer “{typed[path]}” is marked {mark.verdict}")
                continue
            _see_slips(mine, truth, path, part, marked, typed)
            _see_width(mine, truth, path, part)
            seen[path].add(truth, path, typed[path])
        if before is not None:
            copied_marks += _copy(module, numbers, truth, before, copied)
        first, before = first or (numbers, truth), typed
        step()
    if first is not None and before is not None and trainees > 1:
        copied_marks += _copy(module, *first, before, copied)
    proof.copied_sheet = copied_marks / trainees / 100
    for _, part, path in module.parts():
        parts[path].copied = copied[path] / trainees
        parts[path].constant = 0.0 if part.by_person or part.proved_apart else seen[path].best() / trainees
    _judge(module, proof)
    return proof


def lines(module: Module, proof: ModuleProof) -> Iterator[str]:
    """A module's proof as lines to read: part by part, then what a copied sheet earns; faults stand apart."""
    yield f"{proof.module}: {proof.trainees} trainees, {module.marks} marks"
    for (_, part, path), mine in zip(module.parts(), proof.parts.values(), strict=True):
        yield f"{'FAIL' if mine.faults else 'ok  '} {path:<32} {_figures(part, mine)}"
    yield f"A classmate's whole sheet earns {proof.copied_sheet:.2f} of {module.marks} marks on average."
    same = ", ".join(proof.fixed) or "none"
    yield f"Orders that are the same for most trainees: {same} ({proof.fixed_share:.0%} of the marks)."


def _figures(part, mine):
    low, high = mine.tolerance
    width = "" if high == 0 else f"{low:.3g} to {high:.3g} {part.unit}"
    slips = f"{len(mine.slips)} of {len(part.slips)} named" if part.slips else ""
    nearest = f"{mine.nearest:.2f}" if mine.nearest < inf else ""
    limit = "listed" if mine.limit is None else f"{mine.limit:.0%}"
    return (
        f"tolerance {width:<24} slips {slips:<14} nearest {nearest:<6} "
        f"copied {mine.copied:<6.1%} constant {mine.constant:<6.1%} limit {limit}"
    )


def _fault(mine, sentence):
    if len(mine.faults) < 3:  # the first few say enough
        mine.faults.append(f"{mine.path}: {sentence}.")


def _see_slips(mine, truth, path, part, marked, typed):
    """Take every foreseen wrong route and see whether it is named."""
    right = truth.answer(path)
    earlier = Earlier({m.path: m.own for m in marked.parts}, {m.path: m.verdict for m in marked.parts})
    for slip in part.slips:
        led = truth.slip(path, slip)
        if led is None or led == right:
            continue
        raw = _unrounded(part, led, truth.given_at(path))
        mark = mark_part(truth, path, part, Answer(raw), earlier)
        if (mark.verdict, mark.slip) == (SLIP, slip.key):
            mine.slips[slip.key] += 1
        else:
            _fault(mine, f"the slip {slip.key} (“{raw}”) is taken for {mark.verdict} {mark.slip}".rstrip())
    if part.numeric:
        mine.nearest = min(mine.nearest, variant.nearest(truth, path))


def _unrounded(part, value, given):
    return part.exactly(value) if part.numeric else part.typed(value, given)


def _see_width(mine, truth, path, part):
    if part.numeric:
        width = truth.tolerance(path)
        ends = width if isinstance(width, tuple) else (width,)
        mine.tolerance = (min(mine.tolerance[0], *ends), max(mine.tolerance[1], *ends))


def _copy(module, numbers, truth, classmate, copied):
    """Hand in a classmate's sheet; returns the hundredths it earns."""
    marked = mark_sheet(module, as_issued(module, numbers), sheet(module, classmate), truth=truth)
    copied.update(mark.path for mark in marked.parts if mark.verdict == RIGHT)
    return marked.hundredths


class _Constant:
    """Finds how often the best constant answer to a part is right."""

    def __init__(self, part: Part) -> None:
        self._part = part
        self._ends = []
        self._values = []

    def add(self, truth: Truth, path: str, typed: str) -> None:
        right = truth.answer(path)
        if not self._part.numeric:
            self._values.append((right, self._part.read(typed, truth.given_at(path))))
            return
        width = truth.tolerance(path)
        if isinstance(right, tuple):  # one end alone is an upper bound for both
            right, width = right[0], width[0]
        self._ends += [(right - width, 0), (right + width, 1)]

    def best(self) -> int:
        if self._values:
            likely = Counter(own for _, own in self._values).most_common(5)
            return max(sum(self._right(right, own) for right, _ in self._values) for own, _ in likely)
        best = open_now = 0
        for _, closes in sorted(self._ends):
            open_now += -1 if closes else 1
            best = max(best, open_now)
        return best

    def _right(self, right, own):
        return self._part.share(right, own) == 1


def _judge(module, proof):
    """Hold what was found against the limits."""
    fixed = []
    for _, part, path in module.parts():
        mine = proof.parts[path]
        if mine.nearest <= APART:
            _fault(
                mine,
                f"a slip lies only {mine.nearest:.2f} tolerances from the right answer; more than {APART} is needed",
            )
        if part.often_fixed:
            if mine.constant > GUESSED:
                fixed.append(path)
            continue
        if mine.limit is None:
            continue
        allowed = mine.limit + _slack(mine.limit, proof.trainees)
        for share, what in ((mine.copied, "a classmate's answer"), (mine.constant, "one constant answer")):
            if share > allowed:
                _fault(mine, f"{what} is right in {share:.1%} of cases; {mine.limit:.1%} is the limit")
    proof.fixed = tuple(fixed)
    proof.fixed_share = sum(proof.parts[path].marks for path in fixed) / module.marks
    if proof.fixed_share > FIXED_LIMIT:
        proof.faults.append(
            f"{module.key}: orders that are the same for most trainees carry {proof.fixed_share:.0%} of the marks; "
            f"{FIXED_LIMIT:.0%} is the limit ({', '.join(fixed)})."
        )
    for mine in proof.parts.values():
        proof.faults += mine.faults


def _slack(limit, trainees):
    return 3 * (limit * (1 - limit) / trainees) ** 0.5 if trainees < FEW else 0.0


def honest_readings(module: Module, readings: int, seed: int, *, trainees: int = 200) -> tuple[int, list[str]]:
    """Simulated honest answers to every numeric part and what follows from one, and those not marked right.

    A trainee reads each instrument anywhere within half a division of its true
    value, carries his own earlier answers as he wrote them, works the rest out rightly
    and rounds as asked. Some numbers lie anywhere in their tolerance instead: they count
    as right, so that nothing that follows from them may be wrong.

    Returns
    -------
    (int, list of str)
        How many were marked, and a sentence for each that did not earn everything.
    """
    random, done, wrong = Random(seed), 0, []
    asked = [(part, path) for _, part, path in module.parts() if part.numeric or part.uses]
    people = [Truth(module, numbers) for numbers in draws(module, trainees)]
    while done < readings and asked:
        truth = people[random.randrange(len(people))]
        earlier = Earlier()
        for part, path in asked:
            given = truth.given_at(path)
            if part.numeric and random.random() < AT_WILL:
                raw = _unrounded(part, _within(random, *truth.target(path)), given)
            else:
                read = dict(vars(given))
                for name, half in part.reads.items():
                    read[name] += random.uniform(-half, half)
                used = [earlier.own.get(name, truth.answer(name)) for name in part.uses]
                raw = part.typed(part.answer(SimpleNamespace(**read), *used), given)
            mark = mark_part(truth, path, part, Answer(raw), earlier)
            earlier.own[path], earlier.settled[path] = mark.own, mark.verdict
            done += 1
            if mark.verdict not in (RIGHT, CARRIED):
                wrong.append(f"{path}: {raw} is marked {mark.verdict}; {mark.expected} ± {mark.width} was right.")
    return done, wrong


def _within(random, middle, width):
    """A value, or a pair of them, anywhere in its tolerance."""
    if isinstance(middle, tuple):
        return tuple(sorted(_within(random, *end) for end in zip(middle, width, strict=True)))
    return middle + random.uniform(-0.999, 0.999) * width
