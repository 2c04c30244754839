"""One system account for each trainee, so that the machine itself keeps them apart."""

from __future__ import annotations

import hashlib
import os
import pwd
import shutil
import subprocess
import threading
from pathlib import Path

import psutil

from grader.errors import CannotWrite, Refused

PREFIX = "tm-"  # no trainee's id can then be the name of an account that the machine has for itself
LONGEST = 32  # what useradd takes
COMMENT = "Timing Mark trainee"
_ONE_AT_A_TIME = threading.Lock()  # useradd locks the list of accounts, and refuses who comes second


def account_of(trainee: str) -> str:
    """Name of the account of a trainee.

    Parameters
    ----------
    trainee : str
        Our folder-safe id.

    Returns
    -------
    str
        The id behind a prefix; where that is too long, its beginning with figures of its digest.
    """
    plain = PREFIX + trainee
    if len(plain) <= LONGEST:
        return plain
    figures = hashlib.sha256(trainee.encode()).hexdigest()[:12]
    return f"{plain[: LONGEST - len(figures) - 1]}-{figures}"


def existing(trainee: str) -> pwd.struct_passwd | None:
    """The account of a trainee, or None while there is none.

    Raises
    ------
    Refused
        An account of that name is somebody else's.
    """
    try:
        entry = pwd.getpwnam(account_of(trainee))
    except KeyError:
        return None
    if entry.pw_gecos != f"{COMMENT} {trainee}" or entry.pw_uid == 0:
        raise Refused(
            f"The account {entry.pw_name} of this machine was not made for the trainee {trainee}. Rename it, or give the "
            "trainee another id; nothing was started."
        )
    return entry


def ensure(trainee: str, homes: Path) -> pwd.struct_passwd:
    """The account of a trainee, made where there is none yet, with a home that nobody else can open.

    Parameters
    ----------
    trainee : str
    homes : Path
        Where homes of trainees lie.

    Raises
    ------
    Refused
        An account of that name is somebody else's.
    CannotWrite
        The machine makes no account.
    """
    with _ONE_AT_A_TIME:
        entry = existing(trainee)
        if entry is None:
            account = account_of(trainee)
            homes.mkdir(parents=True, exist_ok=True)
            command = ["useradd", "--create-home", "--home-dir", str(homes / account), "--skel", "/dev/null"]
            command += ["--key", "HOME_MODE=0700", "--shell", "/usr/sbin/nologin", "--user-group"]
            made = subprocess.run(
                [*command, "--comment", f"{COMMENT} {trainee}", account],
                stdin=subprocess.DEVNULL,
                capture_output=True,
                text=True,
            )
            entry = existing(trainee)
            if entry is None:
                raise CannotWrite(
                    f"No account could be made for {trainee}: {made.stderr.strip()[:200] or 'useradd said nothing'}. Mend "
                    "that and let the trainee sign in again."
                )
    os.chmod(entry.pw_dir, 0o700)  # Debian's own default lets everybody look in
    return entry


def own_folder(runtime: Path, entry: pwd.struct_passwd) -> Path:
    """The folder of an account for what lasts as long as its server, such as the sockets of its kernels.

    Parameters
    ----------
    runtime : Path
        Holds these folders; nobody but root can list or write there.
    entry : struct_passwd

    Returns
    -------
    Path
    """
    runtime.mkdir(mode=0o711, parents=True, exist_ok=True)
    runtime.chmod(0o711)
    own = runtime / str(entry.pw_uid)
    own.mkdir(mode=0o700, exist_ok=True)
    os.chown(own, entry.pw_uid, entry.pw_gid)
    return own


def end_processes(uid: int) -> int:
    """End every process of an account, those too that its server left behind; says how many there were."""
    ended: set[int] = set()
    for _ in range(20):  # what forks while we look is there at the next look
        alive = [process for process in psutil.process_iter(["uids", "status"]) if _runs_as(process, uid)]
        if not alive:
            break
        for process in alive:
            ended.add(process.pid)
            try:
                process.kill()
            except psutil.Error:
                continue
        psutil.wait_procs(alive, timeout=0.5)
    return len(ended)


def _runs_as(process: psutil.Process, uid: int) -> bool:
    uids = process.info["uids"]
    return uids is not None and uid in (uids.real, uids.effective) and process.info["status"] != psutil.STATUS_ZOMBIE


def remove(trainee: str, runtime: Path) -> None:
    """Remove a trainee's account, his home and all that runs under it."""
    entry = existing(trainee)
    if entry is None:
        return
    end_processes(entry.pw_uid)
    shutil.rmtree(runtime / str(entry.pw_uid), ignore_errors=True)
    with _ONE_AT_A_TIME:
        subprocess.run(["userdel", "--remove", entry.pw_name], capture_output=True, stdin=subprocess.DEVNULL)
