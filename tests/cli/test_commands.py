"""What a person gets who types a command wrongly, or whose disk refuses: one sentence, code 2, nothing lost."""

import contextlib
import os
import resource
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from grader.course.attempts import overview
from grader.course.audit import verify
from tests.work import an_ordinary_user, issue_of, put_in_inbox, right_sheet, state

ROOT = Path(__file__).parent.parent.parent


def one_sentence(text):
    return text.strip() and "Traceback" not in text and len(text.strip()) < 400


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["assign", "m99_nothing"], "There is no module 'm99_nothing'; there are m01_timing"),
        (["assign", "m01"], "Did you mean m01_timing?"),
        (["assign", "m01_timing"], "all 3 have their numbers"),
        (["assign", "m01_timing", "--due", "31.3.26"], "is not a date"),
        (["mark", "m99_nothing"], "There is no module"),
        (["collect", "/nowhere/at/all"], "does not exist"),
        (["collect", "--received-at", "01/03/2026"], "can be 1 March or 3 January"),
        (["collect", "--received-at", "2999-03-01"], "is still to come; today is"),
        (["transcribe", "m01_timing", "--from", "a.csv", "--received-at", "2999-03-01 08:00"], "is still to come"),
        (["roster", "import", "/nowhere/list.csv"], "The class list is missing"),
        (["release", "m99_nothing"], "There is no module"),
        (["extend", "T01", "m01_timing", "--reason", "x"], "--until, or take an extension back with --withdraw"),
        (["extend", "T01", "m01_timing", "--reason", "x", "--withdraw"], "has no extension"),
        (["return", "m01_timing", "--take-back"], "needs a reason"),
        (["return", "m01_timing", "--take-back", "--reason", "x"], "none can be taken back"),
        (["term", "copy", "/nowhere/at/all"], "is no folder"),
        (["desk", "/nowhere/at/all", "--office"], "is no term folder"),
    ],
)
def test_misuse_changes_nothing(call, assigned_term, words, said):
    before = state(assigned_term.folder)
    term = [] if words[0] in ("release", "desk") else ["--term", assigned_term.folder]
    code, out, err = call(*words, *term)
    assert code == 2 and said in err and out == "" and one_sentence(err)
    assert state(assigned_term.folder) == before


@pytest.mark.parametrize(
    "words",
    [["mark"], ["collect"], ["assign", "m01_timing"], ["export", "grades"], ["term", "verify"], ["roster", "list"]],
)
def test_a_folder_that_is_no_term(call, tmp_path, words):
    code, _, err = call(*words, "--term", tmp_path)
    assert code == 2 and "is not a term folder" in err and one_sentence(err)
    assert list(tmp_path.iterdir()) == []


def test_findings_leave_with_one_and_done_with_nought(call, assigned_term):
    sheet = right_sheet(issue_of(assigned_term, "t01"))
    put_in_inbox(assigned_term, sheet)
    assert call("collect", "--term", assigned_term.folder)[0] == 0
    put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, "t02")), content=b"{")
    code, out, _ = call("collect", "--term", assigned_term.folder)
    assert code == 1 and "damaged" in out
    code, out, _ = call("mark", "--term", assigned_term.folder)
    assert code == 1 and "1 marked" in out and "t02" in out
    assert call("term", "verify", "--term", assigned_term.folder)[0] == 0
    assert call("export", "grades", "--term", assigned_term.folder)[0] == 0


def test_no_database_or_a_damaged_one(call, assigned_term):
    path = assigned_term.folder / "gradebook.db"
    content = path.read_bytes()
    path.write_bytes(b"this is no database at all, but a text of some length" * 50)
    code, _, err = call("mark", "--term", assigned_term.folder)
    assert code == 2 and "damaged" in err and one_sentence(err)
    path.unlink()
    code, _, err = call("mark", "--term", assigned_term.folder)
    assert code == 2 and "no records of a term" in err
    path.write_bytes(content)
    assert call("mark", "--term", assigned_term.folder)[0] == 0


@pytest.mark.parametrize("what", ["objectives", "tables", "workbook", "evidence"])
def test_a_database_that_is_damaged_further_on(call, assigned_term, what, tmp_path, monkeypatch):
    """The page of what was witnessed is lost, so that the fault shows when an export is half-way; nothing stays behind."""
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "passing"))
    (tmp_path / "passing").mkdir()
    put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, "t01")))
    assert call("collect", "--term", assigned_term.folder)[0] == 0
    assert call("mark", "--term", assigned_term.folder)[0] == 0
    path = assigned_term.folder / "gradebook.db"
    with contextlib.closing(sqlite3.connect(path)) as connection:
        (size,) = connection.execute("PRAGMA page_size").fetchone()
        (page,) = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = 'tm_witnessed'").fetchone()
    with path.open("r+b") as stream:
        stream.seek((page - 1) * size)
        stream.write(b"\xff" * size)
    code, _, err = call("export", what, "--term", assigned_term.folder)
    assert code == 2 and "is damaged" in err and "from your copy" in err and one_sentence(err)
    assert list((tmp_path / "passing").iterdir()) == []
    assert [
        one.name for one in (assigned_term.folder / "exports").rglob("*") if one.suffix not in (".html", ".csv")
    ] == []


