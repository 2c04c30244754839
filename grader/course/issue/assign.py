"""Assigning a module: release the lesson, draw each trainee's own numbers, pack the hand-outs."""

from __future__ import annotations

import io
import shutil
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, Row, select

from grader import catalogue, clock, files, paths
from grader.course.issue import channels, vehicle_choice
from grader.errors import CannotWrite, Refused, Unknown
from grader.exercise import issued, practice, variant
from grader.exercise.model import ASSESSED, Module, key_version
from grader.records import config_file, database, ledger, schema, session, vehicles
from grader.records.gradebook import gradebook
from grader.records.gradebook.exchange import exchange_config
from grader.records.term import dates, roster
from grader.records.term.roster import Trainee
from grader.records.term.term import Term

LARGEST_PACKED = 50_000_000


@dataclass(frozen=True, slots=True)
class Assigned:
    """What an assign did: whom it issued numbers to, who had them before, how and where they went out."""

    module: str
    mode: str
    due: str
    issued_to: tuple
    had_them: int
    folder: Path
    way: str = channels.ZIPS
    notes: tuple = ()


def assign(
    term: Term,
    module_key: str,
    *,
    due: str = "",
    mode: str = ASSESSED,
    group: str = "",
    trainees: Sequence[str] = (),
    way: str = "",
    exchange: str | Path | None = None,
    own: Sequence[str] = (),
    preview: bool = False,
    progress: Callable[[int, int], object] | None = None,
) -> Assigned:
    """Release a module and issue numbers to every enrolled trainee who has none, or to those chosen.

    Parameters
    ----------
    term : Term
    module_key : str
    due : str
        ISO date or moment in the term's zone; empty for none, or for the due time
        of the first assign. Those chosen may have another one.
    mode : str
        "assessed" or "practice".
    group : str
        Only trainees of this group; empty: of all.
    trainees : sequence of str
        Only these, by either of their ids; empty: all.
    way : str
        One of `channels.WAYS`; empty: a zip for each.
    exchange : path or None
        Root of nbgrader's exchange, where another than its own setting.
    own : sequence of str
        Keys of the term's own vehicles, from which exercises with an engine are
        drawn; empty for those of the first assign, or the teaching vehicles.
    preview : bool
        Say who would be issued numbers; nothing is written.
    progress : callable or None
        Told before each trainee how many have their numbers, of how many; what it raises ends it, and
        nobody was issued any.

    Returns
    -------
    Assigned

    Raises
    ------
    Unknown
        No such module, trainee or group.
    Refused
        Everybody has his numbers already, another due time, mode or vehicle than
        the first time, nobody is enrolled, or a vehicle that cannot be used.
    """
    module = catalogue.module(module_key)
    chosen_way = channels.check(way) or channels.ZIPS
    config = exchange_config(term, exchange) if chosen_way == channels.EXCHANGE else None
    moment = clock.to_text(dates.parse(term, due)) if due else ""
    some = bool(group or trainees)
    with session.begin(term, f"assigning {module.key}", read_only=preview) as held:
        connection = held.connection
        first = connection.execute(select(schema.assignment).where(schema.assignment.c.module == module.key)).first()
        people = roster.chosen(connection, group, trainees)
        waiting, had_them = _waiting(connection, module.key, people)
        back = False
        if first is not None and first.withdrawn:
            back = True
            if not preview:
                _take_back(connection, first)
        lost = _lost_handouts(term, connection, module.key, people if way == channels.ZIPS else ())
        if not lost and not back:
            again = bool(had_them) and way in channels.WAYS[1:]
            _refuse(term, module, first, moment, mode, waiting, had_them, some, again)
        drawn_from = vehicle_choice.chosen(connection, module, own, first=first, some=some)
        if first is not None:
            moment, mode = moment or first.due, first.mode
        if preview:
            return _assigned(term, module, mode, moment, waiting, had_them, term.folder / "out", chosen_way, drawn_from)
        held.keep()
        vehicle_choice.prove(term, module, waiting, drawn_from)
        if first is None:
            _release(term, module)
        order = _Order(term, module, mode, moment, chosen_way, drawn_from)
        handouts = order.issue(connection, waiting, first, progress)
        served = [person.id for person in people if person.id in channels.latest_records(connection, module.key)]
        if way:
            channels.note(connection, module.key, served, way, key_version(module))
        held.keep()
        for trainee_id, record in {**lost, **(handouts if chosen_way == channels.ZIPS else {})}.items():
            write_handout(term, module.key, trainee_id, record)
        folder = term.folder / "out"
        if chosen_way != channels.ZIPS:
            folder = channels.hand_out(term, module.key, chosen_way, trainees=served, config=config)
    return _assigned(term, module, mode, moment, waiting, had_them, folder, chosen_way, drawn_from)


