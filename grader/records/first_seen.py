"""When this user's machine first saw each file in a term's inbox, kept outside the term folder.

Renaming and moving a file touch its time, so sorting the inbox would make work late.
What a file holds stays the same, so its digest is noted with the moment at which any
command, or the desk, first met it. A line for each lies in the user's own data
folder: a command that only reads writes nothing into the term, and whoever may only
read a term has a memory of his own. Lines are only ever added, one at a time, so two
commands at once lose none.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from grader import clock, files, paths
from grader.errors import BadFile, Refused

TAKEN = "taken"  # folder of the inbox for files whose work is kept
LARGEST = 50_000_000  # of one file; larger ones are no hand-ins


def path_of(term_id: str, key: bytes) -> Path:
    """Where it is kept: by id and a fingerprint of the key, so that two classes of one name stay apart."""
    fingerprint = hashlib.sha256(b"timing-mark inbox\n" + key).hexdigest()[:16]
    return paths.user_data() / "inboxes" / f"{term_id}-{fingerprint}.txt"


def look(folder: Path, term_id: str, key: bytes, at: datetime | None = None) -> None:
    """Note each file of an inbox folder that was never seen before, as seen now, or at the moment `at`.

    Where it cannot be noted the work goes on: the file's own time is then the only one there is.
    """
    waiting = list(_below(folder))
    if not waiting:
        return
    path = path_of(term_id, key)
    seen, now = times(path), clock.to_text(at or clock.now())
    new = {sha256 for file in waiting if (sha256 := digest(file)) and sha256 not in seen}
    if not new:
        return
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, files.PRIVATE)
        try:  # it begins with an end of line: the line before may have been cut off
            os.write(handle, "".join(f"\n{sha256} {now}\n" for sha256 in sorted(new)).encode())
        finally:
            os.close(handle)
    except OSError:
        pass


def times(path: Path) -> dict[str, datetime]:
    """The first sight of each content, by digest; a line that cannot be read is passed over."""
    first: dict[str, datetime] = {}
    try:
        lines = files.read_bytes(path, most=LARGEST, what="What was seen of the inbox").decode("ascii", "replace")
    except BadFile:
        return first
    for line in lines.split("\n"):
        sha256, _, moment = line.partition(" ")
        try:
            when = clock.from_text(moment)
        except (Refused, ValueError):
            continue
        if when.tzinfo and len(sha256) == 64 and (sha256 not in first or when < first[sha256]):
            first[sha256] = when
    return first


def digest(path: Path) -> str:
    """SHA-256 of a file as it lies there; empty where it is no hand-in or cannot be read."""
    try:
        return hashlib.sha256(files.read_bytes(path, most=LARGEST, what="A file of the inbox")).hexdigest()
    except BadFile:
        return ""


def _below(folder: Path) -> Iterator[Path]:
    """Files in the inbox that were not taken yet."""
    for place, folders, names in os.walk(folder):
        folders[:] = [name for name in folders if Path(place) / name != folder / TAKEN]
        yield from (Path(place) / name for name in names if not name.startswith("."))
