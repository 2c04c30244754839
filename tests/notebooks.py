"""Running the code of a lesson in this process: fast, for many trainees."""

import contextlib
import functools
import io
import json
import os
from pathlib import Path

import nbformat

from grader.exercise import issued


def cells(path):
    """Code cells of a notebook as (source, nbgrader metadata)."""
    book = nbformat.read(path, as_version=4)
    return [(cell.source, cell.metadata.get("nbgrader", {})) for cell in book.cells if cell.cell_type == "code"]


def run(path, folder, record=None):
    """Execute a lesson as nbgrader would; returns {grade cell: what it returned}, and what went to stderr.

    Parameters
    ----------
    path : path
        The notebook.
    folder : path
        Where it lies for the trainee; receives issued.json.
    record : Issued or None
    """
    folder = Path(folder)
    if record is not None:
        (folder / issued.NAME).write_bytes(issued.dump(record))
    before, errors, found = Path.cwd(), io.StringIO(), {}
    os.environ["NBGRADER_EXECUTION"] = "autograde"
    os.chdir(folder)
    try:
        space = {}
        with contextlib.redirect_stderr(errors):
            for code, name in _compiled(path):
                if name:
                    found[name] = eval(code, space)
                else:
                    exec(code, space)
    finally:
        os.chdir(before)
        del os.environ["NBGRADER_EXECUTION"]
    return found, errors.getvalue()


@functools.cache
def _compiled(path):
    """Each code cell as (code, grade cell's name or None), read and compiled once for all trainees."""
    found = []
    for source, mark in cells(path):
        name = mark["grade_id"] if mark.get("grade") else None
        found.append((compile(source, str(path), "eval" if name else "exec"), name))
    return tuple(found)


def sources(path):
    """The raw notebook as JSON."""
    return json.loads(Path(path).read_text(encoding="utf-8"))
