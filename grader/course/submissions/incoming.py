"""Finding hand-ins among files and folders: known by what is in them, not by what they are called."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from grader import clock, files
from grader.course.attempts.kept import LARGEST_KEPT
from grader.course.submissions import archives
from grader.errors import BadFile
from grader.exercise import issued
from grader.exercise import sheet as sheets
from grader.records.gradebook import exchange

ANSWERS, COMPANY, OTHER = "answers", "company", "other"
MOST_VALUES = 1_000_000  # in all sheets of one archive together, counted before they are decoded
BARE_NOTEBOOK = (
    f"It is the lesson without the answers, which lie in {sheets.NAME} beside it. Ask for the file that the lesson names when "
    "one clicks Hand in."
)


@dataclass(slots=True)
class Submission:
    """One answer sheet as it was found, decoded, or why there is none.

    `parts` are the names of the folders and archives it lies in, outermost
    first, and its own name. `company` holds the issues of numbers and receipts
    beside it. `stamp` is the exchange's time, None where it gave none; `came` is when the file came to
    lie where it lies, `changed` when it was last changed by its own word. `file` is what
    it came in, `beside` the files that go with it.
    """

    where: str
    parts: tuple
    content: bytes | None
    problem: str = ""
    sheet: sheets.Sheet | None = None
    company: list = field(default_factory=list)
    stamp: datetime | None = None
    came: datetime | None = None
    changed: datetime | None = None
    file: Path | None = None
    beside: tuple[Path, ...] = ()

    @property
    def saved(self) -> str:
        """When it was saved, by its own word; empty where it does not say."""
        return self.sheet.saved if self.sheet else ""


def find(root: Path, notes: list[str], *, own: bool = False, without: Path | None = None) -> Iterator[list[Submission]]:
    """Lists of submissions, one list for each folder or archive.

    Parameters
    ----------
    root : Path
        A file, or a folder that is searched to the bottom; links are not followed.
    notes : list of str
        Receives a sentence about everything passed over.
    own : bool
        It is the term's own folder for nbgrader, where this program puts notebooks itself.
    without : Path or None
        A folder in it that is left out.

    Yields
    ------
    list of Submission
    """
    if root.is_dir() and not root.is_symlink():
        closed = []
        for folder, folders, names in os.walk(root, onerror=closed.append):
            folders[:] = sorted(
                name for name in folders if not archives.passed_over(name) and Path(folder) / name != without
            )
            yield from _folder(Path(folder), root, sorted(names), folders, notes, own=own)
        for problem in closed:
            sentence = f"The folder cannot be read: {problem.strerror}. Allow reading, then collect again."
            yield [_bad(Path(problem.filename), root, sentence)]
    else:
        yield from _folder(root.parent, root.parent.parent, [root.name], [], notes, alone=True)


def _folder(folder, root, names, folders, notes, *, alone=False, own=False):
    loose, company, notebooks = [], [], []
    for name in list(folders):
        path = folder / name
        if path.is_symlink():
            loose.append(
                _bad(
                    path, root, "It is a link to another folder, which is not followed. Put the files themselves there."
                )
            )
        elif name == sheets.NAME:
            loose.append(_bad(path, root, "The answer sheet is a folder. Put the file itself there."))
    for name in names:
        if archives.passed_over(name) and not alone:
            continue
        path = folder / name
        try:
            head = _head(path)
        except BadFile as problem:
            loose.append(_bad(path, root, str(problem)))
            continue
        suffix = path.suffix.lower()
        packer = archives.other_packer(head)
        if packer:
            loose.append(
                _bad(
                    path, root, f"It is packed as {packer}, which is not opened here. Ask for a zip or the file itself."
                )
            )
        elif archives.is_zip(head) or suffix == ".zip":
            yield _archive(path, root)
        elif (
            suffix == ".json"
            or _backup(name)
            or name.startswith("answers")
            or head.lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n\0")[:1] == b"{"
        ):
            _json(path, root, loose, company, notes, notebooks)
        elif suffix == ".ipynb":
            notebooks.append(path)
        elif name != "timestamp.txt":
            notes.append(f"{_where(path, root)} is no hand-in; passed over")
    sheets_there = _put_together(folder, root, loose, company, notebooks, notes, own)
    if sheets_there:
        yield _by_saving(sheets_there)


def _put_together(folder, root, loose, company, notebooks, notes, own):
    """The sheets that lie loose in one folder, each with what goes with it; a lesson without any is one that is none."""
    proper = _without_backups(loose)
    if not proper and not own:  # beside answers a notebook says nothing, nor in a folder for a whole class
        for_all = any(issued.SHARED_FORMAT.encode() in content for _, content in company)
        return [] if for_all else [_bad(path, root, BARE_NOTEBOOK) for path in notebooks]
    if not proper:
        return []
    alone = len(proper) == 1
    if not alone and not own:  # whose lesson it is cannot be told: it may be all that somebody sent
        notes += [f"{_where(path, root)} is a lesson without answers; passed over" for path in notebooks]
    copies = [submission.file for submission in loose if submission not in proper and submission.file]
    beside = (*(path for path, _ in company), *copies, *(notebooks if alone else ()))
    stamp = _exchange_stamp(folder, notes)
    for submission in proper:
        submission.company, submission.stamp = [content for _, content in company], stamp
        submission.beside = beside
    return proper


def _json(path, root, loose, company, notes, notebooks):
    parts, where = _parts(path, root), _where(path, root)
    try:
        content = files.read_bytes(path, most=sheets.LARGEST_FILE, what="The answer sheet")
    except BadFile as problem:
        if path.suffix.lower() == ".json" or path.name.startswith("answers"):
            loose.append(_bad(path, root, str(problem)))
        else:
            notes.append(f"{where} is no hand-in; passed over")
        return
    kind, sheet, problem = _kind(path.name, content)
    if kind == ANSWERS:
        loose.append(
            Submission(where, parts, content, problem, sheet, came=_came(path), changed=_changed(path), file=path)
        )
    elif kind == COMPANY:
        company.append((path, content))
    elif path.suffix.lower() == ".ipynb":
        notebooks.append(path)
    else:
        notes.append(f"{where} is no hand-in; passed over")


def _archive(path, root):
    submissions = _in_archive(path, root)
    for submission in submissions:
        submission.file, submission.changed = path, _changed(path)
    return submissions


def _in_archive(path, root):
    parts, where, came = _parts(path, root), _where(path, root), _came(path)
    try:
        content = files.read_bytes(path, most=LARGEST_KEPT, what="The hand-in")
    except BadFile as problem:
        return [_bad(path, root, str(problem))]
    try:
        inside = archives.members(content)
    except BadFile as problem:
        return [Submission(where, parts, content, str(problem), came=came)]
    submissions, company, broken, values = [], [], [], 0
    for member in inside:
        all_parts = (*parts, *member.parts)
        inner = _shown(all_parts)
        if member.problem:
            broken.append(Submission(inner, all_parts, member.content, member.problem, came=came))
            continue
        values += sheets.values_in(member.content)
        if values > MOST_VALUES:
            sentence = f"The hand-in holds more than {MOST_VALUES:,} values; no real one does. Ask for it again."
            return [Submission(where, parts, content, sentence, came=came)]
        kind, sheet, problem = _kind(member.name, member.content)
        if kind == ANSWERS and len(member.content) > sheets.LARGEST_FILE:
            sentence = f"The answer sheet unpacks to more than {sheets.LARGEST_FILE:,} bytes. Ask for it again."
            broken.append(Submission(where, parts, content, sentence, came=came))
        elif kind == ANSWERS:
            submissions.append(Submission(inner, all_parts, member.content, problem, sheet, came=came))
        elif kind == COMPANY and len(member.content) <= archives.LARGEST_MEMBER:
            company.append(member.content)
    submissions = _without_backups(submissions)
    if not submissions and not broken:
        sentence = f"The hand-in holds no {sheets.NAME}; exactly one is needed. Ask for it again."
        if archives.holds_notebook(content):
            sentence = BARE_NOTEBOOK
        return [Submission(where, parts, content, sentence, came=came)]
    if len(submissions) > 1 and not _of_different_people(submissions):
        sentence = f"The hand-in holds {len(submissions)} {sheets.NAME}; exactly one is needed for each trainee and module. Ask for it again."
        return [Submission(where, parts, content, sentence, came=came), *broken]
    for submission in submissions:
        submission.company = company
        submission.where = where if len(submissions) == 1 else submission.where
    return _by_saving(submissions) + broken


def _kind(name, content):
    """What the bytes of a file are, answers, their company or something else, and what was decoded on the way.

    Returns
    -------
    (str, Sheet or None, str)
        The kind; for answers the sheet, or why it cannot be read.
    """
    problem = ""
    if len(content) <= sheets.LARGEST_FILE:
        try:
            return ANSWERS, sheets.parse(content), ""
        except BadFile as refusal:
            problem = str(refusal)
    kind = _kind_of_no_sheet(name, content)
    return kind, None, problem if kind == ANSWERS else ""


def _kind_of_no_sheet(name, content):
    try:
        if len(content) > sheets.LARGEST_FILE or sheets.values_in(content) > sheets.MOST_VALUES:
            raise BadFile("too large to be decoded: its beginning and its name tell")
        body = files.from_json(content, what="The file")
    except BadFile:
        lower = name.lower()
        if lower in (issued.NAME, "receipt.json"):
            return COMPANY
        marked = sheets.FORMAT.encode() in content[:100_000] or sheets.FORMAT.encode("utf-16-le") in content[:100_000]
        return ANSWERS if marked or lower.startswith("answers") or lower.endswith(".json") else OTHER
    says = body.get("format")
    if says == sheets.FORMAT:
        return ANSWERS
    if (
        says in (issued.FORMAT, issued.SHARED_FORMAT)
        or name.lower() in (issued.NAME, "receipt.json")
        or "receipt" in str(says)[:60]
    ):
        return COMPANY
    if "sha256" in body and "answers" not in body:
        return COMPANY
    return ANSWERS if name.lower().startswith("answers") or name.lower().endswith(".json") else OTHER


def _of_different_people(submissions):
    """True if every sheet can be read and no two are of one trainee, module and attempt."""
    read = [submission.sheet for submission in submissions if submission.sheet]
    return len({(sheet.term, sheet.trainee, sheet.module, sheet.attempt) for sheet in read}) == len(submissions)


def _by_saving(submissions):
    """Sheets in the order in which they were saved, so that of two that came together the later one counts."""
    return sorted(submissions, key=lambda submission: submission.saved)


def _without_backups(submissions):
    """Leaves answers.json.bak out where a sheet proper lies beside it."""
    proper = [submission for submission in submissions if not _backup(submission.parts[-1])]
    return proper or submissions


def _backup(name):
    return name.lower().endswith((".bak", ".damaged", "~"))


def _exchange_stamp(folder, notes):
    """The time in timestamp.txt of nbgrader's submitted/<student>/<assignment>/; elsewhere it is only a claim."""
    path = folder / "timestamp.txt"
    if folder.parent.parent.name != "submitted" or not path.exists():
        return None
    try:
        text = files.read_bytes(path, most=1000, what="The time stamp").decode("utf-8-sig").strip()
        stamp = exchange.read_stamp(text)
        if stamp > clock.now() + timedelta(minutes=5):
            raise BadFile(f"it lies in the future ({text})")
        return stamp
    except (BadFile, UnicodeDecodeError) as problem:
        notes.append(
            f"{folder.parent.name}/{folder.name}/timestamp.txt was not used: {problem}. The time of arrival counts"
        )
        return None


