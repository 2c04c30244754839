"""A term folder is for its owner alone: marks, answers and the class list lie in it."""

import os
import stat
import subprocess
import sys

import pytest

from grader.records.gradebook import setup
from tests.work import export_grades

NOBODY = 65534  # the account without rights that every Unix has


def as_another(path):
    """What another account of this machine gets when it lists and reads: "closed", or "open"."""
    look = f"import os; os.setgroups([]); os.setgid({NOBODY}); os.setuid({NOBODY})\n"
    look += f"try: open({str(path)!r}, 'rb').read(1); print('open')\nexcept PermissionError: print('closed')"
    return subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=True).stdout.strip()


def mode(path):
    return stat.S_IMODE(os.stat(path).st_mode)


@pytest.fixture
def within_reach(tmp_path):
    """A folder into which every account may go, as home folders on many machines are."""
    for folder in (tmp_path, *tmp_path.parents[:3]):
        if (
            folder.owner() == tmp_path.owner()
            and folder != folder.parent
            and folder.name.startswith(("pytest-", "popen-", "test_"))
        ):
            folder.chmod(0o755)
    return tmp_path


def test_a_new_term_is_closed_to_other_accounts(within_reach):
    before = os.umask(0o022)
    try:
        made = setup.new_term(within_reach / "term", term_id="spring", title="Spring", zone="UTC")
    finally:
        os.umask(before)
    assert mode(made.folder) == 0o700
    if os.geteuid() == 0:  # only the superuser can become another account
        for name in ("term.toml", "gradebook.db"):
            assert as_another(made.folder / name) == "closed"
        made.folder.chmod(0o755)
        assert as_another(made.folder / "term.toml") == "open"  # the same look sees what is not closed


def test_an_open_folder_is_named_and_upgrade_closes_it(call, assigned_term):
    folder = assigned_term.folder
    assert "Other people" not in call("term", "show", "--term", folder)[1]
    folder.chmod(0o755)
    assert "Other people on this machine can look into" in call("term", "show", "--term", folder)[1]
    code, out, err = call("term", "verify", "--term", folder)
    assert code == 1 and "term upgrade" in out + err
    assert call("term", "upgrade", "--term", folder)[0] == 0 and mode(folder) == 0o700
    assert call("term", "verify", "--term", folder)[0] == 0


def test_an_export_written_elsewhere_is_for_its_writer_alone(assigned_term, tmp_path):
    assert mode(export_grades(assigned_term, tmp_path / "elsewhere.csv")) == 0o600
