"""The README's commands do what it says, in its order, in a fresh home folder."""

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

from grader.published_checks import checks
from grader.published_checks.summary import readme_table
from grader.records.gradebook import release

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
CLASS = "id,last_name,first_name\nT01,Arundell,Bea\nT02,Castellan,Rufus\n"
BLOCKS = re.findall(r"```sh\n(.*?)```", README, re.S)


def commands():
    """Lines of the README's command blocks that a user types after setting up."""
    return [line for block in BLOCKS for line in block.splitlines() if line.startswith(("python -m grader", "cd "))]


def test_the_job_comes_first():
    lines = [line for line in README.splitlines() if line.strip()]
    assert lines[0].startswith("# ") and len(lines[1]) > 300 and lines[2].startswith("## ")


def test_two_commands_do_all_the_setting_up():
    set_up = [line for block in BLOCKS for line in block.splitlines() if "-m venv" in line]
    assert [line.rsplit("-m ", 1)[1] for line in set_up] == ["grader demo", "pytest -n 2 --dist loadfile"]
    files = [line.split("-r ")[1].split()[0] for line in set_up]
    assert all((ROOT / name).is_file() for name in files)


def test_every_command_of_the_readme_runs(tmp_path):
    """As typed, one after the other; `study` opens a browser and is tried in the browser tests."""
    (tmp_path / "class.csv").write_text(CLASS, encoding="utf-8")
    env = {**os.environ, "HOME": str(tmp_path), "PYTHONPATH": str(ROOT)}
    env.pop("NBGRADER_EXECUTION", None)
    folder, done = tmp_path, []
    for line in commands():
        words = shlex.split(line.replace("~", str(tmp_path)))
        if words[0] == "cd":
            folder = Path(words[1])
            continue
        if words[3] == "study":
            continue
        ran = subprocess.run(
            [sys.executable, *words[1:]], cwd=folder, env=env, capture_output=True, text=True, timeout=300
        )
        assert ran.returncode == 0, f"{line}\n{ran.stdout}\n{ran.stderr}"
        done.append(words[3])
    assert {"term", "roster", "assign", "collect", "mark", "export"} <= set(done)
    assert (tmp_path / "spring-a" / "exports" / "grades.csv").is_file()


def test_every_command_is_explained_in_the_readme_or_the_guide():
    from typer.main import get_command

    from grader.cli.main import app

    guide = README + (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert [name for name in get_command(app).commands if f"grader {name}" not in guide] == []


def test_the_science_table_is_the_one_the_command_makes():
    shown = README.split("<!-- science -->")[1].split("<!-- end of science -->")[0].strip()
    assert shown == readme_table([checks.run(check) for check in checks.every()]).strip(), (
        "run 'python -m grader check --science --readme'"
    )


def test_the_table_of_modules_is_the_one_the_command_makes():
    shown = README.split(release.README_BEGIN)[1].split(release.README_END)[0].strip()
    assert shown == release.readme_table(), "run 'python -m grader check --exercises --readme'"


def test_pictures_are_there():
    for name in re.findall(r"!\[[^\]]{20,}\]\((\.readme/[^)]+)\)", README):
        assert (ROOT / name).stat().st_size > 10_000
