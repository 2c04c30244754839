"""Where a lesson keeps its answers, and whose they are."""

import asyncio

from grader import clock, files
from grader.errors import CannotWrite, Refused, TimingMarkError, afterwards
from grader.exercise import issued, practice
from grader.exercise import sheet as sheets
from grader.exercise.model import PRACTICE
from grader.marking.confidence import FIRST, SURE
from grader.widgets.people import People, Place, lesson_folder, place

MADE_WITH = "timing-mark 0.2"
RETRY_S = 3.0
CHECKED, DRAW = "checked", "draw"  # what the form adds to an entry of answers.json
LAST = "last"  # what it adds to the whole: the part worked on last, a claim like all from this machine


class Store:
    """The answers of one lesson in one folder.

    `issue` holds the numbers; `marker` the practice file, or None. `problem` is a
    sentence when the saved sheet could not be used; that file is left alone and
    set aside on the next save. `unsaved` names the parts whose answer stands only
    here, `why` says why. Listeners are called with the path that changed, an empty
    text when only the saving did, or None when everything did.
    """

    def __init__(self, module, folder=None):
        self.module = module
        self.place = place(folder)
        self.unsaved, self.why = set(), ""
        self._searches = folder is None
        self._listeners = []
        self._retry = None
        self.people = People(module, self.place)
        self.place = self.people.place
        self._load()

    @property
    def path(self):
        return self.place.folder / sheets.NAME

    @property
    def answers(self):
        return self.sheet.answers

    @property
    def last(self):
        """The part that was typed in or checked last, or None where nothing was.

        A sheet that does not say so, such as one of an earlier version, is asked for the
        newest of its answers.
        """
        said = self.sheet.rest.get(LAST)
        if isinstance(said, str) and said in self.answers:
            return said
        return max(self.answers, key=lambda path: self.answers[path].at, default=None)

    def listen(self, listener):
        """Call `listener` with a path, or None, after each change."""
        self._listeners.append(listener)

    def close(self):
        """Forget the listeners; a retry under way ends."""
        self._listeners.clear()
        if self._retry is not None:
            self._retry.cancel()
            self._retry = None

    def put(self, path, raw, unit="", read_as=""):
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
        self._note(path, sheets.Answer(raw, unit, version, read_as, clock.to_text(clock.now()), tries, rest))

    def count_try(self, path):
        """Note that a verdict was asked for; the same answer checked again is no new try."""
        answer = self.sheet.answers[path]
        checked = [answer.raw, answer.unit]
        if answer.rest.get(CHECKED) != checked:
            rest = {FIRST: checked, **answer.rest, CHECKED: checked}
            self._note(path, answer.but(tries=answer.tries + 1, rest=rest))
        elif path in self.unsaved:
            self._note(path, answer)

    def say_sure(self, exercise, word):
        """Note how sure the trainee is of an exercise; one of `sureness.WORDS`.

        Raises
        ------
        CannotWrite
            As `put`.
        """
        path = f"{exercise.key}.{exercise.parts[0].key}"
        version = self.issue.exercises[exercise.key]["version"]
        before = self.sheet.answers.get(path) or sheets.Answer("", version=version)
        rest = {**before.rest, SURE: word}
        if self.marker is not None:
            rest[DRAW] = self._draw_of(exercise.key)
        self._note(path, before.but(at=clock.to_text(clock.now()), rest=rest))

    def save(self):
        """Write the sheet.

        Raises
        ------
        CannotWrite
            Saving is not allowed here, or the disk refuses; the file on disk stands as it was.
        """
        if not self.place.may_save:
            raise CannotWrite(self.place.why_not)
        self._follow_folder()
        self._join_draws()
        self._join_disk()
        if self.problem and self.path.exists():
            files.set_aside(self.path)
            self.problem = ""
        sheets.write(self.path, self.sheet)
        self._stamp = files.stamp(self.path)
        self.unsaved, self.why = set(), ""

    def take_unsaved(self, older):
        """Go on with what an earlier store of the same folder could not save."""
        if older.place.folder == self.place.folder and not self.people.waiting:
            for path in older.unsaved:
                self.sheet = self.sheet.with_answer(path, older.sheet.answers[path])
                self.unsaved.add(path)
            self.why = self.why or older.why
            if self.unsaved:
                self._try_again()

    def fresh(self, exercise_key):
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
        stamp = clock.to_text(clock.now()).replace(":", "").replace(".", "")
        files.write_bytes(self.path.with_name(f"answers-{stamp}.json"), sheets.dump(self.sheet))
        marker = practice.with_fresh_numbers(self.module, self.marker, exercise_key)
        practice.write(self.place.folder / practice.NAME, marker)
        self.marker, self.issue = marker, practice.issue(self.module, marker)
        group = practice.group_of(self.module, exercise_key)
        kept = {path: a for path, a in self.sheet.answers.items() if path.rpartition(".")[0] not in group}
        self.sheet = self.sheet.but(answers=kept, attempt=self.issue.attempt)
        self.unsaved -= {path for path in self.unsaved if path.rpartition(".")[0] in group}
        try:
            self.save()
        except CannotWrite as problem:  # the old answers carry the number of their draw: nobody takes them for new ones
            self.why = str(problem)
        self._tell(None)

    def choose(self, name, *, mine=False):
        """Go on as another trainee on this machine, with numbers and answers of his own.

        Raises
        ------
        Refused, CannotWrite
            See `People.choose`; everything stays.
        """
        self.place = self.people.choose(name, mine=mine)
        self.unsaved, self.why = set(), ""
        self.reload()

    def reload(self):
        """Read numbers and answers anew, as the folder now holds them."""
        self._load()
        self._tell(None)

    def _load(self):
        self.marker = self.people.marker
        self.issue = self._read_issue()
        self.problem = ""
        self._stamp = None
        self.sheet = self._read_sheet()

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
        try:
            self.save()
        except BaseException as problem:  # whatever it is, the form must not say "saved"
            self.unsaved.add(path)
            self.why = str(problem) or "saving was interrupted."
            self._try_again()
            raise

    def _try_again(self):
        """Save a little later, in a kernel; a disk that was full may have room by then."""
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            return
        if self._retry is None:
            self._retry = loop.call_later(RETRY_S, self._again)

    def _again(self):
        self._retry = None
        if not self.unsaved:
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

    def _draw_of(self, exercise_key):
        return self.marker.draw_of(practice.group_of(self.module, exercise_key)[0])

    def _read_issue(self):
        path = self.place.folder / issued.NAME
        if path.is_file() and not self.people.waiting:
            return issued.read(path)
        return practice.issue(self.module, self.marker or practice.Marker("", PRACTICE))

    def _read_sheet(self):
        issue = self.issue
        fresh = sheets.Sheet(issue.term, issue.module, issue.trainee, issue.attempt, made_with=MADE_WITH)
        if self.people.waiting or not self.path.exists():
            return fresh
        try:
            found = self._own(self.path)
        except TimingMarkError as problem:
            self.problem = str(problem)
            try:
                found = self._own(self.path.with_name(f"{sheets.NAME}.bak"))
            except TimingMarkError:
                return fresh
            self.problem += " The copy from before the last change was taken instead; look at your last answer."
            return found
        self._stamp = files.stamp(self.path)
        return found

    def _own(self, path):
        """The sheet in a file, if it is by the trainee to whom the numbers belong."""
        found, issue = sheets.read(path), self.issue
        for word, there, here in (
            ("term", found.term, issue.term), ("module", found.module, issue.module),
            ("trainee", found.trainee, issue.trainee), ("attempt", found.attempt, issue.attempt),
        ):  # fmt: skip
            if there != here and (word != "attempt" or self.marker is None):
                raise Refused(f"{path.name} here is of {word} {str(there)[:60]}, the numbers are of {word} {here}.")
        if self.marker is None:
            return found
        return self._of_these_draws(found)

    def _of_these_draws(self, sheet):
        """The sheet without answers to numbers that were drawn before."""
        known = {exercise.key: self._draw_of(exercise.key) for exercise in self.module.exercises}
        current = {}
        for path, answer in sheet.answers.items():
            draw = known.get(path.rpartition(".")[0])
            if answer.rest.get(DRAW, draw) == draw:
                current[path] = answer
        return sheet.but(answers=current, attempt=self.issue.attempt)

    def _join_draws(self):
        """Take over fresh numbers that another window drew; answers to the old ones are in its dated copy."""
        if self.marker is None:
            return
        there = practice.read(self.place.folder / practice.NAME)
        if there.drawn == self.marker.drawn:
            return
        self.marker, self.issue = there, practice.issue(self.module, there)
        self.sheet = self._of_these_draws(self.sheet)
        self._tell(None)

    def _join_disk(self):
        """Take over what another window wrote into the same file since we last looked."""
        if self.problem or not self.path.exists() or files.stamp(self.path) == self._stamp:
            return
        try:
            there = self._own(self.path)
        except TimingMarkError as problem:
            self.problem = str(problem)
            return
        changed = []
        for path, answer in there.answers.items():
            mine = self.sheet.answers.get(path)
            if mine is None or (answer.at > mine.at and path not in self.unsaved):
                self.sheet = self.sheet.with_answer(path, answer)
                changed.append(path)
        for path in changed:
            self._tell(path)

    def _follow_folder(self):
        """A folder that was renamed while the lesson is open is looked for; a new one is never made."""
        if self._is_ours(self.place.folder):
            return
        if self._searches:
            try:
                moved = lesson_folder()
            except OSError:  # the current folder is gone
                moved = None
            if moved is not None and self._is_ours(moved):
                self.place = Place(moved, True)
                return
        raise CannotWrite(
            f"The folder {self.place.folder} is no longer where it was. Put it back, or close the lesson and open it "
            "where it lies now."
        )

    def _is_ours(self, folder):
        name = issued.NAME if self.marker is None else practice.NAME
        try:
            if self.marker is None:
                return issued.read(folder / name) == self.issue
            return practice.read(folder / name).installation == self.marker.installation
        except TimingMarkError:
            return False
