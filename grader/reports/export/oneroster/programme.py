"""A programme: the classes that a receiver knows, and what was sent to it."""

import hashlib
import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from grader import files
from grader.errors import BadFile, Refused
from grader.records import database, exported, ledger
from grader.records.term import term as terms
from grader.records.term.term import Term
from grader.reports.tables import scope

FORMAT, LARGEST_FILE = "timing-mark programme", 1_000_000
_THERE = "classes at the receiver: "

_TOML = """\
# A programme: every class that the receiver of our records knows. Text after # is explanation.
format = "timing-mark programme"
centre = {centre}         # name of the training centre; never change it
year_starts = "{year_starts}"   # month-day on which a school year begins
terms = [                 # term folders, from here or in full
{terms}
]
"""


@dataclass(frozen=True, slots=True)
class Programme:
    """A programme file, read. `folders` are the term folders of the whole programme."""

    path: Path | None
    centre: str
    year_starts: str
    folders: tuple

    @property
    def sent_path(self) -> Path | None:
        """Where earlier versions kept what was sent."""
        return self.path.with_suffix(".sent.json") if self.path else None


YEAR_STARTS = "09-01"
ALONE = Programme(None, "Training centre", YEAR_STARTS, ())  # for a class without a programme file


def create(path: Path, folders: Iterable[Path], *, centre: str, year_starts: str = YEAR_STARTS) -> Programme:
    """Write a programme file.

    Raises
    ------
    Refused
        It is there already, or a bad date.
    Unknown, BadFile
        A folder that is no term.
    """
    path = Path(path).expanduser().absolute()
    if path.exists():
        raise Refused(f"{path} is there already. Nothing was changed; edit it, or choose another name.")
    _check_day(year_starts)
    opened = scope.open_all(folders)
    listed = "\n".join(f"    {json.dumps(str(term.folder), ensure_ascii=False)}," for term in opened)
    text = _TOML.format(centre=json.dumps(centre, ensure_ascii=False), year_starts=year_starts, terms=listed)
    files.write_text(path, text, mode=files.PRIVATE)
    return read(path)


def read(path: Path) -> Programme:
    """A programme from its file.

    Raises
    ------
    BadFile
        Says what is wrong.
    """
    path = Path(path).expanduser().absolute()
    content = files.read_bytes(path, most=LARGEST_FILE, what="The programme")
    settings = files.from_toml(content, what=str(path))
    folders, centre = settings.get("terms"), settings.get("centre")
    if settings.get("format") != FORMAT or not isinstance(centre, str) or not centre.strip():
        raise BadFile(f'{path} must say format = "{FORMAT}" and centre = the name of the training centre.')
    if not isinstance(folders, list) or not folders or not all(isinstance(folder, str) for folder in folders):
        raise BadFile(f"{path} lists no terms. Put every term folder of the programme into terms = [ ].")
    year_starts = settings.get("year_starts", ALONE.year_starts)
    _check_day(year_starts)
    return Programme(path, centre, year_starts, tuple(path.parent / Path(folder).expanduser() for folder in folders))


def open_whole(programme: Programme) -> list[Term]:
    """All terms of a programme; every one has to open.

    Raises
    ------
    Unknown, BadFile
        A folder is gone: then this is not the whole programme.
    """
    return scope.open_all(programme.folders)


def check_part(programme: Programme, opened: Iterable[Term]) -> None:
    """Refuse terms that the programme does not list."""
    listed = {terms.open_term(folder).id for folder in programme.folders}
    strangers = [term.id for term in opened if term.id not in listed]
    if strangers:
        raise Refused(f"{strangers[0]} is not in {programme.path}. Add it to terms there, or leave --programme out.")


def sent(programme: Programme, opened: Iterable[Term]) -> set[str]:
    """Ids of the classes that the receiver was ever sent of this programme.

    They are known by the programme's centre, which makes its ids at the receiver, and from
    the records of the classes themselves: a copied or renamed file knows as much. Earlier
    versions kept them beside the file; that is read as well.

    Parameters
    ----------
    programme : Programme
    opened : sequence of Term
        Classes of it, whose records are asked.

    Returns
    -------
    set of str
    """
    class_ids = set()
    for term in opened:
        with database.transaction(term) as connection:
            last = [
                entry["reason"]
                for _, _, entry in ledger.entries(connection, "export")
                if entry["sha256"] == _identity(programme)
            ][-1:]
        for noted in last:
            class_ids |= set(noted.removeprefix(_THERE).split(", "))
    if programme.sent_path is not None and programme.sent_path.exists():
        content = files.read_bytes(programme.sent_path, most=LARGEST_FILE, what="The record of what was sent")
        class_ids |= set(files.from_json(content, what="The record of what was sent").get("classes", ()))
    return class_ids


def check_bulk(programme: Programme, opened: Iterable[Term], drop: Iterable[str] = ()) -> None:
    """Refuse a bulk package that would make the receiver delete a class.

    Raises
    ------
    Refused
        A class was sent before and is not in the programme now.
    """
    lost = sorted(sent(programme, opened) - {term.id for term in opened} - set(drop))
    if lost:
        raise Refused(
            f"A bulk package would delete {', '.join(lost)} at the receiver: it was sent before and is not in "
            f"{programme.path} now. Nothing was written; add its folder there, or say --drop {lost[0]} if that is meant."
        )


def note_sent(programme: Programme, opened: Sequence[Term], path: Path, *, bulk: bool) -> None:
    """Note a package in the ledger of its classes; of a programme every class learns what the receiver now knows.

    Parameters
    ----------
    programme : Programme
    opened : sequence of Term
        What is in the package.
    path : Path
        Of the file.
    bulk : bool
    """
    if programme.sent_path is None:
        scope.note_export(opened, path.name, [path])
        return
    inside = {term.id for term in opened}
    whole = opened if bulk else open_whole(programme)
    known = inside | (set() if bulk else sent(programme, whole))
    for term, connection in scope.each(whole):
        shown = path.name if term.id in inside else f"{path.name}, without this class"
        reason = _THERE + ", ".join(sorted(known))
        ledger.append(connection, [ledger.Entry("export", new=shown, reason=reason, sha256=_identity(programme))])
        if term.id in inside:
            exported.note(term, [path])
    programme.sent_path.unlink(missing_ok=True)  # an earlier version's; the records know it now


def _identity(programme):
    """What a programme is known by: its centre, from which all its ids at the receiver are made."""
    return hashlib.sha256(f"timing-mark programme\n{programme.centre}".encode()).hexdigest()


def _check_day(text):
    if not isinstance(text, str) or not re.fullmatch(r"(0[1-9]|1[0-2])-(0[1-9]|1\d|2[0-8])", text):
        raise BadFile(f"year_starts is {text!r}; write month-day, such as 09-01.")
