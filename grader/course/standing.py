"""Where each trainee stands in a module: one state word, and the mark that counts."""

from dataclasses import dataclass

from sqlalchemy import select

from grader import clock
from grader.course import roster
from grader.course.records import schema

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


def standings(term, connection, module_keys):
    """Standings of everybody enrolled, or withdrawn with a mark, in order of name.

    The attempt shown is the marked one with the best mark, else the latest.
    """
    issues, hand_ins, marks = {}, {}, {}
    for row in connection.execute(select(schema.issue)):
        issues.setdefault((row.trainee, row.module), []).append(row)
    for row in connection.execute(select(schema.hand_in).order_by(schema.hand_in.c.id)):
        hand_ins[row.trainee, row.module, row.attempt] = row
    for row in connection.execute(select(schema.mark)):
        marks[row.trainee, row.module, row.attempt] = row
    found = []
    for person in roster.everyone(connection):
        for module in module_keys:
            mine = sorted(issues.get((person.id, module), ()), key=lambda issue: issue.attempt)
            marked = [marks[person.id, module, i.attempt] for i in mine if (person.id, module, i.attempt) in marks]
            if person.status == roster.WITHDRAWN and not marked:
                continue
            found.append(_standing(person, module, mine, marked, hand_ins))
    return found


def missing_is_zero(term, standing):
    """True if absent work counts nothing in totals: by the setting, and only after the due time."""
    past = bool(standing.due) and clock.now() > clock.from_text(standing.due)
    return term.settings.missing_counts_zero and standing.state == NOT_HANDED_IN and past


def _standing(person, module, issues, marked, hand_ins):
    if not issues:
        return Standing(person, module, None, NOT_ASSIGNED, "", "", None)
    if marked:
        best = max(marked, key=lambda row: (row.mark, row.attempt))
        due = next(issue.due for issue in issues if issue.attempt == best.attempt)
        return Standing(person, module, best.attempt, best.state, due, best.handed_in_at, best)
    last = issues[-1]
    hand_in = hand_ins.get((person.id, module, last.attempt))
    if hand_in is None:
        return Standing(person, module, last.attempt, NOT_HANDED_IN, last.due, "", None)
    return Standing(person, module, last.attempt, HANDED_IN, last.due, hand_in.received_at, None)
