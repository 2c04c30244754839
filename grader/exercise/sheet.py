"""The answer sheet: what a trainee typed, kept word for word in answers.json."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import msgspec
from msgspec import Struct

from grader import files
from grader.errors import BadFile, BadSheet

FORMAT, SCHEMA = "timing-mark answers", 1
NAME = "answers.json"
LARGEST_FILE = 2_000_000
LONGEST_ANSWER = 20_000
MOST_VALUES = 50_000  # a real sheet has some hundreds; an answer may hold `LONGEST_ANSWER` commas


class Answer(Struct, frozen=True, eq=False, gc=False):
    """One typed answer; `raw` is untouched.

    `read_as` is what the form echoed, `tries` the verdicts asked for in practice;
    both come from the trainee's machine and are claims. `rest` holds entries of
    later versions of the file.
    """

    raw: str
    unit: str = ""
    version: int = 1
    read_as: str = ""
    at: str = ""
    tries: int = 0
    rest: dict[str, Any] = msgspec.field(default_factory=dict)

    def __eq__(self, other):
        return isinstance(other, Answer) and msgspec.structs.astuple(self) == msgspec.structs.astuple(other)

    __hash__ = None  # pyright: ignore[reportAssignmentType]

    def but(self, **changes: Any) -> Answer:
        """A copy with other values in some fields."""
        return msgspec.structs.replace(self, **changes)


class Sheet(Struct, frozen=True, eq=False):
    """All answers of one trainee, module and attempt, by "exercise.part".

    `altered`: the file's own digest of its answers does not fit them, so something but this program changed them.
    """

    term: str
    module: str
    trainee: str
    attempt: int
    answers: dict[str, Answer] = msgspec.field(default_factory=dict)
    saved: str = ""
    made_with: str = ""
    rest: dict[str, Any] = msgspec.field(default_factory=dict)
    altered: bool = False

    def __eq__(self, other):
        return isinstance(other, Sheet) and all(getattr(self, name) == getattr(other, name) for name in _FIELDS)

    __hash__ = None  # pyright: ignore[reportAssignmentType]

    def but(self, **changes: Any) -> Sheet:
        """A copy with other values in some fields."""
        return Sheet(**{name: getattr(self, name) for name in _FIELDS} | changes)

    def with_answer(self, path: str, answer: Answer) -> Sheet:
        """A copy of the sheet with one answer put in or replaced."""
        return self.but(answers={**self.answers, path: answer})


_FIELDS = Sheet.__struct_fields__


_SHEET_KEYS = (
    "format",
    "schema",
    "term",
    "module",
    "trainee",
    "attempt",
    "saved",
    "made_with",
    "answers",
    "answers_sha256",
)
_ANSWER_KEYS = ("version", "raw", "unit", "read_as", "at", "tries")


def read(path: Path) -> Sheet:
    """The sheet in a file.

    Raises
    ------
    BadSheet
        Missing or not a sheet that this version can mark; says what was found.
    """
    try:
        return parse(files.read_bytes(path, most=LARGEST_FILE, what="The answer sheet"))
    except BadSheet:
        raise
    except BadFile as problem:
        raise BadSheet(str(problem)) from None


def parse(content: bytes) -> Sheet:
    """The sheet in the bytes of a file.

    Raises
    ------
    BadSheet
        As `read`.
    """
    if values_in(content) > MOST_VALUES:
        raise BadSheet(
            f"The answer sheet is nested too deep, or holds more than {MOST_VALUES:,} values; no real one does. Ask for it again."
        )
    try:
        body = files.from_json(content, what="The answer sheet")
    except BadFile as problem:
        raise BadSheet(str(problem)) from None
    if "cells" in body and "nbformat" in body:
        raise BadSheet("The answer sheet is a notebook. Hand in answers.json, which lies beside it.")
    if body.get("format") != FORMAT:
        raise BadSheet(f"The file says format {_short(body.get('format'))}, not “{FORMAT}”. Hand in answers.json.")
    schema = body.get("schema")
    if type(schema) is not int or schema < 1:
        raise BadSheet(
            f"The answer sheet says schema {_short(schema)}; a whole number is needed. Hand in the original file."
        )
    if schema > SCHEMA:
        raise BadSheet(
            f"The answer sheet is of schema {schema}, made by a later version; update Timing Mark to read it."
        )
    names = {}
    for key in ("term", "module", "trainee"):
        if not isinstance(body.get(key), str) or not body[key]:
            raise BadSheet(
                f"The answer sheet says {key} {_short(body.get(key))}; text is needed. Hand in the original file."
            )
        names[key] = body[key]
    attempt = body.get("attempt")
    if type(attempt) is not int or attempt < 1:
        raise BadSheet(
            f"The answer sheet says attempt {_short(attempt)}; 1 or more is needed. Hand in the original file."
        )
    entries = body.get("answers")
    if not isinstance(entries, dict):
        raise BadSheet(f"The answers are {files.kind_of(entries)}, not an object. Hand in the original file.")
    sheet = Sheet(
        **names,
        attempt=attempt,
        answers={path: _answer(path, entry) for path, entry in entries.items()},
        saved=_text(body.get("saved")),
        made_with=_text(body.get("made_with")),
        rest={key: value for key, value in body.items() if key not in _SHEET_KEYS},
    )
    claimed = body.get("answers_sha256")  # sheets of earlier versions have none
    return sheet if claimed is None or claimed == answers_digest(sheet) else sheet.but(altered=True)


def answers_digest(sheet: Sheet) -> str:
    """SHA-256 of all that decides a sheet's marks: whose it is, and each answer with its unit and its exercise's version.

    Nobody's key is in it: it shows a slip of the hand or of a program, not a forger who knows how it is made.
    """
    deciding = {path: [answer.version, answer.raw, answer.unit] for path, answer in sheet.answers.items()}
    whole = [sheet.term, sheet.module, sheet.trainee, sheet.attempt, deciding]
    return hashlib.sha256(json.dumps(whole, sort_keys=True).encode()).hexdigest()


def values_in(content: bytes) -> int:
    """At least as many as the values of a JSON text, counted in its bytes before it is decoded.

    An empty list of two bytes becomes an object of fifty: the size of a file does not bound what it decodes to.
    """
    return content.count(b",") + content.count(b"[") + content.count(b"{")


def dump(sheet: Sheet) -> bytes:
    """The sheet as the bytes of a file."""
    return files.to_json(
        {
            "format": FORMAT,
            "schema": SCHEMA,
            "term": sheet.term,
            "module": sheet.module,
            "trainee": sheet.trainee,
            "attempt": sheet.attempt,
            "saved": sheet.saved,
            "made_with": sheet.made_with,
            "answers": {
                path: {
                    "version": answer.version,
                    "raw": answer.raw,
                    "unit": answer.unit,
                    "read_as": answer.read_as,
                    "at": answer.at,
                    "tries": answer.tries,
                    **answer.rest,
                }
                for path, answer in sheet.answers.items()
            },
            "answers_sha256": answers_digest(sheet),
            **sheet.rest,
        }
    ).encode()


def write(path: Path, sheet: Sheet) -> None:
    """Save the sheet; the former one stays beside it as `.bak`.

    Raises
    ------
    CannotWrite
        The old file stands.
    """
    files.write_bytes(path, dump(sheet), keep=True)


def _answer(path, entry):
    if not isinstance(entry, dict):
        raise BadSheet(f"Answer {_short(path)} is {files.kind_of(entry)}, not an object. Hand in the original file.")
    raw = entry.get("raw", "")
    if type(raw) in (int, float):  # a number without quotes is what a hand-made file has
        raw = repr(raw)
    if not isinstance(raw, str):
        raise BadSheet(
            f"Answer {_short(path)} holds {files.kind_of(raw)} where text is needed. Hand in the original file."
        )
    if len(raw) > LONGEST_ANSWER:
        raise BadSheet(f"Answer {_short(path)} has {len(raw):,} characters; at most {LONGEST_ANSWER:,} are read.")
    version = entry.get("version", 1)
    if type(version) is not int or version < 1:
        raise BadSheet(f"Answer {_short(path)} says version {_short(version)}; a whole number is needed.")
    if not isinstance(entry.get("unit", ""), str):
        raise BadSheet(f"Answer {_short(path)} has a unit that is no text. Hand in the original file.")
    tries = entry.get("tries", 0)
    return Answer(
        raw=raw,
        unit=entry.get("unit", ""),
        version=version,
        read_as=_text(entry.get("read_as")),
        at=_text(entry.get("at")),
        tries=tries if type(tries) is int and tries >= 0 else 0,
        rest={key: value for key, value in entry.items() if key not in _ANSWER_KEYS},
    )


def _text(value):
    return value if isinstance(value, str) else ""


def _short(value):
    shown = "nothing" if value is None else repr(value)
    return shown if len(shown) <= 60 else shown[:57] + "..."
