"""What an exercise is: a frozen definition without any trainee in it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from grader import units
from grader.errors import BadSheet, Unreadable
from grader.exercise import words
from grader.exercise.spread import Pick, Steps
from grader.units import Unit, unit

PRACTICE, ASSESSED = "practice", "assessed"
ROUNDING_SLACK = 1e-9  # relative: a bound written in decimals is not exact in binary


@dataclass(frozen=True, slots=True)
class Absolute:
    """Least tolerance as a width in the part's unit, with the reason for it."""

    width: float
    reason: str

    def around(self, width, value):
        """The tolerance around a value where reading and rounding alone ask for `width`."""
        return (width if width > self.width else self.width) + ROUNDING_SLACK * abs(value)


@dataclass(frozen=True, slots=True)
class Percent:
    """Least tolerance as a share of the expected value, and at least a width in the part's unit, with the reason for it."""

    share: float
    reason: str
    least: float = 0.0

    def around(self, width, value):
        """The tolerance around a value where reading and rounding alone ask for `width`."""
        size = abs(value)
        least = size * self.share / 100
        if least < self.least:
            least = self.least
        return (width if width > least else least) + ROUNDING_SLACK * size


@dataclass(frozen=True, slots=True)
class Slip:
    """A foreseen wrong route.

    `value` takes the parameters (and the earlier answers, as the part's own
    function does) and gives the number that this route leads to, or None where
    the route does not exist for these parameters. For a choice it gives the key
    of the option. `says` names the slip and how to put it right.
    """

    key: str
    says: str
    value: Callable
    share: float = 0.0


@dataclass(frozen=True, slots=True)
class Number:
    """A part answered with one number and a unit.

    `step` is the rounding asked for, in `unit`. `reads` maps a parameter that is
    read off an instrument to half its division. `uses` names earlier parts
    ("exercise.part") whose answers are handed to `answer` after the parameters.
    `possible` are the physical bounds of an answer in `unit`; only an answer
    inside them is carried forward.
    """

    key: str
    prompt: str
    unit: str
    marks: int
    answer: Callable
    step: float
    within: Absolute | Percent
    possible: tuple[float, float]
    objectives: tuple[str, ...]
    slips: tuple[Slip, ...] = ()
    reads: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    uses: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    asked: Unit = field(init=False)
    offered: tuple[Unit, ...] = field(init=False)  # the asked unit and the others of the form
    half_step: float = field(init=False)  # how far rounding as asked can move an answer
    alone: bool = field(init=False)  # one number; nothing is read off an instrument or carried from an earlier answer
    most: int = field(init=False)  # hundredths of a mark
    behind: str = field(init=False)  # what the unit adds to a number in the form
    rivals: tuple = field(init=False)  # (factor, shift) to the asked unit from others of its kind
    shuffled = ()

    def __post_init__(self):
        object.__setattr__(self, "asked", unit(self.unit))
        object.__setattr__(self, "offered", tuple(map(unit, (self.unit, *self.also))))
        object.__setattr__(self, "half_step", self.step / 2)
        object.__setattr__(self, "most", 100 * self.marks)
        object.__setattr__(self, "behind", f" {self.asked.text}" if self.asked.text else "")
        object.__setattr__(self, "alone", not (self.reads or self.uses))
        others = [other for other in self.offered if units.same_kind(other, self.asked) and other != self.asked]
        object.__setattr__(self, "rivals", tuple(units.line(other, self.asked) for other in others))

    @property
    def units(self):
        """Units offered by the form, the asked one first."""
        return (self.unit, *self.also)

    def typed(self, value, given=None):
        """The number as the form would save it, rounded as asked."""
        places = max(0, len(f"{self.step:.10f}".rstrip("0").partition(".")[2]))
        return f"{value:.{places}f}"


@dataclass(frozen=True, slots=True)
class Choice:
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

    @property
    def shuffled(self):
        """Keys whose order on the screen is drawn for each trainee."""
        return tuple(self.options) if self.order == "shuffled" else ()

    def typed(self, value, given=None):
        """The option as the form would save it: its key."""
        return value

    def read(self, raw, given=None):
        """The key of the option chosen."""
        key = raw.strip()
        if key not in self.options:
            raise Unreadable(f"“{key[:30]}” is none of the answers offered. Choose one of them.")
        return key

    def echo(self, value, given=None):
        """What the form shows as read."""
        return self.options[value]

    def share(self, right, own):
        """All or nothing."""
        return 1.0 if own == right else 0.0


def no_reasons(given, *earlier):
    """Reasons by item where an exercise gives none."""
    return {}


@dataclass(frozen=True, slots=True)
class Item:
    """What is wrong with one item of an answer: a heap, a pair of steps, a tick.

    `says` names the item and what is the matter, `why` gives the reason, or is empty.
    `hint` takes the place of both while more tries are open and naming the item
    would be telling the answer; most items need none.
    """

    says: str
    why: str = ""
    hint: str = ""


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
    parts: tuple  # of Number, Choice and the kinds in kinds.py and sorting.py
    route: Callable
    fill: Callable | None = None
    show: Callable | None = None
    linked: str | None = None
    paths: tuple = field(init=False, repr=False, compare=False)  # (part, "exercise.part")
    shuffled: tuple = field(init=False, repr=False, compare=False)  # parts whose order is drawn
    takes: int = field(init=False, repr=False, compare=False)  # random words that a draw takes
    named: bytes = field(init=False, repr=False, compare=False)  # key and version among the names of a draw

    def __post_init__(self):
        shuffled = tuple(part for part in self.parts if part.shuffled)
        object.__setattr__(self, "paths", tuple((part, f"{self.key}.{part.key}") for part in self.parts))
        object.__setattr__(self, "shuffled", shuffled)
        object.__setattr__(self, "named", words.named(self.key, str(self.version)))
        object.__setattr__(self, "takes", len(self.draw) + sum(len(part.shuffled) - 1 for part in shuffled))

    @property
    def marks(self):
        return sum(part.marks for part in self.parts)

    @property
    def name(self):
        """The key without its module, as it stands in cell names."""
        return self.key.partition(".")[2]

    def wording(self, given):
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
    def marks(self):
        return sum(exercise.marks for exercise in self.exercises)

    def groups(self):
        """Exercises that are drawn together, leader first."""
        return self._groups

    def parts(self):
        """Every (exercise, part, "exercise.part") in the order of the lesson."""
        return self._parts

    def as_issued(self, exercises):
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

    def _select(self, wanted):
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


def sayings(part):
    """Sentences of a part's slips and critical steps by key."""
    return {slip.key: slip.says for slip in (*part.slips, *getattr(part, "critical", ()))}


def key_version(module):
    """Which exercises, in which version, make up a module: "mark_arc@1 angle_time@1 ..."."""
    place = {key: number for number, key in enumerate(module.recorded)}
    named = sorted(module.exercises, key=lambda exercise: place.get(exercise.key, len(place)))
    return " ".join(f"{exercise.name}@{exercise.version}" for exercise in named)