@pytest.mark.parametrize("words", [["collect", "--yes"], ["mark", "m01_timing"], ["export", "grades"]])
@pytest.mark.campaign
def test_a_disk_that_is_full(assigned_term, words):
    """The kernel refuses every write above 300 bytes, in the middle of the command, as a full disk does."""
    for trainee in ("t01", "t02"):
        put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, trainee)))
    if words[0] != "collect":
        ready = subprocess.run(
            [sys.executable, "-m", "grader", "collect", "--yes", "--term", str(assigned_term.folder)], cwd=ROOT
        )
        assert ready.returncode == 0
    before = state(assigned_term.folder)

    def full_disk():
        resource.setrlimit(resource.RLIMIT_FSIZE, (300, 300))

    env = {**os.environ, "PYTHONDONTWRITEBYTECODE": "1"}
    ran = subprocess.run(
        [sys.executable, "-m", "grader", *words, "--term", str(assigned_term.folder)],
        cwd=ROOT, env=env, preexec_fn=full_disk, capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert ran.returncode == 2 and "could not be written" in ran.stderr and one_sentence(ran.stderr), ran.stderr
    after = state(assigned_term.folder)
    assert {name: after[name] for name in before if name != "gradebook.db"} == {
        name: digest for name, digest in before.items() if name != "gradebook.db"
    }
    assert verify.verify(assigned_term).findings == []
    again = subprocess.run([sys.executable, "-m", "grader", *words, "--term", str(assigned_term.folder)], cwd=ROOT)
    assert again.returncode == 0
    assert verify.verify(assigned_term).findings == []


def test_a_read_only_folder(call, assigned_term):
    put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, "t01")))
    before = state(assigned_term.folder)
    everything = [assigned_term.folder, *assigned_term.folder.rglob("*")]
    for path in everything:
        path.chmod(0o555 if path.is_dir() else 0o444)
    for parent in (p for p in assigned_term.folder.parents if "pytest-of-" in str(p)):
        parent.chmod(0o755)
    for words in (["collect"], ["export", "grades"]):
        with an_ordinary_user():
            code, _, err = call(*words, "--term", assigned_term.folder)
        assert code == 2 and "could not be written" in err and one_sentence(err), (words, err)
    for path in everything:
        path.chmod(0o755 if path.is_dir() else 0o644)
    assert state(assigned_term.folder) == before


def test_what_the_machine_refuses_unforeseen(call, assigned_term, monkeypatch):
    """A refusal of the machine that nobody foresaw names the file and the reason, without lines of the program."""

    def refused(term):
        raise PermissionError(13, "Permission denied", "/somewhere/lost.csv")

    monkeypatch.setattr(overview, "lines", refused)
    code, _, err = call("term", "show", "--term", assigned_term.folder)
    assert code == 2 and err.startswith("/somewhere/lost.csv: Permission denied.") and one_sentence(err)


def test_help_for_every_command(call):
    code, out, _ = call("--help")
    assert code == 0 and "assign" in out
    for words in (
        ["demo"],
        ["assign"],
        ["collect"],
        ["mark"],
        ["export"],
        ["term"],
        ["roster"],
        ["release"],
        ["check"],
    ):
        code, out, _ = call(*words, "--help")
        assert code == 0 and len(out) > 100


def test_the_papers_of_every_module_in_one_run(call, assigned_term):
    """Marking a term of two modules with --papers writes the papers of both, and says how many of each."""
    assert call("assign", "m02_dwell", "--term", assigned_term.folder)[0] == 0
    for module in ("m01_timing", "m02_dwell"):
        put_in_inbox(assigned_term, right_sheet(issue_of(assigned_term, "t01", module)))
    assert call("collect", "--term", assigned_term.folder)[0] == 0
    code, out, err = call("mark", "--papers", "--term", assigned_term.folder)
    assert (code, err) == (0, "")
    for module in ("m01_timing", "m02_dwell"):
        assert f"{module}: 1 papers in submitted/ and autograded/." in out
        assert (assigned_term.folder / "autograded" / "t01" / module / f"{module}.ipynb").is_file()
