"""Answers on paper typed in by the instructor: kept like any hand-in, and logged as transcribed."""

from __future__ import annotations

import csv
import hashlib
import io
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from types import SimpleNamespace

from sqlalchemy import select

from grader import catalogue, clock, files
from grader.course.attempts import kept, lateness, standing
from grader.course.submissions import collect
from grader.errors import BadFile, Refused, Unknown, Unreadable
from grader.exercise import hand_in, issued
from grader.exercise import sheet as sheets
from grader.exercise.part import Part
from grader.marking import reading
from grader.pages import csv_file
from grader.pages.csv_file import Manner
from grader.records import database, ledger, schema, session
from grader.records.term import roster, table_file
from grader.records.term.term import Term

NEEDED = ("trainee", "part", "answer")
COLUMNS = ("trainee", "name", "part", "exercise", "question", "how", "answer", "unit")  # some are for the reader alone
FOR_A_SPREADSHEET = Manner(spreadsheet=True)
REASON = "transcribed from paper"
AS_IT_STANDS = "!"  # before an answer that cannot be read and yet stands on the paper


@dataclass(frozen=True, slots=True)
class Question:
    """One part as a sheet of paper asks it; `lettered` are (letter, key, wording) of its options or steps."""

    path: str
    heading: str
    part: Part
    given: SimpleNamespace
    lettered: tuple
    version: int

    @property
    def how(self) -> str:
        """What is to be typed, in a few words."""
        return self.part.how_typed


@dataclass(frozen=True, slots=True)
class Open:
    """A paper that is being typed in: whose it is, the issue of numbers, the questions."""

    person: roster.Trainee
    record: issued.Issued
    questions: tuple


@dataclass(frozen=True, slots=True)
class Kept:
    """A transcribed sheet that was kept. `known`: the same one was kept before."""

    person: roster.Trainee
    answered: int
    asked: int
    sha256: str
    known: bool
    others: int  # hand-ins of the same attempt that came in otherwise
    finding: str = ""  # why it does not count

    @property
    def receipt(self) -> str:
        """As the trainee would read it on the page."""
        return hand_in.short(self.sha256)


def begin(term: Term, trainee_id: str, module_key: str) -> Open:
    """The paper of one trainee: his latest numbers of a module.

    Raises
    ------
    Unknown, Refused
        No such person or module, or no numbers were issued.
    """
    module = catalogue.module(module_key)
    with database.reading(term) as connection:
        return _open(connection, roster.one(connection, trainee_id), module)


def read(question: Question, text: str, unit: str = "") -> sheets.Answer:
    """The answer to keep for what stands on the paper, and how it is read.

    Parameters
    ----------
    question : Question
    text : str
        Letters for options; a "!" before what stands there and cannot be read.
    unit : str
        As written; empty where it stands behind the number.

    Returns
    -------
    Answer
        Its `read_as` is the echo of the reader that marks, empty for a blank.

    Raises
    ------
    Unreadable
        With the sentence to show.
    """
    part = question.part
    text = text.strip()
    if text.startswith(AS_IT_STANDS):
        left = text.removeprefix(AS_IT_STANDS).strip()
        return sheets.Answer(f"{left} {unit}".strip(), "", question.version)
    raw, unit = part.from_paper(text, question.given), unit.strip()
    if not raw:
        return sheets.Answer("", "", question.version)
    if unit and unit not in part.units:
        raw, unit = f"{raw} {unit}", ""
    return sheets.Answer(raw, unit, question.version, reading.read(part, raw, unit, question.given).echo)


def keep(term: Term, opened: Open, answers: dict[str, sheets.Answer], *, received_at: datetime | None = None) -> Kept:
    """Keep a transcribed sheet as a hand-in of its trainee.

    Parameters
    ----------
    term : Term
    opened : Open
    answers : dict of str to Answer
        By "exercise.part".
    received_at : datetime or None
        When the paper came in; None: now.

    Returns
    -------
    Kept

    Raises
    ------
    Refused
        Nothing is answered, or the time lies in the future.
    """
    return _keep(term, [(opened, answers)], received_at)[0]


