"""Lessons: made from solutions and from nothing else, stripped, solvable, silent."""

import filecmp
import os

import nbformat
import pytest
from nbclient import NotebookClient

from grader import catalogue, paths
from grader.bench.part import Bench
from grader.exercise import issued, variant
from grader.exercise.kinds import Written
from grader.records.gradebook import release
from tests import notebooks

KEYS = list(catalogue.all_modules())
KEY = bytes(range(32))


def record_of(module, trainee):
    numbers = variant.draw(module, key=KEY, term="spring", trainee=trainee, attempt=1)
    return issued.make(
        module, key=KEY, term="spring", trainee=trainee, attempt=1, mode="assessed", due="", zone="UTC", numbers=numbers
    )


def sure_marks(exercise):
    """What a right answer earns before the instructor has read the written ones."""
    return float(sum(part.marks for part in exercise.parts if not isinstance(part, Written)))


def has_bench(exercise):
    """True where chance has a word in it: the best road at the bench meets readings that scatter."""
    return any(isinstance(part, Bench) for part in exercise.parts)


def solution(key):
    return paths.solutions() / key / f"{key}.ipynb"


def lesson(key):
    return paths.lessons() / key / f"{key}.ipynb"


@pytest.mark.parametrize("key", KEYS)
def test_the_lesson_is_what_release_makes_of_the_solution(key, tmp_path):
    built = release.build(key, tmp_path)
    names = sorted(p.name for p in built.iterdir())
    assert names == sorted(p.name for p in (paths.lessons() / key).iterdir())
    different = [name for name in names if not filecmp.cmp(built / name, paths.lessons() / key / name, shallow=False)]
    assert different == [], "run 'python -m grader release' and commit lessons/"


@pytest.mark.parametrize("key", KEYS)
def test_one_marking_cell_for_each_exercise_with_its_points(key):
    module = catalogue.module(key)
    for path in (solution(key), lesson(key)):
        graded = {m["grade_id"]: m for _, m in notebooks.cells(path) if m.get("grade")}
        assert {name: m["points"] for name, m in graded.items()} == {e.name: e.marks for e in module.exercises}
        assert all(m["locked"] and not m["solution"] for m in graded.values())


@pytest.mark.parametrize("key", KEYS)
def test_every_exercise_is_shown_worked_and_marked(key):
    for source, mark in notebooks.cells(solution(key)):
        if mark.get("grade"):
            assert source == f'lesson.mark("{key.split("_")[0]}.{mark["grade_id"]}")'
    for exercise in catalogue.module(key).exercises:
        sources = [source for source, _ in notebooks.cells(solution(key))]
        assert f'lesson.show("{exercise.key}")' in sources
        for part in exercise.parts:
            assert any(f'lesson.answer("{exercise.key}.{part.key}"' in source for source in sources)


@pytest.mark.parametrize("key", KEYS)
def test_nothing_of_the_solution_is_left_in_the_lesson(key):
    book = notebooks.sources(lesson(key))
    text = "\n".join("".join(cell["source"]) for cell in book["cells"])
    assert "SOLUTION" not in text and "lesson.answer(" not in text and "grader.reference" not in text


@pytest.mark.parametrize(
    "path", [p for key in KEYS for p in (solution(key), lesson(key))], ids=lambda p: f"{p.parts[-3]}-{p.stem}"
)
def test_notebooks_are_stripped_and_valid(path):
    book = notebooks.sources(path)
    nbformat.validate(book)
    for cell in book["cells"]:
        assert not cell.get("outputs") and cell.get("execution_count") is None and not cell.get("attachments")
    assert "widgets" not in book["metadata"]
    assert not [p for p in path.parent.iterdir() if p.name.startswith(("answers.json", "issued.json"))]


@pytest.mark.parametrize("key", KEYS)
@pytest.mark.campaign
def test_the_solved_notebook_earns_everything(key, tmp_path):
    """Of fifty trainees; where cars are diagnosed of ten, which is forty cars."""
    module, shares = catalogue.module(key), []
    for number in range(10 if any(map(has_bench, module.exercises)) else 50):
        folder = tmp_path / str(number)
        folder.mkdir()
        marks, errors = notebooks.run(solution(key), folder, record_of(module, f"t{number:02}"))
        benches = {e.name: marks.pop(e.name) for e in module.exercises if has_bench(e)}
        assert marks == {e.name: sure_marks(e) for e in module.exercises if not has_bench(e)}
        shares += [benches[e.name] / e.marks for e in module.exercises if has_bench(e)]
        assert all(type(value) is float for value in (*marks.values(), *benches.values())) and errors == ""
        assert [p.name for p in folder.iterdir()] == ["issued.json"], "nothing is saved while a notebook is marked"
    assert all(0.4 <= share <= 1 for share in shares), "a reading beside the truth can cost the best road half a car"
    assert not shares or sum(shares) > 0.93 * len(shares)


@pytest.mark.parametrize("key", KEYS)
def test_the_blank_notebook_earns_nothing_and_runs_clean(key, tmp_path):
    module = catalogue.module(key)
    marks, errors = notebooks.run(lesson(key), tmp_path, record_of(module, "t01"))
    assert marks == {e.name: 0.0 for e in module.exercises} and errors == ""


@pytest.mark.parametrize("key", KEYS)
@pytest.mark.parametrize(("which", "earned"), [(solution, True), (lesson, False)], ids=["solved", "blank"])
@pytest.mark.campaign
def test_in_a_real_kernel(key, which, earned, tmp_path, monkeypatch):
    """As nbgrader executes it: a plain number from each marking cell, and no word on standard error."""
    module = catalogue.module(key)
    (tmp_path / issued.NAME).write_bytes(issued.dump(record_of(module, "t07")))
    monkeypatch.setenv("NBGRADER_EXECUTION", "autograde")
    book = nbformat.read(which(key), as_version=4)
    NotebookClient(book, timeout=120, kernel_name="python3", resources={"metadata": {"path": str(tmp_path)}}).execute()
    for cell in book.cells:
        outputs = cell.get("outputs", [])
        assert not [o for o in outputs if o.get("name") == "stderr" or o.output_type == "error"]
        mark = cell.metadata.get("nbgrader", {})
        if mark.get("grade"):
            shown = [o.data["text/plain"] for o in outputs if o.output_type == "execute_result"]
            exercise = next(e for e in module.exercises if e.name == mark["grade_id"])
            if earned and has_bench(exercise):
                assert 0.7 * exercise.marks <= float(*shown) <= exercise.marks
            else:
                assert shown == [str(sure_marks(exercise) if earned else 0.0)]


@pytest.mark.parametrize("key", KEYS)
def test_a_marking_cell_shows_nothing_to_a_trainee(key, tmp_path):
    assert "NBGRADER_EXECUTION" not in os.environ
    from IPython.core.formatters import DisplayFormatter

    from grader.widgets.lesson import Lesson

    opened = Lesson(key, tmp_path)
    value = opened.mark(opened.module.exercises[0].key)
    assert value == 0.0
    assert DisplayFormatter().format(value) == ({}, {})
