"""Fetching hand-ins out of nbgrader's exchange: every one of them, not only each trainee's last."""

from __future__ import annotations

import logging
import os
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from jupyter_core.application import JupyterApp

from grader import clock, files
from grader.errors import BadFile, CannotWrite, Refused
from grader.exercise import sheet as sheets
from grader.records.term.term import Term

_NAME = re.compile(r"(?P<student>[^+]+)\+(?P<module>[^+]+)\+(?P<stamp>[^+]+?)(?:\+(?P<secret>[^+]*))?\Z")
_TAKEN = (".json", ".zip", ".txt", ".bak")
_STAMP = re.compile(
    r"(\d{4}-\d{2}-\d{2})[ T](\d{2}:\d{2}:\d{2})(?:\.\d{1,9})?\s*(Z|UTC|[+-]\d{2}:?\d{2}|[A-Za-z_]+/[A-Za-z_/+-]+)?\Z"
)
TOLERANCE = timedelta(minutes=10)  # between a stamp and its folder, which is made a moment later
_LARGEST = sheets.LARGEST_FILE * 5


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why a hand-in waits for a decision, and when it came by the system's word; None where its stamp is not in doubt."""

    words: str
    came: datetime | None = None


@contextmanager
def fetched(
    term: Term, config: Any, notes: list[str], wrong: list[tuple[str, str]]
) -> Iterator[tuple[Path, dict[Path, Doubt]]]:
    """A folder with a copy of every hand-in to a term, laid out as nbgrader's own collecting does.

    nbgrader's collecting takes each trainee's last hand-in. Here the one that counts
    is chosen later, so all are taken: a late second one must not hide the first.

    Parameters
    ----------
    term : Term
    config : Config
        From `ways.exchange_config`.
    notes : list of str
        Receives a sentence about each one that is passed over.
    wrong : list of (str, str)
        Receives what cannot be taken at all, and why.

    Yields
    ------
    (Path, dict of Path to Doubt)
        The folder, gone afterwards; and those in it whose word about owner or time does not fit
        what the machine says of them.

    Raises
    ------
    Refused
        Nothing was ever handed out there.
    CannotWrite
        The disk refuses, or the exchange may not be read.
    """
    inbound = Path(config.Exchange.root) / term.id / "inbound"
    if not inbound.is_dir():
        raise Refused(
            f"{inbound} does not exist: nothing of this term was handed out there. Run 'assign MODULE --as exchange' first."
        )
    with TemporaryDirectory(prefix="timing-mark-") as place:
        try:
            doubts = {}
            for number, inbound_folder in enumerate(sorted(inbound.iterdir())):
                target = Path(place) / f"{number:06d}" / "submitted"
                doubt = _copy(inbound_folder, target, notes, wrong)
                if doubt:
                    doubts[target] = doubt
        except OSError as problem:
            raise CannotWrite(f"{problem.filename} could not be read or copied: {problem.strerror}.") from None
        yield Path(place), doubts


def _copy(inbound_folder, submitted, notes, wrong):
    """Copy one hand-in; gives a doubt where its word about owner or time is not to be trusted."""
    name, named = inbound_folder.name[:80], _NAME.match(inbound_folder.name)
    if named and inbound_folder.is_symlink():
        wrong.append((name, "In the exchange it is a link to another place, which is not followed. Ask its owner."))
        return None
    if not named or not inbound_folder.is_dir():
        notes.append(f"{name} in the exchange is no hand-in; passed over")
        return None
    target, links = submitted / named["student"] / named["module"], []
    for folder, folders, names in os.walk(inbound_folder):
        links += [entry for entry in (*folders, *names) if (Path(folder) / entry).is_symlink()]
        folders[:] = [entry for entry in folders if not (Path(folder) / entry).is_symlink()]
        for entry in names:
            path = Path(folder) / entry
            if path.suffix in _TAKEN and path.is_file() and not path.is_symlink() and path.stat().st_size <= _LARGEST:
                copy = target / path.relative_to(inbound_folder)
                copy.parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(path, copy)
    if links:
        words = (
            f"{', '.join(sorted(links)[:3])} in it are links to other places, which are not followed. Ask its owner."
        )
        wrong.append((name, words))
    return _doubt(inbound_folder, named)


