"""The hub's own folder beside a term folder: settings, secrets, what JupyterHub keeps. Nobody but root opens it."""

from __future__ import annotations

import os
import secrets
import socket
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from grader import files
from grader.errors import BadFile, Refused
from grader.records.term import term as terms

NAME = "hub.json"
FORMAT, SCHEMA = "timing-mark hub", 1
PORTS = {"public": 8000, "proxy": 8001, "hub": 8081, "classwork": 8010}
HOMES, RUNTIME = Path("/home"), Path("/run/timing-mark")
PROXY_TOKEN, COOKIE_SECRET, AHEAD_TOKEN = "proxy.token", "cookie.secret", "ahead.token"
CONFIG = "jupyterhub_config.py"
_LARGEST = 100_000
_CONFIG = """\
# Made by Timing Mark; settings stand in hub.json. Lines of your own may follow below, and win.
from pathlib import Path

from grader.hub.configuration import configure

configure(get_config(), Path(__file__).parent)
"""


@dataclass(frozen=True, slots=True)
class Hub:
    """The class server of one term.

    `folder` is the hub's own, `term` the term folder. `ports` by what listens there: public, proxy, hub, classwork.
    `homes` holds the homes of the trainees, `runtime` their folders for what lasts as long as a server.
    `certificate` and `key` are files for https, or empty.
    """

    folder: Path
    term: Path
    ports: dict[str, int]
    homes: Path = HOMES
    runtime: Path = RUNTIME
    certificate: str = ""
    key: str = ""

    @property
    def address(self) -> str:
        """Where browsers find it on this machine."""
        return f"{'https' if self.certificate else 'http'}://127.0.0.1:{self.ports['public']}"

    @property
    def instructor(self) -> str:
        """Name of the account that owns the term folder; its number where it has no name."""
        import pwd

        uid = os.stat(self.term).st_uid
        try:
            return pwd.getpwuid(uid).pw_name
        except KeyError:
            return str(uid)

    def secret(self, name: str) -> str:
        """The content of one of the hub's secrets."""
        return (
            files.read_bytes(self.folder / name, most=_LARGEST, what="The secret of the class server").decode().strip()
        )


def folder_for(term: Path) -> Path:
    """Where the hub of a term has its folder: beside it."""
    return term.parent / f"{term.name}-hub"


def make(
    term: str | Path,
    *,
    port: int | None = None,
    certificate: str = "",
    key: str = "",
    homes: Path | None = None,
    runtime: Path | None = None,
) -> Hub:
    """The hub of a term folder, made where there is none yet; what is named here is kept for the next time.

    Parameters
    ----------
    term : path
        A term folder.
    port : int or None
        Where browsers find it; None: as last time, at first 8000 or the next free one.
    certificate, key : str
        Files for https; empty: as last time.
    homes, runtime : Path or None

    Returns
    -------
    Hub

    Raises
    ------
    Unknown
        The folder is no term folder.
    BadFile
        The hub's settings cannot be read.
    Refused
        Only one of certificate and key is named.
    CannotWrite
        The disk refuses.
    """
    opened = terms.open_term(term)
    if bool(certificate) != bool(key):
        raise Refused("For https name both --certificate and --key. Nothing was changed.")
    folder = folder_for(opened.folder)
    if (folder / NAME).exists():
        hub = open_hub(folder)
    else:
        hub = Hub(folder, opened.folder, _free_ports())
    ports = hub.ports | ({"public": port} if port else {})
    hub = replace(hub, term=opened.folder, ports=ports, homes=homes or hub.homes, runtime=runtime or hub.runtime)
    if certificate:
        hub = replace(hub, certificate=str(Path(certificate).absolute()), key=str(Path(key).absolute()))
    _write(hub)
    return hub


def open_hub(folder: Path) -> Hub:
    """The hub that a folder of its own describes.

    Raises
    ------
    BadFile
        Its settings cannot be read, or are those of a later version.
    """
    what = "The settings of the class server"
    kept = files.from_json(files.read_bytes(folder / NAME, most=_LARGEST, what=what), what=what)
    ports = kept.get("ports")
    ports = ports if isinstance(ports, dict) else {}
    good = all(type(ports.get(name)) is int for name in PORTS)
    texts = {name: kept.get(name, "") for name in ("term", "homes", "runtime", "certificate", "key")}
    if kept.get("format") != FORMAT or not good or not all(isinstance(text, str) for text in texts.values()):
        raise BadFile(f"{folder / NAME} holds no settings of a class server. Put back a copy, or remove the file.")
    if kept.get("schema") != SCHEMA:
        raise BadFile(f"{folder / NAME} was made by another version of Timing Mark. Use that one, or a later one.")
    return Hub(
        folder,
        Path(texts["term"]),
        {name: ports[name] for name in PORTS},
        Path(texts["homes"]),
        Path(texts["runtime"]),
        texts["certificate"],
        texts["key"],
    )


def _write(hub: Hub) -> None:
    hub.folder.mkdir(mode=0o700, exist_ok=True)
    hub.folder.chmod(0o700)
    fields = {name: value if isinstance(value, dict) else str(value) for name, value in asdict(hub).items()}
    fields.pop("folder")
    body = {"format": FORMAT, "schema": SCHEMA, **fields}
    files.write_text(hub.folder / NAME, files.to_json(body), mode=files.PRIVATE)
    for name in (PROXY_TOKEN, COOKIE_SECRET, AHEAD_TOKEN):
        if not (hub.folder / name).exists():
            files.write_text(hub.folder / name, secrets.token_hex(32) + "\n", mode=files.PRIVATE)
    if not (hub.folder / CONFIG).exists():
        files.write_text(hub.folder / CONFIG, _CONFIG, mode=files.PRIVATE)


def _free_ports() -> dict[str, int]:
    """A free port for each; kept from then on, for servers that run already know them."""
    ports: dict[str, int] = {}
    for name, first in PORTS.items():
        ports[name] = next(p for p in range(first, first + 500) if p not in ports.values() and is_free(p))
    return ports


def is_free(port: int) -> bool:
    """Whether nobody listens at a port of this machine."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("0.0.0.0", port))
        except OSError:
            return False
    return True
