"""What lies in the folder of one trainee: lessons, answers, hand-ins, returned sheets. Reads only.

study puts every lesson of a trainee into his folder: what an instructor issued directly in
it, practice beside that or, where the name is taken by issued work, under practice/. Warm-ups lie
under warm-up/, returned sheets wherever they were saved.
"""

import html
import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path

from grader import catalogue, clock, files
from grader.errors import BadFile, TimingMarkError, Unknown
from grader.exercise import hand_in, issued, practice, recall
from grader.exercise import sheet as sheets
from grader.exercise.model import Module
from grader.widgets.answer_store import DRAW, RIGHT_AT_FIRST

PRACTICE_HOME, WARM_UPS, RETURNED_HOME = "practice", "warm-up", "returned"
RETURNED_FORMAT = "timing-mark returned"
LARGEST_PAGE = 20_000_000
_MOST_PAGES = 200
_TEXTS = ("term", "trainee", "module", "handed_in", "mark", "most", "outcome")  # what a returned sheet says in words
_RECORD = re.compile(rb'data-returned="([^"]{1,20000})"')


@dataclass(frozen=True, slots=True)
class Returned:
    """A returned sheet, as the page itself says; `earned` maps an exercise key to (hundredths, most) of its marks."""

    page: Path
    term: str
    trainee: str
    module: str
    attempt: int
    handed_in: str
    mark: str
    most: str
    outcome: str
    earned: dict[str, tuple[int, int]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Work:
    """One lesson in a trainee's folder.

    `answered` and `asked` count parts. `due` and `handed_in` are moments as text, or empty; `changed` is True where
    answers were changed since. `problem` is a sentence where the folder cannot be used.
    """

    notebook: Path
    mode: str
    attempt: int = 1
    due: str = ""
    zone: str = "UTC"
    answered: int = 0
    asked: int = 0
    handed_in: str = ""
    changed: bool = False
    returned: Returned | None = None
    problem: str = ""


@dataclass(frozen=True, slots=True)
class Standing:
    """How one module stands with a trainee: issued work, the latest attempt first, and his practice.

    `alone` are returned sheets without the work they belong to, such as that of a paper sheet.
    """

    module: Module
    issued: tuple[Work, ...] = ()
    practice: Work | None = None
    alone: tuple[Returned, ...] = ()


def gather(root: Path) -> list[Standing]:
    """How every module stands in a trainee's folder, in the order of the course.

    Parameters
    ----------
    root : Path
        The trainee's own folder, as study made it.

    Returns
    -------
    list of Standing
        One for each module that there is, begun or not.
    """
    works = [work for folder in _lesson_folders(root) if (work := _work(folder)) is not None]
    pages = returned_pages(root, {issue.trainee for _, issue, _ in works if issue is not None})
    standings = []
    for module in catalogue.all_modules().values():
        mine = [(work, issue) for key, issue, work in works if key == module.key]
        own = [(work, issue) for work, issue in mine if issue is not None]
        own.sort(key=lambda pair: pair[1].attempt, reverse=True)
        found, used = [], set()
        for work, issue in own:
            page = pages.get((issue.term, issue.trainee, module.key, issue.attempt))
            used.add(id(page))
            found.append(replace(work, returned=page))
        practised = next((work for work, issue in mine if issue is None), None)
        alone = tuple(page for page in pages.values() if page.module == module.key and id(page) not in used)
        standings.append(Standing(module, tuple(found), practised, alone))
    return standings


def seen(root: Path) -> list[recall.Seen]:
    """Every time that this trainee answered an exercise in practice or a warm-up, or had it returned.

    Parameters
    ----------
    root : Path

    Returns
    -------
    list of recall.Seen
        In practice the first check counts. What cannot be read is passed over.
    """
    found, trainees = [], set()
    for folder in (*_lesson_folders(root), *_folders(root / WARM_UPS)):
        if (folder / issued.NAME).is_file():
            try:
                trainees.add(issued.read(folder / issued.NAME).trainee)
            except TimingMarkError:
                continue
        elif (folder / practice.NAME).is_file():
            found += _practised(folder)
    for page in returned_pages(root, trainees).values():
        at = _moment(page.handed_in)
        if at is not None:
            found += [recall.Seen(key, at, earned >= most) for key, (earned, most) in page.earned.items()]
    return found


def returned_pages(root: Path, trainees: set[str]) -> dict[tuple[str, str, str, int], Returned]:
    """The returned sheets of a trainee that lie in his folder, by term, id, module and attempt.

    Parameters
    ----------
    root : Path
    trainees : set of str
        The ids under which work was issued to him; without any, the name of the folder stands for it.

    Returns
    -------
    dict
        Sheets of others are passed over: somebody may have saved one here by mistake.
    """
    found: dict[tuple[str, str, str, int], Returned] = {}
    pages = [path for pattern in ("*.html", "*/*.html", "*/feedback/*/*.html") for path in sorted(root.glob(pattern))]
    for path in pages[:_MOST_PAGES]:
        page = read_returned(path)
        if page is None:
            continue
        mine = page.trainee in trainees if trainees else practice.folder_name(page.trainee) == root.name
        if mine:
            found[page.term, page.trainee, page.module, page.attempt] = page
    return found


def read_returned(path: Path) -> Returned | None:
    """What a page says of itself if it is one trainee's returned sheet, else None."""
    try:
        content = files.read_bytes(path, most=LARGEST_PAGE, what="The page")
    except BadFile:
        return None
    records = _RECORD.findall(content)
    if len(records) != 1:  # none, or the sheets of a class in one page
        return None
    try:
        record = files.from_json(html.unescape(records[0].decode()).encode(), what="The returned sheet")
    except (BadFile, UnicodeDecodeError):
        return None
    attempt, earned = record.get("attempt"), record.get("earned")
    texts = {name: text for name in _TEXTS if isinstance(text := record.get(name), str)}
    if record.get("format") != RETURNED_FORMAT or len(texts) < len(_TEXTS):
        return None
    if type(attempt) is not int or not isinstance(earned, dict):
        return None
    marks = {key: (pair[0], pair[1]) for key, pair in earned.items() if _is_pair(pair)}
    return Returned(page=path, attempt=attempt, earned=marks, **texts)


def lesson_home(folder: Path) -> Path | None:
    """The trainee's own folder, as study made it, in which a lesson lies; None where it lies elsewhere."""
    return next(
        (parent for parent in (folder.parent, folder.parent.parent) if (parent / ".timing-mark").is_dir()), None
    )


def _lesson_folders(root: Path) -> list[Path]:
    return [*_folders(root), *_folders(root / PRACTICE_HOME)]


def _folders(home: Path) -> list[Path]:
    try:
        return sorted(path for path in home.iterdir() if path.is_dir() and not path.name.startswith("."))
    except OSError:
        return []


def _work(folder: Path) -> tuple[str, issued.Issued | None, Work] | None:
    """(key of the module, the issue or None for practice, how it stands) of a lesson's folder."""
    notebook = next(iter(sorted(folder.glob("m[0-9][0-9]_*.ipynb"))), None)
    if notebook is None:
        return None
    try:
        module = catalogue.module(notebook.stem)
    except Unknown:
        return None
    try:
        if (folder / issued.NAME).is_file():
            record = issued.read(folder / issued.NAME)
            return module.key, record, _issued(folder, notebook, module, record)
        if (folder / practice.NAME).is_file():
            practice.read(folder / practice.NAME)
            answered, asked = _count(folder, module, [exercise.key for exercise in module.exercises])
            return module.key, None, Work(notebook, "practice", answered=answered, asked=asked)
    except TimingMarkError as problem:
        return module.key, None, Work(notebook, "practice", problem=str(problem))
    return None


def _issued(folder: Path, notebook: Path, module: Module, record: issued.Issued) -> Work:
    answered, asked = _count(folder, module, issued.to_answer(record.exercises))
    receipt = hand_in.last(folder, record)
    changed = False
    if receipt is not None:
        try:
            content = files.read_bytes(folder / sheets.NAME, most=sheets.LARGEST_FILE, what="The answer sheet")
            changed = hand_in.digest(content) != receipt.sha256
        except BadFile:
            changed = True
    at = receipt.made if receipt is not None else ""
    return Work(
        notebook, record.mode, record.attempt, record.due, record.zone, answered, asked, handed_in=at, changed=changed
    )


def _count(folder: Path, module: Module, keys: list[str]) -> tuple[int, int]:
    """(parts answered, parts asked); what cannot be read counts as not answered."""
    paths = [path for exercise, _, path in module.parts() if exercise.key in keys]
    try:
        answers = sheets.read(folder / sheets.NAME).answers
    except TimingMarkError:
        answers = {}
    return sum(path in answers and bool(answers[path].raw.strip()) for path in paths), len(paths)


def _practised(folder: Path) -> Iterator[recall.Seen]:
    """What was checked in a practice folder, in the present numbers and in those before."""
    first: dict[tuple[str, object], dict[str, sheets.Answer]] = {}
    for path in (*sorted(folder.glob("answers-*.json")), folder / sheets.NAME):
        try:
            answers = sheets.read(path).answers
        except TimingMarkError:
            continue
        for part, answer in answers.items():
            if answer.tries >= 1:
                first.setdefault((part.rpartition(".")[0], answer.rest.get(DRAW)), {})[part] = answer
    for (key, _), answers in first.items():
        moments = [at for answer in answers.values() if (at := _moment(answer.at)) is not None]
        right = [_right_at_first(answer) for answer in answers.values()]
        if moments and (False in right or None not in right):
            yield recall.Seen(key, max(moments), False not in right)


def _right_at_first(answer: sheets.Answer) -> bool | None:
    """Whether the first check said right; None where a sheet of an earlier version does not tell."""
    if answer.tries > 1:  # only another answer is a new try, and who was right gives none
        return False
    said = answer.rest.get(RIGHT_AT_FIRST)
    return said if isinstance(said, bool) else None


def _moment(text: str) -> datetime | None:
    try:
        moment = clock.from_text(text)
    except ValueError:
        return None
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)


def _is_pair(pair: object) -> bool:
    return isinstance(pair, list) and len(pair) == 2 and all(type(number) is int for number in pair)
