"""The kind of answer whose value is the log of a session with a car."""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from random import Random
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

from grader.bench import debrief, habits, marks, session, spacing, trainees
from grader.bench.atoms import Atom
from grader.bench.cases import Case, from_plain
from grader.exercise.part import NOTHING, Item, Judged, Listed, Part, Room, no_reasons

if TYPE_CHECKING:
    from grader.exercise.truth import Truth

FULL = 95.0  # of 100: what is lost beyond is less than a second look at one thing


def case_of(given: SimpleNamespace) -> Case:
    """The case among a trainee's own numbers; the `answer` of a part of this kind."""
    return from_plain(given)


def _case(value: Any) -> Case | None:
    """The case that an expected answer is, also where records give it back as plain values; None of a log."""
    if not isinstance(value, Mapping):
        return value if isinstance(value, Case) else None
    atom = Atom(tuple(value["atom"]["faults"]), value["atom"]["severity"])
    return Case(**{**value, "atom": atom, "words": tuple(value["words"])})


@dataclass(frozen=True, slots=True)
class Bench(Part):
    """A car to be diagnosed, mended and handed over.

    The expected answer is the `Case`; the own answer is the text of the log. Its share is what
    `marks.mark` gives of 100; from `FULL` on it is all.
    """

    key: str
    prompt: str
    marks: int
    objectives: tuple[str, ...]
    answer: Callable = case_of
    because: Callable = no_reasons

    picked = True
    proved_apart = True
    keeps_a_log = True
    says_partly = "The car is with its owner. What the road there lost, and where, stands below, step by step."
    says_wrong = "Nothing of it counts yet: name what is wrong, prove it, mend it, verify, and hand the car over."
    how_typed = "at the bench on the page"

    @property
    def guess_limit(self) -> float | None:
        """Not limited by itself: how guesses and copies fare is proved for the bench as a whole."""
        return None

    def typed(self, value: Any, given: SimpleNamespace | None = None) -> str:
        """The log itself; of a case the log of the best road."""
        case = _case(value)
        return value if case is None else trainees.best_road(case)

    def read(self, raw: str, given: SimpleNamespace | None = None) -> str:
        """The log, in the one form in which the same acts are the same text.

        Raises
        ------
        Unreadable
            It is no log, or damaged.
        """
        return session.written(session.acts(raw))

    def echo(self, value: Any, given: SimpleNamespace | None = None) -> str:
        """How many acts, and what was handed over; of a case, what is wrong with it."""
        case = _case(value)
        if case is not None:
            return " and ".join(session.truth_of(case))
        acts = session.acts(value)
        handed = [act for act in acts if act["do"] == session.HAND_OVER]
        told = f"{len(acts)} step{'' if len(acts) == 1 else 's'}"
        if not handed:
            return f"{told}, not handed over"
        found = " and ".join(session.group_words(group, handed[-1].get("at", 0)) for group in handed[-1]["found"])
        return f"{told}; handed over: {found}"

    def is_closed(self, raw: str, given: SimpleNamespace) -> bool:
        """True once the car is with its owner for good, or the case was ended."""
        return session.replay(self.answer(given), raw).closed

    def recorded(self, value: Any, width: Any = 0.0) -> str:
        """The faults of the case by their keys."""
        case = _case(value)
        if case is None:
            return value
        return json.dumps({"faults": list(case.atom.faults), "severity": case.atom.severity})

    def judge(self, truth: "Truth", path: str, right: Case, own: str) -> Judged:
        """By what could be known at each step."""
        marked = marks.mark(right, own)
        return Judged(min(1.0, marked.total / FULL), why=debrief.summary(right, own))

    def wrong_items(
        self, right: Any, own: Any, given: SimpleNamespace | None = None, because: Mapping[Any, str] = NOTHING
    ) -> list[Item]:
        """The steps that cost something, each with what would have been better, and what was left out."""
        case = _case(right)
        return [] if case is None else [Item(says, why) for says, why in debrief.losses(case, own)]

    def tables(self, right: Any, own: Any) -> list[Listed]:
        """The road taken, step by step, beside one best road."""
        case = _case(right)
        return [] if case is None else debrief.roads(case, own)

    def class_tables(self, worked: Sequence[tuple[Any, Any]]) -> list[Listed]:
        """Tests that a class forgets or takes too early, parts that it swaps, proofs that it skips."""
        cases = ((_case(right), own) for right, own in worked)
        return habits.as_tables([(case, own) for case, own in cases if case is not None])

    def family(self, given: SimpleNamespace) -> str:
        """Of `cases.FAMILIES`."""
        return from_plain(given).family

    def due(self, practised: Sequence[tuple[str, float, float]], today: float, among: Sequence[str]) -> str:
        """The weakest or longest ago, again after 1, 3 and 7 days; never the last one again where there is another."""
        done = [spacing.Practised(*entry) for entry in practised]
        return spacing.next_family(done, today, done[-1].family if done else "", among)

    def disturbed(self, chance: Random, right: Case) -> str:
        """The log of somebody who goes about it in another way."""
        return chance.choice((trainees.listed_road, trainees.parts_road))(right)

    def room(self, given: SimpleNamespace) -> Room:
        """Lines for those who worked at the bench and write down what they did."""
        return Room(
            lines=8, says="Work this on the page. Note here what you found, how you proved it and what you left."
        )