def from_table(
    term: Term, module_key: str, path: str | Path, *, received_at: datetime | None = None
) -> tuple[list[Kept], list[str]]:
    """Keep the sheets of a table with the columns trainee, part, answer and, if wanted, unit; or none.

    Lines without an answer, and those of another module, are passed over.

    Returns
    -------
    (list of Kept, list of str)
        What was kept, and notes on what was passed over or understood.

    Raises
    ------
    BadFile
        Names every line that cannot be kept; nothing was.
    """
    module = catalogue.module(module_key)
    table = table_file.read_table(path, COLUMNS, needed=NEEDED, what="The table of answers")
    rows, problems = table.rows, list(table.problems)
    elsewhere, blank, foreign = _other_prefixes(module.key), [], []
    with database.reading(term) as connection:
        people = {name: p for p in roster.everyone(connection) for name in (p.id, p.college_id.casefold())}
        opened, answers = {}, {}
        for line, cells in rows:
            if cells["part"].strip().lower().partition(".")[0] in elsewhere:
                foreign.append(line)
                continue
            if not cells["answer"]:
                blank.append(line)
                continue
            try:
                person = people.get(cells["trainee"].casefold())
                if person is None:
                    raise Unknown(f"Nobody on the roster has the id {cells['trainee'][:60]!r}.")
                if person.id not in opened:
                    opened[person.id] = _open(connection, person, module)
                question = _question(opened[person.id], cells["part"])
                mine = answers.setdefault(person.id, {})
                if question.path in mine:
                    raise Refused(f"{question.path} of {person.college_id} stands on an earlier line, too.")
                mine[question.path] = read(question, cells["answer"], cells["unit"])
            except (Unknown, Refused) as problem:
                problems.append((line, str(problem)))
            except Unreadable as problem:
                problems.append((line, f"{problem} If that is what stands there, put {AS_IT_STANDS} before it."))
    if problems:
        lines = "\n".join(f"line {line}: {words}" for line, words in sorted(problems))
        raise BadFile(f"No answer was kept:\n{lines}\nMend these lines and read the table again.")
    passed_over = {"no answer; left blank": blank, "an answer of another module; passed over": foreign}
    notes = table_file.once(table.notes, passed_over)
    return _keep(term, [(opened[who], mine) for who, mine in answers.items()], received_at), notes


def write_table(
    term: Term, module_key: str, path: Path, *, group: str = "", how: Manner = FOR_A_SPREADSHEET
) -> list[roster.Trainee]:
    """Write a table to fill in from papers: a line for each question of everybody who has not handed in.

    Parameters
    ----------
    term : Term
    module_key : str
    path : path
        A new file; only its owner can read it.
    group : str
    how : Manner

    Returns
    -------
    list of Trainee
        Whose questions stand in it.

    Raises
    ------
    Unknown, Refused
        No such module or group; the file is there; nobody has numbers who has not handed in.
    CannotWrite
        The disk refuses.
    """
    module = catalogue.module(module_key)
    if path.exists():
        raise Refused(
            f"{path} exists, and may hold what you filled in. Name another file, or take that one in with --from."
        )
    with database.reading(term) as connection:
        whom = standing.Whom(group=group, lacking=standing.NOT_HANDED_IN)
        papers = [_open(connection, person, module) for person in whom.people(term, connection, module.key)]
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=how.separator, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for paper in papers:
        for question in paper.questions:
            cells = (paper.person.college_id, paper.person.name, question.path, question.heading, question.part.prompt,
                     question.how, "", "")  # fmt: skip
            writer.writerow([csv_file.defused(cell) for cell in cells])
    files.write_bytes(path, text.getvalue().encode("utf-8-sig"), mode=files.PRIVATE)
    return [paper.person for paper in papers]


def _other_prefixes(module_key: str) -> set[str]:
    """What the names of parts of other modules begin with."""
    begins = {key: unit.exercises[0].key.partition(".")[0] for key, unit in catalogue.all_modules().items()}
    return set(begins.values()) - {begins[module_key]}


def draft_path(term: Term, opened: Open) -> Path:
    """Where answers lie until the sheet is kept, so that typing can be broken off."""
    name = f"typing-{opened.record.module}-{opened.record.attempt}.json"
    return term.folder / "out" / opened.person.id / name


def draft(term: Term, opened: Open) -> dict[str, sheets.Answer]:
    """Answers typed so far, by "exercise.part"; none where nothing was typed or the draft is damaged."""
    path = draft_path(term, opened)
    try:
        return dict(sheets.read(path).answers) if path.is_file() else {}
    except BadFile:
        return {}


def save_draft(term: Term, opened: Open, answers: dict[str, sheets.Answer]) -> None:
    """Keep what was typed so far."""
    files.write_bytes(draft_path(term, opened), sheets.dump(_sheet(opened, answers, "")))


