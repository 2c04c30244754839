"""One concept, one word: what a trainee reads never uses the word that the glossary shuns."""

import ast
import json
import re
from pathlib import Path

import pytest

from grader import catalogue

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
# Plain words -> idioms that somebody with little school English does not know
PLAIN = {
    "less power": r"\bpull(s|ed|ing)? badly\b|\bfuel and pull\b",
    "exactly": r"\bto the hair\b",
    "at the manual's idle speed": r"\bidle at the figure\b|\bat the figure or below\b",
    "the timing light shows": r"(?<!timing )\blight show(s|ed)\b",
    "uses more fuel": r"\bdrinks? fuel\b",
    "blame": r"\brun(ning)? (him|her|them|[a-z ]{0,20}shop) down\b",
    "gives several hundred volts": r"\bkicks? with\b",
    "strong spark": r"\bfat spark\b",
    "sometimes": r"\bnow and then\b",
    "left, to spare": r"\bin hand\b",
    "compare with": r"\b[Ll]ay (the|its|each)\b[^.]{0,40}\bagainst\b",
    "make mistakes": r"\berrs?\b",
    "within reach": r"\bextinguisher by\b",
    "thrown away": r"\b(in)?to the bin\b",
    "a long distance": r"\bmany miles\b|\bmileage\b",
}
PLAIN_IN = ("m01_timing", "m02_dwell", "m03_heat_range", "m04_plug_testing", "m05_secondary", "m06_diagnosis")
MEAN_WORDS, MOST_WORDS = 15, 40  # of a sentence: on average, and of any single one


def strings(path):
    """What is written in a Python file for somebody to read: its strings, docstrings too."""
    nodes = ast.walk(ast.parse(path.read_text(encoding="utf-8")))
    return "\n".join(node.value for node in nodes if isinstance(node, ast.Constant) and isinstance(node.value, str))


def prose(path):
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    return "\n".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "markdown")


def sentences(text):
    """Sentences of Markdown or plain text; headings, tables and formulas are none."""
    blocks = re.split(r"\n\s*\n|\n(?=\s*(?:[-*>|#]|\d+\.\s))", text)
    plain = [re.sub(r"^(?:[-*]|\d+\.)\s+", "", block.strip()) for block in blocks]
    told = [block.replace("*", "") for block in plain if block and block[0] not in "#|>"]
    return [one for block in told for one in re.split(r"(?<=[.!?])[”\")]*\s+", block) if len(one.split()) > 1]


def lengths(texts):
    """(mean words, longest sentence)."""
    every = [one for text in texts for one in sentences(text)]
    counts = [len(one.split()) for one in every]
    return sum(counts) / len(counts), max(every, key=lambda one: len(one.split()))


def told(key):
    """What a trainee reads of a module, by place."""
    module = catalogue.module(key)
    return {
        "lesson": [prose(ROOT / "lessons" / key / f"{key}.ipynb")],
        "exercises": [exercise.text for exercise in module.exercises],
        "feedback": [slip.says for _, part, _ in module.parts() for slip in part.slips],
    }


def found(text, shunned=SHUNNED):
    return [f"{hit.group()}: say {ours}" for ours, shun in shunned.items() for hit in re.finditer(shun, text, re.I)]


@pytest.mark.parametrize("path", sorted(ROOT.glob("lessons/*/*.ipynb")), ids=lambda path: path.stem)
def test_a_lesson_says_each_thing_with_one_word(path):
    assert found(prose(path)) == []


@pytest.mark.parametrize("folder", ["modules", "widgets/panels"])
def test_exercises_and_panels_use_the_same_words(folder):
    wrong = {path.name: found(strings(path)) for path in sorted((ROOT / "grader" / folder).rglob("*.py"))}
    assert {name: words for name, words in wrong.items() if words} == {}


@pytest.mark.parametrize("key", catalogue.all_modules())
@pytest.mark.parametrize("place", ["lesson", "exercises", "feedback"])
def test_sentences_are_short(key, place):
    """Somebody who reads English as a second language, with dirty hands, gets it at the first reading."""
    mean, longest = lengths(told(key)[place])
    assert mean <= MEAN_WORDS
    assert len(longest.split()) <= MOST_WORDS, longest


@pytest.mark.parametrize("key", PLAIN_IN)
def test_plain_words_stand_where_idioms_would(key):
    """Lesson, exercises, slips, signs, options and model answers of a module, and its panels."""
    folder = key.partition("_")[2]
    code = [*(ROOT / "grader" / "modules" / folder).glob("*.py"), ROOT / "grader" / "modules" / f"{key}.py"]
    code += [*(ROOT / "grader" / "widgets" / "panels" / folder).glob("*.py")]
    assert len(code) > 5
    texts = [prose(ROOT / "lessons" / key / f"{key}.ipynb"), *map(strings, code)]
    assert [hit for text in texts for hit in found(text, PLAIN)] == []


def test_an_idiom_is_found():
    assert found("It pulls badly, and the light shows 8°.", PLAIN) == [
        "pulls badly: say less power", "light shows: say the timing light shows",
    ]  # fmt: skip
    assert found("The timing light shows 8°.", PLAIN) == []


def test_sentences_are_told_from_headings_tables_and_formulas():
    text = (
        "## A long heading here\n\nOne two three. Four five?\n\n- six seven\n- eight nine ten\n\n> x = a + b\n\n| a b |"
    )
    assert sentences(text) == ["One two three.", "Four five?", "six seven", "eight nine ten"]
    assert lengths(["a " * 40 + "end."])[0] > MEAN_WORDS


def test_a_shunned_word_is_found():
    assert found("The capacitor and the cam angle") == ["cam angle: say dwell", "capacitor: say condenser"]
    assert found("cam angle (dwell)") == []
