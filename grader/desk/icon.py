"""An icon on the desktop that opens a desk, so that nobody has to find a terminal again."""

from __future__ import annotations

import shlex
import subprocess
import sys
from pathlib import Path

from grader import files
from grader.errors import Refused


def desktop() -> Path:
    """The folder of this user's desktop, as the system names it.

    Raises
    ------
    Refused
        There is none.
    """
    found = Path.home() / "Desktop"
    if sys.platform.startswith("linux"):
        try:
            told = subprocess.run(["xdg-user-dir", "DESKTOP"], capture_output=True, text=True, timeout=5, check=False)
            found = Path(told.stdout.strip() or found)
        except (OSError, subprocess.TimeoutExpired):
            pass
    if not found.is_dir() or found == Path.home():
        raise Refused(f"{found} is no desktop. Make that folder, or open the desk by its command; nothing was written.")
    return found


def write(folder: Path, place: Path | None = None, system: str = sys.platform, *, office: bool = False) -> Path:
    """Write the icon of a desk.

    Parameters
    ----------
    folder : Path
        The term folder.
    place : Path or None
        Where to; None: the desktop.
    system : str
        As `sys.platform` names it.
    office : bool
        It opens the office in the place of the desk.

    Returns
    -------
    Path

    Raises
    ------
    Refused
        No desktop, or a folder whose name a starter cannot carry.
    """
    place = place or desktop()
    name, told = f"Timing Mark {'office ' if office else ''}{folder.name}", str(folder)
    words = ["-m", "grader", "desk", *(["--office"] if office else [])]
    if any(ord(c) < 32 for c in told) or (system == "win32" and any(c in told for c in '"%')):
        raise Refused(
            f"{told!r} holds signs that an icon cannot carry. Give the folder a plain name; nothing was written."
        )
    if system == "win32":
        path = place / f"{name}.cmd"
        content = f'@echo off\r\n"{sys.executable}" {" ".join(words)} "{told}"\r\npause\r\n'
    elif system == "darwin":
        path = place / f"{name}.command"
        content = f"#!/bin/sh\nexec {shlex.join([sys.executable, *words, told])}\n"
    else:
        path = place / f"{name}.desktop"
        line = " ".join(_in_entry(word) for word in (sys.executable, *words, told))
        content = f"[Desktop Entry]\nType=Application\nName={name}\nExec={line}\nTerminal=true\nCategories=Education;\n"
    files.write_text(path, content, mode=0o700)
    return path


def _in_entry(word: str) -> str:
    """A word of a command as the Desktop Entry Specification (freedesktop.org, 1.5, "The Exec key") has it quoted."""
    quoted = "".join(f"\\{c}" if c in '"`$\\' else c for c in word).replace("%", "%%")
    return '"' + quoted.replace("\\", "\\\\") + '"'
