"""How far each module has come, and what waits for the instructor."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, func, select

from grader import catalogue, clock
from grader.course.attempts import kept, lateness, standing
from grader.course.attempts.standing import Standing
from grader.exercise.model import PRACTICE
from grader.marking.verdict import AWAITING
from grader.records import adjustments, database, schema
from grader.records.adjustments import Adjustments
from grader.records.term.term import Term

DECIDE, MARK, READ, RETURN, EXTENDED, FILES = "decide", "mark", "read", "return", "extended", "files"


@dataclass(frozen=True, slots=True)
class ModuleState:
    """How many of a class have come how far in a module. `due` is a moment of the records, or empty.

    `people` had numbers, `came` handed in, `to_mark` of them have no mark yet, `read_all` have a whole mark,
    `returned` got it back; `passed` have passed, `excused` need not. `to_read` are written answers that
    wait, `to_return` whole marks that are not returned although nothing can come in any more.
    """

    key: str
    title: str
    mode: str
    due: str
    withdrawn: str
    people: int = 0
    came: int = 0
    to_mark: int = 0
    read_all: int = 0
    passed: int = 0
    excused: int = 0
    returned: int = 0
    to_read: int = 0
    to_return: int = 0


@dataclass(frozen=True, slots=True)
class Waits:
    """Something that waits for the instructor: what, in which module (empty for the inbox), how many, and a sentence."""

    what: str
    module: str
    count: int
    says: str


def agenda(term: Term) -> tuple[list[ModuleState], list[Waits]]:
    """The modules of a term in order, withdrawn ones too, and what waits, the most pressing first; nothing is written.

    Parameters
    ----------
    term : Term

    Returns
    -------
    (list of ModuleState, list of Waits)
    """
    with database.reading(term) as connection:
        decided = adjustments.read(connection)
        assigned = connection.execute(select(schema.assignment).order_by(schema.assignment.c.module)).all()
        keys = [row.module for row in assigned if not row.withdrawn]
        by_module: dict[str, list[Standing]] = {key: [] for key in keys}
        for attempt in standing.standings(term, connection, keys, decided=decided):
            by_module[attempt.module].append(attempt)
        unread, returned = _unread(connection, decided), set(lateness.returned(connection))
        states = []
        for row in assigned:
            try:
                title = catalogue.module(row.module).title
            except LookupError:  # of a version that had it
                title = row.module
            base = ModuleState(row.module, title, row.mode, row.due, row.withdrawn)
            states.append(_counted(base, by_module.get(row.module, []), unread[row.module], returned))
        waits = [*_decisions(connection), *_by_module(states), *_extensions(term, connection, decided)]
        new = _new_files(term, connection)
    if new:
        waits.insert(0, Waits(FILES, "", new, f"{new} new file{_s(new)} in the inbox"))
    return states, waits


def _counted(base: ModuleState, people: list[Standing], unread: int, returned: set[tuple]) -> ModuleState:
    if base.withdrawn:
        return base
    states = Counter(attempt.state for attempt in people)
    marked = [attempt for attempt in people if attempt.mark is not None]
    whole = [attempt for attempt in marked if attempt.state == standing.MARKED]
    back = [attempt for attempt in marked if (attempt.person.id, attempt.module, attempt.attempt) in returned]
    now = clock.to_text(clock.now())
    ready = [
        attempt
        for attempt in whole
        if attempt not in back and (base.mode == PRACTICE or not attempt.due or attempt.due < now)
    ]
    return ModuleState(
        base.key,
        base.title,
        base.mode,
        base.due,
        base.withdrawn,
        people=sum(bool(attempt.attempts) for attempt in people),
        came=len(marked) + states[standing.HANDED_IN],
        to_mark=states[standing.HANDED_IN],
        read_all=len(whole),
        passed=sum(attempt.passed == "yes" for attempt in people),
        excused=states[standing.EXCUSED],
        returned=len(back),
        to_read=unread,
        to_return=len(ready),
    )


def _unread(connection: Connection, decided: Adjustments) -> Counter:
    """Written answers that wait to be read, by module; one that a resit keeps is read once."""
    table, seen, unread = schema.answer, set(), Counter()
    for row in connection.execute(select(table).where(table.c.verdict == AWAITING)):
        words = (row.trainee, row.part, adjustments.digest(row.raw))
        if row.exercise not in decided.by_hand(row) and words not in seen:
            seen.add(words)
            unread[row.module] += 1
    return unread


def _decisions(connection: Connection) -> Iterator[Waits]:
    for module, count in sorted(Counter(module for _, module, _ in kept.waiting(connection)).items()):
        yield Waits(DECIDE, module, count, f"{count} hand-in{_s(count)} that you must decide about")


def _by_module(states: list[ModuleState]) -> Iterator[Waits]:
    for state in states:
        if state.to_mark:
            yield Waits(MARK, state.key, state.to_mark, f"{state.to_mark} hand-in{_s(state.to_mark)} to mark")
        if state.to_read:
            yield Waits(READ, state.key, state.to_read, f"{state.to_read} written answer{_s(state.to_read)} to read")
        if state.to_return:
            yield Waits(
                RETURN, state.key, state.to_return, f"{state.to_return} sheet{_s(state.to_return)} ready to return"
            )


def _extensions(term: Term, connection: Connection, decided: Adjustments) -> Iterator[Waits]:
    table, now = schema.hand_in, clock.to_text(clock.now())
    came = {adjustments.owner(row) for row in connection.execute(select(table).where(table.c.usable))}
    ahead: dict[str, list[str]] = {}
    for owner, until in decided.until.items():
        if until > now and owner not in came:
            ahead.setdefault(owner[1], []).append(until)
    for module, times in sorted(ahead.items()):
        first, count = term.shown(clock.from_text(min(times))), len(times)
        words = f"an extension ends {first}" if count == 1 else f"{count} extensions run; the first ends {first}"
        yield Waits(EXTENDED, module, count, words)


def _new_files(term: Term, connection: Connection) -> int:
    """How many files came into the inbox after something was last taken from it."""
    at = connection.execute(select(func.max(schema.ledger.c.at)).where(schema.ledger.c.event == "handed-in")).scalar()
    since = clock.from_text(at).timestamp() if at else 0.0
    return sum(moment > since for moment in _came(term.folder / "inbox"))


def _came(folder: Path) -> Iterator[float]:
    """When each file below a folder came to lie there, as a time of the system."""
    for place, folders, names in os.walk(folder):
        folders[:] = [name for name in folders if name != "taken"]
        for name in names:
            if name.startswith("."):
                continue
            try:
                yield (Path(place) / name).lstat().st_ctime
            except OSError:
                continue


def _s(count: int) -> str:
    return "" if count == 1 else "s"
