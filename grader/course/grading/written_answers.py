"""Written answers: which wait, and what the instructor gives each point of the rubric."""

from __future__ import annotations

import hashlib
import hmac
import json
import re
from collections import Counter, defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from sqlalchemy import Connection, select

from grader import catalogue
from grader.course.attempts import evaluation
from grader.course.grading import settle
from grader.course.grading.session import session
from grader.course.grading.work import Work
from grader.errors import Refused
from grader.exercise.issued import KEPT
from grader.marking.mark import truth_of
from grader.marking.verdict import AWAITING, READ
from grader.records import adjustments, database, ledger, schema
from grader.records.term import roster
from grader.records.term.term import Term

DOING = "reading answers in"
REASON = "written answer read"  # why a mark was made anew
LONGEST_COMMENT = 2000


@dataclass(frozen=True, slots=True)
class Answer:
    """One written answer as the instructor reads it.

    `code` names it without naming its writer; `question` and `model` hold the
    trainee's own numbers; `given` is what it was given, or None while it waits.
    `kept_in` are the resits that keep it, as owners: it is read once for all.
    """

    code: str
    owner: tuple
    person: roster.Trainee
    path: str
    question: tuple
    model: str
    rubric: tuple
    text: str
    given: adjustments.Reading | None
    kept_in: tuple = ()

    @property
    def most(self) -> int:
        """Hundredths it can earn."""
        return 100 * sum(points for _, points in self.rubric)


class Given(NamedTuple):
    """An answer, the module's mark in hundredths as it stands now (None before marking), and whether anything changed.

    Nothing changed where it had the same points and the same comment; nothing was written then.
    `most` are the hundredths that the module can earn, None before marking.
    """

    answer: Answer
    mark: int | None
    changed: bool
    most: int | None = None


def answers(term: Term, module_key: str, *, waiting_only: bool = True) -> list[Answer]:
    """The written answers of a module, in an order by lot that does not change.

    Parameters
    ----------
    term : Term
    module_key : str
    waiting_only : bool
        Leave out those that were read, or whose exercise has a mark by hand.

    Returns
    -------
    list of Answer

    Raises
    ------
    Unknown
        No such module.
    """
    module = catalogue.module(module_key)
    with database.reading(term) as connection:
        return _answers(term, connection, module, waiting_only)


def waiting(term: Term, module_key: str) -> int:
    """How many written answers of a module wait to be read."""
    with database.reading(term) as connection:
        return len(_rows(connection, module_key, adjustments.read(connection), waiting_only=True))


def give(term: Term, module_key: str, code: str, points: Sequence[str], comment: str = "") -> Given:
    """Write down what a written answer was given; its trainee's marks follow at once.

    Parameters
    ----------
    term : Term
    module_key, code : str
        The code as `answers` gives it.
    points : sequence of str
        For each point of the rubric, in its order, marks such as "1" or "0.5".
    comment : str
        For the trainee.

    Returns
    -------
    Given

    Raises
    ------
    Unknown, Refused
        No such module or answer; too few or too many points, or out of range.
    """
    return give_all(term, module_key, [(code, points, comment)])[0]


def give_all(term: Term, module_key: str, given: Sequence[tuple[str, Sequence[str], str]]) -> list[Given]:
    """`give` for several (code, points, comment) in one transaction: all are written or none."""
    with session(term, module_key, DOING) as work:
        known, taken = by_code(work), []
        for code, points, comment in given:
            answer = known.get(code.strip())
            if answer is None:
                raise Refused(
                    f"No written answer of {work.module.key} has the code {code.strip()[:40]!r}. It may have been handed in anew; "
                    "list the answers again. Nothing was changed."
                )
            try:
                taken.append((answer, reading_of(answer, points, comment)))
            except Refused as problem:
                raise Refused(f"{problem} Nothing was changed.") from None
        return write(work, taken)


