"""Honest work: a trainee with the printed page, the lesson's method and a pocket calculator, marked by the real marker.

He has nothing but what is printed (figures as they are rounded there), his own earlier
answers as he wrote them, and for a reading the picture on the page. He works in either
unit, writes down what lies between as the worked examples do or keeps it in the
calculator, and rounds at the end. Whoever works so must earn full marks.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal
from random import Random

from grader.exercise.model import Exercise, Module
from grader.exercise.sheet import Answer, Sheet
from grader.exercise.truth import Truth
from grader.marking import proof
from grader.marking.mark import mark_sheet

FIGURE = r"[-−]?\d+(?:\u202f\d{3})*(?:\.\d+)?"
_SPACED = str.maketrans({"\u202f": None, "−": "-"})


def number(printed: str) -> float:
    """A figure as it is printed: 10 000 with its thin space, a true minus."""
    return float(printed.translate(_SPACED))


def rounded(value: float, places: int) -> float:
    """Rounded as people do, a five upwards, and not as computers do."""
    step = Decimal(1).scaleb(-places)
    return float(Decimal(repr(float(value))).quantize(step, rounding=ROUND_HALF_UP))


def between(rows: list[tuple[float, float]], x: float) -> float:
    """Shared out evenly between two printed rows, as the lessons do; flat beyond the ends."""
    rows = sorted(rows)
    if x <= rows[0][0]:
        return rows[0][1]
    for (low, at_low), (high, at_high) in zip(rows, rows[1:], strict=False):
        if x <= high:
            return at_low + (at_high - at_low) * (x - low) / (high - low)
    return rows[-1][1]


@dataclass(frozen=True, slots=True)
class Page:
    """What one trainee has before him at one part.

    `text` is the exercise as printed, behind that of the exercise with which it is drawn
    together; `prompt` stands at the field and `unit` is the one he works in. `own` holds
    his earlier numbers by path, as he wrote them.
    """

    text: str
    prompt: str
    unit: str
    own: dict[str, float]
    random: Random
    writes_down: bool

    def figure(self, before: str, after: str = "") -> float:
        """The figure that is printed between two pieces of text (regular expressions)."""
        return self.figures(f"{before}({FIGURE}){after}")[0]

    def figures(self, pattern: str) -> list[float]:
        """The figures in the groups of a regular expression where it is first met in the text."""
        met = re.search(pattern.replace("#", FIGURE), self.text)
        assert met, f"“{pattern}” is not printed: {self.text}"
        return [number(group) for group in met.groups()]

    def rows(self, pattern: str) -> list[tuple[float, ...]]:
        """Each row of a printed table: the figures in the groups of a regular expression, wherever it is met."""
        return [tuple(map(number, groups)) for groups in re.findall(pattern.replace("#", FIGURE), self.text)]

    def curve(self, opening: str) -> list[tuple[float, float]]:
        """A curve as a test sheet prints it behind these words: 375 → 0°, 750 → 5°, ..."""
        behind = self.text.split(opening, 1)[1].removeprefix(": ")
        points = re.match(rf"(?:{FIGURE} → {FIGURE}°(?:, )?)+", behind)
        assert points, f"no curve is printed behind “{opening}”: {self.text}"
        return [(number(x), number(y)) for x, y in re.findall(rf"({FIGURE}) → ({FIGURE})°", points[0])]

    def keep(self, value: float, places: int) -> float:
        """A result on the way: written down with so many places, or left in the calculator."""
        return rounded(value, places) if self.writes_down else value

    def write(self, value: float, places: int) -> str:
        """The answer as he types it: rounded to so many places, now and then to one more."""
        places += self.random.random() < 0.25
        return f"{rounded(value, places):.{places}f}"


@dataclass(slots=True)
class Solvers:
    """How the parts of a module are worked by hand, by path."""

    by_path: dict[str, Callable[[Page], str]] = field(default_factory=dict)

    def works(self, path: str) -> Callable:
        """Take in the function that works this part: it gets a Page and gives the text that is typed."""

        def taken(work: Callable[[Page], str]) -> Callable[[Page], str]:
            self.by_path[path] = work
            return work

        return taken


def asked(module: Module) -> list[str]:
    """The parts that an honest worker must be shown for: numbers, ranges, readings off a plot."""
    return [path for _, part, path in module.parts() if hasattr(part, "half_step")]


def work(module: Module, solvers: Solvers, trainees: int, seed: int) -> tuple[int, list[str]]:
    """Let so many trainees work a module by hand, each part in a unit of his choice.

    Returns
    -------
    (int, list of str)
        How many answers were marked, and a sentence for each that did not earn everything.
    """
    random, done, wrong = Random(seed), 0, []
    for numbers in proof.draws(module, trainees):
        truth = Truth(module, numbers)
        answers, own = {}, {}
        writes_down = random.random() < 0.5
        for exercise, part, path in module.parts():
            if path not in solvers.by_path:
                continue
            unit = random.choice(part.units)
            page = Page(printed(module, exercise, truth), part.prompt, unit, own, random, writes_down)
            raw = solvers.by_path[path](page)
            answers[path] = Answer(raw, unit, exercise.version)
            if " to " not in raw:
                own[path] = number(raw)
        sheet = Sheet(proof.TERM, module.key, "t", 1, answers)
        for mark in mark_sheet(module, proof.as_issued(module, numbers), sheet, truth=truth).parts:
            if mark.path not in answers:
                continue
            done += 1
            if mark.hundredths != mark.most:
                answer = answers[mark.path]
                wrong.append(
                    f"{mark.path}: {answer.raw} {answer.unit} is marked {mark.verdict} {mark.slip or ''}; "
                    f"{mark.expected} ± {mark.width} was right. {numbers[mark.path.rpartition('.')[0]]}"
                )
    return done, wrong


def printed(module: Module, exercise: Exercise, truth: Truth) -> str:
    """An exercise as it is printed, and behind it the one with which it is drawn together."""
    leader = next((e for e in module.exercises if e.key == exercise.linked), None)
    pages = [exercise] if leader is None else [exercise, leader]
    return "\n".join(each.wording(truth.given(each.key)) for each in pages)
