"""The built package is whole: installed without the checkout it runs the demo, in any folder."""

import os
import shutil
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import pytest

pytestmark = pytest.mark.campaign

ROOT = Path(__file__).parent.parent
CARRIED = ("grader", "lessons", "solutions", "datasets")
ONLY_HERE = {"lessons/README.md"}  # for those who read the checkout


def run(*command, cwd, **env):
    return subprocess.run(
        [str(word) for word in command], cwd=cwd, env=env or None, capture_output=True, text=True, timeout=300
    )


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    """Built from a copy: what an earlier build left in the checkout must not get in."""
    source = tmp_path_factory.mktemp("source")
    for name in CARRIED:
        hidden = shutil.ignore_patterns("__pycache__", ".*", "answers.json*")
        shutil.copytree(ROOT / name, source / name, ignore=hidden)
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, source)
    built = run(
        sys.executable, "-m", "pip", "wheel", "--no-deps", "--no-index", "--no-build-isolation", "-w", "out", ".",
        cwd=source, **os.environ,
    )  # fmt: skip
    assert built.returncode == 0, built.stdout + built.stderr
    return next((source / "out").glob("*.whl"))


def test_the_wheel_carries_every_file_of_the_checkout(wheel):
    source = wheel.parent.parent
    wanted = {
        path.relative_to(source).as_posix() for name in CARRIED for path in (source / name).rglob("*") if path.is_file()
    } - ONLY_HERE
    with zipfile.ZipFile(wheel) as archive:
        names = {name for name in archive.namelist() if ".dist-info/" not in name}
    assert names == {name if name.startswith("grader/") else f"grader/{name}" for name in wanted}


def test_installed_without_the_checkout_it_runs_the_demo(wheel, tmp_path):
    """A college installs the package and no git: the whole month runs, and nothing is taken from here."""
    place = tmp_path / "env"
    venv.create(place, symlinks=True)
    python = place / "bin" / "python"
    site = Path(sysconfig.get_path("purelib", vars={"base": str(place)}))
    # What the project needs comes from this environment; its own .pth files, the checkout's among them, are not read.
    (site / "needed.pth").write_text(sysconfig.get_path("purelib") + "\n", encoding="utf-8")
    away = tmp_path / "away"
    away.mkdir()
    # nbgrader calls the program alembic by name.
    env = {
        "HOME": str(away),
        "PATH": os.pathsep.join((str(place / "bin"), sysconfig.get_path("scripts"), os.environ["PATH"])),
    }
    installed = run(
        sys.executable, "-m", "pip", "--python", python, "install", "--no-deps", "--no-index", wheel, cwd=away, **env
    )
    assert installed.returncode == 0, installed.stdout + installed.stderr
    asked = run(python, "-c", "import grader.paths as p; print(p.__file__, p.home())", cwd=away, **env)
    assert asked.returncode == 0 and all(Path(path).is_relative_to(site) for path in asked.stdout.split()), asked

    ran = run(place / "bin" / "timing-mark", "demo", cwd=away, **env)
    assert ran.returncode == 0 and ran.stderr == "", ran.stdout + ran.stderr
    folder = away / "timing-mark-demo"
    assert (folder / "exports" / "grades.csv").is_file()
    assert f"Next: timing-mark term verify --term {folder}" in ran.stdout
    checked = run(place / "bin" / "timing-mark", "term", "verify", cwd=folder, **env)
    assert checked.returncode == 0, checked.stdout + checked.stderr

    refused = run(place / "bin" / "timing-mark", "release", "m01_timing", cwd=away, **env)
    assert refused.returncode == 2 and "checkout" in refused.stderr and refused.stderr.count("\n") == 1