def comments(term: Term, module_key: str) -> dict[str, list[str]]:
    """What was written to trainees so far, by the path of the answer; what was said most often comes first."""
    table = adjustments.reading
    counts: dict[str, Counter] = defaultdict(Counter)
    with database.reading(term) as connection:
        rows = connection.execute(select(table.c.part, table.c.reason).where(table.c.module == module_key)).all()
    for row in sorted(rows):
        if row.reason:
            counts[row.part][row.reason] += 1
    return {part: [words for words, _ in counted.most_common()] for part, counted in counts.items()}


def codes(term: Term, connection: Connection, trainees: Collection[str]) -> set[str]:
    """Codes under which answers of some trainees can stand in a table that was written for a spreadsheet."""
    answered, given = schema.answer, adjustments.reading
    by_code = {
        _code(term, row)
        for row in connection.execute(select(answered).where(answered.c.verdict.in_((AWAITING, READ))))
        if row.trainee in trainees
    }
    return by_code | {
        _code_of(term, adjustments.owner(row), row.part, row.digest)
        for row in connection.execute(select(given))
        if row.trainee in trainees
    }


def codes_elsewhere(work: Work) -> set[str]:
    """Codes of written answers of the term's other modules."""
    table = schema.answer
    rows = work.connection.execute(
        select(table).where((table.c.module != work.module.key) & table.c.verdict.in_((AWAITING, READ)))
    )
    return {_code(work.term, row) for row in rows}


def by_code(work: Work) -> dict[str, Answer]:
    """Every written answer of the module, read or not."""
    all_answers = _answers(work.term, work.connection, work.module, waiting_only=False)
    return {answer.code: answer for answer in all_answers}


def write(work: Work, taken: Sequence[tuple[Answer, adjustments.Reading]]) -> list[Given]:
    """Write (Answer, Reading) pairs; what says the same as before writes nothing."""
    connection, module = work.connection, work.module
    decided, entries, changed, told = work.decisions(), [], {}, []
    for answer, reading in taken:
        words, moved = (answer.path, adjustments.digest(answer.text)), False
        for owner in (answer.owner, *answer.kept_in):
            before = decided.readings.setdefault(owner, {})
            if before.get(words) != reading:
                entries.append(_write(connection, owner, words, answer.most, before.get(words), reading))
                before[words], changed[owner], moved = reading, None, True
        told.append((answer, moved))
    ledger.append(connection, entries)
    for owner in changed:
        settle.settle(work, owner, REASON, decided, kind=ledger.WRITTEN_ANSWER)
    table = schema.mark
    marks = {
        adjustments.owner(row): (row.mark, row.most)
        for row in connection.execute(select(table).where(table.c.module == module.key))
    }
    done = []
    for answer, moved in told:
        mark, most = marks.get(answer.owner, (None, None))
        done.append(Given(answer, mark, moved, most))
    return done


def _write(connection, owner, words, most, before, reading):
    """Put one reading into the records; returns its entry for the ledger."""
    key, (path, digest) = dict(zip(("trainee", "module", "attempt"), owner, strict=True)), words
    decision = {"points": json.dumps(reading.points), "hundredths": reading.hundredths, "actor": ledger.actor(),
                "reason": reading.comment}  # fmt: skip
    adjustments.put(connection, adjustments.reading, {**key, "part": path, "digest": digest}, decision)
    return ledger.Entry(
        "read",
        **key,
        exercise=path,
        old=before.hundredths if before else None,
        new=reading.hundredths,
        most=most,
        reason=reading.comment,
        sha256=digest,
    )


def _answers(term, connection, module, waiting_only):
    decided = adjustments.read(connection)
    people = {person.id: person for person in roster.everyone(connection)}
    issues = {
        adjustments.owner(row): evaluation.numbers(row)
        for row in connection.execute(select(schema.issue).where(schema.issue.c.module == module.key))
    }
    rows, kept_in = _rows(connection, module.key, decided, waiting_only), _kept(issues)
    if kept_in:
        rows = _once(rows, _rows(connection, module.key, decided, waiting_only=False), issues, kept_in)
    listed = []
    for row in rows:
        exercises = issues[adjustments.owner(row)]
        truth = truth_of(module, exercises)
        exercise, part = module.as_issued(exercises).by_path[row.part]
        given = truth.given(exercise.key)
        listed.append(
            Answer(
                _code(term, row),
                adjustments.owner(row),
                people[row.trainee],
                row.part,
                (exercise.wording(given), part.prompt),
                truth.answer(row.part),
                part.rubric,
                row.raw.strip(),
                decided.reading(row, row.part, row.raw),
                kept_in.get(_same(row, issues), ()),
            )
        )
    return sorted(listed, key=lambda answer: answer.code)


