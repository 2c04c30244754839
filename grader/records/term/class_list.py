"""Reading a class list as colleges send it: strict about content, kind about form."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from dataclasses import dataclass

from grader.errors import BadFile, BadRoster, Refused
from grader.pages import csv_file
from grader.records.term import table_file, term
from grader.records.term.table_file import plain_heading

WHAT = "The class list"
LONGEST_CELL = 200
NEEDED = ("id", "last_name", "first_name")
ALIASES = {
    "id": "id trainee_id student_id learner_id trainee_no student_no student_number trainee_number user_id username number no "
    "nr code kennung matrikelnummer matrikel_nr matrikel teilnehmernummer teilnehmer_nr personalnummer schuelernummer "
    "identifiant matricule numero numero_etudiant code_eleve",
    "last_name": "last_name lastname surname family_name familyname name nachname familienname nom nom_de_famille full_name",
    "first_name": "first_name firstname given_name givenname forename vorname vornamen rufname prenom prenoms",
    "group": "group group_name gruppe groupe set section sektion kurs",
}
_NAMED = {alias: name for name, aliases in ALIASES.items() for alias in aliases.split()}
# Weaker names: they stand for the last name only where no better column does.
_LOOSE = ("name", "full_name")
# Zero-width space, word joiner, byte order mark, soft hyphen, direction marks. The joiners U+200C and U+200D
# stay in names: Persian and Indic names need them.
_INVISIBLE = dict.fromkeys(
    map(ord, "\u200b\u2060\ufeff\u00ad\u200e\u200f\u061c\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
)
_FORMULA = ("=", "+", "-", "@", "＝", "＋", "－", "＠")
_DESTROYED = re.compile(r"[+-]?\d(?:[.,]\d+)?E[+-]?\d+\Z", re.I)
_PATH = re.compile(r"(?:^|[\\/])\.{1,2}(?:[\\/]|$)|^[\\/~]|^[a-z]:[\\/]", re.I)
_HEADER_IS = "the header must be id,last_name,first_name[,group]"


@dataclass(frozen=True, slots=True)
class Listed:
    """One person as the list has him; `line` is where. `group` is None where the list has no such column."""

    college_id: str
    last_name: str
    first_name: str
    group: str | None
    line: int

    @property
    def same_as(self) -> tuple[str, str, str, str | None]:
        """What two lines about one person share."""
        return (self.college_id, self.last_name, self.first_name, self.group)


def read(content: bytes) -> tuple[list[Listed], list[str]]:
    """The people on a class list.

    Parameters
    ----------
    content : bytes
        A table as `table_file` reads it: text or an .xlsx workbook, with a header line.

    Returns
    -------
    (list of Listed, list of str)
        The people, and notes on what was passed over or understood.

    Raises
    ------
    BadRoster
        Lists every line that cannot be stored.
    """
    try:
        table = table_file.parse(content, _NAMED.get, what=WHAT)
    except BadFile as problem:
        raise BadRoster(str(problem)) from None
    notes, header = table.notes, table.header
    columns = _columns(header, notes)
    problems, people, by_id = [], [], {}
    for line, row in table.rows:
        if len(row) != len(header):
            problems.append(f"line {line}: {table_file.wrong_width(row, header)}")
            continue
        cells, wrong = dict.fromkeys(ALIASES, ""), ""
        for name, position in columns.items():
            cells[name], fault = _cell(row[position], name)
            wrong = wrong or fault
        wrong = wrong or _id_problem(cells["id"])
        if not wrong and not cells["last_name"] and not cells["first_name"]:
            wrong = "no name"
        if wrong:
            problems.append(f"line {line}: {wrong}")
            continue
        person = Listed(
            cells["id"], cells["last_name"], cells["first_name"], cells["group"] if "group" in columns else None, line
        )
        before = by_id.setdefault(cells["id"].casefold(), person)
        if before is person:
            people.append(person)
        elif before.same_as == person.same_as:
            notes.append(f"line {line} says the same as line {before.line}; kept once")
        elif before.college_id != person.college_id:
            problems.append(
                f"line {line}: {person.college_id} differs only in capitals from {before.college_id}, already on line {before.line}"
            )
        else:
            problems.append(f"line {line}: {person.college_id} is already on line {before.line} with other words")
    if problems:
        raise BadRoster(
            "The class list was not stored:\n" + "\n".join(problems) + "\nMend these lines and import it again."
        )
    if not people:
        raise BadRoster(
            f"The class list is empty below its header (line {table.line}). It needs a line for each trainee."
        )
    names = {}
    for person in people:
        names.setdefault((person.last_name.casefold(), person.first_name.casefold()), []).append(person)
    for same in names.values():
        if len(same) > 1:
            ids = " and ".join(person.college_id for person in same)
            notes.append(f"{same[0].last_name}, {same[0].first_name} is the name of {ids}; all are kept")
    return people, notes


def _columns(header, notes):
    """Column name -> position."""
    plain = [plain_heading(cell) for cell in header]
    positions = {}
    for position, cell in enumerate(plain):
        name = _NAMED.get(cell)
        if name is None or (cell in _LOOSE and any(_NAMED.get(p) == name and p not in _LOOSE for p in plain)):
            continue
        if name in positions:
            raise BadRoster(
                f"The class list has two columns for {name} ({header[positions[name]].strip()}, {header[position].strip()}); "
                f"{_HEADER_IS}."
            )
        positions[name] = position
    missing = [name for name in NEEDED if name not in positions]
    if missing == ["first_name"] and plain[positions["last_name"]] in _LOOSE:
        missing = []  # one column for the whole name
    if missing:
        shown = ",".join(cell.strip()[:30] for cell in header[:8])
        raise BadRoster(f"The class list begins with {shown}, without {' and '.join(missing)}; {_HEADER_IS}.")
    others = [cell.strip() or "(no heading)" for i, cell in enumerate(header) if i not in positions.values()]
    if others:
        notes.append(f"not kept: {', '.join(others[:8])}")
    return positions


def _cell(raw, name):
    """(cleaned cell, what is wrong with it or an empty text)."""
    cell = unicodedata.normalize("NFC", raw).translate(_INVISIBLE)
    if name == "id":
        cell = cell.replace("\u200c", "").replace("\u200d", "")
    if any(unicodedata.category(c) == "Cc" and c != "\t" for c in cell.strip(" \r\n\t")):
        return "", f"a control character or line break in {name}"
    cell = " ".join(cell.split())  # no-break spaces count as blanks
    cell = csv_file.plain(cell)  # a table that we made for a spreadsheet has '0042 for 0042
    if cell.startswith(_FORMULA):
        return "", f"{name} begins with {cell[0]}, which a spreadsheet would take for a formula"
    if len(cell) > LONGEST_CELL:
        return "", f"{name} has {len(cell)} characters; at most {LONGEST_CELL}"
    return cell, ""


def _id_problem(college_id):
    if not college_id:
        return "no id"
    if _DESTROYED.match(college_id):
        return f"id {college_id} was destroyed by a spreadsheet; format the column as text and enter the ids again"
    if _PATH.search(college_id):
        return f"id {college_id[:60]!r} is a path to another folder; enter the id that the college gave"
    return ""


def folder_id(college_id: str) -> str:
    """The id in small letters where that is safe; else a slug with 8 figures of its SHA-256.

    Parameters
    ----------
    college_id : str

    Returns
    -------
    str
        The same for spellings that differ only in capitals or in how an
        accent is written.
    """
    folded = unicodedata.normalize("NFC", unicodedata.normalize("NFC", college_id).casefold())
    try:
        return term.check_id(folded, "Trainee id")
    except Refused:
        bare = unicodedata.normalize("NFKD", folded).encode("ascii", "ignore").decode()
        slug = re.sub(r"[^a-z0-9]+", "-", bare).strip("-")[:40].strip("-") or "t"
        return f"{slug}-{hashlib.sha256(folded.encode()).hexdigest()[:8]}"
