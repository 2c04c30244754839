"""One command at a time changes a term: who comes second waits, and is told for whom.

The lock is the operating system's, on a file in the term folder. It ends with the
process that holds it, so a killed run never leaves a term shut.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from grader import clock
from grader.errors import CannotWrite, Refused
from grader.records import ledger

if TYPE_CHECKING:
    from grader.records.term.term import Term

NAME = ".busy"
WAIT_SECONDS = 600
_LOCKED_BYTE = 1_000_000  # far behind the words in the file, which others must be able to read


def _say(sentence):
    print(sentence, file=sys.stderr, flush=True)


@contextmanager
def exclusive(
    term: Term, doing: str, *, tell: Callable[[str], object] = _say, wait_seconds: float = WAIT_SECONDS
) -> Iterator[None]:
    """Hold the term while a block runs.

    Parameters
    ----------
    term : Term
    doing : str
        What the block does: "marking m01_timing".
    tell : callable
        Takes the sentence for whoever has to wait.
    wait_seconds : float

    Raises
    ------
    Refused
        Somebody else holds the term for longer than that.
    CannotWrite
        The term folder cannot be written to.
    """
    path = term.folder / NAME
    try:
        handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o660)
    except OSError as problem:
        raise CannotWrite(
            f"{path} could not be written: {problem.strerror}. Allow writing in the term folder; nothing was changed."
        ) from None
    try:
        _wait(term, handle, tell, wait_seconds)
        _write(handle, {"actor": ledger.actor(), "doing": doing, "since": clock.to_text(clock.now())})
        yield
        _write(handle, {})
    finally:
        os.close(handle)


@contextmanager
def shared(term: Term, *, tell: Callable[[str], object] = _say, wait_seconds: float = WAIT_SECONDS) -> Iterator[None]:
    """Keep the term from being changed while a block looks at it; several may look at once, and nothing is written.

    A term in which nobody ever worked has no file to lock, and one that is closed to us cannot be changed by us.

    Raises
    ------
    Refused
        Somebody changes the term for longer than `wait_seconds`.
    """
    try:
        handle = os.open(term.folder / NAME, os.O_RDWR if sys.platform == "win32" else os.O_RDONLY)
    except OSError:
        yield
        return
    try:
        _wait(term, handle, tell, wait_seconds, alone=False)
        yield
    finally:
        os.close(handle)


def _wait(term: Term, handle: int, tell: Callable, wait_seconds: float, *, alone: bool = True) -> None:
    begun, was_told = time.monotonic(), False
    while not _lock(handle, alone):
        if not was_told:
            tell(f"Waiting for {_holder(term, handle)}.")
            was_told = True
        if time.monotonic() - begun > wait_seconds:
            raise Refused(f"Still waiting for {_holder(term, handle)}. Nothing was changed; try again later.")
        time.sleep(0.05)


def _holder(term, handle):
    try:
        os.lseek(handle, 0, os.SEEK_SET)
        holder = json.loads(os.read(handle, 2000))
        since = term.shown(clock.from_text(holder["since"]))
        return f"{holder['actor'][:60]}, who has been {holder['doing'][:80]} since {since}"
    except (ValueError, KeyError, TypeError, OSError):
        return "somebody else at work in this term"


def _write(handle, words):
    os.lseek(handle, 0, os.SEEK_SET)
    os.ftruncate(handle, 0)
    if words:
        os.write(handle, json.dumps(words).encode())


def _lock(handle, alone):
    try:
        if sys.platform == "win32":
            import msvcrt

            os.lseek(handle, _LOCKED_BYTE, os.SEEK_SET)
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, (fcntl.LOCK_EX if alone else fcntl.LOCK_SH) | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
