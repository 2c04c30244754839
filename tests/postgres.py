"""A PostgreSQL server of the tests' own, in a temporary folder, that nothing else can reach."""

import os
import pwd
import shutil
import subprocess
import tempfile
from contextlib import contextmanager
from pathlib import Path

USER = "workshop"


def programs():
    """Folder of initdb and pg_ctl, or None where no server is installed."""
    found = shutil.which("initdb")
    places = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda p: int(p.parent.name.partition(".")[0]))
    return places[-1] if places else Path(found).resolve().parent if found else None


@contextmanager
def server():
    """Run a server on a socket of its own; yields a function: database name to address."""
    place = Path(tempfile.mkdtemp(prefix="pg-", dir="/tmp"))  # the path of a socket must be short
    owner = {}
    if os.geteuid() == 0:  # the server refuses to run as root
        person = pwd.getpwnam("postgres")
        os.chown(place, person.pw_uid, person.pw_gid)
        owner = {"user": person.pw_uid, "group": person.pw_gid, "extra_groups": []}
    binaries, data = programs(), place / "data"

    def run(name, *arguments):
        subprocess.run([binaries / name, *arguments], cwd=place, check=True, capture_output=True, **owner)

    options = f"-c listen_addresses='' -c unix_socket_directories={place} -c fsync=off"
    try:
        run("initdb", "-D", data, "-U", USER, "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "-N")
        run("pg_ctl", "-D", data, "-l", place / "log", "-w", "-o", options, "start")
        try:

            def address(name):
                run("createdb", "-h", place, "-U", USER, name)
                return f"postgresql+psycopg://{USER}@/{name}?host={place}"

            yield address
        finally:
            run("pg_ctl", "-D", data, "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(place, ignore_errors=True)
