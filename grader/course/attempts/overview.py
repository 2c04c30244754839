"""What a term holds, in a few lines and one table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from typing import Any

from sqlalchemy import func, select

from grader import clock
from grader.course.attempts import standing
from grader.exercise import hand_in
from grader.exercise.model import Module
from grader.records import adjustments, database, schema
from grader.records.term import policy, roster
from grader.records.term.term import Term


def assigned(term: Term) -> list[str]:
    """Keys of the assigned modules, in order."""
    with database.reading(term) as connection:
        return standing.assigned_modules(connection)


def lines(term: Term) -> Iterator[str]:
    """Settings and the state of every assigned module, as sentences."""
    settings = term.settings
    yield f"{settings.title} ({term.id}), {term.folder}"
    yield (
        f"Pass {settings.pass_percent:g} %. Late: {settings.late_percent_per_day:g} % of the {settings.late_basis} a day, "
        f"nothing after {settings.late_days_until_nothing} days. Attempts: {settings.attempts}. Zone: {settings.zone}."
    )
    if term.policy != policy.DEFAULT:
        yield f"It has a {policy.NAME}; 'term policy' says what it asks for."
    with database.reading(term) as connection:
        for row in connection.execute(select(schema.assignment).order_by(schema.assignment.c.module)):
            due = f"due {term.shown(clock.from_text(row.due))}" if row.due else "no due time"
            others = _other_dues(connection, row)
            due += f"; another for {others}" if others else ""
            if row.withdrawn:
                yield f"{row.module} ({row.mode}, {due}): withdrawn: {row.withdrawn}"
                continue
            states = Counter(attempt.state for attempt in standing.standings(term, connection, [row.module]))
            counts = ", ".join(f"{n} {state}" for state, n in states.items())
            yield f"{row.module} ({row.mode}, {due}): {counts or 'nobody is left'}"
            yield from _still_open(term, connection, row.module)


def _still_open(term, connection, module_key):
    """Sentences about extensions that have not passed and resits that were not handed in."""
    now, decided = clock.to_text(clock.now()), adjustments.read(connection)
    people = {person.id: person for person in roster.everyone(connection, enrolled_only=True)}
    there = set(
        connection.execute(select(schema.hand_in.c.trainee, schema.hand_in.c.module, schema.hand_in.c.attempt)).all()
    )
    table, extended, resits = schema.issue, [], []
    last: dict[str, Any] = {}
    query = select(table.c.trainee, table.c.module, table.c.attempt, table.c.due).where(table.c.module == module_key)
    for issue in connection.execute(query.order_by(table.c.attempt)):
        last[issue.trainee] = issue
    for trainee, person in people.items():
        issue = last.get(trainee)
        if issue is None or tuple(issue[:3]) in there:
            continue
        until = decided.until.get(adjustments.owner(issue), "")
        if until > now:
            extended.append(f"{person.name} {term.shown(clock.from_text(until))}")
        elif issue.attempt > 1:
            due = f", due {term.shown(clock.from_text(issue.due))}" if issue.due else ""
            resits.append(f"{person.name}, attempt {issue.attempt}{due}")
    if extended:
        yield f"  extended until: {'; '.join(extended)}"
    if resits:
        yield f"  resits not handed in: {'; '.join(resits)}"


def receipts(term: Term) -> Iterator[str]:
    """The receipt of everybody's last hand-in of each module, as the trainee's page showed it."""
    table = schema.hand_in
    with database.reading(term) as connection:
        last = {}
        for row in connection.execute(select(table).order_by(table.c.received_at, table.c.id)):
            last[row.trainee, row.module] = row
        for person in roster.everyone(connection):
            for (trainee, module_key), row in sorted(last.items()):
                if trainee == person.id:
                    came = term.shown(clock.from_text(row.received_at))
                    yield f"{person.college_id:<12} {person.name:<28} {module_key:<20} {hand_in.short(row.sha256)}  {came}"


def _other_dues(connection, assignment):
    """How many trainees have another due time for their first numbers than the module has."""
    table = schema.issue
    mine = (table.c.module == assignment.module, table.c.attempt == 1, table.c.due != assignment.due)
    return connection.execute(select(func.count()).select_from(table).where(*mine)).scalar_one()


def slips(term: Term, module_key: str) -> list[tuple[str, str, int]]:
    """(exercise key, slip key, count) of a module's marked answers, commonest first; what a resit keeps counts once."""
    table = schema.answer
    with database.reading(term) as connection:
        kept = standing.kept_answers(connection, module_key)
        rows = connection.execute(select(table).where(table.c.module == module_key, table.c.slip != ""))
        counts = Counter((row.part, row.slip) for row in rows if not standing.is_kept(row, kept))
    return [(part, slip, count) for (part, slip), count in counts.most_common()]


def changes(changed: Iterable[Any]) -> Iterator[str]:
    """A line for every mark that a marking run would write, with the parts that move it."""
    for change in changed:
        if change.old is None:
            yield f"{change.trainee}: new, {change.new / 100:g}"
            continue
        moved = ", ".join(f"{path} {_figure(old)} → {_figure(new)}" for path, old, new in change.parts)
        what = "same hand-in" if change.same_work else "new hand-in"
        yield f"{change.trainee}: {change.old / 100:g} → {change.new / 100:g} ({what}){': ' + moved if moved else ''}"


def _figure(hundredths):
    return "not read" if hundredths is None else f"{hundredths / 100:g}"


def marks_table(term: Term, module: Module) -> list[tuple[standing.Standing, dict[str, int | None]]]:
    """Rows of the table of marks by trainee and exercise.

    Returns
    -------
    list of (Standing, dict of exercise key to hundredths)
        Empty dictionary where nothing is marked; None for an exercise that waits to be read.
    """
    with database.reading(term) as connection:
        by_trainee = {}
        table = schema.answer
        for row in connection.execute(select(table).where(table.c.module == module.key)):
            marks = by_trainee.setdefault((row.trainee, row.attempt), {})
            so_far = marks.get(row.exercise, 0)
            marks[row.exercise] = None if row.hundredths is None or so_far is None else so_far + row.hundredths
        for (trainee, unit, attempt), by_hand in adjustments.read(connection).overrides.items():
            if unit == module.key:
                by_trainee.setdefault((trainee, attempt), {}).update(by_hand)
        return [
            (held, by_trainee.get((held.person.id, held.attempt), {}))
            for held in standing.standings(term, connection, [module.key])
        ]
