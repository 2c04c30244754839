"""How sure a trainee said to be of an exercise, and whether he was right: practice only, never a mark.

The form adds two entries to answers.json. SURE is one of WORDS; it belongs to the whole
exercise, is said before the first check and lies with the first part. FIRST is an answer
as it stood when it was first checked: practice lets everybody mend it afterwards.
Older sheets have neither, and marking never looks at them.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from grader.exercise.model import AsIssued, Module
from grader.exercise.sheet import LONGEST_ANSWER, Sheet
from grader.marking import verdict
from grader.marking.mark import mark_sheet
from grader.marking.verdict import PartMark

SURE, FIRST = "sure", "first"
GUESS, THINK_SO, KNOW = WORDS = ("guess", "think so", "know")
# Rounded too far is no wrong thought. What is blank, unreadable or to be read by a person says nothing.
_RIGHT = frozenset((verdict.RIGHT, verdict.CARRIED, verdict.COARSE))
_WRONG = frozenset((verdict.SLIP, verdict.UNIT, verdict.SIGN, verdict.POWER, verdict.PARTLY, verdict.WRONG))


@dataclass(frozen=True, slots=True)
class Said:
    """What a trainee said of one exercise, and how it was at the first check.

    `right` is None where nothing can be said: a part is blank or could not be read.
    `slips` are (path, slip) of what went astray in a foreseen way.
    """

    word: str
    right: bool | None
    slips: tuple = ()


def said(sheet: Sheet) -> tuple[dict[str, str], list[str]]:
    """The words in a sheet by exercise, and a sentence about each that is none of ours.

    Returns
    -------
    (dict of str to str, list of str)
    """
    words, problems = {}, []
    for path, answer in sheet.answers.items():
        if SURE not in answer.rest:
            continue
        word = answer.rest[SURE]
        if isinstance(word, str) and word in WORDS:
            words.setdefault(path.rpartition(".")[0], word)
        else:
            problems.append(
                f"{path[:60]} says how sure as {repr(word)[:40]}; {', '.join(WORDS)} are known. The word was passed over; "
                "the answer stands."
            )
    return words, problems


def as_first_checked(sheet: Sheet) -> Sheet:
    """The sheet with every answer as it stood when it was first checked; the others as they stand."""
    return sheet.but(answers={path: _first(answer) for path, answer in sheet.answers.items()})


def judge(module: Module, exercises: AsIssued, sheet: Sheet) -> dict[str, Said]:
    """What was said of each exercise, beside what the first answers were worth.

    Parameters
    ----------
    module : Module
    exercises : dict
        As issued: exercise key to {"version", "parameters"}.
    sheet : Sheet

    Returns
    -------
    dict of str to Said
        Only exercises of which something was said.

    Raises
    ------
    BadSheet
        As `mark_sheet`.
    """
    words, _ = said(sheet)
    if not words:
        return {}
    parts = {}
    for mark in mark_sheet(module, exercises, as_first_checked(sheet)).parts:
        parts.setdefault(mark.path.rpartition(".")[0], []).append(mark)
    return {
        key: Said(words[key], was_right(marks), tuple((mark.path, mark.slip) for mark in marks if mark.slip))
        for key, marks in parts.items()
        if key in words
    }


def was_right(marks: Iterable[PartMark]) -> bool | None:
    """Whether some parts are right together: False as soon as one is wrong, None while one says nothing."""
    verdicts = {mark.verdict for mark in marks} - {verdict.AWAITING, verdict.READ}
    if verdicts & _WRONG:
        return False
    return True if verdicts and verdicts <= _RIGHT else None


def _first(answer):
    first = answer.rest.get(FIRST)
    good = isinstance(first, list) and len(first) == 2 and all(isinstance(text, str) for text in first)
    if not good or len(first[0]) > LONGEST_ANSWER:
        return answer
    return answer.but(raw=first[0], unit=first[1])
