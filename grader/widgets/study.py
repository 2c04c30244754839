"""A lesson made ready for a trainee: copied or unpacked into his own work folder, never over his work."""

import io
import json
import re
import unicodedata
import zipfile
import zlib
from dataclasses import dataclass, replace
from pathlib import Path

from grader import catalogue, files, paths
from grader.errors import BadFile, Refused, TimingMarkError, Unknown
from grader.exercise import issued, practice
from grader.exercise.model import PRACTICE
from grader.widgets import own_work

LARGEST_HANDOUT = 25_000_000
LARGEST_LESSON = 20_000_000
WORKING = "working"  # tag of a cell for the trainee's own working, which the page does not run
_OWN_CELL = re.compile(  # all that a code cell of a lesson says
    r'from grader\.widgets\.lesson import Lesson\s+lesson = Lesson\("[a-z0-9_]+"\)|lesson\.(top\(\)|(show|mark|panel)\("[A-Za-z0-9_.-]+"\))'
)


@dataclass(frozen=True, slots=True)
class Ready:
    """A lesson that can be opened.

    `root` is the trainee's folder, which holds all his lessons; `notebook` lies in it.
    `fresh` is False where he goes on with work begun before.
    """

    root: Path
    notebook: Path
    module: str
    mode: str
    fresh: bool


def default_folder() -> Path:
    """Where work is kept unless another folder is named."""
    return Path.home() / "timing-mark-work"


def root_of(name: str, *, folder: str | Path | None = None) -> Path:
    """The folder of one trainee among those that hold everybody's work; it need not exist."""
    return _home(folder) / practice.folder_name(_plain(name))


START = "start.ipynb"
_START_CELL = "from grader.widgets.start_page import show\n\nshow()"


def make_start_ready(*, folder: str | Path | None = None, name: str = "") -> Ready:
    """Put the start page, and every lesson for practice, into a trainee's work folder.

    Parameters
    ----------
    folder, name
        As `make_ready` takes them. Without a name: the only person whose work lies there.

    Returns
    -------
    Ready
        With the start page as the notebook.

    Raises
    ------
    Refused
        Several people work there and none is named; or as `make_ready`.
    CannotWrite
        The folder is full, or closed to us.
    """
    name, home = _plain(name), _home(folder)
    people = sorted(path.parent.name for path in home.glob("*/.timing-mark"))
    if not name and len(people) > 1:
        raise Refused(
            f"Several people have work in {home}: {', '.join(people)}. Say whose start page to open, such as "
            f"timing-mark study --name {people[0]}."
        )
    root = home / (practice.folder_name(name) if name or not people else people[0])
    for module in catalogue.keys():
        if (paths.lessons() / module / f"{module}.ipynb").is_file():
            _from_lessons(module, root, name, beside=True)
    cell = {"cell_type": "code", "id": "start", "metadata": _HIDDEN, "source": _START_CELL}
    cell |= {"outputs": [], "execution_count": None}
    kernel = {"display_name": "Python 3", "language": "python", "name": "python3"}
    meta = {"kernelspec": kernel, "timing_mark": {"lesson": "start", "run_on_open": True}}
    book = {"cells": [cell], "metadata": meta, "nbformat": 4, "nbformat_minor": 5}
    files.write_text(root / START, files.to_json(book))
    return Ready(root, root / START, "start page", PRACTICE, True)


_HIDDEN = {"deletable": False, "editable": False, "jupyter": {"source_hidden": True}}


def take_returned(page: str | Path, *, folder: str | Path | None = None, name: str = "") -> Ready:
    """Keep a returned sheet in the folder of the trainee to whom it belongs, and make his start page ready.

    Raises
    ------
    Unknown
        There is no such file.
    BadFile
        It is no returned sheet of one trainee.
    Refused, CannotWrite
        As `make_start_ready`.
    """
    path = Path(page).expanduser()
    if not path.is_file():
        raise Unknown(f"There is no file {path}. Check the path.")
    returned = own_work.read_returned(path)
    if returned is None:
        raise BadFile(f"{path.name} is no returned sheet of one trainee. Name the page that your instructor gave back.")
    name, home = _plain(name) or returned.trainee, _home(folder)
    kept = f"{returned.term}-{returned.module}-{returned.attempt}"
    target = home / practice.folder_name(name) / own_work.RETURNED_HOME / f"{practice.folder_name(kept)}.html"
    files.write_bytes(target, files.read_bytes(path, most=own_work.LARGEST_PAGE, what="The returned sheet"))
    return make_start_ready(folder=folder, name=name)