def _open(connection, person, module):
    table = schema.issue
    row = connection.execute(
        select(table)
        .where((table.c.trainee == person.id) & (table.c.module == module.key))
        .order_by(table.c.attempt.desc())
    ).first()
    if row is None:
        raise Refused(
            f"{person.name} has no numbers for {module.key}. Run 'assign {module.key}' first; nothing was kept."
        )
    record = issued.parse(row.record.encode())
    questions = []
    for exercise in module.as_issued(record.exercises).exercises:
        if exercise.key not in issued.to_answer(record.exercises):
            continue
        given = SimpleNamespace(**record.numbers[exercise.key])
        for part in exercise.parts:
            questions.append(
                Question(
                    f"{exercise.key}.{part.key}", exercise.title, part, given, part.lettered(given), exercise.version
                )
            )
    return Open(person, record, tuple(questions))


def _question(opened, typed):
    """The question of a part, named with or without its module."""
    wanted = typed.strip().lower()
    names = {question.path: question for question in opened.questions}
    short = {path.partition(".")[2]: question for path, question in names.items()}
    question = names.get(wanted) or short.get(wanted)
    if question is None:
        raise Unknown(f"{typed[:40]!r} is no part of {opened.record.module}; its parts are {', '.join(short)}.")
    return question


def _sheet(opened, answers, saved):
    record = opened.record
    order = [question.path for question in opened.questions if question.path in answers]
    return sheets.Sheet(
        record.term,
        record.module,
        record.trainee,
        record.attempt,
        {path: answers[path] for path in order},
        saved,
        "transcribed from paper",
    )


def _keep(term, papers, received_at):
    now = clock.now()
    arrived = received_at or now
    if arrived > now:
        raise Refused(f"{term.shown(arrived)} is still to come. Say when the paper came in; nothing was kept.")
    blank = [o.person.name for o, mine in papers if not any(answer.raw.strip() for answer in mine.values())]
    if blank or not papers:
        raise Refused(f"Nothing is answered{' by ' + '; '.join(blank) if blank else ''}. Nothing was kept.")
    actor, done, table = ledger.actor(), [], schema.hand_in
    with session.begin(term, "keeping transcribed answers") as held:
        connection = held.connection
        closed = lateness.closed(connection)
        for opened, answers in papers:
            content = sheets.dump(_sheet(opened, answers, clock.to_text(arrived)))
            sha256 = hashlib.sha256(content).hexdigest()
            row = {"trainee": opened.person.id, "module": opened.record.module, "attempt": opened.record.attempt}
            mine = [table.c[name] == value for name, value in row.items()]
            before = connection.execute(select(table.c.sha256, table.c.source).where(*mine).order_by(table.c.id)).all()
            if received_at is None and before and _is_same(term, before[-1], answers):
                sha256 = before[-1].sha256  # the table was read again: the paper came in when it was first typed
            barred, known = False, any(earlier.sha256 == sha256 for earlier in before)
            if not known:
                files.write_bytes(kept.kept_path(term, sha256), content)
                at, owner = clock.to_text(arrived), (row["trainee"], row["module"], row["attempt"])
                barred = lateness.too_late(closed, owner, at)
                new = kept.Arrival(
                    owner,
                    sha256,
                    f"transcribed by {actor}",
                    at,
                    at,
                    at,
                    vouched=True,
                    kind=schema.AFTER_RETURN if barred else schema.COUNTS,
                    reason=f"{REASON}; {collect.AFTER_RETURN}" if barred else REASON,
                )
                kept.store(connection, new)
            answered = sum(bool(answer.raw.strip()) for answer in answers.values())
            others = sum(not earlier.source.startswith("transcribed by") for earlier in before)
            done.append(
                Kept(
                    opened.person,
                    answered,
                    len(opened.questions),
                    sha256,
                    known,
                    others,
                    kept.SENTENCES[schema.AFTER_RETURN] if barred else "",
                )
            )
    for opened, _ in papers:
        draft_path(term, opened).unlink(missing_ok=True)
    return done


def _is_same(term, last, answers):
    """Whether the last hand-in of an attempt was typed from paper with just these answers."""
    if not last.source.startswith("transcribed by"):
        return False
    try:
        return sheets.read(kept.kept_path(term, last.sha256)).answers == answers
    except BadFile:
        return False
