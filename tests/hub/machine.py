"""A real class server on loopback with real accounts, which are gone afterwards whatever happens."""

import json
import os
import pwd
import re
import shutil
import subprocess
import sys
import sysconfig
import tempfile
import time
from contextlib import closing
from http.cookiejar import CookieJar
from pathlib import Path
from urllib.error import HTTPError
from urllib.parse import quote, urlencode
from urllib.request import HTTPCookieProcessor, HTTPRedirectHandler, Request, build_opener

from grader import paths
from grader.hub import accounts, check, place, run
from grader.records.term import roster
from grader.records.term import term as terms
from tests import programs

INSTRUCTOR = "tmtest-teacher"
PASSWORD = "spark at 7 degrees"
_LINKED = ("site-packages", "__pycache__", "test", "config-*", "idlelib", "ensurepip")


def readable_python(place_for_it):
    """(interpreter, LD_LIBRARY_PATH) that every account may run; a copy of ours where ours lies in a closed home."""
    tried = subprocess.run(
        [sys.executable, "-c", "import encodings"], user=65534, group=65534, extra_groups=[], cwd="/", capture_output=True
    ) if _open_to_all(Path(sys.executable).resolve()) else None  # fmt: skip
    if tried is not None and tried.returncode == 0:
        return sys.executable, os.environ.get("LD_LIBRARY_PATH", "")
    base, name = Path(sys.base_prefix), f"python{sys.version_info[0]}.{sys.version_info[1]}"
    home = place_for_it / "python"
    (home / "bin").mkdir(parents=True)
    shutil.copy(Path(sys.executable).resolve(), home / "bin" / name)
    for library in (base / "lib").glob("libpython*"):
        shutil.copy(library, home / "lib" / library.name) if (home / "lib").is_dir() else (
            (home / "lib").mkdir(), shutil.copy(library, home / "lib" / library.name)
        )  # fmt: skip
    shutil.copytree(
        base / "lib" / name, home / "lib" / name, copy_function=_link, ignore=shutil.ignore_patterns(*_LINKED)
    )
    env = place_for_it / "env"
    (env / "bin").mkdir(parents=True)
    (env / "bin" / "python").symlink_to(home / "bin" / name)
    (env / "lib" / name).mkdir(parents=True)
    (env / "lib" / name / "site-packages").symlink_to(sysconfig.get_path("purelib"))
    for shared in ("share", "etc"):
        (env / shared).symlink_to(Path(sys.prefix) / shared)
    (env / "pyvenv.cfg").write_text(f"home = {home / 'bin'}\ninclude-system-site-packages = false\n")
    return str(env / "bin" / "python"), str(home / "lib")


def _link(source, target):
    try:
        os.link(source, target)
    except OSError:
        shutil.copy2(source, target)


def _open_to_all(path):
    return all(os.stat(parent).st_mode & 0o001 for parent in path.parents)


class ClassServer:
    """A hub over a term, its accounts, and people who sign in there."""

    def __init__(self, made_term):
        programs.need(os.geteuid() == 0, "root, to make accounts")
        _proxy_on_path()
        self.top = Path(tempfile.mkdtemp(prefix="tmhub-"))
        self.top.chmod(0o755)
        self.before = {name: os.environ.get(name) for name in ("PATH", "LD_LIBRARY_PATH", "TIMING_MARK_DATA", "HOME")}
        self.executable = sys.executable
        self.term_folder = self.top / "spring-a"
        self.codes, self.hub, self.process = {}, None, None
        try:
            self._set_up(made_term)
        except BaseException:
            self.end()
            raise

    def _set_up(self, made_term):
        python, library = readable_python(self.top)
        sys.executable = python
        os.environ["PATH"] = (
            f"{Path(python).parent}{os.pathsep}{sysconfig.get_path('scripts')}{os.pathsep}{os.environ['PATH']}"
        )
        if library:
            os.environ["LD_LIBRARY_PATH"] = library
        os.environ["TIMING_MARK_DATA"] = str(self.top / "seen")
        (self.top / "seen").mkdir()
        if not _has_account(INSTRUCTOR):
            subprocess.run(
                ["useradd", "--create-home", "--home-dir", self.top / "teacher", "--key", "HOME_MODE=0700", INSTRUCTOR],
                check=True,
            )
        shutil.copytree(made_term, self.term_folder)
        self.term_folder.chmod(0o700)
        self._give_to_instructor()
        self.hub = place.make(
            self.term_folder, homes=self.top / "homes", runtime=Path(tempfile.mkdtemp(prefix="r", dir="/run"))
        )
        self.people = {person.id: person for person in roster.listed(self.term)}
        self.codes = {person.id: code for person, code in run.slips(self.hub)}
        self.process = run.start(self.hub)

    def _give_to_instructor(self):
        entry = pwd.getpwnam(INSTRUCTOR)
        for path in (self.term_folder, *self.term_folder.rglob("*")):
            os.chown(path, entry.pw_uid, entry.pw_gid)

    @property
    def term(self):
        return terms.open_term(self.term_folder)

    @property
    def url(self):
        return self.hub.address

    def as_instructor(self, function, *given, **more):
        """What a function of the term did; the files that it made are then the instructor's."""
        try:
            return function(self.term, *given, **more)
        finally:
            self._give_to_instructor()

    def home(self, trainee):
        return Path(pwd.getpwnam(accounts.account_of(trainee)).pw_dir)

    def work(self, trainee):
        return self.home(trainee) / "timing-mark-work" / trainee

    def runtime(self, trainee):
        return self.hub.runtime / str(pwd.getpwnam(accounts.account_of(trainee)).pw_uid)

    def restart_hub(self):
        run.stop_hub(self.hub, self.process)
        self.process = run.start(self.hub)

    def log(self):
        return (self.hub.folder / "hub.log").read_text(errors="replace")

    def shell(self, trainee, *command, timeout=60):
        """A command under a trainee's account, as a kernel of his could run it."""
        entry = pwd.getpwnam(accounts.account_of(trainee))
        return subprocess.run(
            [str(word) for word in command], user=entry.pw_uid, group=entry.pw_gid, extra_groups=[], cwd="/",
            env={"PATH": os.environ["PATH"], "LD_LIBRARY_PATH": os.environ.get("LD_LIBRARY_PATH", ""),
                 "HOME": entry.pw_dir}, capture_output=True, text=True, timeout=timeout,
        )  # fmt: skip

    def end(self):
        """Nothing stays: no process, no account, no file."""
        if self.hub is not None:
            run.stop_hub(self.hub, self.process)
            run.stop(self.hub)
            for trainee in self.codes:
                accounts.remove(trainee, self.hub.runtime)
            shutil.rmtree(self.hub.runtime, ignore_errors=True)
        if _has_account(INSTRUCTOR):
            accounts.end_processes(pwd.getpwnam(INSTRUCTOR).pw_uid)
            subprocess.run(["userdel", "--remove", INSTRUCTOR], capture_output=True)
        sys.executable = self.executable
        for name, value in self.before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
        shutil.rmtree(self.top, ignore_errors=True)


