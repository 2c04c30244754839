"""The house stands, and its inspector sees a planted fault of each kind."""

import shutil
import tomllib
from importlib.metadata import distribution, version
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.house import faults

ROOT = Path(__file__).parent.parent


def test_the_house_stands():
    assert faults(ROOT / "grader") == []


@pytest.mark.parametrize(
    ("file", "text", "said"),
    [
        ("reference/angles.py", "from grader.marking import compare", "not a lower floor"),
        ("reference/timing/advance.py", "from grader.reference.timing import wiring", "imports its peer"),
        ("reference/__init__.py", "from grader.reference import angles", "is not empty"),
        ("cupboard/shelf.py", "x = 1", "room without a floor"),
        ("marking/compare.py", "from grader.modules import m01_timing", "not a lower floor"),
        ("widgets/store.py", "from grader.course import term", "not a lower floor"),
        ("units.py", "import grader.reference.angles", "from the cellar"),
        ("exercise/model.py", "from . import sheet", "relative path"),
        ("cli/main.py", "import nbgrader.api", "outside course/"),
        ("vehicle/spec.py", "\n" * 400, "lines"),
    ],
)
def test_the_inspector_sees(tmp_path, file, text, said):
    house = tmp_path / "grader"
    shutil.copytree(ROOT / "grader", house, ignore=shutil.ignore_patterns("__pycache__", "lab"))
    target = house / file
    target.parent.mkdir(exist_ok=True)
    target.write_text(
        (target.read_text(encoding="utf-8") if target.exists() else "") + "\n" + text + "\n", encoding="utf-8"
    )
    assert [fault for fault in faults(house) if said in fault] != []


def test_a_room_is_not_overfull(tmp_path):
    house = tmp_path / "grader"
    shutil.copytree(ROOT / "grader", house, ignore=shutil.ignore_patterns("__pycache__", "lab"))
    for number in range(11):
        (house / "vehicle" / f"part{number}.py").write_text("x = 1\n", encoding="utf-8")
    already = sum(path.name != "__init__.py" for path in (ROOT / "grader" / "vehicle").glob("*.py"))
    assert f"vehicle/ holds {already + 11} files" in faults(house)


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
