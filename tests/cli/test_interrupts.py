"""Whoever stops a command with Ctrl-C is told that nothing is half done, and no program text is shown."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from grader.records import lock

ROOT = Path(__file__).parent.parent.parent


def hear_ctrl_c():
    """What runs in the background of a shell hears no Ctrl-C, nor would its children."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def begun(*words, env=None):
    """A command in a process of its own, as it would be in a terminal."""
    return subprocess.Popen(
        [sys.executable, "-m", "grader", *map(str, words)],
        cwd=ROOT, env=env, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        preexec_fn=None if sys.platform == "win32" else hear_ctrl_c,
    )  # fmt: skip


@pytest.mark.skipif(sys.platform == "win32", reason="a child there gets no Ctrl-C of its own")
def test_ctrl_c_while_a_command_waits(assigned_term):
    """A command that is stopped leaves with 130 and one sentence that says how things stand."""
    with lock.exclusive(assigned_term, "holding the term"):
        running = begun("mark", "--term", assigned_term.folder)
        waits = running.stderr.readline()
        running.send_signal(signal.SIGINT)
        _, err = running.communicate(timeout=60)
    assert waits.startswith("Waiting for") and running.returncode == 130
    assert "What was written so far is whole" in err and "Traceback" not in err


@pytest.mark.skipif(sys.platform == "win32", reason="a child there gets no Ctrl-C of its own")
def test_ctrl_c_before_the_program_is_read(tmp_path):
    """Stopped while Python still reads the program: a sentence, not the lines it was reading."""
    (tmp_path / "typer.py").write_text("import sys, time; print('reading', flush=True); time.sleep(60)")
    running = begun("term", "show", env=os.environ | {"PYTHONPATH": f"{tmp_path}"})
    assert running.stdout.readline() == "reading\n"
    time.sleep(0.1)
    running.send_signal(signal.SIGINT)
    _, err = running.communicate(timeout=60)
    assert running.returncode == 130 and err.strip() == "Stopped before anything was done."


def test_the_end_of_input_at_a_question(assigned_term):
    """Nothing more to read at a question is a stop like Ctrl-C, not the bare word Aborted."""
    running = begun("transcribe", "T01", "m01_timing", "--term", assigned_term.folder)
    _, err = running.communicate("", timeout=60)
    assert running.returncode == 130 and err.strip().startswith("Stopped. What was written so far is whole")
