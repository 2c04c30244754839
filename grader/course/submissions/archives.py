"""Opening zip archives of unknown origin: read in memory, bounded, never unpacked to disk."""

from __future__ import annotations

import io
import re
import stat
import unicodedata
import zipfile
import zlib
from dataclasses import dataclass

from grader.errors import BadFile

MOST_MEMBERS = 10_000
MOST_UNPACKED = 200_000_000
DEEPEST = 3
_MAGIC = (b"PK\x03\x04", b"PK\x05\x06")
_OTHER_PACKERS = {
    b"Rar!": "RAR", b"7z\xbc\xaf": "7z", b"\x1f\x8b": "gzip", b"BZh": "bzip2", b"\xfd7zXZ": "xz",
}  # fmt: skip
_SKIPPED = (".ipynb", ".png", ".jpg", ".jpeg", ".gif", ".pdf", ".py", ".csv", ".html")
_COMPANY = ("__MACOSX", ".ipynb_checkpoints", ".DS_Store", "Thumbs.db", "desktop.ini")
SET_ASIDE = ".set_aside"  # ending of what was moved out of nbgrader's way
_BAD_ZIP = (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, ValueError, OSError)


@dataclass(frozen=True, slots=True)
class Member:
    """A file out of an archive. `problem` says why an archive inside it could not be opened."""

    parts: tuple[str, ...]
    content: bytes
    problem: str = ""

    @property
    def name(self) -> str:
        return self.parts[-1]


def is_zip(head: bytes) -> bool:
    """True if bytes begin as a zip archive does."""
    return head.startswith(_MAGIC)


def other_packer(head: bytes) -> str:
    """Name of another packing format that bytes begin with, or an empty text."""
    return next((name for magic, name in _OTHER_PACKERS.items() if head.startswith(magic)), "")


def passed_over(name: str) -> bool:
    """True for what systems leave in folders and archives by themselves, and for what was set aside."""
    return name in _COMPANY or name.startswith(("~$", ".")) or name.endswith(SET_ASIDE)


def members(content: bytes) -> list[Member]:
    """Every file of an archive that could be part of a hand-in, archives inside it opened too.

    Parameters
    ----------
    content : bytes

    Returns
    -------
    list of Member

    Raises
    ------
    BadFile
        No archive, locked with a password, too large inside, with paths that
        lead out of it, links, devices, or one name twice.
    """
    return _open(content, (), 1, _Budget())


class _Budget:
    def __init__(self):
        self.bytes, self.members = MOST_UNPACKED, MOST_MEMBERS


def _open(content, above, depth, budget):
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            infos = packed.infolist()
            budget.members -= len(infos)
            if budget.members < 0:
                raise BadFile(
                    f"The hand-in holds more than {MOST_MEMBERS:,} files; no real one does. Ask for it again."
                )
            named = _checked(infos)
            found = []
            for parts, info in named:
                if any(passed_over(part) for part in parts) or parts[-1].lower().endswith(_SKIPPED):
                    continue
                found += _member(packed, info, (*above, *parts), depth, budget)
            return found
    except _BAD_ZIP as problem:
        raise BadFile(
            f"The hand-in is no readable zip archive ({str(problem)[:80] or 'damaged'}). Ask for it again."
        ) from None


def _member(packed, info, parts, depth, budget):
    with packed.open(info) as stream:  # never trusts the size that the archive claims
        content = stream.read(budget.bytes + 1)
    budget.bytes -= len(content)
    if budget.bytes < 0:
        raise BadFile(f"The hand-in unpacks to more than {MOST_UNPACKED:,} bytes; no real one does. Ask for it again.")
    if not is_zip(content[:4]):
        return [Member(parts, content)]
    if depth >= DEEPEST:
        return [Member(parts, content, f"It holds archives in archives more than {DEEPEST} deep. Ask for it again.")]
    try:
        return _open(content, parts, depth + 1, budget)
    except BadFile as problem:
        if budget.bytes < 0 or budget.members < 0:
            raise
        return [Member(parts, content, str(problem))]


def _checked(infos):
    """[(path parts, info)] of the files, after looking at every name and kind."""
    found, seen = [], set()
    for info in infos:
        name = _name(info)
        shown = name[:60]
        parts = tuple(part for part in name.split("/") if part not in ("", "."))
        if name.startswith("/") or re.match(r"[a-z]:", name, re.I) or ".." in parts or "\0" in info.orig_filename:
            raise BadFile(
                f"The hand-in holds {shown!r}, a path that leads out of it. It was not opened; ask for it again."
            )
        kind = stat.S_IFMT(info.external_attr >> 16)
        if kind not in (0, stat.S_IFREG, stat.S_IFDIR):
            what = "a link" if kind == stat.S_IFLNK else "a device or pipe"
            raise BadFile(f"The hand-in holds {what} ({shown!r}). It was not opened; ask for the files themselves.")
        if info.flag_bits & 1:
            raise BadFile("The hand-in is locked with a password. Ask for it without one.")
        if not parts or name.endswith("/"):
            continue
        folded = unicodedata.normalize("NFC", "/".join(parts)).casefold()
        if folded in seen:
            raise BadFile(f"The hand-in holds {shown!r} twice. It was not opened; ask for it again.")
        seen.add(folded)
        found.append((parts, info))
    return found


def _name(info):
    """The member's name with / between folders; names in UTF-8 that are not flagged as such are recognised."""
    name = info.filename
    if not info.flag_bits & 0x800:
        try:
            name = name.encode("cp437").decode("utf-8")
        except UnicodeError:
            pass
    return name.replace("\\", "/")
