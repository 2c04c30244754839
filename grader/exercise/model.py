"""What an exercise is: a frozen definition without any trainee in it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from random import Random
from types import MappingProxyType, SimpleNamespace
from typing import Any, TypeAlias

from grader.errors import BadSheet, Unreadable
from grader.exercise import words
from grader.exercise.part import CHOICE_EXTRA, Numeric, Part, Room, Slip
from grader.exercise.spread import Pick, Steps
from grader.units import Unit

PRACTICE, ASSESSED = "practice", "assessed"
# Parameters are plain JSON values: texts, numbers and lists of them.
Numbers: TypeAlias = Mapping[str, Mapping[str, Any]]  # exercise key -> its parameters
AsIssued: TypeAlias = Mapping[str, Mapping[str, Any]]  # exercise key -> {"version", "parameters"}
ROUNDING_SLACK = 1e-9  # relative: a bound written in decimals is not exact in binary


@dataclass(frozen=True, slots=True)
class Absolute:
    """Least tolerance as a width in the part's unit, with the reason for it."""

    width: float
    reason: str

    def around(self, width: float, value: float) -> float:
        """The tolerance around a value where reading and rounding alone ask for `width`."""
        return (width if width > self.width else self.width) + ROUNDING_SLACK * abs(value)


@dataclass(frozen=True, slots=True)
class Percent:
    """Least tolerance as a share of the expected value, and at least a width in the part's unit, with the reason for it."""

    share: float
    reason: str
    least: float = 0.0

    def around(self, width: float, value: float) -> float:
        """The tolerance around a value where reading and rounding alone ask for `width`."""
        size = abs(value)
        least = size * self.share / 100
        if least < self.least:
            least = self.least
        return (width if width > least else least) + ROUNDING_SLACK * size


@dataclass(frozen=True, slots=True)
class Number(Numeric):
    """A part answered with one number and a unit.

    `step` is the rounding asked for, in `unit`. `reads` maps a parameter that is
    read off an instrument to half its division. `uses` names earlier parts
    ("exercise.part") whose answers are handed to `answer` after the parameters.
    `possible` are the physical bounds of an answer in `unit`; only an answer
    inside them is carried forward.
    """

    key: str
    prompt: str
    unit: str = field()
    marks: int = field()
    answer: Callable = field()
    step: float = field()
    within: Absolute | Percent = field()
    possible: tuple[float, float] = field()
    objectives: tuple[str, ...] = field()
    slips: tuple[Slip, ...] = ()
    reads: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    uses: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    asked: Unit = field(init=False)
    offered: tuple[Unit, ...] = field(init=False)  # the asked unit and the others of the form
    half_step: float = field(init=False)  # how far rounding as asked can move an answer

    def __post_init__(self):
        self._prepare()

    def typed(self, value: Any, given: SimpleNamespace | None = None) -> str:
        """The number as the form would save it, rounded as asked."""
        return self.rounded(value)


