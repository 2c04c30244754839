"""What a class report tells, as plain figures: marks, slips, who needs help, and how the months compare."""

from collections import Counter
from dataclasses import dataclass

from sqlalchemy import select

from grader import catalogue
from grader.course.attempts import lateness, overview, passing, standing
from grader.exercise.model import sayings
from grader.marking.verdict import BLANK, WRONG
from grader.records import database, schema
from grader.reports.tables import statistics

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
    """One module of one term. `mean` is per cent, None below ten complete marks."""

    term: str
    module: str
    assigned_at: str
    people: int
    marked: int
    passed: int
    missing: int
    mean: float | None


def slips(term, module):
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


def chosen(term, module):
    """Wrong options to which no slip leads, in the order of `slips`.

    Returns
    -------
    list of Chosen
    """

    def option(row, part):
        key = row.raw.strip()
        return key if row.verdict == WRONG and key in getattr(part, "signs", ()) else ""

    return [
        Chosen(path, title, part.options[key], count, answers, part.signs[key])
        for path, title, part, key, count, answers in _counted(term, module, option)
    ]


def _counted(term, module, key_of):
    """(path, title, part, key, how many answers have that key, how many were given), commonest first."""
    table = schema.answer
    parts = {f"{e.key}.{p.key}": (e, p) for e in (*module.old, *module.exercises) for p in e.parts}
    order = {path: n for n, path in enumerate(parts)}
    found, given = Counter(), Counter()
    with database.transaction(term) as connection:
        kept = standing.kept_answers(connection, module.key)
        for row in connection.execute(select(table).where(table.c.module == module.key)):
            if standing.is_kept(row, kept):
                continue
            given[row.part] += row.verdict != BLANK
            if key := key_of(row, parts[row.part][1]):
                found[row.part, key] += 1
    for (path, key), count in sorted(found.items(), key=lambda item: (-item[1], order[item[0][0]], item[0])):
        exercise, part = parts[path]
        yield path, f"{exercise.title}: {part.prompt}", part, key, count, given[path]


def needs(term, table):
    """[(trainee, what it is, what to do)] of everybody who has not come through, most urgent first.

    Parameters
    ----------
    term : Term
    table : list
        Of overview.marks_table.
    """
    with database.transaction(term) as connection:
        started = set(connection.execute(select(schema.hand_in.c.trainee)).scalars())
        too_late = lateness.barred(connection)
    found = []
    for one, marks in table:
        if one.state == standing.NOT_HANDED_IN:
            never = one.person.id not in started
            until = (
                f"extended until {one.extension_until[:10]}" if one.extension_until else "ask what holds the work up"
            )
            found.append(
                (0 if never else 1, one, "has handed in nothing this term" if never else "has not handed in", until)
            )
        elif one.state == standing.HANDED_IN:
            found.append((2, one, "handed in a file that is not marked", "run 'mark'; its finding says what to do"))
        elif stuck(marks):
            noughts = sum(value == 0 for value in marks.values())
            found.append((3, one, f"is stuck: no mark in {noughts} of {len(marks)} exercises", "sit down together"))
        elif one.failed:
            what = f"has not met {', '.join(one.failed)}, without which nobody passes"
            found.append((4, one, what, "show it once more, then give a resit"))
    for one, _ in table:
        if (one.person.id, one.module, one.attempt) in too_late:
            what = "handed in after the sheet was returned; it does not count"
            found.append((2, one, what, "run 'extend' with a reason to accept it, or say that it came too late"))
    return [(one.person.name, what, do) for _, one, what, do in sorted(found, key=lambda entry: entry[0])]


def stuck(marks):
    """Whether somebody earned nothing in at least half of the exercises that were read."""
    read = [value for value in marks.values() if value is not None]
    return bool(read) and sum(value == 0 for value in read) >= NOUGHTS * len(read)


def by_exercise(module, table):
    """[(exercise, full, part, none, waiting)]: how many trainees earned how much."""
    found = []
    for exercise in module.exercises:
        values = [marks[exercise.key] for _, marks in table if exercise.key in marks]
        most = exercise.marks * 100
        full = sum(v is not None and v >= most for v in values)
        none, waits = values.count(0), values.count(None)
        found.append((exercise, full, len(values) - full - none - waits, none, waits))
    return found


def months(opened):
    """The modules of some terms in the order in which they were assigned.

    Returns
    -------
    list of Month
    """
    found = []
    for term in opened:
        with database.transaction(term) as connection:
            assigned = connection.execute(select(schema.assignment.c.module, schema.assignment.c.assigned_at)).all()
            for module, at in assigned:
                people = standing.standings(term, connection, [module])
                done = [one for one in people if one.mark is not None and one.state == standing.MARKED]
                whole = [one.mark for one in done]
                missing = sum(one.state == standing.NOT_HANDED_IN for one in people)
                good = sum(one.passed == passing.YES for one in done)
                mean = 100 * sum(mark.mark / mark.most for mark in whole) / len(whole) if len(whole) >= statistics.FEW else None  # fmt: skip
                found.append(Month(term.id, module, at, len(people), len(whole), good, missing, mean))
    return sorted(found, key=lambda month: (month.assigned_at, month.term, month.module))


def title(module_key):
    """Title of a module, or its key where this version has it no more."""
    return catalogue.all_modules()[module_key].title if module_key in catalogue.all_modules() else module_key


def marks(term, module):
    """Standing and marks by exercise of everybody, in order of name."""
    return overview.marks_table(term, module)
