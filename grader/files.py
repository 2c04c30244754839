"""Reading and writing files that matter: bounded, regular, atomic, never half."""

import codecs
import errno
import json
import os
import stat
import tempfile
import time
import tomllib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, BinaryIO, NoReturn

from grader.errors import BadFile, CannotWrite, Refused

PRIVATE = 0o600  # for nobody but its owner
PART = ".part"  # ends the name of a file that is being written


def read_bytes(path: Path | str, *, most: int, what: str) -> bytes:
    """The content of a small regular file.

    Parameters
    ----------
    path : path
    most : int
        Greatest size in bytes.
    what : str
        What the file should be; opens the message.

    Raises
    ------
    BadFile
        Missing, a folder, link, pipe or device, too large, or not readable.
    """
    with reading(path, most=most, what=what) as stream:
        return stream.read(most + 1)


@contextmanager
def reading(path: Path | str, *, most: int, what: str) -> Iterator[BinaryIO]:
    """As `read_bytes`, a stream for what is too large to be read at once."""
    path = Path(path)
    try:
        # O_NONBLOCK: a named pipe in the file's place must not hang the class run.
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0))
    except FileNotFoundError:
        raise BadFile(f"{what} is missing ({path.name}).") from None
    except OSError as problem:
        if problem.errno in (errno.ELOOP, errno.EMLINK):
            raise BadFile(f"{what} is a link, not a file ({path.name}). Put the file itself there.") from None
        raise BadFile(f"{what} cannot be read ({path.name}): {problem.strerror}.") from None
    try:
        status = os.fstat(handle)
        if not stat.S_ISREG(status.st_mode):
            kind = "a folder" if stat.S_ISDIR(status.st_mode) else "no ordinary file"
            raise BadFile(f"{what} is {kind} ({path.name}). Put the file itself there.")
        if status.st_size > most:
            raise BadFile(f"{what} has {status.st_size:,} bytes; no real one is above {most:,} ({path.name}).")
        with os.fdopen(handle, "rb", closefd=False) as stream:
            yield stream
    except OSError as problem:
        raise BadFile(f"{what} cannot be read ({path.name}): {problem.strerror}.") from None
    finally:
        os.close(handle)


def write_bytes(path: Path | str, content: bytes, *, keep: bool = False, mode: int | None = None) -> None:
    """Write a file so that a reader finds the old content or the new, never a part.

    Parameters
    ----------
    path : path
    content : bytes
    keep : bool
        Keep the former content beside it as `.bak`.
    mode : int or None
        Permission bits of the new file.

    Raises
    ------
    CannotWrite
        Full or read-only disk, no permission; the old content stands.
    """
    with _in_place_of(
        Path(path), mode=0o644 if mode is None else mode, keep=keep, then="nothing was changed"
    ) as stream:
        stream.write(content)


def _part_beside(path: Path) -> tuple[int, str]:
    """(handle, name) of a new file beside one that is to be replaced."""
    return tempfile.mkstemp(prefix=f".{path.name}.", suffix=PART, dir=path.parent)


def sweep(folder: Path, *, older_than: float = 3600) -> int:
    """Remove what writers that were killed left behind in a folder and below it; says how many files.

    Parameters
    ----------
    folder : Path
    older_than : float
        Seconds; whoever is still writing is younger.
    """
    gone, before = 0, time.time() - older_than
    for path in folder.rglob(f".*{PART}"):
        try:
            if path.is_file() and not path.is_symlink() and path.lstat().st_mtime < before:
                path.unlink()
                gone += 1
        except OSError:  # another one swept it, or it is not ours to remove
            continue
    return gone


def is_shared(folder: str | Path) -> bool:
    """Whether a folder belongs to a group that works in it together: what is made there goes to the group."""
    if os.name == "nt":
        return False
    mode = os.stat(folder).st_mode
    return bool(mode & stat.S_ISGID) and bool(mode & stat.S_IWGRP)


