"""Who is enrolled: reading a class list and keeping it."""

import csv
import io
import re
import unicodedata
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import select

from grader import clock, files
from grader.course import term
from grader.course.records import database, ledger, schema
from grader.errors import BadFile, BadRoster, Refused, Unknown

LARGEST_FILE = 5_000_000
ENROLLED, WITHDRAWN = "enrolled", "withdrawn"
_HEADER = {"id": "id", "last_name": "last_name", "first_name": "first_name", "group": "group"}


@dataclass(frozen=True, slots=True)
class Trainee:
    """One person on a roster. `id` is ours and folder-safe; `college_id` is the college's own text."""

    id: str
    college_id: str
    last_name: str
    first_name: str
    group: str = ""
    status: str = ENROLLED

    @property
    def name(self):
        return f"{self.last_name}, {self.first_name}".strip(", ")


def read(content):
    """The trainees in the bytes of a class list.

    The list is CSV in UTF-8 with the header id,last_name,first_name and, if
    wanted, group.

    Raises
    ------
    BadRoster
        Lists every line that cannot be stored.
    """
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        raise BadRoster(f"The class list is not UTF-8 text (byte {problem.start}). Save it as “CSV UTF-8”.") from None
    try:
        lines = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except csv.Error as problem:
        raise BadRoster(f"The class list is no CSV table: {problem}. Save it again as CSV.") from None
    lines = [(number, row) for number, row in enumerate(lines, start=1) if any(cell.strip() for cell in row)]
    if not lines:
        raise BadRoster(
            "The class list is empty. It needs the header id,last_name,first_name and a line for each trainee."
        )
    header = [cell.strip().lower().replace(" ", "_") for cell in lines[0][1]]
    missing = [name for name in ("id", "last_name", "first_name") if name not in header]
    if missing or len(set(header)) != len(header) or set(header) - set(_HEADER):
        raise BadRoster(
            f"The class list begins with {','.join(header)}; the header must be id,last_name,first_name[,group]."
        )
    problems, found, seen = [], [], {}
    for number, row in lines[1:]:
        if len(row) != len(header):
            problems.append(f"line {number}: {len(row)} cells under {len(header)} headings")
            continue
        cells = {
            name: " ".join(unicodedata.normalize("NFC", cell).split()) for name, cell in zip(header, row, strict=True)
        }
        wrong = _problem(cells)
        if wrong:
            problems.append(f"line {number}: {wrong}")
            continue
        folded = cells["id"].casefold()
        if folded in seen:
            problems.append(f"line {number}: {cells['id']} is already on line {seen[folded]}")
            continue
        seen[folded] = number
        try:
            own = term.check_id(_folder_id(cells["id"]), "Trainee id")
        except Refused as problem:
            problems.append(f"line {number}: {problem}")
            continue
        found.append(Trainee(own, cells["id"], cells["last_name"], cells["first_name"], cells.get("group", "")))
    clash = {}
    for person in found:
        clash.setdefault(person.id, []).append(person.college_id)
    problems += [f"ids {' and '.join(ids)} would share one folder name" for ids in clash.values() if len(ids) > 1]
    if problems:
        raise BadRoster(
            "The class list was not stored:\n" + "\n".join(problems) + "\nMend these lines and import it again."
        )
    return found


def import_list(opened, path):
    """Store a class list; who is no longer on it becomes withdrawn, nobody is deleted.

    Parameters
    ----------
    opened : Term
    path : path

    Returns
    -------
    dict of str to list of Trainee
        "added", "changed", "withdrawn", "unchanged".

    Raises
    ------
    BadRoster
        Nothing was stored.
    """
    try:
        content = files.read_bytes(path, most=LARGEST_FILE, what="The class list")
    except BadFile as problem:
        raise BadRoster(str(problem)) from None
    listed = {person.id: person for person in read(content)}
    outcome = {"added": [], "changed": [], "withdrawn": [], "unchanged": []}
    with database.transaction(opened) as connection:
        known = {person.id: person for person in everyone(connection)}
        for person in listed.values():
            if person.id not in known:
                outcome["added"].append(person)
                connection.execute(schema.trainee.insert().values(_row(person)))
            elif known[person.id] != person:
                outcome["changed"].append(person)
                connection.execute(schema.trainee.update().where(schema.trainee.c.id == person.id).values(_row(person)))
            else:
                outcome["unchanged"].append(person)
        for person in known.values():
            if person.id not in listed and person.status == ENROLLED:
                outcome["withdrawn"].append(person)
                connection.execute(
                    schema.trainee.update().where(schema.trainee.c.id == person.id).values(status=WITHDRAWN)
                )
        back = [p for p in outcome["changed"] if known[p.id].status == WITHDRAWN]
        ledger.append(
            connection,
            [ledger.Entry("enrolled", trainee=p.id, new=p.college_id) for p in (*outcome["added"], *back)]
            + [ledger.Entry("withdrawn", trainee=p.id) for p in outcome["withdrawn"]],
        )
    stamp = re.sub(r"[^0-9]", "", clock.to_text(clock.now()))
    files.write_bytes(opened.folder / "rosters" / f"{stamp}_{Path(path).name}", content)
    return outcome


def everyone(connection, *, enrolled_only=False):
    """All trainees in order of name, then id."""
    query = select(schema.trainee)
    if enrolled_only:
        query = query.where(schema.trainee.c.status == ENROLLED)
    people = [
        Trainee(row.id, row.college_id, row.last_name, row.first_name, row.group_name, row.status)
        for row in connection.execute(query)
    ]
    return sorted(people, key=lambda p: (p.last_name.casefold(), p.first_name.casefold(), p.id))


def one(connection, trainee_id):
    """One trainee by our id or by the college's.

    Raises
    ------
    Unknown
        Nobody of that id.
    """
    for person in everyone(connection):
        if trainee_id in (person.id, person.college_id):
            return person
    raise Unknown(f"Nobody on the roster has the id {trainee_id[:60]!r}. 'roster list' shows who is enrolled.")


def _problem(cells):
    if not cells["id"]:
        return "no id"
    if re.fullmatch(r"\d(?:[.,]\d+)?E\+?\d+", cells["id"], re.I):
        return f"id {cells['id']} was destroyed by a spreadsheet; format the column as text"
    if not cells["last_name"] and not cells["first_name"]:
        return "no name"
    for name, cell in cells.items():
        if any(unicodedata.category(c) == "Cc" for c in cell):
            return f"a control character in {name}"
        if cell.startswith(("=", "+", "-", "@")):
            return f"{name} begins with {cell[0]}, which a spreadsheet would take for a formula"
        if len(cell) > 200:
            return f"{name} has {len(cell)} characters; at most 200"
    return ""


def _folder_id(college_id):
    """The college's id in small letters where it is safe as it is."""
    return college_id.strip().lower()


def _row(person):
    return {
        "id": person.id,
        "college_id": person.college_id,
        "last_name": person.last_name,
        "first_name": person.first_name,
        "group_name": person.group,
        "status": person.status,
    }
