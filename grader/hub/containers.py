"""The settings of JupyterHub for a college whose trainees' servers run in containers. Written with care; never run.

In a jupyterhub_config.py of the college:

    from grader.hub.containers import docker   # or kubernetes
    docker(get_config(), folder="/srv/hub", classwork="http://classwork:8010/services/classwork/", classwork_token="…", network="class")

The service that hands out and takes in runs in a container of its own, with the term folder on its volume: the module
grader.hub.classwork_service with that folder, and the variables that JupyterHub's documentation names for services that it
does not start itself: JUPYTERHUB_SERVICE_URL http://0.0.0.0:8010, JUPYTERHUB_SERVICE_PREFIX /services/classwork/,
JUPYTERHUB_API_URL, and JUPYTERHUB_API_TOKEN, which is `classwork_token`.
"""

from __future__ import annotations

from typing import Any

from grader.hub.configuration import SERVICE, common, culler

IMAGE = "timing-mark"
PLACE, HOME = "/opt/timing-mark", "/home/trainee"  # in the image
MEMORY = "1G"
COMMAND = ["python", "-P", "-m", "grader.hub.trainee_server"]


def _college(c: Any, folder: str, classwork: str, classwork_token: str, database: str) -> None:
    common(c, classwork)
    c.JupyterHub.authenticator_class = "grader.hub.sign_in.ClassListAuthenticator"
    c.ClassListAuthenticator.hub_folder = folder
    c.Authenticator.allow_all = True
    if database:  # such as postgresql+psycopg://hub@server/hub
        c.JupyterHub.db_url = database
    c.JupyterHub.services = [
        {"name": SERVICE, "url": classwork.partition("/services/")[0], "api_token": classwork_token, "display": False},
        culler(),
    ]
    lies = [f"{PLACE}/grader/hub/config", f"{PLACE}/grader/widgets/lab/config"]
    c.Spawner.environment = c.Spawner.environment | {"JUPYTER_CONFIG_PATH": ":".join(lies)}
    c.Spawner.cmd = COMMAND
    c.Spawner.mem_limit = MEMORY


def docker(c: Any, *, folder: str, classwork: str, classwork_token: str, network: str, database: str = "") -> None:
    """Settings for DockerSpawner: one machine or several, a volume for each trainee.

    Parameters
    ----------
    c : Config
    folder : str
        The hub's own folder, made by `timing-mark hub`.
    classwork, classwork_token : str
        Address of the service as containers reach it, and its token.
    network : str
        The network of Docker in which hub, service and servers meet.
    database : str
        Address of the hub's PostgreSQL database; empty: a file.
    """
    _college(c, folder, classwork, classwork_token, database)
    c.JupyterHub.spawner_class = "dockerspawner.DockerSpawner"
    c.JupyterHub.hub_ip = "0.0.0.0"
    c.DockerSpawner.image = IMAGE
    c.DockerSpawner.network_name = network
    c.DockerSpawner.use_internal_ip = True
    c.DockerSpawner.remove = True
    c.DockerSpawner.volumes = {"timing-mark-{username}": HOME}


def kubernetes(c: Any, *, folder: str, classwork: str, classwork_token: str, hub: str, database: str) -> None:
    """Settings for KubeSpawner: a volume claim for each trainee.

    Parameters
    ----------
    c : Config
    folder, classwork, classwork_token, database
        As `docker` takes them.
    hub : str
        Address of the hub as pods reach it.
    """
    _college(c, folder, classwork, classwork_token, database)
    c.JupyterHub.spawner_class = "kubespawner.KubeSpawner"
    c.JupyterHub.hub_connect_url = hub
    c.KubeSpawner.image = IMAGE
    c.KubeSpawner.uid, c.KubeSpawner.fs_gid = 1000, 1000
    c.KubeSpawner.automount_service_account_token = False
    c.KubeSpawner.storage_pvc_ensure = True
    c.KubeSpawner.storage_capacity = "1Gi"
    c.KubeSpawner.pvc_name_template = "timing-mark-{user_server}"
    c.KubeSpawner.volumes = [{"name": "home", "persistentVolumeClaim": {"claimName": "timing-mark-{user_server}"}}]
    c.KubeSpawner.volume_mounts = [{"name": "home", "mountPath": HOME}]
