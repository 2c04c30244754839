"""One decision about several people: it is taken for all of whom it can be, and the others are named."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Generic, TypeVar

from grader.course.grading.work import Work
from grader.errors import Refused
from grader.records.term.roster import Trainee

Done = TypeVar("Done")


@dataclass(slots=True)
class Several(Generic[Done]):
    """What was done, one by one, and a sentence about everybody for whom it was not."""

    done: list[Done] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)


def each(work: Work, people: Sequence[Trainee], do: Callable[[Trainee], Done]) -> Several[Done]:
    """Do something for each of some people; of one for whom it is refused nothing is kept.

    Raises
    ------
    Refused
        It was refused for all; says why for the first.
    """
    several, first = Several(), None
    for person in people:
        try:
            with work.connection.begin_nested():
                several.done.append(do(person))
        except Refused as problem:
            first = first or problem
            several.left_out.append(f"{person.name}: {problem}")
    if first is not None and not several.done:
        raise first
    return several
