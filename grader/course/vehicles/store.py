"""The term's own vehicles: files in vehicles/, revisions in the records, and proof that both tell the same."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from pathlib import Path

from sqlalchemy import Connection, select

from grader import catalogue, files
from grader.course.vehicles import read, template
from grader.course.vehicles.fields import Answers
from grader.errors import BadFile, BadSheet, Refused, Unknown
from grader.exercise.variant import DIGEST, ENGINE
from grader.records import database, ledger, schema, session, traces, vehicles
from grader.records.term import roster
from grader.records.term import term as terms
from grader.records.term.term import Term
from grader.vehicle import spec

FOLDER = "vehicles"


def path_of(term: Term, key: str) -> Path:
    """Where the file of a vehicle lies.

    Raises
    ------
    Refused
        A key that cannot name a file, or that of a teaching vehicle.
    """
    terms.check_id(key, "The key of a vehicle")
    if key in spec.vehicles():
        raise Refused(f"{key} is a teaching vehicle of Timing Mark. Give yours another key; nothing was changed.")
    return term.folder / FOLDER / f"{key}.toml"


def new(term: Term, key: str, *, like: str = "") -> Path:
    """Write a file to be filled in.

    Parameters
    ----------
    term : Term
    key : str
    like : str
        A teaching vehicle or one of the term's own, whose figures are put in;
        empty for an invented example.

    Returns
    -------
    Path

    Raises
    ------
    Refused
        The file is there already.
    Unknown
        No vehicle to be like.
    """
    path = path_of(term, key)
    if path.exists():
        raise Refused(f"{path} is there already. Edit it, or choose another key; nothing was changed.")
    answers = template.EXAMPLE
    if like:
        with database.reading(term) as connection:
            mine = vehicles.latest(connection)
        if like in mine:
            answers = template.answers_of(own=mine[like].own)
        else:
            try:
                answers = template.answers_of(vehicle=spec.vehicle(like))
            except Unknown:
                have = ", ".join([*spec.vehicles(), *mine])
                raise Unknown(f"There is no vehicle {like!r} to be like; there are {have}.") from None
    files.write_text(path, template.write(answers))
    return path


def begun(term: Term, key: str) -> tuple[Path, dict]:
    """(path, answers) of a vehicle that is to be asked for: what an earlier file says stands as answers.

    Raises
    ------
    BadFile
        The file there cannot be read; nothing is to be lost.
    """
    path = path_of(term, key)
    return path, template.answers_in(path) if path.exists() else {}


def keep(path: Path, answers: Answers) -> None:
    """Write the file of a vehicle; an earlier one is kept beside it as .bak."""
    if answers:
        files.write_text(path, template.write(answers), keep=True)


def find(term: Term, named: str) -> tuple[Path, str]:
    """(path, key) of a vehicle file, named by its key or by its path."""
    path = term.folder / FOLDER / f"{named}.toml"
    if terms.ID.match(str(named)) and path.is_file():
        return path_of(term, str(named)), str(named)
    path = Path(named).expanduser()
    if not path.is_file():
        raise Unknown(f"There is no {FOLDER}/{named}.toml in this term and no file {named}. 'vehicle new' makes one.")
    path_of(term, path.stem)
    return path, path.stem


def check(term: Term, named: str) -> tuple[str, read.Found]:
    """What a vehicle file says, and everything wrong with it.

    Returns
    -------
    (str, Found)
        Its key, and what was found.
    """
    path, key = find(term, named)
    return key, _read(path, key)[0]


def add(term: Term, named: str) -> tuple[vehicles.Revision, read.Found]:
    """Store a vehicle; one that differs from what is stored becomes a new revision.

    Parameters
    ----------
    term : Term
    named : str or path
        Key or file.

    Returns
    -------
    (Revision, Found)

    Raises
    ------
    BadFile
        Names every line that cannot be; nothing was stored.
    Refused
        The same figures are stored already, or the file names a trainee.
    """
    path, key = find(term, named)
    reading, text = _read(path, key)
    if reading.faults or reading.own is None:
        raise BadFile(
            "\n".join([f"{path.name} was not stored:", *reading.sentences, "Mend these lines and add it again."])
        )
    with session.begin(term, "storing a vehicle") as held:
        connection = held.connection
        _refuse_names(connection, text, path)
        last = vehicles.latest(connection).get(key)
        if last and last.digest == reading.own.digest:
            raise Refused(
                f"{key} is stored already with just these figures (revision {last.revision}). Nothing was changed."
            )
        stored = vehicles.add(connection, reading.own, text)
    own_file = path_of(term, key)
    if own_file.resolve() != path.resolve():
        files.write_text(own_file, text, keep=True)
    return stored, reading


def _read(path, key):
    """As `read.read_file`; a file in which only the words of the example were changed asks for a second look."""
    reading, text = read.read_file(path, key)
    sample = {("source", name): "x" for name in ("manual", "page", "entered_by")}
    example = read.read_text(template.write({**template.EXAMPLE, **sample}), key).own
    assert example is not None  # nothing in it keeps it out
    mine = reading.own and replace(reading.own.vehicle, title=example.vehicle.title, use=example.vehicle.use)
    if mine == example.vehicle:
        reading.remarks.append((1, "Every figure is still that of the example. Put in those of the manual."))
    return reading, text


def listed(term: Term) -> list[vehicles.Revision]:
    """The last revision of every vehicle, in order of key."""
    with database.reading(term) as connection:
        return list(vehicles.latest(connection).values())


def one(term: Term, key: str) -> list[vehicles.Revision]:
    """All revisions of one vehicle, the last one last.

    Raises
    ------
    Unknown
        Not stored.
    """
    with database.reading(term) as connection:
        revisions = vehicles.revisions(connection, key)
        have = vehicles.latest(connection)
    if not revisions:
        raise Unknown(
            f"No vehicle {key!r} is stored in this term; there are {', '.join(have) or 'none'}. 'vehicle add' stores one."
        )
    return revisions


def compare(connection: Connection) -> list[str]:
    """Sentences about vehicles that records, ledger and issued numbers do not tell alike.

    Returns
    -------
    list of str
    """
    findings, stored = [], vehicles.revisions(connection)
    by_digest = {revision.digest: revision for revision in stored}
    noted = [(entry["module"], entry["new"], entry["sha256"]) for _, _, entry in ledger.entries(connection, "vehicle")]
    held = [("", revision.line, revision.digest) for revision in stored]
    modules = connection.execute(select(vehicles.drawn_from.c.module).distinct()).scalars().all()
    held += [
        (key, revision.line, revision.digest) for key in modules for revision in vehicles.assigned(connection, key)
    ]
    for module, line, _ in sorted(set(noted) ^ set(held)):
        what = f"{module} draws from {line}" if module else f"vehicle {line}"
        findings.append(f"{what}: records and ledger do not say the same.")
    for revision in stored:
        if hashlib.sha256(revision.content.encode()).hexdigest() != revision.digest:
            findings.append(f"vehicle {revision.line}: its figures were changed after it was stored.")
    for row in connection.execute(select(schema.issue).where(schema.issue.c.record.contains(DIGEST))):
        findings += _check_issue(row, by_digest)
    return findings


def _check_issue(row, by_digest):
    """Whether what an issue derives from an own vehicle comes out again from the revision that it names."""
    exercises = json.loads(row.record)["exercises"]
    try:
        asked = catalogue.module(row.module).as_issued(exercises).exercises
    except BadSheet as problem:
        yield f"{row.trainee}, {row.module}: {problem}"
        return
    for exercise in asked:
        given = exercises[exercise.key]["parameters"]
        if DIGEST not in given:
            continue
        who, revision = f"{row.trainee}, {exercise.key}", by_digest.get(given[DIGEST])
        if revision is None:
            yield f"{who}: drawn from a vehicle that is not in the records ({given[ENGINE]})."
        elif exercise.fill:
            derived = json.loads(json.dumps(exercise.fill({**given, ENGINE: revision.own.vehicle})))
            for name in sorted(derived):
                if given.get(name) != derived[name]:
                    yield f"{who}: {name} is not what vehicle {revision.line} gives."


def _refuse_names(connection, text, path):
    """A vehicle stays when a trainee's records are deleted, so it must not name one."""
    people = roster.everyone(connection)
    for person in people:
        mine = traces.words(person, [other for other in people if other is not person])
        for number, line in enumerate(text.splitlines(), 1):
            if traces.mentions(line.encode(), mine):
                raise Refused(
                    f"{path.name} line {number} holds a name or id of the class list. A vehicle is kept when a trainee's "
                    "records are deleted, so leave trainees out of it; for yourself, initials will do. Nothing was stored."
                )
