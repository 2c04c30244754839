"""What every kind of answer knows of itself; marking, forms, paper, sheets and exports ask it here.

A kind is a frozen dataclass that derives from `Part`. It stands in one file, its field
for the form in another, and a line in `grader.widgets.fields.kinds.FIELDS` ties the
two together. Nothing else names kinds.

An answer is a text from the moment it is given: what the form's field holds as `raw`
goes into answers.json, is read back by `read` and then compared. A short answer is a
number or a key; a long one may be a JSON text, such as the log of a session.
"""

import random
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType, SimpleNamespace
from typing import TYPE_CHECKING, Any, ClassVar, NamedTuple

from grader.errors import Unreadable
from grader.units import Unit, unit

if TYPE_CHECKING:
    from grader.exercise.truth import Truth

NOTHING: Mapping[Any, Any] = MappingProxyType({})
GUESSED = 0.10  # of trainees for whom one constant answer, or a classmate's, may be right
CHOICE_EXTRA = 0.05  # on top of 1/k for a choice of k


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
class Critical:
    """A step out of place that spoils the whole job: `before` must come before `after`."""

    key: str
    before: str
    after: str
    says: str


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


class Listed(NamedTuple):
    """A table in words: its caption, its headings, and rows of as many cells."""

    caption: str
    headings: tuple[str, ...]
    rows: list[tuple[str, ...]]


class Judged(NamedTuple):
    """What an answer earns beside one expected answer.

    `share` is 0 to 1. `slip` is the key of a slip or a critical step that spoils it, `why` a
    sentence about this very answer; both are mostly empty.
    """

    share: float
    slip: str = ""
    why: str = ""


class Room(NamedTuple):
    """Where an answer goes on paper.

    `room` is "lines", "number", "range", "one" or "several" boxes to cross, "order" or "batch"; the template of the
    paper sheet draws them. `options` are (letter, wording), `items` the labels of a batch, `units` the
    units of a number, `lines` how many there are, `says` what to write on them.
    """

    room: str = "lines"
    options: tuple[tuple[str, str], ...] = ()
    items: tuple[str, ...] = ()
    units: str = ""
    lines: int = 1
    says: str = ""


def no_reasons(given: SimpleNamespace, *earlier: Any) -> Mapping[Any, str]:
    """Reasons by item where an exercise gives none."""
    return NOTHING


