"""Taking hand-ins: every one is kept by its content, none is changed, none is lost."""

from __future__ import annotations

import difflib
import hashlib
import json
import re
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path

from sqlalchemy import Connection, Row, select

from grader import catalogue, clock, files
from grader.course.attempts import evaluation, kept, lateness
from grader.course.attempts.kept import Arrival
from grader.course.submissions import attachments, incoming
from grader.course.submissions.incoming import Submission
from grader.errors import BadSheet, Refused
from grader.exercise import hand_in
from grader.exercise.model import PRACTICE
from grader.exercise.sheet import Sheet
from grader.marking import confidence
from grader.marking.mark import SheetMark, mark_sheet
from grader.records import adjustments, finding, first_seen, schema, session
from grader.records.adjustments import Adjustments
from grader.records.finding import Finding
from grader.records.gradebook import exchange
from grader.records.term import roster
from grader.records.term.roster import Trainee
from grader.records.term.term import Term

AFTER_RETURN = "arrived after the return; does not count"
# By what the time of arrival is known; the guide states the rule.
STAMP, SAID, SEEN, FILE = "the exchange's stamp", "your word", "the first sight in the inbox", "the file's own time"
_TICK = timedelta(milliseconds=20)  # a disk's clock lags behind the machine's by up to this; it is the same moment
MANY = 0.25  # more than this share of a class late by one arrival: perhaps the files came late, not the work


@dataclass(frozen=True, slots=True)
class Taken:
    """A sheet that was taken: whose, when it came, how many days late, and what that costs in words.

    `receipt` is what the lesson showed its owner, `where` the file, `waits` tells that
    it does not count before somebody decides, or at all, and `by` how its time is known.
    """

    person: Trainee
    module: str
    attempt: int
    received_at: str
    late_days: int
    cost: str
    receipt: str = ""
    where: str = ""
    waits: bool = False
    by: str = ""


@dataclass(slots=True)
class Collected:
    """What a collect did, in sentences and counts. `notes` need nobody to act, `sheets` are those that can be read."""

    taken: int = 0
    known: int = 0
    findings: list = field(default_factory=list)
    notes: list = field(default_factory=list)
    sheets: list[Taken] = field(default_factory=list)

    @property
    def late(self) -> list[Taken]:
        """The sheets that came after their due time."""
        return [sheet for sheet in self.sheets if sheet.late_days]

    def sentence(self) -> str:
        """How many were taken, and who of them is late, by how many days, and what it costs."""
        unread = self.taken - len(self.sheets)
        if not self.late:
            return f"{self.taken} taken{', all on time' if self.sheets and not unread else ''}.{self._times()}"
        rest = f", {unread} that cannot be marked" if unread else ""
        names = "; ".join(f"{s.person.name} {_days(s.late_days)}, {s.cost}" for s in self.late)
        return (
            f"{self.taken} taken: {len(self.sheets) - len(self.late)} on time, {len(self.late)} late ({names}){rest}."
            f"{self._times()}"
        )

    def _times(self) -> str:
        """By what the times of arrival are known."""
        ways = Counter(sheet.by for sheet in self.sheets)
        if not ways:
            return ""
        words = f"{next(iter(ways))}" if len(ways) == 1 else ", ".join(f"{count} by {by}" for by, count in ways.items())
        return f" Time of arrival: {'by ' if len(ways) == 1 else ''}{words}."


@dataclass(frozen=True, slots=True)
class ManyLate:
    """So many of a class are late by one arrival that the files may have come later than the work."""

    module: str
    late: tuple[Trainee, ...]
    of: int

    def __str__(self) -> str:
        names = "; ".join(person.name for person in self.late[:6]) + ("; and others" if len(self.late) > 6 else "")
        return (
            f"{len(self.late)} of {self.of} would be late in {self.module} by this arrival ({names}). If the work came in "
            "before its files did, name the time with --received-at."
        )


