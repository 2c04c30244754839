"""Where a trainee leaves traces in a term folder: finding them, removing them, proving that they are gone."""

from __future__ import annotations

import csv
import io
import json
import shutil
import zipfile
import zlib
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

from grader import files
from grader.errors import CannotWrite
from grader.exercise import sheet as sheets
from grader.records import database

if TYPE_CHECKING:
    from grader.records.term.roster import Trainee
    from grader.records.term.term import Term

# What somebody is looked for by: words of which one is enough, and words of which all are needed.
Words: TypeAlias = tuple[tuple[str, ...], tuple[str, ...]]
# Folders with one folder for each trainee; and folders whose files hold whole classes and can be made again.
_OF_TRAINEES = ("out", "inbox", "inbox/taken", "submitted", "autograded", "feedback", "returned", "bench")
_OF_CLASSES = ("exports", "reports")
_LESSONS = ("source", "release")
_LARGEST = 200_000_000
_MOST_SHEETS = 10_000  # looked at in one archive
_DEEPEST = 3  # an archive in an archive in an archive


def remove_files(term: Term, people: Sequence[Trainee], marks: Sequence[Words], digests: Iterable[str]) -> int:
    """Remove the files of some trainees.

    Parameters
    ----------
    term : Term
    people : list of Trainee
    marks : list
        What `words` gave for each of them.
    digests : set of str
        Kept hand-ins that belong to nobody else.

    Returns
    -------
    int
        Number of files removed or rewritten.

    Raises
    ------
    CannotWrite
        A file would not go; the records still stand, so the deletion can be run again.
    """
    try:
        return _remove_files(term.folder, people, marks, digests)
    except OSError as problem:
        raise _stays(problem) from None


def remove(path: Path) -> None:
    """Remove one file.

    Raises
    ------
    CannotWrite
        It would not go.
    """
    try:
        path.unlink(missing_ok=True)
    except OSError as problem:
        raise _stays(problem) from None


def _stays(problem: OSError) -> CannotWrite:
    return CannotWrite(
        f"{problem.filename} could not be removed: {problem.strerror}. Allow it and run the deletion again."
    )


def files_of(term: Term, people: Sequence[Trainee], marks: Sequence, digests: Iterable[str]) -> set[Path]:
    """The files that `remove_files` would remove or rewrite; nothing is changed."""
    folder, ours = term.folder, {person.id for person in people}
    ids = {word.casefold() for person in people for word in (person.id, person.college_id)}
    theirs = {folder / "handed_in" / digest[:2] / f"{digest}.json" for digest in digests}
    for place in (p for room in _OF_TRAINEES for person in people for p in _places(folder / room, person)):
        theirs |= set(place.rglob("*"))
    for room in _OF_CLASSES:
        theirs |= set((folder / room).rglob("*"))
    for path in _files(folder / "inbox"):
        if _owner(path.read_bytes()) in ours:
            theirs.add(path)
    for path in _files(folder / "rosters"):
        content = path.read_bytes()
        lines = (_decoded(content) or "").splitlines()
        if any(ids & _cells(line) for line in lines) or any(mentions(content, mine) for mine in marks):
            theirs.add(path)
    return {path for path in theirs | set(_copies(folder, marks)) if path.is_file()}


def free_space(term: Term) -> None:
    """Rewrite the database, so that deleted rows do not linger in its free pages."""
    engine = database.engine(term)
    try:
        raw = engine.raw_connection()
        try:
            connection: Any = raw.driver_connection
            if engine.dialect.name == "sqlite":
                connection.execute("VACUUM")
            else:
                connection.autocommit = True
                connection.cursor().execute("VACUUM FULL")
        finally:
            raw.close()
    finally:
        engine.dispose()


def words(person: Trainee, others: Iterable[Trainee] = ()) -> Words:
    """What a person is looked for by.

    Words shorter than four characters stand in any file, so alone they prove
    nothing. A family name that somebody else in the class has is left out.
    """
    mine = [person.id, person.college_id]
    if person.last_name not in {other.last_name for other in others}:
        mine.append(person.last_name)
    mine = [word for word in dict.fromkeys(mine) if word]
    return tuple(w for w in mine if len(w) >= 4), tuple(w for w in mine if len(w) < 4)


def search(term: Term, marks: Sequence[Words]) -> list[str]:
    """Sentences about every file in the term folder that still names one of some people.

    Lessons are not searched: they were there before anybody was enrolled.

    Parameters
    ----------
    term : Term
    marks : list
        What `words` gave for each, or other words in that form.
    """
    sentences = []
    for path in sorted(term.folder.rglob("*")):
        inside = path.relative_to(term.folder)
        if path.is_file() and not path.is_symlink() and inside.parts[0] not in _LESSONS:
            content = path.read_bytes()
            if any(mentions(content, mine) or mentions(str(inside).encode(), mine) for mine in marks):
                sentences.append(f"{inside} still names or quotes a deleted person. Look at it and remove it.")
    return sentences


