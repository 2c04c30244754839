"""Deleting a person or a class: records, files, exports and copies go; the ledger's chain stays whole.

Files go first, then the records, then the free space of the database: a run cut
short is finished by running it again.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import delete, select, update

from grader.course.grading import written_answers
from grader.course.issue import channels
from grader.errors import Refused
from grader.records import database, exported, ledger, schema, sent, traces
from grader.records.gradebook import gradebook
from grader.records.term import roster
from grader.records.term.roster import Trainee
from grader.records.term.term import Term

_KEPT = ("tm_schema", "tm_ledger")


@dataclass(frozen=True, slots=True)
class Doomed:
    """What a deletion would take: the people, how many hand-ins of theirs and how many files.

    `elsewhere` are exports that name one of them and lie outside the term's folder, written there by this program.
    """

    people: list[Trainee]
    hand_ins: int
    files: int
    elsewhere: list[Path]


@dataclass(slots=True)
class Deleted:
    """What went: people, files and ledger rows; `findings` name what a person has still to look at."""

    people: int = 0
    files: int = 0
    ledger_rows: int = 0
    findings: list = field(default_factory=list)


def preview(term: Term, trainee_id: str = "") -> Doomed:
    """What deleting one trainee, or everybody, would take; nothing is changed.

    Raises
    ------
    Unknown
        Nobody of that id.
    """
    with database.reading(term) as connection:
        everybody = roster.everyone(connection)
        people = [roster.one(connection, trainee_id)] if trainee_id else everybody
        digests, count = _hand_ins(connection, people)
    marks = _words(people, everybody)
    return Doomed(people, count, len(traces.files_of(term, people, marks, digests)), _elsewhere(term, marks))


def delete_person(term: Term, trainee_id: str, *, reason: str, elsewhere: bool = False) -> Deleted:
    """Delete one trainee from a term.

    Every export, report and returned table of the class goes too, since it may
    hold him; they can be made again.

    Parameters
    ----------
    term : Term
    trainee_id : str
        Either of the trainee's ids.
    reason : str
        Kept in the ledger; must not name the person.
    elsewhere : bool
        Also exports outside the term's folder that name the person.

    Returns
    -------
    Deleted

    Raises
    ------
    Refused
        No reason, or one that names the person.
    Unknown
        Nobody of that id.
    """
    with database.transaction(term) as connection:
        person = roster.one(connection, trainee_id)
    return _delete(term, [person], reason, elsewhere)


def delete_class(term: Term, *, reason: str, elsewhere: bool = False) -> Deleted:
    """Delete everybody in a term; settings, assignments and the ledger's chain stay. `elsewhere` as for one person.

    Raises
    ------
    Refused
        No reason, or nobody to delete.
    """
    with database.transaction(term) as connection:
        people = roster.everyone(connection)
    if not people:
        raise Refused("Nobody is on the roster; nothing was changed.")
    return _delete(term, people, reason, elsewhere)


def _hand_ins(connection, people):
    """(digests of kept files that belong to nobody else, number of hand-ins) of some people."""
    table = schema.hand_in
    kept = connection.execute(select(table.c.trainee, table.c.sha256)).all()
    everybody = {person.id for person in people}
    mine = [row.sha256 for row in kept if row.trainee in everybody]
    return set(mine) - {row.sha256 for row in kept if row.trainee not in everybody}, len(mine)


def _words(people, everyone):
    """What each of some people is looked for by in files."""
    gone = {person.id for person in people}
    others = [person for person in everyone if person.id not in gone]
    return [traces.words(person, others) for person in people]


def _elsewhere(term, marks):
    """Exports that lie outside the term's folder and name one of some people."""
    return [path for path in exported.places(term) if any(traces.mentions(path.read_bytes(), mine) for mine in marks)]


def check_reason(people: Sequence[Trainee], reason: str) -> None:
    """Look at the reason of a deletion, which is kept.

    Raises
    ------
    Refused
        There is none, or it names a person.
    """
    if not reason.strip():
        raise Refused("A deletion needs a reason. Say why in a few words; nothing was changed.")
    if any(_names(person).search(reason) for person in people):
        raise Refused("The reason names a person and would be kept. Say why without the name; nothing was changed.")


def _delete(term, people, reason, elsewhere):
    check_reason(people, reason)
    done = Deleted(people=len(people))
    with database.transaction(term) as connection:
        everybody = {person.id for person in people}
        mine, _ = _hand_ins(connection, people)
        marks = _words(people, roster.everyone(connection))
    with database.transaction(term) as connection:  # before the answers go: a table of 'read --to' has codes, no names
        letters = tuple(sorted(written_answers.codes(term, connection, everybody)))
    done.files = traces.remove_files(term, people, marks, mine)
    for path in _elsewhere(term, marks):
        if elsewhere:
            traces.remove(path)
            done.files += 1
        else:
            done.findings.append(
                f"{path} was exported from here and still names a deleted person. Remove it, or make it anew."
            )
    exported.tidy(term)
    taken_out = channels.forget(term, people)
    done.files += len(taken_out)
    done.findings += [
        f"nbgrader's exchange still offers the numbers of {key}. Run 'assign {key} --as exchange' to put the rest there."
        for way, key in taken_out
        if way == channels.EXCHANGE
    ]
    with database.transaction(term) as connection:
        sent_people = len(everybody & sent.people(connection))
        if sent_people:
            done.findings.append(
                f"Statements about {sent_people} of them were written for a record store. What lies there is not ours to delete: "
                "ask whoever runs it."
            )
        _delete_rows(connection, everybody)
        gradebook.delete_gradebook_rows(connection, everybody)
        done.ledger_rows = _forget(connection, people, done.findings)
        ledger.append(connection, [ledger.Entry("delete", new=f"{len(people)} of the roster", reason=reason)])
    traces.free_space(term)
    done.findings += traces.search(term, [*marks, (letters, ())])
    return done


def _delete_rows(connection, everybody):
    """Rows of every table of ours that belongs to a trainee, those of later versions too."""
    for table in schema.metadata.sorted_tables:
        owner = table.c.id if table is schema.trainee else table.c.get("trainee")
        if owner is not None and table.name not in _KEPT:
            for who in everybody:
                connection.execute(delete(table).where(owner == who))


def _forget(connection, people, findings):
    """Drop payload and salt of rows about these people; the digests that the chain rests on stay."""
    everybody = {person.id for person in people}
    patterns = [_names(person) for person in people]
    dropped = []
    for seq, _, entry in ledger.entries(connection):
        text = " ".join(str(value) for value in (entry["old"], entry["new"], entry["reason"]) if isinstance(value, str))
        if entry["trainee"] in everybody:
            dropped.append(seq)
        elif any(pattern.search(text) for pattern in patterns):
            if entry["trainee"]:  # somebody else's mark rests on this row
                findings.append(f"Ledger row {seq} is about {entry['trainee']} and names a deleted person in its text.")
            else:
                dropped.append(seq)
    for start in range(0, len(dropped), 500):
        connection.execute(
            update(schema.ledger)
            .where(schema.ledger.c.seq.in_(dropped[start : start + 500]))
            .values(payload=None, salt=None)
        )
    return len(dropped)


def _names(person):
    """A pattern for what gives a person away in a text: an id as a whole word, or the family name."""
    words = {person.college_id, person.id, person.last_name or person.first_name}
    telling = [re.escape(word) for word in sorted(words) if len(word) >= 3]
    return re.compile("|".join(rf"(?<!\w){word}(?!\w)" for word in telling) or r"(?!)")