def collect(
    term: Term,
    paths: Sequence[str | Path] = (),
    *,
    received_at: datetime | None = None,
    confirm: Callable[[ManyLate], bool] | None = None,
    preview: bool = False,
    progress: Callable[[int, int], object] | None = None,
    doubts: Mapping[Path, exchange.Doubt] | None = None,
) -> Collected:
    """Take hand-ins from the inbox and nbgrader's submitted folder, or from files and folders named.

    The time of a hand-in is the exchange's stamp where it has one, else
    `received_at`, else the earlier of two: when this machine first saw the file in the
    inbox, and when the file came to lie where it lies. What a file says itself of its last change
    is its sender's claim: it never counts, and is told where it would make late work on time.
    Files of the inbox whose work is kept move to its folder `taken`; files that were named stay.

    Parameters
    ----------
    term : Term
    paths : sequence of path
        Empty: the term's inbox and submitted folders.
    received_at : datetime or None
        When all of them arrived.
    confirm : callable or None
        Asked where more than a quarter of a class would be late by this arrival;
        without one, they are.
    preview : bool
        Say what would be taken, and for whom it would be late; nothing is kept.
    progress : callable or None
        Told before each hand-in how many were taken, of how many; what it raises ends it, and what was taken stays.
    doubts : mapping of Path to Doubt or None
        Folders whose hand-ins wait for a decision, and why.

    Returns
    -------
    Collected

    Raises
    ------
    Refused
        A path that does not exist, or it was not confirmed; nothing was taken.
    """
    submitted = term.folder / "submitted"
    roots = [Path(path).expanduser() for path in paths]
    inbox = None if roots else term.folder / "inbox"
    first_seen.look(term.folder / "inbox", term.id, term.key)
    roots = roots or [term.folder / "inbox", *([submitted] if submitted.is_dir() else [])]
    for root in roots:
        if not root.exists() and not root.is_symlink():
            raise Refused(f"{root} does not exist. Nothing was collected; check the path.")
    with session.begin(term, "collecting hand-ins", read_only=preview) as held:
        if not preview:
            files.sweep(term.folder)  # here, because it is often run and nobody else writes meanwhile
        run = _Run(held, received_at, doubts or {})
        held.keep()
        for root in roots:
            without = None if inbox is None else inbox / first_seen.TAKEN
            for together in incoming.find(root, run.outcome.notes, own=root == submitted, without=without):
                for submission in together:
                    run.look_at(submission)
        run.put_in_order()
        if confirm is not None:
            for many in run.many_late():
                if not confirm(many):
                    raise Refused(f"{many} Otherwise take them as late with --yes; nothing was taken.")
        run.take(progress, preview=preview)
        run.say_what_files_claim()
    if inbox is not None and not preview:
        run.tidy(inbox)
    return run.outcome


def collect_exchange(
    term: Term, root: str | Path | None = None, *, confirm: Callable[[ManyLate], bool] | None = None
) -> Collected:
    """Take every hand-in that lies in nbgrader's exchange, with the exchange's stamp.

    Parameters
    ----------
    term : Term
    root : path or None
        Of the exchange; None: where nbgrader's own settings on this machine have it.
    confirm : callable or None
        As for `collect`.

    Returns
    -------
    Collected

    Raises
    ------
    Refused, CannotWrite
        No exchange, nothing handed out there, or it may not be read.
    """
    notes, wrong = [], []
    with exchange.fetched(term, exchange.exchange_config(term, root), notes, wrong) as (folder, doubts):
        outcome = collect(term, [folder], confirm=confirm, doubts=doubts)
    outcome.notes[:0] = notes
    outcome.findings[:0] = [Finding(finding.MISPLACED, where, words) for where, words in wrong]
    return outcome