def mentions(content: bytes, mine: Words, depth: int = 0) -> bool:
    """Whether bytes, or an archive's members, hold the words of a person."""
    enough, together = mine
    for encoding in ("utf-8", "utf-16-le", "cp1252"):
        if any(_stands_in(word, content, encoding) for word in enough):
            return True
        if len(together) > 1 and all(_stands_in(word, content, encoding) for word in together):
            return True
    if content[:4] != b"PK\x03\x04" or depth >= _DEEPEST:
        return False
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            return any(
                mentions(member.filename.encode(), mine) or mentions(archive.read(member), mine, depth + 1)
                for member in archive.infolist()
                if member.file_size <= _LARGEST and member.compress_type in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
            )
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, ValueError):
        return False


def _stands_in(word, content, encoding):
    """Whether a word stands in bytes as a whole word."""
    try:
        wanted = word.encode(encoding)
    except UnicodeEncodeError:
        return False
    place = content.find(wanted) if wanted else -1
    while place >= 0:
        width = 2 if encoding == "utf-16-le" else 1
        before, after = (
            content[max(0, place - width) : place],
            content[place + len(wanted) : place + len(wanted) + width],
        )
        if not _is_letter(before, encoding) and not _is_letter(after, encoding):
            return True
        place = content.find(wanted, place + 1)
    return False


def _is_letter(piece, encoding):
    return piece.decode(encoding, "replace").replace("\ufffd", "a").isalnum() if piece else False


def _remove_files(folder, people, marks, digests):
    count = 0
    for digest in digests:
        count += _unlink(folder / "handed_in" / digest[:2] / f"{digest}.json")
    for room in _OF_TRAINEES:
        for person in people:
            for place in _places(folder / room, person):
                count += sum(path.is_file() for path in place.rglob("*"))
                shutil.rmtree(place)
    for room in _OF_CLASSES:
        for path in sorted((folder / room).rglob("*"), reverse=True):
            count += _unlink(path) if not path.is_dir() else 0
    ours = {person.id for person in people}
    for path in _files(folder / "inbox"):
        if _owner(path.read_bytes()) in ours:  # wherever in the inbox it lies
            count += _unlink(path)
    for path in _files(folder / "rosters"):
        count += _clean_list(path, people, marks)
    for path in _copies(folder, marks):
        count += _unlink(path)
    return count


def _places(room, person):
    """The folders of one person in a room of the term folder, by either of his ids."""
    named = dict.fromkeys((room / person.id, room / person.college_id))
    return [place for place in named if place.parent == room and place.is_dir() and not place.is_symlink()]


def _files(folder):
    return [path for path in sorted(folder.rglob("*")) if path.is_file()]


def _copies(folder, marks):
    """Copies kept by this program or by an editor that name one of some people."""
    kept = [
        path
        for path in _files(folder)
        if path.suffix in (".bak", ".tmp", ".orig", files.PART) or path.name.endswith("~")
    ]
    return [path for path in kept if any(mentions(path.read_bytes(), mine) for mine in marks)]


def _owner(content):
    """The trainee whose answers a hand-in holds, as it says itself; None if it cannot be read."""
    try:
        if content[:4] == b"PK\x03\x04":
            with zipfile.ZipFile(io.BytesIO(content)) as archive:
                ours = [
                    m for m in archive.infolist() if m.filename.rpartition("/")[2] in ("answers.json", "issued.json")
                ]
                contents = (_bounded(archive, member) for member in ours[:_MOST_SHEETS])
                return next((owner for owner in map(_owner, contents) if owner), None)
        if len(content) > sheets.LARGEST_FILE or sheets.values_in(content) > sheets.MOST_VALUES:
            return None
        body = json.loads(content.decode("utf-8-sig"))
        owner = body.get("trainee") if isinstance(body, dict) else None
        return owner if isinstance(owner, str) else None
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, ValueError, RecursionError):
        return None


def _bounded(archive, member):
    """The content of a member as far as a sheet can go: what grows without a limit in unpacking is not opened."""
    if member.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        return b""
    with archive.open(member) as stream:
        return stream.read(sheets.LARGEST_FILE + 1)


def _clean_list(path, people, marks):
    """Take the lines of some people out of a class list; one that still names them goes as a whole."""
    content = path.read_bytes()
    text = _decoded(content)
    if text is not None:
        ids = {word.casefold() for person in people for word in (person.id, person.college_id)}
        lines = text.splitlines(keepends=True)
        kept = [line for line in lines if not ids & _cells(line)]
        if len(kept) < len(lines):
            files.write_bytes(path, "".join(kept).encode())
    if any(mentions(path.read_bytes(), mine) for mine in marks):
        return _unlink(path)
    return int(path.read_bytes() != content)


def _cells(line):
    """Cells of a line, whatever separates them, in small letters."""
    return {cell.strip().casefold() for mark in ",;\t" for row in csv.reader([line], delimiter=mark) for cell in row}


def _decoded(content):
    """The text of a class list; None for a spreadsheet, and for what is no text."""
    if content[:4] == b"PK\x03\x04":
        return None
    encodings = ("utf-16",) if content[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252")
    for encoding in encodings:
        try:
            return content.decode(encoding)
        except UnicodeDecodeError:
            continue
    return None


def _unlink(path):
    existed = path.exists() or path.is_symlink()
    path.unlink(missing_ok=True)
    return int(existed)
