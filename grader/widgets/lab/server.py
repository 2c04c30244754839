"""JupyterLab with the course's own configuration, on this machine only."""

import html
import json
import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote

import psutil

from grader import files
from grader.errors import BadFile, Refused, TimingMarkError

HOST = "127.0.0.1"
PRIVATE = ".timing-mark"
STATE = "server.json"
DOOR = "open-lesson.html"
_KEPT = {
    "port": int,
    "token": str,
    "pid": int,
    "started": float,
    "window": int,
    "window_started": float,
    "scratch": str,
}
START_PATIENCE_S = 90
_HERE = Path(__file__).resolve().parent


class NotStarted(TimingMarkError):
    """JupyterLab ended before it answered."""


@dataclass(frozen=True, slots=True)
class Address:
    """Where a server of ours answers."""

    port: int
    token: str

    def url(self, path: str = "/api", **query: str) -> str:
        asked = "&".join(f"{name}={quote(value)}" for name, value in {"token": self.token, **query}.items())
        return f"http://{HOST}:{self.port}{path}?{asked}"

    def lesson_url(self, root: Path, notebook: Path) -> str:
        """The page of a notebook alone, without the workbench around it."""
        return self.url("/doc/tree/" + quote(notebook.relative_to(root).as_posix()))

    def answers(self) -> bool:
        """True if a server takes our token there. Ask only where the listener is known to be ours."""
        try:
            with urllib.request.urlopen(self.url("/api/status"), timeout=2) as reply:
                return reply.status == 200
        except urllib.error.HTTPError as problem:
            problem.close()
            return False
        except (urllib.error.URLError, OSError, ValueError):
            return False


def running(root: Path) -> Address | None:
    """The address of the server that serves this folder already, or None.

    The token is sent only once the operating system says that the process which
    listens there is the one that we started: on a machine with several accounts
    anybody may have taken a port that became free.
    """
    kept = _kept(root)
    if kept is None or not (_lives(kept["pid"], kept["started"]) and _listens(kept["pid"], kept["port"])):
        return None
    address = Address(kept["port"], kept["token"])
    return address if address.answers() else None


def choose_address(root: Path, port: int | None = None) -> Address:
    """The port and a new token to serve a folder at.

    The port is that of the last time where it is free, so that a page left open finds
    its server again as soon as the new page has signed in.

    Raises
    ------
    Refused
        The port asked for is taken.
    """
    token = secrets.token_hex(24)
    if port is not None:
        if not _free(port):
            raise Refused(f"Port {port} is taken by another program. Leave out --port, or name another.")
        return Address(port, token)
    kept = _kept(root)
    if kept and _free(kept["port"]):
        return Address(kept["port"], token)
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return Address(probe.getsockname()[1], token)


def start(root: Path, address: Address, *, warm: str = "", **options: Any) -> subprocess.Popen:
    """Start JupyterLab for a folder and wait until it answers.

    Parameters
    ----------
    root : Path
    address : Address
    warm : str
        A line of Python with which every kernel begins, so that what a page needs is loaded before it asks.
    options
        Passed on to Popen.

    Returns
    -------
    subprocess.Popen

    Raises
    ------
    NotStarted
        It ended, or did not answer in time; its last words are given.
    """
    private = root / PRIVATE
    private.mkdir(mode=0o700, parents=True, exist_ok=True)
    private.chmod(0o700)
    command = [
        sys.executable,
        "-m",
        "jupyterlab",
        "--no-browser",
        f"--ServerApp.ip={HOST}",
        f"--ServerApp.port={address.port}",
        "--ServerApp.port_retries=0",
        f"--ServerApp.root_dir={root}",
    ]
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        command.append("--allow-root")
    log = private / "server.log"
    scratch = Path(tempfile.mkdtemp(prefix="timing-mark-"))
    with open(log, "wb") as stream:
        process = subprocess.Popen(
            command,
            env=_environment(private, scratch, address, warm),
            cwd=root,
            stdin=subprocess.DEVNULL,
            stdout=stream,
            stderr=stream,
            start_new_session=True,
            **options,
        )
    state = {"port": address.port, "token": address.token, "scratch": str(scratch)}
    state |= {"pid": process.pid, "started": _begun(process.pid)}
    state |= {"window": os.getpid(), "window_started": _begun(os.getpid())}
    files.write_text(private / STATE, files.to_json(state), mode=0o600)
    until = time.monotonic() + START_PATIENCE_S
    while not (_listens(process.pid, address.port) and address.answers()):
        if process.poll() is not None or time.monotonic() > until:
            stop(process)
            clear(root)
            lines = log.read_text(errors="replace").strip().splitlines()
            raise NotStarted(
                f"JupyterLab did not start: {lines[-1][:300] if lines else 'it said nothing'}. "
                f"The whole of it stands in {log}."
            )
        time.sleep(0.1)
    return process


def begin_kernel(address: Address, root: Path, notebook: Path) -> None:
    """Let the kernel of a page start while the browser still loads the page, which then finds it running.

    Where that fails nothing is lost: the page starts a kernel itself.
    """
    path = notebook.relative_to(root).as_posix()
    asked = {"path": path, "name": path, "type": "notebook", "kernel": {"name": "python3"}}
    request = urllib.request.Request(
        address.url("/api/sessions"),
        data=json.dumps(asked).encode(),
        headers={"Content-Type": "application/json", "Authorization": f"token {address.token}"},
        method="POST",
    )
    with suppress(urllib.error.URLError, OSError, ValueError):
        urllib.request.urlopen(request, timeout=START_PATIENCE_S).close()