@dataclass(frozen=True, slots=True)
class _Known:
    """Who and what there is, read once for a run."""

    persons: dict[str, Trainee]
    people: dict[str, str]  # our ids and the college's, in small letters -> our id
    issues: dict[tuple, Row]  # (trainee, module, attempt) -> row of tm_issue
    closed: dict  # of attempts that were returned; see lateness.closed
    withdrawn: frozenset[str]
    decided: Adjustments

    @classmethod
    def read(cls, connection: Connection) -> _Known:
        everyone = roster.everyone(connection)
        people = {person.college_id.casefold(): person.id for person in everyone}
        assigned = schema.assignment
        return cls(
            {person.id: person for person in everyone},
            people | {person.id: person.id for person in everyone},
            {adjustments.owner(row): row for row in connection.execute(select(schema.issue))},
            lateness.closed(connection),
            frozenset(connection.execute(select(assigned.c.module).where(assigned.c.withdrawn != "")).scalars()),
            adjustments.read(connection),
        )


@dataclass(slots=True)
class _Waiting:
    """A submission that was looked at and is to be taken."""

    arrival: Arrival
    content: bytes
    where: str
    sheet: Sheet | None
    stamped: bool
    by: str
    claimed: datetime | None  # when the file says that it was last changed
    doubt: exchange.Doubt | None  # why it waits for a decision, whatever it would replace


