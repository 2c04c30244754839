"""Fetching hand-ins out of nbgrader's exchange: every one of them, not only each trainee's last."""

from __future__ import annotations

import logging
import os
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from jupyter_core.application import JupyterApp

from grader.errors import CannotWrite, Refused
from grader.exercise import sheet as sheets
from grader.records.term.term import Term

_NAME = re.compile(r"(?P<student>[^+]+)\+(?P<module>[^+]+)\+(?P<stamp>[^+]+?)(?:\+(?P<secret>[^+]*))?\Z")
_TAKEN = (".json", ".zip", ".txt", ".bak")
_LARGEST = sheets.LARGEST_FILE * 5


@contextmanager
def fetched(term: Term, config: Any, notes: list[str]) -> Iterator[Path]:
    """A folder with a copy of every hand-in to a term, laid out as nbgrader's own collecting does.

    nbgrader's collecting takes each trainee's last hand-in. Here the one that counts
    is chosen later, so all are taken: a late second one must not hide the first.

    Parameters
    ----------
    term : Term
    config : Config
        From `ways.exchange_config`.
    notes : list of str
        Receives a sentence about each one that is not what it says.

    Yields
    ------
    Path
        Gone afterwards.

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
            for number, inbound_folder in enumerate(sorted(inbound.iterdir())):
                _copy(inbound_folder, Path(place) / f"{number:06d}" / "submitted", notes)
        except OSError as problem:
            raise CannotWrite(f"{problem.filename} could not be read or copied: {problem.strerror}.") from None
        yield Path(place)


def _copy(inbound_folder, submitted, notes):
    named = _NAME.match(inbound_folder.name)
    if not named or inbound_folder.is_symlink() or not inbound_folder.is_dir():
        notes.append(f"{inbound_folder.name[:80]} in the exchange is no hand-in; passed over")
        return
    owner = _owner(inbound_folder)
    if owner not in (None, named["student"]):
        notes.append(
            f"{inbound_folder.name[:80]} says it is by {named['student'][:40]} and belongs to {owner}; ask both"
        )
    target = submitted / named["student"] / named["module"]
    for folder, folders, names in os.walk(inbound_folder):
        folders[:] = [name for name in folders if not (Path(folder) / name).is_symlink()]
        for name in names:
            path = Path(folder) / name
            if path.suffix in _TAKEN and path.is_file() and not path.is_symlink() and path.stat().st_size <= _LARGEST:
                copy = target / path.relative_to(inbound_folder)
                copy.parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(path, copy)


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
    found = Path(Exchange(config=config).root)
    if not found.is_dir():
        raise Refused(
            f"{found} is no exchange folder. Name nbgrader's exchange with --exchange-root, or ask whoever runs the "
            "server to make it; nothing was changed."
        )
    config.Exchange.root = str(found)
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
