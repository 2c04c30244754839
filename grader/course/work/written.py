"""Written answers: which wait, and what the instructor gives each point of the rubric."""

import csv
import hashlib
import hmac
import io
import json
import re
from dataclasses import dataclass

from sqlalchemy import select

from grader import catalogue, files
from grader.course import roster
from grader.course.export import stream
from grader.course.records import adjustments, busy, database, ledger, schema
from grader.course.work import marking_run, reconcile
from grader.errors import BadFile, Refused
from grader.exercise.kinds import Written
from grader.marking.mark import truth_of
from grader.marking.verdict import AWAITING, READ

LARGEST_TABLE = 20_000_000
LONGEST_COMMENT = 2000


@dataclass(frozen=True, slots=True)
class Answer:
    """One written answer as the instructor reads it.

    `code` names it without naming its writer; `question` and `model` hold the
    trainee's own numbers; `given` is what it was given, or None while it waits.
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

    @property
    def most(self):
        """Hundredths it can earn."""
        return 100 * sum(points for _, points in self.rubric)


def answers(term, module_key, *, waiting_only=True):
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
    with database.transaction(term) as connection:
        return _answers(term, connection, module, waiting_only)


def give(term, module_key, code, points, comment=""):
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
    (Answer, int)
        The answer, and the module's mark in hundredths as it stands now.

    Raises
    ------
    Unknown, Refused
        No such module or answer; too few or too many points, or out of range.
    """
    return give_all(term, module_key, [(code, points, comment)])[0]


def give_all(term, module_key, given):
    """`give` for several (code, points, comment) in one transaction: all are written or none."""
    module = catalogue.module(module_key)
    done = []
    with busy.exclusive(term, f"reading answers in {module.key}"), database.transaction(term) as connection:
        reconcile.reconcile(term, connection, module)
        known = {answer.code: answer for answer in _answers(term, connection, module, waiting_only=False)}
        for code, points, comment in given:
            answer = known.get(code.strip())
            if answer is None:
                raise Refused(
                    f"No written answer of {module.key} has the code {code.strip()[:40]!r}. It may have been handed in anew; "
                    "list the answers again. Nothing was changed."
                )
            hundredths = [
                _hundredths(text, *point) for text, point in zip(_as_many(answer, points), answer.rubric, strict=True)
            ]
            done.append((answer, _write(term, connection, module, answer, hundredths, comment)))
    return done


def to_table(term, module_key, *, waiting_only=True, names=False):
    """The answers as a table for a spreadsheet: one row each, a column for each point of the rubric.

    Returns
    -------
    bytes
        CSV, UTF-8 with a mark, in which no cell can act as a formula.
    """
    found = answers(term, module_key, waiting_only=waiting_only)
    width = max((len(answer.rubric) for answer in found), default=1)
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    people = ["trainee"] if names else []
    columns = [f"{what} {n}" for n in range(1, width + 1) for what in ("looked for", "at most", "points")]
    writer.writerow(["code", *people, "exercise", "question", "answer", *columns, "comment"])
    for answer in found:
        cells = [
            answer.code,
            *([answer.person.name] if names else []),
            answer.path,
            "\n".join(answer.question),
            answer.text,
        ]
        points = answer.given.points if answer.given else [None] * len(answer.rubric)
        for (looked_for, most), mark in zip(answer.rubric, points, strict=True):
            cells += [looked_for, str(most), "" if mark is None else f"{mark / 100:g}"]
        cells += [""] * (3 * (width - len(answer.rubric)))
        writer.writerow([stream.defused(cell) for cell in [*cells, answer.given.comment if answer.given else ""]])
    return text.getvalue().encode("utf-8-sig")


