"""What another policy would change in a class, seen before it is put in force."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from grader.course.attempts import standing
from grader.records import database
from grader.records.term import policy, policy_in_force
from grader.records.term.roster import Trainee
from grader.records.term.term import Term


@dataclass(frozen=True, slots=True)
class Moved:
    """One trainee whose module would be passed or not passed where it was otherwise; blank is not decided yet."""

    person: Trainee
    module: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Change:
    """What a policy would change in one class: sentences in force now and then, and who would pass or not.

    `same` is true where it is in force already, word for word.
    """

    term: Term
    now: list[str]
    then: list[str]
    moved: list[Moved]
    same: bool


def preview(opened: Sequence[Term], path: str | Path) -> list[Change]:
    """What putting a policy in force would change in some classes; nothing is written.

    Raises
    ------
    BadFile
        The file cannot be used.
    """
    new = policy.read(Path(path))
    return [_change(term, replace(term, policy=new), path) for term in opened]


def _change(term, after, path):
    now, then = (list(policy_in_force.lines(either)) for either in (term, after))
    with database.reading(term) as connection:
        modules = standing.assigned_modules(connection)
        pairs = zip(*(standing.standings(either, connection, modules) for either in (term, after)), strict=True)
        moved = [
            Moved(old.person, old.module, old.passed, new.passed) for old, new in pairs if old.passed != new.passed
        ]
    return Change(
        term,
        [line for line in now if line not in then],
        [line for line in then if line not in now],
        moved,
        policy_in_force.is_in_force(term, path),
    )
