"""The service that the hub runs under the instructor's account: hands out, takes in, gives back.

It listens where the hub says: on one machine for that machine alone. Who asks is told by the hub from the token of the request; no
cookie is taken, so that no page can ask in somebody's name.
"""

from __future__ import annotations

import asyncio
import json
import os
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any
from urllib.parse import urlparse

from jupyterhub.services.auth import HubAuth
from tornado import httpserver, web

from grader.errors import BadFile, CannotWrite, Refused, TimingMarkError, Unknown
from grader.exercise import hand_in
from grader.hub import bench_log, classwork
from grader.records.term import term as terms
from grader.records.term.term import Term

NAME = "classwork"
_AT_ONCE = 8  # a class that hands in within one minute waits for the disk, not for each other


class _Handler(web.RequestHandler):
    """Acts for the trainee whom the hub names."""

    auth: HubAuth
    term: Term
    pool: ThreadPoolExecutor
    trainee = ""

    def initialize(self, auth: HubAuth, term: Term, pool: ThreadPoolExecutor) -> None:
        self.auth, self.term, self.pool = auth, term, pool

    async def prepare(self) -> None:
        scheme, _, token = self.request.headers.get("Authorization", "").partition(" ")
        if scheme.lower() not in ("token", "bearer") or not token:
            raise web.HTTPError(403)
        user: Any = await self.auth.user_for_token(token, sync=False)  # pyright: ignore[reportGeneralTypeIssues] (either way)
        if not user or user.get("kind") != "user" or not self.auth.check_scopes(set(self.auth.access_scopes), user):
            raise web.HTTPError(403)
        self.trainee = user["name"]

    def check_xsrf_cookie(self) -> None:
        """No cookie is taken here, so none can be misused."""

    async def answer(self, function: Callable[..., Any], *given: Any) -> Any:
        """What a function gives for this trainee; what it refuses goes back as a sentence."""
        loop = asyncio.get_running_loop()
        try:
            return await loop.run_in_executor(self.pool, function, self.term, self.trainee, *given)
        except Unknown as problem:
            raise _Said(404, problem) from None
        except Refused as problem:
            raise _Said(403, problem) from None
        except BadFile as problem:
            raise _Said(400, problem) from None
        except (CannotWrite, TimingMarkError) as problem:
            raise _Said(507, problem) from None

    def write_error(self, status_code: int, **kwargs: Any) -> None:
        problem = kwargs.get("exc_info", (None, None))[1]
        sentence = problem.sentence if isinstance(problem, _Said) else "This is not answered here."
        self.set_header("Content-Type", "application/json")
        self.finish(json.dumps({"problem": sentence}))


class _Said(web.HTTPError):
    def __init__(self, status: int, problem: TimingMarkError) -> None:
        super().__init__(status)
        self.sentence = str(problem)


class _Works(_Handler):
    async def get(self) -> None:
        self.finish({"term": self.term.id, "works": await self.answer(classwork.works)})


class _Handout(_Handler):
    async def get(self, module: str, attempt: str) -> None:
        self.set_header("Content-Type", "application/zip")
        self.finish(await self.answer(classwork.handout, module, int(attempt)))


class _HandIn(_Handler):
    async def post(self) -> None:
        self.finish(await self.answer(classwork.take_in, self.request.body))


class _Returned(_Handler):
    async def get(self, module: str, attempt: str) -> None:
        self.set_header("Content-Type", "text/html; charset=utf-8")
        self.finish(await self.answer(classwork.returned_page, module, int(attempt)))


class _Bench(_Handler):
    async def get(self, module: str, attempt: str, path: str) -> None:
        self.finish(await self.answer(bench_log.standing, module, int(attempt), path))

    async def post(self, module: str, attempt: str, path: str) -> None:
        try:
            act = json.loads(self.request.body)
        except ValueError:
            raise _Said(400, BadFile("The act is no JSON. Nothing was done.")) from None
        self.finish(await self.answer(bench_log.do, module, int(attempt), path, act))


def application(auth: HubAuth, term: Term, prefix: str) -> web.Application:
    """The service's addresses, under the prefix that the hub gives it."""
    shared = {"auth": auth, "term": term, "pool": ThreadPoolExecutor(_AT_ONCE)}
    work = r"([a-z0-9_]{1,63})/([0-9]{1,4})"
    routes = [
        ("works", _Works),
        (f"handout/{work}", _Handout),
        ("hand-in", _HandIn),
        (f"returned/{work}", _Returned),
        (rf"bench/{work}/([a-z0-9_.]{{1,200}})", _Bench),
    ]
    return web.Application([(prefix + route, handler, shared) for route, handler in routes])


async def _serve(folder: Path) -> None:
    term = terms.open_term(folder)
    address = urlparse(os.environ["JUPYTERHUB_SERVICE_URL"])
    made = application(HubAuth(cache_max_age=60), term, os.environ["JUPYTERHUB_SERVICE_PREFIX"])
    server = httpserver.HTTPServer(made, max_buffer_size=hand_in.LARGEST_FILE + 100_000)
    server.listen(address.port or 0, address.hostname or "127.0.0.1")
    await asyncio.Event().wait()


if __name__ == "__main__":
    os.umask(0o077)
    asyncio.run(_serve(Path(sys.argv[1])))