def _kept(issues):
    """What resits keep: (trainee, path, digest of the words, numbers) -> the attempts that do, as owners."""
    kept = {}
    for owner, exercises in issues.items():
        for entry in exercises.values():
            for path, (raw, _) in entry.get(KEPT, {}).items():
                same = (owner[0], path, adjustments.digest(raw), json.dumps(entry["parameters"], sort_keys=True))
                kept[same] = (*kept.get(same, ()), owner)
    return kept


def _same(row, issues):
    """What is the same for a written answer and for its copies in resits."""
    numbers = issues[adjustments.owner(row)][row.exercise]["parameters"]
    return (row.trainee, row.part, adjustments.digest(row.raw), json.dumps(numbers, sort_keys=True))


def _once(rows, everything, issues, kept_in):
    """Rows with the one that was answered in the place of each that a resit keeps: it is read once."""
    same = {row: _same(row, issues) for row in everything}
    answered = {same[row]: row for row in everything if adjustments.owner(row) not in kept_in.get(same[row], ())}
    return list(dict.fromkeys(answered.get(same[row], row) for row in rows))


def _rows(connection, module_key, decided, waiting_only):
    """Rows of the written answers, or of those that were neither read nor marked by hand."""
    table, verdicts = schema.answer, (AWAITING,) if waiting_only else (AWAITING, READ)
    rows = connection.execute(select(table).where((table.c.module == module_key) & table.c.verdict.in_(verdicts)))
    return [row for row in rows if not (waiting_only and row.exercise in decided.by_hand(row))]


def _code(term, row):
    """Nine signs that name an answer and its words, and not its writer; never a number to a spreadsheet."""
    return _code_of(term, adjustments.owner(row), row.part, adjustments.digest(row.raw))


def _code_of(term, owner, part, digest):
    named = "\n".join((*map(str, owner), part, digest))
    return "w" + hmac.digest(term.key, f"written\n{named}".encode(), hashlib.sha256).hex()[:8]


def reading_of(answer: Answer, points: Sequence[str], comment: str) -> adjustments.Reading:
    """The Reading that typed points and a comment make.

    Raises
    ------
    Refused
        Too few or too many points, one out of range, or too long a comment.
    """
    earned = tuple(point_of(text, *point) for text, point in zip(_as_many(answer, points), answer.rubric, strict=True))
    return adjustments.Reading(earned, sum(earned), _comment(comment))


def _as_many(answer, points):
    if len(points) != len(answer.rubric) or not all(text.strip() for text in points):
        given = sum(bool(text.strip()) for text in points)
        raise Refused(
            f"{answer.path} is read against {len(answer.rubric)} points and {given} are given. Give marks for each; 0 is one too."
        )
    return points


def point_of(text: str, looked_for: str, most: float) -> int:
    """Marks typed for one point of a rubric, in hundredths.

    Raises
    ------
    Refused
        No number, or not between 0 and `most`.
    """
    plain = text.strip().replace(",", ".")
    if not re.fullmatch(r"[0-9]{1,3}(\.[0-9]{1,2})?", plain) or round(100 * float(plain)) > 100 * most:
        raise Refused(f"“{text.strip()[:20]}” for “{looked_for[:60]}” is not between 0 and {most}.")
    return round(100 * float(plain))


def _comment(text):
    text = text.strip()
    if text.startswith("'") and text[1:2] in tuple("=+-@"):  # what `to_table` put before a formula
        text = text[1:]
    if len(text) > LONGEST_COMMENT:
        raise Refused(f"The comment has {len(text):,} characters; at most {LONGEST_COMMENT:,} are kept.")
    return text