class _Run:
    """One collecting under way."""

    def __init__(
        self, held: session.Session, received_at: datetime | None, doubts: Mapping[Path, exchange.Doubt]
    ) -> None:
        self.term, self.connection, self._keep = held.term, held.connection, held.keep
        self.outcome, self._received_at, self._doubts = Collected(), received_at, doubts
        self._seen = first_seen.times(first_seen.path_of(held.term.id, held.term.key))
        self._known = _Known.read(held.connection)
        self._there: dict[tuple, list[Row | Arrival]] = defaultdict(list)
        for row in held.connection.execute(select(schema.hand_in).order_by(schema.hand_in.c.id)):
            self._there[adjustments.owner(row)].append(row)
        self._waiting: list[_Waiting] = []
        self._unsure: list[tuple[Finding, tuple | None, str]] = []  # what is told, whose it may be, its digest
        self._claims: list[tuple[Trainee, str]] = []  # late, though their files say that they are older
        self._came_in: dict[Path, list[tuple | None]] = defaultdict(list)  # file -> what came in it, None: not taken

    def look_at(self, submission: Submission) -> None:
        """Decide whose it is and whether it can be taken; what cannot is told."""
        key = self._look_at(submission)
        for path in (submission.file, *submission.beside):
            if path is not None:
                self._came_in[path].append(key)

    def _is_kept(self, owner: tuple, sha256: str) -> bool:
        return any(row.sha256 == sha256 for row in self._there.get(owner, ()))

    def _is_done(self, owner: tuple, sha256: str) -> bool:
        """Whether nobody needs to look at a file again: its work is kept, and what cannot be read was handed in anew."""
        rows = self._there.get(owner, [])
        place = next((number for number, row in enumerate(rows) if row.sha256 == sha256), None)
        if place is None:
            return False
        return rows[place].kind != schema.UNREADABLE or any(row.usable for row in rows[place:])

    def _look_at(self, submission: Submission) -> tuple | None:
        """(owner, digest) of what is taken, or was before; None where it cannot be."""
        known, where, sheet = self._known, submission.where, submission.sheet
        sha256 = hashlib.sha256(submission.content).hexdigest() if submission.content is not None else ""
        claimed = _claimed_trainee(submission, known)
        words = submission.problem
        if sheet is not None:
            owner = (sheet.trainee, sheet.module, sheet.attempt)
            wrong = _misplaced(self.term, sheet, claimed, known)
            if wrong and sheet.term == self.term.id and self._is_kept(owner, sha256):  # it was put right since then
                self.outcome.known += 1
                return owner, sha256
            if wrong:
                self._unsure.append((Finding(finding.MISPLACED, where, wrong), owner, sha256))
                return owner, sha256
        else:
            owner = _guessed_owner(submission, claimed, known)
            self._unsure.append((Finding(finding.UNREADABLE, where, words), owner, sha256))
            if owner is None:
                return None
        if submission.content is None:
            return None
        vouched = submission.stamp is not None
        if sheet is not None:
            record = known.issues[owner].record
            notes = attachments.notes(self.term, record, sheet, sha256, submission.company)
            for note in notes:
                self._tell(finding.BESIDE, where, note)
            words = " ".join(notes)
            vouched = vouched or attachments.vouches(self.term, record, submission.company)
        came, by = self._arrived(submission)
        arrived = clock.to_text(came)
        barred = sheet is not None and lateness.too_late(known.closed, owner, arrived)
        new = Arrival(
            owner,
            sha256,
            where,
            arrived,
            arrived,
            submission.saved,
            vouched,
            schema.UNREADABLE if sheet is None else schema.AFTER_RETURN if barred else schema.COUNTS,
            words,
            AFTER_RETURN if barred else "",
        )
        stamped = submission.stamp is not None
        claimed = None if stamped or self._received_at else submission.changed
        self._waiting.append(
            _Waiting(new, submission.content, where, sheet, stamped, by, claimed, self._doubt_about(submission))
        )
        return owner, sha256

    def _doubt_about(self, submission: Submission) -> exchange.Doubt | None:
        folders = submission.file.parents if submission.file is not None else ()
        return next((self._doubts[folder] for folder in folders if folder in self._doubts), None)

    def _arrived(self, submission: Submission) -> tuple[datetime, str]:
        """When a hand-in came, and by what that is known."""
        doubt = self._doubt_about(submission)
        if doubt is not None and doubt.came is not None:
            return doubt.came, FILE
        if submission.stamp is not None:
            return submission.stamp, STAMP
        if self._received_at is not None:
            return self._received_at, SAID
        came = submission.came or clock.now()
        seen = (
            self._seen.get(first_seen.digest(submission.file)) if submission.file is not None and self._seen else None
        )
        if seen is None or seen - came > _TICK:
            return came, FILE
        return seen, SEEN if came - seen > timedelta(seconds=1) else FILE  # within a second it is the same look

    def put_in_order(self) -> None:
        """Leave out what is known; of what came together without a stamp, put what was saved last behind the rest.

        What cannot be read is told, unless it was before and the same work came whole since then; what lies in a wrong
        place is, unless it came the right way, too.
        """
        whole = {waiting.arrival.owner for waiting in self._waiting if waiting.sheet is not None}
        right = {(waiting.arrival.owner, waiting.arrival.sha256) for waiting in self._waiting}
        for told, owner, sha256 in self._unsure:
            if told.kind == finding.MISPLACED:
                solved = (owner, sha256) in right
            else:
                again = owner is not None and self._is_kept(owner, sha256)
                solved = again and owner is not None and (owner in whole or self._is_done(owner, sha256))
            if not solved:
                self.outcome.findings.append(told)
        fresh, seen = [], {(owner, row.sha256) for owner, rows in self._there.items() for row in rows}
        for waiting in self._waiting:
            key = (waiting.arrival.owner, waiting.arrival.sha256)
            if key in seen:  # the same content was taken before: its first arrival counts
                self.outcome.known += 1
            else:
                fresh.append(waiting)
            seen.add(key)
        together: dict[tuple, list[_Waiting]] = defaultdict(list)
        for waiting in fresh:
            if not waiting.stamped and waiting.sheet is not None:
                together[waiting.arrival.owner].append(waiting)
        for mine in together.values():
            last = max(waiting.arrival.arrival for waiting in mine)
            for waiting in mine:
                waiting.arrival = replace(waiting.arrival, arrival=last)
        places = {waiting.arrival.owner: place for place, waiting in reversed(list(enumerate(fresh)))}
        self._waiting = sorted(fresh, key=lambda w: (places[w.arrival.owner], kept.in_order(w.arrival)))
        for owner, mine in together.items():
            if len(mine) > 1:
                self.outcome.notes.append(_choice(owner, sorted(mine, key=lambda w: kept.in_order(w.arrival))))

    def many_late(self) -> Iterable[ManyLate]:
        """Each module in which more than `MANY` of a class, two at least, would be late by what is to be taken."""
        late: dict[str, dict[str, Trainee]] = defaultdict(dict)
        for waiting in self._waiting:
            trainee, module, _ = waiting.arrival.owner
            if waiting.sheet is not None and not waiting.stamped and self._late_days(waiting.arrival):
                late[module][trainee] = self._known.persons[trainee]
        for module, people in late.items():
            size = len({trainee for trainee, key, _ in self._known.issues if key == module})
            if len(people) > max(1, MANY * size):
                yield ManyLate(module, tuple(people.values()), size)

    def take(self, progress: Callable[[int, int], object] | None = None, *, preview: bool = False) -> None:
        """Keep every file and put it into the records, one after the other; a preview only says what it would do."""
        for number, waiting in enumerate(self._waiting):
            if progress is not None:
                progress(number, len(self._waiting))
            new = self._judged(waiting)
            if not preview:
                path = kept.kept_path(self.term, new.sha256)
                if not path.is_file():
                    files.write_bytes(path, waiting.content)
                kept.store(self.connection, new)
                self._keep()
            self._there[new.owner].append(new)
            self.outcome.taken += 1
            if new.kind in (schema.AFTER_RETURN, schema.WAITS):
                self._tell(
                    new.kind,
                    waiting.where,
                    f"{kept.sentence(new) if new.kind == schema.WAITS else kept.SENTENCES[new.kind]}",
                )
            if waiting.sheet is not None:
                days = self._late_days(new)
                cost = lateness.cost(self.term.settings, days)
                trainee, module, attempt = new.owner
                person = self._known.persons[trainee]
                self.outcome.sheets.append(
                    Taken(
                        person,
                        module,
                        attempt,
                        new.received_at,
                        days,
                        cost,
                        hand_in.short(new.sha256),
                        waiting.where,
                        not new.usable,
                        waiting.by,
                    )
                )
                if (
                    days
                    and waiting.claimed
                    and self._late_days(replace(new, received_at=clock.to_text(waiting.claimed))) < days
                ):
                    self._claims.append((person, module))
                record = self._known.issues[new.owner].record
                self.outcome.notes += [f"{waiting.where}: {words}" for words in _sure_words(record, waiting.sheet)]

    def say_what_files_claim(self) -> None:
        """Name the late whose files were last changed in time, by their own word: perhaps they only lay elsewhere."""
        if not self._claims:
            return
        person, module = self._claims[0]
        names = "; ".join(trainee.name for trainee, _ in self._claims[:6]) + (
            "; and others" if len(self._claims) > 6 else ""
        )
        self.outcome.notes.append(
            f"by what the files say of their last change, which anybody can set and which does not count, these would be less "
            f"late: {names}. If you know that they came in then, say 'received {person.college_id} {module} --at' with that time"
        )

    def tidy(self, inbox: Path) -> None:
        """Move files whose work is kept out of the way, and say where the inbox is if nothing lay there."""
        if not self._came_in and not self.outcome.notes:
            self.outcome.notes.append(f"nothing lies in {inbox}; put hand-ins there, or name the files to collect")
        moved, stayed = 0, []
        for path, keys in self._came_in.items():
            if path.is_relative_to(inbox) and all(key is not None and self._is_done(*key) for key in keys):
                try:
                    _move(path, inbox / first_seen.TAKEN / path.relative_to(inbox))
                    moved += 1
                except OSError as problem:
                    stayed.append(f"{path.name} stays in the inbox: {problem.strerror}")
        if moved:
            self.outcome.notes.append(
                f"{moved} file{'s' if moved > 1 else ''} moved to {inbox / first_seen.TAKEN}: what is in them is kept"
            )
        self.outcome.notes += stayed[:3]

    def _judged(self, waiting: _Waiting) -> Arrival:
        """The arrival as it is to be kept: one that would take the place of better work waits for a decision."""
        new, issue = waiting.arrival, self._known.issues.get(waiting.arrival.owner)
        if waiting.doubt is not None and new.usable:
            return replace(new, kind=schema.WAITS, finding=f"{waiting.doubt.words} {new.finding}".strip())
        before = [row for row in self._there[new.owner] if row.usable]
        if waiting.sheet is None or issue is None or not new.usable or not before:
            return new
        decided = self._known.decided
        counting = evaluation.counting(self.term, issue, before, decided)
        if counting is None or evaluation.counting(self.term, issue, [*before, new], decided) is not new:
            return new
        why = self._doubt(issue, counting, waiting)
        return replace(new, kind=schema.WAITS, finding=f"{why} {new.finding}".strip()) if why else new

    def _doubt(self, issue: Row, counting: Row | Arrival, waiting: _Waiting) -> str:
        """Why a sheet shall not replace the one that counts without a person's word; empty where it may."""
        new = waiting.arrival
        if counting.vouched and not new.vouched:
            return "It came without the numbers that were issued, and the one that counts came with them."
        if new.saved_at and counting.saved_at and new.saved_at < counting.saved_at:
            return "It says that it was saved before the one that counts."
        try:
            had, has = (
                self._marked(issue, evaluation.kept_sheet(self.term, counting)),
                self._marked(issue, waiting.sheet),
            )
        except BadSheet:
            return ""
        best = has.hundredths + has.pending
        if best < had.hundredths:
            return f"It can earn {best / 100:g} marks at most, and the one that counts has {had.hundredths / 100:g}."
        return ""

    def _marked(self, issue: Row, sheet: Sheet | None) -> SheetMark:
        assert sheet is not None
        marks = mark_sheet(catalogue.module(issue.module), evaluation.numbers(issue), sheet)
        return self._known.decided.apply(issue, marks)

    def _late_days(self, new: Arrival) -> int:
        due = self._known.decided.due(self._known.issues[new.owner])
        return lateness.late_days(self.term.settings, due, clock.from_text(new.received_at))

    def _tell(self, kind: str, where: str, words: str) -> None:
        self.outcome.findings.append(Finding(kind, where, words))


