"""Starting and ending the class server. The proxy runs apart: a hub that is started again interrupts nobody."""

from __future__ import annotations

import json
import os
import shutil
import signal
import ssl
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import psutil

from grader import files
from grader.errors import BadFile, Refused, TimingMarkError
from grader.hub import accounts, check, codes, place
from grader.hub.place import Hub
from grader.records.term import roster
from grader.records.term import term as terms

PATIENCE_S = 90
_NOBODY = 65534
_NO_NAME = ssl._create_unverified_context()  # asked for itself by number; nothing secret is sent there
_OUTLIVE_US: list[subprocess.Popen] = []  # proxies started here, which go on when we end
_PROXY, _HUB = "proxy.pid", "hub.pid"


class NotStarted(TimingMarkError):
    """A part of the class server ended before it answered."""


def trainees(hub: Hub) -> list[roster.Trainee]:
    """Everybody who is enrolled in the hub's term."""
    return [p for p in roster.listed(terms.open_term(hub.term)) if p.status == roster.ENROLLED]


def slips(hub: Hub, only: Sequence[str] = ()) -> list[tuple[roster.Trainee, str]]:
    """New slips: for those named, by either of their ids, else for everybody who has neither slip nor password.

    Returns
    -------
    list of (Trainee, str)
        Each with the code, which is kept nowhere else.

    Raises
    ------
    Refused
        Somebody who is named is not enrolled; no slip was made.
    """
    people = trainees(hub)
    if only:
        wanted = {text.casefold() for text in only}
        chosen = [p for p in people if {p.id, p.college_id.casefold()} & wanted]
        if len(chosen) < len(wanted):
            known = {text for p in chosen for text in (p.id, p.college_id.casefold())}
            strange = ", ".join(sorted(wanted - known))
            raise Refused(f"{strange[:200]} is not on the class list. No slip was made; look with 'roster list'.")
    else:
        lacking = set(codes.without_slip(hub.folder, [p.id for p in people]))
        chosen = [p for p in people if p.id in lacking]
    made = codes.new_slips(hub.folder, [p.id for p in chosen])
    return [(person, made[person.id]) for person in chosen]


def is_running(hub: Hub) -> bool:
    """Whether the hub's proxy runs, and with it its ports are taken by itself."""
    return _running(hub, _PROXY) is not None


def start(hub: Hub) -> subprocess.Popen:
    """Start the proxy where it does not run, then the hub, and wait until it answers.

    Returns
    -------
    Popen
        The hub.

    Raises
    ------
    Refused
        It runs already, or the machine lacks something.
    NotStarted
        A part ended before it answered.
    """
    if _running(hub, _HUB) is not None:
        raise Refused(
            f"The class server of {hub.term} runs already, at {hub.address}. 'timing-mark hub' with --stop ends it."
        )
    proxy_runs = is_running(hub)
    lacks = [lack for lack in check.missing(hub, running=proxy_runs) if lack.stops]
    if lacks:
        raise Refused("The class server was not started.\n" + "\n".join(map(str, lacks)))
    hub.runtime.mkdir(mode=0o711, parents=True, exist_ok=True)
    if not proxy_runs:
        _start_proxy(hub)
    with open(hub.folder / "hub.log", "ab", opener=_private) as log:
        process = subprocess.Popen(
            [sys.executable, "-P", "-m", "jupyterhub", "-f", str(hub.folder / place.CONFIG)],
            cwd=hub.folder,
            env=_environment(),
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            start_new_session=True,
            preexec_fn=_hear_interrupts,
        )
    _note(hub, _HUB, process.pid)
    _wait(hub, process, f"http://127.0.0.1:{hub.ports['hub']}/hub/health", "hub.log")
    _wait(hub, process, f"http://127.0.0.1:{hub.ports['classwork']}/services/classwork/", "hub.log")
    _wait(
        hub, process, f"{hub.address}/hub/health", "hub.log", lost=404
    )  # before the hub tells it, the proxy knows nothing
    return process


def _start_proxy(hub: Hub) -> None:
    ports = hub.ports
    command = [shutil.which(check.PROXY) or check.PROXY, "--ip", "0.0.0.0", "--port", str(ports["public"])]
    command += ["--api-ip", "127.0.0.1", "--api-port", str(ports["proxy"]), "--log-level", "warn"]
    command += ["--error-target", f"http://127.0.0.1:{ports['hub']}/hub/error"]
    who: dict[str, Any] = {"user": _NOBODY, "group": _NOBODY, "extra_groups": []}
    if hub.certificate:
        command += ["--ssl-cert", hub.certificate, "--ssl-key", hub.key]
    if hub.certificate or ports["public"] < 1024:
        who = {}  # nobody else may read the key, or listen there
    with open(hub.folder / "proxy.log", "ab", opener=_private) as log:
        process = subprocess.Popen(
            command,
            cwd="/",
            env=_environment() | {"CONFIGPROXY_AUTH_TOKEN": hub.secret(place.PROXY_TOKEN)},
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            start_new_session=True,
            **who,
        )
    _OUTLIVE_US.append(process)
    _note(hub, _PROXY, process.pid)
    _wait(hub, process, f"http://127.0.0.1:{ports['proxy']}/api/routes", "proxy.log")


def serve(hub: Hub, opened: Callable[[], object]) -> None:
    """Run the class server until Ctrl+C or the end of the session. Who works goes on working.

    Raises
    ------
    Refused, NotStarted
        As `start`; or the hub ended by itself.
    """
    process = start(hub)

    def leave(_number: int, _frame: object) -> None:
        raise KeyboardInterrupt

    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        signal.signal(getattr(signal, name), leave)
    try:
        opened()
        process.wait()
        raise NotStarted(f"The hub ended by itself. Why stands at the end of {hub.folder / 'hub.log'}; start it again.")
    except KeyboardInterrupt:
        stop_hub(hub, process)