class Part:
    """One thing that an exercise asks for; every kind of answer derives from this.

    Every kind has `key`, `prompt`, `marks`, `objectives` and `answer`, a function of the
    trainee's parameters and of the answers that `uses` names ("exercise.part"). Of the
    rest a kind says what is not so as it stands here. A kind must say `typed`, `read`
    and `echo`; most say `share`, or `judge`, too.

    `given` always is the namespace of the trainee's parameters.
    """

    __slots__ = ()

    key: str
    prompt: str
    marks: int
    objectives: tuple[str, ...]
    answer: Callable

    slips: tuple[Slip, ...] = ()
    critical: tuple[Critical, ...] = ()
    uses: tuple[str, ...] = ()
    # What would have to be so if a wrong option were right, by option.
    signs: Mapping[str, str] = NOTHING
    # Function of what `answer` takes: reasons by item.
    because: Callable = staticmethod(no_reasons)
    # Options or steps by key, in the order of the exercise; empty for what is typed.
    wording: Mapping[str, str] = NOTHING

    # A number, or two of them: it has a unit and a tolerance and is read as one.
    numeric: ClassVar[bool] = False
    ends: ClassVar[int] = 1
    unit: str = ""
    units: tuple[str, ...] = ()
    reads: Mapping[str, float] = NOTHING  # parameter read off an instrument -> half its division
    # Sentences, read by the instructor against `rubric`: (what to look for, its marks).
    by_person: ClassVar[bool] = False
    rubric: tuple[tuple[str, int], ...] = ()
    # Made by picking, not by typing: people are shown it in words, never as it stands in the file.
    picked: ClassVar[bool] = False
    shows_reading: ClassVar[bool] = True  # the form says what it read; an option picked is its own echo
    # Whether the right answer is right, and guesses are not, is proved for the kind as a whole, not by module.
    proved_apart: ClassVar[bool] = False
    keeps_a_log: ClassVar[bool] = False  # its answer is a road of many steps, so that a class has habits
    # An order may be the same for most trainees: such parts are counted, and limited together.
    often_fixed: ClassVar[bool] = False
    # What is said of an answer that is partly right, or wrong, where nothing closer is known.
    says_partly: ClassVar[str] = "Part of it is right. Go through it once more, one thing after the other."
    says_wrong: ClassVar[str] = "Not right. Write your steps down one by one and check each against the text above."
    # What is typed in for an answer on paper, in a few words.
    how_typed: ClassVar[str] = "as written"

    @property
    def most(self) -> int:
        """Hundredths of a mark that it is worth."""
        return 100 * self.marks

    @property
    def guess_limit(self) -> float | None:
        """Share of trainees for whom one constant answer, or a classmate's, may be right; None: not limited by itself."""
        return GUESSED

    # Text and value

    def typed(self, value: Any, given: SimpleNamespace | None = None) -> str:
        """The text that stands in answers.json for a value."""
        raise NotImplementedError

    def read(self, raw: str, given: SimpleNamespace | None = None) -> Any:
        """The value in such a text.

        Raises
        ------
        Unreadable
            With the sentence to show.
        """
        raise NotImplementedError

    def echo(self, value: Any, given: SimpleNamespace | None = None) -> str:
        """What the form shows under the field as "read as"."""
        raise NotImplementedError

    def steps(self, value: Any) -> tuple[str, ...]:
        """The lines of an echo that is a list of steps; empty for all other kinds."""
        return ()

    def shown(self, value: Any, given: SimpleNamespace | None = None) -> str:
        """An expected or own answer as a person writes it."""
        return self.echo(value, given)

    def recorded(self, value: Any, width: Any = 0.0) -> str:
        """What was right, in the words of the records; `width` is the tolerance of a number."""
        return self.typed(value)

    def is_closed(self, raw: str, given: SimpleNamespace) -> bool:
        """True if nothing can be added to this answer any more, so that its first check is the last."""
        return False

    def possible_for(self, own: Any) -> bool:
        """True if the physics allows an own value, so that it can be carried forward."""
        return True

    # What it earns

    def share(self, right: Any, own: Any) -> float:
        """How much of the marks an own value earns beside one expected value, 0 to 1: all or nothing."""
        return 1.0 if own == right else 0.0

    def judge(self, truth: "Truth", path: str, right: Any, own: Any) -> Judged:
        """What an own value earns, for kinds whose marks need more than the two values.

        Parameters
        ----------
        truth : Truth
            All that is expected of this trainee, and his numbers.
        path : str
            "exercise.part".
        right : value
            Expected, or what follows from the trainee's own earlier answers.
        own : value
            As `read` gave it.
        """
        return Judged(self.share(right, own))

    def wrong_items(
        self, right: Any, own: Any, given: SimpleNamespace | None = None, because: Mapping[Any, str] = NOTHING
    ) -> list[Item]:
        """What is wrong, item by item, where an answer is made of items.

        Parameters
        ----------
        right, own : values
        given : namespace
            Needed by kinds whose items are drawn.
        because : dict
            Reasons by item, as the exercise gives them.
        """
        return []

    def tables(self, right: Any, own: Any) -> list[Listed]:
        """What a returned sheet shows beside the answer: the own road beside another, for kinds that keep a log.

        Parameters
        ----------
        right, own : values
        """
        return []

    def class_tables(self, worked: Sequence[tuple[Any, Any]]) -> list[Listed]:
        """Where a class loses its way, for kinds that keep a log.

        Parameters
        ----------
        worked : list of (right, own)
            Of every attempt that counts.
        """
        return []

    def family(self, given: SimpleNamespace) -> str:
        """What is practised by it, for kinds of which practice deals what is due; else nothing."""
        return ""

    def due(self, practised: Sequence[tuple[str, float, float]], today: float, among: Sequence[str]) -> str:
        """The family that is practised next, for kinds that have families.

        Parameters
        ----------
        practised : list of (family, day, share of the marks)
            In the order in which it was done.
        today : float [day]
        among : sequence of str
            Families that can be dealt.
        """
        return among[0]

    # What is drawn

    @property
    def shuffled(self) -> tuple[str, ...]:
        """Keys whose order on the screen is drawn for each trainee."""
        return ()

    @property
    def order_name(self) -> str:
        """Name of the parameter that holds the order in which options or steps are shown."""
        return f"order_{self.key}"

    def in_shown_order(self, given: SimpleNamespace) -> tuple[tuple[str, str], ...]:
        """(key, wording) of the options or steps, in the order in which this trainee sees them."""
        return tuple((key, self.wording[key]) for key in getattr(given, self.order_name, tuple(self.wording)))

    def is_fit(self, right: Any, given: SimpleNamespace) -> bool:
        """Whether numbers may be issued whose expected answer is `right`; False draws anew."""
        return True

    def disturbed(self, chance: random.Random, right: Any) -> Any:
        """A wrong answer of the same kind, as an honest trainee may give it; for simulated classes."""
        raise NotImplementedError

    # On paper

    def lettered(self, given: SimpleNamespace) -> tuple[tuple[str, str, str], ...]:
        """(letter, key, wording) of the options or steps as a sheet of paper shows them."""
        shown = enumerate(self.in_shown_order(given))
        return tuple((chr(ord("A") + place), key, words) for place, (key, words) in shown)

    def room(self, given: SimpleNamespace) -> Room:
        """Where the answer goes on paper."""
        return Room()

    def from_paper(self, text: str, given: SimpleNamespace) -> str:
        """The text for answers.json of what somebody reads off a sheet, without blanks around it.

        Raises
        ------
        Unreadable
            It is nothing that the sheet asks for.
        """
        keys = {letter: key for letter, key, _ in self.lettered(given)}
        if not keys or not text:
            return text
        letters = re.findall(r"[^\W\d_]", text.upper())
        if not re.fullmatch(r"[A-Za-z\s,;>.-]+", text) or not letters or set(letters) - set(keys):
            raise Unreadable(f"“{text[:30]}” are not letters of this sheet. Its letters are {', '.join(keys)}.")
        if len(set(letters)) < len(letters):
            raise Unreadable(f"“{text[:30]}” names a letter twice. Type each once.")
        return self.of_letters([keys[letter] for letter in letters], text)

    def of_letters(self, keys: Sequence[str], text: str) -> str:
        """The text for answers.json of the options or steps whose letters stand on a sheet."""
        return self.typed(keys)


