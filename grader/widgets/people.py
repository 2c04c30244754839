"""Where a lesson lies and who works there: on a shared machine each has numbers and answers of his own."""

import os
import shutil
import time
import unicodedata
from dataclasses import dataclass, replace
from pathlib import Path

from grader import files, paths
from grader.errors import CannotWrite, Refused, TimingMarkError
from grader.exercise import hand_in, issued, practice
from grader.exercise import sheet as sheets
from grader.exercise.issued import Issued, Shared
from grader.exercise.model import Module

LONGEST_NAME = 60
EACH = "own"  # holds a folder for each trainee where many share one lesson
ALL_NAME = "issued-to-all.json"  # the numbers of many, once a trainee has taken his own
STILL_HERE_S = 900  # a page opened again this soon after the last keystroke belongs to the same person


@dataclass(frozen=True, slots=True)
class Place:
    """A folder for answers, and whether they may be saved there."""

    folder: Path
    may_save: bool
    why_not: str = ""


def lesson_folder() -> Path:
    """The folder of the open notebook, else the current one."""
    session = os.environ.get("JPY_SESSION_NAME", "")
    parent = Path(session).parent if session else None
    return parent if parent is not None and parent.is_absolute() and parent.is_dir() else Path.cwd()


def being_graded() -> bool:
    """True while nbgrader executes the notebook to mark it."""
    return os.environ.get("NBGRADER_EXECUTION") == "autograde"


def being_executed() -> bool:
    """True while nbgrader executes the notebook for whatever reason: nobody looks at it."""
    return bool(os.environ.get("NBGRADER_EXECUTION"))


def place(folder: Path | str | None = None) -> Place:
    """Where the lesson lies; answers are saved only beside numbers that were issued or a practice marker."""
    folder = Path(folder) if folder is not None else lesson_folder()
    if being_executed():
        return Place(folder, False, "The lesson is being marked.")
    for home in (paths.solutions(), paths.lessons()):
        if folder.resolve().is_relative_to(home):
            return Place(folder, False, "This is the project's own copy. Open the lesson with 'timing-mark study'.")
    if not (folder / issued.NAME).is_file() and not (folder / practice.NAME).is_file():
        return Place(
            folder, False, "No numbers were issued into this folder. Open the lesson with 'timing-mark study'."
        )
    return Place(folder, True)


