"""Who is enrolled: comparing a class list with the roster and keeping it."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import Connection, select

from grader import clock, files
from grader.errors import BadFile, BadRoster, Unknown
from grader.records import database, ledger, schema
from grader.records.term import class_list
from grader.records.term.term import Term

LARGEST_FILE = 5_000_000
# Letters that Unicode does not take apart into a plain one and its mark: beside which letters they stand in a list.
_BESIDE = {"ø": "o", "ł": "l", "đ": "d", "ð": "d", "ħ": "h", "æ": "ae", "œ": "oe", "ß": "ss"}
_BEHIND = {"ı": "i", "ŋ": "n"}  # letters of their own, right behind these
ENROLLED, WITHDRAWN = "enrolled", "withdrawn"
MANY = 3  # a list that would withdraw more than one in so many is confirmed first


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
    def name(self) -> str:
        return f"{self.last_name}, {self.first_name}".strip(", ")


@dataclass(slots=True)
class Imported:
    """What a class list changes. `changed` are (before, after); `notes` say what was passed over or understood.

    `doubts` say why the list is not stored before somebody confirms it; `stored` whether it was.
    """

    added: list[Trainee] = field(default_factory=list)
    changed: list[tuple[Trainee, Trainee]] = field(default_factory=list)
    withdrawn: list[Trainee] = field(default_factory=list)
    unchanged: list[Trainee] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)
    stored: bool = False


def import_list(opened: Term, path: str | Path, *, preview: bool = False, confirmed: bool = False) -> Imported:
    """Store a class list; who is no longer on it becomes withdrawn, nobody is deleted.

    A list that would withdraw much of the class, or whose ids look like known ones
    without their noughts, is stored only when it is confirmed.

    Parameters
    ----------
    opened : Term
    path : path
        Text or an .xlsx workbook.
    preview : bool
        Say what would change and store nothing.
    confirmed : bool
        Store it although there are doubts.

    Returns
    -------
    Imported

    Raises
    ------
    BadRoster
        Nothing was stored.
    """
    try:
        content = files.read_bytes(path, most=LARGEST_FILE, what=class_list.WHAT)
    except BadFile as problem:
        raise BadRoster(str(problem)) from None
    listed, notes = class_list.read(content)
    reading = database.reading if preview else database.transaction
    with reading(opened) as connection:
        known = {person.id: person for person in everyone(connection)}
        outcome = _compare(listed, known)
        outcome.notes = notes
        outcome.stored = not preview and (confirmed or not outcome.doubts)
        if outcome.stored:
            _store(connection, outcome)
            stamp = re.sub(r"[^0-9]", "", clock.to_text(clock.now()))
            # Within the transaction: where the list cannot be kept, nobody is stored either.
            files.write_bytes(opened.folder / "rosters" / f"{stamp}_{Path(path).name}", content)
    return outcome


def difference(before: Trainee, after: Trainee) -> str:
    """What a class list changes about somebody: from what to what."""
    pairs = [
        ("", before.name, after.name),
        ("group ", before.group or "none", after.group or "none"),
        ("", before.status, after.status),
    ]
    return "; ".join(f"{what}{old} -> {new}" for what, old, new in pairs if old != new)


def _compare(listed, known):
    """What a list changes in a roster."""
    by_college_id = {person.college_id.casefold(): person for person in known.values()}
    outcome = Imported()
    owners = {person.id: person.college_id for person in known.values()}
    seen = set()
    for row in listed:
        before = by_college_id.get(row.college_id.casefold())
        # The folder and the spelling of the id were fixed at enrolment.
        own, college_id = (
            (before.id, before.college_id) if before else (class_list.folder_id(row.college_id), row.college_id)
        )
        if owners.setdefault(own, college_id) != college_id:
            raise BadRoster(
                f"The class list was not stored:\nline {row.line}: ids {owners[own]} and {college_id} would share the "
                f"folder {own}\nGive one of them another id and import it again."
            )
        group = row.group if row.group is not None else before.group if before else ""
        person = Trainee(own, college_id, row.last_name, row.first_name, group)
        seen.add(own)
        if before is None:
            outcome.added.append(person)
        elif before == person:
            outcome.unchanged.append(person)
        else:
            outcome.changed.append((before, person))
    outcome.withdrawn = [p for p in known.values() if p.id not in seen and p.status == ENROLLED]
    outcome.doubts = list(_doubts(outcome, [p for p in known.values() if p.id not in seen], known))
    return outcome


def _doubts(outcome, missing, known):
    """Why a list may not be what its sender meant."""
    enrolled = sum(person.status == ENROLLED for person in known.values())
    if len(outcome.withdrawn) * MANY > enrolled:
        names = "; ".join(person.name for person in outcome.withdrawn[:6])
        more = "; and others" if len(outcome.withdrawn) > 6 else ""
        yield f"It would withdraw {len(outcome.withdrawn)} of {enrolled} ({names}{more}). Is it the list of this class, and whole?"
    bare = {person.college_id.casefold().lstrip("0"): person for person in missing}
    alike = [(new, bare[key]) for new in outcome.added if (key := new.college_id.casefold().lstrip("0")) in bare]
    if alike:
        pairs = ", ".join(f"{new.college_id} for {old.college_id}" for new, old in alike[:6])
        more = " and others" if len(alike) > 6 else ""
        yield (
            f"Ids look like known ones with other noughts in front ({pairs}{more}): a spreadsheet may have taken them for "
            "numbers. Format that column as text, enter the ids again, and save the list anew."
        )


def _store(connection, outcome):
    table = schema.trainee
    if outcome.added:
        connection.execute(table.insert(), [_row(person) for person in outcome.added])
    for _, person in outcome.changed:
        connection.execute(table.update().where(table.c.id == person.id).values(_row(person)))
    for person in outcome.withdrawn:
        connection.execute(table.update().where(table.c.id == person.id).values(status=WITHDRAWN))
    back = [person for before, person in outcome.changed if before.status == WITHDRAWN]
    ledger.append(
        connection,
        [ledger.Entry("enrolled", trainee=p.id, new=p.college_id) for p in (*outcome.added, *back)]
        + [ledger.Entry("withdrawn", trainee=p.id) for p in outcome.withdrawn],
    )


def everyone(connection: Connection, *, enrolled_only: bool = False) -> list[Trainee]:
    """All trainees in order of name, then id."""
    query = select(schema.trainee)
    if enrolled_only:
        query = query.where(schema.trainee.c.status == ENROLLED)
    people = [
        Trainee(row.id, row.college_id, row.last_name, row.first_name, row.group_name, row.status)
        for row in connection.execute(query)
    ]
    return sorted(people, key=lambda p: (name_order(p.last_name), name_order(p.first_name), p.id))


def listed(term: Term) -> list[Trainee]:
    """Everybody on the roster of a term, the withdrawn too, in order of name; nothing is written."""
    with database.reading(term) as connection:
        return everyone(connection)


def name_order(name: str) -> tuple:
    """What puts names in order, the same on every machine: Č stands among the C, Å among the A.

    First the letters without their marks, signs before figures before letters; marks
    decide between names that are otherwise the same. This is the order of Unicode's
    collation algorithm (UTS 10, default table) for names in Latin letters.
    """
    whole = unicodedata.normalize("NFKD", name.lower())
    plain = []
    for letter in whole:
        if unicodedata.combining(letter):
            continue
        for base in _BESIDE.get(letter, letter):
            rank = 2 if base.isalpha() else 1 if base.isalnum() else 0
            plain.append((rank, _BEHIND.get(base, base), base in _BEHIND))
    return plain, whole


def one(connection: Connection, trainee_id: str) -> Trainee:
    """One trainee by our id or by the college's.

    Raises
    ------
    Unknown
        Nobody of that id.
    """
    for person in everyone(connection):
        if trainee_id.casefold() in (person.id, person.college_id.casefold()):
            return person
    raise Unknown(f"Nobody on the roster has the id {trainee_id[:60]!r}. 'roster list' shows who is enrolled.")


def chosen(connection: Connection, group: str = "", trainee_ids: Sequence[str] = ()) -> list[Trainee]:
    """Enrolled trainees of a group, or some by their ids, or all, in order of name.

    Raises
    ------
    Unknown
        Nobody of such an id is enrolled; no such group.
    """
    people = everyone(connection, enrolled_only=True)
    if group:
        groups = sorted({person.group for person in people} - {""})
        members = [person for person in people if person.group.casefold() == group.strip().casefold()]
        if not members:
            raise Unknown(
                f"No group is called {group[:40]!r}; there {'are ' + ', '.join(groups) if groups else 'are none'}."
            )
        people = members
    if not trainee_ids:
        return people
    wanted = [one(connection, trainee_id) for trainee_id in trainee_ids]
    gone = [person.name for person in wanted if person not in people]
    if gone:
        raise Unknown(
            f"{', '.join(gone)} {'is' if len(gone) == 1 else 'are'} not enrolled{' in that group' if group else ''}."
        )
    return [person for person in people if person in wanted]


def _row(person):
    return {
        "id": person.id,
        "college_id": person.college_id,
        "last_name": person.last_name,
        "first_name": person.first_name,
        "group_name": person.group,
        "status": person.status,
    }
