"""A term folder: its settings, its key, its place for everything."""

from __future__ import annotations

import os
import re
import secrets
import shlex
import stat
import unicodedata
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from pathlib import Path

from grader import clock, files, paths
from grader.errors import BadFile, Refused, Unknown
from grader.records import config_file, first_seen
from grader.records.term import policy as rules

FORMAT, SCHEMA = "timing-mark term", 1
ID = re.compile(r"[a-z0-9][a-z0-9_-]{0,62}\Z")
BASES = ("mark", "maximum")
FOLDERS = (
    "source",
    "release",
    "submitted",
    "autograded",
    "feedback",
    "out",
    "inbox",
    "handed_in",
    "returned",
    "reports",
    "exports",
    "rosters",
)

_OWNER_ONLY = 0o700

# Windows keeps these names for devices, with any ending.
_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}


@dataclass(frozen=True, slots=True)
class Settings:
    """What term.toml says. Shares are per cent; see the file itself for the words."""

    id: str
    title: str
    zone: str
    database: str
    pass_percent: float
    late_basis: str
    late_percent_per_day: float
    late_days_until_nothing: int
    late_grace_minutes: int
    missing_counts_zero: bool
    attempts: int
    retention_years: int


@dataclass(frozen=True, slots=True)
class Term:
    """One class run, opened. Where it is `read_only` its records refuse to be written, whoever asks."""

    folder: Path
    settings: Settings
    key: bytes
    policy: rules.Policy = rules.DEFAULT
    read_only: bool = False

    @property
    def id(self) -> str:
        return self.settings.id

    def pass_percent(self, module_key: str) -> float | Decimal:
        """Pass mark of a module, per cent."""
        return self.policy.pass_percents.get(module_key, self.settings.pass_percent)

    @property
    def database_url(self) -> str:
        return self.settings.database or f"sqlite:///{self.folder / 'gradebook.db'}"

    def shown(self, moment: datetime) -> str:
        """A moment in the term's zone, for a person."""
        return clock.shown(moment, self.settings.zone)


_TOML = """\
# Settings of one term. Text after # is explanation.
format = "{format}"
schema = {schema}
id = "{id}"                 # never change it: every trainee's numbers depend on it
title = {title}
zone = "{zone}"             # dates without a zone are read and shown in this one
database = {database}               # empty: gradebook.db in this folder; or a PostgreSQL address of its own

[marks]
pass_percent = 60           # decided on the unrounded mark
missing_counts_zero = true  # in totals, and only after the due time

[late]
basis = "mark"              # a day costs a share of the "mark" earned, or of the "maximum"
percent_per_day = 10        # 0: late work costs nothing
days_until_nothing = 7      # later than this many days: no marks
grace_minutes = 0           # not counted as late

[attempts]
allowed = 2                 # the best one counts

[retention]
years = 3                   # after the end of the term
"""


def check_id(text: str, what: str) -> str:
    """A folder-safe id, unchanged.

    Raises
    ------
    Refused
        Letters, marks or names that folders and nbgrader cannot carry.
    """
    if not ID.match(text) or text in _DEVICES:
        raise Refused(
            f"{what} {text[:80]!r} cannot name a folder everywhere. Use small letters a to z, figures, - and _, at most 63, "
            "beginning with a letter or figure."
        )
    return text


def id_for(folder: str | Path) -> str:
    """The id that a folder's name gives: "Spring A" becomes spring-a.

    Raises
    ------
    Refused
        Nothing of the name can stand in an id.
    """
    bare = unicodedata.normalize("NFKD", Path(folder).expanduser().absolute().name).encode("ascii", "ignore").decode()
    return check_id(re.sub(r"[^a-z0-9]+", "-", bare.lower()).strip("-")[:63], "Term id")


def check_new(folder: str | Path, *, term_id: str, zone: str) -> Path:
    """The whole path of a folder in which a term can be made; nothing is made yet.

    Raises
    ------
    Refused
        A bad id, zone or path, or a folder that already holds something.
    """
    folder = Path(folder).expanduser().absolute()
    check_id(term_id, "Term id")
    clock.zone(zone)
    strange = sorted(set(str(folder)) & set("()+[]"))
    if strange:
        raise Refused(
            f"The path {folder} holds {' '.join(strange)}, which nbgrader cannot work with. Choose a path without ( ) + [ ]."
        )
    if folder.resolve().is_relative_to(paths.home()):
        raise Refused(
            f"{folder} lies in the project's own folder, where the class list and the key of the numbers do not belong. "
            f"Choose a folder outside {paths.home()}; nothing was made."
        )
    if (folder / "term.toml").exists():
        raise Refused(f"{folder} already is a term folder. Nothing was changed; choose another folder.")
    if folder.exists() and not folder.is_dir():
        raise Refused(f"{folder} is a file. Nothing was changed; choose a new folder.")
    if folder.exists() and any(folder.iterdir()):
        raise Refused(f"{folder} is not empty. Nothing was changed; choose a new folder.")
    return folder


def create(folder: str | Path, *, term_id: str, title: str, zone: str, database: str = "") -> Term:
    """Make a term folder.

    Parameters
    ----------
    folder : path
        New or empty.
    term_id, title, zone : str
    database : str
        Address of a PostgreSQL database that is this term's alone; empty for a
        file in the folder.

    Returns
    -------
    Term

    Raises
    ------
    Refused
        A bad id, zone or path, or a folder that already holds something.
    CannotWrite
        The disk refuses.
    """
    folder = check_new(folder, term_id=term_id, zone=zone)
    _make(folder)
    close(folder)
    for name in FOLDERS:
        _make(folder / name)
    key = secrets.token_hex(32)
    files.write_text(folder / "term.key", key + "\n", mode=0o600)
    config_file.write(folder)
    # Written last: a folder is a term only when it is complete.
    files.write_text(
        folder / "term.toml",
        _TOML.format(
            format=FORMAT, schema=SCHEMA, id=term_id, title=_quoted(title), zone=zone, database=_quoted(database)
        ),
        mode=0o600 if database else None,  # an address can hold a password
    )
    return open_term(folder)


