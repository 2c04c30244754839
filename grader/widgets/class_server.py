"""A lesson that runs on a class server: what is handed in goes to the instructor's side at once.

Where the hub started this server, the environment says so; elsewhere nothing here is used.
"""

import json
import os
import urllib.error
import urllib.request
from typing import Any

from grader.errors import Refused

ADDRESS = "TIMING_MARK_CLASSWORK"  # of the hub's service
TOKEN = "JUPYTERHUB_API_TOKEN"
PREFIX = "JUPYTERHUB_SERVICE_PREFIX"
PAGE = "timing-mark/"  # of the start page, under the prefix
PATIENCE_S = 60
_LARGEST = 50_000_000


def is_there() -> bool:
    """Whether this is a trainee's server of a class."""
    return bool(os.environ.get(ADDRESS) and os.environ.get(TOKEN))


def start_page() -> str:
    """Address of the start page in the browser."""
    return os.environ.get(PREFIX, "/") + PAGE


def ask(path: str, content: bytes | None = None) -> bytes:
    """What the class's service answers; with content, something is sent there.

    Raises
    ------
    Refused
        It says no, with its sentence, or it does not answer.
    """
    address, token = os.environ[ADDRESS], os.environ[TOKEN]
    request = urllib.request.Request(address + path, data=content, headers={"Authorization": f"token {token}"})
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    try:
        with opener.open(request, timeout=PATIENCE_S) as reply:
            return reply.read(_LARGEST)
    except urllib.error.HTTPError as problem:
        with problem:
            raise Refused(_sentence(problem.read(10_000))) from None
    except OSError:
        raise Refused(NO_ANSWER) from None


NO_ANSWER = "The class server does not answer just now. What you typed is saved; nothing was handed in. Wait a minute and try again."


def works() -> list[dict[str, Any]]:
    """What was issued to this trainee, as the service lists it.

    Raises
    ------
    Refused
        As `ask`.
    """
    return json.loads(ask("works"))["works"]


def deliver(content: bytes) -> dict[str, Any]:
    """Hand in a zip; gives the service's receipt.

    Raises
    ------
    Refused
        As `ask`; nothing was handed in.
    """
    return json.loads(ask("hand-in", content))


def _sentence(body: bytes) -> str:
    try:
        return str(json.loads(body)["problem"])
    except (ValueError, KeyError, TypeError):
        return NO_ANSWER