def let_group(folder: Path) -> None:
    """In a folder that a group shares: let it work with all below that is ours, whatever made that."""
    if not is_shared(folder):
        return
    for path in folder.rglob("*"):
        status = path.lstat()
        owner = status.st_mode & 0o700
        mode = owner | owner >> 3 | (stat.S_ISGID if stat.S_ISDIR(status.st_mode) else 0)
        if not stat.S_ISLNK(status.st_mode) and status.st_uid == os.geteuid() and stat.S_IMODE(status.st_mode) != mode:
            os.chmod(path, mode)


def _shared_mode(folder: Path, mode: int) -> int:
    """Permission bits in a folder that a group shares: the group as the owner, nobody else; elsewhere as they are."""
    return (mode & 0o700) | (mode & 0o700) >> 3 if is_shared(folder) else mode


def write_text(path: Path | str, text: str, *, keep: bool = False, mode: int | None = None) -> None:
    """`write_bytes` in UTF-8."""
    write_bytes(path, text.encode(), keep=keep, mode=mode)


def write_new(path: Path, text: str) -> None:
    """Write a text file that is to be filled in, and never over one that is there.

    Raises
    ------
    Refused
        A file of that name is there already.
    CannotWrite
        The disk refuses.
    """
    if path.exists():
        raise Refused(f"{path} is there already. Nothing was changed; choose another name.")
    write_text(path, text)


def write_between(path: Path, mark: str, text: str) -> None:
    """Put text between the comments `<!-- mark -->` and `<!-- end of mark -->` of a Markdown file; the rest stays.

    Raises
    ------
    BadFile
        The file has not each of the two once.
    CannotWrite
        The disk refuses.
    """
    begin, end = f"<!-- {mark} -->", f"<!-- end of {mark} -->"
    before = path.read_text(encoding="utf-8")
    if before.count(begin) != 1 or before.count(end) != 1 or before.index(begin) > before.index(end):
        raise BadFile(f"{path} needs {begin} once, and {end} once after it. Put them back; nothing was changed.")
    head, _, rest = before.partition(begin)
    write_text(path, f"{head}{begin}\n{text}\n{end}{rest.partition(end)[2]}")


