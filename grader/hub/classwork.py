"""What goes between the term folder and one trainee: his numbers, his hand-ins, his returned sheets.

Every function acts for the trainee whom the hub names, and for nobody else; none believes what a file says of its owner.
"""

from __future__ import annotations

import hashlib
import io
import os
import re
import threading
import zipfile
import zlib
from collections import defaultdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, select

from grader import clock, files
from grader.course.attempts import lateness, standing
from grader.course.attempts.kept import returned_path
from grader.course.issue import assign
from grader.errors import BadFile, BadSheet, Refused, Unknown
from grader.exercise import hand_in
from grader.exercise import sheet as sheets
from grader.records import adjustments, database, first_seen, schema
from grader.records.term import roster
from grader.records.term.roster import Trainee
from grader.records.term.term import Term
from grader.widgets.own_work import LARGEST_PAGE

_STAMP = "%Y%m%dT%H%M%S%f"
_DELIVERED = re.compile(r"(\d{8}T\d{12})-([a-z0-9_]+)-(\d+)-([0-9a-f]{64})\.zip\Z")
_ONE_AT_A_TIME: defaultdict[str, threading.Lock] = defaultdict(threading.Lock)


def works(term: Term, trainee: str) -> list[dict[str, Any]]:
    """What was issued to a trainee, and how it stands on the instructor's side. Reads only.

    Parameters
    ----------
    term : Term
    trainee : str
        Our id.

    Returns
    -------
    list of dict
        module, attempt, mode, due (a moment as text, after any extension, or empty), record (digest of his numbers),
        received (when his last hand-in came, or empty), receipt (digest of its answers), returned (digest of the page
        given back, or empty). One for each attempt of each module that is assigned.

    Raises
    ------
    Refused
        Nobody of that id is enrolled.
    """
    with database.reading(term) as connection:
        _enrolled(connection, trainee)
        modes, decided = standing.modes(connection), adjustments.read(connection)
        returned = _returned(connection, trainee)
        table = schema.issue
        rows = connection.execute(
            select(table).where(table.c.trainee == trainee).order_by(table.c.module, table.c.attempt)
        ).all()
        latest = _kept(connection, trainee)
    for at, module, attempt, sha256 in _delivered(term, trainee):
        latest[module, attempt] = max(latest.get((module, attempt), ("", "")), (at, sha256))
    return [
        {
            "module": row.module,
            "attempt": row.attempt,
            "mode": modes[row.module],
            "due": decided.due_text(row),
            "record": hashlib.sha256(row.record.encode()).hexdigest(),
            "received": latest.get((row.module, row.attempt), ("", ""))[0],
            "receipt": latest.get((row.module, row.attempt), ("", ""))[1],
            "returned": returned.get((row.module, row.attempt), ""),
        }
        for row in rows
        if row.module in modes
    ]


def handout(term: Term, trainee: str, module: str, attempt: int) -> bytes:
    """The zip with a trainee's numbers, made anew from the records.

    Raises
    ------
    Refused
        Nobody of that id is enrolled.
    Unknown
        No such numbers were issued to him, or the module was withdrawn.
    """
    return assign.handout(term, module, issue_of(term, trainee, module, attempt).encode())


def take_in(term: Term, trainee: str, content: bytes) -> dict[str, Any]:
    """Put a trainee's hand-in into the inbox of the term, where `collect` finds it.

    The same answers once more are the same hand-in: whoever did not hear that his work arrived may send it again.

    Parameters
    ----------
    term : Term
    trainee : str
        Our id, as the hub names him.
    content : bytes
        The zip that the lesson makes.

    Returns
    -------
    dict
        module, attempt, sha256 of the answers, received: when they arrived by this machine's clock.

    Raises
    ------
    BadFile
        It is no hand-in.
    Refused
        It is another person's, or no such numbers were issued.
    CannotWrite
        The disk refuses; nothing was taken.
    """
    answers, sheet = _unpacked(content)
    if (sheet.term, sheet.trainee) != (term.id, trainee):
        raise Refused("These answers belong to somebody else, or to another class. Nothing was handed in.")
    try:
        issue_of(term, trainee, sheet.module, sheet.attempt)
    except Unknown as problem:
        raise Refused(f"{problem} Nothing was handed in.") from None
    sha256 = hand_in.digest(answers)
    with _ONE_AT_A_TIME[trainee]:
        mine = [one for one in _delivered(term, trainee) if one[1:3] == (sheet.module, sheet.attempt)]
        if mine and max(mine)[3] == sha256:
            received = max(mine)[0]
        else:
            now = clock.now()
            received = clock.to_text(now)
            name = f"{now.astimezone(UTC):{_STAMP}}-{sheet.module}-{sheet.attempt}-{sha256}.zip"
            folder = term.folder / "inbox" / trainee
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            files.write_bytes(folder / name, content, mode=files.PRIVATE)
            first_seen.look(folder, term.id, term.key, now)  # whatever sorts the inbox later makes nothing late
    return {"module": sheet.module, "attempt": sheet.attempt, "sha256": sha256, "received": received}


