"""The top of a lesson: who works here, until when, how far he is, where it is saved; handing in."""

import os
from base64 import b64encode
from html import escape
from pathlib import Path

from grader import clock, files
from grader.errors import BadFile
from grader.exercise import hand_in
from grader.exercise import sheet as sheets
from grader.exercise.issued import to_answer
from grader.exercise.model import PRACTICE
from grader.widgets import class_server, own_work, print_sheet, study, style
from grader.widgets.answer_store import Store
from grader.widgets.part_form import shown_errors


class Progress:
    """How far a lesson is, from the answers that are saved.

    `parts` holds a tuple of True (answered) and False for each exercise that is asked, in the
    order of the module, which is that of the page.
    """

    def __init__(self, store: Store) -> None:
        self.store = store
        asked = set(to_answer(store.issue.exercises))
        exercises = {exercise.key: exercise for exercise in store.module.exercises}
        self._order = list(exercises)
        self._exercises = exercises
        self.parts = {
            key: tuple(self._answered(f"{key}.{part.key}") for part in exercises[key].parts)
            for key in self._order
            if key in asked
        }

    @property
    def begun(self) -> bool:
        """True once anything is answered."""
        return any(any(one) for one in self.parts.values())

    @property
    def open(self) -> list[str]:
        """Keys of the exercises with a part that is not answered."""
        return [key for key, one in self.parts.items() if not all(one)]

    def resume(self) -> str:
        """HTML: the sentence that says where he stopped, the link to go on, the list of all exercises."""
        last, still = (self.store.last or "").rpartition(".")[0], self.open
        if last not in self.parts:  # it counts from an earlier attempt
            last = next(reversed(self.parts))
        title = self._exercises[last].title
        stopped = f"{self._number(last)} of {len(self._order)}: <strong>{escape(title)}</strong>"
        stopped += "" if title.endswith("?") else "."
        if last in still:
            words, link = f"You stopped at {stopped}", self._link(last, "Go on there")
        elif still:
            after = [key for key in still if self._order.index(key) > self._order.index(last)]
            goal = (after or still)[0]
            words = f"You stopped after {stopped}"
            link = self._link(goal, f"Go on with {self._number(goal)}: {self._exercises[goal].title}")
        else:
            words, link = f"All are answered. You stopped at {stopped}", self._link(last, "Look at it again")
        return f"<div>{words} {link}</div>{self._list()}"

    def links(self) -> str:
        """HTML: the numbers of the open exercises, each a link; empty where none is open."""
        return ", ".join(self._link(key, str(self._order.index(key) + 1)) for key in self.open)

    def _list(self):
        done, begun = len(self.parts) - len(self.open), sum(any(self.parts[key]) for key in self.open)
        summary = f"{done} of {len(self.parts)} exercises answered"
        summary += f", {begun} begun" if begun else ""
        items = "".join(f"<li>{self._item(key)}</li>" for key in self.parts)
        return f"<details><summary>{summary}: show all</summary><ul>{items}</ul></details>"

    def _item(self, key):
        states = self.parts[key]
        state = "answered" if all(states) else f"{sum(states)} of {len(states)} answered" if any(states) else "open"
        number = self._order.index(key) + 1
        return f"{self._link(key, f'{number}. {self._exercises[key].title}')}: {state}"

    def _number(self, key):
        return f"exercise {self._order.index(key) + 1}"

    def _link(self, key, words):
        return f'<a class="tm-go" href="#{style.anchor(self._exercises[key])}">{escape(words)}</a>'

    def _answered(self, path):
        answer = self.store.answers.get(path)
        return answer is not None and bool(answer.raw.strip())


