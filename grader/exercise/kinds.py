"""Kinds of answer that are not one number and not one option.

Every kind knows four things about itself besides what is asked:

`typed(value, given)`  the plain text that stands in answers.json for a value
`read(raw, given)`     the value in such a text, or a refusal in one sentence
`echo(value, given)`   what the form shows under the field as "read as"
`share(right, own)`    how much of the marks an own value earns, 0 to 1

`given` holds the trainee's parameters; only a batch needs it, for its labels. A form
writes `typed` and shows the echo of what grader.marking.reading reads back; the marker
reads the same text in the same way.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from grader.exercise import listing
from grader.exercise.model import Absolute, Item, Number, Percent, Slip, no_reasons
from grader.units import Unit

LEAST_PIXELS = 3  # finer than this no hand points at a screen


@dataclass(frozen=True, slots=True)
class Range:
    """A part answered with two numbers, the smaller first; each end carries half the marks.

    `answer` and the slips give (low, high). The other fields are those of a Number.
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
    offered: tuple[Unit, ...] = field(init=False)
    half_step: float = field(init=False)
    alone: bool = field(init=False)
    most: int = field(init=False)
    behind: str = field(init=False)
    rivals: tuple = field(init=False)
    shuffled = ()

    def __post_init__(self):
        Number.__post_init__(self)
        object.__setattr__(self, "alone", False)

    @property
    def units(self):
        """Units offered by the form, the asked one first."""
        return (self.unit, *self.also)

    def typed(self, value, given=None):
        """Both ends rounded as asked: "28 to 34"."""
        return " to ".join(Number.typed(self, end) for end in value)


@dataclass(frozen=True, slots=True)
class PlotReading(Number):
    """A number read off a plot.

    `minor` is the finest division along the axis that is read, in `unit`, and
    `pixel` what one screen pixel of the plot spans there: nobody is asked to read
    closer than half a division or three pixels. `reads` maps the parameter on the
    other axis to half its division; the slope of the curve does the rest.
    """

    minor: float = 0.0
    pixel: float = 0.0

    def __post_init__(self):
        Number.__post_init__(self)
        if not self.minor > 0:
            raise ValueError(f"{self.key}: a reading off a plot needs its minor division")
        object.__setattr__(self, "half_step", max(self.minor / 2, LEAST_PIXELS * self.pixel, self.step / 2))


@dataclass(frozen=True, slots=True)
class Choices:
    """A part answered by all options that apply; a wrong tick takes a right one back.

    `answer` gives the keys that apply, in any order; none is allowed. `because` takes
    what `answer` takes and gives by option the reason why it applies, or why it
    does not, one whole sentence; an option without one is named without a reason.
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
    because: Callable = no_reasons

    def __post_init__(self):
        listing.check_keys(self.key, self.options)

    @property
    def shuffled(self):
        return tuple(self.options) if self.order == "shuffled" else ()

    def typed(self, value, given=None):
        """Keys in the order of the exercise: "a;c", or "none"."""
        return ";".join(key for key in self.options if key in set(value)) or listing.NONE

    def read(self, raw, given=None):
        """Keys ticked, in the order of the exercise."""
        if raw.strip().lower() in (listing.NONE, "[]"):
            return ()
        ticked = listing.keys(raw, ";,", self.options, "answers offered")
        return tuple(key for key in self.options if key in ticked)

    def echo(self, value, given=None):
        return "; ".join(self.options[key].rstrip(".") for key in value) or "none of these"

    def share(self, right, own):
        right, own = set(right), set(own)
        if right == own:
            return 1.0
        return max(0.0, (len(own & right) - len(own - right)) / len(right)) if right else 0.0

    def wrong_items(self, right, own, given=None, because=MappingProxyType({})):
        """Each tick that does not apply, and each option that applies and is not ticked.

        Returns
        -------
        list of Item
        """
        ticked = [key for key in self.options if key in own and key not in right]
        missing = [key for key in self.options if key in right and key not in own]
        hint = "One that applies is not ticked." if len(missing) == 1 else f"{len(missing)} that apply are not ticked."
        return [Item(f"“{self._words(key)}” does not apply.", because.get(key, "")) for key in ticked] + [
            Item(f"“{self._words(key)}” applies and is not ticked.", because.get(key, ""), hint) for key in missing
        ]

    def _words(self, key):
        return self.options[key].rstrip(".")


@dataclass(frozen=True, slots=True)
class Written:
    """A part answered in sentences and read by the instructor.

    `answer` gives a model answer for the instructor's eyes; `rubric` lists what to
    look for, with the marks of each point, which add up to `marks`.
    """

    key: str
    prompt: str
    marks: int
    rubric: tuple[tuple[str, int], ...]
    answer: Callable
    objectives: tuple[str, ...]
    uses: tuple[str, ...] = ()
    slips = ()
    shuffled = ()

    def __post_init__(self):
        if sum(points for _, points in self.rubric) != self.marks:
            raise ValueError(f"{self.key}: the points of the rubric do not add up to {self.marks}")

    def typed(self, value, given=None):
        return value

    def read(self, raw, given=None):
        return raw.strip()

    def echo(self, value, given=None):
        words = len(value.split())
        return f"{words} word{'' if words == 1 else 's'}"