def returned_page(term: Term, trainee: str, module: str, attempt: int) -> bytes:
    """The page that gives a trainee's attempt back.

    Raises
    ------
    Refused
        Nobody of that id is enrolled.
    Unknown
        Nothing of that was returned to him.
    """
    with database.reading(term) as connection:
        _enrolled(connection, trainee)
        known = _returned(connection, trainee)
    if (module, attempt) not in known:
        raise Unknown(f"Nothing of {module[:60]}, attempt {attempt}, was returned yet.")
    path = returned_path(term, trainee, module, attempt)
    return files.read_bytes(path, most=LARGEST_PAGE, what="The returned sheet")


def _enrolled(connection: Connection, trainee: str) -> Trainee:
    person = next((p for p in roster.everyone(connection, enrolled_only=True) if p.id == trainee), None)
    if person is None:
        raise Refused(f"{trainee[:60]} is not on the class list. Ask your instructor.")
    return person


def issue_of(term: Term, trainee: str, module: str, attempt: int) -> str:
    """issued.json as the term keeps it, of an assigned module.

    Raises
    ------
    Refused, Unknown
        As `handout`.
    """
    table = schema.issue
    with database.reading(term) as connection:
        _enrolled(connection, trainee)
        mine = (table.c.trainee == trainee) & (table.c.module == module) & (table.c.attempt == attempt)
        record = connection.execute(select(table.c.record).where(mine)).scalar_one_or_none()
        if record is None or module not in standing.modes(connection):
            raise Unknown(f"No numbers for {module[:60]}, attempt {attempt}, were issued to {trainee}.")
    return record


def _kept(connection: Connection, trainee: str) -> dict[tuple[str, int], tuple[str, str]]:
    """(module, attempt) -> (when it came, digest of the answers) of the hand-in collected last."""
    table = schema.hand_in
    columns = (table.c.module, table.c.attempt, table.c.received_at, table.c.sha256)
    rows = connection.execute(select(*columns).where(table.c.trainee == trainee).order_by(table.c.id))
    return {(row.module, row.attempt): (row.received_at, row.sha256) for row in rows}


def _delivered(term: Term, trainee: str) -> list[tuple[str, str, int, str]]:
    """(when, module, attempt, digest of the answers) of every hand-in that came through the hub."""
    inbox, found = term.folder / "inbox", []
    for folder in (inbox / trainee, inbox / first_seen.TAKEN / trainee):
        for name in os.listdir(folder) if folder.is_dir() else ():
            match = _DELIVERED.match(name)
            if match:
                moment = datetime.strptime(match[1], _STAMP).replace(tzinfo=UTC)
                found.append((clock.to_text(moment), match[2], int(match[3]), match[4]))
    return found


def _returned(connection: Connection, trainee: str) -> dict[tuple[str, int], str]:
    """(module, attempt) -> digest of the page returned last; one that was taken back is not among them."""
    return {
        (module, attempt): sha256
        for (owner, module, attempt), (_, sha256) in lateness.returned(connection).items()
        if owner == trainee
    }


def _unpacked(content: bytes) -> tuple[bytes, sheets.Sheet]:
    """(answers.json, decoded) in a hand-in's zip; the sizes that it claims are not believed."""
    if len(content) > hand_in.LARGEST_FILE:
        raise BadFile(f"The hand-in has {len(content):,} bytes; no real one is above {hand_in.LARGEST_FILE:,}.")
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            names = [info for info in packed.infolist() if Path(info.filename).name == sheets.NAME]
            if len(names) != 1:
                raise BadFile(f"The hand-in holds {len(names) or 'no'} {sheets.NAME}; exactly one is needed.")
            with packed.open(names[0]) as stream:
                answers = stream.read(sheets.LARGEST_FILE + 1)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, ValueError):
        raise BadFile("The hand-in is no readable zip. Hand in from the lesson or from the start page.") from None
    if len(answers) > sheets.LARGEST_FILE:
        raise BadFile("The answers in the hand-in are larger than any real ones.")
    try:
        return answers, sheets.parse(answers)
    except BadSheet as problem:
        raise BadFile(str(problem)) from None