class People:
    """Who works in a lesson's folder.

    `marker` is the practice file of the present trainee, None where an instructor
    issued the numbers. `shared` holds the numbers of many where one folder serves
    them all. `waiting` is True while nobody has said who he is. `due_before` is the due
    time that a lesson had when it was fetched, where the exchange has another one since.
    """

    def __init__(self, module: Module, home: Place) -> None:
        self.module = module
        self.home = self.place = home
        self.marker = self.owner = self.shared = None
        self.waiting = False
        self.due_before = ""
        path = home.folder / practice.NAME
        if (home.folder / issued.NAME).is_file():
            self.shared = issued.read_shared(home.folder / issued.NAME)
            if self.shared is not None:
                # Never the one who typed here last: another's assessed answers would be read, and written over.
                self.waiting = True
                why = "Type your id at the top first." if home.may_save else home.why_not
                self.place = Place(home.folder, False, why)
            else:
                self._follow_due()
        elif path.is_file():
            self.marker = self.owner = practice.read(path)
            self._resume()

    @property
    def names(self) -> tuple[str, ...]:
        """Everybody who practises here, the owner of the folder first."""
        return (self.owner.name, *self.owner.others) if self.owner else ()

    def choose(self, name: str, *, mine: bool = False) -> Place:
        """The place of another trainee; `mine` puts a name on work that has none.

        Raises
        ------
        Refused
            No name, or one that cannot be told from another's; or the numbers were
            issued to one trainee.
        CannotWrite
            Nothing was changed.
        """
        name = unicodedata.normalize("NFC", " ".join(name.split()))
        if self.shared is not None:
            return self._choose_shared(self.shared, name)
        if self.owner is None or not self.home.may_save:
            raise Refused(
                "The numbers here were issued to one trainee by name. Open your own hand-out; nobody else's answers "
                "can go in here."
            )
        if not name or len(name) > LONGEST_NAME:
            raise Refused(f"A name of 1 to {LONGEST_NAME} letters is needed.")
        if mine and not self.owner.name:
            self._write_owner(replace(self.owner, name=name))
        if self._is_owner(name):
            self._write_owner(replace(self.owner, rest={**self.owner.rest, "last": self.owner.name}))
            folder, marker = self.home.folder, self.owner
        else:
            folder, marker = self._other(name)
            others = self.owner.others if marker.name in self.owner.others else (*self.owner.others, marker.name)
            self._write_owner(replace(self.owner, others=others, rest={**self.owner.rest, "last": marker.name}))
        return self._be(folder, marker)

    def later_attempt(self) -> tuple[Issued, Shared] | None:
        """A later attempt that lies in the exchange from which this folder was fetched, or None.

        nbgrader never fetches into a folder that is there, so the old one would stand in its way.

        Returns
        -------
        (Issued, Shared) or None
        """
        found = self._in_exchange()
        if found is None:
            return None
        mine, newest, there = found
        return (newest, there) if newest.attempt > mine.attempt else None

    def _in_exchange(self) -> tuple[Issued, Issued, Shared] | None:
        """(what is worked on here, the same trainee's newest in the exchange it was fetched from, that whole file)."""
        kept = self.home.folder / ALL_NAME
        if self.marker is not None or self.waiting or not self.home.may_save or not kept.is_file():
            return None
        try:
            taken = issued.read_shared(kept)
            if taken is None or not taken.source or not taken.taken:
                return None
            there = issued.read_shared(Path(taken.source) / issued.NAME)
            if there is None:  # an exchange that gives each his own numbers
                return None
            there = replace(there, taken=taken.taken)
            mine = issued.read(self.home.folder / issued.NAME)
            newest = there.newest(mine)
        except (TimingMarkError, OSError):
            return None  # no exchange in reach, or nothing that can be read: the work at hand goes on
        return None if newest is None else (mine, newest, there)

    def _follow_due(self) -> None:
        """Take over another due time of the same numbers from the exchange; where it cannot be written the old one stays."""
        found = self._in_exchange()
        if found is None:
            return
        mine, newest, there = found
        if (mine.attempt, mine.exercises) != (newest.attempt, newest.exercises) or mine.due == newest.due:
            return
        try:
            files.write_bytes(self.home.folder / ALL_NAME, issued.dump_shared(there))
            files.write_bytes(self.home.folder / issued.NAME, issued.dump(newest))
        except CannotWrite:
            return
        self.due_before = mine.due

    def begin_later(self) -> Path:
        """Go on with the later attempt; all of the former one is kept in a folder beside this one.

        Returns
        -------
        Path
            Where the former attempt lies now.

        Raises
        ------
        Refused
            There is none, or something stands in the way.
        CannotWrite
            The former attempt stands where it was.
        """
        found = self.later_attempt()
        if found is None:
            raise Refused(
                "There is no further attempt to begin. Reload the page; if one was promised, ask your instructor."
            )
        record, there = found
        folder = self.home.folder
        former = issued.read(folder / issued.NAME)
        kept = folder.with_name(f"{folder.name}-attempt-{former.attempt}")
        if kept.exists():
            raise Refused(f"{kept} is there already. Give it another name, then begin again; nothing was changed.")
        half = folder.with_name(f".{kept.name}-copying")
        try:
            shutil.rmtree(half, ignore_errors=True)
            shutil.copytree(folder, half)
            (half / ALL_NAME).unlink()  # what lies there is done: it asks for no later attempt
            half.rename(kept)
        except (OSError, shutil.Error) as problem:
            raise CannotWrite(
                f"Your attempt {former.attempt} could not be kept as {kept}: {problem}. Nothing was changed; ask your instructor."
            ) from None
        files.write_bytes(folder / ALL_NAME, issued.dump_shared(there))
        files.write_bytes(folder / issued.NAME, issued.dump(record))
        for name in (sheets.NAME, f"{sheets.NAME}.bak", hand_in.zip_name(former)):
            (folder / name).unlink(missing_ok=True)
        return kept

    def _choose_shared(self, shared, typed):
        """The place of whoever types his id: his own copy of the folder, or a folder of his own inside it."""
        if being_executed():
            raise Refused("The lesson is being marked.")
        record = shared.of(typed)
        folder = self.home.folder
        if shared.own_copy:
            files.write_bytes(folder / ALL_NAME, issued.dump_shared(shared.taken_by(typed)))
        else:
            folder = folder / EACH / practice.folder_name(record.trainee)
            folder = folder / f"attempt-{record.attempt}" if record.attempt > 1 else folder
            kept = folder / issued.NAME
            if kept.is_file() and issued.read(kept).exercises != record.exercises:
                raise Refused(f"{folder} holds other numbers than were issued to you. Show this to your instructor.")
        files.write_bytes(folder / issued.NAME, issued.dump(record))
        self.shared = None if shared.own_copy else shared
        return self._be(folder, None)

    def _other(self, name):
        folder = self._folder_of(name)
        path = folder / practice.NAME
        if (folder / issued.NAME).exists():
            raise Refused(f"{folder} holds numbers that an instructor issued. Choose another name for practice.")
        if not path.exists():
            marker = practice.new(name)
            practice.write(path, marker)
            return folder, marker
        marker = practice.read(path)
        if marker.name and marker.name.casefold() != name.casefold():
            raise Refused(
                f"{folder} holds the work of {marker.name}. Choose a name that differs in letters or figures."
            )
        return folder, replace(marker, name=marker.name or name)

    def _folder_of(self, name):
        """Beside the owner's own folder where 'study' made it, so that 'study --name' finds it; else inside."""
        own = self.home.folder
        if (own.parent / ".timing-mark").is_dir() and own.name == self.module.key:
            return own.parent.parent / practice.folder_name(name) / own.name
        return own / "others" / practice.folder_name(name)

    def _is_owner(self, name):
        return (
            self.owner is not None
            and bool(self.owner.name)
            and practice.folder_name(name) == practice.folder_name(self.owner.name)
        )

    def _resume(self):
        """Go on with the last one only if he was here just now; otherwise ask."""
        if self.owner is None or not self.owner.others or not self.home.may_save:
            return
        last = self.owner.rest.get("last")
        if isinstance(last, str) and last in self.names:
            folder = self.home.folder if self._is_owner(last) or not last else self._folder_of(last)
            try:
                recent = time.time() - (folder / sheets.NAME).stat().st_mtime < STILL_HERE_S
            except OSError:
                recent = False
            if recent:
                self._be(folder, practice.read(folder / practice.NAME))
                return
        self.waiting = True
        self.place = Place(self.home.folder, False, "Choose your name at the top first.")

    def _be(self, folder, marker):
        self.waiting = False
        self.marker = marker
        self.place = Place(folder, True)
        return self.place

    def _write_owner(self, owner):
        practice.write(self.home.folder / practice.NAME, owner)
        self.owner = owner