def _plain(name: str) -> str:
    return " ".join(unicodedata.normalize("NFC", name).split())


def _home(folder: str | Path | None) -> Path:
    """The folder that holds everybody's work."""
    home = Path(folder).expanduser().absolute() if folder else default_folder()
    for ours in (paths.solutions(), paths.lessons()):
        if home.resolve().is_relative_to(ours):
            raise Refused(f"{home} is the project's own folder. Work is kept elsewhere: name another with --folder.")
    return home


def make_ready(target: str, *, folder: Path | str | None = None, name: str = "") -> Ready:
    """Put a lesson, or what a hand-out zip holds, into a trainee's work folder.

    Parameters
    ----------
    target : str
        A module such as m01_timing, or the path of a hand-out: a zip, or a folder
        with the numbers of many.
    folder : path or None
        None: timing-mark-work in the home folder.
    name : str
        Whose work it is; empty: the id in the hand-out, else "trainee".

    Returns
    -------
    Ready

    Raises
    ------
    Unknown
        No such module, and no such file.
    BadFile
        The hand-out cannot be used.
    Refused
        The folder holds other work, or lies in the checkout.
    CannotWrite
        The folder is full, or closed to us.
    """
    name, home = _plain(name), _home(folder)
    if target.lower().endswith(".zip") or "/" in target or "\\" in target:
        path = Path(target).expanduser()
        if not path.exists():
            raise Unknown(f"There is no hand-out {path}. Check the path, or name a module, such as m01_timing.")
        if path.is_dir():
            return _from_shared(path, home)
        return _from_handout(path, home, name)
    return _from_lessons(catalogue.module(target).key, home / practice.folder_name(name), name)


def _from_lessons(module, root, name, *, beside=False):
    """A lesson for practice; `beside`: where issued work of the same lesson can still be put."""
    lesson = paths.lessons() / module / f"{module}.ipynb"
    if not lesson.is_file():
        raise Unknown(f"lessons/ has no {module} yet. In a checkout run 'timing-mark release {module}' first.")
    folder, aside = root / module, root / own_work.PRACTICE_HOME / module
    if not (folder / practice.NAME).exists() and (beside or aside.is_dir() or (folder / issued.NAME).exists()):
        folder = aside
    marker = folder / practice.NAME
    if marker.exists():
        _same_person(marker, name, folder)
    else:
        practice.write(marker, practice.new(name))
    return _put(root, folder, module, PRACTICE, lesson.read_bytes())


def _from_handout(path, home, name):
    record, lesson = _unpack(path)
    try:
        module = catalogue.module(record.module).key
    except Unknown as problem:
        raise BadFile(f"The hand-out is for a module this version does not have. {problem}") from None
    root = home / practice.folder_name(name or record.trainee)
    folder = root / (module if record.attempt == 1 else f"{module}-attempt-{record.attempt}")
    if (folder / practice.NAME).exists():
        raise Refused(f"{folder} holds practice work. Open the hand-out under another --name; nothing was changed.")
    kept = folder / issued.NAME
    if kept.exists():
        before = issued.read(kept)
        if replace(before, due=record.due, token=record.token) != record:
            raise Refused(
                f"{folder} holds other numbers than this hand-out. "
                "Nothing was changed; name another place with --folder."
            )
    else:
        before = None
    if before != record:  # new, or the due time of the same numbers was moved
        files.write_bytes(kept, issued.dump(record))
    return _put(root, folder, module, record.mode, lesson)


def _from_shared(path, home):
    """A folder with the numbers of many: all work in one copy of it, each in a folder of his own inside."""
    if not (path / issued.NAME).is_file():
        raise BadFile(
            f"{path} holds no {issued.NAME}, so it is no hand-out. Name the zip or folder that was handed out."
        )
    shared = issued.read_shared(path / issued.NAME)
    if shared is None:
        raise BadFile(f"{path} holds the numbers of one trainee. Open the zip that the instructor gave out with it.")
    try:
        module = catalogue.module(shared.module).key
    except Unknown as problem:
        raise BadFile(f"The folder is for a module this version does not have. {problem}") from None
    lesson = files.read_bytes(path / f"{module}.ipynb", most=LARGEST_LESSON, what="The lesson")
    cells = files.from_json(lesson, what="The lesson").get("cells")
    _check_cells(cells if isinstance(cells, list) else [], path.name)
    root = home / practice.folder_name(f"class-{shared.term}")
    folder = root / module
    kept = folder / issued.NAME
    before = issued.read_shared(kept) if kept.exists() else None
    if kept.exists() and (before is None or (before.term, before.salt) != (shared.term, shared.salt)):
        raise Refused(
            f"{folder} holds other numbers than {path}. Nothing was changed; name another place with --folder."
        )
    files.write_bytes(kept, issued.dump_shared(shared))  # those who joined since are in the newer one
    modes = {entry.get("mode") for entry in shared.entries.values()}
    return _put(root, folder, module, "/".join(sorted(str(mode) for mode in modes)), lesson)