@dataclass(frozen=True, slots=True)
class Choice(Part):
    """A part answered by one of several options.

    `options` maps keys to wording; `answer` gives the right key for the
    parameters. `order` says how to show them: "shuffled" draws an order from the
    trainee's own numbers, "fixed" keeps the order written here. `signs` tells of an
    option, where it is wrong and no slip leads to it, what would have to be so.
    """

    key: str
    prompt: str
    marks: int
    options: Mapping[str, str]
    answer: Callable
    objectives: tuple[str, ...]
    slips: tuple[Slip, ...] = ()
    order: str = "shuffled"
    uses: tuple[str, ...] = ()
    signs: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))

    picked = True
    shows_reading = False
    says_wrong = "Not this one. Take the answers one by one and check each against every fact in the task."
    how_typed = "letter"

    @property
    def wording(self) -> Mapping[str, str]:
        return self.options

    @property
    def shuffled(self) -> tuple[str, ...]:
        return tuple(self.options) if self.order == "shuffled" else ()

    @property
    def guess_limit(self) -> float | None:
        return 1 / len(self.options) + CHOICE_EXTRA

    def typed(self, value: Any, given: SimpleNamespace | None = None) -> str:
        """The option as the form would save it: its key."""
        return value

    def read(self, raw: str, given: SimpleNamespace | None = None) -> str:
        """The key of the option chosen."""
        key = raw.strip()
        if key not in self.options:
            raise Unreadable(f"“{key[:30]}” is none of the answers offered. Choose one of them.")
        return key

    def echo(self, value: Any, given: SimpleNamespace | None = None) -> str:
        """The wording of the option."""
        return self.options[value]

    def disturbed(self, chance: Random, right: Any) -> str:
        """Another option."""
        return chance.choice([key for key in self.options if key != right])

    def room(self, given: SimpleNamespace) -> Room:
        """A box before each option."""
        return Room("one", tuple((letter, words) for letter, _, words in self.lettered(given)))

    def of_letters(self, keys: Sequence[str], text: str) -> str:
        """The key of the one box that is ticked."""
        if len(keys) > 1:
            raise Unreadable(f"“{text[:30]}” are {len(keys)} letters; one box may be ticked.")
        return keys[0]


class Line(str):
    """A line of a worked route that tells answers; a plain text tells none.

    `tells` names them: the key of a part of the same exercise, or "exercise.part" of an
    earlier one. While one of them may not be given away, the line is kept back.
    """

    __slots__ = ("tells",)

    def __new__(cls, text, *tells):
        line = super().__new__(cls, text)
        line.tells = tells
        return line


@dataclass(frozen=True, slots=True)
class Exercise:
    """One task: parameters drawn for each trainee and one or more parts.

    `version` covers the draw and the reference and is frozen once released;
    `marking` may be revised. `fill` derives further parameters from the drawn
    ones, so that what is issued is complete in itself. An exercise linked to
    an earlier one is drawn together with it and receives its parameters.
    `text` is a template over the parameters and what `show` adds to them; `route`
    gives the worked steps as lines with the trainee's own numbers. Where there are
    several parts, or earlier answers are used, a line that tells one is a `Line`.
    """

    key: str
    version: int
    marking: int
    title: str
    text: str
    draw: Mapping[str, Steps | Pick]
    parts: tuple[Part, ...]
    route: Callable
    fill: Callable | None = None
    show: Callable | None = None
    linked: str | None = None
    paths: tuple = field(init=False, repr=False, compare=False)  # (part, "exercise.part")
    shuffled: tuple = field(init=False, repr=False, compare=False)  # parts whose order is drawn
    named: bytes = field(init=False, repr=False, compare=False)  # key and version among the names of a draw

    def __post_init__(self):
        shuffled = tuple(part for part in self.parts if part.shuffled)
        object.__setattr__(self, "paths", tuple((part, f"{self.key}.{part.key}") for part in self.parts))
        object.__setattr__(self, "shuffled", shuffled)
        object.__setattr__(self, "named", words.named(self.key, str(self.version)))

    @property
    def marks(self) -> int:
        return sum(part.marks for part in self.parts)

    @property
    def name(self) -> str:
        """The key without its module, as it stands in cell names."""
        return self.key.partition(".")[2]

    def wording(self, given: SimpleNamespace) -> str:
        """The task with a trainee's own numbers in it."""
        return self.text.format(**{**vars(given), **(self.show(given) if self.show else {})})


