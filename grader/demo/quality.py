"""How well marking found out what the simulated trainees did, and how hard the exercises were for them."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select

from grader.demo import trainees
from grader.demo.scenario import SEED
from grader.demo.trainees import Did
from grader.exercise.issued import Issued
from grader.exercise.model import Module
from grader.marking import proof
from grader.marking.mark import mark_sheet
from grader.marking.verdict import AWAITING, CARRIED, RIGHT, SLIP
from grader.records import database, schema
from grader.records.term.term import Term
from grader.reports.tables import statistics

HARD, EASY = 0.30, 0.95  # simulated facility outside these is worth a look


@dataclass(frozen=True, slots=True)
class Quality:
    """Counts over all marked answers.

    A wrong answer is one that came by a slip or a miscalculation. A slip counts as
    named also where its number is what follows rightly from an own earlier answer.
    """

    right: int
    right_marked_right: int
    wrong: int
    wrong_named: int  # the marking named some slip, or followed an own answer
    slips: int
    slips_named: int  # it named the very slip that was made


def measure(term: Term, diary: Mapping[str, Iterable[Did]]) -> Quality:
    """Compare the diary of the simulated trainees with the verdicts in the records.

    Parameters
    ----------
    term : Term
    diary : dict of str to list of Did
        By trainee.

    Returns
    -------
    Quality
    """
    table = schema.answer
    with database.transaction(term) as connection:
        verdicts = {
            (row.trainee, row.part): row
            for row in connection.execute(select(table.c.trainee, table.c.part, table.c.verdict, table.c.slip))
        }
    return count(
        (did, verdicts[who, did.part])
        for who, all_did in diary.items()
        for did in all_did
        if (who, did.part) in verdicts
    )


def count(pairs: Iterable[tuple[Did, Any]]) -> Quality:
    """The figures from (what was done, what was said) pairs; what was said has `verdict` and `slip`."""
    right = right_right = wrong = named = slips = same = 0
    for did, row in pairs:
        if did.what == trainees.RIGHT:
            right += 1
            right_right += row.verdict in (RIGHT, CARRIED, AWAITING)
        elif did.what in (trainees.SLIPPED, trainees.MISCALCULATED):
            wrong += 1
            named += row.verdict in (SLIP, CARRIED)
            if did.what == trainees.SLIPPED:
                slips += 1
                same += row.slip == did.slip
    return Quality(right, right_right, wrong, named, slips, same)


def lines(quality: Quality) -> Iterator[str]:
    """The figures as sentences."""
    yield f"{quality.right_marked_right} of {quality.right} right answers are marked right."
    yield f"{quality.slips_named} of {quality.slips} slips are named ({_share(quality.slips_named, quality.slips)})."
    yield (
        f"{quality.wrong_named} of {quality.wrong} wrong answers are explained by a slip or an earlier answer "
        f"({_share(quality.wrong_named, quality.wrong)}); the others are plain miscalculations."
    )


def _share(part, whole):
    return f"{part / whole:.0%}" if whole else "none made"


@dataclass(frozen=True, slots=True)
class Estimate:
    """How hard one exercise was for simulated trainees; `facility` is None where only people can read the answer."""

    exercise: str
    marks: int
    n: int
    facility: float | None

    @property
    def remark(self) -> str:
        """A word where the figure lies outside what a class learns from."""
        if self.facility is None:
            return "read by the instructor, not simulated"
        if self.facility < HARD:
            return "hard"
        return "easy" if self.facility > EASY else ""


def estimates(module: Module, count: int = 200, seed: int = SEED) -> list[Estimate]:
    """Simulated facility of every exercise, to see the spread before a real class has worked on it.

    Parameters
    ----------
    module : Module
    count : int
        Simulated trainees [1].
    seed : int

    Returns
    -------
    list of Estimate

    Notes
    -----
    The skill of a simulated trainee is the same for every exercise. So the figure
    shows what the kind of answer, its parts and its slips do to the mark. It knows
    nothing of how hard the thought is; a real class tells that.
    """
    won = {exercise.key: [] for exercise in module.exercises}
    for number, numbers in enumerate(proof.draws(module, count)):
        exercises = proof.as_issued(module, numbers)
        record = Issued(proof.TERM, f"t{number:05d}", module.key, 1, "practice", "", "UTC", exercises)
        sheet, _ = trainees.answer_sheet(module, record, seed)
        marked = mark_sheet(module, exercises, sheet)
        for key, earned in won.items():
            mine = [part for part in marked.parts if part.path.rpartition(".")[0] == key]
            if not any(module.by_path[part.path][1].by_person for part in mine):
                earned.append(sum(part.hundredths or 0 for part in mine))
    return [
        Estimate(asked.key, asked.marks, len(won[asked.key]), _facility(won[asked.key], asked.marks))
        for asked in module.exercises
    ]


def difficulty_lines(module: Module, count: int) -> Iterator[str]:
    """The simulated facility of a module's exercises as lines to read."""
    yield f"Difficulty, estimated from SIMULATED trainees (n = {count}); a real class will differ:"
    for estimate in estimates(module, count):
        share = "" if estimate.facility is None else f"{estimate.facility:.2f}"
        yield (
            f"    {estimate.exercise:<28} {estimate.marks:>2} marks  n {estimate.n:<5} "
            f"simulated facility {share:<5} {estimate.remark}"
        )


def _facility(hundredths, marks):
    return statistics.facility(hundredths, 100 * marks) if hundredths else None
