"""Taking hand-ins: every one is kept by its content, none is changed, none is lost."""

import hashlib
import io
import zipfile
import zlib
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError

from grader import catalogue, clock, files
from grader.course import roster
from grader.course.records import database, ledger, schema
from grader.errors import BadFile, BadSheet, Refused
from grader.exercise import sheet as sheets

LARGEST_ARCHIVE = 50_000_000


@dataclass(slots=True)
class Collected:
    """What a collect did, in sentences and counts."""

    taken: int = 0
    known: int = 0
    findings: list = field(default_factory=list)


def collect(term, paths=(), *, received_at=None):
    """Take hand-ins from the inbox, or from files and folders named.

    Parameters
    ----------
    term : Term
    paths : sequence of path
        Empty: the term's inbox.
    received_at : datetime or None
        When all of them arrived; None: when each file came to this machine.

    Returns
    -------
    Collected

    Raises
    ------
    Refused
        A path that does not exist.
    """
    outcome = Collected()
    roots = [Path(path).expanduser() for path in paths] or [term.folder / "inbox"]
    for root in roots:
        if not root.exists():
            raise Refused(f"{root} does not exist. Nothing was collected; check the path.")
    with database.connected(term) as connection:
        with connection.begin():
            people = {person.id: person for person in roster.everyone(connection)}
            issues = {
                (row.trainee, row.module, row.attempt)
                for row in connection.execute(
                    select(schema.issue.c.trainee, schema.issue.c.module, schema.issue.c.attempt)
                )
            }
        for root in roots:
            for path in _candidates(root):
                _take(term, connection, path, root, people, issues, received_at, outcome)
    return outcome


def kept_path(term, sha256):
    """Where a hand-in of this content is kept."""
    return term.folder / "handed_in" / sha256[:2] / f"{sha256}.json"


def _candidates(root):
    if root.is_file():
        return [root]
    return sorted(
        p for p in root.rglob("*") if not p.is_dir() and p.suffix.lower() in (".zip", ".json") and p.name[0] != "."
    )


def _take(term, connection, path, root, people, issues, received_at, outcome):
    where = str(path.relative_to(root)) if path != root else path.name
    claimed = _claimed_trainee(path, root, people)
    try:
        content = _answers(path)
    except BadFile as problem:
        content, sheet, finding = _whole(path), None, str(problem)
        if content is None:
            outcome.findings.append(f"{where}: {finding}")
            return
    else:
        if content is None:  # issued.json, receipts and other company of an answer sheet
            return
        try:
            sheet, finding = sheets.parse(content), ""
        except BadSheet as problem:
            sheet, finding = None, str(problem)
    if sheet is not None:
        wrong = _misplaced(term, sheet, claimed, people, issues)
        if wrong:
            outcome.findings.append(f"{where}: {wrong}")
            return
        owner = (sheet.trainee, sheet.module, sheet.attempt)
    else:
        outcome.findings.append(f"{where}: {finding}")
        owner = _guessed_owner(path, claimed, issues)
        if owner is None:
            return
    arrived = received_at or datetime.fromtimestamp(path.stat().st_ctime, UTC)
    sha256 = hashlib.sha256(content).hexdigest()
    if not kept_path(term, sha256).is_file():
        files.write_bytes(kept_path(term, sha256), content)
    row = dict(zip(("trainee", "module", "attempt"), owner, strict=True))
    try:
        with connection.begin():
            connection.execute(
                schema.hand_in.insert().values(
                    **row, received_at=clock.to_text(arrived), source=where, sha256=sha256, usable=sheet is not None,
                    finding=finding,
                )
            )  # fmt: skip
            ledger.append(connection, [ledger.Entry("handed-in", **row, sha256=sha256, new=clock.to_text(arrived))])
    except IntegrityError:  # the same content was taken before: its first arrival counts
        outcome.known += 1
    else:
        outcome.taken += 1


def _answers(path):
    """The bytes of the answer sheet in a file, or None if the file is no hand-in at all."""
    if path.suffix.lower() == ".json":
        if path.name == "issued.json" or path.name == "receipt.json":
            return None
        return files.read_bytes(path, most=sheets.LARGEST_FILE, what="The answer sheet")
    archive = files.read_bytes(path, most=LARGEST_ARCHIVE, what="The hand-in")
    try:
        with zipfile.ZipFile(io.BytesIO(archive)) as packed:
            members = [m for m in packed.infolist() if m.filename.replace("\\", "/").rpartition("/")[2] == sheets.NAME]
            if len(members) != 1:
                count = len(members) or "no"
                raise BadFile(f"The hand-in holds {count} {sheets.NAME}; exactly one is needed. Ask for it again.")
            with packed.open(members[0]) as stream:
                content = stream.read(sheets.LARGEST_FILE + 1)  # never trusts the size that the archive claims
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, ValueError) as problem:
        raise BadFile(f"The hand-in is no readable zip archive ({problem}). Ask for it again.") from None
    if len(content) > sheets.LARGEST_FILE:
        raise BadFile(f"The answer sheet unpacks to more than {sheets.LARGEST_FILE:,} bytes. Ask for it again.")
    return content


def _whole(path):
    """A damaged hand-in itself, to be kept as evidence; None where it is no file of fair size."""
    try:
        return files.read_bytes(path, most=sheets.LARGEST_FILE, what="The hand-in")
    except BadFile:
        return None


def _claimed_trainee(path, root, people):
    """The trainee whose folder the file lies in, as in inbox/<trainee>/."""
    between = path.relative_to(root).parts[:-1] if path != root else ()
    return next((part for part in (*between, root.name) if part in people), None)


def _guessed_owner(path, claimed, issues):
    """(trainee, module, attempt) of a file that cannot be read, from where it lies and what it is called."""
    if claimed is None:
        return None
    known = [key for key in catalogue.all_modules() if key in (path.stem, path.parent.name)]
    mine = sorted(attempt for trainee, module, attempt in issues if trainee == claimed and [module] == known)
    return (claimed, known[0], mine[-1]) if mine else None


def _misplaced(term, sheet, claimed, people, issues):
    """Why a readable sheet cannot be taken, or an empty text."""
    if sheet.term != term.id:
        return f"The sheet belongs to term {sheet.term[:60]!r}, not to {term.id}. Collect it in that term."
    if sheet.trainee not in people:
        return f"Nobody on the roster has the id {sheet.trainee[:60]!r}. Import the class list, then collect again."
    if claimed is not None and claimed != sheet.trainee:
        return f"It lies in the folder of {claimed} and says it is by {sheet.trainee}. Ask both; then put it where it belongs."
    if sheet.module not in catalogue.all_modules():
        return f"There is no module {sheet.module[:60]!r}. Ask for the right file."
    if (sheet.trainee, sheet.module, sheet.attempt) not in issues:
        return f"{sheet.trainee} was never issued attempt {sheet.attempt} of {sheet.module}. Ask for the right file."
    return ""
