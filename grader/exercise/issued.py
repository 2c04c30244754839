"""What was issued to a trainee: issued.json beside the lesson, and the same in the records."""

import hashlib
import hmac
import json
from dataclasses import dataclass

from grader import files
from grader.errors import BadFile
from grader.exercise.model import ASSESSED, PRACTICE

FORMAT, SCHEMA = "timing-mark issued", 1
NAME = "issued.json"
LARGEST_FILE = 1_000_000


@dataclass(frozen=True, slots=True)
class Issued:
    """Numbers and conditions of one trainee, module and attempt.

    `due` is ISO 8601 with offset, or empty. `exercises` maps an exercise key to
    its version and parameters. `token` binds all of it to the term key, so that a
    changed file is recognised.
    """

    term: str
    trainee: str
    module: str
    attempt: int
    mode: str
    due: str
    zone: str
    exercises: dict
    token: str = ""

    @property
    def numbers(self):
        """Exercise key -> parameters."""
        return {key: entry["parameters"] for key, entry in self.exercises.items()}


def seal(issued, key):
    """The token of an issue under the term key."""
    body = json.dumps({**_body(issued), "token": ""}, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return hmac.new(key, body.encode(), hashlib.sha256).hexdigest()


def make(module, *, key, term, trainee, attempt, mode, due, zone, numbers):
    """An issue with its token."""
    exercises = {e.key: {"version": e.version, "parameters": numbers[e.key]} for e in module.exercises}
    issued = Issued(term, trainee, module.key, attempt, mode, due, zone, exercises)
    return Issued(**{**_fields(issued), "token": seal(issued, key)})


def dump(issued):
    """The issue as the bytes of a file."""
    return files.to_json(_body(issued)).encode()


def read(path):
    """The issue in a file.

    Raises
    ------
    BadFile
        Missing, damaged, or not an issue that this version knows.
    """
    return parse(files.read_bytes(path, most=LARGEST_FILE, what="The issue of numbers"))


def parse(content):
    """The issue in the bytes of a file.

    Raises
    ------
    BadFile
        As `read`.
    """
    found = files.from_json(content, what="The issue of numbers")
    if found.get("format") != FORMAT:
        raise BadFile(f"The file is not “{FORMAT}”. Ask the instructor for {NAME} again.")
    if found.get("schema") != SCHEMA:
        raise BadFile(
            f"The issue of numbers is of schema {found.get('schema')!r}; this version reads {SCHEMA}. Update Timing Mark."
        )
    wanted = {"term": str, "trainee": str, "module": str, "attempt": int, "mode": str, "due": str, "zone": str,
              "token": str, "exercises": dict}  # fmt: skip
    for name, kind in wanted.items():
        if type(found.get(name)) is not kind:
            raise BadFile(f"The issue of numbers has no good “{name}”. Ask the instructor for {NAME} again.")
    if found["mode"] not in (PRACTICE, ASSESSED):
        raise BadFile(f"The issue of numbers says mode {found['mode']!r}; {PRACTICE} or {ASSESSED} is allowed.")
    for key, entry in found["exercises"].items():
        if (
            not isinstance(entry, dict)
            or type(entry.get("version")) is not int
            or not isinstance(entry.get("parameters"), dict)
        ):
            raise BadFile(f"The issue of numbers is damaged at {key[:60]}. Ask the instructor for {NAME} again.")
    return Issued(**{name: found[name] for name in wanted})


def _fields(issued):
    return {name: getattr(issued, name) for name in Issued.__slots__}


def _body(issued):
    return {"format": FORMAT, "schema": SCHEMA, **_fields(issued)}
