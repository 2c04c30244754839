"""What an exercise is: a frozen definition without any trainee in it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from grader.units import Unit, unit

PRACTICE, ASSESSED = "practice", "assessed"


@dataclass(frozen=True, slots=True)
class Steps:
    """Parameter drawn from low, low + step, ... high, all divided by `scale`."""

    low: int
    high: int
    step: int = 1
    scale: int = 1

    def __len__(self):
        return (self.high - self.low) // self.step + 1

    def __getitem__(self, index):
        whole = self.low + index * self.step
        return whole if self.scale == 1 else whole / self.scale


@dataclass(frozen=True, slots=True)
class Pick:
    """Parameter drawn from named values."""

    options: tuple

    def __len__(self):
        return len(self.options)

    def __getitem__(self, index):
        return self.options[index]


@dataclass(frozen=True, slots=True)
class Absolute:
    """Least tolerance as a width in the part's unit, with the reason for it."""

    width: float
    reason: str

    def at(self, value):
        return self.width


@dataclass(frozen=True, slots=True)
class Percent:
    """Least tolerance as a share of the expected value, with the reason for it."""

    share: float
    reason: str

    def at(self, value):
        return abs(value) * self.share / 100


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

    def __post_init__(self):
        object.__setattr__(self, "asked", unit(self.unit))

    @property
    def units(self):
        """Units offered by the form, the asked one first."""
        return (self.unit, *self.also)


@dataclass(frozen=True, slots=True)
class Choice:
    """A part answered by one of several options.

    `options` maps keys to wording; `answer` gives the right key for the
    parameters. `order` says how to show them: "shuffled" draws an order from the
    trainee's own numbers, "fixed" keeps the order written here.
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


@dataclass(frozen=True, slots=True)
class Exercise:
    """One task: parameters drawn for each trainee and one or more parts.

    `version` covers the draw and the reference and is frozen once released;
    `marking` may be revised. `fill` derives further parameters from the drawn
    ones, so that what is issued is complete in itself. An exercise linked to
    an earlier one is drawn together with it and receives its parameters.
    `text` is a template over the parameters and what `show` adds to them; `route`
    gives the worked steps as lines with the trainee's own numbers.
    """

    key: str
    version: int
    marking: int
    title: str
    text: str
    draw: Mapping[str, Steps | Pick]
    parts: tuple[Number | Choice, ...]
    route: Callable
    fill: Callable | None = None
    show: Callable | None = None
    linked: str | None = None

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


@dataclass(frozen=True, slots=True)
class Module:
    """One teaching unit: a lesson and its exercises."""

    key: str
    title: str
    minutes: int
    exercises: tuple[Exercise, ...]

    def __post_init__(self):
        keys = [exercise.key for exercise in self.exercises]
        if len(set(keys)) != len(keys):
            raise ValueError(f"{self.key}: two exercises share a key")

    @property
    def marks(self):
        return sum(exercise.marks for exercise in self.exercises)

    def groups(self):
        """Exercises that are drawn together, leader first."""
        found = {}
        for exercise in self.exercises:
            found.setdefault(exercise.linked or exercise.key, []).append(exercise)
        return tuple(tuple(group) for group in found.values())

    def parts(self):
        """Every (exercise, part, "exercise.part") in the order of the lesson."""
        return tuple((e, p, f"{e.key}.{p.key}") for e in self.exercises for p in e.parts)
