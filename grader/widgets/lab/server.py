"""JupyterLab with the course's own configuration, on this machine only."""

import os
import secrets
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from grader import files
from grader.errors import BadFile, Refused, TimingMarkError

HOST = "127.0.0.1"
PRIVATE = ".timing-mark"
STATE = "server.json"
START_PATIENCE_S = 90
_HERE = Path(__file__).resolve().parent


class NotStarted(TimingMarkError):
    """JupyterLab ended before it answered."""


@dataclass(frozen=True, slots=True)
class Address:
    """Where a server of ours answers."""

    port: int
    token: str

    def url(self, path="/api", **query):
        asked = "&".join(f"{name}={quote(value)}" for name, value in {"token": self.token, **query}.items())
        return f"http://{HOST}:{self.port}{path}?{asked}"

    def lesson_url(self, root, notebook):
        """The page of a notebook alone, without the workbench around it."""
        return self.url("/doc/tree/" + quote(notebook.relative_to(root).as_posix()))

    def answers(self):
        """True if a server takes our token there."""
        try:
            with urllib.request.urlopen(self.url("/api/status"), timeout=2) as reply:
                return reply.status == 200
        except (urllib.error.URLError, OSError, ValueError):
            return False


def running(root):
    """The address of the server that serves this folder already, or None."""
    address = _kept(root)
    return address if address and address.answers() else None


def choose_address(root, port=None):
    """The port and token to serve a folder at.

    Those of the last time where they are free, so that a page left open finds its
    server again.

    Raises
    ------
    Refused
        The port asked for is taken.
    """
    kept = _kept(root)
    if port is not None:
        if not _free(port):
            raise Refused(f"Port {port} is taken by another program. Leave out --port, or name another.")
        address = Address(port, kept.token if kept else secrets.token_hex(24))
    elif kept and _free(kept.port):
        address = kept
    else:
        with socket.socket() as probe:
            probe.bind((HOST, 0))
            address = Address(probe.getsockname()[1], secrets.token_hex(24))
    files.write_text(root / PRIVATE / STATE, files.to_json({"port": address.port, "token": address.token}), mode=0o600)
    return address


def start(root, address, **options):
    """Start JupyterLab for a folder and wait until it answers.

    Parameters
    ----------
    root : Path
    address : Address
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
    command = [
        sys.executable, "-m", "jupyterlab", "--no-browser", f"--ServerApp.ip={HOST}",
        f"--ServerApp.port={address.port}", "--ServerApp.port_retries=0", f"--ServerApp.root_dir={root}",
    ]  # fmt: skip
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        command.append("--allow-root")
    log = private / "server.log"
    with open(log, "wb") as stream:
        process = subprocess.Popen(
            command, env=_environment(private, address), cwd=root, stdin=subprocess.DEVNULL,
            stdout=stream, stderr=stream, start_new_session=True, **options,
        )  # fmt: skip
    until = time.monotonic() + START_PATIENCE_S
    while not address.answers():
        if process.poll() is not None or time.monotonic() > until:
            stop(process)
            lines = log.read_text(errors="replace").strip().splitlines()
            raise NotStarted(
                f"JupyterLab did not start: {lines[-1][:300] if lines else 'it said nothing'}. "
                f"The whole of it stands in {log}."
            )
        time.sleep(0.1)
    return process


def stop(process):
    """End the server and its kernels; by force if it does not go by itself."""
    if process.poll() is None:
        process.terminate()
        try:
            process.wait(15)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def serve_until_stopped(process):
    """Wait for the end of the server, or for Ctrl+C or a closed window, which ends it."""

    def leave(_number, _frame):
        raise KeyboardInterrupt

    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), leave)
    with suppress(KeyboardInterrupt):
        process.wait()
    stop(process)


def _environment(private, address):
    """The course's configuration and nobody else's: a setting of another course must not change the page."""
    package = str(_HERE.parent.parent.parent)  # the kernel must import this very package, wherever it starts
    before = os.environ.get("PYTHONPATH", "")
    return {
        **os.environ,
        "JUPYTER_TOKEN": address.token,
        "JUPYTER_CONFIG_DIR": str(private / "jupyter"),
        "JUPYTER_CONFIG_PATH": str(_HERE / "config"),
        "JUPYTERLAB_SETTINGS_DIR": str(private / "settings"),
        "JUPYTERLAB_WORKSPACES_DIR": str(private / "workspaces"),
        "IPYTHONDIR": str(private / "ipython"),
        "PYTHONPATH": package + (os.pathsep + before if before else ""),
    }


def _kept(root):
    try:
        content = files.read_bytes(root / PRIVATE / STATE, most=10_000, what="The server's address")
        found = files.from_json(content, what="The server's address")
    except BadFile:
        return None
    port, token = found.get("port"), found.get("token")
    return Address(port, token) if type(port) is int and isinstance(token, str) else None


def _free(port):
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except (OSError, OverflowError):
            return False
    return True
