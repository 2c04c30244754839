"""Practice numbers: who practises in a folder, and which draw of each exercise is his at present."""

import unicodedata
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from grader import files
from grader.errors import BadFile
from grader.exercise import issued, variant
from grader.exercise.issued import Issued
from grader.exercise.model import PRACTICE, Module

FORMAT, SCHEMA = "timing-mark practice", 1
NAME = "practice.json"
LARGEST_FILE = 100_000


@dataclass(frozen=True, slots=True)
class Marker:
    """The file practice.json beside a lesson.

    `installation` stands for the trainee in the draws; `counter` is the highest
    draw used so far. `drawn` maps an exercise that was drawn anew to its own draw;
    all others stay at `first`. `rest` holds entries that other versions made.
    """

    name: str
    installation: str
    counter: int = 1
    first: int = 1
    drawn: dict[str, int] = field(default_factory=dict)
    others: tuple[str, ...] = ()
    rest: dict[str, Any] = field(default_factory=dict)

    def draw_of(self, exercise_key: str) -> int:
        """Number of the draw that an exercise, named by its group's first, stands at."""
        return self.drawn.get(exercise_key, self.first)


_KEYS = ("format", "schema", "name", "installation", "counter", "first", "drawn", "others")


def folder_name(name: str) -> str:
    """A name of a person as the name of a folder: letters and figures stay, all else becomes a hyphen."""
    plain = unicodedata.normalize("NFC", name).strip().casefold()
    kept = "".join(letter if letter.isalnum() or letter in "_-" else "-" for letter in plain)[:60].strip("-")
    return kept or "trainee"


def new(name: str) -> Marker:
    """A marker for somebody who starts."""
    return Marker(name, uuid.uuid4().hex)


def read(path: Path) -> Marker:
    """The marker in a file.

    Raises
    ------
    BadFile
        Missing, damaged, or no marker that this version knows.
    """
    body = files.from_json(
        files.read_bytes(path, most=LARGEST_FILE, what="The practice file"), what="The practice file"
    )
    if body.get("format") != FORMAT or body.get("schema") != SCHEMA:
        raise BadFile(
            f"{path.name} says {str(body.get('format'))[:40]!r}, schema {str(body.get('schema'))[:20]}; this version "
            f"reads “{FORMAT}”, schema {SCHEMA}. Update Timing Mark, or start anew in another folder."
        )
    name, installation, counter = (body.get(key) for key in ("name", "installation", "counter"))
    if not isinstance(name, str) or not isinstance(installation, str) or not installation:
        raise BadFile(f"{path.name} has no good name or installation. Start anew in another folder; the answers stay.")
    if type(counter) is not int or counter < 1:
        raise BadFile(f"{path.name} says counter {str(counter)[:20]}; a whole number from 1 is needed.")
    drawn = body.get("drawn", {})
    others = body.get("others", [])
    first = body.get("first", counter)
    good = isinstance(drawn, dict) and isinstance(others, list) and all(isinstance(other, str) for other in others)
    if not good or any(type(draw) is not int or draw < 1 for draw in (first, *drawn.values())):
        raise BadFile(f"{path.name} is damaged. Start anew in another folder; the answers stay.")
    return Marker(
        name,
        installation,
        counter,
        first,
        drawn,
        tuple(others),
        {key: value for key, value in body.items() if key not in _KEYS},
    )


def write(path: Path, marker: Marker) -> None:
    """Save a marker.

    Raises
    ------
    CannotWrite
        The old file stands.
    """
    body = {
        "format": FORMAT,
        "schema": SCHEMA,
        "name": marker.name,
        "installation": marker.installation,
        "counter": marker.counter,
        "first": marker.first,
        "drawn": marker.drawn,
        "others": list(marker.others),
    }
    files.write_text(path, files.to_json({**body, **marker.rest}))


def group_of(module: Module, exercise_key: str) -> tuple[str, ...]:
    """Keys of the exercises drawn together with one, the first of them in front."""
    return next(tuple(e.key for e in group) for group in module.groups() if any(e.key == exercise_key for e in group))


def with_fresh_numbers(module: Module, marker: Marker, exercise_key: str) -> Marker:
    """The marker after an exercise, and whatever is drawn with it, was given fresh numbers."""
    counter = marker.counter + 1
    return replace(marker, counter=counter, drawn={**marker.drawn, group_of(module, exercise_key)[0]: counter})


def numbers_of(module: Module, marker: Marker, exercise_key: str) -> Mapping[str, Any]:
    """The numbers that a marker stands for of one exercise alone, drawn with no more than what is drawn with it."""
    together = set(group_of(module, exercise_key))
    part = replace(module, exercises=tuple(exercise for exercise in module.exercises if exercise.key in together))
    return issue(part, marker).numbers[exercise_key]


def issue(module: Module, marker: Marker) -> Issued:
    """The numbers that a marker stands for, in the shape of an issue."""
    draws = {}
    numbers = {}
    for group in module.groups():
        draw = marker.draw_of(group[0].key)
        if draw not in draws:
            draws[draw] = variant.draw(
                module, key=variant.PRACTICE_KEY, term=PRACTICE, trainee=marker.installation, attempt=draw
            )
        numbers.update({exercise.key: draws[draw][exercise.key] for exercise in group})
    return issued.make(
        module,
        key=variant.PRACTICE_KEY,
        term=PRACTICE,
        trainee=marker.installation,
        attempt=marker.counter,
        mode=PRACTICE,
        due="",
        zone="UTC",
        numbers=numbers,
    )