def in_inbox(term: Term, where: str) -> Path | None:
    """The file of the inbox that a finding names, or in which it lies; None where there is none such."""
    inbox, path = (term.folder / "inbox").resolve(), term.folder.resolve()
    for part in Path(where).parts:
        path = path / part
        if path.is_file():
            return path if path.resolve().is_relative_to(inbox) else None
    return None


def set_aside(term: Term, where: str) -> tuple[Path, Path]:
    """Put a file that cannot be used out of the way: into the inbox's folder `taken`, where nobody looks again.

    Parameters
    ----------
    term : Term
    where : str
        As a finding names it.

    Returns
    -------
    (Path, Path)
        Where it lay, and where it lies.

    Raises
    ------
    Refused
        There is no such file in the inbox.
    """
    path = in_inbox(term, where)
    if path is None:
        raise Refused(f"{where[:200]} does not lie in the inbox. Nothing was moved; look into the inbox again.")
    return path, _move(path, term.folder / "inbox" / first_seen.TAKEN / "set aside" / path.name)


def put_back(path: Path, place: Path) -> None:
    """Take that back: the file lies where it lay, or under a name beside it that is free."""
    if not path.is_file():
        raise Refused(f"{path.name} is no longer in {path.parent}. Nothing was moved.")
    _move(path, place)