class Numeric(Part):
    """What numbers and ranges share: a unit, rounding as asked, physical bounds."""

    __slots__ = ()

    numeric = True
    how_typed = "number with unit"
    step: float
    possible: tuple[float, float]
    also: tuple[str, ...]
    asked: Unit
    offered: tuple[Unit, ...]
    half_step: float

    def _prepare(self) -> None:
        """Fill the fields that follow from the others, while the object is made."""
        object.__setattr__(self, "asked", unit(self.unit))
        object.__setattr__(self, "offered", tuple(map(unit, self.units)))
        object.__setattr__(self, "half_step", self.step / 2)

    @property
    def units(self) -> tuple[str, ...]:
        """Units offered by the form, the asked one first."""
        return (self.unit, *self.also)

    def is_closed(self, raw: str, given: SimpleNamespace) -> bool:
        """True if nothing can be added to this answer any more, so that its first check is the last."""
        return False

    def possible_for(self, own: Any) -> bool:
        """True if every end lies within the physical bounds."""
        least, most = self.possible
        return all(least <= end <= most for end in (own if isinstance(own, tuple) else (own,)))

    def shown(self, value: Any, given: SimpleNamespace | None = None) -> str:
        """Rounded as asked, with its unit."""
        return f"{self.typed(value)} {self.unit}".strip()

    def echo(self, value: Any, given: SimpleNamespace | None = None) -> str:
        """As `shown`; a form shows what the reader of numbers made of the text."""
        return self.shown(value)

    def recorded(self, value: Any, width: Any = 0.0) -> str:
        """What counts as right: "27.9..28.1", or both ends of a range so."""
        if isinstance(value, tuple):
            return " to ".join(f"{end - off:.6g}..{end + off:.6g}" for end, off in zip(value, width, strict=True))
        return f"{value - width:.6g}..{value + width:.6g}"

    def rounded(self, value: float) -> str:
        """One number as the form would save it, rounded as asked."""
        places = max(0, len(f"{self.step:.10f}".rstrip("0").partition(".")[2]))
        return f"{value:.{places}f}"

    def exactly(self, value: Any) -> str:
        """One number or two, to nine decimals: for proofs that must not round."""
        return " to ".join(f"{end:.9f}" for end in (value if isinstance(value, tuple) else (value,)))

    def disturbed(self, chance: random.Random, right: Any) -> Any:
        """A miscalculation of 8 to 40 %."""
        factor = 1 + chance.choice((-1, 1)) * chance.uniform(0.08, 0.4)
        return tuple(end * factor for end in right) if isinstance(right, tuple) else right * factor

    def room(self, given: SimpleNamespace) -> Room:
        """A blank for the number, or two, and one for the unit."""
        return Room("range" if self.ends == 2 else "number", units=" or ".join(text for text in self.units if text))


def sayings(part: Part) -> dict[str, str]:
    """Sentences of a part's slips and critical steps by key."""
    return {slip.key: slip.says for slip in (*part.slips, *part.critical)}
