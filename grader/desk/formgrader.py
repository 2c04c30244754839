"""nbgrader's own marking page, reachable from the desk: a server over the term folder, for this machine only."""

from __future__ import annotations

import atexit
import os
import secrets
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from contextlib import suppress
from pathlib import Path

from grader.errors import Refused
from grader.records.term.term import Term

IDLE_S = 1800  # it ends by itself when nobody used it for so long
_PATIENCE_S = 60
_HOST = "127.0.0.1"
_running: dict[Path, tuple[subprocess.Popen, str]] = {}


def open_page(term: Term, home: Path) -> str:
    """The address of formgrader over a term; its server is started where none of this desk's runs.

    Parameters
    ----------
    term : Term
    home : Path
        Where the desk keeps its own things; the server writes its log there.

    Returns
    -------
    str
        With the token that opens it.

    Raises
    ------
    Refused
        The server ended, or does not answer.
    """
    known = _running.get(term.folder)
    if known is not None and known[0].poll() is None:
        return known[1]
    with socket.socket() as probe:
        probe.bind((_HOST, 0))
        port = probe.getsockname()[1]
    token = secrets.token_hex(24)
    command = [
        sys.executable, "-m", "jupyter_server", "--no-browser", f"--ServerApp.ip={_HOST}", f"--ServerApp.port={port}",
        "--ServerApp.port_retries=0", f"--ServerApp.root_dir={term.folder}", "--ServerApp.terminals_enabled=False",
        f"--ServerApp.shutdown_no_activity_timeout={IDLE_S}",
    ]  # fmt: skip
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        command.append("--allow-root")
    own = home / "formgrader"
    own.mkdir(mode=0o700, parents=True, exist_ok=True)
    # The desk's own settings switch nbgrader's pages off; this server must not see them.
    outside = {name: value for name, value in os.environ.items() if not name.startswith(("JUPYTER", "JPY_"))}
    env = {**outside, "JUPYTER_TOKEN": token, "JUPYTER_CONFIG_DIR": str(own / "config"), "JUPYTER_DATA_DIR": str(own)}
    log = own / "server.log"
    with open(log, "wb") as stream:
        process = subprocess.Popen(
            command, cwd=term.folder, env=env, stdin=subprocess.DEVNULL, stdout=stream, stderr=stream
        )
    atexit.register(_end, process)
    _wait(process, f"http://{_HOST}:{port}/api?token={token}", log)
    address = f"http://{_HOST}:{port}/formgrader?token={token}"
    _running[term.folder] = (process, address)
    return address


def _wait(process: subprocess.Popen, address: str, log: Path) -> None:
    until = time.monotonic() + _PATIENCE_S
    while True:
        with suppress(urllib.error.URLError, OSError), urllib.request.urlopen(address, timeout=2):
            return
        if process.poll() is not None or time.monotonic() > until:
            _end(process)
            raise Refused(f"nbgrader's page did not start; what it said stands in {log}. No mark was changed.")
        time.sleep(0.1)


def _end(process: subprocess.Popen) -> None:
    if process.poll() is None:
        process.terminate()
