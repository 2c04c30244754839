"""What was issued: issued.json beside the lesson, and the same in the records.

One file holds the numbers of one trainee, or those of many. In the second kind no id
can be read: an entry lies under a digest of it, so that a trainee finds his own by
typing his id. Short ids can be found by trying; nothing here is a secret.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from grader import files
from grader.errors import BadFile, Refused
from grader.exercise.model import ASSESSED, PRACTICE, AsIssued, Module, Numbers

FORMAT, SCHEMA = "timing-mark issued", 1
NAME = "issued.json"
KEPT = "kept"  # in a resit: the answers of an exercise that is not sat again, path -> [raw, unit]
LARGEST_FILE = 1_000_000
SHARED_FORMAT = "timing-mark issued to many"
LARGEST_SHARED = 50_000_000
_STRETCH = 20_000  # makes trying many ids slower than reading one
_NAMED = 16  # bytes of the digest that name an entry; the rest hides the id in it


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
    exercises: dict[str, dict[str, Any]]
    token: str = ""

    @property
    def numbers(self) -> dict[str, dict[str, Any]]:
        """Exercise key -> parameters."""
        return {key: entry["parameters"] for key, entry in self.exercises.items()}


def seal(issued: Issued, key: bytes) -> str:
    """The token of an issue under the term key."""
    body = json.dumps({**_body(issued), "token": ""}, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return hmac.new(key, body.encode(), hashlib.sha256).hexdigest()


def make(
    module: Module,
    *,
    key: bytes,
    term: str,
    trainee: str,
    attempt: int,
    mode: str,
    due: str,
    zone: str,
    numbers: Numbers,
) -> Issued:
    """An issue with its token."""
    exercises = {e.key: {"version": e.version, "parameters": numbers[e.key]} for e in module.exercises}
    issued = Issued(term, trainee, module.key, attempt, mode, due, zone, exercises)
    return Issued(**{**_fields(issued), "token": seal(issued, key)})


def sealed(issued: Issued, exercises: dict[str, dict[str, Any]], key: bytes) -> Issued:
    """The same issue with other exercises and the token that belongs to them."""
    changed = Issued(**{**_fields(issued), "exercises": exercises, "token": ""})
    return Issued(**{**_fields(changed), "token": seal(changed, key)})


def with_due(issued: Issued, due: str, key: bytes) -> Issued:
    """The same issue with another due time and the token that belongs to it."""
    changed = Issued(**{**_fields(issued), "due": due, "token": ""})
    return Issued(**{**_fields(changed), "token": seal(changed, key)})


def to_answer(exercises: AsIssued) -> list[str]:
    """Keys of the issued exercises that are to be answered: in a resit not those whose answers are kept."""
    return [key for key, entry in exercises.items() if KEPT not in entry]


def dump(issued: Issued) -> bytes:
    """The issue as the bytes of a file."""
    return files.to_json(_body(issued)).encode()


def read(path: Path) -> Issued:
    """The issue in a file.

    Raises
    ------
    BadFile
        Missing, damaged, or not an issue that this version knows.
    """
    return parse(files.read_bytes(path, most=LARGEST_FILE, what="The issue of numbers"))


def parse(content: bytes) -> Issued:
    """The issue in the bytes of a file.

    Raises
    ------
    BadFile
        As `read`.
    """
    body = files.from_json(content, what="The issue of numbers")
    if body.get("format") != FORMAT:
        raise BadFile(f"The file is not “{FORMAT}”. Ask the instructor for {NAME} again.")
    if body.get("schema") != SCHEMA:
        raise BadFile(
            f"The issue of numbers is of schema {body.get('schema')!r}; this version reads {SCHEMA}. Update Timing Mark."
        )
    wanted = {"term": str, "trainee": str, "module": str, "attempt": int, "mode": str, "due": str, "zone": str,
              "token": str, "exercises": dict}  # fmt: skip
    for name, kind in wanted.items():
        if type(body.get(name)) is not kind:
            raise BadFile(f"The issue of numbers has no good “{name}”. Ask the instructor for {NAME} again.")
    if body["mode"] not in (PRACTICE, ASSESSED):
        raise BadFile(f"The issue of numbers says mode {body['mode']!r}; {PRACTICE} or {ASSESSED} is allowed.")
    for key, entry in body["exercises"].items():
        if (
            not isinstance(entry, dict)
            or type(entry.get("version")) is not int
            or not isinstance(entry.get("parameters"), dict)
        ):
            raise BadFile(f"The issue of numbers is damaged at {key[:60]}. Ask the instructor for {NAME} again.")
    return Issued(**{name: body[name] for name in wanted})


@dataclass(frozen=True, slots=True)
class Shared:
    """The numbers of many trainees in one module.

    `own_copy` is True where each trainee works in a copy of his own, as an exchange
    gives it; False where all work in one folder. `entries` lie under digests of ids.
    `source` is the folder in the exchange that this file was put into, so that the lesson
    can look there for a later attempt; `taken` the entry that the owner of a copy took.
    """

    term: str
    module: str
    own_copy: bool
    salt: str
    entries: dict[str, dict[str, Any]]
    source: str = ""
    taken: str = ""

    def of(self, typed: str) -> Issued:
        """The issue of the trainee who types his id.

        Raises
        ------
        Refused
            No numbers under that id.
        """
        name, mask = _digest(typed, self.salt)
        if name not in self.entries:
            raise Refused(
                f"There are no numbers here for the id {typed.strip()[:40]!r}. Type your id as it stands on the class "
                "list, or ask your instructor."
            )
        entry = self.entries[name]
        trainee = bytes(a ^ b for a, b in zip(bytes.fromhex(entry["trainee"]), mask, strict=False)).decode()
        return parse(files.to_json({**entry, **_kind(self), "trainee": trainee}).encode())

    def without(self, typed: str) -> Shared:
        """The same without the entry under an id."""
        gone = _digest(typed, self.salt)[0]
        return replace(self, entries={name: entry for name, entry in self.entries.items() if name != gone})

    def taken_by(self, typed: str) -> Shared:
        """The same, as it is kept beside the work of the trainee who typed his id."""
        return replace(self, taken=_digest(typed, self.salt)[0])

    def newest(self, issue: Issued) -> Issued | None:
        """The newest numbers of the trainee who took his entry before, or None.

        Parameters
        ----------
        issue : Issued
            What he works on now.

        Returns
        -------
        Issued or None
        """
        entry = self.entries.get(self.taken)
        if entry is None or (self.term, self.module) != (issue.term, issue.module):
            return None
        return parse(files.to_json({**entry, **_kind(self), "trainee": issue.trainee}).encode())


def share(
    issues: Iterable[tuple[str, Issued]], *, key: bytes, term: str, module: str, own_copy: bool, source: str = ""
) -> Shared:
    """The numbers of many, to be looked up by the college's own ids.

    Parameters
    ----------
    issues : list of (str, Issued)
        The id that its trainee will type, and his issue.
    key : bytes
        Of the term; the same issues give the same file.
    term, module : str
    own_copy : bool
    source : str
        The folder in the exchange that it goes into.

    Returns
    -------
    Shared
    """
    salt = hmac.new(key, f"shared\n{term}\n{module}".encode(), hashlib.sha256).hexdigest()[:32]
    entries = {}
    for typed, issue in issues:
        name, mask = _digest(typed, salt)
        hidden = bytes(a ^ b for a, b in zip(issue.trainee.encode(), mask, strict=False)).hex()
        entries[name] = {k: v for k, v in _fields(issue).items() if k not in ("term", "module")} | {"trainee": hidden}
    return Shared(term, module, own_copy, salt, dict(sorted(entries.items())), source)


_OPTIONAL = ("source", "taken")  # of Shared


def dump_shared(shared: Shared) -> bytes:
    """The numbers of many as the bytes of a file."""
    body = {name: getattr(shared, name) for name in Shared.__slots__}
    body = {name: value for name, value in body.items() if value or name not in _OPTIONAL}
    return files.to_json({"format": SHARED_FORMAT, "schema": SCHEMA, **body}).encode()


def read_shared(path: Path) -> Shared | None:
    """The numbers of many in a file; None where it holds those of one trainee.

    Raises
    ------
    BadFile
        Missing, damaged, or of a kind that this version does not know.
    """
    body = files.from_json(
        files.read_bytes(path, most=LARGEST_SHARED, what="The issue of numbers"), what="The issue of numbers"
    )
    if body.get("format") != SHARED_FORMAT:
        return None
    kinds = {"term": str, "module": str, "own_copy": bool, "salt": str, "entries": dict}
    if body.get("schema") != SCHEMA or any(type(body.get(name)) is not kind for name, kind in kinds.items()):
        raise BadFile(
            f"The issue of numbers to many is damaged or of a later version. Ask the instructor for {NAME} again."
        )
    for entry in body["entries"].values():
        hidden = entry.get("trainee") if isinstance(entry, dict) else None
        if not isinstance(hidden, str) or len(hidden) % 2 or set(hidden) - set("0123456789abcdef"):
            raise BadFile(f"The issue of numbers to many is damaged. Ask the instructor for {NAME} again.")
    more = {name: body[name] for name in _OPTIONAL if isinstance(body.get(name), str)}
    return Shared(**{name: body[name] for name in kinds}, **more)


def _digest(typed: str, salt: str) -> tuple[str, bytes]:
    """(name of the entry, bytes that hide the id in it) for an id as somebody types it."""
    folded = unicodedata.normalize("NFC", unicodedata.normalize("NFC", typed.strip()).casefold())
    stretched = hashlib.pbkdf2_hmac("sha256", folded.encode(), salt.encode(), _STRETCH, dklen=_NAMED + 64)
    return stretched[:_NAMED].hex(), stretched[_NAMED:]


def _kind(shared: Shared) -> dict[str, Any]:
    return {"format": FORMAT, "schema": SCHEMA, "term": shared.term, "module": shared.module}


def _fields(issued: Issued) -> dict[str, Any]:
    return {name: getattr(issued, name) for name in Issued.__slots__}


def _body(issued: Issued) -> dict[str, Any]:
    return {"format": FORMAT, "schema": SCHEMA, **_fields(issued)}