def _assigned(term, module, mode, moment, waiting, had_them, folder, way, drawn_from):
    notes = vehicle_choice.notes(module, drawn_from)
    if waiting and moment and clock.from_text(moment) < clock.now():
        notes = (*notes, "that due time has passed already: all that comes in will be late. 'extend' moves it for one")
    return Assigned(module.key, mode, moment, tuple(waiting), had_them, folder, way, notes)


def _take_back(connection: Connection, first: Row) -> None:
    """A module that was withdrawn counts again, with the numbers and the work that it had."""
    table = schema.assignment
    connection.execute(table.update().where(table.c.module == first.module).values(withdrawn=""))
    entry = ledger.Entry(
        "assigned",
        module=first.module,
        old="withdrawn",
        new=first.due or "no due time",
        reason="assigned again",
        kind=ledger.WITHDRAWN,
    )
    ledger.append(connection, [entry])


@dataclass(frozen=True, slots=True)
class _Order:
    """What is issued in one assign, alike for everybody."""

    term: Term
    module: Module
    mode: str
    due: str
    way: str
    drawn_from: tuple

    def issue(
        self,
        connection: Connection,
        people: Sequence[Trainee],
        first: Row | None,
        progress: Callable[[int, int], object] | None = None,
    ) -> dict[str, bytes]:
        """Write the assignment, if it is the first, and each one's numbers; returns trainee -> issued.json."""
        at, entries, handouts, key = clock.to_text(clock.now()), [], {}, self.module.key
        if first is None:
            most = self.module.marks * 100
            values = {"module": key, "mode": self.mode, "due": self.due, "assigned_at": at, "most": most}
            connection.execute(schema.assignment.insert().values(**values))
            vehicles.note(connection, key, self.drawn_from)
            entries.append(ledger.Entry("assigned", module=key, new=self.due or "no due time", most=most))
        other_due = f"due {self.due}" if first is not None and self.due != first.due else ""
        version = key_version(self.module)
        for number, person in enumerate(people):
            if progress is not None:
                progress(number, len(people))
            handouts[person.id] = issued.dump(self._draw(person))
            row = {"trainee": person.id, "module": key, "attempt": 1}
            text = handouts[person.id].decode()
            connection.execute(schema.issue.insert().values(**row, issued_at=at, due=self.due, record=text))
            channels.deliver(connection, (person.id, key, 1), self.way)
            entries.append(ledger.Entry("issued", **row, new=self.way, reason=other_due, key_version=version))
        ledger.append(connection, entries)
        return handouts

    def _draw(self, person: Trainee) -> issued.Issued:
        own = [revision.own for revision in self.drawn_from]
        term, who = self.term, {"key": self.term.key, "term": self.term.id, "trainee": person.id, "attempt": 1}
        numbers = variant.draw(self.module, **who, own=own)
        return issued.make(self.module, **who, mode=self.mode, due=self.due, zone=term.settings.zone, numbers=numbers)


def handout(term: Term, module_key: str, record: bytes) -> bytes:
    """The zip that a trainee opens: the released lesson and his numbers.

    Raises
    ------
    BadFile
        The released lesson is missing.
    """
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        lesson = files.read_bytes(
            term.folder / "release" / module_key / f"{module_key}.ipynb", most=20_000_000, what="The released lesson"
        )
        for name, content in ((f"{module_key}.ipynb", lesson), (issued.NAME, record)):
            archive.writestr(zipfile.ZipInfo(f"{module_key}/{name}", date_time=(2026, 1, 1, 0, 0, 0)), content)
    return packed.getvalue()


def write_handout(term: Term, module_key: str, trainee_id: str, record: bytes) -> None:
    """Write out/<trainee>/<module>.zip: the lesson and the trainee's numbers.

    Can be repeated at any time: the record in the database is what counts.
    """
    files.write_bytes(term.folder / "out" / trainee_id / f"{module_key}.zip", handout(term, module_key, record))


