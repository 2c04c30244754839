"""What a machine still lacks to serve a class, each with its remedy."""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import psutil

from grader import paths
from grader.errors import TimingMarkError
from grader.hub.place import Hub, is_free
from grader.records.term import roster
from grader.records.term import term as terms

PROXY = "configurable-http-proxy"
NOT_ROOT = (
    "Without root all trainees would work under one account, and each could read and change the others' answers, so the class "
    "server is not started: run it as root (sudo), or let each trainee open his work on his own account with 'timing-mark study'."
)
_EACH_GIB, _MANY_GIB, _HUB_GIB = 0.25, 0.4, 1.4  # measured: one lesson; two lessons, reopened; hub, proxy and system
_NOBODY = 65534


@dataclass(frozen=True, slots=True)
class Lack:
    """Something that is missing or unwise. `stops`: the class server is not started before it is mended."""

    what: str
    remedy: str
    stops: bool = True

    def __str__(self) -> str:
        return f"{self.what} {self.remedy}"


def is_root() -> bool:
    """Whether this is a system where the account that starts the hub may make others."""
    return sys.platform.startswith("linux") and os.geteuid() == 0


def missing(hub: Hub, *, running: bool = False) -> list[Lack]:
    """What this machine lacks; nothing is changed.

    Parameters
    ----------
    hub : Hub
    running : bool
        The class server runs: its ports are taken by itself.

    Returns
    -------
    list of Lack
        Empty where all is there.
    """
    lacks = [*_packages(), *_programs(), *_term(hub)]
    if not lacks:
        lacks += _readable()
    if not running and not is_free(hub.ports["public"]):
        port = hub.ports["public"]
        lacks.append(Lack(f"Port {port} is taken by another program.", "End it, or name another with --port."))
    for what, file in (("certificate", hub.certificate), ("key", hub.key)):
        if file and not Path(file).is_file():
            lacks.append(Lack(f"The {what} {file} is not there.", f"Name another with --{what}."))
    return [*lacks, *unwise(hub)]


def _packages() -> list[Lack]:
    remedy = f"Run: {sys.executable} -m pip install jupyterhub jupyterhub-idle-culler"
    names = ("jupyterhub", "jupyterhub_idle_culler")
    return [Lack(f"The package {n} is missing.", remedy) for n in names if importlib.util.find_spec(n) is None]


def _programs() -> list[Lack]:
    lacks = []
    if shutil.which(PROXY) is None or shutil.which("node") is None:
        remedy = f"Install Node.js, then run: npm install -g {PROXY}"
        lacks.append(Lack(f"The program {PROXY} is missing.", remedy))
    if shutil.which("useradd") is None:
        lacks.append(Lack("The program useradd is missing.", "Install the package 'passwd' of your system."))
    return lacks


def _term(hub: Hub) -> list[Lack]:
    try:
        people = roster.listed(terms.open_term(hub.term))
    except TimingMarkError as problem:
        return [Lack(str(problem), "")]
    lacks = []
    if os.stat(hub.term).st_uid == 0:
        what = f"The term folder {hub.term} belongs to root, and the service that reads it would run as root."
        lacks.append(Lack(what, f"Give it to the instructor's account: chown -R NAME: {hub.term}"))
    if terms.open_to_others(hub.term):
        lacks.append(Lack(f"The term folder {hub.term} is open to others.", f"Close it: chmod 700 {hub.term}"))
    if not any(person.status == roster.ENROLLED for person in people):
        lacks.append(Lack("Nobody is on the class list.", "Run 'roster import' first."))
    return lacks


def _readable() -> list[Lack]:
    """Whether an account without any rights can run what a trainee's server runs; it is tried."""
    names = "grader.hub.page, grader.hub.trainee_server, jupyterhub.singleuser, ipykernel, matplotlib, scipy"
    package = str(Path(__file__).resolve().parent.parent.parent)
    environment = {name: os.environ[name] for name in ("PATH", "LD_LIBRARY_PATH") if name in os.environ}
    environment |= {
        "PYTHONPATH": package,
        "MPLCONFIGDIR": "/nowhere",
        "HOME": "/nowhere",
        "PYTHONDONTWRITEBYTECODE": "1",
    }
    try:
        tried = subprocess.run(
            [sys.executable, "-P", "-W", "ignore", "-c", f"import {names}"],
            user=_NOBODY, group=_NOBODY, extra_groups=[], cwd="/", env=environment, capture_output=True, text=True,
        )  # fmt: skip
        last = (tried.stderr.strip().splitlines() or [""])[-1]
        good = tried.returncode == 0
    except PermissionError as problem:
        last, good = str(problem), False
    if good:
        return []
    return [
        Lack(
            f"Another account cannot run {sys.executable} with the packages and {package} ({last[:200]}).",
            "Put Python, its packages and Timing Mark where every account may read, such as /opt, and not into a home.",
        )
    ]


def unwise(hub: Hub) -> list[Lack]:
    """What does not keep the class server from starting, and should be known."""
    lacks = []
    if os.stat(paths.solutions()).st_mode & 0o005:
        lacks.append(
            Lack(
                f"Every account can read the worked solutions in {paths.solutions()}.",
                f"Close them to all but the instructor: chown -R {hub.instructor}: and chmod -R go= that folder.",
                stops=False,
            )
        )
    try:
        people = sum(p.status == roster.ENROLLED for p in roster.listed(terms.open_term(hub.term)))
    except TimingMarkError:
        people = 0
    have = psutil.virtual_memory().total / 2**30
    need = _HUB_GIB + people * _MANY_GIB
    if have < need:
        held = max(0, int((have - _HUB_GIB) / _MANY_GIB)), max(0, int((have - _HUB_GIB) / _EACH_GIB))
        lacks.append(
            Lack(
                f"The machine has {have:.1f} GiB of memory, and {people} trainees with two lessons each need {need:.1f}.",
                f"It holds {held[0]} of them so, or {held[1]} with one lesson each.",
                stops=False,
            )
        )
    return lacks
