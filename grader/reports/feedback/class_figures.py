"""What a class report tells, as plain figures: marks, slips, who needs help, and how the months compare."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select

from grader import clock
from grader.course.attempts import evaluation, kept, lateness, overview, passing, standing
from grader.course.attempts.standing import Standing
from grader.exercise.model import Exercise, Module
from grader.exercise.part import Listed, Part, sayings
from grader.exercise.truth import Truth
from grader.marking.verdict import BLANK, UNREADABLE, WRONG
from grader.records import adjustments, database, schema
from grader.records.term import roster
from grader.records.term.roster import Trainee
from grader.records.term.term import Term
from grader.reports.tables import statistics

CLOSE = 0.05  # of the module's marks: so near to the pass mark one slip more or less decides
NOUGHTS = 0.5  # stuck: no mark in at least this share of the exercises that were read


@dataclass(frozen=True, slots=True)
class Slip:
    """A slip, how often it was made, in how many answers that were given, and what to say about it."""

    path: str
    title: str
    count: int
    answers: int
    says: str


@dataclass(frozen=True, slots=True)
class Chosen:
    """A wrong option to which no slip leads, how often it was chosen, in how many answers, and what speaks against it."""

    path: str
    title: str
    option: str
    count: int
    answers: int
    says: str


@dataclass(frozen=True, slots=True)
class Month:
    """One module of one term. `people` had it; `mean` is per cent, None below ten complete marks."""

    term: str
    module: str
    assigned_at: str
    people: int
    marked: int
    passed: int
    missing: int
    mean: float | None
    practice: bool = False


def slips(term: Term, module: Module) -> list[Slip]:
    """Slips of a module, commonest first; of equal counts the earlier in the lesson comes first.

    An answer that a resit keeps was given once and is counted once.

    Returns
    -------
    list of Slip
    """
    return [
        Slip(path, title, count, answers, sayings(part).get(key, key))
        for path, title, part, key, count, answers in _counted(term, module, lambda row, _: row.slip)
    ]


def chosen(term: Term, module: Module) -> list[Chosen]:
    """Wrong options to which no slip leads, in the order of `slips`.

    Returns
    -------
    list of Chosen
    """

    def option(row, part):
        key = row.raw.strip()
        return key if row.verdict == WRONG and key in part.signs else ""

    return [
        Chosen(path, title, part.wording[key], count, answers, part.signs[key])
        for path, title, part, key, count, answers in _counted(term, module, option)
    ]


def habits(term: Term, module: Module) -> list[Listed]:
    """Where the class loses its way in answers that are a road of many steps; nothing in a module without one.

    Returns
    -------
    list of Listed
    """
    parts = {f"{e.key}.{p.key}": p for e in module.exercises for p in e.parts if p.keeps_a_log}
    if not parts:
        return []
    worked: dict[str, list[tuple[Any, Any]]] = {path: [] for path in parts}
    table = schema.answer
    with database.reading(term) as connection:
        kept_from = standing.kept_answers(connection, module.key)
        issues = {
            adjustments.owner(row): row
            for row in connection.execute(select(schema.issue).where(schema.issue.c.module == module.key))
        }
        for row in connection.execute(select(table).where(table.c.module == module.key, table.c.part.in_(parts))):
            if standing.is_kept(row, kept_from) or row.verdict in (BLANK, UNREADABLE):
                continue
            numbers = evaluation.numbers(issues[adjustments.owner(row)])
            issued = module.as_issued(numbers)
            truth = Truth(issued, {key: entry["parameters"] for key, entry in numbers.items()})
            worked[row.part].append((truth.answer(row.part), parts[row.part].read(row.raw)))
    first = next(iter(parts.values()))
    return first.class_tables([pair for pairs in worked.values() for pair in pairs])


def _counted(term, module, key_of: Callable[[Any, Part], str | None]) -> Iterator[tuple[str, str, Part, str, int, int]]:
    """(path, title, part, key, how many answers have that key, how many were given), commonest first."""
    table = schema.answer
    parts = {f"{e.key}.{p.key}": (e, p) for e in (*module.old, *module.exercises) for p in e.parts}
    order = {path: n for n, path in enumerate(parts)}
    answers_by_key: Counter[tuple[str, str]] = Counter()
    given: Counter[str] = Counter()
    with database.transaction(term) as connection:
        kept = standing.kept_answers(connection, module.key)
        for row in connection.execute(select(table).where(table.c.module == module.key)):
            if standing.is_kept(row, kept):
                continue
            given[row.part] += row.verdict != BLANK
            if key := key_of(row, parts[row.part][1]):
                answers_by_key[row.part, key] += 1
    for (path, key), count in sorted(answers_by_key.items(), key=lambda item: (-item[1], order[item[0][0]], item[0])):
        exercise, part = parts[path]
        yield path, f"{exercise.title}: {part.prompt}", part, key, count, given[path]


def needs(term: Term, table: Iterable[tuple[Standing, Mapping[str, int | None]]]) -> list[tuple[Trainee, str, str]]:
    """Everybody who has not come through safely, most urgent first, with the next step.

    Whoever failed, is close to the pass mark, has not handed in, waits for a resit, or whose
    file is not marked. Whoever has left is not listed.

    Parameters
    ----------
    term : Term
    table : list
        Of overview.marks_table.

    Returns
    -------
    list of (Trainee, str, str)
        Who, what it is, what to do.
    """
    with database.transaction(term) as connection:
        started = set(connection.execute(select(schema.hand_in.c.trainee)).scalars())
        too_late, undecided, resits = lateness.barred(connection), kept.waiting(connection), _resits(connection)
    ranked = []
    for attempt, marks in table:
        if attempt.person.status == roster.WITHDRAWN:
            continue
        if (attempt.person.id, attempt.module, attempt.attempt) in undecided:
            what = "handed in again, and it waits for your decision"
            ranked.append((2, attempt.person, what, "run 'received' with --accept or --set-aside, and a reason"))
        for rank, what, do in _needs(term, attempt, marks, started, too_late, resits):
            ranked.append((rank, attempt.person, what, do))
    return [(person, what, do) for _, person, what, do in sorted(ranked, key=lambda entry: entry[0])]


def _resits(connection):
    """(trainee, module) -> (attempt, due, whether it was handed in) of a further attempt that is not marked yet."""
    issue, decided = schema.issue, adjustments.read(connection)
    marked = {adjustments.owner(row) for row in connection.execute(select(schema.mark))}
    handed_in = {adjustments.owner(row) for row in connection.execute(select(schema.hand_in))}
    columns = (issue.c.trainee, issue.c.module, issue.c.attempt, issue.c.due)
    rows = connection.execute(select(*columns).where(issue.c.attempt > 1).order_by(issue.c.attempt)).all()
    owners = [(adjustments.owner(row), decided.due_text(row)) for row in rows]
    return {owner[:2]: (owner[2], due, owner in handed_in) for owner, due in owners if owner not in marked}


def _needs(term, attempt, marks, started, too_late, resits):
    """(rank, what it is, what to do) of one trainee; ranks from the most urgent."""
    if attempt.state == standing.NOT_HANDED_IN:
        what = "has not handed in" if attempt.person.id in started else "has handed in nothing this term"
        yield _missing(term, attempt, what)
    elif attempt.state == standing.HANDED_IN:
        yield 2, "handed in a file that is not marked", "run 'mark'; its finding says what to do"
    if (attempt.person.id, attempt.module, attempt.attempt) in too_late:
        yield (
            2,
            "handed in after the sheet was returned; it does not count",
            "run 'extend' with a reason to accept it, or say that it came too late",
        )
    if attempt.mark is None:
        return
    if (attempt.person.id, attempt.module) in resits:
        yield _resit(term, *resits[attempt.person.id, attempt.module])
        return
    noughts = f"no mark in {sum(value == 0 for value in marks.values())} of {len(marks)} exercises"
    if attempt.passed == passing.NO:
        again = (
            "then give a resit"
            if attempt.attempts < term.settings.attempts
            else (f"all {term.settings.attempts} attempts of term.toml are used: decide together how to go on")
        )
        missed = _over(term, attempt)
        if stuck(marks):
            yield 3, f"is stuck: {noughts}", f"sit down together, {again}"
        elif attempt.failed:
            yield (
                4,
                f"has not met {', '.join(attempt.failed)}, without which nobody passes",
                f"show it once more, {again}",
            )
        elif -missed <= CLOSE * attempt.mark.most:
            yield 5, f"missed the pass mark by {_marks(-missed)}", f"look at the sheet once more, {again}"
        else:
            yield (
                5,
                f"did not pass: {_marks(attempt.mark.mark)} of {attempt.mark.most / 100:g}",
                f"go through the sheet together, {again}",
            )
    elif stuck(marks):
        yield 3, f"is stuck: {noughts}", "sit down together"
    elif attempt.passed == passing.YES and _over(term, attempt) <= CLOSE * attempt.mark.most:
        yield (
            7,
            f"just passed, with {_marks(_over(term, attempt))} to spare"
            if _over(term, attempt)
            else "just reached the pass mark",
            "go through what was lost before it is needed",
        )


def _missing(term, attempt, what):
    """Of somebody who handed in nothing: the due time, or the extension, may be over or still run."""
    if not attempt.due:
        return 1, what, "ask what holds the work up; there is no due time"
    shown, over = term.shown(clock.from_text(attempt.due)), clock.now() > clock.from_text(attempt.due)
    if attempt.extension_until and over:
        return 0, f"{what}; the extension passed on {shown}", "ask; extend again or excuse, with a reason"
    if attempt.extension_until:
        return 8, what, f"extended until {shown}; remind before that"
    if over:
        return (
            1 if what == "has not handed in" else 0,
            f"{what}; due was {shown}",
            "ask what holds the work up; extend or excuse, with a reason",
        )
    return 8, what, f"due {shown}; remind before that"


def _resit(term, attempt, due, handed_in):
    if handed_in:
        return 2, f"handed in attempt {attempt}, which is not marked", "run 'mark'; its finding says what to do"
    if due and clock.now() > clock.from_text(due):
        return (
            1,
            f"let the resit pass: attempt {attempt} was due {term.shown(clock.from_text(due))}",
            "ask; extend with a reason, or let the first mark stand",
        )
    until = f", due {term.shown(clock.from_text(due))}" if due else ""
    return 6, f"has attempt {attempt} to hand in{until}", "go through what was lost before that"


def _over(term, attempt):
    """Hundredths by which a mark lies over the pass mark; below nought where it missed it."""
    return float(attempt.mark.mark - passing.as_written(term.pass_percent(attempt.module)) * attempt.mark.most / 100)


def _marks(hundredths):
    shown = f"{hundredths / 100:.2f}".rstrip("0").rstrip(".")
    return f"{shown} mark{'' if shown == '1' else 's'}"


def stuck(marks: Mapping[str, int | None]) -> bool:
    """Whether somebody earned nothing in at least half of the exercises that were read."""
    read = [value for value in marks.values() if value is not None]
    return bool(read) and sum(value == 0 for value in read) >= NOUGHTS * len(read)


def by_exercise(
    module: Module, table: Sequence[tuple[Standing, Mapping[str, int | None]]]
) -> list[tuple[Exercise, int, int, int, int]]:
    """[(exercise, full, part, none, waiting)]: how many trainees earned how much."""
    counted = []
    for exercise in module.exercises:
        values = [marks[exercise.key] for _, marks in table if exercise.key in marks]
        most = exercise.marks * 100
        full = sum(v is not None and v >= most for v in values)
        none, waits = values.count(0), values.count(None)
        counted.append((exercise, full, len(values) - full - none - waits, none, waits))
    return counted


def months(opened: Iterable[Term]) -> list[Month]:
    """The modules of some terms in the order in which they were assigned.

    Returns
    -------
    list of Month
    """
    listed = []
    for term in opened:
        with database.transaction(term) as connection:
            table = schema.assignment
            assigned = connection.execute(
                select(table.c.module, table.c.assigned_at).where(table.c.withdrawn == "")
            ).all()
            for module, at in assigned:
                people = [
                    attempt
                    for attempt in standing.standings(term, connection, [module])
                    if attempt.state != standing.NOT_ASSIGNED
                ]
                done = [
                    (attempt, attempt.mark)
                    for attempt in people
                    if attempt.mark is not None and attempt.state == standing.MARKED
                ]
                whole = [mark for _, mark in done]
                missing = sum(attempt.state == standing.NOT_HANDED_IN for attempt in people)
                practice = not all(attempt.counts for attempt in people)
                good = sum(attempt.passed == passing.YES for attempt, _ in done)
                mean = (
                    100 * sum(mark.mark / mark.most for mark in whole) / len(whole)
                    if len(whole) >= statistics.FEW
                    else None
                )
                listed.append(Month(term.id, module, at, len(people), len(whole), good, missing, mean, practice))
    return sorted(listed, key=lambda month: (month.assigned_at, month.term, month.module))


def marks(term: Term, module: Module) -> list[tuple[Standing, dict[str, int | None]]]:
    """Standing and marks by exercise of everybody who had the module, in order of name."""
    return [row for row in overview.marks_table(term, module) if row[0].state != standing.NOT_ASSIGNED]
