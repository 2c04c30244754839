"""Making a desk ready to be opened: a notebook of one cell in the user's own place, and nothing in the term folder."""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import dataclass
from pathlib import Path

from grader import files, paths
from grader.errors import BadFile

NOTEBOOK = "desk.ipynb"
FOLDER = "folder.json"


@dataclass(frozen=True, slots=True)
class Ready:
    """A desk that can be opened: the root of its server, and its page."""

    root: Path
    notebook: Path

    @property
    def warm(self) -> str:
        """A line of Python that loads what the first screen needs, for a kernel that starts before its page asks."""
        return f"from grader.desk.page import warm; warm({str(self.root)!r}); del warm"


def desks() -> Path:
    """Where desks keep their own things on this machine."""
    return paths.user_data() / "desks"


def folder_meant(folder: Path | None) -> Path:
    """The folder that somebody means: the one he names, else this one where it is a term, else the one used last, else a new one."""
    if folder is not None:
        return folder.expanduser().absolute()
    if Path("term.toml").is_file():
        return Path.cwd()
    before = known()
    return before[0] if before else Path.home() / "timing-mark-class"


def make_ready(folder: str | Path, *, office: bool = False) -> Ready:
    """The desk of a folder.

    Parameters
    ----------
    folder : path
        A term folder, or the place of one that is still to be made.
    office : bool
        For a coordinator who may look and export, and change nothing.

    Returns
    -------
    Ready

    Raises
    ------
    CannotWrite
        The user's own place is full or closed.
    """
    folder = Path(folder).expanduser().absolute()
    root = desks() / (hashlib.sha256(os.fsencode(folder)).hexdigest()[:16] + ("-office" if office else ""))
    notebook = root / NOTEBOOK
    cell = {
        "cell_type": "code",
        "id": "desk",
        "execution_count": None,
        "metadata": {"deletable": False, "editable": False, "jupyter": {"source_hidden": True}},
        "outputs": [],
        "source": [
            "from ipywidgets import Widget\n",
            "\n",
            "from grader.desk.page import Desk\n",
            "\n",
            "Widget.close_all()\n",
            f"desk = Desk({str(folder)!r}, {str(root)!r}{', office=True' if office else ''})\n",
            "desk.load_rest()\n",
            "desk.box",
        ],
    }
    content = {
        "cells": [cell],
        "metadata": {
            "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
            "language_info": {"name": "python"},
            "timing_mark": {"run_on_open": True, "desk": True},
        },
        "nbformat": 4,
        "nbformat_minor": 5,
    }
    root.mkdir(parents=True, exist_ok=True, mode=0o700)
    files.write_text(root / FOLDER, files.to_json({"folder": str(folder)}), mode=files.PRIVATE)
    files.write_text(notebook, json.dumps(content, indent=1) + "\n", mode=files.PRIVATE)
    return Ready(root, notebook)


def known() -> list[Path]:
    """Term folders that had a desk on this machine and are still there, those used last first."""
    found = []
    for path in desks().glob(f"*/{FOLDER}"):
        try:
            said = files.from_json(files.read_bytes(path, most=10_000, what="A desk"), what="A desk")
            folder = Path(said["folder"]) if isinstance(said, dict) else Path()
            if (folder / "term.toml").is_file():
                found.append((path.parent.joinpath(NOTEBOOK).stat().st_mtime, folder))
        except (BadFile, OSError, KeyError, TypeError):
            continue
    return list(dict.fromkeys(folder for _, folder in sorted(found, reverse=True)))
