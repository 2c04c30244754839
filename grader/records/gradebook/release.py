"""Making lessons/ from solutions/ through nbgrader, built aside and swapped; the table of modules beside them."""

from __future__ import annotations

import os
import shutil
import tempfile
import warnings
from pathlib import Path

from grader import catalogue, files, paths
from grader.errors import CannotWrite, Refused
from grader.records.gradebook.gradebook import CODE_STUB

README_MARK = "modules"


def release(module_key: str) -> Path:
    """Generate lessons/<module>/ anew.

    Returns
    -------
    Path
        The lesson's folder.

    Raises
    ------
    Unknown
        No such module, or no checkout: an installed copy keeps the lessons it came with.
    Refused
        nbgrader could not convert it; the old lesson stands.
    """
    module = catalogue.module(module_key)
    target = paths.checkout() / "lessons" / module.key
    with tempfile.TemporaryDirectory(prefix="lesson-") as aside:
        built = build(module.key, Path(aside))
        try:
            fresh = target.with_name(f".{module.key}.new")
            shutil.rmtree(fresh, ignore_errors=True)
            shutil.copytree(built, fresh)
            if target.exists():
                old = target.with_name(f".{module.key}.old")
                shutil.rmtree(old, ignore_errors=True)
                os.replace(target, old)
                os.replace(fresh, target)
                shutil.rmtree(old)
            else:
                os.replace(fresh, target)
        except OSError as problem:
            raise CannotWrite(f"{target} could not be written: {problem}. The old lesson stands.") from None
    return target


def build(module_key: str, folder: Path) -> Path:
    """Generate a lesson under a folder and return where it lies.

    Raises
    ------
    Refused
        nbgrader could not convert it.
    """
    from traitlets.config import Config

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        from nbgrader.converters import GenerateAssignment
        from nbgrader.coursedir import CourseDirectory

    source = folder / "source" / module_key
    shutil.copytree(
        paths.solutions() / module_key, source, ignore=shutil.ignore_patterns(".*", "answers.json*", "issued.json")
    )
    made = Config()
    made.CourseDirectory.root = str(folder)
    made.CourseDirectory.assignment_id = module_key
    made.ClearSolutions.code_stub = CODE_STUB
    made.GenerateAssignment.no_database = True
    made.GenerateAssignment.force = True
    made.Application.log_level = "ERROR"
    converter = GenerateAssignment(coursedir=CourseDirectory(config=made), config=made)
    # nbgrader leaves this step out only in its own command; it would open a database.
    converter.preprocessors = [step for step in converter.preprocessors if step.__name__ != "SaveCells"]
    try:
        converter.start()
    except (SystemExit, Exception) as problem:  # nbgrader leaves by SystemExit or by its own exceptions
        raise Refused(
            f"The lesson {module_key} could not be made: {str(problem)[:300] or 'nbgrader gave no reason'}"
        ) from None
    return folder / "release" / module_key


def write_readme() -> None:
    """Put the table of modules between its marks in lessons/README.md."""
    files.write_between(paths.checkout() / "lessons" / "README.md", README_MARK, readme_table())


def readme_table() -> str:
    """A Markdown table of the modules and their objectives, one row for each module.

    Returns
    -------
    str
        Minutes, exercises and marks from the catalogue; words of the objectives and
        the unit standards that they prepare for from datasets/objectives.csv.
    """
    lines = ["| module | minutes | exercises | marks | objectives | prepares for |", "|" + "---|" * 6]
    for module in catalogue.all_modules().values():
        mine = [row for row in catalogue.objectives().values() if row["module"] == module.key]
        words = "<br>".join(f"{row['code']} {row['text']}" for row in mine)
        standards = sorted({standard for row in mine for standard in row["unit_standards"].split(";") if standard})
        lines.append(
            f"| `{module.key}` {module.title} | {module.minutes} | {len(module.exercises)} | {module.marks} "
            f"| {words} | {', '.join(standards)} |"
        )
    return "\n".join(lines)
