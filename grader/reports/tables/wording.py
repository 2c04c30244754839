"""How pages name modules, questions, slips, people and results: in words, never by the keys of the records."""

from collections import Counter
from collections.abc import Iterable
from functools import cache

from grader import catalogue
from grader.course.attempts import passing, standing
from grader.exercise.model import Exercise
from grader.exercise.part import Part, sayings
from grader.records.term.roster import Trainee
from grader.records.term.term import Term

PASSED, NOT_PASSED, AGAIN, OPEN = "passed", "not passed", "sit again", "open until all is read"
MET = {
    passing.YES: "shown",
    passing.NO: "not yet shown",
    passing.WAITS: "an answer waits to be read",
    passing.TOO_FEW: "not examined often enough",
}


def module(key: str) -> str:
    """Title of a module, or its key where this version has it no more."""
    return catalogue.all_modules()[key].title if key in catalogue.all_modules() else key


def question(path: str) -> str:
    """A question by exercise and what it asks, from its path; the path where this version has it no more."""
    known = _parts().get(path)
    return path if known is None else f"{known[0].title}: {known[1].prompt}"


def slip(path: str, key: str) -> str:
    """What a slip of a question is and how to put it right; its key where this version has it no more."""
    known = _parts().get(path)
    return key if known is None else sayings(known[1]).get(key, key)


@cache
def _parts() -> dict[str, tuple[Exercise, Part]]:
    """Path -> (exercise, part), of earlier versions too."""
    return {
        f"{exercise.key}.{part.key}": (exercise, part)
        for unit in catalogue.all_modules().values()
        for exercise in (*unit.old, *unit.exercises)
        for part in exercise.parts
    }


def result(term: Term, attempt: standing.Standing) -> str:
    """What came of a module for somebody: passed, not passed, sit again; else how far the work has come.

    Sit again: a further attempt was issued, or may be.
    """
    if attempt.mark is None or not attempt.counts:
        return attempt.state
    if attempt.passed == passing.YES:
        return PASSED
    if attempt.passed != passing.NO:
        return OPEN
    words = (
        AGAIN if attempt.attempts < term.settings.attempts or attempt.attempts > attempt.mark.attempt else NOT_PASSED
    )
    return f"{words}: {', '.join(attempt.failed)} must be met" if attempt.failed else words


def names(people: Iterable[Trainee]) -> dict[str, str]:
    """Our id -> name; whoever shares his name with another has the college's id beside it."""
    people = list({person.id: person for person in people}.values())
    shared = Counter(person.name.casefold() for person in people)
    return {p.id: p.name if shared[p.name.casefold()] == 1 else f"{p.name} ({p.college_id})" for p in people}
