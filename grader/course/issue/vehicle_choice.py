"""Drawing a module's numbers from the term's own vehicles: which of them can serve, and proof before anything is written."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import Connection, Row, select

from grader.errors import Refused, Unknown
from grader.exercise import variant
from grader.exercise.model import Module
from grader.records import database, vehicles
from grader.records.term.roster import Trainee
from grader.records.term.term import Term
from grader.vehicle.own import PLUGGED

_TRIALS = 8  # draws from each vehicle alone: with several, one that never fits would be passed over in silence


def chosen(
    connection: Connection, module: Module, keys: Sequence[str], *, first: Row | None, some: bool
) -> tuple[vehicles.Revision, ...]:
    """The revisions that numbers of a module are to be drawn from.

    Parameters
    ----------
    connection : Connection
    module : Module
    keys : sequence of str
        As asked for; empty for those of the first assign.
    first : row or None
        Of the first assign.
    some : bool
        Only some trainees are chosen; they may have other vehicles.

    Returns
    -------
    tuple of Revision
        Empty for the teaching vehicles.

    Raises
    ------
    Unknown
        A vehicle that is not stored.
    Refused
        Other vehicles than the first time, for all.
    """
    before = vehicles.assigned(connection, module.key)
    if not keys:
        return before
    have = vehicles.latest(connection)
    missing = [key for key in keys if key not in have]
    if missing:
        raise Unknown(
            f"No vehicle {missing[0]!r} is stored in this term; there are {', '.join(have) or 'none'}. Store it with "
            "'vehicle add' first; nothing was changed."
        )
    wanted = tuple(have[key] for key in dict.fromkeys(keys))
    if first is not None and not some and wanted != before:
        drawn = ", ".join(revision.line for revision in before) or "the teaching vehicles"
        raise Refused(
            f"{module.key} was assigned with numbers drawn from {drawn}. Nothing was changed; leave out --vehicle for those "
            "who joined since, or name a --group or --trainee for another vehicle."
        )
    return wanted


def prove(term: Term, module: Module, people: Sequence[Trainee], revisions: Sequence[vehicles.Revision]) -> None:
    """Draw once for everybody without writing, and from each vehicle alone.

    Raises
    ------
    Refused
        A vehicle that no exercise can use, or whose figures keep a right answer
        and a slip too close together.
    """
    owns = [revision.own for revision in revisions]
    for own in owns:
        takers = [exercise for exercise in module.exercises if variant.engines(exercise, [own])]
        if not takers:
            why = (
                "takes an engine"
                if not any(variant.ENGINE in e.draw for e in module.exercises)
                else "takes a 6 V engine"
            )
            raise Refused(
                f"No exercise of {module.key} {why}, so {own.vehicle.key} cannot be used. Nothing was changed."
            )
        drawn = [
            _draw(module, [own], variant.PRACTICE_KEY, "trial", f"trial {number}", own.vehicle.title)
            for number in range(_TRIALS)
        ]
        _refuse_connected(module, own, drawn[-1])
    if owns:
        for person in people:
            _draw(module, owns, term.key, term.id, person.id, ", ".join(own.vehicle.title for own in owns))


def notes(module: Module, revisions: Sequence[vehicles.Revision]) -> tuple[str, ...]:
    """Sentences about what the numbers are drawn from; none for the teaching vehicles.

    Returns
    -------
    tuple of str
    """
    owns = [revision.own for revision in revisions]
    if not owns:
        return ()
    kept = [e.name for e in module.exercises if variant.ENGINE in e.draw and not variant.engines(e, owns)]
    sentences = ["drawn from " + ", ".join(f"{revision.own.vehicle.title} ({revision.line})" for revision in revisions)]
    if kept:
        sentences.append(f"{', '.join(kept)} keeps the teaching vehicles, since it needs a 12 V battery")
    return tuple(sentences)


def modules_of(term: Term, key: str) -> dict[int, list[str]]:
    """Revision of a vehicle -> keys of the modules handed out with it; an assignment keeps its revision.

    Parameters
    ----------
    term : Term
    key : str

    Returns
    -------
    dict of int to list of str
    """
    table, by_revision = vehicles.drawn_from, {}
    with database.reading(term) as connection:
        query = select(table).where(table.c.key == key).order_by(table.c.module)
        for row in connection.execute(query):
            by_revision.setdefault(row.revision, []).append(row.module)
    return by_revision


def _draw(module, owns, key, term_id, trainee, title):
    try:
        return variant.draw(module, key=key, term=term_id, trainee=trainee, attempt=1, own=owns)
    except variant.Inseparable as problem:
        exercise = str(problem).partition(":")[0]
        raise Refused(
            f"{title}: with these figures no numbers for {exercise} keep the right answer apart from its slips. Nothing was "
            "changed; compare the figures with the manual, or leave this vehicle out of this module."
        ) from None


def _refuse_connected(module, own, drawn):
    """Exercises on the initial timing speak of a line that is off and plugged."""
    if own.line == PLUGGED:
        return
    for exercise in module.exercises:
        given = drawn[exercise.key]
        if variant.DIGEST in given and "initial_deg" in given:
            raise Refused(
                f"The manual of {own.vehicle.title} sets the timing with the vacuum line {own.line}, and {exercise.key} asks "
                f"for it off and plugged. Leave this vehicle out of {module.key}; nothing was changed."
            )