def _head(path):
    """The first bytes of a regular file."""
    try:
        status = path.lstat()
    except OSError as problem:  # gone since its folder was listed, or closed to us
        raise BadFile(f"It cannot be read: {problem.strerror}.") from None
    if stat.S_ISLNK(status.st_mode) or not stat.S_ISREG(status.st_mode):
        files.read_bytes(path, most=0, what="It")  # says what it is instead
        raise BadFile("It is no ordinary file. Put the file itself there.")
    try:
        with path.open("rb") as stream:
            return stream.read(64)
    except OSError as problem:
        raise BadFile(f"It cannot be read: {problem.strerror}.") from None


def _came(path):
    """When the file came to lie here; renaming and moving touch it. A copied modification time is the trainee's clock."""
    return datetime.fromtimestamp(path.lstat().st_ctime, UTC)


def _changed(path):
    """When the file was last changed, as it says itself: whoever sends it can set that."""
    return datetime.fromtimestamp(path.lstat().st_mtime, UTC)


def _bad(path, root, problem):
    return Submission(_where(path, root), _parts(path, root), None, problem, came=None, file=path)


def _parts(path, root):
    return (root.name, *path.relative_to(root).parts)


def _where(path, root):
    return _shown(_parts(path, root))


def _shown(parts):
    """Where a file lies, fit for one line of text: names of files can hold anything."""
    text = "/".join(parts).encode("utf-8", "replace").decode()
    return "".join(c if c.isprintable() else "?" for c in text)[-300:]