def _doubt(folder, named):
    """Why a hand-in needs a person's decision: another account made it, or it was made long after its stamp says."""
    owner, words, when = _owner(folder), [], None
    if owner not in (None, named["student"]):
        words.append(
            f"In the exchange it says that it is by {named['student'][:40]}, and the account {owner} made it; ask both."
        )
    stamps = [named["stamp"]]
    try:
        stamps.append(
            files.read_bytes(folder / "timestamp.txt", most=1000, what="The stamp").decode("utf-8-sig").strip()
        )
    except (BadFile, UnicodeDecodeError):
        pass
    made = made_at(folder)
    for stamp in stamps:
        try:
            stamped = read_stamp(stamp)
        except BadFile:  # then it is not used either
            continue
        if made - stamped > TOLERANCE and when is None:
            when = made
            words.append(
                f"Its stamp says {clock.shown(stamped, 'UTC')}, and its folder was made or changed {clock.shown(made, 'UTC')}, "
                "which counts: somebody set the stamp back, or the exchange was moved. If it came in earlier, say so with --at."
            )
    return Doubt(" ".join(words), when) if words else None


def read_stamp(text: str) -> datetime:
    """The moment in an exchange's time stamp; without a zone it is UTC, as nbgrader writes it.

    Raises
    ------
    BadFile
        Another way of writing, or a zone of letters that could mean several.
    """
    match = _STAMP.match(text)
    if not match:
        raise BadFile(f"“{text[:60]}” is not written as 2026-03-31 17:00:00 UTC")
    day, hour, zone = match.groups()
    try:
        if zone and "/" in zone:
            return clock.parse(f"{day} {hour}", zone)
        offset = "+00:00" if zone in (None, "Z", "UTC") else zone if ":" in zone else f"{zone[:3]}:{zone[3:]}"
        return clock.parse(f"{day} {hour}{offset}", "UTC")
    except Refused as problem:
        raise BadFile(str(problem)) from None


def made_at(folder: Path) -> datetime:
    """When a folder of the exchange was made or last changed, as the system says; nobody can set that back."""
    return datetime.fromtimestamp(folder.lstat().st_ctime, UTC)


def _owner(folder):
    """Name of the account that owns a hand-in; None where one account serves all, or systems have no such thing."""
    try:
        import pwd
    except ImportError:
        return None
    uid = folder.stat().st_uid
    try:
        return None if uid == os.getuid() else pwd.getpwuid(uid).pw_name
    except KeyError:
        return f"account {uid}"


def exchange_config(term: Term, root: str | Path | None = None) -> Any:
    """nbgrader's configuration for a term's exchange: the machine's own, with what the term says on top.

    Parameters
    ----------
    term : Term
    root : path or None
        Of the exchange; None: where nbgrader's own settings on this machine have it.

    Returns
    -------
    Config

    Raises
    ------
    Refused
        There is no such folder.
    """
    from nbgrader.apps import NbGrader
    from nbgrader.exchange.default import Exchange

    app = NbGrader()
    JupyterApp.load_config_file(app)
    config: Any = app.config.copy()
    config.CourseDirectory.root = str(term.folder)
    config.CourseDirectory.course_id = term.id
    if root is not None:
        config.Exchange.root = str(Path(root).expanduser().absolute())
    folder = Path(Exchange(config=config).root)
    if not folder.is_dir():
        raise Refused(
            f"{folder} is no exchange folder. Name nbgrader's exchange with --exchange-root, or ask whoever runs the "
            "server to make it; nothing was changed."
        )
    config.Exchange.root = str(folder)
    return config


def place_in_exchange(config: Any, term: Term, module_key: str) -> str:
    """The folder from which trainees fetch a module."""
    return str(Path(config.Exchange.root) / term.id / "outbound" / module_key)


def release_to_exchange(term: Term, module_key: str, staged: Path, config: Any) -> Path:
    """Put a staged hand-out into the exchange as nbgrader does, with its rights."""
    from nbgrader.coursedir import CourseDirectory
    from nbgrader.exchange import ExchangeError
    from nbgrader.exchange.default import ExchangeReleaseAssignment

    config.CourseDirectory.release_directory = str(staged)
    config.CourseDirectory.assignment_id = module_key
    config.ExchangeReleaseAssignment.force = True  # those who joined since are in the newer one
    sender = ExchangeReleaseAssignment(coursedir=CourseDirectory(config=config), config=config)
    sender.log = logging.getLogger("timing-mark.quiet")  # what goes wrong is said by us, in one sentence
    sender.log.setLevel(logging.CRITICAL + 1)
    try:
        sender.start()
    except (ExchangeError, OSError) as problem:
        raise CannotWrite(
            f"The exchange {sender.root} could not be written: {problem}. The numbers are issued; mend the exchange and "
            f"run 'assign {module_key} --as exchange' again."
        ) from None
    return Path(sender.dest_path)
