"""Where exports of a class lie outside its own folder: a deletion names them, and removes them on request.

An export of several classes stands in the folder of the first, or wherever somebody wanted it.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from grader import files
from grader.errors import BadFile

if TYPE_CHECKING:
    from grader.records.term.term import Term

NAME, FORMAT = "exported.json", "timing-mark exports elsewhere"
_LARGEST = 5_000_000


def note(term: Term, paths: Iterable[str | Path]) -> None:
    """Remember files that were written about a class, as far as they lie outside its folder.

    Raises
    ------
    CannotWrite
        The disk refuses.
    """
    own = term.folder.resolve()
    outside = {place for path in paths if not (place := Path(path).resolve()).is_relative_to(own)}
    new = outside - set(places(term))
    if new:
        _write(term, [*places(term), *sorted(new)])


def places(term: Term) -> list[Path]:
    """The files that were noted and are still there, in the order of writing; none where the note is damaged."""
    path = term.folder / NAME
    if not path.exists():
        return []
    try:
        noted = files.from_json(
            files.read_bytes(path, most=_LARGEST, what="The note of exports"), what="The note of exports"
        )
    except BadFile:
        return []
    paths = noted.get("paths")
    named = [Path(text) for text in paths if isinstance(text, str)] if isinstance(paths, list) else []
    return [place for place in named if place.is_file() and not place.is_symlink()]


def tidy(term: Term) -> None:
    """Forget what is no longer there: names of files can hold a person's id."""
    if (term.folder / NAME).exists():
        _write(term, places(term))


def _write(term, paths):
    content = files.to_json({"format": FORMAT, "paths": [str(path) for path in paths]})
    files.write_text(term.folder / NAME, content, mode=files.PRIVATE)