def to_json(value: object) -> str:
    """Readable JSON text: sorted by nothing, two blanks, real letters, a final newline."""
    return json.dumps(value, ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def from_toml(
    content: bytes,
    *,
    what: str,
    advice: str = "Mend that line and try again.",
    parse_float: Callable[[str], object] = float,
) -> dict[str, Any]:
    """The tables of a settings file, from its bytes; `what` opens the message and `advice` closes it.

    Raises
    ------
    BadFile
        Not UTF-8, no TOML, or deeper than any real file; says which line.
    """
    try:
        return tomllib.loads(content.decode("utf-8-sig"), parse_float=parse_float)
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as problem:
        raise BadFile(f"{what} cannot be read: {problem}. {advice}") from None
    except RecursionError:
        raise BadFile(f"{what} cannot be read: it is nested too deep. {advice}") from None


def from_json(content: bytes, *, what: str) -> dict[str, Any]:
    """One JSON object from bytes of unknown origin.

    Raises
    ------
    BadFile
        Not UTF-8, not JSON, two documents, a name twice, nan, no object, or
        deeper or longer than any real file.
    """
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise BadFile(f"{what} is saved as UTF-16. Save it as UTF-8, or hand in the original file.")
    if content[:4] == b"PK\x03\x04":
        raise BadFile(f"{what} is a zip archive. Hand in the zip as it is, or the file inside it.")
    try:
        text = content.removeprefix(codecs.BOM_UTF8).decode()
    except UnicodeDecodeError as problem:
        raise BadFile(f"{what} is not UTF-8 text (byte {problem.start}). Hand in the original file.") from None
    if not text.strip("\x00 \t\r\n"):
        raise BadFile(f"{what} is empty. Use the copy that ends in .bak, or hand in again.")
    if "<<<<<<< " in text and ">>>>>>> " in text:
        raise BadFile(f"{what} holds the marks of a merge. Hand in one of the two versions.")

    try:
        value = _JSON.decode(text)
    except _NotTaken as problem:
        raise BadFile(f"{what} {problem}. Hand in the original file.") from None
    except RecursionError:
        raise BadFile(f"{what} is nested too deep. Hand in the original file.") from None
    except ValueError as problem:
        where = (
            f"line {problem.lineno}, column {problem.colno}"
            if isinstance(problem, json.JSONDecodeError)
            else "a number"
        )
        raise BadFile(f"{what} is damaged ({where}). Use the copy that ends in .bak, or hand in again.") from None
    if "\\u" in text and not _whole_letters(value):
        raise BadFile(f"{what} holds half of a letter (an escape such as \\ud800 alone). Hand in the original file.")
    if not isinstance(value, dict):
        raise BadFile(f"{what} holds {kind_of(value)} where an object is needed. Hand in the original file.")
    return value


def kind_of(value: object) -> str:
    """What a value of a JSON document is, in words for somebody who looks at the file."""
    if value is None:
        return "nothing (null)"
    if isinstance(value, bool):
        return "true or false"
    kinds = {str: "a text", int: "a number", float: "a number", list: "a list", dict: "an object"}
    return kinds.get(type(value), f"a {type(value).__name__}")


def _whole_letters(value):
    """False if a text in it holds half of a surrogate pair, which no file or database can keep."""
    try:
        json.dumps(value, ensure_ascii=False).encode()
    except UnicodeEncodeError:
        return False
    return True


class _NotTaken(Exception):
    """What JSON allows and we do not: the sentence after the name of the file."""


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    by_name = dict(pairs)
    if len(by_name) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        shown = "".join(c if c.isprintable() else "?" for c in twice[:60])  # one line, whatever stands in the name
        raise _NotTaken(f"has “{shown}” twice in one place")
    return by_name


def _constant(name: str) -> NoReturn:
    raise _NotTaken(f"holds {name}, which is no number")


# Built once. A whole number of thousands of figures is refused by Python itself.
_JSON = json.JSONDecoder(object_pairs_hook=_once, parse_constant=_constant)


def _sync_folder(folder):
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:  # folders cannot be opened on some systems
        return
    try:
        os.fsync(handle)
    except OSError:
        pass
    finally:
        os.close(handle)


def set_aside(path: Path) -> None:
    """Rename a file that cannot be used to the next free `.damaged-<n>` beside it.

    Raises
    ------
    CannotWrite
        The system refuses; the file stands as it was.
    """
    number = 1
    while (aside := path.with_name(f"{path.name}.damaged-{number}")).exists():
        number += 1
    try:
        os.replace(path, aside)
    except OSError as problem:
        raise CannotWrite(f"{path} could not be set aside: {problem.strerror}. Nothing was changed.") from None


def stamp(path: Path | str) -> tuple[int, int, int]:
    """What changes with every new content of a file: time of change, number and size."""
    status = os.stat(path)
    return status.st_mtime_ns, status.st_ino, status.st_size


@contextmanager
def replacing(path: Path | str) -> Iterator[BinaryIO]:
    """A binary stream whose content takes the place of a file only when all of it is written; nobody else may read it.

    Raises
    ------
    CannotWrite
        Full or read-only disk; the old file stands.
    """
    # Whole classes and single people stand in what is written this way.
    with _in_place_of(Path(path), mode=PRIVATE, keep=False, then="the old file stands") as stream:
        yield stream


@contextmanager
def _in_place_of(path: Path, *, mode: int, keep: bool, then: str) -> Iterator[BinaryIO]:
    """A stream into a file beside `path` that takes its place at the end; `then` says what is left if that fails."""
    temporary = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = _part_beside(path)
        with os.fdopen(handle, "w+b") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(temporary, _shared_mode(path.parent, mode))
        if keep and path.exists():
            backup = path.with_name(path.name + ".bak")
            backup.unlink(missing_ok=True)
            try:
                os.link(path, backup)
            except OSError:  # a file system without hard links
                backup.write_bytes(path.read_bytes())
        os.replace(temporary, path)
        temporary = None
        _sync_folder(path.parent)
    except OSError as problem:
        raise CannotWrite(
            f"{path} could not be written: {problem.strerror or problem}. Free the disk or allow writing, then try again; "
            f"{then}."
        ) from None
    finally:
        if temporary:
            Path(temporary).unlink(missing_ok=True)
