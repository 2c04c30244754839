"""Taking hand-ins: every one is kept by its content, none is changed, none is lost."""

import hashlib
import json
import re
from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError

from grader import catalogue, clock, files
from grader.course.attempts import lateness
from grader.course.attempts.kept import kept_path
from grader.course.submissions import attachments, incoming
from grader.errors import BadSheet, Refused
from grader.exercise import sheet as sheets
from grader.exercise.model import PRACTICE
from grader.marking import confidence
from grader.records import database, ledger, lock, schema
from grader.records.gradebook import exchange
from grader.records.term import roster

AFTER_RETURN = "arrived after the return; does not count"


@dataclass(slots=True)
class Collected:
    """What a collect did, in sentences and counts. `notes` need nobody to act."""

    taken: int = 0
    known: int = 0
    findings: list = field(default_factory=list)
    notes: list = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Known:
    """Who and what there is, read once for a run."""

    people: dict  # our ids and the college's, in small letters -> our id
    issues: dict  # (trainee, module, attempt) -> record
    closed: dict  # of attempts that were returned; see late.closed


def collect(term, paths=(), *, received_at=None):
    """Take hand-ins from the inbox and nbgrader's submitted folder, or from files and folders named.

    The time of a hand-in is the exchange's stamp where it has one, else
    `received_at`, else the time at which the file came to this machine.

    Parameters
    ----------
    term : Term
    paths : sequence of path
        Empty: the term's inbox and submitted folders.
    received_at : datetime or None
        When all of them arrived.

    Returns
    -------
    Collected

    Raises
    ------
    Refused
        A path that does not exist.
    """
    outcome = Collected()
    submitted = term.folder / "submitted"
    roots = [Path(path).expanduser() for path in paths]
    roots = roots or [term.folder / "inbox", *([submitted] if submitted.is_dir() else [])]
    for root in roots:
        if not root.exists() and not root.is_symlink():
            raise Refused(f"{root} does not exist. Nothing was collected; check the path.")
    with lock.exclusive(term, "collecting hand-ins"), database.connected(term) as connection:
        known = _known(connection)
        for root in roots:
            for together in incoming.find(root, outcome.notes):
                for parcel in together:
                    _take(term, connection, parcel, known, received_at, outcome)
    return outcome


def collect_exchange(term, root=None):
    """Take every hand-in that lies in nbgrader's exchange, with the exchange's stamp.

    Parameters
    ----------
    term : Term
    root : path or None
        Of the exchange; None: where nbgrader's own settings on this machine have it.

    Returns
    -------
    Collected

    Raises
    ------
    Refused, CannotWrite
        No exchange, nothing handed out there, or it may not be read.
    """
    notes = []
    with exchange.fetched(term, exchange.exchange_config(term, root), notes) as folder:
        outcome = collect(term, [folder])
    outcome.notes[:0] = notes
    return outcome


def _known(connection):
    table = schema.issue
    with connection.begin():
        everyone = roster.everyone(connection)
        issues = {(row.trainee, row.module, row.attempt): row.record for row in connection.execute(select(table))}
        closed = lateness.closed(connection)
    people = {person.college_id.casefold(): person.id for person in everyone}
    return _Known(people | {person.id: person.id for person in everyone}, issues, closed)


