"""How trainees prove who they are: a slip with a code for the first time, then a password of their own."""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from filelock import FileLock

from grader import files
from grader.errors import BadFile

NAME = "passwords.json"
FORMAT, SCHEMA = "timing-mark passwords", 1
SHORTEST, LONGEST = 8, 200  # characters of a password
OK, WRONG, CHOOSE, TOO_SHORT, NO_SLIP = "ok", "wrong", "choose", "too short", "no slip"
_LETTERS = "23456789abcdefghjkmnpqrstuvwxyz"  # none that is taken for another on paper
_GROUPS, _GROUP = 3, 4  # of a code
_COST = {"n": 2**14, "r": 8, "p": 1}  # OWASP Password Storage Cheat Sheet, scrypt with 16 MiB [memory]
_LARGEST = 20_000_000


def new_slips(folder: Path, trainees: Sequence[str]) -> dict[str, str]:
    """New codes for some trainees; a password that one had is void, and so is an older slip.

    Parameters
    ----------
    folder : Path
        The hub's own folder.
    trainees : sequence of str
        Our ids.

    Returns
    -------
    dict of str to str
        Id to code, as it is printed. Only its hash is kept.
    """
    codes = {trainee: _code() for trainee in trainees}
    hashes = {trainee: {"slip": _hash(_plain(code))} for trainee, code in codes.items()}
    with _held(folder):
        people = _read(folder)
        _write(folder, people | hashes)
    return codes


def without_slip(folder: Path, trainees: Sequence[str]) -> list[str]:
    """Those who have neither a slip nor a password yet."""
    known = _read(folder)
    return [trainee for trainee in trainees if trainee not in known]


def forget(folder: Path, trainee: str) -> None:
    """Take a person out: no slip and no password of his is left."""
    with _held(folder):
        people = _read(folder)
        if people.pop(trainee, None) is not None:
            _write(folder, people)


def sign_in(folder: Path, trainee: str, typed: str, chosen: str = "") -> str:
    """Whether somebody is who he says; with the code of his slip he chooses his password.

    Parameters
    ----------
    folder : Path
    trainee : str
        Our id.
    typed : str
        His password, or the code of his slip.
    chosen : str
        The password that he chooses with the code.

    Returns
    -------
    str
        OK; WRONG; CHOOSE, the code is right and a password is still to be chosen; TOO_SHORT; NO_SLIP, nobody
        gave him one yet.
    """
    person = _read(folder).get(trainee)
    if person is None:
        _fits(typed, _DUMMY)  # takes as long as any other
        return NO_SLIP
    if "password" in person:
        return OK if _fits(typed, person["password"]) else WRONG
    if not _fits(_plain(typed), person["slip"]):
        return WRONG
    if not chosen:
        return CHOOSE
    if not SHORTEST <= len(chosen) <= LONGEST or _plain(chosen) == _plain(typed):
        return TOO_SHORT
    with _held(folder):
        people = _read(folder)
        if people.get(trainee) != person:  # a new slip was made meanwhile
            return WRONG
        _write(folder, people | {trainee: {"password": _hash(chosen)}})
    return OK


def _code() -> str:
    groups = ("".join(secrets.choice(_LETTERS) for _ in range(_GROUP)) for _ in range(_GROUPS))
    return "-".join(groups)


def _plain(code: str) -> str:
    """A code as it was meant: blanks, hyphens and capitals do not count."""
    return "".join(code.casefold().replace("-", "").split())


def _hash(text: str) -> str:
    salt = secrets.token_bytes(16)
    return f"{base64.b64encode(salt).decode()}${base64.b64encode(_scrypt(text, salt)).decode()}"


def _scrypt(text: str, salt: bytes) -> bytes:
    return hashlib.scrypt(text.encode("utf-8", "surrogatepass"), salt=salt, maxmem=64_000_000, **_COST)


def _fits(text: str, kept: str) -> bool:
    salt, _, digest = kept.partition("$")
    return hmac.compare_digest(_scrypt(text[: 4 * LONGEST], base64.b64decode(salt)), base64.b64decode(digest))


_DUMMY = _hash("")


def _held(folder: Path) -> FileLock:
    return FileLock(folder / f".{NAME}.lock", mode=files.PRIVATE)


def _read(folder: Path) -> dict[str, dict[str, str]]:
    path = folder / NAME
    if not path.exists():
        return {}
    kept: dict[str, Any] = files.from_json(
        files.read_bytes(path, most=_LARGEST, what="The list of passwords"), what="The list of passwords"
    )
    if kept.get("format") != FORMAT or kept.get("schema") != SCHEMA or not isinstance(kept.get("people"), dict):
        raise BadFile(
            f"{path} is no list of passwords of this version. Put back a copy, or remove it and print new slips."
        )
    return kept["people"]


def _write(folder: Path, people: dict[str, dict[str, str]]) -> None:
    body = {"format": FORMAT, "schema": SCHEMA, "people": people}
    files.write_text(folder / NAME, files.to_json(body), mode=files.PRIVATE)
