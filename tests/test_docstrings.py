"""Public reference functions say their units, shapes, errors and source, and the source exists."""

import ast
import re
from pathlib import Path

import pytest

from grader.sources import HOW, WORKS

ROOM = Path(__file__).parent.parent / "grader" / "reference"


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
