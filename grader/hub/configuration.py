"""The settings of JupyterHub for a class: who may what, how servers start, where things lie."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

from grader.hub import place
from grader.widgets import class_server

SERVICE = "classwork"
IDLE_S = 3600
_HERE = Path(__file__).resolve().parent
_PACKAGE = str(_HERE.parent.parent)
_LAB = _HERE.parent / "widgets" / "lab" / "config"


def configure(c: Any, folder: Path) -> None:
    """Set up JupyterHub for one workshop machine.

    Parameters
    ----------
    c : Config
        JupyterHub's own.
    folder : Path
        The hub's own folder.
    """
    hub = place.open_hub(Path(folder))
    common(c, f"http://127.0.0.1:{hub.ports['classwork']}/services/{SERVICE}/")
    _machine(c, hub)


def common(c: Any, classwork: str) -> None:
    """What holds for every way in which servers start, on one machine or in containers.

    Parameters
    ----------
    c : Config
    classwork : str
        Address of the service that hands out and takes in, as a trainee's server reaches it.
    """
    mine = [f"access:services!service={SERVICE}", "users:activity!user"]
    # Not JupyterHub's own role for users, which would let a page make itself a token in a trainee's name.
    c.JupyterHub.load_roles = [
        {"name": "user", "scopes": ["read:users!user", "servers!user", "access:servers!user", *mine]},
        {
            "name": "idle-culler",
            "scopes": ["list:users", "read:users:activity", "read:servers", "delete:servers"],
            "services": ["idle-culler"],
        },
    ]
    c.Spawner.server_token_scopes = ["access:servers!server", *mine]
    c.Spawner.default_url = f"/{class_server.PAGE}"
    c.Spawner.disable_user_config = True
    c.Spawner.poll_interval = 5
    c.Spawner.start_timeout = 600
    c.Spawner.http_timeout = 120
    c.Spawner.environment = {
        "JUPYTER_CONFIG_PATH": os.pathsep.join((str(_HERE / "config"), str(_LAB))),
        class_server.ADDRESS: classwork,
        "MALLOC_ARENA_MAX": "2",
        "OPENBLAS_NUM_THREADS": "1",
    }
    c.JupyterHub.implicit_spawn_seconds = 0.2
    c.JupyterHub.concurrent_spawn_limit = 100  # our own queue says who is next; the hub's would send people away
    c.JupyterHub.cookie_max_age_days = 1
    c.JupyterHub.shutdown_on_logout = True
    c.JupyterHub.allow_named_servers = False
    c.Authenticator.admin_users = set()  # one origin for all: no page of a trainee may meet an administrator's cookie


def culler(api: str = "") -> dict[str, Any]:
    """The service that ends servers at which nobody works; what was typed is on disk."""
    command = [sys.executable, "-m", "jupyterhub_idle_culler", f"--timeout={IDLE_S}"]
    return {"name": "idle-culler", "command": [*command, *([f"--url={api}"] if api else [])]}


def _machine(c: Any, hub: place.Hub) -> None:
    ports = hub.ports
    scheme = "https" if hub.certificate else "http"
    c.JupyterHub.bind_url = f"{scheme}://0.0.0.0:{ports['public']}"
    if hub.certificate:
        c.JupyterHub.ssl_cert, c.JupyterHub.ssl_key = hub.certificate, hub.key
    c.JupyterHub.hub_bind_url = f"http://127.0.0.1:{ports['hub']}"
    c.JupyterHub.cookie_secret_file = str(hub.folder / place.COOKIE_SECRET)
    c.JupyterHub.db_url = f"sqlite:///{hub.folder / 'jupyterhub.sqlite'}"
    # A hub that is started again finds proxy and servers as they were: nobody who works notices.
    c.JupyterHub.cleanup_servers = c.JupyterHub.cleanup_proxy = False
    c.ConfigurableHTTPProxy.should_start = False
    c.ConfigurableHTTPProxy.api_url = f"http://127.0.0.1:{ports['proxy']}"
    c.ConfigurableHTTPProxy.auth_token = hub.secret(place.PROXY_TOKEN)
    c.JupyterHub.authenticator_class = "grader.hub.sign_in.ClassListAuthenticator"
    c.Authenticator.allow_all = True  # whom it lets in; it asks the class list each time
    c.ClassListAuthenticator.hub_folder = str(hub.folder)
    c.JupyterHub.spawner_class = "grader.hub.spawner.TraineeSpawner"
    c.TraineeSpawner.homes, c.TraineeSpawner.runtime = str(hub.homes), str(hub.runtime)
    c.TraineeSpawner.interrupt_timeout = 10
    c.TraineeSpawner.cmd = [sys.executable, "-P", "-m", "grader.hub.trainee_server"]
    c.Spawner.env_keep = ["PATH", "LANG", "LD_LIBRARY_PATH"]
    c.Spawner.environment = c.Spawner.environment | {"PYTHONPATH": _PACKAGE}
    service = {
        "name": SERVICE,
        "url": f"http://127.0.0.1:{ports['classwork']}",
        "command": [sys.executable, "-P", "-m", "grader.hub.classwork_service", str(hub.term)],
        "user": hub.instructor,
        "cwd": "/",
        "display": False,
    }
    ahead = {"name": "ahead", "api_token": hub.secret(place.AHEAD_TOKEN)}
    c.JupyterHub.services = [service, culler(), ahead]
    c.JupyterHub.load_roles = [
        *c.JupyterHub.load_roles,
        {"name": "ahead", "scopes": ["admin:users", "servers"], "services": ["ahead"]},
    ]