def _choice(owner: tuple, mine: list[_Waiting]) -> str:
    """Which of several sheets that came together is the later one."""
    saved = [f"{waiting.where}, saved {waiting.arrival.saved_at[:19] or 'nobody knows when'}" for waiting in mine]
    return f"{owner[0]}, {owner[1]}: {len(mine)} came together; {saved[-1]}, goes before {'; '.join(saved[:-1])}"


def _move(path: Path, target: Path) -> Path:
    """Move a file to a name that is free; says which."""
    target.parent.mkdir(parents=True, exist_ok=True)
    free, number = target, 1
    while free.exists():
        number += 1
        free = target.with_name(f"{target.stem} ({number}){target.suffix}")
    path.rename(free)
    return free


def _days(days: int) -> str:
    return f"{days} day{'s' if days != 1 else ''}"


def _sure_words(record, sheet):
    """Sentences about "how sure" entries that are not used; nobody need act on them."""
    words, problems = confidence.said(sheet)
    if not words and not problems:
        return []
    if json.loads(record)["mode"] == PRACTICE:
        return [problem.rstrip(".") for problem in problems]
    return ["The sheet says how sure its owner was. Only practice asks that; in assessed work it is not looked at"]


def _claimed_trainee(submission, known):
    """The trainee whose folder the file lies in, as in inbox/<trainee>/."""
    return next((known.people[p.casefold()] for p in submission.parts[:-1] if p.casefold() in known.people), None)