def packed_for_all(term: Term, module_key: str) -> bytes:
    """A zip with a folder for each person who has numbers to open from a zip, named after him, and his hand-out in it.

    Parameters
    ----------
    term : Term
    module_key : str

    Returns
    -------
    bytes
        Nothing of it is kept in the term folder.

    Raises
    ------
    Refused
        Nobody has such a hand-out.
    """
    with database.reading(term) as connection:
        ways = channels.known(connection, module_key)
        people = [person for person in roster.everyone(connection, enrolled_only=True) if person.id in ways]
    packed = [
        (person, term.folder / "out" / person.id / f"{module_key}.zip")
        for person in people
        if channels.ZIPS in ways[person.id]
    ]
    packed = [(person, path) for person, path in packed if path.is_file()]
    if not packed:
        raise Refused(f"Nobody has a zip of {module_key} to be given. Run 'assign {module_key}' first.")
    return packed_by_person(packed)


def packed_by_person(papers: Sequence[tuple[Trainee, Path]]) -> bytes:
    """A zip of files, each in a folder that bears its owner's name and id.

    Parameters
    ----------
    found : sequence of (Trainee, Path)
    """
    together = io.BytesIO()
    with zipfile.ZipFile(together, "w", zipfile.ZIP_STORED) as archive:
        for person, path in papers:
            name = practice.folder_name(f"{person.last_name} {person.first_name}")
            content = files.read_bytes(path, most=LARGEST_PACKED, what="What goes out")
            archive.writestr(zipfile.ZipInfo(f"{name}_{person.id}/{path.name}", (2026, 1, 1, 0, 0, 0)), content)
    return together.getvalue()


def _lost_handouts(term, connection, module_key, also):
    """Records whose zip is not there: an assign was cut short, somebody tidied up, or `also` shall have one now."""
    given = channels.known(connection, module_key)
    wanted = {trainee for trainee, how in given.items() if channels.ZIPS in how} | {person.id for person in also}
    return {
        trainee: record.encode()
        for trainee, (_, record) in channels.latest_records(connection, module_key).items()
        if trainee in wanted and not (term.folder / "out" / trainee / f"{module_key}.zip").is_file()
    }


def _waiting(connection, module_key, people):
    """Those of some people without numbers, and how many have them."""
    have = set(connection.execute(select(schema.issue.c.trainee).where(schema.issue.c.module == module_key)).scalars())
    return [person for person in people if person.id not in have], sum(person.id in have for person in people)


def _refuse(term, module, first, due, mode, waiting, had_them, some, again):
    if not waiting and not had_them:
        raise Refused("Nobody is enrolled. Import a class list with 'roster import' first; nothing was changed.")
    if first is None:
        return
    when = term.shown(clock.from_text(first.assigned_at))
    if not waiting and due and again:
        raise Refused(
            f"All {had_them} have their numbers, and the due time with them. Use 'extend' for another; nothing was changed."
        )
    if not waiting and not again:
        raise Refused(
            f"{module.key} was assigned on {when}, and all {had_them} have their numbers. Nothing was changed; "
            "a second set of numbers would spoil the work already begun."
            + (_another_due_time(first) if due and due != first.due else "")
        )
    if due and due != first.due and not some or mode != first.mode:
        until = term.shown(clock.from_text(first.due)) if first.due else "without due time"
        raise Refused(
            f"{module.key} was assigned on {when} as {first.mode}, {until}. Nothing was changed; leave out --due and "
            "--practice to issue numbers to those who joined since, name a --group or --trainee for another due time, or move "
            "it for those who have their numbers with --change-due."
        )


def _another_due_time(first):
    if first.due:
        return " To move the due time use --change-due, or 'extend' for one."
    return " It went out without a due time; --change-due gives it one."


def _release(term, module):
    source = paths.solutions() / module.key
    if not (source / f"{module.key}.ipynb").is_file():
        raise Unknown(
            f"{source} holds no {module.key}.ipynb, from which the lesson is made. Install Timing Mark again."
        )
    target = term.folder / "source" / module.key
    try:
        if target.exists():
            shutil.rmtree(target)
        shutil.copytree(source, target, ignore=shutil.ignore_patterns(".*", "answers.json*", "issued.json"))
    except OSError as problem:
        raise CannotWrite(
            f"{target} could not be written: {problem.strerror or problem}. Nothing was assigned."
        ) from None
    config_file.write(term.folder)
    gradebook.generate(term, module.key)
    for room in ("source", "release"):  # nbgrader and the copy give modes of their own
        files.let_group(term.folder / room)