@dataclass(frozen=True, slots=True, eq=False)
class Module:
    """One teaching unit: a lesson and its exercises.

    `exercises` stand in the order of the lesson. `recorded` names their keys in the
    order in which records do, where that is another: a lesson may be rearranged, and
    marks noted before must not look changed. `old` keeps the objects of earlier
    versions, so that work issued with them can be marked again. `by_path` leads from "exercise.part" to (exercise, part);
    `carried` are the paths whose answers a later part uses.
    """

    key: str
    title: str
    minutes: int
    exercises: tuple[Exercise, ...]
    old: tuple[Exercise, ...] = ()
    recorded: tuple[str, ...] = ()
    by_path: Mapping = field(init=False, repr=False, compare=False)
    carried: frozenset = field(init=False, repr=False, compare=False)
    _parts: tuple = field(init=False, repr=False, compare=False)
    _groups: tuple = field(init=False, repr=False, compare=False)
    _issued: dict = field(init=False, repr=False, compare=False)

    def __post_init__(self):
        keys = [exercise.key for exercise in self.exercises]
        if len(set(keys)) != len(keys):
            raise ValueError(f"{self.key}: two exercises share a key")
        versions = [(exercise.key, exercise.version) for exercise in (*self.exercises, *self.old)]
        if len(set(versions)) != len(versions):
            raise ValueError(f"{self.key}: an old exercise has the version of another one")
        parts = tuple((e, p, path) for e in self.exercises for p, path in e.paths)
        object.__setattr__(self, "_parts", parts)
        object.__setattr__(self, "by_path", MappingProxyType({path: (e, p) for e, p, path in parts}))
        object.__setattr__(self, "carried", frozenset(path for _, p, _ in parts for path in p.uses))
        groups = {}
        for exercise in self.exercises:
            groups.setdefault(exercise.linked or exercise.key, []).append(exercise)
        object.__setattr__(self, "_groups", tuple(map(tuple, groups.values())))
        object.__setattr__(self, "_issued", {})

    @property
    def marks(self) -> int:
        return sum(exercise.marks for exercise in self.exercises)

    def groups(self) -> tuple[tuple[Exercise, ...], ...]:
        """Exercises that are drawn together, leader first."""
        return self._groups

    def parts(self) -> tuple[tuple[Exercise, Part, str], ...]:
        """Every (exercise, part, "exercise.part") in the order of the lesson."""
        return self._parts

    def as_issued(self, exercises: AsIssued) -> Module:
        """The module as it was issued: only those exercises, each in its version.

        Parameters
        ----------
        exercises : dict
            Exercise key to {"version", "parameters"}.

        Returns
        -------
        Module

        Raises
        ------
        BadSheet
            Nothing of this module was issued, or in a version that is not kept.
        """
        wanted = tuple((key, entry["version"]) for key, entry in exercises.items())
        if wanted not in self._issued:
            self._issued[wanted] = self._select(dict(wanted))
        return self._issued[wanted]

    def _select(self, wanted: Mapping[str, int]) -> Module:
        kept = {(exercise.key, exercise.version): exercise for exercise in (*self.exercises, *self.old)}
        order = list(dict.fromkeys(key for key, _ in kept))
        missing = [(key, version) for key, version in wanted.items() if (key, version) not in kept]
        if missing:
            key, version = missing[0]
            have = ", ".join(str(v) for k, v in kept if k == key) or "none"
            raise BadSheet(
                f"{key} was issued in version {version}; this version of Timing Mark marks version {have}. "
                "Use the version it was issued with."
            )
        if not wanted:
            raise BadSheet(f"No numbers were issued for {self.exercises[0].key}. Assign the module again.")
        chosen = tuple(kept[key, wanted[key]] for key in order if key in wanted)
        if chosen == self.exercises:
            return self
        return Module(self.key, self.title, self.minutes, chosen, recorded=self.recorded)


def key_version(module: Module) -> str:
    """Which exercises, in which version, make up a module: "mark_arc@1 angle_time@1 ..."."""
    place = {key: number for number, key in enumerate(module.recorded)}
    named = sorted(module.exercises, key=lambda exercise: place.get(exercise.key, len(place)))
    return " ".join(f"{exercise.name}@{exercise.version}" for exercise in named)
