"""Fetching hand-ins out of nbgrader's exchange: every one of them, not only each trainee's last."""

import os
import re
import shutil
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from grader.errors import CannotWrite, Refused
from grader.exercise import sheet as sheets

_NAME = re.compile(r"(?P<student>[^+]+)\+(?P<module>[^+]+)\+(?P<stamp>[^+]+?)(?:\+(?P<secret>[^+]*))?\Z")
_TAKEN = (".json", ".zip", ".txt", ".bak")
_LARGEST = sheets.LARGEST_FILE * 5


@contextmanager
def fetched(term, config, notes):
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
            for number, found in enumerate(sorted(inbound.iterdir())):
                _copy(found, Path(place) / f"{number:06d}" / "submitted", notes)
        except OSError as problem:
            raise CannotWrite(f"{problem.filename} could not be read or copied: {problem.strerror}.") from None
        yield Path(place)


def _copy(found, submitted, notes):
    said = _NAME.match(found.name)
    if not said or found.is_symlink() or not found.is_dir():
        notes.append(f"{found.name[:80]} in the exchange is no hand-in; passed over")
        return
    owner = _owner(found)
    if owner not in (None, said["student"]):
        notes.append(f"{found.name[:80]} says it is by {said['student'][:40]} and belongs to {owner}; ask both")
    target = submitted / said["student"] / said["module"]
    for folder, folders, names in os.walk(found):
        folders[:] = [name for name in folders if not (Path(folder) / name).is_symlink()]
        for name in names:
            path = Path(folder) / name
            if path.suffix in _TAKEN and path.is_file() and not path.is_symlink() and path.stat().st_size <= _LARGEST:
                copy = target / path.relative_to(found)
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
