"""The start page of a trainee on the class server, and what its buttons do; an extension of his own server.

Its name stands before jupyterlab in the alphabet, so that its addresses come first: /lab and /tree lead here.
"""

from __future__ import annotations

import asyncio
import hashlib
import os
import tempfile
from html import escape
from pathlib import Path
from typing import Any

from jupyter_server.base.handlers import JupyterHandler
from jupyter_server.utils import url_path_join
from tornado import web

from grader.errors import TimingMarkError
from grader.exercise import hand_in, issued
from grader.hub.trainee_server import work_folder
from grader.widgets import class_server, own_work, start_page, study

_NOTICES: dict[str, str] = {}  # what a button did, until the page is shown the next time
_STYLE = (
    "body{font:16px/1.5 system-ui,sans-serif;max-width:50rem;margin:0 auto;padding:1rem;color:#1a1a1a;background:#fff}"
    "h1{font-size:1.6rem}h2{font-size:1.15rem;margin:1.2rem 0 .3rem}p{margin:.3rem 0}section{border-top:1px solid #ccc}"
    ".tm-open,button{display:inline-block;padding:.45rem .9rem;border:1px solid #444;border-radius:.3rem;background:#fff;"
    "color:#1a1a1a;font:inherit;text-decoration:none;margin:.2rem .4rem .2rem 0;cursor:pointer;min-height:1.5rem}"
    ".tm-strong{background:#00507d;border-color:#00507d;color:#fff}form{display:inline}"
    ".tm-notice{border:2px solid #444;padding:.5rem .8rem;border-radius:.3rem}"
    ":focus-visible{outline:3px solid #d55e00;outline-offset:2px}"
)


def _jupyter_server_extension_points() -> list[dict[str, str]]:
    return [{"module": "grader.hub.page"}]


def _load_jupyter_server_extension(server: Any) -> None:
    base = server.web_app.settings["base_url"]
    page = url_path_join(base, class_server.PAGE)
    away = {"url": page, "permanent": False}
    server.web_app.add_handlers(
        ".*$",
        [
            (page, _Page),
            (page.rstrip("/"), web.RedirectHandler, away),
            (url_path_join(page, "hand-in"), _HandIn),
            (base, web.RedirectHandler, away),
            (url_path_join(base, r"lab(?:/(?:tree|workspaces)/.*|/)?"), web.RedirectHandler, away),
            (url_path_join(base, r"(?:tree|edit|consoles|notebooks)(?:/.*)?"), web.RedirectHandler, away),
            (url_path_join(base, f"doc/tree/{study.START}"), web.RedirectHandler, away),
        ],
    )


class _Page(JupyterHandler):
    @web.authenticated
    async def get(self) -> None:
        trainee, base = os.environ["JUPYTERHUB_USER"], self.base_url
        works, problems = await asyncio.to_thread(bring_up_to_date, trainee)
        notice = _NOTICES.pop(trainee, "")
        root = study.root_of(trainee, folder=work_folder())
        dues = {(work["module"], work["attempt"]): work["due"] for work in works}
        shown = await asyncio.to_thread(
            start_page.page, root, dues=dues, buttons=lambda work: self._button(root, work), served=True
        )
        said = "".join(f'<p class="tm-notice" role="status">{escape(line)}</p>' for line in (notice, *problems) if line)
        self.set_header("Cache-Control", "no-store")
        self.finish(
            f'<!doctype html><html lang="en"><meta charset="utf-8"><title>Your lessons</title>'
            f'<meta name="viewport" content="width=device-width, initial-scale=1">'
            f'<base href="{escape(url_path_join(base, "doc/tree/"))}"><style>{_STYLE}</style>'
            f"<p>Signed in as <strong>{escape(trainee)}</strong>. "
            f'<a href="{escape(url_path_join(base, "logout"))}">Sign out</a></p>{said}{shown}</html>'
        )

    def _button(self, root: Path, work: own_work.Work) -> str:
        """HTML: the button that hands a lesson in."""
        target = url_path_join(self.base_url, class_server.PAGE, "hand-in")
        folder = work.notebook.parent.relative_to(root).as_posix()
        return (
            f'<form method="post" action="{escape(target)}">{self.xsrf_form_html()}'
            f'<button name="folder" value="{escape(folder)}">Hand in</button></form>'
        )


class _HandIn(JupyterHandler):
    @web.authenticated
    async def post(self) -> None:
        trainee = os.environ["JUPYTERHUB_USER"]
        root = study.root_of(trainee, folder=work_folder())
        folder = root / Path(self.get_body_argument("folder")).name
        try:
            _NOTICES[trainee] = await asyncio.to_thread(_handed_in, folder)
        except TimingMarkError as problem:
            _NOTICES[trainee] = str(problem)
        self.redirect(url_path_join(self.base_url, class_server.PAGE))


def _handed_in(folder: Path) -> str:
    _, receipt = hand_in.write(folder, issued.read(folder / issued.NAME), deliver=class_server.deliver)
    return f"Handed in: receipt {receipt.short}. Your instructor has it. You may change answers and hand in again."


def bring_up_to_date(trainee: str) -> tuple[list[dict[str, Any]], list[str]]:
    """Fetch what was handed out or given back since: numbers with their lesson, moved due times, returned sheets.

    Parameters
    ----------
    trainee : str
        Our id.

    Returns
    -------
    (list of dict, list of str)
        The works as the service lists them, and sentences about what did not come.
    """
    try:
        works = class_server.works()
    except TimingMarkError:
        return [], [
            "The class server does not answer just now. What you see here is what came before; it goes on working."
        ]
    root, problems = study.root_of(trainee, folder=work_folder()), []
    here = {(folder.module, folder.attempt): (path, folder) for path, folder in _issued(root)}
    kept = {key[2:]: _digest(page.page) for key, page in own_work.returned_pages(root, {trainee}).items()}
    for work in works:
        key = work["module"], work["attempt"]
        address = f"{work['module']}/{work['attempt']}"
        try:
            mine = here.get(key)
            if mine is None or hashlib.sha256(issued.dump(mine[1])).hexdigest() != work["record"]:
                _take(class_server.ask(f"handout/{address}"), ".zip", trainee)
            if work["returned"] and kept.get(key) != work["returned"]:
                _take(class_server.ask(f"returned/{address}"), ".html", trainee)
        except TimingMarkError as problem:
            problems.append(str(problem))
    return works, problems


def _issued(root: Path) -> list[tuple[Path, issued.Issued]]:
    found = []
    for path in sorted(root.glob(f"*/{issued.NAME}")):
        try:
            found.append((path, issued.read(path)))
        except TimingMarkError:  # the start page says what is wrong with it
            continue
    return found


def _take(content: bytes, ending: str, trainee: str) -> None:
    """Put what came into the trainee's folder by the ways that `study` has for files."""
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / f"came{ending}"
        path.write_bytes(content)
        take = study.make_ready if ending == ".zip" else study.take_returned
        take(str(path), folder=work_folder(), name=trainee)


def _digest(page: Path) -> str:
    return hashlib.sha256(page.read_bytes()).hexdigest()
