"""Panel: one diagnosis from the job card to the hand-over; each result is predicted before it is uncovered.

The car is one of the bench: what is uncovered is what the instruments read there.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from html import escape
from typing import Any

from grader.bench import session
from grader.bench.actions import action
from grader.bench.atoms import Atom
from grader.bench.cases import Case
from grader.bench.instruments import DRIVEN_MINUTES
from grader.widgets import style
from grader.widgets.fields import bench_drawn

CAR = Case("anstow-v8", 1, Atom(("lead_leaky",)), 2, 9.0, ("misfire_load",), "5eed00000000d101")
SWAPPED = ("fit_plugs", "fit_cap", "fit_coil", "fit_leads")  # what the swapper fits, one after the other


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked before something is done; `acts` are what is done then, `why` the reason."""

    asks: str
    options: tuple[str, ...]
    right: int
    acts: tuple[Mapping[str, Any], ...]
    why: str


@cache
def questions() -> tuple[Question, ...]:
    """The steps of the worked diagnosis."""
    number = CAR.cylinder
    return (
        Question(
            "The owner says: “It stumbles up the hills.” The plugs have run 9000 miles (14\u202f500 km). What do you do first?",
            ("Fit a set of plugs; they are due soon anyway", "Drive it uphill and meet the stumble", "Take the cap off and look"),
            1,
            (session.test("road"),),
            "Now you know it is there, and when: under load. Idle and cruise are well. Six causes come to "
            "mind: worn plugs, a leaking lead, a track in the cap, a weak coil, burnt points, leads that disturb each other.",
        ),
        Question(
            "Coil output takes 5 minutes. Which of the six would read low?",
            ("The coil and the points", "The lead and the cap", "The plugs"),
            0,
            (session.test("coil_gap"),),
            "In limits: coil and points are excluded, two of six for 5 minutes. To take all plugs out would have said more, "
            "for 20 minutes. Four causes are left.",
        ),
        Question(
            "In the dark, with a fine mist of water: what would worn plugs show?",
            ("Sparks at the plugs", "Nothing at all", "Sparks across the cap"),
            1,
            (session.test("dark_mist"),),
            f"A spark from one lead to the manifold. Plugs show nothing there, so this speaks of the lead of number {number}. "
            "Had you seen nothing, it would have excluded nothing: such a look misses one in four.",
        ),
        Question(
            f"Before you order a lead: which result would prove you wrong about the lead of number {number}?",
            ("All lead ends alike", f"Lead end {number} low, the others in limits", "Another stumble on the hill"),
            0,
            (session.test("lead_gap"), session.name("lead", at=number)),
            "That end alone is low, and what comes into the lead is in limits. Two readings that do not depend on each other "
            "say the same: it is proved. Now it has a name, and only now a part is ordered.",
        ),
        Question(
            "What do you renew?",
            ("The set of leads, to be safe", "This lead and the plugs, to be safe", "This lead, and lay it in its bracket"),
            2,
            (session.action("fit_lead", at=number),),
            "One change. With two at once you would not know which of them cured it, and neither is proved.",
        ),
        Question(
            "When is it mended?",
            ("When the new lead is on", "When the reading that was out is in, and the hill is driven", "When it idles evenly"),
            1,
            (session.test("lead_gap"), session.test("road")),
            "The reading that was out is in limits, and the complaint's own condition was tried. Idle was even before, so it "
            "proves nothing.",
        ),
        Question(
            "What does the owner get in writing?",
            ("“Lead renewed.”", "Found, how proved, before and after, what was left", "The bill alone"),
            1,
            (session.hand_over(["lead"], number, ["dark_mist", "lead_gap"], "lead_gap",
                               "Plug gaps have grown; measure them at the next service."),),
            "A colleague could go on from that paper.",
        ),
    )  # fmt: skip


def bill() -> str:
    """What the same car costs where parts are fitted until it goes, in a sentence."""
    car = CAR.car
    done = [action(key) for key in SWAPPED]
    minutes = sum(one.minutes_on(car) + DRIVEN_MINUTES for one in done)
    parts = sum(one.parts_on(car) for one in done)
    mine = session.replay(CAR, session.written([act for one in questions() for act in one.acts]))
    return (
        f"Beside it the bill of the parts-swapper: plugs, cap, coil, and leads at last. {minutes:.0f} minutes and parts worth "
        f"{parts:.0f} minutes, with a drive after each. Yours: {mine.minutes:.0f} minutes with both drives, and parts "
        f"worth {mine.parts:.0f}. He never knew what it was; with luck the new plugs would have hidden it until they wore."
    )


class Worked:
    """The panel; `box` is the widget. A prediction is no answer: it is neither kept nor marked."""

    def __init__(self):
        self._done = 0
        self.controls = {}  # no slider: what a prediction does is to uncover
        self._told = style.HTML().add_class("tm-bench")
        self._label = style.HTML().add_class("tm-label")
        self._options = style.RadioButtons(options=[], value=None, layout=style.wide())
        self._button = style.Button(description="Uncover what came of it", tooltip="Uncover what came of it")
        self._button.on_click(lambda _: self._uncover())
        self.message = style.HTML().add_class("tm-verdict")
        self.captions = [self._told]
        self._heard = []  # what was predicted at each step
        title = style.HTML("<h3>A diagnosis, step by step</h3>")
        self.box = style.VBox(
            [title, self._told, self._label, self._options, self._button, self.message], layout=style.column()
        ).add_class("tm-panel")
        self._ask()

    def _ask(self):
        self._told.value = "".join(map(self._told_step, range(self._done)))
        if self._done == len(questions()):
            self._told.value += f"<p>{escape(bill())}</p>"
            self.box.children = (self.box.children[0], self._told)
            return
        question = questions()[self._done]
        self._label.value = f"<div>{self._done + 1}. {escape(question.asks)}</div>"
        self._options.options = question.options
        self._options.value = None

    def _uncover(self):
        if self._options.value is None:
            self.message.value = style.sentence("Predict first: choose one.", "wrong")
            return
        self.message.value = ""
        self._heard.append(self._options.index)
        self._done += 1
        self._ask()

    def _told_step(self, place):
        question, heard = questions()[place], self._heard[place]
        before = [act for one in questions()[:place] for act in one.acts]
        bench = session.replay(CAR, session.written([*before, *question.acts]))
        lines = []
        for step in bench.steps[len(before) :]:
            pictures = bench_drawn.readings(step.figures, step.results, step.places)
            lines.append(f"<li>{bench_drawn.told(step)}{pictures}</li>")
        said = (
            "So it is."
            if heard == question.right
            else f"You said: {question.options[heard]}. Better: {question.options[question.right]}."
        )
        return f"<h4>{place + 1}. {escape(question.asks)}</h4><p>{escape(said)}</p><ul>{''.join(lines)}</ul><p>{escape(question.why)}</p>"


def worked_panel() -> Worked:
    """A new one."""
    return Worked()
