"""The notebooks that formgrader and nbgrader show: the released lesson with typed answers put in as plain text.

Nothing that a trainee made is copied but what he typed, and that as text which no
browser runs: in a code fence where it is prose, as plain output elsewhere.

nbgrader has one row and one paper for all attempts of a trainee: they hold the one that
counts by the records, and never a part of another. What is typed in formgrader is
therefore always about that one.
"""

from __future__ import annotations

import copy
import hashlib
import re
from collections.abc import Collection
from datetime import UTC
from typing import Any

from sqlalchemy import Connection, Row, func, select

from grader import catalogue, clock, files
from grader.course.attempts import evaluation, kept, standing
from grader.errors import BadFile, BadSheet, Unknown
from grader.exercise import sheet as sheets
from grader.exercise.model import Module
from grader.exercise.sheet import Sheet
from grader.marking.mark import SheetMark, with_kept
from grader.records import adjustments, finding, schema, session
from grader.records.adjustments import Adjustments
from grader.records.finding import Finding
from grader.records.gradebook import gradebook
from grader.records.term.term import Term

LARGEST_LESSON = 20_000_000
_ABOVE_THE_ANSWER = "# The answer as it was handed in, part by part:"
OURS = "timing_mark"  # in a paper's metadata: which attempt it shows


def fenced(text: str) -> str:
    """Text in a code fence longer than any run of backticks in it."""
    longest = max((len(run) for run in re.findall(r"`+", text)), default=0)
    fence = "`" * max(3, longest + 1)
    return f"{fence}\n{text}\n{fence}"


def rebuild(lesson: dict[str, Any], module: Module, sheet: Sheet | None, marked: SheetMark | None) -> dict[str, Any]:
    """A marked notebook from the released one.

    Parameters
    ----------
    lesson : dict
        The released notebook, as JSON has it; left unchanged.
    module : Module
    sheet : Sheet or None
        With what a resit keeps; None where it could not be read.
    found : SheetMark or None

    Returns
    -------
    dict
    """
    paper = copy.deepcopy(lesson)
    if sheet is not None:
        paper.setdefault("metadata", {})[OURS] = {"attempt": sheet.attempt}
    exercises = {exercise.name: exercise for exercise in module.exercises}
    for cell in paper["cells"]:
        settings = cell.get("metadata", {}).get("nbgrader", {})
        exercise = exercises.get(settings.get("grade_id"))
        if not settings.get("grade") or exercise is None:
            continue
        typed = (
            {}
            if sheet is None
            else {path: answer for path, answer in sheet.answers.items() if path.rpartition(".")[0] == exercise.key}
        )
        if cell["cell_type"] == "markdown":
            texts = [answer.raw for answer in typed.values() if answer.raw.strip()]
            if texts:
                cell["source"] = "\n\n".join(fenced(text) for text in texts)
        else:
            cell["execution_count"], cell["source"] = None, _ABOVE_THE_ANSWER
            cell["outputs"] = [_plain(line) for line in _lines(exercise, typed, marked)]
    return paper


def whole(issue: Row, sheet: Sheet) -> Sheet:
    """A sheet with the answers that its issue keeps from an earlier attempt in their places."""
    return sheet.but(answers=with_kept(evaluation.numbers(issue), sheet.answers))


def write_class(term: Term, module_key: str) -> tuple[int, list[Finding]]:
    """Write submitted/ and autograded/ of everybody marked, for nbgrader's commands and formgrader.

    Parameters
    ----------
    term : Term
    module_key : str

    Returns
    -------
    (int, list of str)
        How many papers were written, and whose could not be.

    Raises
    ------
    Unknown
        The module was not released in this term.
    """
    module = catalogue.module(module_key)
    lesson_bytes, lesson = released(term, module)
    written, findings = 0, []
    with session.begin(term, f"writing papers of {module.key}") as held:
        connection = held.connection
        work = counting(connection, module)
        decided = adjustments.read(connection)
        for issue, _ in work:
            _say_whose_comments(connection, module, issue, shown(term, issue.trainee, module))
        held.keep()
        for issue, hand_in in work:
            try:
                paper = _Paper(term, module, issue, hand_in, decided, lesson)
            except BadSheet as problem:
                findings.append(Finding(finding.CANNOT_MARK, issue.trainee, str(problem)))
                continue
            if not paper.submit(lesson_bytes):
                place = f"submitted/{issue.trainee}/{module.key}"
                words = f"{place} holds answers not collected yet. Run 'collect' first."
                findings.append(Finding(finding.MISPLACED, issue.trainee, words))
                continue
            paper.write()
            written += 1
        _complete(term, module, lesson_bytes)
    return written, findings


def follow(term: Term, connection: Connection, module: Module) -> None:
    """Where another attempt counts now than the papers show, make papers of that one; inside the caller's transaction.

    Comments that stand in formgrader stay and say to which attempt they belong.

    Parameters
    ----------
    term : Term
    connection : Connection
        In a transaction.
    module : Module
    """
    table = schema.mark
    several = select(table.c.trainee).where(table.c.module == module.key).group_by(table.c.trainee)
    several = set(connection.execute(several.having(func.count() > 1)).scalars())
    if not several or not (term.folder / "autograded").is_dir():
        return
    decided, made = adjustments.read(connection), None
    for issue, hand_in in counting(connection, module, several):
        before = shown(term, issue.trainee, module)
        if before in (None, issue.attempt):
            continue
        made = made or released(term, module)
        try:
            paper = _Paper(term, module, issue, hand_in, decided, made[1])
        except BadSheet:  # a kept hand-in is gone, which 'mark' and 'term verify' say
            continue
        paper.submit(made[0])
        paper.write()
        _say_whose_comments(connection, module, issue, before)