def write_door(root: Path, url: str) -> Path:
    """A file for nobody but its owner that leads a browser to a page.

    A browser's command line can be read by every account of the machine; the address,
    which holds the token, therefore stands in this file and not there. It is no hidden
    file, since some browsers may not read those.

    Returns
    -------
    Path
    """
    door = root / DOOR
    shown = html.escape(url)
    page = (
        f'<!doctype html><meta charset="utf-8"><meta name="referrer" content="no-referrer"><title>Timing Mark</title>'
        f'<meta http-equiv="refresh" content="0; url={shown}"><p><a href="{shown}">Open the lesson</a></p>\n'
    )
    files.write_text(door, page, mode=0o600)
    return door


def clear(root: Path) -> None:
    """Remove what served one run: the door, the token, what the server kept beside."""
    kept = _kept(root)
    (root / DOOR).unlink(missing_ok=True)
    if kept is None:
        return
    scratch = Path(kept["scratch"])
    if scratch.name.startswith("timing-mark-") and scratch.parent == Path(tempfile.gettempdir()):
        shutil.rmtree(scratch, ignore_errors=True)
    files.write_text(root / PRIVATE / STATE, files.to_json({**kept, "token": "", "pid": 0}), mode=0o600)


def left_behind(root: Path) -> psutil.Process | None:
    """The server of a folder whose window was killed: it goes on alone, and a new window can take it over."""
    kept = _kept(root)
    if kept is None or _lives(kept["window"], kept["window_started"]):
        return None
    with suppress(psutil.Error):
        return psutil.Process(kept["pid"])
    return None


def stop(process: subprocess.Popen | psutil.Process) -> None:
    """End the server and its kernels; by force if it does not go by itself."""
    with suppress(psutil.NoSuchProcess, ProcessLookupError):
        process.terminate()
        try:
            process.wait(15)
        except (subprocess.TimeoutExpired, psutil.TimeoutExpired):
            process.kill()
            process.wait()


def serve_until_stopped(
    root: Path, process: subprocess.Popen | psutil.Process, opened: Callable[[], object] = lambda: None
) -> None:
    """Wait for the end of the server, or for Ctrl+C or a closed window, which ends it; then tidy up.

    `opened` is called as soon as Ctrl+C counts, also where the shell that started us had switched it off.
    """

    def leave(_number, _frame):
        raise KeyboardInterrupt

    with suppress(KeyboardInterrupt):
        for name in ("SIGINT", "SIGTERM", "SIGHUP"):
            if hasattr(signal, name):
                signal.signal(getattr(signal, name), leave)
        opened()
        process.wait()
    stop(process)
    clear(root)


def _environment(private, scratch, address, warm):
    """The course's configuration and nobody else's: a setting of another course must not change the page.

    What Jupyter and IPython write while they run (connection files, the secret of the
    cookies, history) lies on the local disk and goes with the run: homes on a server
    are known to tie kernels up, and a cookie of yesterday must open nothing today.
    """
    package = str(_HERE.parent.parent.parent)  # the kernel must import this very package, wherever it starts
    before = os.environ.get("PYTHONPATH", "")
    profile = scratch / "ipython" / "profile_default"
    profile.mkdir(parents=True)
    settings: dict[str, Any] = {"HistoryManager": {"enabled": False}}
    if warm:
        settings["InteractiveShellApp"] = {"exec_lines": [warm]}
    files.write_text(profile / "ipython_kernel_config.json", files.to_json(settings))
    return {
        **os.environ,
        "JUPYTER_TOKEN": address.token,
        "JUPYTER_CONFIG_DIR": str(private / "jupyter"),
        "JUPYTER_CONFIG_PATH": str(_HERE / "config"),
        "JUPYTER_DATA_DIR": str(scratch / "data"),  # a kernel of the same name in the user's home is not ours
        "JUPYTER_RUNTIME_DIR": str(scratch / "runtime"),
        "JUPYTERLAB_SETTINGS_DIR": str(private / "settings"),
        "JUPYTERLAB_WORKSPACES_DIR": str(private / "workspaces"),
        "IPYTHONDIR": str(scratch / "ipython"),
        "PYTHONPATH": package + (os.pathsep + before if before else ""),
    }


def _kept(root):
    try:
        content = files.read_bytes(root / PRIVATE / STATE, most=10_000, what="The server's address")
        found = files.from_json(content, what="The server's address")
    except BadFile:
        return None
    found = {"pid": 0, "started": 0.0, "window": 0, "window_started": 0.0, "scratch": "", **found}
    return found if all(type(found.get(name)) is kind for name, kind in _KEPT.items()) else None


def _begun(pid):
    """When a process began, seconds; 0 where it has ended already."""
    with suppress(psutil.Error):
        return psutil.Process(pid).create_time()
    return 0.0


def _lives(pid, begun):
    """Whether the process of that number still is the one that began at that moment."""
    now = _begun(pid) if pid > 0 else 0.0
    return now > 0 and abs(now - begun) < 1


def _listens(pid, port):
    """Whether the process of that number, which must be ours, listens at a port of this machine."""
    try:
        connections = psutil.Process(pid).net_connections(kind="inet4")
    except (psutil.Error, ValueError):  # another account's processes do not tell
        return False
    return any(found.status == psutil.CONN_LISTEN and found.laddr.port == port for found in connections)


def _free(port):
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except (OSError, OverflowError):
            return False
    return True
