"""Where the checkout keeps its lessons, solutions and tables."""

from functools import cache
from pathlib import Path

from grader.errors import Unknown


@cache
def checkout():
    """The folder that holds solutions/, lessons/ and datasets/.

    Raises
    ------
    Unknown
        The package was installed without them.
    """
    root = Path(__file__).resolve().parent.parent
    if not (root / "datasets").is_dir() or not (root / "solutions").is_dir():
        raise Unknown(
            f"No solutions/ and datasets/ beside {root / 'grader'}. Timing Mark runs from a checkout: "
            "get the whole project and install it with 'pip install -r requirements.txt'."
        )
    return root


def datasets():
    return checkout() / "datasets"


def solutions():
    return checkout() / "solutions"


def lessons():
    return checkout() / "lessons"
