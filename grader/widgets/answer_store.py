"""Where a lesson keeps its answers, and whose they are."""

import asyncio
import atexit
import weakref
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from filelock import FileLock, Timeout

from grader import clock, files
from grader.errors import CannotWrite, Refused, TimingMarkError, afterwards
from grader.exercise import issued, practice
from grader.exercise import sheet as sheets
from grader.exercise.model import PRACTICE, Exercise, Module
from grader.exercise.sheet import Answer, Sheet
from grader.exercise.truth import Truth
from grader.marking import verdict
from grader.marking.confidence import FIRST, SURE, as_first_checked
from grader.marking.mark import Marking
from grader.marking.verdict import PartMark
from grader.widgets.people import People, Place, lesson_folder, place

MADE_WITH = "timing-mark 0.2"
RETRY_S = 3.0
LOCK_S = 10.0  # another window writes in less; whoever waits longer is told
LOCK = ".answers.lock"
CHECKED, DRAW = "checked", "draw"  # what the form adds to an entry of answers.json
RIGHT_AT_FIRST = "right_at_first"  # and what the first check said: the warm-ups go by it
LAST = "last"  # what it adds to the whole: the part worked on last, a claim like all from this machine
DRAFTS = "drafts"  # and what stands half done beside an answer, by its path: never marked
VERSION = "saves"  # how often the file was written: of two windows each sees that the other one was there
PRACTISED = "practised"  # what the practice file keeps of the families that were practised: family, day, share
_DAY_S, _MOST_PRACTISED, _MOST_DEALT = 86_400.0, 200, 12
_WEAK: "weakref.WeakSet[Store]" = weakref.WeakSet()


def _listed(kept: Any) -> list[Any]:
    return kept if isinstance(kept, list) else []


def _is_practised(entry: Any) -> bool:
    """True of an entry of the practice file that this version can read."""
    return (
        isinstance(entry, list)
        and len(entry) == 3
        and isinstance(entry[0], str)
        and all(isinstance(figure, int | float) and not isinstance(figure, bool) for figure in entry[1:])
    )


@dataclass(frozen=True, slots=True)
class _Saved:
    """What a save came to: the sheet as it stands on disk, and what had changed there meanwhile."""

    sheet: Sheet
    stamp: tuple
    place: Place
    owner: tuple  # stamp of the file that says whose the folder is
    marker: practice.Marker | None
    replaced: dict[str, tuple[Answer, Answer]]  # path -> (mine, another window's, which counts)
    set_aside: bool


