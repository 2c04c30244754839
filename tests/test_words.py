"""One concept, one word: what a trainee reads never uses the word that the glossary shuns."""

import ast
import json
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
# ours -> not; "cam angle (dwell)" may stand where a lesson explains the older word
SHUNNED = {
    "initial timing": r"\bbase timing\b",
    "centrifugal advance": r"\bmechanical advance\b",
    "dwell": r"\bcam angle\b(?! \(dwell\))",
    "condenser": r"\bcapacitors?\b",
    "heat range": r"\bheat (value|rating)s?\b",
    "trainee": r"\bstudents?\b",
    "mark": r"\bscores?\b",
    "firing pressure": r"\bignition pressure\b",
}


def strings(path):
    """What is written in a Python file for somebody to read: its strings, docstrings too."""
    nodes = ast.walk(ast.parse(path.read_text(encoding="utf-8")))
    return "\n".join(node.value for node in nodes if isinstance(node, ast.Constant) and isinstance(node.value, str))


def prose(path):
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    return "\n".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "markdown")


def found(text):
    return [f"{hit.group()}: say {ours}" for ours, shun in SHUNNED.items() for hit in re.finditer(shun, text, re.I)]


@pytest.mark.parametrize("path", sorted(ROOT.glob("lessons/*/*.ipynb")), ids=lambda path: path.stem)
def test_a_lesson_says_each_thing_with_one_word(path):
    assert found(prose(path)) == []


@pytest.mark.parametrize("folder", ["modules", "widgets/panels"])
def test_exercises_and_panels_use_the_same_words(folder):
    wrong = {path.name: found(strings(path)) for path in sorted((ROOT / "grader" / folder).rglob("*.py"))}
    assert {name: words for name, words in wrong.items() if words} == {}


def test_a_shunned_word_is_found():
    assert found("The capacitor and the cam angle") == ["cam angle: say dwell", "capacitor: say condenser"]
    assert found("cam angle (dwell)") == []
