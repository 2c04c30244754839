"""Kinds of answer that are not one number and not one option; what they share is told in part.py."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from random import Random
from types import MappingProxyType, SimpleNamespace
from typing import Any

from grader.exercise import listing
from grader.exercise.model import Absolute, Number, Percent
from grader.exercise.part import CHOICE_EXTRA, NOTHING, Item, Numeric, Part, Room, Slip, no_reasons
from grader.units import Unit

LEAST_PIXELS = 3  # finer than this no hand points at a screen


@dataclass(frozen=True, slots=True)
class Range(Numeric):
    """A part answered with two numbers, the smaller first; each end carries half the marks.

    `answer` and the slips give (low, high). The other fields are those of a Number.
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
    offered: tuple[Unit, ...] = field(init=False)
    half_step: float = field(init=False)

    ends = 2
    how_typed = "both numbers with unit"
    says_wrong = "Neither end is right. Work out the least by itself, then the most, and ask which figures make each."

    def __post_init__(self):
        self._prepare()

    def typed(self, value: Any, given: SimpleNamespace | None = None) -> str:
        """Both ends rounded as asked: "28 to 34"."""
        return " to ".join(map(self.rounded, value))


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

    says_wrong = (
        "Not what the picture shows. Check which curve you follow, and what one division of each scale stands for."
    )

    def __post_init__(self):
        self._prepare()
        if not self.minor > 0:
            raise ValueError(f"{self.key}: a reading off a plot needs its minor division")
        object.__setattr__(self, "half_step", max(self.minor / 2, LEAST_PIXELS * self.pixel, self.step / 2))


@dataclass(frozen=True, slots=True)
class Choices(Part):
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

    picked = True
    says_partly = "Some of it is right. Something is ticked that does not apply, or one is missing."
    says_wrong = "Not right. Ask of each line by itself: does it fit what the task says?"
    how_typed = "letters, or none"

    def __post_init__(self):
        listing.check_keys(self.key, self.options)

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
        """Keys in the order of the exercise: "a;c", or "none"."""
        return ";".join(key for key in self.options if key in set(value)) or listing.NONE

    def read(self, raw: str, given: SimpleNamespace | None = None) -> tuple[str, ...]:
        """Keys ticked, in the order of the exercise."""
        if raw.strip().lower() in (listing.NONE, "[]"):
            return ()
        ticked = listing.keys(raw, ";,", self.options, "answers offered")
        return tuple(key for key in self.options if key in ticked)

    def echo(self, value: Any, given: SimpleNamespace | None = None) -> str:
        """The wording of all that is ticked."""
        return "; ".join(map(self._words, value)) or "none of these"

    def share(self, right: Any, own: Any) -> float:
        """Right ticks less wrong ones, of those that apply; not below 0."""
        right, own = set(right), set(own)
        if right == own:
            return 1.0
        return max(0.0, (len(own & right) - len(own - right)) / len(right)) if right else 0.0

    def disturbed(self, chance: Random, right: Any) -> tuple[str, ...]:
        """One tick too many, or too few."""
        changed = chance.choice(sorted(self.options))
        return tuple(key for key in self.options if (key in right) != (key == changed))

    def room(self, given: SimpleNamespace) -> Room:
        """A box before each option, and one for none."""
        lettered = tuple((letter, words) for letter, _, words in self.lettered(given))
        return Room("several", (*lettered, ("", "none of these")))

    def from_paper(self, text: str, given: SimpleNamespace) -> str:
        """Letters, or "none"."""
        return listing.NONE if text.lower() == listing.NONE else Part.from_paper(self, text, given)

    def wrong_items(
        self, right: Any, own: Any, given: SimpleNamespace | None = None, because: Mapping[Any, str] = NOTHING
    ) -> list[Item]:
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

    def _words(self, key: str) -> str:
        return self.options[key].rstrip(".")


@dataclass(frozen=True, slots=True)
class Written(Part):
    """A part answered in sentences and read by the instructor.

    `answer` gives a model answer for the instructor's eyes; `rubric` lists what to
    look for, with the marks of each point, which add up to `marks`.
    """

    key: str
    prompt: str
    marks: int
    rubric: tuple[tuple[str, int], ...] = field()
    answer: Callable = field()
    objectives: tuple[str, ...] = field()
    uses: tuple[str, ...] = ()

    by_person = True
    how_typed = "the text"

    def __post_init__(self):
        if sum(points for _, points in self.rubric) != self.marks:
            raise ValueError(f"{self.key}: the points of the rubric do not add up to {self.marks}")

    @property
    def guess_limit(self) -> float | None:
        return None

    def typed(self, value: Any, given: SimpleNamespace | None = None) -> str:
        """The text itself."""
        return value

    def read(self, raw: str, given: SimpleNamespace | None = None) -> str:
        """The text without blanks around it."""
        return raw.strip()

    def echo(self, value: Any, given: SimpleNamespace | None = None) -> str:
        """How many words it has."""
        words = len(value.split())
        return f"{words} word{'' if words == 1 else 's'}"

    def shown(self, value: Any, given: SimpleNamespace | None = None) -> str:
        """The text itself."""
        return value

    def disturbed(self, chance: Random, right: Any) -> str:
        """A text that says nothing of what was asked."""
        return "I will think about it."

    def room(self, given: SimpleNamespace) -> Room:
        """Nine lines."""
        return Room(lines=9)
