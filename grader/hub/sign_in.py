"""Signing in: an id of the class list, and a password that its owner chose with the code of his slip."""

from __future__ import annotations

import asyncio
import time
from collections import defaultdict
from pathlib import Path
from typing import Any

from jupyterhub.auth import Authenticator
from tornado import web
from traitlets import Unicode

from grader.errors import TimingMarkError
from grader.hub import codes, place
from grader.records.term import class_list, roster
from grader.records.term import term as terms

MOST_WRONG, PAUSE_S = 5, 60
_AT_ONCE = 4  # hashes that are computed at the same time: each takes 16 MiB
_FORM = """
<form action="{{ authenticator_login_url | safe }}" method="post" class="tm-sign-in">
  <h1>Your lessons</h1>
  {% if login_error %}<p class="login_error" role="alert"><strong>{{ login_error }}</strong></p>{% endif %}
  <input type="hidden" name="_xsrf" value="{{ xsrf }}">
  <p><label>Your id, as it stands on the class list<br>
    <input name="username" autocomplete="username" autocapitalize="off" autocorrect="off" spellcheck="false"
      value="{{ (username or '') | e }}" required autofocus></label></p>
  <p><label>Your password; the first time the code on your slip<br>
    <input type="password" name="password" autocomplete="current-password" required></label></p>
  <p><label>Only the first time: choose a password, at least 8 characters<br>
    <input type="password" name="chosen" autocomplete="new-password"></label></p>
  <p><button type="submit" id="login_submit">Sign in</button></p>
</form>
<style>
.tm-sign-in { max-width: 26rem; margin: 2rem auto; padding: 0 1rem; font-size: 1.1rem }
.tm-sign-in input { width: 100%; padding: .4rem; font: inherit }
.tm-sign-in button { padding: .5rem 1.2rem; font: inherit }
</style>
"""


class ClassListAuthenticator(Authenticator):
    """Lets in who stands on the class list and shows that he is it."""

    hub_folder = Unicode(help="The hub's own folder.").tag(config=True)
    custom_html = _FORM

    def __init__(self, **options: Any) -> None:
        super().__init__(**options)
        self._wrong: defaultdict[tuple[str, str], list[float]] = defaultdict(list)
        self._turns = asyncio.Semaphore(_AT_ONCE)

    def normalize_username(self, username: str) -> str:
        """The folder-safe id: capitals and the way of writing an accent do not count."""
        return class_list.folder_id(" ".join(username.split()))

    async def authenticate(self, handler: Any, data: dict[str, str]) -> str | None:
        """Id of the trainee, or None; a sentence where he can do something about it."""
        trainee = self.normalize_username(data.get("username", "")[:200])
        # By where it comes from, too: a classmate at another machine cannot lock somebody out.
        key = trainee, handler.request.remote_ip
        now = time.monotonic()
        self._wrong[key] = [moment for moment in self._wrong[key] if now - moment < PAUSE_S]
        if len(self._wrong[key]) >= MOST_WRONG:
            raise web.HTTPError(403, "Five times wrong. Wait a minute, then try again.")
        async with self._turns:
            outcome = await asyncio.to_thread(
                self._outcome, trainee, data.get("password", "")[:1000], data.get("chosen", "")[:1000]
            )
        if outcome == codes.OK:
            self._wrong.pop(key, None)
            return trainee
        if outcome == codes.CHOOSE:
            raise web.HTTPError(403, "Your code is right. Type it once more, and choose a password in the third field.")
        if outcome == codes.TOO_SHORT:
            raise web.HTTPError(403, "A password has at least 8 characters and is not the code itself. Choose another.")
        self._wrong[key].append(now)
        raise web.HTTPError(
            403, "That id and password do not belong together. Your instructor can give you a new slip."
        )

    def _outcome(self, trainee: str, typed: str, chosen: str) -> str:
        folder = Path(self.hub_folder)
        try:
            term = terms.open_term(place.open_hub(folder).term)
            enrolled = {person.id for person in roster.listed(term) if person.status == roster.ENROLLED}
            return codes.sign_in(folder, trainee if trainee in enrolled else "", typed, chosen)
        except TimingMarkError as problem:
            self.log.error("%s", problem)
            raise web.HTTPError(503, "Nobody can sign in just now. Call your instructor.") from None
