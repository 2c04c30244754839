"""The settings file that nbgrader reads in a term folder; all that it holds is where our own settings are."""

from __future__ import annotations

from pathlib import Path

from grader import files

NAME = "nbgrader_config.py"
_BEGINS = "# Made by Timing Mark"
_TEXT = """\
# Made by Timing Mark for nbgrader; settings belong into term.toml.
import os

from grader.course.formgrader.autograde import configure

configure(get_config(), os.path.dirname(os.path.abspath(__file__)))
"""


def write(folder: str | Path) -> bool:
    """Write nbgrader_config.py anew, unless a person made his own; says whether it was written."""
    path = Path(folder) / NAME
    try:
        before = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        before = "" if not path.exists() else "unreadable"
    if before == _TEXT or before and not before.startswith(_BEGINS):
        return False
    files.write_text(path, _TEXT)
    return True