class SheetTop:
    """The header of one lesson; `box` is the widget to show.

    Parameters
    ----------
    store : Store
    """

    shows_unsaved = False

    def __init__(self, store: Store) -> None:
        self.store = store
        self.who = style.HTML().add_class("tm-who")
        self.place = style.HTML().add_class("tm-place")
        self._folder, self._had_begun = None, False
        self._read = {}  # path -> (stamp of the file, what was read from it)
        self._later = None  # an attempt that was handed out since, found when the page opens
        self.message = style.HTML().add_class("tm-message").add_class("tm-verdict")
        self.beacon = style.HTML().add_class("tm-beacon")
        self._answered = {"tm-hand-in": 0, "tm-print": 0}  # clicks, since the page was built
        self.hand_in = style.Button(description="Hand in").add_class("tm-hand-in")
        self.print = style.Button(
            description="Sheet to print", tooltip="Make a sheet of your questions and answers to print"
        )
        self.print.add_class("tm-print")
        self.other = style.Button(description="Someone else?", tooltip="Another trainee wants to work here")
        self.other.add_class("tm-other")
        self.later = style.Button(description="Begin the new attempt").add_class("tm-later")
        self.name_label = style.HTML("Your name").add_class("tm-label")
        self.name = style.Text(tooltip="Your name", layout=style.field()).add_class("tm-name")
        self.start = style.Button(description="Go on under this name").add_class("tm-start")
        self.mine = style.Button(description="The work shown below is mine").add_class("tm-mine")
        self.names = style.VBox(layout=style.column()).add_class("tm-names")
        self.hand_in.on_click(lambda _: self._answer("tm-hand-in", self._hand_in))
        self.print.on_click(lambda _: self._answer("tm-print", self._print))
        self.later.on_click(lambda _: self._begin_later())
        self.other.on_click(lambda _: self._ask_name())
        self.start.on_click(lambda _: self._choose(mine=False))
        self.mine.on_click(lambda _: self._choose(mine=True))
        self.buttons = style.HBox(layout=style.row())
        self.box = style.VBox(
            [self.who, self.place, self.buttons, self.names, self.message, self.beacon], layout=style.column()
        ).add_class("tm-top")
        self._show_beacon()
        self._heard(None)
        if store.people.waiting:
            self._ask_name()
        store.listen(self._heard)

    def say(self, text: str, kind: str = "") -> None:
        """A sentence under the buttons."""
        self.message.value = style.sentence(text, kind)

    @property
    def progress(self) -> tuple[int, int]:
        """(parts answered, parts asked)."""
        states = Progress(self.store).parts.values()
        return sum(sum(one) for one in states), sum(len(one) for one in states)

    @shown_errors
    def _heard(self, path):
        store = self.store
        if path is None:
            issued_here = (self.hand_in,) if store.marker is None else ()
            self._later = store.people.later_attempt()
            later = (self.later,) if self._later else ()
            self.buttons.children = (*later, *issued_here, self.print, self.other) if store.place.may_save else ()
        self.who.value = "".join(f"<div>{line}</div>" for line in self._lines())
        self.show_place()

    @shown_errors
    def show_place(self) -> None:
        """Where he stopped, and a list of what is open; nothing on a page that opened without any answer."""
        store = self.store
        if store.people.waiting:
            self.place.value = ""
            return
        found = Progress(store)
        if self._folder != store.place.folder:
            self._folder, self._had_begun = store.place.folder, found.begun
        self.place.value = found.resume() if self._had_begun and found.begun else ""

    def _lines(self):
        store, issue = self.store, self.store.issue
        if store.people.waiting:
            yield f"<strong>{escape(store.module.title)}</strong>: several people work on this machine. Who are you?"
            return
        if store.marker is not None:
            owner = f" of <strong>{escape(store.marker.name)}</strong>" if store.marker.name else ""
            yield f"<strong>{escape(store.module.title)}</strong> · Practice{owner}. Nothing here counts for a mark."
        elif issue.mode == PRACTICE:
            yield f"<strong>{escape(store.module.title)}</strong> · Practice{self._trainee()}."
        else:
            yield (
                f"<strong>{escape(store.module.title)}</strong> · Assessed{self._trainee()}, attempt {issue.attempt}. "
                "The form shows what was read and that it is saved; the marks come back with your sheet."
            )
        if issue.due:
            late = " This time has passed." if clock.now() > clock.from_text(issue.due) else ""
            before = store.people.due_before
            moved = (
                f" Your instructor moved it; it was {escape(clock.shown(clock.from_text(before), issue.zone))}."
                if before
                else ""
            )
            yield f"Due {escape(clock.shown(clock.from_text(issue.due), issue.zone))}.{moved}{late}"
        if self._later:
            yield (
                f"<strong>Your instructor has given you a further attempt, number {self._later[0].attempt}.</strong> Begin it with "
                f"the button below; what you did in attempt {issue.attempt} is kept in a folder beside this one."
            )
        done, asked = self.progress
        yield f"{done} of {asked} done. {self._where()}{self._to_start()}"
        if store.problem:
            yield f"<strong>Look here:</strong> {escape(store.problem)} That file is kept and set aside."
        receipt = self._receipt() if store.marker is None and store.place.may_save else None
        if receipt is not None:
            at = escape(clock.shown(clock.from_text(receipt.made), issue.zone))
            words = "" if self._still(receipt) else " <strong>You changed answers since: hand in again.</strong>"
            yield f"Handed in {at}, receipt {receipt.short}.{words}"

    def _trainee(self):
        issue = self.store.issue
        known = self.store.marker is not None or self.store.place.may_save
        return f" work of <strong>{escape(issue.trainee)}</strong>, {escape(issue.term)}" if known else ""

    def _where(self):
        store = self.store
        if not store.place.may_save:
            return f"<strong>Nothing is saved:</strong> {escape(store.place.why_not)}"
        if store.unsaved:
            return f"<strong>Not all is saved:</strong> {escape(store.why)}"
        return "Saved as you type." if class_server.is_there() else f"Saved as you type in {escape(str(store.path))}."

    def _to_start(self):
        """HTML: the link to the start page, where study made one."""
        if class_server.is_there():
            return f' <a href="{escape(class_server.start_page())}">All your lessons</a>'
        folder = self.store.people.home.folder
        home = own_work.lesson_home(folder)
        if home is None or not (home / study.START).is_file():
            return ""
        return f' <a href="{Path(os.path.relpath(home / study.START, folder)).as_posix()}">All your lessons</a>'

    def _receipt(self):
        """The receipt of the last hand-in here, or None."""
        folder, issue = self.store.place.folder, self.store.issue
        return self._unchanged(folder / hand_in.zip_name(issue), lambda _: hand_in.last(folder, issue))

    def _still(self, receipt):
        """True while the answers on disk are those of the receipt."""
        return self._unchanged(self.store.path, _digest) == receipt.sha256

    def _unchanged(self, path, read):
        """What was read from a file, read again only after the file changed; None where there is none."""
        try:
            stamp = files.stamp(path)
        except OSError:
            return None
        known = self._read.get(path)
        if known is None or known[0] != stamp:
            known = self._read[path] = stamp, read(path)
        return known[1]

    def _show_beacon(self):
        self.beacon.value = "".join(style.clicks(*one) for one in self._answered.items())

    def _answer(self, button, act):
        act()
        self._answered[button] += 1  # not where it was interrupted: then the page asks again
        self._show_beacon()

    @shown_errors
    def _hand_in(self):
        if self.store.unsaved or self.store.saving:
            self.store.save()
        done, asked = self.progress
        deliver = class_server.deliver if class_server.is_there() else None
        path, receipt = hand_in.write(self.store.place.folder, self.store.issue, deliver=deliver)
        self._heard("")
        still = Progress(self.store).links()
        blank = f" {asked - done} of {asked} answers are still blank, in exercise {still}." if done < asked else ""
        lies = f"It lies in {escape(str(path))}. {_download(path, 'application/zip', 'Download it')}"
        goes = "Your instructor has it." if deliver is not None else lies
        self.message.value = (
            f'<div class="tm-say tm-right">Handed in: receipt <strong>{receipt.short}</strong>. Write it down; your '
            f"instructor's list shows the same.{blank} You may change answers and hand in again.</div>"
            f"<div>{goes}</div>"
        )

    @shown_errors
    def _begin_later(self):
        if self.store.unsaved or self.store.saving:
            self.store.save()
        kept = self.store.people.begin_later()
        self.store.reload()
        self.say(
            f"Attempt {self.store.issue.attempt} is ready: reload this page to begin. The former one is kept in {kept}.",
            "right",
        )

    @shown_errors
    def _print(self):
        path = print_sheet.write(self.store)
        self.message.value = (
            f"<div class='tm-say'>The sheet lies in {escape(str(path))}. "
            f"{_download(path, 'text/html', 'Download it')} and print it from your browser.</div>"
        )

    @shown_errors
    def _ask_name(self):
        people = self.store.people
        if people.shared is not None:
            self._ask_id()
            return
        if people.owner is None:
            self.say(
                f"These numbers were issued to {self.store.issue.trainee}, and only that trainee's answers can go in "
                "here. Close this page and open your own hand-out with 'timing-mark study' and its zip. To "
                "practise, open 'timing-mark study' with your own --name."
            )
            return
        known = [name for name in people.names if name]
        told = f" So far: {', '.join(known)}." if known else ""
        self.name.value = ""
        hint = style.HTML(
            f"<div>Each trainee has numbers and answers of his own.{escape(told)} Type your name; "
            "a new name starts afresh.</div>"
        )
        nameless = not people.owner.name and not people.waiting
        buttons = (self.start, self.mine) if nameless else (self.start,)
        self.names.children = (hint, self.name_label, style.HBox((self.name, *buttons), layout=style.row()))
        self.message.value = ""

    def _ask_id(self):
        """The numbers of the whole class lie here: each finds his own by his id."""
        hint = style.HTML(
            "<div>This folder serves many trainees. Type your id as it stands on the class list; you then get your own "
            "numbers, and only your own answers are shown and saved.</div>"
        )
        self.name.value, self.name.tooltip = "", "Your id"
        self.name_label.value = "Your id"
        self.start.description = "Open my work"
        self.names.children = (hint, self.name_label, style.HBox((self.name, self.start), layout=style.row()))
        self.message.value = ""

    @shown_errors
    def _choose(self, *, mine):
        self.store.choose(self.name.value, mine=mine)
        self.names.children = ()
        who = self.store.marker.name if self.store.marker is not None else self.store.issue.trainee
        self.say(f"Now working: {who}.", "right")


def _digest(path):
    try:
        return hand_in.digest(files.read_bytes(path, most=sheets.LARGEST_FILE, what="The answer sheet"))
    except BadFile:
        return None


def _download(path, kind, words):
    content = b64encode(path.read_bytes()).decode()
    return f'<a download="{escape(path.name)}" href="data:{kind};base64,{content}">{words}</a>'
