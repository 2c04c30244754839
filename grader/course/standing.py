"""Where each trainee stands in a module: one state word, and the mark that counts."""

from dataclasses import dataclass, replace

from sqlalchemy import select

from grader import catalogue, clock
from grader.course import roster
from grader.course.records import adjustments, schema
from grader.errors import Refused

NOT_ASSIGNED, NOT_HANDED_IN, HANDED_IN = "not assigned", "not handed in", "handed in"
PARTLY_MARKED, MARKED, EXCUSED = "partly marked", "marked", "excused"


@dataclass(frozen=True, slots=True)
class Standing:
    """One trainee in one module. Marks are hundredths; None where there is none."""

    person: roster.Trainee
    module: str
    attempt: int | None
    state: str
    due: str
    handed_in_at: str
    mark: object | None  # row of tm_mark
    extension_until: str = ""
    attempts: int = 0  # how many were issued


def assigned_modules(connection):
    """Keys of the modules that were assigned in this term, in order."""
    return sorted(connection.execute(select(schema.assignment.c.module)).scalars())


def must_be_assigned(connection, module_key):
    """Refuse a module that was never assigned in this term."""
    assigned = select(schema.assignment.c.module).where(schema.assignment.c.module == module_key)
    if connection.execute(assigned).first() is None:
        raise Refused(f"{module_key} was not assigned in this term. Run 'assign {module_key}' first.")


def listed_modules(connection):
    """Keys of the modules that a table of the term lists: those assigned, or all before the first is."""
    return assigned_modules(connection) or list(catalogue.all_modules())


def standings(term, connection, module_keys, *, people=None, decided=None):
    """Standings of everybody enrolled, or withdrawn with a mark, in order of name.

    `people` are a part of them in that order, and `decided` the decisions, where the
    caller goes through a large class part by part.

    The attempt shown is the marked one with the best mark, else the latest. Whoever
    is excused has no mark, whatever he handed in. `due` is after any extension.
    """
    issues, hand_ins, marks = {}, {}, {}
    table = schema.issue
    wanted = (table.c.trainee, table.c.module, table.c.attempt, table.c.due)  # the records of the numbers are long
    names = None if people is None else [person.id for person in people]

    def rows(query, column):
        return connection.execute(query if names is None else query.where(column.in_(names)))

    for row in rows(select(*wanted).where(table.c.module.in_(module_keys)), table.c.trainee):
        issues.setdefault((row.trainee, row.module), []).append(row)
    for row in rows(select(schema.hand_in).order_by(schema.hand_in.c.id), schema.hand_in.c.trainee):
        hand_ins[row.trainee, row.module, row.attempt] = row
    for row in rows(select(schema.mark), schema.mark.c.trainee):
        marks[row.trainee, row.module, row.attempt] = row
    decided = decided or adjustments.read(connection)
    found = []
    for person in roster.everyone(connection) if people is None else people:
        for module in module_keys:
            mine = sorted(issues.get((person.id, module), ()), key=lambda issue: issue.attempt)
            marked = [marks[person.id, module, i.attempt] for i in mine if (person.id, module, i.attempt) in marks]
            if person.status == roster.WITHDRAWN and not marked:
                continue
            found.append(replace(_standing(person, module, mine, marked, hand_ins, decided), attempts=len(mine)))
    return found


def best_attempt(connection, trainee, module_key):
    """The marked attempt that counts: the best, of equal ones the later; None where nothing is marked."""
    table = schema.mark
    query = select(table.c.attempt).where(table.c.trainee == trainee, table.c.module == module_key)
    return connection.execute(query.order_by(table.c.mark.desc(), table.c.attempt.desc())).scalar()


def write_best(connection, module, rows, person, decided):
    """Put the attempt that counts into nbgrader's rows, from the records."""
    wanted = (person.id, module.key, best_attempt(connection, person.id, module.key))
    marks, answers = schema.mark, schema.answer
    mark = connection.execute(
        select(marks).where(marks.c.trainee == wanted[0], marks.c.module == wanted[1], marks.c.attempt == wanted[2])
    ).one()
    earned = {}
    for row in connection.execute(
        select(answers).where(
            answers.c.trainee == wanted[0], answers.c.module == wanted[1], answers.c.attempt == wanted[2]
        )
    ):
        earned.setdefault(row.exercise.partition(".")[2], []).append(row.hundredths)
    computed = {name: sum(parts) for name, parts in earned.items() if None not in parts}
    by_hand = {key.partition(".")[2]: mark for key, mark in decided.overrides.get(wanted, {}).items()}
    rows.write(person, clock.from_text(mark.handed_in_at), computed, mark.penalty, by_hand)


def missing_is_zero(term, standing):
    """True if absent work counts nothing in totals: by the setting, and only after the due time."""
    past = bool(standing.due) and clock.now() > clock.from_text(standing.due)
    return term.settings.missing_counts_zero and standing.state == NOT_HANDED_IN and past


def _standing(person, module, issues, marked, hand_ins, decided):
    if (person.id, module) in decided.excused:
        return Standing(person, module, None, EXCUSED, "", "", None)
    if not issues:
        return Standing(person, module, None, NOT_ASSIGNED, "", "", None)
    best = max(marked, key=lambda row: (row.mark, row.attempt)) if marked else None
    issue = next(issue for issue in issues if issue.attempt == best.attempt) if best else issues[-1]
    extension = decided.until.get(adjustments.owner(issue), "")
    due = extension or issue.due
    if best:
        return Standing(person, module, best.attempt, best.state, due, best.handed_in_at, best, extension)
    hand_in = hand_ins.get(adjustments.owner(issue))
    state, arrived = (HANDED_IN, hand_in.received_at) if hand_in else (NOT_HANDED_IN, "")
    return Standing(person, module, issue.attempt, state, due, arrived, None, extension)