def _take(term, connection, parcel, known, received_at, outcome):
    claimed = _claimed_trainee(parcel, known)
    sheet, finding = None, parcel.problem
    if not finding:
        try:
            sheet = sheets.parse(parcel.content)
        except BadSheet as problem:
            finding = str(problem)
    if sheet is not None:
        wrong = _misplaced(term, sheet, claimed, known)
        if wrong:
            outcome.findings.append(f"{parcel.where}: {wrong}")
            return
        owner = (sheet.trainee, sheet.module, sheet.attempt)
    else:
        outcome.findings.append(f"{parcel.where}: {finding}")
        owner = _guessed_owner(parcel, claimed, known)
        if owner is None or parcel.content is None:
            return
    sha256 = hashlib.sha256(parcel.content).hexdigest()
    if sheet is not None:
        notes = attachments.notes(known.issues[owner], sheet, sha256, parcel.company)
        outcome.findings += [f"{parcel.where}: {note}" for note in notes]
        finding = " ".join(notes)
    arrived = parcel.stamp or received_at or parcel.came
    barred = sheet is not None and lateness.too_late(known.closed, owner, clock.to_text(arrived))
    finding = f"{lateness.BARRED} {finding}".strip() if barred else finding
    if not kept_path(term, sha256).is_file():
        files.write_bytes(kept_path(term, sha256), parcel.content)
    row = dict(zip(("trainee", "module", "attempt"), owner, strict=True))
    try:
        with connection.begin():
            connection.execute(
                schema.hand_in.insert().values(
                    **row, received_at=clock.to_text(arrived), source=parcel.where, sha256=sha256,
                    usable=sheet is not None and not barred, finding=schema.text(finding),
                )
            )  # fmt: skip
            reason = AFTER_RETURN if barred else ""
            entry = ledger.Entry("handed-in", **row, sha256=sha256, new=clock.to_text(arrived), reason=reason)
            ledger.append(connection, [entry])
    except IntegrityError:  # the same content was taken before: its first arrival counts
        outcome.known += 1
    else:
        outcome.taken += 1
        if barred:
            outcome.findings.append(f"{parcel.where}: {lateness.BARRED}")
        if sheet is not None:
            outcome.notes += [f"{parcel.where}: {said}" for said in _sure_words(known.issues[owner], sheet)]


def _sure_words(record, sheet):
    """Sentences about "how sure" entries that are not used; nobody need act on them."""
    words, problems = confidence.said(sheet)
    if not words and not problems:
        return []
    if json.loads(record)["mode"] == PRACTICE:
        return [problem.rstrip(".") for problem in problems]
    return ["The sheet says how sure its owner was. Only practice asks that; in assessed work it is not looked at"]


def _claimed_trainee(parcel, known):
    """The trainee whose folder the file lies in, as in inbox/<trainee>/."""
    return next((known.people[p.casefold()] for p in parcel.parts[:-1] if p.casefold() in known.people), None)


def _guessed_owner(parcel, claimed, known):
    """(trainee, module, attempt) of a sheet that cannot be read.

    From the numbers issued beside it, from what can still be read of it, or from
    the folder and the file's name; only what was really issued counts.
    """
    said = attachments.owner(parcel.company) or _legible_owner(parcel.content or b"")
    if said in known.issues and claimed in (None, said[0]):
        return said
    names = {part.rpartition(".")[0] or part for part in parcel.parts} | set(parcel.parts)
    who = claimed or next((known.people[name.casefold()] for name in names if name.casefold() in known.people), None)
    modules = [key for key in catalogue.all_modules() if key in names]
    mine = sorted(attempt for trainee, module, attempt in known.issues if trainee == who and [module] == modules)
    return (who, modules[0], mine[-1]) if mine else None


def _legible_owner(content):
    """What a file cut short or spoilt says of its owner in its first lines."""
    head = content[:4000].decode("utf-8", "replace")
    found = [re.search(rf'"{name}"\s*:\s*"?([A-Za-z0-9_-]+)', head) for name in ("trainee", "module", "attempt")]
    if not all(found) or not found[2].group(1).isdecimal():
        return None
    return found[0].group(1), found[1].group(1), int(found[2].group(1)[:9])


def _misplaced(term, sheet, claimed, known):
    """Why a readable sheet cannot be taken, or an empty text."""
    if sheet.term == PRACTICE:
        return "It is practice work, which is not handed in. Ask for the file from the lesson that was assigned."
    if sheet.term != term.id:
        return f"The sheet belongs to term {sheet.term[:60]!r}, not to {term.id}. Collect it in that term."
    if sheet.trainee not in known.people:
        return f"Nobody on the roster has the id {sheet.trainee[:60]!r}. Import the class list, then collect again."
    if claimed is not None and claimed != sheet.trainee:
        return f"It lies in the folder of {claimed} and says it is by {sheet.trainee}. Ask both; then put it where it belongs."
    if sheet.module not in catalogue.all_modules():
        return f"There is no module {sheet.module[:60]!r}. Ask for the right file."
    if (sheet.trainee, sheet.module, sheet.attempt) not in known.issues:
        return f"{sheet.trainee[:60]} was never issued attempt {str(sheet.attempt)[:20]} of {sheet.module}. Ask for the right file."
    return ""
