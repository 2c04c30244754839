"""What a session is worth: 50 for the road, 50 for what was found, proved, verified and handed over.

Every step is judged by what could be known when it was taken: its regret is what the road from
there costs more, in minutes, than the best road. So luck neither helps nor hurts.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from grader.bench import actions as acting
from grader.bench import instruments as reading
from grader.bench import plan as planning
from grader.bench.atoms import CYLINDER_GROUPS, SOUND_GROUP, group_of
from grader.bench.cases import Case
from grader.bench.likelihood import table
from grader.bench.session import (
    ACTION,
    COOL,
    DONE,
    HANDED_OVER,
    READ,
    RUN,
    WARM_UP,
    Bench,
    Step,
    examined,
    replay,
)
from grader.bench.signs import UNREADABLE, Examined, signs
from grader.vehicle.faults import fault, faults
from grader.vehicle.state import sound_car

ROAD, NAMED, PROOF, VERIFIED, HAND_OVER = 50.0, 30.0, 10.0, 6.0, 4.0  # marks, of 100
GUESS = (
    1 / 3
)  # how right a name may be by guessing: it earns nothing yet; unproved, nor does what the owner's words give
OPEN = 0.2  # by which the likeliest name must stand above a guess, so that it is the most that the car lets one know
BORNE_OUT = 0.5  # a name that is so right counts fully for what follows from it; one less right in proportion
LEAST_SPAN = 30.0  # minutes lost that cost the whole road, at least
PROOF_FREE = 0.8  # from this probability on the proof reading of a group costs nothing
EXCLUDED = 0.9  # that the ignition is sound is proved, too, by what was read of it: from this probability on,
EXCLUDING = 2  # with so many instruments at least that measure the ignition
_NOT_MEASURED = frozenset(
    {reading.ASK, "bonnet", "road", "start", "soak", "vacuum", "leak_hunt", "compression", "cut_out"}
)
SWAPPED, UNSAFE = 5.0, 10.0  # marks off for a part fitted unproved, and for an unsafe act
CONDITION = MappingProxyType(
    {
        "no_start": ("start",),
        "hard_start_cold": ("start",),
        "hard_start_damp": ("start", "dark_mist"),
        "dies_on_release": ("start",),
        "hard_start_hot": ("soak",),
        "misfire_hot": ("soak",),
        "misfire_damp": ("dark_mist", "road"),
        "idles_fast": ("timing_idle",),
        "stalls": ("timing_idle",),
        "rough_idle": ("road", "vacuum", "cut_out"),
    }
)  # instruments that try the condition of a complaint; the others are tried on the road

# Why a step cost nothing, or something.
TEST_OF_PLAN, PROOF_READING, VERIFICATION, AGAIN_AT_LIMIT, FREE = "test", "proof", "verification", "again", "free"
FITTED, MENDED, FOLLOWS, NAMED_ACT, WAITED = "fitted", "mended", "follows", "named", "waited"
MET = "met"  # the owner's condition brought about for the first time


@dataclass(frozen=True, slots=True)
class Judged:
    """One step of a session as it could be judged then.

    step; regret [min]; value: V before it, the best road's minutes from there; cost: Q of this step. why:
    one of the words above. best: the first step of the best road from there, and outcomes: the places of the
    atoms that each result of this test would have left, the likeliest first; None and nothing where no plan was asked.
    """

    step: Step
    why: str
    regret: float = 0.0
    value: float = 0.0
    cost: float = 0.0
    best: planning.Choice | None = None
    outcomes: Sequence[Sequence[int]] = ()


@dataclass(frozen=True, slots=True)
class Marks:
    """What a session is worth, of 100.

    road, named, proof, verified, handed_over: marks earned. swapped: parts fitted unproved;
    unsafe: acts stopped. regret, span [min]: lost, and what loses the whole road. steps: judged.
    named_share: how right the name was, beyond a guess. missing: what was not done, as keys.
    """

    road: float
    named: float
    proof: float
    verified: float
    handed_over: float
    swapped: int
    unsafe: int
    regret: float
    span: float
    named_share: float
    steps: tuple[Judged, ...]
    missing: tuple[str, ...]

    @property
    def total(self) -> float:
        """Of 100, never below nothing."""
        earned = self.road + self.named + self.proof + self.verified + self.handed_over
        return min(100.0, max(0.0, earned - SWAPPED * self.swapped - UNSAFE * self.unsafe))


@lru_cache(maxsize=128)
def mark(case: Case, log: str) -> Marks:
    """The marks of a log on a case.

    Parameters
    ----------
    case : Case
    log : str

    Raises
    ------
    Unreadable
        The log is damaged.
    """
    return _Marking(replay(case, log)).marks()


class _Marking:
    """The marking of one session; positions count steps, so that `beliefs[n]` is before step n + 1."""

    def __init__(self, bench: Bench):
        self.bench, self.case = bench, bench.case
        self.atoms = table(self.case.engine).atoms
        self.beliefs = planning.beliefs(bench)
        self._plans: dict[int, planning.Plan] = {}
        self.first = self._plan(0)
        self.missing: list[str] = []

    def marks(self) -> Marks:
        steps = self._judge()
        regret = sum(judged.regret for judged in steps)
        span = max(LEAST_SPAN, self.first.listed() - self.first.value)
        final = self._final()
        share = self._earned_share(final) if final is not None else 0.0
        # A road that was not walked to its end, or leads to the wrong name, is worth as much less.
        is_walked = final is not None and final.outcome == HANDED_OVER
        road = ROAD * share * max(0.0, 1.0 - regret / span) if is_walked else 0.0
        swapped = self._swapped()
        borne_out = min(1.0, share / BORNE_OUT)
        proof = borne_out * self._proof()
        is_over = self.bench.closed and final is not None and final.outcome == HANDED_OVER
        verified = borne_out * self._verified() if is_over else self._without("verified")
        handed = borne_out * self._handed(final) if is_over and final is not None else self._without("handed_over")
        return Marks(
            road=road,
            named=NAMED * share,
            proof=proof,
            verified=verified,
            handed_over=handed,
            swapped=swapped,
            unsafe=self.bench.stopped,
            regret=regret,
            span=span,
            named_share=share,
            steps=steps,
            missing=tuple(self.missing),
        )

    def _without(self, what: str) -> float:
        self.missing.append(what)
        return 0.0

    # The road.

    def _plan(self, place: int) -> planning.Plan:
        if place not in self._plans:
            self._plans[place] = planning.plan_of(self.bench, planning.MARK_FAULTS, place, self.beliefs[place])
        return self._plans[place]

    def _judge(self) -> tuple[Judged, ...]:
        judged, done, acted_on, asked, repeated = [], [], None, False, False
        named: frozenset[str] = frozenset()
        for place, step in enumerate(self.bench.steps):
            belief = self.beliefs[place]
            if step.outcome == READ:
                why, regret, cost, value = FREE, 0.0, 0.0, 0.0
                best, outcomes = None, ()
                if self._all_mended(done):
                    why = VERIFICATION
                elif step.instrument == reading.ASK:
                    why, regret, asked = (TEST_OF_PLAN, step.minutes, True) if asked else (FREE, 0.0, True)
                elif serves := self._serves(step, belief, place):
                    why = serves
                elif not repeated and self._is_near_limit(place):
                    why, repeated = AGAIN_AT_LIMIT, True
                else:
                    plan = self._plan(place)
                    value, key = plan.value, planning.test_key(step)
                    cost = plan.cost(key, step.minutes)
                    why, regret = TEST_OF_PLAN, max(0.0, cost - value)
                    best, outcomes = plan.best(), plan.outcomes(key)
                    if self._is_last_word(plan, step, belief, place):
                        why, regret = PROOF_READING, 0.0
                judged.append(Judged(step, why, regret, value, cost, best, outcomes))
            elif step.kind == ACTION and step.outcome == DONE:
                regret, value, why = 0.0, 0.0, MENDED
                if step.act["what"] in self._following(done) or (self._all_mended(done) and not step.parts):
                    why = FOLLOWS
                else:
                    if named != acted_on:
                        value = self._plan(place).value
                        regret += self._name_regret(named, belief, value)
                        acted_on = named
                    mends = self._mends(step.act["what"], belief)
                    lost = (1.0 - mends) * (step.minutes + step.parts + planning.TRIAL_MINUTES)
                    regret, why = regret + lost, MENDED if mends >= 0.5 else FITTED
                done.append(step.act["what"])
                judged.append(Judged(step, why, regret, value, value + regret))
            elif step.outcome == HANDED_OVER:
                named = frozenset(step.act["found"])
                value, regret = 0.0, 0.0
                if named != acted_on:
                    value = self._plan(place).value
                    regret = self._name_regret(named, belief, value)
                    acted_on = named
                judged.append(Judged(step, NAMED_ACT, regret, value, value + regret))
            else:
                if step.outcome == "named":
                    named = frozenset(step.act["groups"])
                judged.append(Judged(step, *self._waiting(place, step)))
        return tuple(judged)

    def _waiting(self, place: int, step: Step) -> tuple[str, float]:
        """Minutes of warming and cooling that served nothing."""
        if step.kind != RUN or step.outcome != DONE or not step.minutes:
            return FREE, 0.0
        engine = self._bay_engine(place)
        needed = {WARM_UP: engine != "warm", COOL: engine == "hot-soaked"}
        return WAITED, 0.0 if needed.get(step.act["to"], True) else step.minutes

    def _bay_engine(self, place: int) -> str:
        """How warm the engine was before a step."""
        engine = "warm" if self.bench.drove_in else "cold"
        for step in self.bench.steps[:place]:
            if step.outcome == DONE and step.kind == RUN and step.minutes:
                engine = "warm" if step.act["to"] == WARM_UP else "cold"
            elif step.outcome == READ and step.instrument in ("soak", "road"):
                engine = "hot-soaked" if step.instrument == "soak" else "warm"
        return engine

    def _all_mended(self, done: Sequence[str]) -> bool:
        """Once all that can be mended here is, further readings verify."""
        here = [key for key in self.case.atom.faults if group_of(key) != SOUND_GROUP]
        return bool(here) and all(planning.mended_by(key, done) for key in here)

    def _serves(self, step: Step, belief: NDArray[np.float64], place: int) -> str:
        """What a reading that costs nothing is good for; empty for any other."""
        if place == self._first_meeting():
            return MET
        if self._is_proof(step, belief, place):
            return PROOF_READING
        return VERIFICATION if self._tries_condition(step, belief, place) else ""

    def _first_meeting(self) -> int:
        """Place of the step that brings the owner's condition about for the first time, before anything is changed; else -1."""
        steps = [(n, step) for n, step in enumerate(self.bench.steps) if not step.car]
        return next((n for n, one in steps if one.outcome == READ and one.instrument in self._conditions()), -1)

    def _is_proof(self, step: Step, belief: NDArray[np.float64], place: int) -> bool:
        """A reading that proves a fault of a group which is likely already."""
        by_group: dict[str, float] = {}
        for atom, weight in zip(self.atoms, belief, strict=True):
            for group in atom.groups:
                by_group[group] = by_group.get(group, 0.0) + float(weight)
        likely = {group for group, weight in by_group.items() if weight >= PROOF_FREE}
        return self._proves_one_of(likely, step, belief, place)

    def _proves_one_of(self, likely: Collection[str], step: Step, belief: NDArray[np.float64], place: int) -> bool:
        """True of the first such reading, of a look that may miss of the second too."""
        key = planning.test_key(step)
        before = [
            other
            for other in self.bench.steps[:place]
            if other.outcome == READ and other.car == step.car and planning.test_key(other) == key
        ]
        if len(before) > (reading.instrument(step.instrument).hit < 1):
            return False
        return any(
            step.instrument in _instruments_of(key)
            for key in faults()
            if group_of(key) in likely and self._weight_of(key, belief) > 0.05
        )

    def _is_last_word(self, plan: planning.Plan, step: Step, belief: NDArray[np.float64], place: int) -> bool:
        """True where nothing is left that parts the causes, and this reading proves the likeliest or tries the complaint."""
        if plan.best().key != "stop":
            return False
        is_new = planning.test_key(step) not in planning.taken_now(self.bench, place)
        tries = SOUND_GROUP in plan.best_named and is_new and step.instrument in self._conditions()
        return tries or self._proves_one_of(plan.best_named, step, belief, place)

    def _tries_condition(self, step: Step, belief: NDArray[np.float64], place: int) -> bool:
        """True if the complaint's own condition is tried once more before a car with a sound ignition goes on."""
        is_new = planning.test_key(step) not in planning.taken_now(self.bench, place)
        is_sound = planning.named_share(self.atoms, belief, {SOUND_GROUP}) >= PROOF_FREE
        return is_new and is_sound and step.instrument in self._conditions()

    def _conditions(self) -> set[str]:
        return {tool for word in self.case.words for tool in CONDITION.get(word, ("road",))}

    def _weight_of(self, key: str, belief: NDArray[np.float64]) -> float:
        return float(sum(weight for atom, weight in zip(self.atoms, belief, strict=True) if key in atom.faults))

    def _is_near_limit(self, place: int) -> bool:
        """True if the reading before this one, of the same instrument on the same car, lay within one sd of a limit."""
        step = self.bench.steps[place]
        same = [
            other
            for other in self.bench.steps[:place]
            if other.outcome == READ and other.instrument == step.instrument and other.car == step.car
        ]
        if not same or step.instrument == reading.SWAP:
            return False
        x = examined(self.case.car) if not step.car else None
        return x is not None and any(near_limit(name, same[-1], x) for name in same[-1].results)

    def _mends(self, what: str, belief: NDArray[np.float64]) -> float:
        mends = [any(planning.mended_by(key, (what,)) for key in atom.faults) for atom in self.atoms]
        return float(belief[np.array(mends)].sum())

    def _following(self, done: Sequence[str]) -> set[str]:
        """Actions that belong to what was done: they set what it disturbed."""
        after = {key for what in done for key in acting.action(what).then}
        for key in faults():
            for way in planning.repairs(key):
                if way[0] in done:
                    after.update(way[1:])
        return after

    def _name_regret(self, named: frozenset[str], belief: NDArray[np.float64], value: float) -> float:
        share = planning.named_share(self.atoms, belief, named) if named else 0.0
        minutes = planning.WRONG_MINUTES + sum(planning.repair_minutes(self.case.engine, group) for group in named)
        return max(0.0, (1.0 - share) * minutes - value)

    # What was found.

    def _final(self) -> Step | None:
        """The hand-over that counts, else the last name.

        It is the first after all was mended: what an owner comes back with then is another matter, and takes
        nothing from what was found; until then the last.
        """
        mended = self._named_at()
        handed = [(place, step) for place, step in enumerate(self.bench.steps) if step.outcome == HANDED_OVER]
        well = [step for place, step in handed if place >= mended]
        named = [step for step in self.bench.steps if step.outcome == "named"]
        return (well or [step for _, step in handed[-1:]] or named[-1:] or [None])[0]

    def _first_repair(self) -> int:
        """Place of the first change that mends something of what is wrong, else of the first change at all."""
        changes = [n for n, step in enumerate(self.bench.steps) if step.kind == ACTION and step.outcome == DONE]
        mending = [
            n
            for n in changes
            if any(planning.mended_by(key, (self.bench.steps[n].act["what"],)) for key in self.case.atom.faults)
        ]
        return next(iter((*mending, *changes)), len(self.bench.steps))

    def _last_change(self) -> int:
        """Place after the last change."""
        return max(
            (n + 1 for n, step in enumerate(self.bench.steps) if step.kind == ACTION and step.outcome == DONE),
            default=0,
        )

    def _earned_share(self, final: Step) -> float:
        """How right the name is, from a guess by the owner's words up to the most that could be known.

        Where no test is worth its minutes any more, two faults may still look alike: then the
        likeliest name is as good as a name can be there.
        """
        place = self._named_at()
        belief = self.beliefs[place]
        guess = GUESS
        if not self._is_borne_out(place):
            guess = max(guess, self._named_share(final, self.beliefs[0]))
        most = planning.best_share(self.case.engine, belief)
        if most < guess + OPEN or self._plan(place).best().key != "stop":
            most = max(1.0, guess + OPEN)
        # Who named it when he mended it has named it, whatever he handed over as well after a mishap of the work.
        suspected = [step for step in self.bench.steps[:place] if step.outcome == "named"][-1:]
        handed = set(final.act.get("found", ()))
        if place == len(self.bench.steps) or any(set(step.act["groups"]) == handed for step in suspected):
            suspected = []
        share = max(self._named_share(step, belief) for step in (final, *suspected))
        return min(1.0, max(0.0, (share - guess) / (most - guess)))

    def _is_borne_out(self, place: int) -> bool:
        """True if what proves a fault of the car was read before a place, or what shows that the ignition is sound."""
        return self._is_excluded() or any(self.proved(key, place) for key in self.case.atom.faults)

    def _named_at(self) -> int:
        """Place up to which readings bear on the name: what is read after all is mended shows nothing of what it was."""
        place, done = len(self.bench.steps), []
        for n, step in enumerate(self.bench.steps):
            if step.kind == ACTION and step.outcome == DONE:
                done.append(step.act["what"])
                if self._all_mended(done):
                    place = n
                    break
        return place

    def _named_share(self, final: Step, belief: NDArray[np.float64]) -> float:
        named = frozenset(final.act.get("found", final.act.get("groups", ())))
        share = 0.0
        at = final.act.get("at", 0)
        for atom, weight in zip(self.atoms, belief, strict=True):
            right = sum(
                0.5 if group in CYLINDER_GROUPS and at != self.case.cylinder else 1.0 for group in named & atom.groups
            )
            share += float(weight) * right / len(named | atom.groups)
        return share

    def _proof(self) -> float:
        """Marks for the proof of every fault that is there, read before anything that could mend it was done."""
        each = PROOF / len(self.case.atom.faults)
        earned = 0.0
        if self.case.atom.groups == {SOUND_GROUP} and self._is_excluded() and not self._last_change():
            return PROOF * self._was_named()
        for key in self.case.atom.faults:
            mending = {way[0] for way in planning.repairs(key)}
            until = next(
                (
                    n
                    for n, step in enumerate(self.bench.steps)
                    if step.outcome == DONE and step.kind == ACTION and step.act["what"] in mending
                ),
                len(self.bench.steps),
            )
            if self._was_named() and self._fitted_unproved_before(until) == 0 and self.proved(key, until):
                earned += each
            else:
                self.missing.append("proof")
        return earned

    def _is_excluded(self) -> bool:
        """True if the ignition was measured, and hardly anything but another hand's work is left."""
        measured = {step.instrument for step in self.bench.steps if step.outcome == READ} - _NOT_MEASURED
        share = planning.named_share(self.atoms, self.beliefs[-1], {SOUND_GROUP})
        return len(measured) >= EXCLUDING and share >= EXCLUDED

    def _was_named(self) -> bool:
        return self._final() is not None

    def proved(self, key: str, until: int) -> bool:
        """True if before a place in the log everything was read that proves a fault of the case, as the fault shows it."""
        return any(
            all(self._shows(tool, key, until) for tool in way.split("&")) for way in fault(key).proof_by.split("|")
        )

    def _shows(self, tool: str, key: str, until: int) -> bool:
        readings = [step for step in self.bench.steps[:until] if step.outcome == READ and step.instrument == tool]
        if tool == reading.SWAP:
            parts = {way[0] for way in planning.repairs(key)}
            return any(step.act["part"] in parts and "cured" in step.results.values() for step in readings)
        true, sound = examined(self.case.car), examined(sound_car(self.case.engine))
        off = {name: true.word(name) for name in reading.instrument(tool).signs}
        off = {name: word for name, word in off.items() if word != sound.word(name) and word != UNREADABLE}
        for step in readings:
            if off and any(step.results.get(name) == word for name, word in off.items()):
                return True
            if not off and all(word in (sound.word(name), UNREADABLE) for name, word in step.results.items()):
                return True
        return False

    def _swapped(self) -> int:
        """Parts that were fitted before it was proved that they are bad."""
        return self._fitted_unproved_before(len(self.bench.steps))

    def _fitted_unproved_before(self, until: int) -> int:
        count, done = 0, []
        for n, step in enumerate(self.bench.steps[:until]):
            if step.kind != ACTION or step.outcome != DONE:
                continue
            what = step.act["what"]
            if step.parts > 0 and what not in self._following(done):
                mends = [key for key in self.case.atom.faults if planning.mended_by(key, (what,))]
                likely = self._mends(what, self.beliefs[n]) >= PROOF_FREE
                count += not any(self.proved(key, n) for key in mends) and not likely
            done.append(what)
        return count

    def _verified(self) -> float:
        """2 for the sign that was out, read in limits; 2 for all that had to follow; 2 for the complaint's condition."""
        steps, last = self.bench.steps, self._last_change()
        is_tried = any(step.outcome == READ and step.instrument in self._conditions() for step in steps[last:])
        if not last:  # the ignition is sound: what was complained of was seen, and its cause
            proved = self._is_excluded() or any(self.proved(key, len(steps)) for key in self.case.atom.faults)
            return VERIFIED / 2 * (is_tried + proved)
        sound = examined(sound_car(self.case.engine))
        before, after = (
            {
                (name, word)
                for step in part
                if step.outcome == READ
                for name, word in step.results.items()
                if name in signs()
            }
            for part in (steps[: self._first_repair()], steps[last:])
        )
        out = {name for name, word in before if word != sound.word(name)}
        back = any((name, sound.word(name)) in after for name in out)
        followed = all(self._followed(n) for n in range(last) if steps[n].kind == ACTION and steps[n].outcome == DONE)
        for is_done, word in ((back, "reread"), (followed, "then"), (is_tried, "condition")):
            if not is_done:
                self.missing.append(word)
        return VERIFIED / 3 * (back + followed + is_tried)

    def _followed(self, place: int) -> bool:
        later = self.bench.steps[place + 1 :]
        did = {step.act["what"] for step in later if step.kind == ACTION and step.outcome == DONE}
        read = {step.instrument for step in later if step.outcome == READ}
        return all(key in did | read for key in acting.action(self.bench.steps[place].act["what"]).then)

    def _handed(self, final: Step) -> float:
        """One mark each: what was found, by what it was proved, what was read before and after, what was left."""
        steps, first, last = self.bench.steps, self._first_repair(), self._last_change()
        before = {step.instrument for step in steps[:first] if step.outcome == READ}
        after = {step.instrument for step in steps[last:] if step.outcome == READ}
        compared = final.act.get("compared", "")
        read_all = self._is_excluded() and bool(set(final.act.get("proved", ())) & before)
        lines = {
            "found": set(final.act["found"]) == set(self.case.atom.groups),
            "proved": bool(set(final.act.get("proved", ())) & before & self._proving()) or (not last and read_all),
            "compared": compared in before and compared in after,
            "left": len(final.act.get("left", "").strip()) >= 3,
        }
        self.missing += [line for line, is_there in lines.items() if not is_there]
        return HAND_OVER / 4 * sum(lines.values())

    def _proving(self) -> set[str]:
        return {tool for key in self.case.atom.faults for tool in _instruments_of(key)}


def _instruments_of(key: str) -> set[str]:
    return {tool for way in fault(key).proof_by.split("|") for tool in way.split("&")}


def near_limit(name: str, step: Step, x: Examined) -> bool:
    """True if a figure of a sign lies so near a limit that one sd moves its word."""
    sign = signs().get(name)
    if sign is None or sign.word is None:
        return False
    figures = sign.figures(x)
    read = [figure.value for figure in step.figures if figure.sign == name]
    shown = [n for n, label in enumerate(sign.labels(x.car)) if label is not None]
    if figures is None or not read or len(read) > len(shown) or np.isnan(figures).any():
        return False
    figures = np.array(figures, dtype=float)
    figures[shown[: len(read)]] = read
    word = sign.word(figures, x)
    for n in shown[: len(read)]:
        sd = sign.sds[min(n, len(sign.sds) - 1)] + sign.share * abs(figures[n])
        for way in (sd, -sd):
            moved = figures.copy()
            moved[n] += way
            if sign.word(moved, x) != word:
                return True
    return False