def _put(root, folder, module, mode, lesson):
    """The notebook is the trainee's as soon as it lies there: his working cells stay."""
    notebook = folder / f"{module}.ipynb"
    fresh = not notebook.exists()
    if fresh:
        files.write_bytes(notebook, lesson)
    probe = root / ".timing-mark" / "opened"
    files.write_text(probe, "")  # says now, in one sentence, that the folder is closed to us
    return Ready(root, notebook, module, mode, fresh)


def _same_person(marker, name, folder):
    try:
        found = practice.read(marker)
    except BadFile as problem:
        raise Refused(f"{problem} Your answers lie in {folder}.") from None
    if name and found.name and found.name.casefold() != name.casefold():
        raise Refused(f"{folder} holds the work of {found.name}. Choose a name that differs in letters or figures.")


def _unpack(path):
    """(Issued, bytes of the notebook) in a hand-out. Nothing is extracted by the archive's own paths."""
    what = "The hand-out"
    archive = files.read_bytes(path, most=LARGEST_HANDOUT, what=what)
    try:
        with zipfile.ZipFile(io.BytesIO(archive)) as packed:
            record = issued.parse(_member(packed, f"*/{issued.NAME}", issued.LARGEST_FILE))
            lesson = _member(packed, f"{record.module}/{record.module}.ipynb", LARGEST_LESSON)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, ValueError) as problem:
        if isinstance(problem, TimingMarkError):
            raise
        raise BadFile(f"{what} is no readable zip archive ({path.name}). Ask the instructor for it again.") from None
    try:
        notebook = json.loads(lesson)
    except ValueError:
        notebook = None
    if not isinstance(notebook, dict) or not isinstance(notebook.get("cells"), list):
        raise BadFile(f"The lesson in {path.name} is no notebook. Ask the instructor for the hand-out again.")
    _check_cells(notebook["cells"], path.name)
    return record, lesson


def _check_cells(cells, name):
    """Refuse a lesson that holds more than a lesson's own calls: the page runs its cells as soon as it opens.

    Anybody can make a zip. Working cells are not run before somebody opens and runs them.
    """
    for cell in cells:
        if not isinstance(cell, dict) or cell.get("cell_type") != "code":
            continue
        tags = cell["metadata"].get("tags") if isinstance(cell.get("metadata"), dict) else None
        if isinstance(tags, list) and WORKING in tags:
            continue
        source = cell.get("source")
        text = "".join(source) if isinstance(source, list) and all(isinstance(s, str) for s in source) else source
        if not isinstance(text, str) or not _OWN_CELL.fullmatch(text.strip()):
            shown = " ".join(str(text).split())[:60]
            raise BadFile(
                f"The lesson in {name} holds a program that no lesson of ours has ({shown!r}) and would be run on this machine. "
                "Nothing was opened. Ask your instructor whether this file is really the hand-out."
            )


def _member(packed, wanted, most):
    """The bytes of the one member of that name; "*" stands for any one folder."""
    names = [info for info in packed.infolist() if _fits(info.filename, wanted)]
    if len(names) != 1:
        raise BadFile(
            f"The hand-out holds {len(names) or 'no'} {wanted.rpartition('/')[2]}; exactly one is needed. "
            "Open the zip itself, as the instructor gave it to you."
        )
    with packed.open(names[0]) as stream:
        content = stream.read(most + 1)  # never trusts the size that the archive claims
    if len(content) > most:
        raise BadFile(
            f"{names[0].filename[:60]} in the hand-out unpacks to more than {most:,} bytes. Ask for it again."
        )
    return content


def _fits(found, wanted):
    folder, _, name = wanted.partition("/")
    parts = found.split("/")
    return len(parts) == 2 and parts[1] == name and folder in ("*", parts[0])
