"""The lesson as a notebook: it runs anywhere in silence, and only nbgrader's run shows a mark."""

import shutil

import nbformat
import pytest
from nbclient import NotebookClient

from grader import paths
from grader.errors import Unknown
from grader.exercise import issued, practice
from grader.widgets.answer_store import Store
from grader.widgets.lesson import Lesson
from tests.widgets.conftest import issue_of

ROOMS = {"lessons": paths.lessons, "solutions": paths.solutions}


def run(room, folder):
    """Outputs of a notebook run from top to bottom in a folder: cell id to list."""
    source = ROOMS[room]() / "m01_timing" / "m01_timing.ipynb"
    shutil.copy(source, folder / source.name)
    notebook = nbformat.read(source, as_version=4)
    NotebookClient(notebook, timeout=120, resources={"metadata": {"path": str(folder)}}).execute()
    return {cell["id"]: (cell, cell["outputs"]) for cell in notebook.cells if cell["cell_type"] == "code"}


def earned(exercise):
    """Marks of an exercise that is all right, as nbgrader reads them: what the instructor has still to read counts nothing."""
    return str(float(sum(part.marks for part in exercise.parts if not part.by_person)))


def marks(cells):
    return {
        cell["metadata"]["nbgrader"]["grade_id"]: [output["data"]["text/plain"] for output in outputs]
        for cell, outputs in cells.values()
        if cell["metadata"]["nbgrader"]["grade"]
    }


@pytest.fixture(autouse=True)
def package_in_kernel(monkeypatch):
    monkeypatch.setenv("PYTHONPATH", str(paths.checkout()))


@pytest.mark.parametrize("room", ROOMS)
def test_marked_in_silence(room, module, tmp_path, monkeypatch):
    """A word on stderr would cost the marks, a picture only time."""
    (tmp_path / issued.NAME).write_bytes(issued.dump(issue_of(module)))
    monkeypatch.setenv("NBGRADER_EXECUTION", "autograde")
    cells = run(room, tmp_path)
    assert marks(cells) == {
        exercise.name: [earned(exercise) if room == "solutions" else "0.0"] for exercise in module.exercises
    }
    others = [outputs for cell, outputs in cells.values() if not cell["metadata"]["nbgrader"]["grade"]]
    assert others == [[]] * len(others)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["issued.json", "m01_timing.ipynb"]


@pytest.mark.parametrize("room", ROOMS)
def test_opened_for_practice_it_shows_forms_and_no_marks(room, module, tmp_path):
    practice.write(tmp_path / practice.NAME, practice.new("Ana"))
    whose = (tmp_path / practice.NAME).read_bytes()
    cells = run(room, tmp_path)
    assert set(map(tuple, marks(cells).values())) == {()}
    kinds = [output["output_type"] for _, outputs in cells.values() for output in outputs]
    assert set(kinds) == {"display_data", "execute_result"} or set(kinds) == {"execute_result"}
    views = [
        o for _, outputs in cells.values() for o in outputs if "application/vnd.jupyter.widget-view+json" in o["data"]
    ]
    assert len(views) == len(module.exercises) + 5, "the top, four panels and a form for each exercise"
    saved = Store(module, tmp_path).answers
    assert set(saved) == ({path for _, _, path in module.parts()} if room == "solutions" else set())
    assert (tmp_path / practice.NAME).read_bytes() == whose
    if room == "lessons":
        there = sorted(path.name for path in tmp_path.iterdir())
        assert there == ["m01_timing.ipynb", practice.NAME], "nothing is saved on display alone"


@pytest.mark.parametrize("room", ROOMS)
def test_notebook_keeps_the_contract_of_the_page(room):
    notebook = nbformat.read(ROOMS[room]() / "m01_timing" / "m01_timing.ipynb", as_version=4)
    assert notebook.metadata["timing_mark"] == {"lesson": "m01_timing", "run_on_open": True}
    for cell in notebook.cells:
        if cell["cell_type"] != "code":
            continue
        working = "working" in cell["metadata"].get("tags", [])
        assert cell["metadata"].get("jupyter", {}).get("source_hidden", False) is not working
        assert cell["metadata"]["nbgrader"]["locked"] is not working
        assert cell["outputs"] == []


def test_unknown_names_are_told_in_a_sentence(practice_folder):
    lesson = Lesson("m01_timing", practice_folder)
    for call in (lesson.panel, lesson.show, lesson.mark, lesson.numbers):
        with pytest.raises(Unknown, match="m01_timing has no"):
            call("nothing")
    with pytest.raises(Unknown, match="asks for no"):
        lesson.answer("m01.total.nothing", "1")


def test_answer_of_a_working_cell_reaches_the_form(practice_folder, opened):
    page = opened(practice_folder)
    page.lesson.answer("m01.mark_arc.arc", 12.5, "mm")
    assert page.part("mark_arc.arc").field.value == "12.5"
    assert "Read as <strong>12.5 mm</strong>. Saved." in page.part("mark_arc.arc").echo.value


def test_page_opened_again_frees_its_old_widgets(practice_folder, opened):
    from ipywidgets.widgets.widget import _instances

    opened(practice_folder)
    first = len(_instances)
    opened(practice_folder)
    assert len(_instances) <= first