def open_term(folder: str | Path, *, read_only: bool = False) -> Term:
    """The term in a folder; what lies in its inbox counts as seen from now on.

    Parameters
    ----------
    folder : path
    read_only : bool
        For somebody who may look and change nothing.

    Returns
    -------
    Term

    Raises
    ------
    Unknown
        The folder is no term folder.
    BadFile
        Its settings, policy or key cannot be read; says which line.
    """
    folder = Path(folder).expanduser().absolute()
    if not (folder / "term.toml").is_file():
        raise Unknown(
            f"{folder} is not a term folder: it has no term.toml. Go to the term folder, name it with --term, "
            "or make one with 'timing-mark term new'."
        )
    try:
        content = files.from_toml((folder / "term.toml").read_bytes(), what=str(folder / "term.toml"))
    except OSError as problem:
        raise BadFile(_closed(folder / "term.toml", problem)) from None
    settings, key = _settings(content, folder / "term.toml"), _key(folder / "term.key")
    if files.is_shared(folder):
        os.umask(0o007)  # what nbgrader and the database make there is the group's, too
    first_seen.look(folder / "inbox", settings.id, key)  # here, so that whoever opens a term notes what has come in
    return Term(folder, settings, key, rules.of_folder(folder), read_only)


def close(folder: str | Path) -> bool:
    """Take the term folder away from everybody on the machine but its owner, a group that shared it, too.

    Says whether anything was to be done.

    What lies in it keeps its own modes, so that a copy that is handed out can be read.

    Raises
    ------
    CannotWrite
        The folder is another person's.
    """
    if not open_to_others(folder) and not files.is_shared(folder):
        return False
    try:
        os.chmod(folder, _OWNER_ONLY)
    except OSError as problem:
        raise files.CannotWrite(f"{folder} could not be closed to others: {problem.strerror}. Ask its owner.") from None
    return True


def open_to_others(folder: str | Path) -> list[str]:
    """A sentence if other people on this machine can look into a term folder, with the command that closes it."""
    if os.name == "nt":  # there the folder above decides, and this number says nothing
        return []
    mode = stat.S_IMODE(os.stat(folder).st_mode)
    if mode & (0o007 if files.is_shared(folder) else 0o077) == 0:
        return []
    return [
        f"Other people on this machine can look into {folder} (its mode is {mode:o}): marks, answers and the class list lie "
        f"there. 'timing-mark term upgrade --term {shlex.quote(str(folder))}' closes it."
    ]


def _settings(content, path):
    if content.get("format") != FORMAT:
        raise BadFile(f"{path} is not a Timing Mark term: format says {content.get('format')!r}.")
    if content.get("schema") != SCHEMA:
        raise BadFile(
            f"{path} is of schema {content.get('schema')!r}; this version reads {SCHEMA}. Update Timing Mark."
        )

    def get(table, name, kinds, allowed, good):
        value = (content.get(table, {}) if table else content).get(name)
        if isinstance(value, bool) != (bool in kinds) or not isinstance(value, kinds) or not good(value):
            where = f"[{table}] {name}" if table else name
            raise BadFile(f"{path}: {where} is {value!r}; allowed is {allowed}. Mend it and try again.")
        return value

    number, anything = (int, float), lambda value: True
    settings = Settings(
        id=get("", "id", (str,), "a folder-safe id", ID.match),
        title=get("", "title", (str,), "text", anything),
        zone=get("", "zone", (str,), "an IANA zone", anything),
        database=get("", "database", (str,), "text", anything),
        pass_percent=get("marks", "pass_percent", number, "0 to 100", lambda v: 0 <= v <= 100),
        missing_counts_zero=get("marks", "missing_counts_zero", (bool,), "true or false", anything),
        late_basis=get("late", "basis", (str,), " or ".join(BASES), BASES.__contains__),
        late_percent_per_day=get("late", "percent_per_day", number, "0 to 100", lambda v: 0 <= v <= 100),
        late_days_until_nothing=get("late", "days_until_nothing", (int,), "1 to 366", lambda v: 1 <= v <= 366),
        late_grace_minutes=get("late", "grace_minutes", (int,), "0 to 1440", lambda v: 0 <= v <= 1440),
        attempts=get("attempts", "allowed", (int,), "1 to 9", lambda v: 1 <= v <= 9),
        retention_years=get("retention", "years", (int,), "0 to 100", lambda v: 0 <= v <= 100),
    )
    clock.zone(settings.zone)
    return settings


def _key(path):
    try:
        key = bytes.fromhex(path.read_text(encoding="ascii").strip())
    except FileNotFoundError:
        raise BadFile(f"{path} is missing. Put it back from your copy: without it no numbers can be issued.") from None
    except OSError as problem:
        raise BadFile(_closed(path, problem)) from None
    except ValueError:
        raise BadFile(f"{path} is damaged. Put it back from your copy.") from None
    if len(key) != 32:
        raise BadFile(f"{path} is damaged. Put it back from your copy.")
    return key


def _closed(path, problem):
    return f"{path} cannot be read: {problem.strerror}. Ask its owner to let you read it, or work under his name."


def _quoted(text):
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", " ") + '"'


def _make(folder):
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise files.CannotWrite(
            f"{folder} could not be made: {problem.strerror}. Choose a folder you may write to."
        ) from None
