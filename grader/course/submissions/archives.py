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
from grader.exercise import sheet as sheets

# Limits that hold before anything is decoded; the largest archive of a whole class stays far below them.
MOST_MEMBERS = 10_000
MOST_UNPACKED = 50_000_000
LARGEST_MEMBER = sheets.LARGEST_FILE  # of a larger one only the beginning is read
DEEPEST = 3
_ENTRY = b"PK\x01\x02"  # begins each entry of an archive's table of contents
# zipfile gives out of bzip2 and LZMA all that the bytes it read unpack to, a million bytes for a hundred.
_BOUNDED = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_STEP = 64
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
    """A file out of an archive. `problem` says why an archive inside it could not be opened.

    Of a file above `LARGEST_MEMBER` bytes `content` is the beginning, one byte longer than that.
    """

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


def holds_notebook(content: bytes) -> bool:
    """True if an archive that `members` could open holds a notebook."""
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        return any(name.lower().endswith(".ipynb") for name in packed.namelist())


class _Budget:
    def __init__(self):
        self.bytes, self.members = MOST_UNPACKED, MOST_MEMBERS


def _open(content, above, depth, budget):
    # Counted before the table of contents is read: half a million entries would take more memory than the files.
    if content.count(_ENTRY) > budget.members:
        budget.members = -1
        raise BadFile(f"The hand-in holds more than {MOST_MEMBERS:,} files; no real one does. Ask for it again.")
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            infos = packed.infolist()
            budget.members -= len(infos)
            named = _checked(infos)
            opened = []
            for parts, info in named:
                if any(passed_over(part) for part in parts) or parts[-1].lower().endswith(_SKIPPED):
                    continue
                opened += _member(packed, info, (*above, *parts), depth, budget)
            return opened
    except _BAD_ZIP as problem:
        raise BadFile(
            f"The hand-in is no readable zip archive ({str(problem)[:80] or 'damaged'}). Ask for it again."
        ) from None


def _member(packed, info, parts, depth, budget):
    with packed.open(info) as stream:  # never trusts the size that the archive claims
        bounded = info.compress_type in _BOUNDED
        content = _read(stream, min(budget.bytes, LARGEST_MEMBER) + 1, bounded)
        if is_zip(content[:4]):
            content += _read(stream, max(budget.bytes + 1 - len(content), 0), bounded)
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


def _read(stream, most, bounded):
    """At most so many bytes of a member."""
    if bounded:
        return stream.read(most)
    stream.MIN_READ_SIZE = _STEP
    pieces, size = [], 0
    while size < most and (piece := stream.read1(min(_STEP, most - size))):
        pieces.append(piece)
        size += len(piece)
    return b"".join(pieces)


def _checked(infos):
    """[(path parts, info)] of the files, after looking at every name and kind."""
    checked, seen = [], set()
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
        checked.append((parts, info))
    return checked


def _name(info):
    """The member's name with / between folders; names in UTF-8 that are not flagged as such are recognised."""
    name = info.filename
    if not info.flag_bits & 0x800:
        try:
            name = name.encode("cp437").decode("utf-8")
        except UnicodeError:
            pass
    return name.replace("\\", "/")