def _guessed_owner(submission, claimed, known) -> tuple[str, str, int] | None:
    """(trainee, module, attempt) of a sheet that cannot be read.

    From the numbers issued beside it, from what can still be read of it, or from
    the folder and the file's name; only what was really issued counts.
    """
    owner = attachments.owner(submission.company) or _legible_owner(submission.content or b"")
    if owner is not None and owner in known.issues and claimed in (None, owner[0]):
        return owner
    names = {part.rpartition(".")[0] or part for part in submission.parts} | set(submission.parts)
    who = claimed or next((known.people[name.casefold()] for name in names if name.casefold() in known.people), None)
    modules = [key for key in catalogue.all_modules() if key in names]
    mine = sorted(attempt for trainee, module, attempt in known.issues if trainee == who and [module] == modules)
    return (who, modules[0], mine[-1]) if who is not None and mine else None


def _legible_owner(content):
    """What a file cut short or spoilt says of its owner in its first lines."""
    head = content[:4000].decode("utf-8", "replace")
    named = dict(re.findall(r'"(trainee|module|attempt)"\s*:\s*"?([A-Za-z0-9_-]+)', head)[::-1])  # the first of each
    if len(named) < 3 or not named["attempt"].isdecimal():
        return None
    return named["trainee"], named["module"], int(named["attempt"][:9])


def _nobody(written, claimed, known):
    """What to do with a sheet by an id that is on no list: it may be mistyped."""
    shown = written[:60]
    if claimed is not None:
        person = known.persons[claimed]
        return (
            f"It says that it is by {shown!r}, an id that nobody has, and it lies in the folder of {person.name}, "
            f"{person.college_id}. If it is that person's, the id was mistyped: let the lesson be opened with the right id and "
            f"handed in again, or type the answers in with 'transcribe {person.college_id}'."
        )
    near = difflib.get_close_matches(_alike(written), {_alike(name): name for name in known.people}, n=1, cutoff=0.7)
    names = {_alike(name): known.persons[own] for name, own in known.people.items()}
    hint = f" It looks like {names[near[0]].college_id}, {names[near[0]].name}; ask." if near else ""
    return f"Nobody on the roster has the id {shown!r}.{hint} If somebody new is missing there, import the class list and collect again."


def _alike(text):
    """An id with letters and figures that are taken for one another made the same."""
    return text.casefold().translate(str.maketrans("oil", "011"))


def _misplaced(term, sheet, claimed, known):
    """Why a readable sheet cannot be taken, or an empty text."""
    if sheet.term == PRACTICE:
        return "It is practice work, which is not handed in. Ask for the file from the lesson that was assigned."
    if sheet.term != term.id:
        return f"The sheet belongs to term {sheet.term[:60]!r}, not to {term.id}. Collect it in that term."
    if sheet.trainee not in known.people:
        return _nobody(sheet.trainee, claimed, known)
    if claimed is not None and claimed != sheet.trainee:
        return f"It lies in the folder of {claimed} and says it is by {sheet.trainee}. Ask both; then put it where it belongs."
    if sheet.module not in catalogue.all_modules():
        return f"There is no module {sheet.module[:60]!r}. Ask for the right file."
    if sheet.module in known.withdrawn:
        return f"{sheet.module} was withdrawn. Assign it again if it shall count, then collect again."
    if (sheet.trainee, sheet.module, sheet.attempt) not in known.issues:
        return f"{sheet.trainee[:60]} was never issued attempt {str(sheet.attempt)[:20]} of {sheet.module}. Ask for the right file."
    return ""