class Store:
    """The answers of one lesson in one folder.

    `issue` holds the numbers; `marker` the practice file, or None. `problem` is a
    sentence when the saved sheet could not be used; that file is left alone and
    set aside on the next save. `unsaved` names the parts whose answer stands only
    here, `why` says why; `saving` those that are on their way to the disk. `told` has a
    sentence for each part whose answer another window replaced. Listeners are called with the path that changed,
    an empty text when only the saving did, or None when everything did.

    Parameters
    ----------
    module : Module
    folder : path or None
        None: where the notebook lies.
    behind : bool
        Write behind the typing, in a thread: a slow disk then stops no key. Needs a running event loop, as
        a kernel has one.
    """

    def __init__(self, module: Module, folder: str | Path | None = None, *, behind: bool = False):
        self.module = module
        self.place = place(folder)
        self.unsaved: set[str] = set()
        self.saving: set[str] = set()
        self.told: dict[str, str] = {}
        self.why = ""
        self._searches = folder is None
        self._listeners: list[Callable[[str | None], None]] = []
        self._retry: asyncio.TimerHandle | None = None
        self._writer = ThreadPoolExecutor(1, thread_name_prefix="answers") if behind else None
        self._under_way: tuple[Future, Sheet, set[str]] | None = None
        self.people = People(module, self.place)
        self.place = self.people.place
        self._load()
        _WEAK.add(self)

    @property
    def path(self) -> Path:
        return self.place.folder / sheets.NAME

    @property
    def answers(self) -> dict[str, Answer]:
        return self.sheet.answers

    @property
    def last(self) -> str | None:
        """The part that was typed in or checked last, or None where nothing was.

        A sheet that does not say so, such as one of an earlier version, is asked for the
        newest of its answers.
        """
        named = self.sheet.rest.get(LAST)
        if isinstance(named, str) and named in self.answers:
            return named
        return max(self.answers, key=lambda path: self.answers[path].at, default=None)

    @property
    def truth(self) -> Truth:
        """What is expected of the numbers here."""
        return self._marking.truth

    @property
    def writes_behind(self) -> bool:
        """True where a thread writes behind the typing."""
        return self._writer is not None

    @property
    def whose(self) -> str:
        """A word for whoever works here that differs from everybody else's."""
        return self.issue.trainee

    def listen(self, listener: Callable[[str | None], None]) -> None:
        """Call `listener` with a path, or None, after each change."""
        self._listeners.append(listener)

    def close(self) -> None:
        """Forget the listeners; what is on its way is written, a retry under way ends."""
        self._listeners.clear()
        self.flush_or_keep()
        if self._retry is not None:
            self._retry.cancel()
            self._retry = None
        if self._writer is not None:
            self._writer.shutdown(wait=False)
            self._writer = None

    def mark_of(self, path: str) -> PartMark:
        """The verdict on what stands in a part; its exercise is marked only where something changed."""
        return next(mark for mark in self.marks_of(path.rpartition(".")[0]) if mark.path == path)

    def marks_of(self, exercise_key: str, *, first: bool = False) -> tuple[PartMark, ...]:
        """The verdicts on an exercise; `first`: on its answers as they stood when they were first checked."""
        if first:
            return self._first_marking.exercise(as_first_checked(self.sheet), exercise_key)
        return self._marking.exercise(self.sheet, exercise_key)

    def put(self, path: str, raw: str, unit: str = "", read_as: str = "") -> None:
        """Note one answer and save the sheet where that is allowed.

        Raises
        ------
        CannotWrite
            The answer is noted here and not saved.
        Refused
            The answer is longer than any file may hold; the former one stands.
        """
        if len(raw) > sheets.LONGEST_ANSWER:
            raise Refused(
                f"{len(raw):,} characters are too many for an answer; at most {sheets.LONGEST_ANSWER:,} are kept."
            )
        before = self.sheet.answers.get(path)
        if before is not None and (before.raw, before.unit) == (raw, unit) and path not in self.unsaved:
            return
        exercise_key = path.rpartition(".")[0]
        version = self.issue.exercises[exercise_key]["version"]
        rest = dict(before.rest) if before else {}
        if self.marker is not None:
            rest[DRAW] = self._draw_of(exercise_key)
        tries = before.tries if before else 0
        self.told.pop(path, None)
        self._note(path, Answer(raw, unit, version, read_as, clock.to_text(clock.now()), tries, rest))

    def draft_of(self, path: str) -> str:
        """What was chosen or written beside an answer and not done yet, as the field keeps it; or an empty text."""
        drafts = self.sheet.rest.get(DRAFTS)
        draft = drafts.get(path) if isinstance(drafts, dict) else None
        return draft if isinstance(draft, str) else ""

    def put_draft(self, path: str, draft: str) -> None:
        """Keep what stands half done beside an answer; before there is one it is kept with the next save.

        Raises
        ------
        CannotWrite
            It is kept here and not saved.
        """
        if draft == self.draft_of(path) or len(draft) > sheets.LONGEST_ANSWER:
            return
        drafts = self.sheet.rest.get(DRAFTS)
        kept = {**drafts} if isinstance(drafts, dict) else {}
        self.sheet = self.sheet.but(rest={**self.sheet.rest, DRAFTS: {**kept, path: draft}})
        if path in self.answers:
            with afterwards(lambda: self._tell(path)):
                self._save_or_say(path)

    def _without_drafts(self, group) -> dict[str, Any]:
        """The rest of the sheet without what was half done in some exercises."""
        drafts = self.sheet.rest.get(DRAFTS)
        if not isinstance(drafts, dict):
            return self.sheet.rest
        kept = {path: draft for path, draft in drafts.items() if path.rpartition(".")[0] not in group}
        return {**self.sheet.rest, DRAFTS: kept}

    def count_try(self, path: str) -> None:
        """Note that a verdict was asked for; the same answer checked again is no new try."""
        answer = self.sheet.answers[path]
        checked = [answer.raw, answer.unit]
        if answer.rest.get(CHECKED) != checked:
            rest = {FIRST: checked, **answer.rest, CHECKED: checked}
            if answer.tries == 0:
                rest[RIGHT_AT_FIRST] = self.mark_of(path).verdict in (verdict.RIGHT, verdict.CARRIED)
            self._note(path, answer.but(tries=answer.tries + 1, rest=rest))
        elif path in self.unsaved:
            self._note(path, answer)

    def say_sure(self, exercise: Exercise, word: str) -> None:
        """Note how sure the trainee is of an exercise; one of `confidence.WORDS`.

        Raises
        ------
        CannotWrite
            As `put`.
        """
        path = f"{exercise.key}.{exercise.parts[0].key}"
        version = self.issue.exercises[exercise.key]["version"]
        before = self.sheet.answers.get(path) or Answer("", version=version)
        rest = {**before.rest, SURE: word}
        if self.marker is not None:
            rest[DRAW] = self._draw_of(exercise.key)
        self._note(path, before.but(at=clock.to_text(clock.now()), rest=rest))

    def save(self) -> None:
        """Write the sheet now, joined with what another window wrote.

        Raises
        ------
        CannotWrite
            Saving is not allowed here, or the disk refuses; the file on disk stands as it was.
        """
        self._wait()
        asked, paths = self.sheet, set(self.sheet.answers)
        self._take(self._write(asked, self._known, set(self.unsaved)), asked, paths)

    def flush(self) -> None:
        """Write what is still on its way.

        Raises
        ------
        CannotWrite
            As `save`.
        """
        self._wait()
        if self.saving:
            self.save()

    def flush_or_keep(self) -> None:
        """As `flush`; what cannot be written stands in `unsaved`."""
        try:
            self.flush()
        except CannotWrite as problem:
            self.unsaved |= self.saving
            self.saving, self.why = set(), str(problem)

    def take_unsaved(self, older: "Store") -> None:
        """Go on with what an earlier store of the same folder could not save."""
        if older.place.folder == self.place.folder and not self.people.waiting:
            for path in older.unsaved | older.saving:
                self.sheet = self.sheet.with_answer(path, older.sheet.answers[path])
                self.unsaved.add(path)
            if self.unsaved and DRAFTS in older.sheet.rest:
                self.sheet = self.sheet.but(rest={**self.sheet.rest, DRAFTS: older.sheet.rest[DRAFTS]})
            self.why = self.why or older.why
            if self.unsaved:
                self._try_again()

    def fresh(self, exercise_key: str) -> None:
        """Draw an exercise, and what is linked with it, anew. The old answers stay in a dated copy.

        Raises
        ------
        Refused
            The numbers were issued by an instructor.
        CannotWrite
            Nothing was drawn.
        """
        if self.marker is None or not self.place.may_save:
            raise Refused("Only your own practice numbers can be drawn anew. Open the lesson for practice.")
        self.flush()
        stamp = clock.to_text(clock.now()).replace(":", "").replace(".", "")
        files.write_bytes(self.path.with_name(f"answers-{stamp}.json"), sheets.dump(self.sheet))
        marker = self._dealt(exercise_key)
        practice.write(self.place.folder / practice.NAME, marker)
        self._be(marker)
        group = practice.group_of(self.module, exercise_key)
        kept = {path: a for path, a in self.sheet.answers.items() if path.rpartition(".")[0] not in group}
        self.sheet = self.sheet.but(answers=kept, attempt=self.issue.attempt, rest=self._without_drafts(group))
        self.unsaved -= {path for path in self.unsaved if path.rpartition(".")[0] in group}
        try:
            self.save()
        except CannotWrite as problem:  # the old answers carry the number of their draw: nobody takes them for new ones
            self.why = str(problem)
        self._tell(None)

    def _dealt(self, exercise_key: str) -> practice.Marker:
        """The marker with fresh numbers; of a kind with families the one that is due, by what was practised so far."""
        assert self.marker is not None
        exercise = next(exercise for exercise in self.module.exercises if exercise.key == exercise_key)
        before = SimpleNamespace(**self.issue.numbers[exercise_key])
        part = next((part for part in exercise.parts if part.family(before)), None)
        if part is None:
            return practice.with_fresh_numbers(self.module, self.marker, exercise_key)
        today, path = clock.now().timestamp() / _DAY_S, f"{exercise_key}.{part.key}"
        done = [entry for entry in _listed(self.marker.rest.get(PRACTISED)) if _is_practised(entry)]
        mark = self.mark_of(path)
        if mark.hundredths is not None and mark.verdict != verdict.BLANK:
            done = [*done, [part.family(before), today, mark.hundredths / mark.most]][-_MOST_PRACTISED:]
        marker = replace(self.marker, rest={**self.marker.rest, PRACTISED: done})
        drawn: dict[str, practice.Marker] = {}
        for _ in range(_MOST_DEALT):
            marker = practice.with_fresh_numbers(self.module, marker, exercise_key)
            numbers = practice.numbers_of(self.module, marker, exercise_key)
            drawn.setdefault(part.family(SimpleNamespace(**numbers)), marker)
        # The counter stands at the last one looked at, so that none of them comes again as if it were fresh.
        due = part.due([(family, day, share) for family, day, share in done], today, tuple(drawn))
        return replace(drawn[due], counter=marker.counter)

    def choose(self, name: str, *, mine: bool = False) -> None:
        """Go on as another trainee on this machine, with numbers and answers of his own.

        Raises
        ------
        Refused, CannotWrite
            See `People.choose`; everything stays.
        """
        self.flush()
        self.place = self.people.choose(name, mine=mine)
        self.unsaved, self.why, self.told = set(), "", {}
        self.reload()

    def reload(self) -> None:
        """Read numbers and answers anew, as the folder now holds them."""
        self._load()
        self._tell(None)

    # Loading

    def _load(self):
        if self.place.may_save:
            files.sweep(self.place.folder)
        self.marker = self.people.marker
        self.issue = self._read_issue()
        self._made_marking = self._made_first = None
        self.problem = ""
        self._stamp = None
        self._owner = self._owner_stamp(self.place.folder)
        self.sheet = self._read_sheet()
        self._known = dict(self.sheet.answers)  # as it stands on disk, as far as we know

    def _be(self, marker):
        """Go on with another state of the practice file."""
        self.marker, self.issue = marker, practice.issue(self.module, marker)
        self._made_marking = self._made_first = None

    @property
    def _marking(self):
        """Marks what stands here; made when it is first asked for, since most of it is never checked."""
        if self._made_marking is None:
            self._made_marking = Marking(self.module, self.issue.exercises)
        return self._made_marking

    @property
    def _first_marking(self):
        """The same of answers as they stood when they were first checked."""
        if self._made_first is None:
            self._made_first = Marking(self.module, self.issue.exercises, truth=self._marking.truth)
        return self._made_first

    def _read_issue(self):
        path = self.place.folder / issued.NAME
        if path.is_file() and not self.people.waiting:
            return issued.read(path)
        return practice.issue(self.module, self.marker or practice.Marker("", PRACTICE))

    def _read_sheet(self):
        issue = self.issue
        fresh = Sheet(issue.term, issue.module, issue.trainee, issue.attempt, made_with=MADE_WITH)
        if self.people.waiting or not self.path.exists():
            return fresh
        stamp = files.stamp(self.path)
        try:
            sheet = self._own(self.path, self.marker, issue)
        except TimingMarkError as problem:
            self.problem = str(problem)
            try:
                sheet = self._own(self.path.with_name(f"{sheets.NAME}.bak"), self.marker, issue)
            except TimingMarkError:
                return fresh
            self.problem += " The copy from before the last change was taken instead; look at your last answer."
            return sheet
        self._stamp = stamp
        return sheet

    def _own(self, path, marker, issue):
        """The sheet in a file, if it is by the trainee to whom the numbers belong."""
        sheet = sheets.read(path)
        for word, there, here in (
            ("term", sheet.term, issue.term), ("module", sheet.module, issue.module),
            ("trainee", sheet.trainee, issue.trainee), ("attempt", sheet.attempt, issue.attempt),
        ):  # fmt: skip
            if there != here and (word != "attempt" or marker is None):
                raise Refused(f"{path.name} here is of {word} {str(there)[:60]}, the numbers are of {word} {here}.")
        return sheet if marker is None else self._of_these_draws(sheet, marker)

    def _of_these_draws(self, sheet, marker):
        """The sheet without answers to numbers that were drawn before."""
        current = {exercise.key: self._draw_of(exercise.key, marker) for exercise in self.module.exercises}
        kept = {}
        for path, answer in sheet.answers.items():
            draw = current.get(path.rpartition(".")[0])
            if answer.rest.get(DRAW, draw) == draw:
                kept[path] = answer
        return sheet.but(answers=kept, attempt=marker.counter)

    def _draw_of(self, exercise_key, marker=None):
        marker = marker or self.marker
        assert marker is not None  # only practice numbers are drawn here
        return marker.draw_of(practice.group_of(self.module, exercise_key)[0])

    # Saving

    def _note(self, path, answer):
        rest = {**self.sheet.rest, LAST: path}
        with afterwards(lambda: self._tell(path)):
            self.sheet = self.sheet.with_answer(path, answer).but(saved=answer.at, rest=rest)
            self._save_or_say(path)

    def _save_or_say(self, path):
        if not self.place.may_save:
            self.unsaved.add(path)
            self.why = self.place.why_not
            return
        if self._writer is not None and _loop() is not None:
            self.saving.add(path)
            self._start()
            return
        try:
            self.save()
        except BaseException as problem:  # whatever it is, the form must not say "saved"
            self._not_saved({path}, problem)
            raise

    def _start(self):
        """Hand the sheet to the writer, unless it is busy: then it gets the newest one when it is done."""
        loop = _loop()
        if self._under_way is not None or self._writer is None or loop is None:
            return
        asked, paths = self.sheet, set(self.saving | self.unsaved)
        future = self._writer.submit(self._write, asked, self._known, set(self.unsaved))
        self._under_way = future, asked, paths
        future.add_done_callback(lambda done: loop.call_soon_threadsafe(self._finished, done))

    def _finished(self, future):
        """The writer is done; in the kernel's own thread."""
        if self._under_way is None or self._under_way[0] is not future:
            return  # somebody waited for it
        paths = self._under_way[2]
        try:
            self._wait()
        except CannotWrite as problem:
            self._not_saved(paths, problem)
        except Exception as problem:
            self._not_saved(paths, problem)
        self._tell("")
        if self.saving:
            self._start()

    def _wait(self):
        """Take over what the writer is at, if it is at anything."""
        if self._under_way is None:
            return
        future, asked, paths = self._under_way
        try:
            saved = future.result()
        finally:
            self._under_way = None
        self._take(saved, asked, paths)

    def _not_saved(self, paths, problem):
        self.unsaved |= paths
        self.saving -= paths
        self.why = str(problem) or "saving was interrupted."
        self._try_again()

    def _write(self, sheet, known, unsaved) -> _Saved:
        """Join a sheet with what lies on disk and write it, while no other window can. Changes nothing in this object.

        Parameters
        ----------
        sheet : Sheet
            Ours.
        known : dict
            Path -> Answer, as we last saw the file.
        unsaved : set
            Paths whose answers a former save could not write.
        """
        if not self.place.may_save:
            raise CannotWrite(self.place.why_not)
        where, owner = self._follow_folder()
        path, marker, problem = where.folder / sheets.NAME, self.marker, self.problem
        with _locked(where.folder / LOCK):
            if marker is not None and owner != self._owner:
                there = practice.read(where.folder / practice.NAME)
                if there.drawn != marker.drawn:
                    sheet, marker = self._of_these_draws(sheet, there), there
            replaced, count = {}, sheet.rest.get(VERSION)
            if not problem and path.exists() and files.stamp(path) != self._stamp:
                try:
                    issue = (
                        self.issue if marker is None or marker is self.marker else practice.issue(self.module, marker)
                    )
                    there = self._own(path, marker, issue)
                    sheet, replaced = _joined(known, sheet, there, unsaved)
                    count = there.rest.get(VERSION)
                except TimingMarkError as unreadable:
                    problem = str(unreadable)
            set_aside = bool(problem) and path.exists()
            if set_aside:
                files.set_aside(path)
            sheet = sheet.but(rest={**sheet.rest, VERSION: count + 1 if type(count) is int else 1})
            sheets.write(path, sheet)
            return _Saved(sheet, files.stamp(path), where, owner, marker, replaced, set_aside)

    def _take(self, saved, asked, paths):
        """Go on from what a save came to; what was typed since stays."""
        self.place, self._stamp, self._owner = saved.place, saved.stamp, saved.owner
        self.problem = "" if saved.set_aside else self.problem
        drawn_anew = saved.marker is not self.marker
        if drawn_anew:
            self._be(saved.marker)
        here, since = self.sheet, []
        answers = dict(saved.sheet.answers)
        for path, answer in here.answers.items():
            if answer is not asked.answers.get(path) and (not drawn_anew or self._is_of_these_draws(path, answer)):
                answers[path] = answer
                since.append(path)
        rest = {**saved.sheet.rest, **{k: v for k, v in here.rest.items() if k != VERSION}}
        self.sheet = saved.sheet.but(answers=answers, rest=rest, saved=max(here.saved, saved.sheet.saved))
        self._known = dict(saved.sheet.answers)
        self.saving = {path for path in self.saving if path in since or path not in paths}
        self.unsaved = {path for path in self.unsaved if path in since and path not in self.saving}
        self.why = self.why if self.unsaved else ""
        for path, (mine, theirs) in saved.replaced.items():
            self.told[path] = (
                f"Another window changed this answer from “{_words(mine)}” to “{_words(theirs)}”, and that one counts. "
                "If it is not what you want, write yours again."
            )
        if drawn_anew:
            self._tell(None)
        else:
            for path, answer in self.sheet.answers.items():
                if path not in since and asked.answers.get(path) is not answer:
                    self._tell(path)

    def _is_of_these_draws(self, path, answer):
        draw = self._draw_of(path.rpartition(".")[0])
        return answer.rest.get(DRAW, draw) == draw

    def _try_again(self):
        """Save a little later, in a kernel; a disk that was full may have room by then."""
        loop = _loop()
        if loop is not None and self._retry is None:
            self._retry = loop.call_later(RETRY_S, self._again)

    def _again(self):
        self._retry = None
        if not self.unsaved:
            return
        if self._writer is not None and _loop() is not None:
            self.saving |= self.unsaved
            self._start()
            return
        try:
            self.save()
        except CannotWrite as problem:
            self.why = str(problem)
            self._try_again()
        self._tell("")

    def _tell(self, path):
        for listener in tuple(self._listeners):
            listener(path)

    def _follow_folder(self):
        """(place, stamp of the file that says whose it is): a folder renamed while the lesson is open is looked for.

        A new one is never made. The file is read only where it changed.
        """
        owner = self._owner_stamp(self.place.folder)
        if owner is not None and (owner == self._owner or self._is_ours(self.place.folder)):
            return self.place, owner
        if self._searches:
            try:
                moved = lesson_folder()
            except OSError:  # the current folder is gone
                moved = None
            if moved is not None and self._is_ours(moved):
                return Place(moved, True), self._owner_stamp(moved)
        raise CannotWrite(
            f"The folder {self.place.folder} is no longer where it was. Put it back, or close the lesson and open it "
            "where it lies now."
        )

    def _owner_stamp(self, folder) -> Any:
        try:
            return files.stamp(folder / (issued.NAME if self.marker is None else practice.NAME))
        except OSError:
            return None

    def _is_ours(self, folder):
        name = issued.NAME if self.marker is None else practice.NAME
        try:
            if self.marker is None:
                return issued.read(folder / name) == self.issue
            return practice.read(folder / name).installation == self.marker.installation
        except TimingMarkError:
            return False


