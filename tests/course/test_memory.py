"""A hostile file in the inbox takes little memory, is named once, and everybody else's work is taken."""

import io
import json
import subprocess
import sys
import zipfile

import pytest

from grader import clock
from grader.course.submissions import collect
from grader.exercise import sheet as sheets
from tests.work import issue_of, put_in_inbox, right_sheet

pytestmark = pytest.mark.campaign

WHEN = clock.parse("2026-03-30 12:00", "UTC")
MOST = 350  # MB above an idle process: the archive, its members and what they decode to

# Run apart, so that the peak is of this file alone; resource counts kB on Linux.
_FIND = """
import resource, sys
from pathlib import Path
from grader.course.submissions import incoming
peak = lambda: resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
before = peak()
submissions = [submission for together in incoming.find(Path(sys.argv[1]), []) for submission in together]
print(peak() - before)
for submission in submissions:
    print(submission.where, submission.problem)
"""


def packed(*members, how=zipfile.ZIP_DEFLATED):
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", how) as archive:
        for name, body in members:
            archive.writestr(name, body)
    return content.getvalue()


def sheet_with(values):
    """A sheet that is one in every other way."""
    head = {
        "format": sheets.FORMAT,
        "schema": 1,
        "term": "t",
        "module": "m",
        "trainee": "t01",
        "attempt": 1,
        "answers": {},
    }
    return json.dumps(head).encode()[:-1] + b', "x": ' + values + b"}"


def nested():
    content = packed(("answers.json", b" " * 150_000_000))
    for depth in range(2):
        content = packed((f"{depth}.zip", content))
    return content


BOMBS = {
    "one member of 150 MB of values": lambda: packed(("answers.json", sheet_with(b"[" + b"[]," * 50_000_000 + b"0]"))),
    "one member of 2 MB of empty lists": lambda: packed(("answers.json", sheet_with(b"[" + b"[]," * 600_000 + b"0]"))),
    "a thousand sheets of values": lambda: packed(
        *((f"{n}/answers.json", sheet_with(b"[" + b"{}," * 40_000 + b"0]")) for n in range(1_000))
    ),
    "archives in archives": nested,
    "300,000 members": lambda: packed(*((f"{n}", b"") for n in range(300_000)), how=zipfile.ZIP_STORED),
    "a number of 1.9 million figures": lambda: packed(("answers.json", sheet_with(b"9" * 1_900_000))),
    "900,000 lists in one another": lambda: packed(("answers.json", sheet_with(b"[" * 900_000 + b"]" * 900_000))),
    "packed with bzip2": lambda: packed(("answers.json", b" " * 150_000_000), how=zipfile.ZIP_BZIP2),
    "packed with LZMA": lambda: packed(("answers.json", b" " * 150_000_000), how=zipfile.ZIP_LZMA),
}


@pytest.mark.parametrize("name", BOMBS)
def test_a_small_file_that_grows_takes_little_memory_and_is_named_once(tmp_path, name):
    (tmp_path / "inbox").mkdir()
    (tmp_path / "inbox" / "bomb.zip").write_bytes(BOMBS[name]())
    run = subprocess.run(
        [sys.executable, "-c", _FIND, str(tmp_path / "inbox")], capture_output=True, text=True, check=True
    )
    peak, *told = run.stdout.splitlines()
    assert int(peak) < MOST
    assert len(told) == 1 and told[0].startswith("inbox/bomb.zip") and told[0].endswith(("again.", "file."))


def test_one_such_file_stops_nobody(assigned_term):
    """The file is named, and the work of the others is taken in the same run."""
    (assigned_term.folder / "inbox" / "bomb.zip").write_bytes(BOMBS["one member of 150 MB of values"]())
    for trainee in ("t02", "t03"):
        put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, trainee)))
    done = collect.collect(assigned_term, received_at=WHEN)
    assert done.taken == 2 and len(done.findings) == 1 and "inbox/bomb.zip" in str(done.findings[0])
