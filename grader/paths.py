"""Where things lie: lessons, solutions, tables and guides beside the package or inside it; what a user's machine remembers."""

import os
from functools import cache
from pathlib import Path

import platformdirs

from grader.errors import Unknown

DATA = "TIMING_MARK_DATA"  # names another folder than the system's for data of this user

_PACKAGE = Path(__file__).resolve().parent
_CARRIED = ("lessons", "solutions", "datasets")


@cache
def home() -> Path:
    """The project's own folder, where no class and no trainee's work belongs.

    Returns
    -------
    Path
        The checkout; or the installed package, which carries the same folders.

    Raises
    ------
    Unknown
        They lie in neither.
    """
    for folder in (_PACKAGE, _PACKAGE.parent):
        if all((folder / name).is_dir() for name in _CARRIED):
            return folder
    raise Unknown(
        f"{', '.join(_CARRIED)} lie neither in {_PACKAGE} nor beside it: this copy of Timing Mark is not whole. "
        "Install it again."
    )


def checkout() -> Path:
    """The checkout, for those who work on the project.

    Raises
    ------
    Unknown
        The package is installed without one.
    """
    if home() == _PACKAGE:
        raise Unknown(
            f"Timing Mark is installed in {_PACKAGE}, and what is installed is not changed. Do this in a checkout of the project."
        )
    return home()


def datasets() -> Path:
    return home() / "datasets"


def solutions() -> Path:
    return home() / "solutions"


def lessons() -> Path:
    return home() / "lessons"


def guide(role: str) -> Path:
    return _PACKAGE / "guide" / f"{role}.md"


def user_data() -> Path:
    """Where this user's machine keeps what it remembers of terms, outside their folders."""
    return Path(os.environ.get(DATA) or platformdirs.user_data_path("timing-mark", appauthor=False))