def _has_account(name):
    try:
        return bool(pwd.getpwnam(name))
    except KeyError:
        return False


def _proxy_on_path():
    if shutil.which(check.PROXY) is None:
        command = paths.checkout() / ".ci" / "node_modules" / ".bin" / check.PROXY
        programs.need(command.exists(), f"{check.PROXY} ('npm ci --prefix .ci' in this checkout)")
        os.environ["PATH"] += os.pathsep + str(command.parent)


class _NoRedirect(HTTPRedirectHandler):
    def redirect_request(self, *_):
        return None


class Person:
    """Somebody with a browser's cookies and no browser."""

    def __init__(self, server, trainee):
        self.server, self.trainee = server, trainee
        self.cookies = CookieJar()
        self._opener = build_opener(HTTPCookieProcessor(self.cookies))

    def ask(self, path, data=None, *, method=None, headers=None, timeout=60):
        """(status, text) of an address of the class server."""
        body = urlencode(data).encode() if isinstance(data, dict) else data
        request = Request(self.server.url + path, data=body, method=method, headers=headers or {})
        try:
            with closing(self._opener.open(request, timeout=timeout)) as reply:
                self.at = reply.geturl()
                return reply.status, reply.read().decode(errors="replace")
        except HTTPError as problem:
            with problem:
                self.at = problem.geturl()
                return problem.code, problem.read().decode(errors="replace")

    def xsrf(self, text):
        return re.search(r'name="_xsrf"[^>]*value="([^"]+)"', text)[1]

    def sign_in(self, password=PASSWORD, chosen="", *, name=None):
        _, page = self.ask("/hub/login")
        data = {"_xsrf": self.xsrf(page), "username": name or self.trainee, "password": password, "chosen": chosen}
        return self.ask("/hub/login", data)

    def start_page(self, seconds=90):
        """The text of the start page, once the server stands."""
        end = time.monotonic() + seconds
        while True:
            status, text = self.ask(f"/user/{quote(self.trainee)}/timing-mark/")
            if status == 200 and "<h1>Your lessons</h1><p>" in text:
                return text
            if time.monotonic() > end:
                raise AssertionError(f"no start page: {status} at {self.at}: {text[:500]}\n{self.server.log()[-3000:]}")
            if "/hub/" in self.at or status >= 500:
                self.ask(f"/hub/spawn/{quote(self.trainee)}")
            time.sleep(0.3)

    def token(self):
        """The token that the trainee's own server has."""
        for process in Path("/proc").glob("[0-9]*/environ"):
            try:
                found = dict(
                    pair.split("=", 1) for pair in process.read_text(errors="replace").split("\0") if "=" in pair
                )
            except OSError:
                continue
            if found.get("JUPYTERHUB_USER") == self.trainee and found.get("JUPYTERHUB_API_TOKEN"):
                return found["JUPYTERHUB_API_TOKEN"]
        raise AssertionError(f"no server of {self.trainee}")

    def to_classwork(self, path, content=None, token=None):
        """(status, body) from the class's service itself."""
        address = f"http://127.0.0.1:{self.server.hub.ports['classwork']}/services/classwork/{path}"
        request = Request(address, data=content, headers={"Authorization": f"token {token or self.token()}"})
        try:
            with closing(build_opener(_NoRedirect()).open(request, timeout=30)) as reply:
                return reply.status, reply.read()
        except HTTPError as problem:
            with problem:
                return problem.code, problem.read()

    def works(self):
        return {work["module"]: work for work in json.loads(self.to_classwork("works")[1])["works"]}
