"""A term folder for a second instructor's account on one machine: a group of the system works in it together."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from grader import files
from grader.errors import Refused
from grader.records.term.term import Term


def share(term: Term, group: str) -> list[str]:
    """Open a term folder to one group of the system, and to nobody else; what is made in it later is the group's, too.

    Undone by `term.close`, which takes it away from everybody but its owner.

    Parameters
    ----------
    term : Term
    group : str
        A group of the system, of which the owner and the second instructor are members.

    Returns
    -------
    list of str
        Sentences about what still keeps members out.

    Raises
    ------
    Refused
        No such group, or this account is not in it; a system without groups; another's folder.
    """
    if os.name == "nt":
        raise Refused("On this system share the folder with the system's own means, for one other account by name.")
    import grp

    try:
        account = grp.getgrnam(group)
    except KeyError:
        raise Refused(
            f"This machine has no group {group[:40]!r}. Whoever looks after it makes one: 'groupadd {group[:40] or 'NAME'}', and "
            "adds both accounts with 'usermod -aG'. Nothing was changed."
        ) from None
    if os.geteuid() != 0 and account.gr_gid not in (os.getegid(), *os.getgroups()):
        raise Refused(
            f"This account is not in the group {group}. Log out and in again once it is; nothing was changed."
        )
    try:
        for path in [term.folder, *sorted(term.folder.rglob("*"))]:
            if not path.is_symlink():
                _give(path, account.gr_gid)
    except PermissionError as problem:
        raise Refused(
            f"{problem.filename} belongs to another account, who has to share it. Run it again afterwards."
        ) from None
    return [
        f"{above} is closed to the group (its mode is {stat.S_IMODE(above.stat().st_mode):o}): members cannot reach the term. "
        f"Move the term folder to a place that both can enter, such as one below /srv, or let {above} be entered."
        for above in term.folder.parents
        if not _can_enter(above, account.gr_gid)
    ]


def group_of(folder: str | Path) -> str:
    """The group that shares a term folder; empty where nobody does."""
    if not files.is_shared(folder):
        return ""
    import grp

    gid = os.stat(folder).st_gid
    try:
        return grp.getgrgid(gid).gr_name
    except KeyError:
        return str(gid)


def _give(path: Path, gid: int) -> None:
    """To a group what its owner may do, and nothing to anybody else."""
    status = path.stat()
    owner = status.st_mode & 0o700
    mode = owner | owner >> 3 | (stat.S_ISGID if path.is_dir() else 0)
    if status.st_gid != gid:
        os.chown(path, -1, gid)
    if stat.S_IMODE(status.st_mode) != mode:
        os.chmod(path, mode)


def _can_enter(folder: Path, gid: int) -> bool:
    status = folder.stat()
    return bool(status.st_mode & stat.S_IXOTH or status.st_gid == gid and status.st_mode & stat.S_IXGRP)