def shown(term: Term, trainee: str, module: Module) -> int | None:
    """The attempt that a trainee's paper shows; None where there is no paper, or one of which nobody can say it."""
    path = term.folder / "autograded" / trainee / module.key / f"{module.key}.ipynb"
    try:
        paper = files.from_json(files.read_bytes(path, most=LARGEST_LESSON, what="The paper"), what="The paper")
        return paper["metadata"][OURS]["attempt"]
    except (BadFile, KeyError, TypeError):
        return None


def released(term: Term, module: Module) -> tuple[bytes, dict]:
    """The released notebook of a module: (bytes, JSON).

    Raises
    ------
    Unknown
        It was not released in this term.
    """
    path = term.folder / "release" / module.key / f"{module.key}.ipynb"
    try:
        content = files.read_bytes(path, most=LARGEST_LESSON, what="The released lesson")
        return content, files.from_json(content, what="The released lesson")
    except BadFile as problem:
        raise Unknown(f"{module.key} is not released in this term: {problem} Run 'assign {module.key}'.") from None


def counting(connection: Connection, module: Module, trainees: Collection[str] | None = None) -> list[tuple[Row, Row]]:
    """(issue, hand-in that was marked) of the attempt that counts, of all trainees or of some."""
    best, attempts = standing.best_attempts(connection), []
    mark, issue, hand_in = schema.mark, schema.issue, schema.hand_in
    query = (
        select(issue, mark.c.sha256)
        .join(mark, adjustments.same(issue, mark))
        .where(mark.c.module == module.key)
        .order_by(issue.c.trainee)
    )
    for row in connection.execute(query if trainees is None else query.where(mark.c.trainee.in_(trainees))):
        if best[row.trainee, row.module] == row.attempt:
            same = (*adjustments.of(hand_in, adjustments.owner(row)), hand_in.c.sha256 == row.sha256)
            marked = connection.execute(select(hand_in).where(*same)).first()
            attempts += [(row, marked)] if marked else []
    return attempts


class _Paper:
    """One trainee's attempt that counts, as nbgrader shows it."""

    def __init__(
        self, term: Term, module: Module, issue: Row, hand_in: Row, decided: Adjustments, lesson: dict[str, Any]
    ) -> None:
        self._term, self._name = term, f"{module.key}.ipynb"
        self._submitted, self._autograded = (
            term.folder / name / issue.trainee / module.key for name in ("submitted", "autograded")
        )
        self._content = evaluation.kept(term, hand_in)
        evaluated = evaluation.evaluate(term, module, issue, hand_in, decided)
        self._paper = rebuild(lesson, module, whole(issue, sheets.parse(self._content)), evaluated.sheet)
        self._stamp = f"{clock.from_text(hand_in.received_at).astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC\n".encode()

    def submit(self, lesson_bytes: bytes) -> bool:
        """Put the answers into submitted/; False where that would replace answers kept nowhere else."""
        work = {sheets.NAME: self._content, "timestamp.txt": self._stamp}
        return _submit(self._term, self._submitted, work, {self._name: lesson_bytes})

    def write(self) -> None:
        """Write the marked notebook into autograded/."""
        _write_all(self._autograded, {self._name: files.to_json(self._paper).encode(), "timestamp.txt": self._stamp})


def _say_whose_comments(connection, module, issue, before):
    """Comments typed in formgrader about an earlier paper get its attempt in front."""
    if before not in (None, issue.attempt):
        gradebook.name_comments(connection, module.key, issue.trainee, before)


def _complete(term, module, lesson_bytes):
    """nbgrader passes over a folder without notebook in silence: give such folders the released one."""
    for folder in sorted((term.folder / "submitted").glob(f"*/{module.key}")):
        if not folder.is_symlink() and folder.is_dir() and not (folder / f"{module.key}.ipynb").exists():
            files.write_bytes(folder / f"{module.key}.ipynb", lesson_bytes)


def _submit(term, folder, work, company):
    """Put the work that counts into submitted/; False where that would replace answers kept nowhere else."""
    try:
        there = files.read_bytes(folder / sheets.NAME, most=kept.LARGEST_KEPT, what="The answer sheet")
    except BadFile:
        there = None
    if there is None and (folder / sheets.NAME).is_symlink():
        return False
    if there is not None and not kept.kept_path(term, hashlib.sha256(there).hexdigest()).is_file():
        return False
    if there != work[sheets.NAME]:
        _write_all(folder, work)
    missing = {name: content for name, content in (work | company).items() if not (folder / name).exists()}
    _write_all(folder, missing)
    return True


def _write_all(folder, contents):
    for name, content in contents.items():
        path = folder / name
        if not path.is_file() or path.is_symlink() or path.read_bytes() != content:
            files.write_bytes(path, content)


def _lines(exercise, typed, marked):
    marks = {} if marked is None else {mark.path: mark for mark in marked.parts}
    for part in exercise.parts:
        path = f"{exercise.key}.{part.key}"
        answer, mark = typed.get(path), marks.get(path)
        raw = answer.raw if answer else ""
        line = f"{part.key}: {raw} {answer.unit if answer else ''}".rstrip() if raw.strip() else f"{part.key}: blank"
        if mark is None:
            yield line
        elif mark.hundredths is None:
            yield f"{line}\n  {mark.verdict}: {mark.most / 100:g} marks wait for you"
        else:
            yield f"{line}\n  {mark.verdict}, {mark.hundredths / 100:g} of {mark.most / 100:g}"


def _plain(text):
    return {"output_type": "display_data", "data": {"text/plain": text}, "metadata": {}}
