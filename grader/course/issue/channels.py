"""How numbers reach trainees beside a zip for each: one folder for all, nbgrader's exchange, paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, select

from grader import catalogue, clock, files
from grader.errors import Refused
from grader.exercise import issued
from grader.records import database, ledger, schema
from grader.records.gradebook.exchange import place_in_exchange, release_to_exchange
from grader.records.term import roster
from grader.records.term.roster import Trainee
from grader.records.term.term import Term

ZIPS, FOLDER, EXCHANGE, PAPER = "zips", "folder", "exchange", "paper"
WAYS = (ZIPS, FOLDER, EXCHANGE, PAPER)
FOR_ALL = "_class"  # no trainee's id begins so


def check(way: str) -> str:
    """The way as the records know it.

    Raises
    ------
    Refused
        No such way.
    """
    if way and way not in WAYS:
        raise Refused(f"{way[:40]!r} is no way to hand out; there are {', '.join(WAYS)}. Nothing was changed.")
    return way


def known(connection: Connection, module_key: str) -> dict[str, set[str]]:
    """Trainee -> the ways in which his latest numbers of a module were handed out."""
    table = schema.delivery
    latest: dict[str, tuple[int, set[str]]] = {}
    for row in connection.execute(select(table).where(table.c.module == module_key).order_by(table.c.attempt)):
        attempt, ways = latest.get(row.trainee, (row.attempt, set()))
        latest[row.trainee] = (row.attempt, ways | {row.channel} if attempt == row.attempt else {row.channel})
    return {trainee: ways for trainee, (_, ways) in latest.items()}


def latest_records(connection: Connection, module_key: str) -> dict[str, tuple[int, str]]:
    """Trainee -> (attempt, record) of the latest numbers, as the term keeps them."""
    table = schema.issue
    rows = connection.execute(select(table).where(table.c.module == module_key).order_by(table.c.attempt))
    return {row.trainee: (row.attempt, row.record) for row in rows}


def deliver(connection: Connection, owner: tuple[str, str, int], way: str) -> None:
    """Keep that numbers were handed out in a way."""
    trainee, module, attempt = owner
    row = {"trainee": trainee, "module": module, "attempt": attempt, "channel": way, "at": clock.to_text(clock.now())}
    connection.execute(schema.delivery.insert().values(**row))


def note(connection: Connection, module_key: str, trainees: Sequence[str], way: str, key_version: str) -> list[str]:
    """Keep it, and write a row in the ledger, for everybody who gets the numbers he had in one more way."""
    had, records = known(connection, module_key), latest_records(connection, module_key)
    again = [trainee for trainee in trainees if way not in had.get(trainee, ())]
    for trainee in again:
        deliver(connection, (trainee, module_key, records[trainee][0]), way)
    reason = "the same numbers, handed out once more"
    entries = [
        ledger.Entry(
            "issued",
            trainee=trainee,
            module=module_key,
            attempt=records[trainee][0],
            new=way,
            reason=reason,
            key_version=key_version,
        )
        for trainee in again
    ]
    ledger.append(connection, entries)
    return again


def without_answers(issue: issued.Issued) -> issued.Issued:
    """An issue as a file that many can read may hold it: what a resit keeps is named, the answers are left out.

    Nothing is lost by that: marking takes the answers from the term's own record.

    Parameters
    ----------
    issue : Issued

    Returns
    -------
    Issued
        With the token of the whole one.
    """
    exercises = {}
    for key, entry in issue.exercises.items():
        drawn = {"version": entry["version"], "parameters": entry["parameters"]}
        exercises[key] = drawn | {issued.KEPT: {}} if issued.KEPT in entry else entry
    return replace(issue, exercises=exercises)


def hand_out(term: Term, module_key: str, way: str, *, trainees: Sequence[str] = (), config: Any = None) -> Path:
    """Write what goes out in one of the ways for all; can be repeated at any time.

    A folder and an exchange hold the latest numbers of everybody who has any, without
    anybody's answers: all can read them. Paper goes to the trainees named.

    Parameters
    ----------
    term : Term
    module_key : str
    way : str
        folder, exchange or paper.
    trainees : sequence of str
        Our ids; for paper.
    config : Config or None
        From `exchange_config`; for the exchange.

    Returns
    -------
    Path
        Where it lies; for paper the folder of all trainees.

    Raises
    ------
    CannotWrite
        The place cannot be written to.
    """
    with database.reading(term) as connection:
        people = {person.id: person for person in roster.everyone(connection)}
        records = {t: record for t, (_, record) in latest_records(connection, module_key).items()}
    if way == PAPER:
        from grader.course.issue import paper_sheet  # draws with matplotlib, which no other way shall wait for

        for trainee in trainees:
            paper_sheet.write(term, people[trainee], records[trainee])
        return term.folder / "out"
    issues = [
        (people[t].college_id, without_answers(issued.parse(record.encode())))
        for t, record in records.items()
        if t in people
    ]
    source = place_in_exchange(config, term, module_key) if way == EXCHANGE else ""
    content = issued.dump_shared(
        issued.share(issues, key=term.key, term=term.id, module=module_key, own_copy=way == EXCHANGE, source=source)
    )
    folder = term.folder / "out" / FOR_ALL / way / module_key
    name = f"{module_key}.ipynb"
    lesson = files.read_bytes(term.folder / "release" / module_key / name, most=20_000_000, what="The released lesson")
    files.write_bytes(folder / name, lesson)
    files.write_bytes(folder / issued.NAME, content)
    return folder if way == FOLDER else release_to_exchange(term, module_key, folder.parent, config)


def print_sheets(
    term: Term, module_key: str, *, trainees: Sequence[str] = (), group: str = "", one_file: bool = False
) -> list[Path]:
    """Write the sheets on paper of some trainees who have their numbers, or of all who have.

    With `one_file` also all of them in one file to print, the last path.

    Returns
    -------
    list of Path

    Raises
    ------
    Unknown
        No such module, trainee or group.
    Refused
        Nobody among them has numbers.
    """
    from grader.course.issue import paper_sheet

    module = catalogue.module(module_key)
    with database.transaction(term) as connection:
        people = roster.chosen(connection, group, trainees)
        records = latest_records(connection, module.key)
        served = [person for person in people if person.id in records]
        if not served or trainees and len(served) < len(people):
            without = ", ".join(person.name for person in people if person.id not in records) or "Nobody"
            verb = "have" if ", " in without else "has"
            raise Refused(
                f"{without[:200]} {verb} no numbers for {module.key}. Run 'assign {module.key} --as paper' first; nothing was "
                "written."
            )
        note(connection, module.key, [person.id for person in served], PAPER, "")
    written = [paper_sheet.write(term, person, records[person.id][1]) for person in served]
    if one_file:
        written.append(paper_sheet.write_all(term, module.key, [(person, records[person.id][1]) for person in served]))
    return written


def forget(term: Term, people: Sequence[Trainee]) -> list[tuple[str, str]]:
    """Take some people's numbers out of the folders that serve all.

    Returns
    -------
    list of (str, str)
        Way and module of every file that held them.
    """
    changed = []
    for path in sorted((term.folder / "out" / FOR_ALL).glob(f"*/*/{issued.NAME}")):
        before = after = issued.read_shared(path)
        if after is None:  # of one trainee alone, which goes with his own files
            continue
        for person in people:
            after = after.without(person.college_id)
        if after != before:
            files.write_bytes(path, issued.dump_shared(after))
            changed.append((path.parent.parent.name, path.parent.name))
    return changed
