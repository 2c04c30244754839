"""study: a lesson lies ready in the trainee's folder, and nothing of his is ever overwritten."""

import json
import os
import socket
import stat
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

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
    with pytest.raises(Refused, match="instructor issued"):
        study.make_ready(MODULE, folder=tmp_path, name="t07")
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


def test_address_is_kept_and_private(tmp_path):
    """A page left open finds its server again at the same address; nobody else can read the token."""
    first = server.choose_address(tmp_path)
    assert server.choose_address(tmp_path) == first
    assert server.running(tmp_path) is None
    kept = tmp_path / server.PRIVATE / server.STATE
    assert stat.S_IMODE(os.stat(kept).st_mode) == 0o600
    assert len(first.token) >= 32
    with socket.socket() as busy:
        busy.bind((server.HOST, first.port))
        busy.listen()
        other = server.choose_address(tmp_path)
        assert other.port != first.port
        with pytest.raises(Refused, match="taken"):
            server.choose_address(tmp_path, first.port)


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
    assert sorted(loaded) == ["forms.css", "guard.js", "names.js", "page.css", "page.js", "place.js", "tabs.js"]
    for name in ("page.js", "names.js", "page.css", "forms.css"):
        assert name in words
    for path in (home / "config" / "labconfig").glob("*.json"):
        assert json.loads(path.read_text())


def test_a_folder_that_is_no_hand_out(tmp_path):
    """Any folder of the trainee's own: he is told what was found and what to name instead."""
    (tmp_path / "letters").mkdir()
    with pytest.raises(BadFile, match="letters holds no issued.json, so it is no hand-out. Name the zip or folder"):
        study.make_ready(str(tmp_path / "letters"), folder=tmp_path / "work")
