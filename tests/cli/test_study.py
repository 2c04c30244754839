"""study: a lesson lies ready in the trainee's folder, and nothing of his is ever overwritten."""

import json
import os
import re
import signal
import socket
import stat
import subprocess
import sys
import urllib.error
import urllib.request
import zipfile
from pathlib import Path

import psutil
import pytest
from jupyter_client.blocking.client import BlockingKernelClient

from grader import catalogue, paths
from grader.errors import BadFile, CannotWrite, Refused, Unknown
from grader.exercise import issued, practice, variant
from grader.widgets import study
from grader.widgets.lab import server

MODULE = "m01_timing"
KEY = b"k" * 32


def record(attempt=1, trainee="t07"):
    module = catalogue.module(MODULE)
    numbers = variant.draw(module, key=KEY, term="evening", trainee=trainee, attempt=attempt)
    return issued.make(
        module, key=KEY, term="evening", trainee=trainee, attempt=attempt, mode="assessed", due="", zone="UTC",
        numbers=numbers,
    )  # fmt: skip


LESSON = json.dumps({"cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}).encode()


def packed(path, *members):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members:
            archive.writestr(name, content)
    return str(path)


def handout(path, made=None):
    made = made or record()
    return packed(path, (f"{MODULE}/{MODULE}.ipynb", LESSON), (f"{MODULE}/issued.json", issued.dump(made)))


def test_practice_copy_has_lesson_and_marker(tmp_path):
    ready = study.make_ready(MODULE, folder=tmp_path, name="  Ada   Moor ")
    assert ready.notebook == tmp_path / "ada-moor" / MODULE / f"{MODULE}.ipynb"
    assert ready.notebook.read_bytes() == (paths.lessons() / MODULE / f"{MODULE}.ipynb").read_bytes()
    marker = json.loads((ready.notebook.parent / "practice.json").read_text())
    assert (marker["format"], marker["schema"], marker["name"], marker["counter"]) == (
        "timing-mark practice", 1, "Ada Moor", 1,
    )  # fmt: skip
    assert len(marker["installation"]) == 32
    assert ready.fresh and ready.mode == "practice"


def test_opening_again_changes_nothing(tmp_path):
    """Work in the notebook, the answers and the numbers stay as they are."""
    ready = study.make_ready(MODULE, folder=tmp_path)
    ready.notebook.write_text("my own work")
    (ready.notebook.parent / "answers.json").write_text("my answers")
    before = practice.read(ready.notebook.parent / practice.NAME)
    again = study.make_ready(MODULE, folder=tmp_path)
    assert not again.fresh
    assert again.notebook.read_text() == "my own work"
    assert (again.notebook.parent / "answers.json").read_text() == "my answers"
    assert practice.read(again.notebook.parent / practice.NAME) == before


def test_two_names_that_share_a_folder_are_told_apart(tmp_path):
    study.make_ready(MODULE, folder=tmp_path, name="Ada Moor")
    with pytest.raises(Refused, match="work of Ada Moor"):
        study.make_ready(MODULE, folder=tmp_path, name="Ada.Moor")
    study.make_ready(MODULE, folder=tmp_path, name="ada moor")


@pytest.mark.parametrize("name", ["../../etc", "..", "/", "a/b", "C:\\x", "", ".", "\x00"])
def test_no_name_leads_out_of_the_folder(tmp_path, name):
    home = tmp_path / "work"
    ready = study.make_ready(MODULE, folder=home, name=name)
    assert ready.notebook.resolve().is_relative_to(home.resolve())
    assert ready.root.parent == home


def test_handout_brings_its_own_numbers_and_lesson(tmp_path):
    ready = study.make_ready(handout(tmp_path / "h.zip"), folder=tmp_path / "work")
    assert ready.notebook == tmp_path / "work" / "t07" / MODULE / f"{MODULE}.ipynb"
    assert ready.mode == "assessed"
    assert ready.notebook.read_bytes() == LESSON
    assert issued.read(ready.notebook.parent / issued.NAME) == record()
    assert not (ready.notebook.parent / practice.NAME).exists()
    ready.notebook.write_text("my own work")
    again = study.make_ready(handout(tmp_path / "h.zip"), folder=tmp_path / "work")
    assert again.notebook.read_text() == "my own work" and not again.fresh


def test_second_attempt_lies_beside_the_first(tmp_path):
    first = study.make_ready(handout(tmp_path / "1.zip"), folder=tmp_path)
    second = study.make_ready(handout(tmp_path / "2.zip", record(attempt=2)), folder=tmp_path)
    assert second.notebook.parent != first.notebook.parent
    assert issued.read(first.notebook.parent / issued.NAME).attempt == 1


def test_numbers_and_practice_never_mix(tmp_path):
    """A hand-out does not go over practice, nor practice over a hand-out, nor other numbers over these."""
    study.make_ready(handout(tmp_path / "h.zip"), folder=tmp_path)
    beside = study.make_ready(MODULE, folder=tmp_path, name="t07")
    assert beside.notebook.parent == tmp_path / "t07" / "practice" / MODULE and beside.mode == "practice"
    with pytest.raises(Refused, match="other numbers"):
        study.make_ready(handout(tmp_path / "o.zip", record(trainee="t08")), folder=tmp_path, name="t07")
    study.make_ready(MODULE, folder=tmp_path, name="t09")
    with pytest.raises(Refused, match="practice work"):
        study.make_ready(handout(tmp_path / "n.zip", record(trainee="t09")), folder=tmp_path)
    assert issued.read(tmp_path / "t07" / MODULE / issued.NAME) == record()


ISSUED = issued.dump(record())
BAD_ZIPS = {
    "no numbers": [(f"{MODULE}/{MODULE}.ipynb", LESSON)],
    "numbers twice": [(f"{MODULE}/issued.json", ISSUED), ("other/issued.json", ISSUED)],
    "no lesson": [(f"{MODULE}/issued.json", ISSUED)],
    "lesson under another name": [(f"{MODULE}/issued.json", ISSUED), ("x/m02.ipynb", LESSON)],
    "lesson outside": [(f"{MODULE}/issued.json", ISSUED), (f"../{MODULE}.ipynb", LESSON)],
    "no notebook": [(f"{MODULE}/issued.json", ISSUED), (f"{MODULE}/{MODULE}.ipynb", b"[]")],
    "a bomb": [(f"{MODULE}/issued.json", b" " * 3_000_000 + ISSUED), (f"{MODULE}/{MODULE}.ipynb", LESSON)],
    "another module": [
        ("m99_x/issued.json", ISSUED.replace(MODULE.encode(), b"m99_x")), ("m99_x/m99_x.ipynb", LESSON),
    ],
}  # fmt: skip


@pytest.mark.parametrize("members", BAD_ZIPS.values(), ids=BAD_ZIPS)
def test_bad_zip_is_refused_in_a_sentence_and_leaves_nothing(tmp_path, members):
    home = tmp_path / "work"
    with pytest.raises(BadFile) as caught:
        study.make_ready(packed(tmp_path / "bad.zip", *members), folder=home)
    assert str(caught.value).endswith(".")
    assert not home.exists()


def _lesson_with(*sources, tags=()):
    cells = [{"cell_type": "code", "metadata": {"tags": list(tags)}, "source": source} for source in sources]
    return json.dumps({"cells": cells, "metadata": {}, "nbformat": 4, "nbformat_minor": 5}).encode()


@pytest.mark.parametrize(
    "source",
    [
        "import os",
        'lesson.show("m01.mark_arc"); import os',
        'lesson.show("m01.mark_arc")\nopen("x", "w")',
        ['lesson.show("a")\n', "import os"],
        'lesson.show("a" + str(open("x", "w")))',
        'from grader.widgets.lesson import Lesson\n\nimport os; lesson = Lesson("m01_timing")',
        "!touch x",
        None,
        [1],
    ],
)
def test_a_zip_with_a_program_that_is_no_lessons_is_not_opened(tmp_path, source):
    """The page runs a lesson's cells as it opens; anybody can name a zip as ours."""
    zip_ = packed(
        tmp_path / "h.zip", (f"{MODULE}/{MODULE}.ipynb", _lesson_with(source)), (f"{MODULE}/issued.json", ISSUED)
    )
    with pytest.raises(BadFile, match="holds a program that no lesson of ours has"):
        study.make_ready(zip_, folder=tmp_path / "work")
    assert not (tmp_path / "work").exists()


def test_every_lesson_of_ours_opens_from_a_zip(tmp_path):
    for number, path in enumerate(sorted(paths.lessons().glob("*/*.ipynb"))):
        zip_ = packed(
            tmp_path / f"{number}.zip",
            (f"{MODULE}/{MODULE}.ipynb", path.read_bytes()),
            (f"{MODULE}/issued.json", ISSUED),
        )
        assert study.make_ready(zip_, folder=tmp_path / f"work{number}").notebook.read_bytes() == path.read_bytes()
    own = _lesson_with("import math", tags=["working"])  # it is not run before somebody opens it
    zip_ = packed(tmp_path / "w.zip", (f"{MODULE}/{MODULE}.ipynb", own), (f"{MODULE}/issued.json", ISSUED))
    assert study.make_ready(zip_, folder=tmp_path / "w").fresh


def test_cut_off_zip_and_no_zip(tmp_path):
    whole = Path(handout(tmp_path / "h.zip")).read_bytes()
    for content in (whole[: len(whole) // 2], b"", b"hello"):
        (tmp_path / "cut.zip").write_bytes(content)
        with pytest.raises(BadFile, match="no readable zip"):
            study.make_ready(str(tmp_path / "cut.zip"), folder=tmp_path / "work")
    damaged = bytearray(whole)
    damaged[60] ^= 0xFF
    (tmp_path / "cut.zip").write_bytes(damaged)
    with pytest.raises(BadFile):
        study.make_ready(str(tmp_path / "cut.zip"), folder=tmp_path / "work")


def test_what_does_not_exist(tmp_path):
    with pytest.raises(Unknown, match="m01_timing"):
        study.make_ready("m01_timming", folder=tmp_path)
    with pytest.raises(Unknown, match="no hand-out"):
        study.make_ready(str(tmp_path / "none.zip"), folder=tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_folder_that_cannot_be_used(tmp_path):
    for ours in (paths.lessons(), paths.solutions() / MODULE):
        with pytest.raises(Refused, match="--folder"):
            study.make_ready(MODULE, folder=ours)
    (tmp_path / "file").write_text("")
    with pytest.raises(CannotWrite):
        study.make_ready(MODULE, folder=tmp_path / "file")


def test_command_says_no_in_one_sentence(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "grader", "study", "m99", "--folder", str(tmp_path), "--no-browser"],
        capture_output=True, text=True, cwd=paths.checkout(),
    )  # fmt: skip
    assert done.returncode == 2 and done.stdout == ""
    assert "There is no module" in done.stderr and "Traceback" not in done.stderr


def kept(root, **changes):
    """What a server that served a folder before left of its address."""
    folder = root / server.PRIVATE
    folder.mkdir(exist_ok=True)
    state = {"port": 40_000, "token": "t" * 48, "pid": 2**22 + 1, "started": 1.0, "window": 1, "window_started": 1.0}
    (folder / server.STATE).write_text(json.dumps({**state, "scratch": "", **changes}))


def test_the_port_stays_and_the_token_does_not(tmp_path):
    """A page left open finds its server again; what was read of an address yesterday opens nothing today."""
    first = server.choose_address(tmp_path)
    kept(tmp_path, port=first.port, token=first.token)
    second = server.choose_address(tmp_path)
    assert second.port == first.port and second.token != first.token and len(first.token) == len(second.token) == 48
    with socket.socket() as busy:
        busy.bind((server.HOST, first.port))
        busy.listen()
        assert server.choose_address(tmp_path).port != first.port
        with pytest.raises(Refused, match="taken"):
            server.choose_address(tmp_path, first.port)


def test_nothing_is_sent_to_a_stranger_on_the_kept_port(tmp_path):
    """Whoever took the port after our server ended must not be given the token, nor whoever has its process number."""
    with socket.socket() as stranger:
        stranger.bind((server.HOST, 0))
        stranger.listen()
        stranger.settimeout(0.5)
        port = stranger.getsockname()[1]
        child = subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE)
        begun = psutil.Process(child.pid).create_time()
        for state in (
            {"pid": 2**22 + 1}, {"pid": os.getpid(), "started": 1.0}, {"pid": child.pid, "started": begun},
        ):  # fmt: skip
            kept(tmp_path, port=port, **state)
            assert server.running(tmp_path) is None
        child.communicate(b"\n")
        with pytest.raises(TimeoutError):
            stranger.accept()


def test_a_state_of_an_earlier_version_or_a_damaged_one_is_no_server(tmp_path):
    (tmp_path / server.PRIVATE).mkdir()
    for text in ('{"port": 40000, "token": "abc"}', "{}", "", '{"port": "x"}', "[]", '{"port": true, "token": "a"}'):
        (tmp_path / server.PRIVATE / server.STATE).write_text(text)
        assert server.running(tmp_path) is None and server.choose_address(tmp_path).port > 0


def answer(url):
    """The code with which a server answers."""
    try:
        with urllib.request.urlopen(url, timeout=20) as reply:
            return reply.status
    except urllib.error.HTTPError as problem:
        with problem:
            return problem.code


def sent(address, method, path, content):
    """What the server answers, as JSON, to a request with a body."""
    head = {"Content-Type": "application/json"}
    request = urllib.request.Request(address.url(path), json.dumps(content).encode(), head, method=method)
    with urllib.request.urlopen(request, timeout=60) as reply:
        return json.load(reply)


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    root = tmp_path_factory.mktemp("served")
    address = server.choose_address(root)
    process = server.start(root, address)
    yield root, address, process
    server.stop(process)


@pytest.mark.server
class TestServing:
    """One server, asked what it really does."""

    def test_what_is_switched_off_is_off(self, served):
        """No marking pages, no terminal, no second notebook program, no language server on a trainee's machine."""
        root, address, _ = served
        for path in ("/lsp/status", "/formgrader", "/api/terminals", "/tree", "/nbgrader_version", "/assignments"):
            assert answer(address.url(path)) == 404, path
        log = (root / server.PRIVATE / "server.log").read_text()
        assert "Traceback" not in log and "error" not in log.casefold()

    def test_without_the_token_nothing_is_given(self, served):
        _, address, _ = served
        assert answer(address.url("/api/contents")) == 200
        assert answer(f"http://{server.HOST}:{address.port}/api/contents") == 403

    def test_it_is_found_again_and_its_secrets_are_private(self, served):
        root, address, process = served
        assert server.running(root) == address and server.left_behind(root) is None
        state = root / server.PRIVATE / server.STATE
        assert stat.S_IMODE(state.stat().st_mode) == 0o600 and stat.S_IMODE(state.parent.stat().st_mode) == 0o700
        scratch = Path(json.loads(state.read_text())["scratch"])
        assert stat.S_IMODE(scratch.stat().st_mode) == 0o700
        assert address.token not in " ".join(psutil.Process(process.pid).cmdline())

    def test_a_server_whose_window_was_killed_is_taken_over(self, served):
        root, address, process = served
        state = root / server.PRIVATE / server.STATE
        before = state.read_text()
        state.write_text(json.dumps({**json.loads(before), "window": 2**22 + 1}))
        left = server.left_behind(root)
        assert server.running(root) == address and left is not None and left.pid == process.pid
        state.write_text(before)

    def test_what_jupyter_writes_while_it_runs_stays_off_the_home(self, served):
        """Where homes lie on a school's server, a kernel starts from the local disk and keeps no history there."""
        root, address, _ = served
        scratch = Path(json.loads((root / server.PRIVATE / server.STATE).read_text())["scratch"])
        assert not scratch.is_relative_to(root)
        notebook = {"cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}
        sent(address, "PUT", "/api/contents/noted.ipynb", {"type": "notebook", "format": "json", "content": notebook})
        begun = sent(address, "POST", "/api/kernels", {"name": "python3"})
        connection = scratch / "runtime" / f"kernel-{begun['id']}.json"
        client = BlockingKernelClient(connection_file=str(connection))
        client.load_connection_file()
        client.start_channels()
        client.wait_for_ready(timeout=60)
        ask = "(get_ipython().history_manager.enabled, get_ipython().ipython_dir)"
        reply = client.execute_interactive("", user_expressions={"seen": ask}, timeout=60)
        client.stop_channels()
        assert reply["content"]["user_expressions"]["seen"]["data"]["text/plain"] == repr(
            (False, str(scratch / "ipython"))
        )
        for name in (connection.name, "history.sqlite*", "nbsignatures.db*", "jpserver-*", "jupyter_cookie_secret"):
            assert list(root.rglob(name)) == [], name
        assert not [*scratch.rglob("history.sqlite*"), *scratch.rglob("nbsignatures.db*")]
        (root / "noted.ipynb").unlink()

    def test_after_its_end_no_token_and_no_scratch_is_left(self, tmp_path):
        address = server.choose_address(tmp_path)
        process = server.start(tmp_path, address)
        door = server.write_door(tmp_path, address.url("/lab"))
        scratch = Path(json.loads((tmp_path / server.PRIVATE / server.STATE).read_text())["scratch"])
        server.stop(process)
        server.clear(tmp_path)
        assert not door.exists() and not scratch.exists() and server.running(tmp_path) is None
        left = [p for p in tmp_path.rglob("*") if p.is_file() and address.token.encode() in p.read_bytes()]
        assert left == []


@pytest.mark.server
def test_the_address_stands_on_no_command_line(tmp_path):
    """Every account of a machine can read the process list: the browser is given a private file, which leads on."""
    seen = tmp_path / "seen"
    browser = tmp_path / "browser"
    browser.write_text(f'#!/bin/sh\necho "$@" > {seen}\n')
    browser.chmod(0o755)
    work = tmp_path / "work"
    child = subprocess.Popen(
        [sys.executable, "-m", "grader", "study", MODULE, "--folder", str(work)],
        env={**os.environ, "BROWSER": f"{browser} %s", "PYTHONPATH": str(paths.checkout())}, cwd=paths.checkout(),
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    )  # fmt: skip
    assert child.stdout is not None
    try:
        for line in child.stdout:
            if "opens in your browser" in line:
                break
        else:
            pytest.fail("the lesson did not open")
        root = work / "trainee"
        state = json.loads((root / server.PRIVATE / server.STATE).read_text())
        door = root / server.DOOR
        assert seen.read_text().strip() == door.as_uri() and state["token"] not in seen.read_text()
        assert state["token"] in door.read_text() and stat.S_IMODE(door.stat().st_mode) == 0o600
        assert "Ctrl+C" in child.stdout.readline()
        child.send_signal(signal.SIGINT)
        child.wait(60)
        assert not door.exists() and server.running(root) is None
    finally:
        child.kill()
        child.wait()
        child.stdout.close()


@pytest.mark.server
def test_server_that_cannot_start_says_why(tmp_path):
    (tmp_path / server.PRIVATE).mkdir()
    with socket.socket() as busy:
        busy.bind((server.HOST, 0))
        busy.listen()
        with pytest.raises(server.NotStarted, match="did not start"):
            server.start(tmp_path, server.Address(busy.getsockname()[1], "x"))


def test_extension_is_whole():
    """JupyterLab finds what package.json names, and each file it loads lies beside it."""
    home = paths.checkout() / "grader" / "widgets" / "lab"
    extension = home / "labextensions" / "timing-mark"
    build = json.loads((extension / "package.json").read_text())["jupyterlab"]["_build"]
    entry = extension / build["load"]
    words = entry.read_text()
    loaded = [path.name for path in entry.parent.iterdir() if path != entry]
    assert sorted(loaded) == [
        "bench.js",
        "desk.css",
        "desk.js",
        "forms.css",
        "guard.js",
        "kernel.js",
        "names.js",
        "page.css",
        "page.js",
        "place.js",
        "sorting.js",
        "tabs.js",
        "way.css",
        "way.js",
    ]
    for name in ("page.js", "names.js", "page.css", "forms.css"):
        assert name in words
    for path in entry.parent.glob("*.js"):
        assert set(re.findall(r'"\./([^"]+\.js)"', path.read_text())) <= set(loaded), path.name
    for path in (home / "config" / "labconfig").glob("*.json"):
        assert json.loads(path.read_text())


def test_a_folder_that_is_no_hand_out(tmp_path):
    """Any folder of the trainee's own: he is told what was found and what to name instead."""
    (tmp_path / "letters").mkdir()
    with pytest.raises(BadFile, match="letters holds no issued.json, so it is no hand-out. Name the zip or folder"):
        study.make_ready(str(tmp_path / "letters"), folder=tmp_path / "work")
