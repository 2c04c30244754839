"""The warm-up of a lesson: three short questions from the lessons before, never marked, built when asked for."""

from collections.abc import Callable
from html import escape
from pathlib import Path

from grader import catalogue, clock
from grader.exercise import practice, recall
from grader.widgets import own_work, study, style
from grader.widgets.answer_store import Store
from grader.widgets.exercise_form import ExerciseForm
from grader.widgets.part_form import shown_errors

_WORDS = (
    "<h3>Warm-up</h3><p>Three short questions from the lessons before, with fresh numbers. They are <strong>not "
    "marked</strong>, they are never handed in, and you may skip them. What you recall again after some days, you keep."
    "</p>"
)


class WarmUp:
    """The warm-up of one lesson; `box` is the widget to show.

    Parameters
    ----------
    store : Store
        Of the lesson, which says who works here.
    opened : callable
        Called with each store that the warm-up opens, so that the page can close it.
    """

    shows_unsaved = False

    def __init__(self, store: Store, opened: Callable[[Store], object] = lambda store: None) -> None:
        self.store, self._opened = store, opened
        self.forms: dict[str, ExerciseForm] = {}
        self.message = style.HTML().add_class("tm-message")
        self.begin = style.Button(description="Begin the warm-up").add_class("tm-begin")
        self.begin.on_click(lambda _: self._begin())
        self.box = style.VBox([style.HTML(_WORDS), self.begin, self.message], layout=style.column())
        self.box.add_class("tm-warm-up")
        store.listen(self._heard)

    def say(self, text: str, kind: str = "") -> None:
        """A sentence under the button."""
        self.message.value = style.sentence(text, kind)

    @shown_errors
    def _heard(self, path):
        if path is None and self.forms:  # somebody else works here now
            self.close()

    def close(self) -> None:
        """Take the questions away; what was answered is kept."""
        for form in self.forms.values():
            form.store.close()
        self.forms = {}
        self.message.value = ""
        self.begin.description = "Begin the warm-up"
        self.box.children = (self.box.children[0], self.begin, self.message)

    @shown_errors
    def _begin(self):
        if self.forms:
            self.close()
            return
        if self.store.people.waiting or not self.store.place.may_save:
            self.say(self.store.place.why_not)
            return
        home = home_of(self.store)
        earlier = {
            exercise.key: (module, exercise)
            for key, module in catalogue.all_modules().items()
            if key < self.store.module.key
            for exercise in module.exercises
        }
        seen = own_work.seen(home)
        modules = list({module.key: module for module, _ in earlier.values()}.values())
        asked, stores = recall.choose(modules, seen, clock.now()), {}
        for key in asked:
            module = earlier[key][0]
            if module.key not in stores:
                stores[module.key] = _store(home, module, self.store)
                self._opened(stores[module.key])
            if any(answer.tries for path, answer in stores[module.key].answers.items() if path.startswith(f"{key}.")):
                stores[module.key].fresh(key)
        stands = recall.standings(seen)
        for key in asked:  # once all numbers are drawn: each draw builds the forms of its module anew
            module, exercise = earlier[key]
            self.forms[key] = ExerciseForm(stores[module.key], exercise, intro=_intro(module, stands.get(key)))
        self.begin.description = "Close the warm-up"
        boxes = [form.box for form in self.forms.values()]
        self.box.children = (self.box.children[0], *boxes, self.begin, self.message)
        self.say("" if boxes else "There is no short question in the lessons before.")


def _intro(module, stand):
    """HTML: where a question comes from, and why it comes now."""
    wrong = stand.wrong_at if stand is not None else None
    why = f" You had it wrong on {wrong.day} {wrong:%B %Y}." if wrong is not None else ""
    return f"<p><em>From “{escape(module.title)}”. Not marked.{why}</em></p>"


def home_of(store: Store) -> Path:
    """The folder that holds a trainee's own work and nobody else's, outside whatever is handed in.

    Parameters
    ----------
    store : Store
        Of an open lesson.

    Returns
    -------
    Path
        Where study put the lesson; for a lesson that lies elsewhere, such as one fetched from an exchange, a folder
        of that trainee among the work folders.
    """
    folder = store.place.folder
    home = own_work.lesson_home(folder)
    if home is not None:
        return home
    if store.marker is not None:  # another trainee's practice beside the owner's; it is never handed in
        return folder.parent if folder.name == store.module.key else folder
    return study.default_folder() / practice.folder_name(f"{store.issue.term}-{store.issue.trainee}")


def _store(home, module, lesson):
    folder = home / own_work.WARM_UPS / module.key
    marker = folder / practice.NAME
    if not marker.exists():
        practice.write(marker, practice.new(lesson.marker.name if lesson.marker is not None else ""))
    return Store(module, folder, behind=lesson.writes_behind)
