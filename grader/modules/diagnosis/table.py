"""What the exercises of module 6 take from the bench: which fault shows what, in a mechanic's words."""

from collections.abc import Mapping, Sequence
from functools import cache
from typing import TypeVar

from grader.bench.checks import expected
from grader.bench.instruments import instrument, instruments, phrase
from grader.bench.owner import complaint_words
from grader.bench.signs import UNREADABLE, signs
from grader.exercise.spread import Steps
from grader.vehicle.faults import ELSEWHERE, SOUND, fault, faults
from grader.vehicle.spec import vehicle, vehicles

T = TypeVar("T")
ENGINES = tuple(vehicles())
LETTERS = "ABCDEFGHI"
MANY = Steps(0, 9999)  # a place in a list of any length, as evenly as so many allow
STRIDES = (1, 3, 5, 7, 11, 13, 17, 19)


def few(entries: Sequence[T], start: int, stride: int, count: int) -> list[T]:
    """Some entries of a list, each once, from a drawn place on in drawn steps around it."""
    length = len(entries)
    taken: dict[int, None] = {}
    place = start * length // len(MANY.values)
    while len(taken) < min(count, length):
        while place % length in taken:
            place += 1
        taken[place % length] = None
        place += stride
    return [entries[at] for at in taken]


def one_of(entries: Sequence[T], start: int) -> T:
    """One entry of a list, from a drawn place."""
    return entries[start * len(entries) // len(MANY.values)]


def title(engine: str) -> str:
    """What a vehicle is called in a task: "Anstow 5.2 V8 (van)"."""
    spec = vehicle(engine)
    return f"{spec.title} ({spec.use})"


@cache
def word(key: str, sign: str) -> str | None:
    """What a fault shows on a sign; None where engines differ, or where nothing can be read."""
    words = expected()[key].signs[sign]
    return words[0] if len(words) == 1 and words[0] != UNREADABLE else None


def sound_word(sign: str) -> str:
    """What the sound car shows."""
    return signs()[sign].results[0]


@cache
def telling(key: str) -> tuple[str, ...]:
    """Signs that are out with a fault on every engine, of those that an instrument or a look gives."""
    return tuple(
        name for name, sign in signs().items() if sign.instrument and word(key, name) not in (None, sound_word(name))
    )


@cache
def quiet(key: str) -> tuple[str, ...]:
    """Signs that are with a fault as on the sound car, on every engine."""
    return tuple(name for name, sign in signs().items() if sign.instrument and word(key, name) == sound_word(name))


@cache
def measured() -> tuple[str, ...]:
    """Signs that an instrument reads and never misses."""
    return tuple(
        name
        for name, sign in signs().items()
        if sign.instrument and not sign.is_look and instrument(sign.instrument).hit >= 1
    )


@cache
def looks() -> tuple[str, ...]:
    """Signs of a look that may miss what is there."""
    return tuple(
        name
        for name, sign in signs().items()
        if sign.is_look and sign.instrument in ("bonnet", "points_look", "cap_rotor", "dark_mist")
    )


def result(sign: str, shown: str | None) -> str:
    """A result as a sentence without its full stop: "Coil output low"; for one that all engines agree on."""
    assert shown is not None
    words = phrase(sign, shown)
    if sign == "under_bonnet":
        return f"Under the bonnet {words}"
    return f"{words[0].upper()}{words[1:]}"


def reads(key: str) -> tuple[str, ...]:
    """Signs of an instrument."""
    return instruments()[key].signs


def name(key: str) -> str:
    """A fault as it stands in a list."""
    return fault(key).title


@cache
def by_complaint() -> Mapping[str, tuple[str, ...]]:
    """Faults that bring each complaint, at once or with more miles."""
    return {
        complaint: tuple(key for key, row in expected().items() if complaint in (*row.complaints, *row.later))
        for complaint in complaint_words()
    }


def complaint_of(key: str) -> str:
    """What the owner says of a car with this fault."""
    row = expected()[key]
    return complaint_words()[(*row.complaints, *row.later, "sluggish")[0]]


@cache
def ignition_faults() -> tuple[str, ...]:
    """Faults that the workshop mends itself."""
    return tuple(key for key, row in faults().items() if row.mend != ELSEWHERE and key != SOUND)
