"""Simulated trainees at the bench: the best road, and the wrong ways that people go.

They see what a trainee sees: job card, readings, minutes. The proofs of the marks and the
demonstration class use them.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from random import Random
from types import MappingProxyType
from typing import Any

from grader.bench import actions as acting
from grader.bench import instruments as reading
from grader.bench import plan as planning
from grader.bench import session
from grader.bench.atoms import CYLINDER_GROUPS, SOUND_GROUP, Atom, group_of, groups
from grader.bench.cases import Case
from grader.bench.likelihood import table
from grader.bench.marks import CONDITION, near_limit
from grader.bench.session import Bench, Step
from grader.bench.signs import UNREADABLE, examined_sound_word, signs
from grader.vehicle.faults import fault, faults

MOST_TESTS = 40
MOST_TURNS = 3  # of finding and mending, while the complaint is still there
MOST_LOOKS = 2  # that a look which showed nothing is taken again for a proof
SURE = 0.9  # who goes by a list, or by chance, names what has become so likely
_SETTING = ("set_dwell", "set_idle", "set_timing")  # in the order in which they are done
_LEFT = "Nothing else was found out of limits; the plug gaps are to be looked at with the next service."


class Trainee:
    """Somebody at work on a case: what he did, and the session as it stands."""

    def __init__(self, case: Case):
        self.bench: Bench = session.begin(case)
        self.acts: list[Mapping[str, Any]] = []

    @property
    def log(self) -> str:
        """What he hands in."""
        return session.written(self.acts) if len(self.bench.steps) != len(self.acts) else session.remember(self.bench)

    def do(self, act: Mapping[str, Any]) -> Step:
        """One act, and what it came to."""
        self.acts.append(act)
        self.bench = session.after(self.bench, act)
        return self.bench.steps[-1]

    def test(self, key: str) -> Step | None:
        """A test as plans name it, with what has to be done for it first; None if the car does not allow it."""
        tool, _, part = key.partition(":")
        act = session.test(tool, part)
        self._ready(tool)
        step = self.do(act)
        if step.outcome == session.READ:
            return step
        self.acts.pop()
        return None

    def _ready(self, tool: str) -> None:
        """The running condition that an instrument wants."""
        engine, bay = reading.instrument(tool).engine, self.bench.bay
        if engine in ("off", "key", "crank") and bay.turning or engine == "off" and bay.key_on:
            self.do(session.run(session.OFF))
        runs = session.examined(self.bench.car).idles
        is_hot = bay.engine == "hot-soaked" and tool in ("plug_look", "plug_tester", "compression")
        if (is_hot or bay.engine == "cold" and engine in ("run", "turn")) and runs:
            self.do(session.run(session.WARM_UP))
            if engine in ("off", "crank"):
                self.do(session.run(session.OFF))
        elif is_hot:
            self.do(session.run(session.COOL))

    def action(self, key: str, at: int | str = 0) -> Step:
        """An action, with care: engine and key off, what comes off marked, plugs gapped."""
        if session.action_refusal(self.bench, key):
            self.do(session.run(session.OFF))
        if session.action_refusal(self.bench, key):
            self.do(session.run(session.COOL))
        return self.do(session.action(key, at=at, marked=key in _MARKED))


_MARKED = ("fit_coil", "fit_cap", "fit_leads", "distributor")


@lru_cache(maxsize=128)
def best_road(case: Case, most: int = planning.MARK_FAULTS) -> str:
    """The log of who always takes the cheapest telling test, proves, mends one thing, verifies and hands over."""
    return _diagnosed(Trainee(case), lambda trainee: _planned(trainee, most), proves=True)


def listed_road(case: Case) -> str:
    """The log of who takes the tests in the order of the list until one answer is likely enough."""
    tests = [key for key in planning.test_minutes(case.engine) if ":" not in key]
    return _diagnosed(Trainee(case), lambda trainee: _next_of(trainee, tests), proves=False)


def random_road(case: Case, random: Random) -> str:
    """The log of who takes tests as they come to mind until one answer is likely enough."""
    tests = [key for key in planning.test_minutes(case.engine) if ":" not in key]
    random.shuffle(tests)
    return _diagnosed(Trainee(case), lambda trainee: _next_of(trainee, tests), proves=False)


def parts_road(case: Case, most: int = 99) -> str:
    """The log of who fits one part after the other, the usual ones first, and drives it each time; `most` parts, then he gives up."""
    trainee = Trainee(case)
    order = sorted(
        {group_of(key) for key in faults()} & set(groups(case.engine)) - {SOUND_GROUP},
        key=lambda group: (-sum(fault(key).common for key in faults() if group_of(key) == group), group),
    )
    tried = {tool for word in case.words for tool in CONDITION.get(word, ("road",))}
    for group in order[:most]:
        trainee.do(session.name(group))
        for key in [key for key in faults() if group_of(key) == group][:1]:
            for what in planning.repairs(key)[0]:
                trainee.action(what, at=1 if what == "fit_lead" else 0)
        for tool in sorted(tried):
            trainee.test(tool)
        if trainee.do(session.hand_over([group], at=1 if group in CYLINDER_GROUPS else 0)).came_back is False:
            break
    return trainee.log


def random_name(case: Case, random: Random) -> str:
    """The log of who names the first thing that comes to mind, repairs it and hands the car over."""
    trainee = Trainee(case)
    group = random.choice(groups(case.engine))
    _mend_and_hand_over(trainee, frozenset({group}), (), verifies=False)
    return trainee.log


def _planned(trainee: Trainee, most: int) -> str:
    return planning.plan_of(trainee.bench, most).best().key


def _next_of(trainee: Trainee, tests: Sequence[str]) -> str:
    weights = planning.belief(trainee.bench)
    _, share = _likeliest(trainee.bench.case, weights)
    taken = planning.taken_now(trainee.bench)
    left = [key for key in tests if key not in taken]
    return "stop" if share >= SURE or not left else left[0]


def _likeliest(case: Case, weights: Iterable[float]) -> tuple[frozenset[str], float]:
    """The set of groups that is likeliest, and how likely."""
    shares: dict[frozenset[str], float] = {}
    for atom, weight in zip(table(case.engine).atoms, weights, strict=True):
        shares[atom.groups] = shares.get(atom.groups, 0.0) + float(weight)
    best = max(shares, key=lambda named: shares[named])
    return best, shares[best]


def _atom_of(case: Case, weights: Iterable[float], named: frozenset[str]) -> Atom:
    """The likeliest atom with a name."""
    fit = [
        (float(weight), atom)
        for atom, weight in zip(table(case.engine).atoms, weights, strict=True)
        if atom.groups == named
    ]
    return max(fit, key=lambda row: row[0])[1]


def _diagnosed(trainee: Trainee, choose: Callable[[Trainee], str], proves: bool) -> str:
    """The log of who finds, mends and hands over; he goes on where the complaint is still there, or comes back."""
    mended: frozenset[str] = frozenset()
    for turn in range(MOST_TURNS):
        named, proof = _found(trainee, choose, proves)
        may_go_on = proves and turn + 1 < MOST_TURNS and named != mended and SOUND_GROUP not in named
        _mend_and_hand_over(trainee, named, proof, verifies=True, goes_on=may_go_on)
        if trainee.bench.closed or named == mended or not proves:
            break
        mended = named
    return trainee.log


def _found(trainee: Trainee, choose: Callable[[Trainee], str], proves: bool) -> tuple[frozenset[str], tuple[str, ...]]:
    """What he names in the end, and the readings that speak for it."""
    case, refused, repeated = trainee.bench.case, set(), False
    x = session.examined(case.car)
    for _ in range(MOST_TESTS):
        key = choose(trainee)
        if key in refused:
            key = "stop"
        if key != "stop":
            step = trainee.test(key)
            if step is None:
                refused.add(key)
            elif proves and not repeated and any(near_limit(name, step, x) for name in step.results):
                trainee.test(key)
                repeated = True
            continue
        weights = planning.belief(trainee.bench)
        named, _ = _likeliest(case, weights)
        open_proof = (
            [tool for tool in _proof(trainee, _atom_of(case, weights, named)) if tool not in refused] if proves else []
        )
        if not open_proof:
            break
        if trainee.test(open_proof[0]) is None:
            refused.add(open_proof[0])
    weights = planning.belief(trainee.bench)
    named, _ = _likeliest(case, weights)
    return named, _proof_tools(trainee, _atom_of(case, weights, named))


def _ways(key: str, trainee: Trainee) -> list[list[str]]:
    """Ways to prove a fault, as tests of a plan; trials of parts by their action."""
    ways = []
    for way in fault(key).proof_by.split("|"):
        tools = way.split("&")
        if "swap" in tools:
            tools = [f"swap:{planning.repairs(key)[0][0]}" if tool == "swap" else tool for tool in tools]
        ways.append(tools)
    return ways


def _proof(trainee: Trainee, atom: Atom) -> list[str]:
    """The readings that are still wanted to prove an atom, by the way that takes the least; a look that
    shows nothing is taken again."""
    minutes = planning.test_minutes(trainee.bench.case.engine)
    wanted = []
    for key in atom.faults:
        ways = [[tool for tool in way if not _is_read(trainee, atom, tool)] for way in _ways(key, trainee)]
        wanted += min(ways, key=lambda way: sum(minutes.get(tool, 15.0) for tool in way))
    return list(dict.fromkeys(wanted))


def _is_read(trainee: Trainee, atom: Atom, tool: str) -> bool:
    """True if a test was read as it is expected of an atom, or so often that no more is to be hoped for."""
    case, changes = trainee.bench.case, len(planning.done_so_far(trainee.bench))
    steps = [
        step
        for step in trainee.bench.steps
        if step.outcome == session.READ and step.car == changes and planning.test_key(step) == tool
    ]
    if len(steps) > MOST_LOOKS * (reading.instrument(tool.partition(":")[0]).hit < 1):
        return True
    tables = table(case.engine)
    row = tables.atoms.index(atom)
    for step in steps:
        for name, word in step.results.items():
            if name not in tables.words:
                return True
            likeliest = tables.words[name][tables.likeliest(case.kmiles, name)[row]]
            if word == likeliest != examined_sound_word(case.engine, name):
                return True
    return False


def _proof_tools(trainee: Trainee, atom: Atom) -> tuple[str, ...]:
    taken = planning.taken_now(trainee.bench)
    return tuple(
        dict.fromkeys(
            tool.partition(":")[0]
            for key in atom.faults
            for way in _ways(key, trainee)
            for tool in way
            if tool in taken
        )
    )


def _where(trainee: Trainee) -> int:
    """The cylinder that the readings point to."""
    for step in reversed(trainee.bench.steps):
        if step.outcome != session.READ:
            continue
        for sign in ("dark", "cap_look"):
            if step.places.get(sign) and step.results.get(sign) == "lead":
                return step.places[sign][0]
        each = {}
        for figure in step.figures:
            if figure.sign in ("lead_kv", "lead_crank", "lead_ohm") and figure.label.startswith("number"):
                number = int(figure.label.split()[1])
                value = -figure.value if figure.sign == "lead_ohm" else figure.value
                each[number] = min(each.get(number, value), value)
        if each and any(step.results.get(sign, "").startswith("one") for sign in ("lead_kv", "lead_crank", "lead_ohm")):
            return min(each, key=lambda number: each[number])
    return 0


def _mend_and_hand_over(
    trainee: Trainee, named: frozenset[str], proof: Sequence[str], verifies: bool, goes_on: bool = False
) -> None:
    """Mend what is named, verify, and hand over; who goes on keeps a car that still has its complaint."""
    case = trainee.bench.case
    before = set(planning.done_so_far(trainee.bench))
    at = 0
    if named & set(CYLINDER_GROUPS):
        at = _where(trainee)
        if not at and verifies:
            trainee.test("lead_gap")
            at = _where(trainee)
        at = at or 1
    out = _out(trainee)
    trainee.do(session.name(*sorted(named), at=at))
    atom = _atom_of(case, planning.belief(trainee.bench), named)
    ways = [planning.repairs(key)[0] for key in atom.faults if planning.repairs(key)]
    done = [way[0] for way in ways]
    for what in dict.fromkeys(done):
        if what not in before or what == "fit_lead":
            trainee.action(what, at=_lead_place(atom, at) if what == "fit_lead" else 0)
    follow = {key for way in ways for key in way[1:]} | {key for what in done for key in acting.action(what).then}
    follow |= {"set_timing"} if "set_dwell" in {*follow, *done} else set()
    for what in _SETTING:
        if what in follow and what not in done:
            trainee.action(what)
            done.append(what)
    compared = ""
    if verifies:
        tried = [CONDITION.get(word, ("road",))[0] for word in case.words if not word.endswith("_again")][:1]
        compared = _verified(trainee, done, out, proof, tried)
        if goes_on and done and not compared and _reads_out(trainee, tried):
            return
    trainee.do(session.hand_over(sorted(named), at=at, proved=proof, compared=compared, left=_LEFT if verifies else ""))


def _verified(
    trainee: Trainee, done: Sequence[str], out: Sequence[str], proof: Sequence[str], tried: Sequence[str]
) -> str:
    """Read again what was out, what the repair disturbs, and the complaint; the instrument read before and after."""
    again = dict.fromkeys(("timing_idle", *out[:2], *tried))
    wanted = [key for what in done for key in acting.action(what).then if key in reading.instruments()]
    for tool in dict.fromkeys((*wanted, *out[:2], *tried)) if done else tried:
        if tool not in planning.taken_now(trainee.bench):
            trainee.test(tool)
    if done and _reads_out(trainee, ("timing_idle",), ("mark",)):  # the scatter of one reading, or set badly
        trainee.action("set_timing")
        for tool in again:
            trainee.test(tool)
    both = planning.taken_now(trainee.bench)
    compared = next(
        (tool for tool in (*out, *proof) if tool in both and not (done and _reads_out(trainee, (tool,)))), ""
    )
    if "fit_points" in done and not session.examined(trainee.bench.car).idles:
        for what in ("clean_points", "set_dwell", "set_timing"):  # new contacts come with preservative now and then
            trainee.action(what)
        for tool in again:
            trainee.test(tool)
    return compared


def _reads_out(trainee: Trainee, tools: Sequence[str], signs_of: Sequence[str] = ()) -> bool:
    """True if the last reading of one of some instruments on the car as it stands is out of limits."""
    changes = len(planning.done_so_far(trainee.bench))
    last = {
        step.instrument: step for step in trainee.bench.steps if step.outcome == session.READ and step.car == changes
    }
    return any(
        word not in (UNREADABLE, examined_sound_word(trainee.bench.case.engine, name))
        for tool in tools
        if tool in last
        for name, word in last[tool].results.items()
        if name in signs() and (not signs_of or name in signs_of)
    )


def _lead_place(atom: Atom, at: int) -> int | str:
    return acting.COIL_LEAD if "king_open" in atom.faults else at


def _out(trainee: Trainee) -> tuple[str, ...]:
    """Instruments that read something out of limits, the last one first."""
    tools = []
    for step in reversed(trainee.bench.steps):
        if step.outcome == session.READ and any(
            word not in (UNREADABLE, examined_sound_word(trainee.bench.case.engine, name))
            for name, word in step.results.items()
            if step.instrument not in (reading.SWAP, reading.ASK)
        ):
            tools.append(step.instrument)
    return tuple(dict.fromkeys(tools))


@dataclass(frozen=True, slots=True)
class Strategy:
    """A way to go about it: title, the log that it leads to, and the marks expected of it on the average [design]."""

    title: str
    road: Callable[[Case, Random], str]
    expected: float


STRATEGIES: Mapping[str, Strategy] = MappingProxyType(
    {
        "best": Strategy("best plan, proved", lambda case, random: best_road(case), 95.0),
        "listed": Strategy("tests in list order", lambda case, random: listed_road(case), 66.0),
        "random": Strategy("tests at random", random_road, 55.0),
        "parts": Strategy("parts-swapping", lambda case, random: parts_road(case), 24.0),
        "named": Strategy("naming at random", random_name, 1.0),
    }
)
