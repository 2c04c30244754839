"""Public functions have types; those of the reference say their units, shapes, errors and source, which exists."""

import ast
import re
from pathlib import Path

import pytest

from grader.sources import HOW, WORKS

GRADER = Path(__file__).parent.parent / "grader"
ROOM = GRADER / "reference"


def public_functions():
    for path in sorted(ROOM.rglob("*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                yield pytest.param(node, id=f"{path.stem}.{node.name}")


def section(text, title):
    """The body under a numpydoc heading."""
    match = re.search(rf"^{title}\n-+\n(.*?)(?=^\w[^\n]*\n-+\n|\Z)", text, re.MULTILINE | re.DOTALL)
    return match.group(1) if match else ""


@pytest.mark.parametrize("node", list(public_functions()))
def test_docstring(node):
    text = ast.get_docstring(node)
    assert text and not text.startswith(" ") and text.split("\n")[0].endswith("."), "first line is one sentence"
    arguments = [argument.arg for argument in node.args.posonlyargs + node.args.args + node.args.kwonlyargs]
    parameters = section(text, "Parameters")
    described = re.findall(r"^([\w, ]+?) : (.+)$", parameters, re.MULTILINE)
    names = [name for group, _ in described for name in re.split(r",\s*", group)]
    assert names == arguments
    for name, kind in described:
        assert re.search(r"\[[^\]]+\]$", kind) or re.match(r"(str|bool|int)\b", kind), f"{name} has no [unit]: {kind}"
    assert re.search(r"\[[^\]]+\]|bool|str", section(text, "Returns")), "no unit in Returns"
    assert re.match(r"\w+", section(text, "Raises")), "no Raises"
    cited = re.findall(r"Source: ([\w-]+)", section(text, "Notes"))
    assert cited, "no Source in Notes"
    assert [key for key in cited if key not in WORKS] == []


def test_works_are_cited_with_how_they_are_known():
    assert {work.how for work in WORKS.values()} <= set(HOW)
    assert [key for key, work in WORKS.items() if not work.reference.endswith(".")] == []


def callables(body, owner=""):
    """(name, function) of all that others call: functions and methods, and how an object is made."""
    for node in body:
        if isinstance(node, ast.ClassDef):
            yield from callables(node.body, f"{owner}{node.name}.")
        elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            if not node.name.startswith("_") or node.name in ("__init__", "__call__"):
                yield f"{owner}{node.name}", node


def untyped(node):
    """What has no type in a function: its parameters, and "return"."""
    named = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    rest = [argument for argument in (node.args.vararg, node.args.kwarg) if argument]
    bare = [a.arg for a in (*named, *rest) if a.annotation is None and a.arg not in ("self", "cls")]
    return bare + ["return"] * (node.returns is None and node.name != "__init__")


def test_whoever_calls_a_public_function_can_read_its_types():
    """Exercises of earlier versions are left as they were released."""
    bare = [
        f"{path.relative_to(GRADER)}:{node.lineno} {name}: {', '.join(untyped(node))}"
        for path in sorted(GRADER.rglob("*.py"))
        if "old" not in path.relative_to(GRADER).parts
        for name, node in callables(ast.parse(path.read_text(encoding="utf-8")).body)
        if untyped(node)
    ]
    assert bare == []


def test_a_function_without_types_is_found():
    code = "class Coil:\n    def charge(self, ms, *, volts: float = 12.0, **more): ...\ndef _own(x): ...\ndef f(a: int) -> None: ..."
    found = {name: untyped(node) for name, node in callables(ast.parse(code).body)}
    assert found == {"Coil.charge": ["ms", "more", "return"], "f": []}
