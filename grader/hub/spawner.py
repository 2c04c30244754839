"""A trainee's server as a process under his own account, with bounds on what it may use."""

from __future__ import annotations

import asyncio
import os
import pwd
import resource
import signal
from collections.abc import AsyncIterator, Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import psutil
from jupyterhub.spawner import LocalProcessSpawner, set_user_setuid
from traitlets import Unicode
from traitlets.config import LoggingConfigurable

from grader.errors import CannotWrite
from grader.hub import accounts

GIB = 2**30
# Measured on one machine: a lesson needs 0.25 GiB; what is named here stops a runaway, not a lesson.
LIMITS = {
    resource.RLIMIT_AS: 3 * GIB,
    resource.RLIMIT_NPROC: 400,
    resource.RLIMIT_FSIZE: 200_000_000,
    resource.RLIMIT_CORE: 0,
}
_LONGEST_SOCKET = 107  # characters of a socket's path, unix(7)
_SOCKET = "/kernel-00000000-0000-0000-0000-000000000000-ipc-5"
_LOOK_AGAIN_S = 0.1


class NotStarted(CannotWrite):
    """A trainee's server ended before it answered."""


class _Queue(LoggingConfigurable):
    """As many servers start at once as there are cores: more only make all of them late."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**options)
        self.free = asyncio.Semaphore(os.cpu_count() or 1)
        self.waiting: list[str] = []


class TraineeSpawner(LocalProcessSpawner):
    """JupyterHub's own spawner of processes, with one system account for each trainee."""

    homes = Unicode("/home", help="Where homes of trainees lie.").tag(config=True)
    runtime = Unicode("/run/timing-mark", help="Holds a folder for each account that runs.").tag(config=True)
    begun = 0.0
    _queue: _Queue | None = None

    @property
    def account(self) -> pwd.struct_passwd:
        """The trainee's account, made where there is none."""
        return accounts.ensure(self.user.name, Path(self.homes))

    @property
    def own_folder(self) -> Path:
        return Path(self.runtime) / str(pwd.getpwnam(accounts.account_of(self.user.name)).pw_uid)

    async def start(self) -> tuple[str, int]:
        """Start the server when its turn comes, and wait until it answers or has ended."""
        queue = TraineeSpawner._queue = TraineeSpawner._queue or _Queue()
        queue.waiting.append(self.user.name)
        try:
            async with queue.free:
                entry = await asyncio.to_thread(lambda: self.account)
                folder = await asyncio.to_thread(accounts.own_folder, Path(self.runtime), entry)
                if len(str(folder)) + len(_SOCKET) > _LONGEST_SOCKET:
                    raise NotStarted(f"The path {folder} is too long for the sockets of a kernel. Name a shorter one.")
                # What an earlier server left would count against the bounds of this one.
                await asyncio.to_thread(accounts.end_processes, entry.pw_uid)
                queue.waiting.remove(self.user.name)
                where = await super().start()
                self.begun = _begun(self.pid)
                await self._answers(where)
                return where
        finally:
            with suppress(ValueError):
                queue.waiting.remove(self.user.name)

    async def _answers(self, where: tuple[str, int]) -> None:
        loop = asyncio.get_running_loop()
        end = loop.time() + self.http_timeout
        while loop.time() < end:
            if await self.poll() is not None:
                raise NotStarted(
                    f"The server of {self.user.name} ended. Its last words stand in {self.own_folder}/server.log."
                )
            with suppress(OSError):
                _, writer = await asyncio.open_connection(*where)
                writer.close()
                return
            await asyncio.sleep(_LOOK_AGAIN_S)

    async def progress(self) -> AsyncIterator[dict[str, Any]]:
        """Sentences for whoever waits: which place he has in the queue, then that his server starts."""
        told = None
        while True:
            waiting = TraineeSpawner._queue.waiting if TraineeSpawner._queue else []
            place = waiting.index(self.user.name) + 1 if self.user.name in waiting else 0
            if place != told:
                told = place
                words = f"{place} of {len(waiting)} in the queue" if place else "Your lessons are being opened"
                yield {"progress": 10 if place else 50, "message": words}
            await asyncio.sleep(0.5)

    def user_env(self, env: dict[str, str]) -> dict[str, str]:
        """The environment of the account; what Jupyter writes while it runs lies outside the home, which may be full."""
        entry, own = self.account, self.own_folder
        profile = own / "ipython"
        return env | {
            "USER": entry.pw_name,
            "LOGNAME": entry.pw_name,
            "HOME": entry.pw_dir,
            "SHELL": "/bin/sh",
            "JUPYTER_RUNTIME_DIR": str(own / "r"),
            "JUPYTER_CONFIG_DIR": str(own / "config"),
            "JUPYTER_DATA_DIR": str(own / "data"),
            "JUPYTERLAB_SETTINGS_DIR": str(own / "settings"),
            "JUPYTERLAB_WORKSPACES_DIR": str(own / "workspaces"),
            "IPYTHONDIR": str(profile),
            "MPLCONFIGDIR": str(own / "mpl"),
            "XDG_CACHE_HOME": str(own / "cache"),
            "TMPDIR": str(own / "tmp"),
            "TIMING_MARK_DATA": str(Path(entry.pw_dir) / ".timing-mark"),
        }

    def make_preexec_fn(self, name: str) -> Callable[[], None]:
        """What is done in the new process before it becomes the server."""
        become = set_user_setuid(accounts.account_of(self.user.name))
        own = self.own_folder

        def prepare() -> None:
            signal.signal(signal.SIGINT, signal.SIG_DFL)  # where the hub was started in the background it is ignored
            for limit, most in LIMITS.items():
                resource.setrlimit(limit, (most, most))
            become()
            os.umask(0o077)
            (own / "tmp").mkdir(exist_ok=True)
            log = os.open(own / "server.log", os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_NOFOLLOW, 0o600)
            for stream in (1, 2):  # the hub's own log is not the trainee's to write
                os.dup2(log, stream)

        return prepare

    def get_state(self) -> dict[str, Any]:
        return super().get_state() | ({"begun": self.begun} if self.pid else {})

    def load_state(self, state: dict[str, Any]) -> None:
        super().load_state(state)
        self.begun = state.get("begun", 0.0)

    async def poll(self) -> int | None:
        """None while the server runs. After a restart of the machine another process may have its number."""
        if self.proc is None and self.pid and abs(_begun(self.pid) - self.begun) > 1:
            self.clear_state()
            return 0
        return await super().poll()

    async def stop(self, now: bool = False) -> None:
        """End the server, then whatever else runs under the account."""
        await super().stop(now)
        entry = accounts.existing(self.user.name)
        if entry is not None:
            await asyncio.to_thread(accounts.end_processes, entry.pw_uid)


def _begun(pid: int) -> float:
    with suppress(psutil.Error):
        return psutil.Process(pid).create_time()
    return 0.0