def from_table(term, module_key, path):
    """Take a filled-in table back. Rows without any points are passed over.

    Returns
    -------
    list of (Answer, int)

    Raises
    ------
    BadFile
        Not such a table; every row that cannot be taken is named, and nothing was written.
    """
    content = files.read_bytes(path, most=LARGEST_TABLE, what="The table of answers")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadFile("The table of answers is not saved as UTF-8. Save it as CSV UTF-8 and try again.") from None
    first = text.partition("\n")[0]
    reader = csv.DictReader(
        io.StringIO(text, newline=""), delimiter=";" if first.count(";") > first.count(",") else ","
    )
    if not {"code", "points 1", "comment"} <= set(reader.fieldnames or ()):
        raise BadFile(
            "The table of answers needs the columns code, points 1 and comment. Use the file that 'read --to' wrote; "
            "nothing was changed."
        )
    known = {answer.code: answer for answer in answers(term, module_key, waiting_only=False)}
    wrong, taken = [], []
    for number, row in enumerate(reader, 2):  # as a spreadsheet counts: cells may hold lines of their own
        code = (row["code"] or "").strip()
        points = [(row.get(f"points {n}") or "").strip() for n in range(1, len(reader.fieldnames))]
        if not any(points):
            continue
        try:
            answer = known.get(code)
            if answer is None:
                raise Refused(f"no written answer has the code {code[:40]!r}")
            points = _as_many(answer, points[: len(answer.rubric)] + [p for p in points[len(answer.rubric) :] if p])
            for text, point in zip(points, answer.rubric, strict=True):
                _hundredths(text, *point)
            if code in {one[0] for one in taken}:
                raise Refused(f"the code {code} stands twice")
            _comment(row["comment"] or "")
            taken.append((code, points, row["comment"] or ""))
        except Refused as problem:
            wrong.append(f"row {number}: {str(problem).removesuffix(' Nothing was changed.')}")
    if wrong:
        raise BadFile("Nothing was written. " + " ".join(_sentence(line) for line in wrong))
    if not taken:
        raise BadFile("The table of answers holds no points. Fill the columns “points”; nothing was changed.")
    return give_all(term, module_key, taken)


def _answers(term, connection, module, waiting_only):
    decided = adjustments.read(connection)
    people = {person.id: person for person in roster.everyone(connection)}
    issues = {
        adjustments.owner(row): row
        for row in connection.execute(select(schema.issue).where(schema.issue.c.module == module.key))
    }
    table, found = schema.answer, []
    query = select(table).where((table.c.module == module.key) & table.c.verdict.in_((AWAITING, READ)))
    for row in connection.execute(query):
        issue = issues[adjustments.owner(row)]
        if waiting_only and (row.verdict == READ or row.exercise in decided.by_hand(issue)):
            continue
        exercises = marking_run.numbers(issue)
        truth = truth_of(module, exercises)
        exercise, part = module.as_issued(exercises).by_path[row.part]
        assert isinstance(part, Written)
        given = truth.given(exercise.key)
        found.append(
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
            )
        )
    return sorted(found, key=lambda answer: answer.code)


def _code(term, row):
    """Nine signs that name an answer and its words, and not its writer; never a number to a spreadsheet."""
    named = "\n".join((*map(str, adjustments.owner(row)), row.part, adjustments.digest(row.raw)))
    return "w" + hmac.digest(term.key, f"written\n{named}".encode(), hashlib.sha256).hex()[:8]


def _write(term, connection, module, answer, points, comment):
    comment = _comment(comment)
    key = dict(zip(("trainee", "module", "attempt"), answer.owner, strict=True)) | {
        "part": answer.path,
        "digest": adjustments.digest(answer.text),
    }
    total = sum(points)
    decision = {"points": json.dumps(points), "hundredths": total, "actor": ledger.actor(), "reason": comment}
    adjustments.put(connection, adjustments.reading, key, decision)
    entry = ledger.Entry(
        "read", trainee=key["trainee"], module=key["module"], attempt=key["attempt"], exercise=answer.path,
        old=answer.given.hundredths if answer.given else None, new=total, most=answer.most, reason=comment,
        sha256=key["digest"],
    )  # fmt: skip
    ledger.append(connection, [entry])
    return marking_run.settle(term, connection, module, answer.owner, "written answer read")


def _as_many(answer, points):
    if len(points) != len(answer.rubric) or not all(text.strip() for text in points):
        given = sum(bool(text.strip()) for text in points)
        raise Refused(
            f"{answer.path} is read against {len(answer.rubric)} points and {given} are given. Give marks for each; 0 is one too."
        )
    return points


def _hundredths(text, looked_for, most):
    plain = text.strip().replace(",", ".")
    if not re.fullmatch(r"[0-9]{1,3}(\.[0-9]{1,2})?", plain) or round(100 * float(plain)) > 100 * most:
        raise Refused(
            f"“{text.strip()[:20]}” for “{looked_for[:60]}” is not between 0 and {most}. Nothing was changed."
        )
    return round(100 * float(plain))


def _comment(text):
    text = text.strip()
    if text.startswith("'") and text[1:2] in tuple("=+-@"):  # what `to_table` put before a formula
        text = text[1:]
    if len(text) > LONGEST_COMMENT:
        raise Refused(
            f"The comment has {len(text):,} characters; at most {LONGEST_COMMENT:,} are kept. Nothing was changed."
        )
    return text


def _sentence(line):
    return line[0].upper() + line[1:].rstrip(".") + "."