def _joined(known, mine, there, unsaved):
    """Our sheet joined with the one on disk, part by part.

    Who changed a part counts; where both did, the later of the two. What was typed here and could not be
    saved is not thrown away for what another window wrote since.

    Returns
    -------
    (Sheet, dict)
        The sheet to write, and of answers that were ours and count no more: path -> (mine, theirs).
    """
    answers, replaced = dict(there.answers), {}
    for path, own in mine.answers.items():
        before, other = known.get(path), there.answers.get(path)
        if other is None or other == before or path in unsaved or _age(own) >= _age(other):
            answers[path] = own if other is None or other.tries <= own.tries else own.but(tries=other.tries)
        elif (own.raw, own.unit) != (other.raw, other.unit) and own.raw.strip():
            replaced[path] = own, other
    return there.but(answers=answers, rest={**there.rest, **mine.rest}, saved=max(mine.saved, there.saved)), replaced


def _age(answer):
    """What is later is greater; of two of one moment the one that was checked."""
    return answer.at, answer.tries, answer.raw


def _words(answer):
    text = f"{answer.raw} {answer.unit}".strip()
    return text if len(text) <= 60 else f"{text[:57]}..."


@contextmanager
def _locked(path):
    """Held by one window at a time, of whatever browser and process; a killed one leaves it free."""
    lock = FileLock(path, timeout=LOCK_S)
    try:
        lock.acquire()
    except Timeout:
        raise CannotWrite(
            "Another window has been saving in this folder for long. Close the other windows of this lesson; yours is "
            "tried again by itself."
        ) from None
    except NotImplementedError:  # a file system without locks: what two windows write is still joined
        pass
    except OSError as problem:
        raise CannotWrite(
            f"{path} could not be written: {problem.strerror or problem}. Free the disk or allow writing, then try "
            "again; nothing was changed."
        ) from None
    try:
        yield
    finally:
        lock.release()


def _loop():
    """The running event loop, which a kernel has, or None."""
    try:
        return asyncio.get_running_loop()
    except RuntimeError:
        return None


@atexit.register
def _write_what_is_on_its_way():
    for store in tuple(_WEAK):
        try:
            store.flush()
        except Exception:  # the process ends: nobody is there to be told, and the page asks the next one
            continue
