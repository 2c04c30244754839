"""What an export covers: one or several term folders, opened and looked through one after the other."""

from collections.abc import Callable, Iterable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, func, select

from grader import catalogue, clock
from grader.course.attempts import standing
from grader.course.attempts.standing import Standing
from grader.course.grading import reconcile
from grader.course.grading.session import session_on_all
from grader.errors import Refused
from grader.records import adjustments, database, exported, ledger, schema, session
from grader.records.finding import Finding
from grader.records.term import roster
from grader.records.term import term as terms
from grader.records.term.roster import Trainee
from grader.records.term.term import Term

BATCH = 200  # trainees at a time, so that memory does not grow with the class
_NOT_TEACHING = ("export", "delete", "settings")


def open_all(folders: Iterable[Path]) -> list[Term]:
    """The terms in some folders, in that order, with what formgrader changed taken over.

    Raises
    ------
    Unknown, BadFile, Refused
        As `open_to_read`.
    """
    opened = open_to_read(folders)
    for term in opened:
        _take_over(term)
    return opened


def open_to_read(folders: Iterable[Path], *, read_only: bool = False) -> list[Term]:
    """The terms in some folders, in that order; nothing is written to them. `read_only` as `open_term`.

    Raises
    ------
    Unknown, BadFile
        A folder that is no term.
    Refused
        Two folders of one term id, which no receiver could tell apart.
    """
    opened = [terms.open_term(folder, read_only=read_only) for folder in folders]
    seen = {}
    for term in opened:
        if term.id in seen:
            raise Refused(
                f"{seen[term.id]} and {term.folder} are both term {term.id}. Nothing was written; name each term once."
            )
        seen[term.id] = term.folder
    return opened


def not_taken_over(opened: Iterable[Term]) -> list[Finding]:
    """What formgrader changed and the records do not know yet."""
    findings = []
    for term in opened:
        with database.reading(term) as connection:
            for module in catalogue.all_modules().values():
                findings += map(reconcile.sentence, reconcile.differences(connection, module)[0])
    return findings


def _take_over(term):
    """Let the records know what formgrader changed; what cannot be taken over is shown by mark and verify."""
    with session_on_all(term, "exporting"):
        pass


def each(opened: Iterable[Term]) -> Iterator[tuple[Term, Connection]]:
    """(term, connection) of every term, each in a transaction of its own; whoever comes meanwhile waits and is told why."""
    for term in opened:
        with session.begin(term, "exporting") as held:
            yield term, held.connection


def note_export(opened: Iterable[Term], name: str, paths: Iterable[str | Path]) -> None:
    """A row in each term's ledger: this was handed out; and where it lies, if not in the term's own folder.

    Of a term that is opened to be read only nothing is noted: whoever may not write into it answers for his files himself.
    """
    paths = list(paths)
    for term, connection in each(term for term in opened if not term.read_only):
        ledger.append(connection, [ledger.Entry("export", new=name)])
        exported.note(term, paths)


def exports(term: Term) -> list[tuple[str, str, str]]:
    """What was handed out of a term: (moment as the records keep it, by whom, what), the last first; nothing is written."""
    with database.reading(term) as connection:
        return [(at, entry["actor"], str(entry["new"])) for _, at, entry in ledger.entries(connection, "export")][::-1]


def people(connection: Connection) -> list[Trainee]:
    """Everybody, in order of name."""
    return roster.everyone(connection)


def batches(connection: Connection, by: Callable[[Trainee], Any] | None = None) -> Iterator[list[Trainee]]:
    """Lists of at most `BATCH` trainees, in order of name.

    Parameters
    ----------
    connection : Connection
    by : callable or None
        Trainee -> what puts them into another order.
    """
    everybody = people(connection)
    if by:
        everybody = sorted(everybody, key=by)
    for start in range(0, len(everybody), BATCH):
        yield everybody[start : start + BATCH]


def standings(
    term: Term, connection: Connection, module_keys: Iterable[str], by: Callable[[Trainee], Any] | None = None
) -> Iterator[Standing]:
    """As `standing.standings`, part by part, so that memory does not grow with the class; `by` as for `batches`."""
    decided, keys = adjustments.read(connection), list(module_keys)
    for batch in batches(connection, by):
        yield from standing.standings(term, connection, keys, people=batch, decided=decided)


def college_ids(connection: Connection) -> dict[str, str]:
    """The college's own id by ours."""
    return {person.id: person.college_id for person in people(connection)}


def first_and_last_day(term: Term, connection: Connection) -> tuple[date, date]:
    """First day of a term and its last, in the term's zone, from ledger and due times.

    Returns
    -------
    (date, date)
    """
    table = schema.ledger
    first, last = connection.execute(
        select(func.min(table.c.at), func.max(table.c.at)).where(table.c.event.not_in(_NOT_TEACHING))
    ).one()
    if first is None:
        first = last = connection.execute(select(func.min(table.c.at))).scalar_one()
    dues = [due for due in connection.execute(select(schema.issue.c.due).distinct()).scalars() if due]
    days = [clock.from_text(at).astimezone(clock.zone(term.settings.zone)).date() for at in (first, last, *dues)]
    return min(days), max(days)


def last_change(connection: Connection) -> str:
    """When a term's records last changed, as they keep it; exporting them is no change."""
    table = schema.ledger
    return connection.execute(select(func.max(table.c.at)).where(table.c.event != "export")).scalar_one()


def keep_until(term: Term, connection: Connection) -> date:
    """The day until which records are kept: the term's last day and the years of the setting."""
    last = first_and_last_day(term, connection)[1]
    year = last.year + term.settings.retention_years
    leap_day = (last.month, last.day) == (2, 29)
    return date(year, 3, 1) if leap_day and year % 4 else last.replace(year=year)


def retention(term: Term) -> tuple[date, bool]:
    """Until when a term's records are kept, and whether that day has passed in the term's zone.

    Returns
    -------
    (date, bool)
    """
    with database.transaction(term) as connection:
        until = keep_until(term, connection)
    return until, clock.now().astimezone(clock.zone(term.settings.zone)).date() > until
