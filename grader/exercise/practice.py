"""Practice numbers: who practises in a folder, and which draw of each exercise is his at present."""

import unicodedata
import uuid
from dataclasses import dataclass, field, replace

from grader import files
from grader.errors import BadFile
from grader.exercise import issued, variant
from grader.exercise.model import PRACTICE

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
    drawn: dict = field(default_factory=dict)
    others: tuple = ()
    rest: dict = field(default_factory=dict)

    def draw_of(self, exercise_key):
        """Number of the draw that an exercise, named by its group's first, stands at."""
        return self.drawn.get(exercise_key, self.first)


_KEYS = ("format", "schema", "name", "installation", "counter", "first", "drawn", "others")


def folder_name(name):
    """A name of a person as the name of a folder: letters and figures stay, all else becomes a hyphen."""
    plain = unicodedata.normalize("NFC", name).strip().casefold()
    kept = "".join(letter if letter.isalnum() or letter in "_-" else "-" for letter in plain)[:60].strip("-")
    return kept or "trainee"


def new(name):
    """A marker for somebody who starts."""
    return Marker(name, uuid.uuid4().hex)


def read(path):
    """The marker in a file.

    Raises
    ------
    BadFile
        Missing, damaged, or no marker that this version knows.
    """
    found = files.from_json(
        files.read_bytes(path, most=LARGEST_FILE, what="The practice file"), what="The practice file"
    )
    if found.get("format") != FORMAT or found.get("schema") != SCHEMA:
        raise BadFile(
            f"{path.name} says {str(found.get('format'))[:40]!r}, schema {str(found.get('schema'))[:20]}; this version "
            f"reads “{FORMAT}”, schema {SCHEMA}. Update Timing Mark, or start anew in another folder."
        )
    name, installation, counter = (found.get(key) for key in ("name", "installation", "counter"))
    if not isinstance(name, str) or not isinstance(installation, str) or not installation:
        raise BadFile(f"{path.name} has no good name or installation. Start anew in another folder; the answers stay.")
    if type(counter) is not int or counter < 1:
        raise BadFile(f"{path.name} says counter {str(counter)[:20]}; a whole number from 1 is needed.")
    drawn = found.get("drawn", {})
    others = found.get("others", [])
    first = found.get("first", counter)
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
        {key: value for key, value in found.items() if key not in _KEYS},
    )


def write(path, marker):
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


def group_of(module, exercise_key):
    """Keys of the exercises drawn together with one, the first of them in front."""
    return next(tuple(e.key for e in group) for group in module.groups() if any(e.key == exercise_key for e in group))


def with_fresh_numbers(module, marker, exercise_key):
    """The marker after an exercise, and whatever is drawn with it, was given fresh numbers."""
    counter = marker.counter + 1
    return replace(marker, counter=counter, drawn={**marker.drawn, group_of(module, exercise_key)[0]: counter})


def issue(module, marker):
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
