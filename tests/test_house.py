"""The house stands, and its contracts see a planted fault of each kind."""

import json
import os
import re
import shutil
import subprocess
import sys
import tomllib
from graphlib import TopologicalSorter
from importlib.metadata import distribution, version
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from grader.widgets import answer_store

ROOT = Path(__file__).parent.parent
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def judged(folder):
    """What import-linter says of the package in a folder, under the contracts of pyproject.toml."""
    run = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command; lint_imports_command()",
         "--no-cache", "--config", str(ROOT / "pyproject.toml")],
        cwd=folder, env={**os.environ, "PYTHONPATH": str(folder), "COLUMNS": "200"}, capture_output=True, text=True,
    )  # fmt: skip
    return run.returncode, run.stdout + run.stderr


def test_the_house_stands():
    code, told = judged(ROOT)
    assert code == 0, told


@pytest.mark.parametrize(
    ("file", "text", "broken"),
    [
        ("reference/angles.py", "from grader.marking import compare", "The house"),
        ("reference/timing/advance.py", "from grader.reference.timing import induction", "are peers"),
        ("cupboard/shelf.py", "x = 1", "The house"),
        ("course/cupboard.py", "x = 1", "inside course"),
        ("records/cupboard.py", "x = 1", "inside records"),
        ("reports/cupboard.py", "x = 1", "inside reports"),
        ("marking/compare.py", "from grader.modules import m01_timing", "The house"),
        ("widgets/answer_store.py", "from grader.course.issue import assign", "The house"),
        ("records/ledger.py", "from grader.records.term import roster", "inside records"),
        ("course/attempts/lateness.py", "from grader.course.grading import settle", "inside course"),
        ("reports/tables/scope.py", "from grader.reports.export import layout", "inside reports"),
        ("units.py", "import grader.reference.angles", "The house"),
        ("cli/main.py", "import nbgrader.api", "nbgrader's words"),
    ],
)
@pytest.mark.campaign
def test_the_contracts_see(tmp_path, file, text, broken):
    house = tmp_path / "grader"
    shutil.copytree(ROOT / "grader", house, ignore=shutil.ignore_patterns("__pycache__", "lab"))
    target = house / file
    if not target.parent.exists():
        target.parent.mkdir()
        (target.parent / "__init__.py").touch()
    target.write_text((target.read_text(encoding="utf-8") if target.exists() else "") + f"\n{text}\n", encoding="utf-8")
    code, told = judged(tmp_path)
    assert code == 1 and any(broken in line and "BROKEN" in line for line in told.splitlines()), told


def test_the_version_is_told_alike_everywhere():
    """What a trainee's file, the page and the list of changes call this version is what is installed."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"]
    page = ROOT / "grader" / "widgets" / "lab" / "labextensions" / "timing-mark" / "package.json"
    assert json.loads(page.read_text(encoding="utf-8"))["version"] == project
    assert f"timing-mark {project}".startswith(answer_store.MADE_WITH)
    changes = (ROOT / ".github" / "CHANGELOG.md").read_text(encoding="utf-8")
    assert re.findall(r"^## (.*)$", changes, re.M)[0] == project


def test_the_files_of_the_lessons_page_import_no_circle():
    """A file of the page can be read, and tried, with nothing but what it imports."""
    folder = ROOT / "grader" / "widgets" / "lab" / "labextensions" / "timing-mark" / "static"
    imports = {
        path.name: set(re.findall(r'(?:from "\./|import\(`\$\{home\})([\w.]+)', path.read_text(encoding="utf-8")))
        for path in folder.glob("*.js")
    }
    assert imports["page.js"] >= {"guard.js", "kernel.js"} and imports["entry.js"] == {"page.js", "names.js"}
    TopologicalSorter(imports).prepare()


def test_the_drawing_of_the_house_is_the_one_of_its_contracts():
    """Whoever opens DEVELOPERS.md finds every room that the contracts name, and no other."""
    drawn = re.findall(r"```\n(.*?)```", DEVELOPERS, re.S)[0]
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"][
        "contracts"
    ]
    rooms = {
        room
        for contract in contracts
        if contract["type"] == "layers"
        for floor in contract["layers"]
        for room in re.split(r"\W+", floor)
    }
    assert sorted(room for room in rooms if not re.search(rf"\b{room}\b", drawn)) == []
    assert sorted(set(re.findall(r"(\w+)/(?=\s)", drawn)) - rooms - {"timing", "spark"}) == []


def test_files_that_developers_are_sent_to_are_there():
    files = [path.relative_to(ROOT).as_posix() for path in ROOT.rglob("*.py") if ".venv" not in path.parts]
    named = {name for name in re.findall(r"`([\w/]+\.py)`", DEVELOPERS) if "mNN" not in name}
    assert sorted(name for name in named if not any(f"/{file}".endswith(f"/{name}") for file in files)) == []
    scripts = set(re.findall(r"python -m tests\.(\w+)", DEVELOPERS))
    assert named and scripts and sorted(name for name in scripts if not (ROOT / "tests" / f"{name}.py").is_file()) == []


def test_importing_a_room_loads_nothing():
    assert [path for path in (ROOT / "grader").rglob("__init__.py") if path.read_text(encoding="utf-8").strip()] == []


def test_top_level_is_as_agreed():
    allowed = {"README.md", "DEVELOPERS.md", "requirements.txt", "lessons", "solutions", "grader", "tests", "datasets",
               "pyproject.toml", "LICENSE"}  # fmt: skip
    ignored = {"timing_mark.egg-info", "build"}
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert found - ignored == allowed


def _pins(path):
    lines = [line.split("#")[0].strip() for line in path.read_text(encoding="utf-8").splitlines()]
    return {
        canonicalize_name(Requirement(line).name): Requirement(line)
        for line in lines
        if line and not line.startswith("-")
    }


def test_every_pin_is_exact_and_installed():
    for path in (ROOT / "requirements.txt", ROOT / "tests" / "requirements.txt"):
        for name, pin in _pins(path).items():
            exact = [s for s in pin.specifier if s.operator == "=="]
            assert len(exact) == 1 and len(pin.specifier) == 1, f"{path.name}: {pin}"
            if pin.marker is None or pin.marker.evaluate():
                assert version(name) == exact[0].version, f"{name} is installed in another version than pinned"


def test_requirements_end_with_the_project_itself():
    lines = [
        line.strip() for line in (ROOT / "requirements.txt").read_text(encoding="utf-8").splitlines() if line.strip()
    ]
    assert lines[-1] == "-e ."


def test_pins_lie_inside_the_ranges_and_cover_every_dependency():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    pins = _pins(ROOT / "requirements.txt")
    for path, listed in (
        ("requirements.txt", project["dependencies"]),
        ("tests/requirements.txt", project["optional-dependencies"]["test"]),
    ):
        here = {**pins, **_pins(ROOT / path)}
        for text in listed:
            wanted = Requirement(text)
            pin = here[canonicalize_name(wanted.name)]
            assert wanted.specifier.contains(next(iter(pin.specifier)).version), f"{path}: {pin} against {wanted}"
    waiting, seen = [canonicalize_name(Requirement(text).name) for text in project["dependencies"]], set()
    while waiting:  # transitive ones too
        name = waiting.pop()
        if name in seen:
            continue
        seen.add(name)
        assert name in pins, f"{name} is needed and not pinned"
        for text in distribution(name).requires or ():
            need = Requirement(text)
            if need.marker is None or need.marker.evaluate({"extra": ""}):
                waiting.append(canonicalize_name(need.name))