def stop_hub(hub: Hub, process: subprocess.Popen | None = None) -> None:
    """End the hub alone; proxy and trainees' servers go on."""
    running = _running(hub, _HUB)
    if running is not None:
        _end(running)
    if process is not None:
        process.wait()
    (hub.folder / _HUB).unlink(missing_ok=True)


def stop(hub: Hub) -> int:
    """End everything: hub, every trainee's server, proxy. What was typed is on disk.

    Returns
    -------
    int
        How many processes of trainees ran.
    """
    stop_hub(hub)
    ended = 0
    for person in roster.listed(terms.open_term(hub.term)):
        entry = accounts.existing(person.id)
        if entry is not None:
            for process in psutil.process_iter(["uids"]):
                uids = process.info["uids"]
                if uids is not None and uids.real == entry.pw_uid:
                    with suppress(psutil.Error):
                        process.terminate()
    for person in roster.listed(terms.open_term(hub.term)):
        entry = accounts.existing(person.id)
        if entry is not None:
            ended += accounts.end_processes(entry.pw_uid)
    proxy = _running(hub, _PROXY)
    if proxy is not None:
        _end(proxy)
    _OUTLIVE_US[:] = [process for process in _OUTLIVE_US if process.poll() is None]
    (hub.folder / _PROXY).unlink(missing_ok=True)
    return ended


def start_ahead(hub: Hub, progress: Callable[[int, int], object] | None = None) -> int:
    """Start the servers of the whole class before it comes: then a start page opens in a second.

    Returns
    -------
    int
        How many stand.

    Raises
    ------
    Refused
        The class server does not run.
    """
    if _running(hub, _HUB) is None:
        raise Refused("The class server does not run. Start it first, in another window, then name --ahead again.")
    people = [person.id for person in trainees(hub)]
    known = {user["name"] for user in _ask(hub, "GET", "users")}
    for name in people:
        if name not in known:
            _ask(hub, "POST", f"users/{name}")
        _ask(hub, "POST", f"users/{name}/server")
    standing, end = 0, time.monotonic() + 600
    while standing < len(people) and time.monotonic() < end:
        users = {user["name"]: user for user in _ask(hub, "GET", "users?state=ready")}
        standing = sum(name in users for name in people)
        if progress is not None:
            progress(standing, len(people))
        time.sleep(1)
    return standing


def _ask(hub: Hub, method: str, path: str) -> Any:
    request = urllib.request.Request(
        f"http://127.0.0.1:{hub.ports['hub']}/hub/api/{path}",
        method=method,
        headers={"Authorization": f"token {hub.secret(place.AHEAD_TOKEN)}"},
    )
    try:
        with urllib.request.urlopen(request, timeout=60) as reply:
            body = reply.read()
    except urllib.error.HTTPError as problem:
        with problem:
            if problem.code == 400 and method == "POST":  # it runs already
                return None
            raise Refused(
                f"The hub says {problem.code} to {method} {path}. Look into {hub.folder / 'hub.log'}."
            ) from None
    return json.loads(body) if body else None


def _environment() -> dict[str, str]:
    package = str(Path(__file__).resolve().parent.parent.parent)
    kept = ("PATH", "LANG", "LC_ALL", "LD_LIBRARY_PATH", "TIMING_MARK_DATA", "HOME")
    return {name: os.environ[name] for name in kept if name in os.environ} | {"PYTHONPATH": package}


def _hear_interrupts() -> None:
    signal.signal(signal.SIGINT, signal.SIG_DFL)  # a shell switches it off for what it starts in the background


def _private(path: str, flags: int) -> int:
    return os.open(path, flags, files.PRIVATE)


def _note(hub: Hub, name: str, pid: int) -> None:
    begun = psutil.Process(pid).create_time()
    files.write_text(hub.folder / name, files.to_json({"pid": pid, "begun": begun}), mode=files.PRIVATE)


def _running(hub: Hub, name: str) -> psutil.Process | None:
    """The process that a note names, if it still is that one."""
    try:
        note = files.from_json(files.read_bytes(hub.folder / name, most=1000, what="The note"), what="The note")
        process = psutil.Process(note["pid"])
        same = abs(process.create_time() - note["begun"]) < 1 and process.status() != psutil.STATUS_ZOMBIE
        return process if same else None
    except (BadFile, KeyError, TypeError, psutil.Error):
        return None


def _end(process: psutil.Process) -> None:
    with suppress(psutil.NoSuchProcess):
        process.terminate()
        try:
            process.wait(20)
        except psutil.TimeoutExpired:
            process.kill()
            process.wait(5)


def _wait(hub: Hub, process: subprocess.Popen, address: str, log: str, *, lost: int = 0) -> None:
    """Wait until a part answers; `lost` is a status that it gives too early."""
    end = time.monotonic() + PATIENCE_S
    while not _answers(address, lost):
        if process.poll() is not None or time.monotonic() > end:
            lines = (hub.folder / log).read_text(errors="replace").strip().splitlines()
            stop(hub)
            said = lines[-1][:300] if lines else "it said nothing"
            raise NotStarted(f"The class server did not start: {said}. The whole of it stands in {hub.folder / log}.")
        time.sleep(0.1)


def _answers(address: str, lost: int) -> bool:
    """Whether somebody answers there, be it with a refusal."""
    try:
        with urllib.request.urlopen(address, timeout=2, context=_NO_NAME):
            return True
    except urllib.error.HTTPError as problem:
        problem.close()
        return problem.code != lost
    except OSError:
        return False
